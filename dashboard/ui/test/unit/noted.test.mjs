// What stands beside an opening: a pedal's presses and a note.
import { test } from "node:test";
import assert from "node:assert/strict";
import { markedWords, noteAt, pressesAt } from "../../../page/noted.js";
import { initialState, reduce } from "../../../page/state.js";

const opening = (/** @type {number} */ from) => /** @type {any} */ ({ t_open_s: from, t_nose_s: from + 2, t_close_s: from + 4 });

test("a press belongs to the opening under way, or to the one just turned through", () => {
  const all = [opening(2), opening(11)];
  assert.deepEqual(pressesAt(all, [1]), [0, 0], "before anything opened");
  assert.deepEqual(pressesAt(all, [2, 3.5]), [2, 0]);
  assert.deepEqual(pressesAt(all, [8, 12, 30]), [1, 2], "on the heel after it");
  assert.deepEqual(pressesAt([opening(11), opening(2)], [3, 12]), [1, 1], "in whatever order they stand");
  assert.deepEqual([0, 1, 2, 3].map(markedWords), ["", "marked", "marked twice", "marked 3 times"]);
});

test("a note stands at the opening that it was written at", () => {
  const noted = [{ from_s: 2, until_s: 6, says: "tip was dry" }];
  assert.equal(noteAt(noted, opening(2)), "tip was dry");
  assert.equal(noteAt(noted, opening(11)), "");
});

test("marks are kept in the time of their trace, and go with it", () => {
  const trace = { type: "trace", id: 3, state: "recording", t0_us: 77_000_000, seconds: 1, readings: 9, on_disk_s: 1 };
  const say = (/** @type {any[]} */ ...all) => all.reduce(reduce, initialState());
  assert.deepEqual(say({ type: "mark", t_s: 80 }).engine.marks, [], "nothing is recorded");
  assert.deepEqual(say(trace, { type: "mark", t_s: 80.5 }).engine.marks, [3.5]);
  assert.deepEqual(say(trace, { type: "mark", t_s: 80.5 }, { type: "mark", t_s: 82 }, { type: "mark", t_s: 83, undone: true }).engine.marks, [3.5]);
  assert.deepEqual(say(trace, { type: "mark", t_s: 80.5 }, { ...trace, id: 4, t0_us: 99_000_000 }).engine.marks, []);
  const hello = { type: "hello", trace, marks_s: [1.5], noted: [{ from_s: 2, until_s: 6, says: "x" }] };
  assert.deepEqual(say(hello).engine.marks, [1.5], "a page that comes later is told");
  assert.equal(say(hello).engine.noted[0].says, "x");
  assert.deepEqual(say(hello, { type: "noted", trace: 3, noted: [] }).engine.noted, []);
  assert.equal(say(hello, { type: "noted", trace: 2, noted: [] }).engine.noted.length, 1, "of another trace");
});
