// A repetition of a drill: how far pelvis and thorax turned back and through, separation, what the pelvis made of it, tempo.

import { h } from './dom.js';
import { NAMES, capital, half, num } from './format.js';
import { measureOf } from './measures.js';
import { measureWords, turnWords } from './said.js';

const said = (key, value, sd) => (measureOf(key) ? `${measureWords(measureOf(key), value, 0)} ±${half(sd)}` : '');

/** What leads where nothing was chosen: how far the trunk turned back. */
export function withoutLead(repetition) {
  const turned = ['pelvis', 'thorax'].map((role) => [role, repetition.segments[role]?.turn_deg]).filter(([, turn]) => turn);
  const words = turned.map(([role, turn]) => `${NAMES[role]} ${turnWords(turn.top)}`).join(', ');
  return h('h1', { class: 'lead-title', 'data-swing': repetition.number }, capital(words) || 'Turns not measured');
}

/** The numbers of a repetition, as one list. */
export function repetitionPage(repetition) {
  const rows = [];
  for (const role of ['pelvis', 'thorax']) {
    const { turn_deg: turn, lateral_tilt_deg: tilt } = repetition.segments[role] ?? {};
    if (turn) {
      const through = Number.isFinite(turn.through) ? `, then ${turnWords(turn.through)} ±${half(turn.through_sd)}` : '';
      rows.push([`${capital(NAMES[role])} turn`, `${turnWords(turn.top)} ±${half(turn.sd)}${through}`]);
    }
    if (tilt) rows.push([`${capital(NAMES[role])} tilt furthest back`, said(`${role}_lateral_tilt_top_deg`, tilt.top, tilt.sd)]);
  }
  const { separation, pelvis_share: share, tempo } = repetition;
  if (separation) rows.push(['Separation furthest back', said('separation_top_deg', separation.top_deg, separation.sd_deg)]);
  if (share) rows.push(['The pelvis’s part of the turn', `${num(100 * share.top)} % ±${num(196 * share.sd)}`]);
  const held = tempo.hold_s >= 0.3 ? `held ${num(tempo.hold_s, 1)} s, ` : '';
  rows.push(['Tempo', `back ${num(tempo.back_s, 1)} s, ${held}forward ${num(tempo.forward_s, 1)} s`]);
  return h('section', { class: 'repetition', 'aria-label': 'The repetition in numbers' },
    h('dl', {}, rows.map(([name, words]) => h('div', {}, h('dt', {}, name), h('dd', {}, words)))));
}
