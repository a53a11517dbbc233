// Whether a swing hit a ball, by straps and coach, and whether it counts. The same rules as the daemon's.

import { lesson, remarkOf } from './store.js';

/** 'struck', 'without' or 'unknown': the coach's word on this swing, then the straps', then the word on its block. */
export function ball(swing) {
  const said = remarkOf(swing.number).struck ?? null;
  if (said !== null) return said ? 'struck' : 'without';
  if (swing.kind !== 'unsure') return swing.kind === 'strike' ? 'struck' : 'without';
  if (everySwing(swing.block)) return 'struck';
  return withoutBall(swing.block) ? 'without' : 'unknown';
}

export const everySwing = (block) => (lesson()?.remarks?.balls ?? []).includes(block);
export const withoutBall = (block) => (lesson()?.remarks?.without_ball ?? []).includes(block);
export const struck = (swing) => ball(swing) === 'struck';

/** Whether it counts, as far as ball and coach go: swings with and without a ball are never counted together. */
export function counts(swing) {
  const known = ball(swing);
  return !remarkOf(swing.number).excluded && known !== 'unknown' && (known === 'without') === withoutBall(swing.block);
}

/** What a swing is if it is not a strike that the straps felt; empty if it is one. */
export function ballWords(swing) {
  const said = remarkOf(swing.number).struck ?? null;
  if (said !== null) return said ? 'hit a ball, as said' : 'without a ball, as said';
  const known = ball(swing);
  if (known === 'unknown') return 'ball or not: not known';
  if (swing.kind === 'unsure') return known === 'struck' ? 'hit a ball, as said of the block' : 'without a ball, as said of the block';
  return swing.kind === 'strike' ? '' : 'rehearsal, no strike';
}

/** The same in a word or two, with why it does not count. */
export function ballNote(swing) {
  const known = ball(swing);
  if (known === 'unknown') return 'ball not known';
  if (known === 'struck') return withoutBall(swing.block) ? 'hit a ball' : '';
  return withoutBall(swing.block) ? 'no ball' : 'rehearsal';
}

/** Whether a swing neither takes the page nor the taps: a rehearsal, unless its block is without a ball or it answers a target. */
export function passedOver(swing) {
  return ball(swing) === 'without' && !withoutBall(swing.block) && !lesson().answers?.[swing.number];
}

/** Why a swing is not set against the baseline; empty if ball and block are no reason. */
export function notSetAgainst(swing) {
  const known = ball(swing);
  if (known === 'unknown') return 'whether a ball was struck is not known';
  if (known === 'struck') return withoutBall(swing.block) ? 'a ball was struck, in a block without one' : '';
  return withoutBall(swing.block) ? '' : 'a rehearsal, no ball was struck';
}
