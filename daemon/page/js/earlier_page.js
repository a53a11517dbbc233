// Earlier lessons: open one to step through its swings, play it again, or hold it against another.

import { attempt, lesson, open } from './store.js';
import { get, part } from './api.js';
import { button, h, show } from './dom.js';
import { blockName, dateWords } from './format.js';

export const title = 'Earlier lessons';

let region;
let sessions = null;
let who = null;

export async function enter(main) {
  region = h('div', { class: 'earlier-page' });
  main.append(region);
  who = lesson()?.player?.name ?? null;
  const list = await attempt(() => get('/sessions'));
  sessions = Array.isArray(list) ? [...list].sort((a, b) => b.started_utc.localeCompare(a.started_utc)) : [];
  draw();
}

function draw() {
  const names = [...new Set(sessions.map((x) => x.player))].sort();
  if (!names.includes(who)) who = null;
  const shown = sessions.filter((x) => !who || x.player === who);
  show(region, h('h1', {}, 'Earlier lessons'),
    names.length > 1 && h('div', { class: 'choices', role: 'group', 'aria-label': 'Whose' },
      [null, ...names].map((n) => button(n ?? 'everyone', `who-${n ?? ''}`, () => {
        who = n;
        draw();
      }, { class: 'choice', 'aria-pressed': String(n === who) }))),
    shown.length === 0
      ? h('p', { class: 'lead' }, 'None yet.')
      : h('ul', { class: 'sessions' }, shown.map((x) => h('li', {},
        h('div', {}, h('h2', {}, x.player, x.invented && h('span', { class: 'invented' }, 'invented')),
          h('p', {}, `${dateWords(x.started_utc)} · ${x.swings} ${x.swings === 1 ? 'swing' : 'swings'}${x.running ? ' · running now' : ''}`),
          h('p', { class: 'fine' }, x.blocks.map((b) => blockName(typeof b === 'string' ? b : b.label)).join(', ') || 'no blocks')),
        h('div', { class: 'actions' },
          !x.running && button('Open', `open-${x.id}`, () => openLesson(x.id), { 'aria-label': `Open the lesson of ${x.player}, ${dateWords(x.started_utc)}` }),
          h('a', { href: `/api/v1/sessions/${part(x.id)}/report`, target: '_blank', rel: 'noopener' }, 'page to print'))))));
}

async function openLesson(id) {
  const view = await attempt(() => get(`/sessions/${part(id)}`));
  if (!view) return;
  open(view);
  location.hash = '#swing';
}
