// Makes the pictures in testdata/pictures again from the page as it is now, on
// the demo's invented engine:
//
//     npm --prefix dashboard/ui run pictures
//
// Each waits for a moment that shows what it is there for, so that two runs
// give alike pictures, if not the same bytes.
import { mkdirSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { browser, daemon, openPage } from "./test/e2e/stand.mjs";

const folder = path.join(path.dirname(fileURLToPath(import.meta.url)), "..", "..", "testdata", "pictures");
mkdirSync(folder, { recursive: true });
const d = await daemon(["demo", "--hand", "smooth"]);
const b = await browser();

/**
 * @param {string} screen
 * @param {import("playwright-core").BrowserContextOptions} look
 */
async function open(screen, look) {
  const { page, complaints } = await openPage(b, look);
  await page.addInitScript(() => localStorage.setItem("lobescribe", '{"cautioned":true,"ended":true}'));
  await page.goto(`${d.url}/#/${screen}`);
  await page.locator("main h1, main .giant-digits").first().waitFor();
  if (complaints.length) throw new Error(complaints.join("\n"));
  return page;
}

/** On the way to half lift, after two openings have settled. @param {import("playwright-core").Page} page */
async function towardsHalf(page) {
  await page.locator(".openings tbody tr").nth(1).waitFor();
  await page.waitForFunction(() => document.querySelector(".mood-towards") && Number(document.querySelector(".giant-digits")?.textContent) < 0.1);
}

const desk = { viewport: { width: 1440, height: 900 } };
const bench = await open("bench", desk);
await towardsHalf(bench);
await bench.screenshot({ path: path.join(folder, "bench.png") });

const setup = await open("help/setup", desk);
await setup.locator(".drawings").screenshot({ path: path.join(folder, "setup.png") });

await b.close();
await d.end();
