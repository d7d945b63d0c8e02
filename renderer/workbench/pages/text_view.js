// The text of a file, in CodeMirror: it holds the one truth and the one history of a file, typed in
// or changed by fields.

import { elementOf, wordsOf } from "./ask.js";
import * as cm from "./codemirror.js";

/** @typedef {import("./ask.js").Problem} Problem */

const look = cm.HighlightStyle.define([
  { tag: cm.tags.propertyName, class: "tok-key" },
  { tag: cm.tags.atom, class: "tok-number" },
  { tag: cm.tags.number, class: "tok-number" },
  { tag: cm.tags.string, class: "tok-text" },
  { tag: cm.tags.comment, class: "tok-remark" },
  { tag: cm.tags.bracket, class: "tok-heading" },
]);

const theme = cm.EditorView.theme({
  "&": { height: "100%", fontSize: "0.95rem", color: "var(--ink)", backgroundColor: "transparent" },
  "&.cm-focused": { outline: "2px solid var(--own)", outlineOffset: "-2px" },
  ".cm-scroller": { fontFamily: "ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace", lineHeight: "1.55" },
  ".cm-gutters": { backgroundColor: "transparent", color: "var(--soft)", border: "none" },
  ".cm-activeLine": { backgroundColor: "var(--here)" },
  ".cm-activeLineGutter": { backgroundColor: "transparent" },
  ".cm-cursor": { borderLeftColor: "var(--ink)" },
  ".cm-content": { caretColor: "var(--ink)" },
  "&.cm-focused .cm-selectionBackground, .cm-selectionBackground": { backgroundColor: "var(--looped) !important" },
  ".tok-key": { color: "var(--own)" },
  ".tok-number": { color: "var(--number)" },
  ".tok-text": { color: "var(--ink)" },
  ".tok-remark": { color: "var(--soft)", fontStyle: "italic" },
  ".tok-heading": { color: "var(--own)", fontWeight: "600" },
  ".cm-tooltip": { backgroundColor: "var(--raised)", color: "var(--ink)", border: "1px solid var(--edge)" },
  ".cm-tooltip-autocomplete ul li[aria-selected]": { backgroundColor: "var(--own)", color: "var(--on-own)" },
  ".cm-diagnostic-error": { borderLeftColor: "var(--wrong)" },
  ".cm-panels": { backgroundColor: "var(--raised)", color: "var(--ink)" },
});

/** Marks a change that comes from fields or from the disk. */
const byOthers = cm.Annotation.define();

export class TextView {
  /**
   * @param {HTMLElement} host
   * @param {object} told
   * @param {string} told.text
   * @param {string} told.label
   * @param {boolean} told.isFixed whether nothing can be changed
   * @param {(isTyped: boolean) => void} told.changed
   * @param {(context: any) => any} told.complete
   * @param {() => void} told.left
   */
  constructor(host, { text, label, isFixed, changed, complete, left }) {
    this.changed = changed;
    // In a shadow the editor's styles need no permission of their own.
    const root = host.shadowRoot ?? host.attachShadow({ mode: "open" });
    root.replaceChildren();
    const escape = { key: "Escape", run: () => (left(), false) };
    this.view = new cm.EditorView({
      root,
      parent: root,
      state: cm.EditorState.create({
        doc: text,
        extensions: [
          cm.lineNumbers(),
          cm.history({ newGroupDelay: 600 }),
          cm.drawSelection(),
          cm.highlightActiveLine(),
          cm.highlightSelectionMatches(),
          cm.closeBrackets(),
          cm.autocompletion({ override: [complete], activateOnTyping: true }),
          cm.StreamLanguage.define(cm.toml),
          cm.syntaxHighlighting(look),
          theme,
          cm.lintGutter(),
          cm.EditorView.lineWrapping,
          cm.EditorView.contentAttributes.of({ "aria-label": label, tabindex: "0" }),
          cm.EditorState.readOnly.of(isFixed),
          cm.keymap.of([
            ...cm.completionKeymap,
            ...cm.historyKeymap,
            ...cm.searchKeymap,
            ...cm.defaultKeymap,
            escape,
          ]),
          cm.EditorView.updateListener.of((/** @type {any} */ update) => {
            if (!update.docChanged) return;
            const isTyped = !update.transactions.some((/** @type {any} */ one) => one.annotation(byOthers));
            this.changed(isTyped);
          }),
        ],
      }),
    });
  }

  destroy() {
    this.view.destroy();
  }

  /** @returns {string} */
  get text() {
    return this.view.state.doc.toString();
  }

  /** Take another text: only what differs is changed, as one step of the history. @param {string} text */
  replace(text) {
    const old = this.text;
    if (old === text) return;
    let from = 0;
    const most = Math.min(old.length, text.length);
    while (from < most && old[from] === text[from]) from++;
    let end = 0;
    while (end < most - from && old[old.length - 1 - end] === text[text.length - 1 - end]) end++;
    this.view.dispatch({
      changes: { from, to: old.length - end, insert: text.slice(from, text.length - end) },
      annotations: [byOthers.of(true), cm.isolateHistory.of("full")],
    });
  }

  get canUndo() {
    return cm.undoDepth(this.view.state) > 0;
  }

  get canRedo() {
    return cm.redoDepth(this.view.state) > 0;
  }

  undo() {
    cm.undo(this.view);
  }

  redo() {
    cm.redo(this.view);
  }

  /** Underline problems where they are. @param {Problem[]} problems */
  mark(problems) {
    const { length } = this.view.state.doc;
    const marks = problems
      .filter((one) => one.start !== undefined)
      .map((one) => {
        const from = Math.min(one.start ?? 0, length);
        const to = Math.min(Math.max(one.end ?? from, from), length);
        return { from, to, severity: "error", message: wordsOf(one.alone), renderMessage: () => elementOf(one.alone) };
      });
    this.view.dispatch(cm.setDiagnostics(this.view.state, marks));
  }

  /** Go to a place. @param {number} from @param {number} to */
  show(from, to = from) {
    const { length } = this.view.state.doc;
    const range = { anchor: Math.min(from, length), head: Math.min(to, length) };
    this.view.dispatch({ selection: range, effects: cm.EditorView.scrollIntoView(range.anchor, { y: "center" }) });
    this.view.focus();
  }
}

/**
 * Return what completes keys, notes, movements and other choices of a definition.
 * @param {() => any} words from the server, null until they are here
 */
export function completion(words) {
  return (/** @type {any} */ context) => {
    const known = words();
    if (!known) return null;
    const line = context.state.doc.lineAt(context.pos);
    const before = line.text.slice(0, context.pos - line.from);
    const key = /^\s*([\w-]*)$/.exec(before);
    if (key) {
      if (!key[1] && !context.explicit) return null;
      const keys = known.keys[tableAt(context.state.doc, line.number)] ?? [];
      return {
        from: context.pos - (key[1] ?? "").length,
        options: keys.map((/** @type {string} */ one) => ({ label: one, apply: `${one} = `, type: "property" })),
      };
    }
    const value = /([\w-]+)\s*=\s*[^#=]*?["']?([^"',|=[{]*)$/.exec(before);
    if (!value) return null;
    const options = valuesOf(known, value[1] ?? "");
    const typed = (value[2] ?? "").trimStart();
    if (!options.length || (!typed && !context.explicit && !/["',]\s*$/.test(before))) return null;
    return { from: context.pos - typed.length, options, validFor: /^[\w /-]*$/ };
  };
}

/** @param {any} doc @param {number} row */
function tableAt(doc, row) {
  for (let number = row; number >= 1; number--) {
    const heading = /^\s*\[+\s*([\w-]+)/.exec(doc.line(number).text);
    if (heading) return heading[1] ?? "";
  }
  return "";
}

/** @param {any} known @param {string} key */
function valuesOf(known, key) {
  const option = (/** @type {string} */ label, /** @type {string} */ detail = "") => ({ label, detail, type: "text" });
  if (["run", "each", "note", "others", "among", "start", "end", "from", "to"].includes(key)) {
    return known.notes.map((/** @type {string} */ one) => option(one));
  }
  if (key === "ornament") {
    return known.movements.map((/** @type {any} */ one) => option(one.name, one.family));
  }
  return (known.choices[key] ?? []).map((/** @type {string} */ one) => option(one));
}
