// Manners of the page: what the present step needs fits a phone, not too much to load,
// nothing from elsewhere, and a lost connection said and repaired with nothing lost on
// the screen.
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import { browser, daemon, openPage, remember, shoot, watch } from "./stand.mjs";

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

// What the present step needs stands above the one large action, without scrolling:
// held at half lift with the field open, and when nothing new comes in.
test("the bench's step fits a phone, upright and on its side", async () => {
  /** @type {string[]} */
  const bad = [];
  // All at once: they wait for the same half lift.
  await Promise.all([[390, 844], [844, 390], [667, 375]].map(async ([width, height]) => {
    const { page, context } = await openPage(b, { viewport: { width, height }, hasTouch: true });
    await remember(page);
    // The live socket is cut when the test says so, and does not come back.
    await page.addInitScript(() => {
      const Socket = WebSocket;
      /** @type {WebSocket[]} */ const open = [];
      let cut = false;
      // @ts-expect-error a stand-in
      window.WebSocket = class extends Socket { constructor(/** @type {string} */ url) { super(cut ? "ws://127.0.0.1:1/" : url); open.push(this); } };
      Object.assign(window, { cut: () => { cut = true; for (const s of open) s.close(); } });
    });
    await page.goto(d.url);
    const below = (/** @type {string} */ when) => page.evaluate((said) => {
      const top = /** @type {Element} */ (document.querySelector(".act-bar")).getBoundingClientRect().top, out = [];
      if (scrollY > 0) out.push(`${said}: it was scrolled`);
      for (const e of document.querySelectorAll(".step > *")) {
        const { bottom, height: tall } = e.getBoundingClientRect();
        if (getComputedStyle(e).display !== "none" && tall > 1 && !e.matches(".travel-line") && bottom > top + 1) out.push(`${said}: .${e.className} goes ${Math.round(bottom - top)} px below the action`);
      }
      // What stands on the screen tells which line was too many.
      return out.length ? [...out, `it says: ${/** @type {HTMLElement} */ (document.querySelector("main")).innerText.replace(/\s+/g, " ").slice(0, 600)}`] : out;
    }, `${width}x${height}, ${when}`);
    await page.locator(".height input").waitFor();
    bad.push(...await below("at half lift"));
    await shoot(page, `step-half-${width}`);
    // @ts-expect-error put there above
    await page.evaluate(() => cut());
    await page.locator(".stale-says").waitFor();
    bad.push(...await below("with nothing coming in"));
    await shoot(page, `step-stale-${width}`);
    await context.close();
  }));
  assert.deepEqual(bad, []);
});

// Whatever font there is, wide or narrow, and on half lift too, where the box has
// a frame: the largest figure does not run over its box or into the dial.
test("the largest figure keeps to its box", async () => {
  const sizes = [[320, 568], [390, 844], [1024, 768], [1440, 900]], fonts = ["'DejaVu Sans'", "'Liberation Sans Narrow', 'DejaVu Sans Condensed', monospace"];
  // All at once: each looks at the figure for the same two seconds.
  await Promise.all(sizes.flatMap(([width, height]) => fonts.map(async (font) => {
    const { page, context } = await openPage(b, { viewport: { width, height } });
    await remember(page);
    await page.addInitScript((family) => addEventListener("DOMContentLoaded", () => document.documentElement.style.setProperty("--figures", family)), font);
    await page.goto(d.url);
    await page.locator(".giant-digits").waitFor();
    /** @type {Record<string, number>} how far over its box, of each kind of figure */
    const over = {};
    for (let i = 0; i < 40; i++) {
      const [kind, by] = await page.evaluate(() => {
        const figure = /** @type {HTMLElement} */ (document.querySelector(".giant-digits"));
        const box = /** @type {HTMLElement} */ (figure.closest(".figures-box"));
        const ink = document.createRange();
        ink.selectNodeContents(figure);
        return /** @type {const} */ ([(figure.textContent ?? "").replace(/\d/g, "0"), ink.getBoundingClientRect().right - box.getBoundingClientRect().right]);
      });
      over[kind] = Math.max(over[kind] ?? -Infinity, by);
      await page.waitForTimeout(50);
    }
    for (const [kind, by] of Object.entries(over)) assert.ok(by <= 0.5, `${kind} at ${width} in ${font} is ${by} px too wide`);
    assert.ok(Math.max(...Object.values(over)) > -width, "it is measured");
    await context.close();
  })));
});

test("the page is small, and all of it comes from the daemon", async () => {
  const { page, context } = await openPage(b);
  const settled = watch(page);
  await remember(page);
  const tools = await context.newCDPSession(page);
  await tools.send("Network.enable");
  let bytes = 0;
  tools.on("Network.loadingFinished", (/** @type {any} */ e) => (bytes += e.encodedDataLength));
  const elsewhere = new Set();
  page.on("request", (r) => {
    if (!r.url().startsWith(d.url) && !r.url().startsWith(d.url.replace("http", "ws"))) elsewhere.add(r.url());
  });
  const began = Date.now();
  await page.goto(d.url);
  await page.locator(".giant-digits").waitFor();
  const shown = Date.now() - began, first = bytes;
  // The other screens and the charts come after it, and count too.
  for (const file of ["views/help.js", "lib/uplot.js"]) await page.waitForFunction((f) => performance.getEntriesByType("resource").some((e) => e.name.endsWith(f)), file);
  await settled();
  console.log(`transferred ${bytes} bytes, ${first} of them before the figure stood, after ${shown} ms`);
  assert.ok(bytes > 20_000 && bytes < 310_000, `${bytes} bytes`);
  assert.deepEqual([...elsewhere], []);
  await context.close();
});

test("a lost daemon is said, and found again, with nothing lost on the screen", async () => {
  const first = await daemon(["demo", "--empty", "--speed", "4", "--hand", "smooth"]);
  const { page, context } = await openPage(b);
  await remember(page);
  await page.goto(first.url);
  // In the midst of a trace: one that had ended would not be cut short.
  await page.waitForFunction(() => document.querySelector(".openings tbody tr") && document.querySelector(".trace-line")?.textContent?.includes("Recording:"));
  const figure = await page.locator(".openings tbody tr td.strong").last().innerText();
  await first.kill();
  const began = Date.now();
  await page.getByText("Lobescribe does not answer.").waitFor();
  console.log(`a killed daemon was said after ${Date.now() - began} ms`);
  assert.equal(await page.locator(".openings tbody tr td.strong").last().innerText(), figure);
  await page.getByText("last known; nothing new is coming in").waitFor();
  const again = await daemon(["demo", "--empty", "--speed", "4", "--hand", "smooth"], { addr: new URL(first.url).host, data: first.store });
  await page.locator(".tag.link.good").waitFor();
  await page.getByText("Lobescribe does not answer.").waitFor({ state: "detached" });
  await page.goto(`${again.url}/#/traces`);
  await page.getByText("cut short").first().waitFor();
  await context.close();
  await again.end();
});

test("everything can be reached and seen from the keyboard", async () => {
  const { page, context } = await openPage(b);
  await remember(page);
  await page.goto(`${d.url}/#/devices`);
  await page.locator("h1").waitFor();
  const names = new Set();
  for (let i = 0; i < 40; i++) {
    await page.keyboard.press("Tab");
    const at = await page.evaluate(() => {
      const e = document.activeElement;
      if (!e || e === document.body) return null;
      const style = getComputedStyle(e);
      return { name: (e.getAttribute("aria-label") ?? e.textContent ?? "").trim().slice(0, 30), outline: style.outlineStyle !== "none" && Number.parseFloat(style.outlineWidth) >= 2 };
    });
    if (!at) continue;
    names.add(at.name);
    assert.ok(at.outline, `the focus on "${at.name}" can not be seen`);
  }
  for (const wanted of ["Bench", "Traces", "Engine", "Help"]) assert.ok(names.has(wanted), `${wanted} was not reached; ${[...names]}`);
  await context.close();
});
