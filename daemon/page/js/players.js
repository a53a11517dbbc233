// The player of the lesson: choosing one, adding one, and consent.

import { attempt, store } from './store.js';
import { get, part, post, put } from './api.js';
import { button, h, show } from './dom.js';
import { consentWords, privacyButtons } from './player_privacy.js';
import { afterwards, interruptedLesson } from './interrupted.js';

let players = null;
let picked = null;
let editing = null;
let region;
let sought = '';
/** With more players than this they are sought by typing. */
const FEW = 12;

export const CAUTION = [
  'Warm up before the first swing.',
  'Stop on pain.',
  'peakorder measures timing and motion; it gives no medical advice and predicts no injury.',
  'Mobility limits and injuries belong to licensed practitioners.',
];

export function caution() {
  return h('ul', { class: 'caution', 'aria-label': 'Before you swing' }, CAUTION.map((line) => h('li', {}, line)));
}

export async function enterPlayers(place) {
  region = place;
  editing = null;
  players = await attempt(() => get('/players'));
  if (!Array.isArray(players)) players = [];
  if (!players.some((p) => p.id === picked)) picked = players.length === 1 ? players[0].id : null;
  draw();
}

function draw() {
  if (editing) {
    show(region, form(editing));
    return;
  }
  const player = players.find((p) => p.id === picked);
  show(region,
    interruptedLesson() ?? endedLesson(),
    h('div', { class: 'start' },
      h('div', {},
        h('h1', {}, 'Whose lesson?'),
        players.length === 0 && h('p', { class: 'lead' }, 'No player is known yet.'),
        players.length > FEW && h('div', { class: 'seek' }, h('label', { for: 'seek' }, 'Find a player'),
          h('input', { id: 'seek', 'data-key': 'seek', type: 'search', autocomplete: 'off', maxlength: 80, value: sought, oninput: (e) => {
            sought = e.target.value;
            draw();
            document.getElementById('seek')?.setSelectionRange(sought.length, sought.length);
          } })),
        h('div', { class: 'people', role: 'group', 'aria-label': 'Players' },
          offered().map((p) => button(p.name, `player-${p.id}`, () => {
            picked = p.id;
            draw();
          }, { class: 'choice', 'aria-pressed': String(p.id === picked) })),
          button('Add a player', 'add-player', () => {
            editing = { name: '', handedness: 'right', goal: '', limits: '', hip_breadth_cm: null, consent: false };
            draw();
          }, { class: players.length === 0 ? 'main' : 'link' }))),
      h('div', {},
        player && [
          h('dl', { class: 'about' },
            h('dt', {}, 'Swings'), h('dd', {}, player.handedness === 'left' ? 'left-handed' : 'right-handed'),
            h('dt', {}, 'Works on'), h('dd', {}, player.goal || '–'),
            h('dt', {}, 'Limits'), h('dd', {}, player.limits || 'none named'),
            h('dt', {}, 'Recording'), h('dd', {}, consentWords(player))),
          button('Change', 'change-player', () => {
            editing = { ...player };
            draw();
          }, { class: 'link' }),
          privacyButtons(player, () => enterPlayers(region)),
        ],
        caution(),
        h('div', { class: 'actions' }, button(store.state.virtual ? 'Start a demo lesson' : 'Start the lesson', 'start', start, { class: 'main big', disabled: !player?.consent }), !store.state.virtual && h('a', { class: 'button', href: '#straps' }, 'Set up the straps')),
        store.state.virtual
          ? [h('p', { class: 'fine' }, 'No straps are worn: virtual ones play an invented lesson by themselves, and everything is marked as a demo.'), players.length === 0 && demo()]
          : demo())));
}

/** The lesson that has just ended. */
function endedLesson() {
  const ended = store.ended;
  return ended && h('section', { class: 'interrupted', 'aria-labelledby': 'ended-title' },
    h('h2', { id: 'ended-title' }, ended.player ? `${ended.player}’s lesson has ended` : 'The lesson has ended'),
    h('div', { class: 'actions' },
      h('a', { class: 'button', href: afterwards(ended.session) }, 'Before and after'),
      h('a', { class: 'button', href: `/api/v1/sessions/${part(ended.session)}/report`, target: '_blank', rel: 'noopener' }, 'Page to take home')));
}

/** An invented lesson to look at, in one tap. */
function demo() {
  return h('div', { class: 'demo' },
    h('div', { class: 'actions' }, button('Play the demo lesson', 'demo', async () => {
      if (await attempt(() => post('/demo'))) location.hash = '#swing';
    }, { class: players.length === 0 ? 'main big' : '' })),
    h('p', { class: 'fine' }, 'An invented player with virtual straps swings by himself; it takes some six minutes and is marked as a demo wherever it appears.'));
}

/** The players to choose from: all of a few, else those who are sought. */
function offered() {
  if (players.length <= FEW) return players;
  const part = sought.trim().toLocaleLowerCase();
  return players.filter((p) => p.id === picked || (part !== '' && p.name.toLocaleLowerCase().includes(part))).slice(0, FEW);
}

function start() {
  return attempt(() => post('/lesson', { player: picked, baseline_block: 'baseline' }));
}

function form(player) {
  const text = (id, label, hint, multi) => {
    const input = h(multi ? 'textarea' : 'input', { id, ...(multi ? { rows: 2 } : { type: 'text' }), maxlength: multi ? 2000 : 80, autocomplete: 'off', value: player[id], oninput: (e) => {
      player[id] = e.target.value;
    } });
    return h('div', {}, h('label', { for: id }, label, hint && h('span', { class: 'hint' }, ` ${hint}`)), input);
  };
  const hand = (value, words) => h('label', { class: 'tick' }, h('input', { type: 'radio', name: 'handedness', value, checked: player.handedness === value, onchange: () => {
    player.handedness = value;
  } }), words);
  return h('form', { class: 'fields', onsubmit: save },
    h('h1', {}, player.id ? player.name : 'A new player'),
    text('name', 'Name'),
    h('fieldset', {}, h('legend', {}, 'Swings'), hand('right', 'right-handed'), hand('left', 'left-handed')),
    text('goal', 'Works on', '', true),
    text('limits', 'Limits', 'in your own words; not a diagnosis', true),
    h('div', {}, h('label', { for: 'hip_breadth_cm' }, 'Hip breadth', h('span', { class: 'hint' }, ' cm across the hips, standing, if measured; a shift of the hips is told better with it')),
      h('input', { id: 'hip_breadth_cm', type: 'number', min: 20, max: 60, step: 'any', value: player.hip_breadth_cm ?? '', oninput: (e) => {
        player.hip_breadth_cm = e.target.value === '' ? null : e.target.valueAsNumber;
      } })),
    h('label', { class: 'tick' }, h('input', { type: 'checkbox', checked: player.consent, onchange: (e) => {
      player.consent = e.target.checked;
    } }), 'The player has agreed to be recorded'),
    h('div', { class: 'actions' }, h('button', { type: 'submit', class: 'main' }, 'Save'), button('Cancel', 'give-up', () => {
      editing = null;
      draw();
    })));
}

async function save(event) {
  event.preventDefault();
  const { id, name, handedness, goal, limits, hip_breadth_cm, consent } = editing;
  const body = { name, handedness, goal, limits, hip_breadth_cm, consent };
  const kept = await attempt(() => (id ? put(`/players/${part(id)}`, body) : post('/players', body)));
  if (!kept) return;
  picked = kept.id ?? id;
  await enterPlayers(region);
}
