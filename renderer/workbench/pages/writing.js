// An exercise or a tune on the desk: its staves as a sheet of paper, its fields and its text.

import { element } from "../../delivery/page/elements.js";
import { readFraction } from "../../delivery/page/exact.js";
import { Refused, ask, elementOf } from "./ask.js";
import { append, standsAfter } from "./changes.js";
import { Desk } from "./desk.js";
import { Dock } from "./dock.js";
import { headFields, lineFields, markFields } from "./fields.js";
import { isMoved, isPressed, isTyped } from "./keys.js";
import { Knowing, lineFacts, nameOfLine } from "./knowing.js";
import { MovementPicker } from "./pickers.js";
import { SheetView } from "./sheet_view.js";
import { StavesView } from "./staves_view.js";
import { say } from "./words.js";

/** @typedef {import("./hearing.js").Hearing} Hearing */
/** @typedef {import("./hearing.js").Heard} Heard */
/** @typedef {import("./changes.js").Change} Change */
/** @typedef {import("./changes.js").Changing} Changing */
/** @typedef {{moves: number}} Drawn */

const KNOW_MS = 500;
const NEW_LINE = { run: "low A, B, C" };

export class Writing extends Desk {
  /**
   * @param {HTMLElement} root @param {string} name @param {Hearing} hearing
   * @param {string} view the one to begin with; empty for the one that was last
   */
  constructor(root, name, hearing, view = "") {
    super(root, name);
    this.hearing = hearing;
    /** @type {any} what was read last without problems */
    this.read = null;
    /** The entry whose fields are open; -1 for the head, null for none. @type {number|null} */
    this.openEntry = null;
    this.chosen = 0;
    /** The note from which the chosen line was played last. @type {{bar: number, item: number}|null} */
    this.from = null;
    /** @type {{index: number, bars: [number, number]}|null} */
    this.loopedBars = null;
    /** What is known of each line. @type {any[]} */
    this.facts = [];
    this._knownOf = 0;
    /** @type {number|undefined} */
    this._knowTimer = undefined;
    /** Parts of the sheet by entry, -1 for its head. @type {Map<number, {signature: string, part: HTMLElement, drawn: Drawn}>} */
    this.blocks = new Map();
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
    /** The lines whose fingers are shown. @type {Set<number>} */
    this.withFingers = new Set();
    /** Those that a short version keeps. @type {Set<number>|null} */
    this.kept = null;
    this.knowing = new Knowing({
      told: () => this.told(),
      canChange: () => this.canChange,
      changing: () => this.changing(),
      replace: (text, before) => this.replaceText(text, before),
      rows: () => this.read?.lines ?? [],
      facts: () => this.facts,
      entries: () => this.fields?.lines?.length ?? 0,
      choose: (index) => this.choose(index),
      mark: (kept) => {
        this.kept = kept;
        this.showChosen();
      },
    });
    this.build(view);
  }

  // What is shown.

  /** @param {string} view */
  build(view) {
    this.buildDesk(say("music"), element("button", { type: "button", text: say("sheet"), onclick: () => void this.showSheet() }));
    this.adder = element("button", { type: "button", class: "add", text: say("add_line"), onclick: () => void this.addLine() });
    this.root.replaceChildren(this.bar, this.notice, this.desk, this.dock.element, this.dialog);
    this.desk.append(this.knowing.element);
    this.takeView(view || this.viewAtFirst);
  }

  /** @override */
  get viewNames() {
    return { all: ["fields", "text", "both", "book"], fixed: ["fields", "book"] };
  }

  /** @override @param {string} view */
  takeView(view) {
    super.takeView(view);
    if (this.showsBook && this.read) void this.knowing.refresh();
    this.showChosen();
  }

  get showsBook() {
    return this.desk.dataset["view"] === "book";
  }

  /** @override */
  dialogClosed() {
    this.printed?.release();
    this.printed = null;
    this.picker?.destroy();
    this.picker = null;
    this.giveMusic();
  }

  async start() {
    await this.openText();
    if (this._ended) return;
    const shown = this.show();
    void ask("words").then((words) => {
      this.words = words;
      this.drawSheet();
      // Without them nothing could be changed there.
      if (this.showsBook && this.read) void this.knowing.refresh();
    });
    await shown;
    void this.hearing.load().catch(() => undefined);
  }

  /** @override */
  async end() {
    clearTimeout(this._knowTimer);
    this.hearing.stop();
    this.staves.destroy();
    this.knowing.destroy();
    await super.end();
  }

  // What changes.

  /** @override */
  alsoAsked() {
    return { inner: this.inner, known: this.staves.known };
  }

  /** @override */
  problemsFound() {
    return this.answer.read.problems;
  }

  /** @override */
  arrived() {
    const { read, bodies } = this.answer;
    if (!this.problems.length) {
      const isFirst = this.read === null;
      this.read = read;
      this.staves.add(bodies);
      this.staves.take(read.lines);
      if (isFirst) this.hearing.choice.tempo = readFraction(read.rungs[0] ?? read.tempo);
      this.giveMusic();
      this.dock.shown(this.hearing.heard);
      clearTimeout(this._knowTimer);
      this._knowTimer = setTimeout(() => void this.know(), isFirst ? 0 : KNOW_MS);
    }
    this.drawSheet();
    this.drawProblems();
    const first = read.lines?.slice(0, 6).map((/** @type {any} */ row) => row.key) ?? [];
    void this.staves.want(first);
  }

  /** Ask what is known of the lines, when nobody has changed them for a moment. */
  async know() {
    if (this._ended || !this.text) return;
    const number = ++this._knownOf;
    try {
      const { lines } = await ask("know", { ...this.told(), inner: this.inner });
      if (number !== this._knownOf || this._ended) return;
      this.facts = lines;
      this.drawSheet();
      if (this.showsBook) await this.knowing.refresh();
    } catch (error) {
      // What is wrong with the text has been said.
      if (!(error instanceof Refused)) throw error;
    }
  }

  // The sheet: what holds for all lines, then each entry with its staves and, if open, its fields.

  /** @override */
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
    const parts = [this.block(-1, head, (drawn) => this.head(this.changing(drawn)))];
    let first = 0;
    for (let entry = 0; entry < count; entry++) {
      const rows = byEntry.get(entry) ?? [];
      const isOpen = this.openEntry === entry;
      const wrong = this.problems.filter((one) => one.place.startsWith(`lines[${entry + 1}]`));
      const facts = this.facts.slice(first, first + rows.length);
      const told = { rows, first, facts, wrong, canChange, isOpen: isOpen && fields?.lines?.[entry], isLast: entry === count - 1, isOnly: count === 1 };
      const from = first;
      parts.push(this.block(entry, told, (drawn) => this.entry(entry, rows, from, wrong, count, this.changing(drawn))));
      first += rows.length;
    }
    for (const entry of this.blocks.keys()) if (entry >= count) this.blocks.delete(entry);
    if (canChange) {
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
   * @param {number} entry @param {any} told what it is made of @param {(drawn: Drawn) => HTMLElement} make
   */
  block(entry, told, make) {
    const signature = JSON.stringify(told);
    const known = this.blocks.get(entry);
    if (known?.signature === signature) {
      Object.assign(known.drawn, this.drawn);
      return known.part;
    }
    const { drawn } = this;
    const part = make(drawn);
    this.blocks.set(entry, { signature, part, drawn });
    return part;
  }

  async addLine() {
    if (await this.changing()([append("lines", NEW_LINE)])) this.open(this.fields.lines.length - 1);
  }

  /** @param {number|null} entry whose fields are to be seen; -1 for the head */
  open(entry) {
    this.openEntry = entry;
    this.drawSheet();
  }

  /** @override @param {Change[]} moves */
  entriesMoved(moves) {
    const open = this.openEntry;
    if (open === null || open < 0) return;
    const isCopied = (/** @type {Change} */ move, /** @type {number} */ at) => move["do"] === "copy" && move["at"] === at;
    const now = moves.reduce((at, move) => (isCopied(move, at) ? at + 1 : standsAfter(move, "lines", at)), open);
    this.openEntry = now < 0 ? null : now;
  }

  /** @param {Changing} change */
  head(change) {
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
      const fields = headFields(this.fields, change);
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
      onclick: () => this.open(isOpen ? null : entry),
    });
  }

  /**
   * @param {number} entry @param {any[]} rows @param {number} first the index of its first line
   * @param {import("./ask.js").Problem[]} wrong @param {number} count @param {Changing} change
   */
  entry(entry, rows, first, wrong, count, change) {
    const isOpen = this.openEntry === entry;
    const block = element("section", { class: "entry", "aria-label": say("line", { n: entry + 1 }) });
    const parts = rows.map((row, at) => this.line(row, first + at));
    const line = this.fields?.lines?.[entry];
    /** @type {HTMLElement[]} */
    const fields = [];
    let unmarked = wrong;
    if (this.canChange) {
      fields.push(this.tools(entry, count, isOpen, change));
      if (isOpen && line) {
        const own = lineFields(entry, line, this.words, change, (names, take) => this.pick(names, take));
        unmarked = markFields(own, wrong);
        fields.push(own);
      }
    }
    for (const one of unmarked) parts.push(elementOf(one.alone, "p", { class: "problem" }));
    // Of an entry that stands for many lines the fields come first: below they would be out of sight.
    if (rows.length > 1) {
      block.append(element("p", { class: "stands", text: say("stands_for", { n: rows.length }) }), ...fields, ...parts);
    } else block.append(...parts, ...fields);
    return block;
  }

  /** @param {number} entry @param {number} count @param {boolean} isOpen @param {Changing} change */
  tools(entry, count, isOpen, change) {
    const tools = element("div", { class: "tools" }, this.opener(entry, say("change_line"), isOpen));
    const tool = (/** @type {string} */ key, /** @type {Change} */ asked) =>
      element("button", { type: "button", text: say(key), onclick: () => void change([asked]) });
    if (isOpen) {
      if (entry > 0) tools.append(tool("line_up", { do: "move", at: entry, to: entry - 1 }));
      if (entry < count - 1) tools.append(tool("line_down", { do: "move", at: entry, to: entry + 1 }));
      tools.append(tool("line_copy", { do: "copy", at: entry }));
      if (count > 1) tools.append(tool("line_remove", { do: "remove", at: entry }));
    }
    return tools;
  }

  /** @param {any} row @param {number} index */
  line(row, index) {
    const label = element("h3", { text: nameOfLine(row) });
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
      ...this.known(index),
    );
  }

  /** What is known of a line. @param {number} index */
  known(index) {
    return lineFacts(this.facts[index], {
      hear: (bar, item) => this.hearNoise(index, bar, item),
      fingers: async () => (await ask("fingers", { ...this.told(), inner: this.inner, line: index })).changes,
      isOpen: this.withFingers.has(index),
      opened: (isOpen) => {
        if (isOpen) this.withFingers.add(index);
        else this.withFingers.delete(index);
      },
    });
  }

  showChosen() {
    for (const one of this.sheet.querySelectorAll(".line")) {
      const index = Number(/** @type {HTMLElement} */ (one).dataset["index"]);
      one.classList.toggle("chosen", index === this.chosen);
      one.classList.toggle("left-out", this.showsBook && this.kept !== null && !this.kept.has(index));
    }
  }

  drawProblems() {
    this.listProblems();
    if (this.problems.length && !this._conflict) {
      const [first] = this.problems;
      const isUnread = this.fields === null || this.read === null;
      this.notify(isUnread && first ? elementOf(first.said) : say("text_wrong"));
    } else if (!this._conflict && !this.isFixed) this.notify("");
  }

  /** Choose movements in a dialog. @param {string[]} names @param {(names: string[]) => void} take */
  pick(names, take) {
    this.picker = new MovementPicker(this.words, this.hearing, names, (now) => {
      this.dialog.close();
      take(now);
    });
    this.openDialog(say("movements"), [this.picker.element], true);
  }

  // What is heard.

  giveMusic() {
    if (!this.picker) this.hearing.takeMusic(this.staves.music());
  }

  /** @param {number} index @param {{bar: number, item: number}|null} from */
  press(index, from) {
    this.chosen = index;
    this.from = from;
    this.showChosen();
    this.staves.loop(-1, null);
    this.loopedBars = null;
    this.hearing.play(index, from);
    // The music of a line far down comes when it is asked for.
    const row = this.read?.lines[index];
    if (row) void this.staves.want([row.key]);
  }

  /** Play the chosen line from the next note, or the one before. @param {number} step */
  step(step) {
    const notes = this.hearing.notesOf(this.chosen);
    const at = notes.findIndex((one) => one.bar === this.from?.bar && one.item === this.from?.item);
    const next = notes[Math.max(0, at + step)];
    if (next) this.press(this.chosen, next);
  }

  /** Hear a crossing noise at a note. @param {number} index @param {number} bar @param {number} item */
  hearNoise(index, bar, item) {
    this.chosen = index;
    this.showChosen();
    if (this.hearing.playNoise(index, bar, item)) this.staves.loop(index, [bar, bar]);
  }

  /** @param {number} index @param {number} first @param {number} last */
  loopBars(index, first, last) {
    this.chosen = index;
    this.showChosen();
    if (!this.hearing.playBars(index, first, last)) return;
    this.staves.loop(index, [first, last]);
    this.loopedBars = { index, bars: [first, last] };
  }

  /** Let the loop begin, or end, with the bar that sounds. @param {boolean} begins */
  bracket(begins) {
    const { id, index, isPlaying } = this.hearing.heard;
    const bar = Number(/-B(\d+)-/.exec(id)?.[1] ?? 0);
    if (!isPlaying || !bar) return;
    const looped = this.loopedBars;
    const [first, last] = looped && looped.index === index ? looped.bars : [bar, bar];
    if (begins) this.loopBars(index, bar, Math.max(bar, last));
    else this.loopBars(index, Math.min(first, bar), bar);
  }

  /** @param {Heard} heard */
  heard(heard) {
    if (this.picker) this.picker.heard(heard);
    else this.staves.light(heard.index, heard.id);
    this.dock.shown(heard);
  }

  /** @override @param {KeyboardEvent} event */
  takesKey(event) {
    if (super.takesKey(event)) return true;
    const { key, target } = event;
    const isRange = target instanceof HTMLInputElement && target.type === "range";
    if (isTyped(target)) return false;
    // Brackets need AltGr on some keyboards.
    if (key === "[" || key === "]") this.bracket(key === "[");
    else if (event.ctrlKey || event.metaKey || event.altKey) return false;
    else if (key === "Escape" && this.hearing.choice.from && this.hearing.isPlaying) this.press(this.chosen, null);
    else if (/^[1-9]$/.test(key) && !isRange) this.press(this.chosen, { bar: this.hearing.barKnownBy(this.chosen, key), item: 1 });
    else if (key === " " && !isPressed(target)) this.dock.toggle();
    else if ((key === "ArrowRight" || key === "ArrowLeft") && !isRange && !isMoved(target)) this.step(key === "ArrowRight" ? 1 : -1);
    else if ((key === "ArrowDown" || key === "ArrowUp") && !isRange) this.choose(this.chosen + (key === "ArrowDown" ? 1 : -1));
    else return false;
    return true;
  }

  /** @param {number} index */
  choose(index) {
    if (!this.read?.lines[index]) return;
    this.chosen = index;
    this.from = null;
    this.showChosen();
    this.sheet.querySelector(".line.chosen")?.scrollIntoView({ block: "nearest" });
    if (this.hearing.isPlaying) this.hearing.play(index);
  }

  /** Show the sheet, with what was changed just before. */
  showSheet() {
    return this.doing.once("sheet", async () => {
      await this._changing;
      if (this._ended) return;
      this.printed = new SheetView(this.told());
      this.openDialog(say("sheet"), [this.printed.element], true);
    });
  }
}
