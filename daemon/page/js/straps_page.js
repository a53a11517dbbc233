// Straps before a lesson, without a terminal: find them, tell them apart by a twist, give each its place, check the signal.

import { attempt, isCoach, running, store } from './store.js';
import { get, part, post, put, remove } from './api.js';
import { button, h, say, show } from './dom.js';
import { NAMES, ROLES, capital, num } from './format.js';
import { placeWords, placesDrawing } from './strap_places.js';

export const title = 'Straps';

/** How often the daemon is asked while something is being done. */
const ASK_MS = 700;

/** The way from a cold start to the first swing of the baseline, for a coach who has done it before. */
const WAY = [
  ['Switch the straps on and find them', 30],
  ['Twist each in turn', 35],
  ['Check the signal, straps on the table', 25],
  ['Put the straps on', 60],
  ['Calibrate: stand still, bow twice, raise the lead arm twice', 50],
  ['Say what the lesson is about, start the baseline', 20],
];

let region = null;
let setup = null;
let timer = 0;
let spoken = '';

export function enter(main) {
  region = h('div', { class: 'straps-page' });
  main.append(region);
  ask();
}

export function leave() {
  clearTimeout(timer);
  // A scan that nobody looks at costs the straps' batteries nothing, but the radio its time.
  if (setup?.doing === 'scan') post('/straps/stop').catch(() => {});
  region = null;
}

export function update(what) {
  if (what === 'state') ask();
}

async function ask() {
  if (!isCoach()) {
    show(region, h('h1', {}, 'Straps'), h('p', { class: 'lead' }, 'They are set up on the coach’s own device.'));
    return;
  }
  const known = await attempt(() => get('/straps'));
  if (known) took(known);
}

/** Shows an answer, and asks again while something is being done. */
function took(answer) {
  if (!region) return;
  setup = answer;
  draw();
  clearTimeout(timer);
  if (setup.doing !== 'nothing') timer = setTimeout(ask, ASK_MS);
}

const act = async (request) => {
  const answer = await attempt(request);
  if (answer?.doing) took(answer);
};

const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, '0')}`;

function draw() {
  const worn = setup.places.filter((x) => x.id).map((x) => x.role);
  const total = WAY.reduce((sum, [, seconds]) => sum + seconds, 0);
  const words = setup.twist ? `Twist the strap on the ${NAMES[setup.twist]} now` : setup.news.at(-1) ?? '';
  if (words && words !== spoken) say(words);
  spoken = words;
  show(region,
    h('h1', {}, 'Straps'),
    running() && h('p', { class: 'caution' }, 'A lesson is running. Straps are set up before or after it; one that loses its link connects again by itself.'),
    !setup.available && h('p', { class: 'lead' }, 'This daemon plays demo lessons with virtual straps (--virtual). Start it without --virtual to use straps.'),
    setup.problem && h('p', { class: 'problem', role: 'alert' }, h('b', {}, 'Not done: '), setup.problem, '.'),
    h('div', { class: 'straps-course' },
      h('div', { class: 'places-column' }, placesDrawing(worn, setup.twist, store.state?.lesson?.player?.handedness === 'left'),
        h('p', { class: 'fine' }, 'Seen from behind, a right-handed player. Snug, flat and on a firm belt: what slides is not measured.')),
      h('div', {}, setup.available && [places(), found(), checked()],
        h('section', {}, h('h2', {}, 'From a cold start to the first baseline swing'),
          h('ol', { class: 'way' }, WAY.map(([what, seconds]) => h('li', {}, h('span', {}, what), h('span', { class: 'n' }, clock(seconds)))),
            h('li', { class: 'strong' }, h('span', {}, 'Together, with practice, about'), h('span', { class: 'n' }, clock(total)))),
          h('div', { class: 'actions' }, h('a', { class: 'button', href: '#lesson' }, 'To the lesson'))))));
}

const busy = () => setup.doing !== 'nothing';
const blocked = () => Boolean(running()) || busy();

function stopButton() {
  return button('Stop', 'straps-stop', () => act(() => post('/straps/stop')));
}

/** Every segment with its strap, and telling straps apart. */
function places() {
  const identifying = setup.doing === 'identify';
  const roles = ROLES;
  return h('section', {}, h('h2', {}, 'Which strap is worn where'),
    identifying && setup.twist && h('p', { class: 'twist', role: 'status' }, `Twist the strap on the ${NAMES[setup.twist]} now`, h('span', { class: 'fine' }, `to and fro, twice or more, ${placeWords(setup.twist)}; keep the others still`)),
    identifying && h('ul', { class: 'news' }, setup.news.map((n) => h('li', {}, n))),
    h('ul', { class: 'place-list' }, setup.places.map((place) => h('li', {},
      h('span', { class: 'place-name' }, capital(NAMES[place.role]), h('span', { class: 'fine' }, placeWords(place.role))),
      h('span', {}, place.id ? `${place.name || 'strap'} · ${place.id}` : 'no strap'),
      h('span', { class: 'actions' },
        button(place.id ? 'Replace by a twist' : 'Find by a twist', `twist-${place.role}`, () => act(() => post('/straps/identify', { roles: [place.role] })), { class: 'tap', disabled: blocked(), 'aria-label': `${place.id ? 'Replace by a twist' : 'Find by a twist'}: ${NAMES[place.role]}` }),
        place.id && button('Take away', `forget-${place.role}`, () => act(() => remove(`/straps/${place.role}`)), { class: 'tap plain', disabled: blocked(), 'aria-label': `Take away: ${NAMES[place.role]}` }))))),
    h('div', { class: 'actions' }, identifying
      ? stopButton()
      : [button('Tell all three apart by twisting', 'identify', () => act(() => post('/straps/identify', { roles })), { class: 'main', disabled: blocked() }),
        button('Two straps: pelvis and thorax', 'identify-two', () => act(() => post('/straps/identify', { roles: ['pelvis', 'thorax'] })), { class: 'link', disabled: blocked() })]));
}

/** What is on the air. */
function found() {
  const scanning = setup.doing === 'scan';
  return h('section', {}, h('h2', {}, 'Straps on the air'),
    setup.found.length > 0
      ? h('ul', { class: 'place-list' }, setup.found.map((strap) => h('li', {},
        h('span', { class: 'place-name' }, strap.name || strap.id, h('span', { class: 'fine' }, strap.name ? strap.id : '')),
        h('span', {}, [Number.isFinite(strap.rssi_dbm) && `signal ${num(strap.rssi_dbm)} dBm`, Number.isFinite(strap.battery_percent) && `battery ${num(strap.battery_percent)} %`, strap.worn_on ? `worn on the ${NAMES[strap.worn_on]}` : 'no place yet'].filter(Boolean).join(' · ')),
        h('span', {}, h('label', { class: 'unseen', for: `place-${strap.id}` }, `Place of ${strap.name || strap.id}`),
          h('select', { id: `place-${strap.id}`, 'data-key': `place-${strap.id}`, disabled: Boolean(running()), onchange: (e) => {
            if (e.target.value) act(() => put(`/straps/${part(e.target.value)}`, { id: strap.id }));
          } }, h('option', { value: '' }, 'give it a place…'), ROLES.map((role) => h('option', { value: role, selected: role === strap.worn_on }, NAMES[role])))))))
      : h('p', {}, scanning ? 'Listening. Switch the straps on, and charge them if they stay silent.' : 'Not looked for yet.'),
    scanning && setup.other_devices > 0 && h('p', { class: 'fine' }, `${setup.other_devices} other ${setup.other_devices === 1 ? 'device is' : 'devices are'} near that ${setup.other_devices === 1 ? 'is' : 'are'} no known strap.`),
    h('div', { class: 'actions' }, scanning ? stopButton() : button('Look for straps', 'scan', () => act(() => post('/straps/scan')), { disabled: blocked() })));
}

/** Signal, battery, rate and noise, measured at rest. */
function checked() {
  const checking = setup.doing === 'check';
  const rows = setup.checks.map((x) => h('tr', {},
    h('th', { scope: 'row' }, capital(NAMES[x.role])),
    h('td', { class: 'n' }, x.battery_percent === null || x.battery_percent === undefined ? '?' : `${num(x.battery_percent)} %`),
    h('td', { class: 'n' }, `${num(x.rate_hz, 1)} of ${num(x.nominal_hz)}`),
    h('td', { class: 'n' }, Number.isFinite(x.lost_percent) ? `${num(x.lost_percent, 1)} %` : '?'),
    h('td', { class: 'n' }, Number.isFinite(x.noise_dps) ? `${num(x.noise_dps, 2)} °/s` : 'moved')));
  const said = [...setup.checks.flatMap((x) => x.findings.map((f) => [capital(NAMES[x.role]), f])), ...setup.together.map((f) => ['', f])];
  return h('section', {}, h('h2', {}, 'Check the signal'),
    h('p', { class: 'hint' }, 'Lay the straps still on a table near the bay. It takes twelve seconds once all are connected.'),
    checking && h('p', { class: 'live-words', role: 'status' }, setup.measured_s ? `Measuring: ${num(setup.measured_s[0])} of ${num(setup.measured_s[1])} s` : 'Connecting …'),
    rows.length > 0 && h('div', { class: 'wide-table' }, h('table', {}, h('caption', { class: 'unseen' }, 'Signal of each strap at rest'),
      h('thead', {}, h('tr', {}, h('th', { scope: 'col' }, 'strap'), ['battery', 'samples/s', 'lost', 'noise at rest'].map((t) => h('th', { scope: 'col', class: 'n' }, t)))),
      h('tbody', {}, rows))),
    setup.ready !== null && setup.ready !== undefined && h('p', { class: 'strong' }, setup.ready ? 'Ready for a lesson.' : 'Not ready: see the problems.'),
    said.length > 0 && h('ul', { class: 'news' }, said.map(([who, f]) => h('li', {}, h('b', {}, `${who ? `${who}: ` : ''}${f.problem ? 'problem: ' : ''}`), f.text))),
    h('div', { class: 'actions' }, checking ? stopButton() : button('Check the straps', 'check', () => act(() => post('/straps/check')), { disabled: blocked() || !setup.places.some((x) => x.id) })));
}
