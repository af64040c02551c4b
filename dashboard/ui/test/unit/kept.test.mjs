// What is kept with the engine: questions there and back, top dead centre in
// its notes, and the words of the devices' view.
import { test } from "node:test";
import assert from "node:assert/strict";
import { askGaps, askPiston, askPushrods, askSpring, gaps, kept, newestOf, piston, pushrods, spring } from "../../../page/questions.js";
import { foundTdc, tdcWords, tidied, withTdc } from "../../../page/tdc.js";
import { delayWords, onTwoPorts } from "../../../page/delay.js";
import { heardWords, refusedWords } from "../../../page/cues.js";

const engine = { id: "e", rocker_ratio: { intake: 1.55, exhaust: 1.5 }, stroke_mm: 88, rod_mm: 152, limits: { coil_bind_mm: 1.5, retainer_mm: 2, rocker_mm: 1, piston_to_valve_exhaust_mm: 2.5 } };

test("a cut list's question fills the form that asks it again", () => {
  const names = ["1I", "1E", "2I", "2E"];
  const typed = {
    ...pushrods.blank(engine), rods: { "1I": 218.4, "2E": 219.1 }, measured: "gauge", gauge_diameter_mm: 3.5,
    ends: { length_mm: 20, press_depth_mm: 12, ball_diameter_mm: 7.9 }, stack_change_mm: -0.381, preload_mm: 0.5, step_mm: 0.1,
    rod_material: "steel 4130", lash: { stack_material: "aluminium 6061", stack_mm: 120, case_material: "magnesium AZ91D", case_mm: 90, warmer_k: 80, hot_lash_mm: 0.1 },
  };
  const question = askPushrods(typed, names, engine);
  assert.deepEqual(question.rods, [{ valve: "1I", checking_rod_mm: 218.4 }, { valve: "2E", checking_rod_mm: 219.1 }]);
  assert.equal(question.rocker_ratio, 1.55);
  assert.deepEqual(pushrods.draft(question), typed);
  assert.deepEqual(askPushrods({ ...pushrods.blank(engine), ...pushrods.draft(question) }, names, engine), question);
});

test("a form with one rod asks for no more than was typed", () => {
  const question = askPushrods({ ...pushrods.blank(engine), rods: { "1I": 200, "1E": undefined } }, ["1I", "1E"], engine);
  assert.deepEqual(question, { measured: "overall", rods: [{ valve: "1I", checking_rod_mm: 200 }], rocker_ratio: 1.55 });
});

test("gaps: limits are asked for and never kept", () => {
  const typed = { lift_mm: 11.2, coil: { installed_height_mm: 44.45, solid_height_mm: 30.48 }, retainer: { closed_gap_mm: 14 }, slot: {} };
  const question = askGaps(typed);
  assert.deepEqual(gaps.draft(question), typed);
  assert.doesNotMatch(JSON.stringify(question), /limit/);
});

test("half a coil bind is no question", () => {
  assert.deepEqual(askGaps({ lift_mm: 11, coil: { installed_height_mm: 44 }, retainer: {}, slot: {} }), {});
});

test("piston and gaps of a valve share a work, and neither wipes the other", () => {
  const first = askGaps({ lift_mm: 11, coil: { installed_height_mm: 44, solid_height_mm: 30 }, retainer: {}, slot: {} });
  const hers = askPiston({ ...piston.blank(engine), trace: "7", measured_at_deg: 10, measured_clearance_mm: 3 }, { side: "exhaust", curve: [{ angle_deg: 0, lift_mm: 1 }] });
  assert.equal(hers.piston.trace, undefined, "the calculation knows no trace");
  const both = kept(piston, first, hers);
  assert.deepEqual(both, { ...first, ...hers });
  const second = askGaps({ coil: {}, retainer: { closed_gap_mm: 13 }, slot: {} });
  assert.deepEqual(kept(gaps, both, second), { ...hers, ...second }, "a part that was taken out of the form is gone");
  assert.equal(gaps.draft(hers), null);
  assert.equal(piston.draft(first), null);
  assert.deepEqual(piston.draft(both), { crown: "parallel", stroke_mm: 88, rod_mm: 152, measured_at_deg: 10, measured_clearance_mm: 3 });
});

test("a spring's question fills its form, with room for a second load", () => {
  const typed = { ends: "closed ground", loads: [{ height_mm: 44.45, load_n: 400 }, {}], installed_height_mm: 44.45, lift_mm: 11 };
  const question = askSpring(typed);
  assert.deepEqual(question, { loads: [{ height_mm: 44.45, load_n: 400 }], installed_height_mm: 44.45, lift_mm: 11 });
  assert.deepEqual(spring.draft(question), typed);
  assert.deepEqual(spring.draft({ ...question, coil_bind_limit_mm: 1.5 }), typed);
});

test("the newest work of a valve, whatever order they come in", () => {
  const works = [{ id: "a", at: "2026-11-25T08:00:00Z", valve: "1I" }, { id: "b", at: "2026-11-25T09:00:00Z", valve: "1I" }, { id: "c", at: "2026-11-25T10:00:00+02:00" }, { id: "d", at: "2026-11-25T10:00:00Z", valve: "1E" }];
  assert.equal(newestOf(works, "1I")?.id, "b");
  assert.equal(newestOf([...works].reverse(), "1I")?.id, "b");
  assert.equal(newestOf(works, "")?.id, "c");
  assert.equal(newestOf(works, "2I"), null);
});

test("top dead centre is stored with how well it is known and how it was found", () => {
  const found = foundTdc(3.50001, 0.2, "positive stop", "2026-11-25");
  assert.deepEqual(found, { angle_deg: 3.5, u_deg: 0.2, method: "positive stop", on: "2026-11-25" });
  assert.equal(tdcWords(found), "3.50° ± 0.20°, found with a stop in the plug hole, 2026-11-25");
  assert.deepEqual(foundTdc(-12.34567, 0, "typed", "2026-11-26"), { angle_deg: -12.3457, method: "typed", on: "2026-11-26" }, "nobody knows a thing to nothing");
  const e = withTdc(/** @type {any} */ ({ notes: "x" }), found);
  assert.deepEqual(e, { notes: "x", tdc: found });
  assert.deepEqual(withTdc(e, null), { notes: "x" });
  assert.match(tdcWords({ angle_deg: 90 }), /how it was found is not said/);
});

test("an angle typed over another is a new one, of which nothing else is known", () => {
  const was = { tdc: foundTdc(3.5, 0.2, "positive stop", "2026-11-25"), notes: "x" };
  assert.equal(tidied(was, was), was);
  assert.deepEqual(tidied({ ...was, tdc: { ...was.tdc, angle_deg: 90 } }, was, "2026-11-26"), { notes: "x", tdc: { angle_deg: 90, method: "typed", on: "2026-11-26" } });
  assert.deepEqual(tidied(/** @type {any} */ ({ tdc: { u_deg: 0.2 } }), was), {}, "an emptied field takes it away");
  assert.deepEqual(tidied({}, was), {});
});

test("a delay is measured between two ports only", () => {
  const at = (/** @type {string} */ address) => /** @type {any} */ ({ address });
  assert.ok(onTwoPorts({ indicator: at("serial:/dev/ttyUSB0?unit=mm"), encoder: at("serial:/dev/ttyUSB1") }));
  assert.ok(!onTwoPorts({ indicator: at("serial:/dev/ttyUSB0?unit=mm"), encoder: at("serial:/dev/ttyUSB0") }));
  assert.ok(!onTwoPorts({ indicator: at("serial:/dev/ttyUSB0") }));
});

test("a delay says who is late, and what it costs", () => {
  const r = { u_s: 0.0012, says: "", speed_deg: 60, turns: 6, readings: 400 };
  assert.deepEqual(delayWords({ ...r, lag_s: 0.0234 }), { figure: "23.4 ms ± 1.2 ms", who: "the indicator comes later than the encoder", long: false, crank: "At 60 degrees a second that is 1.40° of crank." });
  assert.ok(delayWords({ ...r, lag_s: -0.2 }).long, "nothing on a bench is so late");
  assert.match(delayWords({ ...r, lag_s: -0.04 }).who, /^the encoder comes later/);
  assert.match(delayWords({ ...r, lag_s: 0.001 }).who, /told from nothing/);
});

test("what was refused and when a device was heard are always said", () => {
  assert.equal(refusedWords({ jump: 1, "not a number": 1234, stale: 0 }), "1,234 not a number, 1 jump");
  assert.equal(refusedWords(undefined), "none");
  const device = /** @type {any} */ ({ id: "indicator", state: "live", age_s: 0.04, rate_hz: 100 });
  assert.equal(heardWords(device, true), "0.0 s ago");
  assert.match(heardWords(device, false), /not known/);
  assert.equal(heardWords({ ...device, state: "connecting", age_s: 0, rate_hz: 0 }, true), "none yet");
});
