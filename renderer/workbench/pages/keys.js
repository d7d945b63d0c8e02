// Keys: which there are, told on every screen, and whether one belongs to what has the focus.

import { element } from "../../delivery/page/elements.js";
import { say } from "./words.js";

/** The signs on the keys, and the words for what they do. @type {[string, string][]} */
const KEYS = [
  ["?  F1", "key_list"],
  ["Tab  ⇧ Tab", "key_tab"],
  ["␣", "key_play"],
  ["↑  ↓", "key_line"],
  ["1 … 9", "key_bar"],
  ["←  →", "key_note"],
  ["[  ]", "key_loop"],
  ["Esc", "key_leave"],
  ["Ctrl Z  Ctrl Y", "key_undo"],
  ["Ctrl S", "key_save"],
  ["Ctrl ␣", "key_complete"],
];

/** Whether somebody writes or chooses there, so that letters mean something. @param {EventTarget|null} target */
export function isTyped(target) {
  if (target instanceof HTMLInputElement) return !["range", "checkbox", "radio", "file"].includes(target.type);
  if (target instanceof HTMLSelectElement || target instanceof HTMLTextAreaElement) return true;
  return target instanceof HTMLElement && target.closest(".editor") !== null;
}

/** Whether the space bar presses what has the focus. @param {EventTarget|null} target */
export function isPressed(target) {
  return target instanceof HTMLElement && target.closest("button, input, select, textarea, summary, a, .editor") !== null;
}

/** Whether arrows move what is shown there to the side. @param {EventTarget|null} target */
export function isMoved(target) {
  return target instanceof HTMLElement && target.closest(".wide") !== null;
}

/** Tell in a dialog which keys there are. */
export function showKeys() {
  const close = element("button", { type: "button", text: say("close"), onclick: () => dialog.close() });
  const rows = KEYS.flatMap(([signs, words]) => [
    element("dt", {}, ...signs.split("  ").map((one) => element("kbd", { text: one === "␣" ? say("space_bar") : one.replace("␣", say("space_bar")) }))),
    element("dd", { text: say(words) }),
  ]);
  const signs = [
    ["∨", "first_right"],
    ["∧", "first_left"],
  ].flatMap(([sign, words]) => [element("dt", { class: "sign", text: sign }), element("dd", { text: say(words ?? "") })]);
  const dialog = element(
    "dialog",
    { class: "dialog keys", "aria-label": say("keys"), onclose: () => dialog.remove() },
    element("h2", { text: say("keys") }),
    element("dl", {}, ...rows),
    element("h3", { text: say("noise_signs") }),
    element("dl", {}, ...signs),
    close,
  );
  document.body.append(dialog);
  dialog.showModal();
}
