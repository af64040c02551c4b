// A round with nothing but the wrench in hand: when the openings of a valve agree,
// the page says so and which valve is next, and goes on to it by itself once the
// valve has rested on its heel for a while. Turning on cancels that. It is pure, so
// that each case is a line in a test.

import { shown } from "./state.js";
import { nextValve } from "./engine.js";
import { valveWords } from "./valve.js";
import { fromMm, spokenWith, withUncertainty } from "./units.js";

/** @typedef {import("./state.js").State} State */

/** @param {State} state */
const agreed = (state) => state.link === "up" && !state.replay && Boolean(state.bench.engine) && Boolean(state.engine.agreement?.agree) && (state.engine.agreement?.count ?? 0) >= 2;

/**
 * The valve that comes next, when the openings of the present one agree; "" else. A
 * hands-free round comes to each valve of the order of work once, and is over then.
 * @param {State} state
 */
export function agreedNext(state) {
  const { order, round, bench: { valve } } = state;
  if (!agreed(state) || order.length < 2) return "";
  if (!round) return nextValve(order, valve);
  const at = order.indexOf(valve), ahead = [...order.slice(at + 1), ...order.slice(0, at + 1)];
  return ahead.find((v) => v !== valve && round.left.includes(v)) ?? "";
}

/** Whether the round has come to its last valve and that agrees. @param {State} state */
export const roundDone = (state) => agreed(state) && state.round !== null && state.order.length > 0 && agreedNext(state) === "";

/**
 * The valves a round comes to: those that are still to be measured, or to be
 * measured again; when there are none, all of them once more.
 * @param {import("./engine.js").ValveState[]} valves in the order of work
 */
export function roundOf(valves) {
  const open = valves.filter((v) => v.max_lift_mm === null || v.again);
  return { left: (open.length ? open : valves).map((v) => v.valve) };
}

/**
 * Whether the bench may go on to the next valve as soon as it has rested long enough.
 * @param {State} state
 */
export const mayGoOn = (state) => state.round !== null && agreedNext(state) !== "" && (state.engine.position?.state ?? "heel") === "heel";

/** A crank that turned by more than this did not rest, in millionths of a degree. */
const stirred = 3e6;

/**
 * Watches a valve rest on its heel. On most of its turn a crank that goes on being
 * turned shows the same lift, so that where there is an encoder the crank has to rest.
 * @param {() => {may: boolean, angle: number|undefined, rests: number}} look rests in seconds
 */
export function createRest(look) {
  /** @type {{since: number, angle: number|undefined}|null} */
  let from = null;
  /** Whether it has rested long enough. @param {number} now in milliseconds */
  return (now) => {
    const { may, angle, rests } = look();
    if (!may) from = null;
    else if (!from || (angle !== undefined && Math.abs(angle - (from.angle ?? Infinity)) > stirred)) from = { since: now, angle };
    if (!from || now - from.since < rests * 1000) return false;
    from = null;
    return true;
  };
}

/**
 * What is said when a message made the openings agree, or "".
 * @param {State} before
 * @param {State} after
 */
export function agreedCall(before, after) {
  const a = after.engine.agreement;
  if (!a || !agreed(after) || before.engine.agreement?.agree || before.bench.valve !== after.bench.valve) return "";
  const next = agreedNext(after), says = `${valveWords(after.bench.valve, after.names)} agrees: ${spokenWith(fromMm(a.max_lift_mm), fromMm(a.max_lift_u_mm), after.unit)}.`;
  if (next) return `${says} Next: ${valveWords(next, after.names)}.${after.round ? " Stop, and leave the indicator until I say now." : ""}`;
  return roundDone(after) ? `${says} That was the last one: the round is done.` : "";
}

/**
 * The same in figures, for the sentence on the bench; "" while they do not agree.
 * @param {State} state
 */
export function agreedWords(state) {
  const a = shown(state).agreement, next = agreedNext(state);
  if (!a || !agreed(state) || !(next || roundDone(state))) return "";
  const says = `${a.count} openings agree at ${withUncertainty(fromMm(a.max_lift_mm), fromMm(a.max_lift_u_mm), state.unit)}.`;
  return next ? `${says} Next: ${valveWords(next, state.names)}.` : `${says} The round is done: every valve agrees.`;
}
