// Top dead centre as it is kept with an engine: what the encoder counts there,
// and, as a line of the engine's notes, how well that is known and how it was
// found. The line is for people, and travels to the build sheet with the notes;
// the page reads it back as long as it speaks of the angle that is kept.

import { degrees } from "./units.js";

/** @typedef {{tdc_deg: number, tdc_u_deg?: number, how: string}} Found */

/** The ways of knowing it, as the line says them. */
export const ways = /** @type {const} */ ({ stop: "found with a stop in the plug hole", piston: "found with the indicator on the piston", typed: "typed in" });

const line = /^Top dead centre of cylinder 1: the encoder shows (-?\d+(?:\.\d+)?)°(?: ± (\d+(?:\.\d+)?)°)? there, (.+) on (\d{4}-\d\d-\d\d)\.$/;

/** Degrees as they are kept. @param {number} deg */
const exact = (deg) => Math.round(deg * 1e4) / 1e4;

/** @param {string|undefined} notes */
const otherLines = (notes) => (notes ?? "").split("\n").filter((l) => !line.test(l.trim()));

/**
 * The engine with its top dead centre set, or taken away with null.
 * @template {{tdc_deg?: number, notes?: string}} E
 * @param {E} engine
 * @param {Found|null} found
 * @param {string} day as in 2026-11-25
 * @returns {E}
 */
export function withTdc(engine, found, day) {
  const { tdc_deg: _, notes, ...rest } = engine;
  const lines = otherLines(notes);
  if (found) {
    const u = found.tdc_u_deg ? ` ± ${exact(found.tdc_u_deg)}°` : ""; // nought is what nobody could tell
    while (lines.length && lines[lines.length - 1].trim() === "") lines.pop();
    lines.push(`Top dead centre of cylinder 1: the encoder shows ${exact(found.tdc_deg)}°${u} there, ${found.how} on ${day}.`);
  }
  const text = lines.join("\n");
  return /** @type {E} */ (/** @type {unknown} */ ({ ...rest, ...(found ? { tdc_deg: exact(found.tdc_deg) } : {}), ...(text ? { notes: text } : {}) }));
}

/**
 * What is kept of an engine's top dead centre; null when it is not known. What
 * the notes say of another angle is of an older one.
 * @param {{tdc_deg?: number, notes?: string}|null|undefined} engine
 * @returns {{tdc_deg: number, tdc_u_deg?: number, how?: string, on?: string}|null}
 */
export function tdcOf(engine) {
  if (engine?.tdc_deg === undefined || engine.tdc_deg === null) return null;
  for (const l of (engine.notes ?? "").split("\n")) {
    const said = line.exec(l.trim());
    if (said && exact(Number(said[1])) === exact(engine.tdc_deg)) return { tdc_deg: engine.tdc_deg, tdc_u_deg: said[2] === undefined ? undefined : Number(said[2]), how: said[3], on: said[4] };
  }
  return { tdc_deg: engine.tdc_deg };
}

/**
 * The engine without a line about a top dead centre that it no longer has, as
 * after another angle was typed over it.
 * @template {{tdc_deg?: number, notes?: string}} E
 * @param {E} engine
 * @returns {E}
 */
export const tidied = (engine) => (tdcOf(engine)?.how ? engine : otherLines(engine.notes).join("\n") === (engine.notes ?? "") ? engine : { ...engine, notes: otherLines(engine.notes).join("\n") });

/**
 * It in words: "12.34° ± 0.05°, found with a stop in the plug hole, 2026-11-25".
 * @param {{tdc_deg: number, tdc_u_deg?: number, how?: string, on?: string}} t
 */
export const tdcWords = (t) => `${degrees(t.tdc_deg, 2)}${t.tdc_u_deg ? ` ± ${degrees(t.tdc_u_deg, 2)}` : ""}${t.how ? `, ${t.how}, ${t.on}` : ", how it was found is not said"}`;
