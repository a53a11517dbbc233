// The figures on the time axis: milliseconds before impact, one axis for the strip of
// peaks, the speed curves under it and the run of swings under those.

import { h, s } from './dom.js';
import { Z95, NAMES, ROLES, capital, half, tellingGaps, tiedWithBoth, noPeakWords, num, gapSentence, peakOf, swingSpoken } from './format.js';
import { line, mark, text } from './shapes.js';
import { ballNote } from './ball.js';

/** The page's measures for a given width. */
export function layout(width, swings) {
  const narrow = width < 560;
  const earliest = Math.max(0, ...swings.flatMap((w) => ROLES.map((r) => peakOf(w, r)?.before_impact_ms ?? 0)));
  // The axis moves in steps, so that a swing can be held against the last one by eye.
  const from = -Math.max(120, Math.ceil((earliest + 25) / 40) * 40);
  const left = narrow ? 8 : 172;
  const right = narrow ? 104 : 170;
  const to = 12;
  const span = width - left - right;
  return { width, narrow, left, right, from, to, x: (ms) => left + ((ms - from) / (to - from)) * span };
}

function impactLine(l, height, swing) {
  const x = l.x(0);
  const sd = swing.events.impact.sd_ms * Z95;
  const from = Math.max(l.left, Math.min(l.x(-sd), x - 0.5));
  const to = Math.min(l.x(l.to), Math.max(l.x(sd), x + 0.5));
  return [
    s('rect', { class: 'impact-band', x: from, y: 0, width: to - from, height }),
    s('line', { class: 'impact', x1: x, x2: x, y1: 0, y2: height, 'stroke-dasharray': swing.kind === 'strike' ? null : '3 5' }),
  ];
}

/** One row a segment; the peak's mark, its uncertainty as width, and the gaps between where they have room. */
export function strip(swing, l, { rowHeight = 52, gapHeight = 40, gaps = true } = {}) {
  const row = l.narrow ? 58 : rowHeight;
  const pitch = row + gapHeight;
  const yOf = (i) => i * pitch + (l.narrow ? row - 18 : row / 2);
  const height = yOf(2) + row / 2 + 4;
  const parts = impactLine(l, height, swing);
  ROLES.forEach((role, i) => {
    const y = yOf(i);
    const labelY = l.narrow ? y - 24 : y + 8;
    parts.push(s('line', { class: 'rail', x1: l.left, x2: l.x(0), y1: y, y2: y }));
    if (!l.narrow) parts.push(mark(role, 14, y, 11));
    parts.push(text(l.narrow ? l.left : 36, labelY, capital(NAMES[role]), 'row-name'));
    const peak = peakOf(swing, role);
    const edge = l.width - 4;
    if (!peak) {
      const words = noPeakWords(swing, role);
      const held = swing.segments[role]?.peak;
      if (words === 'held to impact') {
        const from = l.x(-(held.before_impact_ms + Z95 * held.sd_ms));
        parts.push(s('rect', { class: `beam ${role}`, x: from, y: y - row * 0.42, width: Math.max(3, l.x(0) - from), height: row * 0.84 }));
        parts.push(line(role, [[from, y], [l.x(0), y]]));
      }
      if (words === 'still rising') {
        const x = l.x(0);
        parts.push(line(role, [[l.x(-60), y], [x - 16, y]]), s('path', { class: `mark ${role} hollow`, d: `M${x - 18} ${y - 11}L${x} ${y}L${x - 18} ${y + 11}Z` }));
      }
      parts.push(text(edge, y + 7, words, 'row-word', 'end'));
      return;
    }
    const x = l.x(-peak.before_impact_ms);
    const [before, after] = peak.band_ms ?? [peak.sd_ms * Z95, peak.sd_ms * Z95];
    const from = Math.min(l.x(-peak.before_impact_ms - before), x - 1.5);
    const to = Math.max(l.x(-peak.before_impact_ms + after), x + 1.5);
    parts.push(s('rect', { class: `beam ${role}`, x: from, y: y - row * 0.42, width: to - from, height: row * 0.84 }));
    if (peak.within_2pct_ms) parts.push(span(role, peak, l, y + row * 0.42));
    parts.push(mark(role, x, y, 12));
    const sd = Math.hypot(peak.sd_ms, swing.events.impact.sd_ms);
    parts.push(s('text', { x: edge, y: y + 11, class: 'row-number', 'text-anchor': 'end' }, num(peak.before_impact_ms), s('tspan', { class: 'unit' }, ` ± ${half(sd)}${l.narrow ? '' : ' ms'}`)));
  });
  // Gaps stand between the rows of neighbours. A missing segment's neighbours are joined past
  // it; so are two resolved segments whose gap spans one that is tied with both.
  const tied = gaps && tiedWithBoth(swing);
  if (tied) parts.push(tiedWords(swing, tied, l, yOf));
  for (const gap of gaps ? tellingGaps(swing) : []) parts.push(gapFigure(swing, gap, l, yOf));
  return s('svg', { class: 'strip', width: l.width, height, viewBox: `0 0 ${l.width} ${height}`, role: 'img', 'aria-label': stripWords(swing) }, parts);
}

/** While the speed was within 2 % of its largest: a bar below the mark. */
function span(role, peak, l, y) {
  const [from, to] = peak.within_2pct_ms.map((ms) => l.x(-peak.before_impact_ms + ms));
  return s('path', { class: `span ${role}`, d: `M${from} ${y - 4}V${y}H${to}V${y - 4}` }, s('title', {}, 'within 2 % of the fastest'));
}

const xOf = (swing, role, l) => l.x(-peakOf(swing, role).before_impact_ms);

/** -1 where words `room` wide fit to the left of `x`, else 1. */
const side = (x, room, l) => (x - room > (l.narrow ? 0 : l.left - 60) ? -1 : 1);

/** Says beside its mark that a segment is tied with both others. */
function tiedWords(swing, role, l, yOf) {
  const i = ROLES.indexOf(role);
  const xs = ROLES.map((r) => xOf(swing, r, l));
  const off = Math.max(26, (l.x(peakOf(swing, role).sd_ms * Z95) - l.x(0)) + 10);
  // The gap that spans this row has its own words on the side with room.
  const way = i === 1 ? -side(Math.min(...xs), bracketRoom(l), l) : (xs[i] - off - (l.narrow ? 110 : 140) > l.left ? -1 : 1);
  const x = xs[i] + way * off;
  return s('text', { class: 'gap-text', x, y: yOf(i) + 7, 'text-anchor': way < 0 ? 'end' : 'start' }, s('tspan', { class: 'unit' }, 'tied with both'));
}

const bracketRoom = (l) => (l.narrow ? 150 : 200);

/** Joins the first row and the last beside the marks, from the earlier peak to the later one. */
function bracket(swing, gap, l, yOf) {
  const xs = ROLES.map((role) => xOf(swing, role, l));
  const [xa, xb] = [xs[0], xs.at(-1)];
  const [ya, yb] = [yOf(0), yOf(2)];
  const way = side(Math.min(...xs), bracketRoom(l), l);
  const x = (way < 0 ? Math.min(...xs) : Math.max(...xs)) + way * 40;
  const [near, far] = gap.gap_ms >= 0 ? [yb, xb] : [ya, xa];
  return s('g', {},
    s('path', { class: 'gap-line', d: `M${xa + way * 16} ${ya}H${x}V${yb}H${xb + way * 16}` }),
    s('path', { class: 'gap-head', d: `M${far + way * 14} ${near}l${11 * way} -6v12z` }),
    s('text', { class: 'gap-text', x: x + way * 12, y: yOf(1) + 11, 'text-anchor': way < 0 ? 'end' : 'start' }, gapLabel(gap)));
}

function gapLabel(gap) {
  const size = num(Math.abs(gap.gap_ms));
  return gap.resolved
    ? [s('tspan', { class: 'gap-number' }, size), s('tspan', { class: 'unit' }, ` ± ${half(gap.sd_ms)} ms`)]
    : [s('tspan', { class: 'gap-number' }, 'tie'), s('tspan', { class: 'unit' }, `  ${size} ± ${half(gap.sd_ms)} ms`)];
}

function gapFigure(swing, gap, l, yOf) {
  const [i, j] = [ROLES.indexOf(gap.from), ROLES.indexOf(gap.to)];
  if (tiedWithBoth(swing) === ROLES[1]) return bracket(swing, gap, l, yOf);
  const [xa, xb] = [gap.from, gap.to].map((role) => xOf(swing, role, l));
  const [ya, yb] = [yOf(i), yOf(j)];
  const y = j - i === 1 ? (ya + yb) / 2 + (l.narrow ? -6 : 0) : (ya + yb) / 2 - 22;
  const [lo, hi] = [Math.min(xa, xb), Math.max(xa, xb)];
  const parts = [s('path', { class: 'gap-line', d: `M${xa} ${ya + 14}V${y}M${xb} ${yb - 14}V${y}` })];
  if (gap.resolved) {
    parts.push(s('path', { class: 'gap-line', d: `M${xa} ${y}H${xb}` }));
    // The arrow runs from the earlier peak to the later one.
    const way = gap.gap_ms >= 0 ? 1 : -1;
    if (hi - lo > 16) parts.push(s('path', { class: 'gap-head', d: `M${xb} ${y}l${-11 * way} -6v12z` }));
  } else {
    const [a, b] = hi - lo > 14 ? [xa, xb] : [(xa + xb) / 2 - 8, (xa + xb) / 2 + 8];
    parts.push(s('path', { class: 'gap-line', d: `M${a} ${y - 4}H${b}M${a} ${y + 4}H${b}` }));
  }
  // Beside the connector, on the side with room.
  const onLeft = side(lo, l.narrow ? 116 : 178, l) < 0;
  parts.push(s('text', { class: 'gap-text', x: onLeft ? lo - 14 : hi + 14, y: y + 11, 'text-anchor': onLeft ? 'end' : 'start' }, gapLabel(gap)));
  return s('g', {}, parts);
}

function stripWords(swing) {
  const peaks = ROLES.map((role) => {
    const peak = peakOf(swing, role);
    return peak
      ? `${NAMES[role]} fastest ${num(peak.before_impact_ms)} plus or minus ${half(Math.hypot(peak.sd_ms, swing.events.impact.sd_ms))} milliseconds before impact`
      : `${NAMES[role]}: ${noPeakWords(swing, role)}`;
  });
  return `${swing.order_words}. ${peaks.join('; ')}. ${tellingGaps(swing).map(gapSentence).join('; ')}.`;
}

/** Ticks of the time axis. */
export function axis(l, swing) {
  const parts = [];
  const step = l.narrow ? 80 : 40;
  for (let ms = 0; ms >= l.from + 6; ms -= step) {
    const x = l.x(ms);
    parts.push(s('line', { class: 'tick', x1: x, x2: x, y1: 0, y2: 7 }));
    const words = ms !== 0 ? `${num(-ms)} ms` : ({ rehearsal: 'no strike: estimated', unsure: 'impact: estimated' }[swing?.kind] ?? 'impact');
    // Longer words than "impact" begin beside the line, clear of the number before it.
    parts.push(words.includes('estimated') ? text(x - 24, 25, words, 'axis-text') : text(x, 25, words, 'axis-text', 'middle'));
  }
  if (!l.narrow) parts.push(text(l.width - 4, 25, '± 95 %', 'axis-text', 'end'));
  return s('svg', { class: 'axis', width: l.width, height: 30, viewBox: `0 0 ${l.width} 30`, 'aria-hidden': 'true' }, parts);
}

/** Speed of the three segments on the same time axis. */
export function speeds(swing, curves, l, height = 140) {
  const impact = swing.events.impact.t_s;
  const shown = (curves?.segments ?? []).filter((c) => swing.segments[c.role]);
  const points = shown.map((c) => c.speed_dps
    .map((v, i) => [(curves.start_s + i * curves.step_s - impact) * 1000, v])
    .filter(([ms]) => ms >= l.from && ms <= l.to));
  const top = Math.ceil(Math.max(200, ...points.flat().map(([, v]) => v)) / 200) * 200;
  const y = (v) => height - 3 - (Math.max(0, v) / top) * (height - 14);
  const parts = impactLine(l, height, swing);
  for (let v = 0; v <= top; v += top > 1200 ? 400 : 200) {
    parts.push(s('line', { class: 'rail', x1: l.left, x2: l.x(l.to), y1: y(v), y2: y(v) }));
    if (!l.narrow && v > 0) parts.push(text(l.left - 10, y(v) + 6, num(v), 'axis-text', 'end'));
  }
  if (!l.narrow) parts.push(text(36, 22, 'speed, °/s', 'axis-text'));
  shown.forEach((c, k) => parts.push(line(c.role, points[k].map(([ms, v]) => [l.x(ms), y(v)]), 3.5)));
  const peaks = [];
  for (const c of shown) {
    const peak = peakOf(swing, c.role);
    if (!peak) continue;
    parts.push(mark(c.role, l.x(-peak.before_impact_ms), y(peak.speed_dps), 7));
    peaks.push({ role: c.role, y: y(peak.speed_dps) + 8, words: num(peak.speed_dps) });
  }
  // The numbers keep clear of one another.
  peaks.sort((a, b) => b.y - a.y);
  peaks.forEach((p, i) => {
    if (i > 0) p.y = Math.min(p.y, peaks[i - 1].y - 26);
  });
  for (const p of peaks) {
    parts.push(mark(p.role, l.x(l.to) + 18, p.y - 7, 7));
    parts.push(s('text', { x: l.width - 4, y: p.y, class: 'speed-number', 'text-anchor': 'end' }, p.words, s('tspan', { class: 'unit' }, ' °/s')));
  }
  const words = peaks.map((p) => `${NAMES[p.role]} ${p.words} degrees per second`).join(', ');
  return s('svg', { class: 'speeds', width: l.width, height, viewBox: `0 0 ${l.width} ${height}`, role: 'img', 'aria-label': `Speeds at the peak: ${words || 'none measured'}.` }, parts);
}

/** One line of the run of swings: the three peaks, small. */
export function runLine(swing, l, height = 24) {
  const y = height / 2;
  const kind = swing.kind === 'strike' ? '' : 'hollow';
  const x = l.x(0);
  return s('svg', { class: 'run-line', width: l.width, height, viewBox: `0 0 ${l.width} ${height}`, 'aria-hidden': 'true' },
    s('line', { class: 'impact', x1: x, x2: x, y1: 0, y2: height }),
    ROLES.map((role) => {
      const peak = peakOf(swing, role);
      return peak && mark(role, l.x(-peak.before_impact_ms), y, 6.5, kind);
    }));
}

/** The run's lines, newest first; each can be opened. */
export function run(swings, l, { remarkOf, shown, open, count }) {
  const last = swings.slice(-count).reverse();
  return h('ol', { class: 'run', reversed: true }, last.map((swing) => {
    const remark = remarkOf(swing.number);
    const state = remark.excluded ? 'left out' : ballNote(swing);
    const note = [state, ...remark.labels].filter(Boolean).join(', ');
    return h('li', { class: remark.excluded ? 'excluded' : '' },
      h('button', {
        type: 'button', class: 'run-open', 'data-key': `run-${swing.number}`,
        'aria-pressed': String(swing.number === shown), onclick: () => open(swing.number),
      },
      runLine(swing, l),
      h('span', { class: 'unseen' }, `${swingSpoken(swing)}${note ? ` ${capital(note)}.` : ''}`),
      h('span', { class: 'run-number', 'aria-hidden': 'true' }, String(swing.number)),
      h('span', { class: 'run-note', 'aria-hidden': 'true' }, note)));
  }));
}

