// Openings one below the other: what each came to, how it stands to the others,
// and whether it counts. The bench and a trace's own page show them alike.

import { useState } from "./lib/hooks.js";
import { html, Mark, useApp } from "./ui.js";
import { offWords } from "./agreement.js";
import { LeaveOut } from "./leaveout.js";
import { Beside, NoteOf } from "./noted.js";
import { degrees, inCycle, length, withUncertainty } from "./units.js";

/**
 * @typedef {object} Row
 * @property {import("./state.js").Opening} o
 * @property {number} at its nose in the time of its trace, in seconds
 * @property {string} why it counts for nothing; "" when it counts
 * @property {() => string} [more] what else is to be said of it
 * @property {number} [presses] how often a pedal was pressed at it
 * @property {string} [note] what is written beside it; absent where that is not known
 */

/** How many stand there at once; a trace may hold thousands, and a browser takes seconds over as many rows. */
const most = 200;

/**
 * @param {{rows: Row[], trace: string, agreement: import("./agreement.js").Agreement|null|undefined, unit: import("./units.js").Unit, newestFirst?: boolean, done?: () => void}} props
 *   trace: whose openings they are, as the daemon is told; "" when nothing can be left out
 *   done: hears of a change
 */
export function OpeningRows({ rows, trace, agreement, unit, newestFirst = false, done = () => {} }) {
  const app = useApp();
  const at = `/traces/${encodeURIComponent(trace)}/left-out`;
  const problem = (/** @type {Error} */ err) => app.notify(err.message, "problem");
  const leave = (/** @type {Row} */ r) => (/** @type {string} */ why) => app.api.post(at, { t_s: r.at, why }).then(done, (err) => { problem(err); throw err; });
  const back = (/** @type {Row} */ r) => app.api.del(`${at}?t_s=${r.at}`).then(done, problem);
  const [part, setPart] = useState(0);
  const places = rows.map((_, i) => (newestFirst ? rows.length - 1 - i : i)), parts = Math.ceil(rows.length / most), shown = Math.min(part, Math.max(0, parts - 1));
  const lines = places.slice(shown * most, (shown + 1) * most).map((i) => {
    const r = rows[i], { o, why, more } = r, off = offWords(agreement, o.t_nose_s, unit);
    return html`<tr class=${why ? "struck" : ""} key=${o.t_nose_s}><th scope="row">${i + 1}</th>
      <td class="strong">${withUncertainty(o.max_lift_mm * 1e6, o.max_lift_u_mm * 1e6, unit)}</td>
      <td class="detail">${off.beyond ? html`<span class="off"><${Mark} shape="triangle" /> ${off.says}</span>` : null}half lift ${length(o.half_lift_mm * 1e6, unit)}${o.nose_angle_deg === undefined ? "" : `, at ${angle(o.opening_half.angle_deg)} and ${angle(o.closing_half.angle_deg)}, nose ${angle(o.nose_angle_deg)}`}${more ? `; ${more()}` : ""}<${Beside} presses=${r.presses ?? 0} note=${r.note ?? ""} /></td>
      <td class="counts">${why ? html`<span class="left-out">left out: ${why}</span> ${trace ? html`<button type="button" class="quiet" onClick=${() => back(r)}>Undo<span class="sr">, opening ${i + 1}</span></button>` : null}`
        : trace ? html`<${LeaveOut} name="Leave out" at=${trace} of=${`opening ${i + 1}`} act=${leave(r)} />` : null}
        ${trace && r.note !== undefined ? html`<${NoteOf} key=${`note ${o.t_nose_s}`} trace=${trace} opening=${o} n=${i + 1} note=${r.note} done=${done} />` : null}</td></tr>`;
  });
  const named = (/** @type {number} */ n) => [places[n * most], places[Math.min((n + 1) * most, rows.length) - 1]].map((i) => (i + 1).toLocaleString("en")).join(" to ");
  return html`${parts > 1 ? html`<label class="inline">Openings <select value=${shown} onChange=${(/** @type {any} */ e) => setPart(Number(e.target.value))}>
    ${Array.from({ length: parts }, (_, n) => html`<option value=${n} selected=${n === shown}>
      ${named(n)}</option>`)}</select> of ${rows.length.toLocaleString("en")}</label>` : null}<table class="opening-table">
    <thead class="sr"><tr><th scope="col">#</th><th scope="col">max lift</th><th scope="col">half lift</th><th scope="col">does it count</th></tr></thead>
    <tbody>${lines}</tbody></table>`;
}

/** @param {number|undefined} deg */
const angle = (deg) => (deg === undefined ? "–" : degrees(inCycle(deg)));
