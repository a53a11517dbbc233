// Before and after: any two blocks, compared by the same code as `peakorder compare`.

import { attempt, lesson } from './store.js';
import { get, part } from './api.js';
import { h, show } from './dom.js';
import { blockName, capital, changeWords, dateWords, measureWords, num, personOf, signed } from './format.js';

export const title = 'Before and after';

let parts;
let sessions = [];
let measures = [];
let sides = { a: '', b: '' };
let asked = 0;

const WORDS = {
  changed: 'changed',
  perhaps: 'perhaps',
  'cannot-tell': 'can’t tell',
  'cannot-tell-straps-worn-anew': 'can’t tell: straps worn anew',
  'too-few-swings': 'too few swings',
};

export async function enter(main, query) {
  parts = { head: h('div', { class: 'after-head' }), result: h('div', { class: 'after-result', 'aria-live': 'polite' }) };
  main.append(parts.head, parts.result);
  const [list, known] = await Promise.all([attempt(() => get('/sessions')), attempt(() => get('/measures'))]);
  sessions = Array.isArray(list) ? list : [];
  measures = Array.isArray(known) ? known : [];
  sides = { a: query.get('a') ?? '', b: query.get('b') ?? '' };
  suggest();
  draw();
  compare();
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
      compare();
    } }, all.map((c) => h('option', { value: c.value, selected: c.value === sides[side] }, c.words))));
  show(parts.head, h('h1', {}, 'Before and after'),
    all.length > 0 && h('div', { class: 'sides' }, pick('a', 'Before'), pick('b', 'After')));
}

async function compare() {
  if (!sides.a || !sides.b || sides.a === sides.b) {
    show(parts.result, h('p', { class: 'lead' }, 'It takes two blocks of swings.'));
    return;
  }
  const mine = (asked += 1);
  let found;
  try {
    found = await get(`/compare?a=${part(sides.a)}&b=${part(sides.b)}`);
  } catch (error) {
    if (mine === asked) show(parts.result, h('p', { class: 'lead' }, String(error.message)));
    return;
  }
  if (mine === asked) show(parts.result, result(found));
}

const measureOf = (key) => measures.find((m) => m.key === key) ?? { key, label: key, unit: '', decimals: 1, signed: false };

function value(m, v) {
  return m.signed ? signed(v, m.decimals) : num(v, m.decimals);
}

function result(c) {
  const of = (verdict) => c.measures.filter((r) => r.verdict === verdict);
  const [changed, perhaps] = [of('changed'), of('perhaps')];
  const report = `/api/v1/sessions/${part(c.after.session)}/report?before=${part(c.before.title)}&after=${part(c.after.title)}`;
  const rest = c.measures.length - changed.length - perhaps.length;
  return [
    h('section', { class: 'changes' },
      changed.length === 0 && h('p', { class: 'change-none' }, 'Nothing changed by more than this player’s ordinary variation allows one to say.'),
      changed.map((r) => change(r)),
      perhaps.length > 0 && h('p', { class: 'lead' }, h('b', {}, 'Perhaps: '), perhaps.map((r) => `${measureOf(r.key).label} ${changeWords(measureOf(r.key), r.difference)}`).join('; '), '.'),
      rest > 0 && h('p', { class: 'lead' }, h('b', {}, 'Can’t tell: '), `the other ${rest} lie within ordinary variation.`)),
    h('section', {}, h('h2', {}, 'Order of the peaks'), h('div', { class: 'orders' }, [c.before, c.after].map((side) => h('div', {},
      h('h3', {}, `${capital(blockName(side.title))}, ${side.summary.used.length} swings`),
      h('ul', {}, side.summary.orders.map((o) => h('li', {}, `${o.order_text}: ${o.count} of ${o.of}`))))))),
    h('section', {}, h('h2', {}, 'All of it'), table(c)),
    c.notes.length > 0 && h('ul', { class: 'notes' }, c.notes.map((n) => h('li', { class: 'fine' }, n))),
    c.before.session === c.after.session && h('p', { class: 'actions' }, h('a', { href: report, target: '_blank', rel: 'noopener', class: 'button' }, 'The page to take home (opens to print)')),
    h('p', { class: 'fine' }, 'changed: larger than this player’s ordinary swing-to-swing variation, also after allowing for all measures looked at (adjusted p < 0.05). perhaps: larger only if this had been the one measure looked at. can’t tell: within ordinary variation. ± is half a 95 % interval, of what the straps did; between days the verdicts allow for seat and skin as well.'),
  ];
}

function change(r) {
  const m = measureOf(r.key);
  return h('p', { class: 'change' },
    h('span', { class: 'change-name' }, capital(m.label)),
    h('span', { class: 'change-numbers' }, measureWords(m, r.before.mean), h('span', { class: 'arrow' }, ' → '), measureWords(m, r.after.mean)),
    h('span', { class: 'fine' }, `${changeWords(m, r.difference)}, ± ${num(r.ci95_half, m.decimals)}`));
}

function table(c) {
  const cell = (m, x) => `${value(m, x.mean)}${Number.isFinite(x.ci95_half) ? ` ± ${num(x.ci95_half, m.decimals)}` : ''}`;
  return h('div', { class: 'wide-table', role: 'region', 'aria-label': 'All measures', tabindex: 0 }, h('table', {},
    h('thead', {}, h('tr', {}, ['measure', 'before', 'after', 'difference', 'verdict'].map((t, i) => h('th', { scope: 'col', class: i > 0 && i < 4 ? 'n' : '' }, t)))),
    h('tbody', {}, c.measures.map((r) => {
      const m = measureOf(r.key);
      return h('tr', { 'data-measure': r.key, 'data-verdict': r.verdict }, h('th', { scope: 'row' }, capital(m.label), m.unit && h('span', { class: 'hint' }, `, ${m.unit}`)),
        h('td', { class: 'n' }, cell(m, r.before)), h('td', { class: 'n' }, cell(m, r.after)),
        h('td', { class: 'n' }, `${signed(r.difference, m.decimals)}${Number.isFinite(r.ci95_half) ? ` ± ${num(r.ci95_half, m.decimals)}` : ''}`),
        h('td', { class: r.verdict === 'changed' ? 'strong' : '' }, WORDS[r.verdict] ?? r.verdict));
    }))), c.not_compared.length > 0 && h('p', { class: 'fine' }, 'Not compared: ', c.not_compared.map((n) => `${measureOf(n.key).label} (${n.why})`).join('; '), '.'));
}

