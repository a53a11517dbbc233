// Start, the frame around the pages, and which page is shown.

import { attempt, close, connect, fail, isCoach, lesson, onChange, open, openedId, running, store, swings, tellTrouble, watchSilence } from './store.js';
import { get, part } from './api.js';
import { keep, parsed, remembered, written } from './address.js';
import { button, h, say, show } from './dom.js';
import { clockTime, swingSpoken } from './format.js';
import { headlineSpoken, isLed } from './headline.js';
import { passedOver } from './ball.js';
import { readMeasures } from './measures.js';
import { applyTheme, isDark, switchTheme } from './theme.js';
import { drawStraps } from './straps.js';
import { drawOpened } from './opened_lesson.js';
import { isLost, isMuted, setMuted } from './sound.js';
import { enterPairing } from './pairing_page.js';
import * as swingPage from './swing_page.js';
import * as abovePage from './above_page.js';
import * as lessonPage from './lesson_page.js';
import * as targetPage from './target_page.js';
import * as comparePage from './compare_page.js';
import * as earlierPage from './earlier_page.js';
import * as monthsPage from './months_page.js';
import * as strapsPage from './straps_page.js';
import { nextButton } from './blocks.js';
import { standing } from './block_plan.js';

const PAGES = { swing: swingPage, above: abovePage, lesson: lessonPage, target: targetPage, after: comparePage, earlier: earlierPage, straps: strapsPage, months: monthsPage };
const WORDS = { swing: 'Swing', above: 'Above', lesson: 'Lesson', target: 'Target', after: 'Compare', earlier: 'Earlier', straps: 'Straps' };
/** Screens of the coach alone. */
const OF_THE_COACH = ['earlier', 'straps', 'months'];

const content = document.getElementById('content');
let page = null;
let name = '';
let announced = 0;
let going = null;

/** Screens whose address names the swing. */
const OF_A_SWING = ['swing', 'above'];

/** The screen of the address, or where a device starts. */
function route() {
  const { path, query } = parsed();
  return [PAGES[path] ? path : lesson() || !store.state ? 'swing' : 'lesson', query];
}

/** Opens the lesson that the address is of; false if another address was gone to meanwhile. */
async function openWanted(query) {
  const known = remembered();
  // A new address without a lesson stays with the one that is open; the way back leads to what was there.
  let wanted = query.get('lesson') ?? (known === undefined ? openedId() : known);
  if (wanted === running()?.session) wanted = null;
  if (wanted !== openedId()) {
    if (wanted === null) close();
    else {
      const at = location.hash;
      const view = await attempt(() => get(`/sessions/${part(wanted)}`));
      if (location.hash !== at) return false;
      if (view) open(view);
      else close();
    }
  }
  return true;
}

async function go(focus) {
  if (store.pairing) return;
  if (store.state && !(await openWanted(parsed().query))) return;
  const [next, query] = route();
  page?.leave?.();
  name = next;
  page = PAGES[name];
  content.replaceChildren();
  content.dataset.page = name;
  document.title = `${page.title} · peakorder`;
  if (OF_A_SWING.includes(name) && query.has('n')) store.chosen = Number(query.get('n')) || null;
  if (store.state) {
    keepAddress();
    page.enter(content, query);
  }
  drawTop();
  drawOpened(document.getElementById('opened'));
  // The page scrolls inside its content, so the keyboard must be there.
  if (focus || document.activeElement === document.body) content.focus({ preventScroll: true });
  content.scrollTop = 0;
}

/** The address says what is looked at. */
function keepAddress() {
  if (!PAGES[parsed().path]) history.replaceState(history.state, '', `#${name}`);
  keep({ lesson: openedId(), n: OF_A_SWING.includes(name) ? store.chosen : null });
}

/** The address of a screen, of the lesson that is looked at. */
function addressOf(path) {
  const id = openedId();
  return written(path, new URLSearchParams(id ? { lesson: id } : {}));
}

function drawTop() {
  const now = lesson();
  show(document.getElementById('top'),
    h('nav', { 'aria-label': 'Pages' }, store.pairing ? null : Object.entries(WORDS).filter(([path]) => (!OF_THE_COACH.includes(path) || isCoach()) && (path !== 'straps' || name === path || !running())).map(([path, words]) => h('a', {
      href: path === 'straps' ? '#straps' : addressOf(path), class: path === 'straps' ? 'wide-only' : null, 'data-key': `nav-${path}`, 'aria-current': path === name ? 'page' : null,
    }, words))),
    h('div', { class: 'frame' },
      countdown(),
      (now ? now.invented : store.state?.virtual) && h('span', { class: 'invented', title: 'Invented: nobody was measured.' }, 'Demo'),
      store.state && !isCoach() && h('span', { class: 'invented' }, 'watching'),
      button(`sound: ${isMuted() ? 'off' : 'on'}`, 'mute', () => setMuted(!isMuted()), { class: 'link', 'aria-pressed': String(!isMuted()) }),
      button(`screen: ${isDark() ? 'dark' : 'light'}`, 'theme', () => {
        switchTheme();
        drawTop();
      }, { class: 'link' })));
}

/** How far the order of blocks is that was started, on every screen; the next block in one tap. */
function countdown() {
  const order = store.opened ? null : standing();
  if (!order) return null;
  return [h('span', { class: 'order-count', role: 'status' }, h('span', { class: 'order-label' }, order.label), ` ${order.made} of ${order.wanted}`), order.done && isCoach() && nextButton(order, 'Next')];
}

function drawAlarm() {
  document.body.dataset.link = store.link;
  const parts = [];
  if (store.link === 'lost' && !store.pairing) {
    const last = swings().at(-1);
    const since = store.heardAt ? ` since ${clockTime(store.heardAt)}` : '';
    const rest = last ? ` Numbers below are from swing ${last.number} and before.` : ' Nothing below is live.';
    parts.push(h('p', { class: 'alarm' }, `No connection${since}.${rest} Trying again by itself.`));
  }
  const told = (text, key, close) => text && parts.push(h('p', { class: 'alarm' }, text, ' ', button('close', key, close, { class: 'link' })));
  told(store.trouble, 'close-trouble', () => tellTrouble(''));
  told(store.error.text, 'close-error', () => fail(null));
  if (isLost() && !store.pairing) {
    parts.push(h('p', { class: 'alarm sound-lost' }, 'Sound is off since the page was loaded anew. ', button('Turn it on', 'mute-again', () => setMuted(false), { class: 'link' }), button('Leave it off', 'mute-for-good', () => setMuted(true), { class: 'link' })));
  }
  show(document.getElementById('alarm'), parts);
}

onChange((what) => {
  if (what === 'opened' || what === 'heartbeat' || what === 'state') drawOpened(document.getElementById('opened'));
  if (what === 'opened' || what === 'chosen') {
    if (store.state && page) keepAddress();
  }
  if (what === 'opened') {
    drawTop();
    announced = swings().at(-1)?.number ?? 0;
  }
  if (what === 'link' || what === 'error' || what === 'swing') drawAlarm();
  if (what === 'pairing') {
    page?.leave?.();
    page = null;
    content.replaceChildren();
    enterPairing(content, store.pairing);
    drawTop();
    drawAlarm();
    return;
  }
  if (what === 'state') {
    readMeasures();
    drawTop();
    drawAlarm();
    announced = swings().at(-1)?.number ?? 0;
    if (!page || !content.hasChildNodes()) {
      // An address with a lesson is read while nothing is shown yet.
      if (!going) {
        going = go(false).finally(() => {
          going = null;
        });
      }
      return;
    }
  }
  if (what === 'swing') {
    const newest = swings().at(-1);
    if (newest && newest.number > announced && !isLed()) say(swingSpoken(newest));
    announced = newest?.number ?? 0;
  }
  if (what === 'extra') sayHeadline();
  if (['sound', 'block', 'repetition', 'remarks', 'plan'].includes(what) || (what === 'swing' && standing())) drawTop();
  if (what === 'sound') drawAlarm();
  if (['straps', 'state', 'link', 'heartbeat'].includes(what)) drawStraps(document.getElementById('straps'));
  if (store.state && !store.pairing) page?.update?.(what);
});

let headlined = '';

/** What the lesson is about is known a moment after the swing. It is said once. */
function sayHeadline() {
  const newest = swings().at(-1);
  const words = newest ? headlineSpoken(newest) : '';
  const key = `${newest?.session}/${newest?.number}`;
  if (!words || headlined === key) return;
  headlined = key;
  say(passedOver(newest) ? `Swing ${newest.number} was a rehearsal.` : `Swing ${newest.number}. ${words}.`);
}

addEventListener('hashchange', () => go(true));
matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => {
  applyTheme();
  drawTop();
});
applyTheme();
drawTop();
connect();
watchSilence();
