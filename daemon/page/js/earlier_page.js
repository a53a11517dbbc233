// Earlier lessons: open one to step through its swings, play it again, or compare it with another.

import { attempt, close, lesson, open } from './store.js';
import { get, part } from './api.js';
import { button, h, show } from './dom.js';
import { blockName, dateWords, personOf } from './format.js';

export const title = 'Earlier lessons';

let region;
let sessions = null;
let who = null;
/** Ids of up to two lessons to compare, the earlier pick first. */
let held = [];

export async function enter(main) {
  region = h('div', { class: 'earlier-page' });
  held = [];
  main.append(region);
  who = lesson() ? personOf(lesson().player.id, lesson().player.name) : null;
  const list = await attempt(() => get('/sessions'));
  sessions = Array.isArray(list) ? [...list].sort((a, b) => b.started_utc.localeCompare(a.started_utc)) : [];
  draw();
}

function draw() {
  const people = new Map(sessions.map((x) => [personOf(x.player_id, x.player), x.player]));
  if (!people.has(who)) who = people.size === 1 ? [...people.keys()][0] : null;
  const shown = sessions.filter((x) => !who || personOf(x.player_id, x.player) === who);
  const named = [...people].sort(([, a], [, b]) => a.localeCompare(b));
  show(region, h('h1', {}, 'Earlier lessons'),
    people.size > 1 && h('div', { class: 'choices', role: 'group', 'aria-label': 'Whose' },
      [[null, 'everyone'], ...named].map(([person, name]) => button(name, `who-${person ?? ''}`, () => {
        who = person;
        held = [];
        draw();
      }, { class: 'choice', 'aria-pressed': String(person === who) }))),
    who !== null && shown.length > 1 && h('p', { class: 'actions' }, h('a', { href: `#months?player=${part(who)}`, class: 'button', 'data-key': 'months' }, 'Over months')),
    beside(),
    shown.length === 0
      ? h('p', { class: 'lead' }, 'None yet.')
      : h('ul', { class: 'sessions' }, shown.map((x) => h('li', {},
        h('div', {}, h('h2', {}, x.player, x.invented && h('span', { class: 'invented' }, 'invented')),
          h('p', {}, `${dateWords(x.started_utc)} · ${x.swings} ${x.swings === 1 ? 'swing' : 'swings'}${x.running ? ' · running now' : ''}`),
          h('p', { class: 'fine' }, x.blocks.map(blockName).join(', ') || 'no blocks')),
        h('div', { class: 'actions' },
          who !== null && shown.length > 1 && x.blocks.length > 0 && button('hold beside', `hold-${x.id}`, () => hold(x.id), { class: 'choice', 'aria-pressed': String(held.includes(x.id)), 'aria-label': `Hold beside another: ${dateWords(x.started_utc)}` }),
          !x.running && button('Open', `open-${x.id}`, () => openLesson(x, '#swing'), { 'aria-label': `Open the lesson of ${x.player}, ${dateWords(x.started_utc)}` }),
          h('a', { href: `/api/v1/sessions/${part(x.id)}/report`, target: '_blank', rel: 'noopener' }, 'page to print'))))));
}

function hold(id) {
  held = held.includes(id) ? held.filter((x) => x !== id) : [...held, id].slice(-2);
  draw();
}

/** Two lessons: the numbers of the block that both have, or the bodies from above. */
function beside() {
  if (held.length === 0) return null;
  const [before, after] = held.map((id) => sessions.find((x) => x.id === id)).sort((a, b) => a.started_utc.localeCompare(b.started_utc));
  if (!after) return h('p', { class: 'lead' }, 'Choose a second lesson to hold beside it.');
  const both = before.blocks.find((b) => after.blocks.includes(b));
  const side = (x) => part(`${x.id}:${both ?? x.blocks.at(-1)}`);
  return h('div', { class: 'beside', role: 'group', 'aria-label': 'Two lessons beside each other' },
    h('p', { class: 'lead' }, `${dateWords(before.started_utc)} beside ${dateWords(after.started_utc)}`),
    h('div', { class: 'actions' },
      button('numbers', 'beside-numbers', () => openLesson(after, `#after?a=${side(before)}&b=${side(after)}`), { class: 'main' }),
      button('bodies from above', 'beside-bodies', () => openLesson(after, `#above?with=${part(before.id)}`))));
}

async function openLesson(row, hash) {
  if (!row.running) {
    const view = await attempt(() => get(`/sessions/${part(row.id)}`));
    if (!view) return;
    open(view);
  } else {
    close();
  }
  location.hash = hash;
}
