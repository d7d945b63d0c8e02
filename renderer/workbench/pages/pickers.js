// Picking notes on a staff, and movements from the book, with their spelling and their sound.

import { element } from "../../delivery/page/elements.js";
import { Refused, ask, whyNot } from "./ask.js";
import { StavesView } from "./staves_view.js";
import { noteName, say } from "./words.js";

/** @typedef {import("./hearing.js").Hearing} Hearing */

const SVG = "http://www.w3.org/2000/svg";
const WIDTH = 40;
const HEIGHT = 62;
const BOTTOM_LINE = 48;
const SPACE = 8;
/** How many steps above the lowest line of the staff low G stands. */
const LOW_G_STEPS = 2;

/** @param {string} tag @param {Record<string, string|number>} attributes */
function shape(tag, attributes) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, String(value));
  return made;
}

/** A piece of a staff with one of the nine notes on it. @param {number} note from low G up */
function noteOnStaff(note) {
  const svg = shape("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, "aria-hidden": "true" });
  for (let line = 0; line < 5; line++) {
    const y = BOTTOM_LINE - line * SPACE;
    svg.append(shape("line", { x1: 0, x2: WIDTH, y1: y, y2: y }));
  }
  const y = BOTTOM_LINE - ((LOW_G_STEPS + note) * SPACE) / 2;
  const x = WIDTH / 2;
  if (note === 8) svg.append(shape("line", { x1: x - 9, x2: x + 9, y1: y, y2: y }));
  svg.append(shape("ellipse", { cx: x, cy: y, rx: 5.2, ry: 3.9, transform: `rotate(-20 ${x} ${y})` }));
  svg.append(shape("line", { x1: x - 4.8, x2: x - 4.8, y1: y + 1, y2: Math.min(y + 26, HEIGHT - 1), class: "stem" }));
  return svg;
}

/**
 * Nine notes on a staff to be tapped.
 * @param {(note: number) => void} tapped
 * @param {...Node} more
 */
export function noteStaff(tapped, ...more) {
  const buttons = [...Array(9).keys()].map((note) =>
    element(
      "button",
      { type: "button", class: "on-staff", "aria-label": say("run_add", { note: noteName(note) }), onclick: () => tapped(note) },
      noteOnStaff(note),
      element("span", { text: noteName(note), "aria-hidden": "true" }),
    ),
  );
  return element("div", { class: "note-staff", role: "group", "aria-label": say("run") }, ...buttons, ...more);
}

/** A definition that shows a movement on each of its notes, closed and opened. @param {any} movement */
function shownOnEach(movement) {
  const rows = Object.entries(movement.from).flatMap(([note, before]) => {
    const line = `run = "${before}, ${note}"\nornament = ${JSON.stringify(movement.name)}\non = "last"\n`;
    const slots = movement.on[note].trim().split(/\s+/).length;
    const closed = `[[lines]]\nheading = ${JSON.stringify(`closed ${note}`)}\n${line}`;
    return slots > 1 ? [closed, `[[lines]]\nheading = ${JSON.stringify(`opened ${note}`)}\n${line}inner = "even"\n`] : [closed];
  });
  return `title = "x"\nmeter = "4/4"\ntempo = 60\n${rows.join("")}`;
}

/** Choosing a movement in a dialog. */
export class MovementPicker {
  /**
   * @param {any} words what the server knows
   * @param {Hearing} hearing
   * @param {string[]} chosen
   * @param {(names: string[]) => void} take
   */
  constructor(words, hearing, chosen, take) {
    this.words = words;
    this.hearing = hearing;
    this.chosen = chosen;
    this.take = take;
    this.query = "";
    this.family = "";
    /** The movement that is shown. */
    this.shown = "";
    this._asked = 0;
    this._music = hearing.music;
    this._mode = hearing.choice.mode;
    // Behind a dialog nothing can be stopped.
    hearing.takeMode("once");
    this.staves = new StavesView({
      press: (index, from) => void hearing.play(index, from),
      loop: (index, first, last) => void hearing.playBars(index, first, last),
      arrived: () => hearing.takeMusic(this.staves.music()),
    });
    this.list = element("ul", { class: "movements", "aria-label": say("movements") });
    this.about = element("div", { class: "about", "aria-live": "polite" });
    const families = [...new Set(words.movements.map((/** @type {any} */ one) => one.family))];
    const search = element("input", {
      type: "search",
      "aria-label": say("search"),
      placeholder: say("search"),
      oninput: (/** @type {any} */ event) => {
        this.query = event.target.value.toLowerCase();
        this.draw();
      },
    });
    const family = element(
      "select",
      {
        "aria-label": say("family"),
        onchange: (/** @type {any} */ event) => {
          this.family = event.target.value;
          this.draw();
        },
      },
      element("option", { value: "" }, say("all_kinds")),
      ...families.map((one) => element("option", { value: one }, one)),
    );
    this.element = element(
      "div",
      { class: "picker" },
      element("div", { class: "row" }, search, family),
      element("div", { class: "picked" }, this.list, this.about),
    );
    this.draw();
    void this.show(chosen[0] ?? "doubling");
  }

  draw() {
    const found = this.words.movements.filter(
      (/** @type {any} */ one) =>
        (!this.family || one.family === this.family) &&
        `${one.name} ${one.family} ${one.description}`.toLowerCase().includes(this.query),
    );
    this.list.replaceChildren(
      ...found.map((/** @type {any} */ one) =>
        element(
          "li",
          {},
          element("button", {
            type: "button",
            "aria-pressed": String(this.chosen.includes(one.name)),
            "aria-current": String(one.name === this.shown),
            text: one.name,
            onclick: () => void this.show(one.name),
          }),
        ),
      ),
      ...(found.length ? [] : [element("li", { text: say("none_found") })]),
    );
  }

  /** Show a movement on its notes, to be heard. @param {string} name */
  async show(name) {
    const movement = this.words.movements.find((/** @type {any} */ one) => one.name === name);
    if (!movement) return;
    const number = ++this._asked;
    this.hearing.stop();
    this.shown = name;
    for (const one of this.list.querySelectorAll("button")) {
      one.setAttribute("aria-current", String(one.textContent === name));
    }
    /** @type {any} */
    let answer;
    try {
      answer = await ask("show", { name: "movement.toml", text: shownOnEach(movement), known: this.staves.known });
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (number === this._asked) this.about.replaceChildren(element("p", { class: "problem" }, whyNot(error)));
      return;
    }
    if (number !== this._asked || answer.read.problems.length) return;
    const { read, bodies } = answer;
    this.staves.add(bodies);
    this.staves.take(read.lines);
    await this.staves.want(read.lines.map((/** @type {any} */ row) => row.key));
    if (number !== this._asked) return;
    this.hearing.takeMusic(this.staves.music());
    const use = element("button", {
      type: "button",
      class: "main",
      text: say("use_it", { name }),
      onclick: () => this.take([name]),
    });
    const others = this.chosen.filter((one) => one !== name);
    const add = element("button", {
      type: "button",
      text: say("add_it", { name }),
      onclick: () => this.take([...this.chosen, name]),
    });
    this.about.replaceChildren(
      element("h3", { text: name }),
      element("p", { text: movement.description }),
      element("div", { class: "row" }, use, ...(others.length && !this.chosen.includes(name) ? [add] : [])),
      ...read.lines.map((/** @type {any} */ row) => {
        const [form, ...rest] = row.heading.split(" ");
        const note = rest.join(" ");
        const shown = noteName(this.words.notes.indexOf(note));
        const spelled = form === "closed" ? ` · ${say("spelling", { text: movement.on[note] })}` : "";
        return element(
          "div",
          { class: "line" },
          element("h4", { text: say(form === "closed" ? "closed" : "opened", { note: shown }) + spelled }),
          this.staves.hostOf(row),
        );
      }),
    );
    this.staves.fill();
    this.bringShownIntoView();
  }

  /** Have the list show the movement that is shown; the dialog itself stays where it is. */
  bringShownIntoView() {
    const shown = this.list.querySelector("[aria-current=true]");
    if (!shown) return;
    const [own, all] = [shown.getBoundingClientRect(), this.list.getBoundingClientRect()];
    if (own.top < all.top || own.bottom > all.bottom) this.list.scrollTop += own.top - all.top - all.height / 2;
  }

  /** @param {import("./hearing.js").Heard} heard */
  heard(heard) {
    this.staves.light(heard.index, heard.id);
  }

  /** Give the lines back to whoever played before. */
  destroy() {
    this._asked += 1;
    this.hearing.stop();
    this.hearing.takeMode(this._mode);
    this.hearing.takeMusic(this._music);
    this.staves.destroy();
  }
}
