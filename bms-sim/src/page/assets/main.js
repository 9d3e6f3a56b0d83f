// The page: what a tab knows, what it asks, and who draws the answer.
import { Line, list } from './link.js';
import { button, by, dialog, make, say } from './dom.js';
import { Circuit } from './circuit.js';
import { Reasons } from './reasons.js';
import { Acts } from './acts.js';
import { Bench } from './bench.js';
import { Transport } from './transport.js';
import { TimeLine } from './timeline.js';
import { looked, owned, remember, remembered } from './place.js';

/** @import { Answer, Command, Lists, OfCase, Story, View, Wanted } from './protocol' */

/** How often what is only read, and not looked at, is drawn while time runs. */
const READ_MS = 250;

export class Page {
  /** @param {Lists} lists */
  constructor(lists) {
    this.lists = lists;
    /** @type {View | null} */
    this.view = null;
    /** @type {Story | null} */
    this.story = null;
    /** @type {OfCase} */
    this.ofCase = { defects: [], repairs: [], faults: [] };
    this.read = 0;
    /** @type {number | undefined} */
    this.calms = undefined;
    this.circuit = new Circuit((at) => this.acts.defects.at(at));
    this.reasons = new Reasons(lists);
    this.acts = new Acts(this);
    this.time = new TimeLine(this);
    this.bench = new Bench(this);
    this.transport = new Transport(this);
    document.addEventListener('keydown', (key) => this.key(key));
    addEventListener('hashchange', () => this.restore());
    // What is not part of the first screen must not be hidden by what sticks to its top.
    new ResizeObserver(() => document.documentElement.style.setProperty('--head', `${by('head').offsetHeight}px`)).observe(by('head'));
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
    const looks = looked();
    if (!wanted || !this.same(wanted)) {
      const answer = await this.line.ask(wanted ? { do: 'load', ...wanted } : { do: 'story' });
      owned(wanted ?? {});
      if (answer.kind === 'story') await this.begin(answer);
      else this.refused(answer);
    }
    if (!this.story) return;
    if (looks.large !== this.transport.isLarge()) this.transport.large();
    this.bench.looked(looks.bench);
    await this.time.looked(looks);
  }

  /** @param {Wanted} wanted */
  same({ case: name, played, changes = [] }) {
    const { view } = this;
    return view && view.case === name && view.played === played && JSON.stringify(view.changes) === JSON.stringify(changes);
  }

  /** @param {Wanted} what */
  async load(what) {
    const answer = await this.line.ask({ do: 'load', ...what });
    if (answer.kind === 'story') {
      owned(what);
      await this.begin(answer);
    }
    return answer;
  }

  /** @param {Story} story */
  async begin(story) {
    this.circuit.draw(story);
    this.reasons.forget();
    await this.tell(story);
  }

  /** What was hidden is shown from now on. */
  async shownAll() {
    const story = await this.line.ask({ do: 'story' });
    if (story.kind === 'story') await this.tell(story);
  }

  /** @param {Story} story */
  async tell(story) {
    this.story = story;
    say(by('title'), story.title);
    say(by('story'), story.story);
    document.title = story.title;
    this.time.begin();
    this.bench.begin(story);
    this.ofCase = await list(`/api/session/${this.line.session}/lists`);
    this.acts.begin(story);
    await this.act({ do: 'look' });
  }

  /**
   * Does something and shows what comes of it. Gives whether it was done.
   * @param {Command} command
   */
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

  /**
   * @param {View} view
   * @param {boolean} fast leaves out what only somebody who reads needs
   */
  show(view, fast) {
    const before = this.view;
    this.view = view;
    this.circuit.show(view, fast);
    this.transport.show(view);
    this.time.show(view, fast);
    if (!fast) {
      this.reasons.show(view);
      this.acts.show(view);
      this.happened(view);
    }
    this.remember();
    this.announce(view, before);
  }

  /** The address says what is seen, once it stands. */
  remember() {
    if (!this.view || this.view.speed) return;
    remember(this.view, { ...this.time.looks(), large: this.transport.isLarge(), bench: this.bench.looks() });
  }

  /** @param {View} view */
  happened({ recent }) {
    const items = recent.map(({ clock, sentence, played }) => make('li', {},
      make('button', { class: 'link', onclick: () => this.act({ do: 'to', played }) }, clock), ' ', sentence));
    by('happened').replaceChildren(make('h3', {}, 'What happened last'), make('ol', { reversed: true }, items.reverse()));
  }

  /**
   * A change of what matters is said once, for whoever does not see it.
   * @param {View} view
   * @param {View | null} before
   */
  announce(view, before) {
    if (!view.stop) return;
    const state = (/** @type {View} */ { stop }) => [stop.step, stop.confirmed.join(), stop.suspect.join(), stop.reaction?.reaction].join('|');
    const same = before?.stop && state(view) === state(before);
    if (same && (view.speed || view.played === before.played)) return;
    const faults = view.lines.filter(({ name }) => name && ['sequence', 'faults', 'reaction'].includes(name)).map(({ name, text }) => `${name} ${text}`);
    say(by('live'), `${view.clock}: ${faults.join('; ')}`);
  }

  /** @param {Answer} answer */
  refused(answer) {
    this.trouble(answer.kind === 'refused' ? answer.said : 'That was not done.');
  }

  /** @param {string} text */
  trouble(text) {
    say(by('trouble'), text);
    clearTimeout(this.calms);
    if (text) this.calms = setTimeout(() => say(by('trouble'), ''), 8000);
  }

  /** @param {KeyboardEvent} key */
  key(key) {
    if (dialog().open || key.altKey) return;
    // A letter alone acts only for whoever wants that: who speaks to the page may say one without meaning it.
    if (!this.acts.letters && key.key.length === 1 && key.key !== ' ' && !key.ctrlKey && !key.metaKey) return;
    // A dialog that has just been closed keeps the focus until the next picture: what is typed then is meant for the page.
    const found = /** @type {Element} */ (key.target);
    const target = found.closest('dialog') ? document.body : found;
    if (key.ctrlKey || key.metaKey) {
      if (key.key !== 'z' || button('undo').disabled) return;
      this.act({ do: 'undo' });
    } else if (target.closest('input, select, textarea')) {
      return;
    } else if (!this.transport.key(key, Boolean(target.closest('button, summary, a'))) && !this.acts.key(key.key)) {
      return;
    }
    key.preventDefault();
  }
}

async function open() {
  /** @type {Lists} */
  const lists = await list('/api/lists');
  say(by('cautions'), lists.cautions);
  say(by('generator'), lists.generator);
  // For whoever looks at the page from the browser's console, and for its tests.
  Object.assign(window, { page: new Page(lists) });
}

open().catch((error) => say(by('trouble'), `The page could not begin: ${error.message}`));
