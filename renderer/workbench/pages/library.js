// The library: an example to play with, the folder's files, and the exercises that come along.

import { element } from "../../delivery/page/elements.js";
import { readFraction } from "../../delivery/page/exact.js";
import { Refused, ask, bring, elementOf, newestOf, whyNot, wordsOf } from "./ask.js";
import { Dock } from "./dock.js";
import { remember, remembered } from "./kept.js";
import { Doing } from "./presses.js";
import { playedStaves } from "./staves_view.js";
import { LANGUAGES, moment, say } from "./words.js";

/** @typedef {import("./hearing.js").Hearing} Hearing */
/** @typedef {import("./hearing.js").Heard} Heard */

const EXAMPLE = "doublings-over-a-wide-step";
const INTERVALS = ["unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth"];
const OPENS = ["exercise", "tune", "pack", "chanter", "recording", "unknown"];

/** The way to a file's screen. @param {string} name @param {string} kind */
export function wayTo(name, kind = "") {
  const screen = { recording: "tune", pack: "hand" }[kind] ?? "write";
  return `#/${screen}/${encodeURIComponent(name)}`;
}

/** What of a row's field is marked. @param {HTMLElement|null} row @returns {[number, number]|null} */
function selectionOf(row) {
  const typed = row?.querySelector("input");
  return typed ? [typed.selectionStart ?? 0, typed.selectionEnd ?? 0] : null;
}

/** Whether somebody is at something else by now: what had the focus, and is gone, leaves it to nobody. */
function isElsewhere() {
  return document.activeElement !== document.body;
}

/** The example as it was answered: it is the same as long as the page is open. @type {any} */
let example = null;

export class Library {
  /** @param {HTMLElement} root @param {Hearing} hearing */
  constructor(root, hearing) {
    this.root = root;
    this.hearing = hearing;
    /** @type {any} */
    this.data = null;
    /** @type {any[]} */
    this.shipped = [];
    this.query = "";
    /** What is looked for beside words: a movement, an interval that it joins, a level. */
    this.wanted = { movement: "", interval: "", level: "" };
    /** @type {any[]} */
    this.choices = [];
    /** The file whose name is being changed, and its row, which keeps what is typed in it. */
    this.renaming = "";
    /** @type {HTMLElement|null} */
    this.renamed = null;
    this.order = remembered("order") ?? "changed";
    this._ended = false;
    this.askFolder = newestOf("library");
    this.doing = new Doing((error) => this.failed(error));
    this.staves = playedStaves(hearing);
    this.dock = new Dock(hearing, () => 0);
    this.build();
  }

  build() {
    this.said = element("p", { class: "said", role: "status" });
    this.own = element("div", { class: "own" });
    this.others = element("div", { class: "others" });
    this.list = element("div", { class: "list" }, this.own, this.others);
    this.example = element("section", { class: "sheet example", "aria-label": say("example") });
    const file = element("input", {
      type: "file",
      multiple: true,
      class: "hidden",
      onchange: (/** @type {any} */ event) => void this.drop([...event.target.files]),
    });
    this.main = element(
      "main",
      { class: "library" },
      this.example,
      element(
        "section",
        { class: "files" },
        element(
          "div",
          { class: "row" },
          element("button", { type: "button", class: "main", text: say("new_exercise"), onclick: () => void this.fresh() }),
          element("button", { type: "button", text: say("new_class"), onclick: () => void this.freshClass() }),
          element("label", { class: "file", title: say("drop_what") }, say("drop"), file),
          element(
            "select",
            {
              "aria-label": say("sort"),
              onchange: (/** @type {any} */ event) => {
                this.order = event.target.value;
                remember("order", this.order);
                this.draw();
              },
            },
            ...["changed", "name", "level", "length", "difficulty"].map((one) =>
              element("option", { value: one, selected: one === this.order }, say(`sort_${one}`)),
            ),
          ),
        ),
        element(
          "div",
          { class: "row", role: "search" },
          element("input", {
            type: "search",
            placeholder: say("search_what"),
            "aria-label": say("search"),
            oninput: (/** @type {any} */ event) => {
              this.query = event.target.value;
              this.draw();
            },
          }),
          ...this.narrowing(),
        ),
        this.said,
        this.list,
      ),
    );
    this.main.addEventListener("dragover", (/** @type {DragEvent} */ event) => event.preventDefault());
    this.main.addEventListener("drop", (/** @type {DragEvent} */ event) => {
      event.preventDefault();
      void this.drop([...(event.dataTransfer?.files ?? [])]);
    });
    this.root.replaceChildren(
      element(
        "header",
        { class: "bar" },
        element("h1", { text: say("library") }),
        element("span", { class: "gap" }),
        element("a", { class: "home", href: "#/tune", text: say("chanters") }),
        element(
          "select",
          {
            "aria-label": say("language"),
            onchange: (/** @type {any} */ event) => {
              remember("language", event.target.value);
              location.reload();
            },
          },
          ...Object.entries(LANGUAGES).map(([code, name]) =>
            element("option", { value: code, lang: code, selected: code === document.documentElement.lang }, name),
          ),
        ),
        element("button", { type: "button", text: say("end"), onclick: () => void this.endAll() }),
      ),
      this.main,
      this.dock.element,
    );
  }

  /** The choices that narrow the list; filled when the files are here. */
  narrowing() {
    this.choices = Object.keys(this.wanted).map((key) =>
      element("select", {
        "aria-label": say(`by_${key}`),
        onchange: (/** @type {any} */ event) => {
          this.wanted = { ...this.wanted, [key]: event.target.value };
          this.draw();
        },
      }),
    );
    return this.choices;
  }

  /** Offer what there is to choose from. */
  fillChoices() {
    const rows = [...this.data.files, ...this.shipped];
    const movements = new Set(rows.flatMap((row) => Object.keys(row.joins ?? {})));
    const levels = new Set(rows.map((row) => row.level).filter(Boolean));
    const options = /** @type {Record<string, [string, string][]>} */ ({
      movement: [...movements].sort().map((one) => [one, one]),
      interval: INTERVALS.map((one) => [one, say(one)]),
      level: [...levels].sort().map((one) => [one, one]),
    });
    Object.keys(this.wanted).forEach((key, at) => {
      const now = this.wanted[/** @type {"movement"|"interval"|"level"} */ (key)];
      this.choices[at]?.replaceChildren(
        element("option", { value: "" }, say(`any_${key}`)),
        ...(options[key] ?? []).map(([value, text]) => element("option", { value, selected: value === now }, text)),
      );
    });
  }

  async start() {
    document.title = "Rungwise";
    try {
      await Promise.all([this.showExample(), this.look()]);
      if (this._ended) return;
      this.shipped = (await ask("shipped")).shipped;
      if (this._ended) return;
      this.fillChoices();
      // Nothing else: somebody may be at work on their own files by now.
      this.drawOthers();
      await this.hearing.load();
    } catch (error) {
      this.failed(error);
    }
  }

  async end() {
    this._ended = true;
    this.hearing.stop();
    this.staves.destroy();
  }

  /** @param {unknown} error */
  failed(error) {
    if (!(error instanceof Refused)) throw error;
    this.said.replaceChildren(error.status === 401 ? say("other_run") : whyNot(error));
  }

  /** See what is in the folder, and show it. */
  async look() {
    const data = await this.askFolder();
    if (!data || this._ended) return;
    this.data = data;
    this.fillChoices();
    this.draw();
  }

  async showExample() {
    example ??= await ask("show", { shipped: EXAMPLE });
    if (this._ended) return;
    const { read, bodies } = example;
    this.staves.add(bodies);
    this.staves.take(read.lines);
    this.hearing.choice.tempo = readFraction(read.rungs[0] ?? read.tempo);
    this.hearing.takeMusic(this.staves.music());
    this.dock.shown(this.hearing.heard);
    const lines = read.lines.map((/** @type {any} */ row, /** @type {number} */ index) =>
      element(
        "div",
        { class: "line" },
        element(
          "div",
          { class: "label" },
          element("button", {
            type: "button",
            class: "from",
            "aria-label": say("play_line", { n: row.number }),
            text: "▸",
            onclick: () => this.hearing.play(index),
          }),
          element("h3", { text: `${row.number}  ${row.heading}` }),
        ),
        this.staves.hostOf(row),
      ),
    );
    this.example.replaceChildren(
      element("div", { class: "head" }, element("h2", { text: read.title }), element("p", { text: say("example") })),
      ...lines,
      element("button", { type: "button", class: "add", text: say("example_copy"), onclick: () => void this.copy(EXAMPLE) }),
    );
    this.staves.fill();
  }

  /** @param {Heard} heard */
  heard(heard) {
    this.staves.light(heard.index, heard.id);
    this.dock.shown(heard);
  }

  draw() {
    this.drawOwn();
    this.drawOthers();
  }

  drawOwn() {
    if (!this.data) return;
    const { folder, files, removed } = this.data;
    this.main.classList.toggle("with-own", files.length > 0);
    const own = this.sorted(files.filter((/** @type {any} */ row) => this.matches(row)));
    const isOpen = this.own.querySelector("details")?.open ?? false;
    const [focused, marked] = [document.activeElement, selectionOf(this.renamed)];
    this.own.replaceChildren(
      element("h2", { text: say("your_folder", { folder }) }),
      own.length
        ? element("ul", { class: "rows" }, ...own.map((/** @type {any} */ row) => this.row(row)))
        : element("p", { text: say(files.length ? "none_found" : "empty_folder") }),
      ...(removed.length ? [this.removedRows(removed, isOpen)] : []),
    );
    // A row that is kept has lost the focus on its way.
    if (focused instanceof HTMLElement && this.renamed?.contains(focused)) {
      focused.focus();
      if (focused instanceof HTMLInputElement && marked) focused.setSelectionRange(...marked);
    }
  }

  drawOthers() {
    if (!this.data) return;
    const found = this.shipped.filter((/** @type {any} */ row) => this.matches(row));
    // Those that come along never change, and stand in the order of learning.
    const others = this.order === "changed" ? found : this.sorted(found);
    this.others.replaceChildren(
      element("h2", { text: say("shipped") }),
      others.length || !this.shipped.length
        ? element("ul", { class: "rows" }, ...others.map((/** @type {any} */ row) => this.shippedRow(row)))
        : element("p", { text: say("none_found") }),
    );
  }

  /** @param {{name: string, when: number, version: string}[]} removed @param {boolean} isOpen */
  removedRows(removed, isOpen) {
    const rows = removed.map((one) =>
      element(
        "li",
        {},
        element("div", { class: "what" }, element("span", { text: one.name }), element("small", { text: moment(one.when) })),
        element(
          "div",
          { class: "tools" },
          element("button", {
            type: "button",
            text: say("put_back"),
            "aria-label": `${say("put_back")}: ${one.name}`,
            onclick: () => void this.putBack(one.name, one.version),
          }),
        ),
      ),
    );
    return element(
      "details",
      { class: "removed", open: isOpen },
      element("summary", { text: say("removed", { n: removed.length }) }),
      element("ul", { class: "rows" }, ...rows),
    );
  }

  /** @param {any} row */
  matches(row) {
    const words = this.query.toLowerCase().split(/\s+/).filter(Boolean);
    const joins = /** @type {Record<string, string[]>} */ (row.joins ?? {});
    const text = [row.name, row.title, row.level, row.for, ...Object.keys(joins)].join(" ").toLowerCase();
    const { movement, interval, level } = this.wanted;
    const joined = movement ? (joins[movement] ?? []) : Object.values(joins).flat();
    return (
      words.every((word) => text.includes(word)) &&
      (!movement || movement in joins) &&
      (!interval || joined.includes(interval)) &&
      (!level || row.level === level)
    );
  }

  /** @param {any[]} rows */
  sorted(rows) {
    const by = /** @type {Record<string, (a: any, b: any) => number>} */ ({
      name: (a, b) => a.name.localeCompare(b.name),
      changed: (a, b) => b.changed - a.changed,
      length: (a, b) => (a.seconds ?? 0) - (b.seconds ?? 0) || a.name.localeCompare(b.name),
      // What has none goes last.
      difficulty: (a, b) => (a.difficulty ?? 1e9) - (b.difficulty ?? 1e9) || a.name.localeCompare(b.name),
      level: (a, b) => String(a.level ?? "").localeCompare(String(b.level ?? "")) || a.name.localeCompare(b.name),
    })[this.order];
    return [...rows].sort(by);
  }

  /** @param {any} row */
  facts(row) {
    const count = row.count === 1 ? say("line_count") : row.count ? say("lines_count", { n: row.count }) : "";
    const { seconds } = row;
    const lasts = seconds ? say("minutes", { m: Math.floor(seconds / 60), s: String(seconds % 60).padStart(2, "0") }) : "";
    const hard = typeof row.difficulty === "number" ? say("difficulty", { n: row.difficulty }) : "";
    return [row.kind === "exercise" ? "" : say(`kind_${row.kind}`), row.level, count, lasts, hard].filter(Boolean).join(" · ");
  }

  /** @param {any} row */
  row(row) {
    const opens = OPENS.includes(row.kind);
    const title = row.title || row.name;
    const button = (/** @type {string} */ key, /** @type {() => void} */ on) =>
      element("button", { type: "button", text: say(key), "aria-label": `${say(key)}: ${row.name}`, onclick: on });
    if (row.name === this.renaming) return (this.renamed ??= this.renameRow(row));
    return element(
      "li",
      { "data-name": row.name },
      element(
        "div",
        { class: "what" },
        opens ? element("a", { href: wayTo(row.name, row.kind), text: title }) : element("span", { text: title }),
        element("small", { text: [row.name, this.facts(row), say("changed_when", { when: moment(row.changed) })].filter(Boolean).join(" · ") }),
        ...(row.problem ? [elementOf(row.problem, "small", { class: "problem" })] : []),
      ),
      element(
        "div",
        { class: "tools" },
        button("duplicate", () => void this.duplicate(row.name)),
        button("rename", () => this.beginRenaming(row.name)),
        button("remove", () => void this.remove(row.name)),
      ),
    );
  }

  /** @param {any} row */
  shippedRow(row) {
    return element(
      "li",
      {},
      element("div", { class: "what" }, element("span", { text: row.title }), element("small", { text: this.facts(row) })),
      element(
        "div",
        { class: "tools" },
        element("button", {
          type: "button",
          text: say("copy"),
          "aria-label": `${say("copy")}: ${row.title}`,
          onclick: () => void this.copy(row.name),
        }),
      ),
    );
  }

  /** Go to a file that was made, unless somebody has gone elsewhere meanwhile. @param {string} way */
  goOn(way) {
    if (!this._ended) location.hash = way;
  }

  fresh() {
    return this.doing.once("new", async () => {
      const { name } = await ask("new", { title: say("new_exercise") });
      this.goOn(wayTo(name));
    });
  }

  /** Begin a class with the exercise that was changed last. */
  freshClass() {
    return this.doing.once("new class", async () => {
      const { files } = await ask("library");
      const [latest] = files
        .filter((/** @type {any} */ row) => ["exercise", "tune"].includes(row.kind) && !row.problem)
        .sort((/** @type {any} */ a, /** @type {any} */ b) => b.changed - a.changed);
      const told = { title: say("class"), learner: say("learner_n", { n: 1 }), exercises: latest ? [latest.name] : [] };
      const { name } = await ask("pack-new", told);
      this.goOn(wayTo(name, "pack"));
    });
  }

  /** @param {string} shipped */
  copy(shipped) {
    return this.doing.once(`copy ${shipped}`, async () => {
      const { name } = await ask("new", { shipped });
      this.goOn(wayTo(name));
    });
  }

  /** Put the focus on a file's row. @param {string} name @param {string} inside what of it */
  focusOn(name, inside = "a, button") {
    if (isElsewhere()) return;
    const row = this.list.querySelector(`li[data-name="${CSS.escape(name)}"]`);
    const one = row?.querySelector(inside);
    if (one instanceof HTMLElement) one.focus();
    if (one instanceof HTMLInputElement) one.setSelectionRange(0, one.value.replace(/\.[^.]*$/, "").length);
    row?.scrollIntoView({ block: "nearest" });
  }

  /** @param {string} name */
  duplicate(name) {
    return this.doing.once(`duplicate ${name}`, async () => {
      const made = await ask("duplicate", { name });
      await this.look();
      this.focusOn(made.name);
    });
  }

  /** Let the name of a file be changed, or, with "", of none. @param {string} name */
  renames(name) {
    this.renaming = name;
    this.renamed = null;
  }

  /** @param {string} name */
  beginRenaming(name) {
    this.renames(name);
    this.drawOwn();
    this.focusOn(name, "input");
  }

  /** A row whose name is being changed. @param {any} row */
  renameRow(row) {
    const leave = () => {
      this.renames("");
      this.said.textContent = "";
      this.drawOwn();
      this.focusOn(row.name);
    };
    const typed = element("input", {
      type: "text",
      value: row.name,
      autocomplete: "off",
      spellcheck: "false",
      "aria-label": say("rename_to", { name: row.name }),
      onkeydown: (/** @type {KeyboardEvent} */ event) => {
        if (event.key === "Escape") leave();
        else if (event.key === "Enter") void this.rename(row.name, typed.value.trim());
      },
    });
    return element(
      "li",
      { "data-name": row.name },
      element("div", { class: "what" }, typed),
      element(
        "div",
        { class: "tools" },
        element("button", { type: "button", text: say("rename"), onclick: () => void this.rename(row.name, typed.value.trim()) }),
        element("button", { type: "button", text: say("leave_it"), onclick: leave }),
      ),
    );
  }

  /**
   * Give a file another name, also in the packs that name it.
   * @param {string} name @param {string} to @param {string[]|null} back the packs in which it gets its old name again
   */
  async rename(name, to, back = null) {
    if (!to || to === name) {
      this.renames("");
      this.drawOwn();
      this.focusOn(name);
      return;
    }
    await this.doing.once(`rename ${name}`, async () => {
      const { version } = await ask("standing", { name });
      const renamed = await ask("rename", { name, to, version, ...(back ? { packs: back } : {}) });
      // Somebody may be at another name by now.
      if (this.renaming === name) this.renames("");
      await this.look();
      /** @type {{packs: string[], left: {name: string, why: import("./ask.js").Said}[]}} */
      const { packs, left } = renamed;
      const more = [
        ...(packs.length && !back ? [say("renamed_in", { names: packs.join(", ") })] : []),
        ...left.map((one) => say("not_renamed_in", { name: one.name, why: wordsOf(one.why) })),
      ];
      if (back) this.said.textContent = more.join(" ");
      else this.saidWithUndo([say("renamed", { name: renamed.name }), ...more], () => void this.rename(renamed.name, name, packs));
      // Last: the button that was pressed is gone by now.
      this.focusOn(renamed.name);
    });
  }

  /** Say what was done, and let it be undone. @param {string[]} sentences @param {() => void} undo */
  saidWithUndo(sentences, undo) {
    this.said.replaceChildren(
      sentences.join(" "),
      " ",
      element("button", { type: "button", text: say("undo"), onclick: undo }),
    );
  }

  /** @param {string} name */
  remove(name) {
    return this.doing.once(`remove ${name}`, async () => {
      const { version } = await ask("standing", { name });
      const { packs } = await ask("remove", { name, version });
      await this.look();
      const said = [say("was_removed", { name }), ...(packs.length ? [say("still_named", { names: packs.join(", ") })] : [])];
      this.saidWithUndo(said, () => void this.putBack(name, version));
      if (!isElsewhere()) this.said.querySelector("button")?.focus();
    });
  }

  /** @param {string} name @param {string} version */
  putBack(name, version) {
    return this.doing.once(`put back ${name} ${version}`, async () => {
      const back = await ask("put-back", { name, version });
      await this.look();
      this.said.textContent = "";
      this.focusOn(back.name);
    });
  }

  /** @param {File[]} files */
  async drop(files) {
    for (const file of files) {
      try {
        const answer = await bring(file);
        this.said.textContent = say("dropped", { name: answer.name, kind: say(`kind_${answer.kind}`) });
      } catch (error) {
        this.failed(error);
      }
    }
    await this.look().catch(() => undefined);
  }

  async endAll() {
    await ask("end").catch(() => undefined);
    this.root.replaceChildren(element("main", { class: "library" }, element("p", { text: say("ended") })));
  }
}
