// What the daemon says about an answer: its sentences in the user's unit, what
// it takes for granted, and a gap against its limit.

import { html, Mark, usePart, useApp } from "./ui.js";
import { fromMm, inUnit, length, withUncertainty } from "./units.js";

/** @param {{list: string[]|undefined|null}} props */
export function Sentences({ list }) {
  const unit = usePart(useApp().store, (s) => s.unit);
  return (list ?? []).map((s) => html`<p>${sentence(inUnit(s, unit))}</p>`);
}

/** Words of the daemon as a sentence. @param {string} text */
export const sentence = (text) => text.charAt(0).toUpperCase() + text.slice(1) + (/[.!?]$/.test(text) ? "" : ".");

/** What an answer takes for granted, and where its formulas come from. @param {{of: {assumes?: string[], sources?: string[]}}} props */
export function Basis({ of }) {
  const unit = usePart(useApp().store, (s) => s.unit);
  const assumes = of.assumes ?? [], sources = of.sources ?? [];
  if (assumes.length + sources.length === 0) return null;
  return html`<details><summary>What this takes for granted</summary><ul class="plain">
    ${assumes.map((s) => html`<li>
      ${sentence(inUnit(s, unit))}</li>`)}${sources.map((s) => html`<li class="hint">Source: ${inUnit(s, unit)}</li>`)}</ul></details>`;
}

/**
 * What is left between two parts, against the user's limit and beside what is
 * usual. It never says that something is safe.
 * @param {{name: string, gap: {left_mm: number, left_u_mm: number, limit_mm?: number, meets_limit?: boolean, sure?: boolean, usual_mm: number}|undefined, unit: import("./units.js").Unit}} props
 */
export function GapLine({ name, gap, unit }) {
  if (!gap) return null;
  const left = fromMm(gap.left_mm), limit = gap.limit_mm === undefined ? null : fromMm(gap.limit_mm);
  const verdict = left <= 0 ? { shape: "cross", kind: "bad", says: `They touch, by ${length(-left, unit)}.` }
    : limit === null ? { shape: "ring", kind: "", says: "No limit is set." }
    : gap.meets_limit ? { shape: gap.sure ? "check" : "triangle", kind: gap.sure ? "good" : "", says: `Meets your limit of ${length(limit, unit)}${gap.sure ? "" : ", but by less than the uncertainty"}.` }
    : { shape: "cross", kind: "bad", says: `Below your limit of ${length(limit, unit)}, by ${length(limit - left, unit)}${gap.sure ? "" : ", though that is within the uncertainty"}.` };
  return html`<div class="gap"><dt>${name}</dt><dd><strong>${withUncertainty(left, fromMm(gap.left_u_mm), unit)}</strong>
    <span class=${`verdict ${verdict.kind}`}><${Mark} shape=${verdict.shape} kind=${verdict.kind} /> ${verdict.says}</span>
    <small>Usual is ${length(fromMm(gap.usual_mm), unit)} at least (common practice, no source). The engine maker's figures go first.</small></dd>
      </div>`;
}
