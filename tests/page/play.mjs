// Plays a page's line by the page's own modules and writes the samples, left and right in turn.
import { readFileSync, writeFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const [folder, file] = process.argv.slice(2);
const from = (name) => import(pathToFileURL(`${folder}/${name}`));
const { Bank } = await from("tones.js");
const { linesOf, readMusic } = await from("music.js");
const { Rendition } = await from("rendition.js");
const { struckIn } = await from("struck.js");
const { ZERO, fraction, over, readFraction } = await from("exact.js");

const asked = JSON.parse(readFileSync(file, "utf-8"));
const html = readFileSync(asked.page, "utf-8");
const data = JSON.parse(/<script type="application\/json" id="data">(.*?)<\/script>/s.exec(html)[1]);
const music = readMusic(data);
const gracenote = asked.gracenote ? readFraction(asked.gracenote) : null;
const line = linesOf(data.exercises[0])(asked.line ?? 0, asked.form, gracenote);
const beat = over(fraction(60n), readFraction(asked.tempo));
const bank = new Bank(music.sound, data.pitches[asked.pitch ?? 0], asked.cents);
const common = { line, beat, bank, from: ZERO, to: line.beats, subdivide: false, isHeard: () => true };
const section = (number) =>
  number > asked.rounds
    ? null
    : {
        ...common,
        kind: number ? "line" : "clicks",
        countIn: data.count_in,
        noises: data.show_crossing && number % 2 === 0,
      };
const made = new Rendition(music, section);
while (!made.ended) made.extendTo(made.knownTo);
const frames = made.sections.at(-1).endFrame;
// In uneven pieces, as a player may lay them.
const uneven = asked.uneven ?? 1777;
const chanter = new Float32Array(frames);
const metronome = new Float32Array(frames);
for (let first = 0, size = uneven; first < frames; first += size, size = uneven + ((size * 3) % 50021)) {
  const end = Math.min(frames, first + size);
  chanter.set(made.chanter(first, end), first);
  metronome.set(made.metronome(first, end, data.pitches[asked.pitch ?? 0].gains), first);
}
const drones = bank.drones();
const size = drones[0].length;
const begins = made.dronesStart;
const struck = struckIn(drones, begins % size, music.sound);
const out = new Float32Array(2 * frames);
for (let n = 0; n < frames; n++) {
  for (const side of [0, 1]) {
    const since = n - begins;
    const drone = since < 0 ? 0 : since < struck[side].length ? struck[side][since] : drones[side][n % size];
    out[2 * n + side] = chanter[n] + metronome[n] + drone;
  }
}
writeFileSync(asked.out, new Uint8Array(out.buffer));
if (asked.chanter) writeFileSync(asked.chanter, new Uint8Array(chanter.buffer));
const sections = made.sections.map((one) => one.frame);
const loops = { B: bank.tone(2).samples.length };
console.log(JSON.stringify({ frames, sections, loops, events: made.events.map((one) => one.start) }));
