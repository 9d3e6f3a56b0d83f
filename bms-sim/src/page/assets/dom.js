// Small things that every zone needs to draw.

const SVG = 'http://www.w3.org/2000/svg';

/** An element with attributes and children; a name that begins with "svg:" is one of a drawing. */
export function make(name, attributes = {}, ...children) {
  const drawn = name.startsWith('svg:');
  const element = drawn ? document.createElementNS(SVG, name.slice(4)) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith('on')) element.addEventListener(key.slice(2), value);
    else if (value === true) element.setAttribute(key, '');
    else if (value !== false && value != null) element.setAttribute(key, value);
  }
  element.append(...children.flat().filter((child) => child != null));
  return element;
}

/** The element of this name. */
export const by = (id) => document.getElementById(id);

/** Sets an attribute only if it differs: drawing again costs more than looking. */
export function set(element, key, value) {
  const text = String(value);
  if (element.getAttribute(key) !== text) element.setAttribute(key, text);
}

/** Sets the text only if it differs. */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** A number with so many digits behind the point, and a real minus. */
export function digits(value, behind = 1) {
  return value.toFixed(behind).replace(/^-(0(\.0*)?)$/, '$1').replace('-', '−');
}
