// Asking the server: a name and a table in, its answer out, or what is wrong.

import { element } from "../../delivery/page/elements.js";
import { languageInUse, say } from "./words.js";

/** @typedef {{en: string, de: string|null}} Said what the program says, in the languages that it has words in */
/** @typedef {{cause: string, remedy: string, place: string, alone: Said, said: Said, file?: string, start?: number, end?: number, row?: number}} Problem */

const KEY = "rungwise address";

/** The largest file that the server takes. A browser does not tell what one that is too large is answered. */
const MOST_BYTES = 64_000_000;

/** What the program says, in the page's language or else in English. @param {Said} said */
export function wordsOf(said) {
  return said[languageInUse()] ?? said.en;
}

/** The language of what is told where it is not the page's, for those who hear it. @param {Said} said */
function tongue(said) {
  return said[languageInUse()] === null ? "en" : null;
}

/** What the program says, as an element. @param {Said} said @param {string} tag @param {Record<string, any>} more attributes */
export function elementOf(said, tag = "span", more = {}) {
  return element(tag, { ...more, lang: tongue(said), text: wordsOf(said) });
}

/** Why something was not done: what the server says, or that it does not answer. @param {Refused} error @returns {string|HTMLElement} */
export function whyNot(error) {
  if (!error.status) return say("no_answer");
  return element("span", {}, ...error.problems.flatMap((one, at) => [at ? "\n" : "", elementOf(one.said)]));
}

/** What cannot be done, and why; `status` 0 where the server does not answer at all. */
export class Refused extends Error {
  /** @param {number} status @param {any} answer */
  constructor(status, answer) {
    /** @type {Problem[]} */
    const problems = answer?.problems ?? [];
    super(problems.map((one) => wordsOf(one.said)).join("\n"));
    this.status = status;
    this.problems = problems;
    this.answer = answer;
  }
}

/** Take the token out of the address, so that it stands in no history and on no picture of it. */
export function takeToken() {
  const told = /^#([\w-]{30,})$/.exec(location.hash);
  if (told?.[1]) {
    keep(told[1]);
    history.replaceState(null, "", "/#/");
  }
}

/** @param {string} told */
function keep(told) {
  held = told;
  try {
    localStorage.setItem(KEY, told);
  } catch {
    // A browser that keeps nothing asks for the printed address in every tab.
  }
}

let held = "";

function token() {
  if (held) return held;
  try {
    held = localStorage.getItem(KEY) ?? "";
  } catch {
    held = "";
  }
  return held;
}

/** @param {string} path @param {string} kind @param {BodyInit} body @param {boolean} outlives */
async function sent(path, kind, body, outlives) {
  try {
    return await fetch(path, {
      method: "POST",
      headers: { "content-type": kind, "x-rungwise-token": token() },
      body,
      cache: "no-store",
      credentials: "omit",
      redirect: "error",
      keepalive: outlives,
    });
  } catch {
    throw new Refused(0, null);
  }
}

/** @param {string} path @param {string} kind @param {BodyInit} body @param {boolean} outlives */
async function send(path, kind, body, outlives) {
  const response = await sent(path, kind, body, outlives);
  const answer = await response.json().catch(() => null);
  if (!response.ok) throw new Refused(response.status, answer);
  if (answer.refused) throw new Refused(answer.refused, answer);
  return answer;
}

/**
 * Return the answer to a question; throws `Refused`.
 * @param {string} name
 * @param {Record<string, any>} asked
 * @param {boolean} outlives whether it is to arrive although the page is closed meanwhile
 * @returns {Promise<any>}
 */
export function ask(name, asked = {}, outlives = false) {
  return send(`/api/${name}`, "application/json", JSON.stringify(asked), outlives);
}

/**
 * Return what asks a question again and again: its answer, or null for one that a newer one has overtaken.
 * @param {string} name @returns {(asked?: Record<string, any>) => Promise<any>}
 */
export function newestOf(name) {
  let [count, taken] = [0, 0];
  return async (asked = {}) => {
    const number = ++count;
    const answer = await ask(name, asked);
    if (number < taken) return null;
    taken = number;
    return answer;
  };
}

/** Bring a file. @param {File} file @returns {Promise<any>} */
export async function bring(file) {
  if (file.size > MOST_BYTES) {
    const said = say("too_large", { name: file.name, n: MOST_BYTES / 1e6 });
    throw new Refused(413, { problems: [{ said: { en: said, de: said } }] });
  }
  const path = `/api/drop?name=${encodeURIComponent(file.name)}`;
  return send(path, "application/octet-stream", file, false);
}

/**
 * Return a file that the server has; throws `Refused`.
 * @param {string} name
 * @param {Record<string, any>} asked
 * @returns {Promise<Blob>}
 */
export async function fetched(name, asked) {
  const response = await sent(`/api/${name}`, "application/json", JSON.stringify(asked), false);
  const kind = response.headers.get("content-type") ?? "";
  if (response.ok && !kind.startsWith("application/json")) return response.blob();
  const answer = await response.json().catch(() => null);
  throw new Refused(response.ok ? (answer?.refused ?? 500) : response.status, answer);
}
