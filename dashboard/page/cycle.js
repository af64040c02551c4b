// Where in its opening the valve is: a hill whose left side is the opening
// flank and whose right side is the closing one, and a ball that rolls over it.
// With an encoder the crank angle stands beside it.

import { useMemo } from "./lib/hooks.js";
import { html } from "./ui.js";
import { degrees, inCycle } from "./units.js";
import { stateWords } from "./cues.js";

const left = 40, right = 280, base = 88, top = 16;

/** Height of the hill, 0 to 1, at x from -1 to 1: a cycloidal rise and fall. */
const hill = (/** @type {number} */ x) => {
  const t = 1 - Math.min(1, Math.abs(x));
  return t - Math.sin(2 * Math.PI * t) / (2 * Math.PI);
};

/**
 * Where on the hill a lift is, from -1 (leaving the heel) to 1 (home again).
 * @param {"heel"|"opening"|"nose"|"closing"} state
 * @param {number} part of the max lift, 0 to 1
 */
export function alongHill(state, part) {
  if (state === "heel") return -1.12;
  let low = 0, high = 1; // |x| by bisection: hill falls with |x|
  const wanted = Math.min(1, Math.max(0, part));
  for (let i = 0; i < 30; i++) {
    const middle = (low + high) / 2;
    if (hill(middle) > wanted) low = middle;
    else high = middle;
  }
  return state === "closing" ? low : -low;
}

const px = (/** @type {number} */ x) => (left + right) / 2 + (x * (right - left)) / 2;
const py = (/** @type {number} */ y) => base - y * (base - top);
const outline = Array.from({ length: 81 }, (_, i) => {
  const x = -1 + i / 40;
  return `${i ? "L" : "M"}${px(x).toFixed(1)} ${py(hill(x)).toFixed(1)}`;
}).join("");
const halfway = 0.5;

/** @param {{position: import("./state.js").Position|null, angle_udeg?: number}} props */
export function CyclePicture({ position, angle_udeg }) {
  const state = position?.state ?? "heel";
  const whole = position ? Math.max(position.nose_nm, 2 * position.half_nm) : 0;
  const part = position && whole > 0 ? position.lift_nm / whole : state === "heel" ? 0 : 0.3;
  const x = Math.round(alongHill(state, part) * 250) / 250; // no eye sees less
  const angle = angle_udeg === undefined ? "" : degrees(inCycle(angle_udeg / 1e6), 1);
  return html`<figure class="cycle">
    <svg viewBox="0 0 320 112" role="img" aria-label=${`The valve is on the ${stateWords[state]}${angle ? `, crank at ${angle}` : ""}.`}>
      ${useMemo(() => html`<g><path class="cycle-ground" d=${`M4 ${base}H${left} ${outline.replace("M", "L")} H316`} />
      <path class="cycle-half" d=${`M${px(-halfway)} ${py(0.5) - 12}v24M${px(halfway)} ${py(0.5) - 12}v24`} />
      <text x="4" y="106">heel</text><text x="92" y="106">opening</text><text x="182" y="106">closing</text>
        <text x="316" y="106" text-anchor="end">heel</text></g>`, [])}
      ${position ? html`<circle class="cycle-ball" cx=${px(x)} cy=${py(state === "heel" ? 0 : hill(x)) - 8} r="8" />` : null}
    </svg>
    ${angle ? html`<figcaption>crank <strong>${angle}</strong></figcaption>` : null}
  </figure>`;
}
