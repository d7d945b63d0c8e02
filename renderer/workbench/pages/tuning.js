// Chanters: recordings listened to, the nine notes found, compared, named and played with.

import { element } from "../../delivery/page/elements.js";
import { Refused, ask, bring, elementOf, newestOf, whyNot } from "./ask.js";
import { Dock } from "./dock.js";
import { follow, stop } from "./jobs.js";
import { showKeys } from "./keys.js";
import { wayTo } from "./library.js";
import { Microphone, canRecord } from "./microphone.js";
import { Doing } from "./presses.js";
import { playedStaves } from "./staves_view.js";
import { table } from "./tables.js";
import { moment, noteName, say } from "./words.js";

/** @typedef {import("./hearing.js").Hearing} Hearing */
/** @typedef {import("./hearing.js").Heard} Heard */

/** Every note, to hear a chanter by. */
const SCALE =
  'title = "Scale"\nmeter = "4/4"\n[[lines]]\nabc = "G2 A2 B2 c2 | d2 e2 f2 g2 | a2 g2 f2 e2 | d2 c2 B2 A2"\n';

/** @param {number} cents */
function signed(cents) {
  const size = Math.abs(cents).toFixed(1);
  return size === "0.0" ? size : `${cents < 0 ? "−" : "+"}${size}`;
}

export class Tuning {
  /** @param {HTMLElement} root @param {string} name a recording @param {Hearing} hearing */
  constructor(root, name, hearing) {
    this.root = root;
    this.hearing = hearing;
    /** @type {Set<string>} */
    this.chosen = new Set(name ? [name] : []);
    /** @type {any[]} */
    this.files = [];
    /** @type {string[]} those that the result is of */
    this.names = [];
    this.job = "";
    /** What is to be listened to next. @type {{names: string[], scale: string}|null} */
    this._next = null;
    this._isListening = false;
    this._ended = false;
    this.askFolder = newestOf("library");
    this.doing = new Doing((error) => this.failed(error));
    this.microphone = new Microphone((seconds) => this.say("recording", { n: Math.floor(seconds) }));
    this.staves = playedStaves(hearing);
    this.dock = new Dock(hearing, () => 0);
    this.build();
  }

  build() {
    this.said = element("p", { class: "said", role: "status" });
    this.list = element("div", { class: "list" });
    this.result = element("section", { class: "result", "aria-label": say("result") });
    this.scale = element("section", { class: "sheet example", "aria-label": say("scale_heard") });
    this.listen = element("button", { type: "button", class: "main", onclick: () => void this.hear() });
    this.record = element("button", {
      type: "button",
      text: say("record"),
      disabled: !canRecord(),
      onclick: () => void this.recording(),
    });
    this.stopping = element("button", { type: "button", text: say("stop_work"), hidden: true, onclick: () => void stop(this.job) });
    const file = element("input", {
      type: "file",
      multiple: true,
      accept: "audio/*,video/mp4,video/3gpp,video/webm",
      class: "hidden",
      onchange: (/** @type {any} */ event) => void this.drop([...event.target.files]),
    });
    const main = element(
      "main",
      { class: "library" },
      element(
        "section",
        { class: "files" },
        element("p", { text: say("tune_how") }),
        element(
          "div",
          { class: "row" },
          this.record,
          element("label", { class: "file" }, say("drop_recording"), file),
          this.listen,
          this.stopping,
        ),
        ...(canRecord() ? [] : [element("p", { class: "stands", text: say("no_microphone") })]),
        this.said,
        this.list,
        this.result,
      ),
      this.scale,
    );
    main.addEventListener("dragover", (/** @type {DragEvent} */ event) => event.preventDefault());
    main.addEventListener("drop", (/** @type {DragEvent} */ event) => {
      event.preventDefault();
      void this.drop([...(event.dataTransfer?.files ?? [])]);
    });
    this.root.replaceChildren(
      element(
        "header",
        { class: "bar" },
        element("a", { class: "home", href: "#/", text: say("library") }),
        element("h1", { text: say("chanters") }),
        element("span", { class: "gap" }),
        element("button", { type: "button", class: "of-keys", text: say("keys"), onclick: showKeys }),
      ),
      main,
      this.dock.element,
    );
  }

  async start() {
    try {
      await this.look();
      if (this._ended) return;
      if (this.chosen.size) void this.hear();
      await this.showScale();
      await this.hearing.load();
    } catch (error) {
      this.failed(error);
    }
  }

  async end() {
    this._ended = true;
    this.microphone.close();
    this.hearing.stop();
    this.staves.destroy();
    if (this.job) await stop(this.job);
  }

  /** @param {Heard} heard */
  heard(heard) {
    this.staves.light(heard.index, heard.id);
    this.dock.shown(heard);
  }

  /** @param {string} key @param {Record<string, string|number>} places */
  say(key, places = {}) {
    this.said.textContent = say(key, places);
  }

  /** @param {unknown} error */
  failed(error) {
    if (!(error instanceof Refused)) throw error;
    this.said.replaceChildren(error.status === 401 ? say("other_run") : whyNot(error));
  }

  async showScale() {
    const { read, bodies } = await ask("show", { name: "scale.toml", text: SCALE });
    if (this._ended) return;
    this.staves.add(bodies);
    this.staves.take(read.lines);
    this.hearing.takeMusic(this.staves.music());
    this.scale.replaceChildren(
      element("div", { class: "head" }, element("h2", { text: say("scale_heard") })),
      ...read.lines.map((/** @type {any} */ row) => this.staves.hostOf(row)),
    );
    this.staves.fill();
  }

  async look() {
    const data = await this.askFolder();
    if (!data) return;
    this.files = data.files;
    const names = new Set(this.files.map((row) => row.name));
    for (const name of this.chosen) if (!names.has(name)) this.chosen.delete(name);
    this.draw();
  }

  draw() {
    const recordings = this.files.filter((row) => row.kind === "recording");
    const chanters = this.files.filter((row) => row.kind === "chanter");
    this.list.replaceChildren(
      element("h2", { text: say("recordings") }),
      recordings.length
        ? element("ul", { class: "rows" }, ...recordings.map((row) => this.recordingRow(row)))
        : element("p", { text: say("no_recordings") }),
      element("h2", { text: say("chanter_files") }),
      chanters.length
        ? element("ul", { class: "rows" }, ...chanters.map((row) => this.chanterRow(row)))
        : element("p", { text: say("no_chanters") }),
    );
    this.drawListen();
  }

  drawListen() {
    const count = this.chosen.size;
    this.listen.disabled = !count || this._isListening;
    this.listen.textContent = count > 1 ? say("compare", { n: count }) : say("measure");
    this.stopping.hidden = !this.job;
  }

  /** @param {any} row */
  recordingRow(row) {
    const box = element("input", {
      type: "checkbox",
      checked: this.chosen.has(row.name),
      onchange: () => {
        if (box.checked) this.chosen.add(row.name);
        else this.chosen.delete(row.name);
        this.drawListen();
      },
    });
    const when = element("small", { text: say("changed_when", { when: moment(row.changed) }) });
    return element("li", {}, element("label", { class: "choice" }, box, element("span", { text: row.name })), when);
  }

  /** @param {any} row */
  chanterRow(row) {
    return element(
      "li",
      {},
      element(
        "div",
        { class: "what" },
        element("a", { href: wayTo(row.name), text: row.title || row.name }),
        element("small", { text: row.name }),
      ),
      element("button", {
        type: "button",
        text: say("play_with"),
        "aria-label": `${say("play_with")}: ${row.title || row.name}`,
        onclick: () => void this.playWith(row.name),
      }),
    );
  }

  /** Begin a recording, or end the one that was begun. */
  async recording() {
    const file = await this.doing.once("recording", () => (this.microphone.isOn ? this.endRecording() : this.beginRecording()));
    if (file) await this.drop([file]);
  }

  /** @returns {Promise<null>} */
  async beginRecording() {
    try {
      await this.microphone.begin();
      if (this.microphone.isOn) {
        this.record.textContent = say("record_end");
        this.say("recording", { n: 0 });
      }
    } catch (error) {
      this.microphone.close();
      if (!(error instanceof DOMException)) throw error;
      this.say("microphone_refused", { why: error.name });
    }
    return null;
  }

  endRecording() {
    this.record.textContent = say("record");
    return this.microphone.end(say("recording_name", { when: moment(Date.now() / 1000).replace(/[:/]/g, ".") }));
  }

  /** @param {File[]} files */
  async drop(files) {
    /** @type {string[]} */
    const taken = [];
    for (const file of files) {
      try {
        const answer = await bring(file);
        if (answer.kind === "recording") taken.push(answer.name);
        else this.say("dropped", { name: answer.name, kind: say(`kind_${answer.kind}`) });
      } catch (error) {
        this.failed(error);
      }
    }
    if (taken.length) this.chosen = new Set(taken);
    try {
      await this.look();
    } catch (error) {
      this.failed(error);
    }
    if (taken.length) await this.hear();
  }

  /** Listen to what is chosen; asked for something else meanwhile, to that. @param {string} scale to compare with; empty for the nearest */
  async hear(scale = "") {
    this._next = { names: [...this.chosen], scale };
    if (this._isListening) {
      if (this.job) await stop(this.job);
      return;
    }
    this._isListening = true;
    try {
      while (this._next && !this._ended) {
        const { names, scale: against } = this._next;
        this._next = null;
        await this.listenTo(names, against);
      }
    } finally {
      this._isListening = false;
      this.drawListen();
    }
  }

  /** @param {string[]} names @param {string} scale */
  async listenTo(names, scale) {
    try {
      this.job = (await ask("listen", { names, scale })).job;
      if (this._next || this._ended) await stop(this.job);
      this.drawListen();
      const found = await follow(this.job, (progress) => {
        this.say("listening", { name: progress.name ?? "", n: progress.seconds ?? 0 });
      });
      if (this._next || this._ended) return;
      if (!found) {
        this.say("stopped");
        return;
      }
      this.said.textContent = "";
      this.names = names;
      if (found.notes) this.drawOne(found);
      else this.drawSeveral(found);
    } catch (error) {
      this.result.replaceChildren();
      this.failed(error);
    } finally {
      this.job = "";
    }
  }

  /** @param {any} found */
  drawOne(found) {
    const rows = [...found.notes].reverse().map((/** @type {any} */ one) => [
      noteName(one.note),
      one.hz.toFixed(2),
      signed(one.cents),
      signed(one.off),
      one.heard ? one.spread.toFixed(1) : "",
      one.heard ? one.seconds.toFixed(1) : "",
      say(`confidence_${one.confidence}`),
    ]);
    const scales = element(
      "select",
      { onchange: (/** @type {any} */ event) => void this.hear(event.target.value) },
      ...found.scales.map((/** @type {string} */ one) =>
        element("option", { value: one, selected: one === found.scale }, one === found.nearest ? say("nearest_scale", { scale: one }) : one),
      ),
    );
    const octave = found.is_practice ? ` · ${say("practice_octave")}` : "";
    this.shown(
      element("h2", { text: `${say("low_a", { n: found.low_a_hz.toFixed(2) })}${octave}` }),
      element("label", { class: "named" }, element("span", { text: say("against_scale") }), " ", scales),
      table(["note", "hertz", "from_low_a", "off_scale", "spread", "seconds", "sure"].map((key) => say(`col_${key}`)), rows, say("nine_notes"), true),
      ...(found.beats.length
        ? [
            table(
              ["drone", "drone_against", "beats"].map((key) => say(`col_${key}`)),
              found.beats.map((/** @type {any[]} */ [first, second, rate]) => [first, second, rate.toFixed(2)]),
              say("drones_found"),
            ),
          ]
        : []),
      this.sentences([...found.advice, ...found.remarks]),
      element("img", { class: "picture", src: found.picture, alt: say("picture_one", { name: found.called }) }),
      this.keeping(found.called),
    );
  }

  /** @param {any} found */
  drawSeveral(found) {
    const notes = [8, 7, 6, 5, 4, 3, 2, 1, 0];
    const rows = notes.map((note) => [
      noteName(note),
      found.middle[note]?.toFixed(2) ?? "",
      ...found.off.map((/** @type {any} */ off) => (note in off ? signed(off[note]) : "")),
    ]);
    this.shown(
      element("h2", { text: say("compared", { n: found.chanters.length }) }),
      table([say("col_note"), say("col_median"), ...found.chanters], rows, say("off_median")),
      found.mendings.length
        ? table(
            ["chanter", "note", "cents", "helps"].map((key) => say(`col_${key}`)),
            found.mendings.map((/** @type {any} */ one) => [
              one.chanter,
              one.note === null ? say("all_notes") : noteName(one.note),
              signed(one.cents),
              elementOf(one.remedy, "td", { class: "words" }),
            ]),
            say("mend_first"),
            true,
          )
        : element("p", { text: say("nothing_to_mend") }),
      element("p", { text: say("follow_median", { name: found.nearest }) }),
      this.sentences(found.remarks),
      element("img", { class: "picture", src: found.picture, alt: say("picture_several", { n: found.chanters.length }) }),
      this.keeping(""),
    );
  }

  /** @param {...Node} parts */
  shown(...parts) {
    this.result.replaceChildren(...parts);
    this.result.scrollIntoView({ block: "start" });
  }

  /** @param {import("./ask.js").Said[]} remarks */
  sentences(remarks) {
    return element("ul", { class: "remarks" }, ...remarks.map((one) => elementOf(one, "li")));
  }

  /** @param {string} called */
  keeping(called) {
    const name = element("input", { type: "text", value: called, maxlength: 80 });
    const at = element("input", { type: "text", maxlength: 200 });
    return element(
      "form",
      {
        class: "fields",
        onsubmit: (/** @type {Event} */ event) => {
          event.preventDefault();
          void this.keep(name.value, at.value);
        },
      },
      element("label", { class: "field" }, element("span", { text: say("chanter_called") }), name),
      element("label", { class: "field" }, element("span", { text: say("measured_at") }), at),
      element("button", { type: "submit", class: "main", text: say("keep_chanter") }),
    );
  }

  /** @param {string} called @param {string} at */
  keep(called, at) {
    return this.doing.once("keep", async () => {
      const { name } = await ask("keep-chanter", { names: this.names, called, at });
      await this.look();
      await this.playWith(name);
      this.say("chanter_kept", { name });
    });
  }

  /** Let everything in this page sound at a chanter's pitches. @param {string} name */
  async playWith(name) {
    try {
      this.say("getting_sound");
      if (await this.hearing.take([name, "A", "B flat"], this.hearing.chanter, 0)) this.say("plays_with", { name });
    } catch (error) {
      this.failed(error);
    }
  }
}
