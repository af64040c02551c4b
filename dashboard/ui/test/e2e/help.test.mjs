// Help where it is wanted: from a fault to what to do about it, from every
// screen, and with the daemon gone.
import { test } from "node:test";
import assert from "node:assert/strict";
import { browser, daemon, openPage, shoot } from "./stand.mjs";

test("a fault leads to what to do, and help is there without the daemon", async () => {
  const d = await daemon(["serve"]);
  const b = await browser();
  try {
    // Half an opening: up, and the trace ends there.
    const rows = Array.from({ length: 400 }, (_, i) => `${(i / 100).toFixed(2)},${Math.max(0, i - 200) / 40}`);
    const answer = await fetch(`${d.url}/api/v1/traces?name=half.csv`, { method: "POST", body: `t_s,lift_mm\n${rows.join("\n")}\n`,
      headers: { Origin: d.url, "Content-Type": "text/csv" } });
    assert.equal(answer.status, 201, await answer.clone().text());
    const { id } = await answer.json();

    const { page, complaints } = await openPage(b, { viewport: { width: 390, height: 844 } });
    await page.addInitScript(() => localStorage.setItem("lobescribe", '{"cautioned":true,"ended":true}'));
    await page.goto(`${d.url}/#/traces/${id}`);
    await page.getByRole("link", { name: "What to do about: Part of an opening" }).click();
    const heading = page.locator("#fault-part-turn h3");
    await heading.waitFor();
    await page.waitForFunction(() => document.activeElement?.closest("#fault-part-turn"));
    const box = await heading.boundingBox();
    assert.ok(box && box.y >= 0 && box.y < 400, `the fault stands at ${box?.y}`);
    await shoot(page, "help-fault");

    // From every screen one press leads there, and nothing is wider than a phone.
    for (const screen of ["bench", "traces", "devices", "compare"]) {
      await page.goto(`${d.url}/#/${screen}`);
      await page.locator("main h1, main .nothing, main .valve-bar").first().waitFor();
      assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), `${screen} is too wide`);
      await page.getByRole("link", { name: "Help with this screen" }).click();
      await page.locator(".view-help h1").waitFor();
    }

    await page.waitForFunction(() => ["helpfigures.js", "wiring-upright.svg"].every((file) => performance.getEntriesByType("resource").some((e) => e.name.endsWith(file))));
    await d.kill();
    await page.getByText("no answer").waitFor();
    for (const topic of ["First set-up", "A day's work", "Something is wrong", "Photograph", "What ± means", "Usual figures", "A board of your own", "Keys", "Cautions"]) {
      await page.getByRole("button", { name: "Menu" }).click();
      await page.locator("#screens").getByRole("link", { name: "Help" }).click();
      // The topic before has links to the others too, which go while they are pressed.
      await page.getByRole("heading", { level: 1, name: "Help", exact: true }).waitFor();
      await page.locator(".topics").getByRole("link", { name: new RegExp(topic) }).click();
      await page.getByRole("heading", { level: 1, name: topic }).waitFor();
      assert.deepEqual(await page.evaluate(() => [...document.querySelectorAll("html, main, main *")].filter((e) => e.scrollWidth > e.clientWidth + 1 && (e.tagName === "HTML" || /auto|scroll/.test(getComputedStyle(e).overflowX)))
        .map((e) => `${e.tagName} ${e.className}`)), [], `${topic} is dragged sideways`);
      if (topic.startsWith("A board")) { // drawn, upright, and its letters not smaller than they were made for
        const img = page.locator(".wiring img:visible");
        await img.evaluate((i) => /** @type {HTMLImageElement} */ (i).decode());
        const [wide, made, file] = await img.evaluate((/** @type {HTMLImageElement} */ i) => [i.clientWidth, i.naturalWidth, i.currentSrc]);
        assert.ok(wide >= 0.9 * made, `${file} was made ${made} wide and is drawn ${wide} wide`);
      }
    }
    assert.deepEqual(complaints, []);
  } finally {
    await b.close();
    await d.end();
  }
});
