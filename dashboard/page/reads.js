// What was typed, as what is kept: each function reads one kind of field and
// throws an Error in words for what it can not read. Nothing is left out or
// guessed: a text either means exactly one thing, or it is refused.

import { implausible } from "./plausible.js";
import { cylinderOf } from "./valve.js";
import { parseLength, plainSigns, twoMeanings, whichIsMeant } from "./units.js";

/** @typedef {import("./units.js").Unit} Unit */

/**
 * A length of a kind, in nanometres.
 * @param {string} text
 * @param {Unit} unit
 * @param {string} [kind] see plausible.js
 */
export function readLength(text, unit, kind) {
  const nm = parseLength(text, unit);
  const odd = implausible(nm, kind, unit);
  if (odd) throw new Error(odd);
  return nm;
}

/**
 * @typedef {{least?: number, most?: number, whole?: boolean, why?: string}} Range
 * @param {string} text
 * @param {Range} [range]
 * @param {string} [unit] that stands behind the field, and may be typed as well
 */
export function readNumber(text, { least = -1e9, most = 1e9, whole = false, why = "" } = {}, unit = "") {
  const typed = withoutUnit(plainSigns(text.trim()), unit), two = twoMeanings.exec(typed);
  if (two && two[0] === typed) throw whichIsMeant(`"${text.trim()}"`, typed);
  const plain = typed.replace(",", ".").replace(/^([+-])\s+/, "$1");
  if (!/^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) || plain.length > 20) throw new Error(`"${text.trim()}" is not a number`);
  const value = Number(plain);
  if (whole && !Number.isInteger(value)) throw new Error(`"${text.trim()}" is not a whole number`);
  if (value < least || value > most) throw new Error(`${text.trim()} is out of reason: it must be ${least} to ${most}${why ? `, ${why}` : ""}`);
  return value;
}

/** Other ways of writing what stands behind a field. @type {Record<string, string[]>} */
const alike = { "°": ["degrees", "deg"], "rev/min": ["rpm", "1/min"], lbf: ["lbs", "lb"] };

/** @param {string} text @param {string} unit */
function withoutUnit(text, unit) {
  const first = unit.split(" ")[0], words = [unit, first, ...(alike[first] ?? [])].filter(Boolean);
  const word = words.find((w) => text.toLowerCase().endsWith(w.toLowerCase()));
  return word ? text.slice(0, -word.length).trimEnd() : text;
}

/**
 * A firing order: "1-3-4-2", "1 3 4 2", "1,3,4,2". Empty is none.
 * @param {string} text
 * @param {number} cylinders
 */
export function readFiringOrder(text, cylinders) {
  const words = plainSigns(text).trim().split(/[\s,;-]+/).filter(Boolean);
  const order = words.map((w) => {
    if (!/^\d{1,2}$/.test(w)) throw new Error(`"${w}" is no cylinder: write their numbers with a dash between, as in 1-3-4-2`);
    return Number(w);
  });
  if (order.length === 0) return order;
  const odd = order.find((n) => n < 1 || n > cylinders);
  if (odd !== undefined) throw new Error(`There is no cylinder ${odd}: this engine has ${cylinders}`);
  const twice = order.find((n, i) => order.indexOf(n) !== i);
  if (twice !== undefined) throw new Error(`Cylinder ${twice} stands there twice`);
  const missing = Array.from({ length: cylinders }, (_, i) => i + 1).filter((n) => !order.includes(n));
  if (missing.length) throw new Error(`${missing.length === 1 ? `Cylinder ${missing[0]} is` : `Cylinders ${missing.join(", ")} are`} missing in it`);
  return order;
}

/**
 * An order of work: "1I 1E 3I". Empty follows the firing order.
 * @param {string} text
 * @param {string[]} names of the engine's valves; none: not known, and then not held against
 */
export function readOrderOfWork(text, names) {
  const words = plainSigns(text).toUpperCase().split(/[\s,;]+/).filter(Boolean);
  for (const [i, w] of words.entries()) {
    if (!/^\d+[IE]\d*$/.test(w) || (names.length > 0 && !names.includes(w))) throw new Error(`"${w}" is no valve of this engine${names.length ? `: they are ${names.join(" ")}` : ': write them as in "1I 1E 3I"'}`);
    if (words.indexOf(w) !== i) throw new Error(`${w} stands there twice`);
  }
  return words;
}

/**
 * How the heads lie: "1 3 5 7 / 2 4 6 8" by cylinders, or "1E 1I 3I 3E / 2E 2I 4I 4E" by
 * valves, front of the engine first. Every valve stands there once.
 * @param {string} text
 * @param {string[]} names of the engine's valves
 * @returns {string[][]} valves
 */
export function readHeads(text, names) {
  const seen = new Set(), heads = plainSigns(text).toUpperCase().split(/[/|;\n]/).map((head) => head.split(/[\s,]+/).filter(Boolean).flatMap((word) => {
    const found = /^\d+$/.test(word) ? names.filter((n) => cylinderOf(n) === Number(word)) : names.filter((n) => n === word);
    if (found.length === 0) throw new Error(`"${word}" is no cylinder and no valve of this engine: they are ${names.join(" ")}`);
    for (const n of found) {
      if (seen.has(n)) throw new Error(`${n} stands there twice`);
      seen.add(n);
    }
    return found;
  }));
  if (heads.some((h) => h.length === 0)) throw new Error("A head without a valve stands there: one stroke is too many");
  const missing = names.filter((n) => !seen.has(n));
  if (missing.length) throw new Error(`${missing.join(" ")} ${missing.length === 1 ? "is" : "are"} missing in it`);
  return heads;
}

/** @param {string[][]} heads */
export const showHeads = (heads) => heads.map((h) => h.join(" ")).join(" / ");

/**
 * Shims with a plus between: "0.050 + 0.020". Empty is none.
 * @param {string} text
 * @param {Unit} unit
 * @param {string} [kind]
 * @returns {number[]} nanometres
 */
export const readLengths = (text, unit, kind) => (text.trim() === "" ? [] : text.split(/[+;]|,\s+/).map((one) => readLength(one, unit, kind)));
