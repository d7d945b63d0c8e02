// A line's moments placed at a tempo: the rule of `renderer/timing/loop_data.py`, nothing of its own.

import { ONE, ZERO, asText, fraction, isLess, isSame, minus, over, plus, readFraction, times } from "./exact.js";

/** @typedef {import("./exact.js").Fraction} Fraction */
/** @typedef {{beats: Fraction, seconds: Fraction}} Moment */
/** @typedef {{heard: Moment[], needs: Fraction, isHeard: boolean, sides: string[]}} Room */
/**
 * @typedef {{start: Moment[], lasts: Moment[], note: number|null, gracenote: number|null,
 *   role: string, bar: number, item: number, slot: number, side: string, id: string,
 *   gracenoteId: string|null}} Sounding
 */
/**
 * @typedef {{start: Fraction, beats: Fraction, stretch: Fraction, meter: number,
 *   compound: boolean, offset: Fraction, written: number, number: string}} Bar
 */
/**
 * @typedef {{beats: Fraction, fastest: Fraction|null, comfortable: Fraction, quick: Fraction,
 *   leadIn: Fraction, bars: Bar[], items: {bar: number, item: number, beat: Fraction}[],
 *   soundings: Sounding[], rooms: Room[],
 *   offTheBeat: Map<string, {start: Fraction, lasts: Fraction}[]>}} Line
 */

const TWO = fraction(2n);
const MINUTE = fraction(60n);

/** @param {string[]} plain @returns {Moment} */
function moment(plain) {
  return { beats: readFraction(plain[0] ?? ""), seconds: readFraction(plain[1] ?? "") };
}

/** @param {number} bar @param {number} item @param {boolean} leadsIn */
function side(bar, item, leadsIn) {
  return `${bar}/${item}/${leadsIn ? 1 : 0}`;
}

/**
 * Read a line from what `loop_data` has written.
 * @param {any} plain
 * @returns {Line}
 */
export function readLine(plain) {
  return {
    beats: readFraction(plain.beats),
    fastest: plain.fastest === null ? null : readFraction(plain.fastest),
    offTheBeat: new Map(
      Object.entries(plain.off_the_beat).map(([tempo, rows]) => [
        tempo,
        rows.map((/** @type {string[]} */ row) => ({
          start: readFraction(row[0]),
          lasts: readFraction(row[1]),
        })),
      ]),
    ),
    comfortable: readFraction(plain.comfortable),
    quick: readFraction(plain.quick),
    leadIn: readFraction(plain.lead_in),
    bars: plain.bars.map((/** @type {any} */ bar) => ({
      ...bar,
      start: readFraction(bar.start),
      beats: readFraction(bar.beats),
      stretch: readFraction(bar.stretch),
      offset: readFraction(bar.offset),
    })),
    items: plain.items.map((/** @type {any} */ one) => ({
      bar: one[0],
      item: one[1],
      beat: readFraction(one[2]),
    })),
    soundings: plain.soundings.map((/** @type {any} */ one) => ({
      start: one.start.map(moment),
      lasts: one.gracenote_lasts.map(moment),
      note: one.note,
      gracenote: one.gracenote,
      role: one.role,
      bar: one.bar,
      item: one.item,
      slot: one.slot,
      side: side(one.bar, one.item, one.leads_in),
      id: one.id,
      gracenoteId: one.gracenote_id,
    })),
    rooms: plain.rooms.map((/** @type {any} */ one) => ({
      heard: one.heard.map(moment),
      needs: readFraction(one.needs),
      isHeard: one.is_heard,
      sides: one.sides.map((/** @type {[number, number, boolean]} */ s) => side(...s)),
    })),
  };
}

/** Seconds at so many seconds a beat. @param {Moment} one @param {Fraction} beat */
function at(one, beat) {
  return plus(times(one.beats, beat), one.seconds);
}

/** @param {Moment} a @param {Moment} b */
function isSameMoment(a, b) {
  return isSame(a.beats, b.beats) && isSame(a.seconds, b.seconds);
}

/**
 * How long what takes its time from a room may be: 2 as it should, 1 with the least inner notes, 0
 * with the least gracenotes too.
 * @param {Room} room
 * @param {Line} line
 * @param {Fraction} beat
 * @returns {Fraction}
 */
function degreeOf(room, line, beat) {
  const [own, between, least] = /** @type {[Moment, Moment, Moment]} */ (room.heard);
  const shrinks = !isSameMoment(own, between);
  const enough = room.isHeard ? line.quick : ZERO;
  const plenty = room.isHeard && shrinks ? line.comfortable : enough;
  const left = minus(at(own, beat), plenty);
  if (left.n >= 0n) return TWO;
  const leftBetween = minus(at(between, beat), enough);
  if (leftBetween.n >= 0n) return plus(ONE, over(leftBetween, minus(leftBetween, left)));
  if (isSameMoment(between, least)) return ONE;
  const leftAtLeast = minus(at(least, beat), room.needs);
  return leftAtLeast.n > 0n ? over(leftAtLeast, minus(leftAtLeast, leftBetween)) : ZERO;
}

/**
 * @param {Moment[]} ways as it should be, with the least inner notes, with the least gracenotes
 * @param {Fraction} degree
 * @param {Fraction} beat
 */
function placedBy(ways, degree, beat) {
  const own = at(/** @type {Moment} */ (ways[0]), beat);
  if (ways.length === 1 || isSame(degree, TWO)) return own;
  const between = at(/** @type {Moment} */ (ways[1]), beat);
  const least = at(/** @type {Moment} */ (ways[2]), beat);
  const upper = !isLess(degree, ONE);
  const [longer, shorter] = upper ? [own, between] : [between, least];
  const share = upper ? minus(degree, ONE) : degree;
  return plus(shorter, times(share, minus(longer, shorter)));
}

/**
 * Return when each sounding of a line begins, in seconds from the line's start, and how long its
 * gracenote lasts.
 * @param {Line} line
 * @param {Fraction} beat seconds that a beat lasts
 * @returns {{start: Fraction, lasts: Fraction, sounding: Sounding}[]}
 */
export function placed(line, beat) {
  const given = line.offTheBeat.get(asText(over(MINUTE, beat)));
  if (given) return line.soundings.map((sounding, index) => ({ ...given[index], sounding }));
  /** @type {Map<string, Fraction>} */
  const degrees = new Map();
  for (const room of line.rooms) {
    const degree = degreeOf(room, line, beat);
    for (const name of room.sides) {
      const known = degrees.get(name);
      if (known === undefined || isLess(degree, known)) degrees.set(name, degree);
    }
  }
  return line.soundings.map((sounding) => {
    const degree = degrees.get(sounding.side) ?? TWO;
    return {
      start: placedBy(sounding.start, degree, beat),
      lasts: placedBy(sounding.lasts, degree, beat),
      sounding,
    };
  });
}
