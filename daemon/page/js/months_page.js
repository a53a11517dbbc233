// A player's lessons over months: where each began and ended, and what was left the next time. Pictures and words are the daemon's.

import { get, part } from './api.js';
import { h, show } from './dom.js';
import { capital, unbroken } from './format.js';
import { drawing, roomOf } from './compare_picture.js';
import { fold } from './fold.js';

export const title = 'Over months';

let place;
let asked = 0;

export function enter(main, query) {
  place = h('div', { class: 'months-page' });
  main.append(place);
  drawMonths(place, query.get('player') ?? '');
}

export function leave() {
  asked += 1;
  place = null;
}

/** Draws the months of a player (id, or the name of who has none) into `region`; `about` names another number. */
export async function drawMonths(region, player, about = '') {
  const mine = (asked += 1);
  const numbers = await get('/measures').catch(() => []);
  let found = null;
  let why = '';
  try {
    found = await get(`/months?player=${part(player)}&width=${roomOf(region)}${about ? `&about=${part(about)}` : ''}`);
  } catch (error) {
    why = String(error.message);
  }
  if (mine !== asked || !region.isConnected) return;
  const keys = found?.pictures.map((p) => p.key) ?? [];
  const pick = h('div', { class: 'months-pick' }, h('label', { for: 'months-about' }, 'Number'),
    h('select', { id: 'months-about', 'data-key': 'months-about', onchange: (e) => drawMonths(region, player, e.target.value) },
      h('option', { value: '', selected: about === '' }, 'what the lessons are about'),
      numbers.map((m) => h('option', { value: m.key, selected: m.key === about }, capital(m.label)))));
  show(region,
    h('h1', {}, found ? `Over months: ${found.kept.player}` : 'Over months'),
    h('p', {}, h('a', { href: '#earlier' }, 'Earlier lessons')),
    pick,
    why && h('p', { class: 'lead' }, capital(why)),
    found && keys.length === 0 && h('p', { class: 'lead' }, 'No session has this number.'),
    found?.pictures.map((p) => one(p, found)),
    found?.kept.left_out.length > 0 && fold('months-left-out', `${found.kept.left_out.length} left out`, h('ul', {}, found.kept.left_out.map((words) => h('li', {}, words)))));
}

function one(picture, found) {
  const course = found.kept.measures.find((m) => m.key === picture.key);
  const trend = found.trend.measures.find((m) => m.key === picture.key);
  return h('section', { class: 'months', 'data-measure': picture.key },
    h('h2', {}, picture.title),
    trend && h('p', { class: 'picture-detail' }, unbroken(trend.words)),
    h('figure', { class: 'drawn' }, drawing(picture.svg),
      h('figcaption', {}, h('p', { class: 'fine' }, 'Thick: a lesson, from its first block (hollow) to its last (filled). Dotted: from the end of one lesson to the start of the next, which shows what lasted. Square: a session of one block. Thin bars: 95 %, with what putting the straps on anew can shift.'))),
    fold(`months-${picture.key}`, 'Lesson by lesson', h('ul', {}, course.words.map((words) => h('li', {}, unbroken(words))))));
}
