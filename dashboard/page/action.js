// The one thing to press at the bench: what the present step asks for. It is
// pure, so that each case is a line in a test.

import { shown, whyLeftOut } from "./state.js";

/**
 * @typedef {{name: string, act: import("./prefs.js").KeyAction, why: string}} Action
 * @param {import("./state.js").State} state
 * @returns {Action|null} null where nothing can be pressed: in a replay, or without the daemon
 */
export function nextAction(state) {
  if (state.replay || state.link !== "up" || !state.devices.indicator) return null;
  const c = shown(state), a = c.agreement, last = c.openings.at(-1);
  const home = !c.position || c.position.state === "heel";
  if (home && a && a.agree && state.bench.engine) return { name: "Next valve", act: "next", why: `${a.count} openings agree` };
  if (home && a && last && a.count > 2 && !whyLeftOut(c, last) && a.each.at(-1)?.beyond) return { name: "Leave out", act: "scratch", why: "the last opening does not agree with the others" };
  return { name: "Mark", act: "mark", why: "" };
}

/** How far a length moves with one press: what a hand can feel. @type {Record<"in"|"mm", number>} */
export const steps = { in: 25_400, mm: 20_000 };

/**
 * A length one press farther, on a whole number of steps.
 * @param {number|null} nm
 * @param {1|-1} way
 * @param {"in"|"mm"} unit
 */
export const stepped = (nm, way, unit) => (Math.round((nm ?? 0) / steps[unit]) + way) * steps[unit];
