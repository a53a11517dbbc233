// What a player agreed to, and forgetting a player.

import { attempt, close, lesson, store } from './store.js';
import { get, part, put, remove } from './api.js';
import { button, h, say } from './dom.js';
import { dateWords } from './format.js';

/** What the player agreed to, with its date. */
export function consentWords(player) {
  const last = player.consents?.at(-1);
  if (!last) return 'not agreed to: ask first, then tick it with “change”';
  const on = last.at_utc ? ` on ${dateWords(last.at_utc)}` : '';
  if (last.agreed) return `agreed to${on}`;
  return `agreement withdrawn${on}: no new lesson; what was recorded stays until you forget the player`;
}

/** The ways to take consent back and to forget; `after` is called when something has changed. */
export function privacyButtons(player, after) {
  return [
    player.consent && button('withdraw the agreement', 'withdraw', () => withdraw(player, after), { class: 'link' }),
    button('forget this player …', 'forget-player', () => forget(player, after), { class: 'link' }),
  ];
}

async function withdraw(player, after) {
  const { id, name, handedness, goal, limits, hip_breadth_cm } = player;
  const kept = await attempt(() => put(`/players/${part(id)}`, { name, handedness, goal, limits, hip_breadth_cm, consent: false }));
  if (!kept) return;
  say('The agreement is withdrawn.');
  after();
}

/** A file size for a reader. */
function size(bytes) {
  return bytes < 1e6 ? `${Math.ceil(bytes / 1e3)} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
}

const count = (n, one) => `${n} ${one}${n === 1 ? '' : 's'}`;

function sessionList(sessions) {
  const words = (x) => [
    x.started_utc ? dateWords(x.started_utc) : 'date not known',
    count(x.swings, 'swing'),
    x.remarks > 0 && count(x.remarks, 'remark'),
    size(x.bytes),
  ].filter(Boolean).join(' · ');
  // A long list scrolls; the keyboard must reach it.
  return h('ul', { tabindex: sessions.length > 5 ? 0 : null, 'aria-label': 'Lessons' }, sessions.map((x) => h('li', {}, words(x))));
}

async function forget(player, after) {
  const kept = await attempt(() => get(`/players/${part(player.id)}/kept`));
  if (!kept) return;
  const name = h('input', { id: 'forget-name', type: 'text', autocomplete: 'off', oninput: () => {
    go.disabled = name.value.trim() !== kept.name.trim();
  } });
  const also = h('input', { type: 'checkbox', 'data-key': 'also-by-name' });
  const go = h('button', { type: 'submit', class: 'main', disabled: true, 'data-key': 'forget-now' }, 'Forget for good');
  const wrong = h('p', { role: 'alert' });
  const send = async (event) => {
    event.preventDefault();
    go.disabled = true;
    try {
      await remove(`/players/${part(kept.id)}`, { name: name.value, also_by_name: also.checked });
    } catch (error) {
      wrong.textContent = String(error.message ?? error);
      go.disabled = false;
      return;
    }
    // An earlier lesson of this player may be open.
    if (store.opened && lesson()?.player?.id === kept.id) close();
    dialog.close();
    say(`${kept.name} is forgotten.`);
    after();
  };
  const dialog = h('dialog', { class: 'forget', 'aria-labelledby': 'forget-title', onclose: () => dialog.remove() },
    h('form', { onsubmit: send },
      h('h2', { id: 'forget-title' }, `Forget ${kept.name}?`),
      h('p', {}, kept.sessions.length === 0
        ? 'The card goes: name, goal, limits and what was agreed to. There are no lessons.'
        : `The card and ${count(kept.sessions.length, 'lesson')} go for good, with recordings, numbers and notes:`),
      kept.sessions.length > 0 && sessionList(kept.sessions),
      kept.perhaps.length > 0 && [
        h('p', {}, `${count(kept.perhaps.length, 'more recording')} with this name and no id, perhaps of somebody else:`),
        sessionList(kept.perhaps),
        h('label', { class: 'tick' }, also, 'These too'),
      ],
      kept.unreadable.length > 0 && h('p', {}, `Cannot be read, so whose they are is not known; they stay: ${kept.unreadable.join(', ')}.`),
      kept.datasets.length > 0 && h('p', {}, `Rows may be in a dataset (${kept.datasets.join(', ')}); no more are added, and these go by “peakorder dataset forget DATASET ${kept.id}” in a terminal.`),
      h('p', { class: 'fine' }, 'Not known here, so they stay: sessions in other folders, pages printed or exported, copies of datasets, backups.'),
      h('label', { for: 'forget-name' }, 'Type the player’s name'), name, wrong,
      h('div', { class: 'actions' }, go, button('Not now', 'no', () => dialog.close()))));
  document.body.append(dialog);
  dialog.showModal();
  name.focus();
}
