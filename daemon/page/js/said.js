// A measure's values and changes in words, by the rule of `analysis/src/words/said.rs`: a size with a direction word of
// the trade instead of a sign. What of it each measure needs comes from `/api/v1/measures`; `tests/tests/page/said.rs`
// holds both against each other.

import { num, withUnit } from './format.js';

/** −1, 0 or 1, as a reader has it who sees so many digits. */
const side = (value, decimals) => Math.sign(Number(value.toFixed(decimals)));

const size = (measure, value, decimals) => withUnit(measure, Math.abs(value).toFixed(decimals));

function wayOf(measure, value, decimals) {
  const [negative, positive] = measure.ways ?? ['', ''];
  return { '-1': negative, 0: '', 1: positive }[side(value, decimals)];
}

/** A value: `44.2° back`. A spoken one has fewer digits: `measure.spoken_decimals`. */
export function measureWords(measure, value, decimals = measure.decimals) {
  if (!Number.isFinite(value)) return '–';
  return `${size(measure, value, decimals)} ${wayOf(measure, value, decimals)}`.trimEnd();
}

/** The parts of the same, to be set apart: `{ number: '44', unit: '°', way: 'back' }`. */
export function valueParts(measure, value, decimals = measure.spoken_decimals) {
  return { number: num(Math.abs(value), decimals), unit: measure.unit, way: wayOf(measure, value, decimals) };
}

/** What a change towards the negative and one towards the positive is called. */
function changeNames(measure, from, changes, decimals) {
  const [more, less] = measure.compared;
  if (measure.more === 'larger') return [less, more];
  const now = side(from, decimals);
  if (now === 0 || changes.some((c) => now * side(from + c, decimals) < 0)) return measure.moved;
  return now < 0 ? [more, less] : [less, more];
}

/** A change from `from`: `8.1° more`, across zero `8.1° further through`. */
export function changeWords(measure, from, change, decimals = measure.decimals) {
  if (side(change, decimals) === 0) return size(measure, 0, decimals);
  return `${size(measure, change, decimals)} ${changeNames(measure, from, [change], decimals)[change > 0 ? 1 : 0]}`;
}

/** An interval of a change from `from`: `5.0° to 11.2° more`, `7.0° less to 9.0° more`. */
export function rangeWords(measure, from, low, high, decimals = measure.decimals) {
  const names = changeNames(measure, from, [low, high], decimals);
  const said = (v) => `${size(measure, v, decimals)} ${names[v > 0 ? 1 : 0]}`;
  if ((low < 0) === (high < 0) || low === 0 || high === 0) {
    const [near, far] = Math.abs(low) <= Math.abs(high) ? [low, high] : [high, low];
    return `${size(measure, near, decimals)} to ${said(far)}`;
  }
  return names[1] === measure.compared[1] ? `${said(high)} to ${said(low)}` : `${said(low)} to ${said(high)}`;
}

/** Which way "more" goes in the measure's own sign, for a player whose mean is `mean`. */
export const sense = (measure, mean) => (measure.more === 'negative' || (measure.more === 'own_side' && mean < 0) ? -1 : 1);

/** Digits that a target's value has: those that are spoken, or as many more as it was given with. */
function digitsOfTarget(measure, value) {
  const least = measure.spoken_decimals;
  for (let d = least; d < least + 3; d += 1) if (Math.abs(Number(value.toFixed(d)) - value) < 1e-9) return d;
  return least + 3;
}

/** What counts as met: `43° back or more`, `12 ms after or later`. */
export function boundWords(measure, atLeast, target) {
  const decimals = digitsOfTarget(measure, target);
  const [more, less] = measure.compared;
  const at = side(target, decimals);
  const or = measure.more === 'larger' ? (atLeast ? more : less)
    : at === 0 ? measure.moved[atLeast ? 1 : 0]
      : (at > 0) === atLeast ? more : less;
  return `${measureWords(measure, target, decimals)} or ${or}`;
}

/** A turn of the trunk, which has the words of every turn. */
export function turnWords(degrees) {
  return measureWords({ unit: '°', ways: TURN }, degrees, 0);
}

/** The words of a turn's sides. */
export const TURN = ['back', 'through'];
