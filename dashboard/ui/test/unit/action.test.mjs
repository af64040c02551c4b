// What the one large button at the bench does, step by step.
import { test } from "node:test";
import assert from "node:assert/strict";
import { nextAction, stepped } from "../../../page/action.js";
import { initialState, reduce } from "../../../page/state.js";

/** @param {any[]} messages */
const after = (...messages) => messages.reduce(reduce, { ...initialState(), link: /** @type {const} */ ("up") });
const indicator = { type: "device", id: "indicator", address: "x", state: "live", says: "" };
const bench = { type: "bench", engine: "mule", valve: "1I", trial: "" };
const opening = (/** @type {number} */ t) => ({ type: "opening", opening: { t_nose_s: t } });
const agreement = (/** @type {boolean} */ agree, /** @type {boolean[]} */ ...beyond) => ({ type: "agreement", count: beyond.length, agree, max_lift_mm: 1, max_lift_u_mm: 0, each: beyond.map((b, i) => ({ t_nose_s: i, by_mm: 0, beyond: b })) });

test("nothing can be pressed without the daemon, without an indicator, or in a replay", () => {
  assert.equal(nextAction(initialState()), null);
  assert.equal(nextAction(after()), null);
  assert.equal(nextAction(after(indicator, { type: "replay", trace: 1, rate: 1, paused: false, at_s: 0, seconds: 9, ended: false })), null);
});

test("it marks, until openings agree; then it is the next valve's turn", () => {
  assert.equal(nextAction(after(indicator, bench))?.act, "mark");
  assert.equal(nextAction(after(indicator, bench, opening(0), agreement(false, false)))?.act, "mark");
  assert.deepEqual(nextAction(after(indicator, bench, opening(0), opening(1), agreement(true, false, false))), { name: "Next valve", act: "next", why: "2 openings agree" });
  assert.equal(nextAction(after(indicator, opening(0), opening(1), agreement(true, false, false)))?.act, "mark", "no engine, no next valve");
  const turning = { type: "state", state: "opening", lift_nm: 1, to_go_nm: 9, half_nm: 5, nose_nm: 10, sign: 1 };
  assert.equal(nextAction(after(indicator, bench, opening(0), opening(1), agreement(true, false, false), turning))?.act, "mark", "not while the valve is open");
});

test("an opening that does not agree with the others can be left out at once, but only the last", () => {
  assert.equal(nextAction(after(indicator, bench, opening(0), opening(1), opening(2), agreement(false, false, false, true)))?.act, "scratch");
  assert.equal(nextAction(after(indicator, bench, opening(0), opening(1), opening(2), agreement(false, true, false, false)))?.act, "mark");
});

test("a step ends on a whole step", () => {
  assert.equal(stepped(null, 1, "in"), 25_400);
  assert.equal(stepped(30_000, 1, "in"), 50_800);
  assert.equal(stepped(0, -1, "mm"), -20_000);
});
