// The swing just made, filling the page; and how the ones before it spread.

import { choose, isCoach, isRepetition, lesson, movements, remarkOf, shownMovement, store, swings } from './store.js';
import { counts, notSetAgainst, passedOver } from './ball.js';
import { againstOf, heaviest } from './against.js';
import { headline, leads } from './headline.js';
import { repetitionPage, withoutLead } from './repetition.js';
import { readMeasures } from './measures.js';
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
  readMeasures().then(() => root.isConnected && draw());
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
  const next = movements()[movements().indexOf(shownMovement()) + by];
  if (next) choose(next.number);
}

export function update(what) {
  if (['heartbeat', 'straps', 'doing', 'strap', 'error'].includes(what)) return;
  draw();
}

function draw() {
  if (busy(root, draw)) return;
  const swing = shownMovement();
  if (!swing) {
    show(root, waitingWords());
    return;
  }
  if (isRepetition(swing)) {
    root.classList.add('led');
    show(root, heading(swing, headline(swing, root.clientWidth) ?? withoutLead(swing)), repetitionPage(swing, root.clientWidth));
    drawn = key(swing);
    return;
  }
  loadCurves(swing);
  const lead = headline(swing, root.clientWidth);
  root.classList.toggle('led', Boolean(lead));
  (lead ? drawLed : drawOrder)(swing, lead);
  // Only a swing that was not shown before arrives; a redraw stands still.
  drawn = key(swing);
}

const isFresh = (swing) => (drawn === key(swing) ? '' : ' fresh');

/** What the lesson is about leads; the order of peaks is a picture below. */
function drawLed(swing, lead) {
  const wide = root.clientWidth > 1000;
  const width = wide ? Math.floor((root.clientWidth - 48) / 2) : root.clientWidth;
  const recent = swings().slice(-RUN);
  const l = layout(width, recent.includes(swing) ? recent : [...recent, swing]);
  const made = backswing(swing, width);
  const left = h('div', { class: 'body' }, made,
    h('section', { class: 'turns-section' }, h('h2', { class: 'small-title' }, 'Turn from address, at top and at impact'), turns(swing, recent.filter(counts), width)),
    differences(swing), withheld(swing));
  const right = h('div', { class: `time${isFresh(swing)}` },
    h('h2', { class: 'small-title' }, 'Fastest: ', h('span', { class: 'order' }, swing.order_words)),
    strip(swing, l, { rowHeight: 44, gapHeight: 8, gaps: false }), axis(l, swing),
    speeds(swing, curves.key === key(swing) ? curves.value : null, l, 132));
  const runs = runSection(swing, l);
  right.append(runs);
  show(root, heading(swing, lead), left, right);
  if (!l.narrow) fit(runs);
}

function drawOrder(swing) {
  const all = swings();
  const recent = all.slice(-RUN);
  const wide = root.clientWidth > 1000;
  const left = h('div', { class: `time${isFresh(swing)}` });
  const right = h('div', { class: 'body' });
  const width = wide ? Math.round(root.clientWidth * 0.655) : root.clientWidth;
  const l = layout(width, recent.includes(swing) ? recent : [...recent, swing]);
  const low = wide && innerHeight < 900;
  left.append(
    strip(swing, l, low ? { rowHeight: 48, gapHeight: 34 } : { rowHeight: 58, gapHeight: 46 }),
    axis(l, swing),
    speeds(swing, curves.key === key(swing) ? curves.value : null, l, low ? 132 : 180));
  const runs = runSection(swing, l);
  const half = !wide && width >= 700;
  const turnWidth = wide ? root.clientWidth - width - 48 : half ? Math.floor((width - 40) / 2) : width;
  show(right,
    h('div', {}, h('h2', { class: 'small-title' }, 'Turn from address, at top and at impact'),
      turns(swing, recent.filter(counts), turnWidth),
      !half && backswing(swing, turnWidth),
      half && answerPart(swing)),
    h('div', {}, half ? backswing(swing, turnWidth) : answerPart(swing), differences(swing), withheld(swing)));
  if (wide) left.append(runs);
  show(root, heading(swing), left, right, wide ? null : runs);
  if (!l.narrow) fit(runs);
}

function runSection(swing, l) {
  return h('section', { class: 'run-section', 'aria-labelledby': 'run-title' },
    h('h2', { id: 'run-title', class: 'small-title' }, 'The last swings, newest first'),
    run(swings(), l, { remarkOf, shown: swing.number, open: choose, count: RUN }));
}

/** As many of the last swings as fit without scrolling. */
function fit(section) {
  const list = section.querySelector('ol');
  const main = document.getElementById('content');
  const room = main.getBoundingClientRect().bottom - list.getBoundingClientRect().top - main.scrollTop;
  const count = Math.floor(room / list.firstElementChild.offsetHeight);
  for (const line of [...list.children].slice(Math.max(4, count))) line.remove();
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

function heading(swing, lead = null) {
  const remark = remarkOf(swing.number);
  const older = store.chosen !== null;
  const at = movements().indexOf(swing);
  const step = (by, words, label) => button(words, label, () => choose(movements()[at + by].number), { class: 'link', 'aria-label': label, disabled: !movements()[at + by] });
  return h('div', { class: 'swing-head' },
    h('p', { class: 'kicker' }, isRepetition(swing) ? `Repetition ${swing.number} · ${swing.block}` : swingTitle(swing, remark), placeInBlock(swing),
      h('span', { class: 'step' }, step(-1, '‹', 'The swing before'), step(1, '›', 'The next swing')), allSwings(),
      older && button('to the newest', 'newest', () => choose(null), { class: 'link' })),
    rehearsed(swing),
    lead ?? h('h1', { class: 'order', 'data-swing': swing.number }, swing.order_words),
    !isRepetition(swing) && outcomeRow(swing));
}

/** Which of its block's swings it is. */
function placeInBlock(swing) {
  const block = movements().filter((x) => x.block === swing.block && (isRepetition(x) || !passedOver(x)));
  const at = block.indexOf(swing);
  return at >= 0 && h('span', {}, `${at + 1} of ${block.length}`);
}

/** Rehearsals since then neither take the page nor the taps. One line says so. */
function rehearsed(swing) {
  const since = movements().filter((x) => x.number > swing.number);
  if (store.chosen !== null || since.length === 0) return null;
  const last = since.at(-1);
  return h('p', { class: 'quiet-line', 'data-told': last.number }, since.length === 1 ? `Swing ${last.number} was a rehearsal. ` : `${since.length} rehearsals since. `,
    button('look at it', 'newest-rehearsal', () => choose(last.number), { class: 'link', 'aria-label': `Look at swing ${last.number}, a rehearsal` }));
}

function answerPart(swing) {
  const answer = lesson().answers?.[swing.number];
  if (!answer) return null;
  const target = lesson().remarks?.target;
  return h('p', { class: 'answer' }, answerWords(answer), target && h('span', { class: 'fine' }, `target: ${target.words}`));
}

function differences(swing) {
  const base = lesson().baseline_block || 'baseline';
  const titleText = h('h2', { class: 'small-title' }, 'Against this player’s own baseline');
  const lines = (...said) => h('section', { class: 'against' }, titleText, said.map((words) => h('p', { class: 'difference' }, words)));
  const all = againstOf(swing, draw);
  if (all === null) return lines('…');
  if (all.length === 0 && isDrill(swing.block)) return lines('A drill is not held against full swings.');
  const led = leads(swing).map((a) => a.measure);
  // Where the lesson is about something, nothing else speaks of a swing.
  const against = led.length ? all.filter((a) => led.includes(a.measure)) : all;
  const known = heaviest(against.filter((a) => a.verdict !== 'cannot_tell_yet'));
  if (known.length === 0) {
    // A rehearsal and a missing baseline have their own words.
    const soFar = Math.max(0, ...against.map((a) => a.n));
    const needed = against[0]?.needed;
    return lines(notSetAgainst(swing)
      ? `Can’t tell: ${notSetAgainst(swing)}.`
      : `Can’t tell yet${needed ? `: ${soFar} of ${needed} swings in “${base}” so far` : ''}.`);
  }
  const beyond = known.filter((a) => a.verdict === 'beyond_ordinary');
  // Of numbers that the lesson is not about nothing is said unless they are grossly beyond.
  const meant = known.filter((a) => a.verdict !== 'looked_through');
  const shown = led.length ? known : (beyond.length ? beyond : meant).slice(0, beyond.length && !lesson().answers?.[swing.number] ? 3 : 2);
  return h('section', { class: 'against' }, titleText,
    beyond.length === 0 && h('p', { class: 'difference' }, 'Nothing beyond this player’s ordinary variation.'),
    h('ul', { class: 'differences' }, shown.map((a) => h('li', { class: `difference ${a.verdict}` }, a.words))),
    h('div', { class: 'asides' },
      beyond.length > shown.length && h('p', { class: 'fine' }, `and ${beyond.length - shown.length} more: `, h('a', { href: '#after' }, 'before and after')),
      ordinary(known[0].n)));
}

/** A block that a target was set for, other than the baseline's. */
const isDrill = (block) => block !== '' && block !== lesson().baseline_block && (lesson().remarks?.targets ?? []).some((t) => t.target?.block === block);

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

