// The log as a table, and lines' parts in words.

import { element } from "./elements.js";
import { word } from "./words.js";

/** How and which part of a line, in words. @param {string[]} parts forms and parts as in `Page.lineKey` */
export function partWords(parts) {
  const words = parts.filter((one) => one && one !== "written").map((one) => {
    const bars = /^(\d+)(?:-(\d+))?$/.exec(one);
    if (bars) return bars[2] ? word("looping_bars", { a: bars[1], b: bars[2] }) : word("looping_bar", { a: bars[1] });
    if (one === "note") return word("looping_note");
    const [kind, n] = one.split(" ");
    return ["opened", "parts", "gracenotes"].includes(kind ?? "") ? word(`form_${kind}`, { n: n ?? "" }) : one;
  });
  return words.map((one) => `, ${one}`).join("");
}

/** Today's sum, and a row for each way in which a line was practised.
 * @param {import("./page.js").Page} page @returns {Element[]} */
export function logTable(page) {
  const { log, exercise } = page;
  const head = ["log_line", "log_days", "log_rounds", "log_fastest", "log_clean"].map((key, index) =>
    element("th", { scope: "col", class: index ? "number" : null, text: word(key) }),
  );
  const found = exercise.lines.flatMap((/** @type {any} */ line, /** @type {number} */ index) =>
    log.partsOf(page.lineKey(index)).map((part) => ({ line, key: page.lineKey(index) + part, part })),
  );
  const rows = found.flatMap((/** @type {{line: any, key: string, part: string}} */ { line, key, part }) => {
    const known = log.of(key);
    if (!known.rounds && !known.clean) return [];
    const cells = [known.days, known.rounds, known.fastest, known.clean].map((value) =>
      element("td", { class: "number", text: value ? String(Math.floor(value * 100) / 100) : word("nothing") }),
    );
    const name = element("th", { scope: "row" }, `${line.number} `, element("bdi", { text: line.heading }));
    name.append(partWords(part.split(" / ")));
    return [element("tr", {}, name, ...cells)];
  });
  const today = log.today();
  const sum = word("log_today", { rounds: today.rounds, minutes: Math.round(today.minutes) });
  if (!rows.length) return [element("p", { text: word("log_empty") })];
  return [
    element("p", { text: sum }),
    element("table", {}, element("thead", {}, element("tr", {}, ...head)), element("tbody", {}, ...rows)),
    element("p", { text: word("log_own_word") }),
  ];
}
