// What the page knows of an engine as it is stored, and how its valves stand.
// The order of work and what is missing come from the daemon.

import { cylinderOf } from "./valve.js";

/** @typedef {{intake: number, exhaust: number}} ForValves */
/**
 * An engine as the daemon keeps it; unset values are absent.
 * @typedef {object} Engine
 * @property {string} id
 * @property {number} [rev]
 * @property {string} [name]
 * @property {string} [type] what builds of one kind have in common
 * @property {number} cylinders
 * @property {"inline"|"vee"|"flat"|"single"} [layout]
 * @property {number} valves_per_cylinder
 * @property {number[]} [firing_order]
 * @property {string[][]} [heads] the valves along each head, front first
 * @property {"clockwise"|"anticlockwise"} [rotation]
 * @property {ForValves} rocker_ratio
 * @property {number} [rocker_arm_mm]
 * @property {number} [adjuster_arm_mm]
 * @property {number|null} [ball_above_line_mm]
 * @property {number} [stroke_mm]
 * @property {number} [rod_mm]
 * @property {import("./tdc.js").TopDeadCentre} [tdc] of cylinder 1
 * @property {Record<string, number|undefined>} cam_card
 * @property {Record<string, number|undefined>} limits
 * @property {"in"|"mm"} [units]
 * @property {{thickness_mm: number, count: number}[]} [shims_on_hand]
 * @property {string[]} [order]
 * @property {import("./valve.js").OwnNames} [valve_names]
 * @property {{material?: string, diameter_mm?: number, wall_mm?: number, ends?: string, ball_diameter_mm?: number}} pushrod
 * @property {string} [notes]
 *
 * @typedef {{valve: string, own?: string, traces: number, trials: number, max_lift_mm: number|null, max_lift_u_mm?: number, off_mm?: number, beyond?: boolean, again?: string, trace?: number, missing: string[]}} ValveState
 * @typedef {{id: string, rev: number, engine: string, valve: string, at: string, stack_mm?: number[], pushrod_length_mm?: number, lash_mm?: number, adjuster_below_valve_mm?: number|null, sweep_mm?: number|null, open_vs_closed_mm?: number|null, max_lift_mm?: number|null, traces?: number[], remark?: string}} Trial
 */

/** @returns {Omit<Engine, "id">} */
export const blankEngine = () => ({
  name: "", cylinders: 4, layout: "inline", valves_per_cylinder: 2, rocker_ratio: { intake: 0, exhaust: 0 }, cam_card: {}, limits: {}, pushrod: {},
});

export { cylinderOf, sideOf } from "./valve.js";

/**
 * The valve after this one, round and round.
 * @param {string[]} order
 * @param {string} valve
 */
export const nextValve = (order, valve) => (order.length ? order[(order.indexOf(valve) + 1) % order.length] : "");

/**
 * The rows in which an engine's cylinders stand, front of the engine first. Where
 * nobody said how its heads lie, a vee and a flat engine are drawn with odd numbers
 * on one side and even ones on the other, which is the commonest way of numbering;
 * the drawing says so.
 * @param {{layout?: string, cylinders: number, heads?: string[][]}} engine
 * @returns {number[][]}
 */
export function banks({ layout, cylinders, heads }) {
  if (heads?.length) return heads.map((head) => [...new Set(head.map(cylinderOf))]);
  const all = Array.from({ length: cylinders }, (_, i) => i + 1);
  if ((layout === "vee" || layout === "flat") && cylinders > 1) return [all.filter((n) => n % 2 === 1), all.filter((n) => n % 2 === 0)];
  return [all];
}

/**
 * The names of an engine's valves, cylinder by cylinder: "3I" and "3E", or
 * "3I1", "3I2" where there are several of a kind. An odd one more is an intake.
 * @param {{cylinders: number, valves_per_cylinder: number}} engine
 */
export function valveNames({ cylinders, valves_per_cylinder: each }) {
  const exhausts = Math.floor(each / 2);
  const some = (/** @type {string} */ stem, /** @type {number} */ n) => (n === 1 ? [stem] : Array.from({ length: n }, (_, i) => `${stem}${i + 1}`));
  return Array.from({ length: cylinders }, (_, i) => [...some(`${i + 1}I`, each - exhausts), ...some(`${i + 1}E`, exhausts)]).flat();
}

/**
 * The engine without own names of valves that it has no more.
 * @template {{cylinders: number, valves_per_cylinder: number, valve_names?: import("./valve.js").OwnNames}} E
 * @param {E} engine
 * @returns {E}
 */
export function ownNamed(engine) {
  if (!engine.valve_names) return engine;
  const all = valveNames(engine), left = Object.entries(engine.valve_names).filter(([v, own]) => own && all.includes(v));
  return { ...engine, valve_names: left.length ? Object.fromEntries(left) : undefined };
}

/**
 * A cylinder's valves as they stand along its head; as they are named where nobody said.
 * @template {{valve: string}} V
 * @param {V[]} valves
 * @param {{heads?: string[][]}} engine
 * @returns {V[]}
 */
export function alongHead(valves, { heads }) {
  const all = (heads ?? []).flat();
  return all.length ? [...valves].sort((a, b) => all.indexOf(a.valve) - all.indexOf(b.valve)) : valves;
}

/**
 * How far a valve has come: nothing, something, everything.
 * @param {ValveState} v
 * @returns {"nothing"|"part"|"whole"}
 */
export const progress = (v) => (v.missing.length === 0 ? "whole" : v.traces + v.trials === 0 ? "nothing" : "part");

/**
 * A value deep in a document, by a path like "cam_card.io_btdc_deg".
 * @param {any} doc
 * @param {string} path
 */
export const getAt = (doc, path) => path.split(".").reduce((part, name) => part?.[name], doc);

/**
 * The document with one value changed; nothing given is altered.
 * @template T
 * @param {T} doc
 * @param {string} path
 * @param {any} value
 * @returns {T}
 */
export function setAt(doc, path, value) {
  const [name, ...rest] = path.split(".");
  const next = /** @type {any} */ ({ ...doc });
  next[name] = rest.length ? setAt(next[name] ?? {}, rest.join("."), value) : value;
  if (value === undefined && !rest.length) delete next[name];
  return next;
}
