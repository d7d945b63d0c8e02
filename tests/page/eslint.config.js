import js from "@eslint/js";

export default [
  js.configs.recommended,
  {
    files: ["renderer/delivery/page/*.js"],
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
];
