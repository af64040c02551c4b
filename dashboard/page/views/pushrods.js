// From the adjustable checking rod to the list for the saw, and the lash that
// the rods will want cold.

import { Form, html, LengthField, Nothing, Trouble, useApp, useFetched, useValveWords } from "../ui.js";
import { digits, fromMm, length, toMm, withUncertainty } from "../units.js";
import { fieldsOf } from "../form.js";
import { askPushrods, pushrods } from "../questions.js";
import { DraftWord } from "../gate.js";
import { KeptLine, useWork } from "../works.js";
import { Basis, Sentences } from "../says.js";

/** Materials whose growth the daemon knows by name. */
const materials = /** @type {const} */ ([["", "not said"], ["aluminium 6061", "aluminium 6061"], ["aluminium 2024", "aluminium 2024"], ["steel 4130", "chromoly, steel 4130"], ["magnesium AZ91D", "magnesium AZ91D"], ["magnesium AM60", "magnesium AM60"], ["grey iron", "grey iron"]]);

/** @param {{engine: any, unit: import("../units.js").Unit}} props */
export function Pushrods({ engine, unit }) {
  const called = useValveWords();
  const app = useApp();
  const valves = useFetched((signal) => app.api.get(`/engines/${encodeURIComponent(engine.id)}/valves`, signal), [engine.id, engine.rev]);
  const { d, setD, answer, error, ask, state, unread } = useWork(pushrods, engine, "");
  const f = fieldsOf(d, setD, unit);
  const names = (valves.value ?? []).map((/** @type {any} */ v) => v.valve);
  const rods = names.filter((/** @type {string} */ n) => d.rods[n]);
  const work = () => {
    void ask(askPushrods(d, names, engine));
  };
  return html`<${Form} onSubmit=${work} draft=${{ unread }}>
    <p>Set the rocker as it will stay. With the lifter on the heel of its lobe, lengthen the checking rod until the lash is just gone, take it out, and measure it.</p>
    <section><h2>Checking rods, ${unit}</h2><div class="grid">
      ${f.choice("measured", "Measured", [["overall", "over both tips"], ["centres", "between the middles of the balls"], ["gauge", "between gauging rings"]])}
      ${d.measured === "gauge" ? f.length("gauge_diameter_mm", "Hole of the ring") : null}</div>
      <div class="grid rods">
        ${names.map((/** @type {string} */ n) => html`<${LengthField} key=${n} label=${called(n)} unit=${unit} of="pushrod"
          nm=${d.rods[n] ? fromMm(d.rods[n]) : null}
          onChange=${(/** @type {number|null} */ nm) => setD({ ...d, rods: { ...d.rods, [n]: nm === null ? undefined : toMm(nm) } })} />`)}</div></section>
    <details><summary>End pieces</summary><div class="grid">
      <p class="hint">With them the tube's own length is told; without, the length over the tips.</p>
      ${f.length("ends.length_mm", "Whole end piece")}${f.length("ends.press_depth_mm", "Pressed into the tube by")}${f.length("ends.ball_diameter_mm", "Ball diameter")}${f.length("cup_mm", "Cup at the upper end, its depth", "rim to bottom; empty for a ball")}</div></details>
    <details><summary>What still changes after the checking</summary><div class="grid">
      ${f.length("stack_change_mm", "Shims added under the stand", "a minus for taken out; needs the rocker ratio")}${f.length("adjuster_down_mm", "Adjuster farther down by")}${f.length("thread_left_mm", "Thread left, downwards")}
      ${f.length("preload_mm", "Preload of a hydraulic lifter")}${f.length("step_mm", "Cut to steps of", "what saw or lathe works to")}</div>
        </details>
    <details><summary>Lash when it warms up</summary><div class="grid">
      <p class="hint">Measure the length of what stands between the lifter and the rocker's pivot, by material; with the stem, up to the valve's seat and from there on apart.</p>
      ${f.choice("rod_material", "Pushrods of", materials)}${f.choice("lash.stack_material", "Head or barrel of", materials)}${f.length("lash.stack_mm", "its length")}
      ${f.choice("lash.case_material", "Case or block of", materials)}${f.length("lash.case_mm", "its length")}
      ${f.choice("lash.above_material", "From the valve's seat up to the pivot", materials)}${f.length("lash.above_mm", "its length")}${f.choice("lash.stem_material", "Valve's stem of", materials)}${f.length("lash.stem_mm", "from seat to end")}${f.number("lash.warmer_k", "Warmer by", "K", "70 if left empty", { least: -100, most: 500 })}${f.length("lash.hot_lash_mm", "Lash wanted when hot")}</div></details>
    <${Trouble} text=${error} />
    <p><button disabled=${rods.length === 0}>Work out the cut list</button></p>
    <${KeptLine} state=${state} /><//>
    ${answer ? html`<${CutList} a=${answer} engine=${engine.id}
      unit=${unit} />` : rods.length === 0 ? html`<${Nothing} says="One checking rod is enough to begin. The list grows with each." />` : null}`;
}

/** @param {{a: any, engine: string, unit: import("../units.js").Unit}} props */
function CutList({ a, engine, unit }) {
  const called = useValveWords();
  const cell = (/** @type {number|undefined} */ mm) => (mm === undefined || mm === null ? "–" : digits(fromMm(mm), unit));
  const has = (/** @type {string} */ name) => a.cuts.some((/** @type {any} */ c) => c[name] !== undefined);
  return html`<section><h2>Cut list</h2><${DraftWord} engine=${engine} />
    <div class="wide" tabindex="0" role="group" aria-label="Table, may scroll sideways"><table><thead><tr><th scope="col">valve</th>
      ${has("tube_mm") ? html`<th scope="col">tube</th>` : null}<th scope="col">over both tips</th>
      ${has("centres_mm") ? html`<th scope="col">between balls</th>` : null}${has("gauge_mm") ? html`<th scope="col">between rings</th>` : null}<th scope="col">±</th></tr></thead>
      <tbody>${a.cuts.map((/** @type {any} */ c) => html`<tr><th scope="row">${called(c.valve)}</th>${has("tube_mm") ? html`<td class="strong">
        ${cell(c.tube_mm)}</td>` : null}<td class="strong">${cell(c.overall_mm)}</td>${has("centres_mm") ? html`<td>
        ${cell(c.centres_mm)}</td>` : null}${has("gauge_mm") ? html`<td>${cell(c.gauge_mm)}</td>` : null}<td>${cell(c.length_u_mm)}</td>
        </tr>`)}</tbody></table></div>
    <h3>Tally</h3><ul class="plain">${a.tally.map((/** @type {any} */ t) => html`<li><strong>
      ${t.count} × ${length(fromMm(t.length_mm), unit)}</strong>: ${t.valves.map((/** @type {string} */ v) => called(v)).join(", ")}</li>`)}</ul>
    ${a.thread_left_mm !== undefined ? html`<p>Thread left, downwards: ${length(fromMm(a.thread_left_mm), unit)}.</p>` : null}
    ${a.lash ? html`<h3>Lash when warm</h3><dl class="facts"><div><dt>set cold</dt><dd>${length(fromMm(a.lash.cold_lash_mm), unit)}</dd></div><div>
      <dt>warming opens it, at the valve</dt><dd>${withUncertainty(fromMm(a.lash.opens_at_valve_mm), fromMm(a.lash.opens_at_valve_u_mm), unit)}</dd>
      </div>
      ${a.lash.trade_rule_mm !== undefined ? html`<div><dt>the trade's rule (common practice, no source)</dt><dd>
        ${length(fromMm(a.lash.trade_rule_mm), unit)}</dd></div>` : null}</dl>${a.lash.rule ? html`<p class="hint">
        ${a.lash.rule}</p>` : null}
      <${Sentences} list=${a.lash.says} />` : null}
    <${Sentences} list=${a.says} /><${Basis} of=${a} /></section>`;
}
