// Top dead centre as it is stored with an engine: what the encoder counts there,
// how well that is known, how it was found and on which day.

import { degrees } from "./units.js";

/**
 * @typedef {"positive stop"|"indicator on the piston"|"typed"} Method
 * @typedef {{angle_deg: number, u_deg?: number, method?: Method, on?: string}} TopDeadCentre u_deg is absent where nobody could tell
 */

/** The ways of finding it, as a person reads them. @type {Record<string, string>} */
const ways = {
  "positive stop": "found with a stop in the plug hole",
  "indicator on the piston": "found with the indicator on the piston",
  typed: "typed in",
};

/** Degrees as they are stored. @param {number} deg */
const exact = (deg) => Math.round(deg * 1e4) / 1e4;

/** This day, as in 2026-11-25. */
export const today = () => new Date().toISOString().slice(0, 10);

/**
 * A top dead centre that was found just now.
 * @param {number} angleDeg
 * @param {number|null|undefined} uDeg zero is what nobody could tell
 * @param {Method} method
 * @param {string} [on]
 * @returns {TopDeadCentre}
 */
export const foundTdc = (angleDeg, uDeg, method, on = today()) => ({ angle_deg: exact(angleDeg), ...(uDeg ? { u_deg: exact(uDeg) } : {}), method, on });

/**
 * The engine with its top dead centre set, or taken away with null.
 * @template {{tdc?: TopDeadCentre}} E
 * @param {E} engine
 * @param {TopDeadCentre|null} tdc
 * @returns {E}
 */
export function withTdc(engine, tdc) {
  const { tdc: _, ...rest } = engine;
  return /** @type {E} */ (tdc ? { ...rest, tdc } : rest);
}

/**
 * The engine as it is stored after its form: an angle that was typed over another
 * is a new one, of which nothing else is known; an emptied field takes it away.
 * @template {{tdc?: TopDeadCentre}} E
 * @param {E} engine as it stands in the form
 * @param {{tdc?: TopDeadCentre}} was as it was read
 * @param {string} [on]
 * @returns {E}
 */
export function tidied(engine, was, on = today()) {
  const { tdc } = engine;
  if (!tdc) return engine;
  if (tdc.angle_deg === undefined || tdc.angle_deg === null) return withTdc(engine, null);
  return tdc.angle_deg === was.tdc?.angle_deg ? engine : withTdc(engine, foundTdc(tdc.angle_deg, undefined, "typed", on));
}

/**
 * It in words: "12.34° ± 0.05°, found with a stop in the plug hole, 2026-11-25".
 * @param {TopDeadCentre} t
 */
export const tdcWords = (t) => `${degrees(t.angle_deg, 2)}${t.u_deg ? ` ± ${degrees(t.u_deg, 2)}` : ""}${t.method ? `, ${ways[t.method] ?? t.method}` : ", how it was found is not said"}${t.on ? `, ${t.on}` : ""}`;
