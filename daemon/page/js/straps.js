// The straps' line at the foot of every page: link, battery, rate, loss and clock in words
// and numbers. A filled mark is connected, a hollow one is not.

import { running, store } from './store.js';
import { h, s, show } from './dom.js';
import { NAMES, ROLES, Z95, capital, num } from './format.js';
import { mark } from './shapes.js';

/** A strap that said nothing for this long is not heard. */
const SILENT_S = 2;

function heardNow(strap) {
  return store.link === 'live' && strap.connected && (strap.last_sample_age_s ?? 0) < SILENT_S;
}

function link(strap) {
  if (store.link !== 'live') return 'not known';
  if (!strap.connected) return 'no link';
  if ((strap.last_sample_age_s ?? 0) >= SILENT_S) return `silent ${num(strap.last_sample_age_s)} s`;
  return 'connected';
}

function details(strap) {
  return [
    strap.battery_percent === null || strap.battery_percent === undefined ? 'battery ?' : `battery ${num(strap.battery_percent)} %`,
    // The nominal rate only where it is not reached; 3 % is more than a strap's clock strays (own judgement).
    strap.rate_hz < 0.97 * strap.nominal_hz ? `${num(strap.rate_hz)}/s (${num(strap.nominal_hz)})` : `${num(strap.rate_hz)}/s`,
    `lost ${num(strap.lost_percent, 1)} %`,
    !Number.isFinite(strap.clock_sd_ms) ? 'clock settling' : `clock ± ${num(strap.clock_sd_ms * Z95, 1)} ms`,
    ...(strap.gyro_settling ? [strap.gyro_settling] : []),
  ];
}

/** From this share of the memory on the coach is told that the disk falls behind; three straps fill it in some 20 s. */
const SLOW_DISK = 0.01;

/** Draws how the straps and the recording are. */
export function drawStraps(region) {
  const now = running();
  if (!now) {
    show(region);
    return;
  }
  const straps = ROLES.map((role) => now.straps.find((x) => x.role === role)).filter(Boolean);
  const open = region.querySelector('details')?.open ?? false;
  const heard = straps.filter(heardNow).length;
  show(region,
    now.disk_backlog >= SLOW_DISK && h('p', { class: 'slow-disk', role: 'status' },
      `The disk is slow: samples wait in memory, ${num(now.disk_backlog * 100)} % of it is taken. Nothing is lost yet.`),
    h('ul', { class: 'straps-wide', 'aria-label': 'Straps' }, straps.map((strap) => h('li', { class: heardNow(strap) ? '' : 'unheard' },
      s('svg', { width: 18, height: 18, viewBox: '0 0 18 18', 'aria-hidden': 'true' }, mark(strap.role, 9, 9, 6.5, heardNow(strap) ? '' : 'hollow')),
      h('b', {}, `${capital(NAMES[strap.role])} ${link(strap)}`), ' ',
      h('span', {}, details(strap).join(' · '))))),
    h('details', { class: 'straps-narrow', open },
      h('summary', { 'data-key': 'straps' }, `${heard} of ${straps.length} straps connected`),
      h('table', {}, h('caption', { class: 'unseen' }, 'Straps'),
        h('thead', {}, h('tr', {}, ['', 'link', 'battery', 'samples/s', 'lost', 'clock'].map((t) => h('th', { scope: 'col' }, t || h('span', { class: 'unseen' }, 'strap'))))),
        h('tbody', {}, straps.map((strap) => h('tr', {}, h('th', { scope: 'row' }, NAMES[strap.role]),
          h('td', {}, link(strap)), h('td', {}, !Number.isFinite(strap.battery_percent) ? '?' : `${num(strap.battery_percent)} %`),
          h('td', {}, num(strap.rate_hz)), h('td', {}, `${num(strap.lost_percent, 1)} %`),
          h('td', {}, !Number.isFinite(strap.clock_sd_ms) ? 'settling' : `± ${num(strap.clock_sd_ms * Z95, 1)} ms`))))),
      straps.filter((strap) => heardNow(strap) && strap.gyro_settling).map((strap) => h('p', {}, `${capital(NAMES[strap.role])}: ${strap.gyro_settling}`))));
}
