// What is folded away until tapped, and stays as it was when its screen is drawn anew.

import { h } from './dom.js';

const open = new Set();

/** `key` keeps it open, and the focus on it, over a redraw. */
export function fold(key, words, ...inside) {
  return h('details', { class: 'fold', open: open.has(key), ontoggle: (e) => {
    if (e.target.open) open.add(key);
    else open.delete(key);
  } }, h('summary', { 'data-key': key }, words), inside);
}
