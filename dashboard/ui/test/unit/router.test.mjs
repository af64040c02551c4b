import assert from "node:assert/strict";
import { test } from "node:test";

import { parseRoute } from "../../../page/router.js";

test("an address that was cut short is a screen that there is not, and no exception", () => {
  assert.deepEqual(parseRoute("#/%E0%A4%A").view, "%E0%A4%A");
  assert.deepEqual(parseRoute("#/engine/%").rest, ["%"]);
  assert.deepEqual(parseRoute("#/engine/a%20b").rest, ["a b"]);
});
