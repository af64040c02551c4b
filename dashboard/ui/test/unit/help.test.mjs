// The help: no kind of fault without it, no link that leads nowhere, and the
// manual's list of faults made of the same table.
import { test } from "node:test";
import assert from "node:assert/strict";
import { readdirSync, readFileSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { faultHref, faults, faultTitle } from "../../../page/faults.js";
import { setupHelp } from "../../../page/helpsetup.js";
import { curve, howOften, lobe, troubles } from "../../../page/helptroubles.js";
import { checked } from "../../../page/checked.js";
import { helpFor, parseRoute, screens } from "../../../page/router.js";

const root = path.join(path.dirname(fileURLToPath(import.meta.url)), "..", "..", "..", "..");
const page = path.join(root, "dashboard", "page");
const read = (/** @type {string[]} */ ...at) => readFileSync(path.join(...at), "utf8");
/** The kinds that the findings may name; a Go test holds them against the source. */
const kinds = JSON.parse(read(root, "dashboard", "schema", "findings.json")).$defs.faultKind.enum;
const topics = [...read(page, "views", "help.js").matchAll(/^ {2}\["([a-z]+)", "/gm)].map((m) => m[1]);

test("every kind of fault has its help, whole, and nothing else has", () => {
  assert.ok(kinds.length >= 9);
  assert.deepEqual(Object.keys(faults).sort(), [...kinds].sort());
  for (const kind of kinds) {
    const f = faults[kind];
    assert.match(f.title, /^[A-Z].*[^.]$/, kind);
    for (const text of [f.means, f.figures, ...f.steps]) assert.match(text, /^[A-Z].*[.?]$/, `${kind}: ${text}`);
    assert.ok(f.steps.length > 0 && f.steps.length <= 4, `${kind}: a few steps`);
    assert.equal(faultTitle(kind), f.title);
    assert.deepEqual(parseRoute(faultHref(kind)).rest, ["faults", kind]);
  }
  assert.equal(faultTitle("no-such-kind"), "no-such-kind", "a kind of a newer daemon is told by its name");
});

test("the set-up names, step by step, every fault that it keeps away", () => {
  assert.deepEqual([...new Set(setupHelp.flatMap((s) => s.faults ?? []))].sort(), [...kinds].sort());
  for (const s of setupHelp) assert.ok(s.checks || s.blind || s === setupHelp[0], `${s.name}: what is looked after, or what is not`);
});

test("every link into the help leads to a topic", () => {
  assert.ok(topics.length >= 7, topics.join());
  let seen = 0;
  for (const file of readdirSync(page, { recursive: true }).map(String).filter((f) => f.endsWith(".js") && !f.startsWith("lib"))) {
    for (const [, topic] of read(page, file).matchAll(/#\/help\/([a-z]+)/g)) {
      assert.ok(topics.includes(topic), `${file}: #/help/${topic}`);
      seen++;
    }
  }
  assert.ok(seen >= 5);
  for (const [view] of screens) {
    const [topic] = parseRoute(helpFor(view)).rest;
    assert.ok(topic === undefined ? view === "help" : topics.includes(topic), view);
  }
});

test("the manual tells the same of every fault", () => {
  const text = read(root, "dashboard/MANUAL.md");
  for (const kind of kinds) {
    const f = faults[kind];
    const row = `| \`${kind}\` | ${f.means} | ${f.figures} |`;
    assert.ok(text.includes(row), `the manual has no line\n${row}`);
  }
});

test("every fault has a picture of its own, can be seen in the demo, and says how often it is told", () => {
  assert.deepEqual(Object.keys(troubles).sort(), [...kinds].sort());
  const simulated = [...read(root, "simulator", "trouble.go").matchAll(/Trouble = "([a-z-]+)"/g)].map((m) => m[1]);
  assert.ok(simulated.length >= 25, simulated.join());
  const drawn = new Set([curve(lobe)]);
  for (const kind of kinds) {
    const t = troubles[kind];
    assert.match(t.says, /^[A-Z].*\.$/, kind);
    drawn.add(curve(t.shows));
    assert.doesNotMatch(curve(t.shows), /NaN|undefined/, kind);
    if (t.simulated) assert.ok(simulated.includes(t.simulated), `${kind}: the simulator makes no ${t.simulated}`);
    if (t.tested) {
      assert.ok(checked[t.tested], `${kind}: nothing is known of ${t.tested}`);
      assert.match(howOften(t.tested), /^of 100 sessions .* at most \d/, kind);
    } else assert.equal(howOften(t.tested), "");
  }
  assert.equal(drawn.size, kinds.length + 1, "no two look alike");
});
