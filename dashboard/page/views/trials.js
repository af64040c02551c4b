// The trials of a valve: what was tried, what comes next, and the rocker drawn
// as it is and as it would be.

import { useEffect, useState } from "../lib/hooks.js";
import { DraftLine, saveOver, there, useDraft } from "../draft.js";
import { Fold, Form, html, LengthField, LengthsField, Mark, Nothing, NumberField, TextField, Trouble, useApp, useFetched, useOnlyShows, usePart, useValveWords } from "../ui.js";
import { shown } from "../state.js";
import { digits, fromMm, length, shim, toMm, withUncertainty } from "../units.js";
import { sideOf } from "../valve.js";
import { poses } from "../rocker.js";
import { query } from "../api.js";
import { RockerPicture, SweepPicture } from "../rockerview.js";
import { FittedLine } from "../fittedline.js";
import { Basis, sentence, Sentences } from "../says.js";
import { Sweep } from "./sweep.js";
import { Photographs } from "./photo.js";

/** @typedef {import("../engine.js").Trial} Trial */

export function Trials() {
  const app = useApp();
  const bench = usePart(app.store, (s) => s.bench);
  const [looked, setLooked] = useState(""); // another valve's trials, without moving the indicator
  const valve = looked || bench.valve;
  useEffect(() => setLooked(""), [bench.engine, bench.valve]);
  if (!bench.engine || !bench.valve) return html`<h1>Trials</h1>
    <${Nothing} says="Trials belong to a valve. Choose the engine and the valve first." href="#/engine" label="To the engine" />`;
  return html`<${ValveTrials} key=${`${bench.engine} ${valve}`} engineId=${bench.engine} valve=${valve} onStand=${bench.valve} look=${setLooked} />`;
}

/** @param {{engineId: string, valve: string, onStand: string, look: (valve: string) => void}} props onStand: the valve under the indicator */
function ValveTrials({ engineId, valve, onStand, look }) {
  const called = useValveWords();
  const app = useApp();
  const unit = usePart(app.store, (s) => s.unit);
  const at = `/engines/${encodeURIComponent(engineId)}`;
  const engine = useFetched((signal) => app.api.get(at, signal), [engineId]);
  const trials = useFetched((signal) => app.api.get(`${at}/trials?valve=${encodeURIComponent(valve)}`, signal), [engineId, valve]);
  const valves = useFetched((signal) => app.api.get(`${at}/valves`, signal), [engineId, valve, trials.value?.length]);
  const list = /** @type {Trial[]} */ (trials.value ?? []);
  const [edited, setEdited] = useState(""), editing = list.find((t) => t.id === edited) ?? null;
  const looks = useOnlyShows();
  const known = valves.value?.find((/** @type {any} */ v) => v.valve === valve)?.max_lift_mm ?? null;
  const others = /** @type {import("../engine.js").ValveState[]} */ (valves.value ?? []).filter((v) => v.trials > 0 || v.valve === onStand || v.valve === valve);
  return html`<h1>Trials <small>${called(valve)}</small></h1>
    ${others.length > 1 ? html`<label class="inline">Trials of <select value=${valve} onChange=${(/** @type {any} */ e) => look(e.target.value === onStand ? "" : e.target.value)}>
      ${others.map((v) => html`<option value=${v.valve} selected=${v.valve === valve}>${called(v.valve)}${v.valve === onStand ? ", under the indicator" : ""}</option>`)}</select></label>` : null}
    <${Trouble} text=${engine.error || trials.error} />
    ${trials.value && list.length === 0 ? html`<${Nothing} says="Nothing was tried yet. Turn to half lift, hold, and measure by how much the adjuster end of the rocker sits below its valve end; write it here or on the bench." href="#/bench" label="To the bench" />` : null}
    ${list.length ? html`<${TrialTable} list=${list} unit=${unit} again=${trials.again} edit=${(/** @type {Trial} */ t) => setEdited(t.id)} />` : null}
    ${engine.value ? html`${looks ? null : html`<${TrialForm} key=${editing ? editing.id : `new after ${list.length}`} at=${at} valve=${valve} editing=${editing}
      last=${list.at(-1)} maxLift=${known} unit=${unit} renew=${(/** @type {Trial} */ t) => trials.set(list.map((had) => (had.id === t.id ? t : had)))} done=${() => { setEdited(""); trials.again(); }} />`}
      <${Next} engine=${engine.value} valve=${valve} list=${list} unit=${unit} saved=${engine.set} />
      <${Sweep} at=${at} valve=${valve} unit=${unit} />
      <${Photographs} at=${at} list=${list} valve=${valve} maxLift=${known} unit=${unit} again=${trials.again} />
      <${Picture} engine=${engine.value} valve=${valve} list=${list} maxLift=${known} unit=${unit} />` : null}`;
}

/** @param {Trial} t */
const height = (t) => (t.stack_mm ?? []).reduce((sum, s) => sum + fromMm(s), 0);

/** @param {{list: Trial[], unit: import("../units.js").Unit, again: () => void, edit: (t: Trial) => void}} props */
function TrialTable({ list, unit, again, edit }) {
  const app = useApp();
  const looks = useOnlyShows();
  const cell = (/** @type {number|null|undefined} */ mm) => (mm === null || mm === undefined ? "–" : digits(fromMm(mm), unit));
  const remove = async (/** @type {Trial} */ t) => {
    if (!confirm("Delete this trial? Its traces stay.")) return;
    try {
      await app.api.del(`/trials/${encodeURIComponent(t.id)}?rev=${t.rev}`);
      again();
    } catch (err) {
      app.notify(/** @type {Error} */ (err).message, "problem");
    }
  };
  return html`<div class="wide" tabindex="0" role="group" aria-label="Table, may scroll sideways"><table>
    <caption class="sr">Trials, lengths in ${unit}</caption><thead><tr><th scope="col">#</th><th scope="col">stack</th>
    <th scope="col" class="words">of shims</th><th scope="col">pushrod</th><th scope="col">lash</th>
      <th scope="col">adjuster below valve, at half lift</th><th scope="col">sweep</th><th scope="col">max lift</th>
        <th scope="col" class="words">remark</th><th><span class="sr">Edit or delete</span></th></tr></thead>
    <tbody>${list.map((t, i) => html`<tr key=${t.id}><th scope="row">${i + 1}</th><td class="strong">${digits(height(t), unit)}</td>
      <td class="words">${(t.stack_mm ?? []).map((s) => shim(fromMm(s), unit)).join(" + ") || "none"}</td>
      <td>${t.pushrod_length_mm ? cell(t.pushrod_length_mm) : "–"}</td><td>${t.lash_mm ? cell(t.lash_mm) : "–"}</td><td class="strong">
        ${cell(t.adjuster_below_valve_mm)}</td><td>${cell(t.sweep_mm)}</td><td>${cell(t.max_lift_mm)}</td>
      <td class="words">${t.remark ?? ""}</td><td>${looks ? null : html`
        <button class="quiet" onClick=${() => edit(t)} aria-label=${`Edit trial ${i + 1}`}>Edit</button> <button class="quiet"
          onClick=${() => remove(t)} aria-label=${`Delete trial ${i + 1}`}>Delete</button>`}</td></tr>`)}</tbody></table></div>`;
}

/** @param {{at: string, valve: string, editing: Trial|null, last: Trial|undefined, maxLift: number|null, unit: import("../units.js").Unit, done: () => void, renew: (t: Trial) => void}} props */
function TrialForm({ at, valve, editing, last, maxLift, unit, done, renew }) {
  const app = useApp();
  const from = editing ?? last;
  const nm = (/** @type {number|null|undefined} */ mm) => (mm === null || mm === undefined ? null : fromMm(mm));
  const blank = () => ({
    stack: (from?.stack_mm ?? []).map(fromMm), pushrod: nm(from?.pushrod_length_mm), lash: nm(from?.lash_mm), below: nm(editing?.adjuster_below_valve_mm),
    sweep: nm(editing?.sweep_mm), openClosed: nm(editing?.open_vs_closed_mm), lift: nm(editing ? editing.max_lift_mm : maxLift), remark: editing?.remark ?? "",
  });
  const name = `trial.${editing ? editing.id : `${at}.${valve}`}`;
  const typed = useDraft(name, blank()), d = typed.value, setD = typed.set;
  const [wrong, setWrong] = useState("");
  const set = (/** @type {string} */ name) => (/** @type {any} */ v) => setD({ ...d, [name]: v });
  const keep = async () => {
    try {
      const mm = (/** @type {number|null} */ nm) => (nm === null ? undefined : toMm(nm));
      const written = { valve, stack_mm: d.stack.map(toMm), pushrod_length_mm: mm(d.pushrod), lash_mm: mm(d.lash), adjuster_below_valve_mm: mm(d.below), sweep_mm: mm(d.sweep), open_vs_closed_mm: mm(d.openClosed), max_lift_mm: mm(d.lift), remark: d.remark };
      const path = `/trials/${encodeURIComponent(editing?.id ?? "")}`;
      if (editing) await saveOver({ stored: editing, value: { ...editing, ...written }, get: async () => there(/** @type {Trial[]} */ (await app.api.get(`${at}/trials?valve=${encodeURIComponent(editing.valve)}`)).find((t) => t.id === editing.id)), put: (next) => app.api.put(path, next), renew });
      else await app.api.post(`${at}/trials`, written);
      typed.done(editing ? d : undefined);
      setWrong("");
      app.notify("The trial is saved.");
      done();
    } catch (err) {
      setWrong(/** @type {Error} */ (err).message);
    }
  };
  return html`<${Fold} class="panel" open=${!last || editing !== null || typed.open} summary=${editing ? "Edit the trial" : "New trial"}>
    <${Form} class="grid" onSubmit=${keep} draft=${typed}>
    <${LengthsField} label="Shims under the stand" nms=${d.stack} unit=${unit} of="shim" onChange=${set("stack")}
      hint=${`thicknesses with + between, as in ${unit === "in" ? "0.050 + 0.020" : "0.40 + 0.80"}; empty for none`} />
    <${LengthField} label="Adjuster end below valve end" nm=${d.below} unit=${unit} of="height" onChange=${set("below")} hint="at half lift; a minus when it sits higher" />
    <${LengthField} label="Pushrod length" nm=${d.pushrod} unit=${unit} of="pushrod" onChange=${set("pushrod")} />
    <${LengthField} label="Lash" nm=${d.lash} unit=${unit} of="lash" onChange=${set("lash")} />
    <${LengthField} label="Sweep on the stem" nm=${d.sweep} unit=${unit} of="sweep" onChange=${set("sweep")} hint="the width of the mark in the ink" />
    <${LengthField} label="Line at full lift nearer the pivot" nm=${d.openClosed} unit=${unit} of="off" onChange=${set("openClosed")}
      hint="than the line of the closed valve, in ink on the stem; a minus when farther away. It shows square whatever the rocker's bend" />
    <${LengthField} label="Max lift" nm=${d.lift} unit=${unit} of="lift" onChange=${set("lift")} />
    <${TextField} label="Remark" value=${d.remark} onChange=${set("remark")} />
    <${Trouble} text=${wrong} /><p><button>Save</button></p><${DraftLine} draft=${typed} /><//><//>`;
}

/**
 * The one thing that the next shim still wants, asked where it is missed.
 * @param {{engine: any, valve: string, saved: (engine: any) => void}} props
 */
function AskRatio({ engine, valve, saved }) {
  const app = useApp();
  const looks = useOnlyShows();
  const side = sideOf(valve) || "intake";
  const typed = useDraft(`ratio.${engine.id}.${side}`, { ratio: /** @type {number|null} */ (null) }), ratio = typed.value.ratio;
  if (looks) return html`<p>The next shim follows from the rocker ratio, or from both arms; neither is known.</p>`;
  const save = async () => {
    try {
      const at = `/engines/${encodeURIComponent(engine.id)}`, now = await app.api.get(at);
      saved(await app.api.put(at, { ...now, rocker_ratio: { ...now.rocker_ratio, [side]: ratio } }));
      typed.done();
    } catch (err) {
      app.notify(/** @type {Error} */ (err).message, "problem");
    }
  };
  return html`<${Form} class="panel grid" onSubmit=${save} draft=${typed}>
    <${NumberField} label=${`Rocker ratio, ${side}`} value=${ratio} range=${{ least: 0.5, most: 5 }} onChange=${(/** @type {number|null} */ v) => typed.set({ ratio: v })}
      hint="the next shim follows from it; it is saved with the engine. With both arms measured instead, enter them there" />
    <p><button disabled=${!ratio}>Save</button> <a href="#/engine">To the engine</a></p><${DraftLine} draft=${typed} /><//>`;
}

/**
 * The next stack, as the daemon works it out of all trials.
 * @param {{engine: any, valve: string, list: Trial[], unit: import("../units.js").Unit, saved: (engine: any) => void}} props
 */
function Next({ engine, valve, list, unit, saved }) {
  const app = useApp();
  const used = list.filter((t) => t.adjuster_below_valve_mm !== null && t.adjuster_below_valve_mm !== undefined);
  const { value: asked, error } = useFetched((signal) => app.api.get(`/engines/${encodeURIComponent(engine.id)}/next${query({ valve, unit })}`, signal), [engine.rev, valve, unit, JSON.stringify(list)]);
  if (used.length === 0) return null;
  if (asked?.lacks.includes("ratio")) return html`<section><h2>Next shim</h2><${AskRatio} engine=${engine} valve=${valve} saved=${saved} /></section>`;
  const next = asked?.answer;
  if (!next) return html`<section><h2>Next shim</h2><${Trouble} text=${error || (asked?.no_answer && sentence(asked.no_answer))} /></section>`;
  const nm = (/** @type {number} */ mm) => fromMm(mm);
  const add = nm(next.add_mm), square = next.verdict.is === "meets", close = Math.abs(add) <= nm(next.wanted_u_mm) && next.wanted_u_mm > next.tolerance_mm;
  const stack = next.stack_mm ?? [];
  return html`<section class="next-shim"><h2>Next shim</h2><${Trouble} text=${error} />
    ${asked.notes.map((/** @type {string} */ n) => html`<p class="fault"><${Mark} shape="triangle" /> ${sentence(n)}</p>`)}
    <p class="lead">${square ? html`<${Mark} shape="check" kind="good" /> Square at half lift to ${length(nm(next.tolerance_mm), unit)}, its ± counted. Leave the stand.`
      : next.turned_round ? html`<${Mark} shape="triangle" /> Nothing is put together: the heights look like ones with the sign turned round.`
      : close ? html`<${Mark} shape="triangle" /> Whether it is square to ${length(nm(next.tolerance_mm), unit)} cannot be told: the ± is ${length(nm(next.wanted_u_mm), unit)}. Measure what is named below before metal is cut.`
      : stack.length ? html`Fit <strong>
        ${stack.map((/** @type {number} */ s) => shim(nm(s), unit)).join(" + ")} ${unit}</strong> in all, then judge it again at half lift.`
      : html`${add > 0 ? "Add" : "Take away"} <strong>
        ${length(Math.abs(add), unit)}</strong>. ${engine.shims_on_hand?.length ? "No stack of the shims on hand comes near." : html`Write down <a href="#/engine">the shims on hand</a>, and the stack is put together here.`}`}</p>
    <dl class="facts"><div><dt>wanted, the whole stack</dt><dd>${withUncertainty(nm(next.wanted_mm), nm(next.wanted_u_mm), unit)}</dd></div>
      ${stack.length ? html`<div><dt>this stack</dt><dd>${length(nm(next.total_mm), unit)}</dd></div><div><dt>then left over at half lift</dt><dd>
        ${withUncertainty(nm(next.left_over_mm), nm(next.left_over_u_mm), unit)}</dd></div>` : null}
      <div><dt>pushrod grows by</dt><dd>${withUncertainty(nm(next.pushrod_longer_mm), nm(next.pushrod_longer_u_mm), unit)}</dd></div></dl>
    ${(next.disagree ?? []).map((/** @type {any} */ d) => html`<p class="fault">
      <${Mark} shape="triangle" /> <strong>Trial ${d.trial} does not go with the others</strong>, by ${length(nm(d.by_mm), unit)}. Measure it again.</p>`)}
    <${Sentences} list=${next.says} />
    <${FittedLine} trials=${used.map((t) => ({ stack: height(t), below: nm(t.adjuster_below_valve_mm ?? 0) }))} wanted=${nm(next.wanted_mm)}
      wantedU=${nm(next.wanted_u_mm)} shows=${nm(next.square_shows_mm)} slope=${next.slope} unit=${unit} disagree=${(next.disagree ?? []).map((/** @type {any} */ d) => d.trial - 1)} />
    <${Basis} of=${next} /></section>`;
}

/**
 * The rocker drawn, from the newest trial with a height difference.
 * @param {{engine: any, valve: string, list: Trial[], maxLift: number|null, unit: import("../units.js").Unit}} props
 */
function Picture({ engine, valve, list, maxLift, unit }) {
  const app = useApp();
  const [which, setWhich] = useState("now");
  const state = usePart(app.store, (s) => s);
  const { value: asked, error } = useFetched((signal) => app.api.get(`/engines/${encodeURIComponent(engine.id)}/rocker${query({ valve, poses, unit })}`, signal), [engine.rev, valve, unit, maxLift, JSON.stringify(list)]);
  const value = asked?.answer, below = asked?.question.adjuster_below_valve_mm;
  const lacks = asked?.lacks ?? [];
  if (lacks.length) return html`<section><h2>The rocker</h2>
    <${Nothing} says=${lacks.includes("lift") ? "To draw the rocker, its max lift is needed: turn the valve once on the bench, or write the card's." : lacks.includes("pad") ? "The height of a pad says nothing without the pad's radius: write it with the engine." : "To draw the rocker, its ratio is needed, or both arms."} href=${lacks.includes("lift") ? "#/bench" : "#/engine"} label=${lacks.includes("lift") ? "To the bench" : "To the engine"} /></section>`;
  if (!value) return html`<section><h2>The rocker</h2><${Trouble} text=${error || (asked?.no_answer && sentence(asked.no_answer))} /></section>`;
  const setting = value[which];
  const p = shown(state).position;
  const live = p && p.sign !== 0 ? p.lift_nm : null;
  return html`<section><h2>The rocker, to scale</h2><${Trouble} text=${error} />
    <div class="row" role="group" aria-label="Which set-up is drawn">
      ${[["now", "As it is"], ["square", "Square at half lift"]].map(([v, t]) => html`<button class="toggle"
        aria-pressed=${v === which ? "true" : "false"} onClick=${() => setWhich(v)}>${t}</button>`)}</div>
    <div class="pictures"><${RockerPicture} setting=${setting} tipRadius=${3} lift_nm=${live} unit=${unit} replay=${Boolean(state.replay)} />
      <${SweepPicture} setting=${setting} lift_nm=${live} unit=${unit} /></div>
    <dl class="facts"><div><dt>sweep</dt><dd>${withUncertainty(fromMm(value.now.sweep_mm), fromMm(value.sweep_u_mm), unit)}</dd></div><div>
      <dt>least possible sweep</dt><dd>${length(fromMm(value.least_sweep_mm), unit)}</dd></div></dl>
    ${below === undefined ? html`<p>No height difference is written down yet, so the rocker is drawn as if it were square at half lift.</p>` : null}<${Basis} of=${value} /></section>`;
}
