// The pack as a circuit that lives: string, contactors, precharge resistor, link, measuring points. Drawn once, then only moved.
import { by, digits, make, say, set } from './dom.js';

/** @import { Contactor, Story, View } from './protocol' */
/** @import { At } from './defects.js' */

/** Cells are drawn this many units apart. */
const APART = 14;
/** The picture of a module, from the top: voltage, then charge, then temperature. */
const VOLTS = { top: 4, height: 34 };
const TANK = { top: 44, height: 56 };
const HEIGHT = 154;
/** Voltages are drawn over at least this span, or noise would look like a spread. */
const LEAST_SPAN_VOLTS = 0.02;

/** Where the contactors are drawn. @type {Record<Contactor['which'], [number, number]>} */
const CONTACTORS = { positive: [215, 60], precharge: [195, 120], negative: [215, 240] };

/** @typedef {{ volt: Element, tank: Element, maybe: Element, sure: Element, truly: Element, bleeds: Element }} CellParts */
/** @typedef {{ blade: Element, truly: Element, coil: Element, label: Element, x: number, y: number }} ContactorParts */

/** Who wants no motion gets none. */
const still = matchMedia('(prefers-reduced-motion: reduce)');

export class Circuit {
  /** @param {(at: At) => void} chosen is told what was touched */
  constructor(chosen) {
    this.chosen = chosen;
    this.at = 1;
    this.phase = 0;
    /** @type {View | null} */
    this.view = null;
    /** @type {{ group: SVGElement, parts: CellParts, x: number }[]} */
    this.cells = [];
    /** @type {Element[]} */
    this.thermistors = [];
    /** @type {Map<string, ContactorParts>} */
    this.contactors = new Map();
    /** Texts and shapes of the bus that are moved, by name. @type {Record<string, Element>} */
    this.bus = {};
  }

  /**
   * Draws the parts that a case has.
   * @param {Story} story
   */
  draw(story) {
    this.story = story;
    this.at = 1;
    by('circuit').replaceChildren(this.drawBus(story));
    this.cells = [];
    this.thermistors = [];
    const modules = [];
    for (let first = 0; first < story.cells; first += story.cells_a_module) modules.push(this.module(story, first));
    by('string').replaceChildren(make('div', {}, modules));
    by('legend').replaceChildren(...[
      'Top: voltage against the middle cell.', 'Column: charge; solid is certain, pale is possible.',
      story.hidden ? '' : 'Line across: true charge.', 'Triangle: it bleeds.', 'Below: what the thermistors read.',
    ].filter(Boolean).map((said) => make('span', {}, said)));
    by('string').setAttribute('role', 'group');
    by('string').setAttribute('aria-label', `${story.cells} cells; arrow keys go from cell to cell, Enter shows what can be done there`);
  }

  /**
   * @param {Story} story
   * @param {number} first its first cell, from 0
   */
  module({ cells_a_module: count, thermistor_cells: carriers }, first) {
    const number = first / count + 1;
    const svg = make('svg:svg', { viewBox: `0 0 ${count * APART + 8} ${HEIGHT}` });
    svg.append(make('svg:path', { class: 'conductor', d: `M0 ${TANK.top + TANK.height + 6}H${count * APART + 8}` }));
    svg.append(make('svg:path', { class: 'median', d: `M4 ${VOLTS.top + VOLTS.height / 2}h${count * APART}` }));
    svg.append(make('svg:text', { x: 4, y: HEIGHT - 4 }, `module ${number}`));
    for (let cell = first; cell < first + count; cell += 1) {
      const x = 4 + (cell - first) * APART;
      const parts = {
        volt: make('svg:path', { class: 'volt', d: `M${x + 2} 0h${APART - 4}` }),
        tank: make('svg:rect', { class: 'tank', x: x + 1.5, y: TANK.top, width: APART - 3, height: TANK.height, rx: 2 }),
        maybe: make('svg:rect', { class: 'maybe', x: x + 2.5, width: APART - 5 }),
        sure: make('svg:rect', { class: 'sure', x: x + 2.5, width: APART - 5 }),
        truly: make('svg:path', { class: 'true' }),
        bleeds: make('svg:path', { class: 'bleeds', d: `M${x + 3} ${TANK.top - 6}h8l-4 5z`, visibility: 'hidden' }),
      };
      const group = make('svg:g', {
        class: 'cell', role: 'button', tabindex: cell === 0 ? 0 : -1, 'data-cell': cell + 1,
        onclick: () => this.touch(cell + 1),
        onkeydown: (/** @type {KeyboardEvent} */ key) => this.key(key, cell + 1, count),
        onfocus: () => this.tell(cell + 1),
      }, make('svg:rect', { x, y: 0, width: APART, height: HEIGHT - 44, fill: 'transparent' }), ...Object.values(parts));
      svg.append(group);
      this.cells.push({ group, parts, x });
    }
    const thermistors = carriers
      .map((cell, place) => ({ cell: cell - 1, place }))
      .filter(({ cell }) => cell >= first && cell < first + count);
    for (const { cell, place } of thermistors) {
      const x = 4 + (cell - first) * APART + APART / 2;
      const text = make('svg:text', { x, y: TANK.top + TANK.height + 26, 'text-anchor': 'middle', class: 'value touched', onclick: () => this.chosen({ key: 'thermistor', place: place + 1 }) });
      this.thermistors[place] = text;
      svg.append(text);
    }
    return svg;
  }

  /** Contactors, resistor, link and measuring points. */
  drawBus(/** @type {Story} */ story) {
    const svg = make('svg:svg', { viewBox: '0 0 624 304', role: 'img', 'aria-labelledby': 'circuit-said' });
    const wire = (/** @type {string} */ d) => svg.append(make('svg:path', { class: 'conductor', d }));
    const text = (/** @type {number} */ x, /** @type {number} */ y, /** @type {string} */ words, more = {}) => {
      const element = make('svg:text', { x, y, 'font-size': 15, ...more }, words);
      svg.append(element);
      return element;
    };
    const title = make('svg:title', { id: 'circuit-said' }, 'The pack as a circuit');
    svg.append(title);
    // Rails.
    wire('M95 60H215 M275 60H420 M95 240H215 M275 240H600');
    wire('M150 60V120H195 M255 120H290 M370 120H390V60');
    wire('M420 60H600 M95 60V90 M95 210V240');
    wire('M450 60V130 M450 152V240 M520 60V115 M520 175V240 M590 60V110 M590 190V240');
    // Flow: on the outer loop.
    const flow = make('svg:path', { class: 'flow', d: 'M95 200V60H590V240H95', visibility: 'hidden' });
    svg.append(flow);
    // String.
    svg.append(make('svg:rect', { class: 'part', x: 48, y: 90, width: 94, height: 120, rx: 4 }));
    text(95, 118, `${story.cells} cells`, { 'text-anchor': 'middle' });
    const packVolts = text(95, 142, '', { 'text-anchor': 'middle', class: 'value' });
    const amps = text(95, 166, '', { 'text-anchor': 'middle', class: 'value' });
    const way = text(95, 186, '', { 'text-anchor': 'middle', class: 'small', 'font-size': 13 });
    const parted = text(95, 204, '', { 'text-anchor': 'middle', class: 'value', 'font-size': 13 });
    // Contactors: fixed contact, blade, coil.
    for (const [which, [x, y]] of Object.entries(CONTACTORS)) {
      const below = which === 'negative' ? 24 : 26;
      svg.append(make('svg:circle', { class: 'point', cx: x, cy: y, r: 4 }), make('svg:circle', { class: 'point', cx: x + 60, cy: y, r: 4 }));
      const blade = make('svg:path', { class: 'blade' });
      const truly = make('svg:path', { class: 'truly', visibility: 'hidden' });
      const coil = make('svg:rect', { class: 'coil', x: x + 24, y: y - 30, width: 12, height: 12 });
      const label = text(x + 30, y + below, '', { 'text-anchor': 'middle', 'font-size': 13 });
      // A short way for a pointer; by keys the list of defects has the same.
      const touched = make('svg:rect', { class: 'touched', x: x - 8, y: y - 34, width: 76, height: 64, onclick: () => this.chosen({ key: 'contactor', place: which }) });
      svg.append(blade, truly, coil, touched);
      this.contactors.set(which, { blade, truly, coil, label, x, y });
    }
    // Precharge resistor.
    svg.append(make('svg:rect', { class: 'part', x: 290, y: 110, width: 80, height: 20 }));
    const resistor = text(330, 148, '', { 'text-anchor': 'middle', 'font-size': 13 });
    // Link capacitor with its level, bleed-down resistor, crane.
    svg.append(make('svg:path', { class: 'bare', d: 'M425 130h50 M425 152h50', 'stroke-width': 4 }));
    const level = make('svg:rect', { class: 'level', x: 427, width: 46, y: 132, height: 0, opacity: .8 });
    svg.append(level);
    const linkVolts = text(442, 196, '', { 'text-anchor': 'end', class: 'value' });
    text(442, 178, 'link', { 'text-anchor': 'end', class: 'small' });
    svg.append(make('svg:rect', { class: 'part', x: 511, y: 115, width: 18, height: 60 }));
    svg.append(make('svg:rect', { class: 'part', x: 556, y: 110, width: 62, height: 80, rx: 4 }));
    text(587, 135, 'crane', { 'text-anchor': 'middle' });
    const duty = text(587, 156, '', { 'text-anchor': 'middle', 'font-size': 11.5 });
    // Measuring points.
    const points = /** @type {[string, number, number, string][]} */ ([['B+', 95, 60, 'end'], ['B−', 95, 240, 'end'], ['L+', 420, 60, 'middle'], ['L−', 420, 240, 'middle']]);
    for (const [name, x, y, side] of points) {
      svg.append(make('svg:circle', { class: 'point', cx: x, cy: y, r: 6 }));
      text(side === 'end' ? x - 12 : x, y + (side === 'end' ? 5 : y < 100 ? -12 : 24), name, { 'text-anchor': side, 'font-weight': 600 });
    }
    const cross = text(150, 292, '', { 'font-size': 13, class: 'small' });
    const poles = text(150, 22, '', { 'font-size': 13, class: 'small' });
    this.bus = { title, flow, packVolts, amps, way, parted, resistor, level, linkVolts, duty, cross, poles };
    return svg;
  }

  /**
   * Shows a view.
   * @param {View} view
   * @param {boolean} fast leaves out what only somebody who reads needs
   */
  show(view, fast) {
    const { story } = this;
    if (!view.stop || !story) return;
    this.view = view;
    const { stop, truth, around, contactors } = view;
    const { flow, packVolts, amps, way, parted, resistor, level, linkVolts, duty, cross, poles } = this.bus;
    say(packVolts, `${digits(stop.pack_volts)} V`);
    say(amps, `${digits(stop.current_amps)} A`);
    const flows = Math.abs(stop.current_amps) > 0.5;
    say(way, !flows ? 'no current' : stop.current_amps > 0 ? 'charging' : 'discharging');
    say(parted, truth && !truth.string_whole ? 'parted inside' : '');
    set(flow, 'visibility', flows ? 'visible' : 'hidden');
    if (flows) {
      set(flow, 'stroke-width', (1.5 + 2.5 * Math.log10(1 + Math.abs(stop.current_amps))).toFixed(1));
      this.phase = (this.phase + Math.sign(stop.current_amps) * (still.matches ? 0 : 1.5)) % 22;
      set(flow, 'stroke-dashoffset', this.phase.toFixed(1));
    }
    contactors.forEach((contactor, place) => this.contactor(contactor, truth?.closed[place]));
    say(resistor, truth ? `${story.precharge_ohms} Ω, ${digits(truth.resistor_celsius, 0)} °C` : `${story.precharge_ohms} Ω`);
    const full = Math.max(0, Math.min(1, stop.link_volts / Math.max(1, stop.pack_volts)));
    set(level, 'height', (18 * full).toFixed(1));
    set(level, 'y', (150 - 18 * full).toFixed(1));
    say(linkVolts, `${digits(stop.link_volts)} V`);
    say(duty, (view.lines.find((line) => line.name === 'duty')?.text ?? '').split(' ')[0]);
    say(cross, `B+ to L− ${digits(around.behind_negative_volts)} V,  L+ to B− ${digits(around.behind_positive_volts)} V`);
    say(poles, `to chassis: B+ ${digits(around.positive_to_chassis_volts)} V,  B− ${digits(-around.chassis_to_negative_volts)} V`);
    this.showCells(view, fast);
    if (!fast) this.label(view);
  }

  /**
   * @param {Contactor} contactor
   * @param {boolean | undefined} truly whether it is closed in truth, where that may be seen
   */
  contactor({ which, coil_on: coil, says_closed: closed }, truly) {
    const parts = this.contactors.get(which);
    if (!parts) return;
    const { blade, truly: other, coil: box, label, x, y } = parts;
    const drawn = (/** @type {boolean} */ made) => `M${x} ${y}L${x + 58} ${made ? y : y - 22}`;
    set(blade, 'd', drawn(closed));
    const differs = truly !== undefined && truly !== closed;
    set(other, 'visibility', differs ? 'visible' : 'hidden');
    if (differs) set(other, 'd', drawn(truly));
    set(box, 'class', coil ? 'coil on' : 'coil');
    say(label, `${which} ${closed ? 'closed' : 'open'}${differs ? `, in truth ${truly ? 'closed' : 'open'}` : ''}`);
  }

  /**
   * @param {View} view
   * @param {boolean} fast
   */
  showCells(view, fast) {
    const { stop, truth } = view;
    const volts = stop.cells_volts;
    const sorted = [...volts].sort((a, b) => a - b);
    const middle = sorted[Math.floor(sorted.length / 2)];
    const span = Math.max(LEAST_SPAN_VOLTS, 2 * Math.max(middle - sorted[0], sorted[sorted.length - 1] - middle));
    const bled = new Set(stop.bled_cells);
    this.cells.forEach(({ parts, x }, cell) => {
      const y = VOLTS.top + VOLTS.height * (0.5 - (volts[cell] - middle) / span);
      set(parts.volt, 'd', `M${x + 2} ${y.toFixed(1)}h${APART - 4}`);
      const [low, high] = view.cells_charge_of_1[cell] ?? [0, 1];
      const level = (/** @type {number} */ share) => TANK.top + TANK.height * (1 - share);
      set(parts.sure, 'y', level(low).toFixed(1));
      set(parts.sure, 'height', (TANK.height * low).toFixed(1));
      set(parts.maybe, 'y', level(high).toFixed(1));
      set(parts.maybe, 'height', (TANK.height * Math.max(0, high - low)).toFixed(1));
      if (truth) set(parts.truly, 'd', `M${x + 1.5} ${(level(truth.cells_charge_of_1[cell]) - 1.2).toFixed(1)}h${APART - 3}v2.4h-${APART - 3}z`);
      set(parts.bleeds, 'visibility', bled.has(cell + 1) ? 'visible' : 'hidden');
    });
    stop.thermistors_celsius.forEach((celsius, place) => say(this.thermistors[place], celsius === null ? 'rail' : `${digits(celsius, 0)}°`));
    if (!fast) this.tell(this.at, true);
  }

  /**
   * What is known of a cell, in words.
   * @param {View} view
   * @param {number} cell from 1
   */
  words({ stop, truth, cells_charge_of_1: charge }, cell) {
    const [low, high] = charge[cell - 1] ?? [0, 1];
    const volts = `cell ${cell}: ${digits(stop.cells_volts[cell - 1], 3)} V`;
    const charged = low <= 0 && high >= 1 ? 'charge not known yet' : `charge ${digits(100 * low)} % to ${digits(100 * high)} %`;
    const truly = truth ? `; in truth ${digits(100 * truth.cells_charge_of_1[cell - 1])} %, ${digits(truth.cells_celsius[cell - 1])} °C` : '';
    return `${volts}, ${charged}${truly}${stop.bled_cells.includes(cell) ? '; bleeds' : ''}`;
  }

  /** @param {number} cell from 1 */
  tell(cell, quietly = false) {
    const { view } = this;
    if (!view?.stop) return;
    if (!quietly) {
      this.cells[this.at - 1]?.group.setAttribute('tabindex', '-1');
      this.at = cell;
      this.cells[cell - 1].group.setAttribute('tabindex', '0');
    }
    say(by('cell-said'), this.words(view, Math.min(cell, this.cells.length)));
  }

  /**
   * The same in words, for whoever does not see it.
   * @param {View} view
   */
  label(view) {
    this.cells.forEach(({ group }, place) => set(group, 'aria-label', this.words(view, place + 1)));
    const said = view.lines.filter(({ name }) => name && ['contactors', 'sequence', 'voltages', 'current'].includes(name)).map(({ text }) => text);
    say(this.bus.title, `The pack as a circuit: ${said.join('; ')}`);
  }

  /** @param {number} cell */
  touch(cell) {
    this.tell(cell);
    this.chosen({ key: 'cell', place: cell });
  }

  /**
   * @param {KeyboardEvent} key
   * @param {number} cell the one that it is typed on
   * @param {number} below how far the one below it is
   */
  key(key, cell, below) {
    /** @type {Record<string, number>} */
    const steps = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: below, ArrowUp: -below };
    if (key.key in steps && !key.shiftKey) {
      const next = Math.max(1, Math.min(this.cells.length, cell + steps[key.key]));
      this.cells[next - 1].group.focus();
    } else if (key.key === 'Enter' || key.key === ' ') {
      this.touch(cell);
    } else {
      return;
    }
    key.preventDefault();
    key.stopPropagation();
  }
}
