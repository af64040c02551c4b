// Where the labels of a chart stand: with however many openings, none is on another.
import { test } from "node:test";
import assert from "node:assert/strict";
import { placed } from "../../../page/labels.js";

test("labels of 1 to 60 places never stand on each other nor outside, and the first is there", () => {
  for (const [left, right] of [[60, 390], [60, 844], [60, 1440]]) {
    for (let n = 1; n <= 60; n++) {
      const labels = Array.from({ length: n }, (_, i) => ({ at: left + ((i + 0.5) * (right - left)) / n, width: 38 + (i % 3) * 12 }));
      const stand = placed(labels, left, right, 4);
      assert.ok(stand[0], "the first is there");
      const boxes = stand.flatMap((s, i) => (s ? [{ ...s, to: s.from + labels[i].width }] : []));
      for (const [i, b] of boxes.entries()) {
        assert.ok(b.from >= left && b.to <= right, `${n} in ${right}: ${JSON.stringify(b)} is outside`);
        for (const other of boxes.slice(0, i)) assert.ok(other.row !== b.row || other.to <= b.from || b.to <= other.from, `${n} in ${right}: two labels overlap`);
      }
      if (n <= 3) assert.equal(boxes.length, n, `all ${n} have room`);
    }
  }
});

test("a place without a label takes no room", () => {
  assert.deepEqual(placed([{ at: 100, width: 0 }, { at: 101, width: 40 }], 0, 400, 4), [null, { row: 0, from: 105 }]);
});
