// Changes by fields: what is asked for, and what that means when all that was asked for before has come.
//
// A control is pressed as it was drawn. What was pressed just before may still be on its way, and will
// have moved what this one is about, or changed the value that it adds to.

const LINES = "lines";

/**
 * What a field asks for, as `renderer/workbench/editing.py` takes it, but for two things: what is put into
 * a list comes at its end, and for a value (`to` of `set`, `line` of `insert`) may stand what makes one of
 * what is there by then. What makes none changes nothing.
 * @typedef {Record<string, any>} Change
 */

/** @typedef {(changes: Change[]) => Promise<boolean>} Changing says whether they were made */

/** @param {(string|number)[]} path @param {any} to @returns {Change} */
export function set(path, to) {
  return { do: "set", path, to };
}

/** Put an entry at the end of a list. @param {string} list @param {any} line @returns {Change} */
export function append(list, line) {
  return { do: "insert", list, line };
}

/**
 * Where an entry of a list stands when a change has come; -1 when it is gone.
 * @param {Change} change @param {string} list @param {number} at
 * @returns {number}
 */
export function standsAfter(change, list, at) {
  if (at < 0 || change["do"] === "set" || (change["list"] ?? LINES) !== list) return at;
  const { at: from, to } = change;
  if (change["do"] === "arrange") return change["lines"].indexOf(at);
  if (change["do"] === "insert") return at + Number(from <= at);
  if (change["do"] === "copy") return at + Number(from < at);
  if (at === from) return change["do"] === "move" ? to : -1;
  const without = at - Number(from < at);
  return change["do"] === "move" ? without + Number(to <= without) : without;
}

/**
 * What changes mean by now.
 * @param {Change[]} changes
 * @param {Change[]} since what has moved entries since the control was drawn
 * @param {any} fields what the file holds now
 * @returns {Change[]}
 */
export function asTheyStand(changes, since, fields) {
  const stands = (/** @type {string} */ list, /** @type {number} */ at) =>
    since.reduce((now, one) => standsAfter(one, list, now), at);
  return changes.flatMap((one) => {
    if (one["do"] === "set") return setAsItStands(one, stands, fields);
    const list = one["list"] ?? LINES;
    const there = fields[list] ?? [];
    if (one["do"] === "insert") {
      const line = madeOf(one["line"], there);
      return line === undefined ? [] : [{ ...one, at: there.length, line }];
    }
    if (one["do"] === "arrange") return since.some((other) => (other["list"] ?? LINES) === list) ? [] : [one];
    const at = stands(list, one["at"]);
    if (at < 0) return [];
    if (one["do"] !== "move") return [{ ...one, at }];
    const to = Math.min(Math.max(at + one["to"] - one["at"], 0), there.length - 1);
    return to === at ? [] : [{ ...one, at, to }];
  });
}

/**
 * @param {Change} change @param {(list: string, at: number) => number} stands @param {any} fields
 * @returns {Change[]}
 */
function setAsItStands({ path, to }, stands, fields) {
  const [list, at, ...inside] = path;
  const isOfEntry = typeof at === "number";
  const now = isOfEntry ? stands(list, at) : -1;
  if (isOfEntry && now < 0) return [];
  const place = isOfEntry ? [list, now, ...inside] : path;
  const made = madeOf(to, place.reduce((/** @type {any} */ table, /** @type {string|number} */ key) => table?.[key], fields));
  if (made === undefined) return [];
  const entry = isOfEntry ? fields[list]?.[now] : null;
  if (typeof entry !== "string" || inside.length !== 1) return [set(place, made)];
  // What is written as a name alone becomes a table when something is said of it.
  return made === null ? [] : [set([list, now], { file: entry, [inside[0]]: made })];
}

/** @param {any} value @param {any} there */
function madeOf(value, there) {
  return typeof value === "function" ? value(there) : value;
}
