// What is kept beside an opening: the presses of a pedal, and a note. The pedal asks
// for no look at the screen; the note is written when there is a hand for it.

import { useState } from "./lib/hooks.js";
import { useDraft } from "./draft.js";
import { Form, html, Mark, TextField, useApp } from "./ui.js";

/** @typedef {import("./state.js").Opening} Opening */

/**
 * How often a pedal was pressed at each opening. A press belongs to the opening
 * that is under way, or that was the last: on the heel one marks what one has just
 * turned through.
 * @param {Opening[]} openings @param {number[]} marks in the time of the trace, as the openings are
 * @returns {number[]} as many as there are openings
 */
export function pressesAt(openings, marks) {
  const presses = openings.map(() => 0);
  if (marks.length === 0) return presses;
  const inOrder = openings.map((o, i) => ({ from: o.t_open_s, i })).sort((a, b) => b.from - a.from);
  for (const t of marks) {
    const under = inOrder.find((o) => o.from <= t);
    if (under) presses[under.i]++;
  }
  return presses;
}

/**
 * What is written beside an opening; "" when nothing is.
 * @param {import("./state.js").OpeningNote[]} noted @param {Opening} o
 */
export const noteAt = (noted, o) => noted.find((n) => n.from_s <= o.t_nose_s && o.t_nose_s <= n.until_s)?.says ?? "";

/** "marked twice", or "". @param {number} n */
export const markedWords = (n) => (n === 0 ? "" : `marked${n === 1 ? "" : n === 2 ? " twice" : ` ${n} times`}`);

/** What stands on the row. @param {{presses: number, note: string}} props */
export const Beside = ({ presses, note }) => (presses || note ? html`<p class="beside">${presses ? html`<span class="pressed"><${Mark} shape="square" /> ${markedWords(presses)}</span>` : null}
  ${note ? html`<span class="noted">${note}</span>` : null}</p>` : null);

/**
 * The note of one opening, to write or to change.
 * @param {{trace: string, opening: Opening, n: number, note: string, done: () => void}} props
 */
export function NoteOf({ trace, opening, n, note, done }) {
  const app = useApp();
  const draft = useDraft(`note.${trace}.${opening.t_nose_s}`, { says: note });
  const [asking, setAsking] = useState(draft.open);
  const keep = () => app.api.put(`/traces/${encodeURIComponent(trace)}/note`, { t_s: opening.t_nose_s, says: draft.value.says }).then(() => {
    draft.done();
    setAsking(false);
    done();
  }, (/** @type {Error} */ err) => app.notify(err.message, "problem"));
  if (!asking) return html`<button type="button" class="quiet" aria-expanded="false" onClick=${() => setAsking(true)}>Note<span class="sr"> at opening ${n}</span></button>`;
  return html`<${Form} class="why" onSubmit=${keep}><${TextField} label=${`Note at opening ${n}`} value=${draft.value.says} onChange=${(/** @type {string} */ v) => draft.set({ says: v })} />
    <button>Save note</button> <button type="button" class="quiet" onClick=${() => { draft.done(); setAsking(false); }}>Cancel</button><//>`;
}
