// The last lines of a device as they came, with each number in the colour of what
// it was taken for. A finger on another number takes that one.

import { html } from "./ui.js";

/**
 * @typedef {{key: string, name?: string, role: "lift"|"angle"|"counts"|"ignored"}} Column
 * @typedef {{text: string, spans?: {from: number, to: number, column: number}[]}} Line
 */

/** What a column is taken for, in words. @type {Record<Column["role"], string>} */
const taken = { lift: "the lift", angle: "the angle", counts: "the counts", ignored: "left out" };

/**
 * A line cut into plain text and numbers.
 * @param {Line} line
 * @returns {{text: string, column?: number}[]}
 */
export function pieces(line) {
  const letters = Array.from(line.text);
  const out = [];
  let at = 0;
  for (const s of line.spans ?? []) {
    if (s.from < at || s.to <= s.from) continue;
    if (s.from > at) out.push({ text: letters.slice(at, s.from).join("") });
    out.push({ text: letters.slice(s.from, s.to).join(""), column: s.column });
    at = s.to;
  }
  if (at < letters.length) out.push({ text: letters.slice(at).join("") });
  return out;
}

/** @param {{lines: Line[], columns: Column[], onPick?: (key: string) => void}} props */
export function LastLines({ lines, columns, onPick }) {
  if (!lines?.length) return null;
  const roles = /** @type {Column["role"][]} */ (["lift", "angle", "counts", "ignored"]).filter((r) => columns.some((c) => c.key && c.role === r));
  const choice = columns.filter((c) => c.key).length > 1;
  return html`<figure class="last-lines"><figcaption class="hint">The last lines, as they came${choice && onPick ? ". Touch a number to take its column" : ""}:</figcaption>
    <ol>${lines.map((line, i) => html`<li key=${i}>${pieces(line).map((p, j) => number(p, j))}</li>`)}</ol>
    ${roles.length ? html`<p class="hint">${roles.map((r) => html`<span key=${r} class="key"><span class=${`took ${r}`}>0.0</span> ${taken[r]}</span>`)}</p>` : null}</figure>`;

  /** @param {{text: string, column?: number}} p @param {number} key */
  function number(p, key) {
    const c = p.column === undefined ? undefined : columns[p.column];
    if (!c) return html`<span key=${key}>${p.text}</span>`;
    if (!choice || !onPick || !c.key) return html`<span key=${key} class=${`took ${c.role}`}>${p.text}</span>`;
    return html`<button key=${key} type="button" class=${`took ${c.role}`} aria-label=${`${p.text}, column ${c.key}, ${taken[c.role]}: take this one`}
      onClick=${() => onPick(c.key)}>${p.text}</button>`;
  }
}
