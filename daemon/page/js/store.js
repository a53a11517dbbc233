// The page's state: the daemon's state, kept up to date by its events, and whether that
// state is fresh. Nothing that is not live may look live.

import { forgetCurves, get, part, stream } from './api.js';
import { passedOver } from './ball.js';
import { actedSince } from './dom.js';

/** The stream sends something every 2 s. After this long without an event it counts as lost. */
const SILENCE_MS = 5000;
const RETRY_MS = 1000;

export const store = {
  /** GET /state as last read, changed by events since. */
  state: null,
  /** Number of the swing shown; null = always the newest. */
  chosen: null,
  /** `starting`, `live` or `lost`. */
  link: 'starting',
  /** When the daemon last sent something. */
  heardAt: null,
  /** The strap events of this lesson, newest last. */
  strapNews: [],
  /** An earlier lesson opened from disk (`{ lesson, playing }`); null = the one that runs. */
  opened: null,
  /** The lesson that ended last while this page was open: `{ session, player }`. */
  ended: null,
  /** What went wrong with a request, in words; '' = nothing. */
  error: { text: '', refused: false, at: 0 },
  /** What the daemon told of the recording; it stays until somebody closes it. */
  trouble: '',
  /** Set when the daemon does not know this device: `{ text, passcode }`. */
  pairing: null,
};

const listeners = new Set();

/** Calls `listener(what)` on every change; returns how to stop that. */
export function onChange(listener) {
  listeners.add(listener);
  return () => listeners.delete(listener);
}

export function changed(what) {
  for (const listener of [...listeners]) listener(what);
}

/** The lesson that runs now. */
export const running = () => store.state?.lesson ?? null;
/** The running lesson was ended from this page. The daemon's state follows. */
export function ended(session) {
  if (running()?.session !== session) return;
  store.ended = { session, player: running().player.name };
  store.state.lesson = null;
}
/** The lesson looked at: an earlier one that was opened, or the one that runs. */
export const lesson = () => store.opened?.lesson ?? running();
/** Id of the earlier lesson that is open; null if none is. */
export const openedId = () => store.opened?.whole.session ?? null;
/** Whether virtual straps are worn, now or in the lesson to come: nobody leads the player. */
export const virtualLesson = () => (running() ? running().source === 'virtual' : store.state?.virtual === true);
export const isCoach = () => store.state?.device === 'coach';
/** The measured swings, oldest first. */
export const swings = () => lesson()?.swings ?? [];

/** Swings and the repetitions of drills, oldest first: they are numbered in one row. */
export const movements = () => {
  const now = lesson();
  return now?.repetitions?.length ? [...now.swings, ...now.repetitions].sort((a, b) => a.number - b.number) : now?.swings ?? [];
};

export const isRepetition = (movement) => movement?.kind === 'repetition';

/** The newest movement that takes the page: a rehearsal between struck swings does not. */
export function newestShown() {
  const all = movements();
  return all.findLast((x) => isRepetition(x) || !passedOver(x)) ?? all.at(-1) ?? null;
}

/** The swing or repetition on the page. */
export function shownMovement() {
  return movements().find((x) => x.number === store.chosen) ?? newestShown();
}

/** The swing on the page. */
export function shownSwing() {
  const shown = shownMovement();
  return isRepetition(shown) ? swings().at(-1) ?? null : shown;
}

export function remarkOf(number) {
  return lesson()?.remarks?.swings?.[number] ?? { labels: [], note: null, struck: null, excluded: false, reason: '' };
}

export function choose(number) {
  store.chosen = number === newestShown()?.number ? null : number;
  changed('chosen');
}

/** Shows a mistake in plain words until the next one, or until it is over. */
export function fail(error) {
  store.error = { text: error ? String(error.message ?? error) : '', refused: Boolean(error?.status), at: performance.now() };
  changed('error');
}

/** Shows what the daemon tells of the recording; '' when it was read. */
export function tellTrouble(text) {
  store.trouble = text ?? '';
  changed('error');
}

/** "Nothing answers" is over with the next answer; a refusal with the next answer after somebody tapped or typed. */
const isOver = ({ refused, at }) => !refused || actedSince(at);

/** Runs a request, showing what went wrong if it does. */
export async function attempt(request) {
  try {
    const value = await request();
    if (store.error.text && isOver(store.error)) fail(null);
    return value ?? true;
  } catch (error) {
    fail(error);
    return null;
  }
}

/** Fills in what a lesson does not have yet. */
export function complete(view) {
  if (!view) return null;
  for (const list of ['blocks', 'calibration', 'straps', 'swings', 'repetitions', 'mobility']) view[list] ??= [];
  view.against ??= {};
  view.about ??= {};
  view.usual ??= [];
  for (const swing of view.swings) {
    swing.order_words ??= view.order_words[swing.number];
    // The API knows a session by its folder's name, and a folder may have been renamed.
    swing.session = view.session;
  }
  view.quality ??= {};
  view.answers ??= {};
  view.remarks ??= { swings: {}, notes: [], target: null, last: null };
  return view;
}

let source = null;
let syncing = false;
let again = false;
let waiting = [];
let boot = null;
let retry = 0;
let triedAt = 0;
let failures = 0;

function heard() {
  store.heardAt = new Date();
  failures = 0;
  if (store.link !== 'live' && store.state && !syncing) {
    store.link = 'live';
    changed('link');
  }
}

function lost() {
  if (store.link === 'lost') return;
  store.link = 'lost';
  changed('link');
}

/** A stream does not say why it fails; a request does. */
async function refused(error) {
  const why = error ?? await get('/state').then(() => null, (e) => e);
  if (why?.status !== 401 || store.pairing) return;
  store.pairing = { text: why.message, passcode: why.passcode };
  changed('pairing');
}

/** Reads the whole state anew; events that arrive meanwhile are applied after it. */
export async function sync() {
  if (syncing) {
    again = true;
    return;
  }
  syncing = true;
  waiting = [];
  try {
    const state = await get('/state');
    if (boot !== null && boot !== state.boot) forgetCurves();
    if (state.lesson?.session !== running()?.session) {
      if (!store.opened) store.chosen = null;
      store.strapNews = [];
    }
    boot = state.boot;
    store.pairing = null;
    complete(state.lesson);
    store.state = state;
    syncing = false;
    for (const { name, data, seq } of waiting) if (seq > state.seq) live(name, data);
    waiting = [];
    heard();
    changed('state');
    readEarlier(running());
    if (again) {
      again = false;
      sync();
    }
  } catch (error) {
    syncing = false;
    lost();
    refused(error);
    restart();
  }
}

/** The lowest number of a swing or repetition that is here. */
const firstOf = (now) => Math.min(now.swings[0]?.number ?? Infinity, now.repetitions?.[0]?.number ?? Infinity);

/** The state has the newest swings, so that they are there at once; the others come after it. */
async function readEarlier(now) {
  if (!now?.earlier) return;
  let rest;
  try {
    rest = await get(`/sessions/${part(now.session)}/swings?before=${firstOf(now)}`);
  } catch {
    // They are asked for again with the next state.
    return;
  }
  if (running() !== now) return;
  for (const swing of rest.swings) {
    swing.order_words = rest.order_words[swing.number];
    swing.session = now.session;
  }
  now.swings.unshift(...rest.swings);
  now.repetitions?.unshift(...rest.repetitions);
  now.earlier = 0;
  // What came meanwhile is newer.
  for (const kind of ['about', 'quality', 'answers']) now[kind] = { ...rest[kind], ...now[kind] };
  changed('earlier');
}

function restart() {
  source?.close();
  source = null;
  clearTimeout(retry);
  retry = setTimeout(connect, RETRY_MS);
}

const EVENTS = [
  'session_started', 'strap', 'calibration', 'block', 'wearing', 'swing', 'repetition', 'mobility', 'session_ended',
  'swing_extra', 'usual', 'straps', 'doing', 'remarks', 'heartbeat', 'viewers', 'interrupted',
];

/** Opens the stream of events and keeps it open. */
export function connect() {
  source?.close();
  triedAt = Date.now();
  const handlers = {
    problem: (data) => tellTrouble(data?.text),
    trouble: (data) => tellTrouble(data?.text),
    // A new stream, perhaps of a new process: what was missed is not known, so all is read anew.
    hello: () => sync(),
    lagged: () => sync(),
  };
  for (const name of EVENTS) {
    handlers[name] = (data, seq) => {
      heard();
      if (syncing) waiting.push({ name, data, seq });
      else live(name, data);
    };
  }
  source = stream('/events', handlers, () => {
    failures += 1;
    // One broken connection that comes back at once is not worth an alarm.
    if (failures > 1 || !store.heardAt) {
      lost();
      refused();
    }
    restart();
  });
}

function put(list, item, key) {
  const at = list.findIndex((other) => other[key] === item[key]);
  if (at < 0) list.push(item);
  else list[at] = item;
}

/** An event of the running lesson. */
function live(name, data) {
  // A verdict on a movement may complete the calibration, which only the state tells.
  if (name === 'session_ended' && running()) store.ended = { session: running().session, player: running().player.name };
  if (['session_started', 'session_ended', 'calibration', 'wearing', 'viewers', 'interrupted'].includes(name)) sync();
  else if (running() && data !== null && apply(running(), name, data)) {
    // The player hears of every swing, whatever the coach looks at.
    if (name === 'swing_extra') changed('answer');
    // While an earlier lesson is looked at, the running one is kept up to date unseen.
    if (!store.opened || ['straps', 'strap'].includes(name)) changed(what(name));
  }
}

const what = (name) => (name === 'swing_extra' ? 'extra' : name);

/** The label in force of a block that was recorded under `label`. */
const inForce = (now, label) => now.remarks?.renamed?.[label] ?? label;

/** Changes a lesson by one event; false if there is nothing to show of it. */
function apply(now, name, data) {
  switch (name) {
    case 'strap': store.strapNews = [...store.strapNews, data].slice(-20); return true;
    case 'straps': now.straps = data; return true;
    case 'calibration': now.calibration.push(data); return true;
    case 'wearing': now.calibration = []; return true;
    case 'block':
      now.block = inForce(now, data.label);
      now.blocks.push({ label: now.block, start_s: data.t_s, drill: data.drill ?? false });
      return true;
    case 'swing':
      put(now.swings, { ...data.swing, session: now.session, block: inForce(now, data.swing.block), order_words: data.order_words }, 'number');
      return true;
    case 'repetition':
      put(now.repetitions, { ...data.repetition, session: now.session, block: inForce(now, data.repetition.block) }, 'number');
      return true;
    case 'swing_extra':
      // Told of the newest swing alone; of others it is asked for.
      if (data.against) now.against[data.number] = data.against;
      else delete now.against[data.number];
      now.about[data.number] = data.about;
      now.quality[data.number] = data.quality;
      // An undone target takes its answers back.
      if (data.answer) now.answers[data.number] = data.answer;
      else delete now.answers[data.number];
      return true;
    case 'usual': now.usual = data; return true;
    case 'mobility': put(now.mobility, { ...data.check, words: data.mobility_words }, 'number'); return true;
    case 'doing': now.doing = data?.doing === undefined ? data : data.doing; return true;
    case 'remarks': {
      const renamed = JSON.stringify(now.remarks?.renamed ?? {}) !== JSON.stringify(data.renamed ?? {});
      now.remarks = data;
      // Labels of all that was recorded change with a name.
      if (renamed && now === running()) sync();
      return true;
    }
    case 'heartbeat':
      now.t_s = data.t_s;
      now.disk_backlog = data.disk_backlog ?? 0;
      return true;
    default: return false;
  }
}

/** Opens an earlier lesson. */
export function open(view) {
  closePlay();
  store.opened = { lesson: complete(view), whole: view, playing: null };
  store.chosen = null;
  changed('opened');
}

/** The opened lesson as it is after a change; what is looked at stays. */
export function refresh(view) {
  if (!store.opened) return;
  store.opened.whole = complete(view);
  if (!store.opened.playing) store.opened.lesson = store.opened.whole;
  changed('remarks');
}

/** Back to the lesson that runs. */
export function close() {
  closePlay();
  store.opened = null;
  store.chosen = null;
  changed('opened');
}

function closePlay() {
  store.opened?.playing?.close();
}

/** Plays the opened lesson again, from its raw samples through the daemon's own pipeline. */
export function playAgain(speed) {
  const opened = store.opened;
  if (!opened) return;
  closePlay();
  const { whole } = opened;
  opened.lesson = complete({ ...whole, swings: [], repetitions: [], against: {}, about: {}, usual: [], answers: {}, calibration: [], mobility: [], blocks: [], block: '' });
  store.chosen = null;
  const handlers = { session_ended: () => stopPlay(), pose: (data) => changed({ pose: data }) };
  for (const name of EVENTS.filter((n) => !['session_ended', 'remarks', 'interrupted'].includes(n))) {
    handlers[name] = (data) => {
      if (data !== null && apply(opened.lesson, name, data)) changed(what(name));
    };
  }
  // A stream that breaks off must not begin again from the start by itself.
  opened.playing = stream(`/sessions/${part(whole.session)}/play?speed=${speed}`, handlers, () => stopPlay());
  changed('opened');
}

/** Stops playing; all swings of the lesson are there again. */
export function stopPlay() {
  const opened = store.opened;
  if (!opened) return;
  closePlay();
  opened.playing = null;
  opened.lesson = opened.whole;
  changed('opened');
}

/** Watches for silence. */
export function watchSilence() {
  const look = () => {
    const now = Date.now();
    if (store.heardAt && now - store.heardAt.getTime() > SILENCE_MS) lost();
    // A stalled connection, open or half open, can look alive for minutes.
    const quietSince = Math.max(triedAt, store.heardAt?.getTime() ?? 0);
    if (source && now - quietSince > SILENCE_MS) restart();
  };
  setInterval(look, 500);
  // Timers of a page that was hidden or asleep may be minutes late.
  document.addEventListener('visibilitychange', look);
}
