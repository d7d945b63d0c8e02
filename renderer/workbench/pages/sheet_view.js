// The sheet of a file as real pages, before they are printed, and to be saved as PDF.

import { element } from "../../delivery/page/elements.js";
import { Refused, ask, whyNot } from "./ask.js";
import { say } from "./words.js";

const SIZES = ["fitting", "normal", "large", "compact", "children"];

/** @param {{kind: string, data: string}} file */
function blobOf(file) {
  const bytes = Uint8Array.from(atob(file.data), (sign) => sign.charCodeAt(0));
  return new Blob([bytes], { type: file.kind });
}

export class SheetView {
  /** @param {Record<string, any>} told name, and the text where it is not that of the file */
  constructor(told) {
    this.told = told;
    /** @type {string[]} */
    this.addresses = [];
    this._asked = 0;
    this.pages = element("div", { class: "pages", tabindex: "0", role: "group", "aria-label": say("sheet") });
    this.said = element("p", { role: "status" });
    this.size = element(
      "select",
      { "aria-label": say("size"), onchange: () => void this.show() },
      ...SIZES.map((one) => element("option", { value: one }, say(`size_${one}`))),
    );
    const save = element("button", { type: "button", class: "main", text: say("save_pdf"), onclick: () => void this.save() });
    this.element = element("div", { class: "paper" }, element("div", { class: "row" }, this.size, save), this.said, this.pages);
    void this.show();
  }

  /** @param {"pdf"|"png"} form */
  asked(form) {
    // Left out, print is as large as the pages have room for.
    const size = this.size.value === "fitting" ? {} : { size: this.size.value };
    return ask("sheet", { ...this.told, ...size, form });
  }

  async show() {
    const number = ++this._asked;
    this.said.textContent = say("laying_out");
    try {
      const { files } = await this.asked("png");
      if (number !== this._asked) return;
      this.release();
      this.addresses = files.map((/** @type {any} */ file) => URL.createObjectURL(blobOf(file)));
      const count = this.addresses.length;
      this.said.textContent = "";
      this.pages.replaceChildren(
        ...this.addresses.map((src, at) => element("img", { src, alt: say("page_of", { n: at + 1, count }) })),
      );
    } catch (error) {
      if (number === this._asked) this.failed(error);
    }
  }

  async save() {
    try {
      const { files } = await this.asked("pdf");
      for (const file of files) {
        const href = URL.createObjectURL(blobOf(file));
        element("a", { href, download: file.name }).click();
        setTimeout(() => URL.revokeObjectURL(href), 60_000);
      }
    } catch (error) {
      this.failed(error);
    }
  }

  /** @param {unknown} error */
  failed(error) {
    if (!(error instanceof Refused)) throw error;
    this.said.replaceChildren(whyNot(error));
  }

  /** Let go of the pages, also of those that are on their way. */
  release() {
    this._asked += 1;
    for (const one of this.addresses) URL.revokeObjectURL(one);
    this.addresses = [];
  }
}
