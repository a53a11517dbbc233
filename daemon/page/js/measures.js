// The list of measures, read once.

import { attempt } from './store.js';
import { get } from './api.js';

let all = null;
let reading = null;

/** All measures in the order shown; null until they are read. */
export const measures = () => all;

export const measureOf = (key) => all?.find((m) => m.key === key) ?? null;

/** Reads them; at once if they are known. */
export async function readMeasures() {
  if (all) return all;
  reading ??= attempt(() => get('/measures'));
  const read = await reading;
  reading = null;
  if (Array.isArray(read)) all = read;
  return all;
}

/** The segment that a measure is of, for its mark. */
export function roleOf(key) {
  if (/^(pelvis|mid_hips|trail_hip|backswing_hips)/.test(key)) return 'pelvis';
  if (/^(arm|lead_arm|chest_per_arm)/.test(key)) return 'lead_arm';
  return 'thorax';
}

/** Of measures that say nearly the same the one that stands for them, and the others apart. */
export function chiefsFirst(list) {
  return [list.filter((m) => m.stands_for === m.key), list.filter((m) => m.stands_for !== m.key)];
}
