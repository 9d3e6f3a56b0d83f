// The reasons: what the firmware says of this tick, how near the other faults are, and the chain that led here.
import { make, by, digits } from './dom.js';

/** The lines of a tick that are shown as a table; the circuit shows the others. */
const SHOWN = ['sequence', 'faults', 'reaction', 'current', 'charge', 'duty'];

export class Reasons {
  constructor(lists) {
    this.words = lists.words
      .flatMap(({ word, forms, means }) => forms.map((form) => ({ form, word, means })))
      .sort((one, other) => other.form.length - one.form.length);
  }

  show(view) {
    if (!view.stop) return;
    by('stages').replaceChildren(this.lines(view));
    by('said').replaceChildren(make('h3', {}, 'This tick'), make('ul', {}, view.said.map((said) => make('li', {}, said))));
    by('near').replaceChildren(make('h3', {}, 'Nearest to their limits'), this.near(view));
  }

  /** What the firmware makes of the tick. A line without a name goes on from the one above. */
  lines(view) {
    const list = make('dl', { class: 'lines' });
    let shown = null;
    for (const { name, text, alarming } of view.lines) {
      if (name) {
        shown = SHOWN.includes(name) ? make('dd', alarming ? { class: 'alarming' } : {}, text) : null;
        if (shown) list.append(make('dt', {}, name), shown);
      } else if (name === '' && shown) {
        shown.append(` ${text}`);
      }
    }
    return list;
  }

  near({ near }) {
    const rows = near.map(({ words, said, stage, margin_of_limit: margin }) => make('tr', {},
      make('th', { scope: 'row' }, words),
      make('td', {}, stage === 'Clear' ? '' : `${stage}. `, said),
      make('td', {}, margin < 0 ? `${digits(-100 * margin, 0)} % beyond` : `${digits(100 * margin, 0)} % left`)));
    return make('table', {},
      make('thead', {}, make('tr', {}, ...['fault', 'reads', 'margin'].map((name) => make('th', { scope: 'col' }, name)))),
      make('tbody', {}, rows));
  }

  why({ why, near, verdict }) {
    by('why').replaceChildren(
      make('h3', {}, 'Why, over the whole story'),
      ...verdict.map((said) => make('p', {}, said)),
      make('pre', { tabindex: 0 }, why),
      near ? make('pre', { tabindex: 0 }, near) : null);
  }

  forget() {
    by('why').replaceChildren();
  }
}
