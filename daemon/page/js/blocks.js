// The blocks of the running lesson: what is being swung, orders that show a change, and whether there is a ball.

import { attempt, isCoach, lesson, running, virtualLesson } from './store.js';
import { get, post } from './api.js';
import { button, h, show } from './dom.js';
import { blockName } from './format.js';
import { ball, everySwing, withoutBall } from './ball.js';
import { ask, blockBalls, remark } from './outcome.js';
import { fold } from './fold.js';
import { madeNow, plan, setPlan, standing } from './block_plan.js';

let designs = null;
let region = null;

const plural = (n, one) => `${n} ${one}${n === 1 ? '' : 's'}`;

/** Begins a block; of a drill its repetitions are counted and measured, with or without a ball. */
const start = (label, drill = false) => attempt(() => post('/lesson/mark', { mark: drill ? 'drill' : 'block', detail: label }));

export async function drawBlocks(place) {
  region = place;
  draw();
  if (designs === null && isCoach()) {
    const known = await attempt(() => get('/designs'));
    designs = Array.isArray(known) ? known : [];
    if (region === place && place.isConnected) draw();
  }
}

function draw() {
  const now = running();
  if (!now || !region) return;
  const names = [...new Set(now.blocks.map((b) => b.label))];
  const base = now.baseline_block || 'baseline';
  show(region, h('h2', {}, 'Blocks'), current(now),
    names.length > 0 && blockList(names, now.swings, now.session, now.repetitions),
    isCoach() && h('div', { class: 'actions' },
      !names.includes(base) && button(`Start ${base}`, `block-${base}`, () => start(base), { class: names.length === 0 ? 'main' : '' }),
      button('Start a drill', 'block-drill', async () => {
        const label = await ask('Start a drill', 'Its name. Every repetition counts, with or without a ball.', names.includes('drill') ? '' : 'drill', 'Start');
        if (label) start(label, true);
      }),
      !names.includes('after') && names.includes(base) && button('Start after', 'block-after', () => start('after')),
      button('Another block', 'block-own', async () => {
        const label = await ask('Start a block of swings', 'Its name', '', 'Start');
        if (label) start(label);
      }, { class: 'link' })),
    isCoach() && names.includes(base) && orders(now, base),
    isCoach() && virtualLesson() && h('p', { class: 'fine' }, 'The virtual player goes through blocks of his own; one started here is recorded as well.'));
}

/** What is being swung, counted, and what comes next in the order that was started. */
function current(now) {
  if (!now.block) return h('p', { class: 'lead' }, 'No block yet. The baseline comes first: the swings as they are.');
  const order = standing();
  if (!order) return h('p', { class: 'lead' }, `Now: ${now.block}, ${plural(madeNow(), 'swing')}`);
  return h('div', { class: 'countdown', role: 'group', 'aria-label': 'The order of blocks' },
    h('p', { class: 'lead' }, `Now: ${order.label}, block ${order.at + 1} of ${order.of}`),
    h('p', { class: 'count' }, `${order.made} of ${order.wanted}`),
    order.done && !order.next && h('p', { class: 'strong' }, 'That was the last block of this order.'),
    isCoach() && h('div', { class: 'actions' }, nextButton(order), button('Leave this order', 'plan-leave', () => {
      setPlan(null);
      draw();
    }, { class: 'link' })));
}

/** Goes on to the next block of the order; null where none comes. */
export function nextButton(order, short) {
  if (!order?.next) return null;
  const words = `${order.done ? 'Next' : 'Go on'}: ${order.nextWanted} × ${order.next}`;
  return button(short ?? words, 'plan-next', () => start(order.next), { class: order.done ? 'main' : '', 'aria-label': words, title: words });
}

/** Straps whose clock or gyroscope is not known well yet. */
export function drawSettling(place) {
  const now = running();
  if (!now) return;
  const words = now.straps.filter((x) => x.connected).map((x) => [x.role.replace('_', ' '), [!Number.isFinite(x.clock_sd_ms) && 'clock settling', x.gyro_settling].filter(Boolean)]).filter(([, w]) => w.length > 0);
  show(place, words.length > 0 && h('p', { class: 'caution' }, h('b', {}, 'Straps are settling: '), words.map(([role, w]) => `${role}: ${w.join(', ')}`).join('; '), '. Swings are measured all the same, with wider bands.'));
}

/** Orders of blocks with what each can show, each one tap. */
function orders(now, base) {
  if (!designs || designs.length === 0) return null;
  const meant = lesson().remarks?.chosen?.measures?.length ?? 0;
  const at = meant <= 1 ? 'one' : meant <= 3 ? 'three' : 'five';
  const about = { one: 'one measure', three: 'up to three measures', five: 'up to five measures' }[at];
  const under = plan() && standing();
  return fold('orders', 'Start an order of blocks', h('p', {}, `Swung in turn, the old way and a new one show a smaller change. With ${about} in mind, each order finds 8 times in 10 a change of so many ordinary spreads (the standard deviation from swing to swing):`),
    h('ul', { class: 'orders-list' }, designs.map((d) => h('li', {},
      h('span', {}, h('b', { class: 'found' }, d.found[at].toFixed(1)), ` spreads: ${d.words}`),
      button('Start', `order-${d.key}`, async () => {
        const way = await ask('Start this order', `The new way’s name; the old way is “${base}”`, 'new way', 'Start');
        if (!way || way === base) return;
        setPlan({ session: now.session, ways: [base, way], sizes: d.blocks, first: running().blocks.length });
        start(base);
      }, { 'aria-label': `Start: ${d.words}`, disabled: Boolean(under && !under.done) })))),
    h('p', { class: 'fine' }, 'Going back shows what can be switched on and off; whether it lasts only the next lesson shows. Simulated; swings that do not count are not counted here either.'));
}

/** The blocks with their swings, and what is said of the ball in each. */
export function blockList(labels, all, session, repetitions = []) {
  return h('ul', { class: 'block-list' }, labels.map((label) => {
    const mine = all.filter((x) => x.block === label);
    const turns = repetitions.filter((x) => x.block === label).length;
    const open = mine.filter((x) => ball(x) === 'unknown').length;
    const [every, without] = [everySwing(label), withoutBall(label)];
    const said = without ? ', without a ball' : every ? ', every swing hits a ball' : '';
    const made = [mine.length > 0 || turns === 0 ? plural(mine.length, 'swing') : null, turns > 0 ? plural(turns, 'repetition') : null].filter(Boolean).join(', ');
    return h('li', {},
      h('span', { class: 'block-name' }, blockName(label)),
      h('span', {}, `${made}${said}${open ? `; of ${open} it is not known whether a ball was struck` : ''}`),
      isCoach() && h('span', { class: 'block-taps' },
        (open > 0 || every) && button('Every swing hits a ball', `balls-${label}`, () => blockBalls(session, label, !every, false), { class: 'tap plain', 'aria-pressed': String(every) }),
        !every && button('Without a ball', `without-${label}`, () => blockBalls(session, label, false, !without), { class: 'tap plain', 'aria-pressed': String(without), title: `Then the swings of “${blockName(label)}” that hit none count, and those that hit one do not.` }),
        label !== '' && label !== (lesson()?.baseline_block || 'baseline') && button('Rename', `rename-${label}`, () => rename(session, label), { class: 'tap plain', 'aria-label': `Rename “${label}”` })));
  }));
}

async function rename(session, label) {
  const name = await ask(`Rename “${label}”`, 'Its new name', label, 'Save');
  if (name && name !== label) remark(session, { what: 'rename', block: label, name });
}
