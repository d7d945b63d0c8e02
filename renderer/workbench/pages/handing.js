// Handing out: a class as a table, what each learner gets, made by one button, then opened or saved.

import { element } from "../../delivery/page/elements.js";
import { Refused, ask, elementOf, fetched, wordsOf } from "./ask.js";
import { control, markPlaces, pitchControl, placeOf, setting } from "./class_fields.js";
import { append, set, standsAfter } from "./changes.js";
import { Desk } from "./desk.js";
import { input, labelled, orNone } from "./fields.js";
import { follow, stop } from "./jobs.js";
import { table } from "./tables.js";
import { say } from "./words.js";

/** @typedef {import("./changes.js").Change} Change */
/** @typedef {import("./changes.js").Changing} Changing */
/** @typedef {import("./class_fields.js").Where} Where */

const FORETELL_MS = 500;
const FOR_ALL = ["gets", "mix", "format", "ladder", "repeats", "minutes", "days", "chanter", "size", "share", "zip", "max-size"];
const FOR_ONE = ["gets", "mix", "format", "repeats", "days", "size", "share"];
const LISTED = ["learners", "groups"];
const OPENED = /\.(html|pdf)$/;
const HEARD = /\.(mp3|m4a|ogg|opus|flac|wav)$/;

/** @param {number} bytes */
function megabytes(bytes) {
  return bytes < 1e5 ? say("kilobytes", { n: Math.ceil(bytes / 1e3) }) : say("megabytes", { n: (bytes / 1e6).toFixed(1) });
}

/** @param {number} seconds */
function clock(seconds) {
  const whole = Math.round(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

export class Handing extends Desk {
  /** @param {HTMLElement} root @param {string} name */
  constructor(root, name) {
    super(root, name);
    /** The folder's files, and the exercises that come along. @type {any[]} */
    this.files = [];
    /** @type {any[]} */
    this.shipped = [];
    /** Rows whose other settings are open, by the place of their tables. @type {Set<string>} */
    this.opened = new Set();
    /** Rows whose pitch is typed. @type {Set<string>} */
    this.typed = new Set();
    /** What only reading the exercises finds wrong. @type {import("./ask.js").Problem[]} */
    this.further = [];
    /** What would be made. @type {any} */
    this.would = null;
    /** What came of making it. @type {any} */
    this.made = null;
    /** What is there. @type {any} */
    this.there = null;
    /** The exercise that is chosen to be added, whatever is drawn anew meanwhile. */
    this.toAdd = "";
    this.job = "";
    /** The made track that is heard. @type {HTMLAudioElement|null} */
    this.audio = null;
    /** How making it ended, until something is changed. */
    this.howItEnded = "";
    /** How often it was asked for a track. */
    this._heardOf = 0;
    this._isForetelling = false;
    /** Whether what is being worked out may be old by now. */
    this._foretellAgain = false;
    /** @type {number|undefined} */
    this._foretellTimer = undefined;
    this.build();
  }

  build() {
    this.buildDesk(say("class"));
    this.wrongs = element("div", { class: "wrongs" });
    this.form = element("div", { class: "class" });
    this.comes = element("section", { class: "result", "aria-label": say("comes_to") });
    this.done = element("section", { class: "result", "aria-label": say("came_of_it") });
    this.sheet.append(this.wrongs, this.form, this.comes, this.done);
    this.button = element("button", {
      type: "button",
      class: "play",
      disabled: true,
      text: say("make_it"),
      onclick: () => void this.make(false),
    });
    this.said = element("span", { class: "told", role: "status" });
    this.progress = element("progress", { "aria-label": say("progress"), hidden: true });
    this.stopping = element("button", { type: "button", text: say("stop_work"), hidden: true, onclick: () => void stop(this.job) });
    const foot = element("footer", { class: "dock" }, this.button, this.said, this.progress, this.stopping);
    this.root.replaceChildren(this.bar, this.notice, this.desk, foot, this.dialog);
    this.takeView(this.viewAtFirst);
  }

  /** @override */
  get question() {
    return "pack";
  }

  async start() {
    await this.openText();
    if (this._ended) return;
    const [words, library] = await Promise.all([ask("pack-words"), ask("library")]);
    this.words = words;
    this.files = library.files;
    await this.show();
    void ask("shipped").then(({ shipped }) => {
      this.shipped = shipped;
      this.drawSheet();
    });
    await this.look();
    // What was begun goes on while another screen is shown, and when the page is loaded again.
    if (this.there?.job) void this.followed(this.there.job);
  }

  /** @override */
  async end() {
    clearTimeout(this._foretellTimer);
    this.silence();
    await super.end();
  }

  /** Nothing sounds here. */
  heard() {}

  /** @override */
  get viewKey() {
    return "class view";
  }

  /** @override */
  get usualView() {
    return "fields";
  }

  /** @override */
  arrived() {
    this.further = [];
    this.howItEnded = "";
    this.drawSheet();
    this.listProblems();
    clearTimeout(this._foretellTimer);
    this._foretellTimer = setTimeout(() => void this.foretell(), this.would ? FORETELL_MS : 0);
  }

  // The fields.

  /** @override */
  drawSheet() {
    const { fields } = this;
    if (!fields || !this.words) {
      this.markProblems();
      return;
    }
    const focused = this.focusedField();
    this.form.replaceChildren(this.about(), this.people(), this.exercises(), this.forAll());
    this.markProblems();
    focused?.();
  }

  /** Put the focus on a field, unless somebody types in another by now. @param {string} wanted what selects it */
  focusOn(wanted) {
    const field = this._typing ? null : this.form.querySelector(wanted);
    if (!(field instanceof HTMLElement)) return;
    field.focus();
    if (field instanceof HTMLInputElement) field.select();
  }

  /** @override @param {Change[]} moves */
  entriesMoved(moves) {
    for (const places of [this.opened, this.typed]) {
      const now = [...places].flatMap((place) => {
        const [, list = "", at = "0"] = /^(\w+)\[(\d+)\]$/.exec(place) ?? [];
        const stands = moves.reduce((one, move) => standsAfter(move, list, one), Number(at) - 1);
        return stands < 0 ? [] : [placeOf([list, stands])];
      });
      places.clear();
      for (const place of now) places.add(place);
    }
  }

  about() {
    const change = this.changing();
    const title = input(this.fields["title"], (text) => void change([set(["title"], orNone(text))]), {
      "data-place": "title",
      placeholder: this.name,
    });
    return element("div", { class: "head" }, labelled("title", title));
  }

  /** Where a setting of a table stands. @param {(string|number)[]} path @param {any} found @param {string} whose @returns {Where} */
  where(path, found, whose) {
    return { path, table: found, above: path.length ? [this.fields, this.words.usual] : [this.words.usual], whose };
  }

  get chanters() {
    const way = this.name.split("/").slice(1).map(() => "../").join("");
    return this.files
      .filter((row) => row.kind === "chanter")
      .map((row) => ({ file: `${way}${row.name}`, title: row.title || row.name }));
  }

  people() {
    const heads = ["set_name", "set_pitch", "set_chanter", "set_ladder", "set_minutes"];
    const rows = LISTED.flatMap((list) =>
      (this.fields[list] ?? []).flatMap((/** @type {any} */ one, /** @type {number} */ at) => this.person(list, at, one)),
    );
    const change = this.changing();
    const add = (/** @type {string} */ list, /** @type {string} */ key) =>
      element("button", { type: "button", class: "add", text: say(key), onclick: () => void this.addPerson(list, change) });
    return element(
      "section",
      { "aria-label": say("who"), "data-place": "learners" },
      element("h2", { text: say("who") }),
      element(
        "table",
        { class: "people", role: "table", "aria-label": say("who") },
        element(
          "thead",
          { role: "rowgroup" },
          element(
            "tr",
            { role: "row" },
            ...heads.map((key) => element("th", { scope: "col", role: "columnheader", text: say(key) })),
            element("th", { scope: "col", role: "columnheader" }, element("span", { class: "hidden", text: say("row_tools") })),
          ),
        ),
        element("tbody", { role: "rowgroup" }, ...rows),
      ),
      element("div", { class: "tools" }, add("learners", "add_learner"), add("groups", "add_group")),
    );
  }

  /** @param {string} list @param {number} at @param {any} one */
  person(list, at, one) {
    const path = [list, at];
    const place = placeOf(path);
    const whose = String(one.name ?? at + 1);
    const where = this.where(path, one, whose);
    const change = this.changing();
    const isOpen = this.opened.has(place);
    /** @param {string} key @param {...Node} inside */
    const cell = (key, ...inside) => element("td", { role: "cell", "data-label": say(key) }, ...inside);
    const name = input(one.name, (text) => void change(this.renamed(path, one.name, text)), {
      "data-place": `${place}.name`,
      "aria-label": `${say(list === "groups" ? "name_of_group" : "set_name")}: ${whose}`,
    });
    const names = [name];
    if (list === "groups") {
      const members = input((one.learners ?? []).join(", "), (text) => void change([set([...path, "learners"], listIn(text))]), {
        "data-place": `${place}.learners`,
        "aria-label": `${say("members")}: ${whose}`,
        placeholder: say("members"),
      });
      names.push(members);
    }
    const tool = (/** @type {string} */ key, /** @type {() => void} */ on, /** @type {Record<string, any>} */ more = {}) =>
      element("button", { type: "button", text: say(key), "aria-label": `${say(key)}: ${whose}`, onclick: on, ...more });
    const row = element(
      "tr",
      { role: "row", "data-place": place },
      cell("set_name", ...names),
      cell("set_pitch", pitchControl(where, this.chanters, this.typed.has(place), change, () => this.typePitch(place))),
      cell("set_chanter", control("chanter", where, this.words, change)),
      cell("set_ladder", control("ladder", where, this.words, change)),
      cell("set_minutes", control("minutes", where, this.words, change)),
      element(
        "td",
        { role: "cell", class: "tools" },
        tool("more", () => this.openRow(place), { "aria-expanded": String(isOpen), class: "opener" }),
        tool("take_out", () => void this.removePerson(list, at, one.name, change)),
      ),
    );
    if (!isOpen) return [row];
    const others = FOR_ONE.map((key) => setting(key, where, this.words, change));
    const more = element(
      "tr",
      { role: "row", class: "others" },
      element("td", { role: "cell", colspan: 6 }, element("div", { class: "fields", role: "group", "aria-label": whose }, ...others)),
    );
    return [row, more];
  }

  /** The changes that a new name of a learner asks for, who may be named beside exercises too.
   * @param {(string|number)[]} path @param {string} before @param {string} now @returns {Change[]} */
  renamed(path, before, now) {
    const renamed = (/** @type {string[]} */ names) => names.map((one) => (one === before ? now : one));
    return [set([...path, "name"], now), ...this.receiversOfAll(before, renamed)];
  }

  /** What changes the receivers of the exercises that a learner gets by name.
   * @param {string} name @param {(names: string[]) => string[]} to @returns {Change[]} */
  receiversOfAll(name, to) {
    return (this.fields["exercises"] ?? []).map((/** @type {any} */ _, /** @type {number} */ at) =>
      set(["exercises", at, "for"], (/** @type {any} */ there) => {
        const names = [there ?? []].flat();
        if (!names.includes(name)) return undefined;
        const now = to(names);
        return now.length ? now : null;
      }),
    );
  }

  /** @param {string} place */
  openRow(place) {
    if (!this.opened.delete(place)) this.opened.add(place);
    this.drawSheet();
  }

  /** @param {string} place */
  typePitch(place) {
    this.typed.add(place);
    this.drawSheet();
    this.focusOn(`[data-place="${place}.pitch"]`);
  }

  /** @param {string} list @param {Changing} change */
  async addPerson(list, change) {
    if (!(await change([append(list, (/** @type {any[]} */ there) => this.newPerson(list, there))]))) return;
    this.focusOn(`[data-place="${list}[${this.fields[list].length}].name"]`);
  }

  /** @param {string} list @param {any[]} there those that it stands behind */
  newPerson(list, there) {
    const taken = new Set(LISTED.flatMap((one) => (this.fields[one] ?? []).map((/** @type {any} */ row) => row.name)));
    let number = there.length + 1;
    const named = () => say(list === "groups" ? "group_n" : "learner_n", { n: number });
    while (taken.has(named())) number++;
    const last = there[there.length - 1];
    const row = /** @type {Record<string, any>} */ ({ name: named() });
    if (list === "groups") row["learners"] = [say("learner_n", { n: 1 }), say("learner_n", { n: 2 })];
    // Most chanters of a class are alike.
    if (this.fields["pitch"] === undefined) row["pitch"] = last?.pitch ?? "A";
    return row;
  }

  /** @param {string} list @param {number} at @param {string} name @param {Changing} change */
  async removePerson(list, at, name, change) {
    const without = (/** @type {string[]} */ names) => names.filter((one) => one !== name);
    if (await change([{ do: "remove", list, at }, ...this.receiversOfAll(name, without)])) {
      this.focusOn("section[data-place=learners] .add");
    }
  }

  exercises() {
    const names = LISTED.flatMap((list) => (this.fields[list] ?? []).map((/** @type {any} */ one) => String(one.name ?? "")));
    const rows = (this.fields["exercises"] ?? []).map((/** @type {any} */ entry, /** @type {number} */ at) => this.exercise(entry, at, names));
    const change = this.changing();
    const choice = element(
      "select",
      { "aria-label": say("add_which"), onchange: () => (this.toAdd = choice.value) },
      ...this.addable(),
    );
    const add = element("button", {
      type: "button",
      text: say("add_exercise"),
      onclick: () => {
        const file = choice.value;
        if (!file) return;
        this.toAdd = "";
        const isThere = (/** @type {any} */ one) => (one?.file ?? one) === file;
        const once = (/** @type {any[]} */ there) => (there.some(isThere) ? undefined : file);
        void change([append("exercises", once)]).then(() => this.focusOn("section[data-place=exercises] .adding select"));
      },
    });
    return element(
      "section",
      { "aria-label": say("what"), "data-place": "exercises" },
      element("h2", { text: say("what") }),
      element("ol", { class: "rows given" }, ...rows),
      element("div", { class: "row adding" }, choice, add),
    );
  }

  /** The file of an exercise as it stands in the folder. @param {string} file */
  rowOf(file) {
    const way = this.name.split("/").slice(0, -1);
    for (const part of file.split("/")) {
      if (part === "..") way.pop();
      else if (part !== ".") way.push(part);
    }
    const name = way.join("/");
    return this.files.find((row) => row.name === name);
  }

  addable() {
    const taken = new Set((this.fields["exercises"] ?? []).map((/** @type {any} */ entry) => entry?.file ?? entry));
    const way = this.name.split("/").slice(1).map(() => "../").join("");
    const option = (/** @type {string} */ value, /** @type {string} */ text) =>
      element("option", { value, selected: value === this.toAdd }, text);
    const own = this.files
      .filter((row) => ["exercise", "tune"].includes(row.kind) && !taken.has(`${way}${row.name}`))
      .map((row) => option(`${way}${row.name}`, row.title || row.name));
    const others = this.shipped.filter((row) => !taken.has(row.name)).map((row) => option(row.name, row.title));
    const group = (/** @type {string} */ key, /** @type {Node[]} */ options) =>
      options.length ? [element("optgroup", { label: say(key) }, ...options)] : [];
    return [...group("in_folder", own), ...group("shipped", others)];
  }

  /** @param {any} entry @param {number} at @param {string[]} names */
  exercise(entry, at, names) {
    const file = String(entry?.file ?? entry);
    const row = this.rowOf(file);
    const title = row?.title || this.shipped.find((one) => one.name === file)?.title || file;
    const path = ["exercises", at];
    const found = typeof entry === "object" ? entry : {};
    const count = (this.fields["exercises"] ?? []).length;
    const change = this.changing();
    const where = this.where(path, found, title);
    const boxes = names.map((name) =>
      element(
        "label",
        { class: "choice" },
        element("input", {
          type: "checkbox",
          checked: receives(found.for, name),
          "aria-label": say("gets_it", { name, title }),
          onchange: (/** @type {any} */ event) => {
            const { checked } = event.target;
            const to = (/** @type {any} */ there) => {
              const now = names.filter((one) => (one === name ? checked : receives(there, one)));
              return now.length === names.length || !now.length ? null : now;
            };
            void change([set([...path, "for"], to)]);
          },
        }),
        element("span", { text: name }),
      ),
    );
    const tool = (/** @type {string} */ key, /** @type {Change} */ asked) =>
      element("button", { type: "button", text: say(key), "aria-label": `${say(key)}: ${title}`, onclick: () => void change([asked]) });
    return element(
      "li",
      { "data-place": placeOf(path) },
      element(
        "div",
        { class: "what" },
        row ? element("a", { href: `#/write/${encodeURIComponent(row.name)}`, text: title }) : element("span", { text: title }),
        names.length > 1 ? element("div", { class: "receivers", role: "group", "aria-label": say("who_gets", { title }) }, ...boxes) : "",
      ),
      element("label", { class: "short" }, element("span", { text: say("set_ladder") }), control("ladder", where, this.words, change)),
      element(
        "div",
        { class: "tools" },
        ...(at > 0 ? [tool("line_up", { do: "move", list: "exercises", at, to: at - 1 })] : []),
        ...(count > 1 ? [tool("take_out", { do: "remove", list: "exercises", at })] : []),
      ),
    );
  }

  forAll() {
    const where = this.where([], this.fields, "");
    const change = this.changing();
    return element(
      "section",
      { "aria-label": say("for_all") },
      element("h2", { text: say("for_all") }),
      element("div", { class: "fields" }, ...FOR_ALL.map((key) => setting(key, where, this.words, change))),
    );
  }

  // What it comes to.

  /** Work out what would be made, now that nobody has changed anything for a moment. */
  async foretell() {
    if (this._isForetelling) this._foretellAgain = true;
    if (this._isForetelling || this._ended || this.job) return;
    const { text } = this;
    if (!text || this.problems.length || !this.fields) {
      this.button.disabled = true;
      this.tell(say("first_mend"));
      return;
    }
    this._isForetelling = true;
    const asked = text.text;
    this.tell(this.howItEnded || say("working_out"));
    try {
      const would = await ask("pack-foretell", { name: this.name, text: asked });
      if (this._ended || this.job || this.text?.text !== asked || this._foretellAgain) return;
      this.would = would;
      this.drawForetold();
    } catch (error) {
      this.failed(error);
    } finally {
      this._isForetelling = false;
      const isAnother = this._foretellAgain || (this.text !== null && this.text.text !== asked);
      this._foretellAgain = false;
      if (isAnother) void this.foretell();
    }
  }

  /** @param {string} text */
  tell(text) {
    if (this.said.textContent !== text) this.said.textContent = text;
  }

  /** Say what is wrong at its place. */
  markProblems() {
    const left = markPlaces(this.form, [...this.problems, ...this.further]);
    this.wrongs.replaceChildren(
      ...left.map((/** @type {any} */ one) =>
        element(
          "p",
          { class: "problem" },
          elementOf(one.said),
          one.file ? " " : "",
          one.file && this.files.some((row) => row.name === one.file)
            ? element("a", { href: `#/write/${encodeURIComponent(one.file)}`, text: say("open") })
            : "",
        ),
      ),
    );
  }

  drawForetold() {
    const { would } = this;
    this.further = would.problems;
    this.markProblems();
    if (would.problems.length) {
      this.button.disabled = true;
      this.tell(say("first_mend"));
      this.comes.replaceChildren();
      return;
    }
    this.button.disabled = false;
    const isNothing = !would.due && !would.parcels;
    const work = would.work_s < 100 ? say("about_seconds", { n: Math.max(1, Math.round(would.work_s)) }) : say("about_minutes", { n: Math.round(would.work_s / 60) });
    const foretold = isNothing
      ? say("nothing_to_do", { n: would.files })
      : [
          say("would_make", { n: would.due, of: would.files }),
          say("of_playing", { time: clock(would.seconds) }),
          megabytes(would.bytes),
          ...(would.parcels ? [say("to_send_n", { n: would.parcels })] : []),
          work,
        ].join(" · ");
    this.tell(`${this.howItEnded} ${foretold}`.trim());
    this.comes.replaceChildren(
      element("h2", { text: say("comes_to") }),
      this.shares(would.folders, say("about_mb")),
      ...would.too_large.map((/** @type {string} */ path) => element("p", { class: "problem", text: say("file_too_large", { path }) })),
      ...(would.due ? [this.reasons(would.why, say("will_be_made", { n: would.due }), false)] : []),
    );
  }

  /** @param {any[]} folders @param {string} size */
  shares(folders, size) {
    const counted = ["tracks", "sheets", "plans", "pages"].filter((key) => folders.some((one) => one[key]));
    const heads = [say("folder"), say("set_pitch"), ...counted.map((key) => say(`count_${key}`)), say("plays_for"), size];
    const rows = folders.map((one) => [
      one.name,
      one.pitch.join(", "),
      ...counted.map((key) => String(one[key])),
      clock(one.seconds),
      (one.bytes / 1e6).toFixed(1),
    ]);
    return table(heads, rows, say("what_each"));
  }

  /** @param {{path: string, why: import("./ask.js").Said}[]} why @param {string} title @param {boolean} isOpen */
  reasons(why, title, isOpen) {
    return element(
      "details",
      { open: isOpen },
      element("summary", { text: title }),
      element(
        "ul",
        { class: "reasons" },
        ...why.map((one) => element("li", {}, element("span", { text: one.path }), " ", element("small", { text: wordsOf(one.why) }))),
      ),
    );
  }

  // Made.

  /** @param {boolean} tidy whether what is made no longer is removed */
  async make(tidy) {
    if (this.job) return;
    const job = await this.doing.once("make", async () => {
      if (!(await this.saved())) return "";
      return (await ask("pack-make", { name: this.name, tidy })).job;
    });
    if (job) await this.followed(job);
  }

  /** Show how far a job is, and what came of it. @param {string} job */
  async followed(job) {
    if (this.job) return;
    this.job = job;
    this.button.disabled = true;
    this.stopping.hidden = this.progress.hidden = false;
    this.progress.removeAttribute("value");
    this.tell(say("reading_class"));
    this.howItEnded = "";
    try {
      const made = await follow(job, (progress) => this.moved(progress));
      if (made) this.made = made;
      this.howItEnded = say(made ? "made_it" : "make_stopped");
      this.notify("");
    } catch (error) {
      this.failed(error);
      this.howItEnded = say("not_made");
    }
    this.job = "";
    if (this._ended) return;
    this.stopping.hidden = this.progress.hidden = true;
    await this.look();
    this.button.disabled = false;
    this.would = null;
    await this.foretell();
    this.done.querySelector("h2")?.scrollIntoView({ block: "start" });
  }

  /** Show how far it is; before anything is made, nothing is known of that. @param {Record<string, number>} progress */
  moved({ read = 0, all_read: allRead = 0, listed = 0, all_listed: allListed = 0, plans = 0, all_plans: allPlans = 0, seconds = 0, all_seconds: allSeconds = 0, tracks = 0, files = 0, all_files: allFiles = 0, folders = 0, all_folders: allFolders = 0 }) {
    const all = allPlans + tracks + allFiles + allFolders;
    if (!all) {
      if (allListed) this.tell(say("listing_files", { n: listed, of: allListed }));
      else if (allRead) this.tell(say("reading_exercises", { n: read, of: allRead }));
      return;
    }
    // One bar for all of it: a track counts as much as a page, for the part of it that is made.
    this.progress.max = all;
    this.progress.value = plans + tracks * (allSeconds ? seconds / allSeconds : 0) + files + folders;
    if (plans < allPlans) this.tell(say("planning", { n: plans, of: allPlans }));
    else if (seconds < allSeconds) this.tell(say("made_so_far", { done: clock(seconds), total: clock(allSeconds) }));
    else if (files < allFiles) this.tell(say("making_pages", { n: files, of: allFiles }));
    else this.tell(say("packing", { n: folders, of: allFolders }));
  }

  /** See what is there. */
  async look() {
    try {
      this.there = await ask("pack-there", { name: this.name });
      this.drawDone();
    } catch (error) {
      this.failed(error);
    }
  }

  drawDone() {
    const { there, made } = this;
    this.silence();
    if (!there || (!there.files.length && !made)) {
      this.done.replaceChildren();
      return;
    }
    const parts = [element("h2", { tabindex: "-1", text: say("came_of_it") })];
    if (made) parts.push(...this.outcome(made));
    parts.push(
      element(
        "p",
        { class: "row" },
        element("span", {}, say("they_are_in"), " ", element("code", { text: there.place })),
        ...(there.is_opened
          ? [element("button", { type: "button", text: say("open_folder"), onclick: () => void this.openThere("") })]
          : []),
      ),
    );
    const isParcel = (/** @type {any} */ one) => one.path.endsWith(".zip") && !one.path.includes("/");
    const parcels = there.files.filter(isParcel);
    if (parcels.length) {
      parts.push(element("h3", { text: say("to_send") }), element("ul", { class: "rows parcels" }, ...parcels.map((/** @type {any} */ one) => this.file(one))));
    }
    /** @type {Map<string, any[]>} */
    const folders = new Map();
    for (const one of there.files) {
      if (isParcel(one)) continue;
      const folder = one.path.includes("/") ? one.path.split("/")[0] : "";
      folders.set(folder, [...(folders.get(folder) ?? []), one]);
    }
    // What is the teacher's comes last.
    const inOrder = [...folders].sort(([a], [b]) => Number(a === "") - Number(b === ""));
    for (const [folder, files] of inOrder) {
      parts.push(
        element(
          "details",
          {},
          element("summary", { text: say("files_of", { name: folder || say("for_teacher"), n: files.length }) }),
          element("ul", { class: "rows" }, ...files.map((one) => this.file(one))),
        ),
      );
    }
    this.done.replaceChildren(...parts);
  }

  /** What a run has made. @param {any} made */
  outcome(made) {
    const counted = [
      made.made || made.linked || made.sent ? say("made_n", { n: made.made }) : say("all_there"),
      ...(made.linked ? [say("linked_n", { n: made.linked })] : []),
      ...(made.kept && made.made ? [say("kept_n", { n: made.kept })] : []),
      ...(made.sent ? [say("to_send_n", { n: made.sent })] : []),
    ];
    const parts = [element("p", { class: "outcome", text: counted.join(" · ") })];
    if (made.why.length) parts.push(this.reasons(made.why, say("was_made", { n: made.why.length }), made.why.length <= 12));
    for (const remark of made.remarks) parts.push(elementOf(remark, "p", { class: "stands" }));
    if (made.left_over.length) {
      const list = element("ul", { class: "reasons" }, ...made.left_over.map((/** @type {string} */ path) => element("li", { text: path })));
      const question = element("div", { class: "question" }, element("p", { text: say(made.is_tidied ? "tidied" : "left_over") }), list);
      if (!made.is_tidied) {
        question.append(
          element(
            "div",
            { class: "tools" },
            element("button", { type: "button", text: say("remove_them", { n: made.left_over.length }), onclick: () => void this.make(true) }),
            element("button", {
              type: "button",
              text: say("keep_them"),
              onclick: () => {
                this.made = { ...made, left_over: [] };
                this.drawDone();
              },
            }),
          ),
        );
      }
      parts.push(question);
    }
    if (made.changed.length) {
      parts.push(
        element("p", { text: say("left_changed") }),
        element("ul", { class: "reasons" }, ...made.changed.map((/** @type {string} */ path) => element("li", { text: path }))),
      );
    }
    return parts;
  }

  /** @param {{path: string, what: string, bytes: number}} one */
  file(one) {
    const name = one.path.split("/").pop() ?? one.path;
    const button = (/** @type {string} */ key, /** @type {() => void} */ on) =>
      element("button", { type: "button", text: say(key), "aria-label": `${say(key)}: ${name}`, onclick: on });
    return element(
      "li",
      { "data-path": one.path },
      element("div", { class: "what" }, element("span", { text: name }), element("small", { text: megabytes(one.bytes) })),
      element(
        "div",
        { class: "tools" },
        ...(HEARD.test(name) ? [button("hear_file", () => void this.hear(one.path, name))] : []),
        ...(this.there.is_opened && OPENED.test(name) ? [button("open", () => void this.openThere(one.path))] : []),
        button("save_file", () => void this.save(one.path, name)),
      ),
    );
  }

  /** @param {string} path */
  async openThere(path) {
    try {
      await ask("pack-open", { name: this.name, path });
    } catch (error) {
      this.failed(error);
    }
  }

  /** Let a track be heard where it stands; one at a time. @param {string} path @param {string} name */
  async hear(path, name) {
    this.silence();
    const number = ++this._heardOf;
    try {
      const file = await fetched("pack-file", { name: this.name, path });
      // Another was asked for meanwhile, or it stands here no more.
      const where = this.done.querySelector(`[data-path="${CSS.escape(path)}"] .what`);
      if (number !== this._heardOf || !where) return;
      const src = URL.createObjectURL(file);
      const audio = element("audio", { src, controls: true, "aria-label": say("hears", { name }) });
      audio.onerror = () => this.audio === audio && this.notify(say("not_heard", { name }));
      this.audio = audio;
      where.append(audio);
      await audio.play().catch(() => undefined);
    } catch (error) {
      this.failed(error);
    }
  }

  /** Let go of the track that is heard. */
  silence() {
    const { audio } = this;
    this.audio = null;
    if (!audio) return;
    audio.pause();
    audio.remove();
    URL.revokeObjectURL(audio.src);
  }

  /** @param {string} path @param {string} name */
  async save(path, name) {
    try {
      const href = URL.createObjectURL(await fetched("pack-file", { name: this.name, path }));
      element("a", { href, download: name }).click();
      setTimeout(() => URL.revokeObjectURL(href), 60_000);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      this.failed(error);
    }
  }
}

/** Names with commas between them. @param {string} text */
function listIn(text) {
  return text.split(",").map((one) => one.trim()).filter(Boolean);
}

/** Whether a learner gets an exercise: all do, where none is named. @param {any} named @param {string} name */
function receives(named, name) {
  const names = [named ?? []].flat();
  return !names.length || names.includes(name);
}
