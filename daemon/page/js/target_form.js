// The form that sets a drill target: one number, so much or more, or less, and in which block.

import { attempt, isCoach, running, store } from './store.js';
import { put } from './api.js';
import { button, h, show } from './dom.js';
import { capital, num, withUnit } from './format.js';
import { chiefsFirst, measureOf, measures } from './measures.js';
import { boundWords, changeWords, sense } from './said.js';

const FIRST = 'pelvis_turn_top_deg';
const OTHER = '\u0000other';

let wish = null;
let place = null;

const target = () => running()?.remarks?.target ?? null;
const chosen = () => (running()?.remarks?.chosen?.measures ?? []).map((c) => c.measure);
const usualOf = (key) => running()?.usual?.find((u) => u.measure === key) ?? null;

/** Begins anew: with the running target's own values, or with the first number that the lesson is about. */
export function beginForm() {
  wish = null;
}

/** How far beyond the baseline a target is proposed, by unit. Own judgement. */
const BEYOND = { '°': 8, ms: 10, '°/s': 30, '%': 5, cm: 3, '': 0.2 };

function begin() {
  const set = target();
  if (set) return { ...wishOf(set.measure, set.value), least: isLeast(measureOf(set.measure), set.bound === 'at_least', set.value), block: set.block, named: '' };
  return { ...proposal(chosen().find((key) => !measureOf(key)?.means_only) ?? FIRST), block: nextDrill(), named: '' };
}

/** A value as it is asked for: its size, and its side where there are two. */
const wishOf = (measure, value) => ({ measure, size: Math.abs(value), side: value < 0 ? -1 : 1 });

/** Somewhat more than the player's usual; nothing where that is not known. */
function proposal(key) {
  const m = measureOf(key);
  const mean = usualOf(key)?.mean;
  if (!Number.isFinite(mean)) return { measure: key, size: null, side: m.more === 'negative' ? -1 : 1, least: true };
  const value = Number((mean + sense(m, mean) * BEYOND[m.unit]).toFixed(m.spoken_decimals));
  return { ...wishOf(key, value), least: true };
}

/** Whether a bound in the measure's own sign asks for more, in a person's sense. */
const isLeast = (m, atLeast, value) => (sense(m, value) > 0) === atLeast;

const valueOf = (w) => (Number.isFinite(w.size) ? w.side * w.size : null);

/** Whether values on both sides have names, as back and through. */
const hasSides = (m) => m.more !== 'negative' && m.ways.every(Boolean);

const labels = () => [...new Set((running()?.blocks ?? []).map((b) => b.label))].filter((l) => l && l !== running().baseline_block);

/** The first name for a drill that no block has. */
function nextDrill() {
  const taken = new Set((running()?.blocks ?? []).map((b) => b.label));
  for (let n = 1; ; n += 1) {
    const name = n === 1 ? 'drill' : `drill ${n}`;
    if (!taken.has(name)) return name;
  }
}

export function drawForm(into) {
  place = into;
  if (!running() || store.opened || !isCoach() || !measures()) {
    show(place);
    return;
  }
  // What is being typed is not drawn over.
  if (place.contains(document.activeElement) && document.activeElement.tagName === 'INPUT') return;
  wish ??= begin();
  const size = h('input', { id: 'target-value', 'data-key': 'target-value', type: 'number', min: 0, step: 'any', value: wish.size ?? '', inputmode: 'decimal', required: true, oninput: (e) => {
    wish.size = e.target.value === '' ? null : Math.abs(Number(e.target.value));
    drawBaseline();
  } });
  const bump = (by) => () => {
    wish.size = Math.max(0, Math.round(((wish.size ?? 0) + by) * 100) / 100);
    size.value = wish.size;
    drawBaseline();
  };
  const m = measureOf(wish.measure);
  const step = 10 ** -m.spoken_decimals;
  const choice = (words, key, on, set) => button(words, key, () => {
    set();
    drawForm(place);
  }, { class: 'choice', 'aria-pressed': String(on) });
  const [more, less] = m.compared;
  show(place, h('h2', {}, target() ? 'Change the target' : 'Set a target'),
    h('form', { class: 'fields', onsubmit: (e) => {
      e.preventDefault();
      set();
    } },
    h('div', {}, h('label', { for: 'target-measure' }, 'What to change'), picker()),
    h('div', {}, h('label', { for: 'target-value' }, `To what${m.unit ? `, ${m.unit}` : ''}`),
      h('div', { class: 'target-by' },
        h('div', { class: 'stepper' }, button('−', 'less', bump(-step), { 'aria-label': 'One less' }), size, button('+', 'more', bump(step), { 'aria-label': 'One more' })),
        hasSides(m) && h('div', { class: 'choices', role: 'group', 'aria-label': 'Which side' }, [-1, 1].map((side) => choice(m.ways[side < 0 ? 0 : 1], `target-side-${side}`, wish.side === side, () => {
          wish.side = side;
        }))),
        h('div', { class: 'choices', role: 'group', 'aria-label': 'Or more, or less' }, [true, false].map((least) => choice(`or ${least ? more : less}`, least ? 'target-more' : 'target-less', wish.least === least, () => {
          wish.least = least;
        })))),
      h('p', { id: 'baseline-words', class: 'hint' }), h('p', { id: 'target-preview', class: 'target-preview' })),
    blocks(),
    h('div', { class: 'actions' }, h('button', { type: 'submit', class: 'main' }, target() ? 'Save the target' : 'Set the target'))));
  drawBaseline();
}

async function set() {
  const m = measureOf(wish.measure);
  const value = valueOf(wish);
  const block = wish.block === OTHER ? wish.named.trim() : wish.block;
  const mean = usualOf(wish.measure)?.mean;
  // Against the baseline of this wearing a number is met more nearly than one from elsewhere.
  const change = Number.isFinite(mean) ? Number((sense(m, mean) * (value - mean)).toFixed(m.spoken_decimals)) : null;
  const whole = Number(value.toFixed(m.spoken_decimals)) === value;
  const asChange = change !== null && whole && sense(m, mean) === sense(m, value) && (change >= 0) === wish.least;
  const body = asChange ? { measure: wish.measure, change, block } : { measure: wish.measure, value, at_most: !wish.least, block };
  if (await attempt(() => put('/lesson/target', body))) {
    beginForm();
    drawForm(place);
  }
}

/** What the lesson is about first, then all that stand for themselves, then those close to one of them. */
function picker() {
  const free = measures().filter((m) => !m.means_only);
  const about = chosen().map((key) => free.find((m) => m.key === key)).filter(Boolean);
  const [chiefs, others] = chiefsFirst(free.filter((m) => !about.includes(m)));
  const options = (list) => list.map((m) => h('option', { value: m.key, selected: m.key === wish.measure }, `${capital(m.label)}${m.unit ? `, ${m.unit}` : ''}`));
  const group = (label, list) => list.length > 0 && h('optgroup', { label }, options(list));
  return h('select', { id: 'target-measure', 'data-key': 'target-measure', onchange: (e) => {
    Object.assign(wish, proposal(e.target.value));
    drawForm(place);
  } }, group('What the lesson is about', about), group(about.length ? 'Other numbers' : 'Numbers', chiefs), group('Close to one of those', others));
}

/** Blocks that there are, the next drill, every block, or a name of its own. */
function blocks() {
  const there = labels();
  const next = nextDrill();
  const list = [...there.map((l) => [l, l]), [next, `${next} (a new block)`], ['', 'every block from now on'], [OTHER, 'another name…']];
  if (!list.some(([value]) => value === wish.block)) list.unshift([wish.block, `${wish.block} (a new block)`]);
  return h('div', {}, h('label', { for: 'target-block' }, 'In which block'),
    h('select', { id: 'target-block', 'data-key': 'target-block', onchange: (e) => {
      wish.block = e.target.value;
      drawForm(place);
    } }, list.map(([value, words]) => h('option', { value, selected: value === wish.block }, words))),
    wish.block === OTHER && h('input', { id: 'target-block-name', 'data-key': 'target-block-name', type: 'text', value: wish.named, maxlength: 60, 'aria-label': 'Name of the block', oninput: (e) => {
      wish.named = e.target.value;
    } }));
}

/** The baseline, and what the target would ask for. */
export function drawBaseline() {
  const words = document.getElementById('baseline-words');
  if (!words || !wish) return;
  const m = measureOf(wish.measure);
  const usual = usualOf(wish.measure);
  const half = usual?.band && (usual.band[1] - usual.band[0]) / 2;
  words.textContent = usual
    ? `Baseline ${usual.words}${half ? `; 19 of 20 swings lie within ± ${withUnit(m, num(half, m.spoken_decimals))}` : ''}, ${usual.n} swing${usual.n === 1 ? '' : 's'}.`
    : 'This player’s baseline is not known yet: swing a baseline block first, or set a number.';
  const value = valueOf(wish);
  const against = usual && value !== null ? `, ${changeWords(m, usual.mean, value - usual.mean, m.spoken_decimals)} than usual` : '';
  document.getElementById('target-preview').textContent = value === null ? '' : `${capital(m.label)}: ${boundWords(m, (sense(m, value) > 0) === wish.least, value)}${against}`;
}
