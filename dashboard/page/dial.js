// The dial: lift wound up as a spiral. One turn of the spiral is one turn of an
// indicator's needle (0.100 in or 1 mm), so the picture counts turns the way
// the trade does, and half lift is a notch on the winding that the lift grows
// towards. Everything is drawn to scale; nothing depends on colour alone: the
// notch is a bar, the nose a diamond, the heel a square.

import { useMemo } from "./lib/hooks.js";
import { html } from "./ui.js";
import { digits, farDigits, needle, needleTurn } from "./units.js";

const centre = 200, inner = 74, outer = 168, rim = 182;

/**
 * Where a lift stands on a spiral of so many turns.
 * @param {number} turns of the needle, may be a fraction
 * @param {number} all turns that fit
 */
export function onSpiral(turns, all) {
  const r = inner + ((outer - inner) * turns) / all;
  const a = turns * 2 * Math.PI;
  return { x: centre + r * Math.sin(a), y: centre - r * Math.cos(a), r, a };
}

/**
 * The winding from one lift to another as an SVG path.
 * @param {number} from turns
 * @param {number} to turns
 * @param {number} all turns that fit
 */
export function winding(from, to, all) {
  const steps = Math.max(2, Math.ceil(Math.abs(to - from) * 40));
  let path = "";
  for (let i = 0; i <= steps; i++) {
    const { x, y } = onSpiral(from + ((to - from) * i) / steps, all);
    path += `${i ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`;
  }
  return path;
}

/**
 * How many turns the spiral must have for a lift, with a little room; it only
 * ever comes in few sizes, so that it does not jump while the lift grows.
 * @param {number} nm the greatest lift to be shown
 * @param {import("./units.js").Unit} unit
 */
export function turnsFor(nm, unit) {
  const needed = nm / needleTurn(unit) + 0.4;
  return [4, 5, 6, 8, 10, 12, 16, 20, 30].find((n) => n >= needed) ?? Math.ceil(needed);
}

/**
 * How long the winding is up to so many turns, in the drawing's own units: the
 * lift is laid on the whole winding as a dash of that length.
 * @param {number} turns
 * @param {number} all turns that fit
 */
export function wound(turns, all) {
  // r = inner + slope a: the arc is the integral of sqrt(r² + slope²) da.
  const slope = (outer - inner) / all / (2 * Math.PI);
  const part = (/** @type {number} */ r) => (r * Math.hypot(r, slope) + slope ** 2 * Math.log(r + Math.hypot(r, slope))) / (2 * slope);
  return part(inner + slope * turns * 2 * Math.PI) - part(inner);
}

/** @param {{lift: number, half: number, nose: number, unit: import("./units.js").Unit, known: boolean}} props lengths in nanometres; known: a heel and a direction have been found */
export function Dial({ lift, half, nose, unit, known }) {
  const turn = needleTurn(unit);
  const all = turnsFor(Math.max(nose, lift, turn * 3), unit);
  const wide = Math.min(15, ((outer - inner) / all) * 0.62);
  const here = Math.max(0, lift / turn);
  const { turns, rest } = needle(lift, unit);
  const tip = onSpiral(here, all);
  const face = useMemo(() => html`<g>${Array.from({ length: 50 }, (_, i) => tick(i))}${Array.from({ length: 10 }, (_, i) => numeral(i))}</g>`, []); // never drawn again
  const [way, marks] = useMemo(() => [winding(0, all, all), {
    near: half > 0 ? html`<path class="dial-near" d=${winding(Math.max(0, half / turn - 0.3), half / turn, all)} stroke-width=${wide} />` : null,
    nose: nose > 0 ? html`<g class="dial-nose" transform=${turnedTo(nose / turn, all)}>
      <path d=${`M0 ${-wide} L${wide * 0.8} 0 L0 ${wide} L${-wide * 0.8} 0z`} /></g>` : null,
    half: half > 0 ? html`<g class="dial-half" transform=${turnedTo(half / turn, all)}><path d=${`M0 ${-wide * 0.95 - 4}V${wide * 0.95 + 4}`} />
      </g>` : null,
  }], [all, half, nose, turn]);
  const words = known
    ? `Lift ${digits(lift, unit)} ${unit}: ${turns} needle turns and ${farDigits(rest, unit)}.` + (half > 0 ? ` Half lift is at ${digits(half, unit)} ${unit}.` : "")
    : "The heel is not known yet.";
  return html`<svg class="dial" viewBox="0 0 400 400" role="img" aria-label=${words}>
    ${face}
    <path class="dial-track" d=${way} stroke-width=${wide} />
    ${marks.near}
    <path class="dial-wound" d=${way} stroke-width=${wide} stroke-dasharray=${`${wound(Math.max(here, 0.004), all).toFixed(1)} 9999`} />
    ${marks.nose}
    <path class="dial-needle" d=${`M${centre + 60 * Math.sin(tip.a)} ${centre - 60 * Math.cos(tip.a)}L${centre + rim * Math.sin(tip.a)} ${centre - rim * Math.cos(tip.a)}`} />
    <circle class="dial-tip" cx=${tip.x} cy=${tip.y} r=${wide * 0.75 + 2} />
    ${marks.half}
    <g class="dial-count" aria-hidden="true">
      <text x="200" y="196" class="dial-turns">${known ? turns : "–"}</text>
      <text x="200" y="216" class="dial-word">${turns === 1 ? "turn" : "turns"}</text>
      <text x="200" y="240" class="dial-rest">${known ? `+ ${farDigits(rest, unit)}` : ""}</text>
    </g>
  </svg>`;
}

/**
 * @param {number} turns
 * @param {number} all
 */
function turnedTo(turns, all) {
  const { x, y, a } = onSpiral(turns, all);
  return `translate(${x.toFixed(1)} ${y.toFixed(1)}) rotate(${((a * 180) / Math.PI).toFixed(1)})`;
}

/** @param {number} i of fifty */
function tick(i) {
  const a = (i / 50) * 2 * Math.PI, from = i % 5 === 0 ? rim - 8 : rim - 3;
  return html`<path class="dial-tick"
    d=${`M${centre + from * Math.sin(a)} ${centre - from * Math.cos(a)}L${centre + rim * Math.sin(a)} ${centre - rim * Math.cos(a)}`} />`;
}

/** @param {number} i of ten */
function numeral(i) {
  const a = (i / 10) * 2 * Math.PI, r = rim + 11;
  return html`<text class="dial-numeral" x=${centre + r * Math.sin(a)} y=${centre - r * Math.cos(a)}>${i}</text>`;
}
