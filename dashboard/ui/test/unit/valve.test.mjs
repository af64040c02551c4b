import { test } from "node:test";
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { cylinderOf, parseValve, sideOf, valveWords } from "../../../page/valve.js";

const cases = JSON.parse(readFileSync(new URL("../../../../testdata/valves/names.json", import.meta.url), "utf8"));

test("names are read as the daemon reads them", () => {
  assert.ok(cases.valves.length > 3 && cases.refused.length > 10);
  for (const { name, cylinder, kind, nth, words } of cases.valves) {
    assert.deepEqual(parseValve(name), { cylinder, kind, nth }, name);
    assert.equal(sideOf(name), kind);
    assert.equal(cylinderOf(name), cylinder);
    assert.equal(valveWords(name).toLowerCase(), words);
  }
});

test("a word that is no name is nobody's valve and stays as it is", () => {
  for (const word of cases.refused) {
    assert.equal(parseValve(word), null, word);
    assert.equal(sideOf(word), "");
    assert.equal(cylinderOf(word), 0);
    assert.equal(valveWords(word), word);
  }
});
