// Piston to valve through the overlap: one measured clearance and a trace with
// crank angle give all others.

import { useMemo, useState } from "../lib/hooks.js";
import { Form, html, Nothing, Trouble, useApp, useFetched, useValveWords } from "../ui.js";
import { degrees, digits, fromMm, length, nanometres, when } from "../units.js";
import { sideOf } from "../engine.js";
import { axisWords } from "../timing.js";
import { fieldsOf } from "../form.js";
import { askPiston, piston } from "../questions.js";
import { KeptLine, useWork } from "../works.js";
import { Basis, GapLine, Sentences } from "../says.js";
import { Chart } from "../chart.js";
import { query } from "../api.js";
import { mountingQuery, useMounting } from "./encoder.js";

/** @param {{engine: any, valve: string, unit: import("../units.js").Unit}} props */
export function Piston({ engine, valve, unit }) {
  const called = useValveWords();
  const app = useApp();
  const { value: all } = useFetched((signal) => app.api.get(`/traces${query({ engine: engine.id, limit: 200 })}`, signal), [engine.id]);
  // Those of this valve: the sheet says its clearance under this valve's name.
  const traces = (all ?? []).filter((/** @type {any} */ t) => t.has_angle && t.max_lift_mm && (!valve || !t.valve || t.valve === valve));
  const { d, setD, answer, error, ask, state, unread } = useWork(piston, engine, valve);
  const [mounting] = useMounting(engine);
  const [trouble, setTrouble] = useState("");
  const f = fieldsOf(d, setD, unit);
  const id = d.trace || String(traces.find((/** @type {any} */ t) => t.valve === valve)?.id ?? traces[0]?.id ?? "");
  const head = traces.find((/** @type {any} */ t) => String(t.id) === id);
  const side = sideOf(head?.valve || valve) || "intake";
  if (all && traces.length === 0 && !answer) return html`<${Nothing} says=${`This needs a trace with crank angle ${valve ? `of ${called(valve)}` : "of the valve"}: connect an encoder and turn it once.`} href="#/devices" label="To the devices" />`;
  const work = async () => {
    try {
      const { curve, tdc_doubtful, note } = await app.api.get(`/traces/${id}/timing${query({ valve: side, ...mountingQuery(mounting) })}`);
      setTrouble("");
      await ask(askPiston(d, { side, curve, doubt: tdc_doubtful ? note : "" }));
    } catch (err) {
      setTrouble(/** @type {Error} */ (err).message);
    }
  };
  return html`<${Form} onSubmit=${work} draft=${{ unread }}>
    <p>With light checking springs fitted, stop the crank about 10 degrees from top dead centre of the overlap, where the valve is close to the piston. Push the valve open by hand until it touches the piston, and read how far it went. Write down both. Top dead centre is set under <a href="#/timing">Timing</a>.</p>
    <div class="grid">
      <label class="field"><span class="field-name">Trace of the valve</span>
        <select value=${id} onChange=${(/** @type {any} */ e) => setD({ ...d, trace: e.target.value })}>
        ${traces.map((/** @type {any} */ t) => html`<option value=${String(t.id)} selected=${String(t.id) === id}>
        ${t.valve ? called(t.valve, t.engine) : "no valve named"}, trace ${t.id}, ${when(t.started)}</option>`)}</select></label>
      ${f.number("measured_at_deg", "Measured at", "° ATDC", "a minus for before top dead centre")}${f.length("measured_clearance_mm", "The valve went to the piston by")}
      ${f.length("stroke_mm", "Stroke")}${f.length("rod_mm", "Connecting rod", "centre to centre")}
      ${f.number("valve_lean_deg", "Valve leans against the bore by", "°")}${f.choice("crown", "Under the valve is", [["parallel", "a pocket square to the valve"], ["flat", "a flat crown"]])}
      ${f.length("curve_lash_mm", "Lash when the trace was taken")}</div>
    <${Trouble} text=${trouble || error} /><p><button disabled=${!id}>Work out the clearance</button></p>
    <${KeptLine} state=${state} /><//>
    ${answer?.piston ? html`<${PistonAnswer} p=${answer.piston} side=${side} basis=${answer} unit=${unit} />` : null}`;
}

/** @param {{p: any, side: string, basis: any, unit: import("../units.js").Unit}} props */
function PistonAnswer({ p, side, basis, unit }) {
  const one = nanometres[unit] / 1e6;
  const data = useMemo(() => [p.curve.map((/** @type {any} */ c) => c.angle_deg), p.curve.map((/** @type {any} */ c) => c.clearance_mm / one), p.curve.map((/** @type {any} */ c) => c.lift_mm / one)], [p, one]);
  const write = (/** @type {number} */ v) => `${v.toFixed(unit === "in" ? 3 : 2)} ${unit}`;
  return html`<section><h2>Piston to ${side} valve</h2>
    <dl class="facts"><${GapLine} name=${`least, at ${p.where}`} gap=${p.least} unit=${unit} /></dl>
    <${Chart} data=${data} says="Clearance between piston and valve through the overlap." height=${280} xUnit="° after TDC"
      uprights=${[{ x: p.at_deg, label: `least ${length(fromMm(p.least.left_mm), unit)}` }]}
      levels=${p.least.limit_mm !== undefined ? [{ y: p.least.limit_mm / one, label: "your limit" }] : []}
      series=${[{ label: "clearance", stroke: "--ink", write }, { label: "valve lift", stroke: "--blue", dash: [8, 4], write }]}
        axes=${[{ label: "crank, degrees after TDC", values: (/** @type {any} */ _u, /** @type {number[]} */ at) => at.map(axisWords) }, { label: unit, size: 60 }]} />
    <h3>If the cam is moved, or the lash</h3>
    <div class="wide" tabindex="0" role="group" aria-label="Table, may scroll sideways"><table><thead><tr><th scope="col">cam advanced by</th>
      <th scope="col">lash</th><th scope="col">least clearance</th><th scope="col">at</th><th scope="col" class="words">your limit</th></tr></thead>
      <tbody>${p.cases.map((/** @type {any} */ c) => html`<tr><th scope="row">${degrees(c.cam_deg, 0)}</th><td>
        ${digits(fromMm(c.lash_mm), unit)}</td><td class="strong">${digits(fromMm(c.least_mm), unit)}</td><td>
        ${axisWords(Math.round(c.at_deg * 10) / 10)}</td><td class="words">
        ${p.least.limit_mm === undefined ? "not set" : { meets: "met", fails: "not met", "cannot-tell": "cannot tell" }[/** @type {string} */ (c.verdict.is)] ?? "not to be judged"}</td></tr>`)}</tbody></table></div>
    <${Sentences} list=${p.says} /><${Basis} of=${basis} /></section>`;
}
