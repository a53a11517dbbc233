// From above: the straps now, or a swing to look through slowly, with a second one over it
// or beside it.

import { fail, lesson, running, swings } from './store.js';
import { button, h, show } from './dom.js';
import { blockName, capital, dateWords, num } from './format.js';
import { armAsTurned, fromCurves, picture } from './figure.js';
import { spoken, turnList } from './above_words.js';
import { eventsOf, indexAt, load, playFrom, rangeOf } from './curve_playback.js';
import { begin, findOthers, firstSwing, otherLessons, pair, secondFrom, secondSwing, startOf, swingsOf } from './swing_pair.js';
import * as now from './above_live.js';

export const title = 'From above';

/** What is shown. It stays while the page is open, so that a new swing does not replace it. */
let view;
let parts;
let stop = null;
/** The lists are out of date, because one of them was in use. */
let stale = false;

export async function enter(main, query) {
  view = { mode: swings().length ? 'swing' : 'now', first: null, second: null, beside: false, align: 'impact', ms: null, speed: 0.25, playing: false };
  parts = {
    modes: h('div', { class: 'choices', role: 'group', 'aria-label': 'What to look at' }),
    stage: h('div', { class: 'stage' }),
    words: h('div', { class: 'stage-words' }),
    controls: h('div', { class: 'controls' }),
    picks: h('div', { class: 'picks', onfocusout: (e) => stale && !parts.picks.contains(e.relatedTarget) && setTimeout(drawPicks) }),
  };
  main.append(h('div', { class: 'above-page' },
    h('div', { class: 'above-head' }, h('h1', {}, 'From above'), parts.modes),
    parts.stage, h('div', { class: 'above-side' }, parts.words, parts.controls, parts.picks)));
  main.addEventListener('keydown', keys);
  begin();
  setMode(view.mode);
  const mine = parts;
  await findOthers();
  const wanted = query?.get('with');
  if (wanted && otherLessons().some((x) => x.id === wanted)) await secondFrom(wanted);
  if (parts !== mine) return;
  drawPicks();
  if (pair.second) loadBoth();
}

export function leave() {
  halt();
  now.close();
  parts = null;
  document.getElementById('content').removeEventListener('keydown', keys);
}

export function update(what) {
  if (what === 'opened') {
    // The page shows another lesson now. The choice belonged to the one before.
    begin();
    findOthers().then(() => parts && drawPicks());
    setMode(swings().length ? view.mode : 'now');
    return;
  }
  if (what === 'swing' || what === 'state') {
    drawModes();
    drawPicks();
    if (view.mode === 'swing' && !firstSwing() && swings().length) {
      pair.first = swings().at(-1).number;
      loadBoth();
    }
  }
  if (view.mode === 'now' && (what === 'link' || what === 'state')) now.open(parts);
}

function setMode(mode) {
  halt();
  view.mode = mode;
  drawModes();
  if (mode === 'now') {
    show(parts.controls);
    show(parts.picks);
    now.open(parts);
  } else {
    now.close();
    drawPicks();
    loadBoth();
  }
}

function drawModes() {
  show(parts.modes,
    button('Now', 'mode-now', () => setMode('now'), { class: 'choice', 'aria-pressed': String(view.mode === 'now'), disabled: !running() && view.mode !== 'now' }),
    button('A swing', 'mode-swing', () => setMode('swing'), { class: 'choice', 'aria-pressed': String(view.mode === 'swing'), disabled: swings().length === 0 }));
}

async function loadBoth() {
  halt();
  const [a, b] = [firstSwing(), secondSwing()];
  try {
    const [first, second] = await Promise.all([a && load(lesson().session, a), b && load(pair.second.session, b)]);
    if (!parts || firstSwing() !== a || secondSwing() !== b) return;
    view.first = first;
    view.second = second;
    if (first) {
      const [from, to] = rangeOf(first, view.align);
      view.ms = Math.min(to, Math.max(from, view.ms ?? 0));
    }
    if (view.mode !== 'swing') return;
    drawStage();
    drawControls();
  } catch (error) {
    fail(error);
  }
}

/** `swing 3, baseline`; for another lesson also its date. */
function nameOf({ session, swing }) {
  const when = startOf(session);
  return `swing ${swing.number}, ${blockName(swing.block)}${when ? `, ${dateWords(when)}` : ''}`;
}

/** Address ends a little before takeaway. */
const BEFORE_TAKEAWAY_MS = 100;

/** The body's lines; up to the top also where the arm would be, had only the body turned. */
function linesOf(loaded, align, ms) {
  const { curves, swing } = loaded;
  const [i, events] = [indexAt(loaded, align, ms), eventsOf(swing, align)];
  const heading = swing.arm?.heading_deg;
  const lines = fromCurves(curves, i, heading);
  if (ms < events.takeaway || ms > events.top + 3) return lines;
  const turned = armAsTurned(curves, indexAt(loaded, align, events.takeaway - BEFORE_TAKEAWAY_MS), i, heading);
  return turned ? { ...lines, as_turned: turned } : lines;
}

function drawStage() {
  const { first, second, align, ms, beside } = view;
  if (!first) {
    show(parts.stage);
    show(parts.words, h('p', { class: 'lead' }, 'No swing yet.'));
    return;
  }
  const body = (loaded) => ({ lines: linesOf(loaded, align, ms), handedness: loaded.swing.handedness, loaded });
  const a = body(first);
  const b = second && body(second);
  if (Object.keys(a.lines).length === 0) {
    show(parts.stage);
    show(parts.words, h('p', { class: 'lead' }, 'This swing has no pose: the straps were not calibrated.'));
    return;
  }
  const figure = (x, over) => {
    const turned = x.lines.as_turned && 'Hollow: the arm, had only the body turned.';
    const label = `Seen from above, ${nameOf(x.loaded)}, ${instant(x.loaded.swing, align, ms)}. ${spoken(x.lines, x.handedness)}${turned ? `. ${turned}` : ''}`;
    return h('figure', {}, picture(x.lines, x.handedness, { second: over, label }),
      h('figcaption', {}, capital(nameOf(x.loaded)), over && h('span', { class: 'fine' }, `; paler: ${nameOf(over.loaded)}`), turned && h('span', { class: 'fine' }, ` ${turned}`)));
  };
  show(parts.stage, b && beside ? [figure(a), figure(b)] : figure(a, b));
  const other = b && { ...b, called: beside ? 'second' : 'paler' };
  show(parts.words, h('p', { class: 'instant' }, capital(instant(first.swing, align, ms))), turnList(a.lines, a.handedness, other));
  const slider = parts.controls.querySelector('input[type=range]');
  if (slider) {
    slider.value = ms;
    slider.setAttribute('aria-valuetext', instant(first.swing, align, ms));
  }
}

/** An instant in words: the event that it is at or before. */
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
  if (!parts || view.mode !== 'swing') return;
  const focused = document.activeElement;
  // A new swing must not close an open list.
  stale = focused.tagName === 'SELECT' && parts.picks.contains(focused);
  if (stale) return;
  const here = lesson()?.session;
  const from = pair.second?.session ?? here;
  const pick = (id, label, change, options) => h('div', {}, h('label', { for: id }, label), h('select', { id, 'data-key': id, onchange: (e) => change(e.target.value) }, options));
  const list = (all, number) => [...all].reverse().map((x) => h('option', { value: x.number, selected: x.number === number },
    `${x.number} · ${blockName(x.block)}${x.kind === 'strike' ? '' : ` · ${x.kind === 'rehearsal' ? 'rehearsal' : 'ball not known'}`}`));
  const again = (id) => {
    document.activeElement.blur();
    drawPicks();
    document.getElementById(id).focus();
    loadBoth();
  };
  show(parts.picks,
    pick('pick-a', 'Swing', (value) => {
      pair.first = Number(value);
      again('pick-a');
    }, list(swings(), pair.first)),
    pick('pick-b', 'With it', (value) => {
      pair.second = value ? { session: from, number: Number(value) } : null;
      again('pick-b');
    }, [h('option', { value: '' }, 'none'), list(swingsOf(from), pair.second?.number)]),
    otherLessons().length > 0 && pick('pick-of', 'of', async (value) => {
      await secondFrom(value || null);
      again('pick-of');
    }, [h('option', { value: '' }, 'this lesson'), otherLessons().map((x) => h('option', { value: x.id, selected: x.id === from }, dateWords(x.started_utc)))]),
    pair.second && h('div', { class: 'choices', role: 'group', 'aria-label': 'How to lay them' },
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
  drawStage();
  drawControls();
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
