// The address of a view: the case, what was changed in it, the tick. It restores what is shown wherever the same cases are served.

/** What the address says, as a command to load; nothing when it says nothing. */
export function remembered() {
  const parts = new URLSearchParams(location.hash.slice(1));
  const [name, text, word] = ['case', 'text', 'hidden'].map((key) => parts.get(key));
  if (!name && !text && !word) return null;
  const wanted = word ? { hidden: word } : text ? { text } : { case: name };
  if (parts.has('seed')) wanted.seed = Number(parts.get('seed'));
  if (parts.has('played')) wanted.played = Number(parts.get('played'));
  try {
    wanted.changes = JSON.parse(parts.get('changes') ?? '[]');
  } catch {
    wanted.changes = [];
  }
  return wanted;
}

/** The text of a case that lies in no folder of the server, or the word of a hidden one. */
let own = null;
export const owned = ({ text, hidden } = {}) => { own = hidden ? { hidden } : text ? { text } : null; };

/** Writes a view into the address, without a new entry in the history. */
export function remember({ case: name, seed, played, changes }) {
  const parts = new URLSearchParams({ ...(own ?? { case: name }), played });
  if (seed !== null) parts.set('seed', seed);
  if (changes.length) parts.set('changes', JSON.stringify(changes));
  history.replaceState(null, '', `#${parts}`);
}
