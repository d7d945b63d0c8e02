// A line's moments placed at a tempo: the rule of `renderer/timing/loop_data.py`, nothing of its own.

import { ONE, ZERO, fraction, isLess, isSame, minus, over, plus, readFraction, times } from "./exact.js";

/** @typedef {import("./exact.js").Fraction} Fraction */
/** @typedef {{beats: Fraction, seconds: Fraction}} Moment */
/** @typedef {{bar: number, item: number, earlier: Fraction, later: Fraction}} Place what gives way */
/**
 * @typedef {{heard: Moment[], needs: Fraction, isHeard: boolean, sides: string[],
 *   earlier: number|null, later: number|null}} Room `earlier` and `later` are numbers of places
 */
/**
 * @typedef {{start: Moment[], lasts: Moment[], note: number|null, gracenote: number|null,
 *   role: string, bar: number, item: number, slot: number, side: string, id: string,
 *   gracenoteId: string|null, place: number|null, noise: number|null, noiseBefore: number|null}}
 *   Sounding `noise` lurks before its note, `noiseBefore` before its gracenote
 */
/**
 * @typedef {{start: Fraction, beats: Fraction, stretch: Fraction, meter: number,
 *   compound: boolean, offset: Fraction, written: number, number: string}} Bar
 */
/**
 * @typedef {{beats: Fraction, fastest: Fraction|null, onTheBeat: Fraction|null,
 *   gracenote: Fraction|null, comfortable: Fraction, quick: Fraction,
 *   bars: Bar[], items: {bar: number, item: number, beat: Fraction}[],
 *   soundings: Sounding[], rooms: Room[], places: Place[]}} Line
 */
/** @typedef {{start: Fraction, lasts: Fraction, sounding: Sounding}} PlacedSounding */

const TWO = fraction(2n);
const MINUTE = fraction(60n);
const MOST_ROUNDS = 3;

/** @param {string[]} plain @param {Fraction} gracenote @returns {Moment} */
function moment(plain, gracenote) {
  const seconds = readFraction(plain[1] ?? "");
  const more = plain[2] === undefined ? ZERO : times(readFraction(plain[2]), gracenote);
  return { beats: readFraction(plain[0] ?? ""), seconds: plus(seconds, more) };
}

/** @param {number} bar @param {number} item @param {boolean} leadsIn */
function side(bar, item, leadsIn) {
  return `${bar}/${item}/${leadsIn ? 1 : 0}`;
}

/** Read what is written in rows as objects. @param {any} table @returns {any[]} */
function unfolded(table) {
  if (Array.isArray(table)) return table;
  return table.rows.map((/** @type {any[]} */ row) =>
    Object.fromEntries(table.keys.map((/** @type {string} */ key, /** @type {number} */ n) => [key, row[n]])),
  );
}

/**
 * Read a line from what `loop_data` has written.
 * @param {any} plain
 * @param {Fraction|null} gracenote seconds that gracenotes last; null for the line's own length,
 *   which lines whose `gracenote` is null keep in any case
 * @returns {Line}
 */
export function readLine(plain, gracenote = null) {
  const own = plain.gracenote === null ? null : readFraction(plain.gracenote);
  const least = readFraction(plain.gracenote_least);
  const asked = own && gracenote ? (isLess(gracenote, least) ? least : gracenote) : own;
  const read = (/** @type {string[]} */ one) => moment(one, asked ?? ZERO);
  /** @type {Place[]} */
  const places = plain.places.map((/** @type {any} */ one) => ({
    bar: one[0],
    item: one[1],
    earlier: readFraction(one[2]),
    later: readFraction(one[3]),
  }));
  const placeOf = new Map(places.map((one, index) => [`${one.bar}/${one.item}`, index]));
  /** @type {Map<string, number>} */
  const noises = new Map(
    plain.noises.map((/** @type {any} */ one) => [`${one[0]}/${one[1] ? 1 : 0}`, one[2]]),
  );
  return {
    beats: readFraction(plain.beats),
    fastest: plain.fastest === null ? null : readFraction(plain.fastest),
    onTheBeat: plain.on_the_beat === null ? null : readFraction(plain.on_the_beat),
    gracenote: asked,
    comfortable: readFraction(plain.comfortable),
    quick: readFraction(plain.quick),
    bars: unfolded(plain.bars).map((bar) => ({
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
    soundings: unfolded(plain.soundings).map((one, index) => ({
      start: one.start.map(read),
      lasts: one.gracenote_lasts.map(read),
      note: one.note,
      gracenote: one.gracenote,
      role: one.role,
      bar: one.bar,
      item: one.item,
      slot: one.slot,
      side: side(one.bar, one.item, one.leads_in),
      id: one.id,
      gracenoteId: one.gracenote_id,
      place: placeOf.get(`${one.bar}/${one.item}`) ?? null,
      noise: noises.get(`${index}/0`) ?? null,
      noiseBefore: noises.get(`${index}/1`) ?? null,
    })),
    rooms: unfolded(plain.rooms).map((one) => ({
      heard: one.heard.length === 1 ? Array(3).fill(read(one.heard[0])) : one.heard.map(read),
      needs: readFraction(one.needs),
      isHeard: one.is_heard,
      sides: one.sides.map((/** @type {[number, number, boolean]} */ of) => side(...of)),
      earlier: one.earlier,
      later: one.later,
    })),
    places,
  };
}

/** @param {Moment} one @param {Fraction} beat */
function at(one, beat) {
  return plus(times(one.beats, beat), one.seconds);
}

/** @param {Moment} a @param {Moment} b */
function isSameMoment(a, b) {
  return isSame(a.beats, b.beats) && isSame(a.seconds, b.seconds);
}

/**
 * How late places must come, pushed on by those before them from where they start; with `isBack`
 * how early, pushed back by those after them, counted backwards.
 * @param {Line} line @param {Fraction} beat @param {boolean} isBack
 * @param {(place: number) => Fraction} start
 */
function pushed(line, beat, isBack, start) {
  /** @type {Map<number, Fraction>} */
  const found = new Map();
  const order = isBack ? [...line.rooms].reverse() : line.rooms;
  for (let round = 0; round < MOST_ROUNDS; round++) {
    let isSettled = true;
    for (const room of order) {
      const [by, place] = isBack ? [room.later, room.earlier] : [room.earlier, room.later];
      if (place === null) continue;
      let push = minus(room.needs, at(/** @type {Moment} */ (room.heard[2]), beat));
      if (by !== null) push = plus(push, found.get(by) ?? start(by));
      if (isLess(found.get(place) ?? start(place), push)) {
        found.set(place, push);
        isSettled = false;
      }
    }
    if (isSettled) break;
  }
  return found;
}

/**
 * How many seconds places come off their beats, as `renderer/timing/giving_way.py` has it.
 * @param {Line} line @param {Fraction} beat
 * @returns {Map<number, Fraction>}
 */
function offTheBeat(line, beat) {
  if (!line.onTheBeat || !isLess(line.onTheBeat, over(MINUTE, beat))) return new Map();
  const latest = pushed(line, beat, true, (place) =>
    minus(ZERO, /** @type {Place} */ (line.places[place]).later),
  );
  /** @type {Map<number, Fraction>} */
  const start = new Map();
  for (const [place, late] of latest) start.set(place, late.n > 0n ? minus(ZERO, late) : ZERO);
  const late = pushed(line, beat, false, (place) => start.get(place) ?? ZERO);
  return new Map([...start, ...late]);
}

/**
 * How long what takes its time from a room may be: 2 as it should, 1 with the least inner notes, 0
 * with the least gracenotes too.
 * @param {Room} room
 * @param {Line} line
 * @param {Fraction} beat
 * @param {Fraction} moved by how much longer it is heard since places come off their beats
 * @returns {Fraction}
 */
function degreeOf(room, line, beat, moved) {
  const [own, between, least] = /** @type {[Moment, Moment, Moment]} */ (room.heard);
  const [shrinks, shrinksMore] = [!isSameMoment(own, between), !isSameMoment(between, least)];
  if (!shrinks && !shrinksMore) return TWO;
  const enough = room.isHeard ? line.quick : ZERO;
  const plenty = room.isHeard && shrinks ? line.comfortable : enough;
  const left = minus(plus(at(own, beat), moved), plenty);
  if (left.n >= 0n) return TWO;
  const leftBetween = minus(plus(at(between, beat), moved), enough);
  if (leftBetween.n >= 0n) return plus(ONE, over(leftBetween, minus(leftBetween, left)));
  if (!shrinksMore) return ONE;
  const leftAtLeast = minus(plus(at(least, beat), moved), room.needs);
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

/** What was placed last of a line: rounds of one tempo are placed once.
 * @type {WeakMap<Line, {beat: Fraction, placed: PlacedSounding[]}>} */
const lastPlaced = new WeakMap();

/**
 * Return when each sounding of a line begins, in seconds from the line's start, and how long its
 * gracenote lasts.
 * @param {Line} line
 * @param {Fraction} beat seconds that a beat lasts
 * @returns {PlacedSounding[]}
 */
export function placed(line, beat) {
  const known = lastPlaced.get(line);
  if (known && isSame(known.beat, beat)) return known.placed;
  const found = placedAnew(line, beat);
  lastPlaced.set(line, { beat, placed: found });
  return found;
}

/** @param {Line} line @param {Fraction} beat @returns {PlacedSounding[]} */
function placedAnew(line, beat) {
  const offsets = offTheBeat(line, beat);
  const offset = (/** @type {number|null} */ place) =>
    (place === null ? undefined : offsets.get(place)) ?? ZERO;
  /** @type {Map<string, Fraction>} */
  const degrees = new Map();
  for (const room of line.rooms) {
    const degree = degreeOf(room, line, beat, minus(offset(room.later), offset(room.earlier)));
    for (const name of room.sides) {
      const known = degrees.get(name);
      if (known === undefined || isLess(degree, known)) degrees.set(name, degree);
    }
  }
  return line.soundings.map((sounding) => {
    const degree = degrees.get(sounding.side) ?? TWO;
    return {
      start: plus(placedBy(sounding.start, degree, beat), offset(sounding.place)),
      lasts: placedBy(sounding.lasts, degree, beat),
      sounding,
    };
  });
}
