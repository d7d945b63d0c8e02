// The library: an example to play with, the folder's files, and the exercises that come along.

import { element } from "../../delivery/page/elements.js";
import { readFraction } from "../../delivery/page/exact.js";
import { Refused, ask, bring } from "./ask.js";
import { Dock } from "./dock.js";
import { remember, remembered } from "./kept.js";
import { StavesView } from "./staves_view.js";
import { LANGUAGES, moment, say } from "./words.js";

/** @typedef {import("./hearing.js").Hearing} Hearing */
/** @typedef {import("./hearing.js").Heard} Heard */

const EXAMPLE = "doublings-over-a-wide-step";
const OPENS = ["exercise", "tune", "pack", "chanter", "recording", "unknown"];

/** The way to a file's screen. @param {string} name @param {string} kind */
export function wayTo(name, kind = "") {
  return `#/${kind === "recording" ? "tune" : "write"}/${encodeURIComponent(name)}`;
}

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
    this.order = remembered("order") ?? "changed";
    this._ended = false;
    this.staves = new StavesView({
      press: (index, from) => {
        this.staves.loop(-1, null);
        this.hearing.play(index, from);
      },
      loop: (index, first, last) => {
        if (this.hearing.playBars(index, first, last)) this.staves.loop(index, [first, last]);
      },
      arrived: () => this.hearing.takeMusic(this.staves.music()),
    });
    this.dock = new Dock(hearing, () => 0);
    this.build();
  }

  build() {
    this.said = element("p", { class: "said", role: "status" });
    this.list = element("div", { class: "list" });
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
          element("label", { class: "file", title: say("drop_what") }, say("drop"), file),
          element("input", {
            type: "search",
            placeholder: say("search_what"),
            "aria-label": say("search"),
            oninput: (/** @type {any} */ event) => {
              this.query = event.target.value;
              this.draw();
            },
          }),
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
            ...["changed", "name", "level"].map((one) =>
              element("option", { value: one, selected: one === this.order }, say(`sort_${one}`)),
            ),
          ),
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

  async start() {
    document.title = "Rungwise";
    try {
      const shown = this.showExample();
      this.data = await ask("library");
      if (this._ended) return;
      this.draw();
      await shown;
      this.shipped = (await ask("shipped")).shipped;
      this.draw();
      await this.hearing.load();
      this.dock.arrived();
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
    const key = { 0: "no_answer", 401: "other_run" }[error.status];
    this.said.textContent = key ? say(key) : error.message;
  }

  async showExample() {
    const answer = await ask("show", { shipped: EXAMPLE });
    if (this._ended) return;
    const { read, bodies } = answer;
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
    if (!this.data) return;
    const { folder, files } = this.data;
    const own = this.sorted(files.filter((/** @type {any} */ row) => this.matches(row)));
    const others = this.shipped.filter((/** @type {any} */ row) => this.matches(row));
    this.list.replaceChildren(
      element("h2", { text: say("your_folder", { folder }) }),
      own.length
        ? element("ul", { class: "rows" }, ...own.map((/** @type {any} */ row) => this.row(row)))
        : element("p", { text: say(files.length ? "none_found" : "empty_folder") }),
      element("h2", { text: say("shipped") }),
      element("ul", { class: "rows" }, ...others.map((/** @type {any} */ row) => this.shippedRow(row))),
    );
  }

  /** @param {any} row */
  matches(row) {
    const words = this.query.toLowerCase().split(/\s+/).filter(Boolean);
    const text = [row.name, row.title, row.level, row.for, ...(row.movements ?? [])].join(" ").toLowerCase();
    return words.every((word) => text.includes(word));
  }

  /** @param {any[]} rows */
  sorted(rows) {
    const by = /** @type {Record<string, (a: any, b: any) => number>} */ ({
      name: (a, b) => a.name.localeCompare(b.name),
      changed: (a, b) => b.changed - a.changed,
      level: (a, b) => String(a.level ?? "").localeCompare(String(b.level ?? "")) || a.name.localeCompare(b.name),
    })[this.order];
    return [...rows].sort(by);
  }

  /** @param {any} row */
  facts(row) {
    const count = row.count === 1 ? say("line_count") : row.count ? say("lines_count", { n: row.count }) : "";
    const { seconds } = row;
    const lasts = seconds ? say("minutes", { m: Math.floor(seconds / 60), s: String(seconds % 60).padStart(2, "0") }) : "";
    return [row.kind === "exercise" ? "" : say(`kind_${row.kind}`), row.level, count, lasts].filter(Boolean).join(" · ");
  }

  /** @param {any} row */
  row(row) {
    const opens = OPENS.includes(row.kind);
    const title = row.title || row.name;
    const button = (/** @type {string} */ key, /** @type {() => void} */ on) =>
      element("button", { type: "button", text: say(key), "aria-label": `${say(key)}: ${row.name}`, onclick: on });
    return element(
      "li",
      {},
      element(
        "div",
        { class: "what" },
        opens ? element("a", { href: wayTo(row.name, row.kind), text: title }) : element("span", { text: title }),
        element("small", { text: [row.name, this.facts(row), say("changed_when", { when: moment(row.changed) })].filter(Boolean).join(" · ") }),
        ...(row.problem ? [element("small", { class: "problem", text: row.problem })] : []),
      ),
      element(
        "div",
        { class: "tools" },
        button("duplicate", () => void this.act("duplicate", { name: row.name })),
        button("rename", () => void this.rename(row.name)),
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

  /** @param {string} what @param {Record<string, any>} asked */
  async act(what, asked) {
    try {
      const answer = await ask(what, asked);
      this.data = await ask("library");
      this.draw();
      return answer;
    } catch (error) {
      this.failed(error);
      return null;
    }
  }

  async fresh() {
    const made = await this.act("new", { title: say("new_exercise") });
    if (made) location.hash = wayTo(made.name);
  }

  /** @param {string} shipped */
  async copy(shipped) {
    const made = await this.act("new", { shipped });
    if (made) location.hash = wayTo(made.name);
  }

  /** @param {string} name */
  async rename(name) {
    const to = window.prompt(say("rename_to", { name }), name);
    if (!to || to === name) return;
    const { version } = await ask("standing", { name });
    await this.act("rename", { name, to, version });
  }

  /** @param {string} name */
  async remove(name) {
    if (!window.confirm(say("remove_sure", { name }))) return;
    const { version } = await ask("standing", { name });
    await this.act("remove", { name, version });
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
    this.data = await ask("library").catch(() => this.data);
    this.draw();
  }

  async endAll() {
    await ask("end").catch(() => undefined);
    this.root.replaceChildren(element("main", { class: "library" }, element("p", { text: say("ended") })));
  }
}
