// Prints where each entry of a list stands when changes have come, one after another.
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const [folder, file] = process.argv.slice(2);
const { standsAfter } = await import(pathToFileURL(`${folder}/changes.js`));
const runs = JSON.parse(readFileSync(file, "utf-8"));
const places = runs.map(({ count, changes }) =>
  Array.from({ length: count }, (_, at) => changes.reduce((now, one) => standsAfter(one, "learners", now), at)),
);
console.log(JSON.stringify(places));
