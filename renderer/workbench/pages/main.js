// The workbench: which screen is shown, and what sounds on all of them.

import { element } from "../../delivery/page/elements.js";
import { Refused, takeToken } from "./ask.js";
import { Hearing } from "./hearing.js";
import { remembered } from "./kept.js";
import { Library } from "./library.js";
import { Tuning } from "./tuning.js";
import { choose, say } from "./words.js";
import { Writing } from "./writing.js";

/** @typedef {{start: () => Promise<void>, end: () => Promise<void>, heard: (heard: import("./hearing.js").Heard) => void}} Screen */

takeToken();
document.documentElement.lang = choose(remembered("language") ?? navigator.language.slice(0, 2));
const root = /** @type {HTMLElement} */ (document.getElementById("bench"));
/** @type {Screen|null} */
let screen = null;
const hearing = new Hearing((heard) => screen?.heard(heard));

/** @returns {Screen} */
function wanted() {
  const [, place, name] = location.hash.split("/");
  if (place === "write" && name) return new Writing(root, decodeURIComponent(name), hearing);
  if (place === "tune") return new Tuning(root, decodeURIComponent(name ?? ""), hearing);
  return new Library(root, hearing);
}

async function go() {
  const before = screen;
  screen = null;
  if (before) await before.end();
  screen = wanted();
  // For tests, and for whoever looks behind the page.
  Object.defineProperty(window, "rungwise", { value: { screen, hearing }, configurable: true });
  try {
    await screen.start();
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    const key = { 0: "no_answer", 401: "other_run" }[error.status];
    root.replaceChildren(
      element(
        "main",
        { class: "library" },
        element("p", { role: "alert", text: key ? say(key) : error.message }),
        element("a", { href: "#/", text: say("library") }),
      ),
    );
  }
}

window.addEventListener("hashchange", () => void go());
void go();
