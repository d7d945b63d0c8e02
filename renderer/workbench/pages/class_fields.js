// Fields of a class: settings for all, for one learner or group, for one exercise.

import { element } from "../../delivery/page/elements.js";
import { elementOf, wordsOf } from "./ask.js";
import { set } from "./changes.js";
import { asNumber, asWritten, input, orNone } from "./fields.js";
import { say } from "./words.js";

/** @typedef {import("./changes.js").Changing} Changing */

/**
 * Where a setting stands: its table in the file, what that table holds, and what holds above it.
 * @typedef {object} Where
 * @property {(string|number)[]} path of the table
 * @property {any} table
 * @property {Record<string, any>[]} above from the nearest to what is usual
 * @property {string} whose for names of fields, empty for all
 */

/** @type {Record<string, [string, ...any[]]>} what kind of field a setting has, and its bounds */
const KINDS = {
  gets: ["several"],
  mix: ["several"],
  format: ["several"],
  share: ["switch"],
  zip: ["switch"],
  chanter: ["choice"],
  size: ["choice"],
  minutes: ["number", 5, 240],
  days: ["number", 1, 366],
  repeats: ["number", 1, 100],
  ladder: ["text"],
  "max-size": ["text"],
};

/** The place of a setting as the server names it. @param {(string|number)[]} path */
export function placeOf(path) {
  let place = "";
  for (const part of path) {
    if (typeof part === "number") place += `[${part + 1}]`;
    else place += place ? `.${part}` : part;
  }
  return place;
}

/** What holds above a place. @param {string} key @param {Where} where */
function inherited(key, where) {
  return where.above.find((one) => one[key] !== undefined)?.[key];
}

/** How the words of a setting are said. @type {Record<string, (value: string) => string>} */
const SPOKEN = {
  gets: (value) => say(`gets_${value}`),
  mix: (value) => say(`mix_${value}`),
  chanter: (value) => say(`chanter_${value}`),
  size: (value) => say(`size_${value}`),
};

/** A word of a setting, as it is said. @param {string} key @param {string} value */
function spoken(key, value) {
  return SPOKEN[key]?.(value) ?? value.toUpperCase();
}

/** @param {string} key @param {Where} where */
function nameOf(key, { whose }) {
  const name = say(`set_${key.replace("-", "_")}`);
  return whose ? `${name}: ${whose}` : name;
}

/**
 * The bare control of a setting that is chosen or typed, without a visible name.
 * @param {string} key @param {Where} where @param {any} words @param {Changing} change
 */
export function control(key, where, words, change) {
  const [kind, least, most] = KINDS[key] ?? ["text"];
  const path = [...where.path, key];
  const more = { "aria-label": nameOf(key, where), "data-place": placeOf(path) };
  const put = (/** @type {any} */ to) => void change([set(path, to)]);
  const own = where.table[key];
  const above = inherited(key, where);
  if (kind === "choice") {
    const shownAbove = above === undefined ? say("as_usual") : spoken(key, asWritten(above));
    const options = [
      element("option", { value: "", selected: own === undefined }, where.whose ? say("same_as_all", { value: shownAbove }) : shownAbove),
      ...words.choices[key]
        .filter((/** @type {string} */ one) => where.whose || one !== asWritten(above))
        .map((/** @type {string} */ one) => element("option", { value: one, selected: one === own }, spoken(key, one))),
    ];
    return element("select", { ...more, onchange: (/** @type {any} */ event) => put(event.target.value || null) }, ...options);
  }
  const placeholder = above === undefined ? say(key === "ladder" ? "own_ladder" : "as_usual") : asWritten(above);
  if (kind === "number") {
    const on = (/** @type {string} */ text) => put(orNone(text) === null ? null : asNumber(text));
    return input(own, on, { ...more, type: "number", min: least, max: most, placeholder });
  }
  return input(asWritten(own), (text) => put(orNone(text)), { ...more, placeholder });
}

/**
 * A setting with its name.
 * @param {string} key @param {Where} where @param {any} words @param {Changing} change
 */
export function setting(key, where, words, change) {
  const [kind] = KINDS[key] ?? ["text"];
  const path = [...where.path, key];
  const name = say(`set_${key.replace("-", "_")}`);
  if (kind === "several") return several(key, where, words, change);
  if (kind === "switch") {
    const box = element("input", {
      type: "checkbox",
      "data-place": placeOf(path),
      "aria-label": nameOf(key, where),
      checked: where.table[key] ?? inherited(key, where) ?? false,
      onchange: (/** @type {any} */ event) => {
        const isAsAbove = event.target.checked === (inherited(key, where) ?? false);
        void change([set(path, isAsAbove ? null : event.target.checked)]);
      },
    });
    return element("label", { class: "choice" }, box, element("span", { text: name }));
  }
  return element("label", { class: "field" }, element("span", { text: name }), control(key, where, words, change));
}

/**
 * Several of the words of a setting.
 * @param {string} key @param {Where} where @param {any} words @param {Changing} change
 */
function several(key, where, words, change) {
  const path = [...where.path, key];
  const own = where.table[key];
  const above = /** @type {string[]} */ ([inherited(key, where) ?? []].flat());
  const now = /** @type {string[]} */ (own === undefined ? above : [own].flat());
  const box = (/** @type {string} */ text, /** @type {boolean} */ checked, /** @type {(on: boolean) => void} */ on) =>
    element(
      "label",
      { class: "choice" },
      element("input", { type: "checkbox", checked, onchange: (/** @type {any} */ event) => on(event.target.checked) }),
      element("span", { text }),
    );
  const boxes = words.choices[key].map((/** @type {string} */ one) =>
    box(spoken(key, one), now.includes(one), (on) => {
      const kept = (/** @type {any} */ there) => {
        const chosen = [there ?? above].flat();
        const all = words.choices[key].filter((/** @type {string} */ other) => (other === one ? on : chosen.includes(other)));
        return all.length ? all : null;
      };
      void change([set(path, kept)]);
    }),
  );
  if (where.whose && own !== undefined) boxes.unshift(box(say("as_all_again"), false, () => void change([set(path, null)])));
  return element(
    "fieldset",
    { class: "several", "data-place": placeOf(path), "aria-label": nameOf(key, where) },
    element("legend", { text: say(`set_${key.replace("-", "_")}`) }),
    ...boxes,
  );
}

/**
 * The pitch of a chanter: one that players name, a chanter of the folder, or hertz.
 * @param {Where} where @param {{file: string, title: string}[]} chanters
 * @param {boolean} isTyped @param {Changing} change @param {() => void} type lets type another
 */
export function pitchControl(where, chanters, isTyped, change, type) {
  const path = [...where.path, "pitch"];
  const more = { "aria-label": nameOf("pitch", where), "data-place": placeOf(path) };
  const own = where.table["pitch"];
  const put = (/** @type {any} */ to) => void change([set(path, to)]);
  if (isTyped) {
    const typed = (/** @type {string} */ text) => put(orNone(text) === null ? null : asNumber(text));
    return input(asWritten(own), typed, { ...more, placeholder: say("pitch_typed") });
  }
  const above = inherited("pitch", where);
  /** @type {[string, string][]} */
  const options = [
    ["A", "A"],
    ["B flat", "B flat"],
    ...chanters.map(({ file, title }) => /** @type {[string, string]} */ ([file, title])),
  ];
  const written = asWritten(own);
  if (own === undefined) options.unshift(["", above === undefined ? say("pitch_choose") : say("same_as_all", { value: asWritten(above) })]);
  else if (!options.some(([value]) => value === written)) options.push([written, written]);
  return element(
    "select",
    {
      ...more,
      onchange: (/** @type {any} */ event) => {
        if (event.target.value === "\n") type();
        else put(event.target.value || null);
      },
    },
    ...options.map(([value, text]) => element("option", { value, selected: value === written }, text)),
    element("option", { value: "\n" }, say("pitch_other")),
  );
}

/**
 * Say what is wrong at its field, or at the nearest place around it.
 * @param {HTMLElement} root @param {import("./ask.js").Problem[]} problems
 * @returns {import("./ask.js").Problem[]} those that have no place on the page
 */
export function markPlaces(root, problems) {
  for (const one of root.querySelectorAll(".problem.marked")) one.remove();
  for (const one of root.querySelectorAll("[aria-invalid]")) {
    one.removeAttribute("aria-invalid");
    one.removeAttribute("aria-description");
  }
  return problems.filter((problem) => {
    let { place } = problem;
    while (place) {
      const field = root.querySelector(`[data-place="${CSS.escape(place)}"]`);
      if (field instanceof HTMLElement) {
        const said = problem.alone;
        const isControl = field.matches("input, select");
        if (isControl) {
          field.setAttribute("aria-invalid", "true");
          field.setAttribute("aria-description", wordsOf(said));
        }
        const mark = elementOf(said, "span", { class: "problem marked", "aria-hidden": isControl ? "true" : null });
        if (isControl) field.after(mark);
        else field.append(mark);
        return false;
      }
      const shorter = place.replace(/(\.[^.[]*|\[\d+\])$/, "");
      place = shorter === place ? "" : shorter;
    }
    return true;
  });
}
