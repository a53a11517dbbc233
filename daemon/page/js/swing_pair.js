// Which swings are looked at from above: one of the lesson on the page, and one to lay over it
// or beside it, of the same lesson or of another of this player.

import { attempt, complete, lesson, shownSwing, swings } from './store.js';
import { get, lessonsOf, part } from './api.js';
import { personOf } from './format.js';
import { struck } from './ball.js';

/** Number of the swing of this lesson; and the other: `{ session, number }` or null. */
export const pair = { first: null, second: null };

/** This player's other lessons, newest first; filled by `findOthers`. */
let others = [];
/** Whole lessons read so far, by session. */
const read = new Map();

/** Begins with the swing that is on the page. */
export function begin() {
  pair.first = shownSwing()?.number ?? null;
  pair.second = null;
  others = [];
  read.clear();
}

/** Looks up the player's other lessons that have swings. */
export async function findOthers() {
  const now = lesson();
  if (!now) return;
  const who = personOf(now.player.id, now.player.name);
  const list = await attempt(() => lessonsOf(who));
  if (!Array.isArray(list)) return;
  others = list.filter((x) => x.id !== now.session && x.swings > 0 && personOf(x.player_id, x.player) === who);
}

export const otherLessons = () => others;

/** Swings of a lesson, oldest first; of another one only once it was read. */
export function swingsOf(session) {
  return session === lesson()?.session ? swings() : read.get(session)?.swings ?? [];
}

/** When a lesson was that is not the one on the page. */
export const startOf = (session) => (session === lesson()?.session ? null : read.get(session)?.started_utc ?? null);

/** Takes a swing of another lesson (or, with null, of this one) as the second: the same number if there is one. */
export async function secondFrom(session, number) {
  const from = session ?? lesson().session;
  if (from !== lesson()?.session && !read.has(from)) {
    const view = await attempt(() => get(`/sessions/${part(from)}`));
    if (!view) return;
    read.set(from, complete(view));
  }
  const all = swingsOf(from);
  const found = all.find((x) => x.number === number) ?? alike(all) ?? all.at(-1);
  pair.second = found ? { session: from, number: found.number } : null;
}

/** A struck swing of the block that the first one is of, the last of them. */
function alike(all) {
  const first = firstSwing();
  return all.filter((x) => struck(x) && x.block === first?.block).at(-1);
}

export const firstSwing = () => swings().find((x) => x.number === pair.first) ?? null;

export function secondSwing() {
  return pair.second && (swingsOf(pair.second.session).find((x) => x.number === pair.second.number) ?? null);
}
