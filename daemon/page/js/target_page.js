// A target for a drill block: one number, set from the player's own baseline; each swing
// answered in sound, with tally and trend here.

import { attempt, isCoach, lesson, running, store, swings } from './store.js';
import { get, put, remove } from './api.js';
import { button, h, s, show } from './dom.js';
import { capital, measureWords, num } from './format.js';
import { drawAbout } from './about_lesson.js';
import { ANSWERS } from './answer_words.js';
import { setWay, sound, way } from './sound.js';

export const title = 'Target';

let parts;
let measures = null;
let wish = { measure: 'pelvis_turn_top_deg', change: 8, block: '' };

export async function enter(main) {
  parts = { now: h('section', { class: 'target-now' }), about: h('section', { class: 'target-about' }), form: h('section', { class: 'target-form' }), sounds: h('section', { class: 'target-sounds' }) };
  main.append(h('div', { class: 'target-page' }, parts.now, h('div', {}, parts.about, parts.form, parts.sounds)));
  drawNow();
  drawSounds();
  measures ??= await attempt(() => get('/measures'));
  if (!parts.now.isConnected) return;
  drawNow();
  drawForm();
  drawAbout(parts.about, measures);
}

export function update(what) {
  if (['swing', 'extra', 'remarks', 'state', 'opened'].includes(what)) drawNow();
  if (['state', 'opened'].includes(what)) drawForm();
  if (['extra', 'remarks'].includes(what)) drawBaseline();
  if (['remarks', 'opened'].includes(what) && measures) drawAbout(parts.about, measures);
}

const target = () => lesson()?.remarks?.target ?? null;

/** Answers of the swings in the target's block, oldest first. */
function answered() {
  const set = target();
  return swings()
    .filter((x) => lesson().answers[x.number] && (!set?.block || x.block === set.block))
    .map((x) => ({ number: x.number, ...lesson().answers[x.number] }));
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
    h('p', { class: 'kicker' }, `Target in ${set.block || 'this block'}`),
    h('h1', {}, capital(set.words)),
    last && h('p', { class: 'target-answer', 'data-answer': last.answer }, h('span', { class: 'target-word' }, ANSWERS[last.answer]),
      last.answer !== 'not_measured' && h('span', { class: 'target-value' }, measureNumber(set, last.value)),
      h('span', { class: 'fine' }, ` swing ${last.number}`)),
    !last && h('p', { class: 'lead' }, 'Waiting for the first swing of the block.'),
    h('dl', { class: 'tally' }, Object.keys(ANSWERS).filter((kind) => kind !== 'not_measured' || count(kind)).map((kind) => h('div', {}, h('dt', {}, answerMark(kind), ANSWERS[kind].toLowerCase()), h('dd', {}, String(count(kind)))))),
    trend(set, list),
    isCoach() && !store.opened && button('Take the target away', 'no-target', () => attempt(() => remove('/lesson/target')), { class: 'link' }));
}

function measureNumber(set, value) {
  const m = measures?.find((x) => x.key === set.measure);
  return m ? measureWords(m, value) : num(value, 1);
}

/** Met is full, nearly half full, not is empty, not measured a cross: told apart without colour. */
function answerMark(kind, x = 11, y = 11, alone = true) {
  const r = 8;
  const parts = [s('circle', { class: 'answer-ring', cx: x, cy: y, r })];
  if (kind === 'met') parts.push(s('circle', { class: 'answer-fill', cx: x, cy: y, r }));
  if (kind === 'nearly') parts.push(s('path', { class: 'answer-fill', d: `M${x} ${y - r}A${r} ${r} 0 0 0 ${x} ${y + r}Z` }));
  if (kind === 'not_measured') return alone ? s('svg', { width: 22, height: 22, 'aria-hidden': 'true' }, cross(x, y)) : cross(x, y);
  return alone ? s('svg', { width: 22, height: 22, 'aria-hidden': 'true' }, parts) : s('g', {}, parts);
}

const cross = (x, y) => s('path', { class: 'answer-ring', d: `M${x - 6} ${y - 6}l12 12M${x - 6} ${y + 6}l12 -12` });

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
  const m = measures?.find((k) => k.key === set.measure);
  const level = (v, words, dash) => [
    s('line', { class: 'level', x1: left, x2: width - 92, y1: y(v), y2: y(v), 'stroke-dasharray': dash }),
    s('text', { x: width - 86, y: y(v) + 6, class: 'axis-text' }, words),
    s('text', { x: left - 8, y: y(v) + 6, class: 'axis-text', 'text-anchor': 'end' }, m ? measureWords(m, v) : num(v, 1)),
  ];
  return s('svg', { class: 'trend', width, height, viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': `Values in order: ${list.map((a) => `swing ${a.number} ${Number.isFinite(a.value) ? measureNumber(set, a.value) : 'not measured'}`).join(', ')}` },
    level(set.value, 'target', null), lines.length > 1 && Math.abs(y(lines[1]) - y(set.value)) > 18 ? level(lines[1], 'baseline', '6 6') : [],
    list.map((a, i) => answerMark(a.answer, x(i), Number.isFinite(a.value) ? y(a.value) : height - 12, false)));
}

/** What the newest swing's comparison knows of the baseline. */
function baselineOf(key) {
  for (const x of [...swings()].reverse()) {
    const found = lesson().against[x.number]?.find((a) => (a.measure ?? a.key) === key);
    if (found && Number.isFinite(found.baseline_mean)) return found;
  }
  return null;
}

function drawBaseline() {
  const place = document.getElementById('baseline-words');
  if (!place) return;
  const b = baselineOf(wish.measure);
  const m = measures?.find((x) => x.key === wish.measure);
  place.textContent = b && m
    ? `Baseline ${measureWords(m, b.baseline_mean)}, spread ± ${num(b.baseline_sd, m.decimals)} over ${b.n} swings.`
    : 'This player’s baseline is not known yet: swing a baseline block first.';
}

function drawForm() {
  if (!running() || store.opened || !isCoach() || !measures) {
    show(parts.form);
    return;
  }
  wish.block ||= running().block || 'drill';
  const change = h('input', { id: 'target-change', 'data-key': 'target-change', type: 'number', step: 'any', value: wish.change, inputmode: 'decimal', oninput: (e) => {
    wish.change = Number(e.target.value);
  } });
  const bump = (by) => () => {
    wish.change = Math.round((wish.change + by) * 10) / 10;
    change.value = wish.change;
  };
  show(parts.form, h('h2', {}, target() ? 'Another target' : 'Set a target'),
    h('form', { class: 'fields', onsubmit: (e) => {
      e.preventDefault();
      attempt(() => put('/lesson/target', { measure: wish.measure, change: wish.change, block: wish.block }));
    } },
    h('div', {}, h('label', { for: 'target-measure' }, 'What to change'),
      h('select', { id: 'target-measure', 'data-key': 'target-measure', onchange: (e) => {
        wish.measure = e.target.value;
        drawBaseline();
      } }, measures.filter((m) => !m.means_only).map((m) => h('option', { value: m.key, selected: m.key === wish.measure }, `${capital(m.label)}${m.unit ? `, ${m.unit}` : ''}`))),
      h('p', { id: 'baseline-words', class: 'hint' })),
    h('div', {}, h('label', { for: 'target-change' }, 'By how much more than the baseline (less: a minus)'),
      h('div', { class: 'stepper' }, button('−', 'less', bump(-1), { 'aria-label': 'One less' }), change, button('+', 'more', bump(1), { 'aria-label': 'One more' }))),
    h('div', {}, h('label', { for: 'target-block' }, 'In which block'), h('input', { id: 'target-block', 'data-key': 'target-block', type: 'text', value: wish.block, maxlength: 60, oninput: (e) => {
      wish.block = e.target.value;
    } })),
    h('div', { class: 'actions' }, h('button', { type: 'submit', class: 'main' }, 'Set the target'))));
  drawBaseline();
}

function drawSounds() {
  const heard = [['met', 'three short notes'], ['nearly', 'two short notes'], ['not', 'one long note'], ['not_measured', 'a soft click']];
  show(parts.sounds, h('h2', {}, 'What the player hears'),
    h('ul', { class: 'hear' }, heard.map(([kind, words]) => h('li', {}, button(`${ANSWERS[kind]}: ${words}`, `hear-${kind}`, () => sound(kind), { class: 'link' })))),
    h('div', { class: 'choices', role: 'group', 'aria-label': 'How swings are answered' }, [['tones', 'notes'], ['number', 'spoken number'], ['both', 'both']].map(([value, words]) => button(words, `way-${value}`, () => {
      setWay(value);
      drawSounds();
    }, { class: 'choice', 'aria-pressed': String(way() === value) }))),
    h('p', { class: 'fine' }, 'Sound starts with a tap on “sound: off” above. With the screen off it goes on as long as the browser lets a page that plays media run; that has not been tried on every tablet, so try yours before the lesson.'));
}
