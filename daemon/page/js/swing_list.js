// Every swing and repetition of the lesson, by block, to go to any of them.

import { choose, isRepetition, lesson, movements, remarkOf, shownMovement } from './store.js';
import { button, h } from './dom.js';
import { blockName } from './format.js';
import { ballNote } from './ball.js';

/** The button that opens the list; null where the swings at hand are all. */
export function allSwings() {
  const all = movements();
  if (all.length < 2) return null;
  return button(`all ${all.length}`, 'all-swings', () => openList(all), { class: 'link', 'aria-label': `All ${all.length} swings` });
}

function openList(all) {
  const shown = shownMovement()?.number;
  const groups = [];
  for (const swing of all) {
    if (groups.at(-1)?.block !== swing.block) groups.push({ block: swing.block, swings: [] });
    groups.at(-1).swings.push(swing);
  }
  const dialog = h('dialog', { class: 'swing-list', 'aria-labelledby': 'swing-list-title', onclose: () => dialog.remove() },
    h('h2', { id: 'swing-list-title' }, lesson().player.name ? `${lesson().player.name}’s swings` : 'All swings'),
    groups.map((group) => h('section', {}, h('h3', { class: 'small-title' }, blockName(group.block)),
      h('div', { class: 'choices' }, group.swings.map((swing) => {
        const said = remarkOf(swing.number);
        const note = said.excluded ? 'left out' : isRepetition(swing) ? '' : ballNote(swing);
        return button(String(swing.number), `swing-${swing.number}`, () => {
          dialog.close();
          choose(swing.number);
        }, { 'aria-pressed': String(swing.number === shown), class: said.excluded ? 'choice struck-out' : 'choice', title: note || null, 'aria-label': `${isRepetition(swing) ? 'Repetition' : 'Swing'} ${swing.number}${note ? `, ${note}` : ''}` });
      })))),
    h('div', { class: 'actions' }, button('Close', 'swing-list-close', () => dialog.close())));
  document.body.append(dialog);
  dialog.showModal();
}
