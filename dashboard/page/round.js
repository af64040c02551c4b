// A round with nothing but the wrench in hand: when the openings of a valve agree,
// the page says so and which valve is next, and goes on to it by itself once the
// valve has rested on its heel for a while. Turning on cancels that. It is pure, so
// that each case is a line in a test.

import { shown } from "./state.js";
import { nextValve } from "./engine.js";
import { valveWords } from "./valve.js";
import { fromMm, spokenWith, withUncertainty } from "./units.js";

/** How long a valve rests on its heel before the bench goes on, in milliseconds. */
export const rests = 10_000;

/**
 * The valve that comes next, when the openings of the present one agree; "" else.
 * @param {import("./state.js").State} state
 */
export function agreedNext(state) {
  const c = state.engine, a = c.agreement;
  if (state.replay || state.link !== "up" || !a?.agree || a.count < 2 || !state.bench.engine || state.order.length < 2) return "";
  return nextValve(state.order, state.bench.valve);
}

/**
 * Whether the bench may go on to the next valve as soon as it has rested long enough.
 * @param {import("./state.js").State} state
 */
export const mayGoOn = (state) => agreedNext(state) !== "" && (state.engine.position?.state ?? "heel") === "heel";

/**
 * What is said when a message made the openings agree, or "".
 * @param {import("./state.js").State} before
 * @param {import("./state.js").State} after
 */
export function agreedCall(before, after) {
  const next = agreedNext(after), a = after.engine.agreement;
  if (!next || !a || before.engine.agreement?.agree || before.bench.valve !== after.bench.valve) return "";
  return `${valveWords(after.bench.valve)} agrees: ${spokenWith(fromMm(a.max_lift_mm), fromMm(a.max_lift_u_mm), after.unit)}. Next: ${valveWords(next)}.`;
}

/**
 * The same in figures, for the sentence on the bench; "" while they do not agree.
 * @param {import("./state.js").State} state
 */
export function agreedWords(state) {
  const next = agreedNext(state), a = shown(state).agreement;
  return next && a ? `${a.count} openings agree at ${withUncertainty(fromMm(a.max_lift_mm), fromMm(a.max_lift_u_mm), state.unit)}. Next: ${valveWords(next)}.` : "";
}
