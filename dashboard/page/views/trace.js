// One trace: its findings, its chart that refines as it is looked into, its
// labels, its way out as a file and its way back through the live path.

import { useEffect, useMemo, useRef, useState } from "../lib/hooks.js";
import { changes, Clash, DraftLine, useDraft } from "../draft.js";
import { Form, html, Mark, Nothing, TextField, Trouble, useApp, useFetched, useOnlyShows, usePart, useValveWords } from "../ui.js";
import { agreementWords } from "../agreement.js";
import { LeaveOut } from "../leaveout.js";
import { OpeningRows } from "../openings.js";
import { FaultLine } from "../faultline.js";
import { noteAt, pressesAt } from "../noted.js";
import { digits, length, nanometres, seconds, small, when, withUncertainty } from "../units.js";
import { query } from "../api.js";
import { Chart } from "../chart.js";

/** @typedef {{from_s: number, to_s: number, seconds: number, readings: number, columns: number, t_us: number[], min_nm: number[], max_nm: number[], angle_udeg?: number[]}} Series */

/** @typedef {{t_s: number, kind: string, says?: string}} Note */

/**
 * The marks of a trace that were not undone.
 * @param {Note[]|undefined} notes in order of time
 * @returns {Note[]}
 */
export function marksOf(notes) {
  /** @type {Note[]} */ const marks = [];
  for (const n of notes ?? []) {
    if (n.kind === "mark") marks.push(n);
    else if (n.kind === "unmark") marks.pop();
  }
  return marks;
}

/** @param {{id: string}} props */
export function TraceView({ id }) {
  const called = useValveWords();
  const app = useApp();
  const unit = usePart(app.store, (s) => s.unit);
  const looks = useOnlyShows();
  const at = usePart(app.store, (s) => (s.replay && String(s.replay.trace) === id ? s.replay.at_s : NaN));
  // The chart does not wait for the findings, which take seconds of a long
  // trace: it draws what the indicator showed, and lift as soon as it is known.
  const { value: trace, error, again } = useFetched((signal) => app.api.get(`/traces/${encodeURIComponent(id)}`, signal), [id]);
  if (error && !trace) return html`<h1>Trace ${id}</h1><${Trouble} text=${error} /><p><a class="button" href="#/traces">All traces</a></p>`;
  const findings = trace?.findings ?? null, marks = marksOf(trace?.notes);
  return html`<p class="back"><a href="#/traces">All traces</a></p>
    <h1>${!trace ? `Trace ${id}` : html`${trace.valve ? called(trace.valve, trace.engine) : "No valve named"} <small>trace ${id}</small>`}</h1>
    <p class="hint">${!trace ? "Working out the findings." : `${when(trace.started)}, ${seconds(trace.seconds)}, ${trace.readings.toLocaleString("en")} readings${trace.source?.startsWith("shop:") ? `, recorded on ${trace.source.slice(5)}` : trace.source ? `, from ${trace.source}` : ""}${trace.cut_short ? ". Cut short: it ended in a crash or power cut; what is here is whole." : ""}`}</p>
    ${(trace?.damage ?? []).map((/** @type {string} */ d) => html`<p class="fault"><${Mark} shape="triangle" kind="bad" /> ${d}</p>`)}
    ${trace?.put_away ? html`<p class="fault"><${Mark} shape="cross" /> <strong>Deleted</strong>, ${trace.put_away}: it is in no list and no figure. Its readings stay on disk, and it can be restored.</p>` : null}
    ${looks ? null : html`<${ReplayStart} id=${id} />`}
    <${LiftChart} id=${id} findings=${findings} marks=${marks} unit=${unit} at=${at} />
    ${!trace ? null : html`<${FindingsBlock} findings=${findings} agreement=${trace.agreement} of=${looks ? "" : id} valve=${trace.valve ?? ""} engine=${trace.engine} again=${again} unit=${unit} marks=${marks} noted=${trace.head?.noted ?? []} />
    ${marks.length ? html`<section><h2>Marks</h2><ol class="plain">${marks.map((m) => html`<li>at ${seconds(m.t_s)}${m.says ? `, ${m.says}` : ""}</li>`)}</ol></section>` : null}
    <section class="row">
      ${trace.has_angle ? html`<a class="button" href=${`#/timing?intake=${id}`}>Timing of this trace</a>` : null}
      <a class="button" href=${`#/compare?traces=${id}`}>Compare</a>
      <a class="button quiet" href=${`${app.api.base}/traces/${encodeURIComponent(id)}/export?format=csv`} download>Save as CSV</a>
      <a class="button quiet" href=${`${app.api.base}/traces/${encodeURIComponent(id)}/export?format=jsonl`} download>Save as JSON lines</a>
      <a class="button quiet" href=${`${app.api.base}/traces/${encodeURIComponent(id)}/export?format=parquet`} download>Save as Parquet</a>
      ${looks ? null : html`<${PutAway} trace=${trace} again=${again} />`}
    </section>
    ${looks ? html`<${LabelsRead} trace=${trace} />` : html`<${Labels} trace=${trace} again=${again} />`}`}`;
}

/** @param {{id: string}} props */
function ReplayStart({ id }) {
  const app = useApp();
  const [rate, setRate] = useState("1");
  const start = async () => {
    try {
      await app.api.post("/replay", { trace: asSent(id), rate: Number(rate), from_s: 0 });
      location.hash = "#/bench";
    } catch (err) {
      app.notify(/** @type {Error} */ (err).message, "problem");
    }
  };
  return html`<p class="row"><button onClick=${start}><${Mark} shape="bars" /> Replay on the bench</button>
    <label class="inline">at <select value=${rate} onChange=${(/** @type {any} */ e) => setRate(e.target.value)}>
      ${["0.1", "0.25", "0.5", "1", "2", "5", "20"].map((r) => html`<option value=${r} selected=${r === rate}>
        ${r}×</option>`)}</select> speed</label></p>`;
}

/**
 * Trace numbers are numbers where they can be.
 * @param {string} id
 */
export const asSent = (id) => (/^\d+$/.test(id) ? Number(id) : id);

/**
 * The lift of a trace against time; closer looks are fetched again, thinned on
 * the server to what the screen can show.
 * @param {{id: string, findings: import("../state.js").Findings|null, marks: Note[], unit: import("../units.js").Unit, at: number}} props
 */
function LiftChart({ id, findings, marks, unit, at }) {
  const app = useApp();
  const [series, setSeries] = useState(/** @type {Series|null} */ (null));
  const [whole, setWhole] = useState(/** @type {[number, number]|null} */ (null));
  const [error, setError] = useState("");
  const wait = useRef(/** @type {ReturnType<typeof setTimeout>|undefined} */ (undefined));
  const seen = useRef({ from: 0, to: 0 });

  const fetchRange = async (/** @type {number|undefined} */ from, /** @type {number|undefined} */ to) => {
    try {
      const columns = Math.min(2000, Math.max(300, Math.round(innerWidth * 1.2)));
      /** @type {Series} */
      const got = await app.api.get(`/traces/${encodeURIComponent(id)}/series${query({ from_s: from, to_s: to, columns })}`);
      setSeries(got);
      if (from === undefined) setWhole([0, Math.max(got.seconds, 1e-3)]);
      seen.current = { from: got.from_s, to: got.to_s };
      setError("");
    } catch (err) {
      setError(/** @type {Error} */ (err).message);
    }
  };
  useEffect(() => {
    void fetchRange(undefined, undefined);
    return () => clearTimeout(wait.current);
  }, [id]);

  const onRange = (/** @type {number} */ from, /** @type {number} */ to) => {
    if (!whole) return;
    const was = seen.current, margin = (to - from) * 0.5;
    const inside = from >= was.from - 1e-6 && to <= was.to + 1e-6 && was.to - was.from < 4 * (to - from);
    if (inside) return;
    clearTimeout(wait.current);
    wait.current = setTimeout(() => void fetchRange(Math.max(0, from - margin), Math.min(whole[1], to + margin)), 120);
  };

  const zero = zeroOf(findings);
  const data = useMemo(() => {
    if (!series) return null;
    const one = nanometres[unit];
    const above = (/** @type {number} */ nm) => (zero.sign * (nm - zero.heel)) / one;
    const t = series.t_us.map((us) => us / 1e6);
    const a = series.min_nm.map(above), b = series.max_nm.map(above);
    return [t, a.map((v, i) => Math.min(v, b[i])), a.map((v, i) => Math.max(v, b[i]))];
  }, [series, unit, zero.heel, zero.sign]);
  if (error) return html`<${Trouble} text=${error} />`;
  if (!data || !whole) return html`<p class="chart-wait hint">Fetching the readings.</p>`;
  if (data[0].length === 0) return html`<${Nothing} says="This trace has no readings of an indicator." />`;
  const openings = findings?.openings ?? [];
  const half = openings.length <= 2 ? "half" : ""; // many labels hide what they name
  const uprights = openings.flatMap((o, i) => [
    { x: o.opening_half.t_s, label: half, dashed: true }, { x: o.t_nose_s, label: `nose ${i + 1}`, dashed: false }, { x: o.closing_half.t_s, label: half, dashed: true },
  ]);
  for (const [i, m] of marks.entries()) uprights.push({ x: m.t_s, label: marks.length <= 6 ? `mark ${i + 1}` : "", dashed: true });
  if (!Number.isNaN(at)) uprights.push({ x: at, label: "replay", dashed: false });
  const levels = findings && findings.half_lift_mm > 0 ? [{ y: (findings.half_lift_mm * 1e6) / nanometres[unit], label: `half lift ${length(findings.half_lift_mm * 1e6, unit)}` }] : [];
  const doubts = findings?.doubts ?? [];
  const one = nanometres[unit];
  const crosses = doubts.map((d) => ({ x: d.t_s, y: (zero.sign * (d.reading_mm * 1e6 - zero.heel)) / one }));
  // One reading at no valve must not press the lift flat.
  const most = findings ? (findings.max_lift_mm * 1e6) / one : 0;
  const scales = doubts.length > 0 && most > 0 ? { y: { range: () => [-0.15 * most, 1.2 * most] } } : {};
  const write = (/** @type {number} */ v) => `${digits(v * nanometres[unit], unit)} ${unit}`;
  return html`<${Chart} data=${data} limits=${whole} onRange=${onRange} uprights=${uprights} levels=${levels} crosses=${crosses} scales=${scales} xUnit="s"
    says=${`${zero.known ? "Lift" : "What the indicator showed"} against time, ${seconds(whole[1])} in all.${doubts.length ? ` Crosses mark ${doubts.length} readings that do not count.` : ""}`}
    series=${[{ label: zero.known ? "lift" : "indicator", stroke: "--ink", write }, { label: "", stroke: "--ink", write }]} bands=${[{ series: [2, 1], fill: "--ink" }]}
    axes=${[{ label: "time, s" }, { label: `${zero.known ? "lift" : "indicator"}, ${unit}`, size: 64 }]} />`;
}

/**
 * Zero and direction of a trace, as its first opening shows them; without one
 * the chart shows what the indicator showed.
 * @param {import("../state.js").Findings|null} findings
 */
export function zeroOf(findings) {
  const o = findings?.openings?.[0];
  if (!o) return { heel: 0, sign: 1, known: false };
  return { heel: o.heel_mm * 1e6, sign: findings.sign || (o.opening_half.reading_mm >= o.heel_mm ? 1 : -1), known: true };
}

/** @param {{trace: any, again: () => void}} props */
function PutAway({ trace, again }) {
  const app = useApp();
  const set = (/** @type {string} */ why) => app.api.patch(`/traces/${encodeURIComponent(trace.id)}`, { put_away: why }).then(again, (/** @type {Error} */ err) => { app.notify(err.message, "problem"); throw err; });
  return trace.put_away ? html`<button type="button" onClick=${() => set("").catch(() => {})}>Restore</button>`
    : html`<${LeaveOut} name="Delete" of="this trace" at=${String(trace.id)} act=${set} reasons=${["wrong valve", "only a try", "something slipped"]} />`;
}

/** How many readings do not count, by reason. @param {Record<string, number>} doubted */
const doubtedWords = (doubted) => Object.entries(doubted).map(([why, n]) => `${n.toLocaleString("en")} ${doubtNames[why] ?? why}`).join(", ");

/** @type {Readonly<Record<string, string>>} */
const doubtNames = Object.freeze({ misread: "misread", implausible: "where no valve can be", repeated: "repeated", "wrong-angle": "with a wrong crank angle" });

/** @param {{findings: import("../state.js").Findings|null, agreement: import("../agreement.js").Agreement, of: string, valve: string, engine?: string, again: () => void, unit: import("../units.js").Unit, marks?: Note[], noted?: import("../state.js").OpeningNote[]}} props of: the trace whose openings can be left out; marks: those of a pedal stand with their opening, and so do notes */
export function FindingsBlock({ findings, agreement, of: id, valve, engine, again, unit, marks = [], noted = [] }) {
  const called = useValveWords();
  if (!findings) return html`<p class="hint">Its findings are not worked out yet.</p>`;
  const openings = findings.openings ?? [], faults = findings.faults ?? [];
  const rows = [...openings.map((o) => ({ o, why: "" })), ...(findings.left_out ?? []).map((s) => ({ o: s.opening, why: s.why }))].sort((a, b) => a.o.t_nose_s - b.o.t_nose_s)
    .map((r) => ({ ...r, at: r.o.t_nose_s, note: noteAt(noted, r.o), more: () => `at ${seconds(r.o.t_nose_s)}, where the indicator shows ${digits(r.o.opening_half.reading_mm * 1e6, unit)} and ${digits(r.o.closing_half.reading_mm * 1e6, unit)} at half lift` }));
  const presses = pressesAt(rows.map((r) => r.o), marks.map((m) => m.t_s)), shownRows = rows.map((r, i) => ({ ...r, presses: presses[i] }));
  return html`<section><h2>Findings</h2>
    ${rows.length ? html`${openings.length ? html`<p class="agreement"><${Mark} shape=${agreement.agree ? "check" : agreement.count === 1 ? "ring" : "triangle"} kind=${agreement.agree ? "good" : ""} /> ${agreementWords(agreement, valve, unit, { [valve]: called(valve, engine) })}</p>
    <dl class="facts">
      <div><dt>max lift</dt><dd>${withUncertainty(findings.max_lift_mm * 1e6, findings.max_lift_u_mm * 1e6, unit)}</dd></div>
      <div><dt>half lift</dt><dd>${length(findings.half_lift_mm * 1e6, unit)}</dd></div>
      ${openings.length > 1 ? html`<div><dt>spread over ${openings.length} openings</dt><dd>${length(findings.spread_mm * 1e6, unit)}</dd>
        </div>` : null}
      ${findings.doubted ? html`<div><dt>readings that do not count</dt><dd>${doubtedWords(findings.doubted)}</dd></div>` : null}
      <div><dt>indicator's step</dt><dd>${small(findings.resolution_mm * 1e6, unit)} ${unit}</dd></div>
    </dl>
    <p class="hint">The figure after ± is the expanded uncertainty, k = 2: the truth is inside it about 95 times in 100.</p>` : html`<p class="lead">Every opening of this trace is left out.</p>`}
    <${OpeningRows} rows=${shownRows} trace=${id} agreement=${agreement} unit=${unit} done=${again} />`
    : html`<${Nothing} says="No whole opening is in this trace: heel, nose, and heel again. Turn two full turns of the crank next time." href="#/bench" label="To the bench" />`}
    ${findings.drive ? html`<p class="hint">The drive: ${findings.drive.says}.</p>` : null}
    ${(findings.held ?? []).map((h) => html`<p class="hint">The ± holds ${length(h.by_mm * 1e6, unit)} for this: ${h.says}.</p>`)}
    ${faults.map((f) => html`<${FaultLine} fault=${f} unit=${unit} at />`)}
  </section>`;
}

/** @param {{trace: any}} props */
const LabelsRead = ({ trace }) => html`<section><h2>Labels</h2><dl class="facts small">
  ${[["engine", trace.engine], ["valve", trace.valve], ["trial", trace.trial], ["remark", trace.remark]].map(([name, text]) => (text ? html`<div><dt>${name}</dt><dd>${text}</dd></div>` : null))}</dl></section>`;

/** @param {{trace: any, again: () => void}} props */
function Labels({ trace, again }) {
  const app = useApp();
  const stored = { engine: trace.engine ?? "", valve: trace.valve ?? "", trial: trace.trial ?? "", remark: trace.remark ?? "" };
  const typed = useDraft(`labels.${trace.id}`, stored);
  const draft = typed.value;
  const keep = async () => {
    try {
      // Only what was typed, so that what somebody else wrote beside it stays.
      const at = `/traces/${encodeURIComponent(trace.id)}`, now = await app.api.get(at), mine = changes(stored, draft);
      if (mine.some(({ at: [name], was, now: v }) => (now[name] ?? "") !== was && (now[name] ?? "") !== v)) {
        again();
        throw new Clash("A label that you changed was changed elsewhere meanwhile. Yours is still here: save again to put it in its place, or discard it.");
      }
      await app.api.patch(at, Object.fromEntries(mine.map(({ at: [name], now: v }) => [name, v])));
      typed.done(draft);
      app.notify("Labels saved.");
      again();
    } catch (err) {
      app.notify(/** @type {Error} */ (err).message, "problem");
    }
  };
  const field = (/** @type {"engine"|"valve"|"trial"|"remark"} */ name, /** @type {string} */ label, /** @type {string} */ hint) => html`<${TextField} label=${label} value=${draft[name]} hint=${hint} onChange=${(/** @type {string} */ v) => typed.set({ ...draft, [name]: v })} />`;
  return html`<section><h2>Labels</h2><p class="hint">The readings are never changed; what they belong to may be.</p>
    <${Form} class="grid" onSubmit=${keep} draft=${typed}>
      ${field("engine", "Engine", "")}${field("valve", "Valve", "3I is cylinder 3 intake, 3E its exhaust")}${field("trial", "Trial", "")}${field("remark", "Remark", "")}
    <p><button>Save</button></p><${DraftLine} draft=${typed} /><//></section>`;
}
