// What operator, driver and whoever answers for the limits do.
import { by, digits, make, say } from './dom.js';

/** @import { Change, Command, Knob, View } from './protocol' */
/** @import { Acts } from './acts.js' */
/** @import { Page } from './main.js' */

/** The most that the crane can be told by hand: twice what it usually hoists with, in C. */
const MOST_C = 3;

/** A slider that is still moving tells nothing yet, in milliseconds. */
const SETTLES_MS = 400;

const POINTS = ['B+', 'B-', 'L+', 'L-', 'chassis'];

export class Operator {
  /**
   * @param {Page} page
   * @param {Acts} acts
   */
  constructor(page, acts) {
    this.page = page;
    this.acts = acts;
    this.work = make('select', { id: 'duty', onchange: () => this.usual() });
    this.amps = make('input', { type: 'range', id: 'duty-amps', min: 0, step: 1, oninput: () => this.moved(), onchange: () => this.moved() });
    this.amount = make('output', { for: 'duty-amps' });
    this.from = make('span', { class: 'quiet' });
    by('by-hand').append(make('label', {}, 'duty ', this.work), make('label', {}, 'with ', this.amps), this.amount, this.from);
    /** @type {number | undefined} */
    this.settles = undefined;
  }

  begin() {
    const { story, lists } = this.page;
    this.work.replaceChildren(...lists.duties.map(({ work }) => make('option', {}, work)));
    this.amps.max = String(Math.round(MOST_C * (story?.ampere_hours ?? 1)));
  }

  /** @param {View} view */
  show(view) {
    // Which of the two is next is what must be known before it is done.
    const [act, name] = view.around?.closing_asked ? ['stop', 'Stop'] : ['start', 'Start'];
    by('at-act').replaceChildren(make('strong', {}, `Before ${name} on a real pack: `), this.page.lists.cautions_at[act]);
    const duty = view.lines?.find(({ name }) => name === 'duty')?.text ?? '';
    const hand = view.changes.some(({ change }) => change.change === 'duty');
    say(this.from, hand ? 'by hand' : 'as the case has it');
    if (this.settles !== undefined || this.amps.matches(':active')) return;
    const work = duty.split(' ')[0];
    if (work && this.work.value !== work) this.work.value = work;
    const amps = Number(/wants (?:−)?([\d.]+) A/.exec(duty)?.[1] ?? 0);
    this.amps.value = String(amps);
    this.tell();
  }

  /** What the slider stands at, in words. */
  tell() {
    const idle = !this.rate();
    this.amps.disabled = idle;
    const words = idle ? 'no current' : `${digits(Number(this.amps.value), 0)} A`;
    say(this.amount, words);
    this.amps.setAttribute('aria-valuetext', words);
  }

  /** What the chosen work usually takes or gives, in C. */
  rate() {
    return this.page.lists.duties.find(({ work }) => work === this.work.value)?.usual_rate_c ?? 0;
  }

  /** Another work begins with what it usually takes. */
  usual() {
    this.amps.value = String(Math.abs(this.rate()) * (this.page.story?.ampere_hours ?? 1));
    this.moved();
  }

  /** The crane does it once the slider has come to rest. */
  moved() {
    this.tell();
    clearTimeout(this.settles);
    this.settles = setTimeout(() => {
      this.settles = undefined;
      this.acts.change({ change: 'duty', work: this.work.value, amps: Number(this.amps.value) });
    }, SETTLES_MS);
  }

  start() { return this.ask({ ask: 'close' }); }

  stop() { return this.ask({ ask: 'open' }); }

  /** @param {Record<string, unknown>} asked */
  ask(asked) { return this.acts.change({ change: 'ask', ...asked }); }

  clear() {
    this.acts.dialog('Clear the fault memory', this.acts.caution('clear'), make('div', { class: 'row' },
      make('button', { onclick: () => this.ask({ ask: 'clear', by: 'panel' }) }, 'At the panel'),
      make('button', { onclick: () => this.ask({ ask: 'clear', by: 'service' }) }, 'With the service tool')));
  }

  /** The disconnects, and a supply that goes by itself. */
  disconnects() {
    const pull = (/** @type {string} */ which, /** @type {boolean} */ out) => () => this.acts.change({ change: 'disconnect', which, out });
    const row = (/** @type {string} */ which, /** @type {string} */ says) => make('div', { class: 'row', role: 'group', 'aria-label': says },
      make('span', {}, says),
      make('button', { onclick: pull(which, true) }, `Pull the ${which} disconnect`),
      make('button', { onclick: pull(which, false) }, `Put the ${which} disconnect in`));
    const seconds = make('input', { type: 'number', min: 0.01, max: 86400, step: 'any', value: 1, size: 6, required: true });
    const record = make('select', {}, ...['kept', 'torn', 'lost'].map((fate) => make('option', {}, fate)));
    const lose = (/** @type {Event} */ submitted) => {
      submitted.preventDefault();
      this.ask({ ask: 'lose-power', for_seconds: Number(seconds.value), record: record.value });
    };
    this.acts.dialog('Disconnects and supply', this.acts.caution('disconnect'),
      row('service', 'In the middle of the string: it parts the cells.'),
      row('auxiliary', 'Of the auxiliary supply: firmware and coils lose it.'),
      make('h3', {}, 'The supply goes by itself'), this.acts.caution('lose_power'),
      make('form', { class: 'row', onsubmit: lose }, make('label', {}, 'for so long, in s', seconds), make('label', {}, 'the last record of the firmware is', record),
        make('button', {}, 'Let the supply go')));
  }

  /** A meter at named points: prove, test, prove. */
  meter() {
    const choose = (/** @type {string} */ name, /** @type {string} */ chosen) => make('select', { 'aria-label': name }, ...POINTS.map((point) => make('option', { selected: point === chosen }, point)));
    const [red, black] = [choose('red probe', 'L+'), choose('black probe', 'L-')];
    const said = make('ol', {});
    const ask = async (/** @type {Command} */ command) => {
      const answer = await this.page.line.ask(command);
      if (answer.kind === 'metered') said.append(make('li', {}, answer.said));
      else if (answer.kind === 'proven') said.append(...answer.said.map((line) => make('li', { class: answer.dead ? 'fine' : 'alarming' }, line)));
      else this.page.refused(answer);
    };
    this.acts.dialog('Meter', this.acts.caution('measure'),
      make('p', {}, 'Dead is what was proven so: the meter on its known source, each pair of points, the known source again. B is the pack, L the link behind the contactors.'),
      make('div', { class: 'row' },
        make('button', { onclick: () => ask({ do: 'meter' }) }, 'On the known source'),
        make('label', {}, 'red', red), make('label', {}, 'black', black),
        make('button', { onclick: () => ask({ do: 'meter', red: red.value, black: black.value }) }, 'Measure'),
        make('button', { onclick: () => ask({ do: 'dead' }) }, 'It is dead')),
      make('div', { role: 'log', 'aria-label': 'What the meter showed' }, said));
  }

  limits() {
    const { faults } = this.page.ofCase;
    const choice = make('select', { onchange: () => fill() }, ...faults.map(({ fault, words }) => make('option', { value: fault }, words)));
    const form = make('div', {});
    const fill = () => {
      const { fault, trip, dwell, meaning } = faults[choice.selectedIndex];
      const limit = this.knob('limit', trip);
      const time = this.knob('dwell', dwell);
      const put = (/** @type {Event} */ submitted) => {
        submitted.preventDefault();
        /** @type {Change} */
        const change = { change: 'limit', fault };
        if (limit?.differs()) change.trip = limit.read();
        if (time?.differs()) change.dwell_ms = Math.round(time.read());
        this.acts.change(change);
      };
      form.replaceChildren(make('p', {}, meaning), make('form', { class: 'row', onsubmit: put }, limit?.element, time?.element, make('button', {}, 'Take from now on')));
    };
    fill();
    this.acts.dialog('Limits and dwells', this.acts.caution('limits'), make('label', {}, 'fault', choice), form);
  }

  /**
   * A number that can be turned, if there is one.
   * @param {string} name
   * @param {Knob | null} knob
   */
  knob(name, knob) {
    if (!knob) return null;
    const { value, least, most, unit } = knob;
    const shown = Number(value.toPrecision(6));
    const field = make('input', { type: 'number', step: 'any', min: least, max: most, value: shown, size: 9, required: true });
    return {
      element: make('label', {}, `${name} in ${unit}, ${least} to ${most}`, field),
      read: () => Number(field.value),
      differs: () => Number(field.value) !== shown,
    };
  }
}
