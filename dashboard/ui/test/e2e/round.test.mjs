// A hands-free round of a whole small engine: nothing but the simulator turns. The
// page is touched at half lift, for the height, and by a pedal; never between two
// valves.
import { test } from "node:test";
import assert from "node:assert/strict";
import { browser, daemon, openPage, shoot } from "./stand.mjs";

const order = ["2I", "1E", "2E", "1I"];
/** @type {Record<string, string>} */
const words = { "2I": "Cylinder 2 intake", "1E": "front B" /* what its builder calls it */, "2E": "Cylinder 2 exhaust", "1I": "Cylinder 1 intake" };

test("a round of a whole engine with nothing but the wrench in hand", { timeout: 600_000 }, async () => {
  const d = await daemon(["demo", "--empty", "--speed", "3", "--hand", "smooth"]);
  const b = await browser();
  try {
    const { page, complaints } = await openPage(b, { viewport: { width: 390, height: 844 }, hasTouch: true });
    const call = async (/** @type {string} */ method, /** @type {string} */ at, /** @type {any} */ data = undefined) => {
      const answer = await page.request.fetch(`${d.url}/api/v1${at}`, { method, ...(data ? { data, headers: { Origin: d.url } } : {}) });
      assert.ok(answer.ok(), `${method} ${at}: ${await answer.text()}`);
      return answer.json();
    };
    await call("POST", "/engines", { name: "twin", cylinders: 2, valves_per_cylinder: 2, units: "in", rocker_ratio: { intake: 1.5, exhaust: 1.5 }, cam_card: {}, limits: {}, pushrod: {}, order, valve_names: { "1E": "front B" } });
    await call("PUT", "/bench", { engine: "twin", valve: order[0] });
    // It does not go on before the height was set. What is spoken is written down.
    await page.addInitScript(() => {
      localStorage.getItem("lobescribe") ?? localStorage.setItem("lobescribe", '{"cautioned":true,"ended":true,"round":true,"rests":600}');
      const said = /** @type {string[]} */ ([]);
      Object.assign(window, { said });
      speechSynthesis.speak = (/** @type {SpeechSynthesisUtterance} */ u) => void said.push(u.text);
    });
    await page.goto(`${d.url}/#/bench`);
    await page.locator(".valve-name", { hasText: words[order[0]] }).waitFor();

    // At half lift of the first valve: three presses of a large button, and the wrench again.
    const more = page.getByRole("button", { name: "More" });
    await more.waitFor({ timeout: 120_000 });
    const size = await more.boundingBox();
    assert.ok(size && size.width >= 56 && size.height >= 48, `the stepper's button is ${JSON.stringify(size)}`);
    for (let i = 0; i < 3; i++) await more.click();
    await shoot(page, "round-height");
    await page.getByText(/Saved as a trial/).waitFor();
    const trials = await call("GET", "/engines/twin/trials");
    assert.deepEqual(trials.map((/** @type {any} */ t) => [t.valve, t.adjuster_below_valve_mm]), [[order[0], 0.0762]], "0.003 in, once");
    await page.getByLabel("Goes on after").selectOption("3"); // three times as fast as a hand, and so is the rest

    const said = () => page.evaluate(() => /** @type {any} */ (window).said.slice());
    for (const [i, valve] of order.entries()) {
      await page.waitForFunction((name) => document.querySelector(".valve-name")?.textContent?.trim() === name, words[valve]);
      if (i === 1) { // a pedal, on the heel after the first opening: it stands on that one's row
        await page.locator(".openings h2:not(:has(small)) ~ .opening-table tbody tr").first().waitFor();
        await page.keyboard.press(" ");
        await page.locator(".opening-table .pressed", { hasText: "marked" }).waitFor();
        await page.reload(); // whoever looks in the midst of it is told as well
        await page.locator(".opening-table .pressed", { hasText: "marked" }).waitFor();
        await shoot(page, "round-marked");
      }
      const next = order[i + 1];
      await page.locator(".next", { hasText: next ? `Next: ${words[next]}.` : "The round is done: every valve agrees." }).waitFor();
      if (i === 0) await shoot(page, "round-agrees");
      const figure = /agree at ([\d.]+) ± ([\d.]+) in/.exec(await page.locator(".next").innerText());
      assert.ok(figure, "it says the figure and its uncertainty");
      const now = (await call("GET", "/state")).agreement;
      assert.ok(Math.abs(Number(figure[1]) * 25.4 - now.max_lift_mm) < 0.002, `${figure[1]} in, and the daemon has ${now.max_lift_mm} mm`);
      assert.ok((await said()).some((/** @type {string} */ s) => s.startsWith(`${words[valve]} agrees: point `) && (next ? s.includes(`Next: ${words[next]}.`) : s.includes("the round is done"))), `said: ${JSON.stringify(await said())}`);
    }
    await shoot(page, "round-done");
    assert.deepEqual((await said()).filter((/** @type {string} */ s) => s.startsWith("Now ")), order.slice(2).map((v) => `Now ${words[v]}`), "since the page was opened again");
    // It stays where it is, and each valve has its own trace.
    await page.waitForTimeout(6000);
    assert.equal((await call("GET", "/bench")).valve, order[3]);
    const valves = await call("GET", "/engines/twin/valves");
    assert.deepEqual(valves.map((/** @type {any} */ v) => [v.valve, v.traces > 0]), order.map((v) => [v, true]));
    const marked = await call("GET", `/traces/${valves[1].trace}`);
    assert.equal(marked.notes.filter((/** @type {any} */ n) => n.kind === "mark").length, 1);
    await page.goto(`${d.url}/#/traces/${valves[1].trace}`);
    await page.locator(".opening-table .pressed", { hasText: "marked" }).waitFor();
    assert.equal(await page.locator(".opening-table .pressed").count(), 1, "on one row");

    // A note is written when there is a hand for it, and stays with its opening.
    await page.getByRole("button", { name: "Note at opening 2" }).click();
    await page.getByLabel("Note at opening 2").fill("tip was dry");
    await page.getByRole("button", { name: "Save note" }).click();
    await page.locator(".opening-table .noted", { hasText: "tip was dry" }).waitFor();
    await shoot(page, "round-note");
    const noted = await call("GET", `/traces/${valves[1].trace}`), o = noted.findings.openings[1];
    assert.deepEqual(noted.head.noted, [{ from_s: o.t_open_s, until_s: o.t_close_s, says: "tip was dry" }]);
    assert.deepEqual(complaints, []);
  } finally {
    await b.close();
    await d.end();
  }
});
