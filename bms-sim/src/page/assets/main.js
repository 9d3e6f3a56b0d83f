// The page: what a tab knows, what it asks, and who draws the answer.
import { Line, address, list } from './link.js';
import { make, by, say } from './dom.js';
import { Circuit } from './circuit.js';
import { Reasons } from './reasons.js';
import { Acts } from './acts.js';
import { Bench } from './bench.js';
import { TimeLine } from './timeline.js';
import { owned, remembered, remember } from './place.js';

/** How often what is only read, and not looked at, is drawn while time runs. */
const READ_MS = 250;

const SPEEDS = [0.1, 0.5, 1, 2, 5, 10, 30, 100];

export class Page {
  constructor(lists) {
    this.lists = lists;
    this.view = null;
    this.story = null;
    this.speed = 1;
    this.read = 0;
    this.circuit = new Circuit((at) => this.acts.at(at));
    this.reasons = new Reasons(lists);
    this.acts = new Acts(this);
    this.time = new TimeLine(this);
    this.bench = new Bench(this);
    this.transport();
    document.addEventListener('keydown', (key) => this.key(key));
    addEventListener('hashchange', () => this.restore());
    this.line = new Line({ up: () => this.up(), down: () => this.trouble('The line to the server is cut. Trying again …') });
  }

  async up() {
    this.trouble('');
    if (this.story) await this.act({ do: 'look' });
    else await this.restore();
  }

  /** Stands where the address says; or at the start of the first case. */
  async restore() {
    const wanted = remembered();
    if (wanted && this.same(wanted)) return;
    const answer = await this.line.ask(wanted ? { do: 'load', ...wanted } : { do: 'story' });
    owned(wanted ?? {});
    if (answer.kind === 'story') await this.begin(answer);
    else this.refused(answer);
  }

  same({ case: name, played, changes = [] }) {
    const { view } = this;
    return view && view.case === name && view.played === played && JSON.stringify(view.changes) === JSON.stringify(changes);
  }

  async load(what) {
    const answer = await this.line.ask({ do: 'load', ...what });
    if (answer.kind === 'story') {
      owned(what);
      await this.begin(answer);
    }
    return answer;
  }

  async begin(story) {
    this.story = story;
    say(by('title'), story.title);
    say(by('story'), story.story);
    document.title = story.title;
    this.circuit.draw(story);
    this.reasons.forget();
    this.time.begin();
    this.ofCase = await list(`/api/session/${this.line.session}/lists`);
    this.acts.begin(story);
    await this.act({ do: 'look' });
  }

  /** What was hidden is shown from now on. */
  async shownAll() {
    const story = await this.line.ask({ do: 'story' });
    this.acts.begin(story);
    this.story = story;
    say(by('title'), story.title);
    say(by('story'), story.story);
    this.time.begin();
    await this.act({ do: 'look' });
  }

  /** Does something and shows what comes of it. Gives whether it was done. */
  async act(command) {
    const answer = await this.line.ask(command);
    if (answer.kind !== 'view') {
      this.refused(answer);
      return false;
    }
    const ran = Boolean(this.view?.speed);
    this.show(answer, false);
    if (answer.speed && !ran) this.run();
    return true;
  }

  /** Frames are asked for one by one, when the browser is about to draw. */
  run() {
    const frame = async () => {
      const answer = await this.line.ask({ do: 'frame' });
      if (answer.kind !== 'view') return this.refused(answer);
      const now = performance.now();
      const read = now - this.read > READ_MS || !answer.speed;
      if (read) this.read = now;
      this.show(answer, !read);
      if (answer.speed) requestAnimationFrame(frame);
    };
    requestAnimationFrame(frame);
  }

  show(view, fast) {
    const before = this.view;
    this.view = view;
    this.circuit.show(view, fast);
    this.standing(view);
    this.time.show(view, fast);
    if (!fast) {
      this.reasons.show(view);
      this.acts.show(view);
      this.happened(view);
    }
    if (!view.speed) remember(view);
    this.announce(view, before);
  }

  standing(view) {
    const speed = view.speed ? `runs ${view.speed}×` : view.over ? 'the story is over' : 'stands';
    say(by('standing'), `${view.clock}, tick ${Math.max(0, view.played - 1)} of ${view.ticks} · ${view.branch} · ${speed}`);
    by('play').setAttribute('aria-pressed', Boolean(view.speed));
    say(by('play'), view.speed ? 'Pause' : 'Play');
    by('undo').disabled = view.branch === 'original';
  }

  happened(view) {
    const items = view.recent.map(({ clock, sentence, played }) => make('li', {},
      make('button', { class: 'link', onclick: () => this.act({ do: 'to', played }) }, clock), ' ', sentence));
    by('happened').replaceChildren(make('h3', {}, 'What happened last'), make('ol', { reversed: true }, items.reverse()));
  }

  /** A change of what matters is said once, for whoever does not see it. */
  announce(view, before) {
    if (!view.stop) return;
    const state = ({ stop }) => [stop.step, stop.confirmed.join(), stop.suspect.join(), stop.reaction?.reaction].join('|');
    if (before?.stop && state(view) === state(before) && (view.speed || view.played === before.played)) return;
    if (view.speed && before?.stop && state(view) === state(before)) return;
    const faults = view.lines.filter(({ name }) => ['sequence', 'faults', 'reaction'].includes(name)).map(({ name, text }) => `${name} ${text}`);
    say(by('live'), `${view.clock}: ${faults.join('; ')}`);
  }

  refused(answer) {
    this.trouble(answer.said ?? 'That was not done.');
  }

  trouble(text) {
    say(by('trouble'), text);
    clearTimeout(this.calms);
    if (text) this.calms = setTimeout(() => say(by('trouble'), ''), 8000);
  }

  transport() {
    const step = (ticks) => () => this.act({ do: 'step', ticks });
    const next = (back) => () => this.act({ do: 'next', what: this.what.value, back });
    this.what = make('select', { 'aria-label': 'What to go to' },
      ...[['event', 'anything'], ['stage', 'change of a fault'], ['reaction', 'change of reaction'], ['contactors', 'move of the contactors'], ['act', 'act of the operator']]
        .map(([value, name]) => make('option', { value }, name)));
    this.fast = make('select', { 'aria-label': 'Speed', onchange: () => this.faster(Number(this.fast.value)) },
      ...SPEEDS.map((speed) => make('option', { value: speed, selected: speed === 1 }, `${speed}×`)));
    this.at = make('input', { type: 'number', min: 0, step: 'any', style: null, size: 7, 'aria-label': 'Go to this time, in seconds', placeholder: 's' });
    by('transport').append(
      make('button', { onclick: () => this.act({ do: 'to', played: 1 }), 'aria-label': 'To the start' }, '|◂'),
      make('button', { onclick: next(true), 'aria-label': 'Back to the event before' }, '◂◂'),
      make('button', { onclick: step(-1), 'aria-label': 'One tick back' }, '◂'),
      make('button', { id: 'play', 'aria-pressed': 'false', onclick: () => this.toggle() }, 'Play'),
      make('button', { onclick: step(1), 'aria-label': 'One tick on' }, '▸'),
      make('button', { onclick: next(false), 'aria-label': 'On to the next event' }, '▸▸'),
      this.what, this.fast,
      make('form', { onsubmit: (submitted) => { submitted.preventDefault(); this.act({ do: 'to', seconds: Number(this.at.value) }); } }, this.at, make('button', {}, 'Go')),
      make('button', { id: 'undo', onclick: () => this.act({ do: 'undo' }) }, 'Undo'),
      make('button', { id: 'large', 'aria-pressed': 'false', onclick: () => this.large() }, 'Large'),
      make('button', { onclick: () => this.acts.keys() }, 'Keys'),
    );
  }

  /** Letters that are read from the last row of a class. */
  large() {
    const on = document.documentElement.classList.toggle('large');
    by('large').setAttribute('aria-pressed', String(on));
    this.time.draw();
  }

  toggle() {
    return this.act(this.view?.speed ? { do: 'pause' } : { do: 'play', speed: this.speed });
  }

  faster(speed) {
    this.speed = speed;
    this.fast.value = String(speed);
    if (this.view?.speed) this.act({ do: 'play', speed });
  }

  key(key) {
    if (key.key === 'z' && (key.ctrlKey || key.metaKey) && !by('undo').disabled && !by('dialog').open) {
      key.preventDefault();
      return this.act({ do: 'undo' });
    }
    if (key.ctrlKey || key.metaKey || key.altKey || by('dialog').open) return;
    if (key.target.closest('input, select, textarea, [contenteditable]')) return;
    const onButton = key.target.closest('button, summary, a');
    const back = key.key === 'ArrowLeft';
    const near = SPEEDS.indexOf(this.speed);
    if (key.key === ' ' && !onButton) this.toggle();
    else if ((back || key.key === 'ArrowRight') && key.shiftKey) this.act({ do: 'next', what: this.what.value, back });
    else if (back || key.key === 'ArrowRight') this.act({ do: 'step', ticks: back ? -1 : 1 });
    else if (key.key === 'Home') this.act({ do: 'to', played: 1 });
    else if (key.key === 'End') this.act({ do: 'to', played: this.view.ticks });
    else if (key.key === '+') this.faster(SPEEDS[Math.min(near + 1, SPEEDS.length - 1)]);
    else if (key.key === '-') this.faster(SPEEDS[Math.max(near - 1, 0)]);
    else if (!this.acts.key(key.key)) return;
    key.preventDefault();
  }
}

async function open() {
  const lists = await list('/api/lists');
  say(by('cautions'), lists.cautions);
  say(by('generator'), lists.generator);
  window.page = new Page(lists);
}

open().catch((error) => say(by('trouble'), `The page could not begin: ${error.message}`));
