// Lays out lines at tempos as the page does, and prints where each event, click and roll falls.
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const [folder, file] = process.argv.slice(2);
const from = (name) => import(pathToFileURL(`${folder}/${name}`));
const { Rendition } = await from("rendition.js");
const { readLine } = await from("moments.js");
const { stretchOfBars, stretchOfNote } = await from("practice.js");
const { ZERO, fraction, over, readFraction } = await from("exact.js");

const { cases, rate } = JSON.parse(readFileSync(file, "utf-8"));
const silent = { samples: new Float32Array(8), low: new Float32Array(8), step: 0, peak: 0, note: 0 };
const bank = { tone: () => silent };
const changes = { change_s: 0.005, uneven: 0.2, silence_s: 0.006, first_s: 0.001 };
const told = cases.map(({ line: plain, tempo, rounds, subdivide, gracenote, count_in, noises, bars, note }) => {
  const line = readLine(plain, gracenote ? readFraction(gracenote) : null);
  const beat = over(fraction(60n), readFraction(tempo));
  // Whatever noise lurks is heard as the tone of that number.
  const tones = new Proxy({}, { get: (_, key) => Number(String(key).split("/")[2]) });
  const music = { sound: { rate, changes }, gracenotes: [], noises: tones };
  const whole = { from: ZERO, to: line.beats };
  const loop = bars ? stretchOfBars(line, ...bars) : note ? stretchOfNote(line, ...note) : whole;
  const common = { line, beat, bank, ...loop, subdivide, isHeard: () => true };
  const section = (number) =>
    number > rounds
      ? null
      : { ...common, kind: number ? "line" : "clicks", countIn: count_in, noises: noises && number % 2 === 0 };
  const made = new Rendition(music, section);
  while (!made.ended) made.extendTo(made.knownTo);
  return {
    events: made.events.map((one) => [one.start, one.end, one.role, one.id]),
    clicks: made.clicks.map((one) => [one.frame, one.kind]),
    rolls: made.rolls.map((one) => one.frame),
    drones: made.dronesStart,
    sections: made.sections.map((one) => [one.frame, one.endFrame]),
  };
});
console.log(JSON.stringify(told));
