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
// Calls in which remedies were tried in vain by themselves.
const kinds = [{ what: "calls", gaps: [], faults: [], other: 0 }, { what: "calls with remedies tried in vain", gaps: [], faults: [], other: 0 }];
let slowest = 0;
read("answers").forEach((call, number) => {
  const evidence = { ...call.evidence, answers: new Map(call.evidence.answers) };
  begin = performance.now();
  const answer = weigher.weigh(evidence);
  slowest = Math.max(slowest, performance.now() - begin);
  const found = compare(answer, figures.causes, call);
  const kind = kinds[(evidence.tried || []).length > 0 ? 1 : 0];
  kind.gaps.push(found.worst);
  if (found.first) kind.other += 1;
  if (found.faults.length) kind.faults.push([number, found.faults]);
});
for (const { what, gaps, faults, other } of kinds) {
  gaps.sort((a, b) => a - b);
  const share = (part) => ((gaps[Math.floor(part * (gaps.length - 1))] || 0) * 100).toFixed(2);
  console.log(`${gaps.length} ${what}: ${faults.length} with faults, ${other} with another first cause; difference ${share(0.5)} points in half, ${share(0.9)} in nine of ten, ${share(0.95)} in 95 %, ${share(1)} at most`);
  for (const [number, list] of faults.slice(0, 8)) console.log(number, list.slice(0, 6));
}
console.log(`slowest ${slowest.toFixed(0)} ms`);
process.exit(kinds[0].faults.length ? 1 : 0);
