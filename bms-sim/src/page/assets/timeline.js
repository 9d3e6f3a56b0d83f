// The time line: values over time, what held when, what happened; with the twin or another branch beside it.
import uPlot from './vendor/uPlot.esm.js';
import { make, by, say, digits } from './dom.js';

/** Room for the names beside the curves, in pixels. */
const NAMES = 76;
/** Height of a lane, in pixels. */
const LANE = 20;
/** From this width on two charts stand beside each other, with this gap. */
const WIDE = 900;
const GAP = 16;

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

const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();

export class TimeLine {
  constructor(page) {
    this.page = page;
    this.plots = [];
    this.known = new Map();
    this.other = null;
    this.between = null;
    this.against = make('select', { 'aria-label': 'Compare with', onchange: () => this.compare() });
    this.ahead = make('button', { 'aria-pressed': 'false', onclick: () => this.future() }, 'Show what comes');
    by('looks').append(
      make('label', {}, 'beside it ', this.against),
      this.ahead,
      make('button', { onclick: () => this.zoom(0.5), 'aria-label': 'Closer' }, 'Closer'),
      make('button', { onclick: () => this.zoom(2), 'aria-label': 'Wider' }, 'Wider'),
      make('button', { onclick: () => this.whole() }, 'All of it'),
      make('button', { onclick: () => this.table() }, 'As a table'));
    this.seen = 0;
    const again = () => this.draw();
    matchMedia('(prefers-color-scheme: dark)').addEventListener('change', again);
    new ResizeObserver(() => this.resize()).observe(by('charts'));
  }

  begin() {
    this.known.clear();
    this.other = null;
    this.between = null;
    this.branch = null;
    this.seen = 0;
  }

  /** Shows where a view stands; asks for the curves when it stands in a branch that is not known yet. */
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
      if (!this.ahead.matches('[aria-pressed=true]') && (!fast || now - (this.drawn ?? 0) > 250)) {
        this.drawn = now;
        this.data();
      }
    }
    this.cursor(view.seconds);
  }

  choices(view) {
    const chosen = this.against.value;
    const names = view.branches.map(({ name }) => name).filter((name) => name !== view.branch);
    this.against.replaceChildren(
      make('option', { value: '' }, 'nothing'),
      make('option', { value: 'twin' }, 'the twin without defects'),
      ...names.map((name) => make('option', { value: name }, name)));
    this.against.value = [...this.against.options].some(({ value }) => value === chosen) ? chosen : '';
    const listed = view.branches.map(({ name, said }) => make('li', {},
      make('button', { 'aria-pressed': String(name === view.branch), onclick: () => this.page.act({ do: 'go', branch: name }) }, name), ' ', said.replace(/^(here: )?[^,]*, /, '')));
    by('branches').replaceChildren(make('h3', {}, 'Branches'), make('ul', {}, listed));
  }

  ask(more) {
    const between = this.between ? { between: this.between } : {};
    return this.page.line.ask({ do: 'series', ...between, ...more });
  }

  async fetch() {
    const branch = this.branch;
    const series = await this.ask({ branch });
    if (series.kind !== 'series' || branch !== this.branch) return;
    this.series = series;
    this.seen = Math.max(this.page.view.seconds, 0);
    await this.compare(true);
  }

  async compare(quietly) {
    const chosen = this.against.value;
    this.other = null;
    if (chosen) {
      const answer = await this.ask(chosen === 'twin' ? { twin: true } : { branch: chosen });
      if (answer.kind === 'series') this.other = answer;
      if (!quietly && chosen !== 'twin') {
        const said = await this.page.line.ask({ do: 'compare', one: this.branch, other: chosen });
        if (said.kind === 'lines') this.page.acts.dialog(`${this.branch} and ${chosen}`, make('pre', { tabindex: 0 }, said.lines.join('\n')));
      }
    }
    this.draw();
  }

  future() {
    const on = !this.ahead.matches('[aria-pressed=true]');
    this.ahead.setAttribute('aria-pressed', String(on));
    this.data();
  }

  /** How many charts stand beside each other. */
  beside() { return by('charts').clientWidth >= WIDE ? 2 : 1; }

  chartWidth() { return Math.floor((by('charts').clientWidth - (this.beside() - 1) * GAP) / this.beside()); }

  /** The part of the curves that may be seen. */
  until() {
    if (this.ahead.matches('[aria-pressed=true]')) return this.series.seconds.length;
    const beyond = this.series.seconds.findIndex((seconds) => seconds > this.seen);
    return beyond < 0 ? this.series.seconds.length : beyond;
  }

  /** Columns of a chart: those of the branch, and those of the other one brought to the same times. */
  columns(chart) {
    const { series, other } = this;

    const until = this.until();
    const own = chart.curves.map(({ key }) => series[key].map((value, place) => (place < until ? value : null)));
    if (!other) return [series.seconds, ...own];
    const beside = chart.curves.map(({ key }) => {
      let near = 0;
      return series.seconds.map((seconds, place) => {
        while (near + 1 < other.seconds.length && other.seconds[near + 1] <= seconds) near += 1;
        return place < until && other.seconds.length ? other[key]?.[near] ?? null : null;
      });
    });
    return [series.seconds, ...own, ...beside];
  }

  draw() {
    if (!this.series) return;
    this.plots.forEach((plot) => plot.destroy());
    const charts = by('charts');
    charts.replaceChildren();
    charts.classList.toggle('pairs', this.beside() === 2);
    const width = this.chartWidth();
    // Of a hidden case there is no truth.
    this.shown = CHARTS.filter(({ curves: [{ key }] }) => this.series[key]);
    this.plots = this.shown.map((chart, place) => {
      const last = place >= this.shown.length - this.beside();
      const curves = [...chart.curves, ...(this.other ? chart.curves.map((curve) => ({ ...curve, name: `${curve.name}, ${this.other.of}`, faint: true })) : [])];
      const axis = { stroke: ink('faint'), grid: { stroke: ink('ground') }, ticks: { stroke: ink('line') } };
      const plot = new uPlot({
        width, height: last ? 118 : 96,
        padding: [6, 8, 0, 0],
        scales: { x: { time: false, range: (_, from, to) => this.between ?? [from, to] } },
        axes: [
          { ...axis, size: last ? 30 : 12, values: last ? (_, at) => at.map((seconds) => `${seconds} s`) : (_, at) => at.map(() => '') },
          { ...axis, size: NAMES, values: (_, at) => at.map((value) => digits(value, chart.behind ?? (Math.abs(at[1] - at[0]) < 1 ? 1 : 0))) }],
        cursor: { sync: { key: 'time' }, drag: { x: true, y: false, setScale: false } },
        legend: { show: false },
        series: [{}, ...curves.map((curve) => ({
          label: curve.name, stroke: ink(curve.ink), dash: curve.dash, width: curve.faint ? 4 : 1.6, alpha: curve.faint ? 0.35 : 1, points: { show: false },
        }))],
        hooks: { setSelect: [(self) => this.selected(self)], draw: [(self) => this.here(self)] },
      }, this.columns(chart), make('div', {}));
      const signs = curves.map((curve) => make('span', {}, this.sign(curve), ` ${curve.name}`));
      charts.append(make('figure', { class: 'chart' }, make('figcaption', {}, make('strong', {}, chart.name), ' ', ...signs), plot.root));
      plot.root.setAttribute('aria-hidden', 'true');
      plot.over.addEventListener('dblclick', () => this.page.act({ do: 'to', seconds: plot.posToVal(plot.cursor.left, 'x') }));
      return plot;
    });
    this.lanes();
    this.cursor(this.page.view.seconds);
  }

  /** A piece of the curve, for the legend. */
  sign({ ink: name, dash, faint }) {
    return make('svg:svg', { width: 26, height: 10, 'aria-hidden': 'true' },
      make('svg:path', { d: 'M1 5h24', stroke: `var(--${name})`, 'stroke-width': faint ? 4 : 2, opacity: faint ? 0.35 : 1, 'stroke-dasharray': dash?.join(' ') }));
  }

  data() {
    if (!this.series || !this.plots.length) return;
    this.plots.forEach((plot, place) => plot.setData(this.columns(this.shown[place]), true));
    this.lanes();
  }

  /** A line where somebody stands. */
  here(plot) {
    const at = plot.valToPos(this.page.view.seconds, 'x', true);
    const { left, top, width, height } = plot.bbox;
    if (at < left || at > left + width) return;
    plot.ctx.save();
    plot.ctx.fillStyle = ink('focus');
    plot.ctx.fillRect(Math.round(at) - 1, top, 2 * devicePixelRatio, height);
    plot.ctx.restore();
  }

  cursor(seconds) {
    if (this.at === seconds) return;
    this.at = seconds;
    this.plots.forEach((plot) => plot.redraw(false, false));
    const line = by('lane-now');
    if (line) line.setAttribute('transform', `translate(${this.across(seconds).toFixed(1)} 0)`);
  }

  span() {
    return this.between ?? [this.series.from_seconds, this.series.to_seconds];
  }

  across(seconds) {
    const [from, to] = this.span();
    const width = by('charts').clientWidth - NAMES - 8;
    return NAMES + (width * (seconds - from)) / Math.max(to - from, 1e-9);
  }

  /** What held when: sequence, faults, defects; and the events as marks. */
  lanes() {
    by('lanes')?.remove();
    const { series } = this;
    const ahead = this.ahead.matches('[aria-pressed=true]');
    const [from, to] = this.span();
    const end = ahead ? to : Math.min(to, Math.max(this.seen, from));
    const width = by('charts').clientWidth;
    const all = [
      ...series.lanes.map((lane) => ({ ...lane, sort: 'held' })),
      ...series.defects.map(({ name, from: begins, to: ends }) => ({ name, spans: [{ word: 'defect', from: begins, to: ends }], sort: 'defect' })),
    ].filter(({ spans }) => spans.some((span) => span.from <= end && span.to >= from));
    const rows = all.length;
    const svg = make('svg:svg', { id: 'lanes', width, height: rows * LANE * 1.75 + LANE, role: 'img', 'aria-labelledby': 'lanes-said' },
      make('svg:title', { id: 'lanes-said' }, 'What held when; the table has the same in words'));
    all.forEach(({ name, spans, sort }, row) => {
      const y = row * LANE * 1.75;
      svg.append(make('svg:text', { x: 2, y: y + 13, 'font-size': 12 }, name));
      for (const span of spans) {
        const [begin, close] = [Math.max(span.from, from), Math.min(span.to, end)];
        if (close < begin) continue;
        const [left, right] = [this.across(begin), this.across(close)];
        svg.append(make('svg:rect', { class: `lane ${sort} ${span.word.toLowerCase()}`, x: left, y: y + 17, width: Math.max(2, right - left), height: 18 }));
        if (right - left > span.word.length * 7 + 6) svg.append(make('svg:text', { class: `lane-word ${sort} ${span.word.toLowerCase()}`, x: left + 4, y: y + 30, 'font-size': 12 }, span.word));
      }
    });
    const y = rows * LANE * 1.75;
    svg.append(make('svg:text', { x: 2, y: y + 15, 'font-size': 12 }, 'events'));
    const shapes = { told: 'M-3 4h6v10h-6z', act: 'M0 3l5 12h-10z', defect: 'M-5 4l10 10M5 4l-10 10', breach: 'M0 2l6 7-6 7-6-7z' };
    for (const event of series.events) {
      if (event.seconds < from || event.seconds > end) continue;
      svg.append(make('svg:path', { class: `event ${event.sort}`, d: shapes[event.sort], transform: `translate(${this.across(event.seconds).toFixed(1)} ${y})`, onclick: () => this.page.act({ do: 'to', played: event.played }) },
        make('svg:title', {}, `${digits(event.seconds, 2)} s: ${event.sentence}`)));
    }
    svg.append(make('svg:path', { id: 'lane-now', d: `M0 0V${y + LANE}`, stroke: 'var(--focus)', 'stroke-width': 2, transform: `translate(${this.across(this.page.view.seconds).toFixed(1)} 0)` }));
    by('charts').append(svg);
  }

  selected(plot) {
    const { left, width } = plot.select;
    if (width < 4) return;
    this.look([plot.posToVal(left, 'x'), plot.posToVal(left + width, 'x')]);
    plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
  }

  zoom(factor) {
    if (!this.series) return;
    const [from, to] = this.span();
    const half = Math.max((factor * (to - from)) / 2, 0.05);
    const middle = Math.min(Math.max(this.page.view.seconds, from), to);
    const end = this.page.view.end_seconds;
    const begin = Math.max(0, Math.min(middle - half, end - 2 * half));
    if (begin <= 0 && begin + 2 * half >= end) this.whole();
    else this.look([begin, Math.min(end, begin + 2 * half)]);
  }

  whole() {
    this.between = null;
    this.fetch();
  }

  look(between) {
    this.between = between;
    this.fetch();
  }

  /** The same as a table, for whoever reads. */
  table() {
    if (!this.series) return;
    const { series } = this;
    const until = this.until();
    const every = Math.max(1, Math.ceil(until / 60));
    const curves = this.shown.flatMap(({ curves: own, unit, behind }) => own.map((curve) => ({ ...curve, unit, behind: behind ?? 1 })));
    const rows = series.seconds.map((seconds, place) => ({ seconds, place })).filter(({ place }) => place < until && place % every === 0);
    this.page.acts.dialog('Values over time',
      make('p', {}, 'Events'),
      make('ul', {}, series.events.filter(({ seconds }) => this.ahead.matches('[aria-pressed=true]') || seconds <= this.seen).slice(0, 200).map(({ seconds, sentence }) => make('li', {}, `${digits(seconds, 2)} s: ${sentence}`))),
      make('div', { class: 'wide', tabindex: 0 }, make('table', {},
        make('thead', {}, make('tr', {}, make('th', { scope: 'col' }, 'time, s'), ...curves.map(({ name, unit }) => make('th', { scope: 'col' }, `${name}, ${unit}`)))),
        make('tbody', {}, ...rows.map(({ seconds, place }) => make('tr', {}, make('th', { scope: 'row' }, digits(seconds, 2)), ...curves.map(({ key, behind }) => make('td', {}, digits(series[key][place], behind)))))))));
  }

  resize() {
    const width = by('charts').clientWidth;
    if (this.width === width || !this.plots.length) return;
    this.width = width;
    this.draw();
  }
}
