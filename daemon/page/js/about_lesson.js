// What the lesson is about: one to three numbers, chosen before the baseline. They lead the swing's page, get the verdicts
// and are the target's candidates. Up to five may be chosen; all others are looked through.

import { attempt, isCoach, lesson, onChange } from './store.js';
import { get, part } from './api.js';
import { button, h, show } from './dom.js';
import { capital } from './format.js';
import { chiefsFirst, measureOf, measures, readMeasures } from './measures.js';
import { remark } from './outcome.js';

const MOST = 5;

/** What coaches ask of a swing first; every other number is in the list below. Own judgement. */
const OFTEN = [
  'pelvis_turn_top_deg', 'thorax_turn_top_deg', 'separation_top_deg', 'arm_raised_deg', 'thorax_lateral_tilt_top_deg',
  'trail_hip_shift_top_cm', 'pelvis_turn_impact_deg', 'tempo_ratio', 'gap_pelvis_thorax_ms',
];

let designs = null;
/** What the same player's lesson before was about: `{ player, chosen }`. */
let before = { player: null, chosen: [] };

const nameOf = (m) => capital(m.label);
const chosenNow = () => lesson()?.remarks?.chosen?.measures ?? [];

const kept = new WeakSet();

/** Draws again when the choice has changed, as long as `place` is on the page. */
function keep(place, again) {
  if (kept.has(place)) return;
  kept.add(place);
  const stop = onChange((what) => {
    if (!place.isConnected) stop();
    else if (['remarks', 'state', 'opened'].includes(what)) again(place);
  });
}

/** For the start of a lesson: the choice alone, in taps. Draws into `place`, and again when the choice has changed. */
export async function offerAbout(place) {
  await readMeasures();
  if (place.isConnected) keep(place, offerAbout);
  const now = lesson();
  if (!now || !place.isConnected || !measureOf(OFTEN[0])) {
    show(place);
    return;
  }
  show(place, choice(place, offerAbout));
  if (await readBefore(now) && place.isConnected) show(place, choice(place, offerAbout));
}

/** The whole screen of it: choice, smallest changes that matter, orders of swings. */
export async function drawAbout(place) {
  await readMeasures();
  designs ??= await attempt(() => get('/designs'));
  const now = lesson();
  if (!now || !place.isConnected || !measureOf(OFTEN[0])) {
    show(place);
    return;
  }
  const draw = () => {
    const chosen = chosenNow();
    show(place, choice(place, drawAbout),
      chosen.length > 0 && isCoach() && h('details', { class: 'fold' }, h('summary', { 'data-key': 'matters' }, 'The smallest change that matters'),
        h('ul', { class: 'about-list' }, chosen.map((c, i) => row(c, i, chosen, place)))),
      proposals(chosen.length));
  };
  draw();
  if (await readBefore(now) && place.isConnected) draw();
}

async function save(list, place, again) {
  await remark(lesson().session, { what: 'chosen', measures: list });
  again(place);
}

function choice(place, again) {
  const chosen = chosenNow();
  const keys = chosen.map((c) => c.measure);
  const names = keys.map((k) => measureOf(k)).filter(Boolean).map(nameOf);
  const title = h('h2', {}, 'What the lesson is about');
  if (!isCoach()) return [title, h('p', {}, names.join(', ') || 'Not chosen: the order of peaks leads.')];
  const toggle = (key) => save(keys.includes(key) ? chosen.filter((c) => c.measure !== key) : [...chosen, { measure: key }], place, again);
  const shown = [...new Set([...OFTEN, ...keys])].map((k) => measureOf(k)).filter(Boolean);
  const last = before.chosen.map((c) => measureOf(c.measure)).filter(Boolean);
  const same = last.length > 0 && last.every((m) => keys.includes(m.key)) && last.length === keys.length;
  return [title,
    h('p', { class: 'hint' }, 'One to three numbers, before the first swing. They lead the page of every swing, and they are what the verdict is about. With none, the order of peaks leads.'),
    last.length > 0 && !same && button(`As last time: ${last.map(nameOf).join(', ')}`, 'about-as-before', () => save(before.chosen, place, again), { class: 'about-before' }),
    h('div', { class: 'about-taps', role: 'group', 'aria-label': 'What the lesson is about' }, shown.map((m) => button(nameOf(m), `about-${m.key}`, () => toggle(m.key), {
      class: 'choice', 'aria-pressed': String(keys.includes(m.key)), disabled: keys.length >= MOST && !keys.includes(m.key),
    }))),
    keys.length < MOST && adder(shown, chosen, place, again),
    keys.length > 3 && h('p', { class: 'hint' }, 'The first three lead the page; with more, only larger changes show.')];
}

function adder(shown, chosen, place, again) {
  const [chiefs, others] = chiefsFirst((measures() ?? []).filter((m) => !shown.some((x) => x.key === m.key)));
  const options = (list) => list.map((m) => h('option', { value: m.key }, `${nameOf(m)}${m.unit ? `, ${m.unit}` : ''}`));
  return h('div', { class: 'about-add' }, h('label', { for: 'about-add' }, 'Another number'),
    h('select', { id: 'about-add', 'data-key': 'about-add', onchange: (e) => {
      if (e.target.value) save([...chosen, { measure: e.target.value }], place, again);
    } }, h('option', { value: '' }, 'choose…'), options(chiefs), h('optgroup', { label: 'Close to one of those above' }, options(others))));
}

function row(c, i, chosen, place) {
  const m = measureOf(c.measure) ?? { label: c.measure, unit: '' };
  return h('li', { class: 'about-row' }, h('span', { class: 'about-name' }, nameOf(m)),
    h('label', { class: 'hint', for: `matters-${i}` }, `smallest change that matters${m.unit ? `, ${m.unit}` : ''}`),
    h('input', { id: `matters-${i}`, 'data-key': `matters-${i}`, type: 'number', min: 0, step: 'any', inputmode: 'decimal', value: c.matters ?? '', placeholder: 'none', onchange: (e) => {
      const matters = Number(e.target.value);
      save(chosen.map((x, j) => (j === i ? { measure: x.measure, ...(matters > 0 ? { matters } : {}) } : x)), place, drawAbout);
    } }));
}

/** Reads what the same player's lesson before was about, once a player; true if that is news. */
async function readBefore(now) {
  const player = now.player?.id ?? now.player?.name;
  if (!isCoach() || !player || before.player === player) return false;
  before = { player, chosen: [] };
  try {
    const rows = await get(`/sessions?player=${part(player)}&limit=4`);
    // Newest first. Few lessons in a row are about nothing.
    for (const row of rows.filter((r) => r.id !== now.session && !r.running).slice(0, 3)) {
      const view = await get(`/sessions/${part(row.id)}`);
      const chosen = view.remarks?.chosen?.measures ?? [];
      if (chosen.length === 0) continue;
      before = { player, chosen };
      return true;
    }
  } catch {
    // Without it the choice is only slower.
  }
  return false;
}

/** Orders of swings, and what each finds with so many numbers meant. */
function proposals(count) {
  if (!Array.isArray(designs)) return null;
  const at = count <= 1 ? 'one' : count <= 3 ? 'three' : 'five';
  const meant = { one: 'one number', three: 'up to three numbers', five: 'up to five numbers' }[at];
  return h('details', { class: 'fold proposals' }, h('summary', { 'data-key': 'proposals' }, 'In which order to swing, and what it can show'),
    h('p', { class: 'hint' }, `With ${meant} meant, each finds a change of so many ordinary spreads:`),
    h('ul', {}, designs.map((d) => h('li', {}, h('b', {}, `${d.found[at].toFixed(1)}: `), d.words))),
    h('p', { class: 'fine' }, 'Found 8 times in 10, by simulation; the ordinary spread is the standard deviation from swing to swing. To swing the old way again, name its block as before. Going back shows what can be switched on and off; whether it lasts only the next lesson shows.'));
}
