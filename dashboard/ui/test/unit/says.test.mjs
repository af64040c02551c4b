import { test } from "node:test";
import assert from "node:assert/strict";
import { sentence } from "../../../page/says.js";

test("words of the daemon become a sentence, without a field's name in the API", () => {
  assert.equal(sentence("say how well (centres_u_mm)"), "Say how well.");
  assert.equal(sentence("mark it (adjuster_below_valve_u_mm), then again"), "Mark it, then again.");
  assert.equal(sentence("stands alone (common practice, no source)."), "Stands alone (common practice, no source).");
});
