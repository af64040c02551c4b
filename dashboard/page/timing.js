// Timing as the page handles it: the daemon's answer made even, and its words.

import { degrees } from "./units.js";

/**
 * @typedef {{atdc_deg: number, u_deg: number, card_deg: number, says: string}} Event
 * @typedef {{checking_lift_mm: number, checked_at: string, level_mm: number, opens?: Event, closes?: Event, span?: {duration_deg: number, duration_u_deg: number, centreline_atdc_deg: number, centreline_u_deg: number, centreline_says: string, asymmetry_deg?: number}}} Passage
 * @typedef {{atdc_deg: number, lift_mm: number, mm_per_deg: number, mm_per_deg_u: number, mm_per_deg2: number, mm_per_deg2_u: number}} Derivative
 * @typedef {{valve: "intake"|"exhaust"|"", passages: Passage[], half: Passage|null, nose: any, liftAtTdc: {mm: number, u: number}|null, area: number, warnings: string[], note: string, doubtful: boolean, curve: {angle: number[], lift: number[]}, derivatives: Derivative[], derivativesSay: string}} ValveTiming
 */

/**
 * @param {any} answer of the daemon for one trace
 * @returns {ValveTiming}
 */
export function readTiming(answer) {
  const t = answer.timing ?? answer;
  const points = answer.curve ?? [];
  const d = answer.derivatives ?? { points: [] };
  return {
    valve: answer.valve || t.valve || "",
    passages: t.passages ?? [],
    half: t.half_lift ?? null,
    nose: t.nose ?? null,
    liftAtTdc: t.lift_at_tdc_mm === undefined || t.lift_at_tdc_mm === null ? null : { mm: t.lift_at_tdc_mm, u: t.lift_at_tdc_u_mm ?? 0 },
    area: t.area_mm_deg ?? 0,
    warnings: [...(t.made?.warnings ?? []), ...(d.warnings ?? [])],
    note: answer.note ?? "",
    doubtful: Boolean(answer.tdc_doubtful),
    curve: { angle: points.map((/** @type {any} */ p) => p.angle_deg), lift: points.map((/** @type {any} */ p) => p.lift_mm) },
    derivatives: d.points ?? [],
    derivativesSay: d.chosen ?? "",
  };
}

/**
 * Several curves, each on its own x, put on one: the union of their x, with
 * straight lines between a curve's own points and nothing outside them.
 * @param {{x: number[], y: number[]}[]} curves x growing
 */
export function joined(curves) {
  const x = [...new Set(curves.flatMap((c) => c.x))].sort((a, b) => a - b);
  return { x, ys: curves.map((c) => x.map(along(c))) };
}

/**
 * The value of a curve at x, or null outside it. The places asked for must
 * grow from call to call.
 * @param {{x: number[], y: number[]}} c
 */
export function along({ x: xs, y: ys }) {
  let i = 0;
  return (/** @type {number} */ x) => {
    if (xs.length === 0 || x < xs[0] || x > xs[xs.length - 1]) return null;
    while (i < xs.length - 2 && xs[i + 1] < x) i++;
    if (xs.length === 1 || xs[i] === x) return ys[i];
    const span = xs[i + 1] - xs[i];
    return span === 0 ? ys[i + 1] : ys[i] + ((ys[i + 1] - ys[i]) * (x - xs[i])) / span;
  };
}

/**
 * Crank degrees after the overlap's top dead centre as the trade says them, for
 * the axis of a chart: "30 BTDC", "TDC", "BDC".
 * @param {number} deg
 */
export function axisWords(deg) {
  const near = [-360, -180, 0, 180, 360].find((c) => Math.abs(deg - c) < 0.05);
  if (near !== undefined) return Math.abs(near) === 180 ? "BDC" : "TDC";
  return degrees(deg, Number.isInteger(deg) ? 0 : 1);
}
