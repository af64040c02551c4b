import { test } from "node:test";
import assert from "node:assert/strict";
import { createWedge } from "../../../page/wedge.js";

/** @param {string[]} keys @param {number} apart */
const typed = (keys, apart, from = 1000) => {
  const wedge = createWedge();
  const heard = keys.map((key, i) => wedge.hear({ key, timeStamp: from + i * apart }));
  return { heard, figure: wedge.figure() };
};

test("a cable that types is told from a hand by its speed", () => {
  assert.deepEqual(typed([..."10.668", "Enter"], 5), { heard: ["", "", "typing", "typing", "typing", "typing", "ends"], figure: "10.668" });
  assert.deepEqual(typed([..."10.668", "Enter"], 80).heard.filter(Boolean), []);
  assert.equal(typed(["Shift", ..."+0.4200", "Enter"], 10).heard.at(-1), "ends");
});

test("a pedal, a key held down, and words are no figure", () => {
  assert.deepEqual(typed(["Enter"], 5).heard, [""]);
  assert.deepEqual(typed([" ", " ", "Enter"], 5).heard.filter(Boolean), []);
  assert.equal(typed([..."abc", "Enter"], 5).heard.at(-1), "");
  const wedge = createWedge();
  for (let i = 0; i < 9; i++) assert.equal(wedge.hear({ key: "1", timeStamp: i, repeat: true }), "");
});
