// What is played, section by section, as events in exact time and as frames of sound.
//
// A performance asks for its next section only when the one before has been laid out, so that it
// can go on for ever and change on the way. What it plays at a frame depends on nothing but the
// sections: laid out anew with the same ones it gives the same samples.

import { ZERO, frameAt, fraction, isLess, minus, over, plus, times } from "./exact.js";
import { placed } from "./moments.js";
import { Stretcher, addStretch } from "./splice.js";

/** @typedef {import("./exact.js").Fraction} Fraction */
/** @typedef {import("./moments.js").Line} Line */
/** @typedef {import("./tones.js").Bank} Bank */
/** @typedef {import("./splice.js").Stretch} Stretch */
/**
 * @typedef {object} Section
 * @property {"clicks"|"line"|"turn"|"quiet"} kind clicks before a line, a line, the learner's turn
 *   at it, or time without anything
 * @property {Line} line
 * @property {Fraction} beat seconds that a beat lasts
 * @property {Bank} bank
 * @property {Fraction} from beats into the line at which it begins
 * @property {Fraction} to beats into the line at which it ends
 * @property {boolean} subdivide whether the metronome marks halves or thirds of the beat
 * @property {(bar: number) => boolean} isHeard whether it is heard in a bar, counted from 0
 * @property {any} tag what the player knows it by
 */
/**
 * @typedef {object} PlayedEvent
 * @property {number} start frames
 * @property {number} end
 * @property {number|null} tone
 * @property {string} role
 * @property {string} id the written note's name; empty for what nobody wrote
 * @property {number} bar the bar of the line as it is played, from 0; -1 outside
 * @property {number} section
 */
/** @typedef {{frame: number, kind: "accent"|"beat"|"subdivision", bar: number, beat: number, heard: boolean, section: number}} Click */

/** How many beats of clicks lead into a place of a line. @param {Section} section */
export function leadInBeats(section) {
  const { line, from } = section;
  const bar = line.bars[barAt(line, from)];
  if (!bar) return ZERO;
  const into = over(minus(from, bar.start), bar.stretch);
  return plus(plus(fraction(BigInt(bar.meter)), bar.offset), into);
}

/** The bar (from 0) in which a beat of a line lies. @param {Line} line @param {Fraction} beat */
export function barAt(line, beat) {
  let found = 0;
  line.bars.forEach((bar, index) => {
    if (!isLess(beat, bar.start)) found = index;
  });
  return found;
}

/** How long a section lasts, in seconds. @param {Section} section @returns {Fraction} */
export function lengthOf(section) {
  if (section.kind !== "clicks") return times(minus(section.to, section.from), section.beat);
  const bar = section.line.bars[barAt(section.line, section.from)];
  return times(times(leadInBeats(section), bar ? bar.stretch : ZERO), section.beat);
}

/** @param {Fraction} number */
function ceiling(number) {
  const whole = number.n / number.d;
  return Number(whole * number.d < number.n ? whole + 1n : whole);
}

export class Performance {
  /**
   * @param {any} sound the page's constants
   * @param {Float32Array} noise
   * @param {number[][][]} gracenotes the tone of a gracenote, by the note before (10th: silence),
   *   the gracenote and the note after
   * @param {(number: number) => Section|null} nextSection by its number from 0; null to end
   */
  constructor(sound, noise, gracenotes, nextSection) {
    this.sound = sound;
    this.noise = noise;
    this.gracenotes = gracenotes;
    this.nextSection = nextSection;
    /** @type {(Section & {start: Fraction, frame: number, endFrame: number})[]} */
    this.sections = [];
    /** @type {PlayedEvent[]} */
    this.events = [];
    /** @type {Stretch[]} */
    this.stretches = [];
    /** @type {Click[]} */
    this.clicks = [];
    this.ended = false;
    this._end = ZERO;
    this._stretcher = new Stretcher(sound.changes, sound.rate);
    /** @type {{start: Fraction, lasts: Fraction, sounding: any, section: number}|null} */
    this._last = null;
    /** @type {number|null} */
    this._note = null;
  }

  /** The frame up to which everything is known. */
  get knownTo() {
    const last = this.stretches[this.stretches.length - 1];
    return this.ended ? Infinity : last ? last.stop : 0;
  }

  /** Lay out sections until everything is known up to a frame. @param {number} frame */
  extendTo(frame) {
    while (!this.ended && (this.knownTo <= frame || this._clicksTo() <= frame)) this._nextSection();
  }

  _clicksTo() {
    const last = this.sections[this.sections.length - 1];
    return last ? last.endFrame : -1;
  }

  _nextSection() {
    const { rate } = this.sound;
    const section = this.nextSection(this.sections.length);
    const start = this._end;
    if (!section) {
      this._take(null, start);
      this.stretches.push(...this._stretcher.rest(frameAt(start, rate)));
      this.ended = true;
      return;
    }
    const number = this.sections.length;
    const end = plus(start, lengthOf(section));
    this._end = end;
    const [frame, endFrame] = [frameAt(start, rate), frameAt(end, rate)];
    this.sections.push({ ...section, start, frame, endFrame });
    if (section.kind === "line") {
      const { line } = section;
      /** @type {Map<string, Fraction>} */
      const beats = new Map(line.items.map((one) => [`${one.bar}/${one.item}`, one.beat]));
      const shift = minus(start, times(section.from, section.beat));
      for (const one of placed(line, section.beat)) {
        const { bar, item } = one.sounding;
        const beat = beats.get(`${bar}/${item}`) ?? ZERO;
        if (isLess(beat, section.from) || !isLess(beat, section.to)) continue;
        const begins = plus(shift, one.start);
        this._take({ ...one, start: begins, section: number }, begins);
      }
    } else {
      this._take({ start, lasts: ZERO, sounding: null, section: number }, start);
    }
    this._addClicks(section, start, number);
  }

  /**
   * Lay out what sounds until the next sounding begins, and remember that one.
   * @param {{start: Fraction, lasts: Fraction, sounding: any, section: number}|null} next
   * @param {Fraction} end
   */
  _take(next, end) {
    const last = this._last;
    if (last && next && isLess(next.start, last.start)) next = { ...next, start: (end = last.start) };
    this._last = next;
    if (!last) return;
    const { sounding, section } = last;
    let { start } = last;
    if (!sounding || sounding.note === null) {
      this._note = null;
      this._event(start, end, null, "rest", sounding?.id ?? "", sounding ? sounding.bar - 1 : -1, section);
      return;
    }
    const bar = sounding.bar - 1;
    if (sounding.gracenote !== null) {
      const graceEnd = plus(start, last.lasts);
      const row = this.gracenotes[this._note ?? 9]?.[sounding.gracenote];
      const tone = row?.[sounding.note] ?? sounding.gracenote;
      this._event(start, graceEnd, tone, "gracenote", sounding.gracenoteId, bar, section);
      start = graceEnd;
    }
    if (isLess(start, end)) {
      this._note = sounding.note;
      this._event(start, end, sounding.note, sounding.role, sounding.id, bar, section);
    }
  }

  /**
   * @param {Fraction} from @param {Fraction} to @param {number|null} tone @param {string} role
   * @param {string} id @param {number} bar @param {number} section
   */
  _event(from, to, tone, role, id, bar, section) {
    const { rate } = this.sound;
    const [start, end] = [frameAt(from, rate), frameAt(to, rate)];
    this.events.push({ start, end, tone, role, id, bar, section });
    const bank = this.sections[section]?.bank;
    const sounds = tone === null || !bank ? null : bank.tone(tone);
    this.stretches.push(...this._stretcher.take(start, end, sounds));
  }

  /** @param {Section} section @param {Fraction} start @param {number} number */
  _addClicks(section, start, number) {
    const { rate } = this.sound;
    if (section.kind === "quiet") return;
    if (section.kind === "clicks") {
      const bar = section.line.bars[barAt(section.line, section.from)];
      if (!bar) return;
      const beat = times(section.beat, bar.stretch);
      const count = ceiling(leadInBeats(section));
      for (let index = 0; index < count; index++) {
        const at = plus(start, times(fraction(BigInt(index)), beat));
        const kind = index % bar.meter ? "beat" : "accent";
        const place = { bar: -1, beat: index % bar.meter, heard: true, section: number };
        this.clicks.push({ frame: frameAt(at, rate), kind, ...place });
      }
      return;
    }
    const shift = minus(start, times(section.from, section.beat));
    section.line.bars.forEach((bar, barNumber) => {
      const parts = section.subdivide ? (bar.compound ? 3 : 2) : 1;
      const beat = times(section.beat, bar.stretch);
      const heard = section.isHeard(barNumber);
      for (let index = 0; index < bar.meter * parts; index++) {
        const position = minus(fraction(BigInt(index), BigInt(parts)), bar.offset);
        if (position.n < 0n || !isLess(position, bar.beats)) continue;
        const place = plus(bar.start, times(position, bar.stretch));
        if (isLess(place, section.from) || !isLess(place, section.to)) continue;
        const at = plus(plus(shift, times(bar.start, section.beat)), times(position, beat));
        const kind = index % parts ? "subdivision" : index ? "beat" : "accent";
        const counted = Math.floor(index / parts);
        const frame = frameAt(at, rate);
        this.clicks.push({ frame, kind, bar: barNumber, beat: counted, heard, section: number });
      }
    });
  }

  /**
   * Return the chanter's part from one frame to another.
   * @param {number} first
   * @param {number} end
   */
  chanter(first, end) {
    this.extendTo(end);
    const out = new Float32Array(end - first);
    const { stretches } = this;
    for (let n = firstAfter(stretches, first, (one) => one.stop); n < stretches.length; n++) {
      const stretch = /** @type {Stretch} */ (stretches[n]);
      if (stretch.start >= end) break;
      addStretch(out, first, stretch, this.noise, this.sound.changes);
    }
    return out;
  }

  /**
   * Return the metronome's part from one frame to another.
   * @param {number} first
   * @param {number} end
   * @param {Record<string, Float32Array>} strokes at their level
   */
  metronome(first, end, strokes) {
    this.extendTo(end);
    const out = new Float32Array(end - first);
    const longest = Math.max(...Object.values(strokes).map((one) => one.length));
    const { clicks } = this;
    for (let n = firstAfter(clicks, first - longest, (one) => one.frame); n < clicks.length; n++) {
      const click = /** @type {Click} */ (clicks[n]);
      if (click.frame >= end) break;
      const stroke = strokes[click.kind];
      if (!stroke || !click.heard) continue;
      const begin = Math.max(first, click.frame);
      const stop = Math.min(end, click.frame + stroke.length);
      for (let at = begin; at < stop; at++) {
        out[at - first] += stroke[at - click.frame];
      }
    }
    return out;
  }

}

/**
 * The first index at which a rising value is above a limit.
 * @template T
 * @param {T[]} list
 * @param {number} limit
 * @param {(one: T) => number} value
 */
export function firstAfter(list, limit, value) {
  let [low, high] = [0, list.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (value(/** @type {T} */ (list[middle])) > limit) high = middle;
    else low = middle + 1;
  }
  return low;
}
