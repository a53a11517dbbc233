// A drill target and its answers in words.

export const ANSWERS = { met: 'Met', nearly: 'Nearly', not: 'Not this time', not_measured: 'Not measured' };

/** One swing's answer: the word first, then the number. */
export function answerWords(answer) {
  const value = answer.spoken && answer.answer !== 'not_measured' ? `: ${answer.spoken}` : '';
  return `${ANSWERS[answer.answer] ?? answer.answer}${value}`;
}
