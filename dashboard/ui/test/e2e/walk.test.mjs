// The whole job in a real browser, on the invented engine: from the cautions to
// the build sheet, in both units.
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import { browser, daemon, openPage, shoot, watch } from "./stand.mjs";

/** @type {Awaited<ReturnType<typeof daemon>>} */ let d;
/** @type {import("playwright-core").Browser} */ let b;
before(async () => {
  d = await daemon(["demo", "--empty", "--speed", "4", "--hand", "smooth"]);
  b = await browser();
});
after(async () => {
  await b?.close();
  await d?.end();
});

for (const unit of /** @type {const} */ (["in", "mm"])) {
  test(`the whole job, in ${unit}`, async () => {
    const { page, complaints, context } = await openPage(b);
    const settled = watch(page);
    await page.goto(d.url);

    // Cautions first, and only once.
    await page.getByRole("heading", { name: "Before the engine is turned" }).waitFor();
    await page.getByRole("button", { name: "Understood" }).click();
    await page.reload();
    await page.locator(".giant-digits").waitFor();
    assert.equal(await page.locator("dialog[open]").count(), 0);

    // The unit at a key.
    await setUnit(page, unit);

    // Figures move, and what comes from the simulator says so.
    await page.getByText("simulated", { exact: true }).waitFor();
    const seen = new Set();
    for (let i = 0; i < 400 && seen.size < 5; i++) {
      seen.add(await page.locator(".giant-digits").innerText());
      await page.waitForTimeout(100);
    }
    assert.ok(seen.size >= 5, `the figure stood still at ${[...seen]}`);

    // An opening settles with its uncertainty; the sentence leads to half lift.
    await page.locator(".openings tbody tr").first().waitFor();
    // A computer at its limit stamps readings late, and the ± holds what that leaves open.
    assert.match(await page.locator(".openings tbody tr td.strong").first().innerText(), unit === "in" ? /^0\.4\d{3} ± 0\.\d{4} in$/ : /^1\d\.\d{3} ± \d\.\d{3} mm$/);
    await page.getByText(new RegExp(`Keep turning, [\\d.]+ ${unit} to half lift\\.`)).waitFor();
    await shoot(page, `walk-bench-${unit}`);

    // Space marks, while something is recorded.
    const marked = page.getByText("Marked.");
    for (let tries = 0; tries < 10 && !(await marked.isVisible()); tries++) {
      await page.locator(".trace-line", { hasText: "Recording" }).waitFor();
      await page.locator("#main").focus();
      await page.keyboard.press(" ");
      await marked.waitFor({ timeout: 2500 }).catch(() => {}); // the hand may just have come to rest
    }
    await marked.waitFor();

    // The trace ends, is listed, opened, and replayed through the live path.
    await page.getByRole("button", { name: "End this trace" }).click();
    await page.goto(`${d.url}/#/traces`);
    await page.locator(".cards .card-figure", { hasText: /^\d+\.\d+/ }).first().click();
    await page.locator(".chart .u-over").waitFor();
    await page.getByRole("heading", { name: "Findings" }).waitFor();
    await shoot(page, `walk-trace-${unit}`);
    await page.getByRole("button", { name: "Replay on the bench" }).click();
    await page.getByText("this is not the engine").waitFor();
    await page.locator(".tag.link", { hasText: "replay" }).waitFor();
    await page.getByLabel("Place in the trace").fill("1");
    await page.getByRole("button", { name: "Hold" }).click();
    await page.getByRole("button", { name: "Go on" }).click();
    await page.getByRole("button", { name: "Back to the engine" }).click();
    await page.locator(".replay-bar").waitFor({ state: "detached" });

    // A new engine, its map, a valve chosen, the next one by the pedal's key.
    const name = `stand ${unit}`;
    await page.goto(`${d.url}/#/engine`);
    await page.getByRole("button", { name: "New engine" }).click();
    await page.getByLabel("Name", { exact: true }).first().fill(name);
    await page.getByLabel("Layout").first().selectOption("vee");
    await page.getByLabel("Cylinders").first().fill("2");
    await page.getByRole("button", { name: "Save", exact: true }).first().click();
    await page.getByRole("heading", { name: new RegExp(`${name}: 0 of 4 valves done`) }).waitFor();
    await page.getByRole("button", { name: /Cylinder 1 intake/ }).click();
    await page.getByRole("heading", { name: "Cylinder 1 intake" }).waitFor();
    await page.getByText("Rockers and pushrods").click();
    await page.getByLabel("Rocker ratio, intake").fill("1.55");
    // Straight: a bend that is not told is in the ±, which then is wider than the first stack.
    await page.getByLabel("Adjuster's ball above the line").fill("0");
    await page.getByText("Shims on hand", { exact: true }).click();
    for (const [i, [thick, count]] of [["0.015 in", "3"], ["0.030 in", "3"]].entries()) {
      await page.getByRole("button", { name: "Add a thickness" }).click();
      await page.getByLabel("Thickness").nth(i).fill(thick);
      await page.getByLabel("How many").nth(i).fill(count);
    }
    await page.getByRole("button", { name: "Save", exact: true }).click();
    await page.getByText("The engine is saved.").waitFor();
    await shoot(page, `walk-engine-${unit}`);
    await page.goto(`${d.url}/#/bench`);
    await page.locator(".valve-name", { hasText: "Cylinder 1 intake" }).waitFor();
    await page.locator("#main").focus();
    await page.keyboard.press("ArrowRight");
    await page.locator(".valve-name", { hasText: "Cylinder 1 exhaust" }).waitFor();
    for (const next of ["Cylinder 2 intake", "Cylinder 2 exhaust", "Cylinder 1 intake"]) {
      await page.getByRole("button", { name: "Next valve" }).click();
      await page.locator(".valve-name", { hasText: next }).waitFor();
    }

    await converge(page, unit, settled);

    // Pushrods: one checking rod gives a cut list.
    await page.goto(`${d.url}/#/clearances/pushrods`);
    await page.getByLabel("Cylinder 1 intake").fill("8.602 in");
    await page.getByRole("button", { name: "Work out the cut list" }).click();
    await page.getByRole("heading", { name: "Tally" }).waitFor();
    await page.getByText("Saved with the engine since").waitFor();
    assert.deepEqual(await page.evaluate(() => Object.keys(localStorage).filter((k) => k.includes("draft.pushrods"))), [], "what is kept with the engine is no draft any more");
    await shoot(page, `walk-pushrods-${unit}`);
    await keptForAll(b, d.url, unit);
    await page.goto(`${d.url}/#/clearances/gaps`);
    await page.getByLabel("Max lift at the valve").fill("0.442 in");
    await page.getByLabel("Installed height").fill("1.750 in");
    await page.getByLabel("Solid height").fill("1.200 in");
    await page.getByRole("button", { name: "Work out what is left" }).click();
    // 1.750 - 0.442 - 1.200 = 0.108 in, 2.743 mm.
    assert.match(await page.locator(".gap strong").first().innerText(), unit === "in" ? /^0\.1080 ± / : /^2\.743 ± /);
    await shoot(page, `walk-gaps-${unit}`);

    // Timing and compare, on the demo's own engine with its traces.
    await page.goto(`${d.url}/#/engine`);
    await page.getByLabel("On the stand").selectOption({ label: "bench mule" });
    await page.getByRole("heading", { name: /bench mule: / }).waitFor();
    await page.getByText("lengths are in inches").waitFor({ state: "attached" }); // the engine's own
    await page.locator("#main").focus();
    await setUnit(page, unit);
    await page.goto(`${d.url}/#/timing`);
    await page.getByRole("heading", { name: "Events" }).waitFor();
    assert.match(await page.locator(".view-timing tbody td strong").first().innerText(), /^\d+(\.\d)? [AB][TB]DC$/);
    await shoot(page, `walk-timing-${unit}`);
    await tdcIsKept(page, unit);
    await page.goto(`${d.url}/#/compare`);
    await page.getByRole("button", { name: /All intakes/ }).click();
    await page.locator(".pens li").first().waitFor();
    await page.getByRole("button", { name: "At half lift" }).click();
    await shoot(page, `walk-compare-${unit}`);

    // The build sheet opens by itself and prints.
    await page.goto(`${d.url}/#/sheet`);
    const [sheet] = await Promise.all([context.waitForEvent("page"), page.getByRole("link", { name: "Open the sheet, to print" }).click()]);
    await sheet.waitForLoadState();
    assert.match(await sheet.locator("body").innerText(), /bench mule/);
    const pdf = await sheet.pdf({ format: "A4" });
    assert.equal(pdf.subarray(0, 5).toString(), "%PDF-");
    assert.deepEqual(complaints, []);
    await context.close();
  });
}

/**
 * @param {import("playwright-core").Page} page
 * @param {"in"|"mm"} unit
 */
async function setUnit(page, unit) {
  const now = await page.locator(".unit-switch").innerText();
  if (now.startsWith("in") !== (unit === "in")) await page.keyboard.press("u");
  await page.getByText(unit === "in" ? "lengths are in inches" : "lengths are in millimetres").waitFor({ state: "attached" });
}

/**
 * Another browser finds the checking rod in its form with its cut list, and the
 * build sheet has the same length to cut. 8.602 in are 218.491 mm.
 * @param {import("playwright-core").Browser} b
 * @param {string} base
 * @param {"in"|"mm"} unit
 */
async function keptForAll(b, base, unit) {
  const { page, context } = await openPage(b);
  await page.addInitScript(() => localStorage.setItem("lobescribe", '{"cautioned":true,"ended":true}'));
  await page.goto(`${base}/#/clearances/pushrods`);
  await page.getByRole("heading", { name: "Tally" }).waitFor();
  assert.equal(await page.getByLabel("Cylinder 1 intake").inputValue(), unit === "in" ? "8.602" : "218.4908");
  const cut = await page.getByRole("row", { name: /^Cylinder 1 intake/ }).locator("td.strong").last().innerText();
  assert.match(cut, unit === "in" ? /^8\.60\d+$/ : /^218\.\d+$/);
  await page.goto(`${base}/#/sheet`);
  const [sheet] = await Promise.all([context.waitForEvent("page"), page.getByRole("link", { name: "Open the sheet, to print" }).click()]);
  await sheet.waitForLoadState();
  const text = await sheet.locator("body").innerText();
  assert.match(text, /Pushrods/);
  assert.ok(text.includes(cut), `${cut} is not on the sheet: ${text}`);
  await context.close();
}

/**
 * A stop 30 degrees before and 37 after has top dead centre at 3.5 in its
 * middle. It is kept with the engine, shown there with how it was found, used
 * for the timing, and can be cleared.
 * @param {import("playwright-core").Page} page
 * @param {"in"|"mm"} unit
 */
async function tdcIsKept(page, unit) {
  const base = new URL(page.url()).origin;
  await page.locator("summary", { hasText: "Top dead centre" }).click();
  await page.getByLabel("Against it, turning forwards").fill("-30");
  await page.getByLabel("Against it, turning back").fill("37");
  await page.getByRole("button", { name: "Find the middle" }).first().click();
  await page.getByText("Top dead centre at").waitFor();
  await page.getByRole("button", { name: "Save", exact: true }).last().click();
  await page.getByText("Saved with the engine: 3.50°").waitFor();
  await page.getByText(/The encoder counts 3\.5/).first().waitFor();
  await shoot(page, `walk-tdc-${unit}`);
  await page.goto(`${base}/#/engine`);
  await page.locator("summary", { hasText: "Top dead centre: 3.50°" }).click();
  await page.getByText("found with a stop in the plug hole").first().waitFor();
  await shoot(page, `walk-engine-tdc-${unit}`);
  await page.getByRole("button", { name: "Clear", exact: true }).click();
  const kept = page.waitForResponse((r) => r.request().method() === "PUT" && /\/engines\//.test(r.url()) && r.ok());
  await page.getByRole("button", { name: "Save", exact: true }).click();
  await kept;
  await page.locator("summary", { hasText: "Top dead centre: not known" }).waitFor();
  const mule = (await (await page.request.get(`${base}/api/v1/engines`)).json()).find((/** @type {any} */ e) => e.name === "bench mule");
  assert.equal(mule.tdc, undefined);
}

/**
 * Trials of a rocker whose truth is known here. A straight rocker of ratio R
 * whose stand is short of square by p shows (1 + 1/R) p between its ends, by
 * plane geometry. Whoever follows the page must come to within half of the
 * thinnest shim, and not in more than four tries.
 * @param {import("playwright-core").Page} page
 * @param {"in"|"mm"} unit
 * @param {() => Promise<void>} settled
 */
async function converge(page, unit, settled) {
  const wanted = 2.13, ratio = 1.55, thinnest = 0.381; // mm
  const inches = (/** @type {number} */ mm) => `${(mm / 25.4).toFixed(6)} in`;
  const base = new URL(page.url()).origin;
  await page.goto(`${base}/#/trials`);
  let stack = 0, tries = 0;
  for (; tries < 4; tries++) {
    const form = page.locator("details.panel").first();
    if (!(await form.evaluate((/** @type {any} */ e) => e.open))) await form.locator("summary").click();
    await page.getByLabel("Shims under the stand").fill(stack === 0 ? "" : inches(stack));
    await page.getByLabel("Adjuster end below valve end").fill(inches((wanted - stack) * (1 + 1 / ratio)));
    await page.getByRole("button", { name: "Save", exact: true }).click();
    await page.locator("caption + thead + tbody tr").nth(tries).waitFor();
    const lead = page.locator(".next-shim .lead");
    await lead.waitFor();
    await settled();
    const says = await lead.innerText();
    if (/Leave the stand/.test(says)) break;
    const fit = /Fit ([\d. +]+) (in|mm) in all/.exec(says);
    assert.ok(fit, says);
    assert.equal(fit[2], unit);
    const next = fit[1].split("+").reduce((sum, s) => sum + Number(s), 0) * (unit === "in" ? 25.4 : 1);
    if (Math.abs(next - stack) < 0.02) break;
    stack = next;
  }
  assert.ok(Math.abs(wanted - stack) <= thinnest / 2 + 0.02, `ended ${wanted - stack} mm off after ${tries + 1} tries`);
  await page.locator(".rocker svg, .view-trials .nothing").first().waitFor();
  await shoot(page, `walk-trials-${unit}`);
}
