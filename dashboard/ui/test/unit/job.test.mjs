// The engine's map, the rocker's poses, curves laid over each other, the hill.
import { test } from "node:test";
import assert from "node:assert/strict";
import { banks, getAt, nextValve, progress, setAt, sideOf, valveNames } from "../../../page/engine.js";
import { poses, poseAt, windowOf } from "../../../page/rocker.js";
import { along, axisWords, joined, readTiming } from "../../../page/timing.js";
import { haveAngles, lifted, overlay, placed } from "../../../page/compare.js";

test("the next valve follows the order of work, round and round", () => {
  const order = ["1I", "1E", "3I", "3E"];
  assert.equal(nextValve(order, "1E"), "3I");
  assert.equal(nextValve(order, "3E"), "1I");
  assert.equal(nextValve(order, ""), "1I");
  assert.equal(nextValve([], "1I"), "");
});

test("every cylinder stands in the map once, whatever the layout", () => {
  for (const layout of ["inline", "vee", "flat", "single", undefined]) {
    for (let cylinders = 1; cylinders <= 16; cylinders++) {
      const all = banks({ layout, cylinders }).flat().sort((a, b) => a - b);
      assert.deepEqual(all, Array.from({ length: cylinders }, (_, i) => i + 1), `${layout} ${cylinders}`);
    }
  }
  assert.equal(banks({ layout: "vee", cylinders: 8 }).length, 2);
});

test("what a valve's name says", () => {
  assert.deepEqual(["3I", "3E", "12I2", "left"].map(sideOf), ["intake", "exhaust", "intake", ""]);
  assert.deepEqual(valveNames({ cylinders: 2, valves_per_cylinder: 3 }), ["1I1", "1I2", "1E", "2I1", "2I2", "2E"]);
  assert.equal(progress({ valve: "1I", traces: 1, trials: 0, max_lift_mm: 10, missing: ["trial"] }), "part");
});

test("a document is changed by a copy", () => {
  const doc = { a: 1, card: { io: 2 } };
  const next = setAt(doc, "card.ic", 40);
  assert.deepEqual(doc, { a: 1, card: { io: 2 } });
  assert.equal(getAt(next, "card.ic"), 40);
  assert.equal(getAt(setAt(next, "card.io", undefined), "card.io"), undefined);
  assert.equal(getAt({}, "card.io"), undefined);
});

/** A pose on a circle, as any rocker's tip moves. @param {number} lift @returns {any} */
function pose(lift) {
  const at = Math.asin((lift - 5) / 38), p = { x_mm: 0, z_mm: 0 };
  return { lift_mm: lift, lobe_lift_mm: lift / 1.5, angle_deg: (at * 180) / Math.PI, ratio: 1.5, contact_mm: 38 * Math.cos(at), pivot: p, tip: { x_mm: 38 * Math.cos(at), z_mm: -38 * Math.sin(at) }, touch: p, stem: { x_mm: 38, z_mm: -lift }, adjuster: { x_mm: -25, z_mm: 0 }, lifter: p };
}

test("between two poses the drawn arm keeps its length within a hundredth of a millimetre", () => {
  const row = Array.from({ length: poses }, (_, i) => (10 * i) / (poses - 1)).map(pose);
  assert.equal(row.length, 41);
  assert.equal(row.at(-1).lift_mm, 10);
  for (let lift = 0; lift <= 10; lift += 0.01) {
    const p = poseAt(row, lift);
    assert.ok(Math.abs(Math.hypot(p.tip.x_mm, p.tip.z_mm) - 38) < 0.01, `at ${lift}`);
  }
});

test("a lift outside the row is drawn at its end", () => {
  const row = Array.from({ length: poses }, (_, i) => (10 * i) / (poses - 1)).map(pose);
  assert.equal(poseAt(row, -1).lift_mm, 0);
  assert.equal(poseAt(row, 12).lift_mm, 10);
});

test("the window holds every point of the poses", () => {
  const poses = [pose(0), pose(5), pose(10)];
  const w = windowOf(poses);
  for (const p of poses) for (const q of [p.tip, p.adjuster, p.stem]) {
    assert.ok(q.x_mm > w.left && q.x_mm < w.left + w.width);
    assert.ok(-q.z_mm > w.top && -q.z_mm < w.top + w.height);
  }
});

test("curves on one x keep their own points and end where they end", () => {
  const { x, ys } = joined([{ x: [0, 2, 4], y: [0, 20, 40] }, { x: [1, 3], y: [5, 7] }]);
  assert.deepEqual(x, [0, 1, 2, 3, 4]);
  assert.deepEqual(ys[0], [0, 10, 20, 30, 40]);
  assert.deepEqual(ys[1], [null, 5, 6, 7, null]);
  assert.equal(along({ x: [], y: [] })(1), null);
});

test("the axis says dead centres by name", () => {
  assert.deepEqual([-360, -180, 0, 180, 90].map(axisWords), ["TDC", "BDC", "TDC", "BDC", "90°"]);
});

test("a timing without derivatives or curve is still a timing", () => {
  const t = readTiming({ valve: "intake", timing: { passages: [] } });
  assert.deepEqual([t.valve, t.curve.angle.length, t.derivatives.length, t.half], ["intake", 0, 0, null]);
});

/**
 * An opening of a parabola, its nose at a given second and angle.
 * @param {{nose: number, heel?: number, sign?: number, top?: number}} o
 */
function opening({ nose, heel = 0, sign = 1, top = 10 }) {
  const t_us = [], low = [], high = [], angle = [];
  for (let i = -50; i <= 50; i++) {
    const nm = Math.max(0, top * (1 - (i / 40) ** 2)) * 1e6;
    t_us.push((nose + i / 50) * 1e6);
    low.push(heel * 1e6 + sign * nm);
    high.push(heel * 1e6 + sign * nm);
    angle.push((nose * 100 + i) * 1e6);
  }
  return lifted({ t_us, min_nm: low, max_nm: high, angle_udeg: angle }, /** @type {any} */ ({
    heel_mm: heel, t_nose_s: nose, nose_angle_deg: nose * 100, opening_half: { t_s: nose - 0.566, angle_deg: nose * 100 - 28.3, reading_mm: heel + (sign * top) / 2 },
    closing_half: { t_s: nose + 0.566, angle_deg: nose * 100 + 28.3, reading_mm: heel + (sign * top) / 2 },
  }), sign, "a");
}

test("two openings of one lobe fall on each other, whichever way the spindle ran", () => {
  const a = opening({ nose: 3 }), b = opening({ nose: 10.2, heel: 1.5, sign: -1 });
  assert.ok(haveAngles([a, b]));
  for (const align of /** @type {const} */ (["flanks", "nose", "half"])) {
    const { differences } = overlay([a, b], align, true);
    const worst = Math.max(...differences[0].filter((d) => d !== null).map(Math.abs));
    assert.ok(worst < 1000, `${align}: ${worst} nm`);
  }
});

test("by crank angle, another cycle of the engine falls on the first", () => {
  const { differences } = overlay([opening({ nose: 3 }), opening({ nose: 10.2 })], "angle", true);
  const worst = Math.max(...differences[0].filter((d) => d !== null).map(Math.abs));
  assert.ok(worst < 1000, `${worst} nm`);
});

test("a higher lift shows as a difference at the nose", () => {
  const { x, differences } = overlay([opening({ nose: 3 }), opening({ nose: 5, top: 10.5 })], "nose", true);
  const at = x.findIndex((v) => Math.abs(v) < 1e-6);
  assert.ok(Math.abs(/** @type {number} */ (differences[0][at]) - 0.5e6) < 1000);
});

test("turning back does not draw a curve backwards", () => {
  const o = opening({ nose: 3 });
  o.angle = o.angle && o.angle.map((a, i) => (i > 30 && i < 36 ? a - 8 : a));
  const { x } = placed(o, "nose", true);
  for (let i = 1; i < x.length; i++) assert.ok(x[i] > x[i - 1]);
});

test("without an encoder they lie against time", () => {
  const o = opening({ nose: 3 });
  o.angle = null;
  assert.equal(haveAngles([o]), false);
  assert.ok(Math.abs(placed(o, "nose", false).x[50]) < 1e-9);
});

test("the first set-up knows by itself how far it has come", async () => {
  const { setupSteps } = await import("../../../page/setup.js");
  const { initialState, reduce } = await import("../../../page/state.js");
  const done = (/** @type {any} */ s, strip = { low: Infinity, high: -Infinity }) => setupSteps(s, strip).map((step) => step.done);
  let s = initialState();
  assert.deepEqual(done(s), [false, false, false, false, false]);
  s = reduce(s, { type: "device", id: "indicator", state: "live" });
  assert.deepEqual(done(s, { low: 0, high: 2540 }), [true, false, false, false, false], "one count of noise is no movement");
  assert.deepEqual(done(s, { low: 0, high: 254_000 }), [true, true, false, false, false]);
  s = reduce(reduce(s, { type: "bench", engine: "e", valve: "1I" }), { type: "state", sign: -1, to_go_nm: 0 });
  assert.deepEqual(done(s, { low: 0, high: 254_000 }), [true, true, true, true, false]);
  s = reduce(s, { type: "opening", opening: {} });
  assert.deepEqual(done(s), [true, true, true, true, true]);
});

test("a nose that noise moved shifts nothing when openings lie between their half lifts", () => {
  const a = opening({ nose: 3 }), b = opening({ nose: 10.2 });
  b.opening.nose_angle_deg = /** @type {number} */ (b.opening.nose_angle_deg) + 2;
  const worst = (/** @type {"flanks"|"nose"} */ align) => Math.max(...overlay([a, b], align, true).differences[0].filter((d) => d !== null).map(Math.abs));
  assert.ok(worst("flanks") < 1000, `${worst("flanks")} nm`);
  assert.ok(worst("nose") > 100000, "at the nose it would");
});
