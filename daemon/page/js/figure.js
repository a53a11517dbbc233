// The body from above: pelvis line, shoulder line and lead arm as one looks down on the
// player. The player faces up the page at address, towards the ball; the target is to the left of a
// right-handed player and to the right of a left-handed one. The same picture as the one of before and after, which moves
// here: analysis/src/picture/above.rs.
//
// Axes: global X ahead, Y up, Z to the player's right (ISB). On the page, right = Z, up = X.

import { s } from './dom.js';
import { NAMES, num, turnWords } from './format.js';
import { line, mark, text } from './shapes.js';

/** Half-lengths as drawn, page units; for drawing only, nothing is measured from them. */
const HIPS = 64;
const SHOULDERS = 96;
const ARM = 69;
/** The ring around it, and how far the drawing reaches. */
const RING = 112;
const REACH = { x: 184, top: 172, foot: 172 };

/** Rotates a vector by a unit quaternion `[w, x, y, z]`. */
function rotate([w, x, y, z], [a, b, c]) {
  const tx = 2 * (y * c - z * b);
  const ty = 2 * (z * a - x * c);
  const tz = 2 * (x * b - y * a);
  return [a + w * tx + y * tz - z * ty, b + w * ty + z * tx - x * tz, c + w * tz + x * ty - y * tx];
}

const RIGHT = [0, 0, 1];
const DOWN = [0, -1, 0];

/** Undoes a rotation. */
const undone = ([w, x, y, z]) => [w, -x, -y, -z];

/** Turns a vector about the vertical. */
function headed(deg, [x, y, z]) {
  const [sin, cos] = [Math.sin((deg * Math.PI) / 180), Math.cos((deg * Math.PI) / 180)];
  return [x * cos + z * sin, y, z * cos - x * sin];
}

/** A segment's orientation at an index of the curves. Without a calibration it is the strap's, not the body's. */
function orientation(curves, role, i) {
  const c = curves.segments.find((of) => of.role === role);
  return c?.turn_deg?.length ? c.orientation_wxyz?.[i] : null;
}

/** Where each line points, seen from above (`[ahead, right]`, of the arm also up), at one index of a swing's curves. */
export function fromCurves(curves, i, headingDeg = 0) {
  const found = {};
  for (const { role } of curves.segments) {
    const q = orientation(curves, role, i);
    if (!q) continue;
    const [x, y, z] = role === 'lead_arm' ? headed(headingDeg, rotate(q, DOWN)) : rotate(q, RIGHT);
    found[role] = role === 'lead_arm' ? [x, z, y] : [x, z];
  }
  return found;
}

/** Where the lead arm would point had only the body turned since `address`; null where it is not known how arm and chest stand to each other. */
export function armAsTurned(curves, address, i, headingDeg) {
  const [arm, was, is] = [orientation(curves, 'lead_arm', address), orientation(curves, 'thorax', address), orientation(curves, 'thorax', i)];
  if (!arm || !was || !is || headingDeg === undefined) return null;
  const [x, , z] = rotate(is, rotate(undone(was), headed(headingDeg, rotate(arm, DOWN))));
  return [x, z];
}

/** The same from the live pose, whose turns are positive towards the target. */
export function fromPose(segments, handedness) {
  const left = handedness === 'left' ? -1 : 1;
  const rad = Math.PI / 180;
  const found = {};
  for (const role of ['pelvis', 'thorax']) {
    const p = segments[role];
    if (!p || p.turn_deg === undefined || p.turn_deg === null) continue;
    const [a, b] = [p.turn_deg * rad * left, (p.lateral_deg ?? 0) * rad];
    found[role] = [Math.sin(a) * Math.cos(b), Math.cos(a) * Math.cos(b)];
  }
  const arm = segments.lead_arm;
  if (arm && arm.direction_deg !== undefined && arm.direction_deg !== null) {
    // Direction 0 = straight ahead of the player at address, positive towards the target.
    const a = arm.direction_deg * rad * left;
    const raised = Math.min(180, Math.max(0, arm.elevation_deg ?? 90)) * rad;
    const reach = Math.sin(raised);
    found.lead_arm = [Math.cos(a) * reach, -Math.sin(a) * reach, -Math.cos(raised)];
  }
  return found;
}

function body(pose, handedness, kind) {
  const parts = [];
  const at = ([x, z], r) => [z * r, -x * r];
  const across = (role, r) => {
    const v = pose[role];
    if (!v) return;
    const [px, py] = at(v, r);
    parts.push(line(role, [[-px, -py], [px, py]], kind === 'ghost' ? 4 : 7), mark(role, px, py, 9), mark(role, -px, -py, 9));
    // A short stroke shows which side is the front.
    const [nx, ny] = [py / r, -px / r];
    parts.push(s('line', { class: 'ahead', x1: nx * 4, y1: ny * 4, x2: nx * 26, y2: ny * 26 }));
  };
  across('pelvis', HIPS);
  across('thorax', SHOULDERS);
  if (pose.lead_arm && pose.thorax) {
    const side = handedness === 'left' ? 1 : -1;
    const [sx, sy] = at(pose.thorax, SHOULDERS * side);
    if (pose.as_turned && kind !== 'ghost') {
      const [tx, ty] = at(pose.as_turned, ARM);
      parts.push(s('line', { class: 'as-turned', x1: sx, y1: sy, x2: sx + tx, y2: sy + ty }), s('path', { class: 'as-turned mark', d: `M${sx + tx} ${sy + ty - 9}l9 9l-9 9l-9 -9z` }));
    }
    const [ax, ay] = at(pose.lead_arm, ARM);
    // Narrower than the other two, so that a short arm still shows dots.
    parts.push(line('lead_arm', [[sx, sy], [sx + ax, sy + ay]], kind === 'ghost' ? 3.5 : 5), mark('lead_arm', sx + ax, sy + ay, 9));
  }
  return s('g', { class: `figure ${kind}` }, parts);
}

/** How far the middle of the hips is from its place at address, in page units. */
const PER_CM = HIPS / 17;

/** A mark where the middle of the hips is at the top, on the line to the target, with a stroke from its place at address. */
function shiftMark(cm, handedness) {
  const x = Math.max(-REACH.x, Math.min(REACH.x, cm * PER_CM * (handedness === 'left' ? 1 : -1)));
  return s('g', { class: 'shift' },
    s('line', { x1: 0, x2: x, y1: 0, y2: 0 }),
    s('line', { x1: x, x2: x, y1: -9, y2: 9 }));
}

/**
 * The whole picture. `second` (`{ lines, handedness }`) is laid over it, paler; `shift` (`{ cm, words }`) is
 * where the middle of the hips is at the top.
 */
export function picture(first, handedness, { second = null, shift = null, label = 'Seen from above' } = {}) {
  const target = handedness === 'left' ? 1 : -1;
  const end = target * (REACH.x - 4);
  const parts = [
    s('circle', { class: 'ring', cx: 0, cy: 0, r: RING }),
    s('line', { class: 'ring', x1: -REACH.x, x2: REACH.x, y1: 0, y2: 0 }),
    s('path', { class: 'gap-head', d: `M${end} 0l${-14 * target} -8v16z` }),
    text(end, -16, 'target', 'axis-text', target < 0 ? 'start' : 'end'),
    s('circle', { class: 'ball', cx: 0, cy: 12 - REACH.top, r: 8 }),
    text(16, 18 - REACH.top, 'ball', 'axis-text'),
    s('line', { class: 'feet-line', x1: -0.62 * RING, x2: 0.62 * RING, y1: 0.12 * RING, y2: 0.12 * RING }),
    [-0.42, 0.42].map((side) => s('ellipse', { class: 'sole', cx: side * RING, cy: 0, rx: 0.08 * RING, ry: 0.19 * RING })),
    text(0.66 * RING, 0.12 * RING + 18, 'feet', 'axis-text'),
  ];
  if (second) parts.push(body(second.lines, second.handedness, 'ghost'));
  if (first) parts.push(body(first, handedness, ''), s('circle', { class: 'head', cx: 0, cy: -0.09 * RING, r: 0.13 * RING }));
  if (shift) parts.push(shiftMark(shift.cm, handedness), text(0, REACH.foot - 4, shift.words, 'axis-text', 'middle'));
  return s('svg', { class: 'above', viewBox: `${-REACH.x - 2} ${-REACH.top} ${2 * REACH.x + 4} ${REACH.top + REACH.foot}`, role: 'img', 'aria-label': label }, parts);
}

/** The number of each line in words, from what is drawn: turns, and how far the arm is raised from hanging. */
export function turnsOf(pose, handedness) {
  const left = handedness === 'left' ? -1 : 1;
  const turns = ['pelvis', 'thorax'].filter((r) => pose[r]).map((role) => {
    const [x, z] = pose[role];
    return { role, name: NAMES[role], words: turnWords(Math.atan2(x, z) * (180 / Math.PI) * left) };
  });
  const up = pose.lead_arm?.[2];
  if (up === undefined) return turns;
  const raised = Math.acos(Math.max(-1, Math.min(1, -up))) * (180 / Math.PI);
  return [...turns, { role: 'lead_arm', name: NAMES.lead_arm, words: `${num(raised)}° raised` }];
}
