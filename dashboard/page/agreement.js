// Whether the openings of a valve agree, in words: said, and not judged by eye.
// The daemon judges; here are the sentences.

import { valveWords } from "./cues.js";
import { fromMm, length, withUncertainty } from "./units.js";

/**
 * @typedef {{t_nose_s: number, by_mm: number, beyond: boolean}} Off
 * @typedef {{count: number, agree: boolean, max_lift_mm: number, max_lift_u_mm: number, each: Off[]}} Agreement
 */

/**
 * "Cylinder 1 intake agrees over 3 openings: 0.4415 ± 0.0004 in."
 * @param {Agreement|null|undefined} a
 * @param {string} valve
 * @param {import("./units.js").Unit} unit
 * @param {import("./valve.js").OwnNames} [names]
 */
export function agreementWords(a, valve, unit, names) {
  if (!a || a.count === 0) return "";
  const figure = withUncertainty(fromMm(a.max_lift_mm), fromMm(a.max_lift_u_mm), unit), who = valve ? valveWords(valve, names) : "This valve";
  if (a.count === 1) return `One opening so far: ${figure}. Turn once more, to see whether it agrees.`;
  if (a.agree) return `${who} agrees over ${a.count} openings: ${figure}.`;
  if (a.count === 2) return `${who}: the two openings differ by ${length(Math.abs(fromMm(a.each[0].by_mm)), unit)}, more than their uncertainties explain. A third one tells which is off.`;
  const odd = a.each.flatMap((e, i) => (e.beyond ? [i + 1] : []));
  return `${who}: ${odd.length === 1 ? `opening ${odd[0]} of ${a.count} does` : `openings ${odd.join(", ")} of ${a.count} do`} not agree with the others. Leave ${odd.length === 1 ? "it" : "them"} out with the reason, or turn once more.`;
}

/**
 * How one opening stands to the others: "off by 0.0031 in", or "".
 * @param {Agreement|null|undefined} a
 * @param {number} nose its time, as it came with the opening
 * @param {import("./units.js").Unit} unit
 */
export function offWords(a, nose, unit) {
  const e = a?.each.find((one) => Math.abs(one.t_nose_s - nose) < 1e-4);
  if (!e || !a || a.count < 2) return { says: "", beyond: false };
  const by = fromMm(e.by_mm);
  return { says: `${by < 0 ? "lower" : "higher"} by ${length(Math.abs(by), unit)}`, beyond: e.beyond };
}
