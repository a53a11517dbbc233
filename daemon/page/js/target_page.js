// A target for a drill block: one number, set from the player's own baseline; each swing
// answered in sound, with tally and trend here.

import { attempt, isCoach, lesson, movements, store } from './store.js';
import { remove } from './api.js';
import { button, h, s, show } from './dom.js';
import { capital, num } from './format.js';
import { measureWords } from './said.js';
import { measureOf, readMeasures } from './measures.js';
import { drawAbout } from './about_lesson.js';
import { beginForm, drawBaseline, drawForm } from './target_form.js';
import { ANSWERS, answerMark, answerShape } from './answer_words.js';
import { isMuted, setMuted, setWay, sound, way } from './sound.js';
import { SCHEDULES, isPosition, schedule, setSchedule, tryTone } from './tone.js';

export const title = 'Target';

let parts;

export async function enter(main) {
  parts = { now: h('section', { class: 'target-now' }), about: h('section', { class: 'target-about' }), form: h('section', { class: 'target-form' }), sounds: h('section', { class: 'target-sounds' }) };
  main.append(h('div', { class: 'target-page' }, parts.now, h('div', {}, parts.form, parts.about, parts.sounds)));
  beginForm();
  drawNow();
  drawSounds();
  await readMeasures();
  if (!parts.now.isConnected) return;
  drawNow();
  drawForm(parts.form);
  drawAbout(parts.about);
}

export function update(what) {
  if (!parts) return;
  if (['swing', 'repetition', 'extra', 'remarks', 'state', 'opened', 'usual', 'earlier'].includes(what)) drawNow();
  if (['state', 'opened', 'block', 'remarks'].includes(what)) drawForm(parts.form);
  if (what === 'usual') drawBaseline();
  if (['remarks', 'opened'].includes(what)) drawAbout(parts.about);
  if (['sound', 'opened'].includes(what)) drawSounds();
}

const target = () => lesson()?.remarks?.target ?? null;

/** Answers of the swings in the target's block, oldest first. */
function answered() {
  const set = target();
  return movements()
    .filter((x) => lesson().answers[x.number] && (!set?.block || x.block === set.block))
    .map((x) => ({ number: x.number, kind: x.kind, ...lesson().answers[x.number] }));
}

function drawNow() {
  const set = target();
  if (!lesson()) {
    show(parts.now, h('h1', {}, 'Target'), h('p', { class: 'lead' }, 'A target belongs to a lesson. ', h('a', { href: '#lesson' }, 'Start one'), ' first.'));
    return;
  }
  if (!set) {
    show(parts.now, h('h1', {}, 'No target set'), h('p', { class: 'lead' }, 'Choose one number to change. Every swing of the drill block is then answered by a sound, so that the player need not look up.'));
    return;
  }
  const list = answered();
  const last = list.at(-1);
  const count = (kind) => list.filter((a) => a.answer === kind).length;
  show(parts.now,
    h('p', { class: 'kicker' }, `Target in ${set.block || 'every block'}`),
    h('h1', {}, capital(set.words)),
    last && h('p', { class: 'target-answer', 'data-answer': last.answer }, h('span', { class: 'target-word' }, last.correction ? capital(last.correction) : ANSWERS[last.answer]),
      last.answer !== 'not_measured' && h('span', { class: 'target-value' }, last.value_words),
      h('span', { class: 'fine' }, `${last.correction ? `${ANSWERS[last.answer].toLowerCase()}, ` : ''}${last.kind === 'repetition' ? 'repetition' : 'swing'} ${last.number}`)),
    !last && h('p', { class: 'lead' }, 'Waiting for the first swing of the block.'),
    h('dl', { class: 'tally' }, Object.keys(ANSWERS).filter((kind) => kind !== 'not_measured' || count(kind)).map((kind) => h('div', {}, h('dt', {}, answerMark(kind), ANSWERS[kind].toLowerCase()), h('dd', {}, String(count(kind)))))),
    trend(set, list),
    isCoach() && !store.opened && button('End the target', 'no-target', () => attempt(() => remove('/lesson/target')), { class: 'link' }));
}

function measureNumber(set, value) {
  const m = measureOf(set.measure);
  return m ? measureWords(m, value) : num(value, 1);
}

/** The values of the block in order, against target and baseline. */
function trend(set, list) {
  const known = list.filter((a) => Number.isFinite(a.value));
  if (known.length === 0) return null;
  const width = Math.min(640, Math.max(320, parts.now.clientWidth));
  const [height, left] = [230, 112];
  const lines = [set.value, ...(Number.isFinite(set.baseline_mean) ? [set.baseline_mean] : [])];
  const all = [...lines, ...known.map((a) => a.value)];
  const pad = Math.max(0.15 * (Math.max(...all) - Math.min(...all)), 1);
  const [lo, hi] = [Math.min(...all) - pad, Math.max(...all) + pad];
  // Above the line is met, whichever way the measure counts.
  const up = (v) => (set.bound === 'at_most' ? (hi - v) : (v - lo)) / (hi - lo);
  const y = (v) => height - 16 - up(v) * (height - 32);
  const step = Math.min(52, (width - left - 110) / Math.max(1, list.length - 1));
  const x = (i) => left + 16 + i * step;
  const m = measureOf(set.measure);
  const level = (v, words, dash) => [
    s('line', { class: 'level', x1: left, x2: width - 92, y1: y(v), y2: y(v), 'stroke-dasharray': dash }),
    s('text', { x: width - 86, y: y(v) + 6, class: 'axis-text' }, words),
    s('text', { x: left - 8, y: y(v) + 6, class: 'axis-text', 'text-anchor': 'end' }, m ? measureWords(m, v) : num(v, 1)),
  ];
  return s('svg', { class: 'trend', width, height, viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': `Values in order: ${list.map((a) => `swing ${a.number} ${Number.isFinite(a.value) ? measureNumber(set, a.value) : 'not measured'}`).join(', ')}` },
    level(set.value, 'target', null), lines.length > 1 && Math.abs(y(lines[1]) - y(set.value)) > 18 ? level(lines[1], 'baseline', '6 6') : [],
    list.map((a, i) => answerShape(a.answer, x(i), Number.isFinite(a.value) ? y(a.value) : height - 12)));
}

function drawSounds() {
  const heard = [['met', 'three short notes'], ['nearly', 'two short notes'], ['not', 'one long note'], ['not_measured', 'a soft click']];
  show(parts.sounds, h('h2', {}, 'What the player hears'),
    isMuted() && h('p', {}, button('Turn sound on', 'mute-on-target', () => setMuted(false), { class: 'main' })),
    h('h3', {}, 'After each swing'),
    h('div', { class: 'choices', role: 'group', 'aria-label': 'How swings are answered' }, [['tones', 'notes'], ['number', 'spoken number'], ['both', 'both']].map(([value, words]) => button(words, `way-${value}`, () => {
      setWay(value);
      drawSounds();
    }, { class: 'choice', 'aria-pressed': String(way() === value) }))),
    h('ul', { class: 'hear' }, heard.map(([kind, words]) => h('li', {}, button(`${ANSWERS[kind]}: ${words}`, `hear-${kind}`, () => sound(kind), { class: 'link' })))),
    toneChoice(),
    h('p', { class: 'fine' }, 'Browsers allow sound only after a tap. With the screen off it goes on as long as the browser lets a page that plays media run; that has not been tried on every tablet, so try yours before the lesson.'));
}

/** The tone inside the movement: in which repetitions. */
function toneChoice() {
  const words = { off: 'off', every: 'every repetition', second: 'every second', fading: 'fewer and fewer' };
  const set = target();
  return [h('h3', {}, 'Inside the movement: turn until you hear it'),
    h('div', { class: 'choices', role: 'group', 'aria-label': 'In which repetitions the tone sounds' }, SCHEDULES.map((value) => button(words[value], `way-tone-${value}`, () => {
      setSchedule(value);
      drawSounds();
    }, { class: 'choice', 'aria-pressed': String(schedule() === value) })), button('hear it', 'hear-tone', () => tryTone(), { class: 'link' })),
    schedule() !== 'off' && set && !isPosition(set) && h('p', { class: 'hint' }, 'The target that runs is no turn, tilt or separation: no tone.'),
    h('p', { class: 'fine' }, 'A tone sounds while the body is at the target or beyond, and is silent before; for a target of less it marks the limit. Turns count from the last moment of standing still. Sound in every repetition helps at once and is leaned on: what was learned with less of it lasts better (the guidance hypothesis: Salmoni, Schmidt & Walter 1984; Sigrist et al. 2013). “Fewer and fewer” is four repetitions with it, then two of three, then every second one, and none from the twenty-first on. What is left without the tone is what the block after the drill measures.')];
}
