// From above, live: the body as the straps measure it, 25 times a second.

import { lesson, running, store } from './store.js';
import { stream } from './api.js';
import { h, show } from './dom.js';
import { fromPose, picture } from './figure.js';
import { spoken, turnList } from './above_words.js';

/** An older pose is not live. */
const POSE_MS = 1000;

let parts;
let pose = null;
let source = null;
let timer = 0;
let frame = 0;

const heardNow = () => pose && Date.now() - pose.at <= POSE_MS && store.link === 'live';

/** Listens and draws until `close`. */
export function open(regions) {
  parts = regions;
  draw();
  if (source || !running()) return;
  source = stream('/pose', { pose: (data) => {
    pose = { data, at: Date.now() };
    // At most one drawing a frame.
    frame ||= requestAnimationFrame(() => {
      frame = 0;
      draw();
    });
  } }, () => {});
  timer = setInterval(() => pose && !heardNow() && draw(), 500);
}

export function close() {
  source?.close();
  source = null;
  pose = null;
  clearInterval(timer);
  cancelAnimationFrame(frame);
  frame = 0;
}

export function draw() {
  const now = running();
  const handedness = (now ?? lesson())?.player?.handedness ?? 'right';
  const live = heardNow();
  const lines = live ? fromPose(pose.data.segments, handedness) : null;
  show(parts.stage, h('figure', {}, picture(lines, handedness, { label: live ? `Seen from above, now. ${spoken(lines, handedness)}` : 'Seen from above: nothing heard now' })));
  show(parts.words, live && Object.keys(lines).length
    ? turnList(lines, handedness)
    : h('p', { class: 'lead' }, live ? 'The straps are heard, but turns need a calibration first.' : now ? 'The straps’ movement is not heard now.' : 'No lesson is running.'));
}
