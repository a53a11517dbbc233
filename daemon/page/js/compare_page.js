// Before and after: any two blocks, compared by the same code as `peakorder compare`. Pictures first; numbers are folded away.

import { attempt, lesson } from './store.js';
import { keep } from './address.js';
import { get, lessonsOf, part } from './api.js';
import { h, s, say, show } from './dom.js';
import { curvesSection } from './compare_curves.js';
import { pictures, roomOf } from './compare_picture.js';
import { takeHome } from './take_home.js';
import { fold } from './fold.js';
import { unlikeSection } from './compare_unlike.js';
import { blockName, capital, dateWords, num, personOf, signed, unbroken, withUnit } from './format.js';
import { changeWords, measureWords, rangeWords } from './said.js';

export const title = 'Before and after';

let parts;
let sessions = [];
let measures = [];
let sides = { a: '', b: '', earlier: true };
let allOpen = false;
let asked = 0;
let spoken = '';
/** Room that the pictures were last asked for, pixels. */
let room = 0;
let watch = null;

const WORDS = {
  changed: 'changed',
  'no-change-that-matters': 'no change that matters',
  'cannot-tell': 'can’t tell yet',
  perhaps: 'perhaps',
  'too-few-swings': 'too few swings',
};

export async function enter(main, query) {
  parts = { head: h('div', { class: 'after-head' }), result: h('div', { class: 'after-result' }) };
  main.append(parts.head, parts.result);
  let later = 0;
  // A tablet that is turned has other room for the pictures.
  watch = new ResizeObserver(() => {
    clearTimeout(later);
    later = setTimeout(() => room && parts?.result.isConnected && Math.abs(roomOf(parts.result) - room) > 24 && compare(), 200);
  });
  watch.observe(parts.result);
  const [list, known] = await Promise.all([attempt(() => (lesson() ? lessonsOf(personOf(lesson().player.id, lesson().player.name)) : get('/sessions'))), attempt(() => get('/measures'))]);
  sessions = Array.isArray(list) ? list : [];
  measures = Array.isArray(known) ? known : [];
  sides = { ...sides, a: query.get('a') ?? '', b: query.get('b') ?? '' };
  suggest();
  draw();
  compare();
}

export function leave() {
  watch?.disconnect();
  watch = null;
}

export function update(what) {
  if (what === 'block' || what === 'opened') {
    suggest();
    draw();
  }
  if (what === 'swing' || what === 'remarks' || what === 'opened') compare();
}

/** Blocks to choose from: those of the lesson on the page first, then those of the player's others. */
function choices() {
  const now = lesson();
  const own = now ? [{ id: now.session, player: now.player.name, started_utc: now.started_utc, blocks: [...new Set(now.swings.map((x) => x.block))] }] : [];
  const others = sessions.filter((x) => x.id !== now?.session && (!now || personOf(x.player_id, x.player) === personOf(now.player.id, now.player.name)));
  return [...own, ...others].flatMap((x) => x.blocks.map((label) => {
    const where = x.id === now?.session ? '' : `, ${dateWords(x.started_utc)}${now ? '' : `, ${x.player}`}`;
    return { value: `${x.id}:${label}`, words: `${blockName(label)}${where}` };
  }));
}

function suggest() {
  const all = choices();
  const now = lesson();
  const base = `${now?.session ?? ''}:${now?.baseline_block || 'baseline'}`;
  if (!all.some((c) => c.value === sides.a)) sides.a = all.find((c) => c.value === base)?.value ?? all[0]?.value ?? '';
  const later = all.filter((c) => c.value !== sides.a && c.value.startsWith(`${sides.a.slice(0, sides.a.lastIndexOf(':'))}:`));
  if (!all.some((c) => c.value === sides.b)) sides.b = later.at(-1)?.value ?? all.find((c) => c.value !== sides.a)?.value ?? '';
}

function draw() {
  const all = choices();
  const pick = (side, label) => h('div', {}, h('label', { for: `side-${side}` }, label),
    h('select', { id: `side-${side}`, 'data-key': `side-${side}`, onchange: (e) => {
      sides[side] = e.target.value;
      draw();
      compare();
    } }, all.map((c) => h('option', { value: c.value, selected: c.value === sides[side] }, c.words))));
  show(parts.head, h('h1', { class: 'small-title' }, 'Before and after'),
    all.length > 0 && h('div', { class: 'sides' }, pick('a', 'Before'), pick('b', 'After')),
    earlier().length > 0 && h('label', { class: 'check' }, h('input', { type: 'checkbox', 'data-key': 'earlier', checked: sides.earlier, onchange: (e) => {
      sides.earlier = e.target.checked;
      compare();
    } }), ` against the mean of all ${earlier().length + 1} sessions with “${blockName(block(sides.a))}”: they show how much days differ`));
}

const session = (side) => side.slice(0, side.indexOf(':'));
const block = (side) => side.slice(side.indexOf(':') + 1);

/** Other sessions of the player, before the later side, that have the earlier side's block. */
function earlier() {
  if (!sides.a || !sides.b || session(sides.a) === session(sides.b)) return [];
  const start = (id) => sessions.find((x) => x.id === id)?.started_utc ?? '';
  const until = start(session(sides.b)) || '9999';
  return choices().map((c) => c.value).filter((v) => v !== sides.a && block(v) === block(sides.a) && session(v) !== session(sides.b) && start(session(v)) < until);
}

async function compare() {
  keep({ a: sides.a, b: sides.b }, 'after');
  if (!sides.a || !sides.b || sides.a === sides.b) {
    instead('It takes two blocks of swings.');
    return;
  }
  const mine = (asked += 1);
  let found;
  try {
    const also = sides.earlier ? earlier() : [];
    room = roomOf(parts.result);
    found = await get(`/compare?a=${part(sides.a)}&b=${part(sides.b)}&picture=${room}${also.length ? `&also=${part(also.map(session).join(','))}` : ''}`);
  } catch (error) {
    if (mine === asked) instead(String(error.message));
    return;
  }
  if (mine !== asked) return;
  show(parts.result, result(found));
  speak(found);
}

/** Words where a comparison would be. */
function instead(words) {
  show(parts.result, h('p', { class: 'lead' }, words));
}

/** For a screen reader the verdicts alone, and only when they are others. */
function speak(c) {
  const judged = c.measures.filter((r) => r.chosen);
  const words = Object.keys(WORDS).map((verdict) => [WORDS[verdict], judged.filter((r) => r.verdict === verdict)])
    .filter(([, rows]) => rows.length > 0)
    .map(([verdict, rows]) => `${verdict}: ${rows.length > 5 ? `${rows.length} numbers` : rows.map((r) => measureOf(r.key).label).join(', ')}`).join('; ');
  if (words !== spoken) say(words);
  spoken = words;
}

const measureOf = (key) => measures.find((m) => m.key === key) ?? { key, label: key, unit: '', decimals: 1, signed: false };

function value(m, v) {
  return m.signed ? signed(v, m.decimals) : num(v, m.decimals);
}

function result(c) {
  const judged = c.measures.filter((r) => r.chosen);
  const others = c.measures.filter((r) => !r.chosen);
  const meant = others.length > 0 || judged.length <= 5;
  return [
    c.picture ? pictures(c.picture) : h('p', { class: 'lead' }, 'The two sides have no number in common.'),
    takeHome(c),
    curvesSection(c, sides, (side) => sideName(side, c)),
    unlikeSection([c.before, ...c.also_before, c.after], (side) => sideName(side, c), compare),
    h('details', { class: 'all-numbers', open: allOpen, ontoggle: (e) => {
      allOpen = e.target.open;
    } }, h('summary', { 'data-key': 'all-numbers' }, `All ${c.measures.length} numbers`),
    h('section', { class: 'changes' }, meant ? about(judged) : unasked(judged)),
    others.length > 0 && lookedThrough(others),
    c.notes.length > 0 && h('ul', { class: 'notes' }, c.notes.map((n) => h('li', { class: 'fine' }, n))),
    orders(c),
    table(c),
    vocabulary()),
  ];
}

const MEANINGS = [
  ['changed', 'larger than this player’s ordinary variation makes by chance, also after allowing for all numbers that get a verdict.'],
  ['no change that matters', 'the whole interval lies within the smallest change that matters.'],
  ['can’t tell yet', 'the interval holds no change as well as one that would matter.'],
  ['perhaps', 'of the numbers that were not meant beforehand; about one in ten called so is there by chance.'],
  ['the bar', 'the 95 % interval of the change. It holds drift, likeness of neighbouring swings and, between days, what putting the straps on anew shifts.'],
];

function vocabulary() {
  return fold('meanings', 'What the words mean', h('dl', { class: 'meanings' }, MEANINGS.map(([word, meaning]) => h('div', {}, h('dt', {}, word), h('dd', {}, meaning)))));
}

/** The counts of each order, and what the test of them says. */
function orders(c) {
  return h('section', { class: 'order-change', 'data-verdict': c.order.verdict }, h('h2', {}, 'Order of the peaks'),
    h('div', { class: 'orders' }, [c.before, c.after].map((side) => h('div', {},
      h('h3', {}, `${capital(sideName(side, c))}, ${side.summary.used.length} swings`),
      h('ul', {}, side.summary.orders.map((o) => h('li', {}, `${o.order_text}: ${o.count} of ${o.of}`)))))),
    h('p', { class: 'order-verdict' }, unbroken(c.order.words[0])),
    c.order.words.length > 1 && h('ul', { class: 'order-pairs' }, c.order.words.slice(1).map((words) => h('li', {}, unbroken(words)))),
    c.order.verdict !== 'cannot-judge' && fold('order-how', 'How this is judged', h('p', {}, c.order.presumes)));
}

/** A block's label, with the day where the sides are of different ones. */
function sideName(side, c) {
  const name = blockName(side.title);
  const start = sessions.find((x) => x.id === side.session)?.started_utc;
  return c.before.session === c.after.session || !start ? name : `${name}, ${dateWords(start)}`;
}

/** What was meant beforehand: a verdict each, with its picture. */
function about(rows) {
  if (rows.length === 0) return h('p', { class: 'change-none' }, 'None of the numbers that the lesson is about was measured on both sides.');
  return rows.map((r) => change(r));
}

/** Nothing was meant: the changes that stand out among all. */
function unasked(rows) {
  const of = (verdict) => rows.filter((r) => r.verdict === verdict);
  const [changed, perhaps] = [of('changed'), of('perhaps')];
  const rest = rows.length - changed.length - perhaps.length;
  return [
    changed.length === 0 && h('p', { class: 'change-none' }, 'Nothing changed by more than this player’s ordinary variation allows one to say.'),
    changed.map((r) => change(r)),
    perhaps.length > 0 && h('p', { class: 'lead' }, h('b', {}, 'Perhaps: '), perhapsWords(perhaps), '.'),
    rest > 0 && h('p', { class: 'lead' }, h('b', {}, 'Can’t tell yet: '), `the other ${rest} lie within ordinary variation. `, h('a', { href: '#target' }, 'Say beforehand what the lesson is about'), ', and more shows.'),
  ];
}

const perhapsWords = (rows) => rows.map((r) => `${measureOf(r.key).label} ${changeWords(measureOf(r.key), r.before.mean, r.difference)}`).join('; ');

/** The others, largest effect first, folded away. */
function lookedThrough(rows) {
  const perhaps = rows.filter((r) => r.verdict === 'perhaps').sort((a, b) => effect(b) - effect(a));
  if (perhaps.length === 0) return h('p', { class: 'looked-through' }, h('b', {}, 'Not meant beforehand: '), `in ${rows.length} numbers nothing shows that chance alone would not make.`);
  return fold('looked-through', [h('b', {}, 'Not meant beforehand: '), `perhaps ${perhaps.length} of ${rows.length} numbers`],
    h('ul', {}, perhaps.map((r) => h('li', {}, perhapsWords([r])))),
    rows.length > perhaps.length && h('p', {}, `In the other ${rows.length - perhaps.length} nothing shows that chance alone would not make.`));
}

const effect = (r) => (r.spread > 0 ? Math.abs(r.difference) / r.spread : 0);

function change(r) {
  const m = measureOf(r.key);
  return h('div', { class: 'change', 'data-measure': r.key, 'data-verdict': r.verdict },
    h('p', { class: 'change-line' },
      h('span', { class: 'change-name' }, capital(m.label)),
      h('span', { class: 'change-numbers' }, measureWords(m, r.before.mean), h('span', { class: 'arrow' }, ' → '), measureWords(m, r.after.mean)),
      h('b', { class: 'change-verdict' }, WORDS[r.verdict] ?? r.verdict)),
    r.ci95 && interval(m, r),
    r.more && h('p', { class: 'fine' }, r.more.words));
}

/** The change's interval about none, and how much would matter. */
function interval(m, r) {
  const [low, high] = r.ci95;
  const matters = r.matters_named ? r.matters : null;
  const reach = 1.15 * Math.max(Math.abs(low), Math.abs(high), matters ?? 0, 1e-9);
  const [width, height, middle] = [420, 46, 20];
  const x = (v) => width / 2 + (v / reach) * (width / 2 - 6);
  const words = `change ${changeWords(m, r.before.mean, r.difference)}, 95 % interval ${rangeWords(m, r.before.mean, low, high)}`;
  return h('div', { class: 'interval' },
    s('svg', { width, height, viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': words },
      matters && [-matters, matters].map((v) => s('line', { class: 'level', x1: x(v), x2: x(v), y1: 6, y2: 34, 'stroke-dasharray': '3 4' })),
      s('line', { class: 'interval-none', x1: x(0), x2: x(0), y1: 2, y2: 32 }),
      s('text', { class: 'axis-text', x: x(0), y: height, 'text-anchor': 'middle' }, 'no change'),
      s('line', { class: 'interval-line', x1: x(low), x2: x(high), y1: middle, y2: middle }),
      [low, high].map((v) => s('line', { class: 'interval-line', x1: x(v), x2: x(v), y1: middle - 7, y2: middle + 7 })),
      s('circle', { class: 'interval-dot', cx: x(r.difference), cy: middle, r: 6 })),
    h('span', { class: 'fine' }, words, matters ? `; dashed: what matters, ± ${withUnit(m, num(matters, m.decimals))}` : ''));
}

function table(c) {
  const cell = (m, x) => `${value(m, x.mean)}${Number.isFinite(x.ci95_half) ? ` ± ${num(x.ci95_half, m.decimals)}` : ''}`;
  const band = (m, r) => (r.ci95 ? ` (${signed(r.ci95[0], m.decimals)} to ${signed(r.ci95[1], m.decimals)})` : '');
  const verdict = (r) => (!r.chosen && r.verdict === 'cannot-tell' ? '–' : WORDS[r.verdict] ?? r.verdict);
  return h('div', { class: 'wide-table', role: 'region', 'aria-label': 'All measures', tabindex: 0 }, h('table', {},
    h('thead', {}, h('tr', {}, ['measure', 'before', 'after', 'difference', 'verdict'].map((t, i) => h('th', { scope: 'col', class: i > 0 && i < 4 ? 'n' : '' }, t)))),
    h('tbody', {}, c.measures.map((r) => {
      const m = measureOf(r.key);
      return h('tr', { 'data-measure': r.key, 'data-verdict': r.verdict }, h('th', { scope: 'row' }, capital(m.label), m.unit && h('span', { class: 'hint' }, `, ${m.unit}`)),
        h('td', { class: 'n' }, cell(m, r.before)), h('td', { class: 'n' }, cell(m, r.after)),
        h('td', { class: 'n' }, `${signed(r.difference, m.decimals)}${band(m, r)}`),
        h('td', { class: r.verdict === 'changed' ? 'strong' : '' }, verdict(r)));
    }))), c.not_compared.length > 0 && h('p', { class: 'fine' }, 'Not compared: ', c.not_compared.map((n) => `${measureOf(n.key).label} (${n.why})`).join('; '), '.'));
}
