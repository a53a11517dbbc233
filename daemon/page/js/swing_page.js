// The swing just made, filling the page; and how the ones before it spread.

import { choose, isCoach, lesson, remarkOf, shownSwing, store, swings } from './store.js';
import { counts, notSetAgainst } from './ball.js';
import { curvesOf } from './api.js';
import { busy, button, h, show } from './dom.js';
import { capital, swingTitle } from './format.js';
import { axis, layout, run, speeds, strip } from './timing.js';
import { turns } from './turns.js';
import { backswing } from './backswing.js';
import { answerWords } from './answer_words.js';
import { outcomeRow } from './outcome.js';
import { allSwings } from './swing_list.js';

export const title = 'Swing';
const RUN = 12;

let root;
let curves = { key: '', value: null };
let observer;
let drawn = '';

export function enter(main) {
  root = h('div', { class: 'swing-page' });
  main.append(root);
  draw();
  observer = new ResizeObserver(() => draw());
  observer.observe(main);
  addEventListener('keydown', keys);
}

export function leave() {
  observer?.disconnect();
  removeEventListener('keydown', keys);
}

/** Left and right step through the swings. */
function keys(event) {
  const by = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
  if (!by || event.ctrlKey || event.metaKey || event.altKey || document.querySelector('dialog[open]')) return;
  const next = swings()[swings().indexOf(shownSwing()) + by];
  if (next) choose(next.number);
}

export function update(what) {
  if (['heartbeat', 'straps', 'doing', 'strap', 'error'].includes(what)) return;
  draw();
}

function draw() {
  if (busy(root, draw)) return;
  const swing = shownSwing();
  if (!swing) {
    show(root, waitingWords());
    return;
  }
  loadCurves(swing);
  const all = swings();
  const recent = all.slice(-RUN);
  const wide = root.clientWidth > 1000;
  // Only a swing that was not shown before arrives; a redraw stands still.
  const left = h('div', { class: `time${drawn === key(swing) ? '' : ' fresh'}` });
  drawn = key(swing);
  const right = h('div', { class: 'body' });
  const width = wide ? Math.round(root.clientWidth * 0.655) : root.clientWidth;
  const l = layout(width, recent.includes(swing) ? recent : [...recent, swing]);
  const low = wide && innerHeight < 900;
  left.append(
    strip(swing, l, low ? { rowHeight: 48, gapHeight: 34 } : { rowHeight: 58, gapHeight: 46 }),
    axis(l, swing),
    speeds(swing, curves.key === key(swing) ? curves.value : null, l, low ? 132 : 180));
  const runSection = h('section', { class: 'run-section', 'aria-labelledby': 'run-title' },
    h('h2', { id: 'run-title', class: 'small-title' }, 'The last swings, newest first'), run(all, l, { remarkOf, shown: swing.number, open: choose, count: RUN }));
  const half = !wide && width >= 700;
  const turnWidth = wide ? root.clientWidth - width - 48 : half ? Math.floor((width - 40) / 2) : width;
  show(right,
    h('div', {}, h('h2', { class: 'small-title' }, 'Turn from address, at top and at impact'),
      turns(swing, recent.filter(counts), turnWidth),
      !half && backswing(swing, turnWidth),
      half && answerPart(swing)),
    h('div', {}, half ? backswing(swing, turnWidth) : answerPart(swing), differences(swing), withheld(swing)));
  if (wide) left.append(runSection);
  show(root, heading(swing), left, right, wide ? null : runSection);
  if (l.narrow) return;
  // As many of the last swings as fit without scrolling.
  const list = runSection.querySelector('ol');
  const main = document.getElementById('content');
  const room = main.getBoundingClientRect().bottom - list.getBoundingClientRect().top - main.scrollTop;
  const fit = Math.floor(room / list.firstElementChild.offsetHeight);
  for (const line of [...list.children].slice(Math.max(4, fit))) line.remove();
}

function waitingWords() {
  const now = lesson();
  if (!now) {
    return h('div', { class: 'quiet-page' }, h('h1', {}, 'No lesson is running'),
      h('p', { class: 'lead' }, isCoach() ? h('a', { href: '#lesson' }, 'Start one') : 'The coach starts it', '. ', h('a', { href: '#earlier' }, 'Earlier lessons'), ' can be opened at any time.'));
  }
  const next = now.calibrated ? 'The first swing will appear here by itself.' : 'Calibrate first: turns need it. Peak times are measured all the same.';
  return h('div', { class: 'quiet-page' }, h('h1', {}, 'No swing yet'), h('p', { class: 'lead' }, next, ' ', h('a', { href: '#lesson' }, 'To the lesson')));
}

function heading(swing) {
  const remark = remarkOf(swing.number);
  const older = store.chosen !== null;
  const at = swings().indexOf(swing);
  const step = (by, words, label) => button(words, label, () => choose(swings()[at + by].number), { class: 'link', 'aria-label': label, disabled: !swings()[at + by] });
  return h('div', { class: 'swing-head' },
    h('p', { class: 'kicker' }, swingTitle(swing, remark),
      h('span', { class: 'step' }, step(-1, '‹', 'The swing before'), step(1, '›', 'The next swing')), allSwings(),
      older && button('to the newest', 'newest', () => choose(null), { class: 'link' })),
    h('h1', { class: 'order', 'data-swing': swing.number }, swing.order_words),
    outcomeRow(swing));
}

function answerPart(swing) {
  const answer = lesson().answers?.[swing.number];
  if (!answer) return null;
  const target = lesson().remarks?.target;
  return h('p', { class: 'answer' }, answerWords(answer), target && h('span', { class: 'fine' }, `target: ${target.words}`));
}

/** How far outside the ordinary a difference lies, in widths of the ordinary band. */
function weight(a) {
  const half = a.band ? (a.band[1] - a.band[0]) / 2 : 0;
  return half > 0 ? Math.abs(a.difference) / half : 0;
}

function differences(swing) {
  const against = lesson().against?.[swing.number] ?? [];
  const base = lesson().baseline_block || 'baseline';
  const titleText = h('h2', { class: 'small-title' }, 'Against this player’s own baseline');
  const known = against.filter((a) => a.verdict !== 'cannot_tell_yet').sort((a, b) => weight(b) - weight(a));
  if (known.length === 0) {
    // A rehearsal and a missing baseline have their own words.
    const soFar = Math.max(0, ...against.map((a) => a.n));
    const needed = against[0]?.needed;
    return h('section', { class: 'against' }, titleText,
      h('p', { class: 'difference' }, notSetAgainst(swing)
        ? `Can’t tell: ${notSetAgainst(swing)}.`
        : `Can’t tell yet${needed ? `: ${soFar} of ${needed} swings in “${base}” so far` : ''}.`));
  }
  const beyond = known.filter((a) => a.verdict === 'beyond_ordinary');
  // Of numbers that the lesson is not about nothing is said unless they are grossly beyond.
  const meant = known.filter((a) => a.verdict !== 'looked_through');
  const shown = (beyond.length ? beyond : meant).slice(0, beyond.length && !lesson().answers?.[swing.number] ? 3 : 2);
  return h('section', { class: 'against' }, titleText,
    beyond.length === 0 && h('p', { class: 'difference' }, 'Nothing beyond this player’s ordinary variation.'),
    h('ul', { class: 'differences' }, shown.map((a) => h('li', { class: `difference ${a.verdict}` }, a.words))),
    h('div', { class: 'asides' },
      beyond.length > shown.length && h('p', { class: 'fine' }, `and ${beyond.length - shown.length} more: `, h('a', { href: '#after' }, 'before and after')),
      ordinary(known[0].n)));
}

let ordinaryOpen = false;

/** What “ordinary” means, for who asks. */
function ordinary(n) {
  return h('details', { class: 'fine ordinary', open: ordinaryOpen, ontoggle: (e) => {
    ordinaryOpen = e.target.open;
  } },
  h('summary', { 'data-key': 'ordinary' }, 'ordinary variation?'),
  h('p', {}, `Had nothing changed, 95 of 100 swings would lie within the ± of the mean of the ${n} baseline swings in all the numbers that the lesson is about; it allows for swings that resemble their neighbours and for a drift. Other numbers are named only when they lie far beyond. More: README, “What the numbers mean”.`),
  h('p', {}, 'Every ± is of what the strap did, which counts from swing to swing of one wearing. The bone below the skin is known less well: see “Of the bone” there.'));
}

function withheld(swing) {
  const q = lesson().quality[swing.number];
  if (!q || (q.withheld.length === 0 && q.notes.length === 0)) return null;
  return h('section', { class: 'against' },
    h('h2', { class: 'small-title' }, q.withheld.length ? 'Withheld, and why' : 'To know'),
    h('ul', { class: 'differences' },
      [...byReason(q.withheld)].map(([why, what]) => h('li', { class: 'difference' }, h('b', {}, capital(what.join('; '))), `: ${why}`)),
      q.notes.map((n) => h('li', { class: 'fine' }, n))));
}

/** What is withheld, gathered by why. */
function byReason(withheld) {
  const by = new Map();
  for (const { what, why } of withheld) by.set(why, [...(by.get(why) ?? []), what]);
  return by;
}

const key = (swing) => `${swing.session}/${swing.number}`;

async function loadCurves(swing) {
  if (curves.key === key(swing)) return;
  curves = { key: key(swing), value: null };
  try {
    const value = await curvesOf(swing.session, swing.number);
    if (curves.key !== key(swing)) return;
    curves.value = value;
    if (root.isConnected) draw();
  } catch {
    // The numbers stand without the curves; the figure stays empty.
  }
}

