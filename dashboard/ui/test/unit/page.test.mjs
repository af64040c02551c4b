// The page as a whole: what it fetches first, and that nothing of it comes from
// elsewhere or breaks the policy it is served under.
import { test } from "node:test";
import assert from "node:assert/strict";
import { readdirSync, readFileSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";

const page = path.join(path.dirname(fileURLToPath(import.meta.url)), "..", "..", "..", "page");
const read = (/** @type {string} */ file) => readFileSync(path.join(page, file), "utf8");
const ours = readdirSync(page, { recursive: true }).map(String).map((f) => f.replaceAll("\\", "/")).filter((f) => f.endsWith(".js") && !f.startsWith("lib/"));

/**
 * What a module imports before it can run.
 * @param {string} file
 * @param {Set<string>} seen
 */
function graph(file, seen = new Set()) {
  if (seen.has(file)) return seen;
  seen.add(file);
  if (file.startsWith("lib/")) return seen; // fetched, and may not be there
  for (const [, to] of read(file).matchAll(/^(?:import|export) [^;]*?from "(\.{1,2}\/[^"]+)";/gms)) graph(path.posix.join(path.posix.dirname(file), to), seen);
  return seen;
}

test("every module that the first screen needs is asked for at once", () => {
  const preloaded = [...read("index.html").matchAll(/<link rel="modulepreload" href="([^"]+)">/g)].map((m) => m[1]);
  const needed = [...graph("app.js")].filter((f) => f !== "app.js");
  assert.ok(needed.length > 15, "the graph was not read");
  assert.deepEqual(preloaded.sort(), needed.sort());
});

test("the first screen does without the charts", () => {
  assert.ok(!graph("app.js").has("lib/uplot.js"));
});

test("nothing is written in a way that the policy of the page forbids", () => {
  assert.ok(ours.length > 30);
  for (const file of ours) {
    const code = read(file);
    assert.doesNotMatch(code, /\bstyle=(["'])/, `${file}: a style attribute`);
    assert.doesNotMatch(code, /\beval\(|new Function\(|innerHTML|dangerouslySetInnerHTML/, file);
    assert.doesNotMatch(code, /https?:\/\/(?!\$)/, `${file}: an address elsewhere`);
  }
  const html = read("index.html");
  assert.doesNotMatch(html, /<script(?![^>]*\bsrc=)[^>]*>/, "an inline script");
  assert.doesNotMatch(html, /<style|\sstyle=|\son\w+=/, "inline style or handler");
});

test("every import names a file that is there", () => {
  for (const file of ours) for (const [, to] of read(file).matchAll(/(?:from|import\()\s*"(\.{1,2}\/[^"]+)"/g)) {
    const target = path.posix.join(path.posix.dirname(file), to);
    if (!target.startsWith("lib/")) assert.ok(ours.includes(target), `${file} imports ${target}`);
  }
});
