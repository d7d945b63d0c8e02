// Fields: what a definition's text holds, to be changed one value at a time.

import { element } from "../../delivery/page/elements.js";
import { INNERS } from "./choices.js";
import { noteStaff } from "./pickers.js";
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
  return element("label", { class: "field", "data-key": key }, element("span", { text: say(key) }), one);
}

/**
 * Mark the fields whose values are wrong, and say what would be right beside them.
 * @param {HTMLElement} fields
 * @param {import("./ask.js").Problem[]} problems
 * @returns {import("./ask.js").Problem[]} those that belong to none of the fields
 */
export function markFields(fields, problems) {
  return problems.filter((one) => {
    const key = /(?:^|\.)([\w-]+)(?:[:,].*)?$/.exec(one.place)?.[1] ?? "";
    const field = fields.querySelector(`[data-key="${key}"]`);
    const control = field?.querySelector("input, select, textarea");
    if (!field || !control) return true;
    control.setAttribute("aria-invalid", "true");
    const said = `${one.cause}. ${one.remedy}`;
    control.setAttribute("aria-description", said);
    field.append(element("span", { class: "problem", text: said, "aria-hidden": "true" }));
    return false;
  });
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
      ["on the beat", say("on_the_beat")],
      ["before the beat", say("before_the_beat")],
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
 * @param {(names: string[], take: (names: string[]) => void) => void} pick lets choose movements
 */
export function lineFields(index, line, words, change, pick) {
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
    ...(kind === "abc" ? [] : movement(index, line, words, change, pick)),
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
  const notes = /** @type {[string, string][]} */ (
    words.notes.map((/** @type {string} */ one, /** @type {number} */ n) => [one, noteName(n)])
  );
  const directions = words.choices.direction.map((/** @type {string} */ one) => [one, say(one)]);
  const choice = (/** @type {string} */ words_, /** @type {string} */ key, /** @type {any[]} */ options, /** @type {string} */ usual) =>
    labelled(words_, select(options, asWritten(value?.[key] ?? usual), (to) => put([kind, key], to === usual ? null : to)));
  const typed = (/** @type {string} */ words_, /** @type {string} */ key) =>
    labelled(words_, input(asWritten(value?.[key]), (to) => put([kind, key], orNone(to))));
  const number = (/** @type {string} */ words_, /** @type {string} */ key, /** @type {number} */ least, /** @type {number} */ most) =>
    labelled(
      words_,
      input(value?.[key], (to) => put([kind, key], to === "" ? null : asNumber(to)), { type: "number", min: least, max: most }),
    );
  if (kind === "scale") {
    return [
      labelled("step", select(intervals, asWritten(value?.step), (to) => put(["scale", "step"], to))),
      choice("from_note", "from", notes, "low G"),
      choice("to_note", "to", notes, "high A"),
      choice("direction", "direction", directions.slice(0, 3), "both"),
    ];
  }
  if (kind === "against") {
    return [
      labelled("against_note", select(notes, asWritten(value?.note), (to) => put(["against", "note"], to))),
      typed("others", "others"),
    ];
  }
  const anyNote = [["", say("any")], ...notes];
  return [
    typed("span", "span"),
    labelled("direction", select(directions, asWritten(value?.direction), (to) => put(["runs", "direction"], to))),
    number("count_of_notes", "notes", 3, 6),
    typed("among", "among"),
    choice("starts", "start", anyNote, ""),
    choice("ends", "end", anyNote, ""),
    choice("run_order", "order", words.choices.order.map((/** @type {string} */ one) => [one, say(`order_${one}`)]), "pitch"),
    number("limit", "limit", 1, 999),
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
  const back = element("button", {
    type: "button",
    class: "back",
    "aria-label": say("run_back"),
    text: "⌫",
    onclick: () => {
      const shorter = field.value.replace(/\s*[,|;]?\s*[^,|;]*$/, "");
      if (shorter.trim()) put(["run"], shorter);
    },
  });
  const tapped = (/** @type {number} */ note) => {
    const now = field.value.trim();
    const name = words.notes[note];
    put(["run"], now && !/[,|;]$/.test(now) ? `${now}, ${name}` : `${now} ${name}`.trim());
  };
  return [labelled("run", field), noteStaff(tapped, back)];
}

/**
 * @param {number} index @param {any} line @param {any} words @param {Changing} change
 * @param {(names: string[], take: (names: string[]) => void) => void} pick
 */
function movement(index, line, words, change, pick) {
  const put = (/** @type {string} */ key, /** @type {any} */ to) => set(["lines", index, key], to);
  const names = /** @type {string[]} */ ([line.ornament ?? []].flat());
  const take = (/** @type {string[]} */ now) => {
    // Without a movement nothing walks, and there is nothing to put on notes.
    const others = ["walk", "on", "plain"].filter((key) => !now.length && key in line);
    const value = now.length > 1 ? now : (now[0] ?? null);
    change([put("ornament", value), ...others.map((key) => put(key, null))]);
  };
  const typed = input(names.join(", "), (text) => take(text.split(",").map((one) => one.trim()).filter(Boolean)), {
    placeholder: say("no_ornament"),
  });
  const choose = element("button", { type: "button", text: say("choose_movement"), onclick: () => pick(names, take) });
  const parts = [labelled("ornament", typed), choose];
  const tick = (/** @type {string} */ key, /** @type {string} */ words_, /** @type {boolean} */ usual) => {
    const box = element("input", {
      type: "checkbox",
      checked: line[key] ?? usual,
      onchange: (/** @type {any} */ event) => change([put(key, event.target.checked === usual ? null : event.target.checked)]),
    });
    return element("label", { class: "choice" }, box, element("span", { text: say(words_) }));
  };
  if (names.length) {
    const isDrill = "each" in line || "against" in line;
    if (!isDrill) parts.push(tick("walk", "walk", false));
    if (line.walk || "each" in line) parts.push(tick("plain", "plain_pass", true));
    if (!("each" in line)) parts.push(...carriers(asWritten(line.on ?? "every"), (to) => change([put("on", to === "every" ? null : to)])));
  }
  const rhythms = words.choices.rhythm.map((/** @type {string} */ one) => [one, say(`rhythm_${one}`)]);
  const rhythm = select(rhythms, asWritten(line.rhythm ?? "even"), (value) => {
    const isEven = value === "even";
    const rest = !isEven && "notes-per-beat" in line ? [put("notes-per-beat", null)] : [];
    change([put("rhythm", isEven ? null : value), ...rest]);
  });
  parts.push(labelled("rhythm", rhythm));
  if ((line.rhythm ?? "even") === "even") {
    const beats = input(
      line["notes-per-beat"] ?? 1,
      (value) => change([put("notes-per-beat", value === "1" ? null : asNumber(value))]),
      { type: "number", min: 1, max: 6 },
    );
    parts.push(labelled("notes_per_beat", beats));
  }
  return parts;
}

/** Which notes carry a movement. @param {string} on @param {(to: string) => void} put */
function carriers(on, put) {
  const known = ["every", "first", "last"];
  const isKnown = known.includes(on);
  const options = /** @type {[string, string][]} */ ([...known.map((one) => [one, say(`on_${one}`)]), ["some", say("on_some")]]);
  const choice = select(options, isKnown ? on : "some", (value) => put(value === "some" ? "low A" : value));
  return [labelled("on_notes", choice), ...(isKnown ? [] : [labelled("on_some", input(on, put))])];
}
