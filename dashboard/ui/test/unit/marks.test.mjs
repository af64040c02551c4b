import { test } from "node:test";
import assert from "node:assert/strict";
import { centre, everyMark, inside, isMarked, kinds, lacking, liftNow, moved, plainMarks, put, rockerOver, sentSize, step } from "../../../page/marks.js";

const one = { byRim: false, again: false }, rim = { byRim: true, again: false }, again = { byRim: false, again: true };
const kind = (/** @type {string} */ place) => kinds.find((k) => k.place === place) ?? assert.fail(place);

test("a mark takes the place of the one before, a repeated one comes to it", () => {
  const stem = kind("stem_a_px");
  const first = put({}, stem, [1, 2], one);
  assert.deepEqual(put(first, stem, [3, 4], one), { stem_a_px: [[3, 4]] });
  assert.deepEqual(put(first, stem, [3, 4], again), { stem_a_px: [[1, 2], [3, 4]] });
  assert.deepEqual(first, { stem_a_px: [[1, 2]] }, "what was is not altered, so that it can come back");
});

test("a rim is marked with three, and takes the centre's place", () => {
  const tip = kind("tip_px");
  let marks = put({}, tip, [1, 1], one);
  assert.ok(isMarked(marks, tip));
  marks = put(marks, tip, [0, 5], rim);
  assert.deepEqual(marks, { tip_rim_px: [[0, 5]] });
  marks = put(put(marks, tip, [5, 0], rim), tip, [10, 5], rim);
  assert.ok(isMarked(marks, tip));
  assert.ok(!isMarked(moved(marks, "tip_rim_px", 0, null), tip), "two are no circle");
  assert.deepEqual(everyMark(marks).map((m) => m.name), ["Tip or roller, rim 1", "Tip or roller, rim 2", "Tip or roller, rim 3"]);
});

test("what is lacking is asked for in order, and what is only wanted is not", () => {
  /** @type {import("../../../page/marks.js").Marks} */
  let marks = {};
  const order = [];
  for (let k = lacking(marks); k; k = lacking(marks)) {
    order.push(k.place);
    marks = put(marks, k, [9, 9], one);
  }
  assert.deepEqual(order, ["stem_a_px", "stem_b_px", "pivot_px", "tip_px"]);
});

test("a mark moves by keys and stays in the picture", () => {
  assert.deepEqual(step({ key: "ArrowLeft", shiftKey: false }), [-1, 0]);
  assert.deepEqual(step({ key: "ArrowDown", shiftKey: true }), [0, 10]);
  assert.equal(step({ key: "a", shiftKey: false }), null);
  assert.deepEqual(inside([-4, 1000.26], { width_px: 800, height_px: 1200 }), [0, 1000.3]);
  assert.deepEqual(inside([900, 1300], { width_px: 800, height_px: 1200 }), [800, 1200]);
  assert.deepEqual(moved({ ball_px: [[1, 1]] }, "ball_px", 0, null), {}, "an empty list is no mark");
});

test("a picture is sent with two megapixels at most, in its own shape", () => {
  for (const [w, h] of [[4032, 3024], [3024, 4032], [20000, 100], [8000, 6000]]) {
    const [sw, sh] = sentSize(w, h);
    assert.ok(sw * sh <= 2e6, `${sw} by ${sh}`);
    assert.ok(Math.abs(sw / sh / (w / h) - 1) < 0.02, `${sw} by ${sh} of ${w} by ${h}`);
  }
  assert.deepEqual(sentSize(640, 480), [640, 480]);
});

test("the daemon's words come with the page's names", () => {
  assert.equal(plainMarks("photographs[1].stem_b_px: lies on top of another mark", [1, 3]), "Photograph 3: “Stem, other end” lies on top of another mark");
  assert.equal(plainMarks("Photographs[0].tip_px[2]: is outside of the picture", [1]), "Photograph 1: “Tip or roller”, mark 3, is outside of the picture");
  assert.equal(plainMarks("Known belongs to two marks, known_a_px and known_b_px, and they to it", [1]), "Known belongs to two marks, “Known length, one end” and “Known length, other end”, and they to it");
});

test("the lift goes with a photograph only where the bench knows it of this valve", () => {
  const live = /** @type {any} */ ({ replay: null, link: "up", devices: { indicator: { state: "live" } }, bench: { valve: "1I" }, engine: { position: { sign: 1, lift_nm: 6_100_000 } } });
  assert.equal(liftNow(live, "1I"), 6_100_000);
  assert.equal(liftNow(live, "1E"), null);
  assert.equal(liftNow({ ...live, link: "down" }, "1I"), null);
  assert.equal(liftNow({ ...live, replay: {} }, "1I"), null);
  assert.equal(liftNow({ ...live, devices: { indicator: { state: "lost" } } }, "1I"), null);
  assert.equal(liftNow({ ...live, engine: { position: { sign: 0, lift_nm: 1 } } }, "1I"), null, "the direction is not known yet");
});

test("the rocker drawn over its photograph turns by the law of its arm", () => {
  // An arm of 40 mm is 600 pixels long, square at a lift of 4 mm; at 0 mm it stands
  // asin(4/40) = 5.739 degrees above square (right triangle).
  const turn = Math.asin(4 / 40), pivot = /** @type {[number, number]} */ ([900, 400]);
  for (const side of [-1, 1]) { // the valve left or right of the pivot
    const tip = /** @type {[number, number]} */ ([900 + side * 600 * Math.cos(turn), 400 - 600 * Math.sin(turn)]);
    const marks = { pivot_px: [pivot], tip_px: [tip], stem_a_px: [/** @type {[number, number]} */ ([tip[0], 600])], stem_b_px: [/** @type {[number, number]} */ ([tip[0], 900])], ball_px: [/** @type {[number, number]} */ ([900 - side * 400, 400])] };
    const says = { square_at_lift_mm: 4, valve_arm_mm: 40 };
    const [[from, to], [, ball]] = rockerOver(marks, says, 0, 4);
    assert.deepEqual(from, pivot);
    assert.ok(Math.hypot(to[0] - (900 + side * 600), to[1] - 400) < 1e-9, `square: ${to}`);
    assert.ok(ball[1] < 400, "the other end goes up as the tip goes down");
    const [[, at12]] = rockerOver(marks, says, 0, 12);
    assert.ok(Math.abs(at12[1] - (400 + 600 * (8 / 40))) < 1e-9, `8 mm beyond square: ${at12}`);
    assert.deepEqual(rockerOver(marks, says, 0, 50), [], "farther than the arm reaches");
    assert.deepEqual(rockerOver({ pivot_px: [pivot] }, says, 0, 4), []);
  }
  const round = /** @type {[number, number][]} */ ([[10, 0], [0, 10], [-10, 0]]);
  assert.deepEqual(centre({ tip_rim_px: round.map(([x, y]) => /** @type {[number, number]} */ ([x + 50, y + 70])) }, "tip_px", "tip_rim_px"), [50, 70]);
  assert.equal(centre({}, "tip_px", "tip_rim_px"), null);
});
