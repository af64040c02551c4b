// What a trace's page makes of the notes beside its readings.
import { test } from "node:test";
import assert from "node:assert/strict";
import { marksOf } from "../../../page/views/trace.js";

test("an undone mark takes back the last one that still stands", () => {
  const kinds = (/** @type {string[]} */ ...all) => marksOf(all.map((kind, i) => ({ kind, t_s: i }))).map((m) => m.t_s);
  assert.deepEqual(kinds("mark", "gap", "mark"), [0, 2]);
  assert.deepEqual(kinds("mark", "mark", "unmark", "unmark", "mark"), [4]);
  assert.deepEqual(kinds("unmark", "mark"), [1], "nothing to undo is no harm");
  assert.deepEqual(marksOf(undefined), []);
});
