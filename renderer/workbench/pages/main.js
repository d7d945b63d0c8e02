// The workbench: which screen is shown, and what sounds on all of them.

import { element } from "../../delivery/page/elements.js";
import { Refused, takeToken, whyNot } from "./ask.js";
import { Hearing } from "./hearing.js";
import { remembered } from "./kept.js";
import { isPressed, isTyped, showKeys } from "./keys.js";
import { keepPresses } from "./presses.js";
import { choose, say } from "./words.js";

/**
 * @typedef {object} Screen
 * @property {() => Promise<void>} start
 * @property {() => Promise<void>} end
 * @property {(heard: import("./hearing.js").Heard) => void} heard
 * @property {(event: KeyboardEvent) => void} [key] does what its own keys stand for
 * @property {import("./dock.js").Dock} [dock]
 */

takeToken();
keepPresses();
document.documentElement.lang = choose(remembered("language") ?? navigator.language.slice(0, 2));
const root = /** @type {HTMLElement} */ (document.getElementById("bench"));
/** @type {Screen|null} */
let screen = null;
const hearing = new Hearing((heard) => screen?.heard(heard));

/**
 * The screens, each brought when it is first shown: the sooner is the first one there.
 * @type {Record<string, () => Promise<(name: string) => Screen>>}
 */
const SCREENS = {
  write: async () => {
    const { Writing } = await import("./writing.js");
    return (name) => new Writing(root, name, hearing);
  },
  know: async () => {
    const { Writing } = await import("./writing.js");
    return (name) => new Writing(root, name, hearing, "book");
  },
  tune: async () => {
    const { Tuning } = await import("./tuning.js");
    return (name) => new Tuning(root, name, hearing);
  },
  hand: async () => {
    const { Handing } = await import("./handing.js");
    return (name) => new Handing(root, name);
  },
  library: async () => {
    const { Library } = await import("./library.js");
    return () => new Library(root, hearing);
  },
};
const NAMELESS = ["tune"];

/** Bring the screen that the address asks for. @returns {Promise<() => Screen>} what begins it */
async function wanted() {
  const [, place = "", name = ""] = location.hash.split("/");
  const isThere = Object.hasOwn(SCREENS, place) && (name !== "" || NAMELESS.includes(place));
  const shown = isThere ? place : "library";
  const bring = /** @type {typeof SCREENS.library} */ (SCREENS[shown]);
  const begin = await bring();
  return () => {
    root.dataset.screen = shown;
    return begin(decodeURIComponent(name));
  };
}

/** Bring what other screens need, too, while nobody waits for it. */
function bringOthers() {
  for (const bring of Object.values(SCREENS)) void bring().catch(() => undefined);
}

let gone = 0;
/** When the screen before has ended: two that follow at once both wait for it. */
let left = Promise.resolve();

/** End the screen that is shown. */
function leave() {
  const ended = screen ? screen.end() : left;
  screen = null;
  left = ended.catch(() => undefined);
  return ended;
}

async function go() {
  const number = ++gone;
  try {
    // What is shown can be used until the next is there.
    const begin = await wanted().catch(async (error) => {
      if (number === gone) await leave();
      throw error instanceof TypeError ? new Refused(0, null) : error;
    });
    if (number === gone) await leave();
    // Somebody has gone on to another screen meanwhile.
    if (number !== gone) return;
    const now = (screen = begin());
    // For tests, and for whoever looks behind the page.
    Object.defineProperty(window, "rungwise", { value: { screen, hearing }, configurable: true });
    await now.start();
    bringOthers();
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    if (number !== gone) return;
    root.replaceChildren(
      element(
        "main",
        { class: "library" },
        element("p", { role: "alert" }, error.status === 401 ? say("other_run") : whyNot(error)),
        element("a", { href: "#/", text: say("library") }),
      ),
    );
  }
}

document.addEventListener("keydown", (event) => {
  // Behind a dialog nothing is done.
  if (event.defaultPrevented || document.querySelector("dialog[open]")) return;
  const asksForKeys = event.key === "F1" || (event.key === "?" && !isTyped(event.target));
  if (asksForKeys) showKeys();
  else if (screen?.key) {
    screen.key(event);
    return;
  } else if (event.key === " " && screen?.dock && !isPressed(event.target)) screen.dock.toggle();
  else return;
  event.preventDefault();
});
window.addEventListener("hashchange", () => {
  // The address of another run, opened in the same tab, loads no page anew.
  takeToken();
  void go();
});
void go();
