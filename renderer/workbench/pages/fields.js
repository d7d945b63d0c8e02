// Fields: what a definition's text holds, to be changed one value at a time.

import { element } from "../../delivery/page/elements.js";
import { elementOf, wordsOf } from "./ask.js";
import { set } from "./changes.js";
import { INNERS } from "./choices.js";
import { noteStaff } from "./pickers.js";
import { noteName, say } from "./words.js";

/** @typedef {import("./changes.js").Changing} Changing */

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

/**
 * A field with its label.
 * @param {string} key of its words
 * @param {HTMLElement} one
 */
export function labelled(key, one) {
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
    control.setAttribute("aria-description", wordsOf(one.alone));
    field.append(elementOf(one.alone, "span", { class: "problem", "aria-hidden": "true" }));
    return false;
  });
}

/**
 * @param {any} value
 * @param {(text: string) => void} on
 * @param {Record<string, any>} more attributes
 */
export function input(value, on, more = {}) {
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
export function select(options, value, on) {
  const known = options.some(([one]) => one === value);
  const all = known ? options : /** @type {[string, string][]} */ ([...options, [value, value]]);
  return element(
    "select",
    { onchange: (/** @type {any} */ event) => on(event.target.value) },
    ...all.map(([one, shown]) => element("option", { value: one, selected: one === value }, shown)),
  );
}

/** What is folded away and was unfolded, by its words. @type {Set<string>} */
const unfolded = new Set();

/** Fields that are seldom needed, folded away until somebody wants them. @param {string} key @param {...HTMLElement} fields */
function folded(key, ...fields) {
  const details = element(
    "details",
    {
      class: "more",
      open: unfolded.has(key),
      ontoggle: () => (details.open ? unfolded.add(key) : unfolded.delete(key)),
    },
    element("summary", { text: say(key) }),
    element("div", { class: "fields" }, ...fields),
  );
  return details;
}

/** A text, or none to take the key away. @param {string} text */
export function orNone(text) {
  return text.trim() === "" ? null : text;
}

/** @param {any} value @returns {string} */
export function asWritten(value) {
  return Array.isArray(value) ? value.join(", ") : String(value ?? "");
}

/** @param {string} text values with commas between them */
function asTexts(text) {
  return text.split(",").map((one) => one.trim()).filter(Boolean);
}

/** One value, or several as a list; null for none. @param {string} text */
function asOneOrMore(text) {
  const parts = asTexts(text);
  return parts.length > 1 ? parts : (parts[0] ?? null);
}

/** @param {string} text numbers with commas between them; null for none */
function asNumbers(text) {
  const parts = text.split(/[,\s]+/).filter(Boolean);
  return parts.length ? parts.map(asNumber) : null;
}

/**
 * How long the parts of movements last: a usual length, or one of their own.
 * @param {any} written @param {[string, string][]} usual the first is what holds without the key
 * @param {(to: any) => void} put takes null for the first
 */
function innerFields(written, usual, put) {
  const value = asWritten(written);
  const first = usual[0]?.[0] ?? "";
  const isKnown = written === undefined || usual.some(([one]) => one === value);
  const own = /** @type {[string, string]} */ (["own", say("inner_own")]);
  const choice = select([...usual, own], isKnown ? value || first : "own", (to) => put(to === "own" ? "60 ms" : to === first ? null : to));
  return [labelled("inner", choice), ...(isKnown ? [] : [labelled("inner_own", input(value, (to) => put(asOneOrMore(to))))])];
}

/** The part of a movement that begins on the beat. @param {any} value @param {(to: any) => void} put */
function beatField(value, put) {
  const options = /** @type {[string, string][]} */ ([
    ["", say("beat_usual")],
    ["first", say("beat_first")],
    ["last", say("beat_last")],
    ["2", say("beat_2")],
    ["3", say("beat_3")],
  ]);
  return labelled("beat", select(options, asWritten(value), (to) => put(to === "" ? null : asNumber(to))));
}

/** @param {string} usual what is said for neither @param {any} value @param {(to: any) => void} put */
function placementField(usual, value, put) {
  const options = /** @type {[string, string][]} */ ([
    ...(usual ? [["", usual]] : []),
    ["on the beat", say("on_the_beat")],
    ["before the beat", say("before_the_beat")],
  ]);
  return labelled("placement", select(options, value ?? (usual ? "" : "on the beat"), (to) => put(to || null)));
}

const USUAL_INNERS = () => INNERS.map(([value, key]) => /** @type {[string, string]} */ ([value, say(key)]));

/**
 * The fields of what holds for all lines.
 * @param {any} fields
 * @param {Changing} change
 */
export function headFields(fields, change) {
  const put = (/** @type {string[]} */ path) => (/** @type {any} */ to) => change([set(path, to)]);
  const text = (/** @type {string} */ key) =>
    labelled(key, input(fields[key], (value) => put([key])(orNone(value))));
  const tempo = input(fields["tempo"] ?? 60, (value) => put(["tempo"])(orNone(value) === null ? null : asNumber(value)), {
    type: "number",
    min: 10,
    max: 400,
    step: "any",
  });
  const length = input(asWritten(fields["gracenotes"]?.length ?? "45 ms"), (value) => put(["gracenotes", "length"])(orNone(value)));
  const notes = element("textarea", { rows: 3, onchange: () => put(["notes"])(orNone(notes.value)) });
  notes.value = fields["notes"] ?? "";
  const order = input(asWritten(fields["order"]), (value) => put(["order"])(asNumbers(value)), { placeholder: "1, 2, 1" });
  const impossible = select(
    [
      ["replace", say("impossible_replace")],
      ["error", say("impossible_error")],
    ],
    fields["ornaments"]?.impossible ?? "replace",
    (to) => put(["ornaments", "impossible"])(to === "replace" ? null : to),
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
    placementField("", fields["gracenotes"]?.placement, put(["gracenotes", "placement"])),
    ...innerFields(fields["ornaments"]?.inner, USUAL_INNERS(), put(["ornaments", "inner"])),
    folded("ladder", ...ladderFields(fields["ladder"], fields["tempo"] ?? 60, change)),
    folded(
      "more_about",
      text("purpose"),
      text("composer"),
      text("type"),
      text("origin"),
      labelled("order", order),
      beatField(fields["ornaments"]?.beat, put(["ornaments", "beat"])),
      labelled("impossible", impossible),
      labelled("notes", notes),
    ),
  );
}

/**
 * The tempos of a track, one after another.
 * @param {any} ladder @param {number} tempo @param {Changing} change
 */
function ladderFields(ladder, tempo, change) {
  const kind = ladder === undefined ? "none" : ladder.tempos ? "list" : "steps";
  const first = Math.max(10, Math.round(tempo * 0.6));
  const kinds = select(
    ["none", "steps", "list"].map((one) => [one, say(`ladder_${one}`)]),
    kind,
    (to) => {
      const gone = (/** @type {string[]} */ keys) => keys.filter((key) => key in (ladder ?? {})).map((key) => set(["ladder", key], null));
      const steps = { from: first, to: tempo, step: 10 };
      if (to === "none") change([set(["ladder"], null)]);
      else if (kind === "none") change([set(["ladder"], to === "list" ? { tempos: [first, tempo] } : steps)]);
      else if (to === "list") change([set(["ladder", "tempos"], [ladder.from ?? first, ladder.to ?? tempo]), ...gone(["from", "to", "step"])]);
      else change([...Object.entries(steps).map(([key, value]) => set(["ladder", key], value)), ...gone(["tempos"])]);
    },
  );
  const number = (/** @type {string} */ words, /** @type {string} */ key, /** @type {any} */ usual) =>
    labelled(
      words,
      input(ladder[key] ?? usual, (to) => change([set(["ladder", key], to === "" ? null : asNumber(to))]), { type: "number", min: 1, step: "any" }),
    );
  if (kind === "none") return [labelled("ladder_is", kinds)];
  const rungs =
    kind === "list"
      ? [labelled("tempos", input(asWritten(ladder.tempos), (to) => change([set(["ladder", "tempos"], asNumbers(to))])))]
      : [number("ladder_from", "from", ""), number("ladder_to", "to", ""), number("ladder_step", "step", "")];
  const percent = element("input", {
    type: "checkbox",
    checked: ladder.percent === true,
    onchange: () => change([set(["ladder", "percent"], percent.checked ? true : null)]),
  });
  const stages = input(asWritten(ladder.inner), (to) => change([set(["ladder", "inner"], asTexts(to).length ? asTexts(to) : null)]), {
    placeholder: "even, 1/4 beat, 80 ms",
  });
  return [
    labelled("ladder_is", kinds),
    ...rungs,
    element("label", { class: "choice" }, percent, element("span", { text: say("percent") })),
    number("repeats", "repeats", 1),
    labelled("stages", stages),
  ];
}

/** @param {string} text */
export function asNumber(text) {
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
  const text = (/** @type {string} */ words_, /** @type {string} */ key) =>
    labelled(words_, input(asWritten(line[key]), (value) => put([key], orNone(value))));
  return element(
    "div",
    { class: "fields", role: "group", "aria-label": say("line", { n: index + 1 }) },
    text("heading", "heading"),
    labelled("kind", kinds),
    ...music(kind, line[kind], words, put),
    ...(kind === "abc" ? [] : movement(index, line, words, change, pick)),
    ...innerFields(line.inner, [["", say("inner_none")], ...USUAL_INNERS()], (to) => put(["inner"], to)),
    folded(
      "more_line",
      text("gracenote", "gracenote"),
      placementField(say("as_all"), line.placement, (to) => put(["placement"], to)),
      beatField(line.beat, (to) => put(["beat"], to)),
      text("tune", "tune"),
    ),
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
      put(["run"], (/** @type {any} */ there) => {
        const shorter = String(there ?? "").replace(/\s*[,|;]?\s*[^,|;]*$/, "");
        return shorter.trim() ? shorter : undefined;
      });
    },
  });
  const tapped = (/** @type {number} */ note) => {
    const name = words.notes[note];
    put(["run"], (/** @type {any} */ there) => {
      const now = String(there ?? "").trim();
      return now && !/[,|;]$/.test(now) ? `${now}, ${name}` : `${now} ${name}`.trim();
    });
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
  const typed = input(names.join(", "), (text) => take(asTexts(text)), {
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
