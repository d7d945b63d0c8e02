// Tones: spectral lines to loops at a pitch, as `renderer/sound/bank.py` makes them.
//
// A loop's lines are laid out once, by an inverse Fourier transform, as a finely sampled table; the
// loop itself is read from that table with its breath as a slow bending of time. Constants come
// with the page's data.

import { inverse } from "./fourier.js";
import { mixed, turn } from "./seeded.js";

/** @typedef {{periods: number, gain: number, at: Int32Array, re: Float64Array, im: Float64Array}} Lines */
/**
 * @typedef {object} Breath How alive a voice is; see `renderer/sound/breath.py`.
 * @property {number} wandering cents
 * @property {number} noise decibels
 * @property {number} slowest hertz
 * @property {number} fastest hertz
 */
/**
 * @typedef {object} Tone A steady tone as a loop.
 * @property {Float32Array} samples
 * @property {Float32Array} low what of it lies below the parting of low and high partials
 * @property {number} step its largest step from frame to frame
 * @property {number} peak
 * @property {number} periods
 * @property {number} hz what it is meant to sound
 * @property {number} note the note that it is named by, from low G up
 * @property {number} shift the loop's frame at the track's first frame
 * @property {number} lag frames a frame by which it falls behind the drones
 */

/** @param {string} text base64 */
function bytes(text) {
  const raw = atob(text);
  const out = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
  return out.buffer;
}

/**
 * Read a loop's lines.
 * @param {any} plain
 * @returns {Lines}
 */
export function readLines(plain) {
  const strongAt = new Int32Array(bytes(plain.strong_at));
  const strong = new Float32Array(bytes(plain.strong));
  const gaps = new Uint16Array(bytes(plain.weak_gaps));
  const exponents = new Int8Array(bytes(plain.weak_exponents));
  const weak = new Int8Array(bytes(plain.weak));
  const count = strongAt.length + gaps.length;
  const at = new Int32Array(count);
  const re = new Float64Array(count);
  const im = new Float64Array(count);
  at.set(strongAt);
  for (let i = 0; i < strongAt.length; i++) {
    re[i] = strong[2 * i] ?? 0;
    im[i] = strong[2 * i + 1] ?? 0;
  }
  let bin = 0;
  for (let i = 0, to = strongAt.length; i < gaps.length; i++, to++) {
    bin += gaps[i] ?? 0;
    const scale = 2 ** (exponents[i] ?? 0);
    at[to] = bin;
    re[to] = scale * (weak[2 * i] ?? 0);
    im[to] = scale * (weak[2 * i + 1] ?? 0);
  }
  return { periods: plain.periods, gain: plain.gain, at, re, im };
}

/** Read pairs of numbers. @param {string} text */
export function readFloats(text) {
  return new Float32Array(bytes(text));
}

/** Read a struck sound. @param {{peak: number, samples: string}} plain */
export function readStroke(plain) {
  const whole = new Int16Array(bytes(plain.samples));
  return Float32Array.from(whole, (one) => (one * plain.peak) / 32767);
}

/** The frames and repeats of a loop at a pitch; `retuned` of `renderer/sound/steady.py`.
 * @param {number} periods @param {number} framesAPeriod @param {number} mostRepeats
 * @param {number} exactEnough
 */
function loopSize(periods, framesAPeriod, mostRepeats, exactEnough) {
  const exact = periods * framesAPeriod;
  let best = 1;
  let least = Infinity;
  for (let k = 1; k <= mostRepeats; k++) {
    const error = Math.abs(Math.round(k * exact) / (k * exact) - 1);
    if (error < exactEnough) {
      best = k;
      break;
    }
    if (error < least) {
      least = error;
      best = k;
    }
  }
  return { repeats: best, frames: Math.round(best * exact) };
}

/**
 * Read a loop out of a table of one round of it, bent in time.
 * @param {Float32Array} table its length a power of two
 * @param {Float32Array} out
 * @param {number} repeats rounds of the table in all of `out`
 * @param {((place: number) => number)|null} ahead how far ahead of its place, in rounds, by place
 */
function readTable(table, out, repeats, ahead) {
  const size = table.length;
  const mask = size - 1;
  const frames = out.length;
  const step = (repeats * size) / frames;
  const grid = 16;
  let now = ahead ? ahead(0) * size : 0;
  for (let begin = 0; begin < frames; begin += grid) {
    const then = ahead ? ahead((((begin + grid) * repeats) / frames) % 1) * size : 0;
    const slope = (then - now) / grid;
    const end = Math.min(begin + grid, frames);
    for (let n = begin; n < end; n++) {
      const at = n * step + now + slope * (n - begin);
      const whole = Math.floor(at);
      const x = at - whole;
      const a = table[(whole - 1) & mask];
      const b = table[whole & mask];
      const c = table[(whole + 1) & mask];
      const d = table[(whole + 2) & mask];
      // Lagrange's cubic through the four neighbours.
      const c1 = c - a / 3 - b / 2 - d / 6;
      const c2 = (a + c) / 2 - b;
      const c3 = (d - a) / 6 + (b - c) / 2;
      out[n] = ((c3 * x + c2) * x + c1) * x + b;
    }
    now = then;
  }
}

/**
 * How far breath is ahead of its place: turns of a period, by the place in a round.
 * @param {Breath} breath @param {number} hz @param {number} seconds a round's @param {number} seed
 */
function wandering(breath, hz, seconds, seed) {
  const slowest = Math.max(1, Math.round(breath.slowest * seconds));
  const fastest = Math.max(slowest, Math.floor(breath.fastest * seconds));
  /** @type {number[]} */
  const sizes = [];
  let power = 0;
  for (let line = slowest; line <= fastest; line++) {
    const size = 1 / Math.sqrt(1 + (line / seconds) ** 2);
    sizes.push(size);
    power += size * size;
  }
  const scale = ((breath.wandering * Math.LN2) / 1200) * Math.sqrt(2 / power);
  const waves = sizes.map((size, index) => ({
    line: slowest + index,
    phase: turn(seed, index),
    size: (size * scale * hz * seconds) / (2 * Math.PI * (slowest + index)),
  }));
  return (/** @type {number} */ place) => {
    let sum = 0;
    for (const { line, phase, size } of waves) {
      sum += size * Math.sin(2 * Math.PI * (line * place + phase));
    }
    return sum;
  };
}

/** Whether and how strongly noise sounds at a frequency; `renderer/sound/noise.py`.
 * @param {number} hz @param {any} noise
 */
function noiseSize(hz, noise) {
  return hz >= noise.lowest && hz <= noise.highest ? Math.sqrt(noise.lowest / hz) : 0;
}

/**
 * Lay a loop's lines, up to a bin, out as one round in a table; noise with them, if asked for.
 * @param {Lines} lines @param {number} highest @param {number} size a power of two
 * @param {{hzPerBin: number, db: number, seed: number, shape: any}|null} noise
 */
function laidOut(lines, highest, size, noise) {
  const re = new Float64Array(size);
  const im = new Float64Array(size);
  const top = Math.min(highest, size / 2 - 1);
  let power = 0;
  for (let i = 0; i < lines.at.length; i++) {
    const bin = lines.at[i];
    const a = lines.re[i];
    const b = lines.im[i];
    power += a * a + b * b;
    if (bin > top) continue;
    re[bin] += a;
    im[bin] += b;
    if (bin) {
      re[size - bin] += a;
      im[size - bin] -= b;
    }
  }
  let noiseGain = 0;
  if (noise) {
    const { periods } = lines;
    const count = Math.floor(noise.shape.highest / noise.hzPerBin) + periods + 1;
    const x = new Float64Array(count + periods);
    const y = new Float64Array(count + periods);
    for (let bin = 0; bin < count; bin++) {
      const strength = noiseSize(bin * noise.hzPerBin, noise.shape);
      if (!strength) continue;
      const angle = 2 * Math.PI * turn(noise.seed, bin);
      x[bin] = strength * Math.cos(angle);
      y[bin] = strength * Math.sin(angle);
    }
    let sum = 0;
    for (let bin = 0; bin < count; bin++) {
      const below = bin >= periods ? bin - periods : -1;
      const a = (x[bin] ?? 0) + ((below < 0 ? 0 : (x[below] ?? 0)) + (x[bin + periods] ?? 0)) / 2;
      const b = (y[bin] ?? 0) + ((below < 0 ? 0 : (y[below] ?? 0)) + (y[bin + periods] ?? 0)) / 2;
      sum += a * a + b * b;
    }
    noiseGain = Math.sqrt((power * 10 ** (noise.db / 10)) / sum);
    // A second signal rides along as the imaginary part of the first.
    for (let bin = 1; bin < Math.min(count, size / 2); bin++) {
      const a = x[bin];
      const b = y[bin];
      re[bin] -= b;
      im[bin] += a;
      re[size - bin] += b;
      im[size - bin] += a;
    }
  }
  inverse(re, im);
  return { tone: new Float32Array(re), noise: noise ? new Float32Array(im) : null, noiseGain };
}

/** The least power of two that is not below. @param {number} number */
function powerOfTwo(number) {
  return 2 ** Math.ceil(Math.log2(number));
}

/** @param {Float32Array} samples */
function largestStep(samples) {
  let before = samples[samples.length - 1];
  let step = 0;
  for (let n = 0; n < samples.length; n++) {
    const now = samples[n];
    step = Math.max(step, Math.abs(now - before));
    before = now;
  }
  return step;
}

/** @param {Float32Array} samples */
function highestPeak(samples) {
  let peak = 0;
  for (let n = 0; n < samples.length; n++) {
    peak = Math.max(peak, Math.abs(samples[n]));
  }
  return peak;
}

/**
 * Make one of a chanter's notes, or a drone, as a loop.
 * @param {Lines} lines
 * @param {number} hz
 * @param {any} sound the page's constants of sound
 * @param {{breath: Breath|null, seed: number, swing: number, gain: number, parted: boolean,
 *   loopPeriods: number, loopHz: number, finest: number}} how
 * @returns {{samples: Float32Array, low: Float32Array, repeats: number}}
 */
function loopOf(lines, hz, sound, how) {
  const { rate } = sound;
  const { repeats, frames } = loopSize(
    how.loopPeriods,
    rate / how.loopHz,
    sound.most_repeats,
    sound.exact_enough,
  );
  const hzPerBin = hz / lines.periods;
  const highest = Math.floor((sound.highest_of_rate * rate) / hzPerBin);
  const seconds = lines.periods / hz;
  const noise = how.breath
    ? { hzPerBin, db: how.breath.noise, seed: how.seed, shape: sound.noise }
    : null;
  const laid = laidOut(lines, highest, Math.min(powerOfTwo(4 * highest), how.finest), noise);
  const swung = (/** @type {number} */ place) =>
    (how.swing * Math.sin(2 * Math.PI * place)) / lines.periods;
  const wander = how.breath && wandering(how.breath, hz, seconds, how.seed);
  const ahead = wander
    ? (/** @type {number} */ place) => wander(place) / lines.periods + swung(place)
    : null;
  const samples = new Float32Array(frames);
  readTable(laid.tone, samples, repeats, ahead);
  if (laid.noise) {
    const heard = new Float32Array(frames);
    readTable(laid.noise, heard, repeats, how.swing ? swung : null);
    const turns = (repeats * lines.periods) / frames;
    for (let n = 0; n < frames; n++) {
      const bent = how.swing ? swung(((n * repeats) / frames) % 1) * lines.periods : 0;
      const open = 1 + Math.cos(2 * Math.PI * (((n * turns) % 1) + bent));
      samples[n] += laid.noiseGain * open * heard[n];
    }
  }
  let low = samples;
  if (how.parted) {
    const lowest = Math.round((Math.floor(sound.parting_hz / hz) + 0.5) * lines.periods);
    low = new Float32Array(frames);
    const table = laidOut(lines, lowest, powerOfTwo(8 * lowest), null).tone;
    readTable(table, low, repeats, ahead);
  }
  for (const part of how.parted ? [samples, low] : [samples]) {
    for (let n = 0; n < frames; n++) part[n] *= how.gain;
  }
  return { samples, low, repeats };
}

const FINEST_CHANTER = 2 ** 18;
const FINEST_DRONE = 2 ** 19;

/**
 * All that sounds at one pitch. Its tones and drones are made when they are first asked for.
 */
export class Bank {
  /**
   * @param {any} sound the page's constants and lines
   * @param {any} pitch one of the page's pitches
   * @param {number} cents finer tuning
   */
  constructor(sound, pitch, cents = 0) {
    this.sound = sound;
    this.pitch = pitch;
    this.cents = cents;
    this.ratio = 2 ** (cents / 1200);
    /** @type {Map<number, Tone>} */
    this._tones = new Map();
    /** @type {Float32Array[]|null} */
    this._drones = null;
  }

  /** The frames of the drones' loop. */
  get droneSize() {
    const { sound } = this;
    const hz = (this.pitch.tenor_hz * this.ratio) / 2;
    const periods = sound.drones[2].periods;
    const size = loopSize(periods, sound.rate / hz, sound.most_repeats, sound.exact_enough);
    return { frames: size.frames, periods: size.repeats * periods, hz };
  }

  /**
   * Return what a tone sounds: the nine notes first, from low G up, then other fingerings.
   * @param {number} index
   * @returns {Tone}
   */
  tone(index) {
    let found = this._tones.get(index);
    if (!found) {
      found = index < 9 ? this._note(index) : this._fingered(index);
      this._tones.set(index, found);
    }
    return found;
  }

  /** @param {number} index @returns {Tone} */
  _note(index) {
    const { sound, pitch } = this;
    const lines = sound.notes[index];
    const hz = pitch.hz[index] * this.ratio;
    const { samples, low, repeats } = loopOf(lines, hz, sound, {
      breath: sound.chanter_breath,
      seed: sound.chanter_seed + index,
      swing: 0,
      gain: lines.gain * pitch.gains.chanter,
      parted: true,
      loopPeriods: lines.periods,
      loopHz: hz,
      finest: FINEST_CHANTER,
    });
    const periods = repeats * lines.periods;
    let lag = 0;
    if (pitch.locked[index]) {
      const drone = this.droneSize;
      const now = (periods * drone.frames) / (drone.periods * samples.length);
      lag = hz / drone.hz / now - 1;
    }
    return this._told(samples, low, periods, hz, index, pitch.shifts[index], lag);
  }

  /** @param {number} index @returns {Tone} */
  _fingered(index) {
    const { sound, pitch } = this;
    const model = sound.fingered[index - 9];
    const hz = pitch.hz[model.note] * this.ratio * 2 ** (model.cents / 1200);
    const count = Math.min(
      model.partials.length / 2,
      Math.floor((sound.highest_of_rate * sound.rate) / hz),
    );
    const size = loopSize(1, sound.rate / hz, sound.fingered_repeats, sound.exact_enough);
    // As loud as it is at this pitch.
    const gain = pitch.fingered[index - 9] / Math.hypot(model.partials[0], model.partials[1]);
    /** @param {number} most */
    const made = (most) => {
      const lines = {
        periods: 1,
        gain: 1,
        at: Int32Array.from({ length: most }, (_, k) => k + 1),
        re: Float64Array.from({ length: most }, (_, k) => model.partials[2 * k]),
        im: Float64Array.from({ length: most }, (_, k) => model.partials[2 * k + 1]),
      };
      const out = new Float32Array(size.frames);
      readTable(laidOut(lines, most, 8192, null).tone, out, size.repeats, null);
      for (let n = 0; n < out.length; n++) out[n] *= gain * pitch.gains.chanter;
      return out;
    };
    const whole = made(count);
    // Half way between two partials; a half is rounded to the even one, as Python does.
    const under = Math.floor(sound.parting_hz / hz);
    const low = made(Math.min(count, under + (under % 2)));
    return this._told(whole, low, size.repeats, hz, model.note, 0, 0);
  }

  /**
   * @param {Float32Array} samples @param {Float32Array} low @param {number} periods
   * @param {number} hz @param {number} note @param {number} shift @param {number} lag
   * @returns {Tone}
   */
  _told(samples, low, periods, hz, note, shift, lag) {
    const [step, peak] = [largestStep(samples), highestPeak(samples)];
    return { samples, low, step, peak, periods, hz, note, shift, lag };
  }

  /** Whether the drones are made. */
  get hasDrones() {
    return this._drones !== null;
  }

  /** Return the drones' loop, left and right. */
  drones() {
    if (!this._drones) {
      const { sound, pitch } = this;
      const { frames, hz } = this.droneSize;
      const [left, right] = [new Float32Array(frames), new Float32Array(frames)];
      for (const [number, lines] of sound.drones.entries()) {
        const own = number === 2 ? hz : 2 * hz;
        const { samples } = loopOf(lines, own, sound, {
          breath: sound.drone_breath,
          seed: sound.drone_seed + number,
          swing: number === 1 && sound.drone_breath ? sound.swing : 0,
          gain: pitch.gains.drones,
          parted: false,
          loopPeriods: sound.drones[2].periods,
          loopHz: hz,
          finest: FINEST_DRONE,
        });
        const [toLeft, toRight] = sound.drone_pan[number];
        for (let n = 0; n < frames; n++) {
          left[n] += toLeft * samples[n];
          right[n] += toRight * samples[n];
        }
      }
      this._drones = [left, right];
    }
    return this._drones;
  }
}

/**
 * The noise of fingers: a loop whose peak is 1.
 * @param {any} sound
 */
export function noiseLoop(sound) {
  const size = sound.noise.frames;
  const re = new Float64Array(size);
  const im = new Float64Array(size);
  for (let bin = 1; bin < size / 2; bin++) {
    const hz = (bin * sound.rate) / size;
    if (hz > sound.highest_of_rate * sound.rate) break;
    const strength = noiseSize(hz, sound.noise);
    const angle = 2 * Math.PI * turn(sound.noise.seed, bin);
    re[bin] = re[size - bin] = strength * Math.cos(angle);
    im[bin] = strength * Math.sin(angle);
    im[size - bin] = -im[bin];
  }
  inverse(re, im);
  const loop = new Float32Array(re);
  const peak = highestPeak(loop);
  for (let n = 0; n < size; n++) loop[n] /= peak;
  return loop;
}

/** Where in the noise a stroke begins. @param {number} seed @param {number} room */
export function noisePlace(seed, room) {
  return mixed(seed) % room;
}
