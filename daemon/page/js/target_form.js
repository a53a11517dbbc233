// The form that sets a drill target: one number, so much more or less than the baseline, in which block.

import { attempt, isCoach, running, store } from './store.js';
import { put } from './api.js';
import { button, h, show } from './dom.js';
import { capital, num, withUnit } from './format.js';
import { chiefsFirst, measureOf, measures } from './measures.js';
import { sense, targetWords } from './said.js';

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

function begin() {
  const set = target();
  if (!set) return { measure: chosen()[0] ?? FIRST, more: true, size: 8, block: nextDrill(), named: '' };
  const m = measureOf(set.measure);
  const mean = set.baseline_mean ?? usualOf(set.measure)?.mean;
  // In the person's sense: so much more or less than the baseline.
  const change = Number.isFinite(mean) ? sense(m, mean) * (set.value - mean) : 0;
  return { measure: set.measure, more: change >= 0, size: Math.round(Math.abs(change) * 10 ** m.spoken_decimals) / 10 ** m.spoken_decimals, block: set.block, named: '' };
}

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
  const size = h('input', { id: 'target-change', 'data-key': 'target-change', type: 'number', min: 0, step: 'any', value: wish.size, inputmode: 'decimal', oninput: (e) => {
    wish.size = Math.abs(Number(e.target.value));
    drawBaseline();
  } });
  const bump = (by) => () => {
    wish.size = Math.max(0, Math.round((wish.size + by) * 100) / 100);
    size.value = wish.size;
    drawBaseline();
  };
  const m = measureOf(wish.measure);
  const step = 10 ** -m.spoken_decimals;
  show(place, h('h2', {}, target() ? 'Change the target' : 'Set a target'),
    h('form', { class: 'fields', onsubmit: (e) => {
      e.preventDefault();
      set();
    } },
    h('div', {}, h('label', { for: 'target-measure' }, 'What to change'), picker()),
    h('div', {}, h('span', { class: 'label', id: 'target-by' }, 'By how much, against the baseline'),
      h('div', { class: 'target-by', role: 'group', 'aria-labelledby': 'target-by' },
        h('div', { class: 'choices' }, [true, false].map((more) => button(m.compared[more ? 0 : 1], more ? 'target-more' : 'target-less', () => {
          wish.more = more;
          drawForm(place);
        }, { class: 'choice', 'aria-pressed': String(wish.more === more) }))),
        h('div', { class: 'stepper' }, button('−', 'less', bump(-step), { 'aria-label': 'One less' }), size, button('+', 'more', bump(step), { 'aria-label': 'One more' })),
        h('label', { for: 'target-change' }, m.unit || 'by')),
      h('p', { id: 'baseline-words', class: 'hint' }), h('p', { id: 'target-preview', class: 'target-preview' })),
    blocks(),
    h('div', { class: 'actions' }, h('button', { type: 'submit', class: 'main' }, target() ? 'Save the target' : 'Set the target'))));
  drawBaseline();
}

async function set() {
  const block = wish.block === OTHER ? wish.named.trim() : wish.block;
  const body = { measure: wish.measure, change: wish.more ? wish.size : -wish.size, block };
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
    wish.measure = e.target.value;
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
    : 'This player’s baseline is not known yet: swing a baseline block first.';
  document.getElementById('target-preview').textContent = usual ? `${capital(m.label)}: ${targetWords(m, usual.mean, wish.more ? wish.size : -wish.size)}` : '';
}
