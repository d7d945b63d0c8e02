import js from "@eslint/js";

const OURS = ["renderer/delivery/page/*.js", "renderer/workbench/pages/*.js"];

export default [
  { ignores: ["renderer/workbench/pages/codemirror.js"] },
  js.configs.recommended,
  {
    files: OURS,
    languageOptions: { ecmaVersion: 2022, sourceType: "module" },
    rules: {
      "no-undef": "off", // the type checker knows better
      eqeqeq: "error",
      "no-eval": "error",
      "no-implied-eval": "error",
      "no-restricted-properties": [
        "error",
        ...["innerHTML", "outerHTML", "insertAdjacentHTML"].map((property) => ({
          property,
          message: "what a user has written must never become markup",
        })),
      ],
      "no-restricted-globals": ["error", "fetch", "XMLHttpRequest", "WebSocket"],
      "no-var": "error",
      "prefer-const": "error",
      "no-shadow": "error",
    },
  },
  {
    // The one module that talks to the workbench's own server.
    files: ["renderer/workbench/pages/ask.js"],
    rules: { "no-restricted-globals": ["error", "XMLHttpRequest", "WebSocket"] },
  },
];
