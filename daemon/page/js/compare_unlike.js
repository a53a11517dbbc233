// Swings unlike the others of their block. They count until the coach leaves them out, with one tap.

import { isCoach } from './store.js';
import { button, h } from './dom.js';
import { remark } from './outcome.js';

/** Kept with a swing that is left out here; by it the swing is found again. */
const REASON = 'unlike the others of its block';
const MOST = 3;

/** The sides' swings that are unlike, and those left out for it; null where there are none. `nameOf` names a side, `again` compares anew. */
export function unlikeSection(sides, nameOf, again) {
  const rows = sides.flatMap((side) => rowsOf(side, nameOf(side), again)).filter((row, i, all) => all.findIndex((x) => x.id === row.id) === i);
  if (rows.length === 0) return null;
  return h('section', { class: 'unlike' }, h('h2', {}, 'Swings unlike the others of their block'),
    h('p', { class: 'hint' }, 'A slip or a disturbance can make such a swing, and so can chance. They count unless they are left out; leave one out only if you know why it was unlike.'),
    h('ul', {}, rows.map((row) => row.element)));
}

function rowsOf(side, name, again) {
  const numbers = [...new Set(side.unlike.map((u) => u.number))];
  const out = side.summary.excluded.filter((x) => x.why === REASON).map((x) => x.number);
  return [...numbers.map((n) => ({ n, words: unlikeWords(side.unlike.filter((u) => u.number === n)), excluded: false })),
    ...out.map((n) => ({ n, words: ['left out of every figure'], excluded: true }))]
    .sort((a, b) => a.n - b.n)
    .map(({ n, words, excluded }) => ({ id: `${side.session}/${n}`, element: h('li', { 'data-swing': n, class: excluded ? 'excluded' : '' },
      h('div', { class: 'unlike-words' }, h('p', {}, h('b', {}, `Swing ${n}`), `, ${name}`), words.map((w) => h('p', {}, w))),
      isCoach() && button(excluded ? 'count it again' : 'leave out', `unlike-${side.session}-${n}`, async () => {
        await remark(side.session, { what: 'exclude', swing: n, excluded: !excluded, reason: excluded ? '' : REASON });
        again();
      }, { class: 'tap', 'aria-label': `${excluded ? 'Count it again' : 'Leave out'}: swing ${n}, ${name}` })) }));
}

function unlikeWords(found) {
  const more = found.length - MOST;
  return [...found.slice(0, MOST).map((u) => u.words), ...(more > 0 ? [`and ${more} more ${more === 1 ? 'number' : 'numbers'}`] : [])];
}
