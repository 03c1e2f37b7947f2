// Quick trial without a browser: node trial.mjs FOLDER NAME, after the example guide_answers of crate paper.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { compare } from "./compare.mjs";

const { Weigher } = createRequire(import.meta.url)("../../crates/paper/src/guide/weigh.js");
const [folder, name] = process.argv.slice(2);
const read = (kind) => JSON.parse(readFileSync(`${folder}/${name}.${kind}.json`, "utf8"));
const figures = read("figures");
let begin = performance.now();
const weigher = new Weigher(figures);
console.log(`ready in ${(performance.now() - begin).toFixed(0)} ms`);
const faults = [];
let worst = 0, slowest = 0;
const calls = read("answers");
calls.forEach((call, number) => {
  const evidence = { ...call.evidence, answers: new Map(call.evidence.answers) };
  begin = performance.now();
  const answer = weigher.weigh(evidence);
  slowest = Math.max(slowest, performance.now() - begin);
  const found = compare(answer, figures.causes, call);
  worst = Math.max(worst, found.worst);
  if (found.faults.length) faults.push([number, found.faults]);
});
console.log(`${calls.length} calls, ${faults.length} with faults, largest difference ${worst.toExponential(2)}, slowest ${slowest.toFixed(0)} ms`);
for (const [number, list] of faults.slice(0, 8)) console.log(number, list.slice(0, 6));
process.exit(faults.length ? 1 : 0);
