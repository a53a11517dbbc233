// From above: the straps now, or a swing to look through slowly, with a second one over it
// or beside it.

import { fail, lesson, shownSwing, store, swings } from './store.js';
import { stream } from './api.js';
import { button, h, s, show } from './dom.js';
import { blockName, capital, num } from './format.js';
import { fromCurves, fromPose, picture, turnsOf } from './figure.js';
import { mark } from './marks.js';
import { eventsOf, indexAt, load, playFrom, rangeOf } from './player.js';

export const title = 'From above';

/** A pose older than this is not now. */
const POSE_MS = 1000;

let view;
let pose;
let stop = null;

/** What is looked at; kept while the page is open so that a swing arriving does not take it away. */
function fresh() {
  return { mode: swings().length ? 'swing' : 'now', first: null, second: null, beside: false, align: 'impact', ms: null, speed: 0.25, playing: false };
}

let parts;
let chosen = { session: null, a: null, b: null };

export function enter(main) {
  view = fresh();
  parts = {
    modes: h('div', { class: 'choices', role: 'group', 'aria-label': 'What to look at' }),
    stage: h('div', { class: 'stage' }),
    words: h('div', { class: 'stage-words' }),
    controls: h('div', { class: 'controls' }),
    picks: h('div', { class: 'picks' }),
  };
  main.append(h('div', { class: 'above-page' },
    h('div', { class: 'above-head' }, h('h1', {}, 'From above'), parts.modes),
    parts.stage, h('div', { class: 'above-side' }, parts.words, parts.controls, parts.picks)));
  main.addEventListener('keydown', keys);
  chosen = { session: lesson()?.session ?? null, a: shownSwing()?.number ?? null, b: null };
  setMode(view.mode);
}

export function leave() {
  halt();
  closePose();
  document.getElementById('content').removeEventListener('keydown', keys);
}

export function update(what) {
  if (what === 'swing' || what === 'state') {
    drawModes();
    drawPicks();
    if (view.mode === 'swing' && chosen.a === null && swings().length) {
      chosen.a = swings().at(-1).number;
      loadBoth();
    }
  }
  if (what === 'link' && view.mode === 'now') drawNow();
}

function setMode(mode) {
  halt();
  view.mode = mode;
  drawModes();
  if (mode === 'now') {
    openPose();
    drawNow();
    show(parts.controls);
    show(parts.picks);
  } else {
    closePose();
    drawPicks();
    loadBoth();
  }
}

function drawModes() {
  show(parts.modes,
    button('Now', 'mode-now', () => setMode('now'), { class: 'choice', 'aria-pressed': String(view.mode === 'now'), disabled: !lesson() }),
    button('A swing', 'mode-swing', () => setMode('swing'), { class: 'choice', 'aria-pressed': String(view.mode === 'swing'), disabled: swings().length === 0 }));
}

/* Now */

let poseSource = null;
let poseTimer = 0;
let frame = 0;

function openPose() {
  if (poseSource || !lesson()) return;
  pose = null;
  poseSource = stream('/pose', {
    pose: (data) => {
      pose = { data, at: Date.now() };
      // Not more often than the screen can show.
      if (!frame) {
        frame = requestAnimationFrame(() => {
          frame = 0;
          if (view.mode === 'now') drawNow();
        });
      }
    },
  }, () => {});
  poseTimer = setInterval(() => view.mode === 'now' && pose && Date.now() - pose.at > POSE_MS && drawNow(), 500);
}

function closePose() {
  poseSource?.close();
  poseSource = null;
  clearInterval(poseTimer);
  cancelAnimationFrame(frame);
  frame = 0;
}

function drawNow() {
  const now = lesson();
  const handedness = now?.player?.handedness ?? 'right';
  const live = pose && Date.now() - pose.at <= POSE_MS && store.link === 'live';
  const lines = live ? fromPose(pose.data.segments, handedness) : null;
  show(parts.stage, h('figure', {}, picture(lines, handedness, { label: live ? `Seen from above, now. ${spoken(lines, handedness)}` : 'Seen from above: nothing heard now' })));
  show(parts.words, live && Object.keys(lines).length
    ? turnList(lines, handedness)
    : h('p', { class: 'lead' }, live ? 'The straps are heard, but turns need a calibration first.' : now ? 'The straps’ movement is not heard now.' : 'No lesson is running.'));
}

const spoken = (lines, handedness) => turnsOf(lines, handedness).map((t) => `${t.name} ${t.words}`).join(', ');

function turnList(lines, handedness, ghost) {
  const second = ghost ? turnsOf(ghost, handedness) : [];
  return h('dl', { class: 'turn-list' }, turnsOf(lines, handedness).map((t) => h('div', {},
    h('dt', {}, s('svg', { width: 22, height: 22, viewBox: '0 0 22 22', 'aria-hidden': 'true' }, mark(t.role, 11, 11, 8)), capital(t.name)),
    h('dd', {}, t.words, second.length > 0 && h('span', { class: 'fine' }, `paler: ${second.find((o) => o.role === t.role)?.words ?? 'not known'}`)))));
}

/* A swing */

async function loadBoth() {
  halt();
  const { session, a, b } = chosen;
  const find = (n) => swings().find((x) => x.number === n);
  try {
    const [first, second] = await Promise.all([a, b].map((n) => (find(n) ? load(session, find(n)) : null)));
    if (chosen.a !== a || chosen.b !== b) return;
    view.first = first;
    view.second = second;
    if (first) {
      const [from, to] = rangeOf(first, view.align);
      view.ms = Math.min(to, Math.max(from, view.ms ?? 0));
    }
    drawSwing();
  } catch (error) {
    fail(error);
  }
}

function drawSwing() {
  if (view.mode !== 'swing') return;
  drawStage();
  drawControls();
}

function drawStage() {
  const { first, second, align, ms, beside } = view;
  if (!first) {
    show(parts.stage);
    show(parts.words, h('p', { class: 'lead' }, 'No swing yet.'));
    return;
  }
  const handedness = first.swing.handedness;
  const lines = fromCurves(first.curves, indexAt(first, align, ms));
  const ghost = second ? fromCurves(second.curves, indexAt(second, align, ms)) : null;
  if (Object.keys(lines).length === 0) {
    show(parts.stage);
    show(parts.words, h('p', { class: 'lead' }, 'This swing has no pose: the straps were not calibrated.'));
    return;
  }
  const name = (x) => `swing ${x.swing.number}, ${blockName(x.swing.block)}`;
  const labelled = (pose, x, extra) => h('figure', {}, picture(pose, handedness, { ...extra, label: `Seen from above, ${name(x)}, ${instant(x.swing, align, ms)}. ${spoken(pose, handedness)}` }),
    h('figcaption', {}, capital(name(x)), extra.second && h('span', { class: 'fine' }, `; paler: ${name(second)}`)));
  show(parts.stage, second && beside
    ? [labelled(lines, first, {}), labelled(ghost, second, {})]
    : labelled(lines, first, ghost ? { second: ghost } : {}));
  show(parts.words, h('p', { class: 'instant' }, capital(instant(first.swing, align, ms))), turnList(lines, handedness, ghost));
  const slider = parts.controls.querySelector('input[type=range]');
  if (slider) {
    slider.value = ms;
    slider.setAttribute('aria-valuetext', instant(first.swing, align, ms));
  }
}

/** An instant in words: at or before which event. */
function instant(swing, align, ms) {
  const events = eventsOf(swing, align);
  for (const name of ['takeaway', 'top', 'impact', 'finish']) {
    if (Math.abs(ms - events[name]) < 3) return `at ${name}`;
  }
  const to = ms - events.impact;
  return `${num(Math.abs(to))} ms ${to < 0 ? 'before' : 'after'} impact`;
}

function drawControls() {
  const { first, align } = view;
  if (!first) {
    show(parts.controls);
    return;
  }
  const [from, to] = rangeOf(first, align);
  const slider = h('input', { type: 'range', min: Math.floor(from), max: Math.ceil(to), step: 1, 'aria-label': 'Instant of the swing', 'data-key': 'slider', oninput: (e) => {
    halt();
    moveTo(Number(e.target.value));
  } });
  slider.value = view.ms;
  const events = eventsOf(first.swing, align);
  show(parts.controls, slider,
    h('div', { class: 'choices', role: 'group', 'aria-label': 'Go to' }, ['takeaway', 'top', 'impact', 'finish'].map((n) => button(n, `go-${n}`, () => {
      halt();
      moveTo(events[n]);
    }))),
    h('div', { class: 'choices', role: 'group', 'aria-label': 'Play' },
      button(view.playing ? 'stop' : 'play', 'play', toggle, { class: 'main' }),
      [[0.25, '¼×'], [0.5, '½×'], [1, '1×']].map(([v, w]) => button(w, `speed-${v}`, () => setSpeed(v), { class: 'choice', 'aria-pressed': String(view.speed === v) })),
      button('‹', 'frame-back', () => nudge(-1), { 'aria-label': 'One frame back' }),
      button('›', 'frame-on', () => nudge(1), { 'aria-label': 'One frame on' })),
    h('p', { class: 'fine keys' }, 'Keys: ← → one frame, space plays, T top, I impact.'));
}

function drawPicks() {
  if (view.mode !== 'swing') return;
  const option = (x, value) => h('option', { value: x.number, selected: x.number === value }, `${x.number} · ${blockName(x.block)}${x.kind === 'rehearsal' ? ' · rehearsal' : ''}`);
  const list = [...swings()].reverse();
  const pick = (id, label, value, none, change) => h('div', {}, h('label', { for: id }, label), h('select', { id, 'data-key': id, onchange: change },
    none && h('option', { value: '' }, none), list.map((x) => option(x, value))));
  show(parts.picks,
    pick('pick-a', 'Swing', chosen.a, null, (e) => {
      chosen.a = Number(e.target.value);
      loadBoth();
    }),
    pick('pick-b', 'With it', chosen.b, 'none', (e) => {
      chosen.b = e.target.value ? Number(e.target.value) : null;
      loadBoth();
      drawPicks();
    }),
    chosen.b !== null && h('div', { class: 'choices', role: 'group', 'aria-label': 'How to lay them' },
      button('over each other', 'over', () => setBeside(false), { class: 'choice', 'aria-pressed': String(!view.beside) }),
      button('side by side', 'beside', () => setBeside(true), { class: 'choice', 'aria-pressed': String(view.beside) }),
      button('same top', 'align-top', () => setAlign('top'), { class: 'choice', 'aria-pressed': String(view.align === 'top') }),
      button('same impact', 'align-impact', () => setAlign('impact'), { class: 'choice', 'aria-pressed': String(view.align === 'impact') })));
}

function setBeside(beside) {
  view.beside = beside;
  drawPicks();
  drawStage();
}

function setAlign(align) {
  if (!view.first) return;
  // The first swing stays at its instant; only the second one moves.
  const t = view.first.swing.events[view.align].t_s + view.ms / 1000;
  view.align = align;
  view.ms = (t - view.first.swing.events[align].t_s) * 1000;
  drawPicks();
  drawSwing();
}

function moveTo(ms) {
  if (!view.first) return;
  const [from, to] = rangeOf(view.first, view.align);
  view.ms = Math.min(to, Math.max(from, ms));
  drawStage();
}

function nudge(frames) {
  halt();
  if (view.first) moveTo(view.ms + frames * view.first.curves.step_s * 1000);
}

function setSpeed(speed) {
  view.speed = speed;
  if (view.playing) {
    halt();
    play();
  }
  drawControls();
}

function toggle() {
  if (view.playing) halt();
  else play();
  drawControls();
}

function play() {
  if (!view.first) return;
  const [from, to] = rangeOf(view.first, view.align);
  view.playing = true;
  stop = playFrom(view.ms >= to - 1 ? from : view.ms, to, view.speed, (ms) => {
    view.ms = ms;
    drawStage();
  }, () => {
    view.playing = false;
    drawControls();
  });
}

function halt() {
  const was = view.playing;
  stop?.();
  stop = null;
  view.playing = false;
  if (was) drawControls();
}

function keys(event) {
  if (view.mode !== 'swing' || !view.first || event.ctrlKey || event.metaKey || event.altKey) return;
  const tag = event.target.tagName;
  if (tag === 'SELECT' || (tag === 'INPUT' && event.target.type !== 'range')) return;
  const events = eventsOf(view.first.swing, view.align);
  const act = {
    ArrowLeft: () => nudge(-1), ArrowRight: () => nudge(1),
    t: () => { halt(); moveTo(events.top); }, i: () => { halt(); moveTo(events.impact); },
    ' ': tag === 'BUTTON' ? null : toggle,
  }[event.key];
  if (!act) return;
  event.preventDefault();
  act();
}

