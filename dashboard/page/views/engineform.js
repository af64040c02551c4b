// Everything that is set down about an engine once: what it is, its cam card,
// the limits that its builder wants, the shims in the drawer.

import { useState } from "../lib/hooks.js";
import { DraftLine, saveOver, useDraft } from "../draft.js";
import { Form, html, LengthField, NumberField, Trouble, TypedField, useApp, useOnlyShows } from "../ui.js";
import { degrees, fromMm, toMm } from "../units.js";
import { ownNamed, setAt, valveNames } from "../engine.js";
import { readFiringOrder, readHeads, readOrderOfWork, showHeads } from "../reads.js";
import { BendPicture } from "../helpdrawings.js";
import { fieldsOf } from "../form.js";
import { mostOwn, readOwnName, standardWords } from "../valve.js";
import { tdcWords, tidied, withTdc } from "../tdc.js";

const cylinders = { least: 1, most: 48, whole: true }, valvesEach = { least: 2, most: 6, whole: true }, howMany = { least: 0, most: 10000, whole: true }, cardOff = { least: 0, most: 45 };
/** An encoder may have counted many turns by then. */
const turns = { least: -360000, most: 360000 };

/** @param {{engine: import("../engine.js").Engine, unit: import("../units.js").Unit, kept: (engine: any) => void, gone: () => void, renew: (engine: any) => void}} props */
export function EngineForm({ engine, unit, kept, gone, renew }) {
  const app = useApp();
  const typed = useDraft(`engine.${engine.id}`, /** @type {any} */ (engine)), draft = typed.value, setDraft = typed.set;
  const [error, setError] = useState("");
  const looks = useOnlyShows();
  const f = fieldsOf(draft, setDraft, unit);
  const tdc = draft.tdc?.angle_deg === undefined ? null : draft.tdc;
  const at = `/engines/${encodeURIComponent(engine.id)}`;
  const keep = async () => {
    if (!typed.open) return app.notify("Nothing was changed.");
    try {
      kept(await saveOver({ stored: engine, value: draft, get: () => app.api.get(at), put: (next, over) => app.api.put(at, ownNamed(tidied(next, over))), renew }));
      typed.done(draft);
      setError("");
      app.renew();
      app.notify("The engine is saved.");
    } catch (err) {
      setError(/** @type {Error} */ (err).message);
    }
  };
  const remove = async () => {
    if (!confirm(`Delete ${engine.name || engine.id}? Its traces stay; its card, limits and trials go.`)) return;
    try {
      await app.api.del(`${at}?rev=${engine.rev}`);
      typed.done();
      await app.setBench({ engine: "", valve: "", trial: "" });
      gone();
    } catch (err) {
      setError(/** @type {Error} */ (err).message);
    }
  };
  return html`<${Form} class="engine-form" onSubmit=${keep} draft=${typed}>
    <details open><summary>The engine</summary><div class="grid">
      ${f.text("name", "Name")}${f.text("type", "Type", "what builds of one kind have in common; a shop compares them")}
      ${f.choice("layout", "Layout", [["inline", "inline"], ["vee", "vee"], ["flat", "flat, opposed"], ["single", "single cylinder"]])}
      ${f.number("cylinders", "Cylinders", "", "", cylinders)}${f.number("valves_per_cylinder", "Valves in a cylinder", "", "", valvesEach)}
      <${TypedField} label="Firing order" hint="as in 1-3-4-2" kind="cylinders" value=${draft.firing_order} empty=${undefined}
        show=${(/** @type {number[]} */ order) => order.join("-")} read=${(/** @type {string} */ t) => readFiringOrder(t, draft.cylinders)}
        onChange=${(/** @type {number[]|null} */ order) => setDraft(setAt(draft, "firing_order", order ?? undefined))} />
      <${TypedField} label="Along each head" hint="front first, a stroke between heads: cylinders as in 1 3 5 7 / 2 4 6 8, or valves as in 1E 1I 3I 3E / 2E 2I 4I 4E" kind="heads" value=${draft.heads} empty=${undefined}
        show=${showHeads} read=${(/** @type {string} */ t) => readHeads(t, valveNames(draft))}
        onChange=${(/** @type {string[][]|null} */ heads) => setDraft(setAt(draft, "heads", heads ?? undefined))} />
      ${f.choice("rotation", "Crank turns, seen from the front", [["clockwise", "clockwise"], ["anticlockwise", "anticlockwise"]])}
      ${f.choice("units", "Lengths of this engine in", [["", "as the page"], ["in", "inches"], ["mm", "millimetres"]])}
      ${f.length("stroke_mm", "Stroke")}${f.length("rod_mm", "Connecting rod", "centre to centre")}
      ${f.length("bore_mm", "Bore")}${f.number("compression", "Compression ratio", "", "of the whole stroke; with stroke and rod the effective one is told", { least: 1.5, most: 40 })}
    </div></details>
    <details><summary>Names of your own for the valves</summary><p class="hint">As they stand on the heads or in your notes: shown, spoken and printed in place of the usual words, ${mostOwn} letters at most. Empty: the usual words.</p><div class="grid">
      ${valveNames(draft).map((v) => html`<${TypedField} key=${v} label=${standardWords(v)} name=${`own ${v}`} kind="own-name" value=${draft.valve_names?.[v]} empty=${undefined} show=${String}
        read=${(/** @type {string} */ t) => readOwnName(t, v, valveNames(draft), draft.valve_names ?? {})}
        onChange=${(/** @type {string|null} */ own) => setDraft(setAt(draft, `valve_names.${v}`, own ?? undefined))} />`)}
    </div></details>
    <details><summary>Valves and ports</summary><div class="grid">
      ${["intake", "exhaust"].map((v) => html`${f.length(`ports.${v}.head_mm`, `Valve head, ${v}`, "over its seat")}${f.length(`ports.${v}.seat_width_mm`, `Seat width, ${v}`, "as it lies")}
      ${f.length(`ports.${v}.throat_mm`, `Throat, ${v}`, "the narrowest below the seat")}${f.length(`ports.${v}.stem_mm`, `Stem, ${v}`)}`)}
    </div></details>
    <details><summary>Rockers and pushrods</summary><div class="grid">
      ${f.known("rocker_ratio.intake", "Rocker ratio, intake")}${f.known("rocker_ratio.exhaust", "Rocker ratio, exhaust")}
      ${f.length("rocker_arm_mm", "Valve arm", "pivot to where the tip touches; a caliper will do")}
      ${f.length("adjuster_arm_mm", "Adjuster arm", "pivot to the pushrod's cup")}
      ${f.choice("rocker_tip", "Tip", [["", "roller"], ["pad", "pad"]])}${draft.rocker_tip === "pad" ? f.length("rocker_tip_radius_mm", "Radius of the pad", "a radius gauge; arm and heights are those of where it touches") : null}
      ${f.length("ball_above_line_mm", "Adjuster's ball above the line", "a straight edge through the centres of tip and pivot: how far does the middle of the ball stand above it? A minus when below, 0 for a straight rocker; the next shim hangs on it")}
      <${BendPicture} />
      ${f.text("pushrod.material", "Pushrod material")}${f.length("pushrod.diameter_mm", "Pushrod diameter")}${f.length("pushrod.wall_mm", "Wall")}
      ${f.text("pushrod.ends", "Ends", "as in ball-ball, ball-cup")}${f.length("pushrod.ball_diameter_mm", "Ball diameter")}
    </div></details>
    <details><summary>Top dead centre${tdc ? `: ${degrees(tdc.angle_deg, 2)}` : ": not known"}</summary>
      ${tdc ? html`<p>${tdcWords(tdc)}. <button type="button" class="quiet" onClick=${() => setDraft(withTdc(draft, null))}>Clear</button></p>`
        : html`<p>How to find it stands under <a href="#/timing">Timing</a>; without it the encoder's own zero counts.</p>`}
      <div class="grid">${f.number("tdc.angle_deg", "The encoder shows at TDC of cylinder 1", "°", "of its firing stroke; the other cylinders follow from the firing order", turns)}</div></details>
    <details><summary>Cam card</summary><div class="grid">
      ${f.length("cam_card.checking_lift_mm", "Checking lift", "the lift at which the card gives its events")}
      ${f.number("cam_card.io_btdc_deg", "Intake opens", "° BTDC", "a minus means the other side: ATDC")}${f.number("cam_card.ic_abdc_deg", "Intake closes", "° ABDC")}
      ${f.number("cam_card.eo_bbdc_deg", "Exhaust opens", "° BBDC")}${f.number("cam_card.ec_atdc_deg", "Exhaust closes", "° ATDC")}
      ${f.number("cam_card.lobe_separation_deg", "Lobe separation", "° cam")}
      ${f.length("cam_card.max_lift_intake_mm", "Max lift, intake", "at the valve, lash not taken off")}${f.length("cam_card.max_lift_exhaust_mm", "Max lift, exhaust", "at the valve")}
      ${f.length("cam_card.lash_intake_mm", "Lash, intake")}${f.length("cam_card.lash_exhaust_mm", "Lash, exhaust")}
    </div></details>
    <details><summary>Limits that you want kept</summary><div class="grid">
      <p class="hint">They are yours: follow the engine maker's figures. What is usual stands in Help as common practice, without a source.</p>
      ${f.length("limits.piston_to_valve_intake_mm", "Piston to valve, intake")}${f.length("limits.piston_to_valve_exhaust_mm", "Piston to valve, exhaust")}
      ${f.length("limits.coil_bind_mm", "Coil bind, left at full lift")}${f.length("limits.retainer_mm", "Retainer to seal or guide")}${f.length("limits.rocker_mm", "Rocker to retainer or stud")}
      ${f.length("limits.square_mm", "Rocker off square at half lift", "either way, as a height of the stand; the thinnest usual shim if left out")}
      ${f.number("limits.card_deg", "A line of the cam card off by", "°", "either way, crank degrees; 2 if left out", cardOff)}${f.length("limits.card_lift_mm", "Max lift off the cam card by", "either way; 0.127 mm (0.005 in) if left out")}
    </div></details>
    <details><summary>Shims on hand</summary>
      <${Shims} list=${draft.shims_on_hand ?? []} unit=${unit} change=${(/** @type {any[]} */ list) => setDraft({ ...draft, shims_on_hand: list })} /></details>
    <details><summary>Order of work and notes</summary><div class="grid">
      <${TypedField} label="Order of work" hint="valve names with spaces between, as in 1I 1E 3I; empty follows the firing order" kind="valves"
        value=${draft.order} empty=${undefined} show=${(/** @type {string[]} */ order) => order.join(" ")}
        read=${(/** @type {string} */ t) => readOrderOfWork(t, valveNames(draft))}
        onChange=${(/** @type {string[]|null} */ order) => setDraft(setAt(draft, "order", order ?? undefined))} />
      ${f.lines("notes", "Notes")}
    </div></details>
    <${Trouble} text=${error} />
    ${looks ? null : html`<p class="row"><button>Save</button>
      <button type="button" class="quiet" onClick=${remove}>Delete the engine</button></p><${DraftLine} draft=${typed} />`}<//>`;
}

/** @param {{list: {thickness_mm: number, count: number}[], unit: import("../units.js").Unit, change: (list: any[]) => void}} props */
function Shims({ list, unit, change }) {
  const put = (/** @type {number} */ i, /** @type {object} */ what) => change(list.map((s, k) => (k === i ? { ...s, ...what } : s)));
  return html`<p class="hint">All that could go under a stand, the ones in use among them.</p>
    ${list.map((s, i) => html`<div class="shim-row" key=${i}>
      <${LengthField} label="Thickness" name=${`shim ${i}`} unit=${unit} of="shim" nm=${s.thickness_mm ? fromMm(s.thickness_mm) : null}
        onChange=${(/** @type {number|null} */ nm) => put(i, { thickness_mm: nm === null ? 0 : toMm(nm) })} />
      <${NumberField} label="How many" name=${`shims ${i}`} range=${howMany} value=${s.count} onChange=${(/** @type {number|null} */ n) => put(i, { count: n ?? 0 })} />
      <button type="button" class="quiet" onClick=${() => change(list.filter((_, k) => k !== i))}>Remove</button></div>`)}
    <p><button type="button" class="quiet" onClick=${() => change([...list, { thickness_mm: 0, count: 1 }])}>Add a thickness</button></p>`;
}
