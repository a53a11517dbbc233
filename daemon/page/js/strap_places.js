// Where each strap sits, seen from behind: a drawing of our own.

import { s } from './dom.js';
import { mark } from './shapes.js';

const WHERE = { pelvis: 'on the sacrum, in the middle of the belt line', thorax: 'between the shoulder blades', lead_arm: 'on the outside of the lead upper arm, half way down' };

export const placeWords = (role) => WHERE[role];

/** `lit` is the role to point out; straps that have none are hollow. `left`: the player swings left-handed. */
export function placesDrawing(worn, lit, left) {
  // From behind, the lead arm of a right-handed player is the one on the left of the drawing.
  const arm = left ? 1 : -1;
  const at = { thorax: [100, 88], pelvis: [100, 152], lead_arm: [100 + arm * 45, 103] };
  const names = { thorax: 'thorax', pelvis: 'pelvis', lead_arm: 'lead arm' };
  const body = s('g', { class: 'body-outline' },
    s('circle', { cx: 100, cy: 30, r: 17 }),
    s('path', { d: 'M92 47v8c-14 3-26 6-30 12-4 8-8 36-14 62-2 10-4 18-5 25M108 47v8c14 3 26 6 30 12 4 8 8 36 14 62 2 10 4 18 5 25' }),
    s('path', { d: 'M71 80c2 20 5 38 3 58-2 14-4 22-3 36l6 60M129 80c-2 20-5 38-3 58 2 14 4 22 3 36l-6 60M100 176l-6 58M100 176l6 58' }),
    s('path', { class: 'belt', d: 'M74 150c16 5 36 5 52 0' }),
    s('path', { class: 'belt', d: 'M72 86c18 5 38 5 56 0' }));
  const label = (role, x, y, anchor) => s('text', { x, y, 'text-anchor': anchor, class: role === lit ? 'lit' : '' }, names[role]);
  return s('svg', { class: 'places', viewBox: '-12 0 224 240', role: 'img', 'aria-label': `Seen from behind. Pelvis: ${WHERE.pelvis}. Thorax: ${WHERE.thorax}. Lead arm: ${WHERE.lead_arm}.` },
    body,
    Object.entries(at).map(([role, [x, y]]) => [
      role === lit && s('circle', { class: 'ring-lit', cx: x, cy: y, r: 15 }),
      mark(role, x, y, 7, worn.includes(role) ? '' : 'hollow'),
    ]),
    label('thorax', 100, 75, 'middle'), label('pelvis', 100, 170, 'middle'), label('lead_arm', 100 + arm * 56, 106, arm < 0 ? 'end' : 'start'));
}
