// The page over a shop: two benches tell a shop of their engines, and what both
// recorded is on one page, which only shows.
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import net from "node:net";
import { browser, daemon, grave, inColours, openPage, patience, shoot } from "./stand.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

/** @type {Awaited<ReturnType<typeof daemon>>[]} */ const running = [];
/** @type {Awaited<ReturnType<typeof daemon>>} */ let shop;
/** @type {Awaited<ReturnType<typeof daemon>>} */ let second;
/** @type {import("playwright-core").Browser} */ let b;

/** @returns {Promise<number>} a port that nobody has just now */
const freePort = () => new Promise((resolve) => {
  const s = net.createServer().listen(0, "127.0.0.1", () => {
    const { port } = /** @type {net.AddressInfo} */ (s.address());
    s.close(() => resolve(port));
  });
});

/** @param {string[]} args @param {{addr?: string, data?: string}} [options] */
async function begin(args, options) {
  const d = await daemon(args, options);
  running.push(d);
  return d;
}

/** @param {string} url @param {string} method @param {string} path @param {unknown} body */
async function send(url, method, path, body) {
  const text = typeof body === "string";
  const r = await fetch(`${url}/api/v1${path}`, { method, body: text ? body : JSON.stringify(body), headers: { Origin: url, "Content-Type": text ? "text/plain" : "application/json" } });
  const answer = await r.text();
  assert.ok(r.ok, `${method} ${path}: ${answer}`);
  return answer ? JSON.parse(answer) : null;
}

/** Two openings of a smooth lift, in steps of 0.002 mm. @param {number} mm its max lift */
function turn(mm) {
  const lines = ["t_s,lift_mm"];
  for (let i = 0; i < 20 * 50; i++) {
    const s = (i / 50) % 8;
    const lift = s > 4 ? (mm / 2) * (1 - Math.cos((2 * Math.PI * (s - 4)) / 4)) : 0;
    lines.push(`${(i / 50).toFixed(2)},${(Math.round(lift / 0.002) * 0.002).toFixed(3)}`);
  }
  return lines.join("\n");
}

/** An engine with a max lift for each of its valves. @param {string} url @param {string} id @param {Record<string, number>} lifts */
async function build(url, id, lifts) {
  await send(url, "POST", "/engines", { id, name: id.toUpperCase(), type: "small block", cylinders: 2, valves_per_cylinder: 2, rocker_ratio: { intake: 1.5, exhaust: 1.5 }, cam_card: {}, limits: {}, pushrod: {} });
  for (const [valve, mm] of Object.entries(lifts)) {
    await send(url, "PUT", "/bench", { engine: id, valve });
    await send(url, "POST", `/traces?name=${valve}.csv`, turn(mm));
  }
}

before(async () => {
  const nats = `127.0.0.1:${await freePort()}`;
  shop = await begin(["shop", "--embedded", "--listen", nats]);
  const first = await begin(["serve", "--shop", `nats://${nats}`, "--bench", "stand-1"]);
  second = await begin(["serve", "--shop", `nats://${nats}`, "--bench", "stand-2"]);
  await build(first.url, "red", { "1I": 10.66, "1E": 10.9, "2I": 10.67 });
  await build(first.url, "blue", { "1I": 10.67, "1E": 10.91, "2I": 10.66 });
  await build(second.url, "green", { "1I": 10.65, "1E": 10.89, "2I": 10.68 });
  await build(second.url, "black", { "1I": 10.66, "1E": 10.42, "2I": 10.67 });
  await send(second.url, "POST", "/engines/black/trials", { valve: "1E", stack_mm: [0.381], adjuster_below_valve_mm: 2.9 });
  b = await browser();
  for (const late = Date.now() + patience; ;) {
    const { benches, engines } = await (await fetch(`${shop.url}/api/v1/shop`)).json();
    const traces = (benches ?? []).reduce((/** @type {number} */ n, /** @type {any} */ e) => n + e.traces, 0);
    if (traces === 12 && engines?.length === 4) break;
    assert.ok(Date.now() < late, `the shop has ${traces} traces`);
    await new Promise((again) => setTimeout(again, 100));
  }
});
after(async () => {
  await b?.close();
  for (const d of running.reverse()) await d.end();
});

/** Each screen, and what stands on it when all of it is there. The colours and words of the first ones are the shop's own. */
const screens = /** @type {const} */ ([
  ["shop", ".type-block tbody tr", true], ["shop/small%20block", ".spread-row:nth-child(3) .spread-dot", true], ["traces/1", "tbody tr", true],
  ["engine", ".valve", true], ["traces", ".card-figure", false], ["trials", "tbody tr", false], ["compare", "input[type=checkbox]", false],
  ["clearances/pushrods", "h2", false], ["timing", "h1", false], ["sheet", "h2", false], ["help", ".topics a", false],
]);

/** To a screen without loading the page again: the engine that is looked at stays with it. @param {import("playwright-core").Page} page @param {string} screen @param {string} there */
async function go(page, screen, there) {
  await page.evaluate((to) => { location.hash = `#/${to}`; }, screen);
  await page.locator(`main.view-${screen.split("/")[0]}`).waitFor();
  await page.locator(`main ${there}`).first().waitFor();
}

for (const [width, height] of [[390, 844], [1440, 900]]) {
  test(`the shop's screens at ${width}x${height}, light and dark`, async () => {
    const { page, context, complaints } = await openPage(b, { viewport: { width, height } });
    await page.goto(shop.url);
    await page.getByRole("heading", { name: "Benches" }).waitFor();
    await page.getByRole("button", { name: "BLACK" }).click();
    await page.getByText("valves done").waitFor();
    await page.getByRole("button", { name: /Cylinder 1 exhaust/ }).click();
    await page.locator('.valve[aria-pressed="true"]').waitFor();
    await page.evaluate(axe + ";0");
    const bad = [];
    for (const [screen, there, own] of screens) {
      await go(page, screen, there);
      const sideways = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
      if (sideways > 0) bad.push(`${screen}: ${sideways} px sideways`);
      for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
        await inColours(page, colorScheme);
        await shoot(page, `shop-${screen.replace(/\W+/g, "-")}-${width}-${colorScheme}`);
        if (!own || width > 390) continue; // the rest is the bench's, and looked at there
        const found = await grave(page, colorScheme === "dark");
        bad.push(...found.map((f) => `${screen}, ${colorScheme}: ${f}`));
      }
    }
    assert.deepEqual(bad, []);
    assert.deepEqual(complaints, []);
    await context.close();
  });
}

test("benches, engines and what stands out, down to the trace", async () => {
  const { page, context } = await openPage(b);
  await page.goto(shop.url);
  await page.getByText("Everything that the benches told is here.").waitFor();
  assert.deepEqual(await page.locator(".card strong").allInnerTexts(), ["stand-1", "stand-2"]);
  await page.getByRole("link", { name: "How they differ" }).click();
  await page.getByText("One engine stands out: stand-2.black at cylinder 1 exhaust.").waitFor();
  const row = page.locator(".spread-row", { hasText: "Cylinder 1 exhaust" });
  // 10.42 against the median of 10.89, 10.90 and 10.91, which is 0.0189 in less.
  assert.match(await row.locator(".spread-says").innerText(), /stand-2\.black lifts 0\.01[89]\d in less/);
  assert.equal(await page.locator(".spread-odd").count(), 1);
  await row.getByRole("link", { name: "Lay them over each other" }).click();
  await page.getByText("4 openings laid over each other.").or(page.locator(".pens li").nth(3)).first().waitFor();
  await page.goBack();
  await row.locator("summary").click();
  await row.locator("tr", { hasText: "black" }).getByRole("link").click();
  await page.getByRole("heading", { name: /Cylinder 1 exhaust/ }).waitFor();
  await page.getByText(", recorded on stand-2").waitFor();
  await context.close();
});

test("nothing can be changed over a shop, and each page looks where it will", async () => {
  const { page, context } = await openPage(b);
  const other = await openPage(b);
  for (const p of [page, other.page]) {
    await p.goto(shop.url);
    await p.getByRole("heading", { name: "Benches" }).waitFor();
  }
  assert.equal(await page.locator("dialog").count(), 0, "nothing is turned there, so nobody is cautioned");
  assert.deepEqual(await page.locator(".rail a").allInnerTexts(), ["Shop", "Traces", "Engine", "Trials", "Timing", "Compare", "Clearances", "Sheet", "Help"]);
  await page.getByRole("button", { name: "RED" }).click();
  await page.getByRole("heading", { name: "RED: " }).waitFor();
  await other.page.getByRole("button", { name: "GREEN" }).click();
  await other.page.getByRole("heading", { name: "GREEN: " }).waitFor();
  await page.getByRole("heading", { name: "RED: " }).waitFor();
  assert.ok(await page.getByLabel("Name", { exact: true }).isDisabled(), "the card is to read");
  for (const [screen, there, absent] of /** @type {[string, string, RegExp][]} */ ([["engine", ".valve", /Save|Delete the engine|New engine|Turn it on/], ["traces", ".card-figure", /Import a file/], ["traces/1", "h2", /Replay|Save/], ["trials", "h1", /Save|Edit|Delete/], ["timing", "h1", /Save|Find|Take/]])) {
    await go(page, screen, there);
    assert.equal(await page.getByRole("button", { name: absent }).count(), 0, `${screen}: ${absent}`);
    assert.equal(await page.locator("input[type=file]").count(), 0);
  }
  for (const screen of ["bench", "devices"]) { // nothing is turned or plugged in there
    await page.evaluate((to) => { location.hash = `#/${to}`; }, screen);
    await page.locator("main.view-shop .type-block").first().waitFor();
    assert.equal(await page.getByRole("button", { name: /Mark|Next valve|End this trace|Disconnect|simulator/ }).count(), 0);
  }
  const units = await page.locator(".unit-switch").innerText();
  await page.locator(".unit-switch").click();
  await page.waitForFunction((before) => document.querySelector(".unit-switch")?.textContent?.trim().slice(0, 2) !== before.slice(0, 2), units);
  assert.equal((await (await fetch(`${shop.url}/api/v1/settings`)).json()).units, "in", "it is of this page only");
  await context.close();
  await other.context.close();
});

test("a bench says how it stands with its shop, and goes on with another's engine", async () => {
  const { page, context, complaints } = await openPage(b, { viewport: { width: 390, height: 844 } });
  await page.addInitScript(() => localStorage.setItem("lobescribe", '{"cautioned":true,"ended":true}'));
  await page.goto(`${second.url}/#/devices`);
  await page.getByText(/Shop: nothing waits, last sent/).waitFor();
  await page.goto(`${second.url}/#/shop`);
  await page.getByRole("heading", { name: "This bench is stand-2" }).waitFor();
  await page.getByRole("button", { name: "Show the engines of the shop" }).click();
  const card = page.locator("article", { hasText: "RED" });
  await card.getByRole("button", { name: "Go on with it here" }).click();
  await page.getByText("RED is here now, with 3 new traces.").waitFor();
  await card.getByRole("button", { name: "Bring it up to date" }).waitFor();
  await shoot(page, "shop-of-a-bench-390-light");
  assert.deepEqual(complaints, []);
  await context.close();
});
