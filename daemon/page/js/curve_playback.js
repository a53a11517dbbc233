// Moves an instant through a swing's curves: play at a quarter, half or real speed, one
// frame at a time, or by hand.

import { curvesOf } from './api.js';

/** A swing with its curves, and its instants in milliseconds from the one it is aligned at. */
export async function load(session, swing) {
  const curves = await curvesOf(session, swing.number);
  return { session, swing, curves };
}

export function eventsOf(swing, align) {
  const zero = swing.events[align].t_s;
  return Object.fromEntries(['takeaway', 'top', 'impact', 'finish'].map((name) => [name, (swing.events[name].t_s - zero) * 1000]));
}

/** Range of a loaded swing in ms from its alignment. */
export function rangeOf(loaded, align) {
  const n = loaded.curves.segments[0]?.speed_dps.length ?? 0;
  const zero = loaded.swing.events[align].t_s;
  const events = eventsOf(loaded.swing, align);
  const start = (loaded.curves.start_s - zero) * 1000;
  const end = start + (n - 1) * loaded.curves.step_s * 1000;
  // A little before takeaway to a little after the finish; the rest is standing.
  return [Math.max(start, events.takeaway - 150), Math.min(end, events.finish + 250)];
}

/** Index into the curves at `ms` from the alignment; clamped. */
export function indexAt(loaded, align, ms) {
  const t = loaded.swing.events[align].t_s + ms / 1000;
  const n = loaded.curves.segments[0]?.speed_dps.length ?? 0;
  return Math.min(n - 1, Math.max(0, Math.round((t - loaded.curves.start_s) / loaded.curves.step_s)));
}

/** Plays; calls `tick(ms)` each frame and `done()` at the end. Returns how to stop. */
export function playFrom(ms, end, speed, tick, done) {
  let handle = 0;
  let last = null;
  const step = (now) => {
    if (last !== null) ms += (now - last) * speed;
    last = now;
    if (ms >= end) {
      tick(end);
      done();
      return;
    }
    tick(ms);
    handle = requestAnimationFrame(step);
  };
  handle = requestAnimationFrame(step);
  return () => cancelAnimationFrame(handle);
}
