// Earlier lessons: open one to step through its swings, play it again, or compare it with another.

import { attempt, close, lesson } from './store.js';
import { get, part } from './api.js';
import { button, h, show } from './dom.js';
import { blockName, dateWords, personOf } from './format.js';

export const title = 'Earlier lessons';

let region;
let sessions = null;
let who = null;
/** What was typed to find a player by. */
let sought = '';
/** With more players than this they are sought by typing. */
const FEW = 8;
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

const fits = (name) => name.toLocaleLowerCase().includes(sought.trim().toLocaleLowerCase());

function draw() {
  const people = new Map(sessions.map((x) => [personOf(x.player_id, x.player), x.player]));
  if (!people.has(who)) who = people.size === 1 ? [...people.keys()][0] : null;
  const shown = sessions.filter((x) => (!who || personOf(x.player_id, x.player) === who) && (who || fits(x.player)));
  const named = [...people].sort(([, a], [, b]) => a.localeCompare(b));
  const many = named.length > FEW;
  const offered = many ? named.filter(([person, name]) => person === who || (sought.trim() !== '' && fits(name))).slice(0, FEW) : named;
  show(region, h('h1', {}, 'Earlier lessons'),
    many && h('div', { class: 'seek' }, h('label', { for: 'seek' }, 'Find a player'),
      h('input', { id: 'seek', 'data-key': 'seek', type: 'search', autocomplete: 'off', maxlength: 80, value: sought, oninput: (e) => {
        sought = e.target.value;
        who = null;
        held = [];
        draw();
        // The field is drawn anew; the typing goes on at its end.
        const field = document.getElementById('seek');
        field?.setSelectionRange(sought.length, sought.length);
      } })),
    people.size > 1 && h('div', { class: 'choices', role: 'group', 'aria-label': 'Whose' },
      [[null, 'Everyone'], ...offered].map(([person, name]) => button(name, `who-${person ?? ''}`, () => {
        who = person;
        if (person === null) sought = '';
        held = [];
        draw();
      }, { class: 'choice', 'aria-pressed': String(person === who) }))),
    who !== null && shown.length > 1 && h('p', { class: 'actions' }, h('a', { href: `#months?player=${part(who)}`, class: 'button', 'data-key': 'months' }, 'Over months')),
    beside(),
    shown.length === 0
      ? h('p', { class: 'lead' }, sought ? `No lesson of a player with “${sought}” in the name.` : 'None yet.')
      : h('ul', { class: 'sessions' }, shown.map(row)));

  function row(x) {
    const when = dateWords(x.started_utc);
    return h('li', {},
      h('div', {}, h('h2', {}, x.player || 'No name', x.invented && h('span', { class: 'invented' }, 'Demo')),
        h('p', {}, `${when} · ${x.swings} ${x.swings === 1 ? 'swing' : 'swings'}${x.running ? ' · running now' : ''}`),
        h('p', { class: 'fine' }, x.blocks.map(blockName).join(', ') || 'no blocks')),
      h('div', { class: 'actions' },
        who !== null && shown.length > 1 && x.blocks.length > 0 && button('Compare', `hold-${x.id}`, () => hold(x.id), { class: 'choice', 'aria-pressed': String(held.includes(x.id)), 'aria-label': `Compare with another: ${when}` }),
        button(x.running ? 'To the lesson' : 'Open', `open-${x.id}`, () => openLesson(x), { 'aria-label': x.running ? 'To the lesson that runs' : `Open the lesson of ${x.player}, ${when}` }),
        h('a', { class: 'quiet-link', href: `/api/v1/sessions/${part(x.id)}/report`, target: '_blank', rel: 'noopener' }, 'Page to take home')));
  }
}

function hold(id) {
  held = held.includes(id) ? held.filter((x) => x !== id) : [...held, id].slice(-2);
  draw();
}

/** Two lessons: the numbers of the block that both have, or the bodies from above. */
function beside() {
  if (held.length === 0) return null;
  const [before, after] = held.map((id) => sessions.find((x) => x.id === id)).sort((a, b) => a.started_utc.localeCompare(b.started_utc));
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
