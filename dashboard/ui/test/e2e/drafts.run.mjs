// A form half filled survives a reload and a daemon that is away: every field of
// every screen, found by walking the views, so that a new form is in it.
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import { shoot } from "./stand.mjs";
import { onTheMule } from "./mule.mjs";
import { fields, samples } from "./typing.mjs";

/** @type {Awaited<ReturnType<typeof onTheMule>>} */ let stand;
/** @type {typeof stand.d} */ let d;
/** @type {typeof stand.page} */ let page;
/** @type {typeof stand.typist} */ let typist;
before(async () => {
  stand = await onTheMule();
  ({ d, page, typist } = stand);
});
after(() => stand?.end());

/** What stands in every field of the screen, with its name. @returns {Promise<[string, string][]>} */
const standing = () => page.locator(fields).evaluateAll((found) => found.map((f) => [document.querySelector(`label[for="${f.id}"]`)?.textContent?.trim() ?? f.id, /** @type {HTMLInputElement} */ (f).value]));

test("what is typed and not saved stands there again after a reload, on every screen", { timeout: 1_200_000 }, async () => {
  const lost = [];
  let count = 0;
  for (const route of await typist.screens()) {
    if (/^(bench|help|traces$|devices)/.test(route)) continue; // the bench has its own test; devices are addresses, which the next test types
    const began = Date.now();
    await typist.show(route);
    const kinds = await page.locator(fields).evaluateAll((found) => found.map((f) => f.getAttribute("data-kind") ?? ""));
    for (const [n, kind] of kinds.entries()) {
      const field = page.locator(fields).nth(n), was = await field.inputValue();
      if (kind === "whole") continue; // another number of cylinders makes firing order and order of work wrong
      for (const text of samples(kind, was, n).good) {
        if (text === was) continue;
        await field.fill(text);
        await field.blur();
        if (!(await field.getAttribute("aria-invalid"))) break; // not one that is implausible here
      }
    }
    await page.locator("h1").first().click(); // the last field is left
    await typist.settled();
    const before = await standing();
    await page.reload();
    await typist.show(route, before.length - 1);
    const after = await standing();
    for (const [n, [name, text]] of before.entries()) {
      count++;
      if (after[n]?.[1] !== text) lost.push(`${route}: ${name}: ${JSON.stringify(text)} became ${JSON.stringify(after[n]?.[1])}`);
    }
    console.log(`${route}: ${before.length} fields in ${((Date.now() - began) / 1000).toFixed(0)} s`);
    // One after the other: each goes with its button.
    const discard = page.getByRole("button", { name: "Discard what was typed" });
    for (let left = await discard.count(); left > 0; left = await discard.count()) {
      await discard.first().click();
      await page.waitForFunction((was) => [...document.querySelectorAll("button")].filter((b) => b.textContent?.trim() === "Discard what was typed").length < was, left);
    }
  }
  console.log(`${count} fields stood there again`);
  assert.deepEqual(lost, []);
  assert.ok(count >= 60, `only ${count} fields were found`);
});

test("a daemon that goes away costs nothing that is typed", async () => {
  await page.evaluate(() => { for (const name of Object.keys(localStorage)) if (name.startsWith("lobescribe.draft")) localStorage.removeItem(name); });
  await page.goto(`${d.url}/#/help`);
  await typist.show("engine");
  await page.getByLabel("Type", { exact: true }).fill("mule of the second series");
  await page.route("**/api/v1/**", (r) => r.abort()); // as when nobody answers
  await page.getByRole("button", { name: "Save", exact: true }).last().click();
  await page.getByText("Lobescribe does not answer").first().waitFor();
  assert.equal(await page.getByLabel("Type", { exact: true }).inputValue(), "mule of the second series");
  await shoot(page, "draft-lost-daemon");
  await page.unroute("**/api/v1/**");
  await page.reload();
  await page.getByText("Not saved yet").first().waitFor();
  await page.getByRole("button", { name: "Save", exact: true }).last().click();
  await page.getByText("The engine is saved.").waitFor();
  assert.equal((await typist.api("GET", "/engines/bench-mule")).type, "mule of the second series");
  await page.getByText("Not saved yet").waitFor({ state: "detached" });
});
