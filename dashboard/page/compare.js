// Traces laid over each other: one opening of each, set to one zero and lined
// up at the middle between their half lifts, at the nose (which is flat, so that noise
// moves it), at half lift, or by crank angle as it is. What is returned is
// ready to be drawn.

import { along, joined } from "./timing.js";

/** @typedef {"flanks"|"nose"|"half"|"angle"} Align */

/**
 * One opening of a trace, above its heel.
 * @typedef {object} Lifted
 * @property {string} name
 * @property {number[]} t seconds, growing
 * @property {number[]|null} angle degrees, or null without an encoder
 * @property {number[]} lift nanometres above the heel
 * @property {import("./state.js").Opening} opening
 */

/**
 * @param {{t_us: number[], min_nm: number[], max_nm: number[], angle_udeg?: number[]}} series
 * @param {import("./state.js").Opening} opening
 * @param {number} sign of the findings: +1 where the reading grows as the valve opens, else -1
 * @param {string} name
 * @returns {Lifted}
 */
export function lifted(series, opening, sign, name) {
  const heel = opening.heel_mm * 1e6;
  return {
    name, opening,
    t: series.t_us.map((us) => us / 1e6),
    angle: series.angle_udeg ? series.angle_udeg.map((u) => u / 1e6) : null,
    lift: series.min_nm.map((low, i) => sign * ((low + series.max_nm[i]) / 2 - heel)),
  };
}

/**
 * Whether two max lifts differ by more than both uncertainties explain, as
 * capture/agree judges it: E_n of ISO 13528 over 1.
 * @param {{max_lift_mm: number, max_lift_u_mm: number}} a
 * @param {{max_lift_mm: number, max_lift_u_mm: number}} b
 */
export const differs = (a, b) => Math.abs(a.max_lift_mm - b.max_lift_mm) > Math.hypot(a.max_lift_u_mm, b.max_lift_u_mm);

/**
 * Whether all of them can be laid over each other in crank degrees.
 * @param {Lifted[]} all
 */
export const haveAngles = (all) => all.length > 0 && all.every((l) => l.angle !== null && l.opening.nose_angle_deg !== undefined);

/**
 * A curve against its place in the opening. In crank degrees a turn back makes
 * x run backwards; only progress counts, or lash in the drive would show.
 * @param {Lifted} l
 * @param {Align} align
 * @param {boolean} inDegrees
 * @returns {{x: number[], y: number[]}}
 */
export function placed(l, align, inDegrees) {
  const o = l.opening;
  const xs = inDegrees && l.angle ? l.angle : l.t;
  const zero = inDegrees
    ? align === "flanks" ? ((o.opening_half.angle_deg ?? 0) + (o.closing_half.angle_deg ?? 0)) / 2 : align === "angle" ? whole(o.nose_angle_deg ?? 0) : align === "half" ? o.opening_half.angle_deg ?? 0 : o.nose_angle_deg ?? 0
    : align === "flanks" ? (o.opening_half.t_s + o.closing_half.t_s) / 2 : align === "half" ? o.opening_half.t_s : o.t_nose_s;
  const way = inDegrees && xs.length > 1 && xs[xs.length - 1] < xs[0] ? -1 : 1;
  /** @type {{x: number[], y: number[]}} */
  const out = { x: [], y: [] };
  let farthest = -Infinity;
  for (let i = 0; i < xs.length; i++) {
    const x = way * (xs[i] - zero);
    if (x <= farthest) continue;
    farthest = x;
    out.x.push(x);
    out.y.push(l.lift[i]);
  }
  return out;
}

/** The whole cycles before an angle, so that different cycles of an engine fall on one another. */
const whole = (/** @type {number} */ deg) => Math.floor(deg / 720) * 720;

/**
 * All of them on one x, and every one's difference from the first.
 * @param {Lifted[]} all
 * @param {Align} align
 * @param {boolean} inDegrees
 */
export function overlay(all, align, inDegrees) {
  const curves = all.map((l) => thinned(placed(l, align, inDegrees), 1200));
  const { x, ys } = joined(curves);
  const first = along(curves[0] ?? { x: [], y: [] });
  const base = x.map((v) => first(v));
  const differences = ys.slice(1).map((y) => y.map((v, i) => (v === null || base[i] === null ? null : v - /** @type {number} */ (base[i]))));
  return { x, ys, differences };
}

/**
 * Every so many points of a curve, ends included.
 * @param {{x: number[], y: number[]}} c
 * @param {number} most
 */
function thinned(c, most) {
  const step = Math.ceil(c.x.length / most);
  if (step <= 1) return c;
  const keep = (/** @type {number} */ _v, /** @type {number} */ i) => i % step === 0 || i === c.x.length - 1;
  return { x: c.x.filter(keep), y: c.y.filter(keep) };
}
