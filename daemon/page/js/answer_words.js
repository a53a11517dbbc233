// A drill target and its answers in words.

import { capital } from './format.js';
import { s } from './dom.js';

export const ANSWERS = { met: 'Met', nearly: 'Nearly', not: 'Not yet', not_measured: 'Not measured' };

/** One swing's answer, as it is said aloud. */
export function answerWords(answer) {
  return answer.spoken ? capital(answer.spoken) : ANSWERS[answer.answer] ?? answer.answer;
}

/** Met is full, nearly half full, not is empty, not measured a cross: told apart without colour. */
export function answerShape(kind, x, y, r = 8) {
  if (kind === 'not_measured') return s('path', { class: 'answer-ring', d: `M${x - 0.75 * r} ${y - 0.75 * r}l${1.5 * r} ${1.5 * r}M${x - 0.75 * r} ${y + 0.75 * r}l${1.5 * r} ${-1.5 * r}` });
  return s('g', {}, s('circle', { class: 'answer-ring', cx: x, cy: y, r }),
    kind === 'met' && s('circle', { class: 'answer-fill', cx: x, cy: y, r }),
    kind === 'nearly' && s('path', { class: 'answer-fill', d: `M${x} ${y - r}A${r} ${r} 0 0 0 ${x} ${y + r}Z` }));
}

/** The same by itself. */
export function answerMark(kind, r = 8) {
  const size = 2 * r + 6;
  return s('svg', { class: 'answer-mark', width: size, height: size, 'aria-hidden': 'true' }, answerShape(kind, size / 2, size / 2, r));
}
