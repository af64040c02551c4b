// The choice of columns, in the words that the import route takes.
import test from "node:test";
import assert from "node:assert/strict";
import { choice } from "../../../page/columns.js";

test("a choice names each column by its number and its unit", () => {
  assert.equal(choice(["time:s", "", "lift:in"], null), "time=1:s,lift=3:in");
  assert.equal(choice(["angle:deg", "lift:mm"], null), "angle=1:deg,lift=2:mm");
  assert.equal(choice(["", "lift:thou"], 12.5), "lift=2:thou,rate=12.5");
  assert.equal(choice(["time:clock", "lift:mm"], 50), "time=1:clock,lift=2:mm", "a time goes before a rate");
  assert.equal(choice(["", ""], null), "");
});
