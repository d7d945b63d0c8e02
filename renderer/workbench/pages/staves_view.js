// The staves of a file: each line drawn once it comes into view, notes lit while they sound.

import { element } from "../../delivery/page/elements.js";
import { Staff, barUnder, noteNear } from "../../delivery/page/staff.js";
import { ask, elementOf } from "./ask.js";
import { say } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const MOST_AT_ONCE = 24;
const KEPT = 3_000;
const MOVED_PX = 12;
const MOST_KNOWN = 200;

/** @typedef {{key: string, number: number, heading: string, tune: string, entry: number}} LineRow */

/** Take outlines over into the page, once each. @param {Record<string, string>} glyphs */
function takeGlyphs(glyphs) {
  const home = document.getElementById("glyphs");
  for (const [name, svg] of Object.entries(glyphs)) {
    if (document.getElementById(name)) continue;
    const parsed = new DOMParser().parseFromString(`<svg xmlns="${SVG}">${svg}</svg>`, "image/svg+xml");
    for (const child of Array.from(parsed.documentElement.children)) {
      home?.append(document.importNode(child, true));
    }
  }
}

export class StavesView {
  /**
   * @param {object} wants
   * @param {(index: number, from: {bar: number, item: number}|null) => void} wants.press
   * @param {(index: number, first: number, last: number) => void} wants.loop bars drawn across
   * @param {() => void} wants.arrived called when lines' music has come
   */
  constructor(wants) {
    this.wants = wants;
    /** @type {Map<string, any>} */
    this.bodies = new Map();
    /** @type {LineRow[]} */
    this.rows = [];
    /** @type {Map<string, HTMLElement>} by key and number */
    this.hosts = new Map();
    /** @type {WeakMap<Element, Staff>} */
    this.staffs = new WeakMap();
    /** @type {Set<string>} */
    this.wanted = new Set();
    this._isAsking = false;
    this._ended = false;
    this._lit = -1;
    this.seen = new IntersectionObserver((entries) => this._seen(entries), { rootMargin: "400px" });
    this._resized = () => this._redraw();
    window.addEventListener("resize", this._resized);
  }

  destroy() {
    this._ended = true;
    this.seen.disconnect();
    window.removeEventListener("resize", this._resized);
  }

  /** The keys of lines that need not come with an answer: they are here, or come when they are seen. */
  get known() {
    const here = [...this.bodies.keys()].slice(-MOST_KNOWN);
    return [...new Set([...this.rows.map((row) => row.key), ...here])];
  }

  /** @param {Record<string, any>} bodies */
  add(bodies) {
    for (const [key, body] of Object.entries(bodies)) {
      takeGlyphs(body.glyphs);
      this.bodies.set(key, body);
      this.wanted.delete(key);
    }
    while (this.bodies.size > KEPT) {
      const oldest = this.bodies.keys().next().value;
      if (oldest === undefined) break;
      this.bodies.delete(oldest);
    }
  }

  /** Take the lines of a file. @param {LineRow[]} rows */
  take(rows) {
    this.rows = rows;
    const now = new Set(rows.map((row) => this._place(row)));
    for (const [place, host] of this.hosts) {
      if (now.has(place)) continue;
      this.seen.unobserve(host);
      this.hosts.delete(place);
    }
  }

  /** @param {LineRow} row */
  _place(row) {
    return `${row.number} ${row.key}`;
  }

  /** The place of a line's staves; the same element while nothing in the line changes. @param {LineRow} row */
  hostOf(row) {
    const place = this._place(row);
    let host = this.hosts.get(place);
    if (!host) {
      host = /** @type {HTMLElement} */ (element("div", { class: "staves" }));
      this.hosts.set(place, host);
      this._pointer(host, () => this.rows.findIndex((one) => this._place(one) === place));
      this.seen.observe(host);
      const body = this.bodies.get(row.key);
      if (body) this._fill(host, row, body);
    }
    return host;
  }

  /** What pressing and drawing across staves do. @param {HTMLElement} host @param {() => number} index */
  _pointer(host, index) {
    /** @type {{x: number, bar: number}|null} */
    let begun = null;
    host.addEventListener("pointerdown", (event) => {
      begun = event.button === 0 ? { x: event.clientX, bar: barUnder(event.clientX, event.clientY) } : null;
    });
    host.addEventListener("pointercancel", () => (begun = null));
    host.addEventListener("pointerup", (event) => {
      const from = begun;
      begun = null;
      const at = index();
      if (!from || at < 0) return;
      const bar = barUnder(event.clientX, event.clientY) || from.bar;
      if (Math.abs(event.clientX - from.x) > MOVED_PX && from.bar) {
        this.wants.loop(at, Math.min(bar, from.bar), Math.max(bar, from.bar));
      } else this.wants.press(at, noteNear(host, event.clientX, event.clientY));
    });
  }

  /** Show which bars of a line are looped, and in no other. @param {number} index @param {[number, number]|null} bars */
  loop(index, bars) {
    this.rows.forEach((_, at) => this._staff(at)?.loop(at === index ? bars : null));
  }

  /** @param {HTMLElement} host @param {LineRow} row @param {any} body */
  _fill(host, row, body) {
    if (this.staffs.has(host)) return;
    if (!body.staves) {
      host.replaceChildren(
        ...body.problems.map((/** @type {any} */ one) => elementOf(one.said, "p", { class: "problem" })),
      );
      return;
    }
    const label = say("line", { n: row.number }) + (row.heading ? `: ${row.heading}` : "");
    const staff = new Staff(host, body.staves, label);
    this.staffs.set(host, staff);
    requestAnimationFrame(() => staff.draw());
  }

  /** @param {IntersectionObserverEntry[]} entries */
  _seen(entries) {
    for (const entry of entries) {
      if (!entry.isIntersecting) continue;
      const row = this.rows.find((one) => this.hosts.get(this._place(one)) === entry.target);
      if (!row) continue;
      const host = /** @type {HTMLElement} */ (entry.target);
      const body = this.bodies.get(row.key);
      if (body) {
        this._fill(host, row, body);
        this.staffs.get(host)?.draw();
      } else this.wanted.add(row.key);
    }
    void this._ask();
  }

  /** Ask for lines, those first that are seen. @param {string[]} keys */
  want(keys) {
    for (const key of keys) if (!this.bodies.has(key)) this.wanted.add(key);
    return this._ask();
  }

  async _ask() {
    if (this._isAsking) return;
    this._isAsking = true;
    try {
      while (this.wanted.size) {
        const keys = [...this.wanted].slice(0, MOST_AT_ONCE);
        for (const key of keys) this.wanted.delete(key);
        const { bodies } = await ask("bodies", { keys });
        // What sounds belongs to somebody else by now.
        if (this._ended) return;
        this.add(bodies);
        this.fill();
        this.wants.arrived();
      }
    } catch {
      // What asks next says that the server does not answer.
    } finally {
      this._isAsking = false;
    }
  }

  /** Draw what has come. */
  fill() {
    for (const row of this.rows) {
      const host = this.hosts.get(this._place(row));
      const body = this.bodies.get(row.key);
      if (host && body) this._fill(host, row, body);
    }
  }

  _redraw() {
    for (const host of this.hosts.values()) if (host.firstChild) this.staffs.get(host)?.draw();
  }

  /** The music of each line, null where there is none to hear, undefined where it is still on its way. */
  music() {
    return this.rows.map((row) => {
      const body = this.bodies.get(row.key);
      return body ? (body.music ?? null) : undefined;
    });
  }

  /** Light a note of a line, and nothing else. @param {number} index @param {string} id */
  light(index, id) {
    if (this._lit !== index) this._staff(this._lit)?.light("");
    this._lit = index;
    this._staff(index)?.light(id);
  }

  /** @param {number} index */
  _staff(index) {
    const row = this.rows[index];
    const host = row ? this.hosts.get(this._place(row)) : undefined;
    return host ? this.staffs.get(host) : undefined;
  }
}

/** Staves that play from where they are pressed, and again what is drawn across. @param {import("./hearing.js").Hearing} hearing */
export function playedStaves(hearing) {
  const staves = new StavesView({
    press: (index, from) => {
      staves.loop(-1, null);
      hearing.play(index, from);
    },
    loop: (index, first, last) => {
      if (hearing.playBars(index, first, last)) staves.loop(index, [first, last]);
    },
    arrived: () => hearing.takeMusic(staves.music()),
  });
  return staves;
}
