// Compares answers of the guide's page with those of the program: same first cause, every probability within one
// percentage point. Used in node for quick trials, and on what a browser has worked out.

// The causes that come first count as one where the program itself gives them the same probability.
const ALIKE = 1e-3;

export function compare(answer, causes, expected) {
  const faults = [];
  let worst = 0;
  // Alternatives can have a cause each with the same deviation in it.
  const of = new Map();
  causes.forEach((cause, number) => cause.members.forEach((member) => of.set(member, [...(of.get(member) ?? []), number])));
  const told = new Map();
  const hold = (what, wanted, got) => {
    const gap = Math.abs(wanted - got);
    worst = Math.max(worst, gap);
    if (!(gap <= 0.01)) faults.push(`${what}: ${wanted.toFixed(4)} wanted, ${got.toFixed(4)} given`);
  };
  for (const cause of expected.causes) {
    const gap = (number) => Math.abs(answer.causes[number] - cause.probability);
    const open = (of.get(cause.member) ?? []).filter((number) => !told.has(number)).sort((a, b) => gap(a) - gap(b));
    if (open.length > 0) told.set(open[0], cause.probability);
    hold(cause.words, cause.probability, open.length > 0 ? answer.causes[open[0]] : 0);
  }
  answer.causes.forEach((probability, number) => {
    if (!told.has(number)) hold(causes[number].members[0], 0, probability);
  });
  hold("nothing is wrong", expected.nothing, answer.nothing);
  hold("not in the file", expected.unknown, answer.unknown);
  const first = expected.causes[0];
  let other = false;
  if (first) {
    let best = 0;
    answer.causes.forEach((probability, number) => { if (probability > answer.causes[best]) best = number; });
    const wanted = told.get(best) ?? 0;
    if (first.probability - wanted > ALIKE) {
      other = true;
      faults.push(`first cause: ${first.words} wanted, ${causes[best].members[0]} given`);
    }
  }
  return { faults, worst, first: other };
}
