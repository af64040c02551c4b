// Engines of one type against each other: max lift of every valve, each
// engine's distance from the median with its uncertainty, all on one scale.

import { html, Mark, Nothing, Trouble, useApp, useFetched, usePart } from "../ui.js";
import { valveWords } from "../cues.js";
import { fewWords, marks, oddOnes, reach } from "../shop.js";
import { digits, fromMm, length, nanometres, withUncertainty } from "../units.js";
import { query } from "../api.js";

/** @param {{type: string}} props */
export function SpreadView({ type }) {
  const app = useApp();
  const unit = usePart(app.store, (s) => s.unit);
  const { value, error } = useFetched((signal) => app.api.get(`/spread${query({ type })}`, signal), [type]);
  const spread = /** @type {import("../shop.js").Spread|undefined} */ (value);
  const back = html`<p class="back"><a href="#/shop">The shop</a></p>`;
  if (!spread) return html`${back}<h1>${type}</h1><${Trouble} text=${error} />`;
  const odd = oddOnes(spread);
  const far = reach(spread);
  return html`${back}<h1>${type} <small>${spread.engines.length} ${spread.engines.length === 1 ? "engine" : "engines"}</small></h1><${Trouble} text=${error} />
    ${spread.valves.length === 0 ? html`<${Nothing} says="No valve of these engines has a max lift yet." href="#/shop" label="Back to the shop" />` : html`
    <p class="lead">${odd.size === 0 ? html`<${Mark} shape="check" kind="good" /> None of them stands out.`
      : html`<${Mark} shape="triangle" kind="bad" /> ${odd.size === 1 ? "One engine stands out" : `${odd.size} engines stand out`}: ${[...odd].map(([e, valves]) => `${e} at ${valves.map((v) => valveWords(v)).join(", ").toLowerCase()}`).join("; ")}.`}</p>
    <ol class="spread-rows">${spread.valves.map((v) => html`<${ValveRow} key=${v.valve} of=${v} far=${far} unit=${unit} />`)}</ol>
    <p class="hint">Newest max lift of each engine. A dot is an engine, the bar through it its uncertainty (k = 2); the line is the median, the band what a difference must come to before it is worth a word. An engine stands out when it is more than 3.5 robust standard deviations off and outside the band, and only among three or more.</p>`}`;
}

/** @param {{of: import("../shop.js").ValveSpread, far: number, unit: import("../units.js").Unit}} props */
function ValveRow({ of: v, far, unit }) {
  const odd = v.members.filter((m) => m.outlier);
  const few = fewWords(v.count);
  return html`<li class="spread-row"><h2>${valveWords(v.valve)}</h2>
    <dl class="facts small"><div><dt>median of ${v.count}</dt><dd>${length(fromMm(v.median_mm), unit)}</dd></div>
      ${v.count > 1 ? html`<div><dt>spread</dt><dd>${withUncertainty(fromMm(v.spread_mm), fromMm(v.spread_u_mm), unit)}</dd></div>` : null}</dl>
    <${Dots} of=${v} far=${far} unit=${unit} />
    <p class="spread-says">${odd.length ? odd.map((m) => html`<span class="problem"><${Mark} shape="triangle" kind="bad" /> <strong>${m.engine}</strong> lifts ${length(Math.abs(fromMm(m.off_mm)), unit)} ${m.off_mm < 0 ? "less" : "more"}. </span>`)
      : few ? html`<span class="hint">${few}</span>` : html`<${Mark} shape="check" kind="good" /> <span>none stands out</span>`}
      ${v.count > 1 ? html` <a href=${`#/compare?traces=${laidOver(v)}`}>Lay them over each other</a>` : null}</p>
    <details><summary>Each engine</summary><div class="wide" tabindex="0" role="group" aria-label="Table, may scroll sideways"><table>
      <thead><tr><th scope="col" class="words">engine</th><th scope="col">max lift</th><th scope="col">from the median</th><th scope="col">trace</th></tr></thead>
      <tbody>${v.members.map((m) => html`<tr key=${m.engine}><td class="words">${m.outlier ? html`<${Mark} shape="triangle" kind="bad" /> ` : ""}${m.engine}</td>
        <td>${withUncertainty(fromMm(m.max_lift_mm), fromMm(m.max_lift_u_mm), unit)}</td><td>${digits(fromMm(m.off_mm), unit, { sign: true })}</td>
        <td><a href=${`#/traces/${m.trace}`}>${m.trace}</a></td></tr>`)}</tbody></table></div></details></li>`;
}

/** At most as many as there are pens; those that stand out first. @param {import("../shop.js").ValveSpread} v */
const laidOver = (v) => [...v.members].sort((a, b) => Number(b.outlier) - Number(a.outlier)).slice(0, 8).map((m) => m.trace).join(",");

/** How high things stand in the picture, in pixels; its width is what there is. */
const middle = 26, bottom = 46;

/** @param {{of: import("../shop.js").ValveSpread, far: number, unit: import("../units.js").Unit}} props */
function Dots({ of: v, far, unit }) {
  const fine = unit === "in" ? nanometres.thou : nanometres.um; // what the marks are in
  const x = (/** @type {number} */ mm) => `${50 + (mm / far) * 47}%`;
  const says = `${valveWords(v.valve)}: ${v.members.map((m) => `${m.engine} ${digits(fromMm(m.off_mm), unit, { sign: true })} ${unit}${m.outlier ? ", stands out" : ""}`).join("; ")} from the median.`;
  return html`<svg class="spread-dots" height=${bottom + 18} role="img" aria-label=${says}>
    <rect class="spread-band" x=${x(-v.least_mm)} y="6" width=${`${(94 * v.least_mm) / far}%`} height=${bottom - 6} />
    <line class="spread-axis" x1="0" x2="100%" y1=${bottom} y2=${bottom} />
    ${marks((far * 1e6) / fine).map((m) => html`<line class="spread-axis" x1=${x((m * fine) / 1e6)} x2=${x((m * fine) / 1e6)} y1=${bottom} y2=${bottom + 5} />
      <text x=${x((m * fine) / 1e6)} y=${bottom + 17}>${m > 0 ? "+" : ""}${m === 0 ? `0 ${unit === "in" ? "thou" : "µm"}` : String(m).replace("-", "\u2212")}</text>`)}
    <line class="spread-median" x1="50%" x2="50%" y1="4" y2=${bottom} />
    ${v.members.map((m) => html`<line class="spread-u" x1=${x(m.off_mm - m.max_lift_u_mm)} x2=${x(m.off_mm + m.max_lift_u_mm)} y1=${middle} y2=${middle} />`)}
    ${v.members.filter((m) => !m.outlier).map((m) => html`<circle class="spread-dot" cx=${x(m.off_mm)} cy=${middle} r="6" />`)}
    ${v.members.filter((m) => m.outlier).map((m) => html`<svg class="spread-odd" x=${x(m.off_mm)} y=${middle}><path d="M0 -10l10 17h-20z" /></svg>`)}</svg>`;
}
