// A day of the practice plan, block by block.

import { element } from "./elements.js";
import { ZERO, asNumber, over, readFraction } from "./exact.js";
import { lengthOf } from "./rendition.js";
import { fitting, spokenTempo } from "./practice.js";
import { word } from "./words.js";

/** @typedef {import("./moments.js").Line} Line */

/** Seconds as minutes and seconds. @param {number} seconds */
function minutes(seconds) {
  const whole = Math.round(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/** What the day of the plan holds: lines, rungs, rounds, rests and how long it all takes.
 * @param {import("./page.js").Page} page @returns {Element[]} */
export function dayRows(page) {
  let seconds = 0;
  const rows = (page.exercise.plan[page.day] ?? []).map((/** @type {any[]} */ item, /** @type {number} */ at) => {
    const [index, tempo, rounds] = item;
    if (item.length === 1) {
      seconds += index;
      return element("li", { text: word("day_rest", { n: minutes(index) }) });
    }
    const line = /** @type {Line} */ (page.lineOf(index, "written", page.choice.gracenote));
    const read = readFraction(tempo);
    const beat = over(readFraction("60"), fitting(line, read));
    const { countIn } = page.choice;
    const common = { line, beat, from: ZERO, to: line.beats, countIn };
    const lasts = (/** @type {"clicks"|"line"} */ kind) => asNumber(lengthOf(/** @type {any} */ ({ ...common, kind })));
    const block = lasts("clicks") + rounds * lasts("line");
    seconds += block;
    const { number, heading } = page.exercise.lines[index];
    const text = word("day_block", { line: number, n: spokenTempo(read), rounds, time: minutes(block) });
    const begin = () => {
      page.takeDay(page.day, at);
      if (!page.player.isPlaying) page.play();
    };
    return element(
      "li",
      {},
      element("button", { onclick: begin }, text, ...(heading ? [" · ", element("bdi", { text: heading })] : [])),
    );
  });
  return [
    element("ol", {}, ...rows),
    element("p", { text: word("day_takes", { n: minutes(seconds) }) }),
  ];
}
