// Lengths as the bench writes them. A length is a whole number of nanometres,
// in which 0.0001 in (2540) and 0.001 mm (1000) are both exact; it becomes text
// only here, and text becomes a length only here, so inch and metric never
// drift apart.

/** @typedef {"in"|"mm"} Unit */

/** Nanometres in one of the named unit. */
export const nanometres = /** @type {const} */ ({ in: 25_400_000, mm: 1_000_000, thou: 25_400, um: 1_000 });

/** Decimals that a bench figure has: a tenth of a thou, a micrometre. */
const fine = /** @type {const} */ ({ in: 4, mm: 3 });

/** Decimals that can be read across a room, and that a hand can turn to. */
const coarse = /** @type {const} */ ({ in: 3, mm: 2 });

/** What a true minus looks like; a hyphen is too short to be seen from afar. */
const minus = "\u2212";

/**
 * A length of the API, in millimetres, as whole nanometres.
 * @param {number} mm
 */
export const fromMm = (mm) => Math.round(mm * 1e6);

/**
 * Whole nanometres as the API's millimetres.
 * @param {number} nm
 */
export const toMm = (nm) => nm / 1e6;

/**
 * The number alone, rounded half away from zero.
 * @param {number} nm
 * @param {Unit} unit
 * @param {{decimals?: number, sign?: boolean}} [options] sign: also write a plus
 */
export function digits(nm, unit, { decimals = fine[unit], sign = false } = {}) {
  if (!Number.isFinite(nm)) return "\u2013";
  const scale = 10n ** BigInt(decimals);
  const one = BigInt(nanometres[unit]);
  const size = BigInt(Math.round(Math.abs(nm)));
  const steps = (size * scale * 2n + one) / (one * 2n);
  const whole = steps / scale;
  const rest = (steps % scale).toString().padStart(decimals, "0");
  const text = decimals > 0 ? `${whole}.${rest}` : `${whole}`;
  if (steps === 0n) return text;
  return (nm < 0 ? minus : sign ? "+" : "") + text;
}

/**
 * The number and its unit: "0.4200 in", "10.668 mm".
 * @param {number} nm
 * @param {Unit} unit
 * @param {{decimals?: number, sign?: boolean}} [options]
 */
export const length = (nm, unit, options) => `${digits(nm, unit, options)} ${unit}`;

/**
 * The number as it is read from three metres: "0.013", "0.33".
 * @param {number} nm
 * @param {Unit} unit
 */
export const farDigits = (nm, unit) => digits(nm, unit, { decimals: coarse[unit] });

/**
 * What is said in a sentence: "0.013 in".
 * @param {number} nm
 * @param {Unit} unit
 */
export const farLength = (nm, unit) => `${farDigits(nm, unit)} ${unit}`;

/**
 * The thickness of a shim: as few digits as are exact, "0.015", "0.762".
 * @param {number} nm
 * @param {Unit} unit
 */
export function shim(nm, unit) {
  const few = coarse[unit], step = nanometres[unit] / 10 ** few;
  return digits(nm, unit, { decimals: Math.abs(nm % step) < 1 ? few : fine[unit] });
}

/**
 * A length with its expanded uncertainty: "0.4200 ± 0.0004 in". The figure
 * after ± is rounded up, so that it never claims more than is known (JCGM
 * 100:2008, 7.2.6, allows for it).
 * @param {number} nm
 * @param {number|undefined} u
 * @param {Unit} unit
 */
export function withUncertainty(nm, u, unit) {
  if (!u) return length(nm, unit);
  return `${digits(nm, unit)} ± ${roundedUp(u, unit)} ${unit}`;
}

/**
 * An uncertainty, rounded up.
 * @param {number} u
 * @param {Unit} unit
 */
export function roundedUp(u, unit) {
  const step = nanometres[unit] / 10 ** fine[unit];
  return digits(Math.ceil(u / step - 1e-9) * step, unit);
}

/**
 * A small length, such as an indicator's step, with as many
 * digits as it takes not to read as nothing.
 * @param {number} nm
 * @param {Unit} unit
 */
export function small(nm, unit) {
  let decimals = /** @type {number} */ (fine[unit]);
  while (nm !== 0 && decimals < 7 && Math.abs(nm) * 10 ** decimals < nanometres[unit]) decimals++;
  return digits(nm, unit, { decimals });
}

/**
 * How the needle of a dial indicator counts a length: whole turns of 0.100 in
 * or 1 mm, and what the needle shows after them. 0.420 in is 4 turns and 0.020.
 * @param {number} nm
 * @param {Unit} unit
 */
export function needle(nm, unit) {
  const turn = needleTurn(unit);
  const size = Math.abs(nm);
  const turns = Math.floor(size / turn);
  return { turns, rest: size - turns * turn };
}

/**
 * One turn of the needle in nanometres.
 * @param {Unit} unit
 */
export const needleTurn = (unit) => (unit === "in" ? nanometres.in / 10 : nanometres.mm);

/**
 * "4 turns + 0.020".
 * @param {number} nm
 * @param {Unit} unit
 */
export function needleWords(nm, unit) {
  const { turns, rest } = needle(nm, unit);
  return `${turns} ${turns === 1 ? "turn" : "turns"} + ${farDigits(rest, unit)}`;
}

/** Every accepted spelling of a unit, in lower case. */
const unitWords = new Map(Object.entries({
  mm: nanometres.mm, millimetre: nanometres.mm, millimetres: nanometres.mm, millimeter: nanometres.mm, millimeters: nanometres.mm,
  in: nanometres.in, "in.": nanometres.in, inch: nanometres.in, inches: nanometres.in, '"': nanometres.in, "''": nanometres.in, "\u2033": nanometres.in, "\u201d": nanometres.in,
  thou: nanometres.thou, mil: nanometres.thou, mils: nanometres.thou,
  "\u00b5m": nanometres.um, "\u03bcm": nanometres.um, um: nanometres.um,
}));

/** What may stand under the stroke of a fraction: an inch rule's halves of halves, and decimal ones. */
const unders = new Set([2, 4, 8, 16, 32, 64, 128, 10, 100, 1000]);

/**
 * What an eastern keyboard, a phone's autocorrection or a page that was copied from makes
 * of digits and dashes, as the plain ones; marks that nobody sees are gone.
 * @param {string} text
 */
export const plainSigns = (text) => text.replace(/[\uff01-\uff5e]/g, (c) => String.fromCharCode(c.charCodeAt(0) - 0xfee0)).replace(/[\u2010-\u2013\u2212\ufe63]/g, "-").replace(/[\u200b-\u200f\u2060\ufeff]/g, "");

/** A comma that one country reads as a point and another as thousands. */
export const twoMeanings = /^[+-]?\s*[1-9]\d{0,2},\d{3}(?!\d)/;

/** @param {string} asked @param {string} number */
export const whichIsMeant = (asked, number) => new Error(`${asked} may be ${number.replace(",", "")} or ${number.replace(",", ".")}: write it without the comma, or with a point`);

/** A number of a fraction: "11/16", "8 11/16", "8-11/16". */
const fraction = /^\s*([+-]?)\s*(?:(\d+)(?:\s*-\s*|\s+))?(\d+)\s*\/\s*(\d+)\s*(.*?)\s*$/;

/** One with a point, or none: "8.6875", ".015", "0,40". */
const decimal = /^\s*([+-]?)\s*(\d*)(?:[.,](\d*))?\s*(.*?)\s*$/;

/**
 * A typed length as whole nanometres; a bare number is taken in unit, a unit in
 * the text wins. A comma is read as a decimal point, and an inch rule's
 * fractions as they are written: "8 11/16", "8-11/16", "8\u00bd". It throws an Error in
 * words for what cannot be read.
 * @param {string} text
 * @param {Unit} unit
 */
export function parseLength(text, unit) {
  const plain = plainSigns(text).replace(/[\u00bc-\u00be\u2150-\u215e]/g, (c) => ` ${c.normalize("NFKD")}`).replace(/\u2044/g, "/");
  const parts = fraction.exec(plain), found = parts ?? decimal.exec(plain);
  const asked = `"${text.trim()}"`;
  if (!found || (!parts && (found[2] ?? "") + (found[3] ?? "") === "")) throw new Error(`${asked} is not a length: write it like ${example(unit)}`);
  const word = (parts ? parts[5] : found[4]).toLowerCase();
  const one = word === "" ? nanometres[unit] : unitWords.get(word);
  if (one === undefined) throw new Error(`"${parts ? parts[5] : found[4]}" is not a unit: write in, mm or thou`);
  const two = !parts && one !== nanometres.mm && twoMeanings.exec(plain.trim());
  if (two) throw whichIsMeant(asked, two[0]);
  const { above, below } = parts ? mixed(parts, asked) : pointed(found, asked);
  const size = (above * BigInt(one) * 2n + below) / (below * 2n);
  if (size === 0n && above !== 0n) throw new Error(`${asked} is less than a nanometre: write 0 if nothing is meant`);
  return found[1] === "-" ? -Number(size) : Number(size);
}

/** @param {RegExpExecArray} found @param {string} asked */
function pointed(found, asked) {
  const whole = found[2] ?? "", part = found[3] ?? "";
  if (whole.length > 6 || part.length > 12) throw new Error(`${asked} has too many digits to be a length on the bench`);
  return { above: BigInt(whole + part), below: 10n ** BigInt(part.length) };
}

/** @param {RegExpExecArray} found @param {string} asked */
function mixed([, , whole, over, under], asked) {
  if (!unders.has(Number(under))) throw new Error(`${asked} has ${under} under its stroke: write halves, 4ths, 8ths, 16ths, 32nds, 64ths or 128ths, or a decimal`);
  if ((whole ?? "").length > 6 || over.length > 6) throw new Error(`${asked} has too many digits to be a length on the bench`);
  if (whole !== undefined && Number(over) >= Number(under)) throw new Error(`${asked} has a fraction of one or more behind a whole number: which is meant?`);
  return { above: BigInt(whole ?? 0) * BigInt(under) + BigInt(over), below: BigInt(under) };
}

/**
 * A length as it stands in a field: all its digits where it has few, as
 * "0.015" or "8.6875", else rounded.
 * @param {number} nm
 * @param {Unit} unit
 */
export function typedDigits(nm, unit) {
  for (let decimals = 0; decimals <= 6; decimals++) {
    const step = nanometres[unit] / 10 ** decimals;
    if (step >= 1 && nm % step === 0 && Number.isInteger(step)) return plainDigits(nm, unit, decimals);
  }
  return nm % 1 === 0 && unit === "in" && (nm * 10) % 254 === 0 ? plainDigits(nm, unit, 6) : plainDigits(nm, unit, fine[unit] + 1);
}

/** @param {number} nm @param {Unit} unit @param {number} decimals */
const plainDigits = (nm, unit, decimals) => digits(nm, unit, { decimals }).replace(minus, "-").replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "");

/** @param {Unit} unit */
const example = (unit) => (unit === "in" ? '"0.420 in", "420 thou" or "8 11/16"' : '"10.67 mm"');

/**
 * Degrees of crank with one decimal: "106.5°".
 * @param {number} deg
 * @param {number} [decimals]
 */
export function degrees(deg, decimals = 1) {
  if (!Number.isFinite(deg)) return "\u2013";
  const text = Math.abs(deg).toFixed(decimals);
  return (deg < 0 && Number(text) !== 0 ? minus : "") + text + "°";
}

/**
 * A crank angle within one four-stroke cycle, 0 to 720.
 * @param {number} deg
 */
export const inCycle = (deg) => ((deg % 720) + 720) % 720;

/**
 * Seconds as a person reads them: "8.2 s", "2 min 05 s".
 * @param {number} s
 */
export function seconds(s) {
  if (s < 60) return `${s.toFixed(1)} s`;
  const whole = Math.round(s);
  return `${Math.floor(whole / 60)} min ${String(whole % 60).padStart(2, "0")} s`;
}

/**
 * A length as a voice should say it: "13 thou", "0.33 millimetres". Voices read
 * "0.013 in" badly, and the trade says thou.
 * @param {number} nm
 * @param {Unit} unit
 */
export function spoken(nm, unit) {
  if (unit === "mm") return `${farDigits(nm, "mm")} millimetres`;
  const thou = Math.round(Math.abs(nm) / nanometres.thou);
  return `${thou} thou`;
}

/**
 * A max lift as a voice should say it: "point 4 2 0", digit by digit.
 * @param {number} nm
 * @param {Unit} unit
 */
export function spokenFigure(nm, unit) {
  const [whole, part] = farDigits(nm, unit).split(".");
  const lead = whole === "0" && unit === "in" ? "" : `${whole} `;
  return `${lead}point ${part.split("").join(" ")}`;
}

/**
 * A max lift and its uncertainty as a voice should say them: "point 4 4 2, plus or
 * minus 0.4 thou". The uncertainty is rounded up.
 * @param {number} nm
 * @param {number} u
 * @param {Unit} unit
 */
export const spokenWith = (nm, u, unit) => spokenFigure(nm, unit) + (u > 0 ? `, plus or minus ${unit === "in" ? `${(Math.ceil(u / 2540 - 1e-9) / 10).toFixed(1)} thou` : `${(Math.ceil(u / 1e4 - 1e-9) / 100).toFixed(2)} millimetres`}` : "");

/** Newtons in a pound-force, exactly (0.45359237 kg at 9.80665 m/s²). */
export const poundForce = 4.4482216152605;

/**
 * A force as the bench writes it: pounds beside inches, newtons beside
 * millimetres.
 * @param {number} newtons
 * @param {Unit} unit
 */
export const force = (newtons, unit) => (unit === "in" ? `${(newtons / poundForce).toFixed(1)} lbf` : `${newtons.toFixed(0)} N`);

/**
 * A spring's rate: "361 lbf/in", "63.3 N/mm".
 * @param {number} newtonsPerMm
 * @param {Unit} unit
 */
export const rate = (newtonsPerMm, unit) => (unit === "in" ? `${((newtonsPerMm * 25.4) / poundForce).toFixed(0)} lbf/in` : `${newtonsPerMm.toFixed(1)} N/mm`);

/**
 * A moment as this browser writes it.
 * @param {string} iso
 */
export function when(iso) {
  const d = new Date(iso);
  if (Number.isNaN(d.getTime())) return iso;
  return d.toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
}
