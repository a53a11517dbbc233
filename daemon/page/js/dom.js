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

/** The region that a finger (or the mouse) is pressed on, and the drawing that waits until it is lifted. */
let pressed = null;
let pressedAt = 0;
let lifting = 0;
const later = new Map();
/** No tap lasts this long. Its end was lost, and drawing goes on. */
const TAP_MS = 10_000;
/** A finger's click comes a while after it is lifted, a mouse's at once. Lifted after a scroll, none comes. */
const CLICK_MS = 100;
/** What was tapped last stays where the finger found it while the answers to that tap are drawn, above it too. */
let tapped = { key: undefined, until: 0 };
const HOLD_MS = 5_000;
/** When something was last tapped or typed. */
let acted = 0;

addEventListener('pointerdown', (event) => {
  clearTimeout(lifting);
  pressed = event.target;
  pressedAt = Date.now();
}, true);
for (const name of ['pointerup', 'pointercancel', 'blur']) {
  addEventListener(name, (event) => {
    // A pressed button takes the focus from another. Only the window's loss of focus counts.
    if (name === 'blur' && event.target !== window) return;
    lift(name === 'pointerup' && event.pointerType !== 'mouse' ? CLICK_MS : 0);
  }, true);
}
addEventListener('click', (event) => {
  lift(0);
  acted = performance.now();
  tapped = { key: event.target.closest?.('[data-key]')?.dataset.key, until: Date.now() + HOLD_MS };
}, true);
// Who scrolls looks at something else.
for (const name of ['wheel', 'touchmove', 'keydown']) {
  addEventListener(name, () => {
    if (name === 'keydown') acted = performance.now();
    tapped = { key: undefined, until: 0 };
  }, { capture: true, passive: true });
}

/** Whether somebody tapped or typed after that moment of `performance.now()`. */
export const actedSince = (at) => acted > at;

function lift(after_ms) {
  clearTimeout(lifting);
  lifting = setTimeout(lifted, after_ms);
}

function lifted() {
  pressed = null;
  const draws = [...later.values()];
  later.clear();
  for (const draw of draws) draw();
}

/**
 * Whether a finger rests in the region. If what is under it were replaced, the tap would be
 * lost. `draw` is called when the finger is lifted.
 */
export function busy(region, draw) {
  if (!pressed || !region.contains(pressed) || Date.now() - pressedAt > TAP_MS) return false;
  later.set(region, draw);
  return true;
}

/**
 * Replaces what a region shows and keeps the keyboard where it was: elements that stand for
 * the same thing before and after carry the same `data-key`.
 */
export function show(region, ...children) {
  if (busy(region, () => show(region, ...children))) return;
  const focused = document.activeElement;
  const key = region.contains(focused) ? focused.dataset?.key : undefined;
  const before = tappedTop();
  region.replaceChildren(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false));
  if (key) region.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus({ preventScroll: true });
  const after = tappedTop();
  if (before && after) after.page.scrollTop += after.top - before.top;
}

/** Where what was tapped is now, pixels from the top of the window; nothing for what is not in the page that scrolls. */
function tappedTop() {
  if (!tapped.key || Date.now() > tapped.until) return null;
  const element = document.querySelector(`main [data-key="${CSS.escape(tapped.key)}"]`);
  const box = element?.getBoundingClientRect();
  return box?.height ? { page: element.closest('main'), top: box.top } : null;
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
