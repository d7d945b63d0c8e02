// What of the bundled editor is used; its own types are not shipped with it.
export const Annotation: any, Compartment: any, EditorState: any, EditorView: any;
export const HighlightStyle: any, StreamLanguage: any, Transaction: any;
export const autocompletion: any, closeBrackets: any, completionKeymap: any, defaultKeymap: any;
export const drawSelection: any, highlightActiveLine: any, highlightSelectionMatches: any;
export const history: any, historyKeymap: any, indentWithTab: any, isolateHistory: any;
export const keymap: any, lineNumbers: any, lintGutter: any, redo: any, redoDepth: any;
export const searchKeymap: any, setDiagnostics: any, syntaxHighlighting: any, tags: any;
export const toml: any, undo: any, undoDepth: any;
