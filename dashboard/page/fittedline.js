// Trials against their stacks, the line that geometry and trials together make,
// and the stack at which it meets zero: where the rocker is square.

import { html } from "./ui.js";
import { digits } from "./units.js";

const w = 520, h = 250, left = 62, right = 16, top = 14, bottom = 40;

/**
 * @param {{trials: {stack: number, below: number}[], wanted: number, wantedU: number, shows: number, slope: number, unit: import("./units.js").Unit, disagree: number[]}} props lengths in nanometres; shows is the height difference of a square rocker, 0 for a straight one
 */
export function FittedLine({ trials, wanted, wantedU, shows, slope, unit, disagree }) {
  const xs = [...trials.map((t) => t.stack), wanted - wantedU, wanted + wantedU], ys = [...trials.map((t) => t.below), 0, shows];
  const room = (/** @type {number[]} */ v) => Math.max((Math.max(...v) - Math.min(...v)) * 0.12, 50_000);
  const x0 = Math.max(0, Math.min(...xs) - room(xs)), x1 = Math.max(...xs) + room(xs), y0 = Math.min(...ys) - room(ys), y1 = Math.max(...ys) + room(ys);
  const x = (/** @type {number} */ v) => left + ((v - x0) / (x1 - x0)) * (w - left - right), y = (/** @type {number} */ v) => h - bottom - ((v - y0) / (y1 - y0)) * (h - top - bottom);
  const line = (/** @type {number} */ stack) => shows + slope * (stack - wanted);
  const few = { decimals: unit === "in" ? 3 : 2 };
  return html`<figure class="fitted">
    <svg viewBox=${`0 0 ${w} ${h}`} role="img"
      aria-label=${`Height difference against stack, ${trials.length} trials; the rocker is square at ${digits(wanted, unit)} ${unit}.`}>
    <clipPath id="fitted-box"><rect x=${left} y=${top} width=${w - left - right} height=${h - top - bottom} /></clipPath>
    <rect class="fitted-u" x=${x(wanted - wantedU)} y=${top} width=${Math.max(1, x(wanted + wantedU) - x(wanted - wantedU))} height=${h - top - bottom} />
    <path class="fitted-zero" d=${`M${left} ${y(0)}H${w - right}`} />
    <path class="fitted-line" clip-path="url(#fitted-box)" d=${`M${x(x0)} ${y(line(x0))}L${x(x1)} ${y(line(x1))}`} />
    ${trials.map((t, i) => (disagree.includes(i)
      ? html`<path class="fitted-off" d=${`M${x(t.stack) - 6} ${y(t.below) - 6}l12 12m0 -12l-12 12`} />`
      : html`<circle class="fitted-trial" cx=${x(t.stack)} cy=${y(t.below)} r="6" />`))}
    ${trials.map((t, i) => html`<text x=${x(t.stack) + 10} y=${y(t.below) - 6}>${i + 1}</text>`)}
    <path class="fitted-wanted" d=${`M${x(wanted)} ${y(shows) - 9}l8 9l-8 9l-8 -9z`} />
    <path class="fitted-axis" d=${`M${left} ${top}V${h - bottom}H${w - right}`} />
    ${[x0, (x0 + x1) / 2, x1].map((v, i) => html`<text text-anchor=${["start", "middle", "end"][i]} x=${x(v)} y=${h - bottom + 16}>
      ${digits(v, unit, few)}</text>`)}
    ${[y0, y1].map((v) => html`<text text-anchor="end" x=${left - 6} y=${y(v) + 4}>
      ${digits(v, unit, few)}</text>`)}<text text-anchor="end" x=${left - 6} y=${y(0) + 4}>0</text>
    <text text-anchor="middle" x=${(left + w - right) / 2} y=${h - 6}>stack, ${unit}</text>
  </svg><figcaption>Adjuster end below valve end at half lift, ${unit}. Discs are trials, crosses those that disagree, the diamond is the stack wanted with its uncertainty.</figcaption></figure>`;
}
