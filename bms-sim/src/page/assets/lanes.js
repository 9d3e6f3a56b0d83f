// What held when: stages, steps and defects as bars with their words, events as marks.
import { by, digits, make, scale, set } from './dom.js';

/** @import { Series } from './protocol' */

/** Of a lane, in pixels of usual letters: its name, its bar, and the gap below. */
const NAME = 14;
const BAR = 15;
const GAP = 5;
const LETTERS = 12;

/** A letter is about so wide. */
const LETTER = 7;

/** Events: each sort has a shape of its own, on a field of 16. */
const SHAPES = { told: 'M-3 4h6v10h-6z', act: 'M0 3l5 12h-10z', defect: 'M-5 4l10 10M5 4l-10 10', breach: 'M0 2l6 7-6 7-6-7z', branch: 'M0 16V2M0 12q0 -4 6 -6' };
const SAID = { told: 'firmware', act: 'act', defect: 'defect', breach: 'safe bound passed', branch: 'branch' };

/** @typedef {{ seconds: number, sort: keyof typeof SHAPES, sentence: string, goes: () => unknown }} Mark */

export class Lanes {
  constructor() {
    /** @type {SVGPathElement | null} */
    this.now = null;
  }

  /**
   * @param {Series} series
   * @param {Mark[]} marks what happened, and where branches part
   * @param {[number, number]} span what of it is seen
   * @param {(seconds: number) => number} across where a time stands
   * @param {number} width
   * @param {number} at where somebody stands
   */
  draw(series, marks, [from, end], across, width, at) {
    document.getElementById('lanes')?.remove();
    const letters = scale();
    const row = (NAME + BAR + GAP) * letters;
    const seen = (/** @type {{ from: number, to: number }} */ span) => span.from <= end && span.to >= from;
    const all = [
      ...series.lanes.map((lane) => ({ ...lane, sort: 'held' })),
      ...series.defects.map(({ name, from: begins, to: ends }) => ({ name, spans: [{ word: 'defect', from: begins, to: ends }], sort: 'defect' })),
    ].map(({ spans, ...lane }) => ({ ...lane, spans: spans.filter(seen) })).filter(({ spans }) => spans.length);
    const foot = all.length * row;
    const svg = make('svg:svg', { id: 'lanes', width, height: foot + 34 * letters, role: 'img', 'aria-labelledby': 'lanes-said' },
      make('svg:title', { id: 'lanes-said' }, 'What held when; the table has the same in words'));
    const text = (/** @type {number} */ x, /** @type {number} */ y, /** @type {string} */ words, more = {}) => svg.append(make('svg:text', { x, y, 'font-size': LETTERS * letters, ...more }, words));
    all.forEach(({ name, spans, sort }, place) => {
      text(2, place * row + (NAME - 3) * letters, name);
      for (const span of spans) {
        const [begins, ends] = [Math.max(span.from, from), Math.min(span.to, end)];
        const [left, right] = [across(begins), across(ends)];
        const word = span.word.toLowerCase();
        // Suspect is half as high as Confirmed: the shape says it where the word has no room.
        const high = BAR * letters * (word === 'suspect' ? 0.5 : 1);
        const foot = place * row + (NAME + BAR) * letters;
        svg.append(make('svg:rect', { class: `lane ${sort} ${word}`, x: left, y: foot - high, width: Math.max(2, right - left), height: high }, make('svg:title', {}, `${name}: ${span.word}`)));
        const long = (span.word.length * LETTER + 6) * letters;
        if (word !== 'suspect' && right - left > long) text(left + 4, foot - 3.5 * letters, span.word, { class: `lane-word ${sort} ${word}` });
        else if (span === spans.at(-1) && right + long < width) text(right + 5, foot - 3 * letters, span.word);
      }
    });
    for (const { seconds, sort, sentence, goes } of marks) {
      if (seconds < from || seconds > end) continue;
      svg.append(make('svg:path', { class: `event ${sort}`, d: SHAPES[sort], transform: `translate(${across(seconds).toFixed(1)} ${foot}) scale(${letters})`, onclick: goes },
        make('svg:title', {}, `${digits(seconds, 2)} s: ${sentence}`)));
    }
    // Which shape is what.
    let x = 2;
    for (const sort of /** @type {(keyof typeof SHAPES)[]} */ (Object.keys(SHAPES))) {
      if (!marks.some((mark) => mark.sort === sort)) continue;
      svg.append(make('svg:path', { class: `event ${sort}`, d: SHAPES[sort], transform: `translate(${x + 7 * letters} ${foot + 16 * letters}) scale(${letters})` }));
      text(x + 17 * letters, foot + 29 * letters, SAID[sort]);
      x += (SAID[sort].length * LETTER + 34) * letters;
    }
    this.now = make('svg:path', { d: `M0 0V${foot + 16 * letters}`, class: 'now' });
    svg.append(this.now);
    this.stand(across(at));
    by('charts').prepend(svg);
  }

  /** @param {number} x */
  stand(x) {
    if (this.now) set(this.now, 'transform', `translate(${x.toFixed(1)} 0)`);
  }
}
