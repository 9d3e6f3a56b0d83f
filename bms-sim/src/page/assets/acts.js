// What can be done: the buttons, the keys, and the dialog in which everything is asked that needs more than a click.
import { list } from './link.js';
import { button, by, dialog, make, say } from './dom.js';
import { Defects } from './defects.js';
import { Operator } from './operator.js';
import { Share } from './share.js';

/** @import { Change, Story, View } from './protocol' */
/** @import { Child } from './dom.js' */
/** @import { Page } from './main.js' */

/** What each key does: for the list of them; those with the name of a button press it. @type {[string, string, string?][]} */
const KEYS = [
  ['Space', 'play or pause'], ['← →', 'one tick back, one tick on'], ['Shift ← →', 'to the event before, to the next one'],
  ['Home, End', 'to the start, to the end'], ['+ −', 'faster, slower'],
  ['o', 'operator: start', 'start'], ['x', 'operator: stop', 'stop'], ['c', 'operator: clear the fault memory', 'clear'],
  ['p', 'disconnects and supply', 'disconnect'], ['y', 'duty by hand', 'duty'], ['t', 'take the meter: prove dead', 'meter'],
  ['d', 'put in a defect', 'break'], ['m', 'end a defect', 'mend'], ['r', 'repair', 'repair'], ['i', 'limits and dwells', 'limits'],
  ['w', 'why, and is it dangerous?', 'ask-why'], ['f', 'what would have changed it?', 'ask-far'],
  ['b', 'the precharge bench', 'bench-open'], ['k', 'take away: files, picture, print', 'keep'], ['h', 'hide what is wrong', 'hide'],
  ['s', 'say what is wrong', 'diagnose'], ['n', 'another case', 'cases'], ['l', 'large letters, for a projector', 'large'], ['u, Ctrl Z', 'undo'], ['?', 'this list'],
];

/** Where this browser keeps that letters alone do nothing. */
const NO_LETTERS = 'no-letters';

export class Acts {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    /** Whether a letter alone acts. */
    this.letters = localStorage.getItem(NO_LETTERS) === null;
    this.defects = new Defects(page, this);
    this.operator = new Operator(page, this);
    this.share = new Share(page, this);
    const { defects, operator, share } = this;
    const act = (/** @type {string} */ id, /** @type {string} */ name, /** @type {() => unknown} */ does, more = {}) => make('button', { onclick: does, id, ...more }, name);
    by('acts').append(
      act('start', 'Start', () => operator.start(), { 'aria-describedby': 'at-act' }),
      act('stop', 'Stop', () => operator.stop(), { 'aria-describedby': 'at-act' }),
      act('clear', 'Clear …', () => operator.clear()),
      act('disconnect', 'Disconnects …', () => operator.disconnects()),
      act('meter', 'Meter …', () => operator.meter()),
      act('break', 'Put in a defect …', () => defects.inject()),
      act('mend', 'End a defect …', () => defects.mend()),
      act('repair', 'Repair …', () => defects.repair()),
      act('limits', 'Limits …', () => operator.limits()),
      act('bench-open', 'Precharge bench', () => page.bench.show(!page.bench.open), { 'aria-pressed': 'false' }),
      act('keep', 'Take away …', () => share.keep()),
      act('hide', 'Hide …', () => share.hide()),
      act('diagnose', 'Say what is wrong …', () => defects.diagnose()),
      act('cases', 'Other case …', () => share.cases()));
    by('asks').append(
      act('ask-why', 'Why, and is it dangerous?', () => this.why()),
      act('ask-far', 'What would have changed it?', () => this.distances()),
      act('ask-evidence', 'All evidence of this tick', () => this.shown('evidence')),
      act('ask-limits', 'All limits', () => this.shown('limits')));
    dialog().addEventListener('click', (click) => { if (click.target === dialog()) dialog().close(); });
  }

  /** @param {Story} story */
  begin({ hidden }) {
    by('hide').hidden = hidden;
    by('diagnose').hidden = !hidden;
    for (const id of ['break', 'mend', 'ask-why', 'ask-far', 'keep']) by(id).hidden = hidden;
    this.operator.begin();
  }

  /** @param {View} view */
  show(view) {
    button('mend').disabled = !view.defects.some(({ over }) => !over);
    by('ask-why').classList.toggle('call', view.stop?.confirmed.length > 0);
    this.operator.show(view);
  }

  /**
   * Whether a key means an act here.
   * @param {string} typed
   */
  key(typed) {
    if (typed === '?') this.keys();
    else if (typed === 'u') this.page.act({ do: 'undo' });
    else {
      const id = KEYS.find(([key]) => key === typed)?.[2];
      if (!id || by(id).hidden) return false;
      if (id === 'duty') by(id).focus();
      else by(id).click();
    }
    return true;
  }

  /**
   * Something is otherwise from here on; gives whether it was done.
   * @param {Change} change
   */
  async change(change) {
    const done = await this.page.act({ do: 'change', ...change });
    if (done) dialog().close();
    return done;
  }

  /**
   * @param {string} name
   * @param {(Child | Child[])[]} children
   */
  dialog(name, ...children) {
    dialog().replaceChildren(
      make('form', { method: 'dialog', class: 'head' }, make('h2', { id: 'dialog-name' }, name), make('button', {}, 'Close')));
    dialog().append(...children.flat().filter((child) => child != null));
    if (!dialog().open) dialog().showModal();
  }

  /**
   * What must be known before somebody does this on a real pack.
   * @param {string} act
   */
  caution(act) {
    return this.warning(this.page.lists.cautions_at[act]);
  }

  /** @param {string} said */
  warning(said) {
    return make('p', { class: 'caution' }, make('strong', {}, 'On a real pack: '), said);
  }

  keys() {
    const rows = KEYS.map(([key, does]) => make('tr', {}, make('th', { scope: 'row' }, key), make('td', {}, does)));
    const letters = make('input', { type: 'checkbox', checked: this.letters, onchange: () => this.keep(letters.checked) });
    this.dialog('Keys', make('label', { class: 'check' }, letters, ' letters and signs act by themselves'), make('p', {}, 'In the pack, arrow keys go from cell to cell; Enter shows what can be done there.'), make('table', {}, make('tbody', {}, ...rows)));
  }

  /**
   * Whether letters act, from now on and the next time.
   * @param {boolean} act
   */
  keep(act) {
    this.letters = act;
    if (act) localStorage.removeItem(NO_LETTERS);
    else localStorage.setItem(NO_LETTERS, '1');
  }

  async why() {
    const answer = await this.page.line.ask({ do: 'why' });
    if (answer.kind !== 'why') return this.page.refused(answer);
    this.page.reasons.why(answer, this.page.ofCase.faults);
    by('why').scrollIntoView({ block: 'nearest' });
  }

  /** What would have changed what came out: each number is turned, and the branch is played again. */
  async distances() {
    const far = button('ask-far');
    const name = far.textContent ?? '';
    far.disabled = true;
    say(far, 'It is worked out …');
    const answer = await list(`/api/session/${this.page.line.session}/distances`).catch((error) => ({ kind: 'refused', said: error.message }));
    far.disabled = false;
    say(far, name);
    if (answer.kind !== 'lines') return this.page.refused(answer);
    this.dialog('What would have changed it', make('pre', { tabindex: 0 }, answer.lines.join('\n') || 'Nothing came out here that a number could have changed.'));
  }

  /** @param {'evidence' | 'limits'} what */
  async shown(what) {
    const answer = await this.page.line.ask({ do: 'show', what });
    if (answer.kind !== 'lines') return this.page.refused(answer);
    this.dialog(what === 'limits' ? 'Limits and dwells' : 'What the firmware says of this tick', make('pre', { tabindex: 0 }, answer.lines.join('\n')));
  }
}
