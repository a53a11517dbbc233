// Earlier lessons: open one to step through its swings, play it again, or compare it with another.

import { attempt, close, lesson } from './store.js';
import { get, getPart, part } from './api.js';
import { button, h, say, show } from './dom.js';
import { blockName, dateWords, personOf } from './format.js';

export const title = 'Earlier lessons';

let region;
/** The latest lessons of everyone: who they are of is offered. */
let everyone = null;
/** What is shown: rows, how many there are, and where the next ones are. */
let list = null;
let players = [];
let who = null;
/** What was typed to find lessons by. */
let sought = '';
/** With more players or lessons than this they are sought by typing. */
const FEW = 8;
/** So many lessons come at a time. */
const ROWS = 50;
/** Between a key and the question. */
const TYPED_MS = 150;
const READ_MS = 1000;
/** Ids of up to two lessons to compare, the earlier pick first. */
let held = [];
/** Counts questions: only the answer to the last one is shown. */
let asked = 0;
let timer = 0;

export async function enter(main) {
  region = h('div', { class: 'earlier-page' });
  [held, list, everyone] = [[], null, null];
  main.append(region);
  who = lesson() ? personOf(lesson().player.id, lesson().player.name) : null;
  await ask();
}

export function leave() {
  asked += 1;
  clearTimeout(timer);
}

async function ask() {
  const mine = (asked += 1);
  clearTimeout(timer);
  if (!everyone || everyone.reading) {
    const [first, cards] = await Promise.all([attempt(() => getPart(`/sessions?limit=${ROWS}`)), attempt(() => get('/players'))]);
    if (mine !== asked) return;
    everyone = first ?? { rows: [], total: 0, next: null, reading: null };
    players = Array.isArray(cards) ? cards : [];
    const people = new Set(everyone.rows.map(personIn));
    if (!who && !everyone.next && people.size === 1) [who] = people;
  }
  let found = await question();
  if (mine !== asked) return;
  if (who && found.total === 0 && !found.reading) {
    who = null;
    found = await question();
    if (mine !== asked) return;
  }
  list = found;
  draw();
  if (list.reading) timer = setTimeout(ask, READ_MS);
}

async function question() {
  if (!who && sought.trim() === '') return everyone;
  const about = who ? `player=${part(who)}` : `search=${part(sought.trim())}`;
  return (await attempt(() => getPart(`/sessions?${about}&limit=${ROWS}`))) ?? { rows: [], total: 0, next: null, reading: null };
}

/** The next lessons of the list; the keyboard goes on at the first of them. */
async function more() {
  const mine = (asked += 1);
  const next = await attempt(() => getPart(list.next));
  if (!next || mine !== asked) return;
  const first = next.rows[0]?.id;
  list = { ...next, rows: [...list.rows, ...next.rows] };
  draw();
  if (first) document.querySelector(`[data-key="open-${CSS.escape(first)}"]`)?.focus();
  say(`${list.rows.length} of ${list.total} lessons are shown.`);
}

const personIn = (x) => personOf(x.player_id, x.player);
const fits = (name) => name.toLocaleLowerCase().includes(sought.trim().toLocaleLowerCase());

/** Who can be chosen. With lessons beyond the list everybody with a card may have some. */
function people() {
  const known = new Map(everyone.rows.map((x) => [personIn(x), x.player]));
  if (everyone.next) for (const card of players) known.set(card.id, card.name);
  for (const x of list.rows) known.set(personIn(x), x.player);
  return [...known].sort(([, a], [, b]) => a.localeCompare(b));
}

function draw() {
  const named = people();
  const shown = list.rows;
  const found = new Set(shown.map(personIn));
  const many = named.length > FEW || everyone.total > FEW;
  const offered = named.length > FEW ? named.filter(([person, name]) => person === who || (sought.trim() !== '' && (fits(name) || found.has(person)))).slice(0, FEW) : named;
  show(region, h('h1', {}, 'Earlier lessons'),
    many && h('div', { class: 'seek' }, h('label', { for: 'seek' }, 'Find lessons'),
      h('p', { class: 'fine', id: 'seek-hint' }, 'By player, day, block or goal'),
      h('input', { id: 'seek', 'data-key': 'seek', type: 'search', autocomplete: 'off', maxlength: 80, 'aria-describedby': 'seek-hint', value: sought, oninput: (e) => {
        sought = e.target.value;
        who = null;
        held = [];
        clearTimeout(timer);
        timer = setTimeout(() => ask().then(() => {
          if (list) say(counted());
        }), TYPED_MS);
      } })),
    named.length > 1 && h('div', { class: 'choices', role: 'group', 'aria-label': 'Whose' },
      [[null, 'Everyone'], ...offered].map(([person, name]) => button(name, `who-${person ?? ''}`, () => {
        who = person;
        if (person === null) sought = '';
        held = [];
        ask();
      }, { class: 'choice', 'aria-pressed': String(person === who) }))),
    who !== null && shown.length > 1 && h('p', { class: 'actions' }, h('a', { href: `#months?player=${part(who)}`, class: 'button', 'data-key': 'months' }, 'Over months')),
    beside(),
    list.reading && h('p', { class: 'lead', role: 'status' }, `The library is being read: ${list.reading[0]} of ${list.reading[1]} lessons are known so far.`),
    many && shown.length > 0 && h('p', { class: 'fine' }, counted()),
    shown.length === 0
      ? !list.reading && h('p', { class: 'lead' }, sought ? `No lesson with “${sought}” in player, day, block or goal.` : 'None yet.')
      : h('ul', { class: 'sessions' }, shown.map(row)),
    list.next && h('p', { class: 'actions' }, button('Show more', 'more', more, { class: 'big' })));
  // The field is drawn anew; the typing goes on at its end.
  const field = document.getElementById('seek');
  if (field && document.activeElement === field) field.setSelectionRange(sought.length, sought.length);

  function row(x) {
    const when = dateWords(x.started_utc);
    return h('li', {},
      h('div', {}, h('h2', {}, x.player || 'No name', x.invented && h('span', { class: 'invented' }, 'Demo')),
        h('p', {}, `${when} · ${x.swings} ${x.swings === 1 ? 'swing' : 'swings'}${x.running ? ' · running now' : ''}`),
        h('p', { class: 'fine' }, [x.blocks.map(blockName).join(', ') || 'no blocks', x.goal && `works on: ${x.goal}`].filter(Boolean).join(' · '))),
      h('div', { class: 'actions' },
        who !== null && shown.length > 1 && x.blocks.length > 0 && button('Compare', `hold-${x.id}`, () => hold(x.id), { class: 'choice', 'aria-pressed': String(held.includes(x.id)), 'aria-label': `Compare with another: ${when}` }),
        button(x.running ? 'To the lesson' : 'Open', `open-${x.id}`, () => openLesson(x), { 'aria-label': x.running ? 'To the lesson that runs' : `Open the lesson of ${x.player}, ${when}` }),
        h('a', { class: 'quiet-link', href: `/api/v1/sessions/${part(x.id)}/report`, target: '_blank', rel: 'noopener' }, 'Page to take home')));
  }
}

const counted = () => (list.total === 1 ? 'One lesson' : `${list.total} lessons`) + (list.rows.length < list.total ? `, the latest ${list.rows.length} of them here` : '');

function hold(id) {
  held = held.includes(id) ? held.filter((x) => x !== id) : [...held, id].slice(-2);
  draw();
}

/** Two lessons: the numbers of the block that both have, or the bodies from above. */
function beside() {
  if (held.length === 0) return null;
  const [before, after] = held.map((id) => list.rows.find((x) => x.id === id)).sort((a, b) => a.started_utc.localeCompare(b.started_utc));
  if (!after) return h('p', { class: 'lead' }, 'Choose a second lesson to compare it with.');
  const both = before.blocks.find((b) => after.blocks.includes(b));
  const side = (x) => part(`${x.id}:${both ?? x.blocks.at(-1)}`);
  return h('div', { class: 'beside', role: 'group', 'aria-label': 'Two lessons to compare' },
    h('p', { class: 'lead' }, `${dateWords(before.started_utc)} and ${dateWords(after.started_utc)}`),
    h('div', { class: 'actions' },
      button('Before and after', 'beside-numbers', () => openLesson(after, 'after', `&a=${side(before)}&b=${side(after)}`), { class: 'main' }),
      button('Bodies from above', 'beside-bodies', () => openLesson(after, 'above', `&with=${part(before.id)}`))));
}

/** The address opens the lesson. */
function openLesson(row, screen = 'swing', more = '') {
  if (row.running) close();
  location.hash = row.running && !more ? `#${screen}` : `#${screen}?lesson=${part(row.id)}${more}`;
}
