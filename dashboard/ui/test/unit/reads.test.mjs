// What is typed is read exactly or refused in words. Decimal equivalents of an
// inch rule's fractions are those of the trade's tables (from memory): 11/16 is
// 0.6875, 1/64 is 0.015625.
import { test } from "node:test";
import assert from "node:assert/strict";
import { readFileSync, readdirSync } from "node:fs";
import { parseLength, typedDigits } from "../../../page/units.js";
import { readFiringOrder, readHeads, showHeads, readLength, readLengths, readNumber, readOrderOfWork } from "../../../page/reads.js";
import { implausible, kindAt, kinds } from "../../../page/plausible.js";
import { valveNames } from "../../../page/engine.js";

test("an inch rule's fractions", () => {
  for (const [text, inches] of /** @type {const} */ ([
    ["8 11/16", 8.6875], ["8-11/16", 8.6875], ["8 - 11/16", 8.6875], ["5 11/16 in", 5.6875], ['5 11/16"', 5.6875], ["11/16", 0.6875], ["-1/64", -0.015625], ["\u22121 1/2", -1.5],
    ["8\u00bd", 8.5], ["\u00bd", 0.5], ["7\u215e", 7.875], ["1 1\u20444", 1.25], ["15/1000", 0.015], ["17/16", 1.0625],
  ])) assert.equal(parseLength(text, "in"), Math.round(inches * 25_400_000), text);
  assert.equal(parseLength("1/2 in", "mm"), 12_700_000, "a unit in the text wins");
  for (const [text, says] of /** @type {const} */ ([["8 11/61", /61 under its stroke/], ["8 17/16", /which is meant/], ["1/0", /0 under its stroke/], ["1/2/3", /is not a unit/], ["8 11", /is not a unit/], ["11/", /is not a unit/]])) {
    assert.throws(() => parseLength(text, "in"), says, text);
  }
});

test("what stands in a field can be typed again and is the same", () => {
  for (const [nm, unit, text] of /** @type {const} */ ([
    [381_000, "in", "0.015"], [220_662_500, "in", "8.6875"], [396_875, "in", "0.015625"], [-254_000, "in", "-0.01"], [400_000, "mm", "0.4"], [0, "in", "0"], [25_400_000, "in", "1"], [123_456, "mm", "0.123456"],
  ])) {
    assert.equal(typedDigits(nm, unit), text);
    assert.equal(parseLength(text, unit), nm);
  }
  assert.equal(typedDigits(400_000, "in"), "0.01575", "one that has no end is rounded, and kept as it was");
});

test("a length out of reason is refused with the reason, and what may have been meant", () => {
  assert.throws(() => readLength("15", "in", "shim"), /15\.0000 in is out of reason: a shim is at most 0\.59 in\. Was it 15 thou or 15 mm\?/);
  assert.throws(() => readLength("0.2", "in", "lash"), /a lash is at most 0\.12 in\. Was it 0\.2 thou or 0\.2 mm\?/);
  assert.throws(() => readLength("-0.01", "in", "lash"), /a lash is not below zero/);
  assert.throws(() => readLength("218", "in", "pushrod"), /Was it 218 mm\?/);
  assert.equal(readLength("0", "in", "lash"), 0);
  assert.throws(() => readLength("0", "in", "shim"), /a shim is at least/);
  assert.equal(implausible(1e15, undefined, "in"), "", "nothing is known of what has no kind");
  for (const [kind, { least, most }] of Object.entries(kinds)) assert.ok(least < most, kind);
});

test("every length of the views has its kind", () => {
  const folder = new URL("../../../page/views/", import.meta.url);
  let seen = 0;
  for (const file of readdirSync(folder)) {
    const text = readFileSync(new URL(file, folder), "utf8");
    for (const [, path] of text.matchAll(/\bf\.length\("([^"]+)"/g)) {
      seen++;
      assert.ok(kindAt(path), `${path} in ${file} has no kind in plausible.js`);
    }
    for (const [tag] of text.matchAll(/<\$\{Lengths?Field\}[^>]*?onChange/g)) {
      seen++;
      assert.match(tag, / of=/, `a length in ${file} does not say what it is of: ${tag}`);
    }
  }
  assert.ok(seen >= 45, `only ${seen} were found`);
});

test("numbers", () => {
  for (const [text, value] of /** @type {const} */ ([["1.5", 1.5], ["1,5", 1.5], [".5", 0.5], ["5.", 5], ["\u22123", -3], ["- 3", -3], ["+2", 2]])) assert.equal(readNumber(text), value, text);
  for (const text of ["six", "", "1e3", "0x10", "1 2", "Infinity", "NaN", "1.2.3", "--1", "1,000.5"]) assert.throws(() => readNumber(text), /is not a number/, text);
  assert.throws(() => readNumber("2.5", { whole: true }), /not a whole number/);
  assert.throws(() => readNumber("49", { least: 1, most: 48, whole: true }), /it must be 1 to 48/);
});

test("orders", () => {
  assert.deepEqual(readFiringOrder("1-8-4-3-6-5-7-2", 8), [1, 8, 4, 3, 6, 5, 7, 2]);
  assert.deepEqual(readFiringOrder(" 1, 3 4;2 ", 4), [1, 3, 4, 2]);
  assert.deepEqual(readFiringOrder("", 4), []);
  for (const [text, says] of /** @type {const} */ ([["1843", /no cylinder/], ["1-3-4", /Cylinder 2 is missing/], ["1-3-3-2", /Cylinder 3 stands there twice/], ["1-3-4-9", /There is no cylinder 9/], ["1-a", /"a" is no cylinder/]])) {
    assert.throws(() => readFiringOrder(text, 4), says, text);
  }
  const names = valveNames({ cylinders: 2, valves_per_cylinder: 2 });
  assert.deepEqual(readOrderOfWork("2i 1E,1I", names), ["2I", "1E", "1I"]);
  assert.throws(() => readOrderOfWork("1I1E", names), /"1I1E" is no valve/);
  assert.throws(() => readOrderOfWork("1I 3I", names), /"3I" is no valve of this engine: they are 1I 1E 2I 2E/);
  assert.throws(() => readOrderOfWork("1I 1I", names), /twice/);
});

test("shims with a plus between", () => {
  assert.deepEqual(readLengths("0.015 + 1/32", "in", "shim"), [381_000, 793_750]);
  assert.deepEqual(readLengths("0,40 + 0,80", "mm", "shim"), [400_000, 800_000]);
  assert.deepEqual(readLengths(" ", "in", "shim"), []);
  assert.throws(() => readLengths("0.015 + ", "in", "shim"), /is not a length/);
  assert.throws(() => readLengths("0.015 0.030", "in", "shim"), /is not a unit/);
});

test("digits of an eastern keyboard and dashes of a phone are read as the plain ones", () => {
  for (const [text, nm] of /** @type {const} */ ([["\uff10\uff0e\uff14 mm", 400_000], ["\uff18 \uff11\uff11\uff0f\uff11\uff16", 220_662_500], ["\u20130.5 mm", -500_000], ["8\u201311/16", 220_662_500], ["\u00bd\u2033", 12_700_000]]))
    assert.equal(parseLength(text, "in"), nm, text);
  assert.equal(readNumber("\uff11\uff10\uff16\uff0e\uff15"), 106.5);
  assert.deepEqual(readFiringOrder("\uff11\uff0d\uff13\u20134\uff0d\uff12", 4), [1, 3, 4, 2]);
});

test("what was copied off a page or a drawing is read as it looks, or refused", () => {
  for (const [text, nm] of /** @type {const} */ ([["\u20100.015", -381_000], ["\u22120.015", -381_000], ["\ufe630.015", -381_000], ["5\u201111/16", 144_462_500], ["\u200e0.015\u200b", 381_000], ["5\u00a011/16", 144_462_500], ["5\u202f11/16\u2033", 144_462_500], ["5 11/16''", 144_462_500]]))
    assert.equal(parseLength(text, "in"), nm, JSON.stringify(text));
  assert.equal(readNumber("\u201012\u200b"), -12);
  // A soft hyphen is seen only where a line ends at it: nobody knows what stood there.
  for (const text of ["5\u00ad11/16", "1 .5", "8 10", "5\u20195", "\u0661\u0665", "1\u00b2", "0.015 0.020", "1 000"]) assert.throws(() => parseLength(text, "in"), JSON.stringify(text));
  assert.throws(() => parseLength("0.00000001", "in"), /less than a nanometre/, "what is typed does not become nothing");
  assert.equal(parseLength("0.000", "in"), 0);
});

test("a comma that may be a point or thousands is asked about, and never guessed", () => {
  for (const text of ["7,500", "1,500", "-12,345"]) assert.throws(() => readNumber(text), /without the comma, or with a point/, text);
  assert.throws(() => parseLength("1,500 thou", "in"), /"1,500 thou" may be 1500 or 1.500/);
  assert.equal(parseLength("1,524", "mm"), 1_524_000, "a thousand millimetres are no figure of this bench, a thousandth of one is");
  assert.equal(parseLength("0,400", "in"), 10_160_000);
  assert.equal(readNumber("0,125"), 0.125);
});

test("the unit behind a field may be typed as well, and no other", () => {
  for (const [text, unit, value] of /** @type {const} */ ([["12\u00b0", "\u00b0 BTDC", 12], ["12 BTDC", "\u00b0 BTDC", NaN], ["12 \u00b0 BTDC", "\u00b0 BTDC", 12], ["12 deg", "\u00b0", 12], ["7500 rpm", "rev/min", 7500], ["70 K", "K", 70], ["120 lb", "lbf", 120]]))
    if (Number.isNaN(value)) assert.throws(() => readNumber(text, {}, unit), /is not a number/, text);
    else assert.equal(readNumber(text, {}, unit), value, text);
  assert.throws(() => readNumber("120 N", {}, "lbf"), /is not a number/);
});

test("how the heads lie: by cylinders, or by valves", () => {
  const names = ["1I", "1E", "2I", "2E", "3I", "3E", "4I", "4E"];
  assert.deepEqual(readHeads("1 3 / 2 4", names), [["1I", "1E", "3I", "3E"], ["2I", "2E", "4I", "4E"]]);
  const heads = readHeads("1e 1i 3i 3e|2,4", names);
  assert.deepEqual(heads, [["1E", "1I", "3I", "3E"], ["2I", "2E", "4I", "4E"]]);
  assert.deepEqual(readHeads(showHeads(heads), names), heads);
  for (const [text, says] of /** @type {const} */ ([["1 3", /2I 2E 4I 4E are missing/], ["1 1 2 3 4", /1I stands there twice/], ["1 2 3 4 /", /one stroke is too many/], ["1 2 3 5", /"5" is no cylinder/]])) assert.throws(() => readHeads(text, names), says, text);
});
