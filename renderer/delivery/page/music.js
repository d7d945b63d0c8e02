// A page's data, read once: what every player of it needs.

import { readLine } from "./moments.js";
import { noiseLoop, readFloats, readLines, readStroke } from "./tones.js";

/** @typedef {import("./exact.js").Fraction} Fraction */
/** @typedef {import("./moments.js").Line} Line */
/**
 * @typedef {object} Music
 * @property {any} sound constants, lines of tones and strokes, read
 * @property {Float32Array} noise the noise of fingers, a loop
 * @property {Record<string, Float32Array>} strokes of the metronome
 * @property {number[][][]} gracenotes the tone of a gracenote, by the note before (10th: silence),
 *   the gracenote and the note after
 * @property {Record<string, number>} noises the tone of a crossing noise, by the tone before, the
 *   note or gracenote after, and what is heard
 */

/**
 * Read what `renderer.delivery.page.contents.page_contents` has written.
 * @param {any} data as JSON holds it; not to be read twice
 * @returns {Music}
 */
export function readMusic(data) {
  const { sound, gracenotes, noises } = data;
  sound.notes = sound.notes.map(readLines);
  sound.drones = sound.drones.map(readLines);
  for (const one of sound.fingered) one.partials = readFloats(one.partials);
  if (sound.roll) {
    for (const name of ["plain", "buzz"]) sound.roll[name] = readStroke(sound.roll[name]);
  }
  const strokes = Object.fromEntries(
    Object.entries(sound.clicks).map(([kind, one]) => [kind, readStroke(/** @type {any} */ (one))]),
  );
  return { sound, noise: noiseLoop(sound), strokes, gracenotes, noises };
}

/**
 * The lines of an exercise, read when they are first asked for.
 * @param {any} exercise one of a page's
 * @returns {(index: number, form: string, gracenote: Fraction|null) => Line|null}
 */
export function linesOf(exercise) {
  /** @type {Map<string, Line|null>} */
  const known = new Map();
  return (index, form, gracenote) => {
    const plain = exercise.lines[index]?.forms[form];
    const key = `${index}/${form}/${gracenote ? `${gracenote.n}/${gracenote.d}` : ""}`;
    let line = known.get(key);
    if (line === undefined) {
      if (known.size > 99) known.clear();
      known.set(key, (line = plain ? readLine(plain, gracenote) : null));
    }
    return line;
  };
}
