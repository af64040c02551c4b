// The look at the demo: five steps, each on a screen that there is.
import { test } from "node:test";
import assert from "node:assert/strict";
import { screensFor } from "../../../page/router.js";

test("the tour has five steps, each on a screen of its own", async () => {
  const { steps } = await import("../../../page/tour.js");
  assert.equal(steps.length, 5);
  const screens = screensFor("").map(([name]) => name);
  for (const [route, , says] of steps) {
    assert.ok(screens.includes(/** @type {any} */ (route)), route);
    assert.ok(says.length < 220, `${route}: ${says.length} letters do not fit a phone`);
  }
  assert.equal(new Set(steps.map(([route]) => route)).size, 5);
});
