// The reasons: what the firmware says of this tick, how near the other faults are, and the chain that led here.
import { make, by, digits } from './dom.js';

/** @import { FaultListed, Lists, Near, Reasons as Why, View } from './protocol' */

/** The lines of a tick that are shown as a table; the circuit shows the others. */
const SHOWN = ['sequence', 'faults', 'reaction', 'current', 'charge', 'duty'];

export class Reasons {
  /** @param {Lists} lists */
  constructor(lists) {
    this.words = lists.words.map(({ word, forms, means }) => ({
      word, means, said: new RegExp(`\\b(${forms.map((form) => form.replace(/[^\w ]/g, '.')).join('|')})\\b`, 'i'),
    }));
    this.explained = '';
    this.branch = '';
  }

  /** @param {View} view */
  show(view) {
    if (!view.stop) return;
    // What was said of another branch does not hold here.
    if (view.branch !== this.branch) this.forget();
    this.branch = view.branch;
    by('stages').replaceChildren(this.lines(view));
    by('said').replaceChildren(make('h3', {}, 'This tick'), make('ul', {}, view.said.map((said) => make('li', {}, said))));
    by('near').replaceChildren(make('h3', {}, 'Nearest to their limits'), this.near(view.near));
    this.explain();
  }

  /**
   * What the firmware makes of the tick. A line without a name goes on from the one above.
   * @param {View} view
   */
  lines({ lines }) {
    const list = make('dl', { class: 'lines' });
    let shown = null;
    for (const { name, text, alarming } of lines) {
      if (name) {
        shown = SHOWN.includes(name) ? make('dd', alarming ? { class: 'alarming' } : {}, text) : null;
        if (shown) list.append(make('dt', {}, name), shown);
      } else if (name === '' && shown) {
        shown.append(` ${text}`);
      }
    }
    return list;
  }

  /** @param {Near[]} near */
  near(near) {
    const rows = near.map(({ words, said, stage, margin_of_limit: margin }) => make('tr', {},
      make('th', { scope: 'row' }, words),
      make('td', {}, stage === 'Clear' ? '' : `${stage}: `, said),
      make('td', {}, margin < 0 ? `${digits(-100 * margin, 0)} % beyond` : `${digits(100 * margin, 0)} % left`)));
    return make('table', {},
      make('thead', {}, make('tr', {}, ...['fault', 'reads', 'margin'].map((name) => make('th', { scope: 'col' }, name)))),
      make('tbody', {}, rows));
  }

  /**
   * Whether it is dangerous, what each fault means, and how the firmware came to it.
   * @param {Why} answer
   * @param {FaultListed[]} faults
   */
  why({ why, near, verdict, dangerous }, faults) {
    const named = faults.filter(({ words }) => why.includes(`Why ${words}?`));
    const [first, ...rest] = verdict;
    by('why').replaceChildren(
      make('h3', {}, 'Why, over the whole story'),
      make('p', { class: dangerous ? 'alarming' : 'fine' }, first),
      ...rest.map((said) => make('p', {}, said)),
      make('dl', {}, named.flatMap(({ words, meaning }) => [make('dt', {}, words), make('dd', {}, meaning)])),
      make('pre', { tabindex: 0 }, why),
      near ? make('pre', { tabindex: 0 }, near) : '');
    this.explain();
  }

  /** The words of the trade that stand above, each with what it means. */
  explain() {
    const text = by('reasons-said').textContent ?? '';
    const used = this.words.filter(({ said }) => said.test(text));
    const key = used.map(({ word }) => word).join();
    if (key === this.explained) return;
    this.explained = key;
    by('words').replaceChildren(make('dl', {}, used.flatMap(({ word, means }) => [make('dt', {}, word), make('dd', {}, means)])));
    by('words-of').hidden = used.length === 0;
  }

  forget() {
    by('why').replaceChildren();
  }
}
