// A file of text on the desk: what it holds as fields, and its text, always in step.
//
// The text in the editor is the truth. Fields ask the server for a changed text; whatever changes
// the text, what is shown, the fields and the file on disk follow. Each kind of file has a screen of
// its own, which says what is asked and what is drawn.

import { element } from "../../delivery/page/elements.js";
import { Refused, ask, elementOf, whyNot } from "./ask.js";
import { asTheyStand } from "./changes.js";
import { remember, remembered } from "./kept.js";
import { showKeys } from "./keys.js";
import { Doing } from "./presses.js";
import { TextView, completion } from "./text_view.js";
import { moment, say } from "./words.js";

/** @typedef {import("./changes.js").Change} Change */
/** @typedef {import("./changes.js").Changing} Changing */

const TYPED_MS = 80;
const SAVE_MS = 600;
const SAVE_AT_LATEST_MS = 1_500;
const WATCH_MS = 2_000;
const MOST_TRIES = 4;

/** What this browser keeps of a file that could not be saved. @param {string} name */
function draftOf(name) {
  try {
    const kept = JSON.parse(remembered(`draft ${name}`) ?? "null");
    return typeof kept?.text === "string" ? /** @type {{version: string, text: string}} */ (kept) : null;
  } catch {
    return null;
  }
}

const CONTROLS = "input, select, textarea, button, summary";

/** What tells a control from others, whatever is drawn before it. @param {Element} one */
function signOf(one) {
  const inside = one.closest("[data-key], [data-place]");
  const place = inside?.getAttribute("data-place") ?? inside?.getAttribute("data-key") ?? "";
  const name = one.hasAttribute("data-place") ? "" : (one.getAttribute("aria-label") ?? one.closest("label, button, summary")?.textContent ?? "");
  return [one.tagName, one.closest("section")?.getAttribute("aria-label"), place, name].join("\n");
}

export class Desk {
  /** @param {HTMLElement} root @param {string} name */
  constructor(root, name) {
    this.root = root;
    this.name = name;
    this.version = "";
    this.savedText = "";
    /** @type {any} what the text holds, null where it is no TOML */
    this.fields = null;
    /** The text that is shown. @type {string|null} */
    this.shownText = null;
    /** What the server has said of the text last. @type {any} */
    this.answer = null;
    /** @type {import("./ask.js").Problem[]} */
    this.problems = [];
    /** What can be written in such a file, null until it is here. @type {any} */
    this.words = null;
    this.isFixed = false;
    /** @type {TextView|null} */
    this.text = null;
    this._asked = 0;
    this._shownOf = 0;
    /** @type {number|undefined} */
    this._showTimer = undefined;
    /** @type {number|undefined} */
    this._saveTimer = undefined;
    /** @type {number|undefined} */
    this._watch = undefined;
    this._dirtySince = 0;
    this._isSaving = false;
    /** Whether something was sent to the disk that may be there: no answer has come. */
    this._isUnheard = false;
    /** @type {Promise<void>} */
    this._saving = Promise.resolve();
    this._conflict = false;
    this._ended = false;
    this.doing = new Doing((error) => this.failed(error));
    /** The change by fields that is being asked for. @type {Promise<boolean>} */
    this._changing = Promise.resolve(true);
    /** The changes by fields that have moved entries of lists. @type {Change[]} */
    this._moves = [];
    /** The field in which something is typed that is not taken yet. @type {EventTarget|null} */
    this._typing = null;
    this._onLeave = () => void this.saveNow(true);
  }

  // What each kind of file says for itself.

  /** The question that shows what a text holds. */
  get question() {
    return "show";
  }

  /** What is asked with it beside the text. @returns {Record<string, any>} */
  alsoAsked() {
    return {};
  }

  /** What is wrong with the text, in the answer. @returns {import("./ask.js").Problem[]} */
  problemsFound() {
    return this.answer.problems;
  }

  /** Show what the answer holds. */
  arrived() {
    this.drawSheet();
  }

  /** Draw what the file holds. */
  drawSheet() {}

  /** The views that there are of it, and those of a file that is only shown. */
  get viewNames() {
    return { all: ["fields", "text", "both"], fixed: ["fields"] };
  }

  /** Tidy up when the dialog has been closed. */
  dialogClosed() {}

  // What is shown.

  /** @param {string} label of what is shown beside the text @param {...Node} tools of the bar */
  buildDesk(label, ...tools) {
    const button = (/** @type {string} */ key, /** @type {() => void} */ on) =>
      element("button", { type: "button", text: say(key), onclick: on });
    this.state = element("span", { class: "saved", role: "status" });
    this.undoButton = button("undo", () => this.text?.undo());
    this.redoButton = button("redo", () => this.text?.redo());
    this.views = element(
      "select",
      { "aria-label": say("view"), onchange: (/** @type {any} */ event) => this.takeView(event.target.value) },
      ...this.viewNames.all.map((one) => element("option", { value: one }, say(`view_${one}`))),
    );
    this.bar = element(
      "header",
      { class: "bar of-file" },
      element("a", { class: "home", href: "#/" }, say("library")),
      element("h1", { text: this.name }),
      this.state,
      button("versions", () => void this.showEarlier()),
      element("span", { class: "gap" }),
      this.undoButton,
      this.redoButton,
      this.views,
      ...tools,
      element("button", { type: "button", class: "of-keys", text: say("keys"), onclick: showKeys }),
    );
    this.notice = element("div", { class: "notice", role: "alert" });
    this.sheet = element("section", { class: "sheet", "aria-label": label });
    this.editor = element("div", { class: "editor" });
    this.wrong = element("ul", { class: "wrong", "aria-label": say("text_wrong") });
    this.side = element("section", { class: "side", "aria-label": say("view_text") }, this.editor, this.wrong);
    this.desk = element("main", { class: "desk" }, this.sheet, this.side);
    this.sheet.addEventListener("input", (/** @type {Event} */ event) => (this._typing = event.target));
    this.sheet.addEventListener("change", () => (this._typing = null));
    this.dialog = element("dialog", { class: "dialog", onclose: () => this.dialogClosed() });
  }

  /** Under which name the view is remembered. */
  get viewKey() {
    return "view";
  }

  /** The view where none is remembered. @returns {string} */
  get usualView() {
    return window.innerWidth < 1_024 ? "fields" : "both";
  }

  get viewAtFirst() {
    return remembered(this.viewKey) ?? this.usualView;
  }

  /** @param {string} view */
  takeView(view) {
    const { all, fixed } = this.viewNames;
    const possible = this.isFixed ? fixed : all;
    const known = possible.includes(view) ? view : this.isFixed ? "fields" : "both";
    remember(this.viewKey, known);
    this.views.value = known;
    this.desk.dataset["view"] = known;
  }

  /** What is asked of: the file, and its text where it can be changed. @returns {Record<string, any>} */
  told() {
    return { name: this.name, ...(this.isFixed ? {} : { text: this.text?.text ?? "" }) };
  }

  /** Open the file, and begin to keep it. */
  async openText() {
    const opened = await ask("open", { name: this.name });
    if (this._ended) return;
    this.version = opened.version;
    this.savedText = opened.text ?? "";
    this.isFixed = !opened.is_definition;
    const draft = this.isFixed ? null : draftOf(this.name);
    const isDraft = draft !== null && draft.text !== this.savedText;
    this.text = new TextView(this.editor, {
      text: this.savedText,
      label: say("text_of", { name: this.name }),
      isFixed: this.isFixed,
      changed: (isTyped) => this.changed(isTyped),
      complete: completion(() => this.words),
      left: () => this.leaveText(),
    });
    window.addEventListener("pagehide", this._onLeave);
    if (this.isFixed) {
      const { fixed } = this.viewNames;
      for (const option of this.views.options) option.hidden = option.disabled = !fixed.includes(option.value);
      this.takeView(this.views.value);
      this.views.hidden = fixed.length < 2;
      this.undoButton.hidden = this.redoButton.hidden = true;
      this.notify(say("only_shown"));
    }
    if (isDraft) {
      this.text.replace(draft.text);
      if (draft.version === opened.version) this.notify(say("draft_taken"));
      else this.meets(opened);
    } else this.forgetDraft();
    document.title = `${this.name} · Rungwise`;
    this.showState();
    this._watch = setInterval(() => void this.watch(), WATCH_MS);
  }

  /** Go on behind the text: the Tab key itself stays in it. */
  leaveText() {
    const next = this.wrong.querySelector("button") ?? this.root.querySelector("footer button:enabled") ?? this.bar.querySelector("a");
    if (next instanceof HTMLElement) next.focus();
  }

  async end() {
    this._ended = true;
    window.removeEventListener("pagehide", this._onLeave);
    clearInterval(this._watch);
    clearTimeout(this._showTimer);
    await this.saved();
    this.text?.destroy();
  }

  /** Say something over the desk. @param {string|Node} said @param {...Node} more */
  notify(said, ...more) {
    this.notice.replaceChildren(...(said ? [element("p", {}, said), ...more] : []));
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

  /** @param {Record<string, any>} told */
  _askShown(told) {
    return ask(this.question, { name: this.name, ...told, ...this.alsoAsked() });
  }

  /** Take what a text holds. @param {any} answer @param {number} number of the question */
  take(answer, number) {
    if (this._ended || number < this._shownOf) return;
    this._shownOf = number;
    this.answer = answer;
    this.shownText = answer.text;
    this.fields = answer.fields;
    this.problems = this.problemsFound();
    this.text?.mark(this.problems);
    this.arrived();
    this.showState();
  }

  /** Ask what the text holds now, and show it. */
  async show() {
    clearTimeout(this._showTimer);
    const { text } = this;
    if (!text) return;
    const number = ++this._asked;
    try {
      this.take(await this._askShown(this.told()), number);
    } catch (error) {
      this.failed(error);
    }
  }

  /** Where what is drawn now stands: how many moves it knows of. */
  get drawn() {
    return { moves: this._moves.length };
  }

  /**
   * Return what changes the text by fields, after what was asked for before: the last word is the last
   * one said, and an entry that was moved meanwhile is found where it is.
   * @param {{moves: number}} drawn what the fields were drawn of
   * @returns {Changing}
   */
  changing(drawn = this.drawn) {
    return (changes) => {
      const { moves } = drawn;
      this._changing = this._changing.then(() => this._change(changes, moves));
      return this._changing;
    };
  }

  /** @param {Change[]} changes @param {number} moves how many are known to who asks */
  async _change(changes, moves) {
    const { text } = this;
    if (!text || this.isFixed) return false;
    try {
      for (let tries = 0; tries < MOST_TRIES; tries++) {
        const before = text.text;
        const asked = asTheyStand(changes, this._moves.slice(moves), this.fields ?? {});
        if (!asked.length) return false;
        const number = ++this._asked;
        const answer = await this._askShown({ text: before, changes: asked });
        if (text.text !== before) continue; // somebody has typed meanwhile
        text.replace(answer.text);
        const moved = asked.filter((one) => one["do"] !== "set");
        this._moves.push(...moved);
        this.entriesMoved(moved);
        // Asked since, and of the text as it was, another answer would be the newer one.
        if (this._asked === number) this.take(answer, number);
        else await this.show();
        return true;
      }
    } catch (error) {
      this.failed(error);
      this.drawSheet();
    }
    return false;
  }

  /** Follow entries that stand elsewhere now. @param {Change[]} moves */
  entriesMoved(moves) {
    void moves;
  }

  /** Put another text in the place of the one that it was made from; undo takes it back.
   * @param {string} text @param {string} before */
  async replaceText(text, before) {
    if (this.text?.text !== before) return;
    this.text.replace(text);
    await this.show();
  }

  /** @param {unknown} error */
  failed(error) {
    if (!(error instanceof Refused)) throw error;
    if (error.status === 0) {
      this.keepDraft();
      this.notify(say("no_answer"));
    } else this.notify(error.status === 401 ? say("other_run") : whyNot(error));
  }

  /** Whether fields can change the file as it stands. */
  get canChange() {
    return !this.isFixed && this.words !== null && this.fields !== null;
  }

  /** Return what puts the focus back where it is, when the sheet has been drawn anew. */
  focusedField() {
    const active = document.activeElement;
    if (!(active instanceof HTMLElement) || !this.sheet.contains(active)) return null;
    const sign = signOf(active);
    const alike = () => [...this.sheet.querySelectorAll(CONTROLS)].filter((one) => signOf(one) === sign);
    const at = alike().indexOf(active);
    const selection = active instanceof HTMLInputElement && active.type === "text" ? active.selectionStart : null;
    let typed = "";
    const isTyping = active instanceof HTMLInputElement && this._typing === active;
    if (isTyping) {
      typed = active.value;
      // Taken away, a field that has been typed in would say that half a word is all of it.
      active.value = active.defaultValue;
      this._typing = null;
    }
    return () => {
      const now = alike()[at];
      if (!(now instanceof HTMLElement)) return;
      now.focus({ preventScroll: true });
      if (isTyping && now instanceof HTMLInputElement) {
        now.value = typed;
        this._typing = now;
        // Browsers tell of a change only what was typed since.
        const tell = () => this._typing === now && now.dispatchEvent(new Event("change", { bubbles: true }));
        now.addEventListener("blur", tell);
        now.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => void (event.key === "Enter" && tell()));
      }
      if (selection !== null && now instanceof HTMLInputElement) now.setSelectionRange(selection, selection);
    };
  }

  /** List what is wrong under the text. */
  listProblems() {
    const rows = this.problems.map((one) =>
      element(
        "li",
        {},
        element(
          "button",
          {
            type: "button",
            onclick: () => {
              if (!["text", "both"].includes(this.desk.dataset["view"] ?? "")) this.takeView("both");
              this.text?.show(one.start ?? 0, one.end ?? 0);
            },
          },
          one.row ? `${say("problem_in_row", { n: one.row })}: ` : "",
          elementOf(one.alone),
        ),
      ),
    );
    this.wrong.replaceChildren(...rows);
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (this.takesKey(event)) event.preventDefault();
  }

  /** Do what a key means on every desk, and say whether it means anything. @param {KeyboardEvent} event */
  takesKey(event) {
    const control = event.ctrlKey || event.metaKey;
    const isInText = event.target instanceof Node && this.editor.contains(event.target);
    const letter = event.key.toLowerCase();
    if (control && letter === "s") void this.saveNow(false);
    else if (control && !event.altKey && letter === "z" && !isInText) {
      if (event.shiftKey) this.text?.redo();
      else this.text?.undo();
    } else if (control && letter === "y" && !isInText) this.text?.redo();
    else return false;
    return true;
  }

  /** @param {string} title @param {Node[]} parts @param {boolean} isWide */
  openDialog(title, parts, isWide = false) {
    const close = element("button", { type: "button", text: say("close"), onclick: () => this.dialog.close() });
    this.dialog.setAttribute("aria-label", title);
    this.dialog.replaceChildren(element("h2", { text: title }), ...parts, close);
    if (!this.dialog.open) this.dialog.showModal();
    this.dialog.classList.toggle("wide", isWide);
  }

  // What is kept.

  /** Whether text, fields, what is shown and the file are all of one state. */
  get isSettled() {
    return !this.isDirty && this._asked === this._shownOf && (this.isFixed || this.shownText === this.text?.text);
  }

  /** Whether the disk has, or may have, another text than this. */
  get isDirty() {
    return !this.isFixed && this.text !== null && (this._isUnheard || this.text.text !== this.savedText);
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
    if (this._conflict) this.keepDraft();
    if (this._conflict || this._ended) return;
    clearTimeout(this._saveTimer);
    const waited = performance.now() - this._dirtySince;
    const wait = Math.max(0, Math.min(SAVE_MS, SAVE_AT_LATEST_MS - waited));
    this._saveTimer = setTimeout(() => void this.saveNow(false), wait);
  }

  /** Keep in this browser what is not on the disk, with the version that it was made from. */
  keepDraft() {
    if (!this.isDirty || !this.text) return;
    remember(`draft ${this.name}`, JSON.stringify({ version: this.version, text: this.text.text }));
  }

  forgetDraft() {
    remember(`draft ${this.name}`, null);
  }

  /** Save what is not saved yet. @param {boolean} outlives whether the page may be gone meanwhile */
  async saveNow(outlives) {
    clearTimeout(this._saveTimer);
    if (!this.isDirty || this._conflict || !this.text) {
      if (!this.isDirty && !this.isFixed) this.forgetDraft();
      this._dirtySince = 0;
      return;
    }
    if (this._isSaving && !outlives) {
      this._planSave();
      return;
    }
    this._isSaving = this._isUnheard = true;
    const { text } = this.text;
    this._dirtySince = 0;
    // Whoever ends first, server or browser: it is kept in one of two places.
    this.keepDraft();
    try {
      const saving = ask("save", { name: this.name, text, version: this.version }, outlives);
      this._saving = saving.then(() => undefined, () => undefined);
      const { version } = await saving;
      this.version = version;
      this.savedText = text;
      this._isUnheard = false;
      this.forgetDraft();
    } catch (error) {
      // Refused as older than what is there, it may be what was sent before that is there.
      if (error instanceof Refused && error.status && error.status !== 409) this._isUnheard = false;
      this.keepDraft();
      if (error instanceof Refused && error.status === 409) this.meets(error.answer);
      else if (error instanceof Refused) {
        this.state.replaceChildren(`${say("not_saved")} `, whyNot(error));
        this._saveTimer = setTimeout(() => void this.saveNow(false), WATCH_MS);
        return;
      } else throw error;
    } finally {
      this._isSaving = false;
    }
    this.showState();
    if (!this.isDirty || this._conflict) return;
    // Until the next screen is there, somebody may write on this one.
    if (this._ended) {
      await this.saveNow(false);
      return;
    }
    this._dirtySince ||= performance.now();
    this._planSave();
  }

  /** Have all on the disk that was asked for by now, and say whether it is; where not, the page says why. */
  async saved() {
    await this._changing;
    await this._saving;
    await this.saveNow(false);
    return !this.isDirty;
  }

  /** Look whether another program has changed the file. */
  async watch() {
    if (this._isSaving || this._conflict || document.hidden) return;
    try {
      const known = this.version;
      // Whoever has saved meanwhile knows better; saving itself finds out what others have written.
      const isOld = () => this._isSaving || this.isDirty || this.version !== known || this._ended;
      const { version } = await ask("standing", { name: this.name });
      if (isOld() || version === known) return;
      const opened = await ask("open", { name: this.name });
      if (isOld() || opened.version === known) return;
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
      this._isUnheard = false;
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

  showEarlier() {
    return this.doing.once("earlier", async () => {
      const { versions } = await ask("earlier", { name: this.name });
      if (this._ended) return;
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
    });
  }

  /** Put an earlier version in the place of the text; undo takes it back. @param {string} version */
  restore(version) {
    return this.doing.once("restore", async () => {
      const { text } = await ask("earlier-text", { name: this.name, version });
      this.text?.replace(text);
      this.dialog.close();
      await this.show();
    });
  }
}
