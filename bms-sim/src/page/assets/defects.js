// What is wrong with the pack: put in, ended, repaired, found out.
import { button, digits, make, say } from './dom.js';

/** @import { Answer, Change, DefectListed, PlaceListed, SeverityListed } from './protocol' */
/** @import { Acts } from './acts.js' */
/** @import { Page } from './main.js' */

/** A part of the circuit that was touched. @typedef {{ key: string, place: number | string }} At */

export class Defects {
  /**
   * @param {Page} page
   * @param {Acts} acts
   */
  constructor(page, acts) {
    this.page = page;
    this.acts = acts;
  }

  /**
   * Something in the circuit was touched.
   * @param {At} at
   */
  at(at) {
    if (!this.page.story?.hidden) this.inject(at);
  }

  /**
   * The searchable list of defects: those of a place, or all of them.
   * @param {At} [at]
   */
  inject(at) {
    const near = at ? [at.key, ...(at.key === 'cell' ? ['joint', 'wire'] : [])] : [];
    const all = this.page.ofCase.defects.filter(({ place }) => !at || (place && near.includes(place.key)));
    const search = make('input', { type: 'search', 'aria-label': 'Search', placeholder: 'Search', oninput: () => fill() });
    const items = make('ul', { class: 'choices' });
    const form = make('div', {});
    const count = make('p', { class: 'quiet', role: 'status' });
    const choose = (/** @type {DefectListed} */ defect) => {
      items.querySelectorAll('button').forEach((one) => one.setAttribute('aria-pressed', String(one.dataset.kind === defect.kind)));
      form.replaceChildren(this.acts.warning(`${this.page.lists.cautions_at.inject} ${defect.caution}`), this.form(defect, at?.place));
      form.querySelector('button')?.focus();
    };
    const fill = () => {
      const typed = search.value.toLowerCase();
      const found = all.filter(({ name, changes }) => `${name} ${changes}`.toLowerCase().includes(typed));
      say(count, `${found.length} of ${all.length}`);
      items.replaceChildren(...found.map((defect) => make('li', {},
        make('button', { type: 'button', 'data-kind': defect.kind, 'aria-pressed': 'false', onclick: () => choose(defect) },
          make('strong', {}, defect.name), make('br'), make('span', { class: 'quiet' }, defect.changes)))));
    };
    fill();
    this.acts.dialog(at ? `Put in a defect at ${at.key} ${at.place}` : 'Put in a defect', search, count, items, form);
    search.focus();
  }

  /**
   * Where, how badly, how fast.
   * @param {DefectListed} defect
   * @param {number | string} [given]
   */
  form({ kind, name, place, severity, grows }, given) {
    const where = place ? this.place(place, given) : null;
    const parts = severity ? this.slider(severity) : null;
    const over = grows ? make('input', { type: 'number', min: 0, step: 'any', value: 0, size: 6 }) : null;
    const put = (/** @type {Event} */ submitted) => {
      submitted.preventDefault();
      /** @type {Change} */
      const change = { change: 'inject', kind };
      if (where) change.place = where.read();
      if (parts) change.severity = parts.read();
      if (over && Number(over.value) > 0) change.grows_seconds = Number(over.value);
      this.acts.change(change);
    };
    return make('form', { class: 'row', onsubmit: put },
      where?.element, parts?.element,
      over ? make('label', {}, 'grows over, in s', over) : null,
      make('button', { id: 'put' }, `Begin now: ${name}`));
  }

  /**
   * A place: a number from 1, or one of the names.
   * @param {PlaceListed} place
   * @param {number | string} [given]
   */
  place({ key, names, count }, given) {
    if (names.length) {
      const choice = make('select', {}, ...names.map((name) => make('option', { selected: name === given }, name)));
      return { element: make('label', {}, key.replace('_', ' '), choice), read: () => choice.value };
    }
    const number = make('input', { type: 'number', min: 1, max: count, value: Math.min(Number(given ?? 1), count), size: 4, required: true });
    return { element: make('label', {}, `${key.replace('_', ' ')}, 1 to ${count}`, number), read: () => Number(number.value) };
  }

  /**
   * A slider over the whole range, finer where it is small, and a field with the number and its unit.
   * @param {SeverityListed} severity
   */
  slider({ unit, least, most, usual }) {
    const steps = 1000;
    const curved = least > 0 && most / least > 50;
    const value = (/** @type {number} */ step) => (curved ? least * (most / least) ** (step / steps) : least + ((most - least) * step) / steps);
    const place = (/** @type {number} */ number) => Math.round(curved ? (steps * Math.log(number / least)) / Math.log(most / least) : (steps * (number - least)) / (most - least));
    const field = make('input', { type: 'number', min: least, max: most, step: 'any', value: usual, size: 8, required: true });
    const range = make('input', {
      type: 'range', min: 0, max: steps, value: place(usual), 'aria-label': `severity in ${unit}`,
      'aria-valuetext': `${digits(usual, 2)} ${unit}`,
      oninput: () => {
        field.value = String(Number(value(Number(range.value)).toPrecision(3)));
        range.setAttribute('aria-valuetext', `${field.value} ${unit}`);
      },
    });
    field.addEventListener('input', () => { range.value = String(place(Number(field.value))); });
    return { element: make('div', { class: 'row' }, make('label', {}, `severity in ${unit}, ${least} to ${most}`, field), range), read: () => Number(field.value) };
  }

  mend() {
    if (button('mend').disabled) return this.page.trouble('There is no defect to end.');
    const standing = this.page.view?.defects.filter(({ over }) => !over) ?? [];
    this.acts.dialog('End a defect', this.acts.caution('mend'),
      make('p', {}, 'The defect ends as if the part had never been touched; what it has done to the pack stays.'),
      make('ul', { class: 'choices' }, standing.map(({ number, said }) => make('li', {}, make('button', { onclick: () => this.acts.change({ change: 'mend', defect: number }) }, said)))));
  }

  /** A new part comes in. The firmware learns of a new cell or contactor only when it is told. */
  repair() {
    const { repairs } = this.page.ofCase;
    const choice = make('select', { onchange: () => fill() }, ...repairs.map(({ kind, name }) => make('option', { value: kind }, name)));
    const form = make('div', {});
    const fill = () => {
      const { kind, name, does, place } = repairs[choice.selectedIndex];
      const where = place ? this.place(place) : null;
      const charge = kind === 'swap_cell' ? make('input', { type: 'number', min: 0, max: 100, step: 'any', value: 50, size: 5 }) : null;
      const tell = ['swap_cell', 'replace_contactor'].includes(kind) ? make('input', { type: 'checkbox', checked: true }) : null;
      const put = async (/** @type {Event} */ submitted) => {
        submitted.preventDefault();
        /** @type {Change} */
        const change = { change: 'repair', kind };
        if (where) change.place = where.read();
        if (charge) change.charge_percent = Number(charge.value);
        const told = tell?.checked ? { change: 'ask', ask: 'replace', part: where?.read() } : null;
        if (await this.acts.change(change) && told) await this.acts.change(told);
      };
      form.replaceChildren(make('p', {}, does), kind === 'swap_cell' ? this.acts.caution('swap_cell') : '', make('form', { class: 'row', onsubmit: put },
        where?.element,
        charge ? make('label', {}, 'its charge, in %', charge) : null,
        tell ? make('label', { class: 'check' }, tell, ' then tell the firmware that it was replaced') : null,
        make('button', {}, `Do it: ${name}`)));
    };
    fill();
    this.acts.dialog('Repair', this.acts.caution('repair'), make('label', {}, 'what is done', choice), form);
  }

  /** What somebody holds to be wrong; after that nothing is hidden. */
  diagnose() {
    const { defects } = this.page.ofCase;
    const choice = make('select', { onchange: () => fill() }, ...defects.map(({ kind, name }) => make('option', { value: kind }, name)));
    const dangerous = make('select', {}, make('option', { value: 'no' }, 'not dangerous'), make('option', { value: 'yes' }, 'dangerous'));
    const form = make('div', {});
    const fill = () => {
      const { place } = defects[choice.selectedIndex];
      const where = place ? this.place(place) : null;
      const put = (/** @type {Event} */ submitted) => {
        submitted.preventDefault();
        const at = where ? { place: where.read() } : {};
        this.judge({ kind: choice.value, dangerous: dangerous.value === 'yes', ...at });
      };
      form.replaceChildren(make('form', { class: 'row', onsubmit: put },
        where?.element, make('label', {}, 'as it stands the pack is', dangerous), make('button', {}, 'Say so')));
    };
    fill();
    this.acts.dialog('Say what is wrong', make('p', {}, 'Say it once: everything is shown then.'), make('label', {}, 'what', choice), form);
  }

  /** @param {{ kind: string, dangerous: boolean, place?: number | string }} said */
  async judge(said) {
    /** @type {Answer} */
    const answer = await this.page.line.ask({ do: 'diagnose', ...said });
    if (answer.kind !== 'diagnosed') return this.page.refused(answer);
    this.acts.dialog(answer.right ? 'Right' : 'Not yet', ...answer.said.map((line) => make('p', {}, line)));
    await this.page.shownAll();
  }
}
