// A tone inside the movement: it begins the moment the player reaches the target, and is silent when not ("turn until you
// hear it"). The daemon decides with every batch of samples (`/reach`); here is only the sound.
//
// An oscillator runs all the time with its gain at nothing, so that a tone needs no start: a ramp of 5 ms, which does not click.

import { onChange, running, store } from './store.js';
import { stream } from './api.js';
import { isMuted } from './sound.js';

/** Half of what the answers sound at: nobody takes one for the other. */
const TONE_HZ = 440;
const LOUDNESS = 0.4;
const RAMP_S = 0.005;
/** The daemon says something twice a second. After this long without, nothing is known and nothing sounds. */
const SILENCE_MS = 1500;

const WAY = 'peakorder-tone';
export const SCHEDULES = ['off', 'every', 'second', 'fading'];

/** In which repetitions it sounds: never, in each, in every second one, or in fewer and fewer. */
export function schedule() {
  const kept = localStorage.getItem(WAY);
  return SCHEDULES.includes(kept) ? kept : 'off';
}

export function setSchedule(value) {
  localStorage.setItem(WAY, value);
  listen();
}

/** Whether repetition `n` (from 1) has the tone. Fading: four with it, then two of three, from the eleventh every second one,
 * from the twenty-first none: what is left then is the player's own. Own judgement. */
export function sounds(n, by) {
  if (by === 'every') return true;
  if (by === 'second') return n % 2 === 1;
  if (by !== 'fading') return false;
  if (n <= 4) return true;
  if (n <= 10) return (n - 4) % 3 !== 0;
  return n <= 20 && n % 2 === 1;
}

const POSITION = /_turn_(top|impact)_deg$|_lateral_tilt_top_deg$|^separation_(top|max)_deg$/;

/** Whether a target is a position that the live pose shows. */
export const isPosition = (target) => Boolean(target) && POSITION.test(target.measure);

/** The number of the next repetition: one more than were answered since the target was set. */
export function nextRepetition() {
  const now = running();
  const set = (now?.remarks?.targets ?? []).at(-1);
  if (!set?.target) return 1;
  const made = [...now.swings, ...(now.repetitions ?? [])].filter((x) => now.answers[x.number] && (x.events.impact ?? x.events.top).t_s >= set.t_s);
  return made.length + 1;
}

let audio = null;
let gain = null;
let source = null;
let timer = 0;
let reached = false;

/** In a tap: browsers allow sound only after one. */
export function unlockTone() {
  if (typeof AudioContext === 'undefined') return;
  if (!audio) {
    audio = new AudioContext({ latencyHint: 'interactive' });
    gain = audio.createGain();
    gain.gain.value = 0;
    const voice = audio.createOscillator();
    voice.frequency.value = TONE_HZ;
    voice.connect(gain).connect(audio.destination);
    voice.start();
  }
  audio.resume().catch(() => {});
  listen();
}

/** How long the browser itself takes from a gain that is set to sound at the loudspeaker, s; null before a tap. */
export const outputLatency = () => (audio ? { base_s: audio.baseLatency, output_s: audio.outputLatency ?? null } : null);

/** Lets the tone be heard for a moment, to try it out. */
export function tryTone() {
  unlockTone();
  if (!audio) return;
  level(LOUDNESS);
  setTimeout(() => level(reached ? LOUDNESS : 0), 600);
}

function level(to) {
  const at = audio.currentTime;
  gain.gain.cancelScheduledValues(at);
  gain.gain.setValueAtTime(gain.gain.value, at);
  gain.gain.linearRampToValueAtTime(to, at + RAMP_S);
}

function turn(on, data = null) {
  clearTimeout(timer);
  if (on) timer = setTimeout(() => turn(false), SILENCE_MS);
  if (on === reached) return;
  reached = on;
  if (audio) level(on ? LOUDNESS : 0);
  document.body.dataset.tone = on ? 'on' : 'off';
  // When it was set, for a test to hold against the samples.
  document.dispatchEvent(new CustomEvent('tone', { detail: { on, t_s: data?.t_s ?? null, at_ms: performance.timeOrigin + performance.now() } }));
}

const wanted = () => !isMuted() && schedule() !== 'off' && store.link === 'live' && isPosition(running()?.remarks?.target);

/** Opens or closes the stream, as target, sound and schedule ask. */
function listen() {
  if (wanted() === Boolean(source)) return;
  if (source) {
    source.close();
    source = null;
    turn(false);
    return;
  }
  source = stream('/reach', { reach: (data) => turn(Boolean(data?.reached) && sounds(nextRepetition(), schedule()), data) }, () => {
    // Nothing that is not live may sound.
    turn(false);
  });
}

onChange((what) => {
  if (['sound', 'remarks', 'state', 'link'].includes(what)) listen();
});
