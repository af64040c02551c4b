import { test } from "node:test";
import assert from "node:assert/strict";
import { call, deviceWords, linkWords, nextStep, valveWords } from "../../../page/cues.js";
import { initialState } from "../../../page/state.js";
import { parseLength } from "../../../page/units.js";

const inch = (/** @type {string} */ text) => parseLength(text, "in");
const live = { id: "indicator", address: "serial:x", state: /** @type {const} */ ("live"), says: "", rate_hz: 100 };
const base = { t_s: 0, state: /** @type {any} */ ("opening"), lift_nm: 0, heel_nm: 0, sign: 1, nose_nm: inch("0.420"), settled: true, half_nm: inch("0.210"), to_go_nm: 0 };

/** @param {any} position @param {any} [channel] @param {any} [over] @returns {import("../../../page/state.js").State} */
function at(position, channel = {}, over = {}) {
  const s = initialState();
  return { ...s, link: "up", devices: { indicator: live }, ...over, engine: { ...s.engine, position: position && { ...base, ...position }, ...channel } };
}

/** On the heel, after so many openings. @param {number} count @param {boolean} agree */
const agreeing = (count, agree) => at({ state: "heel" }, { agreement: { count, agree, max_lift_mm: 0, max_lift_u_mm: 0, each: [] } });

test("one sentence for every state", () => {
  /** @type {[import("../../../page/state.js").State, string, string][]} */
  const cases = [
    [{ ...initialState(), link: "lost" }, "Lobescribe does not answer. Trying again; what is on the screen stays.", "problem"],
    [at(null, {}, { devices: {} }), "Choose the indicator's port.", "problem"],
    [at(null), "Turn the engine by hand, the way it runs.", "rest"],
    [at({ sign: 0 }), "Turn on until the valve opens: that shows which way the spindle runs.", "rest"],
    [at({ state: "heel", nose_nm: 0, half_nm: 0 }), "On the heel. Turn one whole opening, to find max lift.", "rest"],
    [at({ state: "opening", half_nm: 0, nose_nm: 0 }), "Opening. Keep turning to the nose.", "rest"],
    [at({ to_go_nm: inch("0.013") }), "Keep turning, 0.013 in to half lift.", "towards"],
    [at({ to_go_nm: inch("0.013") }, {}, { unit: "mm" }), "Keep turning, 0.33 mm to half lift.", "towards"],
    [at({ to_go_nm: inch("0.0004") }), "Half lift. Hold: judge the rocker now.", "half"],
    [at({ to_go_nm: inch("-0.003") }, { held: true }), "Half lift. Hold: judge the rocker now.", "half"],
    [at({ to_go_nm: inch("0.1"), doubtful: true }), "Keep turning, 0.100 in to half lift, in doubt.", "towards"],
    [at({ to_go_nm: inch("-0.02"), doubtful: true }), "Half lift, in doubt, is 0.020 in behind. Turn on to the nose.", "rest"],
    [at({ to_go_nm: inch("0.0004"), doubtful: true }), "Half of a max lift that is in doubt: its ± is wide, or a fault stands. Put that right, then judge the rocker.", "problem"],
    [at({ to_go_nm: inch("-0.020") }), "Half lift is 0.020 in behind. Turn on to the nose.", "rest"],
    [at({ state: "nose", nose_nm: inch("0.512") }), "Nose at 0.5120 in. Turn on to half lift.", "nose"],
    [at({ state: "closing", to_go_nm: inch("-0.040") }), "Half lift is 0.040 in behind. Turn on to the heel.", "rest"],
    [at({ state: "closing", to_go_nm: inch("-0.050") }), "Past half lift. Turn on to the heel.", "rest"],
    [at({ state: "nose", half_nm: 0 }), "Nose. Turn on to the heel, to know max lift.", "nose"],
    [at({ state: "closing", half_nm: 0 }), "Past the nose. Turn on to the heel; the next opening has half lift.", "rest"],
    [at({ state: "opening", half_nm: 0, fallen_nm: inch("0.031") }), "Down 0.0310 in: the nose, or turned back? Turn on.", "rest"],
    [at({ state: "opening", fallen_nm: inch("0.031") }, {}, { unit: "mm" }), "Down 0.787 mm: the nose, or turned back? Turn on.", "rest"],
    [at({}, { cue: { kind: "taken-back", of: "nose", lift_nm: inch("0.201") } }), "Correction: 0.2010 in was not the nose. Turn on.", "problem"],
    [at({ state: "closing" }, { cue: { kind: "taken-back", of: "at-half", lift_nm: inch("0.201") } }), "Correction: 0.2010 in was not half lift. Judge the rocker again.", "problem"],
    [at({ state: "heel" }), "Heel. Max lift 0.4200 in. Turn again, or next valve.", "rest"],
    [agreeing(1, false), "Heel. Max lift 0.4200 in. Turn again, to see whether it agrees.", "rest"],
    [agreeing(2, true), "Heel. Max lift 0.4200 in. 2 openings agree: next valve.", "rest"],
    [agreeing(3, false), "Heel. Max lift 0.4200 in. The openings do not agree: turn again.", "rest"],
  ];
  for (const [state, says, mood] of cases) {
    const next = nextStep(state);
    assert.equal(next.says, says);
    assert.equal(next.mood, mood, says);
  }
});

test("a device in trouble comes before everything the valve does", () => {
  for (const state of ["lost", "silent", "connecting"]) {
    const next = nextStep(at({ to_go_nm: 1e6 }, {}, { devices: { indicator: { ...live, state } } }));
    assert.notEqual(next.mood, "towards", state);
    assert.doesNotMatch(next.says, /half lift/, state);
  }
});

test("a trace that is not kept is said at once", () => {
  const next = nextStep(at({}, { trace: { id: 7, state: "failed", seconds: 1, readings: 1, on_disk_s: 0, says: "the disk is full" } }));
  assert.equal(next.says, "The turn is not being saved: the disk is full.");
});

test("the link is never green unless readings flow or stand", () => {
  assert.deepEqual(deviceWords(live), { word: "live 100/s", shape: "disc", kind: "good" });
  for (const [over, kind] of /** @type {const} */ ([[{ detail: "stalled" }, "bad"], [{ state: "silent", age_s: 3.2 }, "bad"], [{ state: "lost" }, "bad"], [{ state: "connecting" }, "wait"], [{ detail: "standing-still" }, "good"]])) {
    assert.equal(deviceWords(/** @type {any} */ ({ ...live, ...over })).kind, kind);
  }
  assert.equal(linkWords({ ...at({}), link: "lost" }).kind, "bad");
  assert.equal(linkWords({ ...at({}), replay: { trace: 3, rate: 1, paused: false, at_s: 0, seconds: 1, ended: false } }).word, "replay");
});

test("what is called out", () => {
  assert.equal(call({ type: "cue", kind: "nose", lift_nm: inch("0.420") }, "in"), "Nose, point 4 2 0");
  assert.equal(call({ type: "cue", kind: "at-half" }, "in"), "Half lift. Hold.");
  assert.equal(call({ type: "cue", kind: "at-half", doubtful: true }, "in"), "Half lift, in doubt.");
  assert.equal(call({ type: "cue", kind: "past-half", to_go_nm: inch("-0.01"), doubtful: true }, "in"), "");
  assert.equal(call({ type: "cue", kind: "past-half", to_go_nm: -inch("0.013") }, "in"), "Past half lift by 13 thou");
  assert.equal(call({ type: "cue", kind: "nose", lift_nm: inch("0.420"), doubtful: true }, "in"), "Nose");
  assert.equal(call({ type: "cue", kind: "taken-back", of: "nose", lift_nm: inch("0.201") }, "in"), "Not the nose. Turn on.");
  assert.equal(call({ type: "cue", kind: "taken-back", of: "at-half", lift_nm: inch("0.201") }, "in"), "That was not half lift.");
  assert.equal(call({ type: "opening", opening: { max_lift_mm: 10.668 } }, "mm"), "Max lift 10 point 6 7");
  assert.equal(call({ type: "fault", fault: { kind: "back-turn", says: "x" } }, "in"), "");
  assert.equal(call({ type: "fault", fault: { kind: "gap", says: "The link was lost. Turn again." } }, "in"), "The link was lost.");
  const slipped = { kind: "zero-shift", says: "it came back 1.27 mm (0.0500 in) off. Set it up again", sentence: "it came back {} off. Set it up again", lengths_mm: [1.27] };
  assert.equal(call({ type: "fault", fault: slipped }, "in"), "it came back 50 thou off.");
  assert.equal(call({ type: "fault", fault: slipped }, "mm"), "it came back 1.27 millimetres off.");
  assert.equal(call({ type: "state" }, "in"), "");
});

test("valves have names", () => {
  assert.equal(valveWords("3I"), "Cylinder 3 intake");
  assert.equal(valveWords("12E2"), "Cylinder 12 exhaust 2");
  assert.equal(valveWords("left rear"), "left rear");
});
