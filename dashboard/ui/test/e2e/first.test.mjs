// A first run with nothing plugged in: no screen is a dead end, and the five
// steps know by themselves how far they have been gone.
import { test } from "node:test";
import assert from "node:assert/strict";
import { browser, daemon, openPage, shoot } from "./stand.mjs";

test("a first run leads from nothing to the first max lift", async () => {
  const d = await daemon(["serve"]);
  const b = await browser();
  try {
    const { page, complaints } = await openPage(b, { viewport: { width: 390, height: 844 } });
    await page.goto(d.url);
    await page.getByRole("button", { name: "Understood" }).click();
    await page.getByText("Choose the indicator's port.").waitFor();
    await shoot(page, "first-bench");

    // Wherever one looks first, there is a next step to press.
    for (const screen of ["traces", "engine", "trials", "timing", "compare", "clearances", "sheet", "devices"]) {
      await page.goto(`${d.url}/#/${screen}`);
      await page.locator("main .nothing, main .panel, main .lead").first().waitFor();
      const ways = await page.locator("main a[href^='#/'], main button").count();
      assert.ok(ways > 0, `${screen} is a dead end`);
      await shoot(page, `first-${screen}`);
    }

    await page.goto(`${d.url}/#/bench`);
    const done = () => page.locator(".setup li .sr").count();
    assert.equal(await done(), 0);
    await page.getByRole("button", { name: /use the simulator/ }).click();
    await page.getByText("simulated", { exact: true }).waitFor();
    await page.locator(".setup li .sr").nth(1).waitFor({ state: "attached" });
    await page.getByRole("link", { name: "Name the engine and choose the valve" }).waitFor();
    await shoot(page, "first-simulated");
    await page.goto(`${d.url}/#/engine`);
    await page.getByLabel("Name", { exact: true }).fill("first build");
    await page.getByRole("button", { name: "Save", exact: true }).click();
    await page.getByRole("heading", { name: /first build: 0 of 8 valves done/ }).waitFor();
    await page.goto(`${d.url}/#/bench`);
    await page.locator(".openings tbody tr").first().waitFor();
    await page.locator(".setup").waitFor({ state: "detached" });
    assert.deepEqual(complaints, []);
  } finally {
    await b.close();
    await d.end();
  }
});
