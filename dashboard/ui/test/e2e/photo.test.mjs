// A photograph on a phone: drawn here with a rocker whose angle is known, sent,
// marked by pointer and by keys, and answered.
import { test } from "node:test";
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { browser, daemon, grave, openPage, shoot } from "./stand.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

/** The drawn rocker, in shares of the picture's side: its arm stands 5 degrees below square to an upright stem, by plane trigonometry. */
const below = 5, arm = 0.375, tip = [0.5, 0.5];
const pivot = [tip[0] - arm * Math.cos((below * Math.PI) / 180), tip[1] - arm * Math.sin((below * Math.PI) / 180)];
const stem = [[0.5, 0.53], [0.5, 0.9]];

test("a photograph is taken, marked by pointer and by keys, and answered", async () => {
  const d = await daemon(["serve"]);
  const b = await browser();
  try {
    const send = async (/** @type {string} */ method, /** @type {string} */ path, /** @type {unknown} */ body) => {
      const answer = await fetch(`${d.url}/api/v1${path}`, { method, body: body ? JSON.stringify(body) : undefined, headers: { Origin: d.url, "Content-Type": "application/json" } });
      assert.ok(answer.ok, `${method} ${path}: ${await answer.clone().text()}`);
      return answer.json();
    };
    const engine = await send("POST", "/engines", { name: "pictured", cylinders: 4, valves_per_cylinder: 2, layout: "inline", firing_order: [1, 3, 4, 2], rocker_ratio: { intake: 1.5, exhaust: 1.5 } });
    await send("PUT", "/bench", { engine: engine.id, valve: "1I" });

    const { page, complaints } = await openPage(b, { viewport: { width: 390, height: 844 } });
    await page.addInitScript(() => localStorage.setItem("lobescribe", '{"cautioned":true,"ended":true}'));
    await page.goto(`${d.url}/#/trials`);
    await page.getByRole("heading", { name: "Photographs" }).waitFor();
    const drawn = await page.evaluate(({ pivot, tip, stem }) => {
      const side = 2400, c = document.createElement("canvas"), at = (/** @type {number[]} */ p) => /** @type {[number, number]} */ ([p[0] * side, p[1] * side]);
      c.width = c.height = side;
      const pen = /** @type {CanvasRenderingContext2D} */ (c.getContext("2d"));
      pen.fillStyle = "#aaa";
      pen.fillRect(0, 0, side, side);
      pen.lineWidth = 24;
      for (const [from, to] of [[pivot, tip], stem]) {
        pen.beginPath();
        pen.moveTo(...at(from));
        pen.lineTo(...at(to));
        pen.stroke();
      }
      return c.toDataURL("image/png").split(",")[1];
    }, { pivot, tip, stem });

    // What is no picture is refused in words, and nothing is kept of it.
    const input = page.locator(".photographs input[type=file]");
    await input.setInputFiles({ name: "no.jpg", mimeType: "image/jpeg", buffer: Buffer.from("no picture") });
    await page.getByText("can not read that file as a picture").waitFor();
    assert.deepEqual(await send("GET", `/engines/${engine.id}/trials?valve=1I`, undefined), []);
    await input.setInputFiles({ name: "rocker.png", mimeType: "image/png", buffer: Buffer.from(drawn, "base64") });
    await page.getByText("The photograph is saved.").waitFor();
    // The photograph made its trial, as there was none; its max lift was not known then.
    const [trial, ...others] = await send("GET", `/engines/${engine.id}/trials?valve=1I`, undefined);
    assert.equal(others.length, 0);
    await send("PUT", `/trials/${trial.id}`, { ...trial, max_lift_mm: 12 });
    await page.reload();
    const list = () => send("GET", `/trials/${trial.id}/photographs`, undefined);
    const [kept, ...more] = await list();
    assert.equal(more.length, 0);
    assert.ok(kept.width_px * kept.height_px <= 2e6 && kept.width_px > 1400, `${kept.width_px} by ${kept.height_px}`);
    await page.waitForFunction(() => /** @type {any} */ (document.querySelector(".marking-stage img"))?.naturalWidth > 0);

    // Touched in the order in which the page asks.
    const stage = page.locator(".marking-stage");
    await stage.scrollIntoViewIfNeeded();
    for (const [name, p] of /** @type {const} */ ([["Stem, one end", stem[0]], ["Stem, other end", stem[1]], ["Pivot", pivot], ["Tip or roller", tip]])) {
      await page.locator(".marking-asks", { hasText: name }).waitFor();
      const box = await stage.boundingBox();
      assert.ok(box);
      // A tap that would meet a mark close by picks that one up: it is put beside, and dragged there.
      const near = name === "Tip or roller" ? [p[0] + 0.2, p[1]] : p;
      await stage.click({ position: { x: near[0] * box.width, y: near[1] * box.height } });
      const mark = page.getByRole("button", { name: new RegExp(`^${name}, at`) });
      await mark.waitFor();
      if (near !== p) {
        const from = await mark.boundingBox(), now = await stage.boundingBox();
        assert.ok(from && now);
        const x = from.x + from.width / 2, y = from.y + from.height / 2;
        await page.mouse.move(x, y);
        await page.mouse.down();
        await page.mouse.move(x - 20, y - 5);
        await page.locator("canvas.magnifier").waitFor();
        await page.mouse.move(now.x + p[0] * now.width, now.y + p[1] * now.height);
        await page.mouse.up();
      }
    }
    await page.getByText("All that is needed is marked.").waitFor();

    // By keys to where it is, to the pixel: Shift goes ten, and Undo goes back.
    const where = async (/** @type {string} */ name) => {
      const said = await page.getByRole("button", { name: new RegExp(`^${name}, at`) }).getAttribute("aria-label");
      const [, x, y] = /at ([\d.]+), ([\d.]+) pixels/.exec(said ?? "") ?? assert.fail(String(said));
      return [Number(x), Number(y)];
    };
    await page.getByRole("button", { name: /^Stem, one end, at/ }).focus();
    await page.keyboard.press("Tab");
    assert.match(await page.evaluate(() => document.activeElement?.getAttribute("aria-label") ?? ""), /^Stem, other end, at/);
    const [x0, y0] = await where("Stem, other end");
    /** @param {string} key @param {number} x @param {number} y */
    const press = async (key, x, y) => {
      await page.keyboard.press(key);
      await page.getByRole("button", { name: `Stem, other end, at ${Math.round(x * 10) / 10}, ${Math.round(y * 10) / 10} pixels` }).waitFor();
    };
    await press("ArrowRight", x0 + 1, y0);
    await press("Shift+ArrowUp", x0 + 1, y0 - 10);
    await page.getByRole("button", { name: "Undo", exact: true }).click();
    await page.getByRole("button", { name: `Stem, other end, at ${Math.round((x0 + 1) * 10) / 10}, ${y0} pixels` }).waitFor();

    // Saved, and answered.
    await page.locator(".photographs").getByRole("button", { name: "Save", exact: true }).click();
    const says = page.locator(".photograph-says");
    await says.waitFor();
    const [marked] = await list();
    assert.equal(marked.marks.stem_b_px[0][0], Math.round((x0 + 1) * 10) / 10);
    assert.equal(marked.marks.at_lift_mm, undefined, "no indicator, so no lift is made up");
    const answer = await send("GET", `/trials/${trial.id}/photo`, undefined);
    assert.ok(Math.abs(answer.half_angle_deg - below) < 0.3, `${answer.half_angle_deg}, marked at a quarter of the picture's size`);
    assert.match(await says.innerText(), new RegExp(`${answer.half_angle_deg.toFixed(1).replace(".", "\\.")} ± [\\d.]+°`));
    assert.match(await says.innerText(), /Raise the stand by|Lower the stand by/);
    assert.ok((await says.innerText()).includes(answer.raise_mm < 0 ? "Lower" : "Raise"));

    // The rocker where it would be square lies over the picture: 5 degrees from the marked arm.
    const square = await page.locator(".marking-stage line.square").first().evaluate((l) => ["x1", "y1", "x2", "y2"].map((a) => Number(l.getAttribute(a))));
    const stands = (Math.atan2(tip[1] - pivot[1], tip[0] - pivot[0]) * 180) / Math.PI;
    const drawnAt = (Math.atan2(square[3] - square[1], square[2] - square[0]) * 180) / Math.PI;
    assert.ok(Math.abs(Math.abs(stands - drawnAt) - below) < 0.5, `${stands} and ${drawnAt} degrees`);
    // And the build sheet prints the picture with its marks.
    const sheet = await (await fetch(`${d.url}/api/v1/engines/${engine.id}/sheet`)).text();
    assert.match(sheet, /<svg viewBox="0 0 \d+ \d+"[^>]*><image [^>]*href="data:image\/jpeg;base64,/);
    assert.match(sheet, new RegExp(`cx="${marked.marks.tip_px[0][0]}" cy="${marked.marks.tip_px[0][1]}"`));

    // Marks that make no rocker: the daemon's sentence, and the marks stay.
    await page.getByLabel("Known length", { exact: true }).fill("25 mm");
    await page.locator(".photographs").getByRole("button", { name: "Save", exact: true }).click();
    await page.locator(".photographs .trouble").getByText(/belongs to two marks, “Known length, one end”/).waitFor();
    assert.equal((await list())[0].marks.pivot_px.length, 1);
    await page.getByLabel("Known length", { exact: true }).fill("");
    await page.locator(".photographs").getByRole("button", { name: "Save", exact: true }).click();
    await says.waitFor();

    await page.evaluate(axe + ";0");
    for (const [width, height] of [[390, 844], [844, 390], [1440, 900]]) {
      await page.setViewportSize({ width, height });
      await page.getByRole("button", { name: /^Pivot, at/ }).focus();
      assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), `too wide for ${width}`);
      const small = await page.locator(".photographs button, .photographs .file").evaluateAll((all) => all.filter((e) => e.getBoundingClientRect().height < 43.9 || e.getBoundingClientRect().width < 43.9).map((e) => e.textContent));
      assert.deepEqual(small, [], `too small for a finger at ${width}`);
      const found = await grave(page);
      assert.deepEqual(found, [], `axe at ${width}`);
      await shoot(page, `photo-${width}`);
    }
    assert.deepEqual(complaints, []);
  } finally {
    await b.close();
    await d.end();
  }
});
