// The precharge bench: parts and limits as sliders, one start at once, up to three beside each other.
import uPlot from './vendor/uPlot.esm.js';
import { address } from './link.js';
import { make, by, say, digits } from './dom.js';

/** Sliders: name, what it says, unit, least, most, whether each step is a factor. */
const PARTS = [
  ['precharge_ohms', 'precharge resistor', 'Ω', 1, 1000, true],
  ['link_microfarads', 'link capacitance', 'µF', 50, 20000, true],
  ['bleed_down_ohms', 'bleed-down resistor', 'Ω', 10, 100000, true],
  ['load_ohms', 'load left on the link (all to the right: none)', 'Ω', 1, 10000, true],
  ['pull_in_ms', 'pull-in of the contactors', 'ms', 5, 300, true],
];
const LIMITS = [
  ['end_percent', 'charged within this part of the pack', '%', 0.5, 10, false],
  ['time_constants', 'over after so many time constants', '', 2, 10, false],
  ['flat_after_ms', 'flat when nothing rose for', 'ms', 20, 400, false],
];
const STEPS = 400;
const DASHES = [undefined, [7, 4], [2, 3]];
const INKS = ['cell', 'wrong', 'ink'];

const short = (value) => Number(value.toPrecision(3));

export class Bench {
  constructor(page) {
    this.page = page;
    this.kept = [];
    this.plots = [];
  }

  get open() { return !by('bench').hidden; }

  show(on) {
    by('bench').hidden = !on;
    by('bench-open')?.setAttribute('aria-pressed', String(on));
    if (!on) return;
    if (!this.made) this.draw();
    this.start();
    by('bench').scrollIntoView({ block: 'start' });
    by('bench').focus();
  }

  /** What is built into the pack of the case. */
  usual() {
    const { precharge_ohms, link_farads, bleed_down_ohms } = this.page.story;
    return { precharge_ohms, link_microfarads: link_farads * 1e6, bleed_down_ohms, load_ohms: 10000, pull_in_ms: 20, end_percent: 5, time_constants: 6, flat_after_ms: 100 };
  }

  draw() {
    this.made = true;
    this.values = this.usual();
    this.sliders = {};
    const all = [...PARTS, ...LIMITS].map((part) => this.slider(part));
    this.told = make('input', { type: 'checkbox', checked: true, onchange: () => this.start() });
    this.atOnce = make('p', { role: 'status' });
    this.ends = make('p', {});
    this.heat = make('p', {});
    this.checks = make('ol', { class: 'checks', tabindex: 0, 'aria-label': 'What each check says' });
    this.charts = make('div', { id: 'bench-charts' });
    this.keptList = make('p', { class: 'quiet' });
    by('bench').append(
      make('div', { class: 'bench' },
        make('form', { onsubmit: (submitted) => submitted.preventDefault() },
          make('fieldset', {}, make('legend', {}, 'The parts as they are'), ...all.slice(0, PARTS.length)),
          make('label', {}, this.told, ' the firmware was told these parts; else it knows the ones the pack was built with'),
          make('fieldset', {}, make('legend', {}, 'Limits of the firmware'), ...all.slice(PARTS.length)),
          make('div', { class: 'acts' },
            make('button', { type: 'button', onclick: () => this.keep() }, 'Keep this start beside the next'),
            make('button', { type: 'button', onclick: () => { this.kept = []; this.render(); } }, 'Forget kept starts'),
            make('button', { type: 'button', onclick: () => this.back() }, 'As it was built'))),
        make('div', {}, this.atOnce, this.ends, this.heat, this.keptList, this.charts, make('h3', {}, 'What each check says, and when'), this.checks)));
  }

  slider([key, name, unit, least, most, factor]) {
    const value = (step) => short(factor ? least * (most / least) ** (step / STEPS) : least + ((most - least) * step) / STEPS);
    const step = (number) => Math.round(STEPS * (factor ? Math.log(number / least) / Math.log(most / least) : (number - least) / (most - least)));
    const whole = key === 'time_constants' || key === 'flat_after_ms';
    const read = make('output', {});
    const range = make('input', { type: 'range', min: 0, max: STEPS });
    const put = (number) => {
      const kept = whole ? Math.round(number) : number;
      this.values[key] = kept;
      const words = key === 'load_ohms' && kept >= most ? 'none' : `${kept} ${unit}`.trim();
      say(read, words);
      range.setAttribute('aria-valuetext', words);
    };
    range.addEventListener('input', () => { put(value(Number(range.value))); this.soon(); });
    this.sliders[key] = (number) => { range.value = step(number); put(number); };
    this.sliders[key](this.values[key]);
    return make('label', { class: 'slide' }, make('span', {}, name), range, read);
  }

  back() {
    for (const [key, value] of Object.entries(this.usual())) this.sliders[key](value);
    this.start();
  }

  /** While a slider moves, one start at a time. */
  soon() {
    if (this.busy) { this.again = true; return; }
    this.start();
  }

  asking() {
    const { precharge_ohms, link_microfarads, bleed_down_ohms, load_ohms, pull_in_ms, ...limits } = this.values;
    const parts = { precharge_ohms, link_microfarads, bleed_down_ohms, pull_in_ms };
    if (load_ohms < 10000) parts.load_ohms = load_ohms;
    const asking = { pack: this.page.story.pack, parts, ...limits };
    if (!this.told.checked) {
      const { precharge_ohms: r, link_microfarads: c, bleed_down_ohms: d } = this.usual();
      asking.told = { precharge_ohms: r, link_microfarads: c, bleed_down_ohms: d };
    }
    return asking;
  }

  async start() {
    this.busy = true;
    const answer = await fetch(address('/api/bench'), { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(this.asking()) });
    const start = await answer.json();
    this.busy = false;
    if (this.again) {
      this.again = false;
      this.start();
    }
    if (start.kind !== 'bench') return this.page.refused(start);
    this.now = { ...start, name: `${this.values.precharge_ohms} Ω, ${this.values.link_microfarads} µF` };
    this.render();
  }

  keep() {
    if (this.now) this.kept = [...this.kept, this.now].slice(-2);
    this.render();
  }

  render() {
    const { now } = this;
    this.atOnce.className = now.at_once ? 'alarming' : '';
    say(this.atOnce, now.at_once ?? 'This start can finish.');
    say(this.ends, `It ends ${now.ends}.`);
    const beyond = now.hottest_celsius > now.rated_celsius;
    this.heat.className = beyond ? 'alarming' : '';
    say(this.heat, `The resistor takes ${digits(now.resistor_joules)} J and reaches ${digits(now.hottest_celsius, 0)} °C; its rating is ${digits(now.rated_celsius, 0)} °C${beyond ? ', which it passes' : ''}.`);
    say(this.keptList, this.kept.length ? `Beside it: ${this.kept.map(({ name }) => name).join('; ')}` : '');
    this.checks.replaceChildren(...now.checks.map(({ ms, said }) => make('li', {}, `${digits(ms, 0)} ms: ${said}`)));
    this.chart();
  }

  /** All starts over the same times. */
  chart() {
    const starts = [this.now, ...this.kept];
    const ms = [...new Set(starts.flatMap((start) => start.ms))].sort((a, b) => a - b);
    const column = (start, key) => {
      const known = new Map(start.ms.map((at, place) => [at, start[key][place]]));
      return ms.map((at) => known.get(at) ?? null);
    };
    const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
    const panes = [
      { name: 'link, V', key: 'link_volts', band: true },
      { name: 'current, A', key: 'amps' },
      { name: 'resistor, °C', key: 'resistor_celsius' },
    ];
    this.plots.forEach((plot) => plot.destroy());
    this.charts.replaceChildren();
    this.plots = panes.map(({ name, key, band }, place) => {
      const axis = { stroke: ink('faint'), grid: { stroke: ink('ground') }, ticks: { stroke: ink('line') } };
      const own = starts.map((start, number) => ({ label: start.name, stroke: ink(INKS[number]), dash: DASHES[number], width: 2, spanGaps: true, points: { show: false } }));
      const around = band ? ['fast_volts', 'slow_volts', 'expected_volts'] : [];
      const curves = around.map((curve) => ({ label: curve, stroke: ink('faint'), dash: curve === 'expected_volts' ? [1, 3] : [10, 4], width: 1.2, spanGaps: true, points: { show: false } }));
      const data = [ms, ...starts.map((start) => column(start, key)), ...around.map((curve) => column(this.now, curve))];
      const first = starts.length + 1;
      const plot = new uPlot({
        width: this.charts.clientWidth, height: place === 0 ? 190 : 110, padding: [6, 8, 0, 0], legend: { show: false },
        scales: { x: { time: false } }, cursor: { sync: { key: 'bench' }, drag: { x: false, y: false } },
        bands: band ? [{ series: [first, first + 1], fill: ink('ground') }] : [],
        axes: [{ ...axis, values: (_, at) => at.map((value) => `${value} ms`) }, { ...axis, size: 60 }],
        series: [{}, ...own, ...curves],
      }, data, make('div', {}));
      const signs = starts.map((start, number) => make('span', {}, make('svg:svg', { width: 26, height: 10, 'aria-hidden': 'true' }, make('svg:path', { d: 'M1 5h24', 'stroke-width': 2, stroke: `var(--${INKS[number]})`, 'stroke-dasharray': DASHES[number]?.join(' ') })), ` ${start.name}`));
      const told = band ? [make('span', {}, '— — band: twice the speed to a third of it'), make('span', {}, '· · · expected')] : [];
      this.charts.append(make('figure', { class: 'chart' }, make('figcaption', {}, make('strong', {}, name), ...signs, ...told), plot.root));
      plot.root.setAttribute('aria-hidden', 'true');
      return plot;
    });
  }
}
