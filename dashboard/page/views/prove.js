// The step that proves an indicator: one sentence at a time, large enough for
// somebody whose hand is on the spindle, and a picture of what to do.

import { html, Mark, useApp, usePart } from "../ui.js";
import { length, when } from "../units.js";
import { provingSteps } from "../proof.js";

export function ProveStep() {
  const app = useApp();
  const state = usePart(app.store, (s) => s);
  const now = state.proof;
  const newest = usePart(app.store, () => app.strips.engine.newest());
  const device = state.devices.indicator;
  if (!now?.indicator || !device || device.state === "lost") return null;
  const problem = (/** @type {Error} */ err) => app.notify(err.message, "problem");
  const begin = () => app.api.post("/prove").catch(problem);
  const { proof, proving } = now;
  if (proving) {
    const at = provingSteps.findIndex(([stage]) => stage === proving.stage);
    return html`<section class="panel proving"><h2>Prove the indicator</h2>
      <ol class="proving-steps">${provingSteps.map(([stage, name], i) => html`<li key=${stage} class=${i === at ? "is-now" : ""} aria-current=${i === at ? "step" : undefined}>
        <${Mark} shape=${i < at ? "check" : i === at ? "disc" : "ring"} kind=${i < at ? "good" : ""} /> ${name}${stage === "snap" && i === at ? ` (${proving.snaps} of 3)` : ""}</li>`)}</ol>
      <p class="proving-says" role="status">${proving.says}</p>
      ${proving.problem ? html`<p class="trouble" role="alert"><${Mark} shape="triangle" /> ${proving.problem}</p>` : null}
      <div class="proving-now"><${ProvePicture} stage=${proving.stage} />
        <p class="big-figure">${newest ? length(newest.lift_nm, state.unit) : "–"}<small>${proving.resting ? "stands still" : "moves"}</small></p></div>
      <div class="row">
        ${proving.stage === "other" ? html`<button onClick=${() => app.api.put("/prove", {}).catch(problem)}>Finish without</button>` : null}
        <button class="quiet" onClick=${begin}>Start again</button>
        <button class="quiet" onClick=${() => app.api.del("/prove").catch(problem)}>Stop</button></div>
      <p class="hint">Battery off, plugs out. Keep your fingers from between spindle, retainer and spring.</p></section>`;
  }
  return html`<section class="panel"><h2>Prove the indicator</h2>
    ${proof.proved ? html`<${Learned} proof=${proof} unit=${state.unit} />` : html`<p>
      Ten seconds, once for each indicator: it learns where the spindle stops at either end, how far it sticks, and how late its figure is. Then a nose that is cut off and a spindle that hangs free are told for certain, and the ± is as small as it may be. Without it all works too.</p>`}
    <p><button class=${proof.proved && !proof.loose ? "quiet" : ""} onClick=${begin}>${proof.proved ? "Prove it again" : "Prove it now"}</button></p></section>`;
}

/** @param {{proof: import("../proof.js").Proof, unit: import("../units.js").Unit}} props */
function Learned({ proof, unit }) {
  const mm = (/** @type {number|undefined} */ v) => length((v ?? 0) * 1e6, unit);
  return html`${proof.loose ? html`<p class="trouble"><${Mark} shape="triangle" /> The indicator's zero has changed since in a way that could not be followed, so where its stops are is not known now. Prove it again.</p>` : null}
    <dl class="facts small">
      <div><dt>travel</dt><dd>${mm(proof.travel_mm)}</dd></div>
      <div><dt>comes back within</dt><dd>${mm(proof.repeat_mm)}</dd></div>
      <div><dt>sticks within</dt><dd>${mm(proof.stick_mm)}</dd></div>
      <div><dt>late by</dt><dd>${proof.lag_ms || !proof.unlearned?.length ? `${(proof.lag_ms ?? 0).toFixed(0)} ± ${(proof.lag_u_ms ?? 0).toFixed(0)} ms` : `less than ${(proof.lag_u_ms ?? 0).toFixed(0)} ms`}</dd></div>
      <div><dt>new figure every</dt><dd>${(proof.refresh_ms ?? 0).toFixed(0)} ms</dd></div>
      <div><dt>step</dt><dd>${mm(proof.step_mm)}</dd></div>
      <div><dt>proved</dt><dd>${proof.when ? when(proof.when) : "–"}</dd></div></dl>
    ${(proof.unlearned ?? []).map((why) => html`<p class="hint">${why}</p>`)}`;
}

/**
 * The indicator, its spindle, and which way to move it.
 * @param {{stage: string}} props
 */
function ProvePicture({ stage }) {
  // How far the spindle stands out below the stem, and what is under it.
  const out = { hang: 62, home: 12, snap: 36, other: 36 }[stage] ?? 36;
  const retainer = stage === "snap" || stage === "other";
  const tip = 66 + out;
  const arrow = { hang: "M104 92 V128 m-7 -9 l7 9 7 -9", home: "M104 128 V86 m-7 9 l7 -9 7 9", snap: "M104 66 V98 m-7 -9 l7 9 7 -9", other: "M124 146 V112 m-7 9 l7 -9 7 9" }[stage];
  const says = { hang: "the spindle hangs free", home: "a finger presses the spindle in as far as it goes", snap: "the spindle is let go and snaps onto the retainer", other: "the retainer comes up from below" }[stage] ?? "";
  return html`<svg class="prove-picture" viewBox="0 0 180 150" role="img" aria-label=${says}>
    <rect class="body" x="44" y="4" width="56" height="44" rx="8" /><rect class="glass" x="52" y="12" width="40" height="18" rx="3" />
    <rect class="stem" x="66" y="48" width="12" height="18" />
    <rect class="spindle" x="69.5" y="66" width="5" height=${out} /><circle class="spindle" cx="72" cy=${tip} r="4" />
    ${retainer ? html`<path class="retainer" d=${`M36 ${tip + 4} h72 l-8 12 h-56 z`} />` : null}
    ${stage === "home" ? html`<path class="finger" d=${`M72 ${tip + 4} q-12 4 -12 20 v40 h24 v-40 q0 -16 -12 -20 z`} />` : null}
    ${arrow ? html`<path class="way" d=${arrow} />` : null}</svg>`;
}
