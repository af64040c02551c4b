// What is half typed: a text that does not read yet, in a field of each kind on
// each screen, over Escape, the mouse's wheel, the other unit, a reload and a try
// to save. It stands there as it was typed, nothing of it is kept, and the figure
// that was there before comes back when it is discarded. And the same document
// open in two tabs.
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import { patience, shoot } from "./stand.mjs";
import { onTheMule, remember } from "./mule.mjs";
import { at, changed, fields, leaves } from "./typing.mjs";

/** @type {Awaited<ReturnType<typeof onTheMule>>} */ let stand;
/** @type {typeof stand.d} */ let d;
/** @type {typeof stand.page} */ let page;
/** @type {typeof stand.typist} */ let typist;
before(async () => {
  stand = await onTheMule();
  ({ d, page, typist } = stand);
  await stand.rest();
});
after(async () => {
  if (page) await shoot(page, "half-last");
  await stand?.end();
});

/** Unfinished, of each kind. @type {Record<string, string>} */
const halves = { length: "8 11/", lengths: "0.05 + ", number: "1.2.", whole: "2.5.", cylinders: "1-3-", heads: "1 2 /", valves: "1I 9", checks: "0.05 in, 1/", "own-name": "4 intake " };

async function held() {
  const [engines, trials, works] = await Promise.all(["/engines", `${at}/trials`, `${at}/works`].map((path) => typist.api("GET", path)));
  const flat = /** @type {Record<string, string>} */ ({});
  leaves({ engines, trials, works }, "", flat);
  return flat;
}

test("what is half typed stays as it is, and is never kept", { timeout: 900_000 }, async () => {
  const wrong = [], before = await held();
  let tried = 0;
  for (const route of await typist.screens()) {
    if (/^(bench|help|traces$)/.test(route)) continue;
    await typist.show(route);
    const kinds = await page.locator(fields).evaluateAll((found) => found.map((f) => f.getAttribute("data-kind") ?? ""));
    for (const kind of Object.keys(halves)) {
      const n = kinds.lastIndexOf(kind); // the last is rarely the one that other tests fill
      if (n < 0) continue;
      await typist.show(route, n);
      tried++;
      const name = `${route}, ${kind}`, half = halves[kind], field = page.locator(fields).nth(n);
      const first = await field.inputValue();
      const stands = async (/** @type {string} */ when) => {
        await typist.settled();
        const now = await field.inputValue(), red = await field.getAttribute("aria-invalid");
        if (now !== half) wrong.push(`${name}: ${JSON.stringify(half)} became ${JSON.stringify(now)} ${when}`);
        else if (!red) wrong.push(`${name}: ${JSON.stringify(half)} is not refused ${when}`);
      };
      await field.fill("");
      await field.pressSequentially(half);
      await field.press("Escape");
      await page.mouse.wheel(0, 40);
      await field.press("Tab");
      await stands("when it is left");
      await page.locator(".unit-switch").click();
      await stands("in the other unit");
      await page.reload();
      await typist.show(route, n);
      await stands("after a reload");
      const send = await field.evaluateHandle((f) => f.closest("form")?.querySelector("button:not([type=button])") ?? f.closest("[data-fields]")?.querySelector("p > button:not(.quiet)") ?? null);
      const button = send.asElement();
      if (button && (await button.isEnabled())) {
        await button.click();
        if (!(await field.evaluate((f) => f === document.activeElement))) wrong.push(`${name}: the form did not go to it`);
        await stands("when the form is sent");
      }
      await page.locator(".unit-switch").click();
      const form = page.locator("form, [data-fields]").filter({ has: page.locator("[data-wrong]") }), discard = form.getByRole("button", { name: "Discard what was typed" });
      if (await discard.count()) await discard.first().click();
      else await field.fill(first);
      await page.locator("h1").first().click();
      await typist.settled();
      await typist.show(route, n); // a pair of a list goes with what was typed in it
      const now = await field.inputValue();
      if (now !== first) wrong.push(`${name}: ${JSON.stringify(first)} came back as ${JSON.stringify(now)}`);
      wrong.push(...changed(before, await held()).map((c) => `${name}: ${c.path} became ${c.now}`));
    }
  }
  console.log(`${tried} fields half typed`);
  assert.deepEqual(wrong, []);
  assert.ok(tried >= 15, `only ${tried} fields were tried`);
});

test("a text that does not read in one unit is read when it does in the other", async () => {
  await typist.show("engine");
  const rod = page.getByLabel("Stroke", { exact: true });
  const first = await rod.inputValue(), other = async (/** @type {string} */ unit) => {
    await page.locator(".unit-switch").click();
    await page.waitForFunction((u) => document.querySelector(".unit-switch")?.textContent?.trim().startsWith(u), unit);
  };
  await rod.fill("90"); // no stroke in inches
  await rod.press("Tab");
  assert.equal(await rod.getAttribute("aria-invalid"), "true");
  await other("mm");
  await page.waitForFunction(() => !document.querySelector("main [aria-invalid]"));
  assert.equal(await rod.inputValue(), "90");
  await rod.fill("88.9");
  await rod.press("Tab");
  await other("in");
  assert.equal(await rod.inputValue(), first);
});

test("pasted, filled in by the browser, Enter in the middle, gone back in the middle", async () => {
  const mm = (/** @type {number} */ inches) => Math.round(inches * 25.4e6) / 1e6, rod = page.getByLabel("Connecting rod", { exact: true }), length = async () => (await typist.api("GET", at)).rod_mm;
  const save = () => page.locator(".engine-form").getByRole("button", { name: "Save", exact: true }).click();
  await page.context().grantPermissions(["clipboard-read", "clipboard-write"], { origin: d.url });
  const paste = async (/** @type {string} */ text) => {
    await page.evaluate((t) => navigator.clipboard.writeText(t), text);
    await rod.fill("");
    await rod.press("ControlOrMeta+v");
  };
  const saved = async (/** @type {number} */ inches, /** @type {string} */ how) => {
    for (let n = 0; n < 100 && (await length()) !== mm(inches); n++) await page.waitForTimeout(100);
    assert.equal(await length(), mm(inches), how);
  };
  await typist.show("engine");
  const first = await length();
  // Two cells of a column: the browser alone would make 610 of them.
  await paste("6\n10");
  assert.equal(await rod.inputValue(), "6 10");
  await save();
  assert.equal(await rod.getAttribute("aria-invalid"), "true");
  assert.equal(await length(), first, "nothing is made of two figures");
  await paste("\t5\u201111/16\u00a0in\r\n");
  await save();
  await saved(5.6875, "a line of a web page, with its hyphen and its blanks");
  // Enter in the middle: it is not sent, and goes on from where it stood.
  await rod.fill("");
  await rod.pressSequentially("5 13/");
  await rod.press("Enter");
  await typist.settled();
  assert.equal(await rod.getAttribute("aria-invalid"), "true");
  assert.equal(await length(), mm(5.6875), "no half of it is kept");
  await rod.press("End");
  await rod.pressSequentially("16");
  await rod.press("Enter");
  await saved(5.8125, "typed to its end");
  // Back in the middle, and forth: what was typed stands there, and nothing of it is kept.
  await page.evaluate(() => { location.hash = "#/help"; });
  await page.locator("main.view-help h1").waitFor();
  await typist.show("engine");
  await rod.fill("");
  await rod.pressSequentially("5 7");
  await page.goBack();
  await page.locator("main.view-help h1").waitFor();
  assert.equal(await length(), mm(5.8125));
  await page.goForward();
  await typist.unfold();
  assert.equal(await rod.inputValue(), "5 7");
  await rod.press("End");
  await rod.pressSequentially("/8");
  await save();
  await saved(5.875, "after back and forth");
  // As a browser fills a field in: no key, one event.
  await rod.evaluate((/** @type {HTMLInputElement} */ f) => {
    Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value")?.set?.call(f, "147,5 mm");
    f.dispatchEvent(new Event("input", { bubbles: true }));
  });
  await save();
  await saved(147.5 / 25.4, "filled in by the browser");
  assert.equal(await length(), 147.5);
});

test("typed while it is being saved, and pressed twice", async () => {
  await typist.show("engine");
  const kind = page.getByLabel("Type", { exact: true }), save = page.locator(".engine-form").getByRole("button", { name: "Save", exact: true });
  await page.route(`**/api/v1${at}`, async (r) => { // a slow network
    if (r.request().method() === "PUT") await new Promise((on) => setTimeout(on, 1500));
    await r.continue();
  });
  await kind.fill("sent");
  const put = page.waitForResponse((r) => r.request().method() === "PUT" && r.ok());
  await save.click();
  await kind.fill("typed since");
  await put;
  await page.getByText("The engine is saved.").first().waitFor();
  assert.equal((await typist.api("GET", at)).type, "sent");
  assert.equal(await kind.inputValue(), "typed since");
  await page.getByText("Not saved yet").first().waitFor();
  await page.unroute(`**/api/v1${at}`);
  await save.click();
  await page.getByText("Not saved yet").first().waitFor({ state: "detached" });
  assert.equal((await typist.api("GET", at)).type, "typed since");
  // A double press makes one trial, not two.
  await typist.show("trials");
  const before = (await typist.api("GET", `${at}/trials`)).length, remark = page.locator("form", { has: page.getByLabel("Shims under the stand") }).getByLabel("Remark");
  await page.route(`**/api/v1${at}/trials`, async (r) => {
    await new Promise((on) => setTimeout(on, 500));
    await r.continue();
  });
  await remark.fill("once");
  await remark.press("Enter");
  await remark.press("Enter");
  await page.getByText("The trial is saved.").first().waitFor();
  await page.unroute(`**/api/v1${at}/trials`);
  await typist.settled();
  assert.equal((await typist.api("GET", `${at}/trials`)).length, before + 1);
});

test("two tabs on one document: what each typed is kept, or it is said where", async () => {
  const other = await page.context().newPage();
  other.setDefaultTimeout(patience);
  await other.addInitScript(remember);
  const open = async (/** @type {import("playwright-core").Page} */ tab) => {
    await tab.goto(`${d.url}/#/help`);
    await tab.goto(`${d.url}/#/engine`);
    await tab.locator(".engine-form").waitFor();
    await tab.evaluate(() => { for (const e of document.querySelectorAll("main details")) /** @type {HTMLDetailsElement} */ (e).open = true; });
  };
  await open(page);
  await open(other).catch(async (err) => { await shoot(other, "half-other"); throw err; });
  const save = (/** @type {import("playwright-core").Page} */ tab) => tab.locator(".engine-form").getByRole("button", { name: "Save", exact: true }).click();
  await page.getByLabel("Type", { exact: true }).fill("of the first tab");
  await save(page);
  await page.getByText("The engine is saved.").waitFor();
  // Another field of a document that is older here: both are kept, or the reason stands there.
  await other.getByLabel("Notes").fill("of the second tab");
  await save(other);
  await other.locator(".notices, .engine-form .trouble").getByText(/saved|changed/).first().waitFor();
  let engine = await typist.api("GET", at);
  assert.equal(engine.type, "of the first tab", "the first tab's is there");
  assert.equal(await other.getByLabel("Notes").inputValue(), "of the second tab", "the second tab's still stands in it");
  if (engine.notes !== "of the second tab") {
    await save(other);
    await other.getByText("The engine is saved.").waitFor();
    engine = await typist.api("GET", at);
  }
  assert.equal(engine.notes, "of the second tab");
  assert.equal(engine.type, "of the first tab");
  // The same field: it is said before the other's is replaced.
  await open(page);
  await open(other);
  await page.getByLabel("Type", { exact: true }).fill("one");
  await save(page);
  await page.getByText("The engine is saved.").waitFor();
  await other.getByLabel("Type", { exact: true }).fill("two");
  await save(other);
  await other.getByText(/was changed elsewhere/).first().waitFor();
  assert.equal((await typist.api("GET", at)).type, "one", "nobody's is replaced unsaid");
  assert.equal(await other.getByLabel("Type", { exact: true }).inputValue(), "two");
  await other.close();
});
