// Along the swing: speed and turn of two blocks, and where they differ. Asked for by itself, for it takes a moment; folded
// away, it is not asked for.

import { get, part } from './api.js';
import { h, s, show } from './dom.js';
import { NAMES, capital, num, signed, unbroken } from './format.js';
import { fold } from './fold.js';
import { line, mark, text } from './shapes.js';

const HEIGHT = 258;
const EDGE = { left: 50, right: 10, top: 12, bottom: 64 };
const GRID_GAP = 36;
const WIDEST = 600;

let open = true;
/** The answer last asked for; the swings that count are in its key. */
let kept = { key: '', found: null, error: '' };
/** Room for the pictures when they were last drawn, pixels. */
let room = 0;
/** The blocks that were last drawn, and how. While curves of other swings of theirs are on the way, that drawing keeps their place. */
let last = { blocks: '', draw: null };

/** Open until it is folded away. `c` is the comparison, `sides` the blocks as the daemon names them, `nameOf` their words. */
export function curvesSection(c, { a, b }, nameOf) {
  const key = JSON.stringify([a, b, c.before.summary.used, c.after.summary.used]);
  const place = h('div', { class: 'curves' });
  const blocks = JSON.stringify([a, b]);
  const draw = (found) => {
    last = { blocks, draw: () => pictures(found, c, room, nameOf) };
    return last.draw();
  };
  // Drawn anew at once, so that the page keeps its height: nobody loses the place, and no tap goes to what has moved there.
  if (open && room && kept.key === key && kept.found) show(place, draw(kept.found));
  else if (open && room && last.blocks === blocks) showWaiting(place, last.draw());
  const asked = `/compare?a=${part(a)}&b=${part(b)}&curves=true`;
  return h('details', { class: 'along', open, ontoggle: (e) => {
    open = e.target.open;
    if (open) load(place, key, asked, draw);
  } }, h('summary', { 'data-key': 'along' }, 'Along the swing: where speed and turn differ'), place);
}

async function load(place, key, path, draw) {
  if (kept.key !== key) {
    kept = { key, found: null, error: '' };
    const mine = kept;
    mine.asked = get(path).then((answer) => {
      mine.found = answer.curves;
    }, (error) => {
      mine.error = String(error.message);
      // Asked again when it is opened again.
      mine.key = '';
    });
  }
  const mine = kept;
  if (!mine.found && place.childElementCount === 0) showWaiting(place, []);
  await mine.asked;
  if (mine !== kept || !place.isConnected) return;
  room = place.clientWidth;
  place.removeAttribute('aria-busy');
  show(place, mine.error ? h('p', { class: 'lead' }, capital(mine.error)) : draw(mine.found));
}

/** The waiting message over what was drawn before, pale. */
function showWaiting(place, before) {
  place.setAttribute('aria-busy', 'true');
  show(place, h('p', { class: 'fine awaited', role: 'status' }, 'Setting the curves of all swings against each other…'),
    h('div', { class: 'until-then', inert: true }, before));
}

function pictures(found, c, room, nameOf) {
  // Speed and turn of a segment stand side by side, where there is room.
  const order = Object.keys(NAMES);
  const pairs = [...found.curves].sort((a, b) => order.indexOf(a.segment) - order.indexOf(b.segment));
  const columns = room >= 760 ? 2 : 1;
  const width = Math.min(WIDEST, Math.floor((room - (columns - 1) * GRID_GAP) / columns));
  return [
    legend(nameOf(c.before), nameOf(c.after)),
    h('div', { class: `curve-grid${columns === 2 ? ' two' : ''}` }, pairs.map((pair) => h('figure', { 'data-curve': `${pair.segment}_${pair.kind}` },
      h('h3', {}, s('svg', { width: 22, height: 20, viewBox: '0 0 22 20', 'aria-hidden': 'true' }, mark(pair.segment, 11, 10, 7)),
        `${capital(NAMES[pair.segment])} ${pair.kind}, ${pair.kind === 'turn' ? '°, + towards the target' : pair.unit}`),
      panel(pair, found, width),
      h('figcaption', {}, pair.plain.map((words, i) => h('p', { class: i < differing(pair) ? 'strong' : '' }, unbroken(words))))))),
    c.also_before.length > 0 && h('p', { class: 'fine' }, 'The curves are of the two blocks chosen above, not of the further sessions.'),
    fold('along-how', 'How this is judged', h('p', {}, found.method), found.notes.map((n) => h('p', {}, n))),
  ];
}

/** So many stretches differ; the first sentences are theirs. */
const differing = (pair) => pair.stretches.filter((x) => x.verdict === 'differ').length;

function legend(before, after) {
  const sample = (...parts) => s('svg', { width: 46, height: 20, viewBox: '0 0 46 20', 'aria-hidden': 'true' }, parts);
  const item = (picture, words) => h('li', {}, picture, h('span', {}, words));
  const bar = (verdict) => sample(s('rect', { class: `stretch ${verdict}`, x: 4, y: 6, width: 38, height: 8 }));
  return h('ul', { class: 'curve-legend' },
    item(sample(s('rect', { class: 'curve-band before', x: 0, y: 2, width: 46, height: 16 }), s('path', { class: 'curve-before', d: 'M0 10H46' }), s('circle', { class: 'mark hollow', cx: 23, cy: 10, r: 5 })), `before: ${before}`),
    item(sample(s('path', { class: 'curve-sample', d: 'M0 10H46' }), s('circle', { class: 'curve-dot', cx: 23, cy: 10, r: 6 })), `after: ${after}`),
    item(bar('differ'), 'differs there'),
    item(bar('untold'), 'unlike before, but can’t tell why'),
    h('li', {}, 'shaded: 95 % of the mean'));
}

function panel(pair, found, width) {
  const { before, after, segment } = pair;
  const last = found.time_s.length - 1;
  const ends = [before, after].flatMap((b) => b.mean.flatMap((m, i) => [m - b.ci95_half[i], m + b.ci95_half[i]]));
  const scale = rounded(Math.min(0, ...ends), Math.max(0, ...ends));
  const foot = HEIGHT - EDGE.bottom;
  const x = (i) => EDGE.left + ((width - EDGE.left - EDGE.right) * i) / last;
  const y = (v) => foot - ((foot - EDGE.top) * (v - scale.low)) / (scale.high - scale.low);
  const points = (values) => values.map((v, i) => [x(i), y(v)]);
  const path = (list) => list.map(([a, b], i) => `${i ? 'L' : 'M'}${a.toFixed(1)} ${b.toFixed(1)}`).join('');
  const band = (b, cls) => s('path', { class: `curve-band ${cls}`, d: `${path([...points(b.mean.map((m, i) => m + b.ci95_half[i])), ...points(b.mean.map((m, i) => m - b.ci95_half[i])).reverse()])}Z` });
  const ticks = [];
  for (let v = scale.low; v <= scale.high + scale.step / 1e6; v += scale.step) ticks.push(v);
  const instants = [[found.takeaway_index, 'takeaway', 'start'], [found.top_index, 'top', 'middle'], [found.impact_index, 'impact', 'middle']];
  return s('svg', { class: 'curve-panel', width, height: HEIGHT, viewBox: `0 0 ${width} ${HEIGHT}`, role: 'img', 'aria-label': `${capital(NAMES[segment])} ${pair.kind}, mean before and after from takeaway to after impact. ${pair.plain.join(' ')}` },
    ticks.map((v) => [s('line', { class: 'rail', x1: EDGE.left, x2: x(last), y1: y(v), y2: y(v) }), text(EDGE.left - 8, y(v) + 5, num(v), 'axis-text', 'end')]),
    scale.low < 0 && s('line', { class: 'curve-zero', x1: EDGE.left, x2: x(last), y1: y(0), y2: y(0) }),
    [[found.top_index, 'impact thin'], [found.impact_index, 'impact']].map(([i, cls]) => s('line', { class: cls, x1: x(i), x2: x(i), y1: EDGE.top, y2: foot })),
    band(before, 'before'), band(after, segment),
    line(segment, points(after.mean), 4),
    // The thin line lies on the thick one, so that both are seen where they are the same.
    s('path', { class: 'curve-before', d: path(points(before.mean)) }),
    [found.top_index, found.impact_index].map((i) => [mark(segment, x(i), y(before.mean[i]), 5, 'hollow'), mark(segment, x(i), y(after.mean[i]), 6)]),
    s('line', { class: 'curve-axis', x1: EDGE.left, x2: x(last), y1: foot, y2: foot }),
    pair.stretches.map((stretch) => s('rect', { class: `stretch ${stretch.verdict === 'differ' ? 'differ' : 'untold'}`, x: x(stretch.from_index), y: foot + 6, width: Math.max(4, x(stretch.to_index) - x(stretch.from_index)), height: 9 })),
    instants.map(([i, name, anchor]) => [text(x(i), foot + 36, name, 'axis-text', anchor),
      text(x(i), foot + 55, i === found.impact_index ? '0 s' : `${signed(found.time_s[i], 2)} s`, 'axis-text', anchor)]));
}

/** Ends of an axis and its step: round numbers, at most seven steps. */
function rounded(low, high) {
  const room = Math.max(1, high - low);
  const unit = 10 ** Math.floor(Math.log10(room / 4));
  const step = unit * ([1, 2, 5].find((f) => room / (f * unit) <= 5) ?? 10);
  return { low: Math.floor(low / step) * step, high: Math.max(1, Math.ceil(high / step)) * step, step };
}
