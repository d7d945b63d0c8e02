// Tables of what was found: a row each, with what it is about at its head.

import { element } from "../../delivery/page/elements.js";

/** @param {string|Node} inside */
function cell(inside) {
  return inside instanceof HTMLTableCellElement ? inside : element("td", {}, inside);
}

/**
 * @param {string[]} heads @param {(string|Node)[][]} rows @param {string} caption
 * @param {boolean} endsInWords whether the last column holds words, and the others numbers
 */
export function table(heads, rows, caption, endsInWords = false) {
  return element(
    "div",
    // Where it is wider than the page, keys move it too.
    { class: "wide", role: "region", tabindex: "0", "aria-label": caption },
    element(
      "table",
      { class: endsInWords ? "ends-in-words" : "" },
      element("caption", { text: caption }),
      element("thead", {}, element("tr", {}, ...heads.map((one) => element("th", { scope: "col", text: one })))),
      element(
        "tbody",
        {},
        ...rows.map(([first, ...others]) =>
          element("tr", {}, element("th", { scope: "row" }, first ?? ""), ...others.map(cell)),
        ),
      ),
    ),
  );
}
