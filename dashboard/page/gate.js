// The list before metal is cut: what holds, what does not, and who takes an open
// point on themselves. The daemon judges, and the sheet has the same list.

import { useState } from "./lib/hooks.js";
import { useDraft } from "./draft.js";
import { Form, html, Mark, TextField, Trouble, useApp, useFetched, useOnlyShows, usePart } from "./ui.js";
import { when } from "./units.js";

/**
 * @typedef {{item: string, what: string, done: boolean, says: string[], waived?: {by: string, why: string, at: string}}} Check
 * @typedef {{checks: Check[], draft: boolean}} Gate
 */

/** What a gate stands on besides its engine: a trace that ended may open a point again. @param {import("./state.js").State} s */
export const turned = (s) => `${s.engine.findingsOf} ${s.engine.trace?.state ?? ""}`;

/** @param {{engine: string}} props its id */
export function GateList({ engine }) {
  const app = useApp();
  const looks = useOnlyShows();
  const at = `/engines/${encodeURIComponent(engine)}/gate`;
  const { value, error, set } = useFetched((signal) => app.api.get(at, signal), [engine, usePart(app.store, turned)]);
  const gate = /** @type {Gate|undefined} */ (value);
  const change = (/** @type {Promise<Gate>} */ answer) => answer.then(set, (err) => { app.notify(err.message, "problem"); throw err; });
  if (!gate) return html`<${Trouble} text=${error} />`;
  const open = gate.checks.filter((c) => !c.done && !c.waived).length;
  return html`<section class="gate"><h2>Before metal is cut</h2>
    ${gate.draft ? html`<p class="lead"><span class="draft-word">DRAFT</span> ${open} of ${gate.checks.length} points are open. The sheet and the cut list say DRAFT until each holds, or somebody takes it on themselves by name.</p>`
      : html`<p class="lead"><${Mark} shape="check" kind="good" /> Nothing is open. The sheet is no draft any more.</p>`}
    <ul class="gate-list">${gate.checks.map((c) => html`<${Point} key=${c.item} of=${engine} check=${c} looks=${looks}
      waive=${(/** @type {object} */ by) => change(app.api.put(`${at}/${c.item}`, by))} back=${() => change(app.api.del(`${at}/${c.item}`)).catch(() => {})} />`)}</ul></section>`;
}

/** @param {{of: string, check: Check, looks: boolean, waive: (by: {by: string, why: string}) => Promise<unknown>, back: () => void}} props */
function Point({ of, check: c, looks, waive, back }) {
  const draft = useDraft(`gate.${of}.${c.item}`, { by: "", why: "" }), { by, why } = draft.value;
  const [asking, setAsking] = useState(draft.open);
  const second = c.item === "second";
  return html`<li class=${c.done ? "holds" : c.waived ? "waived" : "open"}>
    <p><${Mark} shape=${c.done ? "check" : c.waived ? "square" : "ring"} kind=${c.done ? "good" : ""} /> <strong>${c.what}</strong><span class="sr">: ${c.done ? "holds" : c.waived ? "taken on" : "open"}</span></p>
    ${c.waived ? html`<p>${second ? "Looked at" : "Waived"} by ${c.waived.by}, ${when(c.waived.at)}: ${c.waived.why}. ${looks ? null : html`<button type="button" class="quiet" onClick=${back}>Undo<span class="sr">: ${c.what}</span></button>`}</p>` : null}
    ${c.done || (second && c.waived) ? null : c.says.length > 3 ? html`<details><summary>${c.says.length} things</summary><ul class="plain">${c.says.map((s) => html`<li>${s}</li>`)}</ul></details>`
      : html`<ul class="plain">${c.says.map((s) => html`<li>${s}</li>`)}</ul>`}
    ${looks || c.done || c.waived ? null : asking ? html`<${Form} class="grid" onSubmit=${() => waive({ by, why }).then(() => { draft.done(); setAsking(false); }, () => {})}>
        <${TextField} label=${second ? "Who looked at it" : "Who takes it on"} kind="reason" value=${by} onChange=${(/** @type {string} */ v) => draft.set({ by: v, why })} />
        <${TextField} label=${second ? "What was looked at" : "Why it may be so"} kind="reason" value=${why} onChange=${(/** @type {string} */ v) => draft.set({ by, why: v })} />
        <p class="row"><button disabled=${by.trim() === "" || why.trim() === ""}>${second ? "Save" : "Waive"}</button>
          <button type="button" class="quiet" onClick=${() => { draft.done(); setAsking(false); }}>Cancel</button></p><//>`
      : html`<p><button type="button" class="quiet" aria-expanded="false" onClick=${() => setAsking(true)}>${second ? "Somebody has looked at it" : "Waive"}<span class="sr">: ${c.what}</span></button></p>`}</li>`;
}

/** Says in large letters that a list is a draft, and leads to why. @param {{engine: string}} props */
export function DraftWord({ engine }) {
  const app = useApp();
  const { value } = useFetched((signal) => app.api.get(`/engines/${encodeURIComponent(engine)}/gate`, signal), [engine, usePart(app.store, turned)]);
  return value?.draft ? html`<p class="draft-line"><span class="draft-word">DRAFT</span> Not to cut by yet: <a href="#/sheet">what is still open</a>.</p>` : null;
}
