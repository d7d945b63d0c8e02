// What comes next: a way of practising to the sections of a rendition, one after another.

import { ONE, ZERO, asNumber, fraction, isLess, isSame, over, plus, readFraction, times } from "./exact.js";

/** @typedef {import("./exact.js").Fraction} Fraction */
/** @typedef {import("./moments.js").Line} Line */
/** @typedef {import("./rendition.js").Section} Section */
/** @typedef {import("./rendition.js").CountIn} CountIn */
/** @typedef {"loop"|"once"|"climb"|"opening"|"echo"|"session"} Mode */
/**
 * @typedef {object} Choice What the learner has chosen.
 * @property {number} version counts changes: rounds decided before one do not bind those after
 * @property {number} lineIndex
 * @property {(lineIndex: number, form: string, gracenote: Fraction|null) => Line|null} lineOf
 * @property {string} form
 * @property {Fraction|null} gracenote seconds that gracenotes last; null as the form has it
 * @property {string[]} openings forms from open to closed
 * @property {Fraction[]} rungs
 * @property {Fraction} tempo
 * @property {Mode} mode
 * @property {number} rounds before each change
 * @property {Fraction|null} from where the loop begins, in beats; null for the whole line
 * @property {Fraction|null} to
 * @property {Fraction|null} startAt where the first round begins
 * @property {string} part of the line that is looped, as the log names it; empty for all of it
 * @property {import("./tones.js").Bank} bank
 * @property {CountIn} countIn
 * @property {boolean} noises whether each second round has the crossing noises that lurk in it
 * @property {boolean} subdivide
 * @property {boolean} dropout
 * @property {(number|string)[][]} plan a day's blocks (line, tempo, how often) and rests (seconds)
 * @property {number} firstBlock the one that a day begins with
 */
/**
 * @typedef {object} Tag What is known of a section besides its music.
 * @property {number} version
 * @property {number} lineIndex
 * @property {string} form
 * @property {Fraction|null} gracenote
 * @property {string} part
 * @property {boolean} isWhole whether it is all of the line, or of the part of it that is looped
 * @property {Fraction} tempo
 * @property {number} round
 * @property {number} block of the day's plan; -1 without one
 */

export const SLOWEST = 10;
export const FASTEST = 400;
const A_MINUTE = fraction(60n);
const MOST_REST_S = 3600;
/** Between the blocks of a day: clicks, as between the lines of a track. */
const LATER_COUNT_IN = { bars: 1, rolls: false, introduction: null };

/** A tempo as it is typed, within what can be played. @param {number} tempo @returns {Fraction} */
export function readTempo(tempo) {
  const within = Math.min(FASTEST, Math.max(SLOWEST, tempo || SLOWEST));
  return readFraction(within.toFixed(4).replace(/\.?0+$/, ""));
}

/** Return the fastest tempo at which a line still fits, or the tempo itself.
 * @param {Line} line @param {Fraction} tempo */
export function fitting(line, tempo) {
  return line.fastest && isLess(line.fastest, tempo) ? line.fastest : tempo;
}

/** The next rung above a tempo at which a line fits, or null.
 * @param {Fraction[]} rungs @param {Fraction} tempo @param {Line} line */
export function rungAbove(rungs, tempo, line) {
  const above = rungs.filter((rung) => isLess(tempo, rung) && isSame(fitting(line, rung), rung));
  return above.reduce((/** @type {Fraction|null} */ a, b) => (a && isLess(a, b) ? a : b), null);
}

/** The next rung below a tempo, or null. @param {Fraction[]} rungs @param {Fraction} tempo */
export function rungBelow(rungs, tempo) {
  const below = rungs.filter((rung) => isLess(rung, tempo));
  return below.reduce((/** @type {Fraction|null} */ a, b) => (a && isLess(b, a) ? a : b), null);
}

/**
 * A choice without anything of a page's own: the first line, looped as it is written.
 * @param {Choice["lineOf"]} lineOf
 * @param {import("./tones.js").Bank} bank
 * @returns {Choice}
 */
export function plainChoice(lineOf, bank) {
  return {
    version: 0,
    lineIndex: 0,
    lineOf,
    form: "written",
    gracenote: null,
    openings: [],
    rungs: [],
    tempo: A_MINUTE,
    mode: "loop",
    rounds: 2,
    from: null,
    to: null,
    startAt: null,
    bank,
    countIn: LATER_COUNT_IN,
    noises: false,
    subdivide: false,
    dropout: false,
    part: "",
    plan: [],
    firstBlock: 0,
  };
}

/**
 * A choice as a page opens with it.
 * @param {any} data a page's
 * @param {Choice["lineOf"]} lineOf
 * @param {import("./tones.js").Bank} bank
 * @returns {Choice}
 */
export function usualChoice(data, lineOf, bank) {
  return {
    ...plainChoice(lineOf, bank),
    tempo: readFraction(data.exercises[0].rungs[0] ?? "60"),
    countIn: data.count_in,
    noises: data.show_crossing,
    subdivide: data.subdivide,
  };
}

/**
 * How and which part of a line is practised, as the log names it; nothing for a line as written.
 * @param {{form: string, gracenote: Fraction|null, part: string}} what
 */
export function waysOf({ form, gracenote, part }) {
  const length = gracenote ? `gracenotes ${Math.round(1000 * asNumber(gracenote))}` : "";
  const own = form === "written" || (length && form.startsWith("gracenotes")) ? "" : form;
  return [own, length, part].filter(Boolean);
}

/**
 * Return the function by which a player asks for sections.
 * @param {Choice} choice may change meanwhile
 * @param {(text: string) => Fraction} read a tempo of the plan
 * @returns {(number: number, before: Section[]) => Section|null}
 */
export function decider(choice, read) {
  return (number, before) =>
    choice.mode === "session"
      ? blockSection(choice, number, read)
      : roundSection(choice, number, before);
}

/** @param {Choice} choice @param {number} number @param {Section[]} before @returns {Section|null} */
function roundSection(choice, number, before) {
  const last = before[before.length - 1];
  const tag = /** @type {Tag|undefined} */ (last?.tag);
  const goesOn = tag !== undefined && tag.version === choice.version && number > 1;
  let tempo = goesOn ? tag.tempo : choice.tempo;
  let form = goesOn ? tag.form : choice.mode === "opening" ? (choice.openings[0] ?? choice.form) : choice.form;
  let round = goesOn ? tag.round : 0;
  if (choice.mode === "once" && number > 1) return null;
  const isTurn = choice.mode === "echo" && last?.kind === "line" && number > 1;
  if (number > 0 && !isTurn) round += 1;
  if (goesOn && !isTurn && round > choice.rounds) {
    const line = choice.lineOf(choice.lineIndex, form, choice.gracenote);
    const above = choice.mode === "climb" && line ? rungAbove(choice.rungs, tempo, line) : null;
    const at = choice.openings.indexOf(form);
    const closer = choice.mode === "opening" && at >= 0 ? choice.openings[at + 1] : undefined;
    if (above || closer) {
      tempo = above ?? tempo;
      form = closer ?? form;
      round = 1;
    }
  }
  const { lineIndex, gracenote } = choice;
  const line = choice.lineOf(lineIndex, form, gracenote) ?? choice.lineOf(lineIndex, "written", gracenote);
  if (!line) return null;
  tempo = fitting(line, tempo);
  const begins = number <= 1 && choice.startAt ? choice.startAt : (choice.from ?? ZERO);
  const rounds = before.filter((one) => one.kind === "line").length;
  const drops = choice.dropout && rounds % 2 === 1;
  const dropped = (rounds >> 1) % Math.max(1, line.bars.length);
  return {
    kind: number === 0 ? "clicks" : isTurn ? "turn" : "line",
    line,
    beat: over(A_MINUTE, tempo),
    bank: choice.bank,
    countIn: choice.countIn,
    noises: choice.noises && rounds % 2 === 1,
    from: begins,
    to: choice.to ?? line.beats,
    subdivide: choice.subdivide,
    isHeard: (bar) => !(drops && bar === dropped),
    tag: {
      version: choice.version,
      lineIndex: choice.lineIndex,
      form,
      gracenote,
      part: choice.part,
      isWhole: isSame(begins, choice.from ?? ZERO),
      tempo,
      round,
      block: -1,
    },
  };
}

/**
 * A section of a day of the plan: of each block a count-in and its rounds, of a rest its time.
 * @param {Choice} choice @param {number} number @param {(text: string) => Fraction} read
 * @returns {Section|null}
 */
function blockSection(choice, number, read) {
  let at = 0;
  for (const [block, item] of choice.plan.entries()) {
    if (block < choice.firstBlock) continue;
    const [lineIndex, text, repeats] = item;
    const isRest = item.length === 1;
    const count = isRest ? 1 : 1 + Number(repeats);
    if (number >= at + count) {
      at += count;
      continue;
    }
    const index = isRest ? choice.lineIndex : Number(lineIndex);
    const { gracenote } = choice;
    const line = choice.lineOf(index, "written", gracenote);
    if (!line) return null;
    const common = {
      line,
      bank: choice.bank,
      countIn: number ? { ...LATER_COUNT_IN, bars: choice.countIn.bars || 1 } : choice.countIn,
      noises: false,
      from: ZERO,
      subdivide: choice.subdivide,
      isHeard: () => true,
    };
    const known = { version: choice.version, form: "written", gracenote, part: "", isWhole: true, block };
    if (isRest) {
      const seconds = Math.min(MOST_REST_S, Math.round(Number(lineIndex)));
      const tag = { ...known, lineIndex: choice.lineIndex, tempo: A_MINUTE, round: 0 };
      return { ...common, kind: "quiet", beat: ONE, to: fraction(BigInt(seconds)), tag };
    }
    const tempo = fitting(line, read(String(text)));
    const round = number - at;
    const tag = { ...known, lineIndex: Number(lineIndex), tempo, round };
    const kind = round ? "line" : "clicks";
    return { ...common, kind, beat: over(A_MINUTE, tempo), to: line.beats, tag };
  }
  return null;
}

/**
 * The number that a bar is known by on sheets and in messages.
 * @param {Line} line
 * @param {number} bar as it is written, from 1
 */
export function numberOfBar(line, bar) {
  return line.bars.find((one) => one.written === bar)?.number ?? String(bar);
}

/**
 * The stretch of a line that bars fill as they are written, in beats; null if there is none.
 * @param {Line} line
 * @param {number} first the number of a written bar
 * @param {number} last
 */
export function stretchOfBars(line, first, last) {
  if (last < first) [first, last] = [last, first];
  const begin = line.bars.findIndex((bar) => bar.written === first);
  const end = line.bars.findIndex((bar, index) => index >= begin && bar.written === last);
  const [one, two] = [line.bars[begin], line.bars[end]];
  if (!one || !two) return null;
  return { from: one.start, to: plus(two.start, times(two.beats, two.stretch)) };
}

/**
 * The stretch of a written note with its neighbours, in beats; null if there is none.
 * @param {Line} line
 * @param {number} bar as it is written
 * @param {number} item
 */
export function stretchOfNote(line, bar, item) {
  const at = line.items.findIndex(
    (one) => one.item === item && line.bars[one.bar - 1]?.written === bar,
  );
  if (at < 0) return null;
  const first = line.items[Math.max(0, at - 1)];
  const beyond = line.items[at + 2];
  if (!first) return null;
  const to = beyond ? beyond.beat : line.beats;
  return isLess(first.beat, to) ? { from: first.beat, to } : null;
}

/** A tempo as people read it, never above what it is. @param {Fraction} tempo */
export function spokenTempo(tempo) {
  const hundredths = Number((tempo.n * 100n) / tempo.d);
  return String(hundredths / 100);
}

