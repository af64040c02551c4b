// What the daemon says about an answer: its sentences in the user's unit, what
// it takes for granted, and a gap against its limit.

import { html, Mark } from "./ui.js";
import { fromMm, length, withUncertainty } from "./units.js";

/** @param {{list: string[]|undefined|null}} props */
export function Sentences({ list }) {
  return (list ?? []).map((s) => html`<p>${sentence(s)}</p>`);
}

/**
 * Words of the daemon as a sentence. A field's name in the API, which some end
 * with in brackets, is for whoever asks by program and is left out on the page.
 * @param {string} text
 */
export function sentence(text) {
  const words = text.replace(/ \([a-z]+(?:_[a-z]+)+\)/g, "");
  return words.charAt(0).toUpperCase() + words.slice(1) + (/[.!?]$/.test(words) ? "" : ".");
}

/** What an answer takes for granted, and where its formulas come from. @param {{of: {assumes?: string[], sources?: string[]}}} props */
export function Basis({ of }) {
  const assumes = of.assumes ?? [], sources = of.sources ?? [];
  if (assumes.length + sources.length === 0) return null;
  return html`<details><summary>What this takes for granted</summary><ul class="plain">
    ${assumes.map((s) => html`<li>
      ${sentence(s)}</li>`)}${sources.map((s) => html`<li class="hint">Source: ${s}</li>`)}</ul></details>`;
}

/** @typedef {{is: "meets"|"fails"|"cannot-tell"|"not-judged", doubts?: {cause: string, says: string}[]}} Verdict */

/**
 * The sign of a verdict: a tick stands only where the figure with its ± is inside
 * the limit.
 * @param {Verdict} verdict
 */
export const verdictSign = ({ is }) => (is === "meets" ? { shape: "check", kind: "good" } : is === "fails" ? { shape: "cross", kind: "bad" } : is === "cannot-tell" ? { shape: "triangle", kind: "" } : { shape: "ring", kind: "" });

/**
 * What is left between two parts, against the user's limit and beside what is
 * usual. The verdict is the daemon's; it never says that something is safe.
 * @param {{name: string, gap: {left_mm: number, left_u_mm: number, limit_mm?: number, verdict: Verdict, usual_mm: number}|undefined, unit: import("./units.js").Unit}} props
 */
export function GapLine({ name, gap, unit }) {
  if (!gap) return null;
  const left = fromMm(gap.left_mm), limit = gap.limit_mm === undefined ? null : fromMm(gap.limit_mm);
  const sign = verdictSign(gap.verdict);
  const says = left <= 0 ? `They touch, by ${length(-left, unit)}.`
    : gap.verdict.is === "not-judged" ? (limit === null ? "No limit is set." : `Not to be judged: ${(gap.verdict.doubts ?? []).map((d) => d.says).join("; ")}.`)
    : gap.verdict.is === "meets" ? `Meets your limit of ${length(limit ?? 0, unit)}, its ± counted.`
    : gap.verdict.is === "fails" ? `Below your limit of ${length(limit ?? 0, unit)}, by ${length((limit ?? 0) - left, unit)}.`
    : `Cannot tell: the ± reaches over your limit of ${length(limit ?? 0, unit)}.`;
  return html`<div class="gap"><dt>${name}</dt><dd><strong>${withUncertainty(left, fromMm(gap.left_u_mm), unit)}</strong>
    <span class=${`verdict ${sign.kind}`}><${Mark} shape=${sign.shape} kind=${sign.kind} /> ${says}</span>
    <small>Usual is ${length(fromMm(gap.usual_mm), unit)} at least (common practice, no source). The engine maker's figures go first.</small></dd>
      </div>`;
}
