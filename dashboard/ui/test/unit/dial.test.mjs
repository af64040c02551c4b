// The lift on the dial is a dash on the whole winding: its length must be that of the
// winding up to the lift, or the ring would not end where the tip stands.
import { test } from "node:test";
import assert from "node:assert/strict";
import { onSpiral, wound } from "../../../page/dial.js";

test("the winding is as long as its own points say", () => {
  for (const all of [4, 5, 12, 30]) {
    let long = 0;
    const steps = all * 4000; // fine enough that chords fall short of the arc by less than 0.005
    for (let i = 1; i <= steps; i++) {
      const a = onSpiral((all * (i - 1)) / steps, all), b = onSpiral((all * i) / steps, all);
      long += Math.hypot(b.x - a.x, b.y - a.y);
      if (i % 2000 === 0) assert.ok(Math.abs(wound((all * i) / steps, all) - long) < 0.01, `${i} of ${steps} in ${all} turns`);
    }
  }
  assert.equal(wound(0, 5), 0);
});
