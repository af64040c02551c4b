// What a shop of many benches is told in words and figures: how a bench stands
// with its shop, which engines are of one type, and where their lifts lie.

import { when } from "./units.js";

/**
 * How the telling of the shop stands, as the daemon says it.
 * @typedef {object} Outbox
 * @property {string} bench
 * @property {string} server
 * @property {boolean} connected
 * @property {string} [cut_off_since]
 * @property {number} waiting
 * @property {string} [since] since when the oldest of them waits
 * @property {number} sent
 * @property {string} [last_sent]
 * @property {string[]} [set_aside]
 * @property {string} [says]
 * @property {string} [next_try]
 *
 * @typedef {{server: string, connected: boolean, applied: number, behind: number, says?: string}} Reader
 * @typedef {{name: string, first: string, last: string, traces: number, readings: number, documents: number, repeats?: number, refused?: number, held_bytes?: number}} BenchEntry
 * @typedef {{id: string, name?: string, type?: string, benches: string[], last: string, card: boolean, valves: number, measured: number, traces: number}} ShopEngine
 * @typedef {{ref: {origin: string, name: string}, bench: string, name?: string, type?: string, local?: string, last: string}} Offer
 *
 * @typedef {{engine: string, trace: number, max_lift_mm: number, max_lift_u_mm: number, off_mm: number, outlier: boolean}} Member
 * @typedef {{valve: string, count: number, median_mm: number, spread_mm: number, spread_u_mm: number, least_mm: number, members: Member[]}} ValveSpread
 * @typedef {{type: string, engines: string[], valves: ValveSpread[]}} Spread
 */

/** How often a screen asks how it stands, in milliseconds. */
export const askEvery = 4000;

/**
 * How long ago something was, as a person says it.
 * @param {string} iso
 * @param {number} now milliseconds
 */
export function ago(iso, now) {
  const s = (now - Date.parse(iso)) / 1000;
  if (!Number.isFinite(s)) return iso;
  if (s < 90) return s < 10 ? "just now" : `${Math.round(s)} s ago`;
  if (s < 90 * 60) return `${Math.round(s / 60)} min ago`;
  if (s < 36 * 3600) return `${Math.round(s / 3600)} h ago`;
  return when(iso);
}

/**
 * One line about a bench's outbox. A bench that is cut off is not in trouble:
 * what is recorded waits.
 * @param {Outbox} o
 * @param {number} now milliseconds
 * @returns {{says: string, shape: string, kind: string}}
 */
export function outboxLine(o, now) {
  const waiting = o.waiting === 0 ? "nothing waits" : `${o.waiting.toLocaleString("en")} waiting`;
  const last = o.last_sent ? `, last sent ${ago(o.last_sent, now)}` : "";
  if (o.connected) return { says: `Shop: ${waiting}${last}.`, shape: "check", kind: "good" };
  if (o.cut_off_since) return { says: `Shop: ${waiting}, cut off since ${when(o.cut_off_since)}${last}.`, shape: "triangle", kind: "" };
  return { says: `Shop: ${waiting}, not reached yet${last}.`, shape: "ring", kind: "wait" };
}

/**
 * One line about how far the record of a shop has come.
 * @param {Reader} r
 * @returns {{says: string, shape: string, kind: string}}
 */
export function readerLine(r) {
  if (!r.connected) return { says: r.says ? `Cut off from the shop's server: ${r.says}` : "The shop's server is not reached yet.", shape: "triangle", kind: "" };
  if (r.behind > 0) return { says: `Reading: ${r.behind.toLocaleString("en")} messages are still to come.`, shape: "ring", kind: "wait" };
  return { says: "Everything that the benches told is here.", shape: "check", kind: "good" };
}

/** What people write by hand is one type however it is spaced. @param {string|undefined} type */
const sameWord = (type) => (type ?? "").trim().replace(/\s+/g, " ").toLowerCase();

/**
 * Engines by type, those without one last.
 * @param {ShopEngine[]} engines
 * @returns {{type: string, engines: ShopEngine[]}[]}
 */
export function byType(engines) {
  /** @type {Map<string, {type: string, engines: ShopEngine[]}>} */
  const groups = new Map();
  for (const e of engines) {
    const key = sameWord(e.type), group = groups.get(key);
    if (group) group.engines.push(e);
    else groups.set(key, { type: (e.type ?? "").trim(), engines: [e] });
  }
  return [...groups].sort(([a], [b]) => (a === "" ? 1 : b === "" ? -1 : a.localeCompare(b))).map(([, g]) => g);
}

/**
 * Half the width of the scale on which all valves of a type are drawn, in
 * millimetres: the farthest from its median with its uncertainty, and a little.
 * @param {Spread} spread
 */
export function reach(spread) {
  let most = 0;
  for (const v of spread.valves) for (const m of v.members) most = Math.max(most, Math.abs(m.off_mm) + m.max_lift_u_mm, v.least_mm);
  return most * 1.08 || 0.1;
}

/**
 * Round marks on a scale from -reach to reach, in its own unit.
 * @param {number} far
 */
export function marks(far) {
  const rough = far / 2, ten = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((k) => k * ten).filter((k) => k <= rough).at(-1) ?? ten;
  const n = Math.floor(far / step + 1e-9);
  return Array.from({ length: 2 * n + 1 }, (_, i) => (i - n) * step);
}

/**
 * Where each engine stands out, by engine.
 * @param {Spread} spread
 * @returns {Map<string, string[]>}
 */
export function oddOnes(spread) {
  /** @type {Map<string, string[]>} */
  const odd = new Map();
  for (const v of spread.valves) for (const m of v.members) if (m.outlier) odd.set(m.engine, [...(odd.get(m.engine) ?? []), v.valve]);
  return odd;
}

/** Why nobody stands out among so few. @param {number} count */
export const fewWords = (count) => (count < 2 ? "one engine only" : count < 3 ? "two cannot say which is odd" : "");
