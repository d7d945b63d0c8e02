// The snare drum's rolls, as `renderer/sound/rolls.py` makes them.

import { asNumber, asText, frameAt, fraction, times } from "./exact.js";

/** @typedef {import("./exact.js").Fraction} Fraction */

/** @type {WeakMap<object, Map<string, Float32Array>>} */
const rollsOf = new WeakMap();

/** The nearest whole number; a half to the even one, as Python does. @param {number} number */
function rounded(number) {
  const floor = Math.floor(number);
  if (number - floor !== 0.5) return Math.round(number);
  return floor % 2 ? floor + 1 : floor;
}

/**
 * A whole roll, from its first stroke until the last one has died away.
 * @param {Fraction} lasts seconds
 * @param {number} beats that it goes over
 * @param {any} sound the page's constants, its strokes read
 * @returns {Float32Array}
 */
export function rollSound(lasts, beats, sound) {
  let known = rollsOf.get(sound);
  if (!known) rollsOf.set(sound, (known = new Map()));
  const key = `${asText(lasts)} ${beats}`;
  let made = known.get(key);
  if (!made) {
    if (known.size > 7) known.clear();
    known.set(key, (made = rollAnew(lasts, beats, sound)));
  }
  return made;
}

/** @param {Fraction} lasts @param {number} beats @param {any} sound @returns {Float32Array} */
function rollAnew(lasts, beats, sound) {
  const { rate, roll } = sound;
  const { plain, buzz } = roll;
  const out = new Float32Array(frameAt(lasts, rate) + Math.max(plain.length, buzz.length));
  const count = Math.max(2, rounded((asNumber(lasts) / beats) * roll.buzzes_a_second));
  for (let index = 0; index < count * beats; index++) {
    const at = frameAt(times(lasts, fraction(BigInt(index), BigInt(count * beats))), rate);
    const isPlain = index % count === 0;
    const lively = roll.liveliness_db * (((index * 0.6180339887) % 1) - 0.5);
    const db = isPlain ? 0 : roll.buzz_db + lively + (index % 2 ? roll.left_hand_db : 0);
    const gain = 10 ** (db / 20);
    const stroke = isPlain ? plain : buzz;
    for (let n = 0; n < stroke.length; n++) out[at + n] += gain * stroke[n];
  }
  let peak = 0;
  for (const one of out) peak = Math.max(peak, Math.abs(one));
  const from = roll.round_from * peak;
  for (let n = 0; n < out.length; n++) out[n] = from * Math.tanh(out[n] / from);
  return out;
}
