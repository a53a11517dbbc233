// A drill target and its answers in words.

import { capital } from './format.js';

export const ANSWERS = { met: 'Met', nearly: 'Nearly', not: 'Not yet', not_measured: 'Not measured' };

/** One swing's answer, as it is said aloud. */
export function answerWords(answer) {
  return answer.spoken ? capital(answer.spoken) : ANSWERS[answer.answer] ?? answer.answer;
}
