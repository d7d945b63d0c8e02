// Prints what a page's clock takes to be heard at each reading of another clock.
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const [folder, file] = process.argv.slice(2);
const { HeardClock } = await import(pathToFileURL(`${folder}/clock.js`));
const runs = JSON.parse(readFileSync(file, "utf-8"));
const heard = runs.map((readings) => {
  const clock = new HeardClock();
  return readings.map(([seconds, ms]) => clock.at(seconds, ms));
});
console.log(JSON.stringify(heard));
