// The hands-free round: what is said when openings agree, and when the bench goes on.
import { test } from "node:test";
import assert from "node:assert/strict";
import { agreedCall, agreedNext, agreedWords, createRest, mayGoOn, roundDone, roundOf } from "../../../page/round.js";
import { nextStep } from "../../../page/cues.js";
import { initialState, reduce } from "../../../page/state.js";
import { spokenWith } from "../../../page/units.js";

const start = { ...initialState(), link: /** @type {const} */ ("up"), order: ["1I", "1E", "3I"] };
/** @param {any[]} messages */
const after = (...messages) => messages.reduce(reduce, start);
const bench = { type: "bench", engine: "mule", valve: "1I", trial: "" };
const device = { type: "device", id: "indicator", address: "x", state: "live", says: "" };
const agreement = (/** @type {number} */ count, /** @type {boolean} */ agree) => ({ type: "agreement", count, agree, max_lift_mm: 11.176, max_lift_u_mm: 0.0095, each: [] });
const at = (/** @type {string} */ state) => ({ type: "state", state, lift_nm: 0, to_go_nm: 5e6, half_nm: 5e6, nose_nm: 11_176_000, sign: 1, settled: true });

test("nothing comes next until two openings agree, and then the order of work says what", () => {
  assert.equal(agreedNext(after(bench)), "");
  assert.equal(agreedNext(after(bench, agreement(1, true))), "");
  assert.equal(agreedNext(after(bench, agreement(2, false))), "");
  assert.equal(agreedNext(after(bench, agreement(2, true))), "1E");
  assert.equal(agreedNext(after({ ...bench, valve: "3I" }, agreement(2, true))), "1I", "round and round");
  assert.equal(agreedNext({ ...after(bench, agreement(2, true)), order: [] }), "", "without an order nothing is next");
});

test("it is said once, with the figure, its uncertainty and the next valve", () => {
  const before = after(bench, agreement(1, false)), now = reduce(before, agreement(2, true));
  assert.equal(agreedCall(before, now), "Cylinder 1 intake agrees: point 4 4 0, plus or minus 0.4 thou. Next: Cylinder 1 exhaust.");
  assert.equal(agreedCall(now, reduce(now, agreement(3, true))), "", "not again with the third");
  assert.equal(agreedCall(before, reduce(before, { ...bench, valve: "1E" })), "");
  assert.equal(spokenWith(11_210_000, 9_500, "mm"), "11 point 2 1, plus or minus 0.01 millimetres");
});

test("the bench goes on from the heel only, and never in a replay", () => {
  const agreed = [bench, device, agreement(2, true)], round = { left: start.order };
  const inRound = (/** @type {any[]} */ ...messages) => messages.reduce(reduce, { ...start, round });
  assert.equal(mayGoOn(inRound(...agreed, at("heel"))), true);
  assert.equal(mayGoOn(after(...agreed, at("heel"))), false, "only in a round");
  assert.equal(mayGoOn(inRound(...agreed, at("opening"))), false, "turning on cancels it");
  assert.equal(mayGoOn({ ...inRound(...agreed, at("heel")), link: "lost" }), false);
  assert.equal(mayGoOn(inRound(...agreed, at("heel"), { type: "replay", trace: 1, rate: 1, paused: false, at_s: 0, seconds: 9, ended: false })), false);
});

test("the sentence on the bench says it in figures", () => {
  assert.equal(agreedWords(after(bench, agreement(1, false))), "");
  assert.equal(nextStep(after(bench, device, agreement(2, true), at("heel"))).says, "Heel. 2 openings agree at 0.4400 ± 0.0004 in. Next: Cylinder 1 exhaust.");
});

test("a round comes to each valve once, and is over then", () => {
  const valve = (/** @type {string} */ name, /** @type {number|null} */ lift, again = "") => /** @type {any} */ ({ valve: name, max_lift_mm: lift, again });
  assert.deepEqual(roundOf([valve("1I", 11), valve("1E", null), valve("3I", 11, "the stack")]).left, ["1E", "3I"], "what is to be measured, or again");
  assert.deepEqual(roundOf([valve("1I", 11), valve("1E", 10)]).left, ["1I", "1E"], "all of it once more");
  let s = [{ ...bench, valve: "1E" }, agreement(2, true)].reduce(reduce, { ...start, round: { left: ["1I", "1E"] } });
  assert.deepEqual(s.round, { left: ["1I"] });
  assert.equal(agreedNext(s), "1I", "3I was measured before");
  s = reduce(s, agreement(3, false));
  assert.deepEqual(s.round, { left: ["1I", "1E"] }, "a later opening does not agree: it is not done");
  s = [agreement(4, true), bench].reduce(reduce, s);
  const done = reduce(s, agreement(2, true));
  assert.equal(agreedNext(done), "");
  assert.equal(roundDone(done), true);
  assert.equal(mayGoOn(reduce(done, at("heel"))), false);
  assert.equal(agreedCall(s, done), "Cylinder 1 intake agrees: point 4 4 0, plus or minus 0.4 thou. That was the last one: the round is done.");
  assert.equal(agreedWords(done), "2 openings agree at 0.4400 ± 0.0004 in. The round is done: every valve agrees.");
});

test("it has rested when neither the valve nor the crank stirred for so long", () => {
  /** @type {{may: boolean, angle: number|undefined, rests: number}} */ let now = { may: true, angle: undefined, rests: 10 };
  const rest = createRest(() => now);
  assert.equal(rest(0), false);
  assert.equal(rest(9_999), false);
  assert.equal(rest(10_000), true);
  assert.equal(rest(10_250), false, "once");
  now = { ...now, may: false };
  rest(20_000);
  now = { may: true, angle: 40e6, rests: 10 };
  assert.equal(rest(30_000), false);
  now = { ...now, angle: 90e6 }; // turned on along the heel, where lift shows nothing of it
  assert.equal(rest(41_000), false);
  now = { ...now, angle: 91e6 };
  assert.equal(rest(50_999), false);
  assert.equal(rest(51_000), true);
});
