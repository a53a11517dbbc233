// Building elements without markup strings: text from a player's name can never become markup.

const SVG = 'http://www.w3.org/2000/svg';

function fill(element, properties, children) {
  for (const [name, value] of Object.entries(properties ?? {})) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith('on')) element.addEventListener(name.slice(2), value);
    else if (name === 'value') element.value = value;
    else element.setAttribute(name, value === true ? '' : value);
  }
  element.append(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false));
  return element;
}

/** An HTML element. */
export function h(tag, properties, ...children) {
  return fill(document.createElement(tag), properties, children);
}

/** An SVG element. */
export function s(tag, properties, ...children) {
  return fill(document.createElementNS(SVG, tag), properties, children);
}

/**
 * Replaces what a region shows and keeps the keyboard where it was: elements that stand for
 * the same thing before and after carry the same `data-key`.
 */
export function show(region, ...children) {
  const focused = document.activeElement;
  const key = region.contains(focused) ? focused.dataset?.key : undefined;
  region.replaceChildren(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false));
  if (key) region.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus({ preventScroll: true });
}

/** A button. `key` keeps the focus over a redraw. */
export function button(text, key, onclick, properties) {
  return h('button', { type: 'button', 'data-key': key, onclick, ...properties }, text);
}

/** Says something to a screen reader once. */
export function say(text) {
  const region = document.getElementById('say');
  // The same sentence twice would not be read again.
  region.textContent = region.textContent === text ? `${text}\u00a0` : text;
}
