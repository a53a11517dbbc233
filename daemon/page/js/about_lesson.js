// What the lesson is about: one to five numbers named before the drill, and the order of swings that shows a change in them.

import { attempt, isCoach, lesson } from './store.js';
import { get } from './api.js';
import { button, h, show } from './dom.js';
import { capital } from './format.js';
import { remark } from './outcome.js';

const MOST = 5;

let designs = null;

/** Draws into `place`; `measures` is the list of the API. */
export async function drawAbout(place, measures) {
  designs ??= await attempt(() => get('/designs'));
  const now = lesson();
  if (!now || !measures || !place.isConnected) {
    show(place);
    return;
  }
  const chosen = now.remarks?.chosen?.measures ?? [];
  const save = async (list) => {
    await remark(now.session, { what: 'chosen', measures: list });
    drawAbout(place, measures);
  };
  show(place, h('h2', {}, 'What the lesson is about'),
    h('p', { class: 'hint' }, 'One to five numbers, named before the drill. They get the verdicts; all others are only looked through. The fewer, the smaller a change that shows.'),
    h('ul', { class: 'about-list' }, chosen.map((c, i) => row(c, i, chosen, measures, save))),
    isCoach() && chosen.length < MOST && adder(chosen, measures, save),
    proposals(chosen.length));
}

function row(c, i, chosen, measures, save) {
  const m = measures.find((x) => x.key === c.measure) ?? { label: c.measure, unit: '' };
  const name = `${capital(m.label)}${m.unit ? `, ${m.unit}` : ''}`;
  if (!isCoach()) return h('li', {}, name, c.matters ? `: matters from ${c.matters}` : '');
  return h('li', { class: 'about-row' }, h('span', { class: 'about-name' }, name),
    h('label', { class: 'hint', for: `matters-${i}` }, `smallest change that matters${m.unit ? `, ${m.unit}` : ''}`),
    h('input', { id: `matters-${i}`, 'data-key': `matters-${i}`, type: 'number', min: 0, step: 'any', inputmode: 'decimal', value: c.matters ?? '', placeholder: 'none', onchange: (e) => {
      const matters = Number(e.target.value);
      save(chosen.map((x, j) => (j === i ? { measure: x.measure, ...(matters > 0 ? { matters } : {}) } : x)));
    } }),
    button('Leave out', `about-out-${i}`, () => save(chosen.filter((_, j) => j !== i)), { class: 'link', 'aria-label': `Leave out ${m.label}` }));
}

function adder(chosen, measures, save) {
  const free = measures.filter((m) => !chosen.some((c) => c.measure === m.key));
  return h('div', { class: 'about-add' }, h('label', { for: 'about-add' }, chosen.length ? 'And' : 'Choose the first'),
    h('select', { id: 'about-add', 'data-key': 'about-add', onchange: (e) => {
      if (e.target.value) save([...chosen, { measure: e.target.value }]);
    } }, h('option', { value: '' }, 'a number…'), free.map((m) => h('option', { value: m.key }, `${capital(m.label)}${m.unit ? `, ${m.unit}` : ''}`))));
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
