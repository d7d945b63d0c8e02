// Elements of the page: made of names, attributes and text, never of markup.

import { word } from "./words.js";

/**
 * @param {string} tag
 * @param {Record<string, any>} attributes `on...` are listeners, `text` is its text
 * @param {...(Node|string)} children
 * @returns {any} an element
 */
export function element(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name === "text") made.textContent = value;
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null) made.setAttribute(name, String(value));
  }
  made.append(...children);
  return made;
}

/** One of several choices. @param {string} key @param {string} value @param {string} name
 * @param {boolean} checked @param {() => void} on */
export function radio(key, value, name, checked, on) {
  const input = element("input", { type: "radio", name, value, checked, onchange: on });
  return element("label", { class: "choice" }, input, element("span", { text: word(key) }));
}

/** Yes or no. @param {string} key @param {boolean} checked @param {(on: boolean) => void} on */
export function check(key, checked, on) {
  const input = element("input", {
    type: "checkbox",
    checked,
    onchange: (/** @type {any} */ event) => on(event.target.checked),
  });
  return element("label", { class: "choice" }, input, element("span", { text: word(key) }));
}

/**
 * A number on a line.
 * @param {string} key @param {number} least @param {number} most @param {number} value
 * @param {number} step @param {(value: number) => string} show @param {(value: number) => void} on
 */
export function slider(key, least, most, value, step, show, on) {
  const output = element("output", { text: show(value) });
  const input = element("input", {
    type: "range",
    min: least,
    max: most,
    step,
    value,
    oninput: (/** @type {any} */ event) => {
      output.textContent = show(Number(event.target.value));
      input.setAttribute("aria-valuetext", output.textContent);
      on(Number(event.target.value));
    },
  });
  input.setAttribute("aria-valuetext", output.textContent);
  const name = element("span", {}, element("span", { text: word(key) }), output);
  return element("label", { class: "field" }, name, input);
}

/** Let a slider stand at a value that was set elsewhere.
 * @param {any} field @param {number} value @param {(value: number) => string} show */
export function showOnSlider(field, value, show) {
  const input = field.querySelector("input");
  if (Number(input.value) === value) return;
  input.value = String(value);
  field.querySelector("output").textContent = show(value);
  input.setAttribute("aria-valuetext", show(value));
}

/** A field or a list with its name before it. @param {string} key @param {...Node} fields */
export function named(key, ...fields) {
  return element("label", { class: "named" }, element("span", { text: word(key) }), " ", ...fields);
}
