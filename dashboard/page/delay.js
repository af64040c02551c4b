// The delay between two ports: when there is one to measure, and the result in
// words.

import { degrees } from "./units.js";

/** @typedef {{lag_s: number, u_s: number, says: string, speed_deg: number, turns: number, readings: number}} DelayResult */

/** The port of an address, without the words that set it up. @param {string} address */
const port = (address) => address.split("?")[0];

/**
 * Whether indicator and encoder stand on ports of their own: on one line there
 * is no delay between them.
 * @param {Record<string, import("./state.js").Device>} devices
 */
export const onTwoPorts = ({ indicator, encoder }) => Boolean(indicator && encoder && port(indicator.address) !== port(encoder.address));

/**
 * From here on a delay is doubted, in seconds: ports and converters bring some
 * tens of milliseconds (common practice, no source).
 */
const long = 0.1;

/** @param {number} s */
const ms = (s) => `${(s * 1000).toFixed(1)} ms`;

/**
 * Which of the two is late and by how much: "23.4 ms ± 1.2 ms", and what that
 * is of crank at a hand's usual speed.
 * @param {DelayResult} r
 */
export function delayWords(r) {
  const certain = Math.abs(r.lag_s) > r.u_s;
  return {
    figure: `${ms(Math.abs(r.lag_s))} ± ${ms(r.u_s)}`,
    who: !certain ? "too little to be told from nothing, and not worth keeping" : r.lag_s > 0 ? "the indicator comes later than the encoder" : "the encoder comes later than the indicator",
    long: Math.abs(r.lag_s) > long,
    crank: `At 60 degrees a second that is ${degrees(Math.abs(r.lag_s) * 60, 2)} of crank.`,
  };
}
