// An order of blocks that was started with one tap: what was done of it, and what comes next. The marks of the lesson are
// the truth; a device keeps only which order was meant.

import { changed, running, swings } from './store.js';
import { counts } from './ball.js';

const KEY = 'peakorder-block-plan';

/** `{ session, ways: [old, new], sizes, first }`: `first` is the number of blocks before it began. Null without one. */
export function plan() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEY) ?? 'null');
    return kept && kept.session === running()?.session ? kept : null;
  } catch {
    return null;
  }
}

export function setPlan(value) {
  if (value) localStorage.setItem(KEY, JSON.stringify(value));
  else localStorage.removeItem(KEY);
  changed('plan');
}

/** Swings of the block that is being swung that count. */
export function madeNow() {
  const now = running();
  const since = now?.blocks.at(-1)?.start_s ?? Infinity;
  return swings().filter((x) => x.events.takeaway.t_s >= since && counts(x)).length + (now?.repetitions ?? []).filter((x) => x.events.takeaway.t_s >= since).length;
}

/**
 * Where the order stands: which of its blocks, how many swings are made and wanted, and the label that comes next. Null
 * without one, or if another block was begun.
 */
export function standing() {
  const meant = plan();
  const now = running();
  if (!meant || !now) return null;
  const at = now.blocks.length - meant.first - 1;
  const label = (i) => meant.ways[i % 2];
  if (at < 0 || at >= meant.sizes.length) return null;
  for (let i = 0; i <= at; i += 1) if (now.blocks[meant.first + i].label !== label(i)) return null;
  const [made, wanted] = [madeNow(), meant.sizes[at]];
  const last = at + 1 === meant.sizes.length;
  return { at, of: meant.sizes.length, label: label(at), made, wanted, done: made >= wanted, next: last ? null : label(at + 1), nextWanted: last ? 0 : meant.sizes[at + 1], sizes: meant.sizes };
}
