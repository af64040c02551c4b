// Photographs of a trial's rocker: taken or chosen, marked, and what the daemon
// reads from them.

import { useEffect, useState } from "../lib/hooks.js";
import { DraftLine, saveOver, there, useDraft } from "../draft.js";
import { Choice, Form, html, LengthField, Mark, NumberField, Trouble, useApp, useFetched, useOnlyShows, usePart } from "../ui.js";
import { digits, fromMm, length, toMm, when, withUncertainty } from "../units.js";
import { query } from "../api.js";
import { encoded, everyMark, liftNow, plainMarks, rockerOver } from "../marks.js";
import { Basis, Sentences, verdictSign } from "../says.js";
import { Marking } from "../marking.js";

/** @typedef {{id: string, rev: number, trial: string, at: string, width_px: number, height_px: number, marks?: import("../marks.js").Marks}} Photograph */

/**
 * The photographs of one of a valve's trials. The first photograph of a valve that has no trial makes one.
 * @param {{at: string, list: import("../engine.js").Trial[], valve: string, maxLift: number|null, unit: import("../units.js").Unit, again: () => void}} props
 */
export function Photographs({ at, list, valve, maxLift, unit, again }) {
  const app = useApp();
  const looks = useOnlyShows();
  const [chosen, choose] = useState("");
  const trial = list.find((t) => t.id === chosen) ?? list.at(-1);
  if (!trial && looks) return null;
  const make = async () => {
    const made = await app.api.post(`${at}/trials`, { valve, max_lift_mm: maxLift ?? undefined });
    again();
    return made.id;
  };
  return html`<section class="photographs"><h2>Photographs</h2>
    <p>A picture of the rocker gives its angle to the stem, and by how much to raise the stand. <a href="#/help/photograph">How to hold the phone</a></p>
    ${list.length > 1 ? html`<${Choice} label="Photographs of trial" value=${trial?.id ?? ""} options=${list.map((t, i) => [t.id, String(i + 1)])} onChange=${choose} />` : null}
    <${OfTrial} key=${trial?.id ?? "none"} trial=${trial} make=${make} valve=${valve} unit=${unit} /></section>`;
}

/** @param {{trial: import("../engine.js").Trial|undefined, make: () => Promise<string>, valve: string, unit: import("../units.js").Unit}} props */
function OfTrial({ trial, make, valve, unit }) {
  const app = useApp();
  const looks = useOnlyShows();
  const pathOf = (/** @type {string} */ id) => `/trials/${encodeURIComponent(id)}`;
  const path = trial ? pathOf(trial.id) : "";
  const photographs = useFetched(async (signal) => (path ? app.api.get(`${path}/photographs`, signal) : []), [path]);
  const list = /** @type {Photograph[]} */ (photographs.value ?? []);
  const [opened, open] = useState("");
  const [busy, setBusy] = useState(false);
  const [wrong, setWrong] = useState("");
  const [answer, hear] = useState(/** @type {any} */ (null));
  const now = list.find((p) => p.id === opened) ?? list.at(-1);
  const marked = list.filter((p) => everyMark(p.marks ?? {}).length > 0);
  const take = async (/** @type {any} */ e) => {
    const input = /** @type {HTMLInputElement} */ (e.target), file = input.files?.[0];
    if (!file) return;
    const lift = liftNow(app.store.get(), valve); // before anything else takes time
    setBusy(true);
    setWrong("");
    try {
      const marks = lift === null ? {} : { at_lift_mm: toMm(lift) };
      const picture = await encoded(file), to = path || pathOf(await make());
      const kept = await app.api.post(`${to}/photographs`, { picture, marks });
      app.notify("The photograph is saved. Now mark it.");
      photographs.set([...list, kept]);
      open(kept.id);
    } catch (err) {
      setWrong(/** @type {Error} */ (err).message);
    }
    input.value = "";
    setBusy(false);
  };
  const remove = async (/** @type {Photograph} */ p) => {
    if (!confirm("Delete this photograph and its marks?")) return;
    try {
      await app.api.del(`/photographs/${encodeURIComponent(p.id)}?rev=${p.rev}`);
      photographs.again();
    } catch (err) {
      app.notify(/** @type {Error} */ (err).message, "problem");
    }
  };
  return html`${looks ? null : html`<p><label class="button file">${busy ? "Saving" : "Photograph"}
      <input type="file" accept="image/*" capture="environment" disabled=${busy} onChange=${take} /></label></p>`}
    <${Trouble} text=${wrong || photographs.error} />
    ${list.length > 1 ? html`<div class="row" role="group" aria-label="Which photograph">${list.map((p, i) => html`<button class="toggle"
      aria-pressed=${p === now ? "true" : "false"} onClick=${() => open(p.id)}>Photograph ${i + 1}</button>`)}</div>` : null}
    ${now ? html`<${One} key=${now.id} photograph=${now} unit=${unit} only=${looks} valve=${valve} answer=${marked.includes(now) ? answer : null} remove=${() => remove(now)}
      saved=${(/** @type {Photograph} */ p) => photographs.set(list.map((had) => (had.id === p.id ? p : had)))} />` : null}
    ${trial && marked.length ? html`<${Says} path=${path} numbers=${marked.map((p) => list.indexOf(p) + 1)} hear=${hear} rev=${JSON.stringify([trial.rev, list.map((p) => [p.id, p.rev])])} unit=${unit} />` : null}`;
}

/** @param {{photograph: Photograph, unit: import("../units.js").Unit, only: boolean, valve: string, answer: any, remove: () => void, saved: (p: Photograph) => void}} props */
function One({ photograph, unit, only, valve, answer, remove, saved }) {
  const app = useApp();
  const typed = useDraft(`photograph.${photograph.id}`, photograph.marks ?? {}), marks = typed.value;
  const [wrong, setWrong] = useState("");
  const save = async () => {
    try {
      const at = `/photographs/${encodeURIComponent(photograph.id)}`;
      saved(await saveOver({ stored: photograph, value: { ...photograph, marks }, get: async () => there(/** @type {Photograph[]} */ (await app.api.get(`/trials/${encodeURIComponent(photograph.trial)}/photographs`)).find((p) => p.id === photograph.id)), put: (next) => app.api.put(at, { rev: next.rev, marks: next.marks }), renew: saved }));
      typed.done(marks);
      setWrong("");
      app.notify("The marks are saved.");
    } catch (err) {
      setWrong(/** @type {Error} */ (err).message);
    }
  };
  // The rocker over its picture: where it would be square, and where it stands now.
  const live = usePart(app.store, (s) => liftNow(s, valve));
  const taken = marks.at_lift_mm ?? (answer ? answer.square_at_lift_mm - answer.raise_mm : 0);
  const over = answer ? { square: rockerOver(marks, answer, taken, answer.square_at_lift_mm), now: live === null ? [] : rockerOver(marks, answer, taken, toMm(live)) } : undefined;
  const mm = (/** @type {"at_lift_mm"|"known_mm"} */ name) => (/** @type {number|null} */ nm) => {
    const next = { ...marks };
    if (nm === null) delete next[name];
    else next[name] = toMm(nm);
    typed.set(next);
  };
  const nm = (/** @type {number|undefined} */ v) => (v === undefined ? null : fromMm(v));
  return html`<${Marking} photograph=${photograph} src=${`${app.api.base}/photographs/${encodeURIComponent(photograph.id)}/picture`}
      marks=${marks} change=${typed.set} only=${only} over=${over} />
    ${over ? html`<p class="hint">Dashed: where the arm would be square.${over.now.length ? " Yellow: the rocker as it stands now." : ""}</p>` : null}
    <p class="hint">Taken ${when(photograph.at)}, ${photograph.width_px} by ${photograph.height_px} pixels.</p>
    ${only ? null : html`<${Form} class="panel grid" onSubmit=${save} draft=${typed}>
      <${LengthField} label="Lift at the picture" nm=${nm(marks.at_lift_mm)} unit=${unit} of="lift" onChange=${mm("at_lift_mm")} hint="empty: it was held at half lift" />
      <${LengthField} label="Known length" nm=${nm(marks.known_mm)} unit=${unit} of="arm" onChange=${mm("known_mm")} hint="between its two marks; then the arms come out too. Empty without" />
      <${NumberField} label="Camera aside, at most" unit="°" range=${{ least: 0, most: 25 }} value=${marks.camera_within_deg ?? null} hint="how far off the shaft's line it may have looked; empty: 5"
        onChange=${(/** @type {number|null} */ v) => { const { camera_within_deg: _, ...rest } = marks; typed.set(v === null ? rest : { ...rest, camera_within_deg: v }); }} />
      <${Trouble} text=${wrong} /><p class="row"><button>Save</button> <button type="button" class="quiet" onClick=${remove}>Delete the photograph</button></p>
      <${DraftLine} draft=${typed} /><//>`}`;
}

/**
 * What the marked photographs of a trial say together.
 * @param {{path: string, numbers: number[], rev: string, hear: (answer: any) => void, unit: import("../units.js").Unit}} props
 *   numbers: of the marked ones among all photographs, as they are counted on screen
 */
function Says({ path, numbers, rev, hear, unit }) {
  const app = useApp();
  const [said, setSaid] = useState({ value: /** @type {any} */ (null), error: "" });
  useEffect(() => {
    const stop = new AbortController();
    app.api.get(`${path}/photo${query({ unit })}`, stop.signal).then((value) => { setSaid({ value, error: "" }); hear(value); },
      (/** @type {Error} */ err) => { if (!stop.signal.aborted) { setSaid({ value: null, error: err.message }); hear(null); } });
    return () => stop.abort();
  }, [path, rev, unit]);
  const a = said.value;
  if (!a) return html`<${Trouble} text=${plainMarks(said.error, numbers)} />`;
  const len = (/** @type {number} */ v, /** @type {number} */ u) => withUncertainty(fromMm(v), fromMm(u), unit);
  const deg = (/** @type {number} */ v, /** @type {number} */ u) => `${v < 0 ? "\u2212" : ""}${Math.abs(v).toFixed(1)} ± ${(Math.ceil(u * 10 - 1e-9) / 10).toFixed(1)}°`;
  const sign = verdictSign(a.verdict), ball = a.adjuster, square = length(fromMm(a.tolerance_mm), unit);
  return html`<div class="photograph-says" role="status"><h3>What the marks say</h3>
    <p class="lead"><${Mark} shape=${sign.shape} kind=${sign.kind} /> ${a.verdict.is === "meets" ? html`Square at half lift to ${square}, its ± counted. Leave the stand.`
      : a.verdict.is === "cannot-tell" ? html`Whether it is square to ${square} cannot be told: measure or mark what is named below.`
      : html`${a.raise_mm < 0 ? "Lower" : "Raise"} the stand by <strong>${len(Math.abs(a.raise_mm), a.raise_u_mm)}</strong> for square at half lift.`}</p>
    <dl class="facts"><div><dt>arm below square, at half lift</dt><dd>${deg(a.half_angle_deg, a.half_angle_u_deg)}</dd></div>
      ${(a.photographs ?? []).map((/** @type {any} */ p, /** @type {number} */ i) => html`<div><dt>photograph ${numbers[i]}, at ${length(fromMm(p.at_lift_mm), unit)}</dt><dd>${deg(p.angle_deg, p.angle_u_deg)}</dd></div>`)}
      ${a.verdict.is === "meets" || a.verdict.is === "cannot-tell" ? html`<div><dt>${a.raise_mm < 0 ? "lower" : "raise"} the stand by</dt><dd>${len(Math.abs(a.raise_mm), a.raise_u_mm)}</dd></div>` : null}
      <div><dt>square at a lift of</dt><dd>${len(a.square_at_lift_mm, a.square_at_lift_u_mm)}</dd></div>
      <div><dt>valve arm</dt><dd>${len(a.valve_arm_mm, a.valve_arm_u_mm)}</dd></div>
      ${ball ? html`<div><dt>adjuster arm</dt><dd>${len(ball.adjuster_arm_mm, ball.adjuster_arm_u_mm)}</dd></div>
        <div><dt>bend</dt><dd>${deg(ball.bend_deg, ball.bend_u_deg)}</dd></div>
        <div><dt>adjuster below valve, at half lift</dt><dd>${len(ball.adjuster_below_valve_mm, ball.adjuster_below_valve_u_mm)}</dd></div>` : null}</dl>
    <${Sentences} list=${a.says} />
    ${a.depends?.length ? html`<details><summary>Where the ± comes from</summary><ul class="plain">${a.depends.map((/** @type {any} */ d) => html`<li>${d.on}: ${digits(fromMm(d.raise_u_mm), unit)} ${unit}</li>`)}</ul></details>` : null}
    <${Basis} of=${a} /></div>`;
}
