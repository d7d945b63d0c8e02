// What is played, section by section, as events in exact time and as frames of sound.
//
// A rendition asks for its next section only when the one before has been laid out, so that it
// can go on for ever and change on the way. What it plays at a frame depends on nothing but the
// sections: laid out anew with the same ones it gives the same samples.

import { ONE, ZERO, frameAt, fraction, isLess, minus, over, plus, times } from "./exact.js";
import { placed } from "./moments.js";
import { rollSound } from "./rolls.js";
import { Stretcher, addStretch } from "./splice.js";

/** @typedef {import("./exact.js").Fraction} Fraction */
/** @typedef {import("./moments.js").Line} Line */
/** @typedef {import("./tones.js").Bank} Bank */
/** @typedef {import("./splice.js").Stretch} Stretch */
/** @typedef {import("./music.js").Music} Music */
/**
 * @typedef {object} CountIn What a line begins after.
 * @property {number} bars of clicks; 0 for no count-in
 * @property {boolean} rolls two rolls of the snare drum instead of clicks
 * @property {number|null} introduction the note that the chanter sounds for the last beat
 */
/**
 * @typedef {object} Section
 * @property {"clicks"|"line"|"turn"|"quiet"} kind clicks before a line, a line, the learner's turn
 *   at it, or time without anything
 * @property {Line} line
 * @property {Fraction} beat seconds that a beat lasts
 * @property {Bank} bank
 * @property {Fraction} from beats into the line at which it begins
 * @property {Fraction} to beats into the line at which it ends
 * @property {CountIn} countIn of clicks
 * @property {boolean} noises whether the crossing noises that lurk in it are heard
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
/** @typedef {{frame: number, lasts: Fraction, section: number}} Roll of so many seconds */
/** @typedef {{start: Fraction, lasts: Fraction, sounding: any, section: number}} Taken */

const ROLL_BEATS = 3;
const ROLL_COUNT = 4;
const CROSSING_NOISE = fraction(25n, 1000n);
const NOISE_ROLE = "crossing noise";

/** How many beats of clicks, or rolls and their rests, lead into a place of a line.
 * @param {Section} section */
export function leadInBeats(section) {
  const { line, from, countIn } = section;
  const bar = line.bars[barAt(line, from)];
  if (!bar || !countIn.bars) return ZERO;
  const into = over(minus(from, bar.start), bar.stretch);
  const place = plus(bar.offset, into);
  if (!countIn.rolls) return plus(fraction(BigInt(countIn.bars * bar.meter)), place);
  const beats = fraction(BigInt(2 * ROLL_COUNT));
  const pickup = place.n ? minus(bar.beats, into) : ZERO;
  const rest = fraction(BigInt(ROLL_COUNT - ROLL_BEATS));
  return isLess(rest, pickup) ? beats : minus(beats, pickup);
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

export class Rendition {
  /**
   * @param {Music} music
   * @param {(number: number) => Section|null} nextSection by its number from 0; null to end
   */
  constructor(music, nextSection) {
    this.music = music;
    this.sound = music.sound;
    this.nextSection = nextSection;
    /** @type {(Section & {start: Fraction, frame: number, endFrame: number})[]} */
    this.sections = [];
    /** @type {PlayedEvent[]} */
    this.events = [];
    /** @type {Stretch[]} */
    this.stretches = [];
    /** @type {Click[]} */
    this.clicks = [];
    /** @type {Roll[]} */
    this.rolls = [];
    this.ended = false;
    this._end = ZERO;
    this._stretcher = new Stretcher(this.sound.changes, this.sound.rate);
    /** @type {Taken|null} */
    this._last = null;
    /** @type {number|null} */
    this._note = null;
    /** @type {number|null} */
    this._tone = null;
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

  /** The frame at which drones strike in: with the second of two rolls, else with all else. */
  get dronesStart() {
    this.extendTo(0);
    return this.rolls[0]?.section === 0 ? (this.rolls[1]?.frame ?? 0) : 0;
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
      for (const one of this._soundings(section, start)) this._take({ ...one, section: number }, one.start);
    } else if (start.n !== end.n || start.d !== end.d) {
      this._take({ start, lasts: ZERO, sounding: null, section: number }, start);
      this._introduce(section, end, number);
    }
    this._addClicks(section, start, number);
  }

  /**
   * What a line's section sounds, in seconds of the whole.
   * @param {Section} section @param {Fraction} start
   */
  _soundings(section, start) {
    const { line, from, to } = section;
    const beats = new Map(line.items.map((one) => [`${one.bar}/${one.item}`, one.beat]));
    const shift = minus(start, times(from, section.beat));
    const found = [];
    for (const one of placed(line, section.beat)) {
      const beat = beats.get(`${one.sounding.bar}/${one.sounding.item}`) ?? ZERO;
      if (isLess(beat, from) || !isLess(beat, to)) continue;
      found.push({ ...one, start: plus(shift, one.start) });
    }
    // Before the very beginning there is no time: the first note begins with it.
    const first = found[0];
    if (!first || first.start.n >= 0n) return found;
    const early = first.start;
    for (const one of found) {
      const isOfIt = one.sounding.bar === first.sounding.bar && one.sounding.item === first.sounding.item;
      if (isOfIt) one.start = minus(one.start, early);
    }
    return found;
  }

  /** What the chanter sounds before a line. @param {Section} section @param {Fraction} end @param {number} number */
  _introduce(section, end, number) {
    if (section.kind !== "clicks" || section.countIn.introduction === null) return;
    const bar = section.line.bars[barAt(section.line, section.from)];
    const start = minus(end, times(section.beat, bar ? bar.stretch : ONE));
    const note = section.countIn.introduction;
    const sounding = { note, gracenote: null, role: "introduction", id: "", bar: 0 };
    this._take({ start, lasts: ZERO, sounding, section: number }, start);
  }

  /**
   * Lay out what sounds until the next sounding begins, and remember that one.
   * @param {Taken|null} next
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
      this._note = this._tone = null;
      this._event(start, end, null, "rest", sounding?.id ?? "", sounding ? sounding.bar - 1 : -1, section);
      return;
    }
    const bar = sounding.bar - 1;
    if (sounding.gracenote !== null) {
      let graceEnd = plus(start, last.lasts);
      // In a loop of a learner's own, what follows may come earlier than it was written for.
      if (isLess(end, graceEnd)) graceEnd = end;
      const row = this.music.gracenotes[this._note ?? 9]?.[sounding.gracenote];
      const tone = row?.[sounding.note] ?? sounding.gracenote;
      this._event(start, graceEnd, tone, "gracenote", sounding.gracenoteId, bar, section);
      start = graceEnd;
    }
    if (isLess(start, end)) this._noteWithNoises(last, next, start, end);
  }

  /**
   * Lay out a note, with the crossing noises that take their time from it.
   * @param {Taken} last @param {Taken|null} next what follows it
   * @param {Fraction} start @param {Fraction} end
   */
  _noteWithNoises(last, next, start, end) {
    const { sounding, section } = last;
    const quarter = over(minus(end, start), fraction(4n));
    const most = isLess(quarter, CROSSING_NOISE) ? quarter : CROSSING_NOISE;
    const bar = sounding.bar - 1;
    const before = this._noise(section, sounding.noise, sounding.note);
    if (before !== null) {
      const noiseEnd = plus(start, most);
      this._event(start, noiseEnd, before, NOISE_ROLE, sounding.id, bar, section);
      start = noiseEnd;
    }
    const following = next?.sounding;
    this._tone = this._note = sounding.note;
    const led = following?.gracenote ?? following?.note;
    const after = this._noise(next ? next.section : -1, following?.noiseBefore, led);
    const noteEnd = after === null ? end : minus(end, most);
    this._event(start, noteEnd, sounding.note, sounding.role, sounding.id, bar, section);
    if (after !== null && next) {
      this._event(noteEnd, end, after, NOISE_ROLE, following.id, following.bar - 1, next.section);
    }
  }

  /**
   * The tone of a crossing noise, or null where none is heard.
   * @param {number} section @param {number|null|undefined} heard @param {number|null} note after it
   */
  _noise(section, heard, note) {
    if (typeof heard !== "number" || !this.sections[section]?.noises) return null;
    return this.music.noises[`${this._tone}/${note}/${heard}`] ?? null;
  }

  /**
   * @param {Fraction} from @param {Fraction} to @param {number|null} tone @param {string} role
   * @param {string} id @param {number} bar @param {number} section
   */
  _event(from, to, tone, role, id, bar, section) {
    const { rate } = this.sound;
    const [start, end] = [frameAt(from, rate), frameAt(to, rate)];
    this.events.push({ start, end, tone, role, id, bar, section });
    this._tone = tone;
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
      if (section.countIn.rolls && section.countIn.bars) {
        const lasts = times(fraction(BigInt(ROLL_BEATS)), beat);
        for (const at of [start, plus(start, times(fraction(BigInt(ROLL_COUNT)), beat))]) {
          this.rolls.push({ frame: frameAt(at, rate), lasts, section: number });
        }
        return;
      }
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
      addStretch(out, first, stretch, this.music.noise, this.sound.changes);
    }
    return out;
  }

  /**
   * Return the metronome's and the snare drum's part from one frame to another.
   * @param {number} first
   * @param {number} end
   * @param {{clicks: number, rolls: number}} gains
   */
  metronome(first, end, gains) {
    this.extendTo(end);
    const out = new Float32Array(end - first);
    const { strokes } = this.music;
    const longest = Math.max(...Object.values(strokes).map((one) => one.length));
    const { clicks } = this;
    for (let n = firstAfter(clicks, first - longest, (one) => one.frame); n < clicks.length; n++) {
      const click = /** @type {Click} */ (clicks[n]);
      if (click.frame >= end) break;
      const stroke = strokes[click.kind];
      if (stroke && click.heard) addStroke(out, first, stroke, click.frame, gains.clicks);
    }
    for (const roll of this.rolls) {
      if (roll.frame >= end) break;
      addStroke(out, first, rollSound(roll.lasts, ROLL_BEATS, this.sound), roll.frame, gains.rolls);
    }
    return out;
  }
}

/**
 * Add the part of a struck sound that falls into a window of the track.
 * @param {Float32Array} out @param {number} first @param {Float32Array} stroke
 * @param {number} frame at which it is struck @param {number} gain
 */
function addStroke(out, first, stroke, frame, gain) {
  const stop = Math.min(first + out.length, frame + stroke.length);
  for (let at = Math.max(first, frame); at < stop; at++) {
    out[at - first] += gain * stroke[at - frame];
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
