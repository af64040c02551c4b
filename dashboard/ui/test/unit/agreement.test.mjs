// The words of an agreement. What agrees is the daemon's judgement.
import { test } from "node:test";
import assert from "node:assert/strict";
import { agreementWords, offWords } from "../../../page/agreement.js";
import { emptyChannel, initialState, reduce, whyLeftOut } from "../../../page/state.js";

const each = (/** @type {number[]} */ ...mm) => mm.map((by_mm, i) => ({ t_nose_s: i + 1, by_mm, beyond: Math.abs(by_mm) > 0.02 }));

test("it is said what agrees and what does not", () => {
  const some = (/** @type {any} */ a) => agreementWords({ max_lift_mm: 11.214, max_lift_u_mm: 0.01, ...a }, "1I", "in");
  assert.equal(agreementWords(null, "1I", "in"), "");
  assert.equal(some({ count: 0, agree: false, each: [] }), "");
  assert.match(some({ count: 1, agree: false, each: each(0) }), /^One opening so far: 0\.4415 ± 0\.0004 in\. Turn once more/);
  assert.equal(some({ count: 3, agree: true, each: each(0, 0, 0) }), "Cylinder 1 intake agrees over 3 openings: 0.4415 ± 0.0004 in.");
  assert.match(some({ count: 2, agree: false, each: each(0.0508, -0.0508) }), /the two openings differ by 0\.0020 in/);
  assert.match(some({ count: 4, agree: false, each: each(0, 0, 0.1, 0) }), /opening 3 of 4 does not agree with the others\. Leave it out/);
});

test("an opening's own row says by how much", () => {
  const a = { count: 3, agree: false, max_lift_mm: 0, max_lift_u_mm: 0, each: each(0.001, 0, -0.0254) };
  assert.deepEqual(offWords(a, 3, "in"), { says: "lower by 0.0010 in", beyond: true });
  assert.deepEqual(offWords(a, 1, "mm"), { says: "higher by 0.001 mm", beyond: false });
  assert.deepEqual(offWords(a, 9, "mm"), { says: "", beyond: false });
});

test("what was left out is known by the trace's own time, and goes with the trace", () => {
  const o = /** @type {any} */ ({ t_nose_s: 5.5 });
  let s = initialState();
  s = reduce(s, { type: "trace", id: 7, state: "recording", t0_us: 100_000_000, seconds: 1, readings: 1, on_disk_s: 0 });
  s = reduce(s, { type: "left-out", trace: 7, left_out: [{ from_s: 5, until_s: 6, why: "a rag" }] });
  s = reduce(s, { type: "agreement", ...{ count: 1, agree: false, max_lift_mm: 1, max_lift_u_mm: 1, each: [] } });
  assert.equal(whyLeftOut(s.engine, o), "a rag");
  assert.equal(s.engine.agreement?.count, 1);
  s = reduce(s, { type: "left-out", trace: 6, left_out: [] });
  assert.equal(whyLeftOut(s.engine, o), "a rag", "that was of another trace");
  s = reduce(s, { type: "trace", id: 8, state: "recording", t0_us: 200_000_000, seconds: 1, readings: 1, on_disk_s: 0 });
  assert.deepEqual({ ...s.engine, trace: null }, emptyChannel());
});
