// The panels under the controls: ways to practise, sound, log, help.

import { check, element, named, radio, slider } from "./elements.js";
import { fraction } from "./exact.js";
import { LOWEST_FADER_DB, factor } from "./player.js";
import { FASTEST, SLOWEST } from "./practice.js";
import { word } from "./words.js";

const MOST_CENTS = 60;
const SHORTEST_GRACENOTE = 20;
const LONGEST_GRACENOTE = 150;

/** A length in words. @param {number} value milliseconds */
export function milliseconds(value) {
  return `${value} ms`;
}

/** The panels by their names. @param {import("./page.js").Page} page */
export function panelsOf(page) {
  const { data, choice } = page;
  const modes = element("fieldset", {}, element("legend", { text: word("mode") }));
  for (const mode of /** @type {const} */ (["loop", "climb", "opening", "echo", "once", "session"])) {
    const label = radio(`mode_${mode}`, mode, "mode", choice.mode === mode, () => {
      if (mode === "session") page.takeDay(page.day);
      else page.change({ mode });
    });
    if (mode === "opening") page.openingChoice = label;
    if (mode === "session") page.sessionChoice = label;
    modes.append(label);
  }
  page.roundsField = element("input", {
    type: "number",
    min: 1,
    max: 99,
    value: choice.rounds,
    onchange: (/** @type {any} */ event) => {
      const rounds = Math.min(99, Math.max(1, Math.round(Number(event.target.value)) || 1));
      event.target.value = String(rounds);
      page.change({ rounds });
    },
  });
  page.daySelect = element("select", {
    onchange: (/** @type {any} */ event) => page.takeDay(Number(event.target.value)),
  });
  page.dayList = element("div", { class: "day" });
  page.dayField = element("div", {}, named("day", page.daySelect), page.dayList);
  const bars = () => page.pickBars(Number(page.firstBar.value), Number(page.lastBar.value));
  page.firstBar = element("select", { onchange: bars });
  page.lastBar = element("select", { onchange: bars });
  page.barFields = element("div", {}, named("loop_from", page.firstBar), named("loop_to", page.lastBar));
  page.formSelect = element("select", {
    onchange: (/** @type {any} */ event) => page.change({ form: event.target.value }),
  });
  const setLength = (/** @type {number} */ value) => page.change({ gracenote: fraction(BigInt(value), 1000n) });
  page.gracenoteField = slider(
    "gracenote_length",
    SHORTEST_GRACENOTE,
    LONGEST_GRACENOTE,
    SHORTEST_GRACENOTE,
    1,
    milliseconds,
    setLength,
  );
  page.tempoField = element("input", {
    type: "number",
    min: SLOWEST,
    max: FASTEST,
    step: "any",
    onchange: (/** @type {any} */ event) => page.typeTempo(event.target.value),
  });
  const picks = element("fieldset", {}, element("legend", { text: word("picks") }));
  for (const kind of ["bars", "movement"]) {
    picks.append(radio(`picks_${kind}`, kind, "picks", page.picks === kind, () => (page.picks = kind)));
  }
  const practice = element(
    "div",
    { class: "grid" },
    modes,
    element(
      "div",
      {},
      named("rounds", page.roundsField),
      named("tempo", page.tempoField),
      named("form", page.formSelect),
      page.gracenoteField,
      page.barFields,
    ),
    page.dayField,
    picks,
  );
  const pitches = element("select", {
    onchange: (/** @type {any} */ event) => page.tune(Number(event.target.value), page.cents),
  });
  data.pitches.forEach((/** @type {any} */ pitch, /** @type {number} */ index) => {
    const hz = word("low_a", { n: pitch.low_a_hz.toFixed(1) });
    pitches.append(element("option", { value: index, selected: index === page.pitchIndex }, `${pitch.label} · ${hz}`));
  });
  const loud = (/** @type {number} */ value) =>
    value <= LOWEST_FADER_DB ? word("silent") : word("percent", { n: Math.round(100 * factor(value)) });
  const fader = (/** @type {"chanter"|"drone"|"metronome"} */ name) =>
    slider(name, LOWEST_FADER_DB, 6, page.faders[name], 1, loud, (value) => {
      page.faders[name] = value;
      page.player.fade(name, factor(value));
    });
  const sound = element(
    "div",
    { class: "grid" },
    named("pitch", pitches),
    slider("cents", -MOST_CENTS, MOST_CENTS, page.cents, 1, (value) => `${value > 0 ? "+" : ""}${value}`, (value) =>
      page.tune(page.pitchIndex, value),
    ),
    fader("chanter"),
    fader("drone"),
    fader("metronome"),
    element(
      "div",
      {},
      check("subdivide", choice.subdivide, (subdivide) => page.change({ subdivide })),
      check("crossing", choice.noises, (noises) => page.change({ noises })),
      check("dropout", choice.dropout, (dropout) => page.change({ dropout })),
    ),
  );
  page.logTable = element("div", { class: "scroll" });
  const file = element("input", {
    type: "file",
    class: "hidden",
    accept: ".json,application/json",
    onchange: (/** @type {any} */ event) => void page.importLog(event.target),
  });
  const log = element(
    "div",
    {},
    page.logTable,
    element(
      "div",
      { class: "row" },
      element("button", { onclick: () => page.exportLog(), text: word("log_export") }),
      element("label", { class: "file" }, word("log_import"), file),
      element("button", { onclick: () => window.print(), text: word("print") }),
    ),
  );
  const keys = ["space", "lines", "rungs", "back", "clean", "bars", "from_bar", "notes"].map((key) =>
    element("li", { text: word(`key_${key}`) }),
  );
  const cautions = ["ears", "hands", "teacher"].map((key) => element("li", { text: word(`caution_${key}`) }));
  const help = element(
    "div",
    {},
    element("h2", { text: word("cautions") }),
    element("ul", { class: "cautions" }, ...cautions),
    element("h2", { text: word("marks") }),
    element("p", { text: word("marks_mean") }),
    element("h2", { text: word("by_hand") }),
    element("p", { text: word("by_hand_how") }),
    element("h2", { text: word("by_keys") }),
    element("ul", { class: "cautions" }, ...keys),
  );
  return { practice, sound, log, help };
}
