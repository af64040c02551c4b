// Which column of a table is what, for a file whose header does not say: its first
// rows, and over each column what it holds.

import { useState } from "./lib/hooks.js";
import { Form, html, NumberField } from "./ui.js";

/** @typedef {{names: string[], rows: string[][], taken: string[]}} Table */

/** What a column may hold, as the daemon is told and as it is read. */
const holds = [["", "nothing"], ["time:s", "time, s"], ["time:ms", "time, ms"], ["time:clock", "time of day"],
  ["lift:mm", "lift, mm"], ["lift:in", "lift, in"], ["lift:thou", "lift, thou"],
  ["angle:deg", "angle, degrees"], ["angle:rad", "angle, rad"], ["angle:turns", "angle, turns"]];

/**
 * The choice in the words of the import route: "time=1:s,lift=3:in".
 * @param {string[]} taken
 * @param {number|null} rate rows a second, where no column is a time
 */
export const choice = (taken, rate) => [...taken.flatMap((t, i) => (t === "" ? [] : [t.replace(":", `=${i + 1}:`)])),
  ...(rate === null || taken.some((t) => t.startsWith("time")) ? [] : [`rate=${rate}`])].join(",");

/**
 * @param {{name: string, why: string, table: Table, act: (columns: string) => void, cancel: () => void}} props
 *   why: what the daemon said of the file
 */
export function Columns({ name, why, table, act, cancel }) {
  const [taken, setTaken] = useState(table.taken), [rate, setRate] = useState(/** @type {number|null} */ (null));
  const set = (/** @type {number} */ i, /** @type {string} */ to) => setTaken(taken.map((t, j) => (j === i ? to : t)));
  return html`<${Form} class="panel" onSubmit=${() => act(choice(taken, rate))}><h2>Which column is what in ${name}?</h2>
    <p class="hint">${why}</p>
    <div class="wide" tabindex="0" role="group" aria-label="The first rows"><table><thead>
      <tr>${taken.map((t, i) => html`<th key=${i} scope="col"><select aria-label=${`Column ${i + 1} ${table.names[i]}`} value=${t} onChange=${(/** @type {any} */ e) => set(i, e.target.value)}>
        ${[...holds, ...(holds.some(([v]) => v === t) ? [] : [[t, t.replace(":", ", ")]])].map(([v, words]) => html`<option key=${v} value=${v}>${words}</option>`)}</select></th>`)}</tr>
      ${table.names.some((n) => n !== "") ? html`<tr>${table.names.map((n, i) => html`<th key=${i} scope="col">${n}</th>`)}</tr>` : null}</thead>
      <tbody>${table.rows.map((row, i) => html`<tr key=${i}>${row.map((cell, j) => html`<td key=${j}>${cell}</td>`)}</tr>`)}</tbody></table></div>
    ${taken.some((t) => t.startsWith("time")) ? null : html`<${NumberField} label="Rows a second" range=${{ least: 0.001, most: 1_000_000 }} value=${rate} onChange=${setRate} hint="Only where no column is a time. Angles and lifts off a degree wheel need none." />`}
    <div class="row"><button disabled=${!taken.some((t) => t.startsWith("lift"))}>Import</button>
      <button type="button" class="quiet" onClick=${cancel}>Cancel</button></div><//>`;
}
