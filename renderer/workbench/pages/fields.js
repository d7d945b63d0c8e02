// Fields: what a definition's text holds, to be changed one value at a time.

import { element } from "../../delivery/page/elements.js";
import { noteName, say } from "./words.js";

/** @typedef {Record<string, any>} Change as `renderer/workbench/editing.py` takes it */
/** @typedef {(changes: Change[]) => void} Changing */

const KINDS = ["run", "runs", "scale", "against", "each", "abc"];
const FRESH = /** @type {Record<string, any>} */ ({
  run: "low A, B, C",
  runs: { span: "third", direction: "rising" },
  scale: { step: "third" },
  against: { note: "low A" },
  each: "low A to D",
  abc: "A2 B2 c2 d2",
});
const INNERS = /** @type {[string, string][]} */ ([
  ["book", "inner_book"],
  ["even", "inner_even"],
  ["1/2 beat", "inner_half"],
  ["1/3 beat", "inner_third"],
  ["1/4 beat", "inner_quarter"],
]);
const NOT_WITH_ABC = ["ornament", "walk", "plain", "on", "rhythm", "notes-per-beat"];

/** @param {(string|number)[]} path @param {any} to @returns {Change} */
export function set(path, to) {
  return { do: "set", path, to };
}

/**
 * A field with its label.
 * @param {string} key of its words
 * @param {HTMLElement} one
 */
function labelled(key, one) {
  return element("label", { class: "field" }, element("span", { text: say(key) }), one);
}

/**
 * @param {any} value
 * @param {(text: string) => void} on
 * @param {Record<string, any>} more attributes
 */
function input(value, on, more = {}) {
  return element("input", {
    type: "text",
    value: value ?? "",
    autocomplete: "off",
    spellcheck: "false",
    onchange: (/** @type {any} */ event) => on(event.target.value),
    ...more,
  });
}

/**
 * @param {[string, string][]} options value and what is shown
 * @param {string} value
 * @param {(value: string) => void} on
 */
function select(options, value, on) {
  const known = options.some(([one]) => one === value);
  const all = known ? options : /** @type {[string, string][]} */ ([...options, [value, value]]);
  return element(
    "select",
    { onchange: (/** @type {any} */ event) => on(event.target.value) },
    ...all.map(([one, shown]) => element("option", { value: one, selected: one === value }, shown)),
  );
}

/** A text, or none to take the key away. @param {string} text */
function orNone(text) {
  return text.trim() === "" ? null : text;
}

/** @param {any} value @returns {string} */
function asWritten(value) {
  return Array.isArray(value) ? value.join(", ") : String(value ?? "");
}

/**
 * The fields of what holds for all lines.
 * @param {any} fields
 * @param {Changing} change
 */
export function headFields(fields, change) {
  const text = (/** @type {string} */ key) =>
    labelled(key, input(fields[key], (value) => change([set([key], orNone(value))])));
  const tempo = input(
    fields["tempo"] ?? 60,
    (value) => change([set(["tempo"], orNone(value) === null ? null : asNumber(value))]),
    { type: "number", min: 10, max: 400, step: "any" },
  );
  const length = input(asWritten(fields["gracenotes"]?.length ?? "45 ms"), (value) =>
    change([set(["gracenotes", "length"], orNone(value))]),
  );
  const placement = select(
    [
      ["on the beat", "on the beat"],
      ["before the beat", "before the beat"],
    ],
    fields["gracenotes"]?.placement ?? "on the beat",
    (value) => change([set(["gracenotes", "placement"], value)]),
  );
  const inner = select(
    INNERS.map(([value, key]) => [value, say(key)]),
    asWritten(fields["ornaments"]?.inner ?? "book"),
    (value) => change([set(["ornaments", "inner"], value)]),
  );
  return element(
    "div",
    { class: "fields", role: "group", "aria-label": say("about") },
    text("title"),
    text("for"),
    text("level"),
    text("meter"),
    labelled("tempo", tempo),
    labelled("length", length),
    labelled("placement", placement),
    labelled("inner", inner),
  );
}

/** @param {string} text */
function asNumber(text) {
  const number = Number(text);
  return Number.isFinite(number) ? number : text;
}

/** The kind of a line: the key that holds its music. @param {any} line */
export function kindOf(line) {
  return KINDS.find((kind) => kind in line) ?? "run";
}

/**
 * The fields of one line.
 * @param {number} index
 * @param {any} line
 * @param {any} words what the server knows
 * @param {Changing} change
 */
export function lineFields(index, line, words, change) {
  const kind = kindOf(line);
  const put = (/** @type {(string|number)[]} */ path, /** @type {any} */ to) =>
    change([set(["lines", index, ...path], to)]);
  const kinds = select(
    KINDS.map((one) => [one, say(`kind_${one}`)]),
    kind,
    (value) => {
      const dropped = value === "abc" ? [kind, ...NOT_WITH_ABC] : [kind];
      change([
        ...dropped.filter((key) => key in line).map((key) => set(["lines", index, key], null)),
        set(["lines", index, value], FRESH[value]),
      ]);
    },
  );
  const inner = select(
    [["", say("inner_none")], ...INNERS.map(([value, key]) => /** @type {[string, string]} */ ([value, say(key)]))],
    asWritten(line.inner),
    (value) => put(["inner"], value || null),
  );
  return element(
    "div",
    { class: "fields", role: "group", "aria-label": say("line", { n: index + 1 }) },
    labelled("heading", input(line.heading, (value) => put(["heading"], orNone(value)))),
    labelled("kind", kinds),
    ...music(kind, line[kind], words, put),
    ...(kind === "abc" ? [] : movement(index, line, words, change)),
    labelled("inner", inner),
  );
}

/**
 * @param {string} kind @param {any} value @param {any} words
 * @param {(path: string[], to: any) => void} put
 * @returns {HTMLElement[]}
 */
function music(kind, value, words, put) {
  if (kind === "run") return run(String(value ?? ""), words, put);
  if (kind === "each") return [labelled("each", input(value, (text) => put(["each"], text)))];
  if (kind === "abc") {
    const area = element("textarea", {
      rows: 3,
      spellcheck: "false",
      onchange: (/** @type {any} */ event) => put(["abc"], event.target.value),
    });
    area.value = value ?? "";
    return [labelled("abc", area)];
  }
  const intervals = words.choices.span.map((/** @type {string} */ one) => [one, say(one)]);
  if (kind === "scale") {
    return [labelled("step", select(intervals, asWritten(value?.step), (to) => put(["scale", "step"], to)))];
  }
  if (kind === "against") {
    const notes = words.notes.map((/** @type {string} */ one, /** @type {number} */ n) => [one, noteName(n)]);
    return [
      labelled("against_note", select(notes, asWritten(value?.note), (to) => put(["against", "note"], to))),
      labelled("others", input(asWritten(value?.others), (to) => put(["against", "others"], orNone(to)))),
    ];
  }
  const directions = words.choices.direction.map((/** @type {string} */ one) => [one, say(one)]);
  return [
    labelled("span", select(intervals, asWritten(value?.span), (to) => put(["runs", "span"], to))),
    labelled("direction", select(directions, asWritten(value?.direction), (to) => put(["runs", "direction"], to))),
  ];
}

/**
 * A run: typed, or tapped note by note.
 * @param {string} written @param {any} words
 * @param {(path: string[], to: any) => void} put
 * @returns {HTMLElement[]}
 */
function run(written, words, put) {
  const field = input(written, (text) => put(["run"], text));
  const names = /** @type {string[]} */ (words.notes);
  const buttons = names.map((name, note) =>
    element("button", {
      type: "button",
      class: "note",
      "aria-label": say("run_add", { note: noteName(note) }),
      text: noteName(note),
      onclick: () => {
        const now = field.value.trim();
        put(["run"], now && !/[,|;]$/.test(now) ? `${now}, ${name}` : `${now} ${name}`.trim());
      },
    }),
  );
  const back = element("button", {
    type: "button",
    class: "note",
    "aria-label": say("run_back"),
    text: "⌫",
    onclick: () => {
      const shorter = field.value.replace(/\s*[,|;]?\s*[^,|;]*$/, "");
      if (shorter.trim()) put(["run"], shorter);
    },
  });
  return [
    labelled("run", field),
    element("div", { class: "notes", role: "group", "aria-label": say("run") }, ...buttons, back),
  ];
}

/** @param {number} index @param {any} line @param {any} words @param {Changing} change */
function movement(index, line, words, change) {
  const put = (/** @type {string} */ key, /** @type {any} */ to) => set(["lines", index, key], to);
  const names = words.movements.map((/** @type {any} */ one) => [one.name, one.name]);
  const choice = select([["", say("no_ornament")], ...names], asWritten(line.ornament), (value) => {
    // Without a movement nothing walks, and there is nothing to put on notes.
    const others = ["walk", "on", "plain"].filter((key) => !value && key in line);
    change([put("ornament", value || null), ...others.map((key) => put(key, null))]);
  });
  const walk = element("input", {
    type: "checkbox",
    checked: line.walk === true,
    onchange: (/** @type {any} */ event) => change([put("walk", event.target.checked || null)]),
  });
  const walks = element("label", { class: "choice" }, walk, element("span", { text: say("walk") }));
  const canWalk = line.ornament && !("each" in line) && !("against" in line);
  return [labelled("ornament", choice), ...(canWalk ? [walks] : [])];
}
