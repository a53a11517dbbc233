// The course of a lesson: player, straps, guided movements, blocks, notes, end.

import { attempt, ended, isCoach, running, store } from './store.js';
import { part, post, put } from './api.js';
import { button, h, show } from './dom.js';
import { capital, clockTime, dateWords } from './format.js';
import { offerAbout } from './about_lesson.js';
import { blockList, drawBlocks, drawSettling } from './blocks.js';
import { ask, ownWords, addOwnWord, remark, undo } from './outcome.js';
import { afterwards } from './interrupted.js';
import { caution, enterPlayers } from './players.js';
import { drawCalibration, drawMobility, listen, mobilityResults, unlisten } from './guided_movements.js';

export const title = 'Lesson';

let main;
let parts = null;

export function enter(place) {
  main = place;
  build();
}

export function leave() {
  unlisten();
  parts = null;
}

function build() {
  main.replaceChildren();
  parts = null;
  unlisten();
  if (store.opened) {
    main.append(earlier());
    return;
  }
  if (!running()) {
    const place = h('div', { class: 'lesson-page' });
    main.append(place);
    if (isCoach()) enterPlayers(place);
    else show(place, h('h1', {}, 'No lesson is running'), h('p', { class: 'lead' }, 'The coach starts it on the coach’s own device.'));
    return;
  }
  parts = { session: running().session, head: h('section', { class: 'lesson-head' }), settling: h('section', {}), about: h('section', {}), blocks: h('section', {}), end: h('section', {}), calibration: h('section', {}), mobility: h('section', {}), notes: h('section', {}), news: h('section', {}) };
  main.append(h('div', { class: 'lesson-page' }, parts.head,
    h('div', { class: `course${running().calibrated ? ' ready' : ''}` }, h('div', {}, parts.calibration, parts.mobility), h('div', {}, running().blocks.length === 0 ? [parts.about, parts.settling, parts.blocks] : [parts.settling, parts.blocks, parts.about], parts.notes, parts.end, parts.news))));
  listen();
  drawAll();
  aboutIt();
}

/** What the lesson is about is named before the baseline is swung. It draws itself anew. */
function aboutIt() {
  if (isCoach()) offerAbout(parts.about);
}

/** An earlier lesson: its facts, with nothing to begin or end. */
function earlier() {
  const { player, started_utc: started, blocks, mobility, remarks } = store.opened.whole;
  const labels = [...new Set(blocks.map((b) => b.label))];
  return h('div', { class: 'lesson-page' },
    h('section', { class: 'lesson-head' }, h('p', { class: 'kicker' }, dateWords(started)), h('h1', {}, `${player.name}’s lesson`), works(player),
      h('div', { class: 'actions' },
        labels.length > 1 && h('a', { class: 'button', href: afterwards(store.opened.whole.session) }, 'Before and after'),
        h('a', { class: 'button', href: `/api/v1/sessions/${part(store.opened.whole.session)}/report`, target: '_blank', rel: 'noopener' }, 'Page to take home'))),
    h('div', { class: 'course' },
      h('section', {}, h('h2', {}, 'Mobility check'), mobilityResults(mobility) ?? h('p', {}, 'None was made.')),
      h('div', {},
        h('section', {}, h('h2', {}, 'Blocks'), blockList(labels, store.opened.whole.swings, store.opened.whole.session, store.opened.whole.repetitions)),
        h('section', {}, h('h2', {}, 'Notes'), remarks.notes.length ? noteList(remarks.notes) : h('p', {}, 'None.')))));
}

const works = (player) => h('p', { class: 'lead' }, player.goal && `Works on: ${player.goal}. `, player.limits && `Limits: ${player.limits}.`);

const noteList = (notes) => h('ul', { class: 'notes' }, notes.map((n) => h('li', {}, n.text)));

function drawAll() {
  drawHead();
  drawSettling(parts.settling);
  drawBlocks(parts.blocks);
  drawEnd();
  drawCalibration(parts.calibration);
  drawMobility(parts.mobility);
  drawNotes();
  drawNews();
}

export function update(what) {
  if (what === 'opened' || (store.opened && what === 'remarks')) {
    build();
    return;
  }
  if (store.opened) return;
  if (what === 'state') {
    // A lesson that began or ended changes the whole page.
    if ((parts?.session ?? null) !== (running()?.session ?? null)) build();
    else if (parts) drawAll();
    return;
  }
  if (!parts || !running()) return;
  if (what === 'calibration' || what === 'doing' || (what === 'heartbeat' && running().doing)) drawCalibration(parts.calibration);
  if (what === 'mobility' || what === 'doing') drawMobility(parts.mobility);
  if (['block', 'swing', 'repetition', 'plan'].includes(what)) drawBlocks(parts.blocks);
  if (what === 'straps') drawSettling(parts.settling);
  if (what === 'remarks') {
    drawBlocks(parts.blocks);
    drawNotes();
  }
  if (what === 'strap') drawNews();
}

function drawHead() {
  const { player, started_utc: started } = running();
  const name = player.name;
  show(parts.head,
    h('p', { class: 'kicker' }, `since ${clockTime(new Date(started))}`),
    h('h1', {}, name ? `${name}’s lesson` : 'The lesson'),
    works(player),
    isCoach() && whatViewersSee(),
    caution());
}

/** Viewers see numbers; the coach says whether they see more. Null where there are no viewers. */
function whatViewersSee() {
  if (!store.state.viewers) return null;
  const { names } = store.state.viewers;
  return h('p', {}, h('label', { class: 'tick' },
    h('input', { type: 'checkbox', 'data-key': 'viewers-names', checked: names, onchange: (e) => attempt(() => put('/viewers', { names: e.target.checked })) }),
    ' People who watch on their own device also see name, goal, limits and notes'));
}

function drawEnd() {
  show(parts.end, isCoach() && h('div', { class: 'actions' }, button('End the lesson', 'end-lesson', endLesson)));
}

async function endLesson() {
  const sure = await ask('End the lesson?', 'A last note for the lesson, if you like', '', 'End it');
  if (sure === null) return;
  if (sure) await remark(running().session, { what: 'note', swing: null, text: sure });
  const blocks = new Set(running().swings.map((x) => x.block)).size;
  const done = await attempt(() => post('/lesson/end'));
  if (!done?.session) return;
  ended(done.session);
  location.hash = afterwards(done.session, blocks);
}

function drawNotes() {
  const now = running();
  const { notes = [], last } = now.remarks;
  if (!isCoach() && notes.length === 0) {
    show(parts.notes);
    return;
  }
  show(parts.notes, h('h2', {}, 'Notes'),
    noteList(notes),
    isCoach() && h('div', { class: 'actions' },
      button('Write a note', 'lesson-note', async () => {
        const text = await ask('A note for the lesson', 'In your own words', '', 'Save');
        if (text) remark(now.session, { what: 'note', swing: null, text });
      }),
      last && button('undo', 'lesson-undo', () => undo(now.session), { class: 'link', 'aria-label': `Undo: ${last.words}`, title: last.words }),
      button('your own word for the ball', 'own-word', async () => {
        const word = await ask('One more word for the ball', `Now: solid, thin, fat, left, right${ownWords().map((w) => `, ${w}`).join('')}`, '', 'Add');
        if (word) addOwnWord(word);
      }, { class: 'link' })),
    last && h('p', { class: 'fine' }, `Last: ${last.words}`));
}

function drawNews() {
  if (store.strapNews.length === 0) {
    show(parts.news);
    return;
  }
  show(parts.news, h('h2', {}, 'News of the straps'),
    h('ul', { class: 'notes' }, store.strapNews.slice(-5).reverse().map((n) => h('li', {}, `${capital(n.role.replace('_', ' '))}: ${n.text}`))));
}

