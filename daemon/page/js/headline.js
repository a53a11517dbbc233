// What leads a swing: the numbers that the lesson is about, large, with the answer to the target, and beside each a line
// of what is usual, what is wanted and where the last swings lay. The order of peaks leads where nothing else was chosen.

import { isRepetition, lesson, movements } from './store.js';
import { h, s } from './dom.js';
import { capital, num, withUnit } from './format.js';
import { measureOf, roleOf } from './measures.js';
import { sense, valueParts } from './said.js';
import { ANSWERS, answerMark } from './answer_words.js';
import { counts } from './ball.js';
import { mark, text } from './shapes.js';

const MOST = 3;
/** So many earlier swings are dots. */
const DOTS = 12;

/** The target that was in force for a swing. The same rule as the daemon's. */
export function targetOf(swing) {
  const set = (lesson().remarks?.targets ?? []).findLast((t) => t.t_s <= (swing.events.impact ?? swing.events.top).t_s);
  return set?.target && (!set.target.block || set.target.block === swing.block) ? set.target : null;
}

/** The numbers that lead this swing, that of the target first; empty where the order of peaks leads. */
export function leads(swing) {
  const answer = lesson().answers?.[swing.number] ?? null;
  const found = (lesson().about?.[swing.number] ?? [])
    .map((a) => ({ ...a, m: measureOf(a.measure), answer: a.measure === answer?.measure ? answer : null }))
    .filter((a) => a.m)
    // Of a repetition there is no impact and no arm: what it cannot have does not lead it.
    .filter((a) => !isRepetition(swing) || Number.isFinite(a.value))
    .sort((a, b) => Boolean(b.answer) - Boolean(a.answer))
    .slice(0, MOST);
  return !isRepetition(swing) && found.every((a) => a.m.group === 'timing') ? [] : found;
}

/** Whether the lesson is about something else than the order of peaks, so that its numbers speak of a swing. */
export function isLed() {
  const { chosen, targets } = lesson()?.remarks ?? {};
  const keys = [...(chosen?.measures ?? []).map((c) => c.measure), ...(targets ?? []).map((t) => t.target?.measure)].filter(Boolean);
  return keys.some((key) => !/^gap_|_peak_before_impact_ms$/.test(key));
}

/** The headline; null where nothing leads. */
export function headline(swing, width) {
  const list = leads(swing);
  if (list.length === 0) return null;
  const wide = width > 900;
  return h('section', { class: 'leads', 'data-count': list.length },
    // An answer takes room beside its number.
    list.map((lead, i) => row(swing, lead, i === 0, wide ? Math.round(width * (list[0].answer ? 0.41 : 0.5)) : width)));
}

function row(swing, lead, first, lineWidth) {
  const { m, answer } = lead;
  const target = answer && targetOf(swing);
  const name = h('span', { class: 'lead-name' }, capital(m.label));
  const value = Number.isFinite(lead.value) ? [valueWords(m, answer?.value_words ?? lead.words), band(m, lead.half)] : h('span', { class: 'lead-missing' }, 'not measured');
  return h('div', { class: 'lead-row', 'data-measure': m.key },
    h('div', { class: 'lead-said' },
      h(first ? 'h1' : 'h2', { class: 'lead-title', 'data-swing': first ? swing.number : null }, name, ' ', value),
      answer && answerPart(answer)),
    line(swing, lead, target, lineWidth));
}

/** `1 too much` with the number large, and under it met, nearly or not yet with its mark. */
function answerPart(answer) {
  const [, number, rest] = /^([\d.]+) (.*)$/.exec(answer.correction ?? '') ?? [];
  return h('p', { class: 'answer', 'data-answer': answer.answer },
    number && h('span', { class: `lead-answer${rest.length > 12 ? ' long' : ''}` }, h('span', { class: 'lead-by' }, number), ` ${rest} `),
    h('span', { class: 'lead-word' }, answerMark(answer.answer, 14), ` ${ANSWERS[answer.answer].toLowerCase()}`));
}

/** `38° back` in parts: the number large, the direction after it. */
function valueWords(m, words) {
  const unit = m.unit && words.indexOf(m.unit);
  const end = m.unit ? unit + m.unit.length : words.search(/[^0-9.]|$/);
  const way = words.slice(end).trim();
  const number = m.unit ? words.slice(0, unit).trim() : words.slice(0, end);
  return h('span', { class: 'lead-value' }, h('span', { class: 'lead-number' }, number),
    m.unit && h('span', { class: m.unit === '°' ? 'lead-degree' : 'lead-unit' }, m.unit === '°' ? '°' : ` ${m.unit}`),
    way && h('span', { class: 'lead-way' }, ` ${way}`));
}

/** Half the width of the value's 95 % band. */
function band(m, half) {
  return Number.isFinite(half) && h('span', { class: 'lead-band' }, ` ± ${num(half, m.spoken_decimals)}`);
}

/** The values of the last swings that count, oldest first, without this one. */
function dots(swing, key) {
  return movements()
    .filter((x) => x.number < swing.number && x.block === swing.block && (isRepetition(x) || counts(x)))
    .slice(-DOTS)
    .map((x) => lesson().about?.[x.number]?.find((a) => a.measure === key)?.value)
    .filter(Number.isFinite);
}

function line(swing, { m, value, measure }, target, width) {
  // A drill is no full swing, and is not held against what is usual of those.
  const usual = isRepetition(swing) ? null : lesson().usual?.find((u) => u.measure === measure) ?? null;
  const wanted = target?.measure === measure ? target.value : null;
  const earlier = dots(swing, measure);
  const all = [value, wanted, usual?.mean, ...(usual?.band ?? []), ...earlier].filter(Number.isFinite);
  if (all.length === 0) return null;
  // At two metres the words beside the line are read too.
  const size = width > 480 ? 39 : 20;
  const [height, y] = [2 * size + 70, size + 35];
  // More lies to the right, whichever sign it has.
  const up = sense(m, usual?.mean ?? wanted ?? value);
  const [low, high] = [Math.min(...all.map((v) => up * v)), Math.max(...all.map((v) => up * v))];
  const room = Math.max(0.12 * (high - low), 2 * 10 ** -m.spoken_decimals);
  const x = (v) => 26 + ((up * v - low + room) / (high - low + 2 * room)) * (width - 52);
  const parts = [];
  if (usual?.band) {
    const [a, b] = usual.band.map(x).sort((p, q) => p - q);
    parts.push(s('rect', { class: 'usual-band', x: a, y: y - 24, width: b - a, height: 48 }));
  }
  parts.push(s('line', { class: 'lead-rail', x1: 8, x2: width - 8, y1: y, y2: y }));
  const at = (v, words) => Math.min(width - words.length * 0.29 * size, Math.max(words.length * 0.29 * size, x(v)));
  const of = (v) => { const p = valueParts(m, v); return withUnit(m, p.number); };
  if (usual) {
    const words = `${usual.band ? 'your usual' : 'so far'} ${of(usual.mean)}`;
    parts.push(s('line', { class: 'usual-mean', x1: x(usual.mean), x2: x(usual.mean), y1: y - 24, y2: y + 24 }), text(at(usual.mean, words), y + 28 + 0.8 * size, words, 'lead-label', 'middle'));
  }
  if (wanted !== null) {
    const words = `target ${of(wanted)}`;
    parts.push(s('line', { class: 'wanted', x1: x(wanted), x2: x(wanted), y1: y - 34, y2: y + 24 }), text(at(wanted, words), y - 40, words, 'lead-label strong', 'middle'));
  }
  for (const v of earlier) parts.push(s('circle', { class: 'lead-dot', cx: x(v), cy: y, r: 7 }));
  if (Number.isFinite(value)) parts.push(mark(roleOf(measure), x(value), y, 17));
  return s('svg', { class: `lead-line${size > 20 ? ' far' : ''}`, width, height, viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': lineWords(m, usual, target, earlier) }, parts);
}

function lineWords(m, usual, target, earlier) {
  return [
    usual && `Your usual ${usual.words}${usual.band ? `, 19 of 20 swings within ${withUnit(m, num(Math.abs(usual.band[1] - usual.band[0]) / 2, m.spoken_decimals))} of it` : ` after ${usual.n} swings`}.`,
    target && `Target: ${target.words}.`,
    earlier.length > 0 && `Dots: the last ${earlier.length} of this block.`,
  ].filter(Boolean).join(' ');
}

/** The headline as a screen reader says it; empty where the order of peaks leads. */
export function headlineSpoken(swing) {
  return leads(swing).map((a) => `${capital(a.m.label)} ${a.answer ? a.answer.spoken : a.spoken}`).join('. ');
}
