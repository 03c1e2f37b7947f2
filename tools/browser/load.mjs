import { readFileSync } from "node:fs";

// Many calls worked at once on a server of the invented records: node load.mjs ADDRESS [CALLS] [SECONDS]. Each call gets
// an answer every five seconds. Tells how long it took until the page with the new answer was there, and until what to
// ask next was. Needs nothing but node; run it on the computer of the server. With NAME and PASSWORD in the environment each
// call is worked by somebody who has signed in with them.
const [base, calls = "50", seconds = "60"] = process.argv.slice(2);
const TYPES = ["jar-filler", "parts-washer", "lidding-line"];
const PAUSE = 5_000;
const openings = JSON.parse(readFileSync(new URL("load_openings.json", import.meta.url), "utf8"));
const known = [];
const next = [];
let errors = 0;

// Who has signed in: the cookie, and the proof that their forms carry.
async function signedIn() {
  const { NAME: name, PASSWORD: password } = process.env;
  if (!name) return { headers: {}, proof: {} };
  const body = new URLSearchParams({ name, password, then: "/" });
  const answer = await fetch(`${base}/sign-in`, { method: "POST", redirect: "manual", headers: { Origin: base }, body });
  if (answer.status !== 303) throw new Error(`signing in: ${answer.status}`);
  const headers = { Cookie: answer.headers.get("set-cookie").split(";")[0] };
  const token = field(await (await fetch(`${base}/`, { headers })).text(), "token");
  return { headers, proof: { token } };
}
async function take(who, address, fields) {
  const answer = await fetch(base + address, {
    method: "POST",
    redirect: "follow",
    headers: { Origin: base, ...who.headers },
    body: new URLSearchParams({ ...fields, ...who.proof }),
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

// Answers are drawn as the program holds them likely, from dice of each call's own (mulberry32).
function dice(seed) {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4294967296;
  };
}
function drawn(asked, throwDice) {
  const buttons = [...asked.matchAll(/<button name="said" value="([^"]*)">[^<]*<small>(<?[0-9.]+) %/g)];
  const chance = (one) => (one[2].startsWith("<") ? 0.05 : Number(one[2]));
  let left = throwDice() * buttons.reduce((sum, one) => sum + chance(one), 0);
  return buttons.find((one) => (left -= chance(one)) <= 0)?.[1] ?? buttons[0]?.[1] ?? "";
}
const plain = (text) => text.replace(/&quot;/g, '"').replace(/&amp;/g, "&").replace(/&lt;/g, "<");

async function timed(what, list) {
  const from = clock();
  const found = await what();
  list.push(clock() - from);
  return found;
}

const asks = async (who, call) => (await fetch(`${base}${call}/next?piece=yes`, { headers: who.headers })).text();

async function work(number, who, until) {
  await rest((number * PAUSE) / Number(calls));
  const throwDice = dice(number + 1);
  const type = TYPES[number % TYPES.length];
  let due = clock();
  const turn = async () => {
    due += PAUSE;
    await rest(Math.max(0, due - clock()));
  };
  for (let begun = 0; Date.now() < until; begun += 1) {
    const opening = openings[type][(Math.floor(number / TYPES.length) + begun * 5) % openings[type].length];
    let page = await take(who, "/calls", { machine_type: type });
    const call = new URL(page.url).pathname;
    let asked = await asks(who, call);
    while (Date.now() < until) {
      await turn();
      const question = plain(field(asked, "question"));
      const seen = field(page.text, "seen");
      const said = { complaint: "won't start", did: opening.did }[question];
      const from = clock();
      if (said) {
        page = await take(who, `${call}/answer`, { seen, question, typed: said });
      } else if (asked.includes("Which lamps")) {
        page = await take(who, `${call}/lamps`, { seen, typed: opening.lamps });
      } else if (asked.includes('name="said"')) {
        page = await take(who, `${call}/answer`, { seen, question, said: plain(drawn(asked, throwDice)) });
      } else {
        // It runs again, or nothing is left to be asked: another call comes.
        break;
      }
      known.push(clock() - from);
      asked = await timed(() => asks(who, call), next);
    }
  }
}

// One after the other: more than a few who sign in at once are sent away.
const everybody = [];
for (let number = 0; number < Number(calls); number += 1) everybody.push(await signedIn());
const [first] = everybody;
// The machines are worked out once, as they are by the first call of a day.
for (const type of TYPES) {
  const from = clock();
  const page = await take(first, "/calls", { machine_type: type });
  await asks(first, new URL(page.url).pathname);
  console.log(`${type}: worked out in ${Math.round(clock() - from)} ms`);
}
const until = Date.now() + Number(seconds) * 1_000;
await Promise.all(Array.from({ length: Number(calls) }, (_, number) => work(number, everybody[number], until)));
for (const [what, list] of [["answer on the page", known], ["what to ask next", next]]) {
  list.sort((a, b) => a - b);
  const at = (share) => Math.round(list[Math.min(list.length - 1, Math.floor(share * list.length))] ?? 0);
  console.log(`${what}: ${list.length} times, median ${at(0.5)} ms, 90 % ${at(0.9)} ms, 99 % ${at(0.99)} ms`);
}
console.log(`errors: ${errors}`);
