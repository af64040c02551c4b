// What is said of a shop of many benches, and the scale its engines are laid on.
import { test } from "node:test";
import assert from "node:assert/strict";
import { ago, byType, fewWords, marks, oddOnes, outboxLine, reach, readerLine } from "../../../page/shop.js";
import { screensFor, viewFor } from "../../../page/router.js";
import { initialState, onlyShows, reduce } from "../../../page/state.js";

const now = Date.parse("2026-03-01T12:00:00Z");
const before = (/** @type {number} */ s) => new Date(now - s * 1000).toISOString();

test("how long ago, as a person says it", () => {
  for (const [s, says] of /** @type {[number, string][]} */ ([[-5, "just now"], [9, "just now"], [61, "61 s ago"], [90, "2 min ago"], [89 * 60, "89 min ago"], [90 * 60, "2 h ago"], [35 * 3600, "35 h ago"]])) {
    assert.equal(ago(before(s), now), says);
  }
  assert.match(ago(before(4 * 86400), now), /2026/, "then the day itself");
  assert.equal(ago("no time", now), "no time");
});

test("a bench that is cut off is not in trouble, and what waits is counted", () => {
  const bench = { bench: "stand-1", server: "nats://10.0.0.7:4222", connected: true, waiting: 0, sent: 3, last_sent: before(20) };
  assert.deepEqual(outboxLine(bench, now), { says: "Shop: nothing waits, last sent 20 s ago.", shape: "check", kind: "good" });
  const off = outboxLine({ ...bench, connected: false, waiting: 1234, cut_off_since: before(3600) }, now);
  assert.match(off.says, /^Shop: 1,234 waiting, cut off since .*2026.*, last sent 20 s ago\.$/);
  assert.notEqual(off.kind, "bad");
  assert.match(outboxLine({ ...bench, connected: false, last_sent: undefined }, now).says, /not reached yet\.$/);
});

test("how far the record has come", () => {
  const reader = { server: "nats://10.0.0.7:4222", connected: true, applied: 10, behind: 0 };
  assert.equal(readerLine(reader).kind, "good");
  assert.match(readerLine({ ...reader, behind: 2000 }).says, /2,000 messages are still to come/);
  assert.match(readerLine({ ...reader, connected: false, says: "nobody answers" }).says, /Cut off.*nobody answers/);
});

test("one type however it is spaced, and those without one last", () => {
  const e = (/** @type {string} */ id, /** @type {string|undefined} */ type) => ({ id, type, benches: [], last: before(0), card: true, valves: 4, measured: 0, traces: 0 });
  const groups = byType([e("a", undefined), e("b", "Small  Block"), e("c", "single"), e("d", " small block ")]);
  assert.deepEqual(groups.map((g) => [g.type, g.engines.map((one) => one.id)]), [["single", ["c"]], ["Small  Block", ["b", "d"]], ["", ["a"]]]);
});

/** @param {number} off @param {boolean} outlier @param {string} engine */
const member = (off, outlier, engine) => ({ engine, trace: 1, max_lift_mm: 10, max_lift_u_mm: 0.01, off_mm: off, outlier });
const spread = {
  type: "small block", engines: ["a", "b", "c"],
  valves: [
    { valve: "1I", count: 3, median_mm: 10, spread_mm: 0.02, spread_u_mm: 0.01, least_mm: 0.05, members: [member(0, false, "a"), member(0.01, false, "b"), member(-0.01, false, "c")] },
    { valve: "1E", count: 3, median_mm: 10, spread_mm: 0.5, spread_u_mm: 0.01, least_mm: 0.05, members: [member(0, false, "a"), member(0.01, false, "b"), member(-0.49, true, "c")] },
  ],
};

test("one scale holds every dot with its uncertainty, and has round marks and a zero", () => {
  const far = reach(spread);
  for (const v of spread.valves) for (const m of v.members) assert.ok(far > Math.abs(m.off_mm) + m.max_lift_u_mm);
  assert.ok(reach({ ...spread, valves: [] }) > 0);
  for (const f of [0.03, 1.7, 21, 499, 5000]) {
    const at = marks(f);
    assert.ok(at.length >= 3 && at.length <= 11, `${f}: ${at}`);
    assert.ok(at.includes(0) && at.every((m) => Math.abs(m) <= f * (1 + 1e-6)));
    assert.deepEqual(at.map((m) => -m || 0).reverse(), at.map((m) => m || 0), "the same on both sides");
    const step = at[1] - at[0];
    assert.ok([1, 2, 5].includes(Number((step / 10 ** Math.floor(Math.log10(step) + 1e-9)).toFixed(6))), `${f}: a step of ${step}`);
  }
  assert.deepEqual([...oddOnes(spread)], [["c", ["1E"]]]);
  assert.deepEqual([1, 2, 3].map((n) => fewWords(n) !== ""), [true, true, false]);
});

test("a page over a shop begins with it and has no bench; the others keep theirs", () => {
  const names = (/** @type {""|"bench"|"record"} */ shop) => screensFor(shop).map(([v]) => v);
  assert.ok(!names("").includes("shop"));
  assert.deepEqual(names("bench").filter((v) => v !== "shop"), names(""));
  assert.equal(names("record")[0], "shop");
  for (const view of ["bench", "devices"]) {
    assert.ok(!names("record").includes(view));
    assert.equal(viewFor(view, "record"), "shop");
    assert.equal(viewFor(view, "bench"), view);
  }
  assert.equal(viewFor("traces", "record"), "traces");
});

test("what is looked at over a shop stays with its page when the daemon says hello again", () => {
  const hello = { type: "hello", units: "in", shop: "record", bench: { engine: "", valve: "" }, devices: [] };
  let s = reduce(initialState(), hello);
  assert.ok(onlyShows(s));
  s = reduce({ ...s, unit: "mm", bench: { engine: "stand-1.red", valve: "1I", trial: "" } }, hello);
  assert.deepEqual([s.unit, s.bench.engine, s.bench.valve], ["mm", "stand-1.red", "1I"]);
  const bench = reduce(s, { ...hello, shop: "bench", bench: { engine: "v8", valve: "" } });
  assert.ok(!onlyShows(bench));
  assert.deepEqual([bench.unit, bench.bench.engine], ["in", "v8"], "a bench is what its daemon says");
});
