// Drones striking in: the first moments of their loop, as `renderer/sound/strike_in.py` makes them;
// steady ones swell, as in `renderer/sound/mix.py`.

import { turn } from "./seeded.js";

/**
 * Return the drones' first moments, which end where the loop goes on.
 * @param {Float32Array[]} loop a channel each
 * @param {number} start the frame of the loop at which they begin
 * @param {any} sound the page's constants
 */
export function struckIn(loop, start, sound) {
  const { rate, strike } = sound;
  if (!strike) return swelled(loop, start, Math.round(sound.swell_s * rate));
  const frames = Math.round(strike.strike_s * rate);
  const size = /** @type {Float32Array} */ (loop[0]).length;
  const unsettled = new Float64Array(frames);
  const behind = new Float64Array(frames);
  for (let n = 0; n < frames; n++) {
    unsettled[n] = Math.cos((Math.PI / 2) * Math.min(1, n / rate / strike.unsettled_s)) ** 2;
  }
  let sum = 0;
  for (let n = frames - 1; n >= 0; n--) {
    sum += 1 - 2 ** ((-strike.flat_cents * unsettled[n]) / 1200);
    behind[n] = sum;
  }
  const level = new Float64Array(frames);
  const count = strike.trembling_hz_count;
  const [slowest, fastest] = strike.trembling_hz;
  for (let n = 0; n < frames; n++) {
    const time = n / rate;
    let trembling = 0;
    for (let k = 0; k < count; k++) {
      const hz = slowest + ((fastest - slowest) * k) / (count - 1);
      trembling += Math.sin(2 * Math.PI * (time * hz + turn(strike.seed, k)));
    }
    trembling *= Math.sqrt(2 / count);
    const rise = 0.5 - 0.5 * Math.cos(Math.PI * Math.min(1, time / strike.rise_s));
    level[n] = rise * (1 + strike.trembling * unsettled[n] * trembling);
  }
  const width = Math.max(1, Math.round(rate / strike.smoothing));
  const back = width - 1 - Math.floor((width - 1) / 2);
  let loudest = 0;
  const struck = loop.map((channel) => {
    const read = new Float64Array(frames);
    for (let n = 0; n < frames; n++) {
      const at = start + n + behind[n];
      const whole = Math.floor(at);
      const a = channel[whole % size];
      const b = channel[(whole + 1) % size];
      read[n] = a + (at - whole) * (b - a);
    }
    for (const one of channel) loudest = Math.max(loudest, Math.abs(one));
    const out = new Float32Array(frames);
    for (let n = 0; n < frames; n++) {
      let smooth = 0;
      for (let k = 0; k < width; k++) smooth += read[n - back + k] ?? 0;
      const now = read[n];
      const rough = now - smooth / width;
      const bright = strike.bright * unsettled[n];
      out[n] = level[n] * (now + bright * rough);
    }
    return out;
  });
  const gain = softer(struck, unsettled, loudest);
  for (const channel of struck) {
    for (let n = 0; n < frames; n++) channel[n] *= gain[n];
  }
  return struck;
}

/** @param {Float32Array[]} loop @param {number} start @param {number} frames */
function swelled(loop, start, frames) {
  return loop.map((channel) =>
    Float32Array.from({ length: frames }, (_, n) => {
      const rise = 0.5 - 0.5 * Math.cos((Math.PI * (n + 0.5)) / frames);
      return rise * /** @type {number} */ (channel[(start + n) % channel.length]);
    }),
  );
}

/**
 * A gain that keeps peaks under a limit: least where all is most unsettled, then 1.
 * @param {Float32Array[]} struck
 * @param {Float64Array} unsettled
 * @param {number} highest
 */
function softer(struck, unsettled, highest) {
  const peaks = unsettled.map((_, n) => Math.max(...struck.map((one) => Math.abs(one[n] ?? 0))));
  /** @param {number} depth */
  const fits = (depth) =>
    peaks.every((peak, n) => peak * (1 - depth * Math.sqrt(unsettled[n] ?? 0)) <= highest);
  if (fits(0)) return unsettled.map(() => 1);
  let [depth, step] = [0, 0.5];
  for (let n = 0; n < 12; n++) {
    if (!fits(depth + step)) depth += step;
    step /= 2;
  }
  const most = Math.min(1, depth + 2 * step);
  return unsettled.map((one) => 1 - most * Math.sqrt(one));
}
