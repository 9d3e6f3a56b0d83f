// What is taken away, given to a class, or brought in.
import { address } from './link.js';
import { by, dialog, make } from './dom.js';

/** @import { Wanted } from './protocol' */
/** @import { Acts } from './acts.js' */
/** @import { Page } from './main.js' */

const FILES = [
  ['case.toml', 'the case, which plays this branch from its start'], ['recording.mcap', 'a recording of it'],
  ['ticks.csv', 'its ticks, ten a second'], ['events.csv', 'what happened in it'],
];

/** What the looks of a drawing are, without the sheet of styles. */
const LOOKS = ['fill', 'stroke', 'stroke-width', 'stroke-dasharray', 'visibility', 'font-weight', 'font-size'];

export class Share {
  /**
   * @param {Page} page
   * @param {Acts} acts
   */
  constructor(page, acts) {
    this.page = page;
    this.acts = acts;
  }

  /** The branch as files, the picture of the circuit, the page as it is printed. */
  keep() {
    const link = (/** @type {string} */ file) => address(`/api/session/${this.page.line.session}/keep/${file}`);
    const printed = () => {
      dialog().close();
      print();
    };
    this.acts.dialog('Take away',
      make('p', {}, 'The address of this page restores this view wherever the same cases are served.'),
      make('ul', {}, FILES.map(([file, says]) => make('li', {}, make('a', { href: link(file), download: file }, file), `: ${says}`)),
        make('li', {}, make('a', { href: this.picture(), download: 'circuit.svg' }, 'circuit.svg'), ': the picture of the circuit as it is now')),
      make('button', { onclick: printed }, 'Print this page'));
  }

  /** The circuit with the looks of the page in it. */
  picture() {
    const shown = by('circuit').querySelector('svg');
    if (!shown) return '';
    const copy = /** @type {SVGSVGElement} */ (shown.cloneNode(true));
    const from = [...shown.querySelectorAll('*')];
    [...copy.querySelectorAll('*')].forEach((element, place) => {
      const style = getComputedStyle(from[place]);
      for (const key of LOOKS) element.setAttribute(key, style.getPropertyValue(key));
    });
    copy.setAttribute('font-family', 'sans-serif');
    return `data:image/svg+xml,${encodeURIComponent(new XMLSerializer().serializeToString(copy))}`;
  }

  /** The case as it stands now, for a class that is to find out what is wrong. */
  async hide() {
    const answer = await this.page.line.ask({ do: 'hide' });
    if (answer.kind !== 'hidden') return this.page.refused(answer);
    const link = `${location.origin}${address('/')}#hidden=${answer.word}`;
    this.acts.dialog('Hidden for a class',
      make('p', {}, 'Whoever opens this address meets the pack of this branch from its start, and cannot read what is wrong with it: neither from the page, nor from what goes over the line, nor from the address. It holds until this server ends.'),
      make('p', {}, make('a', { href: link, target: '_blank', rel: 'noopener' }, link)));
  }

  cases() {
    const load = async (/** @type {Wanted} */ what) => {
      const answer = await this.page.load(what);
      if (answer.kind === 'story') dialog().close();
      else this.page.refused(answer);
    };
    const file = make('input', { type: 'file', accept: '.toml', onchange: async () => { if (file.files?.[0]) load({ text: await file.files[0].text() }); } });
    this.acts.dialog('Other case',
      make('ul', { class: 'choices' }, this.page.lists.cases.map((name) => make('li', {}, make('button', { onclick: () => load({ case: name }) }, name)))),
      make('label', {}, 'or a file of yours', file));
  }
}
