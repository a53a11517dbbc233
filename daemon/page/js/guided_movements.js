// Guided movements: calibration and the mobility check. The page says what to do and shows
// the daemon's result: good, or again and why.

import { attempt, isCoach, running, virtualLesson } from './store.js';
import { post, stream } from './api.js';
import { button, h, show } from './dom.js';
import { fold } from './fold.js';
import { NAMES, ROLES, Z95, capital, num } from './format.js';

const STEPS = [
  { key: 'still', mark: 'still', name: 'Stand still', how: 'Upright, arms hanging, looking ahead. Three seconds without moving.' },
  { key: 'bow', mark: 'bow', name: 'Bow twice', how: 'From the hips, forward and back up, two times; knees quiet.' },
  { key: 'arm-raise', mark: 'arm-raise', name: 'Raise the lead arm twice', how: 'Straight arm, from hanging to straight ahead and back, two times.' },
  { key: 'shake', mark: 'shake', name: 'Shake test, if you like', how: 'Stand still for a second, turn quickly one way, the other, and back, stop, and stand still for two seconds. Finds a strap that rings or slides.' },
];

const POSTURES = [
  { key: 'seated', name: 'Seated', how: 'Sit upright, arms crossed on the chest. Turn as far as is comfortable, left and right, three times each; pause in the middle.' },
  { key: 'standing', name: 'Standing', how: 'Stand upright, arms crossed. The same turns, three times each; feet stay where they are.' },
];

const NO_DIAGNOSIS = 'Not a diagnosis: what limits a body is for licensed practitioners to say.';

let pose = null;
let source = null;

/** Listens to the movement while the page is open. */
export function listen() {
  if (source) return;
  source = stream('/pose', { pose: (data) => {
    pose = { data, at: Date.now() };
    const line = document.querySelector('.course .live-words');
    // Only the words change. Nothing else of the step is redrawn.
    if (line && running()?.doing) line.textContent = goingOn(running());
  } }, () => {});
}

export function unlisten() {
  source?.close();
  source = null;
  pose = null;
}

function mark(kind, detail = '') {
  return attempt(() => post('/lesson/mark', { mark: kind, detail }));
}

/** The movement as the straps measure it now, in words. */
function liveWords(step) {
  if (!pose || Date.now() - pose.at > 1000) return '';
  const speeds = ROLES.map((r) => pose.data.segments?.[r]?.speed_dps).filter(Number.isFinite);
  if (speeds.length === 0) return '';
  const fastest = Math.max(...speeds);
  if (step === 'still') return fastest < 3 ? 'still' : `moving, ${num(fastest)} °/s: hold still`;
  const of = step === 'arm-raise' ? 'lead_arm' : 'thorax';
  const speed = pose.data.segments?.[of]?.speed_dps;
  return Number.isFinite(speed) ? `${NAMES[of]} moving ${num(speed)} °/s` : '';
}

function goingOn(now) {
  const live = liveWords(now.doing.what);
  return `Going on for ${num(Math.max(0, now.t_s - now.doing.since_s))} s${live ? `; ${live}` : ''}`;
}

export function drawCalibration(region) {
  const now = running();
  const ready = now.calibrated;
  const steps = h('ol', { class: 'steps' }, STEPS.map((step) => {
      const doing = now.doing?.what === step.key;
      const said = now.calibration.filter((c) => c.step === step.key);
      const recent = lastOf(said);
      return h('li', { class: doing ? 'doing' : '' },
        h('h3', {}, step.name), h('p', {}, step.how),
        doing && h('p', { class: 'live-words' }, goingOn(now)),
        recent.map((c) => h('p', { class: 'verdict' }, h('b', {}, c.ok ? 'Good' : 'Again'), `: ${c.text}`)),
        isCoach() && !virtualLesson() && h('div', { class: 'actions' }, doing
          ? button('End', `cal-${step.key}`, () => mark(`${step.mark}-end`), { class: 'main', 'aria-label': `${step.name}: end` })
          : button(recent.length ? 'Do it again' : 'Begin', `cal-${step.key}`, () => mark(`${step.mark}-start`), { disabled: Boolean(now.doing), 'aria-label': `${step.name}: begin` })));
    }));
  show(region, h('h2', {}, 'Calibration'),
    // Good and done, it is one line.
    ready && !STEPS.some((step) => step.key === now.doing?.what)
      ? fold('calibration', 'Done: how every strap sits on its segment is known.', steps)
      : [h('p', {}, ready ? 'How every strap sits on its segment is known.' : 'Straps may sit askew; these movements find out how.'), steps],
    isCoach() && !virtualLesson() && now.calibration.length > 0 && h('div', { class: 'actions' },
      button('Straps put on again', 're-wear', () => mark('re-wear'), { class: 'link', disabled: Boolean(now.doing), title: 'They were taken off and put on again: these movements are needed anew.' })));
}

/** The results of the newest try: those with one time. */
function lastOf(said) {
  const last = said.at(-1);
  return last ? said.filter((c) => Math.abs(c.t_s - last.t_s) < 1) : [];
}

export function drawMobility(region) {
  const now = running();
  show(region, h('h2', {}, 'Mobility check'),
    h('p', { class: 'fine' }, `Only as far as is comfortable; stop on pain. ${NO_DIAGNOSIS}`),
    virtualLesson() && h('p', { class: 'fine' }, 'The virtual player calibrates and turns without being asked.'),
    h('ol', { class: 'steps' }, POSTURES.map((posture) => {
      const doing = now.doing?.what === `turn ${posture.key}`;
      const check = now.mobility.filter((c) => c.posture === posture.key).at(-1);
      return h('li', { class: doing ? 'doing' : '' },
        h('h3', {}, posture.name), h('p', {}, posture.how),
        doing && h('p', { class: 'live-words' }, goingOn(now)),
        check && mobilityResult(check),
        isCoach() && !virtualLesson() && h('div', { class: 'actions' }, doing
          ? button('End', `mob-${posture.key}`, () => mark('turn-end'), { class: 'main', 'aria-label': `${posture.name} turns: end` })
          : button(check ? 'Do it again' : 'Begin', `mob-${posture.key}`, () => mark('turn-start', posture.key), { disabled: Boolean(now.doing), 'aria-label': `${posture.name} turns: begin` })));
    })));
}

/** The results of a lesson's checks, the last of each posture; null where none was made. */
export function mobilityResults(checks) {
  const last = POSTURES.map((p) => [p.name, checks.filter((c) => c.posture === p.key).at(-1)]).filter(([, check]) => check);
  return last.length === 0 ? null : [last.map(([name, check]) => [h('h3', {}, name), mobilityResult(check)]), h('p', { class: 'fine' }, NO_DIAGNOSIS)];
}

function mobilityResult(check) {
  const row = (name, pick) => {
    const cells = ['left', 'right'].map((side) => {
      const stat = check[side] && pick(check[side]);
      return h('td', { class: 'n' }, stat ? `${num(stat.mean_deg)}° ± ${Math.max(1, Math.round(Z95 * stat.mean_sd_deg))}` : '–');
    });
    return h('tr', {}, h('th', { scope: 'row' }, name), cells);
  };
  return h('div', {},
    h('table', {}, h('caption', { class: 'unseen' }, `${capital(check.posture ?? 'turns')}: mean turn to each side`),
      h('thead', {}, h('tr', {}, h('th', { scope: 'col' }, h('span', { class: 'unseen' }, 'segment')), h('th', { scope: 'col', class: 'n' }, 'to the left'), h('th', { scope: 'col', class: 'n' }, 'to the right'))),
      h('tbody', {}, row('thorax', (x) => x.thorax), row('pelvis', (x) => x.pelvis), row('thorax on pelvis', (x) => x.thorax_on_pelvis))),
    check.words.repeat.map((why) => h('p', { class: 'verdict' }, h('b', {}, 'Again'), `: ${why}`)),
    check.words.notes.map((why) => h('p', { class: 'fine' }, why)));
}
