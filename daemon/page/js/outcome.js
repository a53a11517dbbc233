// The coach's remarks on a swing: the ball in one tap, a note, leaving it out, undo.

import { attempt, isCoach, lesson, refresh, remarkOf, store } from './store.js';
import { everySwing, withoutBall } from './ball.js';
import { get, part, post } from './api.js';
import { button, h } from './dom.js';
import { blockName } from './format.js';

/** Ball flight in the words coaches use; common practice, no source. */
const LABELS = ['solid', 'thin', 'fat', 'left', 'right'];
const OWN = 'peakorder-own-words';

export function ownWords() {
  try {
    const words = JSON.parse(localStorage.getItem(OWN) ?? '[]');
    return Array.isArray(words) ? words.filter((w) => typeof w === 'string').slice(0, 6) : [];
  } catch {
    return [];
  }
}

export function addOwnWord(word) {
  const clean = word.trim().slice(0, 24);
  if (!clean || LABELS.includes(clean)) return;
  localStorage.setItem(OWN, JSON.stringify([...new Set([...ownWords(), clean])].slice(-6)));
}

export async function remark(session, what) {
  await attempt(() => post(`/sessions/${part(session)}/remarks`, what));
  await reopen(session);
}

export async function undo(session) {
  await attempt(() => post(`/sessions/${part(session)}/undo`));
  await reopen(session);
}

/** An earlier lesson sends no events. It is read again. */
async function reopen(session) {
  if (store.opened?.whole.session !== session) return;
  const view = await attempt(() => get(`/sessions/${part(session)}`));
  if (view) refresh(view);
}

/** The row of taps under the headline. */
export function outcomeRow(swing) {
  const said = remarkOf(swing.number);
  if (!isCoach()) {
    const words = [...said.labels, said.note].filter(Boolean).join(' · ');
    return words ? h('p', { class: 'kicker' }, words) : null;
  }
  const session = lesson()?.session ?? swing.session;
  const words = [...new Set([...LABELS, ...ownWords(), ...said.labels])];
  const last = lesson()?.remarks?.last;
  return h('div', { class: 'taps', role: 'group', 'aria-label': `Swing ${swing.number}: the ball, and what to do with the swing` },
    words.map((word) => {
      const on = said.labels.includes(word);
      return button(word, `ball-${word}`, () => remark(session, {
        what: 'outcome', swing: swing.number, labels: on ? said.labels.filter((l) => l !== word) : [...said.labels, word],
      }), { class: 'tap', 'aria-pressed': String(on) });
    }),
    h('span', { class: 'gap', 'aria-hidden': 'true' }),
    ballTaps(session, swing, said),
    button(said.note ? 'note ✓' : 'note', 'note', () => noteDialog(session, swing.number, said.note), { class: 'tap plain', 'aria-label': said.note ? `note ✓: ${said.note}` : 'Write a note' }),
    button(said.excluded ? 'count it again' : 'leave out', 'leave-out', () => leaveOut(session, swing.number, said.excluded), { class: 'tap plain' }),
    last && button('undo', 'undo', () => undo(session), { class: 'tap plain', 'aria-label': `Undo: ${last.words}`, title: last.words }));
}

/** Whether this swing hit a ball, and what its block is, where the straps leave that open or the coach has a word on it. */
function ballTaps(session, swing, said) {
  const word = said.struck ?? null;
  const [every, without] = [everySwing(swing.block), withoutBall(swing.block)];
  if (swing.kind === 'strike' && word === null && !without) return null;
  const one = (words, key, struck) => button(words, key, () => remark(session, {
    what: 'ball', swing: swing.number, struck: word === struck ? null : struck,
  }), { class: 'tap plain', 'aria-pressed': String(word === struck), title: `Of swing ${swing.number} alone, whatever the straps felt.` });
  return [
    one('hit a ball', 'hit-ball', true),
    one('no ball', 'no-ball', false),
    swing.kind === 'unsure' && !without && button('every swing hits a ball', 'all-balls', () => blockBalls(session, swing.block, !every, false),
      { class: 'tap plain', 'aria-pressed': String(every), title: `The straps could not feel it. Say so of the block “${blockName(swing.block)}”, and its swings count.` }),
    !every && blockWithout(session, swing.block),
  ];
}

export const blockBalls = (session, block, every, without) => remark(session, { what: 'balls', block, every_swing: every, without_ball: without });

/** Says of a block that it is without a ball, or takes that back. */
export function blockWithout(session, block) {
  const without = withoutBall(block);
  return button('block without a ball', `without-${block}`, () => blockBalls(session, block, false, !without),
    { class: 'tap plain', 'aria-pressed': String(without), title: `Then the swings of “${blockName(block)}” that hit none count, and those that hit one do not.` });
}

async function leaveOut(session, number, excluded) {
  if (excluded) {
    await remark(session, { what: 'exclude', swing: number, excluded: false, reason: '' });
    return;
  }
  const reason = await ask(`Leave swing ${number} out of every figure?`, 'Why (kept with the swing; the recording stays on disk)', '', 'Leave out');
  if (reason !== null) await remark(session, { what: 'exclude', swing: number, excluded: true, reason: reason || 'left out by the coach' });
}

async function noteDialog(session, number, before) {
  const text = await ask(`Note for swing ${number}`, 'In your own words', before ?? '', 'Save');
  if (text !== null) await remark(session, { what: 'note', swing: number, text });
}

/** Asks for one line of text; null when cancelled. */
export function ask(question, label, value, yes) {
  return new Promise((resolve) => {
    const input = h('input', { id: 'ask-input', type: 'text', value, maxlength: 400, autocomplete: 'off' });
    const close = (answer) => {
      resolve(answer);
      dialog.close();
    };
    const form = h('form', { onsubmit: (event) => {
      event.preventDefault();
      close(input.value.trim());
    } },
    h('h2', { id: 'ask-title' }, question), h('label', { for: 'ask-input' }, label), input,
    h('div', { class: 'actions' }, h('button', { type: 'submit', class: 'main' }, yes), button('Cancel', 'no', () => close(null))));
    const dialog = h('dialog', { 'aria-labelledby': 'ask-title', onclose: () => {
      resolve(null);
      dialog.remove();
    } }, form);
    document.body.append(dialog);
    dialog.showModal();
    input.focus();
  });
}
