// Every screen, on a phone and on a desk: no serious finding of axe in light and dark,
// no sideways scrolling, nothing that a thumb can not hit.
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { browser, daemon, grave, inColours, openPage, remember, shoot, watch } from "./stand.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const screens = ["bench", "traces", "traces/1", "engine", "trials", "timing", "compare?traces=1", "clearances/pushrods", "clearances/piston", "clearances/gaps", "clearances/spring", "sheet", "devices",
  "help", "help/setup", "help/day", "help/handsfree", "help/keeping", "help/faults/travel-end"];

/** @type {Awaited<ReturnType<typeof daemon>>} */ let d;
/** @type {import("playwright-core").Browser} */ let b;
before(async () => {
  d = await daemon(["demo", "--empty", "--speed", "4", "--hand", "smooth"]);
  b = await browser();
  const { page, context } = await openPage(b);
  const settled = watch(page);
  await remember(page);
  await page.goto(d.url);
  await page.locator(".openings tbody tr").first().waitFor();
  await page.getByRole("button", { name: "End this trace" }).click();
  await page.goto(`${d.url}/#/traces`);
  await page.locator(".card-figure", { hasText: /^\d+\.\d+/ }).first().waitFor();
  await page.goto(`${d.url}/#/trials`);
  for (const below of ["3.5 mm", "2.86 mm"]) {
    const form = page.locator("details.panel").first();
    await form.waitFor();
    if (!(await form.evaluate((/** @type {any} */ e) => e.open))) await form.locator("summary").click();
    await page.getByLabel("Adjuster end below valve end").fill(below);
    if (below !== "3.5 mm") await page.getByLabel("Shims under the stand").fill("0.381 mm");
    await page.getByRole("button", { name: "Save", exact: true }).click();
    await page.getByText("The trial is saved.").waitFor();
    await settled();
  }
  await context.close();
});
after(async () => {
  await b?.close();
  await d?.end();
});

/**
 * What can not be hit with a thumb: targets under 44 px, over one another, or off the
 * screen. A link within a sentence is as high as its line.
 * @param {import("playwright-core").Page} page
 * @returns {Promise<string[]>}
 */
const crowded = (page) => page.evaluate(() => {
  for (const e of document.querySelectorAll("main details")) /** @type {HTMLDetailsElement} */ (e).open = true;
  const name = (/** @type {Element} */ e) => `${e.tagName.toLowerCase()} "${(e.getAttribute("aria-label") ?? e.textContent ?? "").trim().slice(0, 24)}"`;
  const box = (/** @type {Element} */ e) => (e.closest("label") ?? e).getBoundingClientRect();
  const floats = (/** @type {Element|null} */ e) => { for (let x = e; x; x = x.parentElement) if (["fixed", "sticky"].includes(getComputedStyle(x).position)) return true; return false; };
  const targets = [...document.querySelectorAll("a, button, input, select, summary, textarea, [role=button]")]
    .filter((e) => { const r = e.getBoundingClientRect(); return r.width > 1 && r.height > 1 && getComputedStyle(e).visibility !== "hidden" && !e.closest(".sr") && !(e.tagName === "A" && !e.classList.contains("button") && e.closest("p, li, dd, td, h1, h2, h3")); });
  const out = [];
  for (const [i, e] of targets.entries()) {
    const r = box(e);
    if (r.height < 43.5 || r.width < 43.5) out.push(`${name(e)} is ${Math.round(r.width)}x${Math.round(r.height)}`);
    if (r.right > document.documentElement.clientWidth + 1 && !e.closest(".wide")) out.push(`${name(e)} is off the screen`);
    for (const other of targets.slice(i + 1)) {
      if (e.contains(other) || floats(e) || floats(other)) continue;
      const q = other.getBoundingClientRect(), p = e.getBoundingClientRect();
      if (Math.min(p.right, q.right) - Math.max(p.left, q.left) > 2 && Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 2) out.push(`${name(e)} lies over ${name(other)}`);
    }
  }
  if (targets.length < 5) out.push(`only ${targets.length} targets were found`);
  return out.slice(0, 8);
});

for (const [width, height] of [[390, 844], [844, 390], [1440, 900]]) {
  test(`every screen at ${width}x${height}, light and dark`, async () => {
    const { page, context, complaints } = await openPage(b, { viewport: { width, height } });
    const settled = watch(page);
    await remember(page);
    const bad = [];
    for (const screen of screens) {
      await page.goto(`${d.url}/#/${screen}`);
      await page.locator("h1").first().waitFor();
      await settled();
      const sideways = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
      if (sideways > 0) bad.push(`${screen}: ${sideways} px sideways`);
      bad.push(...(await crowded(page)).map((f) => `${screen}: ${f}`));
      await page.evaluate(axe + ";0");
      for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
        await inColours(page, colorScheme);
        const found = await grave(page, colorScheme === "dark");
        bad.push(...found.map((f) => `${screen}, ${colorScheme}: ${f}`));
        await shoot(page, `${screen.replace(/\W+/g, "-")}-${width}-${colorScheme}`);
      }
    }
    assert.deepEqual(bad, []);
    assert.deepEqual(complaints, []);
    await context.close();
  });
}
