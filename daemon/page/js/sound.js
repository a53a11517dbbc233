// The answer to a swing as a sound. Answers differ in rhythm alone, so that neither
// pitch memory nor the screen is needed:
//   met = three short notes, nearly = two, not = one long, not measured = a soft click.
//
// The sounds are audio files made here, and played by an audio element beside a loop too low
// to hear with a media session: browsers keep pages alive that play media. README.md says
// what is known of that with the screen off.
//
// The sounds are those of the running lesson, also while the coach looks at another.

import { changed, isRepetition, lesson, onChange, running } from './store.js';
import { passedOver } from './ball.js';
import { ANSWERS } from './answer_words.js';
import { unlockTone } from './tone.js';

const RATE = 22050;
const NOTE_HZ = 880;

/** A mono 16-bit WAV file (RIFF; Microsoft & IBM, Multimedia Programming Interface 1.0, 1991). */
export function wav(samples) {
  const view = new DataView(new ArrayBuffer(44 + 2 * samples.length));
  const word = (at, text) => [...text].forEach((c, i) => view.setUint8(at + i, c.charCodeAt(0)));
  word(0, 'RIFF');
  view.setUint32(4, 36 + 2 * samples.length, true);
  word(8, 'WAVEfmt ');
  view.setUint32(16, 16, true);
  view.setUint16(20, 1, true);
  view.setUint16(22, 1, true);
  view.setUint32(24, RATE, true);
  view.setUint32(28, 2 * RATE, true);
  view.setUint16(32, 2, true);
  view.setUint16(34, 16, true);
  word(36, 'data');
  view.setUint32(40, 2 * samples.length, true);
  samples.forEach((v, i) => view.setInt16(44 + 2 * i, Math.round(32767 * Math.max(-1, Math.min(1, v))), true));
  return new Blob([view.buffer], { type: 'audio/wav' });
}

/** Notes of equal pitch: `[start, length]` in seconds. */
export function notes(list, loudness = 0.7) {
  const end = Math.max(...list.map(([start, length]) => start + length)) + 0.05;
  const out = new Float64Array(Math.ceil(end * RATE));
  for (const [start, length] of list) {
    const [from, n] = [Math.round(start * RATE), Math.round(length * RATE)];
    for (let i = 0; i < n; i += 1) {
      // Ramps of 8 ms keep the notes from clicking.
      const edge = Math.min(1, i / (0.008 * RATE), (n - i) / (0.008 * RATE));
      out[from + i] = loudness * edge * Math.sin((2 * Math.PI * NOTE_HZ * i) / RATE);
    }
  }
  return Array.from(out);
}

const RHYTHMS = {
  met: () => notes([[0, 0.1], [0.18, 0.1], [0.36, 0.1]]),
  nearly: () => notes([[0, 0.1], [0.18, 0.1]]),
  not: () => notes([[0, 0.75]]),
  not_measured: () => notes([[0, 0.012]], 0.25),
};

/**
 * A loop that nobody hears but that browsers do not count as silence. Chromium counts a page as playing
 * above -72.25 dBFS (`kSilenceThresholdDBFS`, services/audio/output_stream.cc); this is at -57. At
 * 40 Hz the ear needs 51 dB SPL (ISO 226, from memory), which is more than that on a device whose
 * full scale is 105 dB SPL.
 */
function lowLoop() {
  return wav(Array.from({ length: RATE }, (_, i) => 0.002 * Math.sin((2 * Math.PI * 40 * i) / RATE)));
}

let muted = true;
let loop = null;
let voice = null;
const files = {};
let answered = null;

export const isMuted = () => muted;

const WANTED = 'peakorder-sound';
/** Sound was on before the page was loaded anew. Browsers give it back only after a tap. */
export const isLost = () => muted && localStorage.getItem(WANTED) === 'on';

const WAY = 'peakorder-answers';
/** `tones`, `number` (spoken) or `both`. */
export const way = () => localStorage.getItem(WAY) ?? 'tones';
export const setWay = (value) => localStorage.setItem(WAY, value);

function file(kind) {
  files[kind] ??= URL.createObjectURL(wav(RHYTHMS[kind]()));
  return files[kind];
}

/** Called from a tap: browsers allow sound only after one. */
export function setMuted(value) {
  muted = value;
  localStorage.setItem(WANTED, muted ? 'off' : 'on');
  if (!muted) unlockTone();
  if (muted) {
    loop?.pause();
    voice?.pause();
    if (typeof speechSynthesis !== 'undefined') speechSynthesis.cancel();
  } else {
    if (!loop) {
      unlock();
      loop = Object.assign(new Audio(URL.createObjectURL(lowLoop())), { loop: true });
    }
    media();
    keepPlaying();
  }
  if ('mediaSession' in navigator) navigator.mediaSession.playbackState = muted ? 'paused' : 'playing';
  changed('sound');
}

/** Some browsers allow only an element that was played in a tap to play later. */
function unlock() {
  voice = new Audio(URL.createObjectURL(wav(notes([[0, 0.02]], 0))));
  voice.play().catch(() => {});
  if (typeof speechSynthesis !== 'undefined') speechSynthesis.speak(new SpeechSynthesisUtterance(''));
}

/** A call or another program may have stopped the loop that keeps the page awake. */
function keepPlaying() {
  if (muted || !loop?.paused) return;
  loop.play().catch(() => {
    // Refused. The tones may still sound while the page is visible.
  });
}

function media(words = 'waiting for the next swing') {
  if (!('mediaSession' in navigator) || typeof MediaMetadata === 'undefined') return;
  navigator.mediaSession.metadata = new MediaMetadata({ title: words, artist: running()?.player?.name ?? '', album: 'peakorder' });
  navigator.mediaSession.setActionHandler('play', () => setMuted(false));
  navigator.mediaSession.setActionHandler('pause', () => setMuted(true));
}

/** Plays one answer, muted or not, to try it out. */
export function sound(kind) {
  voice ??= new Audio();
  voice.src = file(kind);
  // The page shows what was played, for a person and for a test.
  document.body.dataset.sounded = kind;
  return voice.play().catch(() => {});
}

export function speak(words) {
  if (typeof speechSynthesis === 'undefined' || !words) return;
  speechSynthesis.cancel();
  const utterance = new SpeechSynthesisUtterance(words);
  utterance.lang = 'en';
  speechSynthesis.speak(utterance);
}

/** An older swing is not answered any more. */
const FRESH_S = 5;

function newest() {
  const now = running();
  const [last, made] = [now?.swings.at(-1), now?.repetitions?.at(-1)];
  // Both are numbered in one row.
  const swing = (made?.number ?? 0) > (last?.number ?? 0) ? made : last;
  if (!swing) return { key: null };
  const fresh = now.t_s - swing.events.finish.t_s < FRESH_S;
  return { key: `${now.session}/${swing.number}`, number: swing.number, answer: now.answers[swing.number], about: now.about?.[swing.number]?.[0], quiet: !isRepetition(swing) && now === lesson() && passedOver(swing), fresh };
}

/** Plays the answer to the newest swing of the running lesson, once. */
function answerNewest() {
  const { key, number, answer, about, quiet } = newest();
  if (answered === key || (!answer && !about)) return;
  answered = key;
  if (muted) return;
  keepPlaying();
  if (!answer) {
    // Without a target only what the lesson is about speaks, to who wants numbers spoken.
    if (way() !== 'tones' && !quiet) speak(about.spoken);
    return;
  }
  if (way() !== 'number' || answer.answer === 'not_measured') sound(answer.answer);
  // A number spoken over the notes could not be understood.
  if (way() !== 'tones') setTimeout(() => !muted && speak(answer.spoken), way() === 'both' ? 900 : 0);
  media(`${number}: ${ANSWERS[answer.answer] ?? answer.answer}`);
}

onChange((what) => {
  if (what === 'answer') answerNewest();
  // The state may contain a swing that was made just now. Older ones are not answered.
  if (what === 'state' && newest().fresh) answerNewest();
  else if (what === 'state') answered = newest().key;
});
document.addEventListener('visibilitychange', () => {
  if (!document.hidden) keepPlaying();
});
