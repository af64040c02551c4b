// Springs: their loads, and what is left at full lift between coils, between
// retainer and seal, between rocker and stud.

import { useState } from "../lib/hooks.js";
import { Form, html, LengthField, NumberField, Trouble, useApp, useFetched, useValveWords } from "../ui.js";
import { force, fromMm, length, poundForce, rate, toMm, when } from "../units.js";
import { query } from "../api.js";
import { mountingQuery, useMounting } from "./encoder.js";
import { fieldsOf } from "../form.js";
import { askGaps, askSpring, gaps, spring } from "../questions.js";
import { KeptLine, useWork } from "../works.js";
import { Basis, GapLine, Sentences } from "../says.js";

/** @typedef {{engine: any, valve: string, unit: import("../units.js").Unit}} Props */

/** @param {Props} props */
export function Gaps({ engine, valve, unit }) {
  const { d, setD, answer, error, ask, state, unread } = useWork(gaps, engine, valve);
  const f = fieldsOf(d, setD, unit);
  const question = askGaps(d);
  const work = () => {
    void ask(question);
  };
  return html`<${Form} onSubmit=${work} draft=${{ unread }}>
    <div class="grid">${f.length("lift_mm", "Max lift at the valve", "the greatest of the engine's valves is on the safe side")}</div>
    <section><h2>Coil bind</h2>
      <p>Measure the installed height from the spring's seat to its retainer, valve closed. Press a spring solid in a vice between flat plates and measure it, inner springs too.</p>
      <div class="grid">${f.length("coil.installed_height_mm", "Installed height")}${f.length("coil.solid_height_mm", "Solid height")}</div></section>
    <section><h2>Retainer to seal</h2><p>Valve closed, without spring: measure from the retainer's underside to the top of the seal or guide.</p>
      <div class="grid">${f.length("retainer.closed_gap_mm", "Gap, valve closed")}</div></section>
    <section><h2>Rocker slot to stud</h2><p>For rockers with a slot around their stud. The angles stand with the drawn rocker in Trials.</p>
      <div class="grid">${f.length("slot.slot_length_mm", "Length of the slot")}${f.length("slot.stud_diameter_mm", "Stud diameter")}${f.length("slot.height_mm", "Pivot to the slot's far face")}
        ${f.number("slot.closed_deg", "Rocker's angle, valve closed", "°")}${f.number("slot.full_deg", "at full lift", "°")}${f.number("slot.centred_deg", "with the slot centred", "°")}</div></section>
    <${Trouble} text=${error} /><p><button disabled=${Object.keys(question).length === 0}>Work out what is left</button></p>
    <${KeptLine} state=${state} /><//>
    ${answer ? html`<section><h2>Left at full lift</h2><dl class="facts">
      <${GapLine} name="between coils, whole spring" gap=${answer.coil_bind} unit=${unit} />
      <${GapLine} name="retainer to seal" gap=${answer.retainer} unit=${unit} />
      <${GapLine} name="slot to stud, closed" gap=${answer.slot?.closed} unit=${unit} />
        <${GapLine} name="slot to stud, full lift" gap=${answer.slot?.full} unit=${unit} /></dl><${Basis} of=${answer} /></section>` : null}`;
}

const ends = /** @type {const} */ ([["closed ground", "closed and ground"], ["closed", "closed, not ground"], ["plain ground", "plain, ground"], ["plain", "plain"]]);

const grams = { least: 0, most: 5000 };

/** @param {Props} props */
export function Spring({ engine, valve, unit }) {
  const called = useValveWords();
  const { d, setD, answer, error, ask, state, unread } = useWork(spring, engine, valve);
  const f = fieldsOf(d, setD, unit);
  const toForce = unit === "in" ? poundForce : 1, forceUnit = unit === "in" ? "lbf" : "N";
  const shownForce = (/** @type {number|undefined} */ n) => (n === undefined ? null : Number((n / toForce).toPrecision(9)));
  const app = useApp(), [mounting] = useMounting(engine), [trouble, setTrouble] = useState("");
  const { value: all } = useFetched((signal) => app.api.get(`/traces${query({ engine: engine.id, valve, limit: 200 })}`, signal), [engine.id, valve]);
  const traces = (all ?? []).filter((/** @type {any} */ t) => t.has_angle && t.max_lift_mm);
  const some = (/** @type {string} */ of) => /** @type {any[]} */ (d[of] ?? [{}, {}]);
  const put = (/** @type {string} */ of, /** @type {number} */ i, /** @type {object} */ what) => setD({ ...d, [of]: some(of).map((/** @type {any} */ l, /** @type {number} */ k) => (k === i ? { ...l, ...what } : l)) });
  const work = async () => {
    try {
      const trace = d.trace && d.motion?.mass_g ? await app.api.get(`/traces/${d.trace}/timing${query(mountingQuery(mounting))}`) : null;
      setTrouble("");
      await ask(askSpring(d, trace));
    } catch (err) {
      setTrouble(/** @type {Error} */ (err).message);
    }
  };
  const loads = (/** @type {string} */ of) => html`${some(of).map((/** @type {any} */ l, /** @type {number} */ i) => html`<div class="grid" key=${i}>
      <${LengthField} label=${`Height ${i + 1}`} name=${`${of} height ${i}`} unit=${unit} of="spring" nm=${l.height_mm === undefined ? null : fromMm(l.height_mm)}
        onChange=${(/** @type {number|null} */ nm) => put(of, i, { height_mm: nm === null ? undefined : toMm(nm) })} />
      <${NumberField} label=${`Load ${i + 1}`} name=${`${of} load ${i}`} unit=${forceUnit} range=${{ least: 0, most: 20000 }} value=${shownForce(l.load_n)}
        onChange=${(/** @type {number|null} */ v) => put(of, i, { load_n: v === null ? undefined : v * toForce })} /></div>`)}
      <p><button type="button" class="quiet" onClick=${() => setD({ ...d, [of]: [...some(of), {}] })}>Add a load</button></p>`;
  const a = answer;
  return html`<${Form} onSubmit=${work} draft=${{ unread }}>
    <p>Best from a spring tester: two heights and their loads. Without one, from the wire and the coils. Springs store energy: wear glasses, and press them with something that can not slip.</p>
    <section><h2>As tested</h2>${loads("loads")}
      <div class="grid">${f.choice("progressive", "Its rate", [["", "the same all the way"], ["yes", "grows: progressive, four loads or more"]])}</div></section>
    <details><summary>Inner spring</summary><p class="hint">Tested alone; two loads.</p>${loads("inner_loads")}
      <div class="grid">${f.number("inner_mass_g", "It weighs", "g", "", grams)}</div></details>
    <section><h2>As wound</h2><div class="grid">
      ${f.length("wire_mm", "Wire")}${f.length("outer_diameter_mm", "Outer diameter")}${f.number("total_coils", "Coils in all", "", "", { least: 1, most: 40 })}${f.choice("ends", "Ends", ends)}</div></section>
    <section><h2>As installed</h2><div class="grid">
      ${f.length("installed_height_mm", "Installed height")}${f.length("lift_mm", "Max lift at the valve")}${f.length("free_length_mm", "Free length")}${f.length("solid_height_mm", "Solid height, measured")}</div></section>
    <details><summary>At speed</summary><p class="hint">The spring against the valve's inertia on this lift curve, and which of its harmonics meet the spring's own swing. Planar and rigid parts: a guide, never a limit; the maker's figures go first.</p><div class="grid">
      <label class="field"><span class="field-name">Trace of the valve</span>
        <select value=${d.trace ?? ""} onChange=${(/** @type {any} */ e) => setD({ ...d, trace: e.target.value || undefined })}><option value="">none</option>
        ${traces.map((/** @type {any} */ t) => html`<option value=${String(t.id)} selected=${String(t.id) === d.trace}>${t.valve ? called(t.valve, t.engine) : "no valve named"}, trace ${t.id}, ${when(t.started)}</option>`)}</select></label>
      ${f.number("motion.mass_g", "Valve, retainer, locks", "g", "", grams)}${f.number("motion.spring_mass_g", "Spring", "g", "from wire and coils if left out", grams)}${f.number("motion.rocker_mass_g", "Rocker, as it weighs at the valve", "g", "moment of inertia over the valve arm's square", grams)}
      ${f.number("motion.speed_rpm", "Crank speed", "rev/min", "", { least: 0, most: 30000 })}</div></details>
    <${Trouble} text=${trouble || error} /><p><button>Work out the spring</button></p>
    <${KeptLine} state=${state} /><//>
    ${a ? html`<section><h2>The spring</h2><dl class="facts"><div><dt>rate, from ${a.rate_from === "loads" ? "the loads" : "its dimensions"}</dt>
      <dd>${rate(a.rate_n_per_mm, unit)}${a.rate_u_n_per_mm ? ` ± ${rate(a.rate_u_n_per_mm, unit)}` : ""}</dd></div>
      ${a.seat_load_n !== undefined ? html`<div><dt>on the seat</dt><dd>
        ${force(a.seat_load_n, unit)}${a.seat_load_u_n ? ` ± ${force(a.seat_load_u_n, unit)}` : ""}</dd></div>` : null}
      ${a.open_load_n !== undefined ? html`<div><dt>at full lift</dt><dd>
        ${force(a.open_load_n, unit)}${a.open_load_u_n ? ` ± ${force(a.open_load_u_n, unit)}` : ""}</dd></div>` : null}
      ${a.solid_height_mm !== undefined ? html`<div><dt>solid height</dt><dd>${length(fromMm(a.solid_height_mm), unit)}</dd></div>` : null}
      ${a.motion ? html`<div><dt>margin over inertia used up at</dt><dd>${Math.round(a.motion.used_up_rpm)} ± ${Math.round(a.motion.used_up_u_rpm)} rev/min</dd></div>
      ${a.motion.margin_n === undefined ? null : html`<div><dt>least margin at that speed</dt><dd>${force(a.motion.margin_n, unit)} ± ${force(a.motion.margin_u_n, unit)}</dd></div>`}` : null}
      <${GapLine} name="between coils at full lift" gap=${a.coil_bind} unit=${unit} /></dl><${Sentences} list=${a.says} /><${Basis} of=${a} />
        </section>` : null}`;
}
