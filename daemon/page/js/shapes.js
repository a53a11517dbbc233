// The three segments' marks and lines: colour, shape and dash always together, so that
// meaning never rests on colour. Colours: Okabe & Ito.

import { s } from './dom.js';

/** Dash pattern of a segment's line, in stroke widths. */
const DASH = { pelvis: [], thorax: [3.2, 1.8], lead_arm: [0.01, 2.3] };
const CAP = { pelvis: 'butt', thorax: 'butt', lead_arm: 'round' };

/** A segment's mark, centred. `kind` adds a class: `faint`, `hollow`. */
export function mark(role, x, y, r, kind = '') {
  const common = { class: `mark ${role} ${kind}` };
  if (role === 'pelvis') return s('circle', { ...common, cx: x, cy: y, r });
  if (role === 'thorax') {
    const a = r * 0.9;
    return s('rect', { ...common, x: x - a, y: y - a, width: 2 * a, height: 2 * a });
  }
  const d = r * 1.2;
  return s('path', { ...common, d: `M${x} ${y - d}L${x + d} ${y}L${x} ${y + d}L${x - d} ${y}Z` });
}

/** A segment's line through points, cased in the text colour so that it holds in sunlight. */
export function line(role, points, width = 4) {
  if (points.length < 2) return null;
  const d = points.map(([x, y], i) => `${i ? 'L' : 'M'}${x.toFixed(1)} ${y.toFixed(1)}`).join('');
  const dash = DASH[role].map((part) => (part * width).toFixed(2)).join(' ') || null;
  const common = { d, fill: 'none', 'stroke-linejoin': 'round', 'stroke-linecap': CAP[role], 'stroke-dasharray': dash };
  return s('g', { class: `line ${role}` },
    s('path', { ...common, class: 'case', 'stroke-width': width + 2.5 }),
    s('path', { ...common, class: 'core', 'stroke-width': width }));
}

export function text(x, y, words, cls, anchor = 'start') {
  return s('text', { x, y, class: cls, 'text-anchor': anchor }, words);
}
