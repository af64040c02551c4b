// A daemon with its own store and a browser in front of it, for the walks.
import { execFileSync, spawn } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import os from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

const root = path.join(path.dirname(fileURLToPath(import.meta.url)), "..", "..", "..", "..");
const shots = process.env.SHOTS;

/** How long a walk waits for what must come, in ms: long enough that a machine with other things to do does not trip it. */
export const patience = Number(process.env.PATIENCE ?? 240_000);

/** The built binary: LOBESCRIBE, or built now. */
function binary(/** @type {string} */ dir) {
  if (process.env.LOBESCRIBE) return process.env.LOBESCRIBE;
  const file = path.join(dir, process.platform === "win32" ? "lobescribe.exe" : "lobescribe");
  execFileSync("go", ["build", "-o", file, "./cmd/lobescribe"], { cwd: root, stdio: "inherit" });
  return file;
}

/**
 * @param {string[]} args of the daemon, "demo" or "serve" first
 * @param {{addr?: string, data?: string}} [options]
 */
export async function daemon(args, { addr = "127.0.0.1:0", data } = {}) {
  const dir = mkdtempSync(path.join(os.tmpdir(), "bench-walk-"));
  const store = data ?? path.join(dir, "data");
  // The page as it was built into the binary, or PAGE=the folder being worked on.
  const page = process.env.PAGE ? ["--page", path.resolve(process.env.PAGE)] : [];
  const run = spawn(binary(dir), [...args, "--addr", addr, "--data", store, ...page], { stdio: ["ignore", "pipe", "pipe"] });
  let said = "";
  const url = await new Promise((resolve, reject) => {
    run.stdout.on("data", (chunk) => {
      said += chunk;
      const found = /http:\/\/[\d.]+:\d+/.exec(said);
      if (found) resolve(found[0]);
    });
    run.stderr.on("data", (chunk) => (said += chunk));
    run.on("exit", (code) => reject(new Error(`the daemon ended (${code}) before it said its address: ${said}`)));
  });
  let wanted = false;
  // A walk that fails does not come to its end(): a daemon left behind would
  // hold this process, and whoever waits for it.
  process.once("exit", () => run.kill("SIGKILL"));
  const gone = new Promise((resolve) => run.on("exit", (code, signal) => {
    if (!wanted) console.error(`the daemon ended by itself (${code ?? signal}): ${said.slice(-6000)}`);
    resolve(undefined);
  }));
  return {
    url: /** @type {string} */ (url),
    store,
    async kill() {
      wanted = true;
      run.kill("SIGKILL");
      await gone;
    },
    async end() {
      wanted = true;
      run.kill("SIGTERM");
      await gone;
      rmSync(dir, { recursive: true, force: true });
    },
  };
}

export const browser = () => chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox", "--disable-gpu", "--autoplay-policy=no-user-gesture-required"] });

/**
 * A page that gathers whatever it should not say.
 * @param {import("playwright-core").Browser} b
 * @param {import("playwright-core").BrowserContextOptions} [options]
 */
export async function openPage(b, options = {}) {
  const context = await b.newContext({ viewport: { width: 1440, height: 900 }, ...options });
  const page = await context.newPage();
  page.setDefaultTimeout(patience);
  /** @type {string[]} */
  const complaints = [];
  page.on("pageerror", (err) => complaints.push(String(err)));
  page.on("console", (m) => {
    // A refused request is part of some walks, and the page says it in words.
    if (m.type() === "error" && !/Failed to load resource|WebSocket connection/.test(m.text())) complaints.push(m.text());
  });
  return { page, context, complaints };
}

/** The cautions were read. @param {import("playwright-core").Page} page */
export const remember = (page) => page.addInitScript(() => localStorage.setItem("lobescribe", '{"cautioned":true,"ended":true}'));

/**
 * Returns what waits until the page has drawn, what it asked is answered, and it
 * has drawn the answer. Call it before the page is led anywhere.
 * @param {import("playwright-core").Page} page
 */
export function watch(page) {
  /** Requests that are not answered yet. */
  let open = 0;
  page.on("request", () => void open++);
  page.on("requestfinished", () => void open--);
  page.on("requestfailed", () => void open--);
  return async () => {
    for (let quiet = 0; quiet < 2; quiet = open > 0 ? 0 : quiet + 1) await page.evaluate(() => new Promise((drawn) => requestAnimationFrame(() => setTimeout(drawn, 0))));
  };
}

/**
 * In light or dark, with all that fades or moves having come to its end.
 * @param {import("playwright-core").Page} page
 * @param {"light"|"dark"} colorScheme
 */
export async function inColours(page, colorScheme) {
  await page.emulateMedia({ colorScheme });
  await page.waitForFunction((scheme) => matchMedia(`(prefers-color-scheme: ${scheme})`).matches, colorScheme);
  await page.evaluate(() => Promise.allSettled(document.getAnimations().filter((a) => a.effect?.getComputedTiming().endTime !== Infinity).map((a) => a.finished)));
}

/** The rules of axe that colours can break; the others find in the dark what they find in the light. */
const ofColours = ["color-contrast", "link-in-text-block"];

/**
 * Serious findings of axe, which was put into the page before.
 * @param {import("playwright-core").Page} page
 * @param {boolean} coloursOnly
 * @returns {Promise<string[]>}
 */
export const grave = (page, coloursOnly = false) => page.evaluate(async (rules) => {
  // @ts-expect-error axe is there
  const { violations } = await axe.run(document, { resultTypes: ["violations"], ...(rules ? { runOnly: rules } : {}) });
  return violations.filter((/** @type {any} */ v) => v.impact === "serious" || v.impact === "critical")
    .map((/** @type {any} */ v) => `${v.id}: ${v.nodes.slice(0, 3).map((/** @type {any} */ n) => `${n.target} (${n.any[0]?.message ?? n.failureSummary})`).join(", ")}`);
}, coloursOnly ? ofColours : null);

/**
 * A picture for whoever wants to look: SHOTS names the folder.
 * @param {import("playwright-core").Page} page
 * @param {string} name
 */
export async function shoot(page, name) {
  if (shots) await page.screenshot({ path: path.join(shots, `${name}.png`), fullPage: true });
}
