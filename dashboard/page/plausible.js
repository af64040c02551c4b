// What a length can be on an engine, by what it is of. A wrong unit or a lost
// point is found where it is typed: 15 in is no shim. The daemon refuses what lies
// outside of capture/worksheet's bounds; these lie within them (a test holds them
// there), so that nothing is typed here that every calculation would refuse later.

import { length, nanometres } from "./units.js";

/**
 * @typedef {{least: number, most: number, what: string}} Bounds of a length in millimetres
 */

/** @type {Record<string, Bounds>} */
export const kinds = {
  shim: { least: 0.01, most: 15, what: "a shim" },
  lash: { least: 0, most: 3, what: "a lash" },
  lift: { least: 0.8, most: 60, what: "a max lift" },
  checking: { least: 0.01, most: 20, what: "a checking lift" },
  height: { least: -60, most: 60, what: "a height between the rocker's ends" },
  off: { least: -30, most: 30, what: "a distance off a line" },
  sweep: { least: 0, most: 25, what: "a sweep" },
  pushrod: { least: 25, most: 1000, what: "a pushrod" },
  arm: { least: 8, most: 200, what: "an arm of a rocker" },
  stroke: { least: 15, most: 800, what: "a stroke" },
  rod: { least: 25, most: 2000, what: "a connecting rod" },
  diameter: { least: 0.5, most: 150, what: "a diameter" },
  ball: { least: 2, most: 40, what: "a ball" },
  hole: { least: 1, most: 40, what: "a gauging ring's hole" },
  coil: { least: 5, most: 150, what: "a spring's coil" },
  slot: { least: 2, most: 150, what: "a slot or stud" },
  port: { least: 3, most: 250, what: "a diameter of a port" },
  stem: { least: 1, most: 40, what: "a stem" },
  wall: { least: 0.1, most: 25, what: "a wall" },
  gap: { least: 0.01, most: 60, what: "a clearance" },
  move: { least: -60, most: 60, what: "a change of height" },
  thread: { least: 0, most: 75, what: "a thread" },
  preload: { least: 0, most: 10, what: "a preload" },
  step: { least: 0.001, most: 5, what: "a step to cut to" },
  piece: { least: 1, most: 200, what: "an end piece" },
  block: { least: 5, most: 2000, what: "a length between lifter and rocker" },
  spring: { least: 8, most: 300, what: "a spring's height" },
  wire: { least: 0.5, most: 20, what: "a spring's wire" },
  bore: { least: 10, most: 800, what: "a bore" },
  radius: { least: 1, most: 200, what: "a radius of a pad" },
  drop: { least: 0.05, most: 200, what: "a drop of the piston" },
};

/** Which of them stands at a place of a document, by the end of its path. @type {Record<string, keyof typeof kinds>} */
export const places = {
  stroke_mm: "stroke", rod_mm: "rod", rocker_arm_mm: "arm", adjuster_arm_mm: "arm", valve_arm_mm: "arm",
  "pushrod.diameter_mm": "diameter", "pushrod.wall_mm": "wall", ball_diameter_mm: "ball", gauge_diameter_mm: "hole", stud_diameter_mm: "slot", outer_diameter_mm: "coil",
  checking_lift_mm: "checking", max_lift_intake_mm: "lift", max_lift_exhaust_mm: "lift", lift_mm: "lift",
  lash_intake_mm: "lash", lash_exhaust_mm: "lash", hot_lash_mm: "lash", curve_lash_mm: "lash",
  piston_to_valve_intake_mm: "gap", piston_to_valve_exhaust_mm: "gap", coil_bind_mm: "gap", retainer_mm: "gap", rocker_mm: "gap", square_mm: "shim", card_lift_mm: "gap", ball_above_line_mm: "off", open_vs_closed_mm: "off", closed_gap_mm: "gap", measured_clearance_mm: "gap",
  "ends.length_mm": "piece", press_depth_mm: "piece", stack_change_mm: "move", adjuster_down_mm: "move", thread_left_mm: "thread", preload_mm: "preload", step_mm: "step",
  "lash.stack_mm": "block", "lash.case_mm": "block", "lash.above_mm": "block", "lash.stem_mm": "block", cup_mm: "piece",
  bore_mm: "bore", rocker_tip_radius_mm: "radius", head_mm: "port", throat_mm: "port", stem_mm: "stem", seat_width_mm: "wall",
  installed_height_mm: "spring", solid_height_mm: "spring", free_length_mm: "spring", wire_mm: "wire",
  slot_length_mm: "slot", "slot.height_mm": "move",
};

/**
 * The kind at a path like "cam_card.lash_intake_mm", or undefined.
 * @param {string} path
 * @returns {keyof typeof kinds|undefined}
 */
export function kindAt(path) {
  const names = path.split(".");
  for (let n = names.length; n > 0; n--) {
    const kind = places[names.slice(-n).join(".")];
    if (kind) return kind;
  }
  return undefined;
}

/**
 * What is wrong with a length of a kind, in words; "" when nothing is. Where
 * another reading of the same digits would fit, it is offered.
 * @param {number} nm
 * @param {string|undefined} kind
 * @param {import("./units.js").Unit} unit
 */
export function implausible(nm, kind, unit) {
  const bounds = kind === undefined ? undefined : kinds[kind];
  if (!bounds || within(nm, bounds)) return "";
  const few = (/** @type {number} */ mm) => length(mm * 1e6, unit, { decimals: unit === "in" ? (mm < 0.5 ? 4 : 2) : mm < 1 ? 2 : 0 });
  const bound = bounds.least > 0 && nm < bounds.least * 1e6 ? `is at least ${few(bounds.least)}` : nm < 0 && bounds.least === 0 ? "is not below zero" : `is at most ${few(bounds.most)}`;
  return `${length(nm, unit)} is out of reason: ${bounds.what} ${bound}.${meant(nm, bounds, unit)}`;
}

/** @param {number} nm @param {Bounds} b */
const within = (nm, { least, most }) => nm >= least * 1e6 && nm <= most * 1e6;

/**
 * The same digits in another unit, if that would be one.
 * @param {number} nm
 * @param {Bounds} bounds
 * @param {import("./units.js").Unit} unit
 */
function meant(nm, bounds, unit) {
  const digits = nm / nanometres[unit];
  const others = /** @type {("thou"|"mm"|"in")[]} */ (unit === "in" ? ["thou", "mm"] : ["in", "thou"]);
  const fits = others.filter((u) => nm !== 0 && within(digits * nanometres[u], bounds));
  return fits.length ? ` Was it ${fits.map((u) => `${Number(digits.toPrecision(9))} ${u}`).join(" or ")}? Then write that.` : "";
}
