// The line that says that an earlier lesson is shown, with buttons to step through it and play it.

import { close, playAgain, running, stopPlay, store } from './store.js';
import { button, h, show } from './dom.js';
import { dateWords, num } from './format.js';

const SPEEDS = [1, 4, 20];

export function drawOpened(region) {
  const opened = store.opened;
  if (!opened) {
    show(region);
    return;
  }
  const { whole, lesson, playing } = opened;
  show(region, h('div', { class: 'opened', role: 'group', 'aria-label': 'An earlier lesson' },
    h('p', {}, h('b', {}, playing ? 'Played again' : 'Earlier lesson'), `: ${whole.player.name}, ${dateWords(whole.started_utc)}`,
      playing && h('span', { class: 'played' }, ` · ${num(lesson.t_s ?? 0)} s`)),
    h('div', { class: 'choices' },
      playing
        ? button('stop playing', 'stop-playing', stopPlay)
        : SPEEDS.map((v) => button(v === 1 ? 'play it again' : `${v}×`, `again-${v}`, () => playAgain(v), { 'aria-label': v === 1 ? 'Play it again at real speed' : `${v}× as fast, play it again` })),
      button(running() ? 'back to the lesson now' : 'close', 'close-opened', close, { class: 'link' }))));
}
