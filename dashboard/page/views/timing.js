// Lift against crank angle: intake and exhaust on one chart, their events in
// the trade's words, the card beside what was measured, velocity and
// acceleration with their bands of noise.

import { useMemo, useState } from "../lib/hooks.js";
import { useKeptHere } from "../draft.js";
import { UnreadContext, useUnread } from "../unread.js";
import { html, Mark, Nothing, Trouble, TypedField, useApp, useFetched, usePart, useValveWords } from "../ui.js";
import { degrees, digits, fromMm, length, nanometres, plainSigns, toMm, when, withUncertainty } from "../units.js";
import { cylinderOf, sideOf } from "../engine.js";
import { axisWords, joined, readTiming } from "../timing.js";
import { readLength } from "../reads.js";
import { query } from "../api.js";
import { Chart } from "../chart.js";
import { Basis, Sentences, verdictSign } from "../says.js";
import { EncoderPanel, mountingQuery, useMounting } from "./encoder.js";

const sides = /** @type {const} */ (["intake", "exhaust"]);
const strokes = { intake: "--blue", exhaust: "--target" };
const dashes = { intake: undefined, exhaust: [10, 5] };

/** @param {{route: import("../router.js").Route}} props */
export function Timing({ route }) {
  const called = useValveWords();
  const app = useApp();
  const [bench, unit] = usePart(app.store, (s) => /** @type {const} */ ([s.bench, s.unit]));
  const { value: all, error } = useFetched((signal) => app.api.get(`/traces${query({ engine: bench.engine, limit: 200 })}`, signal), [bench.engine]);
  const [chosen, setChosen] = useState(/** @type {Record<string, string>} */ ({ intake: route.query.get("intake") ?? "", exhaust: route.query.get("exhaust") ?? "" }));
  const [lobes, setLobes] = useState(/** @type {Record<string, string>} */ ({ intake: "0", exhaust: "0" }));
  const [checks, setChecks] = useKeptHere("checking lifts", { text: "0.050 in, 1 mm", sent: "1.27mm,1mm" });
  const unread = useUnread("checking lifts");
  const engine = useFetched((signal) => (bench.engine ? app.api.get(`/engines/${encodeURIComponent(bench.engine)}`, signal) : Promise.resolve(null)), [bench.engine]);
  const traces = (all ?? []).filter((/** @type {any} */ t) => t.has_angle && t.max_lift_mm);
  const known = engine.value !== undefined && (engine.value?.id ?? "") === bench.engine;
  if (all && traces.length === 0) return html`<h1>Timing</h1>
    <${Nothing} says="Timing needs a trace with crank angle: connect an encoder, then turn two full turns of the crank." href="#/devices" label="To the devices" />
    ${known && engine.value ? html`<${Mounted} key=${bench.engine} engine=${engine.value} set=${engine.set} valve=${bench.valve} ids=${{}} lobes=${{}} checking=${null} unit=${unit} />` : null}`;
  const cylinder = cylinderOf(bench.valve);
  const find = (/** @type {"intake"|"exhaust"} */ side) => chosen[side] || String(traces.find((/** @type {any} */ t) => sideOf(t.valve) === side && (!cylinder || cylinderOf(t.valve) === cylinder))?.id ?? "0");
  const ids = { intake: find("intake"), exhaust: find("exhaust") };
  return html`<h1>Timing</h1><${Trouble} text=${error || engine.error} />
    <div class="grid">${sides.map((side) => html`<label class="field"><span class="field-name">
      ${side === "intake" ? "Intake" : "Exhaust"} trace</span>
      <select value=${ids[side]} onChange=${(/** @type {any} */ e) => setChosen({ ...chosen, [side]: e.target.value || "0" })}>
        <option value="0">none</option>
        ${traces.map((/** @type {any} */ t) => html`<option value=${String(t.id)} selected=${String(t.id) === ids[side]}>
          ${t.valve ? called(t.valve, t.engine) : "no valve named"}, trace ${t.id}, ${when(t.started)}</option>`)}</select></label>`)}
      <${UnreadContext.Provider} value=${unread}><${TypedField} label="Checking lifts" kind="checks" value=${checks} show=${(/** @type {Checks} */ c) => c.text} read=${(/** @type {string} */ t) => ({ text: withUnits(t, unit), sent: asked(t, unit) })}
        empty=${{ text: "", sent: "" }} onChange=${setChecks} hint="as in 0.050 in, 1 mm; also 1/16 in" /><//></div>
    <${AtLobe} traces=${traces} ids=${ids} lobes=${lobes} change=${setLobes} />
    ${!known ? null : html`<${Mounted} key=${bench.engine} engine=${engine.value} set=${engine.set} valve=${bench.valve}
      ids=${ids} lobes=${lobes} checking=${checks.sent} unit=${unit} />`}`;
}

/**
 * Traces of the same valves taken at the lobe, from which the ratio is measured.
 * @param {{traces: any[], ids: Record<string, string>, lobes: Record<string, string>, change: (l: Record<string, string>) => void}} props
 */
function AtLobe({ traces, ids, lobes, change }) {
  const valveOf = (/** @type {string} */ id) => traces.find((t) => String(t.id) === id)?.valve;
  const same = (/** @type {"intake"|"exhaust"} */ side) => traces.filter((t) => String(t.id) !== ids[side] && t.valve && t.valve === valveOf(ids[side]));
  const open = sides.filter((side) => same(side).length > 0);
  if (open.length === 0) return null;
  return html`<details><summary>Rocker ratio: ${sides.some((s) => lobes[s] !== "0") ? "measured at both ends" : "one number, known to some hundredths"}</summary>
    <p class="hint">The card counts at the lobe. With a second trace of the same valve, its indicator on the lifter or pushrod, the ratio is measured over the whole lift, and what the lobe does is known to a fraction of what one number allows.</p>
    <div class="grid">${open.map((side) => html`<label class="field"><span class="field-name">${side === "intake" ? "Intake" : "Exhaust"}, at the lobe</span>
      <select value=${lobes[side]} onChange=${(/** @type {any} */ e) => change({ ...lobes, [side]: e.target.value })}>
        <option value="0">not measured</option>
        ${same(side).map((t) => html`<option value=${String(t.id)} selected=${String(t.id) === lobes[side]}>trace ${t.id}, ${when(t.started)}</option>`)}</select></label>`)}</div></details>`;
}

/**
 * The encoder's mounting, and what follows with it.
 * @param {{engine: any, set: (engine: any) => void, valve: string, ids: Record<string, string>, lobes: Record<string, string>, checking: string|null, unit: import("../units.js").Unit}} props
 */
function Mounted({ engine, set, valve, ids, lobes, checking, unit }) {
  const [mounting, setMounting] = useMounting(engine);
  return html`<${EncoderPanel} engine=${engine} valve=${valve} mounting=${mounting} change=${setMounting} kept=${set} unit=${unit} />
    ${checking === null ? null : html`<${Both} ids=${ids} lobes=${lobes} checking=${checking} mounting=${mountingQuery(mounting)} tdc=${engine?.tdc ? JSON.stringify(engine.tdc) : ""} engine=${engine?.id ?? ""} unit=${unit} />`}`;
}

/** @typedef {{text: string, sent: string}} Checks the lifts as they were typed, and as the daemon is asked */

/** The lifts one by one. @param {string} typed */
const single = (typed) => typed.split(/,\s+|;/).map((s) => s.trim()).filter(Boolean);

/** As it stands there when it is left: a bare number is of the unit that it was typed in, also after that is another. @param {string} typed @param {import("../units.js").Unit} unit */
const withUnits = (typed, unit) => single(typed).map((s) => (/[\d/.\u00bc-\u00be\u2150-\u215e]$/.test(plainSigns(s)) ? `${s} ${unit}` : s)).join(", ");

/** @param {string} typed @param {import("../units.js").Unit} unit */
function asked(typed, unit) {
  return single(typed).map((s) => `${toMm(readLength(s, unit, "checking"))}mm`).join(",");
}

/** @param {{ids: Record<string, string>, lobes: Record<string, string>, checking: string, mounting: Record<string, any>, tdc: string, engine: string, unit: import("../units.js").Unit}} props */
function Both({ ids, lobes, checking, mounting, tdc, engine, unit }) {
  const app = useApp();
  const has = (/** @type {string} */ id) => id !== "" && id !== "0";
  const on = [checking, JSON.stringify(mounting), tdc, unit];
  const intake = useFetched((signal) => timingOf("intake", signal), [ids.intake, ...on]);
  const exhaust = useFetched((signal) => timingOf("exhaust", signal), [ids.exhaust, ...on]);
  const pair = useFetched((signal) => together(signal), [ids.intake, ids.exhaust, lobes.intake, lobes.exhaust, engine, ...on]);

  /** @param {"intake"|"exhaust"} side @param {AbortSignal} signal */
  async function timingOf(side, signal) {
    if (!has(ids[side])) return null;
    return readTiming(await app.api.get(`/traces/${ids[side]}/timing${query({ checking, valve: side, ...mounting })}`, signal));
  }

  /** @param {AbortSignal} signal */
  async function together(signal) {
    const lobe = (/** @type {string} */ side) => (has(lobes[side] ?? "") ? lobes[side] : "");
    const [i, e] = sides.map((side) => (has(ids[side]) ? ids[side] : ""));
    return i || e ? app.api.get(`/timing${query({ intake: i, exhaust: e, intake_lobe: i && lobe("intake"), exhaust_lobe: e && lobe("exhaust"), engine, checking, unit, ...mounting })}`, signal) : null;
  }

  const shown = sides.map((side) => ({ side, t: side === "intake" ? intake.value : exhaust.value })).filter((s) => s.t);
  if (!has(ids.intake) && !has(ids.exhaust)) return html`<${Nothing} says="Choose at least one trace." />`;
  return html`<${Trouble} text=${intake.error} /><${Trouble} text=${exhaust.error} />
    ${shown.filter(({ t }) => t?.doubtful).map(({ side, t }) => html`<div class="fault"><${Mark} shape="triangle" /> <strong>
      ${side === "intake" ? "Intake" : "Exhaust"}.</strong> <${Sentences} list=${[t?.note]} /></div>`)}
    ${shown.length ? html`<${LiftChart} shown=${shown} unit=${unit} />
      <${Events} shown=${shown} unit=${unit} />
      <${Pair} pair=${pair.value} unit=${unit} />
      <${Motion} shown=${shown} unit=${unit} />` : intake.error || exhaust.error ? null : html`<p class="hint">Working the timing out.</p>`}`;
}

/** @typedef {{side: "intake"|"exhaust", t: import("../timing.js").ValveTiming}[]} Shown */

/** @param {{shown: Shown, unit: import("../units.js").Unit}} props */
function LiftChart({ shown, unit }) {
  const one = nanometres[unit] / 1e6;
  const data = useMemo(() => {
    const { x, ys } = joined(shown.map(({ t }) => ({ x: t.curve.angle, y: t.curve.lift.map((mm) => mm / one) })));
    return [x, ...ys];
  }, [...shown.map((s) => s.t), unit, shown.length]);
  if (data[0].length === 0) return null;
  const doubtful = shown.some(({ t }) => t.doubtful), says = (/** @type {import("../timing.js").Event} */ e) => (doubtful ? "" : ` ${e.says}`);
  const uprights = [{ x: 0, label: doubtful ? "TDC?" : "TDC" }, ...shown.flatMap(({ side, t }) => [
    ...(t.passages[0]?.opens ? [{ x: t.passages[0].opens.atdc_deg, label: `${side} opens${says(t.passages[0].opens)}`, dashed: true }] : []),
    ...(t.passages[0]?.closes ? [{ x: t.passages[0].closes.atdc_deg, label: `closes${says(t.passages[0].closes)}`, dashed: true }] : []),
  ])];
  const levels = shown[0]?.t.passages[0] ? [{ y: shown[0].t.passages[0].level_mm / one, label: `checked at ${length(fromMm(shown[0].t.passages[0].checking_lift_mm), unit)}` }] : [];
  return html`<section><h2>Lift against crank angle</h2>
    <${Chart} data=${data} xUnit="° after TDC of the overlap" uprights=${uprights} levels=${levels}
    says=${`Lift against crank angle of ${shown.map((s) => s.side).join(" and ")}.`}
    series=${shown.map(({ side }) => ({ label: side, stroke: strokes[side], dash: dashes[side], write: (/** @type {number} */ v) => `${v.toFixed(unit === "in" ? 4 : 3)} ${unit}` }))}
    axes=${[{ label: "crank, degrees after TDC of the overlap", values: (/** @type {any} */ _u, /** @type {number[]} */ at) => at.map(axisWords) }, { label: `lift, ${unit}`, size: 64 }]} />
    ${shown.length > 1 ? html`<p class="hint"><strong class="is-intake">Solid: intake.</strong> <strong class="is-exhaust">Broken: exhaust.</strong>
      </p>` : null}</section>`;
}

/** @param {{shown: Shown, unit: import("../units.js").Unit}} props */
function Events({ shown, unit }) {
  const e = (/** @type {import("../timing.js").Event|undefined} */ event) => (event ? html`<strong>
    ${event.says}</strong> <small>± ${degrees(event.u_deg, 1)}</small>` : "–");
  return html`<section><h2>Events</h2>${shown.map(({ side, t }) => html`<h3>${side === "intake" ? "Intake" : "Exhaust"}</h3>
    <div class="wide" tabindex="0" role="group" aria-label="Table, may scroll sideways"><table><thead><tr><th scope="col">checked at</th>
      <th scope="col">opens</th><th scope="col">closes</th><th scope="col">duration</th><th scope="col">centreline</th></tr></thead>
    <tbody>${[...t.passages, ...(t.half ? [t.half] : [])].map((p, i) => html`<tr><th scope="row">
      ${length(fromMm(p.checking_lift_mm), unit)}${i === t.passages.length ? ", half lift" : ""}</th><td>${e(p.opens)}</td><td>${e(p.closes)}</td>
      <td>${p.span ? html`${degrees(p.span.duration_deg, 1)} <small>± ${degrees(p.span.duration_u_deg, 1)}</small>` : "–"}</td><td>
        ${p.span ? html`${p.span.centreline_says} <small>± ${degrees(p.span.centreline_u_deg, 1)}</small>` : "–"}</td></tr>`)}</tbody></table></div>
    <dl class="facts small">${t.nose ? html`<div><dt>nose</dt><dd>
      ${t.nose.says}, ${withUncertainty(fromMm(t.nose.max_lift_mm), fromMm(t.nose.max_lift_u_mm), unit)}</dd></div>` : null}
      ${t.liftAtTdc ? html`<div><dt>lift at TDC</dt><dd>${withUncertainty(fromMm(t.liftAtTdc.mm), fromMm(t.liftAtTdc.u), unit)}</dd></div>` : null}
      ${t.area ? html`<div><dt>area under the curve</dt><dd>
        ${unit === "mm" ? `${t.area.toFixed(1)} mm·deg` : `${(t.area / 25.4).toFixed(2)} in·deg`}</dd></div>` : null}</dl>
    ${t.note && !t.doubtful ? html`<${Sentences} list=${[t.note]} />` : null}
    ${t.warnings.map((w) => html`<p class="fault"><${Mark} shape="triangle" /> ${w}</p>`)}`)}</section>`;
}

/** @param {{pair: any, unit: import("../units.js").Unit}} props */
function Pair({ pair, unit }) {
  if (!pair) return null;
  const d = (/** @type {number|undefined} */ v, /** @type {number|undefined} */ u) => (v === undefined || v === null ? "–" : `${degrees(v, 1)}${u ? ` ± ${degrees(u, 1)}` : ""}`);
  const card = pair.card;
  const more = sides.flatMap((side) => (pair[side]?.more?.says ?? []).map((/** @type {string} */ says) => `${side}: ${says}`));
  return html`${more.length ? html`<section><h2>Lobe, lash, port</h2><${Sentences} list=${more} /></section>` : null}
    ${pair.pairs?.length ? html`<section><h2>Both together</h2>
    <div class="wide" tabindex="0" role="group" aria-label="Table, may scroll sideways"><table><thead><tr><th scope="col">checked at</th>
    <th scope="col">overlap</th><th scope="col">lobe separation, cam</th><th scope="col">advance</th></tr></thead>
      <tbody>${pair.pairs.map((/** @type {any} */ p) => html`<tr><th scope="row">${length(fromMm(p.checking_lift_mm), unit)}</th><td>
        ${d(p.overlap_deg, p.overlap_u_deg)}</td><td>${d(p.lobe_separation_cam_deg, p.lobe_separation_u_cam_deg)}</td><td>
        ${d(p.advance_deg, p.advance_u_deg)}</td></tr>`)}</tbody></table></div></section>` : null}
    ${card?.lines?.length ? html`<${CardLines} card=${card} unit=${unit} />` : null}
    ${card ? html`<section><h2>Card beside measured</h2>
      <${Sentences} list=${[...new Set([...(card.says ?? []), ...(card.shifts ?? []).map((/** @type {any} */ s) => s.says)])]} />
      ${card.deviations?.length ? html`<div class="wide" tabindex="0" role="group" aria-label="Table, may scroll sideways"><table><thead><tr>
        <th scope="col" class="words">event</th><th scope="col" class="words">measured and card</th><th scope="col">later by</th>
        <th scope="col">left over</th></tr></thead>
        <tbody>${card.deviations.map((/** @type {any} */ v) => html`<tr><th scope="row">${v.valve} ${v.event}</th><td class="words">${v.says}</td>
          <td>${d(v.later_deg, v.u_deg)}</td><td>${degrees(v.left_over_deg, 1)} ${v.left_over_stands ? html`<${Mark} shape="triangle" />
          <span class="sr">more than can be explained</span>` : null}</td></tr>`)}</tbody></table></div>` : null}
      ${(card.max_lifts ?? []).map((/** @type {any} */ l) => html`<p>Max lift, ${l.valve}: measured ${length(fromMm(l.measured_mm), unit)}, card ${length(fromMm(l.card_mm), unit)}, ${digits(fromMm(l.more_mm), unit, { sign: true })} ± ${digits(fromMm(l.u_mm), unit)} ${unit}.</p>`)}
    </section>` : html`<p class="hint">With a cam card in the <a href="#/engine">engine</a>, card and measured stand side by side here.</p>`}
    <${Basis} of=${pair} />`;
}

/** What a verdict is, in the table. @type {Record<string, string>} */
const verdictWords = { meets: "meets", fails: "fails", "cannot-tell": "cannot tell", "not-judged": "not to be judged" };

/** @param {{of: import("../says.js").Verdict}} props */
function Judged({ of }) {
  const sign = verdictSign(of);
  return html`<span class=${`verdict ${sign.kind}`}><${Mark} shape=${sign.shape} kind=${sign.kind} /> ${verdictWords[of.is]}</span>`;
}

/** The card line by line, each with its verdict. @param {{card: any, unit: import("../units.js").Unit}} props */
function CardLines({ card, unit }) {
  const doubts = [...new Set(card.lines.flatMap((/** @type {any} */ l) => (l.verdict.doubts ?? []).map((/** @type {any} */ d) => d.says)))];
  const off = (/** @type {any} */ l) => (l.off_deg === undefined ? `${digits(fromMm(l.off_mm), unit, { sign: true })} ± ${digits(fromMm(l.off_u_mm), unit)} ${unit}` : `${l.off_deg > 0 ? "+" : ""}${degrees(l.off_deg, 1)} ± ${degrees(l.off_u_deg, 1)}`);
  const tolerance = (/** @type {any} */ l) => (l.off_deg === undefined ? `± ${length(fromMm(l.tolerance_mm), unit)}` : `± ${degrees(l.tolerance_deg, 1)}`);
  return html`<section><h2>The card, line by line</h2>
    <div class="wide" tabindex="0" role="group" aria-label="Table, may scroll sideways"><table><thead><tr><th scope="col" class="words">line</th>
      <th scope="col" class="words">verdict</th><th scope="col">off the card</th><th scope="col">tolerance</th><th scope="col" class="words">with the cam turned</th></tr></thead>
      <tbody>${card.lines.map((/** @type {any} */ l) => html`<tr><th scope="row">${l.valve} ${l.line}</th><td class="words"><${Judged} of=${l.verdict} /></td>
        <td>${off(l)}</td><td>${tolerance(l)}</td><td class="words">${l.if_cam_turned ? html`<${Judged} of=${l.if_cam_turned} />` : "as it is"}</td></tr>`)}</tbody></table></div>
    <${Sentences} list=${[...(card.mends ?? []), ...doubts]} />
    <p class="hint">A line meets or fails only with its whole ± on one side of the tolerance. Tolerances are set with the <a href="#/engine">engine's limits</a>.</p></section>`;
}

/** @param {{shown: Shown, unit: import("../units.js").Unit}} props */
function Motion({ shown, unit }) {
  const [what, setWhat] = useState("velocity");
  const [side, setSide] = useState(/** @type {string} */ (""));
  const here = shown.find((s) => s.side === side) ?? shown[0];
  const per = unit === "in" ? 1 / 25.4 * 1000 : 1000; // thou or micrometres, both read well
  const data = useMemo(() => {
    const points = here.t.derivatives;
    const v = points.map((p) => per * (what === "velocity" ? p.mm_per_deg : p.mm_per_deg2)), u = points.map((p) => per * (what === "velocity" ? p.mm_per_deg_u : p.mm_per_deg2_u));
    return [points.map((p) => p.atdc_deg), v.map((y, i) => y - u[i]), v.map((y, i) => y + u[i]), v];
  }, [here.t, what, per]);
  if (here.t.derivatives.length === 0) return null;
  const name = `${unit === "in" ? "thou" : "µm"} a degree${what === "velocity" ? "" : "²"}`;
  return html`<section><h2>Velocity and acceleration</h2>
    <div class="row" role="group" aria-label="What is drawn">
      ${["velocity", "acceleration"].map((w) => html`<button class="toggle" aria-pressed=${w === what ? "true" : "false"}
        onClick=${() => setWhat(w)}>${w}</button>`)}
      ${shown.length > 1 ? shown.map((s) => html`<button class="toggle" aria-pressed=${s === here ? "true" : "false"}
        onClick=${() => setSide(s.side)}>${s.side}</button>`) : null}</div>
    <${Chart} data=${data} says=${`${what} of the ${here.side} valve against crank angle, with its band of noise.`} xUnit="°" height=${300}
      series=${[{ label: "", stroke: "--soft", width: 0.5 }, { label: "", stroke: "--soft", width: 0.5 }, { label: what, stroke: strokes[here.side], write: (/** @type {number} */ v) => `${v.toFixed(2)} ${name}` }]} bands=${[{ series: [2, 1], fill: "--track" }]}
      axes=${[{ label: "crank, degrees after TDC of the overlap", values: (/** @type {any} */ _u, /** @type {number[]} */ at) => at.map(axisWords) }, { label: name, size: 64 }]} />
    <p class="hint">The band is what noise alone can do (k = 2): inside it nothing is the cam's.${here.t.derivativesSay ? ` Smoothed over ${here.t.derivativesSay}.` : ""}</p></section>`;
}
