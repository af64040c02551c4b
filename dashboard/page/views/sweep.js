// The sweep: a gauge across the stem tells where the rocker stands square, to
// hundredths, from one turn against its tip and one against the stem's side.

import { useEffect, useState } from "../lib/hooks.js";
import { html, Mark, Trouble, useApp, useOnlyShows, usePart } from "../ui.js";
import { fromMm, length, withUncertainty } from "../units.js";
import { query } from "../api.js";
import { Basis, sentence, Sentences, verdictSign } from "../says.js";

/** @param {{at: string, valve: string, unit: import("../units.js").Unit}} props */
export function Sweep({ at, valve, unit }) {
  const app = useApp();
  const looks = useOnlyShows();
  const gauge = usePart(app.store, (s) => s.devices.sweep);
  const bench = usePart(app.store, (s) => s.bench);
  const kept = usePart(app.store, (s) => (s.engine.trace?.state === "kept" ? s.engine.trace.id : 0));
  const [said, setSaid] = useState({ value: /** @type {any} */ (null), error: "" });
  useEffect(() => {
    const stop = new AbortController();
    app.api.get(`${at}/sweep${query({ valve, unit })}`, stop.signal).then((value) => setSaid({ value, error: "" }),
      (/** @type {Error} */ err) => stop.signal.aborted || setSaid({ value: null, error: err.message }));
    return () => stop.abort();
  }, [at, valve, unit, kept]);
  const lay = (/** @type {string} */ against) => app.api.put("/bench", { against }).catch((err) => app.notify(err.message, "problem"));
  const a = said.value?.answer, side = bench.against === "side";
  const len = (/** @type {number} */ v, /** @type {number} */ u) => withUncertainty(fromMm(v), fromMm(u), unit);
  const sign = a ? verdictSign(a.verdict) : null;
  if (!gauge && !a) return looks ? null : html`<section><h2>Sweep</h2>
    <p>For hundredths: a second indicator across the stem. <a href="#/help/photograph">How it stands</a>; connect it under <a href="#/devices">Devices</a>.</p></section>`;
  return html`<section class="sweep-answer"><h2>Sweep</h2>
    ${gauge && !looks ? html`<p>The gauge across the stem lies against</p><div class="row" role="group" aria-label="What the sweep gauge lies against">
      ${[["tip", "the rocker's tip"], ["side", "the stem's side"]].map(([id, name]) => html`<button class="toggle" aria-pressed=${(id === "side") === side ? "true" : "false"}
        onClick=${() => lay(id)}>${name}</button>`)}</div>
      <p class="hint">${side ? "Reference pass: leave the gauge's stand where it was, lay its tip against the side of the stem, lash cap or retainer, and turn through one opening."
        : "Lay its flat tip against the roller or round end, and turn through one opening. Then choose the stem's side."} Nobody reaches in while somebody turns.</p>` : null}
    ${a && sign ? html`<div role="status"><p class="lead"><${Mark} shape=${sign.shape} kind=${sign.kind} /> ${a.verdict.is === "meets" ? html`Square at half lift to ${length(fromMm(a.tolerance_mm), unit)}, its ± counted. Leave the stand.`
      : html`${a.raise_mm < 0 ? "Lower" : "Raise"} the stand by <strong>${len(Math.abs(a.raise_mm), a.raise_u_mm)}</strong> for square at half lift.`}</p>
      <dl class="facts"><div><dt>square at a lift of</dt><dd>${len(a.square_at_lift_mm, a.square_at_lift_u_mm)}</dd></div>
        <div><dt>valve arm</dt><dd>${len(a.valve_arm_mm, a.valve_arm_u_mm)}</dd></div>
        <div><dt>width of the mark on the stem</dt><dd>${len(a.width_mm, a.width_u_mm)}</dd></div>
        <div><dt>gauge off square</dt><dd>${a.tilt_deg.toFixed(2)} ± ${a.tilt_u_deg.toFixed(2)}°</dd></div>
        <div><dt>traces</dt><dd><a href=${`#/traces/${a.turn}`}>${a.turn}</a>${a.reference ? html`, reference <a href=${`#/traces/${a.reference}`}>${a.reference}</a>` : ", no reference pass"}${a.lift_turn ? html`, lift <a href=${`#/traces/${a.lift_turn}`}>${a.lift_turn}</a>` : ""}</dd></div></dl>
      <${Sentences} list=${a.says} /><${Basis} of=${a} /></div>` : html`<${Trouble} text=${said.error || (said.value?.no_answer ? sentence(said.value.no_answer) : "")} />`}</section>`;
}
