// What a trace's page makes of the notes beside its readings.
import { test } from "node:test";
import assert from "node:assert/strict";
import { markedWords, marksOf } from "../../../page/views/trace.js";

test("an undone mark takes back the last one that still stands", () => {
  const kinds = (/** @type {string[]} */ ...all) => marksOf(all.map((kind, i) => ({ kind, t_s: i }))).map((m) => m.t_s);
  assert.deepEqual(kinds("mark", "gap", "mark"), [0, 2]);
  assert.deepEqual(kinds("mark", "mark", "unmark", "unmark", "mark"), [4]);
  assert.deepEqual(kinds("unmark", "mark"), [1], "nothing to undo is no harm");
  assert.deepEqual(marksOf(undefined), []);
});

test("a pedal's presses stand with the opening that they came in", () => {
  const o = /** @type {any} */ ({ t_open_s: 2, t_close_s: 4 }), at = (/** @type {number[]} */ ...all) => all.map((t_s) => ({ kind: "mark", t_s }));
  assert.equal(markedWords(at(1, 5), o), "");
  assert.equal(markedWords(at(3), o), "marked; ");
  assert.equal(markedWords(at(2, 3.5, 9), o), "marked twice; ");
  assert.equal(markedWords(at(2, 3, 4), o), "marked 3 times; ");
});
