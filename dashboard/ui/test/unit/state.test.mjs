import { test } from "node:test";
import assert from "node:assert/strict";
import { createStore, initialState, leaveReplay, reduce, shown } from "../../../page/state.js";

/** @param {any} over */
const position = (over) => ({ type: "state", t_s: 1, state: "opening", lift_nm: 1e6, heel_nm: 0, sign: 1, nose_nm: 1e7, settled: true, half_nm: 5e6, to_go_nm: 4e6, ...over });
const opening = { type: "opening", opening: { max_lift_mm: 10.668 }, trace: 7 };

/** @param {any[]} messages @param {import("../../../page/state.js").State} [from] */
const after = (messages, from = initialState()) => messages.reduce(reduce, from);

test("a hello fills the page", () => {
  const s = after([{ type: "hello", version: "1", units: "mm", bench: { engine: "e", valve: "1I", trial: "" }, devices: [{ id: "indicator", state: "live" }], position: null, trace: null, openings: [{ max_lift_mm: 1 }], findings: null, simulated: true }]);
  assert.equal(s.link, "up");
  assert.equal(s.unit, "mm");
  assert.equal(s.bench.valve, "1I");
  assert.equal(s.devices.indicator.state, "live");
  assert.equal(s.engine.openings.length, 1);
  assert.equal(s.simulated, true);
});

test("after a lost connection the snapshot brings the openings back and wipes no findings", () => {
  const before = after([{ type: "findings", trace: 6, findings: { max_lift_mm: 10 } }, opening]);
  const s = after([{ type: "hello", units: "in", openings: [{}, {}], findings: null }], { ...before, link: "lost" });
  assert.equal(s.engine.openings.length, 2);
  assert.equal(s.engine.findings?.max_lift_mm, 10);
  assert.equal(s.engine.findingsOf, 6);
});

test("what a probe hears is gathered, speed by speed", () => {
  const s = after([{ type: "probe", line: "9600 8N1", score: 0, says: "nothing" }, { type: "probe", line: "4800 8N1", score: 0.97, says: "lines of readings" }]);
  assert.deepEqual(s.probed.map((p) => p.line), ["9600 8N1", "4800 8N1"]);
  assert.equal(after(Array(500).fill({ type: "probe", line: "", score: 0, says: "" }), s).probed.length, 200);
});

test("a replay never reaches the engine's read-out", () => {
  let s = after([position({ lift_nm: 5 }), { type: "replay", trace: 3, rate: 1, paused: false, at_s: 0, seconds: 60, ended: false }]);
  s = after([position({ lift_nm: 99, replay: 3 }), { ...opening, replay: 3 }], s);
  assert.equal(s.engine.position?.lift_nm, 5);
  assert.equal(s.engine.openings.length, 0);
  assert.equal(shown(s).position?.lift_nm, 99);
  s = after([position({ lift_nm: 6 })], s);
  assert.equal(shown(s).position?.lift_nm, 99, "the engine goes on behind the replay");
  s = after([{ type: "replay", trace: 3, rate: 1, paused: false, at_s: 60, seconds: 60, ended: true }], s);
  assert.equal(shown(s).position?.lift_nm, 99, "what has played out can still be read");
  assert.equal(shown(leaveReplay(s)).position?.lift_nm, 6);
});

test("a replay that somebody stopped is gone, and its last word does not bring it back", () => {
  const r = { type: "replay", trace: 3, rate: 1, paused: false, seconds: 60 };
  let s = after([{ ...r, at_s: 10, ended: false }, { ...r, at_s: 10, ended: true }]);
  assert.equal(s.replay, null);
  s = after([{ ...r, at_s: 60, ended: true }], s);
  assert.equal(s.replay, null);
});

test("going back in a replay forgets what came later", () => {
  const r = { type: "replay", trace: 3, rate: 1, paused: false, seconds: 60, ended: false };
  let s = after([{ ...r, at_s: 10 }, { ...opening, replay: 3 }]);
  assert.equal(s.replayed.openings.length, 1);
  s = after([{ ...r, at_s: 11 }], s);
  assert.equal(s.replayed.openings.length, 1);
  s = after([{ ...r, at_s: 2 }], s);
  assert.equal(s.replayed.openings.length, 0);
});

test("half lift is held until the valve has moved on", () => {
  let s = after([{ type: "cue", kind: "at-half", lift_nm: 5e6, to_go_nm: 0 }]);
  assert.equal(s.engine.held, true);
  s = after([position({ to_go_nm: 100_000 })], s);
  assert.equal(s.engine.held, true);
  s = after([position({ to_go_nm: -200_000 })], s);
  assert.equal(s.engine.held, false);
});

test("another trace begins with an empty list, another valve too", () => {
  const trace = { type: "trace", state: "recording", seconds: 1, readings: 1, on_disk_s: 0 };
  let s = after([{ ...trace, id: 7 }, opening, { ...trace, id: 7, seconds: 2 }]);
  assert.equal(s.engine.openings.length, 1);
  assert.equal(after([{ ...trace, id: 8 }], s).engine.openings.length, 0);
  assert.equal(after([{ type: "bench", engine: "e", valve: "2I", trial: "" }], s).engine.openings.length, 0);
});

test("unknown messages change nothing at all", () => {
  const s = initialState();
  assert.equal(reduce(s, { type: "weather" }), s);
});

test("a store tells only of change, and can be left", () => {
  const store = createStore(1);
  /** @type {number[]} */
  const heard = [];
  const leave = store.subscribe((v) => heard.push(v));
  store.set(1);
  store.set(2);
  leave();
  store.set(3);
  assert.deepEqual(heard, [2]);
});

test("the next valve shows no figure of the last one", () => {
  const at = { t_s: 1, state: "closing", lift_nm: 3e6, heel_nm: 0, sign: 1, nose_nm: 11e6, settled: true, half_nm: 5.5e6, to_go_nm: -2.5e6 };
  const s = after([{ type: "bench", engine: "e", valve: "1I", trial: "" }, { type: "state", ...at }, { type: "cue", t_s: 1, kind: "at-half", lift_nm: 5.5e6, to_go_nm: 0 }, { type: "bench", engine: "e", valve: "1E", trial: "" }]);
  assert.equal(s.engine.position, null);
  assert.equal(s.engine.cue, null);
  assert.equal(s.engine.held, false);
});

test("findings of the valve before, that come late, are not shown as the next one's", () => {
  const findings = (/** @type {number} */ trace) => ({ type: "findings", trace, findings: { openings: [{}], faults: [] } });
  const s = after([{ type: "trace", id: 7, state: "recording", t0_us: 1, seconds: 1, readings: 1, on_disk_s: 1 }, { type: "bench", engine: "e", valve: "1E", trial: "" }, findings(7)]);
  assert.equal(s.engine.findings, null);
  assert.equal(after([findings(8)], s).engine.findingsOf, 8);
});

test("a mark that is undone is not counted", () => {
  assert.equal(after([{ type: "mark", t_s: 1 }, { type: "mark", t_s: 2 }, { type: "mark", t_s: 3, undone: true }]).marks, 1);
});
