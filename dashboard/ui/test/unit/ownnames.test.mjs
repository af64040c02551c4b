// A builder's own names of the valves, read as the daemon reads them.
import { test } from "node:test";
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { mostOwn, readOwnName, valveWords } from "../../../page/valve.js";
import { ownNamed } from "../../../page/engine.js";
import { agreedCall } from "../../../page/round.js";
import { initialState, reduce } from "../../../page/state.js";

const cases = JSON.parse(readFileSync(new URL("../../../../testdata/valves/own.json", import.meta.url), "utf8"));

test("own names are taken and refused as the daemon does", () => {
  assert.equal(mostOwn, cases.most);
  assert.ok(cases.good.length >= 4 && cases.refused.length >= 10);
  /** @param {Record<string, string>} names */
  const read = (names) => { for (const [v, own] of Object.entries(names)) assert.equal(readOwnName(own, v, cases.valves, names), own); };
  for (const names of cases.good) read(names);
  for (const { names } of cases.refused) {
    if (Object.keys(names).every((v) => cases.valves.includes(v))) assert.throws(() => read(names), (err) => err instanceof Error, JSON.stringify(names)); // the page asks for no valve that is not there
  }
});

test("a valve goes by its own name where it has one, on the screen and in the voice", () => {
  assert.equal(valveWords("3I", { "3I": "A3" }), "A3");
  assert.equal(valveWords("3E", { "3I": "A3" }), "Cylinder 3 exhaust");
  assert.equal(valveWords("3I"), "Cylinder 3 intake");
  const start = { ...initialState(), link: /** @type {const} */ ("up"), order: ["1I", "1E"], names: { "1E": "B1" } };
  const bench = { type: "bench", engine: "mule", valve: "1I" }, agrees = { type: "agreement", count: 2, agree: true, max_lift_mm: 11.176, max_lift_u_mm: 0.0095, each: [] };
  const before = reduce(start, bench);
  assert.match(agreedCall(before, reduce(before, agrees)), /Next: B1\.$/);
});

test("a valve that the engine has no more takes its name along", () => {
  const engine = { cylinders: 2, valves_per_cylinder: 2, valve_names: { "1I": "A1", "3I": "A3" } };
  assert.deepEqual(ownNamed(engine).valve_names, { "1I": "A1" });
  assert.equal(ownNamed({ ...engine, cylinders: 2, valve_names: { "3I": "A3" } }).valve_names, undefined);
});
