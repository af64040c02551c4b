// Leaving something out, with the reason: usual ones at a touch, others typed.
// What is left out stays on disk, is struck on the screen, and can be taken back.

import { useState } from "./lib/hooks.js";
import { useDraft } from "./draft.js";
import { Form, html, TextField } from "./ui.js";

/** Why an opening is left out, as it is said at the bench. */
const reasons = ["turned unevenly", "touched the indicator", "something slipped"];

/**
 * @param {{name: string, of: string, at: string, act: (why: string) => Promise<unknown>, reasons?: string[]}} props
 *   name: what the button says; of: what it is about, for those who do not see it; at: the trace
 */
export function LeaveOut({ name, of, at, act, reasons: usual = reasons }) {
  const draft = useDraft(`leave out.${at} ${of}`, { why: "" }), why = draft.value.why;
  const [asking, setAsking] = useState(draft.open);
  const done = (/** @type {string} */ reason) => act(reason).then(() => { draft.done(); setAsking(false); }, () => {});
  if (!asking) return html`<button type="button" class="quiet" aria-expanded="false" onClick=${() => setAsking(true)}>${name}<span class="sr"> ${of}</span></button>`;
  return html`<div class="why" role="group" aria-label=${`Why ${of} is left out`}>
    ${usual.map((r) => html`<button type="button" class="quiet" onClick=${() => done(r)}>${r}</button>`)}
    <${Form} class="row" onSubmit=${() => done(why)}><${TextField} label="Another reason" kind="reason" value=${why} onChange=${(/** @type {string} */ v) => draft.set({ why: v })} />
      <button disabled=${why.trim() === ""}>${name}</button> <button type="button" class="quiet" onClick=${() => { draft.done(); setAsking(false); }}>Cancel</button><//></div>`;
}
