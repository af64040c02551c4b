// An indicator whose cable is a keyboard: it types into whatever has the focus, key
// by key and faster than any hand, and ends with Enter. The keys bear the times that
// a cable gives them, so that a busy machine changes nothing.
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import { browser, daemon, openPage, watch } from "./stand.mjs";

/** @type {Awaited<ReturnType<typeof daemon>>} */ let d;
/** @type {import("playwright-core").Browser} */ let b;
before(async () => {
  d = await daemon(["demo"]);
  b = await browser();
});
after(async () => {
  await b?.close();
  await d?.end();
});

/** The codes of keys that are not their letter's. @type {Record<string, number>} */
const codes = { "\r": 13, "+": 187, "-": 189, ".": 190 };

/**
 * Types as a cable does: a key every few milliseconds of the events' own time.
 * @param {import("playwright-core").Page} page
 */
async function wedge(page) {
  const cdp = await page.context().newCDPSession(page);
  let at = Date.now() / 1000;
  return async (/** @type {string} */ text, apart = 0.004) => {
    at = Math.max(at + 1, Date.now() / 1000);
    for (const letter of text) {
      at += apart;
      const enter = letter === "\r";
      const key = { key: enter ? "Enter" : letter, text: letter, windowsVirtualKeyCode: codes[letter] ?? letter.toUpperCase().charCodeAt(0), timestamp: at };
      await cdp.send("Input.dispatchKeyEvent", { type: "keyDown", ...key });
      await cdp.send("Input.dispatchKeyEvent", { type: "keyUp", ...key });
    }
  };
}

test("a figure goes into the field, Enter to the next, and nothing is saved by it", async () => {
  const { page, context, complaints } = await openPage(b);
  const settled = watch(page);
  await page.addInitScript(() => localStorage.setItem("lobescribe", '{"cautioned":true,"ended":true}'));
  await page.goto(`${d.url}/#/trials`);
  const form = page.locator("main form").filter({ has: page.getByLabel("Adjuster end below valve end") });
  const fold = page.locator("details.panel").first();
  await fold.waitFor();
  if (!(await fold.evaluate((/** @type {any} */ e) => e.open))) await fold.locator("summary").click();
  const engine = (await (await page.request.get(`${d.url}/api/v1/engines`)).json())[0].id;
  const trials = async () => (await (await page.request.get(`${d.url}/api/v1/engines/${engine}/trials`)).json()).length;
  const was = await trials();
  const names = await form.locator("input:visible").evaluateAll((all) => all.map((e) => /** @type {HTMLInputElement} */ (e).labels?.[0]?.textContent ?? ""));
  const at = names.indexOf("Adjuster end below valve end");
  assert.ok(at >= 0 && at + 1 < names.length, names.join());
  const type = await wedge(page);
  await page.getByLabel("Adjuster end below valve end").focus();
  await page.keyboard.press("Control+A");
  await type("+000.1250\r");
  assert.equal(Number.parseFloat(await page.getByLabel("Adjuster end below valve end").inputValue()), 0.125);
  assert.equal(await page.evaluate(() => /** @type {HTMLInputElement} */ (document.activeElement).labels?.[0]?.textContent), names[at + 1]);
  await settled();
  assert.equal(await page.getByText("The trial is saved.").count(), 0);
  assert.equal(await trials(), was);
  // A hand's Enter sends the form, as ever.
  await page.getByLabel("Adjuster end below valve end").focus();
  await type("\r");
  await page.getByText("The trial is saved.").waitFor();
  assert.equal(await trials(), was + 1);
  assert.deepEqual(complaints, []);
  await context.close();
});

test("where no field has the focus it is no pedal, and the page says so", async () => {
  const { page, context, complaints } = await openPage(b);
  await page.addInitScript(() => localStorage.setItem("lobescribe", '{"cautioned":true,"ended":true,"keys":{"Enter":"mark"}}'));
  const asked = /** @type {string[]} */ ([]);
  page.on("request", (r) => { if (r.method() !== "GET") asked.push(`${r.method()} ${r.url()}`); });
  await page.goto(`${d.url}/#/bench`);
  await page.locator("h1").first().waitFor();
  await page.evaluate(() => /** @type {HTMLElement} */ (document.activeElement).blur());
  const type = await wedge(page);
  await type("10.668 mm\r");
  await page.getByText("10.668 mm was typed, and no field was there to take it").waitFor();
  assert.deepEqual(asked, []);
  assert.deepEqual(complaints, []);
  await context.close();
});
