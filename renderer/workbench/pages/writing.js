// One file on the desk: its staves as a sheet of paper, its fields and its text, always in step.
//
// The text in the editor is the truth. Fields ask the server for a changed text; whatever changes
// the text, the staves, the fields and the file on disk follow.

import { element } from "../../delivery/page/elements.js";
import { readFraction } from "../../delivery/page/exact.js";
import { Refused, ask } from "./ask.js";
import { Dock } from "./dock.js";
import { headFields, lineFields, markFields } from "./fields.js";
import { remember, remembered } from "./kept.js";
import { MovementPicker } from "./pickers.js";
import { SheetView } from "./sheet_view.js";
import { StavesView } from "./staves_view.js";
import { TextView, completion } from "./text_view.js";
import { moment, say } from "./words.js";

/** @typedef {import("./hearing.js").Hearing} Hearing */
/** @typedef {import("./hearing.js").Heard} Heard */
/** @typedef {import("./fields.js").Change} Change */

const TYPED_MS = 80;
const SAVE_MS = 600;
const SAVE_AT_LATEST_MS = 1_500;
const WATCH_MS = 2_000;
const KNOW_MS = 500;
const MOST_TRIES = 4;
const NEW_LINE = { run: "low A, B, C" };

export class Writing {
  /** @param {HTMLElement} root @param {string} name @param {Hearing} hearing */
  constructor(root, name, hearing) {
    this.root = root;
    this.name = name;
    this.hearing = hearing;
    this.version = "";
    this.savedText = "";
    /** @type {any} what the text holds, null where it is no TOML */
    this.fields = null;
    /** @type {any} what was read last without problems */
    this.read = null;
    /** @type {import("./ask.js").Problem[]} */
    this.problems = [];
    /** @type {any} */
    this.words = null;
    /** The entry whose fields are open; -1 for the head, null for none. @type {number|null} */
    this.openEntry = null;
    this.chosen = 0;
    this.isFixed = false;
    /** What is known of each line. @type {any[]} */
    this.facts = [];
    this._knownOf = 0;
    /** @type {number|undefined} */
    this._knowTimer = undefined;
    /** Parts of the sheet by entry, -1 for its head. @type {Map<number, {signature: string, part: HTMLElement}>} */
    this.blocks = new Map();
    /** @type {TextView|null} */
    this.text = null;
    this._asked = 0;
    this._shownOf = 0;
    /** @type {number|undefined} */
    this._showTimer = undefined;
    /** @type {number|undefined} */
    this._saveTimer = undefined;
    this._dirtySince = 0;
    this._isSaving = false;
    this._conflict = false;
    this._ended = false;
    this.staves = new StavesView({
      press: (index, from) => this.press(index, from),
      loop: (index, first, last) => this.loopBars(index, first, last),
      arrived: () => this.giveMusic(),
    });
    /** How movements are opened or closed meanwhile, empty as the file says. */
    this.inner = "";
    /** @type {MovementPicker|null} */
    this.picker = null;
    /** @type {SheetView|null} */
    this.printed = null;
    this.dock = new Dock(hearing, () => this.chosen, (inner) => {
      this.inner = inner;
      void this.show();
    });
    this._onKey = (/** @type {KeyboardEvent} */ event) => this.key(event);
    this._onLeave = () => void this.saveNow(true);
    this.build();
  }

  // What is shown.

  build() {
    const button = (/** @type {string} */ key, /** @type {() => void} */ on) =>
      element("button", { type: "button", text: say(key), onclick: on });
    this.state = element("span", { class: "saved", role: "status" });
    this.undoButton = button("undo", () => this.text?.undo());
    this.redoButton = button("redo", () => this.text?.redo());
    this.views = element(
      "select",
      { "aria-label": say("view"), onchange: (/** @type {any} */ event) => this.takeView(event.target.value) },
      ...["fields", "text", "both"].map((one) => element("option", { value: one }, say(`view_${one}`))),
    );
    this.bar = element(
      "header",
      { class: "bar" },
      element("a", { class: "home", href: "#/" }, say("library")),
      element("h1", { text: this.name }),
      this.state,
      element("span", { class: "gap" }),
      this.undoButton,
      this.redoButton,
      this.views,
      button("sheet", () => this.showSheet()),
      button("earlier", () => void this.showEarlier()),
      button("keys", () => this.showKeys()),
    );
    this.adder = element("button", { type: "button", class: "add", text: say("add_line") });
    this.notice = element("div", { class: "notice", role: "alert" });
    this.sheet = element("section", { class: "sheet", "aria-label": say("music") });
    this.editor = element("div", { class: "editor" });
    this.wrong = element("ul", { class: "wrong", "aria-label": say("text_wrong") });
    this.side = element("section", { class: "side", "aria-label": say("view_text") }, this.editor, this.wrong);
    this.desk = element("main", { class: "desk" }, this.sheet, this.side);
    this.dialog = element("dialog", {
      class: "dialog",
      onclose: () => {
        this.printed?.release();
        this.printed = null;
        this.picker?.destroy();
        this.picker = null;
        this.giveMusic();
      },
    });
    this.root.replaceChildren(this.bar, this.notice, this.desk, this.dock.element, this.dialog);
    this.takeView(remembered("view") ?? (window.innerWidth < 1_024 ? "fields" : "both"));
  }

  /** @param {string} view */
  takeView(view) {
    const known = ["fields", "text", "both"].includes(view) ? view : "both";
    remember("view", known);
    this.views.value = known;
    this.desk.dataset["view"] = known;
  }

  async start() {
    const opened = await ask("open", { name: this.name });
    if (this._ended) return;
    this.version = opened.version;
    this.savedText = opened.text ?? "";
    this.isFixed = !opened.is_definition;
    const draft = remembered(`draft ${this.name}`);
    const isDraft = draft !== null && !this.isFixed && draft !== this.savedText;
    this.text = new TextView(this.editor, {
      text: this.savedText,
      label: say("text_of", { name: this.name }),
      isFixed: this.isFixed,
      changed: (isTyped) => this.changed(isTyped),
      complete: completion(() => this.words),
      left: () => this.bar.querySelector("a")?.focus(),
    });
    document.addEventListener("keydown", this._onKey);
    window.addEventListener("pagehide", this._onLeave);
    if (this.isFixed) {
      this.takeView("fields");
      this.views.hidden = true;
      this.undoButton.hidden = this.redoButton.hidden = true;
      this.notify(say("only_shown"));
    }
    if (isDraft) {
      this.text.replace(draft);
      this.notify(say("draft_taken"));
    }
    document.title = `${this.name} · Rungwise`;
    this.showState();
    const shown = this.show();
    void ask("words").then((words) => {
      this.words = words;
      this.drawSheet();
    });
    await shown;
    void this.hearing.load().then(() => this.dock.arrived(), () => undefined);
    this._watch = setInterval(() => void this.watch(), WATCH_MS);
  }

  async end() {
    this._ended = true;
    document.removeEventListener("keydown", this._onKey);
    window.removeEventListener("pagehide", this._onLeave);
    clearInterval(this._watch);
    clearTimeout(this._showTimer);
    clearTimeout(this._knowTimer);
    this.hearing.stop();
    this.staves.destroy();
    await this.saveNow(false);
    this.text?.destroy();
  }

  /** @type {number|undefined} */
  _watch;

  /** Say something over the desk. @param {string} text @param {...Node} more */
  notify(text, ...more) {
    this.notice.replaceChildren(...(text ? [element("p", { text }), ...more] : []));
  }

  // What changes.

  /** The text has changed. @param {boolean} isTyped */
  changed(isTyped) {
    this._dirtySince ||= performance.now();
    this.showState();
    clearTimeout(this._showTimer);
    if (isTyped) this._showTimer = setTimeout(() => void this.show(), TYPED_MS);
    this._planSave();
  }

  /** Ask what the text holds now, and show it. */
  async show() {
    clearTimeout(this._showTimer);
    const { text } = this;
    if (!text) return;
    const number = ++this._asked;
    try {
      const told = this.isFixed ? {} : { text: text.text };
      this.take(await ask("show", { name: this.name, ...told, inner: this.inner, known: this.staves.known }), number);
    } catch (error) {
      this.failed(error);
    }
  }

  /** Change the text by fields. @param {Change[]} changes */
  async change(changes) {
    const { text } = this;
    if (!text || this.isFixed) return;
    try {
      for (let tries = 0; tries < MOST_TRIES; tries++) {
        const before = text.text;
        const number = ++this._asked;
        const told = { name: this.name, text: before, changes, inner: this.inner, known: this.staves.known };
        const answer = await ask("show", told);
        if (text.text !== before) continue; // somebody has typed meanwhile
        text.replace(answer.text);
        this.take(answer, number);
        return;
      }
    } catch (error) {
      this.failed(error);
      this.drawSheet();
    }
  }

  /** @param {any} answer @param {number} number */
  take(answer, number) {
    if (this._ended || number < this._shownOf) return;
    this._shownOf = number;
    this.fields = answer.fields;
    this.problems = answer.read.problems;
    this.text?.mark(this.problems);
    if (!this.problems.length) {
      const isFirst = this.read === null;
      this.read = answer.read;
      this.staves.add(answer.bodies);
      this.staves.take(answer.read.lines);
      if (isFirst) this.hearing.choice.tempo = readFraction(answer.read.rungs[0] ?? answer.read.tempo);
      this.giveMusic();
      this.dock.shown(this.hearing.heard);
      clearTimeout(this._knowTimer);
      this._knowTimer = setTimeout(() => void this.know(), isFirst ? 0 : KNOW_MS);
    }
    this.drawSheet();
    this.drawProblems();
    this.showState();
    const first = answer.read.lines?.slice(0, 6).map((/** @type {any} */ row) => row.key) ?? [];
    void this.staves.want(first);
  }

  /** Ask what is known of the lines, when nobody has changed them for a moment. */
  async know() {
    if (this._ended || !this.text) return;
    const number = ++this._knownOf;
    const told = this.isFixed ? {} : { text: this.text.text };
    try {
      const { lines } = await ask("know", { name: this.name, ...told, inner: this.inner });
      if (number !== this._knownOf || this._ended) return;
      this.facts = lines;
      this.drawSheet();
    } catch (error) {
      // What is wrong with the text has been said.
      if (!(error instanceof Refused)) throw error;
    }
  }

  /** @param {unknown} error */
  failed(error) {
    if (!(error instanceof Refused)) throw error;
    if (error.status === 0) {
      this.keepDraft();
      this.notify(say("no_answer"));
    } else this.notify(error.status === 401 ? say("other_run") : error.message);
  }

  // The sheet: what holds for all lines, then each entry with its staves and, if open, its fields.

  drawSheet() {
    const { read, fields } = this;
    if (!read) {
      this.sheet.replaceChildren();
      return;
    }
    const focused = this.focusedField();
    /** @type {Map<number, any[]>} */
    const byEntry = new Map();
    for (const row of read.lines) {
      const rows = byEntry.get(row.entry) ?? [];
      rows.push(row);
      byEntry.set(row.entry, rows);
    }
    const count = Math.max(fields?.lines?.length ?? 0, byEntry.size ? Math.max(...byEntry.keys()) + 1 : 0);
    const { canChange } = this;
    const wrongHead = this.problems.filter((one) => !one.place.startsWith("lines["));
    const head = { ...read, wrongHead, lines: null, fields: this.openEntry === -1 ? fields : null, canChange, openEntry: this.openEntry === -1 };
    const parts = [this.block(-1, head, () => this.head())];
    let first = 0;
    for (let entry = 0; entry < count; entry++) {
      const rows = byEntry.get(entry) ?? [];
      const isOpen = this.openEntry === entry;
      const wrong = this.problems.filter((one) => one.place.startsWith(`lines[${entry + 1}]`));
      const facts = this.facts.slice(first, first + rows.length);
      const told = { rows, first, facts, wrong, canChange, isOpen: isOpen && fields?.lines?.[entry], isLast: entry === count - 1, isOnly: count === 1 };
      const from = first;
      parts.push(this.block(entry, told, () => this.entry(entry, rows, from, wrong, count)));
      first += rows.length;
    }
    for (const entry of this.blocks.keys()) if (entry >= count) this.blocks.delete(entry);
    if (canChange) {
      this.adder.onclick = () => {
        this.openEntry = count;
        void this.change([{ do: "insert", at: count, line: NEW_LINE }]);
      };
      parts.push(this.adder);
    }
    this.sheet.classList.toggle("stale", this.problems.length > 0);
    const now = new Set(parts);
    for (const child of [...this.sheet.children]) if (!now.has(child)) child.remove();
    parts.forEach((part, at) => {
      if (this.sheet.children[at] !== part) this.sheet.insertBefore(part, this.sheet.children[at] ?? null);
    });
    this.staves.fill();
    this.showChosen();
    focused?.();
  }

  /**
   * A part of the sheet; the same element as long as what it is made of is the same.
   * @param {number} entry @param {any} told what it is made of @param {() => HTMLElement} make
   */
  block(entry, told, make) {
    const signature = JSON.stringify(told);
    const known = this.blocks.get(entry);
    if (known?.signature === signature) return known.part;
    const part = make();
    this.blocks.set(entry, { signature, part });
    return part;
  }

  /** Whether fields can change the file as it stands. */
  get canChange() {
    return !this.isFixed && this.words !== null && this.fields !== null;
  }

  /** Return what puts the focus back where it is, when the sheet has been drawn anew. */
  focusedField() {
    const active = document.activeElement;
    if (!(active instanceof HTMLElement) || !this.sheet.contains(active)) return null;
    const all = [...this.sheet.querySelectorAll("input, select, textarea, button")];
    const at = all.indexOf(active);
    const selection = active instanceof HTMLInputElement && active.type === "text" ? active.selectionStart : null;
    return () => {
      const now = this.sheet.querySelectorAll("input, select, textarea, button")[at];
      if (!(now instanceof HTMLElement) || now.tagName !== active.tagName) return;
      now.focus({ preventScroll: true });
      if (selection !== null && now instanceof HTMLInputElement) now.setSelectionRange(selection, selection);
    };
  }

  head() {
    const { read } = this;
    const facts = [read.audience, read.composer, read.level].filter(Boolean).join(" · ");
    const isOpen = this.openEntry === -1;
    const head = element(
      "div",
      { class: "head" },
      element("h2", { text: read.title }),
      element("p", { text: [facts, `♩ = ${read.tempo}`].filter(Boolean).join(" · ") }),
    );
    if (!this.canChange) return head;
    head.append(this.opener(-1, say("about"), isOpen));
    if (isOpen) {
      const fields = headFields(this.fields, (changes) => void this.change(changes));
      markFields(fields, this.problems.filter((one) => !one.place.startsWith("lines[")));
      head.append(fields);
    }
    return head;
  }

  /** @param {number} entry @param {string} label @param {boolean} isOpen */
  opener(entry, label, isOpen) {
    return element("button", {
      type: "button",
      class: "opener",
      "aria-expanded": String(isOpen),
      text: label,
      onclick: () => {
        this.openEntry = isOpen ? null : entry;
        this.drawSheet();
      },
    });
  }

  /**
   * @param {number} entry @param {any[]} rows @param {number} first the index of its first line
   * @param {import("./ask.js").Problem[]} wrong @param {number} count
   */
  entry(entry, rows, first, wrong, count) {
    const isOpen = this.openEntry === entry;
    const block = element("section", { class: "entry", "aria-label": say("line", { n: entry + 1 }) });
    const change = (/** @type {Change[]} */ changes) => void this.change(changes);
    const parts = rows.map((row, at) => this.line(row, first + at));
    const line = this.fields?.lines?.[entry];
    /** @type {HTMLElement[]} */
    const fields = [];
    let unmarked = wrong;
    if (this.canChange) {
      fields.push(this.tools(entry, count, isOpen));
      if (isOpen && line) {
        const own = lineFields(entry, line, this.words, change, (names, take) => this.pick(names, take));
        unmarked = markFields(own, wrong);
        fields.push(own);
      }
    }
    for (const one of unmarked) parts.push(element("p", { class: "problem", text: `${one.cause}. ${one.remedy}` }));
    // Of an entry that stands for many lines the fields come first: below they would be out of sight.
    if (rows.length > 1) {
      block.append(element("p", { class: "stands", text: say("stands_for", { n: rows.length }) }), ...fields, ...parts);
    } else block.append(...parts, ...fields);
    return block;
  }

  /** @param {number} entry @param {number} count @param {boolean} isOpen */
  tools(entry, count, isOpen) {
    const tools = element("div", { class: "tools" }, this.opener(entry, say("change_line"), isOpen));
    const tool = (/** @type {string} */ key, /** @type {Change} */ change, /** @type {number|null} */ opens) =>
      tools.append(
        element("button", {
          type: "button",
          text: say(key),
          onclick: () => {
            this.openEntry = opens;
            void this.change([change]);
          },
        }),
      );
    if (isOpen) {
      if (entry > 0) tool("line_up", { do: "move", at: entry, to: entry - 1 }, entry - 1);
      if (entry < count - 1) tool("line_down", { do: "move", at: entry, to: entry + 1 }, entry + 1);
      tool("line_copy", { do: "copy", at: entry }, entry + 1);
      if (count > 1) tool("line_remove", { do: "remove", at: entry }, null);
    }
    return tools;
  }

  /** @param {any} row @param {number} index */
  line(row, index) {
    const name = [row.tune, row.heading].filter(Boolean).join(" · ");
    const label = element("h3", { text: `${row.number}  ${name}` });
    const play = element("button", {
      type: "button",
      class: "from",
      "aria-label": say("play_line", { n: row.number }),
      text: "▸",
      onclick: () => this.press(index, null),
    });
    return element(
      "div",
      { class: "line", "data-index": index },
      element("div", { class: "label" }, play, label),
      this.staves.hostOf(row),
      ...this.known(this.facts[index]),
    );
  }

  /** What is known of a line, and, where it is the chosen one, what to watch in it. @param {any} facts */
  known(facts) {
    if (!facts) return [];
    const language = document.documentElement.lang === "de" ? "de" : "en";
    const parts = [
      facts.played[language],
      facts.fastest === null ? say("fits_always") : say("fits_to", { n: facts.fastest }),
      say("difficulty", { n: facts.difficulty }),
    ];
    const known = element("p", { class: "known", text: parts.join(" · ") });
    const advice = facts.advice.map((/** @type {any} */ one) =>
      element("li", { text: `${one[language]} ${say("in_bar", { n: one.bar })}` }),
    );
    return advice.length
      ? [known, element("ul", { class: "advice", "aria-label": say("advice") }, ...advice)]
      : [known];
  }

  showChosen() {
    for (const one of this.sheet.querySelectorAll(".line")) {
      const isChosen = Number(/** @type {HTMLElement} */ (one).dataset["index"]) === this.chosen;
      one.classList.toggle("chosen", isChosen);
    }
  }

  drawProblems() {
    const rows = this.problems.map((one) =>
      element(
        "li",
        {},
        element("button", {
          type: "button",
          text: `${one.row ? `${say("problem_in_row", { n: one.row })}: ` : ""}${one.cause}. ${one.remedy}`,
          onclick: () => {
            if (this.desk.dataset["view"] === "fields") this.takeView("both");
            this.text?.show(one.start ?? 0, one.end ?? 0);
          },
        }),
      ),
    );
    this.wrong.replaceChildren(...rows);
    if (this.problems.length && !this._conflict) {
      this.notify(this.fields === null || this.read === null ? this.problems[0]?.said ?? "" : say("text_wrong"));
    } else if (!this._conflict && !this.isFixed) this.notify("");
  }

  /** Choose movements in a dialog. @param {string[]} names @param {(names: string[]) => void} take */
  pick(names, take) {
    this.picker = new MovementPicker(this.words, this.hearing, names, (now) => {
      this.dialog.close();
      take(now);
    });
    this.openDialog(say("movements"), [this.picker.element]);
  }

  // What is heard.

  giveMusic() {
    if (!this.picker) this.hearing.takeMusic(this.staves.music());
  }

  /** @param {number} index @param {{bar: number, item: number}|null} from */
  press(index, from) {
    this.chosen = index;
    this.showChosen();
    this.staves.loop(-1, null);
    if (this.hearing.play(index, from)) return;
    // The music of a line far down may still be on its way.
    const row = this.read?.lines[index];
    if (row) void this.staves.want([row.key]);
  }

  /** @param {number} index @param {number} first @param {number} last */
  loopBars(index, first, last) {
    this.chosen = index;
    this.showChosen();
    if (this.hearing.playBars(index, first, last)) this.staves.loop(index, [first, last]);
  }

  /** @param {Heard} heard */
  heard(heard) {
    if (this.picker) this.picker.heard(heard);
    else this.staves.light(heard.index, heard.id);
    this.dock.shown(heard);
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const { target } = event;
    const isTyped =
      target instanceof HTMLInputElement ||
      target instanceof HTMLSelectElement ||
      target instanceof HTMLTextAreaElement ||
      (target instanceof HTMLElement && this.editor.contains(target));
    const control = event.ctrlKey || event.metaKey;
    const isRange = target instanceof HTMLInputElement && target.type !== "text" && target.type !== "number";
    if (control && event.key.toLowerCase() === "s") void this.saveNow(false);
    else if (control && !event.altKey && event.key.toLowerCase() === "z" && !this.editor.contains(/** @type {Node} */ (target))) {
      if (event.shiftKey) this.text?.redo();
      else this.text?.undo();
    } else if (control && event.key.toLowerCase() === "y" && !this.editor.contains(/** @type {Node} */ (target))) {
      this.text?.redo();
    } else if (event.key === "F1") this.showKeys();
    else if (control || event.altKey || (isTyped && !isRange)) return;
    else if (event.key === "Escape" && this.hearing.choice.from && this.hearing.isPlaying) this.press(this.chosen, null);
    else if (/^[1-9]$/.test(event.key) && !isRange) this.press(this.chosen, { bar: Number(event.key), item: 1 });
    else if (event.key === " " && !(target instanceof HTMLButtonElement) && !isRange) this.dock.toggle();
    else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && !isRange) {
      this.choose(this.chosen + (event.key === "ArrowDown" ? 1 : -1));
    } else return;
    event.preventDefault();
  }

  /** @param {number} index */
  choose(index) {
    if (!this.read?.lines[index]) return;
    this.chosen = index;
    this.showChosen();
    this.sheet.querySelector(".line.chosen")?.scrollIntoView({ block: "nearest" });
    if (this.hearing.isPlaying) this.hearing.play(index);
  }

  showSheet() {
    const told = this.isFixed ? {} : { text: this.text?.text ?? "" };
    this.printed = new SheetView({ name: this.name, ...told });
    this.openDialog(say("sheet"), [this.printed.element]);
  }

  showKeys() {
    this.openDialog(say("keys"), [element("p", { text: say("keys_list") })]);
  }

  /** @param {string} title @param {Node[]} parts */
  openDialog(title, parts) {
    const close = element("button", { type: "button", text: say("close"), onclick: () => this.dialog.close() });
    this.dialog.setAttribute("aria-label", title);
    this.dialog.replaceChildren(element("h2", { text: title }), ...parts, close);
    if (!this.dialog.open) this.dialog.showModal();
    this.dialog.classList.toggle("wide", this.picker !== null || this.printed !== null);
  }

  // What is kept.

  get isDirty() {
    return !this.isFixed && this.text !== null && this.text.text !== this.savedText;
  }

  showState() {
    if (this.text) {
      this.undoButton.disabled = !this.text.canUndo;
      this.redoButton.disabled = !this.text.canRedo;
    }
    const words = this.isFixed ? "" : say(this.isDirty ? "saving" : "saved");
    if (this.state.textContent !== words) this.state.textContent = words;
  }

  _planSave() {
    if (this._conflict || this._ended) return;
    clearTimeout(this._saveTimer);
    const waited = performance.now() - this._dirtySince;
    const wait = Math.max(0, Math.min(SAVE_MS, SAVE_AT_LATEST_MS - waited));
    this._saveTimer = setTimeout(() => void this.saveNow(false), wait);
  }

  keepDraft() {
    if (this.isDirty) remember(`draft ${this.name}`, this.text?.text ?? null);
  }

  /** Save what is not saved yet. @param {boolean} outlives whether the page may be gone meanwhile */
  async saveNow(outlives) {
    clearTimeout(this._saveTimer);
    if (!this.isDirty || this._conflict || !this.text) {
      this._dirtySince = 0;
      return;
    }
    if (this._isSaving && !outlives) {
      this._planSave();
      return;
    }
    this._isSaving = true;
    const { text } = this.text;
    this._dirtySince = 0;
    try {
      const { version } = await ask("save", { name: this.name, text, version: this.version }, outlives);
      this.version = version;
      this.savedText = text;
      remember(`draft ${this.name}`, null);
    } catch (error) {
      this.keepDraft();
      if (error instanceof Refused && error.status === 409) this.meets(error.answer);
      else if (error instanceof Refused) {
        this.state.textContent = say("not_saved", { why: error.status ? error.message : say("no_answer") });
        this._saveTimer = setTimeout(() => void this.saveNow(false), WATCH_MS);
        return;
      } else throw error;
    } finally {
      this._isSaving = false;
    }
    this.showState();
    if (this.isDirty && !this._conflict) {
      this._dirtySince ||= performance.now();
      this._planSave();
    }
  }

  /** Look whether another program has changed the file. */
  async watch() {
    if (this._isSaving || this._conflict || document.hidden) return;
    try {
      const { version } = await ask("standing", { name: this.name });
      if (this._isSaving || version === this.version || this._ended) return;
      if (this.isDirty) return; // saving finds out
      const opened = await ask("open", { name: this.name });
      if (this._isSaving || this.isDirty || opened.version === this.version) return;
      this.version = opened.version;
      this.savedText = opened.text ?? "";
      this.text?.replace(this.savedText);
      await this.show();
      if (!this._conflict) this.notify(say("taken_over"));
    } catch (error) {
      if (error instanceof Refused && error.status === 422) this.notify(say("gone_from_disk"));
      else this.failed(error);
    }
  }

  /** The file on disk is another than the one that was changed. @param {{text: string|null, version: string}} there */
  meets(there) {
    this._conflict = true;
    const mine = this.text?.text ?? "";
    void ask("keep", { name: this.name, text: mine }).catch(() => undefined);
    const settle = (/** @type {string} */ text) => {
      this._conflict = false;
      this.version = there.version;
      this.savedText = there.text ?? "";
      this.text?.replace(text);
      this.notify("");
      this._dirtySince = performance.now();
      void this.show();
      void this.saveNow(false);
    };
    const theirs = element("button", {
      type: "button",
      text: say("take_theirs"),
      onclick: () => settle(there.text ?? ""),
    });
    const own = element("button", { type: "button", text: say("keep_mine"), onclick: () => settle(this.text?.text ?? "") });
    this.notify(say(there.text === null ? "gone_from_disk" : "changed_on_disk"), ...(there.text === null ? [own] : [theirs, own]));
  }

  async showEarlier() {
    const { versions } = await ask("earlier", { name: this.name });
    const rows = versions.map((/** @type {any} */ one) =>
      element(
        "li",
        {},
        element("span", { text: moment(one.when) }),
        element("button", { type: "button", text: say("restore"), onclick: () => void this.restore(one.version) }),
      ),
    );
    this.openDialog(say("earlier"), [
      rows.length ? element("ul", { class: "versions" }, ...rows) : element("p", { text: say("earlier_none") }),
    ]);
  }

  /** Put an earlier version in the place of the text; undo takes it back. @param {string} version */
  async restore(version) {
    const { text } = await ask("earlier-text", { name: this.name, version });
    this.text?.replace(text);
    this.dialog.close();
    await this.show();
  }
}
