// Small things that every zone needs to draw.

const SVG = 'http://www.w3.org/2000/svg';

/** @typedef {{ [K in keyof SVGElementTagNameMap as `svg:${K}`]: SVGElementTagNameMap[K] }} Drawn */
/** @typedef {Omit<HTMLElementTagNameMap, keyof Drawn> & Drawn} Elements */
/** @typedef {Node | string | null | undefined} Child */

/**
 * An element with attributes and children; a name that begins with "svg:" is one of a drawing.
 * @template {keyof Elements} N
 * @param {N} name
 * @param {Record<string, unknown>} attributes those that begin with "on" are listened for; false and nothing are left out
 * @param {(Child | Child[])[]} children
 * @returns {Elements[N]}
 */
export function make(name, attributes = {}, ...children) {
  const drawn = name.startsWith('svg:');
  const element = drawn ? document.createElementNS(SVG, name.slice(4)) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (typeof value === 'function') element.addEventListener(key.slice(2), /** @type {EventListener} */ (value));
    else if (value === true) element.setAttribute(key, '');
    else if (value !== false && value != null) element.setAttribute(key, String(value));
  }
  element.append(...children.flat().filter((child) => child != null));
  return /** @type {Elements[N]} */ (/** @type {unknown} */ (element));
}

/**
 * The element of this name.
 * @param {string} id
 * @returns {HTMLElement}
 */
export function by(id) {
  const element = document.getElementById(id);
  if (!element) throw new Error(`the page has no ${id}`);
  return element;
}

/** @param {string} id */
export const button = (id) => /** @type {HTMLButtonElement} */ (by(id));

/** The one dialog, in which everything is asked that needs more than a click. */
export const dialog = () => /** @type {HTMLDialogElement} */ (by('dialog'));

/**
 * Sets an attribute only if it differs: drawing again costs more than looking.
 * @param {Element} element
 * @param {string} key
 * @param {string | number | boolean} value
 */
export function set(element, key, value) {
  const text = String(value);
  if (element.getAttribute(key) !== text) element.setAttribute(key, text);
}

/**
 * Sets a text only if it differs.
 * @param {Element} element
 * @param {string} text
 */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/**
 * A number with so many digits behind the point, and a real minus.
 * @param {number} value
 */
export function digits(value, behind = 1) {
  return value.toFixed(behind).replace(/^-(0(\.0*)?)$/, '$1').replace('-', '−');
}

/** A colour of the page by its name: what is drawn on a canvas cannot ask for it itself. */
export const ink = (/** @type {string} */ name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();

/** How large letters are, against the usual ones: what is drawn on a canvas grows with them. */
export const scale = () => parseFloat(getComputedStyle(document.documentElement).fontSize) / 16;

/** An axis of a chart, with the page's inks and letters. */
export function axis() {
  return { stroke: ink('faint'), grid: { stroke: ink('ground') }, ticks: { stroke: ink('line') }, font: `${12 * scale()}px system-ui, sans-serif` };
}
