// Outside values: 1 in = 25.4 mm exactly (international yard and pound
// agreement of 1959). The needle counting is common practice, no source:
// four turns of a 0.100 in dial and 0.020 are 0.420, and half of it is two
// turns and 0.010.
import { test } from "node:test";
import assert from "node:assert/strict";
import { degrees, digits, farDigits, fromMm, inCycle, force, length, nanometres, needle, needleWords, parseLength, rate, seconds, shim, small, spoken, spokenFigure, toMm, withUncertainty } from "../../../page/units.js";

const minus = "\u2212";

test("an inch is 25.4 mm, both ways and exactly", () => {
  assert.equal(nanometres.in, 25.4 * nanometres.mm);
  for (const [inches, mm] of [["0.420", "10.668"], ["0.0001", "0.00254"], ["1", "25.4"]]) {
    assert.equal(parseLength(`${inches} in`, "mm"), parseLength(`${mm} mm`, "in"));
  }
});

test("lengths are written with the digits a bench uses", () => {
  const cases = /** @type {const} */ ([
    [10_668_000, "in", "0.4200 in"], [10_668_000, "mm", "10.668 mm"], [-12_700, "in", `${minus}0.0005 in`],
    [0, "in", "0.0000 in"], [-1, "in", "0.0000 in"], [1270, "in", "0.0001 in"], [1269, "in", "0.0000 in"], [-1270, "in", `${minus}0.0001 in`],
    [25_400_000_000, "in", "1000.0000 in"], [499, "mm", "0.000 mm"], [500, "mm", "0.001 mm"],
  ]);
  for (const [nm, unit, text] of cases) assert.equal(length(nm, unit), text);
  assert.equal(digits(254_000, "in", { sign: true }), "+0.0100");
  assert.equal(digits(NaN, "in"), "\u2013");
  assert.equal(farDigits(330_200, "in"), "0.013");
  assert.equal(farDigits(330_200, "mm"), "0.33");
  assert.equal(withUncertainty(10_668_000, 10_160, "in"), "0.4200 ± 0.0004 in");
  assert.equal(withUncertainty(10_668_000, 10_161, "in"), "0.4200 ± 0.0005 in", "an uncertainty is rounded up");
  assert.equal(withUncertainty(10_668_000, 1, "mm"), "10.668 ± 0.001 mm");
  assert.equal(withUncertainty(10_668_000, 0, "in"), "0.4200 in");
  assert.equal(small(1270, "in"), "0.00005", "a step that many indicators have");
  assert.equal(small(500, "in"), "0.00002");
  assert.equal(small(-90, "mm"), `${minus}0.00009`);
  assert.equal(small(0, "in"), "0.0000");
});

test("what was typed is read exactly", () => {
  const cases = /** @type {const} */ ([
    ["0.420 in", "mm", 10_668_000], ['.420"', "mm", 10_668_000], ["420 thou", "mm", 10_668_000], ["10,668", "mm", 10_668_000],
    ["-0.0005in", "in", -12_700], [`${minus}0.5`, "in", -12_700_000], ["+.1", "in", 2_540_000], ["5.", "mm", 5_000_000], ["12 \u00b5m", "in", 12_000],
    ["0.123456789", "mm", 123_457],
  ]);
  for (const [text, unit, nm] of cases) assert.equal(parseLength(text, unit), nm, text);
});

test("what can not be read is named", () => {
  for (const text of ["", "  ", "in", ".", "-", "abc"]) assert.throws(() => parseLength(text, "in"), /is not a length: write it like/, text);
  assert.throws(() => parseLength("5 furlongs", "in"), /"furlongs" is not a unit/);
  assert.throws(() => parseLength("1.2.3", "in"), /is not a unit/);
  assert.throws(() => parseLength("12345678", "in"), /too many digits/);
});

test("every figure that is shown can be typed again", () => {
  let seed = 7;
  for (let i = 0; i < 3000; i++) {
    seed = (seed * 48_271) % 2_147_483_647;
    const unit = i % 2 ? "in" : "mm";
    const step = unit === "in" ? 2540 : 1000;
    const nm = ((seed % 20_001) - 10_000) * step;
    assert.equal(parseLength(length(nm, unit), unit), nm);
  }
});

// 0.015 and 0.030 in are common shims (common practice, no source).
test("a shim has as few digits as are exact", () => {
  assert.equal(shim(381_000, "in"), "0.015");
  assert.equal(shim(381_000, "mm"), "0.381");
  assert.equal(shim(400_000, "mm"), "0.40");
  assert.equal(shim(31_750, "in"), "0.0013", "an odd one is rounded to what can be measured");
});

test("turns of the needle", () => {
  assert.deepEqual(needle(parseLength("0.420 in", "in"), "in"), { turns: 4, rest: parseLength("0.020 in", "in") });
  assert.equal(needleWords(parseLength("0.210 in", "in"), "in"), "2 turns + 0.010");
  assert.equal(needleWords(parseLength("0.110 in", "in"), "in"), "1 turn + 0.010");
  assert.equal(needleWords(parseLength("10.668 mm", "mm"), "mm"), "10 turns + 0.67");
});

test("millimetres of the API are whole nanometres here", () => {
  assert.equal(fromMm(10.668), 10_668_000);
  assert.equal(fromMm(0.00127), 1270);
  assert.equal(toMm(1270), 0.00127);
});

test("angles and times", () => {
  assert.equal(degrees(-12.04), `${minus}12.0°`);
  assert.equal(degrees(-0.04), "0.0°");
  assert.equal(inCycle(-14), 706);
  assert.equal(inCycle(1466), 26);
  assert.equal(seconds(8.24), "8.2 s");
  assert.equal(seconds(125), "2 min 05 s");
});

test("what is spoken", () => {
  assert.equal(spoken(330_200, "in"), "13 thou");
  assert.equal(spoken(330_200, "mm"), "0.33 millimetres");
  assert.equal(spokenFigure(10_668_000, "in"), "point 4 2 0");
  assert.equal(spokenFigure(10_668_000, "mm"), "10 point 6 7");
});

// 1 lbf = 4.4482216152605 N by definition. The rate is that of a valve-spring
// sized coil, k = G d^4 / (8 D^3 Na) with d 0.200, D 1.050 in, Na 5.5 and G
// 11.5e6 psi: 361.2412 lbf/in (derived; the formula is in any book on springs).
test("forces and rates", () => {
  const k = (11.5e6 * 0.2 ** 4) / (8 * 1.05 ** 3 * 5.5);
  assert.ok(Math.abs(k - 361.2412) < 1e-3);
  assert.equal(rate((k * 4.4482216152605) / 25.4, "in"), "361 lbf/in");
  assert.equal(force(444.82216152605, "in"), "100.0 lbf");
  assert.equal(force(444.8, "mm"), "445 N");
});
