// The engine: its map of valves with what is known and what is missing, and the
// form of everything that is set down about it once.

import { useState } from "../lib/hooks.js";
import { DraftLine, readDraft, useDraft } from "../draft.js";
import { Form, html, Mark, Nothing, Trouble, useApp, useFetched, useOnlyShows, usePart, useValveWords } from "../ui.js";
import { digits, withUncertainty } from "../units.js";
import { alongHead, banks, blankEngine, cylinderOf, progress, sideOf } from "../engine.js";
import { fieldsOf } from "../form.js";
import { standardWords } from "../valve.js";
import { onlyShows } from "../state.js";
import { EngineForm } from "./engineform.js";

export function EngineView() {
  const app = useApp();
  const state = usePart(app.store, (s) => s);
  const { bench, unit } = state;
  const engines = useFetched((signal) => app.api.get("/engines", signal), [bench.engine]);
  const [adding, setAdding] = useState(readDraft("engine") !== null || readDraft("engine.unread") !== null); // half filled before a reload
  const looks = useOnlyShows();
  const list = /** @type {import("../engine.js").Engine[]} */ (engines.value ?? []);
  const choose = async (/** @type {string} */ id) => {
    try {
      // Its first valve of the order of work, so that what is turned next belongs somewhere.
      const valves = id ? await app.api.get(`/engines/${encodeURIComponent(id)}/valves`) : [];
      await app.setBench({ engine: id, valve: valves[0]?.valve ?? "", trial: "" });
      const units = list.find((e) => e.id === id)?.units;
      if (units && units !== unit) app.setUnit(units);
    } catch (err) {
      app.notify(/** @type {Error} */ (err).message, "problem");
    }
  };
  const none = engines.value && list.length === 0;
  return html`<h1>Engine</h1>
    <${Trouble} text=${engines.error} />
    ${list.length ? html`<div class="row">
      <label class="inline">${looks ? "Engine" : "On the stand"} <select value=${bench.engine} onChange=${(/** @type {any} */ e) => choose(e.target.value)}>
      <option value="">none chosen</option>${list.map((e) => html`<option value=${e.id} selected=${e.id === bench.engine}>
        ${e.name || e.id}</option>`)}</select></label>
      ${looks ? null : html`<button class="quiet" onClick=${() => setAdding(!adding)} aria-expanded=${adding ? "true" : "false"}>New engine</button>`}</div>` : null}
    ${none && looks ? html`<${Nothing} says="No bench has sent an engine yet." href="#/shop" label="To the shop" />` : none ? html`<${Nothing} says="No engine is named yet. A name, the layout and two numbers are enough to begin; the rest can come later." />` : null}
    ${!looks && (adding || none) ? html`<${NewEngine} unit=${unit} done=${() => { setAdding(false); engines.again(); }} />` : null}
    ${bench.engine ? html`<${TheEngine} key=${bench.engine} id=${bench.engine} state=${state}
      renamed=${engines.again} />` : list.length ? html`<${Nothing} says=${looks ? "Choose an engine." : "Choose the engine that is on the stand."} />` : null}`;
}

const layouts = /** @type {const} */ ([["inline", "inline"], ["vee", "vee"], ["flat", "flat, opposed"], ["single", "single cylinder"]]);

/** @param {{unit: import("../units.js").Unit, done: () => void}} props */
function NewEngine({ unit, done }) {
  const app = useApp();
  const typed = useDraft("engine", /** @type {any} */ ({ ...blankEngine(), units: unit })), draft = typed.value, setDraft = typed.set;
  const put = (/** @type {any} */ next) => setDraft(next.layout === "vee" && draft.layout !== "vee" && next.cylinders === 4 ? { ...next, cylinders: 8 } : next); // the commonest vee
  const f = fieldsOf(draft, put, unit);
  const add = async () => {
    try {
      const made = await app.api.post("/engines", { ...draft, cylinders: Number(draft.cylinders), valves_per_cylinder: Number(draft.valves_per_cylinder) });
      const valves = await app.api.get(`/engines/${encodeURIComponent(made.id)}/valves`);
      await app.setBench({ engine: made.id, valve: valves[0]?.valve ?? "", trial: "" });
      typed.done();
      app.notify(`${made.name || made.id} is on the stand.`);
      done();
    } catch (err) {
      app.notify(/** @type {Error} */ (err).message, "problem");
    }
  };
  return html`<${Form} class="panel grid" onSubmit=${add} draft=${typed}><h2>New engine</h2>
    ${f.text("name", "Name", "as you call this build")}
    ${f.choice("layout", "Layout", layouts)}
    ${f.number("cylinders", "Cylinders", "", "", { least: 1, most: 48, whole: true })}
    ${f.number("valves_per_cylinder", "Valves in a cylinder", "", "", { least: 2, most: 6, whole: true })}
    <p><button disabled=${draft.name.trim() === ""}>Save</button></p><${DraftLine} draft=${typed} /><//>`;
}

/** @param {{id: string, state: import("../state.js").State, renamed: () => void}} props */
function TheEngine({ id, state, renamed }) {
  const app = useApp();
  const at = `/engines/${encodeURIComponent(id)}`;
  const engine = useFetched((signal) => app.api.get(at, signal), [id]);
  const valves = useFetched((signal) => app.api.get(`${at}/valves`, signal), [id, engine.value?.rev, state.engine.findingsOf, state.engine.trace?.state, state.engine.openings.length]);
  if (!engine.value) return html`<${Trouble} text=${engine.error} />`;
  return html`<${Trouble} text=${engine.error || valves.error} />
    ${valves.value ? html`<${ValveMap} engine=${engine.value} valves=${valves.value} state=${state} />` : null}
    ${onlyShows(state) ? html`<fieldset class="read" disabled><legend class="sr">Its card, to read</legend>
      <${EngineForm} engine=${engine.value} unit=${state.unit} kept=${() => {}} gone=${() => {}} renew=${() => {}} /></fieldset>` : html`<${EngineForm} engine=${engine.value} unit=${state.unit} kept=${(/** @type {any} */ e) => { engine.set(e); renamed(); }} gone=${renamed} renew=${engine.set} />`}`;
}

/** @type {Record<string, {shape: string, says: string}>} */
const signs = { whole: { shape: "check", says: "all known" }, part: { shape: "square", says: "started" }, nothing: { shape: "ring", says: "nothing yet" } };

/**
 * @param {{engine: import("../engine.js").Engine, valves: import("../engine.js").ValveState[], state: import("../state.js").State}} props
 */
function ValveMap({ engine, valves, state }) {
  const called = useValveWords();
  const app = useApp();
  const { unit, bench } = state;
  const rows = banks(engine);
  const go = (/** @type {string} */ valve) => app.setBench({ valve, trial: "" }).catch((err) => app.notify(err.message, "problem"));
  const here = valves.find((v) => v.valve === bench.valve);
  const done = valves.filter((v) => progress(v) === "whole").length;
  const cell = (/** @type {number} */ cylinder) => html`<div class="cylinder" role="group" aria-label=${`Cylinder ${cylinder}`}>
    <span class="cylinder-number" aria-hidden="true">${cylinder}</span>
    ${alongHead(valves.filter((v) => cylinderOf(v.valve) === cylinder), engine).map((v) => {
      const how = progress(v), lift = v.max_lift_mm ? digits(v.max_lift_mm * 1e6, unit) : "–";
      const off = v.off_mm === undefined ? "" : digits(v.off_mm * 1e6, unit, { sign: true });
      return html`<button class=${`valve ${sideOf(v.valve)} ${how}`} aria-pressed=${v.valve === bench.valve ? "true" : "false"} onClick=${() => go(v.valve)}>
        <span class="sr">${called(v.valve)}, ${signs[how].says}. Max lift:</span><span class="valve-side" aria-hidden="true">
          ${v.own ?? `${sideOf(v.valve) === "intake" ? "int" : "exh"}${v.valve.replace(/^\d+[IE]/, "")}`}</span><span class="valve-lift">${lift}</span>
          ${off ? html`<span class=${v.beyond ? "valve-off beyond" : "valve-off"}>${v.beyond ? html`<${Mark} shape="triangle" />` : ""}<span class="sr">${v.beyond ? "differs from its kind by" : "same as its kind, off by"}</span> ${off}</span>` : null}
          ${v.again ? html`<span class="valve-off beyond">again<span class="sr">: to be measured again, ${v.again}</span></span>` : null}<${Mark} shape=${signs[how].shape} /></button>`;
    })}</div>`;
  return html`<section><h2>${engine.name || engine.id}: ${done} of ${valves.length} valves done</h2>
    <div class=${`valve-map ${engine.layout ?? "inline"}`}><span class="front">front</span>
      ${rows.map((row) => html`<div class="bank">${row.map(cell)}</div>`)}</div>
    <p class="hint">Figures are max lift, ${unit}; the small one is how far from the median of the others of its kind, <${Mark} shape="triangle" /> where their ± do not explain it. ${Object.values(signs).map((s) => html`<${Mark} shape=${s.shape} /> ${s.says} `)}
      ${rows.length > 1 && !engine.heads?.length ? "· Odd cylinders stand on one side here and even ones on the other; only the drawing depends on it. How the heads lie can be said below." : ""}</p>
    ${here ? html`<div class="panel"><h3>${called(here.valve)}${here.own ? html` <small>${standardWords(here.valve)}</small>` : null}</h3>
      ${here.max_lift_mm && here.max_lift_u_mm ? html`<p>Max lift ${withUncertainty(here.max_lift_mm * 1e6, here.max_lift_u_mm * 1e6, unit)}${here.off_mm === undefined ? "" : here.beyond
        ? html`; <strong>differs</strong> from the other ${sideOf(here.valve)}s by ${digits(here.off_mm * 1e6, unit, { sign: true })}, beyond the ± of both` : `; the same as the other ${sideOf(here.valve)}s within the ± of both (${digits(here.off_mm * 1e6, unit, { sign: true })})`}.</p>` : null}
      ${here.again ? html`<p class="fault"><${Mark} shape="triangle" /> <strong>To be measured again:</strong> ${here.again}.</p>` : null}
      <p>${here.missing.length ? html`Still missing: ${here.missing.join(", ")}.` : "Nothing is missing."} ${here.traces} ${here.traces === 1 ? "trace" : "traces"}, ${here.trials} ${here.trials === 1 ? "trial" : "trials"}.</p>
      <p class="row">${onlyShows(state) ? null : html`<a class="button" href="#/bench">Turn it on the bench</a>`}<a class="button quiet" href="#/trials">Trials</a>
        ${here.trace ? html`<a class="button quiet" href=${`#/traces/${here.trace}`}>Its trace</a>` : null}<button class="quiet"
          onClick=${() => app.act("next")}>Next valve</button></p></div>`
      : html`<${Nothing} says=${onlyShows(state) ? "Choose a valve in the map: its trials and traces follow it." : "Choose a valve in the map: what is measured next belongs to it."} />`}
  </section>`;
}
