// Many calls worked at once on a server of the invented records: node load.mjs ADDRESS [CALLS] [SECONDS]. Each call gets
// an answer every five seconds. Tells how long it took until the page with the new answer was there, and until what to
// ask next was. Needs nothing but node; run it on the computer of the server.
const [base, calls = "50", seconds = "60"] = process.argv.slice(2);
const TYPES = ["jar-filler", "parts-washer", "lidding-line"];
const PAUSE = 5_000;
const known = [];
const next = [];
let errors = 0;

async function take(address, fields) {
  const answer = await fetch(base + address, {
    method: "POST",
    redirect: "follow",
    headers: { Origin: base },
    body: new URLSearchParams(fields),
  });
  const text = await answer.text();
  if (!answer.ok) {
    errors += 1;
    console.error(`${address} ${answer.status}: ${text.replace(/<[^>]*>/g, " ").slice(0, 200)}`);
  }
  return { text, url: answer.url };
}
const field = (text, name) => new RegExp(`name="${name}" value="([^"]*)"`).exec(text)?.[1] ?? "";
const rest = (ms) => new Promise((resolve) => setTimeout(resolve, ms));
const clock = () => performance.now();

async function work(number, until) {
  await rest((number * PAUSE) / Number(calls));
  let page = await take("/calls", { machine_type: TYPES[number % TYPES.length] });
  const call = new URL(page.url).pathname;
  let asked = await (await fetch(`${base}${call}/next`)).text();
  const begun = clock();
  for (let turn = 0; Date.now() < until; turn += 1) {
    await rest(Math.max(0, begun + (turn + 1) * PAUSE - clock()));
    const question = field(asked, "question");
    const answers = [...asked.matchAll(/name="said" value="([^"]+)"/g)].map((one) => one[1]);
    const seen = field(page.text, "seen");
    const fields = { seen, question, said: answers[(number + turn) % Math.max(1, answers.length)] ?? "" };
    const from = clock();
    if (question === "lamps" || answers.length === 0) {
      const lamps = [...page.text.matchAll(/name="lamp" value="([0-9.]+)[a-z]+"/g)];
      const lit = new URLSearchParams(lamps.map((one, at) => ["lamp", `${one[1]}${(at * 7 + number) % 3 === 0 ? "lit" : "unseen"}`]));
      lit.append("seen", seen);
      lit.append("rest_dark", "yes");
      page = await take(`${call}/lamps`, lit);
    } else {
      page = await take(`${call}/answer`, fields);
    }
    known.push(clock() - from);
    const before = clock();
    asked = await (await fetch(`${base}${call}/next`)).text();
    next.push(clock() - before);
    // It runs again, or nothing is left to be asked: another call comes.
    if (!asked.includes('name="said"') && !asked.includes("Which lamps")) {
      page = await take("/calls", { machine_type: TYPES[number % TYPES.length] });
      return work(number, until);
    }
  }
}

// The machines are worked out once, as they are by the first call of a day.
for (const type of TYPES) {
  const from = clock();
  const page = await take("/calls", { machine_type: type });
  await (await fetch(`${base}${new URL(page.url).pathname}/next`)).text();
  console.log(`${type}: worked out in ${Math.round(clock() - from)} ms`);
}
const until = Date.now() + Number(seconds) * 1_000;
await Promise.all(Array.from({ length: Number(calls) }, (_, number) => work(number, until)));
for (const [what, list] of [["answer on the page", known], ["what to ask next", next]]) {
  list.sort((a, b) => a - b);
  const at = (share) => Math.round(list[Math.min(list.length - 1, Math.floor(share * list.length))] ?? 0);
  console.log(`${what}: ${list.length} times, median ${at(0.5)} ms, 90 % ${at(0.9)} ms, 99 % ${at(0.99)} ms`);
}
console.log(`errors: ${errors}`);
