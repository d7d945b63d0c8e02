// What the workbench's text editor is made of, for the bundler: see `bundle_editor.py`.

export { autocompletion, closeBrackets, completionKeymap } from "@codemirror/autocomplete";
export {
  defaultKeymap,
  history,
  historyKeymap,
  indentWithTab,
  isolateHistory,
  redo,
  redoDepth,
  undo,
  undoDepth,
} from "@codemirror/commands";
export { HighlightStyle, StreamLanguage, syntaxHighlighting } from "@codemirror/language";
export { toml } from "@codemirror/legacy-modes/mode/toml";
export { lintGutter, setDiagnostics } from "@codemirror/lint";
export { highlightSelectionMatches, searchKeymap } from "@codemirror/search";
export { Annotation, Compartment, EditorState, Transaction } from "@codemirror/state";
export {
  EditorView,
  drawSelection,
  highlightActiveLine,
  keymap,
  lineNumbers,
} from "@codemirror/view";
export { tags } from "@lezer/highlight";
