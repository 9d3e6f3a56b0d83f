// The address of a view: the case, what was changed in it, the tick, and how it is looked at. It restores what is shown wherever the same
// cases are served.

/** @import { View, Wanted } from './protocol' */

/**
 * How a view is looked at: what stands beside it, the span of the time line, whether what comes is shown, the letters, the bench.
 * @typedef {{ beside?: string, between?: [number, number], ahead?: boolean, large?: boolean, bench?: Record<string, number> }} Looks
 */

/** @param {string | null} text */
function parsed(text) {
  try {
    return JSON.parse(text ?? 'null');
  } catch {
    return null;
  }
}

/**
 * What the address says, as a command to load; nothing when it says nothing.
 * @returns {Wanted | null}
 */
export function remembered() {
  const parts = new URLSearchParams(location.hash.slice(1));
  const [name, text, word] = ['case', 'text', 'hidden'].map((key) => parts.get(key));
  if (!name && !text && !word) return null;
  /** @type {Wanted} */
  const wanted = word ? { hidden: word } : text ? { text } : { case: name ?? '' };
  if (parts.has('seed')) wanted.seed = Number(parts.get('seed'));
  if (parts.has('played')) wanted.played = Number(parts.get('played'));
  wanted.changes = parsed(parts.get('changes')) ?? [];
  return wanted;
}

/**
 * How the address wants it to be looked at.
 * @returns {Looks}
 */
export function looked() {
  const parts = new URLSearchParams(location.hash.slice(1));
  /** @type {Looks} */
  const looks = {};
  const between = parsed(parts.get('between'));
  if (Array.isArray(between) && between.length === 2 && between.every(Number.isFinite)) looks.between = [between[0], between[1]];
  const bench = parsed(parts.get('bench'));
  if (bench && typeof bench === 'object') looks.bench = bench;
  looks.beside = parts.get('beside') ?? '';
  looks.ahead = parts.has('ahead');
  looks.large = parts.has('large');
  return looks;
}

/** The text of a case that lies in no folder of the server, or the word of a hidden one. @type {Record<string, string> | null} */
let own = null;
export const owned = (/** @type {Wanted} */ { text, hidden }) => { own = hidden ? { hidden } : text ? { text } : null; };

/**
 * Writes a view into the address, without a new entry in the history.
 * @param {View} view
 * @param {Looks} looks
 */
export function remember({ case: name, seed, played, changes }, { beside, between, ahead, large, bench }) {
  const parts = new URLSearchParams({ ...(own ?? { case: name }), played: String(played) });
  if (seed !== null) parts.set('seed', String(seed));
  if (changes.length) parts.set('changes', JSON.stringify(changes));
  if (beside) parts.set('beside', beside);
  if (between) parts.set('between', JSON.stringify(between.map((seconds) => Number(seconds.toFixed(3)))));
  if (ahead) parts.set('ahead', '1');
  if (large) parts.set('large', '1');
  if (bench) parts.set('bench', JSON.stringify(bench));
  history.replaceState(null, '', `#${parts}`);
}
