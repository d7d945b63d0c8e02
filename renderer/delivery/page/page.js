// The practice page: what is shown and pressed, over the player, the staff and the log.

import { Banks, doBetween } from "./banks.js";
import { dayRows } from "./day_list.js";
import { Awake, MediaKeys, isPressed } from "./device.js";
import { element, showOnSlider } from "./elements.js";
import { asNumber, asText, isSame, readFraction } from "./exact.js";
import { keyPressed } from "./keys.js";
import { Log, dayOf, readLog, writtenLog } from "./log.js";
import { logTable, partWords } from "./log_table.js";
import { linesOf, readMusic } from "./music.js";
import { milliseconds, panelsOf } from "./panels.js";
import { LOWEST_FADER_DB, Player, factor } from "./player.js";
import {
  decider,
  fitting,
  numberOfBar,
  readTempo,
  rungAbove,
  rungBelow,
  spokenTempo,
  stretchOfBars,
  stretchOfNote,
  usualChoice,
  waysOf,
} from "./practice.js";
import { Holes, Staff, barUnder, noteNear } from "./staff.js";
import { LANGUAGES, noteName, speak, word } from "./words.js";

/** @typedef {import("./moments.js").Line} Line */
/** @typedef {import("./exact.js").Fraction} Fraction */

const MOVED_PX = 12;
const MOST_DOCK = 0.7;

/** A line's staves as it sounds in a form. @param {any} line @param {string} form */
function stavesOf(line, form) {
  return line.staves[line.drawn[form] ?? line.drawn.written];
}

export class Page {
  /** @param {any} data @param {HTMLElement} root */
  constructor(data, root) {
    this.data = data;
    this.root = root;
    /** @type {Map<number, ReturnType<typeof linesOf>>} */
    this.lines = new Map();
    this.exerciseIndex = 0;
    this.pitchIndex = 0;
    this.cents = 0;
    const heard = (/** @type {boolean} */ is) => (is ? 0 : LOWEST_FADER_DB);
    this.faders = { chanter: 0, drone: heard(data.drone), metronome: heard(data.metronome) };
    this.log = new Log(data.page, this.storage());
    this.player = new Player(readMusic(data), () => this.ended());
    this.banks = new Banks(data);
    /** @type {import("./practice.js").Choice} */
    this.choice = usualChoice(data, (...asked) => this.lineOf(...asked), this.bank());
    /** @type {[number, number]|null} */
    this.loopedBars = null;
    this.loopsNote = false;
    this.picks = "bars";
    this.day = 0;
    this._counted = 0;
    this._heardSection = -1;
    this._pointed = false;
    this._handled = "";
    this.awake = new Awake(() => this.say(word("stay_awake")));
    this.media = new MediaKeys({
      play: () => this.player.isPlaying || this.play(),
      pause: () => this.player.isPlaying && this.toggle(),
      stop: () => this.player.isPlaying && this.toggle(),
      previoustrack: () => this.otherRung(-1),
      nexttrack: () => this.otherRung(1),
    });
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

  /** @param {number} index @param {string} form @param {Fraction|null} gracenote @returns {Line|null} */
  lineOf(index, form, gracenote) {
    let lines = this.lines.get(this.exerciseIndex);
    if (!lines) this.lines.set(this.exerciseIndex, (lines = linesOf(this.exercise)));
    return lines(index, form, gracenote);
  }

  get line() {
    const { lineIndex, form, gracenote } = this.choice;
    const line = this.lineOf(lineIndex, form, gracenote) ?? this.lineOf(lineIndex, "written", gracenote);
    return /** @type {Line} */ (line);
  }

  bank() {
    return this.banks.of(this.pitchIndex, this.cents);
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
    work.push(() => void bank.drones(), () => void (this.player.isPlaying || this.player.struck(bank)));
    doBetween(work, () => this.choice.bank === bank);
  }

  // What is shown.

  build() {
    document.documentElement.lang = this.language;
    const { data } = this;
    this.title = element("h1", { dir: "auto" });
    this.subtitle = element("p");
    this.main = element("main", { "aria-label": word("music") });
    const languages = element("select", {
      "aria-label": word("language"),
      onchange: (/** @type {any} */ event) => {
        this.language = speak(event.target.value);
        this.store("language", this.language);
        this.halt();
        this.build();
        this.takeExercise(this.exerciseIndex);
        /** @type {HTMLElement|null} */ (this.root.querySelector("select.language"))?.focus();
      },
      class: "language",
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
    this.dockElement = this.dock();
    this.root.replaceChildren(header, this.main, this.dockElement);
  }

  dock() {
    this.playButton = element("button", { class: "play", onclick: () => this.toggle() });
    this.rungs = element("div", { class: "rungs", role: "group", "aria-label": word("rungs") });
    this.cleanButton = element("button", { onclick: () => this.clean(), text: word("clean") });
    this.backButton = element("button", { onclick: () => this.stepBack(), text: word("back") });
    this.loopButton = element("button", { onclick: () => this.loopWhole() });
    this.beat = element("span", { class: "beat", "aria-hidden": "true" });
    this.state = element("span", { class: "state" });
    this.stateTempo = element("span", { class: "state tempo" });
    this.noteName = element("span", { class: "name", "aria-hidden": "true" });
    this.said = element("p", { class: "said", role: "status" });
    const now = element(
      "div",
      { class: "now" },
      this.beat,
      this.holes.element,
      this.noteName,
      this.state,
      this.stateTempo,
    );
    const panels = panelsOf(this);
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
    const controls = element(
      "div",
      { class: "always" },
      element("div", { class: "row" }, this.playButton, this.rungs, now),
      element(
        "div",
        { class: "row small" },
        element("div", { class: "group" }, this.loopButton, this.backButton, this.cleanButton),
        element("div", { class: "group" }, ...toggles),
      ),
      this.said,
    );
    // What plays is scrolled to where the controls do not cover it.
    this._dockSize?.disconnect();
    this._dockSize = new ResizeObserver(() => {
      document.documentElement.style.setProperty("--dock", `${controls.offsetHeight + 24}px`);
    });
    this._dockSize.observe(controls);
    return element(
      "section",
      { class: "dock", "aria-label": word("controls") },
      controls,
      ...Object.values(panels),
    );
  }

  /** @param {number} index */
  takeExercise(index) {
    this.halt();
    this.exerciseIndex = index;
    const { exercise } = this;
    document.title = exercise.title;
    this.title.textContent = exercise.title;
    // Each by itself, whatever way its letters run.
    const about = [exercise.audience, exercise.composer, exercise.purpose].filter(Boolean);
    this.subtitle.replaceChildren(
      ...about.flatMap((text, at) => [at ? " · " : "", element("bdi", { text })]),
    );
    this.staffs = [];
    this.sections = exercise.lines.map((/** @type {any} */ line, /** @type {number} */ at) => this.lineSection(line, at));
    this.main.replaceChildren(...this.sections);
    this.choice.rungs = exercise.rungs.map(readFraction);
    this.choice.rounds = exercise.rounds;
    this.roundsField.value = String(exercise.rounds);
    this.choice.tempo = this.choice.rungs[0] ?? readFraction("60");
    this.buildRungs();
    this.daySelect.replaceChildren(
      ...exercise.plan.map((/** @type {any} */ _, /** @type {number} */ day) => element("option", { value: day }, String(day + 1))),
    );
    this.sessionChoice.hidden = exercise.plan.length === 0;
    const seen = new IntersectionObserver((entries) => {
      for (const entry of entries) {
        if (!entry.isIntersecting) continue;
        const staff = this.staffs.find((one) => one.host === entry.target);
        staff?.draw();
      }
    }, { rootMargin: "300px" });
    for (const staff of this.staffs) seen.observe(staff.host);
    this.takeLine(0, false);
    this.day = this.dayDue();
    this.daySelect.value = String(this.day);
    this.showDay();
    this.showLog();
  }

  buildRungs() {
    const { choice, exercise } = this;
    this.rungs.replaceChildren(
      ...choice.rungs.map((rung, index) =>
        element("button", {
          "aria-label": word("rung", { n: exercise.rung_labels[index] }),
          onclick: () => this.takeRung(rung),
          text: exercise.rung_labels[index],
        }),
      ),
    );
  }

  /** @param {any} line @param {number} at */
  lineSection(line, at) {
    const name = word("line", { n: line.number });
    const heading = name + (line.heading ? ` · ${line.heading}` : "");
    const host = element("div", { class: "staves" });
    this.staffs.push(new Staff(host, stavesOf(line, "written"), `${heading}: ${line.played[this.language]}`));
    this.pointer(host, at);
    const advice = element("ul", { class: "advice", "aria-label": word("advice") });
    for (const said of line.advice) {
      const bar = word("advice_bar", { n: said.bar });
      advice.append(element("li", { text: `${bar}: ${said[this.language]}` }));
    }
    const button = element(
      "button",
      { onclick: () => this.takeLine(at, false) },
      name,
      ...(line.heading ? [" · ", element("bdi", { text: line.heading })] : []),
    );
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
    const hasMoved = (/** @type {PointerEvent} */ event) =>
      begun !== null && Math.hypot(event.clientX - begun.x, event.clientY - begun.y) > MOVED_PX;
    const staff = () => this.staffs[at];
    const showChosen = () => staff()?.loop(this.choice.lineIndex === at ? this.loopedBars : null);
    host.addEventListener("pointerdown", (event) => {
      const bar = barUnder(event.clientX, event.clientY);
      begun = bar && event.button === 0 ? { x: event.clientX, y: event.clientY, bar } : null;
      // Let go of beside the staff, it is let go of all the same.
      if (begun) host.setPointerCapture(event.pointerId);
    });
    host.addEventListener("pointermove", (event) => {
      if (!begun || this.picks === "movement" || !hasMoved(event)) return;
      const bar = barUnder(event.clientX, event.clientY, host) || begun.bar;
      staff()?.loop([Math.min(begun.bar, bar), Math.max(begun.bar, bar)]);
    });
    host.addEventListener("pointercancel", () => {
      begun = null;
      showChosen();
    });
    host.addEventListener("pointerup", (event) => {
      const from = begun;
      const moved = hasMoved(event);
      begun = null;
      if (!from) return;
      showChosen();
      const bar = barUnder(event.clientX, event.clientY, host) || from.bar;
      if (this.choice.lineIndex !== at) this.takeLine(at, false);
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
    if (!keepsPlaying) {
      this.halt();
      this.endDay();
    }
    this._lastTag = null;
    this.staffs[choice.lineIndex]?.light("");
    this.staffs[choice.lineIndex]?.cursor(-1);
    this.staffs[choice.lineIndex]?.loop(null);
    this.showForm("written");
    choice.lineIndex = index;
    choice.from = choice.to = choice.startAt = null;
    choice.part = "";
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
    const written = [...new Set(this.line.bars.map((bar) => bar.written))].sort((a, b) => a - b);
    this.barFields.hidden = written.length < 2;
    for (const select of [this.firstBar, this.lastBar]) {
      select.replaceChildren(
        ...written.map((bar) => element("option", { value: bar }, numberOfBar(this.line, bar))),
      );
    }
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
    const { gracenote } = this.line;
    this.gracenoteField.hidden = gracenote === null;
    if (gracenote) showOnSlider(this.gracenoteField, Math.round(1000 * asNumber(gracenote)), milliseconds);
    const { isPlaying } = player;
    this.playButton.textContent = word(isPlaying ? "stop" : "start");
    choice.rungs.forEach((rung, index) => {
      const button = this.rungs.children[index];
      const isChosen = isSame(rung, choice.tempo);
      button.setAttribute("aria-pressed", String(isChosen));
      button.setAttribute("aria-disabled", String(!isSame(fitting(this.line, rung), rung)));
      if (!isPlaying) button.classList.remove("heard");
      if (isChosen) this.showRung(button);
    });
    this.tempoField.value = spokenTempo(choice.tempo);
    this.backButton.setAttribute("aria-disabled", String(!rungBelow(choice.rungs, this.tempoNow())));
    const bars = this.line.bars.map((bar) => bar.written);
    this.firstBar.value = String(this.loopedBars ? this.loopedBars[0] : Math.min(...bars));
    this.lastBar.value = String(this.loopedBars ? this.loopedBars[1] : Math.max(...bars));
    this.loopButton.textContent = this.loopWords();
    this.loopButton.setAttribute("aria-pressed", String(choice.from !== null));
    const mode = this.root.querySelector(`input[name="mode"][value="${choice.mode}"]`);
    if (mode instanceof HTMLInputElement) mode.checked = true;
    if (!isPlaying) {
      this.showForm(choice.form);
      this.staffs[choice.lineIndex]?.light("");
      this.staffs[choice.lineIndex]?.cursor(-1);
      this.beat.textContent = "";
      this.noteName.textContent = "";
      this.state.textContent = this.stateTempo.textContent = "";
      this.state.classList.remove("turn");
      this.dayList.querySelector("[aria-current]")?.removeAttribute("aria-current");
      this._shownTone = undefined;
      this._litId = undefined;
      this.holes.show("", word("fingering"));
      void this.awake.end();
    }
    this.dayField.hidden = choice.mode !== "session";
    this.showMedia();
  }

  /** Draw the chosen line's staves as they sound in a form. @param {string} form */
  showForm(form) {
    const { lineIndex } = this.choice;
    const line = this.exercise.lines[lineIndex];
    // What is drawn anew is not lit yet.
    if (line && this.staffs[lineIndex]?.take(stavesOf(line, form))) this._litId = undefined;
  }

  /** Bring a rung into sight where there are more than fit. @param {HTMLElement} button */
  showRung(button) {
    const { rungs } = this;
    const left = button.offsetLeft - rungs.offsetLeft;
    if (left < rungs.scrollLeft) rungs.scrollLeft = left;
    const right = left + button.offsetWidth - rungs.clientWidth;
    if (right > rungs.scrollLeft) rungs.scrollLeft = right;
  }

  loopWords() {
    if (this.loopsNote) return word("looping_note");
    if (!this.loopedBars) return word("whole_line");
    const [a, b] = this.loopedBars.map((bar) => numberOfBar(this.line, bar));
    return a === b ? word("looping_bar", { a }) : word("looping_bars", { a, b });
  }

  /** Say something once. @param {string} text */
  say(text) {
    this.said.textContent = text;
  }

  // What is pressed.

  /** @param {Partial<import("./practice.js").Choice>} what */
  change(what) {
    const { choice } = this;
    // Who chooses something else than the day has goes on alone.
    const isOwn = Boolean(what.tempo ?? what.form ?? what.from);
    if (choice.mode === "session" && isOwn) what = { mode: "loop", ...what };
    Object.assign(choice, what);
    choice.version += 1;
    this._lastTag = null;
    this.shown();
    if (this.player.isPlaying) {
      if ("mode" in what) this.play();
      else this.player.decideAgain();
    }
  }

  toggle() {
    if (this.player.isPlaying) {
      this.halt();
      this.shown();
    } else {
      this.play();
    }
  }

  play() {
    this.count(this.player.heardFrame);
    this._counted = 0;
    this._heardSection = -1;
    this._lastTag = null;
    this.say("");
    for (const name of /** @type {const} */ (["chanter", "drone", "metronome"])) {
      this.player.fade(name, factor(this.faders[name]));
    }
    this.player.start(decider(this.choice, readFraction));
    this.choice.startAt = null;
    void this.awake.begin();
    this.shown();
    this.follow();
    // Music first: a panel that leaves no room for it is closed.
    if (this.dockElement.offsetHeight > MOST_DOCK * window.innerHeight && this.closePanel()) {
      this.playButton.focus({ preventScroll: true });
    }
  }

  /** Stop; what has been played by then is kept in mind. */
  halt() {
    if (!this.player.isPlaying) return;
    const heard = this.heardTag();
    this.count(this.player.heardFrame);
    this.player.stop();
    this._rendered = null;
    this._lastTag = heard;
    this.showLog();
  }

  /** What was to be played has come to its end. */
  ended() {
    const last = this._rendered?.sections.at(-1);
    this.count(Infinity);
    this._rendered = null;
    this._lastTag = last ? last.tag : null;
    this.shown();
    this.showLog();
    if (this.choice.mode !== "session") return;
    this.store(this.dayKey(), JSON.stringify({ day: this.day, on: dayOf(new Date()) }));
    this.say(word("day_done"));
  }

  /** @param {number} pitch @param {number} cents */
  tune(pitch, cents) {
    this.pitchIndex = pitch;
    this.cents = cents;
    this.choice.bank = this.bank();
    const heard = this.choice.mode === "session" ? this.heardTag() : null;
    // A day goes on where it was.
    if (heard) this.choice.firstBlock = heard.block;
    if (this.player.isPlaying) this.play();
    else this.prepare();
  }

  /** @param {string} text */
  typeTempo(text) {
    const asked = readTempo(Number(text));
    const fits = fitting(this.line, asked);
    if (!isSame(fits, asked)) this.say(word("too_fast", { n: spokenTempo(fits) }));
    this.change({ tempo: fits });
  }

  /** @param {Fraction} rung */
  takeRung(rung) {
    const fits = fitting(this.line, rung);
    if (isSame(fits, rung)) this.change({ tempo: rung });
    else this.say(word("too_fast", { n: spokenTempo(fits) }));
  }

  /** @param {number} way */
  otherRung(way) {
    const { rungs } = this.choice;
    const tempo = this.tempoNow();
    const rung = way > 0 ? rungAbove(rungs, tempo, this.line) : rungBelow(rungs, tempo);
    if (rung) this.change({ tempo: rung });
  }

  stepBack() {
    const rung = rungBelow(this.choice.rungs, this.tempoNow());
    if (rung) this.change({ tempo: rung });
  }

  /** The tempo that a step goes up or down from: what is heard, unless something else was chosen since. */
  tempoNow() {
    const tag = this.heardTag() ?? this._lastTag;
    return tag && tag.version === this.choice.version ? tag.tempo : this.choice.tempo;
  }

  /** By the learner's own word: of what is heard, or was heard last, else of what is chosen. */
  clean() {
    const what = this.heardTag() ?? this._lastTag ?? this.choice;
    const { lineIndex, tempo } = what;
    this.log.add(this.lineKey(lineIndex, waysOf(what)), asText(tempo), { clean: 1 });
    const line = this.exercise.lines[lineIndex].number + partWords(waysOf(what));
    this.say(word("clean_said", { line, n: spokenTempo(tempo) }));
    this.showLog();
  }

  /** @param {number} first @param {number} last written bars */
  loopBars(first, last) {
    const stretch = stretchOfBars(this.line, first, last);
    if (!stretch) return;
    this.loopedBars = [Math.min(first, last), Math.max(first, last)];
    this.loopsNote = false;
    this.staffs[this.choice.lineIndex]?.loop(this.loopedBars);
    this.change({ ...stretch, startAt: null, part: this.loopedNumbers() });
    if (this.player.isPlaying) this.play();
  }

  /** The numbers that the looped bars are known by: `3-4`. */
  loopedNumbers() {
    return [...new Set(this.loopedBars?.map((bar) => numberOfBar(this.line, bar)))].join("-");
  }

  /** @param {number} first @param {number} last written bars, all of them for the whole line */
  pickBars(first, last) {
    const bars = this.line.bars.map((bar) => bar.written);
    const isWhole = Math.min(first, last) <= Math.min(...bars) && Math.max(first, last) >= Math.max(...bars);
    if (isWhole) this.loopWhole();
    else this.loopBars(first, last);
  }

  /** @param {number} bar @param {number} item */
  loopNote(bar, item) {
    const stretch = stretchOfNote(this.line, bar, item);
    if (!stretch) return;
    this.loopsNote = true;
    this.loopedBars = [bar, bar];
    this.staffs[this.choice.lineIndex]?.loop(this.loopedBars);
    this._looped = { bar, item };
    this.change({ ...stretch, startAt: null, part: "note" });
    this.play();
  }

  /** Loop the note after or before the one that is looped, or that sounds. @param {number} way */
  otherNote(way) {
    const { line } = this;
    const sounds = this.player.isPlaying ? this.player.eventAt(this.player.heardFrame) : null;
    const name = /^L\d+-B(\d+)-N(\d+)-/.exec(sounds?.id ?? "");
    const known = this.loopsNote ? this._looped : name ? { bar: Number(name[1]), item: Number(name[2]) } : null;
    const items = line.items.map((one) => ({ bar: line.bars[one.bar - 1]?.written ?? 0, item: one.item }));
    const at = known ? items.findIndex((one) => one.bar === known.bar && one.item === known.item) : -1;
    const next = items[known ? at + way : way > 0 ? 0 : items.length - 1];
    if (next) this.loopNote(next.bar, next.item);
  }

  loopWhole() {
    this.loopedBars = null;
    this.loopsNote = false;
    this.staffs[this.choice.lineIndex]?.loop(null);
    this.change({ from: null, to: null, startAt: null, part: "" });
  }

  /** @param {number} bar as it is written */
  startAtBar(bar) {
    const stretch = stretchOfBars(this.line, bar, bar);
    if (!stretch) return;
    if (this.loopedBars && (bar < this.loopedBars[0] || bar > this.loopedBars[1])) this.loopWhole();
    this.endDay();
    this.choice.startAt = stretch.from;
    this._startedBar = bar;
    this.play();
  }

  /** Start at the bar after or before the one that sounds. @param {number} way */
  otherBar(way) {
    const bars = this.line.bars.map((bar) => bar.written);
    const event = this.player.isPlaying ? this.player.eventAt(this.player.heardFrame) : null;
    const now = event && event.bar >= 0 ? (bars[event.bar] ?? 0) : this._startedBar;
    const bar = Math.min(Math.max(...bars), Math.max(Math.min(...bars), now + way));
    this.startAtBar(bar);
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

  /** Who goes to another place than the day of the plan does goes on alone. */
  endDay() {
    if (this.choice.mode === "session") this.choice.mode = "loop";
  }

  /** @param {number} day @param {number} firstBlock where in the day it begins */
  takeDay(day, firstBlock = 0) {
    if (this.choice.from) this.loopWhole();
    this.day = day;
    this.daySelect.value = String(day);
    this.showDay();
    this.change({ plan: this.exercise.plan[day] ?? [], firstBlock, mode: "session" });
  }

  dayKey() {
    return `day ${this.data.page} ${this.exerciseIndex}`;
  }

  /** The day of the plan that is due: after the last one that was gone through, from the next day on. */
  dayDue() {
    const days = this.exercise.plan.length;
    try {
      const { day, on } = JSON.parse(this.stored(this.dayKey()) ?? "");
      const due = Number(day) + (on === dayOf(new Date()) ? 0 : 1);
      return Number.isInteger(due) && due > 0 && due < days ? due : 0;
    } catch {
      return 0;
    }
  }

  /** Show what the day of the plan holds. */
  showDay() {
    this.dayList.replaceChildren(...dayRows(this));
  }

  listen() {
    document.addEventListener("pointerdown", () => (this._pointed = true), true);
    // The first press of whatever opens the device's sound, so that none waits for it later.
    for (const press of ["mousedown", "keydown"]) {
      document.addEventListener(press, () => isPressed() && this.player.open(), true);
    }
    document.addEventListener("keydown", (event) => keyPressed(this, event));
    document.addEventListener("keyup", (event) => {
      // A press that was ours is not the button's, too.
      if (event.key === this._handled) event.preventDefault();
      this._handled = "";
    });
    window.addEventListener("resize", () => this.staffs.forEach((staff) => staff.host.firstChild && staff.draw()));
    // On paper everything is seen, scrolled to or not, and paper is wide.
    window.addEventListener("beforeprint", () => this.staffs.forEach((staff) => staff.draw("wide")));
    window.addEventListener("afterprint", () => this.staffs.forEach((staff) => staff.draw()));
    document.addEventListener("visibilitychange", () => {
      if (document.hidden) this.player.rest();
      else if (this.player.isPlaying) {
        void this.awake.begin();
        this.follow();
      }
    });
  }

  /** Close the panel that is open. @returns {boolean} whether one was */
  closePanel() {
    const open = this.root.querySelector('button[aria-expanded="true"]');
    if (!(open instanceof HTMLButtonElement)) return false;
    open.click();
    open.focus();
    return true;
  }

  // What sounds is shown; the picture follows the audio's clock.

  follow() {
    if (!this.player.isPlaying) return;
    this.showHeard(this.player.shownFrame);
    if (!document.hidden) requestAnimationFrame(() => this.follow());
  }

  /** @returns {import("./practice.js").Tag|null} */
  heardTag() {
    return this.player.sectionAt(this.player.heardFrame)?.tag ?? null;
  }

  /** @param {number} frame */
  showHeard(frame) {
    const { player, choice } = this;
    this._rendered = player.rendition;
    const section = player.sectionAt(frame);
    if (!section) return;
    const number = player.rendition?.sections.indexOf(section) ?? -1;
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
      const spoken = tone < 0 ? "" : noteName(tone < 9 ? tone : this.data.sound.fingered[tone - 9].note);
      this.holes.show(tone < 0 ? "" : this.data.fingerings[tone], `${word("fingering")}: ${spoken || word("silent")}`);
      this.noteName.textContent = spoken;
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
    const section = this.player.rendition?.sections[number];
    if (!section) return;
    this.count(section.frame);
    const before = this._heardSection < 0 ? null : this._lastSaid;
    this._heardSection = number;
    const tag = /** @type {import("./practice.js").Tag} */ (section.tag);
    if (section.kind !== "quiet") {
      if (tag.lineIndex !== this.choice.lineIndex) this.takeLine(tag.lineIndex, true);
      this.showForm(tag.form);
    }
    this.choice.rungs.forEach((rung, index) => {
      const button = this.rungs.children[index];
      const isHeard = section.kind !== "quiet" && isSame(rung, tag.tempo);
      button.classList.toggle("heard", isHeard);
      if (isHeard) this.showRung(button);
    });
    this.backButton.setAttribute("aria-disabled", String(!rungBelow(this.choice.rungs, this.tempoNow())));
    this.dayList.querySelectorAll("li").forEach((/** @type {Element} */ row, /** @type {number} */ index) => {
      if (this.choice.mode === "session" && index === tag.block) row.setAttribute("aria-current", "step");
      else row.removeAttribute("aria-current");
    });
    const words = {
      clicks: word("counted_in"),
      turn: word("your_turn"),
      quiet: "",
      line: word("round", { n: tag.round }),
    }[section.kind];
    const isTurn = section.kind === "turn" || section.kind === "quiet";
    this.state.classList.toggle("turn", isTurn);
    this.state.textContent = words;
    this.stateTempo.textContent = section.kind === "quiet" ? "" : word("rung", { n: spokenTempo(tag.tempo) });
    // What changes of itself is said, for who does not see it: another line, rung or form, a rest.
    const line = this.exercise.lines[tag.lineIndex];
    const said =
      section.kind === "quiet"
        ? word("rest_said")
        : word("now_said", { line: line.number + partWords(waysOf({ ...tag, part: "" })), n: spokenTempo(tag.tempo) });
    if (before && before !== said) this.say(said);
    this._lastSaid = said;
    this.showMedia();
  }

  /** Count the rounds that are over by a frame, once each. @param {number} frame */
  count(frame) {
    const sections = (this.player.rendition ?? this._rendered)?.sections ?? [];
    const first = this._counted;
    for (; this._counted < sections.length; this._counted++) {
      const done = /** @type {import("./rendition.js").Section & {frame: number, endFrame: number}} */ (
        sections[this._counted]
      );
      if (done.endFrame > frame) break;
      if (done.kind !== "line" && done.kind !== "turn") continue;
      const tag = /** @type {import("./practice.js").Tag} */ (done.tag);
      this.log.add(this.lineKey(tag.lineIndex, waysOf(tag)), asText(tag.tempo), {
        rounds: done.kind === "line" && tag.isWhole ? 1 : 0,
        seconds: Math.round((done.endFrame - done.frame) / this.data.sound.rate),
      });
    }
    if (this._counted > first) this.showLog();
  }

  // The log.

  showLog() {
    if (!this.log.isKept) this.say(word("log_lost"));
    this.logTable.replaceChildren(...logTable(this));
  }

  /** @param {number} index @param {string[]} ways */
  lineKey(index, ways = []) {
    const { title, lines } = this.exercise;
    return [title.slice(0, 200), lines[index].number, ...ways].join(" / ");
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

  /** Tell the device what plays. */
  showMedia() {
    const { exercise } = this;
    const tag = this.heardTag();
    const line = exercise.lines[tag ? tag.lineIndex : this.choice.lineIndex];
    const tempo = spokenTempo(tag ? tag.tempo : this.choice.tempo);
    this.media.show(this.player.isPlaying, `${word("line", { n: line.number })} · ${tempo}`, exercise.title);
  }

  /** What is sounding belongs to it. @type {import("./rendition.js").Rendition|null} */
  _rendered = null;

  /** What was heard last, until something else is chosen. @type {import("./practice.js").Tag|null} */
  _lastTag = null;

  _lastSaid = "";
  _startedBar = 1;

  /** @type {{bar: number, item: number}|null} */
  _looped = null;

  /** @type {ResizeObserver|undefined} */
  _dockSize;

  // What the panels hold that changes.

  /** @type {any} */
  barFields;

  /** @type {any} */
  dayField;

  /** @type {any} */
  dayList;

  /** @type {any} */
  daySelect;

  /** @type {any} */
  firstBar;

  /** @type {any} */
  formSelect;

  /** @type {any} */
  gracenoteField;

  /** @type {any} */
  lastBar;

  /** @type {any} */
  logTable;

  /** @type {any} */
  openingChoice;

  /** @type {any} */
  roundsField;

  /** @type {any} */
  sessionChoice;

  /** @type {any} */
  tempoField;

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
