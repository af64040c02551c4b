// The last lines of a device: numbers stand where the daemon says, and nothing of
// a line is lost.
import { test } from "node:test";
import assert from "node:assert/strict";
import { pieces } from "../../../page/lastlines.js";
import { settings, withKey, keyOf } from "../../../page/address.js";

test("a line is cut at its numbers, and the parts make the line", () => {
  const line = { text: "X+1.25° Y2", spans: [{ from: 1, to: 6, column: 0 }, { from: 9, to: 10, column: 1 }] };
  assert.deepEqual(pieces(line), [{ text: "X" }, { text: "+1.25", column: 0 }, { text: "° Y" }, { text: "2", column: 1 }]);
  for (const spans of [undefined, [], [{ from: 3, to: 3, column: 0 }], [{ from: 4, to: 6, column: 0 }, { from: 5, to: 7, column: 1 }], [{ from: 8, to: 99, column: 0 }]]) {
    assert.equal(pieces({ text: line.text, spans }).map((p) => p.text).join(""), line.text);
  }
});

test("a column that is touched is a word of the address, and a field of the set-up", () => {
  assert.equal(keyOf(withKey("serial:/dev/ttyUSB0?baud=4800", "column", "dist-mm"), "column"), "dist-mm");
  for (const role of ["indicator", "encoder"]) assert.ok(settings[role].some((s) => s.key === "column"));
});
