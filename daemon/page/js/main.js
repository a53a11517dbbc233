// Start, the frame around the pages, and which page is shown.

import { connect, fail, isCoach, lesson, onChange, store, swings, watchSilence } from './store.js';
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

const PAGES = { swing: swingPage, above: abovePage, lesson: lessonPage, target: targetPage, after: comparePage, earlier: earlierPage };
const WORDS = { swing: 'Swing', above: 'Above', lesson: 'Lesson', target: 'Target', after: 'Compare', earlier: 'Earlier' };

const content = document.getElementById('content');
let page = null;
let name = '';
let announced = 0;

/** `#after?a=…` → `['after', URLSearchParams]`. */
function route() {
  const [path, query] = location.hash.slice(1).split('?');
  return [PAGES[path] ? path : lesson() || !store.state ? 'swing' : 'lesson', new URLSearchParams(query ?? '')];
}

function go(focus) {
  if (store.pairing) return;
  const [next, query] = route();
  page?.leave?.();
  name = next;
  page = PAGES[name];
  content.replaceChildren();
  content.dataset.page = name;
  document.title = `${page.title} · peakorder`;
  if (store.state) page.enter(content, query);
  drawTop();
  // The page scrolls inside its content, so the keyboard must be there.
  if (focus || document.activeElement === document.body) content.focus({ preventScroll: true });
  content.scrollTop = 0;
}

function drawTop() {
  const now = lesson();
  show(document.getElementById('top'),
    h('nav', { 'aria-label': 'Pages' }, store.pairing ? null : Object.entries(WORDS).filter(([path]) => path !== 'earlier' || isCoach()).map(([path, words]) => h('a', {
      href: `#${path}`, 'data-key': `nav-${path}`, 'aria-current': path === name ? 'page' : null,
    }, words))),
    h('div', { class: 'frame' },
      (now ? now.invented : store.state?.virtual) && h('span', { class: 'invented' }, 'invented'),
      store.state && !isCoach() && h('span', { class: 'invented' }, 'watching'),
      button(`sound: ${isMuted() ? 'off' : 'on'}`, 'mute', () => setMuted(!isMuted()), { class: 'link', 'aria-pressed': String(!isMuted()) }),
      button(`screen: ${isDark() ? 'dark' : 'light'}`, 'theme', () => {
        switchTheme();
        drawTop();
      }, { class: 'link' })));
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
  if (store.error) {
    parts.push(h('p', { class: 'alarm' }, store.error, ' ', button('close', 'close-error', () => fail(null), { class: 'link' })));
  }
  if (isLost() && !store.pairing) {
    parts.push(h('p', { class: 'alarm sound-lost' }, 'Sound is off since the page was loaded anew. ', button('Turn it on', 'mute-again', () => setMuted(false), { class: 'link' }), button('Leave it off', 'mute-for-good', () => setMuted(true), { class: 'link' })));
  }
  show(document.getElementById('alarm'), parts);
}

onChange((what) => {
  if (what === 'opened' || what === 'heartbeat' || what === 'state') drawOpened(document.getElementById('opened'));
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
      go(false);
      return;
    }
  }
  if (what === 'swing') {
    const newest = swings().at(-1);
    if (newest && newest.number > announced && !isLed()) say(swingSpoken(newest));
    announced = newest?.number ?? 0;
  }
  if (what === 'extra') sayHeadline();
  if (what === 'sound') {
    drawTop();
    drawAlarm();
  }
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
