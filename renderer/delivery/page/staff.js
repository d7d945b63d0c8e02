// A line's staves on the screen: the layout that fits the width, notes to be lit, bars to be tapped.

const SVG = "http://www.w3.org/2000/svg";
const NARROW_PX = 620;

/** @param {string} tag @param {Record<string, string|number>} attributes */
function shape(tag, attributes) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  return element;
}

export class Staff {
  /**
   * @param {HTMLElement} host
   * @param {any} staves by layout
   * @param {string} label what a screen reader says
   */
  constructor(host, staves, label) {
    this.host = host;
    this.staves = staves;
    this.label = label;
    this._layout = "";
    /** A note's groups: more than one where it is tied. @type {Map<string, Element[]>} */
    this._notes = new Map();
    /** @type {{bar: number, element: Element}[]} */
    this._bars = [];
    /** @type {Element[]} */
    this._lit = [];
    this._cursor = -1;
    /** @type {[number, number]|null} */
    this._looped = null;
  }

  /**
   * Take other staves of the same bars: drawn, if these were.
   * @param {any} staves by layout
   * @returns {boolean} whether they are others
   */
  take(staves) {
    if (staves === this.staves) return false;
    this.staves = staves;
    const layout = this._layout;
    this._layout = "";
    if (layout) this.draw(layout);
    return true;
  }

  /** Draw a layout, if it is not drawn: that which the width asks for, unless one is named.
   * @param {string} asked */
  draw(asked = "") {
    const layout = asked || (this.host.clientWidth < NARROW_PX ? "narrow" : "wide");
    if (layout === this._layout || !this.host.clientWidth) return;
    this._layout = layout;
    this._notes.clear();
    this._bars = [];
    this._lit = [];
    this._cursor = -1;
    const { width, systems } = this.staves[layout];
    this.host.setAttribute("role", "img");
    this.host.setAttribute("aria-label", this.label);
    this.host.replaceChildren(...systems.map((/** @type {any} */ one) => this._system(one, width)));
    this._showLoop();
  }

  /** @param {any} system @param {number} whole the width of a whole system */
  _system(system, whole) {
    const { left, top, width, height } = system;
    const svg = shape("svg", { viewBox: `${left} ${top} ${width} ${height}`, "aria-hidden": "true" });
    svg.style.width = `${Math.min(100, (100 * width) / whole)}%`;
    for (const [bar, x, across] of system.bars) {
      const box = { x, y: top, width: across, height, class: "bar-box", "data-bar": bar };
      const element = shape("rect", box);
      svg.append(element);
      this._bars.push({ bar, element });
    }
    const parsed = new DOMParser().parseFromString(
      `<svg xmlns="${SVG}">${system.svg}</svg>`,
      "image/svg+xml",
    );
    for (const child of Array.from(parsed.documentElement.childNodes)) {
      svg.append(document.importNode(child, true));
    }
    for (const [text, x, y, endsThere, small] of system.texts) {
      const element = shape("text", { x, y, "text-anchor": endsThere ? "end" : "start" });
      element.setAttribute("class", small ? "bar-number" : "words");
      element.textContent = text;
      svg.append(element);
    }
    for (const group of Array.from(svg.querySelectorAll("g[id]"))) {
      const name = group.id.replace(/(-[HT]\d+)+$/, "");
      this._notes.set(name, [...(this._notes.get(name) ?? []), group]);
      // Names are for us; two lines of two exercises may share them.
      group.setAttribute("data-note", group.id);
      group.removeAttribute("id");
    }
    return svg;
  }

  /** Light a note by its name, and what is tied to it; nothing for an empty name.
   * @param {string} id */
  light(id) {
    for (const group of this._lit) group.classList.remove("lit");
    this._lit = this._notes.get(id) ?? [];
    for (const group of this._lit) group.classList.add("lit");
  }

  /** Show where the music is; -1 for nowhere. @param {number} bar as it is written */
  cursor(bar) {
    if (bar === this._cursor) return;
    this._cursor = bar;
    for (const one of this._bars) one.element.classList.toggle("here", one.bar === bar);
    const system = this.boxOf(bar)?.parentElement ?? null;
    // Once a system, so that whoever scrolls elsewhere meanwhile is left there a while.
    if (system && system !== this._shownSystem) system.scrollIntoView({ block: "nearest" });
    this._shownSystem = system;
  }

  /** @type {Element|null} */
  _shownSystem = null;

  /** The box of a written bar, or null. @param {number} bar */
  boxOf(bar) {
    return this._bars.find((one) => one.bar === bar)?.element ?? null;
  }

  /** Show which bars are looped; null for all. @param {[number, number]|null} bars */
  loop(bars) {
    this._looped = bars;
    this._showLoop();
  }

  _showLoop() {
    for (const { bar, element } of this._bars) {
      const inside = this._looped && bar >= this._looped[0] && bar <= this._looped[1];
      element.classList.toggle("looped", Boolean(inside));
    }
  }
}

/** The written bar under a place of the screen, or 0.
 * @param {number} x @param {number} y @param {HTMLElement|null} host of whose staves it must be, if said */
export function barUnder(x, y, host = null) {
  for (const found of document.elementsFromPoint(x, y)) {
    const bar = host && !host.contains(found) ? null : found.getAttribute("data-bar");
    if (bar) return Number(bar);
  }
  return 0;
}

/**
 * The written note nearest to a place of the screen, as bar and item, or null.
 * @param {Element} host @param {number} x @param {number} y
 */
export function noteNear(host, x, y) {
  let nearest = null;
  let least = Infinity;
  for (const group of Array.from(host.querySelectorAll("g.note[data-note]"))) {
    const box = group.getBoundingClientRect();
    const away = Math.hypot(x - (box.left + box.right) / 2, (y - (box.top + box.bottom) / 2) / 4);
    const name = /^L\d+-B(\d+)-N(\d+)-/.exec(group.getAttribute("data-note") ?? "");
    if (name && away < least) {
      least = away;
      nearest = { bar: Number(name[1]), item: Number(name[2]) };
    }
  }
  return nearest;
}

/** A picture of eight holes, from the left thumb down. */
export class Holes {
  constructor() {
    const places = [14, 52, 80, 108, 146, 174, 202, 230];
    this.element = shape("svg", { viewBox: "0 0 244 28", class: "holes", role: "img" });
    this._holes = places.map((x, index) => {
      const hole = shape("circle", { cx: x, cy: 14, r: index ? 10 : 8 });
      this.element.append(hole);
      return hole;
    });
  }

  /** @param {string} closed a sign a hole, x for closed; empty for silence @param {string} label
   * @param {number[]} moved the holes whose fingers have just moved */
  show(closed, label, moved = []) {
    this._holes.forEach((hole, index) => {
      hole.classList.toggle("closed", closed[index] === "x");
      hole.classList.toggle("moved", moved.includes(index));
    });
    this.element.classList.toggle("silent", closed === "");
    this.element.setAttribute("aria-label", label);
  }
}
