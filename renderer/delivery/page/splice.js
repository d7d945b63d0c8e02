// The chanter's part: stretches of frames spliced from tones, as `renderer/sound/splice.py` and
// `renderer/sound/note_change.py` do it.

import { share } from "./seeded.js";
import { noisePlace } from "./tones.js";

/** @typedef {import("./tones.js").Tone} Tone */
/**
 * @typedef {object} Stretch Frames `start` to `stop` (excluded), from one tone to another or steady.
 * @property {number} start
 * @property {number} stop
 * @property {Tone|null} before
 * @property {Tone|null} after
 * @property {number} beforeSince the frame at which it began to sound
 * @property {number} afterSince
 */
/**
 * @typedef {object} Changes The page's constants of note changes.
 * @property {number} change_s
 * @property {number} uneven
 * @property {number} silence_s
 * @property {number} first_s how long it takes to start at the very first frame
 * @property {number} slack by what share a change may go beyond its tones
 * @property {number} high_share
 * @property {number} thump_periods
 * @property {number} lift_db
 * @property {number} stroke_db
 * @property {number} thump_db
 */

/** Turns timed events, one after another, into stretches that tile the track. */
export class Stretcher {
  /** @param {Changes} changes @param {number} rate */
  constructor(changes, rate) {
    this.changes = changes;
    this.rate = rate;
    this.first = Math.floor(Math.round(changes.first_s * rate) / 2);
    this.silence = Math.floor(Math.round(changes.silence_s * rate) / 2);
    /** @type {Tone|null} */
    this.sounding = null;
    this.at = 0;
    this.since = 0;
  }

  /**
   * Return the stretches that an event makes known: what came before it, and the change to it.
   * @param {number} start
   * @param {number} end
   * @param {Tone|null} tone
   * @returns {Stretch[]}
   */
  take(start, end, tone) {
    if (end <= start || tone === this.sounding) return [];
    let half = this.silence;
    if (this.sounding && tone) {
      const uneven = 1 + this.changes.uneven * (2 * share(start) - 1);
      half = Math.round((this.changes.change_s * uneven * this.rate) / 2);
    }
    half = Math.min(half, Math.floor((end - start) / 2), start - this.at);
    // Nothing comes before the track: the whole change comes after its first frame.
    if (!start) half = Math.min(this.first, Math.floor((end - start) / 4));
    const first = start ? start - half : 0;
    const stop = first + 2 * half;
    const found = this.rest(first);
    if (half) {
      found.push({
        start: first,
        stop,
        before: this.sounding,
        after: tone,
        beforeSince: this.since,
        afterSince: first,
      });
    }
    this.at = stop;
    this.since = first;
    this.sounding = tone;
    return found;
  }

  /** Return the steady stretch up to a frame, if there is any. @param {number} frame @returns {Stretch[]} */
  rest(frame) {
    const { at, sounding, since } = this;
    if (frame <= at) return [];
    return [
      { start: at, stop: frame, before: sounding, after: sounding, beforeSince: since, afterSince: since },
    ];
  }
}

/** Where to read what sounds at a frame. @param {Tone} tone @param {number} start @param {number} since */
function readAt(tone, start, since) {
  return start + tone.shift + Math.round(tone.lag * since);
}

/** @param {number} number @param {number} size */
function within(number, size) {
  return ((number % size) + size) % size;
}

/** @param {Float32Array} loop @param {number} start @param {number} frames */
function piece(loop, start, frames) {
  const out = new Float32Array(frames);
  let at = within(start, loop.length);
  for (let n = 0; n < frames; n++) {
    out[n] = loop[at];
    if (++at === loop.length) at = 0;
  }
  return out;
}

/** @type {Map<number, {rising: Float64Array, low: Float64Array[], high: Float64Array[], burst: Float64Array, knock: Float64Array}>} */
const fadesOf = new Map();

/** @param {number} frames @param {Changes} changes */
function fades(frames, changes) {
  const known = fadesOf.get(frames);
  if (known) return known;
  const empty = () => new Float64Array(frames + 2);
  const made = {
    rising: empty(),
    low: [empty(), empty()],
    high: [empty(), empty()],
    burst: empty(),
    knock: empty(),
  };
  const [fallingLow, risingLow] = /** @type {[Float64Array, Float64Array]} */ (made.low);
  const [fallingHigh, risingHigh] = /** @type {[Float64Array, Float64Array]} */ (made.high);
  for (let n = 0; n < frames + 2; n++) {
    const turn = (Math.PI / 2) * Math.min(1, Math.max(0, (n - 0.5) / frames));
    const high = Math.min(
      Math.PI / 2,
      Math.max(0, (turn - Math.PI / 4) / changes.high_share + Math.PI / 4),
    );
    made.rising[n] = Math.sin(turn) ** 2;
    fallingLow[n] = Math.cos(turn);
    risingLow[n] = Math.sin(turn);
    fallingHigh[n] = Math.cos(high);
    risingHigh[n] = Math.sin(high);
    made.burst[n] = Math.sin(2 * high) ** 2;
    made.knock[n] = Math.sin(2 * turn) ** 2 * Math.sin(4 * changes.thump_periods * turn);
  }
  fadesOf.set(frames, made);
  return made;
}

/** @param {number} db */
function gain(db) {
  return 10 ** (db / 20);
}

/**
 * What sounds during a change.
 * @param {Stretch} stretch with two tones
 * @param {Float32Array} noise
 * @param {Changes} changes
 */
function noteChange(stretch, noise, changes) {
  const before = /** @type {Tone} */ (stretch.before);
  const after = /** @type {Tone} */ (stretch.after);
  const frames = stretch.stop - stretch.start;
  const size = frames + 2;
  const made = fades(frames, changes);
  const [fallingLow, risingLow] = /** @type {[Float64Array, Float64Array]} */ (made.low);
  const [fallingHigh, risingHigh] = /** @type {[Float64Array, Float64Array]} */ (made.high);
  const early = stretch.start - 1;
  const from = readAt(before, early, stretch.beforeSince);
  const to = readAt(after, early, stretch.afterSince);
  const one = piece(before.samples, from, size);
  const oneLow = before.low === before.samples ? one : piece(before.low, from, size);
  const two = piece(after.samples, to, size);
  const twoLow = after.low === after.samples ? two : piece(after.low, to, size);
  const falls = after.note < before.note;
  const at = noisePlace(stretch.start, noise.length - size);
  const loud = after.peak * gain(falls ? changes.stroke_db : changes.lift_db);
  const thump = falls ? after.peak * gain(changes.thump_db) : 0;
  const allowed = 1 + changes.slack;
  const [step, peak] = [allowed * Math.max(before.step, after.step), allowed * Math.max(before.peak, after.peak)];
  const plain = new Float64Array(size);
  const more = new Float64Array(size);
  for (let n = 0; n < size; n++) {
    const a = one[n];
    const b = two[n];
    const al = oneLow[n];
    const bl = twoLow[n];
    const kept = a + made.rising[n] * (b - a);
    const wished =
      fallingLow[n] * al +
      risingLow[n] * bl +
      fallingHigh[n] * (a - al) +
      risingHigh[n] * (b - bl) +
      loud * made.burst[n] * noise[at + n] +
      thump * made.knock[n];
    plain[n] = kept;
    more[n] = wished - kept;
  }
  // As much of what is wished for as keeps every step and peak within those of the tones.
  let part = 1;
  for (let n = 0; n < size; n++) {
    const kept = plain[n];
    const added = more[n];
    part = Math.min(part, (peak - Math.sign(added) * kept) / Math.max(Math.abs(added), 1e-9));
    if (!n) continue;
    const keptStep = kept - plain[n - 1];
    const addedStep = added - more[n - 1];
    const room = step - Math.sign(addedStep) * keptStep;
    part = Math.min(part, room / Math.max(Math.abs(addedStep), 1e-9));
  }
  part = Math.max(0, part);
  const out = new Float32Array(frames);
  for (let n = 0; n < frames; n++) {
    out[n] = plain[n + 1] + part * more[n + 1];
  }
  return out;
}

/**
 * Add the part of a stretch that falls into a window of the track.
 * @param {Float32Array} out the window
 * @param {number} first its first frame in the track
 * @param {Stretch} stretch
 * @param {Float32Array} noise
 * @param {Changes} changes
 */
export function addStretch(out, first, stretch, noise, changes) {
  const start = Math.max(stretch.start, first);
  const stop = Math.min(stretch.stop, first + out.length);
  if (start >= stop) return;
  const { before, after } = stretch;
  const frames = stretch.stop - stretch.start;
  if (before === after) {
    if (!before) return;
    const loop = before.samples;
    let at = within(readAt(before, start, stretch.beforeSince), loop.length);
    for (let n = start - first; n < stop - first; n++) {
      out[n] += loop[at];
      if (++at === loop.length) at = 0;
    }
  } else if (before && after) {
    const sound = noteChange(stretch, noise, changes);
    for (let n = start; n < stop; n++) out[n - first] += sound[n - stretch.start];
  } else {
    const tone = /** @type {Tone} */ (before ?? after);
    const since = before ? stretch.beforeSince : stretch.afterSince;
    const sound = piece(tone.samples, readAt(tone, start, since), stop - start);
    for (let n = start; n < stop; n++) {
      const rising = 0.5 - 0.5 * Math.cos((Math.PI * (n - stretch.start + 0.5)) / frames);
      out[n - first] += sound[n - start] * (before ? 1 - rising : rising);
    }
  }
}
