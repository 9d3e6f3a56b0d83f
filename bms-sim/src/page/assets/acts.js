// What can be done: operator, defects, repairs, duty, limits. Each is one dialog with the fewest clicks.
import { address, list } from './link.js';
import { make, by, say, digits } from './dom.js';

const KEYS = [
  ['Space', 'play or pause'], ['← →', 'one tick back, one tick on'], ['Shift ← →', 'to the event before, to the next one'],
  ['Home, End', 'to the start, to the end'], ['+ −', 'faster, slower'], ['d', 'put in a defect'], ['m', 'end a defect'], ['r', 'repair'], ['t', 'take the meter: prove dead'],
  ['o', 'operator: start'], ['x', 'operator: stop'], ['c', 'operator: clear the fault memory'], ['w', 'why'], ['b', 'the precharge bench'], ['l', 'large letters, for a projector'], ['u', 'undo'], ['?', 'this list'],
];

export class Acts {
  constructor(page) {
    this.page = page;
    const act = (name, does, id) => make('button', { onclick: does, id }, name);
    by('acts').append(
      act('Start', () => this.change({ change: 'ask', ask: 'close' }, 'start'), 'start'),
      act('Stop', () => this.change({ change: 'ask', ask: 'open' }, 'stop'), 'stop'),
      act('Clear …', () => this.clear(), 'clear'),
      act('Put in a defect …', () => this.defects(), 'break'),
      act('End a defect …', () => this.mend(), 'mend'),
      act('Repair …', () => this.repairs(), 'repair'),
      act('Meter …', () => this.meter(), 'meter'),
      act('Duty …', () => this.duty(), 'duty'),
      act('Limits …', () => this.limits(), 'limits'),
      act('Precharge bench', () => this.page.bench.show(!this.page.bench.open), 'bench-open'),
      act('Take away …', () => this.keep(), 'keep'),
      act('Hide …', () => this.hide(), 'hide'),
      act('Say what is wrong …', () => this.diagnose(), 'diagnose'),
      act('Other case …', () => this.cases(), 'cases'),
    );
    by('asks').append(
      act('Why?', () => this.why(), 'ask-why'),
      act('How far?', () => this.distances(), 'ask-far'),
      act('All evidence of this tick', () => this.shown('evidence')),
      act('All limits', () => this.shown('limits')),
    );
    by('dialog').addEventListener('click', (click) => { if (click.target === by('dialog')) by('dialog').close(); });
  }

  begin({ hidden }) {
    by('hide').hidden = hidden;
    by('diagnose').hidden = !hidden;
    for (const id of ['break', 'mend', 'ask-why', 'ask-far', 'keep']) by(id).hidden = hidden;
  }

  show(view) {
    by('mend').disabled = !view.defects.some(({ over }) => !over);
  }

  /** Whether a key means an act here. */
  key(key) {
    const acts = {
      d: () => this.defects(), m: () => this.mend(), r: () => this.repairs(), t: () => this.meter(), b: () => by('bench-open').click(), l: () => by('large').click(), w: () => this.why(), '?': () => this.keys(),
      u: () => this.page.act({ do: 'undo' }),
      o: () => by('start').click(), x: () => by('stop').click(), c: () => by('clear').click(),
    };
    if (!acts[key]) return false;
    acts[key]();
    return true;
  }

  /** Does it, and says beside it what must be known before somebody does it on a real pack. */
  async change(change, caution) {
    const done = await this.page.act({ do: 'change', ...change });
    if (done) by('dialog').close();
    if (done && caution) this.page.trouble(`On a real pack: ${this.page.lists.cautions_at[caution]}`);
    return done;
  }

  /** The branch as files, the picture of the circuit, the page as it is printed. */
  keep() {
    const files = [['case.toml', 'the case, which plays this branch from its start'], ['recording.mcap', 'a recording of it'], ['ticks.csv', 'its ticks, ten a second'], ['events.csv', 'what happened in it']];
    const link = (file) => address(`/api/session/${this.page.line.session}/keep/${file}`);
    this.dialog('Take away',
      make('p', {}, 'The address of this page restores this view wherever the same cases are served.'),
      make('ul', {}, files.map(([file, says]) => make('li', {}, make('a', { href: link(file), download: file }, file), `: ${says}`)),
        make('li', {}, make('a', { href: this.picture(), download: 'circuit.svg' }, 'circuit.svg'), ': the picture of the circuit as it is now')),
      make('button', { onclick: () => { by('dialog').close(); print(); } }, 'Print this page'));
  }

  /** The circuit with the looks of the page in it. */
  picture() {
    const [shown, copy] = [by('circuit').querySelector('svg'), by('circuit').querySelector('svg').cloneNode(true)];
    const from = [...shown.querySelectorAll('*')];
    [...copy.querySelectorAll('*')].forEach((element, place) => {
      const style = getComputedStyle(from[place]);
      for (const key of ['fill', 'stroke', 'stroke-width', 'stroke-dasharray', 'visibility', 'font-weight']) element.setAttribute(key, style.getPropertyValue(key));
    });
    copy.setAttribute('font-family', 'sans-serif');
    return `data:image/svg+xml,${encodeURIComponent(new XMLSerializer().serializeToString(copy))}`;
  }

  clear() {
    const clear = (who) => this.change({ change: 'ask', ask: 'clear', by: who });
    this.dialog('Clear the fault memory', this.caution('clear'), make('div', { class: 'row' },
      make('button', { onclick: () => clear('panel') }, 'At the panel'),
      make('button', { onclick: () => clear('service') }, 'With the service tool')));
  }

  dialog(name, ...children) {
    by('dialog').replaceChildren(
      make('form', { method: 'dialog', class: 'head' }, make('h2', { id: 'dialog-name' }, name), make('button', {}, 'Close')),
      ...children);
    by('dialog').showModal();
  }

  keys() {
    this.dialog('Keys', make('table', {}, make('tbody', {}, ...KEYS.map(([key, does]) => make('tr', {}, make('th', { scope: 'row' }, key), make('td', {}, does))))));
  }

  async why() {
    const answer = await this.page.line.ask({ do: 'why' });
    if (answer.kind === 'why') this.page.reasons.why(answer);
    else this.page.refused(answer);
    by('why').scrollIntoView({ block: 'nearest' });
  }

  /** What would have changed what came out: each number is turned, and the branch is played again. */
  async distances() {
    const button = by('ask-far');
    button.disabled = true;
    say(button, 'How far? …');
    const answer = await list(`/api/session/${this.page.line.session}/distances`).catch((error) => ({ kind: 'refused', said: error.message }));
    button.disabled = false;
    say(button, 'How far?');
    if (answer.kind !== 'lines') return this.page.refused(answer);
    this.dialog('What would have changed it', make('pre', { tabindex: 0 }, answer.lines.join('\n') || 'Nothing came out here that a number could have changed.'));
  }

  async shown(what) {
    const answer = await this.page.line.ask({ do: 'show', what });
    if (answer.kind !== 'lines') return this.page.refused(answer);
    this.dialog(what === 'limits' ? 'Limits and dwells' : 'What the firmware says of this tick', make('pre', { tabindex: 0 }, answer.lines.join('\n')));
  }

  /** Something in the circuit was touched. */
  at(at) {
    if (!this.page.story.hidden) this.defects(at);
  }

  /** The searchable list of defects; one click puts in the usual one, the form below changes place and severity first. */
  defects(at) {
    const all = this.page.ofCase.defects.filter(({ place }) => !at || place?.key === at.key || (at.key === 'cell' && ['joint', 'wire'].includes(place?.key)));
    const search = make('input', { type: 'search', 'aria-label': 'Search', placeholder: 'Search', autofocus: true, oninput: () => fill() });
    const items = make('ul', { class: 'choices' });
    const form = make('div', {});
    const count = make('p', { class: 'quiet', role: 'status' });
    const choose = (defect) => {
      items.querySelectorAll('button').forEach((button) => button.setAttribute('aria-pressed', button.dataset.kind === defect.kind));
      form.replaceChildren(this.defect(defect, at?.place));
      form.querySelector('button').focus();
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
    this.dialog(at ? `Put in a defect at ${at.key} ${at.place}` : 'Put in a defect', search, count, items, form);
    search.focus();
  }

  defect({ kind, name, place, severity, grows }, given) {
    const where = place ? this.place(place, given) : null;
    const parts = severity ? this.slider(severity) : null;
    const over = grows ? make('input', { type: 'number', min: 0, step: 'any', value: 0, size: 6 }) : null;
    const put = (submitted) => {
      submitted.preventDefault();
      const change = { change: 'inject', kind };
      if (where) change.place = where.read();
      if (parts) change.severity = parts.read();
      if (over && Number(over.value) > 0) change.grows_seconds = Number(over.value);
      this.change(change);
    };
    return make('form', { class: 'row', onsubmit: put },
      where?.element, parts?.element,
      over ? make('label', {}, 'grows over, in s', over) : null,
      make('button', { id: 'put' }, `Begin now: ${name}`));
  }

  /** A place: a number from 1, or one of the names. */
  place({ key, names, count }, given) {
    if (names.length) {
      const choice = make('select', {}, ...names.map((name) => make('option', { selected: name === given }, name)));
      return { element: make('label', {}, key.replace('_', ' '), choice), read: () => choice.value };
    }
    const number = make('input', { type: 'number', min: 1, max: count, value: Math.min(given ?? 1, count), size: 4, required: true });
    return { element: make('label', {}, `${key.replace('_', ' ')}, 1 to ${count}`, number), read: () => Number(number.value) };
  }

  /** A slider over the whole range, finer where it is small, and a field with the number and its unit. */
  slider({ unit, least, most, usual }) {
    const steps = 1000;
    const curved = least > 0 && most / least > 50;
    const value = (step) => (curved ? least * (most / least) ** (step / steps) : least + ((most - least) * step) / steps);
    const place = (number) => Math.round(curved ? (steps * Math.log(number / least)) / Math.log(most / least) : (steps * (number - least)) / (most - least));
    const short = (number) => Number(number.toPrecision(3));
    const field = make('input', { type: 'number', min: least, max: most, step: 'any', value: usual, size: 8, required: true });
    const range = make('input', {
      type: 'range', min: 0, max: steps, value: place(usual), 'aria-label': `severity in ${unit}`,
      'aria-valuetext': `${digits(usual, 2)} ${unit}`,
      oninput: () => { field.value = short(value(Number(range.value))); range.setAttribute('aria-valuetext', `${field.value} ${unit}`); },
    });
    field.addEventListener('input', () => { range.value = place(Number(field.value)); });
    return { element: make('div', { class: 'row' }, make('label', {}, `severity in ${unit}, ${least} to ${most}`, field), range), read: () => Number(field.value) };
  }

  mend() {
    if (by('mend').disabled) return this.page.trouble('There is no defect to end.');
    const standing = this.page.view.defects.filter(({ over }) => !over);
    this.dialog('End a defect',
      make('p', {}, 'The defect ends as if the part had never been touched; what it has done to the pack stays.'),
      make('ul', { class: 'choices' }, standing.map(({ number, said }) => make('li', {}, make('button', { onclick: () => this.change({ change: 'mend', defect: number }) }, said)))));
  }

  /** What must be known before somebody does this on a real pack. */
  caution(act) {
    return make('p', { class: 'caution' }, make('strong', {}, 'On a real pack: '), this.page.lists.cautions_at[act]);
  }

  /** The case as it stands now, for a class that is to find out what is wrong. */
  async hide() {
    const answer = await this.page.line.ask({ do: 'hide' });
    if (answer.kind !== 'hidden') return this.page.refused(answer);
    const link = `${location.origin}${address('/')}#hidden=${answer.word}`;
    this.dialog('Hidden for a class',
      make('p', {}, 'Whoever opens this address meets the pack of this branch from its start, and cannot read what is wrong with it: neither from the page, nor from what goes over the line, nor from the address. It holds until this server ends.'),
      make('p', {}, make('a', { href: link, target: '_blank', rel: 'noopener' }, link)));
  }

  /** What somebody holds to be wrong; after that nothing is hidden. */
  diagnose() {
    const { defects } = this.page.ofCase;
    const choice = make('select', { onchange: () => fill() }, ...defects.map(({ kind, name }) => make('option', { value: kind }, name)));
    const dangerous = make('select', {}, make('option', { value: 'no' }, 'not dangerous'), make('option', { value: 'yes' }, 'dangerous'));
    const form = make('div', {});
    const fill = () => {
      const { place } = defects.find(({ kind }) => kind === choice.value);
      const where = place ? this.place(place) : null;
      form.replaceChildren(make('form', {
        class: 'row',
        onsubmit: async (submitted) => {
          submitted.preventDefault();
          const say = { do: 'diagnose', kind: choice.value, dangerous: dangerous.value === 'yes' };
          if (where) say.place = where.read();
          const answer = await this.page.line.ask(say);
          if (answer.kind !== 'diagnosed') return this.page.refused(answer);
          this.dialog(answer.right ? 'Right' : 'Not yet', ...answer.said.map((said) => make('p', {}, said)));
          await this.page.shownAll();
        },
      }, where?.element, make('label', {}, 'as it stands the pack is', dangerous), make('button', {}, 'Say so')));
    };
    fill();
    this.dialog('Say what is wrong', make('p', {}, 'Say it once: everything is shown then.'), make('label', {}, 'what', choice), form);
  }

  /** A new part comes in. The firmware learns of a new cell or contactor only when it is told. */
  repairs() {
    const { repairs } = this.page.ofCase;
    const choice = make('select', { onchange: () => fill() }, ...repairs.map(({ kind, name }) => make('option', { value: kind }, name)));
    const form = make('div', {});
    const fill = () => {
      const { kind, name, does, place } = repairs.find((repair) => repair.kind === choice.value);
      const where = place ? this.place(place) : null;
      const charge = kind === 'swap_cell' ? make('input', { type: 'number', min: 0, max: 100, step: 'any', value: 50, size: 5 }) : null;
      const replaced = { swap_cell: 'cell', replace_contactor: 'contactor' }[kind];
      const tell = replaced ? make('input', { type: 'checkbox', checked: true }) : null;
      form.replaceChildren(make('p', {}, does), kind === 'swap_cell' ? this.caution('swap_cell') : '', make('form', {
        class: 'row',
        onsubmit: async (submitted) => {
          submitted.preventDefault();
          const change = { change: 'repair', kind };
          if (where) change.place = where.read();
          if (charge) change.charge_percent = Number(charge.value);
          const told = tell?.checked ? { change: 'ask', ask: 'replace', part: where.read() } : null;
          if (await this.change(change) && told) await this.change(told);
        },
      }, where?.element,
      charge ? make('label', {}, 'its charge, in %', charge) : null,
      tell ? make('label', { class: 'check' }, tell, ' then tell the firmware that it was replaced') : null,
      make('button', {}, `Do it: ${name}`)));
    };
    fill();
    this.dialog('Repair', this.caution('repair'), make('label', {}, 'what is done', choice), form);
  }

  /** A meter at named points: prove, test, prove. */
  meter() {
    const points = ['B+', 'B-', 'L+', 'L-', 'chassis'];
    const choose = (name, chosen) => make('select', { 'aria-label': name }, ...points.map((point) => make('option', { selected: point === chosen }, point)));
    const [red, black] = [choose('red probe', 'L+'), choose('black probe', 'L-')];
    const said = make('ol', {});
    const ask = async (command) => {
      const answer = await this.page.line.ask(command);
      if (answer.kind === 'refused') return this.page.refused(answer);
      const lines = Array.isArray(answer.said) ? answer.said : [answer.said];
      said.append(...lines.map((line) => make('li', answer.kind === 'proven' && !answer.dead ? { class: 'alarming' } : {}, line)));
    };
    this.dialog('Meter', this.caution('measure'),
      make('p', {}, 'Dead is what was proven so: the meter on its known source, each pair of points, the known source again. B is the pack, L the link behind the contactors.'),
      make('div', { class: 'row' },
        make('button', { onclick: () => ask({ do: 'meter' }) }, 'On the known source'),
        make('label', {}, 'red', red), make('label', {}, 'black', black),
        make('button', { onclick: () => ask({ do: 'meter', red: red.value, black: black.value }) }, 'Measure'),
        make('button', { onclick: () => ask({ do: 'dead' }) }, 'It is dead')),
      make('div', { role: 'log', 'aria-label': 'What the meter showed' }, said));
  }

  duty() {
    const hours = this.page.story.ampere_hours;
    const amps = make('input', { type: 'number', min: 0, step: 'any', size: 7 });
    const work = make('select', { onchange: () => usual() }, ...this.page.lists.duties.map(({ work: name }) => make('option', {}, name)));
    const usual = () => { amps.value = Math.abs(this.page.lists.duties.find(({ work: name }) => name === work.value).usual_rate_c * hours); };
    usual();
    this.dialog('Duty from now on', make('form', {
      class: 'row',
      onsubmit: (submitted) => { submitted.preventDefault(); this.change({ change: 'duty', work: work.value, amps: Number(amps.value) }); },
    }, make('label', {}, 'work', work), make('label', {}, 'amount in A', amps), make('button', {}, 'Do this')));
  }

  limits() {
    const { faults } = this.page.ofCase;
    const choice = make('select', { onchange: () => fill() }, ...faults.map(({ fault, words }) => make('option', { value: fault }, words)));
    const form = make('div', {});
    const fill = () => {
      const { trip, dwell, meaning } = faults.find(({ fault }) => fault === choice.value);
      const field = (name, { value, least, most, unit } = {}) => (unit === undefined ? null
        : make('label', {}, `${name} in ${unit}, ${least} to ${most}`, make('input', { name, type: 'number', step: 'any', min: least, max: most, value: Number(value.toPrecision(6)), size: 9 })));
      const fields = [field('limit', trip ?? undefined), field('dwell', dwell ?? undefined)];
      form.replaceChildren(make('p', {}, meaning), make('form', {
        class: 'row',
        onsubmit: (submitted) => {
          submitted.preventDefault();
          const given = new FormData(submitted.target);
          const change = { change: 'limit', fault: choice.value };
          if (given.has('limit') && Number(given.get('limit')) !== Number(trip.value.toPrecision(6))) change.trip = Number(given.get('limit'));
          if (given.has('dwell') && Number(given.get('dwell')) !== dwell.value) change.dwell_ms = Math.round(Number(given.get('dwell')));
          this.change(change);
        },
      }, ...fields, make('button', {}, 'Take from now on')));
    };
    fill();
    this.dialog('Limits and dwells', make('label', {}, 'fault', choice), form);
  }

  cases() {
    const { cases } = this.page.lists;
    const load = async (what) => {
      const answer = await this.page.load(what);
      if (answer.kind === 'story') by('dialog').close();
      else this.page.refused(answer);
    };
    const file = make('input', { type: 'file', accept: '.toml', onchange: async () => load({ text: await file.files[0].text() }) });
    this.dialog('Other case',
      make('ul', { class: 'choices' }, cases.map((name) => make('li', {}, make('button', { onclick: () => load({ case: name }) }, name)))),
      make('label', {}, 'or a file of yours', file));
  }
}
