// The pack as a circuit that lives: string, contactors, precharge resistor, link, measuring points. Drawn once, then only moved.
import { make, by, set, say, digits } from './dom.js';

/** Cells are drawn this many units apart. */
const APART = 14;
/** The picture of a module, from the top: voltage, then charge, then temperature. */
const VOLTS = { top: 4, height: 34 };
const TANK = { top: 44, height: 56 };
const HEIGHT = 138;
/** Voltages are drawn over at least this span, or noise would look like a spread. */
const LEAST_SPAN_VOLTS = 0.02;

const CONTACTORS = ['negative', 'precharge', 'positive'];

export class Circuit {
  /** @param {(at: {key: string, place: number | string}) => void} chosen is told what was touched */
  constructor(chosen) {
    this.chosen = chosen;
    this.at = 1;
  }

  /** Draws the parts that a case has. */
  draw(story) {
    this.story = story;
    by('circuit').replaceChildren(this.bus());
    this.cells = [];
    const modules = [];
    for (let first = 0; first < story.cells; first += story.cells_a_module) modules.push(this.module(first));
    const legend = make('div', { class: 'legend' },
      make('span', {}, 'Top: voltage against the middle cell.'),
      make('span', {}, 'Column: charge; solid is certain, pale is possible.'),
      make('span', {}, 'Line across: true charge.'),
      make('span', {}, 'Below: what the thermistors read.'));
    by('string').replaceChildren(make('div', {}, modules));
    by('string').after(by('legend') ?? make('div', { id: 'legend' }));
    by('legend').replaceChildren(legend);
    by('string').setAttribute('role', 'group');
    by('string').setAttribute('aria-label', `${story.cells} cells; arrow keys go from cell to cell, Enter shows what can be done there`);
  }

  module(first) {
    const { cells_a_module: count, thermistor_cells: carriers } = this.story;
    const number = first / count + 1;
    const svg = make('svg:svg', { viewBox: `0 0 ${count * APART + 8} ${HEIGHT}` });
    svg.append(make('svg:path', { class: 'conductor', d: `M0 ${TANK.top + TANK.height + 6}H${count * APART + 8}` }));
    svg.append(make('svg:path', { class: 'median', d: `M4 ${VOLTS.top + VOLTS.height / 2}h${count * APART}` }));
    const name = make('svg:text', { x: 4, y: HEIGHT - 2, 'font-size': 11 }, `module ${number}`);
    svg.append(name);
    for (let cell = first; cell < first + count; cell += 1) {
      const x = 4 + (cell - first) * APART;
      const parts = {
        volt: make('svg:path', { class: 'volt', d: `M${x + 2} 0h${APART - 4}` }),
        tank: make('svg:rect', { class: 'tank', x: x + 1.5, y: TANK.top, width: APART - 3, height: TANK.height, rx: 2 }),
        maybe: make('svg:rect', { class: 'maybe', x: x + 2.5, width: APART - 5 }),
        sure: make('svg:rect', { class: 'sure', x: x + 2.5, width: APART - 5 }),
        truly: make('svg:path', { class: 'true' }),
        bleeds: make('svg:path', { class: 'bleeds', d: `M${x + 3} ${TANK.top - 6}h8l-4 5z`, visibility: 'hidden' }),
        mark: make('svg:path', { class: 'mark', d: `M${x + 1} 1h${APART - 2}v${TANK.top + TANK.height}h-${APART - 2}z`, visibility: 'hidden' }),
      };
      const group = make('svg:g', {
        class: 'cell', role: 'button', tabindex: cell === 0 ? 0 : -1, 'data-cell': cell + 1,
        onclick: () => this.touch(cell + 1),
        onkeydown: (key) => this.key(key, cell + 1),
        onfocus: () => this.tell(cell + 1),
      }, make('svg:rect', { x, y: 0, width: APART, height: HEIGHT - 14, fill: 'transparent' }), ...Object.values(parts));
      svg.append(group);
      this.cells.push({ group, parts, x });
    }
    const thermistors = carriers
      .map((cell, place) => ({ cell: cell - 1, place }))
      .filter(({ cell }) => cell >= first && cell < first + count);
    for (const { cell, place } of thermistors) {
      const x = 4 + (cell - first) * APART + APART / 2;
      const text = make('svg:text', { x, y: TANK.top + TANK.height + 22, 'font-size': 11, 'text-anchor': 'middle', class: 'value touched', onclick: () => this.chosen({ key: 'thermistor', place: place + 1 }) });
      this.thermistors = this.thermistors && place ? this.thermistors : [];
      this.thermistors[place] = text;
      svg.append(text);
    }
    return svg;
  }

  /** Contactors, resistor, link and measuring points. */
  bus() {
    const svg = make('svg:svg', { viewBox: '0 0 624 304', role: 'img', 'aria-labelledby': 'circuit-said' });
    const wire = (d) => svg.append(make('svg:path', { class: 'conductor', d }));
    const text = (x, y, words, more = {}) => {
      const element = make('svg:text', { x, y, 'font-size': 15, ...more }, words);
      svg.append(element);
      return element;
    };
    this.title = make('svg:title', { id: 'circuit-said' }, 'The pack as a circuit');
    svg.append(this.title);
    // Rails.
    wire('M95 60H215 M275 60H420 M95 240H215 M275 240H600');
    wire('M150 60V120H195 M255 120H290 M370 120H390V60');
    wire('M420 60H600 M95 60V90 M95 210V240');
    wire('M450 60V130 M450 152V240 M520 60V115 M520 175V240 M590 60V110 M590 190V240');
    // Flow: on the outer loop.
    this.flow = make('svg:path', { class: 'flow', d: 'M95 200V60H590V240H95', visibility: 'hidden' });
    svg.append(this.flow);
    // String.
    svg.append(make('svg:rect', { class: 'part', x: 55, y: 90, width: 80, height: 120, rx: 4 }));
    text(95, 118, `${this.story.cells} cells`, { 'text-anchor': 'middle' });
    this.packVolts = text(95, 142, '', { 'text-anchor': 'middle', class: 'value' });
    this.amps = text(95, 166, '', { 'text-anchor': 'middle', class: 'value' });
    this.way = text(95, 186, '', { 'text-anchor': 'middle', class: 'small', 'font-size': 13 });
    this.parted = text(95, 204, '', { 'text-anchor': 'middle', class: 'value', 'font-size': 13 });
    // Contactors: fixed contact, blade, coil.
    const places = { positive: [215, 60], precharge: [195, 120], negative: [215, 240] };
    this.contactors = {};
    for (const which of CONTACTORS) {
      const [x, y] = places[which];
      const below = which === 'negative' ? 24 : 26;
      svg.append(make('svg:circle', { class: 'point', cx: x, cy: y, r: 4 }), make('svg:circle', { class: 'point', cx: x + 60, cy: y, r: 4 }));
      const blade = make('svg:path', { class: 'blade' });
      const truly = make('svg:path', { class: 'truly', visibility: 'hidden' });
      const coil = make('svg:rect', { class: 'coil', x: x + 24, y: y - 30, width: 12, height: 12 });
      const label = text(x + 30, y + below, '', { 'text-anchor': 'middle', 'font-size': 13 });
      // A short way for a pointer; by keys the list of defects has the same.
      const touched = make('svg:rect', { class: 'touched', x: x - 8, y: y - 34, width: 76, height: 64, onclick: () => this.chosen({ key: 'contactor', place: which }) });
      svg.append(blade, truly, coil, touched);
      this.contactors[which] = { blade, truly, coil, label, x, y };
    }
    // Precharge resistor.
    svg.append(make('svg:rect', { class: 'part', x: 290, y: 110, width: 80, height: 20 }));
    this.resistor = text(330, 148, '', { 'text-anchor': 'middle', 'font-size': 13 });
    // Link capacitor with its level, bleed-down resistor, crane.
    svg.append(make('svg:path', { class: 'bare', d: 'M425 130h50 M425 152h50', 'stroke-width': 4 }));
    this.level = make('svg:rect', { class: 'level', x: 427, width: 46, y: 132, height: 0, opacity: .8 });
    svg.append(this.level);
    this.linkVolts = text(442, 196, '', { 'text-anchor': 'end', class: 'value' });
    text(442, 178, 'link', { 'text-anchor': 'end', class: 'small' });
    svg.append(make('svg:rect', { class: 'part', x: 511, y: 115, width: 18, height: 60 }));
    svg.append(make('svg:rect', { class: 'part', x: 556, y: 110, width: 62, height: 80, rx: 4 }));
    text(587, 135, 'crane', { 'text-anchor': 'middle' });
    this.duty = text(587, 156, '', { 'text-anchor': 'middle', 'font-size': 11.5 });
    // Measuring points.
    this.points = {};
    for (const [name, x, y, side] of [['B+', 95, 60, 'end'], ['B−', 95, 240, 'end'], ['L+', 420, 60, 'middle'], ['L−', 420, 240, 'middle']]) {
      svg.append(make('svg:circle', { class: 'point', cx: x, cy: y, r: 6 }));
      text(side === 'end' ? x - 12 : x, y + (side === 'end' ? 5 : y < 100 ? -12 : 24), name, { 'text-anchor': side, 'font-weight': 600 });
    }
    this.cross = text(150, 292, '', { 'font-size': 13, class: 'small' });
    this.poles = text(150, 22, '', { 'font-size': 13, class: 'small' });
    return svg;
  }

  /** Shows a view. `fast` leaves out what only somebody who reads needs. */
  show(view, fast) {
    if (!view.stop) return;
    this.view = view;
    const { stop, truth, around, contactors } = view;
    say(this.packVolts, `${digits(stop.pack_volts)} V`);
    say(this.amps, `${digits(stop.current_amps)} A`);
    const flows = Math.abs(stop.current_amps) > 0.5;
    say(this.way, !flows ? 'no current' : stop.current_amps > 0 ? 'charging' : 'discharging');
    say(this.parted, truth && !truth.string_whole ? 'parted inside' : '');
    set(this.flow, 'visibility', flows ? 'visible' : 'hidden');
    if (flows) {
      set(this.flow, 'stroke-width', (1.5 + 2.5 * Math.log10(1 + Math.abs(stop.current_amps))).toFixed(1));
      this.phase = ((this.phase ?? 0) + Math.sign(stop.current_amps) * (matchMedia('(prefers-reduced-motion: reduce)').matches ? 0 : 1.5)) % 22;
      set(this.flow, 'stroke-dashoffset', this.phase.toFixed(1));
    }
    contactors.forEach((contactor, place) => this.contactor(contactor, truth?.closed[place]));
    say(this.resistor, truth ? `${this.story.precharge_ohms} Ω, ${digits(truth.resistor_celsius, 0)} °C` : `${this.story.precharge_ohms} Ω`);
    const full = Math.max(0, Math.min(1, stop.link_volts / Math.max(1, stop.pack_volts)));
    set(this.level, 'height', (18 * full).toFixed(1));
    set(this.level, 'y', (150 - 18 * full).toFixed(1));
    say(this.linkVolts, `${digits(stop.link_volts)} V`);
    say(this.duty, (view.lines.find((line) => line.name === 'duty')?.text ?? '').split(' ')[0]);
    say(this.cross, `B+ to L− ${digits(around.behind_negative_volts)} V,  L+ to B− ${digits(around.behind_positive_volts)} V`);
    say(this.poles, `to chassis: B+ ${digits(around.positive_to_chassis_volts)} V,  B− ${digits(-around.chassis_to_negative_volts)} V`);
    this.showCells(view, fast);
    if (!fast) this.label(view);
  }

  contactor({ which, coil_on: coil, says_closed: closed }, truly) {
    const { blade, truly: other, coil: box, label, x, y } = this.contactors[which];
    const drawn = (made) => `M${x} ${y}L${x + 58} ${made ? y : y - 22}`;
    set(blade, 'd', drawn(closed));
    const differs = truly !== undefined && truly !== closed;
    set(other, 'visibility', differs ? 'visible' : 'hidden');
    if (differs) set(other, 'd', drawn(truly));
    set(box, 'class', coil ? 'coil on' : 'coil');
    say(label, `${which} ${closed ? 'closed' : 'open'}${differs ? `, in truth ${truly ? 'closed' : 'open'}` : ''}`);
  }

  showCells(view, fast) {
    const { stop, truth } = view;
    const volts = stop.cells_volts;
    const sorted = [...volts].sort((a, b) => a - b);
    const middle = sorted[Math.floor(sorted.length / 2)];
    const span = Math.max(LEAST_SPAN_VOLTS, 2 * Math.max(middle - sorted[0], sorted.at(-1) - middle));
    const bled = new Set(stop.bled_cells);
    this.cells.forEach(({ parts, x }, cell) => {
      const y = VOLTS.top + VOLTS.height * (0.5 - (volts[cell] - middle) / span);
      set(parts.volt, 'd', `M${x + 2} ${y.toFixed(1)}h${APART - 4}`);
      const [low, high] = view.cells_charge_of_1[cell] ?? [0, 1];
      const level = (share) => TANK.top + TANK.height * (1 - share);
      set(parts.sure, 'y', level(low).toFixed(1));
      set(parts.sure, 'height', (TANK.height * low).toFixed(1));
      set(parts.maybe, 'y', level(high).toFixed(1));
      set(parts.maybe, 'height', (TANK.height * Math.max(0, high - low)).toFixed(1));
      if (truth) set(parts.truly, 'd', `M${x + 2.5} ${level(truth.cells_charge_of_1[cell]).toFixed(1)}h${APART - 5}`);
      set(parts.bleeds, 'visibility', bled.has(cell + 1) ? 'visible' : 'hidden');
    });
    stop.thermistors_celsius.forEach((celsius, place) => say(this.thermistors[place], celsius === null ? 'rail' : `${digits(celsius, 0)}°`));
    if (!fast) this.tell(this.at, true);
  }

  /** What is known of a cell, in words. */
  words(cell) {
    const { stop, truth, cells_charge_of_1: charge } = this.view;
    const [low, high] = charge[cell - 1] ?? [0, 1];
    const volts = `cell ${cell}: ${digits(stop.cells_volts[cell - 1], 3)} V`;
    const charged = low <= 0 && high >= 1 ? 'charge not known yet' : `charge ${digits(100 * low)} % to ${digits(100 * high)} %`;
    const truly = truth ? `; in truth ${digits(100 * truth.cells_charge_of_1[cell - 1])} %, ${digits(truth.cells_celsius[cell - 1])} °C` : '';
    return `${volts}, ${charged}${truly}${stop.bled_cells.includes(cell) ? '; bleeds' : ''}`;
  }

  tell(cell, quietly = false) {
    if (!this.view) return;
    if (!quietly) {
      this.cells[this.at - 1]?.group.setAttribute('tabindex', -1);
      this.at = cell;
      this.cells[cell - 1].group.setAttribute('tabindex', 0);
    }
    say(by('cell-said'), this.words(Math.min(cell, this.cells.length)));
  }

  label(view) {
    this.cells.forEach(({ group }, place) => set(group, 'aria-label', this.words(place + 1)));
    const said = view.lines.filter(({ name }) => ['contactors', 'sequence', 'voltages', 'current'].includes(name)).map(({ text }) => text);
    say(this.title, `The pack as a circuit: ${said.join('; ')}`);
  }

  touch(cell) {
    this.tell(cell);
    this.chosen({ key: 'cell', place: cell });
  }

  key(key, cell) {
    const steps = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: this.story.cells_a_module, ArrowUp: -this.story.cells_a_module };
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
