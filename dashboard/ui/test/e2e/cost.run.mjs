// What it costs to look at the bench: processor time of the page's main thread, by
// the browser's own metrics, beside an empty page of the same daemon. Turning, and
// standing still. At real speed, since the pace of readings is what costs.
import { test } from "node:test";
import assert from "node:assert/strict";
import { browser, daemon, openPage } from "./stand.mjs";

const seconds = Number(process.env.COST_SECONDS ?? 10);

/**
 * @param {import("playwright-core").Page} page
 * @param {number} throttle how many times slower the processor is made
 */
async function cost(page, throttle) {
  const tools = await page.context().newCDPSession(page);
  await tools.send("Performance.enable", { timeDomain: "threadTicks" }); // what others do to the machine is left out
  await tools.send("Emulation.setCPUThrottlingRate", { rate: throttle });
  const take = async () => Object.fromEntries((await tools.send("Performance.getMetrics")).metrics.map((m) => [m.name, m.value]));
  const began = Date.now(), before = await take();
  await page.waitForTimeout(seconds * 1000);
  const after = await take(), took = (Date.now() - began) / 1000;
  await tools.send("Emulation.setCPUThrottlingRate", { rate: 1 });
  await tools.detach();
  const by = (/** @type {string} */ name) => after[name] - before[name];
  return { busy: (100 * by("TaskDuration")) / took, script: (100 * by("ScriptDuration")) / took, layouts: by("LayoutCount") / took, styles: by("RecalcStyleCount") / took, took };
}

test("what the bench view costs, beside an empty page", { timeout: 900_000 }, async () => {
  const d = await daemon(["demo", "--empty", "--hand", "smooth"]);
  const b = await browser();
  try {
    const { page } = await openPage(b);
    await page.addInitScript(() => localStorage.setItem("lobescribe", '{"cautioned":true,"ended":true,"tour":-1}'));
    const say = (/** @type {string} */ what, /** @type {Awaited<ReturnType<typeof cost>>} */ c) =>
      console.log(`${what.padEnd(30)} ${c.busy.toFixed(1).padStart(5)} % busy, ${c.script.toFixed(1).padStart(5)} % script, ${c.layouts.toFixed(1)} layouts and ${c.styles.toFixed(1)} styles a second, over ${c.took.toFixed(0)} s`);
    await page.goto(`${d.url}/healthz`);
    const empty = await cost(page, 1);
    say("an empty page", empty);
    await page.goto(`${d.url}/#/bench`);
    await page.locator(".openings tbody tr").first().waitFor({ timeout: 240_000 });
    const turning = await cost(page, 1), slow = await cost(page, 4);
    say("the bench, turning", turning);
    say("four times slower", slow);
    // Nothing moves any more: no more than a device's word a second is drawn.
    await page.request.post(`${d.url}/api/v1/simulator`, { data: { on: false }, headers: { Origin: d.url } });
    await page.waitForTimeout(3000);
    const still = await cost(page, 1);
    say("the bench, nothing to read", still);
    assert.ok(turning.layouts > 1, "it was turning, and something was drawn");
    assert.ok(turning.styles <= 65, "not more often than the display draws");
    assert.ok(still.layouts <= 4 && still.busy <= empty.busy + 3, "nothing is drawn while nothing moves");
  } finally {
    await b.close();
    await d.end();
  }
});
