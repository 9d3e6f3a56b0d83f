// The precharge bench: parts and limits as sliders, one start at once, up to three beside each other.
import uPlot from './vendor/uPlot.esm.js';
import { address } from './link.js';
import { axis, by, digits, ink, make, say, scale } from './dom.js';

/** @import { Start, Story } from './protocol' */
/** @import { Page } from './main.js' */

/** @typedef {'precharge_ohms' | 'link_microfarads' | 'bleed_down_ohms' | 'load_ohms' | 'pull_in_ms' | 'end_percent' | 'time_constants' | 'flat_after_ms'} Key */
/** @typedef {Record<Key, number>} Values */
/** @typedef {Start & { name: string }} Named */

/** A slider: what it says, its unit, least, most; whether each step is a factor, whether it takes whole numbers only. */
/** @typedef {{ key: Key, name: string, unit: string, least: number, most: number, factor?: boolean, whole?: boolean }} Part */

/** @type {Part[]} */
const PARTS = [
  { key: 'precharge_ohms', name: 'precharge resistor', unit: 'Ω', least: 1, most: 1000, factor: true },
  { key: 'link_microfarads', name: 'link capacitance', unit: 'µF', least: 50, most: 20000, factor: true },
  { key: 'bleed_down_ohms', name: 'bleed-down resistor', unit: 'Ω', least: 10, most: 100000, factor: true },
  { key: 'load_ohms', name: 'load left on the link (all to the right: none)', unit: 'Ω', least: 1, most: 10000, factor: true },
  { key: 'pull_in_ms', name: 'pull-in of the contactors', unit: 'ms', least: 5, most: 300, factor: true },
];
/** @type {Part[]} */
const LIMITS = [
  { key: 'end_percent', name: 'charged within this part of the pack', unit: '%', least: 0.5, most: 10 },
  { key: 'time_constants', name: 'over after so many time constants', unit: '', least: 2, most: 10, whole: true },
  { key: 'flat_after_ms', name: 'flat when nothing rose for', unit: 'ms', least: 20, most: 400, whole: true },
];
const STEPS = 400;
/** No load at all is what the slider says at its end. */
const NO_LOAD = 10000;
/** A start and those kept beside it, each with its own ink, dash and letter. */
const SIGNS = [{ ink: 'cell', dash: [] }, { ink: 'wrong', dash: [7, 4] }, { ink: 'ink', dash: [2, 3] }];
/** @type {{ name: string, key: 'link_volts' | 'amps' | 'resistor_celsius', height: number, band?: boolean }[]} */
const PANES = [
  { name: 'link, V', key: 'link_volts', height: 190, band: true },
  { name: 'current, A', key: 'amps', height: 110 },
  { name: 'resistor, °C', key: 'resistor_celsius', height: 110 },
];

const short = (/** @type {number} */ value) => Number(value.toPrecision(3));

export class Bench {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    /** @type {Named[]} */
    this.kept = [];
    /** @type {Named | null} */
    this.now = null;
    /** @type {uPlot[]} */
    this.plots = [];
    /** @type {Map<Key, (value: number) => void>} */
    this.sliders = new Map();
    /** As the pack is built. @type {Values} */
    this.usual = { precharge_ohms: 50, link_microfarads: 1000, bleed_down_ohms: 2500, load_ohms: NO_LOAD, pull_in_ms: 20, end_percent: 5, time_constants: 6, flat_after_ms: 100 };
    this.values = { ...this.usual };
    this.pack = '';
    this.busy = false;
    this.waits = false;
    this.told = make('input', { type: 'checkbox', checked: true, onchange: () => this.soon() });
    this.atOnce = make('p', { role: 'status' });
    this.ends = make('p', {});
    this.beside = make('div', { class: 'wide', tabindex: 0, role: 'region', 'aria-label': 'Starts beside each other' });
    this.checks = make('ol', { class: 'checks', tabindex: 0, 'aria-label': 'What each check says' });
    this.charts = make('div', { id: 'bench-charts' });
    for (const query of ['(prefers-color-scheme: dark)', 'print']) matchMedia(query).addEventListener('change', () => this.again());
  }

  get open() { return !by('bench').hidden; }

  /**
   * Another case may have another pack, which is built otherwise.
   * @param {Story} story
   */
  begin({ pack, precharge_ohms, link_farads, bleed_down_ohms }) {
    if (pack === this.pack) return;
    this.pack = pack;
    this.usual = { ...this.usual, precharge_ohms, link_microfarads: short(link_farads * 1e6), bleed_down_ohms };
    this.kept = [];
    this.values = { ...this.usual };
    this.sliders.forEach((put, key) => put(this.values[key]));
    if (this.open) this.start();
  }

  /** For the address: what differs from the pack as it is built. */
  looks() {
    if (!this.open) return undefined;
    return Object.fromEntries(Object.entries(this.values).filter(([key, value]) => value !== this.usual[/** @type {Key} */ (key)]));
  }

  /** @param {Record<string, number>} [bench] as an address has it */
  looked(bench) {
    if (!bench) return this.open ? this.show(false) : undefined;
    for (const { key, least, most } of [...PARTS, ...LIMITS]) {
      const given = Number(bench[key] ?? this.usual[key]);
      this.values[key] = Math.min(most, Math.max(least, Number.isFinite(given) ? given : least));
      this.sliders.get(key)?.(this.values[key]);
    }
    if (this.open) this.start();
    else this.show(true);
  }

  /** @param {boolean} on */
  show(on) {
    by('bench').hidden = !on;
    by('bench-open').setAttribute('aria-pressed', String(on));
    this.page.remember();
    if (!on) return by('bench-open').focus();
    if (!this.sliders.size) this.draw();
    this.start();
    by('bench').scrollIntoView({ block: 'start' });
    by('bench').focus();
  }

  draw() {
    const back = () => {
      this.sliders.forEach((put, key) => put(this.usual[key]));
      this.soon();
    };
    const forget = () => {
      this.kept = [];
      this.render();
    };
    by('bench').append(this.page.acts.caution('bench'),
      make('div', { class: 'bench' },
        make('form', { onsubmit: (/** @type {Event} */ submitted) => submitted.preventDefault() },
          make('fieldset', {}, make('legend', {}, 'The parts as they are'), ...PARTS.map((part) => this.slider(part))),
          make('label', { class: 'check' }, this.told, ' the firmware was told these parts; else it knows the ones the pack was built with'),
          make('fieldset', {}, make('legend', {}, 'Limits of the firmware'), ...LIMITS.map((part) => this.slider(part))),
          make('div', { class: 'acts' },
            make('button', { type: 'button', onclick: () => this.keep() }, 'Keep this start beside the next'),
            make('button', { type: 'button', onclick: forget }, 'Forget kept starts'),
            make('button', { type: 'button', onclick: back }, 'As it was built'))),
        make('div', {}, this.atOnce, this.ends, this.beside, this.charts, make('h3', {}, 'What each check says, and when'), this.checks)));
  }

  /** @param {Part} part */
  slider({ key, name, unit, least, most, factor, whole }) {
    const value = (/** @type {number} */ step) => short(factor ? least * (most / least) ** (step / STEPS) : least + ((most - least) * step) / STEPS);
    const step = (/** @type {number} */ number) => Math.round(STEPS * (factor ? Math.log(number / least) / Math.log(most / least) : (number - least) / (most - least)));
    const read = make('output', {});
    const range = make('input', { type: 'range', min: 0, max: STEPS });
    const put = (/** @type {number} */ number) => {
      this.values[key] = whole ? Math.round(number) : number;
      const words = this.says(key, unit);
      say(read, words);
      range.setAttribute('aria-valuetext', words);
    };
    range.addEventListener('input', () => {
      put(value(Number(range.value)));
      this.soon();
    });
    this.sliders.set(key, (number) => {
      range.value = String(step(number));
      put(number);
    });
    this.sliders.get(key)?.(this.values[key]);
    return make('label', { class: 'slide' }, make('span', {}, name), range, read);
  }

  /**
   * A value with its unit.
   * @param {Key} key
   * @param {string} unit
   */
  says(key, unit) {
    return key === 'load_ohms' && this.values[key] >= NO_LOAD ? 'none' : `${this.values[key]} ${unit}`.trim();
  }

  /** While a slider moves, one start at a time. */
  soon() {
    this.page.remember();
    if (this.busy) this.waits = true;
    else this.start();
  }

  asking() {
    const { precharge_ohms, link_microfarads, bleed_down_ohms, load_ohms, pull_in_ms, ...limits } = this.values;
    const load = load_ohms < NO_LOAD ? { load_ohms } : {};
    const asking = { pack: this.pack, parts: { precharge_ohms, link_microfarads, bleed_down_ohms, pull_in_ms, ...load }, ...limits };
    if (this.told.checked) return asking;
    const { precharge_ohms: ohms, link_microfarads: farads, bleed_down_ohms: down } = this.usual;
    return { ...asking, told: { precharge_ohms: ohms, link_microfarads: farads, bleed_down_ohms: down } };
  }

  /** What of a start is not as it was built. */
  name() {
    const other = [...PARTS, ...LIMITS].filter(({ key }) => this.values[key] !== this.usual[key]).map(({ key, name, unit }) => `${name.replace(/ \(.*/, '')} ${this.says(key, unit)}`);
    if (!this.told.checked) other.push('the firmware not told');
    return other.join(', ') || 'as it was built';
  }

  async start() {
    this.busy = true;
    const name = this.name();
    const asked = { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(this.asking()) };
    const start = await fetch(address('/api/bench'), asked).then((answer) => answer.json()).catch((error) => ({ kind: 'refused', said: error.message }));
    this.busy = false;
    if (this.waits) {
      this.waits = false;
      this.start();
    }
    if (start.kind !== 'bench') return this.page.refused(start);
    this.now = { ...start, name };
    this.render();
  }

  keep() {
    if (this.now) this.kept = [...this.kept, this.now].slice(1 - SIGNS.length);
    this.render();
  }

  /** Drawn anew, with other inks or larger letters. */
  again() {
    if (this.open && this.now) this.render();
  }

  render() {
    const { now } = this;
    if (!now) return;
    this.atOnce.className = now.possible ? '' : 'alarming';
    say(this.atOnce, now.at_once);
    say(this.ends, now.ends);
    const starts = [now, ...this.kept];
    const rows = starts.map((start, place) => make('tr', {},
      make('th', { scope: 'row' }, this.sign(place), ` ${start.name}`),
      make('td', start.possible ? {} : { class: 'alarming' }, start.ends || start.at_once),
      make('td', start.hottest_celsius > start.rated_celsius ? { class: 'alarming' } : {}, start.heat || 'Nothing was switched.')));
    this.beside.replaceChildren(make('table', {},
      make('thead', {}, make('tr', {}, ...['start', 'how it ends', 'the resistor'].map((head) => make('th', { scope: 'col' }, head)))),
      make('tbody', {}, rows)));
    this.checks.replaceChildren(...now.checks.map(({ ms, said }) => make('li', {}, `${digits(ms, 0)} ms: ${said}`)));
    this.plots.forEach((plot) => plot.destroy());
    this.charts.replaceChildren();
    const drawn = starts.map((start, place) => ({ start, sign: SIGNS[place] })).filter(({ start }) => start.ms.length);
    this.plots = now.ms.length ? PANES.map((pane) => this.chart(pane, drawn)) : [];
  }

  /**
   * The sign of a start, as its curves are drawn.
   * @param {number} place
   */
  sign(place) {
    return make('svg:svg', { width: 26, height: 10, 'aria-hidden': 'true' }, make('svg:path', { d: 'M1 5h24', 'stroke-width': 2, stroke: `var(--${SIGNS[place].ink})`, 'stroke-dasharray': SIGNS[place].dash.join(' ') || null }));
  }

  /**
   * One quantity of all starts over the same times; the first of them has the band.
   * @param {typeof PANES[number]} pane
   * @param {{ start: Named, sign: typeof SIGNS[number] }[]} drawn
   */
  chart({ name, key, height, band }, drawn) {
    const ms = [...new Set(drawn.flatMap(({ start }) => start.ms))].sort((a, b) => a - b);
    const column = (/** @type {Named} */ start, /** @type {typeof key | 'fast_volts' | 'slow_volts' | 'expected_volts'} */ values) => {
      const known = new Map(start.ms.map((at, place) => [at, start[values][place]]));
      return ms.map((at) => known.get(at) ?? null);
    };
    const own = drawn.map(({ start, sign }) => ({ label: start.name, stroke: ink(sign.ink), dash: sign.dash, width: 2 * scale(), spanGaps: true, points: { show: false } }));
    /** @type {('fast_volts' | 'slow_volts' | 'expected_volts')[]} */
    const around = band ? ['fast_volts', 'slow_volts', 'expected_volts'] : [];
    const curves = around.map((curve) => ({ label: curve, stroke: ink('faint'), dash: curve === 'expected_volts' ? [1, 3] : [10, 4], width: 1.2 * scale(), spanGaps: true, points: { show: false } }));
    const plot = new uPlot({
      width: this.charts.clientWidth, height: height * scale(), padding: [6, 8, 0, 0], legend: { show: false },
      scales: { x: { time: false } }, cursor: { sync: { key: 'bench' }, drag: { x: false, y: false } },
      bands: band ? [{ series: [1, 2], fill: ink('ground') }] : [],
      axes: [{ ...axis(), size: 30 * scale(), values: (_, at) => at.map((value) => `${value} ms`) }, { ...axis(), size: 60 * scale() }],
      // The band first: what comes later is drawn over it.
      series: [{}, ...curves, ...own],
    }, /** @type {uPlot.AlignedData} */ ([ms, ...around.map((curve) => column(drawn[0].start, curve)), ...drawn.map(({ start }) => column(start, key))]), make('div', {}));
    const told = band ? [make('span', {}, '— — band: twice the speed to a third of it'), make('span', {}, '· · · expected')] : [];
    this.charts.append(make('figure', { class: 'chart' }, make('figcaption', {}, make('strong', {}, name), ...told), plot.root));
    plot.root.setAttribute('aria-hidden', 'true');
    return plot;
  }
}
