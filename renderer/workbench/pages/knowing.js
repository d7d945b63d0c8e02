// What is known of lines and of a book: facts and fingers under a line; beside the music the ways
// into each movement, short versions, and the lines from easy to hard.

import { element } from "../../delivery/page/elements.js";
import { Holes } from "../../delivery/page/staff.js";
import { Refused, ask, whyNot } from "./ask.js";
import { append } from "./changes.js";
import { follow } from "./jobs.js";
import { languageInUse, noteName, say } from "./words.js";

/** @typedef {import("./changes.js").Changing} Changing */

const SHADES = 5;
const LONGEST_LIST = 200;
const WAIT_MS = 250;
const CONTROLS = "select, input, button";
/** How staves mark which hand moves first. */
const SIGNS = /** @type {Record<string, string>} */ ({ left: "∧", right: "∨" });

/** The text in what is told of a file, none of one that is only shown. @param {Record<string, any>} told @returns {string} */
function textOf(told) {
  return told["text"] ?? "";
}

// Under a line.

/**
 * What is known of a line.
 * @param {any} facts as the server has them; nothing where they are not here yet
 * @param {object} wants
 * @param {(bar: number, item: number) => void} wants.hear plays the noise that lurks at a note
 * @param {() => Promise<any>} wants.fingers asks what the fingers do
 * @param {boolean} wants.isOpen whether the fingers are shown
 * @param {(isOpen: boolean) => void} wants.opened
 * @returns {HTMLElement[]}
 */
export function lineFacts(facts, { hear, fingers, isOpen, opened }) {
  if (!facts) return [];
  const parts = [
    facts.played[languageInUse()],
    facts.fastest === null ? say("fits_always") : say("fits_to", { n: facts.fastest }),
    say("difficulty", { n: facts.difficulty }),
  ];
  const found = [element("p", { class: "known", text: parts.join(" · ") })];
  const advice = facts.advice.map((/** @type {any} */ one) =>
    element("li", { text: `${one[languageInUse()]} ${say("in_bar", { n: one.bar })}` }),
  );
  if (advice.length) found.push(element("ul", { class: "advice", "aria-label": say("advice") }, ...advice));
  const noises = facts.noises.map((/** @type {any} */ one) => noiseButton(one, () => hear(one.bar, one.item)));
  if (noises.length) {
    found.push(
      element("div", { class: "noises", role: "group", "aria-label": say("noises") }, element("span", { text: say("noises") }), ...noises),
    );
  }
  const inside = element("div", { class: "changes" });
  const fill = () => void fingers().then((changes) => inside.replaceChildren(...fingersDrawn(changes, hear)), shownIn(inside));
  const details = element(
    "details",
    {
      class: "fingers",
      open: isOpen,
      ontoggle: () => {
        opened(details.open);
        if (details.open && !inside.firstChild) fill();
      },
    },
    element("summary", { text: say("what_fingers_do") }),
    inside,
  );
  if (isOpen) fill();
  found.push(details);
  return found;
}

/** Say in an element why something did not come. @param {HTMLElement} inside */
function shownIn(inside) {
  return (/** @type {unknown} */ error) => {
    if (!(error instanceof Refused)) throw error;
    inside.replaceChildren(element("p", { class: "problem" }, whyNot(error)));
  };
}

/** @param {any} noise @param {() => void} on */
function noiseButton(noise, on) {
  const told = { n: noise.number, note: noteName(noise.heard) };
  return element("button", {
    type: "button",
    "aria-label": say("hear_noise", { ...told, first: say(noise.first === "left" ? "first_left" : "first_right") }),
    title: say(noise.first === "left" ? "first_left" : "first_right"),
    text: say("noise_at", { ...told, sign: SIGNS[noise.first] ?? "" }),
    onclick: on,
  });
}

/** @param {any[]} changes @param {(bar: number, item: number) => void} hear */
function fingersDrawn(changes, hear) {
  if (!changes.length) return [element("p", { text: say("fingers_still") })];
  const rows = changes.map((one) => {
    const way = say(one.by === null ? "way" : "way_by", {
      from: noteName(one.from),
      to: noteName(one.to),
      by: one.by === null ? "" : noteName(one.by),
    });
    const times = one.times > 1 ? ` · ${say("times", { n: one.times })}` : "";
    const isCrossing = one.cautions.some((/** @type {any} */ caution) => caution.is_crossing);
    return element(
      "li",
      {},
      element(
        "div",
        { class: "way" },
        element("strong", { text: way }),
        element("span", { text: `${say("in_bar", { n: one.number })}${times}` }),
        ...(isCrossing
          ? [element("button", { type: "button", text: say("hear_it"), "aria-label": `${say("hear_it")}: ${way}`, onclick: () => hear(one.bar, one.item) })]
          : []),
      ),
      element("ol", { class: "stations" }, ...one.stations.map(station)),
      ...one.cautions.map((/** @type {any} */ caution) => element("p", { class: "caution", text: caution[languageInUse()] })),
    );
  });
  return [element("ul", { class: "ways" }, ...rows)];
}

/** @param {any} one @param {number} at @param {any[]} all */
function station(one, at, all) {
  const holes = new Holes();
  const before = all[at - 1]?.closed ?? one.closed;
  const moved = [...one.closed].flatMap((sign, hole) => (sign === before[hole] ? [] : [hole]));
  holes.show(one.closed, `${say("fingering")}: ${noteName(one.sounds)}`, moved);
  const words = one.moves ? one.moves[languageInUse()] : say("begins_so");
  return element("li", {}, holes.element, element("span", { class: "sounds", text: noteName(one.sounds) }), element("span", { text: words }));
}

/** A line as it is called, by its number where it has no heading. @param {{number: number, heading: string, tune?: string}} row */
export function nameOfLine({ number, heading, tune }) {
  const name = [tune, heading].filter(Boolean).join(" · ");
  return name ? `${number}  ${name}` : say("line", { n: number });
}

// Beside the music.

export class Knowing {
  /**
   * @param {object} desk
   * @param {() => Record<string, any>} desk.told the file's name, and its text where it can be changed
   * @param {() => boolean} desk.canChange
   * @param {() => Changing} desk.changing what changes the file from what is drawn now
   * @param {(text: string, before: string) => Promise<void>} desk.replace a text by another
   * @param {() => any[]} desk.rows the lines
   * @param {() => any[]} desk.facts what is known of each
   * @param {() => number} desk.entries how many there are
   * @param {(index: number) => void} desk.choose a line
   * @param {(chosen: Set<number>|null) => void} desk.mark the lines that are left out of a choice
   */
  constructor(desk) {
    this.desk = desk;
    /** @type {any[]} */
    this.movements = [];
    this.lowest = 0;
    this.highest = 8;
    /** Names of movements whose table is open; null before anybody has opened one. @type {Set<string>|null} */
    this.open = null;
    /** @type {any} the short version that is shown */
    this.short = null;
    /** What it was chosen of. @type {Record<string, any>} */
    this.shortOf = {};
    this.kind = "lines";
    this.size = 0;
    /** How many there are, 0 before they are laid out. */
    this.pages = 0;
    /** The text whose pages are being laid out. @type {string|null} */
    this._laidOut = null;
    /** What the choice of a short version is drawn for. */
    this._choiceOf = "";
    this._asked = 0;
    this._of = "";
    this._isChoosing = false;
    /** @type {Record<string, any>|null} */
    this._next = null;
    /** @type {number|undefined} */
    this._timer = undefined;
    this.said = element("p", { class: "said", role: "status" });
    this.ways = element("div", { class: "coverage" });
    this.shorter = element("div", { class: "shorter" });
    this.order = element("div", {});
    this.element = element(
      "section",
      { class: "book", "aria-label": say("view_book") },
      this.said,
      element("h2", { text: say("ways_in") }),
      element("div", { class: "row among" }, ...this.ends()),
      this.ways,
      element("h2", { text: say("shorter") }),
      this.shorter,
      element("h2", { text: say("easy_first") }),
      this.order,
    );
  }

  /** The choice of the notes in question. */
  ends() {
    const choice = (/** @type {"lowest"|"highest"} */ end) =>
      element(
        "select",
        {
          onchange: (/** @type {any} */ event) => {
            this[end] = Number(event.target.value);
            void this.refresh();
          },
        },
        ...[...Array(9).keys()].map((note) => element("option", { value: note, selected: note === this[end] }, noteName(note))),
      );
    const field = (/** @type {string} */ words, /** @type {HTMLElement} */ one) =>
      element("label", { class: "named" }, element("span", { text: words }), " ", one);
    return [field(say("from_note"), choice("lowest")), field(say("to_note"), choice("highest"))];
  }

  destroy() {
    this._asked += 1;
    this._next = null;
    clearTimeout(this._timer);
  }

  /** Ask anew, and show it. */
  async refresh() {
    const number = ++this._asked;
    const told = this.desk.told();
    const among = [Math.min(this.lowest, this.highest), Math.max(this.lowest, this.highest)].map((note) => NOTES[note]).join(" to ");
    try {
      const { movements } = await ask("book", { ...told, among });
      if (number !== this._asked) return;
      this.movements = movements.sort((/** @type {any} */ a, /** @type {any} */ b) => b.played - a.played);
      const of = textOf(told);
      if (of !== this._of) this.hold(of);
      this.draw();
    } catch (error) {
      this.failed(error);
    }
  }

  /** Hold to a text: what was chosen of another one holds no more. @param {string} of */
  hold(of) {
    this._of = of;
    this.pages = 0;
    if (textOf(this.shortOf) !== of) this.forget();
  }

  /** Have nothing chosen. */
  forget() {
    this.short = null;
    this.desk.mark(null);
  }

  /** @param {unknown} error */
  failed(error) {
    if (!(error instanceof Refused)) throw error;
    this.said.replaceChildren(whyNot(error));
  }

  draw() {
    this.drawWays();
    this.drawShorter();
    this.drawOrder();
  }

  // Ways into movements.

  drawWays() {
    this.open ??= new Set(this.movements.slice(0, 1).map((one) => one.name));
    const { open } = this;
    const active = document.activeElement?.getAttribute("data-way");
    const most = Math.max(1, ...this.movements.flatMap((one) => one.counts.map((/** @type {any[]} */ row) => row[2])));
    this.ways.replaceChildren(
      ...(this.movements.length ? [] : [element("p", { text: say("no_movements") })]),
      ...this.movements.map((one) => {
        const counted = one.possible ? say("ways_covered", { n: one.covered, of: one.possible }) : say("not_in_book");
        const details = element(
          "details",
          {
            open: open.has(one.name),
            ontoggle: () => (details.open ? open.add(one.name) : open.delete(one.name)),
          },
          element("summary", {}, element("strong", { text: one.name }), ` · ${say("played_times", { n: one.played })} · ${counted}`),
          this.table(one, most),
        );
        return details;
      }),
    );
    // A press that has added a line leaves the focus where it was, or on the table's next field.
    if (active) {
      const next = this.ways.querySelector(`[data-way="${active}"]`) ?? this.ways.querySelector("[data-way]");
      if (next instanceof HTMLElement) next.focus({ preventScroll: true });
    }
  }

  /** @param {any} movement @param {number} most the count that is darkest */
  table(movement, most) {
    const counts = new Map(movement.counts.map((/** @type {any[]} */ [before, note, count]) => [`${before}/${note}`, count]));
    const missing = new Set(movement.missing.map((/** @type {number[]} */ [before, note]) => `${before}/${note}`));
    const canChange = this.desk.canChange();
    /** @type {number[]} */
    const notes = movement.notes;
    const begins = movement.counts.some((/** @type {any[]} */ row) => row[0] === null);
    const rows = [...[...notes].reverse(), ...(begins ? [null] : [])].map((before) =>
      element(
        "tr",
        {},
        element("th", { scope: "row", text: before === null ? say("at_start") : noteName(before) }),
        ...notes.map((note) => {
          const count = counts.get(`${before}/${note}`) ?? 0;
          if (count) return element("td", { class: `heat-${Math.ceil((SHADES * count) / most)}`, text: count });
          if (before === null || !missing.has(`${before}/${note}`)) return element("td", { class: "no-way" });
          return element("td", { class: "missing" }, ...(canChange ? [this.adder(movement.name, [before], note, "+")] : ["0"]));
        }),
      ),
    );
    const lacking = notes.map((note) => notes.filter((before) => missing.has(`${before}/${note}`)));
    const foot = element(
      "tr",
      {},
      element("th", { scope: "row", text: say("all_missing") }),
      ...notes.map((note, at) => {
        const befores = lacking[at] ?? [];
        return element("td", {}, ...(befores.length > 1 ? [this.adder(movement.name, befores, note, `+${befores.length}`)] : []));
      }),
    );
    const hasMore = canChange && lacking.some((befores) => befores.length > 1);
    return element(
      "div",
      { class: "wide", tabindex: "0", role: "group", "aria-label": movement.name },
      element(
        "table",
        { class: "heat" },
        element("caption", { text: [say("heat_caption"), ...(canChange ? [say("heat_adds")] : [])].join(" ") }),
        element(
          "thead",
          {},
          element("tr", {}, element("th", { scope: "col", text: say("from_on") }), ...notes.map((note) => element("th", { scope: "col", text: noteName(note) }))),
        ),
        element("tbody", {}, ...rows),
        ...(hasMore ? [element("tfoot", {}, foot)] : []),
      ),
    );
  }

  /**
   * What adds a line with ways that are missing.
   * @param {string} movement @param {number[]} befores @param {number} note @param {string} text
   */
  adder(movement, befores, note, text) {
    const label = say("add_way", { movement, note: noteName(note), from: befores.map(noteName).join(", ") });
    return element("button", {
      type: "button",
      text,
      "data-way": `${movement}/${befores.join("-")}/${note}`.replace(/[^\w/-]/g, "_"),
      "aria-label": befores.length > 1 ? `${text}: ${label}` : label,
      title: label,
      onclick: () => void this.add(movement, befores, note),
    });
  }

  /** @param {string} movement @param {number[]} befores @param {number} note */
  async add(movement, befores, note) {
    const line = lineOfWays(movement, befores, note);
    const isThere = (/** @type {any} */ one) => JSON.stringify(one) === JSON.stringify(line);
    const once = (/** @type {any[]} */ there) => (there.some(isThere) ? undefined : line);
    if (!(await this.desk.changing()([append("lines", once)]))) return;
    this.said.textContent = say("way_added");
    this.desk.choose(this.desk.rows().length - 1);
  }

  // Short versions.

  drawShorter() {
    const count = this.desk.rows().length;
    if (count < 2) {
      this._choiceOf = "";
      this.shorter.replaceChildren(element("p", { text: say("too_short") }));
      return;
    }
    const most = this.kind === "pages" ? this.pages : count;
    const choiceOf = `${this.kind} ${most}`;
    // What stays as it is may be in somebody's hand.
    if (choiceOf !== this._choiceOf) this.drawChoice(most);
    this._choiceOf = choiceOf;
    if (most) this.drawResult();
    else void this.layOut();
  }

  /** @param {number} most the lines or pages that there are; 0 where they are not counted yet */
  drawChoice(most) {
    this.size = Math.min(this.size || Math.ceil(most / 2), Math.max(1, most));
    const shown = () => (most ? say(this.kind === "pages" ? "pages_of" : "lines_of", { n: this.size, of: most }) : "");
    const output = element("output", { text: shown() });
    const slider = element("input", {
      type: "range",
      min: 1,
      max: Math.max(1, most),
      value: this.size,
      "aria-label": say("how_short"),
      "aria-valuetext": shown(),
      disabled: most < 2,
      oninput: () => {
        this.size = Number(slider.value);
        output.textContent = shown();
        slider.setAttribute("aria-valuetext", shown());
        clearTimeout(this._timer);
        this._timer = setTimeout(() => void this.choose({ [this.kind]: this.size }), WAIT_MS);
      },
    });
    const kinds = element(
      "select",
      {
        "aria-label": say("how_short"),
        onchange: (/** @type {any} */ event) => this.takeKind(event.target.value),
      },
      ...["lines", "pages"].map((one) => element("option", { value: one, selected: one === this.kind }, say(`short_${one}`))),
    );
    const all = element("button", { type: "button", text: say("cover_all"), onclick: () => void this.choose({}) });
    this.result = element("div", { class: "chosen-lines", role: "status" });
    // Where it is drawn anew, who was at one of them stays at it.
    const at = [...this.shorter.querySelectorAll(CONTROLS)].findIndex((one) => one === document.activeElement);
    this.shorter.replaceChildren(element("div", { class: "row" }, kinds, slider, output, all), this.result);
    const focused = this.shorter.querySelectorAll(CONTROLS)[at];
    if (focused instanceof HTMLElement) focused.focus({ preventScroll: true });
  }

  /** @param {string} kind */
  takeKind(kind) {
    this.kind = kind;
    this.size = 0;
    this.forget();
    this.hold(textOf(this.desk.told()));
    this.drawShorter();
  }

  /** Have the pages counted. */
  async layOut() {
    const told = this.desk.told();
    const of = textOf(told);
    if (this._laidOut === of) return;
    this._laidOut = of;
    this.result?.replaceChildren(element("p", { text: say("laying_out") }));
    try {
      const { pages } = await ask("pages", told);
      if (this._laidOut !== of) return;
      this._laidOut = null;
      if (this.kind !== "pages" || this._of !== of) return;
      this.pages = pages;
      this.drawShorter();
    } catch (error) {
      if (this._laidOut === of) this._laidOut = null;
      this.drawResult();
      this.failed(error);
    }
  }

  /** Choose lines; asked for another choice meanwhile, the newest one. @param {Record<string, any>} how */
  async choose(how) {
    this._next = how;
    if (this._isChoosing) return;
    this._isChoosing = true;
    try {
      while (this._next) {
        const asked = this._next;
        this._next = null;
        if (this.result) this.result.replaceChildren(element("p", { text: say("choosing") }));
        const told = this.desk.told();
        const { job } = await ask("abridge", { ...told, ...asked });
        const short = await follow(job, () => undefined);
        // What was chosen of another text holds no more, but what is asked for by now does.
        if (textOf(told) !== textOf(this.desk.told())) continue;
        this.short = short;
        this.shortOf = told;
        this.desk.mark(short ? new Set(short.lines) : null);
      }
      this.drawResult();
    } catch (error) {
      this.result?.replaceChildren();
      this.failed(error);
    } finally {
      this._isChoosing = false;
    }
  }

  drawResult() {
    const { short, result } = this;
    if (!result) return;
    if (!short) {
      result.replaceChildren();
      return;
    }
    const best = short.fewest === null ? say("none_covers_more") : say("none_is_shorter", { n: short.fewest });
    /** @type {Map<string, number[]>} */
    const left = new Map();
    for (const [movement, before, note] of short.uncovered) {
      const key = say("way_on", { movement, note: noteName(note) });
      left.set(key, [...(left.get(key) ?? []), before]);
    }
    const rows = [...left].map(([key, befores]) => element("li", { text: say("way_from", { way: key, from: befores.map(noteName).join(", ") }) }));
    const isWhole = short.lines.length === short.of;
    result.replaceChildren(
      element("p", { text: `${say("covers", { n: short.lines.length, of: short.of, covered: short.covered, ways: short.ways })} ${best}` }),
      ...(short.is_proven ? [] : [element("p", { text: say("not_proven") })]),
      ...(rows.length
        ? [element("h3", { text: say("left_out") }), element("ul", { class: "left" }, ...rows)]
        : [element("p", { text: say("nothing_left_out") })]),
      element(
        "div",
        { class: "row" },
        element("button", { type: "button", class: "main", text: say("keep_copy"), disabled: isWhole, onclick: () => void this.keepCopy() }),
        ...(this.desk.canChange()
          ? [element("button", { type: "button", text: say("take_out_others"), disabled: isWhole, onclick: () => void this.shorten() })]
          : []),
      ),
    );
  }

  async keepCopy() {
    try {
      const { name } = await ask("keep-short", { ...this.shortOf, lines: this.short.lines });
      this.said.replaceChildren(
        say("copy_kept", { name }),
        " ",
        element("a", { href: `#/write/${encodeURIComponent(name)}`, text: say("open") }),
      );
    } catch (error) {
      this.failed(error);
    }
  }

  async shorten() {
    const told = this.shortOf;
    try {
      const { text } = await ask("shortened", { ...told, lines: this.short.lines });
      // Somebody has changed what it was chosen of: it is chosen anew.
      if (textOf(told) !== textOf(this.desk.told())) return;
      await this.desk.replace(text, told["text"]);
      this.said.textContent = say("shortened");
    } catch (error) {
      this.failed(error);
    }
  }

  // From easy to hard.

  drawOrder() {
    const rows = this.desk.rows();
    const facts = this.desk.facts();
    if (facts.length !== rows.length || !rows.length) {
      this.order.replaceChildren();
      return;
    }
    const sorted = rows
      .map((row, index) => ({ row, index, points: facts[index].difficulty }))
      .sort((a, b) => a.points - b.points || a.index - b.index);
    const byEntry = entriesByDifficulty(rows, facts);
    const isSorted = byEntry.every((entry, at) => at === entry);
    const change = this.desk.changing();
    const canSort = this.desk.canChange() && byEntry.length > 1 && byEntry.length === this.desk.entries() && rows.every((row) => !row.tune);
    this.order.replaceChildren(
      element(
        "ol",
        { class: "by-difficulty" },
        ...sorted.slice(0, LONGEST_LIST).map(({ row, index, points }) =>
          element(
            "li",
            {},
            element("button", { type: "button", text: nameOfLine(row), onclick: () => this.desk.choose(index) }),
            element("span", { text: say("points", { n: points }) }),
          ),
        ),
      ),
      ...(canSort
        ? [element("button", { type: "button", text: say("put_in_order"), disabled: isSorted, onclick: () => void change([{ do: "arrange", lines: byEntry }]) })]
        : []),
    );
  }
}

const NOTES = ["low G", "low A", "B", "C", "D", "E", "F", "high G", "high A"];

/**
 * A line that goes to a note from others, with a movement on it.
 * @param {string} movement @param {number[]} befores @param {number} note
 */
export function lineOfWays(movement, befores, note) {
  const on = NOTES[note] ?? "";
  // The note itself comes last: before it the line would begin with the movement.
  const from = [...befores.filter((one) => one !== note), ...befores.filter((one) => one === note)].map((one) => NOTES[one] ?? "");
  return {
    heading: `${movement} on ${on} from ${from.join(", ")}`,
    run: from.flatMap((before) => [before, on]).join(", "),
    ornament: movement,
    on: befores.length > 1 ? on : "last",
  };
}

/** The entries from easy to hard, each by the mean of its lines. @param {any[]} rows @param {any[]} facts */
function entriesByDifficulty(rows, facts) {
  /** @type {Map<number, number[]>} */
  const points = new Map();
  rows.forEach((row, index) => points.set(row.entry, [...(points.get(row.entry) ?? []), facts[index].difficulty]));
  const mean = (/** @type {number} */ entry) => {
    const own = points.get(entry) ?? [];
    return own.reduce((sum, one) => sum + one, 0) / own.length;
  };
  return [...points.keys()].sort((a, b) => mean(a) - mean(b) || a - b);
}
