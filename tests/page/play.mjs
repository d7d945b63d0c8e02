// Plays a page's line by the page's own modules and writes the samples, left and right in turn.
import { readFileSync, writeFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const [folder, file] = process.argv.slice(2);
const from = (name) => import(pathToFileURL(`${folder}/${name}`));
const { Bank, noiseLoop, readFloats, readLines, readStroke } = await from("tones.js");
const { Performance } = await from("performance.js");
const { readLine } = await from("moments.js");
const { struckIn } = await from("struck.js");
const { ZERO, fraction, over, readFraction } = await from("exact.js");

const asked = JSON.parse(readFileSync(file, "utf-8"));
const html = readFileSync(asked.page, "utf-8");
const data = JSON.parse(/<script type="application\/json" id="data">(.*?)<\/script>/s.exec(html)[1]);
const { sound } = data;
sound.notes = sound.notes.map(readLines);
sound.drones = sound.drones.map(readLines);
for (const one of sound.fingered) one.partials = readFloats(one.partials);
const unfolded = (table) =>
  table.rows.map((row) => Object.fromEntries(table.keys.map((key, n) => [key, row[n]])));
const plain = data.exercises[0].lines[0].forms[asked.form];
const rows = Object.fromEntries(["bars", "soundings", "rooms"].map((key) => [key, unfolded(plain[key])]));
const line = readLine({ ...plain, ...rows });
const beat = over(fraction(60n), readFraction(asked.tempo));
const bank = new Bank(sound, data.pitches[0], asked.cents);
const common = { line, beat, bank, from: ZERO, to: line.beats, subdivide: false, isHeard: () => true };
const section = (number) =>
  number > asked.rounds ? null : { ...common, kind: number ? "line" : "clicks" };
const made = new Performance(sound, noiseLoop(sound), data.gracenotes, section);
while (!made.ended) made.extendTo(made.knownTo);
const frames = made.sections.at(-1).endFrame;
const gain = data.pitches[0].gains.clicks;
const strokes = Object.fromEntries(
  Object.entries(sound.clicks).map(([kind, one]) => [kind, readStroke(one).map((x) => x * gain)]),
);
// In uneven pieces, as a player may lay them.
const chanter = new Float32Array(frames);
const metronome = new Float32Array(frames);
for (let first = 0, size = 1777; first < frames; first += size, size = 1777 + ((size * 3) % 50021)) {
  const end = Math.min(frames, first + size);
  chanter.set(made.chanter(first, end), first);
  metronome.set(made.metronome(first, end, strokes), first);
}
const drones = bank.drones();
const struck = struckIn(drones, 0, sound);
const out = new Float32Array(2 * frames);
for (let n = 0; n < frames; n++) {
  for (const side of [0, 1]) {
    const drone = n < struck[side].length ? struck[side][n] : drones[side][n % drones[side].length];
    out[2 * n + side] = chanter[n] + metronome[n] + drone;
  }
}
writeFileSync(asked.out, new Uint8Array(out.buffer));
console.log(JSON.stringify({ frames, events: made.events.map((one) => one.start) }));
