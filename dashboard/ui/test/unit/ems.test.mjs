import { test } from "node:test";
import assert from "node:assert/strict";
import { emsOf } from "../../../page/ems.js";

test("a figure is measured once, whatever its digits are", () => {
  /** @type {string[]} */
  const asked = [];
  const measure = (/** @type {string} */ shape) => {
    asked.push(shape);
    return shape.length / 2;
  };
  assert.equal(emsOf("0.4415", measure), 3);
  assert.equal(emsOf("0.1234", measure), 3);
  assert.equal(emsOf("−0.0001", measure), 3.5);
  assert.deepEqual(asked, ["0.0000", "−0.0000"]);
});
