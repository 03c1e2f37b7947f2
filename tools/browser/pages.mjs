// Tests the pages in headless Chromium: node pages.mjs PROGRAM [PICTURES]. PROGRAM is the lampwise to be tried; it is
// started with the invented records. With PICTURES each screen is saved there to be looked at.
import { spawn, spawnSync } from "node:child_process";
import { mkdirSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium } from "playwright-core";

const [program, pictures] = process.argv.slice(2);
const PHONE = { width: 360, height: 740 };
const WIDE = { width: 1280, height: 900 };
let failures = 0;
const check = (holds, what) => {
  if (holds) return;
  failures += 1;
  console.error(`FAILED: ${what}`);
};

async function serve(...options) {
  const server = spawn(program, ["serve", "--port", "0", "--json", ...options], { stdio: ["ignore", "pipe", "inherit"] });
  process.on("exit", () => server.kill("SIGINT"));
  return new Promise((resolve, reject) => {
    let text = "";
    server.once("exit", () => reject(new Error(`the server ended: ${text}`)));
    server.stdout.on("data", (part) => {
      text += part;
      try { resolve(JSON.parse(text).address.replace(/\/$/, "")); } catch { /* not whole yet */ }
    });
  });
}
let base = await serve("--demo");
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});
// Rules of WCAG 2.2 A and AA as far as a program can check them.
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];

async function window(viewport, colorScheme = "light") {
  // axe is put into the page by the test, which the page's own policy would not let in.
  const context = await browser.newContext({ viewport, colorScheme, bypassCSP: true });
  const page = await context.newPage();
  page.setDefaultTimeout(240_000);
  page.on("console", (message) => check(message.type() !== "error" || /status of 4\d\d/.test(message.text()), `${page.url()}: ${message.text()}`));
  page.on("pageerror", (error) => check(false, `${page.url()}: ${error.message}`));
  page.on("request", (request) => check(request.url().startsWith(base), `${request.url()} is asked for`));
  const goto = page.goto.bind(page);
  page.goto = async (...there) => {
    const answer = await goto(...there);
    await calm(page);
    return answer;
  };
  return page;
}
// Nothing is fetched any more, and the page that says that something takes long has gone.
async function calm(page) {
  await page.waitForFunction(() => !document.title.startsWith("This takes longer"), null, { timeout: 240_000 });
  await page.waitForLoadState("networkidle", { timeout: 240_000 });
}
// Does what leads to another page, and waits until that is there.
async function follow(page, act) {
  await Promise.all([page.waitForEvent("load", { timeout: 240_000 }), act()]);
  await calm(page);
}
async function looked(page, name) {
  if (!pictures) return;
  mkdirSync(pictures, { recursive: true });
  await page.screenshot({ path: join(pictures, `${name}.png`), fullPage: true });
}
async function accessible(page, name) {
  await page.evaluate(axe);
  const found = await page.evaluate((values) => globalThis.axe.run(document, { runOnly: { type: "tag", values } }), RULES);
  for (const one of found.violations) {
    check(false, `${name}: ${one.id}: ${one.help}: ${one.nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(" | ")}`);
  }
}

// That nothing sticks out on a telephone, and the rules of accessibility.
async function holds(small, name, theme) {
  const wide = await small.evaluate(() => document.documentElement.scrollWidth);
  check(wide <= PHONE.width, `${name}: ${wide} px wide on a telephone`);
  await accessible(small, `${name}, ${theme}`);
  await looked(small, `${name}-phone-${theme}`);
}

// A call from the machine type to its finding, by the keyboard alone.
const page = await window(WIDE);
await page.goto(`${base}/`);
const press = async (key, times = 1) => { for (let n = 0; n < times; n += 1) await page.keyboard.press(key); };
const enter = () => follow(page, () => press("Enter"));
const focused = () => page.evaluate(() => {
  const at = document.activeElement;
  return `${at.tagName} ${at.id || at.name || ""} ${(at.textContent ?? "").trim().slice(0, 60)} ${at.getAttribute("aria-label") ?? ""}`;
});
// Goes on with the tabulator until something is reached.
async function reach(what) {
  for (let n = 0; n < 200; n += 1) {
    if (what.test(await focused())) return true;
    await press("Tab");
  }
  check(false, `the keyboard does not reach ${what} on ${page.url()}`);
  return false;
}
check((await focused()).startsWith("INPUT serial"), "the first page begins in the serial number");
await reach(/^SELECT type/);
await page.keyboard.type("Jar capper");
await reach(/^INPUT number/);
await enter();
check(/\/calls\/\d+$/.test(page.url()), `a call was begun: ${page.url()}`);
await reach(/it won't start/);
await enter();
await reach(/BUTTON said.*start/);
await enter();
for (const label of ["I1", "I2", "I3", "I4", "I7"]) {
  if (await reach(new RegExp(`${label} not seen`))) await press("Space");
}
await looked(page, "lamps-tapped");
await reach(/all others dark/);
await enter();
const text = await page.locator("main").innerText();
check(text.includes("I1 I2 I3 I4 I7 lit"), "the lamps stand there as they were tapped");
check(text.includes("Start needs (1 missing)"), "the missing condition is said first");
check(!(await page.locator(".brief").isVisible()), "on a wide screen it stands there only once");
await page.setViewportSize(PHONE);
check((await page.locator(".brief").innerText()).startsWith("Missing: "), "on a telephone it stands at the top");
check((await page.locator(".place").nth(4).boundingBox()).y === (await page.locator(".place").first().boundingBox()).y, "five of ten lamps stand in a row");
await page.setViewportSize(WIDE);
await page.getByRole("heading", { name: "Ask next" }).waitFor();
await looked(page, "asked");
await accessible(page, "a call");
await reach(/the light is off/);
await enter();
await reach(/SUMMARY.*Close the call/);
await press("Enter");
await reach(/^INPUT cause-0/);
await press("Space");
await reach(/Keep it and close the call/);
await enter();
check((await page.locator("main").innerText()).includes("Closed"), "the call is closed");
await looked(page, "closed");

// Two windows on the same call: the slower one is told.
const [first, second] = [await window(WIDE), await window(PHONE, "dark")];
await first.goto(`${base}/`);
await first.selectOption("#type", "jar-capper");
await follow(first, () => first.locator("form:has(#type) button").click());
await second.goto(first.url());
await calm(second);
await follow(first, () => first.getByRole("button", { name: "it stops midway" }).click());
await follow(second, () => second.getByRole("button", { name: "it won't finish" }).click());
check((await second.locator("[role=alert]").innerText()).includes("another window"), "the slower window is told");
check((await second.locator("#said").innerText()).includes("stops-midway") || (await second.locator("#said").innerText()).includes("midway"), "and sees what the other said");
await looked(second, "slower-window");

// Where things stand is chosen from what the machine has.
await first.reload();
await calm(first);
await first.locator("#positions summary").click();
await first.getByLabel("head", { exact: true }).selectOption({ label: "down" });
await looked(first, "positions");
await follow(first, () => first.locator("#positions button").click());
check((await first.locator("#said").innerText()).includes("head: down"), "where the head stands is said");
check((await first.getByLabel("head", { exact: true }).inputValue()).endsWith(".1"), "and stays chosen");

// A machine file with a mistake is not saved, and the mistake stands beside its line.
await page.goto(`${base}/types/1/file`);
await page.locator("#file").evaluate((field) => { field.value = field.value.replace("[machine]", "[machin]"); });
await follow(page, () => page.getByRole("button", { name: /Look it over/ }).click());
check((await page.locator("[role=alert]").innerText()).includes("Not saved"), "a wrong file is not saved");
check((await page.locator(".listing").innerText()).includes("machin"), "its line is shown");
const [remarkAt, lineAt] = [await page.locator(".remarks").first().boundingBox(), await page.locator("li.remarked code").first().boundingBox()];
check(remarkAt.x > lineAt.x + 100 && Math.abs(remarkAt.y - lineAt.y) < 12, "the remark stands beside its line");
await page.locator("li.remarked", { hasText: "[machin]" }).locator("a[data-line]").click();
const chosen = await page.locator("#file").evaluate((field) => field.value.slice(field.selectionStart, field.selectionEnd));
check(chosen === "[machin]", `the remark leads to its line of the file: ${chosen}`);
await accessible(page, "a wrong file");
await looked(page, "wrong-file");

// Without its mistake it is saved as a new version.
await page.locator("#file").evaluate((field) => { field.value = field.value.replace("[machin]", "[machine]").replace("Jar capper", "Jar capper, new"); });
await page.fill("#note", "a new name");
await follow(page, () => page.getByRole("button", { name: /Look it over/ }).click());
check((await page.locator("main").innerText()).includes("No. 2, "), "a good file is a new version");
await follow(page, () => page.getByRole("link", { name: "The machine file" }).click());
check((await page.locator("main").innerText()).includes("Nothing is remarked"), "of which nothing is remarked");

// A procedure is led on a telephone, step by step, and kept with the machine.
const led = await window(PHONE, "dark");
await led.goto(`${base}/machines/1`);
await follow(led, () => led.locator("a[href*='/procedures/']").first().click());
for (let step = 1; step <= 4; step += 1) {
  check((await led.locator("h2").first().innerText()).startsWith(`Step ${step} of `), `step ${step} of the procedure`);
  check((await led.evaluate(() => document.documentElement.scrollWidth)) <= PHONE.width, `step ${step} fits a telephone`);
  await accessible(led, `step ${step}`);
  await looked(led, `step-${step}`);
  await follow(led, () => led.getByRole("button", { name: "All lamps as they should be" }).click());
}
await led.fill("#seen", "rest off");
await follow(led, () => led.locator("form:has(#seen) button").click());
check((await led.locator("[role=alert]").innerText()).includes("is not as it should be"), "what differs is told");
await looked(led, "step-differs");
await follow(led, () => led.getByRole("button", { name: "It is otherwise" }).click());
await led.getByText("Stop here, and keep what was done").first().click();
await led.fill("#done-by", "Ada");
await follow(led, () => led.getByRole("button", { name: "Stop here" }).click());
check((await led.locator("main").innerText()).includes("not to its end, by Ada"), "what was done is kept with the machine");

// An exercise on a telephone: lamps are read, then it is given up and looked back on.
const trained = await window(PHONE);
await trained.goto(`${base}/practice/jar-capper/lapse/1`);
await follow(trained, () => trained.getByRole("button", { name: "read all lamps" }).click());
check(await trained.locator(".panel").isVisible(), "the lamps that were read are drawn");
await trained.getByText("Work the machine").click();
await follow(trained, () => trained.getByRole("button", { name: "press start" }).click());
check((await trained.locator("main").innerText()).includes("Before you do it"), "it is said beforehand what can move");
await holds(trained, "exercise-before", "light");
await follow(trained, () => trained.getByRole("button", { name: "I have seen to that: do it" }).click());
await follow(trained, () => trained.getByRole("button", { name: "Show me" }).click());
check((await trained.locator("main").innerText()).includes("What puts it right"), "what it was is shown");
await holds(trained, "exercise-over", "light");

// No page of ours is shown within a page from elsewhere.
const frame = await (await browser.newContext()).newPage();
await frame.setContent(`<iframe src="${base}/machines"></iframe>`);
await frame.waitForTimeout(500);
check((await Promise.all(frame.frames().slice(1).map((one) => one.content()))).every((one) => !one.includes("Machines")), "a page of ours is in a frame elsewhere");
await frame.context().close();

// Every page: on a telephone nothing sticks out, and the rules of accessibility hold, by day and by night.
const call = new URL(first.url()).pathname;
const pages = { front: "/", calls: "/calls", call, report: `${call}/report`, machines: "/machines", machine: "/machines/1",
  types: "/types", type: "/types/1", devices: "/types/1/devices", file: "/types/1/file", review: "/types/1/review", next: `${call}/next`, figures: "/figures",
  practice: "/practice", exercise: "/practice/jar-capper/lapse/1", found: "/search?for=cap", lists: "/lists" };
for (const theme of ["light", "dark"]) {
  for (const [name, address] of Object.entries(pages)) {
    const small = await window(PHONE, theme);
    await small.goto(base + address);
    await calm(small);
    await holds(small, name, theme);
    await small.context().close();
    if (theme === "light") {
      const large = await window(WIDE);
      await large.goto(base + address);
      await calm(large);
      await looked(large, `${name}-wide`);
      await large.context().close();
    }
  }
}

// On paper there is no form, no way to other pages, and black on white also by night.
const printed = await window(WIDE, "dark");
await printed.goto(`${base}${call}/report`);
await printed.emulateMedia({ media: "print", colorScheme: "dark" });
for (const part of [".top", "form", "button"]) {
  check((await printed.locator(part).evaluateAll((all) => all.filter((one) => one.checkVisibility()).length)) === 0, `${part} is printed`);
}
const ink = await printed.evaluate(() => [getComputedStyle(document.documentElement).color, getComputedStyle(document.documentElement).backgroundColor]);
check(ink.join() === "rgb(0, 0, 0),rgb(255, 255, 255)", `printed as ${ink}`);
await looked(printed, "report-printed");
await printed.context().close();

// A list with a mistake is told by line; without it, it is looked over and taken in.
const listed = await window(WIDE);
await listed.goto(`${base}/lists`);
const list = (text) => ({ name: "machines.csv", mimeType: "text/csv", buffer: Buffer.from(text) });
await listed.setInputFiles("#file", list("machine_type,serial\njar-capper,JC-9001\ncrane,1\n"));
await follow(listed, () => listed.getByRole("button", { name: "Look it over" }).click());
check((await listed.locator("[role=alert]").innerText()).includes("1 of 2 rows"), "the mistakes of a list are counted");
check((await listed.locator("main table").first().innerText()).includes("crane"), "and stand there with their lines");
await accessible(listed, "a list with a mistake");
await looked(listed, "list-wrong");
await listed.setInputFiles("#file", list("machine_type,serial\njar-capper,JC-9001\n"));
await follow(listed, () => listed.getByRole("button", { name: "Look it over" }).click());
await looked(listed, "list-looked-over");
await follow(listed, () => listed.getByRole("button", { name: "Take them in" }).click());
check((await listed.locator("main").innerText()).includes("1 new"), "a good list is taken in");
await listed.goto(`${base}/search?for=JC-9001`);
check((await listed.locator("main").innerText()).includes("JC-9001"), "and is there");
const [saved] = await Promise.all([listed.waitForEvent("download"), listed.goto(`${base}/lists`).then(() => listed.getByRole("link", { name: "machines.csv" }).click())]);
check(readFileSync(await saved.path(), "utf8").includes("JC-9001"), "and comes out again");

// A mistake in closing a call stands beside its field, and what was typed is kept.
const closed = await window(PHONE);
await closed.goto(`${base}/`);
await closed.selectOption("#type", "jar-capper");
await follow(closed, () => closed.locator("form:has(#type) button").click());
await closed.locator("#end summary").click();
await closed.fill("#words", "a loose plug");
await closed.fill("#minutes", "many");
await follow(closed, () => closed.getByRole("button", { name: "Keep it and close the call" }).click());
check((await closed.locator("#wrong-minutes").innerText()).includes("no number"), "the mistake stands beside its field");
check((await closed.inputValue("#words")) === "a loose plug", "what was typed is kept");
await accessible(closed, "closing with a mistake");
await looked(closed, "closing-wrong");
await closed.fill("#minutes", "5");
await follow(closed, () => closed.getByRole("button", { name: "Keep it and close the call" }).click());
check((await closed.locator("main").innerText()).includes("Closed"), "and closes once it is put right");

// Signing in, by the keyboard alone, in each role; what a role may not do is not offered.
const folder = mkdtempSync(join(tmpdir(), "lampwise-pages-"));
process.on("exit", () => rmSync(folder, { recursive: true, force: true }));
const records = join(folder, "desk.sqlite");
const PASSWORD = "plum kettle ladder fog";
const run = (arguments_, input) => {
  const ended = spawnSync(program, arguments_, { input, encoding: "utf8" });
  check(ended.status === 0, `${arguments_.join(" ")}: ${ended.stderr}`);
};
run(["records", "demo", records, "--calls", "40"]);
for (const role of ["reader", "desk", "editor"]) run(["accounts", "add", records, `${role}-one`, "--role", role], `${PASSWORD}\n`);
base = await serve("--records", records, "--accounts");
const stranger = await window(WIDE);
await stranger.goto(`${base}/machines`);
check(stranger.url().includes("/sign-in"), "a stranger is led to sign in");
check(!(await stranger.locator("body").innerText()).includes("Calls"), "a stranger sees no pages");
for (const theme of ["light", "dark"]) {
  const small = await window(PHONE, theme);
  await small.goto(`${base}/sign-in`);
  await holds(small, "sign-in", theme);
  await small.context().close();
}
const type = async (one, who, password) => {
  await one.keyboard.type(who);
  await one.keyboard.press("Tab");
  await one.keyboard.type(password);
  await follow(one, () => one.keyboard.press("Enter"));
};
await type(stranger, "desk-one", "not the password");
check((await stranger.locator("[role=alert]").innerText()).includes("do not fit together"), "a wrong password is told");
await accessible(stranger, "a wrong password");
await looked(stranger, "sign-in-wrong");
await stranger.keyboard.type(PASSWORD);
await follow(stranger, () => stranger.keyboard.press("Enter"));
check(stranger.url() === `${base}/machines`, `one goes on where one wanted to go: ${stranger.url()}`);
const cookies = await stranger.context().cookies();
check(cookies.length === 1 && cookies[0].httpOnly && cookies[0].sameSite === "Strict", "the cookie is for the server alone");
check((await stranger.evaluate(() => document.cookie)) === "", "and no script sees it");
await stranger.goto(`${base}/`);
await stranger.selectOption("#type", "jar-capper");
await follow(stranger, () => stranger.locator("form:has(#type) button").click());
check(/\/calls\/\d+$/.test(stranger.url()), "the desk begins a call");
await follow(stranger, () => stranger.getByRole("button", { name: "it stops midway" }).click());
check((await stranger.locator("#said").innerText()).includes("midway"), "and works it");
for (const role of ["reader", "editor"]) {
  const one = await window(PHONE, "dark");
  await one.goto(`${base}/`);
  await type(one, `${role}-one`, PASSWORD);
  const text = await one.locator("body").innerText();
  check(text.includes(`${role}-one (${role})`), `who is signed in stands there: ${role}`);
  check(text.includes("Begin the call") === (role === "editor"), `what may not be done is not offered: ${role}`);
  await holds(one, `signed-in-${role}`, "dark");
  for (const [what, address] of Object.entries({ call: new URL(stranger.url()).pathname, machine: "/machines/1", password: "/password", lists: "/lists" })) {
    await one.goto(base + address);
    await calm(one);
    await holds(one, `${role}-${what}`, "dark");
  }
  const answer = await one.goto(`${base}/accounts`);
  check(answer.status() === (role === "editor" ? 200 : 403), `the list of accounts is for editors: ${role}`);
  await holds(one, `${role}-accounts`, "dark");
  await follow(one, () => one.getByRole("button", { name: "Sign out" }).click());
  check(one.url().includes("/sign-in"), "signing out leads out");
  await one.goto(`${base}/calls`);
  check(one.url().includes("/sign-in"), "and nothing is seen any more");
  await one.context().close();
}
await browser.close();
if (failures > 0) {
  console.error(`${failures} failures`);
  process.exit(1);
}
console.log("the pages hold in a browser");
// The server's open pipe would keep this program waiting; ending it ends the server.
process.exit(0);
