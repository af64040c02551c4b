// What is left of an indicator's travel, and the warning before a turn.
import assert from "node:assert/strict";
import { test } from "node:test";
import { leftWords, tooLittle, travelLeft } from "../../../page/proof.js";
import { initialState, reduce } from "../../../page/state.js";

/** @type {import("../../../page/proof.js").ProofNow} */
const now = { indicator: "serial:/dev/ttyUSB0", proving: null, expected_lift_mm: 10, proof: { proved: true, low_mm: -15, high_mm: 10.4, travel_mm: 25.4, in: 1 } };

test("the travel left is told both ways, and not at all where the stops are not known", () => {
  assert.deepEqual(travelLeft(now, 1e6), { down: 16e6, up: 9.4e6 });
  assert.equal(leftWords(now, 1e6, "mm"), "9.40 mm inward, 16.00 mm outward");
  assert.equal(leftWords({ ...now, proof: { ...now.proof, in: -1 } }, 1e6, "mm"), "16.00 mm inward, 9.40 mm outward");
  assert.equal(travelLeft({ ...now, proof: { ...now.proof, loose: true } }, 1e6), null);
  assert.equal(travelLeft({ ...now, proof: { proved: false } }, 1e6), null);
  assert.equal(leftWords(null, 1e6, "mm"), "");
});

test("a turn for which too little travel is left is warned of before it", () => {
  const heel = { sign: 1, heel_nm: 1e6, state: "heel" };
  assert.match(tooLittle(now, heel, 1e6, "mm"), /9.400 mm left.*10.000 mm is expected.*higher/);
  assert.equal(tooLittle(now, { ...heel, sign: -1 }, 1e6, "mm"), "", "it runs the other way");
  assert.match(tooLittle(now, { ...heel, sign: -1 }, -8e6, "mm"), /7.000 mm left.*lower/);
  assert.equal(tooLittle(now, { ...heel, state: "opening" }, 9e6, "mm"), "", "it is turned already");
  assert.equal(tooLittle(now, null, 1e6, "mm"), "", "the roomier way counts while none is known");
  assert.equal(tooLittle({ ...now, expected_lift_mm: undefined }, heel, 1e6, "mm"), "");
});

test("what is known of the indicator comes with the hello and by itself", () => {
  let s = reduce(initialState(), { type: "hello", proof: now });
  assert.deepEqual(s.proof, now);
  s = reduce(s, { type: "proof", ...now, proving: { stage: "hang", says: "x", snaps: 0, resting: true } });
  assert.equal(s.proof?.proving?.stage, "hang");
});
