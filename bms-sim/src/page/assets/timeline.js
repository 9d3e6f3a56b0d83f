// The time line: values over time, with the twin or another branch beside them.
import uPlot from './vendor/uPlot.esm.js';
import { axis, by, digits, ink, make, say, scale } from './dom.js';
import { Lanes } from './lanes.js';

/** @import { Answer, Column, Series, View } from './protocol' */
/** @import { Looks } from './place.js' */
/** @import { Page } from './main.js' */

/** Room for the numbers beside the curves, and the heights of a chart without and with times below it, in pixels of usual letters. */
const NAMES = 62;
const HEIGHTS = [86, 106];
/** From this width on two charts stand beside each other, with this gap. */
const WIDE = 900;
const GAP = 16;
/** What is compared with is wider and paler: still three times as dark or light as what it is drawn on. */
const FAINT = 0.7;
/** While time runs, curves grow so often, in milliseconds. */
const GROWS_MS = 250;

/** @typedef {{ key: Column, name: string, ink: string, dash?: number[], faint?: boolean }} Curve */
/** @typedef {{ name: string, unit: string, behind?: number, curves: Curve[] }} Chart */

/** @type {Chart[]} */
const CHARTS = [
  { name: 'current, A (positive charges)', unit: 'A', curves: [
    { key: 'current_amps', name: 'current', ink: 'cell' },
    { key: 'charge_limit_amps', name: 'may charge', ink: 'ink', dash: [6, 4] },
    { key: 'discharge_limit_amps', name: 'may discharge', ink: 'ink', dash: [2, 3] }] },
  { name: 'cells, V', unit: 'V', behind: 3, curves: [
    { key: 'highest_cell_volts', name: 'highest', ink: 'wrong' },
    { key: 'lowest_cell_volts', name: 'lowest', ink: 'cell', dash: [6, 3] }] },
  { name: 'pack and link, V', unit: 'V', curves: [
    { key: 'pack_volts', name: 'pack', ink: 'ink' },
    { key: 'link_volts', name: 'link', ink: 'cell', dash: [6, 3] }] },
  { name: 'cells in truth, °C', unit: '°C', curves: [
    { key: 'true_warmest_cell_celsius', name: 'warmest', ink: 'wrong' },
    { key: 'true_coldest_cell_celsius', name: 'coldest', ink: 'cell', dash: [6, 3] }] },
];

export class TimeLine {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    /** @type {uPlot[]} */
    this.plots = [];
    /** @type {Chart[]} */
    this.shown = [];
    /** What each curve reads where somebody looks, chart by chart. @type {HTMLElement[][]} */
    this.read = [];
    /** @type {Series | null} */
    this.series = null;
    /** @type {Series | null} */
    this.other = null;
    /** @type {[number, number] | null} */
    this.between = null;
    /** @type {string | null} */
    this.branch = null;
    this.seen = 0;
    this.drawn = 0;
    this.width = 0;
    /** The time at which the charts have their line. */
    this.stands = -1;
    this.lanes = new Lanes();
    this.against = make('select', { 'aria-label': 'Compare with', onchange: () => this.compare() });
    this.ahead = make('button', { 'aria-pressed': 'false', onclick: () => this.future() }, 'Show what comes');
    by('looks').append(
      make('label', {}, 'compare with ', this.against),
      this.ahead,
      make('button', { onclick: () => this.zoom(0.5) }, 'Closer'),
      make('button', { onclick: () => this.zoom(2) }, 'Wider'),
      make('button', { onclick: () => this.whole() }, 'All of it'),
      make('button', { onclick: () => this.table() }, 'As a table'));
    const again = () => this.draw();
    for (const query of ['(prefers-color-scheme: dark)', 'print']) matchMedia(query).addEventListener('change', again);
    new ResizeObserver(() => this.resize()).observe(by('charts'));
  }

  begin() {
    this.between = null;
    this.branch = null;
    this.against.value = '';
    this.seen = 0;
  }

  looksAhead() { return this.ahead.matches('[aria-pressed=true]'); }

  /** How it is looked at, for the address. @returns {Looks} */
  looks() {
    return { beside: this.against.value, between: this.between ?? undefined, ahead: this.looksAhead() };
  }

  /** @param {Looks} looks */
  async looked({ beside = '', between, ahead = false }) {
    if (ahead !== this.looksAhead()) this.future();
    if (JSON.stringify(between ?? null) === JSON.stringify(this.between) && beside === this.against.value) return;
    this.between = between ?? null;
    this.against.value = [...this.against.options].some(({ value }) => value === beside) ? beside : '';
    await this.fetch();
    this.page.remember();
  }

  /**
   * Shows where a view stands; asks for the curves when it stands in a branch that is not known yet.
   * @param {View} view
   * @param {boolean} fast
   */
  async show(view, fast) {
    if (view.branch !== this.branch) {
      this.branch = view.branch;
      this.choices(view);
      await this.fetch();
      return;
    }
    if (view.seconds > this.seen) {
      this.seen = view.seconds;
      const now = performance.now();
      if (!this.looksAhead() && (!fast || now - this.drawn > GROWS_MS)) {
        this.drawn = now;
        this.data();
      }
    }
    this.cursor(view.seconds, fast);
  }

  /** @param {View} view */
  choices(view) {
    const chosen = this.against.value;
    const names = view.branches.map(({ name }) => name).filter((name) => name !== view.branch);
    this.against.replaceChildren(
      make('option', { value: '' }, 'nothing'),
      view.hidden ? '' : make('option', { value: 'twin' }, 'the twin without defects'),
      ...names.map((name) => make('option', { value: name }, name)));
    this.against.value = [...this.against.options].some(({ value }) => value === chosen) ? chosen : '';
    const listed = view.branches.map(({ name, said }) => make('li', {},
      make('button', { 'aria-pressed': String(name === view.branch), onclick: () => this.page.act({ do: 'go', branch: name }) }, name), ' ', said.replace(/^(here: )?[^,]*, /, '')));
    by('branches').replaceChildren(make('h3', {}, 'Branches'), make('ul', {}, listed));
  }

  /**
   * @param {Record<string, unknown>} more
   * @returns {Promise<Answer>}
   */
  ask(more) {
    const between = this.between ? { between: this.between } : {};
    return this.page.line.ask({ do: 'series', ...between, ...more });
  }

  async fetch() {
    const branch = this.branch;
    const series = await this.ask({ branch });
    if (series.kind !== 'series' || branch !== this.branch) return;
    this.series = series;
    this.seen = Math.max(this.page.view?.seconds ?? 0, 0);
    await this.compare(true);
  }

  /** Brings what is compared with; says in words what differs when somebody has just chosen it. */
  async compare(quietly = false) {
    const chosen = this.against.value;
    /** @type {Series | null} */
    let other = null;
    if (chosen) {
      const answer = await this.ask(chosen === 'twin' ? { twin: true } : { branch: chosen });
      if (answer.kind === 'series') other = answer;
      if (!quietly && chosen !== 'twin') {
        const said = await this.page.line.ask({ do: 'compare', one: this.branch, other: chosen });
        if (said.kind === 'lines') this.page.acts.dialog(`${this.branch} and ${chosen}`, make('pre', { tabindex: 0 }, said.lines.join('\n')));
      }
    }
    // Not before: the charts that are there have no curves for it.
    this.other = other;
    this.draw();
    if (!quietly) this.page.remember();
  }

  future() {
    this.ahead.setAttribute('aria-pressed', String(!this.looksAhead()));
    this.data();
    this.page.remember();
  }

  /** How many charts stand beside each other. */
  beside() { return by('charts').clientWidth >= WIDE * scale() ? 2 : 1; }

  chartWidth() { return Math.floor((by('charts').clientWidth - (this.beside() - 1) * GAP) / this.beside()); }

  /** How many moments of the curves may be seen. */
  until() {
    const { seconds } = /** @type {Series} */ (this.series);
    if (this.looksAhead()) return seconds.length;
    const beyond = seconds.findIndex((at) => at > this.seen);
    return beyond < 0 ? seconds.length : beyond;
  }

  /**
   * Columns of a chart: those of the branch, and those of the other one brought to the same times.
   * @param {Chart} chart
   */
  columns(chart) {
    const series = /** @type {Series} */ (this.series);
    const { other } = this;
    const until = this.until();
    const own = chart.curves.map(({ key }) => (series[key] ?? []).map((value, place) => (place < until ? value : null)));
    const beside = !other ? [] : chart.curves.map(({ key }) => {
      let near = 0;
      return series.seconds.map((seconds, place) => {
        while (near + 1 < other.seconds.length && other.seconds[near + 1] <= seconds) near += 1;
        return place < until && other.seconds.length ? other[key]?.[near] ?? null : null;
      });
    });
    return /** @type {uPlot.AlignedData} */ ([series.seconds, ...beside, ...own]);
  }

  /**
   * The curves of a chart: what is compared with first, so that the branch is drawn over it.
   * @param {Chart} chart
   */
  curves(chart) {
    const { other } = this;
    return [...(other ? chart.curves.map((curve) => ({ ...curve, name: `${curve.name}, ${other.of}`, faint: true })) : []), ...chart.curves];
  }

  draw() {
    const { series } = this;
    if (!series) return;
    this.plots.splice(0).forEach((plot) => plot.destroy());
    const charts = by('charts');
    charts.replaceChildren();
    charts.classList.toggle('pairs', this.beside() === 2);
    // Of a hidden case there is no truth.
    this.shown = CHARTS.filter(({ curves: [{ key }] }) => series[key]);
    this.read = [];
    this.plots = this.shown.map((chart, place) => this.chart(chart, place >= this.shown.length - this.beside()));
    this.drawLanes();
    this.cursor(this.page.view?.seconds ?? 0);
  }

  /**
   * @param {Chart} chart
   * @param {boolean} last whether times stand below it
   */
  chart(chart, last) {
    const curves = this.curves(chart);
    const behind = chart.behind ?? 0;
    const axes = [
      { ...axis(), size: (last ? 30 : 12) * scale(), values: (/** @type {unknown} */ _, /** @type {number[]} */ at) => at.map((seconds) => (last ? `${seconds} s` : '')) },
      { ...axis(), size: NAMES * scale(), values: (/** @type {unknown} */ _, /** @type {number[]} */ at) => at.map((value) => digits(value, chart.behind ?? (Math.abs(at[1] - at[0]) < 1 ? 1 : behind))) },
    ];
    const plot = new uPlot({
      width: this.chartWidth(), height: HEIGHTS[Number(last)] * scale(), padding: [6, 8, 0, 0],
      scales: { x: { time: false, range: (_, from, to) => this.between ?? [from, to] } },
      axes,
      cursor: { sync: { key: 'time' }, drag: { x: true, y: false, setScale: false } },
      legend: { show: false },
      series: [{}, ...curves.map((curve) => ({
        label: curve.name, stroke: ink(curve.ink), dash: curve.dash?.map((long) => long * scale()), width: (curve.faint ? 4 : 1.6) * scale(), alpha: curve.faint ? FAINT : 1, points: { show: false },
      }))],
      hooks: { setSelect: [(self) => this.selected(self)], draw: [(self) => this.here(self)], setCursor: [(self) => this.tell(self)] },
    }, this.columns(chart), make('div', {}));
    const reads = chart.curves.map(() => make('span', { class: 'reads' }));
    this.read.push(reads);
    const signs = chart.curves.map((curve, place) => make('span', {}, this.sign(curve), ` ${curve.name} `, reads[place]));
    const beside = this.other ? make('span', {}, this.sign(curves[0]), ` wide and pale: ${this.other.of}`) : null;
    by('charts').append(make('figure', { class: 'chart' }, make('figcaption', {}, make('strong', {}, chart.name), ' ', ...signs, beside), plot.root));
    plot.root.setAttribute('aria-hidden', 'true');
    plot.over.addEventListener('dblclick', () => this.page.act({ do: 'to', seconds: plot.posToVal(plot.cursor.left ?? 0, 'x') }));
    return plot;
  }

  /**
   * The sign of a curve, as it is drawn.
   * @param {Curve} curve
   */
  sign({ ink: name, dash, faint }) {
    return make('svg:svg', { width: 26, height: 10, 'aria-hidden': 'true' }, make('svg:path', {
      d: 'M1 5h24', fill: 'none', stroke: `var(--${name})`, 'stroke-width': faint ? 4 : 1.6, 'stroke-opacity': faint ? FAINT : 1, 'stroke-dasharray': dash?.join(' '),
    }));
  }

  /** New curves into the charts that there are. */
  data() {
    if (!this.series) return;
    this.plots.forEach((plot, place) => plot.setData(this.columns(this.shown[place])));
    this.drawLanes();
  }

  /**
   * The line at the tick that is shown, over a chart.
   * @param {uPlot} plot
   */
  here(plot) {
    const at = plot.valToPos(this.page.view?.seconds ?? 0, 'x', true);
    const { ctx, bbox } = plot;
    if (at < bbox.left || at > bbox.left + bbox.width) return;
    ctx.save();
    ctx.fillStyle = ink('focus');
    ctx.fillRect(Math.round(at) - 1, bbox.top, 2 * devicePixelRatio, bbox.height);
    ctx.restore();
  }

  /** @param {number} seconds */
  cursor(seconds, fast = false) {
    if (!fast) this.plots.forEach((plot) => this.tell(plot));
    if (this.stands === seconds) return;
    this.stands = seconds;
    this.plots.forEach((plot) => plot.redraw(false, false));
    this.lanes.stand(this.across(seconds));
  }

  /**
   * What the curves read: under the pointer, or where somebody stands.
   * @param {uPlot} plot
   */
  tell(plot) {
    const place = this.plots.indexOf(plot);
    const { series } = this;
    if (place < 0 || !series) return;
    const stands = series.seconds.findLastIndex((at) => at <= (this.page.view?.seconds ?? 0) + 1e-9);
    const pointed = (plot.cursor.left ?? -1) >= 0 ? plot.cursor.idx : null;
    const { unit, behind = 1 } = this.shown[place];
    const reads = this.read[place];
    const number = (/** @type {number} */ column) => {
      const value = plot.data[column]?.[pointed ?? stands];
      return value == null ? '' : digits(value, behind);
    };
    // What is compared with stands before the branch.
    const before = plot.data.length - 1 - reads.length;
    reads.forEach((read, curve) => {
      const [own, other] = [number(before + curve + 1), before ? number(curve + 1) : ''];
      say(read, `${own}${other && ` / ${other}`}${own && ` ${unit}`}`);
    });
  }

  /** From and to which time is shown. @returns {[number, number]} */
  span() {
    const { series, between } = this;
    return between ?? [series?.seconds[0] ?? 0, series?.seconds.at(-1) ?? 1];
  }

  /**
   * Where a time stands from the left, in pixels.
   * @param {number} seconds
   */
  across(seconds) {
    const [from, to] = this.span();
    const names = NAMES * scale();
    return names + ((this.chartWidth() - names - 8) * (seconds - from)) / Math.max(to - from, 1e-9);
  }

  /**
   * What happened, and where branches part from this one, or this one from another.
   * @param {Series} series
   * @returns {import('./lanes.js').Mark[]}
   */
  marks({ events, seconds, played: ticks }) {
    const { page } = this;
    const happened = events.map(({ played, ...event }) => ({ ...event, goes: () => page.act({ do: 'to', played }) }));
    const parted = (page.view?.branches ?? []).filter(({ name, from }) => from && (from === this.branch || name === this.branch)).map(({ name, from, at_played: at }) => {
      const other = name === this.branch ? from : name;
      const place = ticks.findIndex((played) => played >= at);
      return { seconds: seconds[place] ?? 0, sort: /** @type {const} */ ('branch'), sentence: `${name} parts from ${from}`, goes: () => page.act({ do: 'go', branch: other }) };
    });
    return [...happened, ...parted];
  }

  drawLanes() {
    const { series } = this;
    if (!series) return;
    const [from, to] = this.span();
    const end = this.looksAhead() ? to : Math.min(to, Math.max(this.seen, from));
    this.lanes.draw(series, this.marks(series), [from, end], (seconds) => this.across(seconds), this.chartWidth(), this.page.view?.seconds ?? 0);
  }

  /** @param {uPlot} plot */
  selected(plot) {
    const { left, width } = plot.select;
    if (width < 4) return;
    this.look([plot.posToVal(left, 'x'), plot.posToVal(left + width, 'x')]);
    plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
  }

  /** @param {number} factor */
  zoom(factor) {
    const { view } = this.page;
    if (!this.series || !view) return;
    const [from, to] = this.span();
    const half = Math.max((factor * (to - from)) / 2, 0.05);
    const middle = Math.min(Math.max(view.seconds, from), to);
    const end = view.end_seconds;
    const begin = Math.max(0, Math.min(middle - half, end - 2 * half));
    if (begin <= 0 && begin + 2 * half >= end) this.whole();
    else this.look([begin, Math.min(end, begin + 2 * half)]);
  }

  whole() { return this.look(null); }

  /** @param {[number, number] | null} between */
  async look(between) {
    this.between = between;
    await this.fetch();
    this.page.remember();
  }

  /** The same as a table, for whoever reads. */
  table() {
    const { series } = this;
    if (!series) return;
    const until = this.until();
    const every = Math.max(1, Math.ceil(until / 60));
    const curves = this.shown.flatMap(({ curves: own, unit, behind = 1 }) => own.map((curve) => ({ ...curve, unit, behind })));
    const rows = series.seconds.map((seconds, place) => ({ seconds, place })).filter(({ place }) => place < until && place % every === 0);
    const events = series.events.filter(({ seconds }) => this.looksAhead() || seconds <= this.seen).slice(0, 200);
    this.page.acts.dialog('Values over time',
      make('p', {}, 'Events'),
      make('ul', {}, events.map(({ seconds, sentence }) => make('li', {}, `${digits(seconds, 2)} s: ${sentence}`))),
      make('div', { class: 'wide', tabindex: 0 }, make('table', {},
        make('thead', {}, make('tr', {}, make('th', { scope: 'col' }, 'time, s'), ...curves.map(({ name, unit }) => make('th', { scope: 'col' }, `${name}, ${unit}`)))),
        make('tbody', {}, ...rows.map(({ seconds, place }) => make('tr', {}, make('th', { scope: 'row' }, digits(seconds, 2)),
          ...curves.map(({ key, behind }) => make('td', {}, digits(series[key]?.[place] ?? 0, behind)))))))));
  }

  resize() {
    const width = by('charts').clientWidth;
    if (this.width === width || !this.plots.length) return;
    this.width = width;
    this.draw();
  }
}
