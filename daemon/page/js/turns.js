// The figure of turns: degrees from address, back to the left and through to the
// right for every player; top and impact marked, earlier swings faint behind.

import { s } from './dom.js';
import { NAMES, capital, half, num } from './format.js';
import { TURN, turnWords } from './said.js';
import { line, mark, text } from './shapes.js';

const STEP = 50;
/** The arm's turn is left out: about its own long axis it is roll. What the arm does, the bar of the backswing shows. */
const TRUNK = ['pelvis', 'thorax'];

function range(swings) {
  const all = swings.flatMap((w) => TRUNK.flatMap((r) => {
    const t = w.segments[r]?.turn_deg;
    return t ? [t.top, t.impact] : [];
  }));
  return [Math.floor(Math.min(-100, ...all) / STEP) * STEP, Math.ceil(Math.max(45, ...all) / STEP) * STEP];
}

export function turns(swing, earlier, width) {
  const row = 64;
  const [from, to] = range([...earlier, swing]);
  const x = (deg) => 14 + ((deg - from) / (to - from)) * (width - 28);
  const parts = [];
  const roles = TRUNK.filter((r) => swing.segments[r]);
  const height = roles.length * row + 30;
  const zero = x(0);
  parts.push(s('line', { class: 'impact thin', x1: zero, x2: zero, y1: 0, y2: height - 26 }));
  roles.forEach((role, i) => {
    const y = i * row + 46;
    const turn = swing.segments[role].turn_deg;
    parts.push(s('line', { class: 'rail', x1: x(from), x2: x(to), y1: y, y2: y }));
    if (!turn) {
      parts.push(text(x(from), y - 14, `${capital(NAMES[role])}: withheld`, 'row-word'));
      return;
    }
    for (const old of earlier) {
      const t = old.segments[role]?.turn_deg;
      if (!t || old.number === swing.number) continue;
      for (const deg of [t.top, t.impact]) parts.push(s('line', { class: `past ${role}`, x1: x(deg), x2: x(deg), y1: y + 6, y2: y + 16 }));
    }
    parts.push(line(role, [[x(turn.top), y], [x(turn.impact), y]], 3.5), mark(role, x(turn.top), y, 9), mark(role, x(turn.impact), y, 9));
    // Each number grows away from the other.
    const [topEnds, impactEnds] = turn.top <= turn.impact ? [true, false] : [false, true];
    parts.push(number(x(turn.top), y - 16, turn.top, turn.sd, topEnds, width), number(x(turn.impact), y - 16, turn.impact, turn.impact_sd, impactEnds, width));
  });
  const y = height - 6;
  parts.push(text(x(from), y, `← ${TURN[0]}`, 'axis-text'), text(zero, y, '0', 'axis-text', 'middle'), text(width - 4, y, `${TURN[1]} →`, 'axis-text', 'end'));
  return s('svg', { class: 'turns', width, height, viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': words(swing) }, parts);
}

function number(x, y, degrees, sd, ends, width) {
  const at = ends ? Math.max(x + 22, 118) : Math.min(x - 22, width - 92);
  return s('text', { x: at, y, class: 'turn-number', 'text-anchor': ends ? 'end' : 'start' }, `${num(Math.abs(degrees))}°`, s('tspan', { class: 'turn-band' }, ` ${band(sd)}`));
}

/** The 95 % band; an old recording may not have it. */
const band = (sd) => (Number.isFinite(sd) ? `±${half(sd)}` : '± ?');

function words(swing) {
  const all = TRUNK.filter((r) => swing.segments[r]).map((role) => {
    const t = swing.segments[role].turn_deg;
    return t ? `${NAMES[role]} ${turnWords(t.top)} ${band(t.sd)} at top, ${turnWords(t.impact)} ${band(t.impact_sd)} at impact` : `${NAMES[role]} withheld`;
  });
  return `Turn from address: ${all.join('; ')}.`;
}
