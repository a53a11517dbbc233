// One swing against the player's own baseline. The newest swing's comes with it; another's is asked for when it is looked at.

import { lesson, shownMovement } from './store.js';
import { get, part } from './api.js';
import { measureOf } from './measures.js';

let asked = '';

/** What is known of `swing`, or null while it is asked for; `then` is called when it is there. */
export function againstOf(swing, then) {
  const now = lesson();
  const known = now.against[swing.number];
  if (known) return known;
  const key = `${now.session}/${swing.number}`;
  if (asked === key) return null;
  asked = key;
  get(`/sessions/${part(now.session)}/swings/${swing.number}/against`).then((rows) => {
    now.against[swing.number] = rows;
    if (lesson() === now && shownMovement()?.number === swing.number) then();
  }, () => {
    // The numbers stand without it.
  }).finally(() => {
    if (asked === key) asked = '';
  });
  return null;
}

/** How far outside the ordinary a difference lies, in widths of the ordinary band. */
export function weight(row) {
  const half = row.band ? (row.band[1] - row.band[0]) / 2 : 0;
  return half > 0 ? Math.abs(row.difference) / half : 0;
}

/** Heaviest first; of measures that say nearly the same only the heaviest. */
export function heaviest(rows) {
  const told = new Set();
  return [...rows].sort((a, b) => weight(b) - weight(a)).filter((row) => {
    const chief = measureOf(row.measure)?.stands_for ?? row.measure;
    return !told.has(chief) && told.add(chief);
  });
}
