// What each fault looks like: lift as it should be and as it is shown then, drawn
// from a few lines of code, and how often it is told. None is to scale; what
// matters is exaggerated.

import { html } from "./ui.js";
import { checked } from "./checked.js";

/** A valve's lift along two openings, 0 to 1, over 0 to 1 of the way. @param {number} x */
export function lobe(x) {
  const u = Math.abs(((x * 2) % 1) - 0.5) / 0.36;
  return u < 1 ? (1 + Math.cos(Math.PI * u)) / 2 : 0;
}

/** Something that is there between two places and nowhere else. @param {number} x @param {number} from @param {number} to */
const within = (x, from, to) => x > from && x < to;

/**
 * @typedef {object} Trouble
 * @property {(x: number, i: number) => number | null} shows what is shown at a place of the way; null where nothing is
 * @property {string} says what the picture shows, for who can not see it
 * @property {"time" | "angle"} [along] what lies along the picture; time
 * @property {string} [simulated] its name for `demo --trouble`
 * @property {string} [tested] its kind in the tests' own workshop
 */

/** @type {Readonly<Record<string, Trouble>>} */
export const troubles = Object.freeze({
  "travel-end": { shows: (x) => Math.min(lobe(x), 0.78), says: "Both noses are cut off flat.", simulated: "cut-nose", tested: "cut nose" },
  "no-contact": { shows: (x) => Math.max(lobe(x) - 0.18, 0), says: "The lift begins late and with a jerk, and the noses are lower.", simulated: "hangs-free", tested: "hangs free" },
  "zero-shift": { shows: (x) => lobe(x) + (x > 0.5 ? 0.14 : 0), says: "After the first opening the heel lies higher, and the second nose too.", simulated: "base-slips", tested: "base slips" },
  "unit-change": { shows: (x) => lobe(x) * (x > 0.3 ? 0.2 : 1), says: "In the midst of an opening the figures become far smaller.", simulated: "unit-switched", tested: "unit switched" },
  "re-zero": { shows: (x) => lobe(x) - (x > 0.32 ? lobe(0.32) : 0), says: "In the midst of a flank the reading jumps to zero, and goes on below it.", simulated: "re-zeroed", tested: "re-zeroed" },
  gap: { shows: (x) => (within(x, 0.28, 0.42) ? null : lobe(x)), says: "A part of an opening is missing.", simulated: "cable-out" },
  "too-fast": { shows: (x) => { const at = (Math.floor(x * 9) + 0.2) / 9; const next = at + 1 / 9; const part = (x - at) * 9; return lobe(at) + (lobe(next) - lobe(at)) * Math.min(Math.max(part, 0), 1); },
    says: "Few readings, joined by straight lines: both noses lie between two of them." },
  "back-turn": { shows: (x) => lobe(within(x, 0.14, 0.22) ? 0.14 - (0.04 - Math.abs(x - 0.18)) * 1.2 : x), says: "On the way up the lift falls for a moment and comes up again." },
  misread: { shows: (x) => lobe(x) + (within(x, 0.345, 0.352) || within(x, 0.695, 0.702) ? 0.34 : 0), says: "Two single readings stick out far above the curve.", simulated: "misread", tested: "misread digit" },
  frozen: { shows: (x) => lobe(within(x, 0.19, 0.29) ? 0.19 : within(x, 0.79, 0.88) ? 0.79 : x), says: "Twice the reading stands still while the valve goes on, then jumps after it.", simulated: "frozen", tested: "frozen" },
  "slow-gauge": { shows: (x) => (lobe(x) + lobe(x - 0.02) + lobe(x - 0.04) + lobe(x - 0.06)) / 4 * 0.99, along: "angle", says: "The whole curve comes later, and its noses are a little lower.", simulated: "slow-gauge", tested: "slow gauge" },
  "late-port": { shows: (x) => lobe(x + 0.035), along: "angle", says: "Against the angle the whole curve comes earlier.", simulated: "late-port", tested: "late port" },
  "encoder-slip": { shows: (x) => lobe(x > 0.5 ? x - 0.05 : x), along: "angle", says: "The first opening lies where it should, the second beside it.", simulated: "encoder-slips", tested: "encoder slips" },
  "encoder-counts": { shows: (x) => lobe(x * 0.9), along: "angle", says: "The curve is stretched: the second nose lies further off than the first.", simulated: "encoder-counts", tested: "encoder counts" },
  "heel-runout": { shows: (x) => lobe(x) + 0.05 * Math.cos(4 * Math.PI * x + 2), says: "The heel goes up and down as the cam turns.", simulated: "heel-runs-out", tested: "heel runs out" },
  bleeding: { shows: (x) => Math.max(lobe(x) - 0.5 * Math.max(((x * 2) % 1) - 0.14, 0) * (lobe(x) > 0 ? 1 : 0), 0), says: "The closing flanks lie lower than they should: the valve sinks while it is open.", simulated: "bleeding", tested: "bleeding" },
  sticking: { shows: (x) => Math.round(lobe(x) * 7) / 7, says: "The curve goes in steps.", simulated: "sticking", tested: "sticking" },
  knock: { shows: (x) => lobe(x) + (x > 0.3 ? 0.3 * Math.exp(-(x - 0.3) * 40) * Math.cos((x - 0.3) * 260) : 0), says: "For a moment the curve swings up and down, then it is where it should be.", simulated: "knock", tested: "knock" },
  "not-counted": { shows: (x) => (x < 0.62 ? lobe(x) : Math.max(lobe(0.62) - 0.25, 0.2)), says: "On the second opening the reading leaps to another height and stays there.", simulated: "tip-off", tested: "tip skates off" },
  "no-repeat": { shows: (x) => lobe(x) + (within(x, 0.47, 0.53) ? 0.55 * Math.min((x - 0.47) / 0.006, (0.53 - x) / 0.006, 1) : 0), says: "Between two openings the reading goes up and down in a moment: a finger lifted the spindle.", simulated: "spindle-lifted", tested: "spindle lifted" },
  "part-turn": { shows: (x) => (x < 0.24 ? lobe(x) : null), says: "The lift rises, and the recording ends before the nose." },
});

const wide = 320, high = 120, points = 320;
const at = (/** @type {number} */ y) => high - 18 - y * 78;

/** A curve as an SVG path; it is broken where there is nothing. @param {(x: number, i: number) => number | null} shows */
export function curve(shows) {
  let path = "", pen = false;
  for (let i = 0; i <= points; i++) {
    const y = shows(i / points, i);
    if (y !== null) path += `${pen ? "L" : "M"}${((i / points) * wide).toFixed(1)} ${at(y).toFixed(1)}`;
    pen = y !== null;
  }
  return path;
}

/** How often it is told, as far as the tests show. @param {string | undefined} kind @returns {string} */
export function howOften(kind) {
  const c = kind === undefined ? undefined : checked[kind];
  if (!c) return "";
  const pair = (/** @type {readonly (number | null)[]} */ [without, with_], /** @type {string} */ many) =>
    without === null ? `${many} ${with_}` : without === with_ ? `${many} ${without}` : `${many} ${without} without a crank encoder and ${with_} with one`;
  const told = c.told.some((n) => n) ? `it is named in ${pair(c.told, "at least")}, and ` : "";
  return `of 100 sessions of the tests with this trouble, ${told}a figure is wrong without a word in ${pair(c.silent, "at most")}.`;
}

/** A fault as it looks. @param {{kind: string}} props */
export function TroublePicture({ kind }) {
  const t = troubles[kind];
  if (!t) return null;
  return html`<figure class="drawing small"><svg viewBox=${`0 0 ${wide} ${high}`} role="img" aria-label=${`${t.says} Dashed: as it should be.`}>
      <path class="axis" d=${curve(lobe)} /><path class="wrong-line" d=${curve(t.shows)} />
      <text x=${wide - 6} y=${high - 4} class="end">${t.along === "angle" ? "crank angle" : "time"}</text></svg>
    <figcaption>${t.says} ${t.simulated ? html`<br /><small>To see it: <code>lobescribe demo --trouble ${t.simulated}</code></small>` : null}</figcaption></figure>`;
}
