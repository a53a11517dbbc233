// The turns of what is drawn, in words and numbers.

import { h, s } from './dom.js';
import { capital, half, num } from './format.js';
import { turnsOf } from './figure.js';
import { mark } from './shapes.js';

export const spoken = (lines, handedness) => turnsOf(lines, handedness).map((t) => `${t.name} ${t.words}`).join(', ');

/** Shift of the middle of the hips at the top, for the picture; null where it was not measured. */
export function hipShift(swing) {
  const at = swing.hip_shift?.top.mid_hips;
  if (!at) return null;
  const cm = at.towards_target_cm;
  const size = num(Math.abs(cm));
  const way = size === '0' ? '' : ` to the ${cm < 0 ? 'trail' : 'lead'} side`;
  return { cm, words: `hips at the top: ${size} ±${half(at.sd_cm)} cm${way}` };
}

/** One line for each segment; a second body in small type below. */
export function turnList(lines, handedness, second) {
  const others = second ? turnsOf(second.lines, second.handedness) : [];
  return h('dl', { class: 'turn-list' }, turnsOf(lines, handedness).map((t) => h('div', {},
    h('dt', {}, s('svg', { width: 22, height: 22, viewBox: '0 0 22 22', 'aria-hidden': 'true' }, mark(t.role, 11, 11, 8)), capital(t.name)),
    h('dd', {}, t.words, second && h('span', { class: 'fine' }, `${second.called}: ${others.find((o) => o.role === t.role)?.words ?? 'not known'}`)))));
}
