// Tests the pages in headless Chromium: node pages.mjs PROGRAM [PICTURES]. PROGRAM is the lampwise to be tried; it is
// started with the invented records. With PICTURES each screen is saved there to be looked at.
import { spawn } from "node:child_process";
import { mkdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
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

const server = spawn(program, ["serve", "--demo", "--port", "0", "--json"], { stdio: ["ignore", "pipe", "inherit"] });
const base = await new Promise((resolve, reject) => {
  let text = "";
  server.once("exit", () => reject(new Error(`the server ended: ${text}`)));
  server.stdout.on("data", (part) => {
    text += part;
    try { resolve(JSON.parse(text).address.replace(/\/$/, "")); } catch { /* not whole yet */ }
  });
});
process.on("exit", () => server.kill("SIGINT"));
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
  return page;
}
const calm = (page) => page.waitForLoadState("networkidle", { timeout: 240_000 });
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
check(text.includes("I1-I4 I7 on"), "the lamps stand there as they were tapped");
check(text.includes("Start needs (1 missing)"), "the missing condition is said first");
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

// A machine file with a mistake is not saved, and the mistake stands beside its line.
await page.goto(`${base}/types/1/file`);
await page.locator("#file").evaluate((field) => { field.value = field.value.replace("[machine]", "[machin]"); });
await follow(page, () => page.getByRole("button", { name: /Look it over/ }).click());
check((await page.locator("[role=alert]").innerText()).includes("Not saved"), "a wrong file is not saved");
check((await page.locator(".listing").innerText()).includes("machin"), "its line is shown");
await looked(page, "wrong-file");

// Every page: on a telephone nothing sticks out, and the rules of accessibility hold, by day and by night.
const call = new URL(first.url()).pathname;
const pages = { front: "/", calls: "/calls", call, report: `${call}/report`, machines: "/machines", machine: "/machines/1",
  types: "/types", type: "/types/1", devices: "/types/1/devices", file: "/types/1/file", figures: "/figures",
  practice: "/practice", exercise: "/practice/jar-capper/lapse/1", found: "/search?for=cap" };
for (const theme of ["light", "dark"]) {
  for (const [name, address] of Object.entries(pages)) {
    const small = await window(PHONE, theme);
    await small.goto(base + address);
    await calm(small);
    const wide = await small.evaluate(() => document.documentElement.scrollWidth);
    check(wide <= PHONE.width, `${name}: ${wide} px wide on a telephone`);
    await accessible(small, `${name}, ${theme}`);
    await looked(small, `${name}-phone-${theme}`);
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

await browser.close();
if (failures > 0) {
  console.error(`${failures} failures`);
  process.exit(1);
}
console.log("the pages hold in a browser");
// The server's open pipe would keep this program waiting; ending it ends the server.
process.exit(0);
