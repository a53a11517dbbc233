// A lesson that was never ended: whose, when, after how many swings, and going on with it.

import { attempt, isCoach, store, sync } from './store.js';
import { part, post } from './api.js';
import { button, h } from './dom.js';
import { blockName, dateWords } from './format.js';

const count = (n) => (n === 0 ? 'before the first swing' : n === 1 ? 'after 1 swing' : `after ${n} swings`);

/** Null where there is none. */
export function interruptedLesson() {
  const left = store.state?.interrupted;
  if (!left || !isCoach()) return null;
  const where = left.block ? `, in “${blockName(left.block)}”` : '';
  return h('section', { class: 'interrupted', 'aria-labelledby': 'interrupted-title' },
    h('h2', { id: 'interrupted-title' }, left.player ? `${left.player}’s lesson was interrupted` : 'A lesson was interrupted'),
    h('p', { class: 'lead' }, `${dateWords(left.last_utc)}, ${count(left.swings)}${where}. Nothing that was recorded is lost.`),
    h('p', { class: left.calibration_holds ? '' : 'strong' }, left.calibration),
    h('div', { class: 'actions' },
      button('Continue the lesson', 'continue-lesson', () => attempt(() => post('/lesson/continue')), { class: 'main big' }),
      button('End it', 'leave-lesson', async () => {
        const ended = await attempt(() => post('/lesson/leave'));
        await sync();
        // In the first block there is nothing to compare yet.
        if (ended?.session) location.hash = afterwards(ended.session, left.block && left.block !== 'baseline' ? 2 : 1);
      })));
}

/** Where a lesson that has ended is looked at: two blocks are compared, one is listed. */
export const afterwards = (session, blocks = 2) => `#${blocks > 1 ? 'after' : 'lesson'}?lesson=${part(session)}`;
