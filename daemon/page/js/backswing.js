// Turn or lift: the backswing as one bar in degrees. The hips' turn, what the chest turned on
// top of them, and how far the arm moved in the shoulder, one after another from address to top.

import { h, s } from './dom.js';
import { half, num } from './format.js';
import { mark, text } from './shapes.js';

/** The bar reaches to so many degrees, or as far as it needs. A fixed scale lets swings be held against each other by eye. */
const SCALE = 180;
const BAR = { top: 40, height: 34 };
/** Widths of a letter over the bar, on average, as far as can be told without measuring. */
const SHARE_LETTER = 13;
const BAND_LETTER = 10;

/** A share in per cent, and half its 95 % band. */
const percent = (share) => `${num(share * 100)} %`;

/** The parts of the bar, from hips to shoulder; null where one of them was not measured. */
export function partsOf(swing) {
  const made = swing.backswing;
  const thorax = swing.segments.thorax?.turn_deg;
  if (made?.arm_moved_deg === undefined || !thorax) return null;
  const pelvis = swing.segments.pelvis?.turn_deg;
  const turn = -thorax.top;
  const arm = { role: 'lead_arm', name: 'shoulder', deg: made.arm_moved_deg, sd: made.arm_moved_sd_deg, length: made.arm_moved_deg };
  if (!pelvis || !swing.separation) return { turn, parts: [{ role: 'thorax', name: 'chest', deg: turn, sd: thorax.sd, length: turn }, arm] };
  // Hips that turn further than the chest, or the other way, take no room from it.
  const length = Math.min(turn, Math.max(0, -pelvis.top));
  return { turn, parts: [
    { role: 'pelvis', name: 'hips', deg: -pelvis.top, sd: pelvis.sd, length },
    { role: 'thorax', name: 'trunk', deg: -swing.separation.top_deg, sd: swing.separation.sd_deg, length: turn - length },
    arm,
  ] };
}

/** Title, bar and what goes with it; null without an arm strap. */
export function backswing(swing, width) {
  if (!swing.segments.lead_arm || !swing.segments.thorax) return null;
  const found = partsOf(swing);
  return h('section', { class: 'backswing' },
    h('h2', { class: 'small-title' }, 'Backswing: turn or lift'),
    found ? bar(swing, found, width) : h('p', { class: 'difference' }, 'Turn and lift withheld.'),
    h('p', { class: 'fine' }, notes(swing)));
}

function notes(swing) {
  const made = swing.backswing ?? {};
  const has = (v) => v !== undefined;
  return [
    has(made.arm_raised_deg) && `Arm raised ${num(made.arm_raised_deg)}° ±${half(made.arm_raised_sd_deg)} in the shoulder`,
    has(made.arm_across_deg) && `drawn ${num(Math.abs(made.arm_across_deg))}° ±${half(made.arm_across_sd_deg)} ${made.arm_across_deg < 0 ? 'towards the target' : 'across the chest'}`,
    has(made.chest_per_arm) && `chest per arm ${num(made.chest_per_arm, 2)} ±${num(1.96 * made.chest_per_arm_sd, 2)}`,
  ].filter(Boolean).map((said) => said.replaceAll(' ±', '\u00a0±')).join(' · ');
}

function bar(swing, { turn, parts }, width) {
  const made = swing.backswing;
  const whole = turn + made.arm_moved_deg;
  const x = (deg) => 2 + (deg / Math.max(SCALE, whole)) * (width - 4);
  const foot = BAR.top + BAR.height;
  const height = foot + 64;
  const out = [patterns()];
  let from = 0;
  for (const part of parts) {
    part.from = x(from);
    from += part.length;
    part.to = x(from);
    const box = { x: part.from, y: BAR.top, width: Math.max(0, part.to - part.from), height: BAR.height };
    out.push(s('rect', { class: `part ${part.role}`, ...box }), s('rect', { class: 'part-pattern', fill: `url(#part-${part.role})`, ...box }));
  }
  out.push(s('line', { class: 'rail', x1: x(whole), x2: width - 2, y1: foot, y2: foot }));
  // Over the bar, what the turn made of it and what the arm made.
  const [ofTurn, band, ofArm] = [`turn ${percent(made.turn_share)}`, ` ±${num(196 * made.turn_share_sd)}`, `arm ${percent(1 - made.turn_share)}`];
  // The arm's words end where its stretch does, or further on, clear of the words before them.
  const clear = x(0) + ofTurn.length * SHARE_LETTER + band.length * BAND_LETTER + ofArm.length * SHARE_LETTER + 14;
  out.push(span(x(0), x(turn), x(0), ofTurn, band, 'start'));
  out.push(span(x(turn), x(whole), Math.min(width - 2, Math.max(x(whole), clear)), ofArm, '', 'end'));
  for (const [part, at] of placed(parts, width)) {
    // The name with its mark, centred as far as can be told without measuring the letters.
    const left = at - 10 - part.name.length * 4.6;
    out.push(
      s('line', { class: 'tick', x1: at, x2: (part.from + part.to) / 2, y1: foot + 12, y2: foot + 2 }),
      mark(part.role, left + 6, foot + 24, 6),
      text(left + 18, foot + 30, part.name, 'part-name'),
      s('text', { x: at, y: foot + 56, class: 'part-number', 'text-anchor': 'middle' }, `${num(part.deg)}°`, s('tspan', { class: 'turn-band' }, ` ±${half(part.sd)}`)));
  }
  return s('svg', { class: 'backswing-bar', width, height, viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': words(swing, parts) }, out);
}

/** A line over a stretch of the bar; its words begin or end at `at`. */
function span(from, to, at, said, band, anchor) {
  const y = BAR.top - 8;
  return s('g', {},
    s('path', { class: 'gap-line', d: `M${from + 1} ${y + 5}v-5H${Math.max(from + 1, to - 1)}v5` }),
    s('text', { x: at, y: y - 8, class: 'part-share', 'text-anchor': anchor }, said, s('tspan', { class: 'turn-band' }, band)));
}

/** Where each label stands: under the middle of its part, or as near as the others leave room. */
function placed(parts, width) {
  const room = Math.min(106, (width - 4) / parts.length);
  const at = parts.map((part) => Math.min(width - room / 2, Math.max(room / 2, (part.from + part.to) / 2)));
  for (let i = 1; i < at.length; i++) at[i] = Math.max(at[i], at[i - 1] + room);
  for (let i = at.length - 1; i >= 0; i--) at[i] = Math.min(at[i], width - room / 2 - (at.length - 1 - i) * room);
  return parts.map((part, i) => [part, at[i]]);
}

/** Stripes for the trunk and dots for the arm, so that the parts differ without colour. */
function patterns() {
  const tile = (role, ...inside) => s('pattern', { id: `part-${role}`, width: 8, height: 8, patternUnits: 'userSpaceOnUse' }, inside);
  return s('defs', {},
    tile('pelvis'),
    tile('thorax', s('path', { class: 'stripe', d: 'M-2 2L2 -2M0 8L8 0M6 10L10 6' })),
    tile('lead_arm', s('circle', { class: 'dot', cx: 2, cy: 2, r: 1.5 }), s('circle', { class: 'dot', cx: 6, cy: 6, r: 1.5 })));
}

function words(swing, parts) {
  const made = swing.backswing;
  const each = parts.map((part) => `${part.name} ${num(part.deg)} plus or minus ${half(part.sd)} degrees`).join(', ');
  const hips = made.hips_share === undefined ? '' : `, of which the hips ${percent(made.hips_share)}`;
  return `Backswing, address to top: ${each}. By turn ${percent(made.turn_share)} plus or minus ${num(196 * made.turn_share_sd)}${hips}. An index: it adds angles about different axes.`;
}
