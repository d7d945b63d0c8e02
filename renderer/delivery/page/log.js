// The learner's log, kept in the browser: rounds by day, line and tempo, and what was clean.
//
// It counts what was played and what the learner says of it; it keeps no streaks and no scores.

/**
 * @typedef {object} Entry
 * @property {string} day as in 2026-03-14
 * @property {string} line
 * @property {string} tempo as text of an exact fraction
 * @property {number} rounds
 * @property {number} seconds
 * @property {number} clean how often the learner has said so
 */

const FORM = "rungwise practice log";
const VERSION = 1;
const MOST_ENTRIES = 20000;
const MOST_TEXT = 300;

/** @param {Date} now */
export function dayOf(now) {
  const two = (/** @type {number} */ number) => String(number).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

/** @param {any} one @returns {Entry|null} */
function readEntry(one) {
  if (typeof one !== "object" || one === null) return null;
  const { day, line, tempo, rounds, seconds, clean } = one;
  const isText = typeof day === "string" && typeof line === "string" && typeof tempo === "string";
  if (!isText || !/^\d{4}-\d{2}-\d{2}$/.test(day) || !/^\d{1,12}(\/\d{1,12})?$/.test(tempo)) return null;
  if (line.length > MOST_TEXT) return null;
  const counts = [rounds, seconds, clean];
  if (!counts.every((/** @type {any} */ count) => Number.isFinite(count) && count >= 0 && count < 1e7)) return null;
  return { day, line, tempo, rounds, seconds, clean };
}

/**
 * Read a log; null for what is none.
 * @param {string} text
 * @returns {Entry[]|null}
 */
export function readLog(text) {
  try {
    const plain = JSON.parse(text);
    if (plain.form !== FORM || plain.version !== VERSION || !Array.isArray(plain.entries)) return null;
    const entries = plain.entries.slice(0, MOST_ENTRIES).map(readEntry);
    return entries.every((/** @type {Entry|null} */ one) => one !== null) ? entries : null;
  } catch {
    return null;
  }
}

/** @param {Entry[]} entries */
export function writtenLog(entries) {
  return JSON.stringify({ form: FORM, version: VERSION, entries }, null, 1);
}

export class Log {
  /**
   * @param {string} page by which the page finds its log again
   * @param {Storage|null} storage
   */
  constructor(page, storage) {
    this._key = `rungwise log ${page}`;
    this._storage = storage;
    /** @type {Entry[]} */
    this.entries = [];
    /** Whether the browser keeps it. */
    this.isKept = storage !== null;
    try {
      this.entries = readLog(storage?.getItem(this._key) ?? "") ?? [];
    } catch {
      this.isKept = false;
    }
  }

  /**
   * Add to what is known of a line at a tempo on a day.
   * @param {string} line
   * @param {string} tempo
   * @param {{rounds?: number, seconds?: number, clean?: number}} what
   * @param {Date} now
   */
  add(line, tempo, what, now = new Date()) {
    this._merge({ day: dayOf(now), line, tempo, rounds: 0, seconds: 0, clean: 0, ...what }, true);
    this._keep();
  }

  /**
   * Take over another log; what both know of a day counts once, the larger of the two.
   * @param {Entry[]} entries
   */
  takeOver(entries) {
    for (const one of entries) this._merge(one, false);
    this._keep();
  }

  /** @param {Entry} one @param {boolean} adds */
  _merge(one, adds) {
    const known = this.entries.find(
      (other) => other.day === one.day && other.line === one.line && other.tempo === one.tempo,
    );
    if (!known) {
      if (this.entries.length < MOST_ENTRIES) this.entries.push({ ...one });
      return;
    }
    for (const name of /** @type {const} */ (["rounds", "seconds", "clean"])) {
      known[name] = adds ? known[name] + one[name] : Math.max(known[name], one[name]);
    }
  }

  _keep() {
    try {
      this._storage?.setItem(this._key, writtenLog(this.entries));
    } catch {
      this.isKept = false;
    }
  }

  /** What follows a line's name where a part of it was practised, or another way to play it.
   * @param {string} line @returns {string[]} the line itself first, as an empty text */
  partsOf(line) {
    const names = new Set(this.entries.map((one) => one.line));
    const parts = [...names].filter((name) => name.startsWith(`${line} / `)).map((name) => name.slice(line.length));
    return ["", ...parts.sort()];
  }

  /**
   * Return what is known of a line.
   * @param {string} line
   */
  of(line) {
    const own = this.entries.filter((one) => one.line === line);
    const fastest = (/** @type {(one: Entry) => boolean} */ which) =>
      own.filter(which).reduce((most, one) => Math.max(most, tempoNumber(one.tempo)), 0);
    return {
      rounds: own.reduce((sum, one) => sum + one.rounds, 0),
      days: new Set(own.filter((one) => one.rounds).map((one) => one.day)).size,
      fastest: fastest((one) => one.rounds > 0),
      clean: fastest((one) => one.clean > 0),
    };
  }

  /** Rounds and minutes of a day. @param {Date} now */
  today(now = new Date()) {
    const own = this.entries.filter((one) => one.day === dayOf(now));
    return {
      rounds: own.reduce((sum, one) => sum + one.rounds, 0),
      minutes: own.reduce((sum, one) => sum + one.seconds, 0) / 60,
    };
  }
}

/** @param {string} tempo */
export function tempoNumber(tempo) {
  const [above, below] = tempo.split("/");
  return Number(above) / Number(below ?? 1);
}
