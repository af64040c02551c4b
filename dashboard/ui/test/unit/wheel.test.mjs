// What the page asks about an encoder or a degree wheel; what is answered is held in
// capture/timing.
import { test } from "node:test";
import assert from "node:assert/strict";
import { askTraceWheel, askWheel } from "../../../page/questions.js";

test("a check by a mark, or by pairs, is asked once there is enough of it", () => {
  const t = { index: [null, null, null], back: [null], pairs: [] };
  assert.equal(askWheel(t), null);
  assert.equal(askWheel({ ...t, index: [10, null, null] }), null, "one passing tells nothing");
  assert.deepEqual(askWheel({ ...t, index: [10, 370.2, null] }), { wheel: { index_deg: [10, 370.2], index_back_deg: [], readings: [] } });
  assert.deepEqual(askWheel({ ...t, index: [0, null, null], back: [1.5] })?.wheel.index_back_deg, [1.5], "an angle of 0 is one that was read");
  const pairs = [{ encoder: 0, wheel: 0 }, { encoder: 90, wheel: null }];
  assert.deepEqual(askWheel({ ...t, pairs })?.wheel.readings, [{ encoder_deg: 0, wheel_deg: 0 }], "half a pair is not sent");
});

test("a check by a trace takes the opening flanks, known to the worst of them", () => {
  const flank = (/** @type {number} */ angle_deg, /** @type {number} */ angle_u_deg) => ({ opening_half: { angle_deg, angle_u_deg } });
  assert.deepEqual(askTraceWheel({ openings: [flank(40, 0.1), flank(760.3, 0.2)] }), { wheel: { index_deg: [40, 760.3], reading_u_deg: 0.2 } });
  assert.equal(askTraceWheel({ openings: [flank(40, 0.1)] }), null);
  assert.equal(askTraceWheel({ openings: [flank(40, 0.1), { opening_half: { t_s: 1 } }] }), null, "without an angle there is nothing to check");
  assert.equal(askTraceWheel(null), null);
});
