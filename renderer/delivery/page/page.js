// The practice page: what is shown and pressed, over the player, the staff and the log.

import { asText, isSame, readFraction } from "./exact.js";
import { Log, readLog, writtenLog } from "./log.js";
import { readLine } from "./moments.js";
import { Player } from "./player.js";
import {
  decider,
  fitting,
  rungAbove,
  rungBelow,
  spokenTempo,
  stretchOfBars,
  stretchOfNote,
} from "./practice.js";
import { Holes, Staff, barUnder, noteNear } from "./staff.js";
import { Bank, noiseLoop, readFloats, readLines } from "./tones.js";
import { LANGUAGES, noteName, speak, word } from "./words.js";

/** @typedef {import("./moments.js").Line} Line */
/** @typedef {import("./exact.js").Fraction} Fraction */

const SLOWEST = 10;
const FASTEST = 400;
const MOST_CENTS = 60;
const LOWEST_FADER_DB = -40;
const MOVED_PX = 12;

/** Read what is written in rows as objects. @param {{keys: string[], rows: any[][]}} table */
function unfolded(table) {
  return table.rows.map((row) => Object.fromEntries(table.keys.map((key, n) => [key, row[n]])));
}

/** @param {any} plain @returns {Line} */
function lineOfData(plain) {
  return readLine({
    ...plain,
    bars: unfolded(plain.bars),
    soundings: unfolded(plain.soundings),
    rooms: unfolded(plain.rooms),
  });
}

/**
 * @param {string} tag
 * @param {Record<string, any>} attributes `on...` are listeners, `text` is its text
 * @param {...(Node|string)} children
 * @returns {any} an element
 */
function element(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name === "text") made.textContent = value;
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null) made.setAttribute(name, String(value));
  }
  made.append(...children);
  return made;
}

/** @param {number} db */
function factor(db) {
  return db <= LOWEST_FADER_DB ? 0 : 10 ** (db / 20);
}

class Page {
  /** @param {any} data @param {HTMLElement} root */
  constructor(data, root) {
    this.data = data;
    this.root = root;
    const { sound } = data;
    sound.notes = sound.notes.map(readLines);
    sound.drones = sound.drones.map(readLines);
    for (const one of sound.fingered) one.partials = readFloats(one.partials);
    /** @type {Map<string, Bank>} */
    this.banks = new Map();
    /** @type {Map<string, Line|null>} */
    this.lines = new Map();
    this.exerciseIndex = 0;
    this.pitchIndex = 0;
    this.cents = 0;
    this.faders = { chanter: 0, drone: data.drone ? 0 : LOWEST_FADER_DB, metronome: 0 };
    this.log = new Log(data.page, this.storage());
    this.player = new Player(sound, data.gracenotes, noiseLoop(sound), () => this.shown());
    /** @type {import("./practice.js").Choice} */
    this.choice = {
      version: 0,
      lineIndex: 0,
      lineOf: (index, form) => this.lineOf(index, form),
      form: "written",
      openings: [],
      rungs: [],
      tempo: readFraction("60"),
      mode: "loop",
      rounds: 2,
      from: null,
      to: null,
      startAt: null,
      bank: this.bank(),
      metronome: data.metronome,
      subdivide: data.subdivide,
      dropout: false,
      plan: [],
    };
    /** @type {[number, number]|null} */
    this.loopedBars = null;
    this.loopsNote = false;
    this.picks = "bars";
    this.day = 0;
    this._counted = 0;
    this._heardSection = -1;
    /** @type {any} */
    this._lock = null;
    this.language = speak(this.stored("language") ?? navigator.language.slice(0, 2));
    this.staffs = /** @type {Staff[]} */ ([]);
    this.holes = new Holes();
    this.build();
    this.takeExercise(0);
    this.listen();
    this.prepare();
  }

  /** @returns {Storage|null} */
  storage() {
    try {
      return window.localStorage;
    } catch {
      return null;
    }
  }

  /** @param {string} name */
  stored(name) {
    try {
      return this.storage()?.getItem(`rungwise ${name}`) ?? null;
    } catch {
      return null;
    }
  }

  /** @param {string} name @param {string} value */
  store(name, value) {
    try {
      this.storage()?.setItem(`rungwise ${name}`, value);
    } catch {
      // A browser that keeps nothing says so with the log.
    }
  }

  get exercise() {
    return this.data.exercises[this.exerciseIndex];
  }

  /** @param {number} index @param {string} form @returns {Line|null} */
  lineOf(index, form) {
    const key = `${this.exerciseIndex}/${index}/${form}`;
    let line = this.lines.get(key);
    if (line === undefined) {
      const plain = this.exercise.lines[index]?.forms[form];
      line = plain ? lineOfData(plain) : null;
      this.lines.set(key, line);
    }
    return line;
  }

  get line() {
    const { lineIndex, form } = this.choice;
    return /** @type {Line} */ (this.lineOf(lineIndex, form) ?? this.lineOf(lineIndex, "written"));
  }

  bank() {
    const key = `${this.pitchIndex}/${this.cents}`;
    let bank = this.banks.get(key);
    if (!bank) {
      if (this.banks.size > 2) this.banks.clear();
      bank = new Bank(this.data.sound, this.data.pitches[this.pitchIndex], this.cents);
      this.banks.set(key, bank);
    }
    return bank;
  }

  /** Make the tones of the line ahead of the first press, a little at a time. */
  prepare() {
    const { bank } = this.choice;
    const tones = new Set(this.line.soundings.flatMap((one) => (one.note === null ? [] : [one.note])));
    /** @type {number|null} */
    let before = null;
    for (const { gracenote, note } of this.line.soundings) {
      const rows = gracenote === null || note === null ? [] : [before ?? 9, 9];
      for (const row of rows) tones.add(this.data.gracenotes[row][Number(gracenote)][Number(note)]);
      before = note;
    }
    const work = [...tones].map((tone) => () => void bank.tone(tone));
    work.push(() => void bank.drones());
    const next = () => {
      const one = work.shift();
      if (!one || this.choice.bank !== bank) return;
      one();
      setTimeout(next, 0);
    };
    setTimeout(next, 0);
  }

  // What is shown.

  build() {
    document.documentElement.lang = this.language;
    const { data } = this;
    this.title = element("h1");
    this.subtitle = element("p");
    this.main = element("main", { "aria-label": word("music") });
    const languages = element("select", {
      "aria-label": word("language"),
      onchange: (/** @type {any} */ event) => {
        this.language = speak(event.target.value);
        this.store("language", this.language);
        this.player.stop();
        this.build();
        this.takeExercise(this.exerciseIndex);
      },
    });
    for (const [code, name] of Object.entries(LANGUAGES)) {
      languages.append(element("option", { value: code, selected: code === this.language, lang: code }, name));
    }
    const choices = element("div", { class: "choices" });
    if (data.exercises.length > 1) {
      const select = element("select", {
        "aria-label": word("exercise"),
        onchange: (/** @type {any} */ event) => this.takeExercise(Number(event.target.value)),
      });
      data.exercises.forEach((/** @type {any} */ one, /** @type {number} */ index) => {
        select.append(element("option", { value: index, selected: index === this.exerciseIndex }, one.title));
      });
      choices.append(select);
    }
    choices.append(languages);
    const header = element("header", {}, element("div", {}, this.title, this.subtitle), choices);
    this.root.replaceChildren(header, this.main, this.dock());
  }

  dock() {
    this.playButton = element("button", { class: "play", onclick: () => this.toggle() });
    this.rungs = element("div", { class: "rungs", role: "group", "aria-label": word("rungs") });
    this.cleanButton = element("button", { onclick: () => this.clean(), text: word("clean") });
    this.backButton = element("button", { onclick: () => this.stepBack(), text: word("back") });
    this.loopButton = element("button", { onclick: () => this.loopWhole() });
    this.beat = element("span", { class: "beat", "aria-hidden": "true" });
    this.state = element("span", { class: "state" });
    this.noteName = element("span", { class: "name", "aria-hidden": "true" });
    this.said = element("p", { class: "said", role: "status" });
    const now = element("div", { class: "now" }, this.beat, this.holes.element, this.noteName, this.state);
    const panels = this.panels();
    const toggles = Object.entries(panels).map(([key, panel]) => {
      const id = `panel-${key}`;
      panel.id = id;
      panel.hidden = true;
      panel.classList.add("panel", key);
      const button = element("button", {
        "aria-expanded": "false",
        "aria-controls": id,
        text: word(key),
        onclick: () => {
          const opens = panel.hidden;
          for (const other of Object.values(panels)) other.hidden = true;
          for (const other of toggles) other.setAttribute("aria-expanded", "false");
          panel.hidden = !opens;
          button.setAttribute("aria-expanded", String(opens));
        },
      });
      return button;
    });
    return element(
      "section",
      { class: "dock", "aria-label": word("controls") },
      element("div", { class: "row" }, this.playButton, this.rungs),
      element("div", { class: "row" }, now),
      element(
        "div",
        { class: "row small" },
        this.loopButton,
        this.backButton,
        this.cleanButton,
        element("span", { class: "gap" }),
        ...toggles,
      ),
      this.said,
      ...Object.values(panels),
    );
  }

  /** @param {string} key @param {string} value @param {string} name @param {boolean} checked @param {() => void} on */
  radio(key, value, name, checked, on) {
    const input = element("input", { type: "radio", name, value, checked, onchange: on });
    return element("label", { class: "choice" }, input, element("span", { text: word(key) }));
  }

  /** @param {string} key @param {boolean} checked @param {(on: boolean) => void} on */
  check(key, checked, on) {
    const input = element("input", {
      type: "checkbox",
      checked,
      onchange: (/** @type {any} */ event) => on(event.target.checked),
    });
    return element("label", { class: "choice" }, input, element("span", { text: word(key) }));
  }

  /**
   * @param {string} key @param {number} least @param {number} most @param {number} value
   * @param {number} step @param {(value: number) => string} show @param {(value: number) => void} on
   */
  slider(key, least, most, value, step, show, on) {
    const output = element("output", { text: show(value) });
    const input = element("input", {
      type: "range",
      min: least,
      max: most,
      step,
      value,
      oninput: (/** @type {any} */ event) => {
        output.textContent = show(Number(event.target.value));
        input.setAttribute("aria-valuetext", output.textContent);
        on(Number(event.target.value));
      },
    });
    input.setAttribute("aria-valuetext", output.textContent);
    const name = element("span", {}, element("span", { text: word(key) }), output);
    return element("label", { class: "field" }, name, input);
  }

  panels() {
    const { data, choice } = this;
    const modes = element("fieldset", {}, element("legend", { text: word("mode") }));
    for (const mode of /** @type {const} */ (["loop", "climb", "opening", "echo", "once", "session"])) {
      const label = this.radio(`mode_${mode}`, mode, "mode", choice.mode === mode, () => {
        this.change({ mode });
        if (mode === "session") this.takeDay(this.day);
      });
      if (mode === "opening") this.openingChoice = label;
      if (mode === "session") this.sessionChoice = label;
      modes.append(label);
    }
    this.roundsField = element("input", {
      type: "number",
      min: 1,
      max: 99,
      value: choice.rounds,
      onchange: (/** @type {any} */ event) => {
        const rounds = Math.min(99, Math.max(1, Math.round(Number(event.target.value)) || 1));
        event.target.value = String(rounds);
        this.change({ rounds });
      },
    });
    this.daySelect = element("select", {
      onchange: (/** @type {any} */ event) => this.takeDay(Number(event.target.value)),
    });
    this.dayField = element("label", {}, element("span", { text: word("day") }), " ", this.daySelect);
    this.formSelect = element("select", {
      onchange: (/** @type {any} */ event) => this.change({ form: event.target.value }),
    });
    this.tempoField = element("input", {
      type: "number",
      min: SLOWEST,
      max: FASTEST,
      step: "any",
      onchange: (/** @type {any} */ event) => this.typeTempo(event.target.value),
    });
    const picks = element("fieldset", {}, element("legend", { text: word("picks") }));
    for (const kind of ["bars", "movement"]) {
      picks.append(this.radio(`picks_${kind}`, kind, "picks", this.picks === kind, () => (this.picks = kind)));
    }
    const practice = element(
      "div",
      { class: "grid" },
      modes,
      element(
        "div",
        {},
        element("label", {}, element("span", { text: word("rounds") }), " ", this.roundsField),
        element("label", {}, element("span", { text: word("tempo") }), " ", this.tempoField),
        element("label", {}, element("span", { text: word("form") }), " ", this.formSelect),
        this.dayField,
      ),
      picks,
    );
    const pitches = element("select", {
      onchange: (/** @type {any} */ event) => this.tune(Number(event.target.value), this.cents),
    });
    data.pitches.forEach((/** @type {any} */ pitch, /** @type {number} */ index) => {
      const hz = word("low_a", { n: pitch.low_a_hz.toFixed(1) });
      pitches.append(element("option", { value: index, selected: index === this.pitchIndex }, `${pitch.label} · ${hz}`));
    });
    const db = (/** @type {number} */ value) => (value <= LOWEST_FADER_DB ? word("silent") : `${value > 0 ? "+" : ""}${value} dB`);
    const fader = (/** @type {"chanter"|"drone"|"metronome"} */ name) =>
      this.slider(name, LOWEST_FADER_DB, 6, this.faders[name], 1, db, (value) => {
        this.faders[name] = value;
        this.player.fade(name, factor(value));
      });
    const sound = element(
      "div",
      { class: "grid" },
      element("label", {}, element("span", { text: word("pitch") }), " ", pitches),
      this.slider("cents", -MOST_CENTS, MOST_CENTS, this.cents, 1, (value) => `${value > 0 ? "+" : ""}${value}`, (value) =>
        this.tune(this.pitchIndex, value),
      ),
      fader("chanter"),
      fader("drone"),
      fader("metronome"),
      element(
        "div",
        {},
        this.check("metronome", choice.metronome, (metronome) => this.change({ metronome })),
        this.check("subdivide", choice.subdivide, (subdivide) => this.change({ subdivide })),
        this.check("dropout", choice.dropout, (dropout) => this.change({ dropout })),
      ),
    );
    this.logTable = element("div", { class: "scroll" });
    const file = element("input", {
      type: "file",
      class: "hidden",
      accept: ".json,application/json",
      onchange: (/** @type {any} */ event) => void this.importLog(event.target),
    });
    const log = element(
      "div",
      {},
      this.logTable,
      element(
        "div",
        { class: "row" },
        element("button", { onclick: () => this.exportLog(), text: word("log_export") }),
        element("label", { class: "file" }, word("log_import"), file),
        element("button", { onclick: () => window.print(), text: word("print") }),
      ),
    );
    const keys = ["space", "lines", "rungs", "back", "clean", "bars"].map((key) =>
      element("li", { text: word(`key_${key}`) }),
    );
    const cautions = ["ears", "hands", "teacher"].map((key) => element("li", { text: word(`caution_${key}`) }));
    const help = element(
      "div",
      {},
      element("ul", { class: "cautions" }, ...cautions),
      element("ul", { class: "cautions" }, ...keys),
    );
    return { practice, sound, log, help };
  }

  /** @param {number} index */
  takeExercise(index) {
    this.player.stop();
    this.exerciseIndex = index;
    const { exercise } = this;
    document.title = exercise.title;
    this.title.textContent = exercise.title;
    this.subtitle.textContent = [exercise.audience, exercise.composer, exercise.purpose].filter(Boolean).join(" · ");
    this.staffs = [];
    this.sections = exercise.lines.map((/** @type {any} */ line, /** @type {number} */ at) => this.lineSection(line, at));
    this.main.replaceChildren(...this.sections);
    this.choice.rungs = exercise.rungs.map(readFraction);
    this.choice.rounds = exercise.rounds;
    this.roundsField.value = String(exercise.rounds);
    this.choice.tempo = this.choice.rungs[0] ?? readFraction("60");
    this.choice.mode = this.choice.mode === "session" ? "loop" : this.choice.mode;
    this.daySelect.replaceChildren(
      ...exercise.plan.map((/** @type {any} */ _, /** @type {number} */ day) => element("option", { value: day }, String(day + 1))),
    );
    this.sessionChoice.hidden = this.dayField.hidden = exercise.plan.length === 0;
    const seen = new IntersectionObserver((entries) => {
      for (const entry of entries) {
        if (!entry.isIntersecting) continue;
        const staff = this.staffs.find((one) => one.host === entry.target);
        staff?.draw();
      }
    }, { rootMargin: "300px" });
    for (const staff of this.staffs) seen.observe(staff.host);
    this.takeLine(0, false);
    this.showLog();
  }

  /** @param {any} line @param {number} at */
  lineSection(line, at) {
    const heading = word("line", { n: line.number }) + (line.heading ? ` · ${line.heading}` : "");
    const host = element("div", { class: "staves" });
    this.staffs.push(new Staff(host, line.staves, `${heading}: ${line.played}`));
    this.pointer(host, at);
    const advice = element("ul", { class: "advice", lang: "en", "aria-label": word("advice") });
    for (const text of line.advice) advice.append(element("li", { text }));
    const button = element("button", { onclick: () => this.takeLine(at, false), text: heading });
    return element(
      "section",
      { class: "line", "aria-label": heading },
      element("h2", {}, button),
      host,
      ...(line.advice.length ? [advice] : []),
    );
  }

  /** What tapping and drawing across the staves of a line do. @param {HTMLElement} host @param {number} at */
  pointer(host, at) {
    /** @type {{x: number, y: number, bar: number}|null} */
    let begun = null;
    host.addEventListener("pointerdown", (event) => {
      const bar = barUnder(event.clientX, event.clientY);
      begun = bar && event.button === 0 ? { x: event.clientX, y: event.clientY, bar } : null;
    });
    host.addEventListener("pointercancel", () => (begun = null));
    host.addEventListener("pointerup", (event) => {
      const from = begun;
      begun = null;
      if (!from) return;
      const bar = barUnder(event.clientX, event.clientY) || from.bar;
      if (this.choice.lineIndex !== at) this.takeLine(at, false);
      const moved = Math.abs(event.clientX - from.x) > MOVED_PX;
      if (this.picks === "movement") {
        const note = noteNear(host, event.clientX, event.clientY);
        if (note) this.loopNote(note.bar, note.item);
      } else if (moved) {
        this.loopBars(from.bar, bar);
      } else {
        this.startAtBar(bar);
      }
    });
  }

  /** @param {number} index @param {boolean} keepsPlaying */
  takeLine(index, keepsPlaying) {
    const { exercise, choice } = this;
    if (!exercise.lines[index]) return;
    if (!keepsPlaying) this.player.stop();
    this.staffs[choice.lineIndex]?.light("");
    this.staffs[choice.lineIndex]?.cursor(-1);
    this.staffs[choice.lineIndex]?.loop(null);
    choice.lineIndex = index;
    choice.from = choice.to = choice.startAt = null;
    this.loopedBars = null;
    this.loopsNote = false;
    const forms = Object.keys(exercise.lines[index].forms);
    if (!forms.includes(choice.form)) choice.form = "written";
    choice.openings = forms.filter((form) => form === "opened" || form.startsWith("parts"));
    choice.openings.push("written");
    this.openingChoice.hidden = choice.openings.length < 2;
    if (choice.openings.length < 2 && choice.mode === "opening") choice.mode = "loop";
    this.formSelect.replaceChildren(
      ...forms.map((form) => {
        const [kind, n] = form.split(" ");
        return element("option", { value: form, selected: form === choice.form }, word(`form_${kind}`, { n: n ?? "" }));
      }),
    );
    this.sections.forEach((/** @type {Element} */ section, /** @type {number} */ at) => {
      section.classList.toggle("chosen", at === index);
      if (at === index) section.setAttribute("aria-current", "true");
      else section.removeAttribute("aria-current");
    });
    this.staffs[index]?.draw();
    if (index || keepsPlaying) this.sections[index].scrollIntoView({ block: "nearest" });
    choice.tempo = fitting(this.line, choice.tempo);
    this.shown();
    if (!keepsPlaying) this.prepare();
  }

  /** Bring all that depends on the choice up to date. */
  shown() {
    const { choice, player } = this;
    const { isPlaying } = player;
    this.playButton.textContent = word(isPlaying ? "stop" : "start");
    this.rungs.replaceChildren(
      ...choice.rungs.map((rung, index) =>
        element("button", {
          "aria-pressed": String(isSame(rung, choice.tempo)),
          "aria-label": word("rung", { n: this.exercise.rung_labels[index] }),
          disabled: !isSame(fitting(this.line, rung), rung),
          onclick: () => this.change({ tempo: rung }),
          text: this.exercise.rung_labels[index],
        }),
      ),
    );
    this.tempoField.value = spokenTempo(choice.tempo);
    this.backButton.disabled = !rungBelow(choice.rungs, choice.tempo);
    this.loopButton.textContent = this.loopWords();
    this.loopButton.setAttribute("aria-pressed", String(choice.from !== null));
    const mode = this.root.querySelector(`input[name="mode"][value="${choice.mode}"]`);
    if (mode instanceof HTMLInputElement) mode.checked = true;
    if (!isPlaying) {
      this.staffs[choice.lineIndex]?.light("");
      this.staffs[choice.lineIndex]?.cursor(-1);
      this.beat.textContent = "";
      this.noteName.textContent = "";
      this.state.textContent = "";
      this.holes.show("", word("fingering"));
      void this.letSleep();
    }
    this.session();
  }

  loopWords() {
    if (this.loopsNote) return word("looping_note");
    if (!this.loopedBars) return word("whole_line");
    const [a, b] = this.loopedBars;
    return a === b ? word("looping_bar", { a }) : word("looping_bars", { a, b });
  }

  /** Say something once. @param {string} text */
  say(text) {
    this.said.textContent = text;
  }

  // What is pressed.

  /** @param {Partial<import("./practice.js").Choice>} what */
  change(what) {
    Object.assign(this.choice, what);
    this.choice.version += 1;
    this.shown();
    if (this.player.isPlaying) {
      if (this.choice.mode === "session" || "mode" in what) this.play();
      else this.player.decideAgain();
    }
  }

  toggle() {
    if (this.player.isPlaying) {
      this.player.stop();
      this.shown();
    } else {
      this.play();
    }
  }

  play() {
    this._counted = 0;
    this._heardSection = -1;
    for (const name of /** @type {const} */ (["chanter", "drone", "metronome"])) {
      this.player.fade(name, factor(this.faders[name]));
    }
    this.player.start(decider(this.choice, readFraction));
    this.choice.startAt = null;
    void this.stayAwake();
    this.shown();
    this.follow();
  }

  /** @param {number} pitch @param {number} cents */
  tune(pitch, cents) {
    this.pitchIndex = pitch;
    this.cents = cents;
    this.choice.bank = this.bank();
    if (this.player.isPlaying) this.play();
    else this.prepare();
  }

  /** @param {string} text */
  typeTempo(text) {
    const tempo = Math.min(FASTEST, Math.max(SLOWEST, Number(text) || SLOWEST));
    const asked = readFraction(tempo.toFixed(4).replace(/\.?0+$/, "") || String(SLOWEST));
    const fits = fitting(this.line, asked);
    if (!isSame(fits, asked)) this.say(word("too_fast", { n: spokenTempo(fits) }));
    this.change({ tempo: fits });
  }

  /** @param {number} way */
  otherRung(way) {
    const { rungs, tempo } = this.choice;
    const rung = way > 0 ? rungAbove(rungs, tempo, this.line) : rungBelow(rungs, tempo);
    if (rung) this.change({ tempo: rung });
  }

  stepBack() {
    const heard = this.heardTag();
    const rung = rungBelow(this.choice.rungs, heard ? heard.tempo : this.choice.tempo);
    if (rung) this.change({ tempo: rung });
  }

  clean() {
    const heard = this.heardTag();
    const lineIndex = heard ? heard.lineIndex : this.choice.lineIndex;
    const tempo = heard ? heard.tempo : this.choice.tempo;
    this.log.add(this.lineKey(lineIndex), asText(tempo), { clean: 1 });
    const { number } = this.exercise.lines[lineIndex];
    this.say(word("clean_said", { line: number, n: spokenTempo(tempo) }));
    this.showLog();
  }

  /** @param {number} first @param {number} last written bars */
  loopBars(first, last) {
    const stretch = stretchOfBars(this.line, first, last);
    if (!stretch) return;
    this.loopedBars = [Math.min(first, last), Math.max(first, last)];
    this.loopsNote = false;
    this.staffs[this.choice.lineIndex]?.loop(this.loopedBars);
    this.change({ ...stretch, startAt: null });
    if (this.player.isPlaying) this.play();
  }

  /** @param {number} bar @param {number} item */
  loopNote(bar, item) {
    const stretch = stretchOfNote(this.line, bar, item);
    if (!stretch) return;
    this.loopsNote = true;
    this.loopedBars = [bar, bar];
    this.staffs[this.choice.lineIndex]?.loop(this.loopedBars);
    this.change({ ...stretch, startAt: null });
    this.play();
  }

  loopWhole() {
    this.loopedBars = null;
    this.loopsNote = false;
    this.staffs[this.choice.lineIndex]?.loop(null);
    this.change({ from: null, to: null, startAt: null });
  }

  /** @param {number} bar as it is written */
  startAtBar(bar) {
    const stretch = stretchOfBars(this.line, bar, bar);
    if (!stretch) return;
    if (this.loopedBars && (bar < this.loopedBars[0] || bar > this.loopedBars[1])) this.loopWhole();
    this.choice.startAt = stretch.from;
    this.play();
  }

  /** The loop begins or ends with the bar that sounds. @param {"begin"|"end"} which */
  bracket(which) {
    const event = this.player.eventAt(this.player.heardFrame);
    const bar = event && event.bar >= 0 ? this.line.bars[event.bar]?.written : undefined;
    if (bar === undefined) return;
    const lastBar = Math.max(...this.line.bars.map((one) => one.written));
    const [a, b] = this.loopedBars ?? [1, lastBar];
    if (which === "begin") this.loopBars(bar, Math.max(bar, b));
    else this.loopBars(Math.min(bar, a), bar);
  }

  /** @param {number} day */
  takeDay(day) {
    this.day = day;
    this.daySelect.value = String(day);
    this.change({ plan: this.exercise.plan[day] ?? [], mode: "session" });
  }

  /** @param {number} index */
  lineKey(index) {
    const { title, lines } = this.exercise;
    return `${title} / ${lines[index].number}`.slice(0, 300);
  }

  listen() {
    document.addEventListener("keydown", (event) => this.key(event));
    window.addEventListener("resize", () => this.staffs.forEach((staff) => staff.host.firstChild && staff.draw()));
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden && this.player.isPlaying) {
        void this.stayAwake();
        this.follow();
      }
    });
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const { target } = event;
    const isTyped = target instanceof HTMLInputElement || target instanceof HTMLSelectElement;
    if (isTyped && event.key !== "Escape") return;
    const isButton = target instanceof HTMLButtonElement;
    if (event.key === " " && isButton && target !== this.playButton) return;
    const digit = /^[1-9]$/.test(event.key) ? this.choice.rungs[Number(event.key) - 1] : undefined;
    const done = {
      " ": () => this.toggle(),
      ArrowUp: () => this.takeLine(this.choice.lineIndex - 1, false),
      ArrowDown: () => this.takeLine(this.choice.lineIndex + 1, false),
      ArrowLeft: () => this.otherRung(-1),
      ArrowRight: () => this.otherRung(1),
      b: () => this.stepBack(),
      c: () => this.clean(),
      "[": () => this.bracket("begin"),
      "]": () => this.bracket("end"),
      Escape: () => this.loopWhole(),
    }[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (digit && isSame(fitting(this.line, digit), digit)) this.change({ tempo: digit });
    else if (done) done();
    else return;
    event.preventDefault();
  }

  // What sounds is shown; the picture follows the audio's clock.

  follow() {
    if (!this.player.isPlaying) return;
    this.showHeard(this.player.heardFrame);
    if (!document.hidden) requestAnimationFrame(() => this.follow());
  }

  /** @returns {import("./practice.js").Tag|null} */
  heardTag() {
    return this.player.sectionAt(this.player.heardFrame)?.tag ?? null;
  }

  /** @param {number} frame */
  showHeard(frame) {
    const { player, choice } = this;
    const section = player.sectionAt(frame);
    if (!section) return;
    const number = player.performance?.sections.indexOf(section) ?? -1;
    if (number !== this._heardSection) this.enter(number);
    const event = player.eventAt(frame);
    const staff = this.staffs[choice.lineIndex];
    const sounds = event && event.tone !== null;
    const id = event ? event.id : "";
    if (id !== this._litId) {
      this._litId = id;
      staff?.light(id);
    }
    const tone = sounds ? Number(event.tone) : -1;
    if (tone !== this._shownTone) {
      this._shownTone = tone;
      const named = tone < 0 ? "" : noteName(tone < 9 ? tone : this.data.sound.fingered[tone - 9].note);
      this.holes.show(tone < 0 ? "" : this.data.fingerings[tone], `${word("fingering")}: ${named || word("silent")}`);
      this.noteName.textContent = named;
    }
    const click = player.clickAt(frame);
    const bar = click && click.bar >= 0 ? (section.line.bars[click.bar]?.written ?? -1) : -1;
    staff?.cursor(section.kind === "line" || section.kind === "turn" ? bar : -1);
    this.beat.textContent = click ? String(click.beat + 1) : "";
    if (section.kind === "quiet") {
      const left = Math.ceil((section.endFrame - frame) / this.data.sound.rate);
      this.state.textContent = word("rest", { n: left });
      this.beat.textContent = "";
    }
  }

  /** A section begins. @param {number} number */
  enter(number) {
    const { performance } = this.player;
    const sections = performance?.sections ?? [];
    // Rounds that are over are counted, once each.
    for (; this._counted < number; this._counted++) {
      const over = sections[this._counted];
      if (over && (over.kind === "line" || over.kind === "turn")) {
        const tag = /** @type {import("./practice.js").Tag} */ (over.tag);
        const seconds = (over.endFrame - over.frame) / this.data.sound.rate;
        this.log.add(this.lineKey(tag.lineIndex), asText(tag.tempo), {
          rounds: over.kind === "line" ? 1 : 0,
          seconds: Math.round(seconds),
        });
      }
    }
    if (number > 0) this.showLog();
    this._heardSection = number;
    const section = sections[number];
    if (!section) return;
    const tag = /** @type {import("./practice.js").Tag} */ (section.tag);
    if (tag.lineIndex !== this.choice.lineIndex) this.takeLine(tag.lineIndex, true);
    Array.from(this.rungs.children).forEach((button, index) => {
      const rung = this.choice.rungs[index];
      button.classList.toggle("heard", rung !== undefined && isSame(rung, tag.tempo));
    });
    const words = {
      clicks: word("counted_in"),
      turn: word("your_turn"),
      quiet: "",
      line: word("round", { n: tag.round }),
    }[section.kind];
    this.state.textContent = section.kind === "quiet" ? "" : `${words} · ${word("rung", { n: spokenTempo(tag.tempo) })}`;
    this.session();
  }

  // The log.

  showLog() {
    const { log, exercise } = this;
    if (!log.isKept) this.say(word("log_lost"));
    const head = ["log_line", "log_days", "log_rounds", "log_fastest", "log_clean"].map((key, index) =>
      element("th", { scope: "col", class: index ? "number" : null, text: word(key) }),
    );
    const rows = exercise.lines.flatMap((/** @type {any} */ line, /** @type {number} */ index) => {
      const known = log.of(this.lineKey(index));
      if (!known.rounds && !known.clean) return [];
      const cells = [known.days, known.rounds, known.fastest, known.clean].map((value) =>
        element("td", { class: "number", text: value ? String(Math.floor(value * 100) / 100) : word("nothing") }),
      );
      const name = `${line.number} ${line.heading}`;
      return [element("tr", {}, element("th", { scope: "row", text: name }), ...cells)];
    });
    const today = log.today();
    const sum = `${word("log_today")}: ${today.rounds} ${word("log_rounds")}, ${Math.round(today.minutes)} min`;
    this.logTable.replaceChildren(
      element("p", { text: rows.length ? sum : word("log_empty") }),
      ...(rows.length ? [element("table", {}, element("thead", {}, element("tr", {}, ...head)), element("tbody", {}, ...rows))] : []),
    );
  }

  exportLog() {
    const blob = new Blob([writtenLog(this.log.entries)], { type: "application/json" });
    const address = URL.createObjectURL(blob);
    element("a", { href: address, download: "practice log.json" }).click();
    setTimeout(() => URL.revokeObjectURL(address), 10_000);
  }

  /** @param {HTMLInputElement} input */
  async importLog(input) {
    const file = input.files?.[0];
    input.value = "";
    if (!file) return;
    const entries = file.size < 10_000_000 ? readLog(await file.text()) : null;
    if (entries) this.log.takeOver(entries);
    this.showLog();
    this.say(word(entries ? "log_added" : "log_refused"));
  }

  // What the device is asked for.

  async stayAwake() {
    const { wakeLock } = /** @type {any} */ (navigator);
    if (!wakeLock) {
      this.say(word("stay_awake"));
      return;
    }
    try {
      this._lock ??= await wakeLock.request("screen");
      this._lock.addEventListener("release", () => (this._lock = null));
    } catch {
      // Refused, as with a nearly empty battery: the screen goes dark as it always does.
      this._lock = null;
    }
  }

  async letSleep() {
    const lock = this._lock;
    this._lock = null;
    if (lock) await lock.release().catch(() => {});
  }

  session() {
    const session = navigator.mediaSession;
    if (!session || !this.exercise) return;
    session.playbackState = this.player.isPlaying ? "playing" : "paused";
    if (typeof MediaMetadata === "undefined") return;
    const line = this.exercise.lines[this.choice.lineIndex];
    session.metadata = new MediaMetadata({
      title: `${word("line", { n: line.number })} · ${spokenTempo(this.choice.tempo)}`,
      album: this.exercise.title,
    });
    /** @type {[MediaSessionAction, () => void][]} */
    const actions = [
      ["play", () => this.player.isPlaying || this.play()],
      ["pause", () => this.player.isPlaying && this.toggle()],
      ["stop", () => this.player.isPlaying && this.toggle()],
      ["previoustrack", () => this.otherRung(-1)],
      ["nexttrack", () => this.otherRung(1)],
    ];
    for (const [action, does] of actions) {
      try {
        session.setActionHandler(action, does);
      } catch {
        // Not every browser knows every key.
      }
    }
  }

  /** @type {string|undefined} */
  _litId;

  /** @type {number|undefined} */
  _shownTone;
}

const pageData = document.getElementById("data");
const pageRoot = document.getElementById("page");
if (pageData && pageRoot) {
  const page = new Page(JSON.parse(pageData.textContent ?? ""), pageRoot);
  // For tests, and for whoever looks behind the page.
  Object.defineProperty(window, "rungwise", { value: page });
}
