// The line that says that an earlier lesson is shown, with buttons to step through it and play it; or that a lesson was
// interrupted.

import { close, isCoach, playAgain, running, stopPlay, store } from './store.js';
import { button, h, show } from './dom.js';
import { dateWords, num } from './format.js';

const SPEEDS = [1, 4, 20];

export function drawOpened(region) {
  const opened = store.opened;
  if (!opened) {
    const left = isCoach() && !running() ? store.state?.interrupted : null;
    show(region, left && location.hash.slice(1).split('?')[0] !== 'lesson' && h('div', { class: 'opened', role: 'group', 'aria-label': 'An interrupted lesson' },
      h('p', {}, h('b', {}, `${left.player || 'A'}${left.player ? '’s' : ''} lesson was interrupted`), `, ${dateWords(left.last_utc)}. It can be continued.`),
      h('a', { href: '#lesson', class: 'button' }, 'To the lesson')));
    return;
  }
  const { whole, lesson, playing } = opened;
  const time = ` · ${num(lesson.t_s ?? 0)} s`;
  // While it plays, only the time changes, many times a second.
  const what = JSON.stringify([whole.session, Boolean(playing), Boolean(running())]);
  const shown = region.querySelector('.opened')?.dataset.what === what && region.querySelector('.played');
  if (shown) {
    shown.textContent = time;
    return;
  }
  show(region, h('div', { class: 'opened', role: 'group', 'aria-label': 'An earlier lesson', 'data-what': what },
    h('p', {}, h('b', {}, playing ? 'Played again' : 'Earlier lesson'), `: ${whole.player.name}, ${dateWords(whole.started_utc)}`,
      playing && h('span', { class: 'played' }, time)),
    h('div', { class: 'choices' },
      playing
        ? button('Stop playing', 'stop-playing', stopPlay)
        : SPEEDS.map((v) => button(v === 1 ? 'Play it again' : `${v}×`, `again-${v}`, () => playAgain(v), { 'aria-label': v === 1 ? 'Play it again at real speed' : `${v}× as fast, play it again` })),
      button(running() ? 'Back to the lesson now' : 'Close', 'close-opened', close, { class: 'link' }))));
}
