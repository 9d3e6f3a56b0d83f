// How time is gone through: played, stepped, jumped.
import { button, by, make, say } from './dom.js';

/** @import { View } from './protocol' */
/** @import { Page } from './main.js' */

const SPEEDS = [0.1, 0.5, 1, 2, 5, 10, 30, 100];

const SOUGHT = [['event', 'anything'], ['stage', 'change of a fault'], ['reaction', 'change of reaction'], ['contactors', 'move of the contactors'], ['act', 'act of the operator']];

export class Transport {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.speed = 1;
    this.what = make('select', { 'aria-label': 'What to go to' }, ...SOUGHT.map(([value, name]) => make('option', { value }, name)));
    this.fast = make('select', { 'aria-label': 'Speed', onchange: () => this.faster(Number(this.fast.value)) },
      ...SPEEDS.map((speed) => make('option', { value: speed, selected: speed === 1 }, `${speed}×`)));
    this.at = make('input', { type: 'number', min: 0, step: 'any', size: 7, 'aria-label': 'Go to this time, in seconds', placeholder: 's' });
    const go = (/** @type {Event} */ submitted) => {
      submitted.preventDefault();
      page.act({ do: 'to', seconds: Number(this.at.value) });
    };
    by('transport').append(
      make('button', { onclick: () => this.to(1), 'aria-label': 'To the start' }, '|◂'),
      make('button', { onclick: () => this.next(true), 'aria-label': 'Back to the event before' }, '◂◂'),
      make('button', { onclick: () => this.step(-1), 'aria-label': 'One tick back' }, '◂'),
      make('button', { id: 'play', 'aria-pressed': 'false', onclick: () => this.toggle() }, 'Play'),
      make('button', { onclick: () => this.step(1), 'aria-label': 'One tick on' }, '▸'),
      make('button', { onclick: () => this.next(false), 'aria-label': 'On to the next event' }, '▸▸'),
      this.what, this.fast,
      make('form', { onsubmit: go }, this.at, make('button', {}, 'Go')),
      make('button', { id: 'undo', onclick: () => page.act({ do: 'undo' }) }, 'Undo'),
      make('button', { id: 'large', 'aria-pressed': 'false', onclick: () => this.large() }, 'Large'),
      make('button', { onclick: () => page.acts.keys() }, 'Keys'));
  }

  /** @param {View} view */
  show(view) {
    const speed = view.speed ? `runs ${view.speed}×` : view.over ? 'the story is over' : 'stands';
    say(by('standing'), `${view.clock}, tick ${Math.max(0, view.played - 1)} of ${view.ticks} · ${view.branch} · ${speed}`);
    by('play').setAttribute('aria-pressed', String(Boolean(view.speed)));
    say(by('play'), view.speed ? 'Pause' : 'Play');
    button('undo').disabled = view.branch === 'original';
  }

  /** @param {number} ticks */
  step(ticks) { return this.page.act({ do: 'step', ticks }); }

  /** @param {boolean} back */
  next(back) { return this.page.act({ do: 'next', what: this.what.value, back }); }

  /** @param {number} played */
  to(played) { return this.page.act({ do: 'to', played }); }

  toggle() {
    return this.page.act(this.page.view?.speed ? { do: 'pause' } : { do: 'play', speed: this.speed });
  }

  /** @param {number} speed */
  faster(speed) {
    this.speed = speed;
    this.fast.value = String(speed);
    if (this.page.view?.speed) this.page.act({ do: 'play', speed });
  }

  isLarge() { return document.documentElement.classList.contains('large'); }

  /** Letters that are read from the last row of a class. */
  large() {
    by('large').setAttribute('aria-pressed', String(document.documentElement.classList.toggle('large')));
    this.page.time.draw();
    this.page.bench.again();
    this.page.remember();
  }

  /**
   * Whether a key goes through time.
   * @param {KeyboardEvent} key
   * @param {boolean} onButton
   */
  key({ key, shiftKey }, onButton) {
    const back = key === 'ArrowLeft';
    const near = SPEEDS.indexOf(this.speed);
    if (key === ' ' && !onButton) this.toggle();
    else if ((back || key === 'ArrowRight') && shiftKey) this.next(back);
    else if (back || key === 'ArrowRight') this.step(back ? -1 : 1);
    else if (key === 'Home') this.to(1);
    else if (key === 'End') this.to(this.page.view?.ticks ?? 1);
    else if (key === '+') this.faster(SPEEDS[Math.min(near + 1, SPEEDS.length - 1)]);
    else if (key === '-') this.faster(SPEEDS[Math.max(near - 1, 0)]);
    else return false;
    return true;
  }
}
