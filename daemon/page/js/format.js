// Numbers with their units, and words that only the page needs. Words for facts come from the daemon.

import { ballWords } from './ball.js';

export const ROLES = ['pelvis', 'thorax', 'lead_arm'];
export const NAMES = { pelvis: 'pelvis', thorax: 'thorax', lead_arm: 'lead arm' };

/** Half the width of a 95 % band, in standard uncertainties. */
export const Z95 = 1.96;

/** A number with a true minus sign. */
export function num(value, decimals = 0) {
  if (value === null || value === undefined || !Number.isFinite(value)) return '–';
  const text = Math.abs(value).toFixed(decimals);
  return value < 0 && Number(text) !== 0 ? `−${text}` : text;
}

/** A number that always shows its sign. */
export function signed(value, decimals = 0) {
  const text = num(value, decimals);
  return value > 0 && Number(text) !== 0 ? `+${text}` : text;
}

/** Half-width of the 95 % band in whole units, at least 1. */
export function half(sd) {
  return String(Math.max(1, Math.round(Z95 * sd)));
}

/** Words of values have a module of their own; those of a turn are asked for with numbers. */
export { measureWords, turnWords } from './said.js';

export function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/** The gap between two segments' peaks, in either direction. */
export function gapOf(swing, from, to) {
  for (const g of swing.sequence.gaps) {
    if (g.from === from && g.to === to) return g;
    if (g.from === to && g.to === from) return { ...g, from, to, gap_ms: -g.gap_ms };
  }
  return null;
}

/** A gap in words for a screen reader. */
export function gapSentence(gap) {
  const size = `${num(Math.abs(gap.gap_ms))} plus or minus ${half(gap.sd_ms)} milliseconds`;
  if (!gap.resolved) return `${NAMES[gap.from]} and ${NAMES[gap.to]} tie, ${size}`;
  const [first, second] = gap.gap_ms >= 0 ? [gap.from, gap.to] : [gap.to, gap.from];
  return `${NAMES[first]} ${size} before ${NAMES[second]}`;
}

/** The segment that is tied with both others where those two are resolved; null otherwise. */
export function tiedWithBoth(swing) {
  const resolved = swing.sequence.gaps.filter((g) => g.resolved);
  if (!ROLES.every((role) => peakOf(swing, role)) || resolved.length !== 1) return null;
  return ROLES.find((role) => role !== resolved[0].from && role !== resolved[0].to);
}

/** The gaps that say all about the order: the one that is resolved where the third segment is tied with both, else those between neighbours that both peaked. */
export function tellingGaps(swing) {
  const tied = tiedWithBoth(swing);
  const peaked = ROLES.filter((role) => role !== tied && peakOf(swing, role));
  return peaked.slice(1).map((role, i) => gapOf(swing, peaked[i], role)).filter(Boolean);
}

/** A segment's peak, if it peaked before impact. */
export function peakOf(swing, role) {
  const peak = swing.segments[role]?.peak;
  return peak?.outcome === 'peak' ? peak : null;
}

/** Why a segment shows no peak. */
export function noPeakWords(swing, role) {
  const segment = swing.segments[role];
  if (!segment) return 'no strap';
  if (segment.peak?.outcome === 'held') {
    return ['arm-shock', 'trunk-shock'].includes(swing.events.impact.evidence) ? 'held to impact' : 'can’t tell';
  }
  if (['rising', 'rising-at-impact'].includes(segment.peak?.outcome)) return 'still rising';
  return 'withheld';
}

/** A sentence whose numbers are not torn from their signs at the end of a line. */
export function unbroken(sentence) {
  return sentence.replaceAll(/\bp ([=<]) /g, 'p\u00a0$1\u00a0').replaceAll(' ± ', '\u00a0±\u00a0');
}

export function withUnit(measure, text) {
  return measure.unit === '°' ? `${text}°` : measure.unit ? `${text} ${measure.unit}` : text;
}

export function blockName(label) {
  return label || 'before the first block';
}

/** `swing 14 · pivot drill`, and whether it counts. */
export function swingTitle(swing, remark) {
  const parts = [`Swing ${swing.number}`, blockName(swing.block)];
  if (ballWords(swing)) parts.push(ballWords(swing));
  if (remark?.excluded) parts.push('left out');
  return parts.join(' · ');
}

/** The swing as a screen reader says it. */
export function swingSpoken(swing) {
  const gaps = tellingGaps(swing).map(gapSentence);
  const words = ballWords(swing);
  const kind = words && ` ${capital(words)}.`;
  return `Swing ${swing.number}.${kind} ${swing.order_words}.${gaps.length ? ` ${capital(gaps.join('; '))}.` : ''}`;
}

/** Who a session is of: a name can change, an id does not; an imported session may have none. */
export const personOf = (id, name) => id ?? name;

/** Time of day, to the second. */
export function clockTime(date) {
  return date.toLocaleTimeString(undefined, { hour12: false });
}

export function dateWords(iso) {
  const date = new Date(iso);
  if (Number.isNaN(date.getTime())) return iso;
  return date.toLocaleString(undefined, { dateStyle: 'long', timeStyle: 'short' });
}
