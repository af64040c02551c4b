// What is known of an indicator that was proved, in words and figures: what is
// left of its travel, and whether that does for the next turn.

import { farLength, length } from "./units.js";

/**
 * @typedef {{proved: boolean, low_mm?: number, high_mm?: number, stop_u_mm?: number, travel_mm?: number, in?: number, loose?: boolean, repeat_mm?: number, stick_mm?: number, one_sided?: boolean, lag_ms?: number, lag_u_ms?: number, refresh_ms?: number, step_mm?: number, rate_hz?: number, when?: string, unlearned?: string[]}} Proof
 * @typedef {{stage: "hang"|"home"|"snap"|"other"|"done", says: string, problem?: string, snaps: number, resting: boolean}} Proving
 * @typedef {{indicator: string, proof: Proof, proving: Proving|null, expected_lift_mm?: number, expected_within_mm?: number}} ProofNow
 */

/**
 * How far the spindle can still go from a reading: down and up in the figure.
 * Null while the stops are not known.
 * @param {ProofNow|null} now
 * @param {number|undefined} reading_nm
 */
export function travelLeft(now, reading_nm) {
  const p = now?.proof;
  if (!p?.proved || p.loose || p.low_mm === undefined || p.high_mm === undefined || reading_nm === undefined) return null;
  return { down: Math.max(0, reading_nm - p.low_mm * 1e6), up: Math.max(0, p.high_mm * 1e6 - reading_nm) };
}

/**
 * What to say before a turn for which too little travel is left; "" where it
 * does, or where nothing is known of the lift.
 * @param {ProofNow|null} now
 * @param {{sign: number, heel_nm: number, state: string}|null} position
 * @param {number|undefined} reading_nm
 * @param {import("./units.js").Unit} unit
 */
export function tooLittle(now, position, reading_nm, unit) {
  const want = (now?.expected_lift_mm ?? 0) * 1e6;
  if (want <= 0 || (position && position.sign !== 0 && position.state !== "heel")) return "";
  const left = travelLeft(now, reading_nm);
  if (!left) return "";
  const sign = position?.sign ?? 0;
  // Which way it will run is not known before the first turn; then the roomier counts.
  const room = sign > 0 ? left.up : sign < 0 ? left.down : Math.max(left.up, left.down);
  return room >= want ? "" : `Not enough travel: the spindle has ${length(room, unit)} left, and a lift of some ${length(want, unit)} is expected. Set the indicator ${sign * (now?.proof.in ?? 1) < 0 ? "lower, so that the spindle is pressed in further" : "higher, so that the spindle hangs out further"}, before you turn.`;
}

/**
 * The travel that is left, for the bench.
 * @param {ProofNow|null} now
 * @param {number|undefined} reading_nm
 * @param {import("./units.js").Unit} unit
 */
export function leftWords(now, reading_nm, unit) {
  const left = travelLeft(now, reading_nm);
  if (!left) return "";
  const [inward, outward] = now?.proof.in === -1 ? [left.down, left.up] : [left.up, left.down];
  return `${farLength(inward, unit)} inward, ${farLength(outward, unit)} outward`;
}

/** The steps of a proving, each with what is done in it in a word or two. */
export const provingSteps = /** @type {const} */ ([["hang", "Hang free"], ["home", "Press home"], ["snap", "Snap, three times"], ["other", "From below"]]);
