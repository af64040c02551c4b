// Traces laid over each other: before and after a shim, or all intakes.

import { useMemo, useState } from "../lib/hooks.js";
import { html, Mark, Nothing, Trouble, useApp, useFetched, usePart, useValveWords } from "../ui.js";
import { digits, fromMm, nanometres, when, withUncertainty } from "../units.js";
import { differs, haveAngles, lifted, overlay } from "../compare.js";
import { query } from "../api.js";
import { Chart } from "../chart.js";
import { sentence } from "../says.js";

/** Colour, dash and width together tell curves apart; no sign stands alone. */
const pens = /** @type {const} */ ([
  ["--ink", undefined, 2.5, "solid"], ["--target", [12, 5], 2, "long dashes"], ["--blue", [4, 4], 2, "short dashes"], ["--good", [14, 4, 3, 4], 2, "dash and dot"],
  ["--soft", [2, 3], 2, "dots"], ["--bad", [20, 6], 1.5, "wide dashes"], ["--ink", [8, 3, 2, 3, 2, 3], 1.5, "dash and two dots"], ["--target", [3, 8], 2, "wide dots"],
]);

/** @param {{route: import("../router.js").Route}} props */
export function Compare({ route }) {
  const called = useValveWords();
  const app = useApp();
  const [bench, unit] = usePart(app.store, (s) => /** @type {const} */ ([s.bench, s.unit]));
  const { value: all, error } = useFetched((signal) => app.api.get(`/traces${query({ engine: bench.engine, limit: 200 })}`, signal), [bench.engine]);
  const [ids, setIds] = useState((route.query.get("traces") ?? "").split(",").filter(Boolean));
  const [align, setAlign] = useState(/** @type {import("../compare.js").Align} */ ("flanks"));
  const usable = (all ?? []).filter((/** @type {any} */ t) => t.max_lift_mm);
  const flip = (/** @type {string} */ id) => setIds(ids.includes(id) ? ids.filter((i) => i !== id) : [...ids, id].slice(-pens.length));
  const newestOf = (/** @type {RegExp} */ kind) => {
    const seen = new Set();
    return usable.filter((/** @type {any} */ t) => kind.test(t.valve) && !seen.has(t.valve) && seen.add(t.valve)).map((/** @type {any} */ t) => String(t.id)).slice(0, pens.length);
  };
  if (all && usable.length === 0) return html`<h1>Compare</h1>
    <${Nothing} says="There is nothing to lay over each other yet: two traces with a whole opening each are needed." href="#/bench" label="To the bench" />`;
  return html`<h1>Compare</h1><${Trouble} text=${error} />
    <div class="row">
      <button class="quiet" disabled=${!all} onClick=${() => setIds(newestOf(/I\d*$/))}>All intakes</button>
        <button class="quiet" disabled=${!all} onClick=${() => setIds(newestOf(/E\d*$/))}>All exhausts</button>
      ${bench.valve ? html`<button class="quiet" disabled=${!all}
        onClick=${() => setIds(usable.filter((/** @type {any} */ t) => t.valve === bench.valve).slice(0, 2).reverse().map((/** @type {any} */ t) => String(t.id)))}>Before and after, ${called(bench.valve)}</button>` : null}
    </div>
    ${ids.length === 0 ? html`<${Nothing} says="Tick two traces or more; the first is what the others are compared with." />`
      : html`<${Overlay} key=${ids.join()} ids=${ids} align=${align} setAlign=${setAlign} unit=${unit} />`}
    <h2>Traces</h2><ul class="ticks">${usable.map((/** @type {any} */ t) => html`<li><label>
      <input type="checkbox" checked=${ids.includes(String(t.id))} onChange=${() => flip(String(t.id))} />
      <span><strong>${t.valve ? called(t.valve, t.engine) : "No valve named"}</strong>, trace ${t.id}, ${when(t.started)}, ${digits(fromMm(t.max_lift_mm), unit)} ${unit}${t.remark ? `, ${t.remark}` : ""}</span></label></li>`)}</ul>`;
}

/** @param {{ids: string[], align: import("../compare.js").Align, setAlign: (a: any) => void, unit: import("../units.js").Unit}} props */
function Overlay({ ids, align, setAlign, unit }) {
  const called = useValveWords();
  const app = useApp();
  const { value, error } = useFetched(async (signal) => {
    const got = await Promise.all(ids.map(async (id) => {
      const trace = await app.api.get(`/traces/${id}`, signal);
      const opening = trace.findings?.openings?.[0];
      if (!opening) return null;
      const room = (opening.t_close_s - opening.t_open_s) * 0.1;
      const series = await app.api.get(`/traces/${id}/series${query({ from_s: Math.max(0, opening.t_open_s - room), to_s: opening.t_close_s + room, columns: 1500 })}`, signal);
      return { lifted: lifted(series, opening, trace.findings.sign, `${trace.valve ? called(trace.valve, trace.engine) : "no valve"}, trace ${id}`), findings: trace.findings };
    }));
    return got.filter((g) => g !== null);
  }, [ids.join()]);
  const inDegrees = value ? haveAngles(value.map((v) => v.lifted)) : false;
  const one = nanometres[unit];
  const drawn = useMemo(() => {
    if (!value || value.length === 0) return null;
    const { x, ys, differences } = overlay(value.map((v) => v.lifted), align, inDegrees);
    const scale = (/** @type {(number|null)[]} */ y) => y.map((v) => (v === null ? null : v / one));
    const thou = unit === "in" ? nanometres.thou : 1000;
    return { lift: [x, ...ys.map(scale)], differences: [x, ...differences.map((y) => y.map((v) => (v === null ? null : v / thou)))] };
  }, [value, align, inDegrees, unit]);
  if (value?.length === 0) return html`<p class="hint">None of them has a whole opening that counts.</p>`;
  if (!value || !drawn) return html`<${Trouble} text=${error} />${error ? null : html`<p class="hint">Fetching.</p>`}`;
  const xUnit = inDegrees ? "°" : "s";
  const from = align === "angle" && inDegrees ? "crank, degrees of the encoder" : `${inDegrees ? "crank degrees" : "seconds"} from ${align === "flanks" ? "the middle between half lifts" : align === "half" ? "half lift, opening" : "the nose"}`;
  const series = value.map((v, i) => ({ label: v.lifted.name, stroke: pens[i][0], dash: pens[i][1], width: pens[i][2] }));
  const write = (/** @type {number} */ v) => `${v.toFixed(unit === "in" ? 4 : 3)} ${unit}`, fine = unit === "in" ? "thou" : "µm";
  return html`<${Trouble} text=${error} />
    <div class="row" role="group" aria-label="Lined up at">
      ${[["flanks", "Between half lifts"], ["nose", "At the nose"], ["half", "At half lift"], ["angle", "By crank angle"]].map(([v, t]) => html`<button class="toggle"
        aria-pressed=${v === align ? "true" : "false"} disabled=${v === "angle" && !inDegrees} onClick=${() => setAlign(v)}>${t}</button>`)}</div>
    ${inDegrees ? null : html`<p class="hint">One of them has no crank angle, so they lie against time: the speed of the hand is in their width. Heights can be compared, flanks can not.</p>`}
    <${Chart} data=${drawn.lift} series=${series.map((s) => ({ ...s, write }))} xUnit=${xUnit}
      says=${`${value.length} openings laid over each other.`} axes=${[{ label: from }, { label: `lift, ${unit}`, size: 64 }]} />
    <ol class="pens">${value.map((v, i) => html`<li><svg width="54" height="10" aria-hidden="true">
      <path d="M0 5H54" class=${`pen${pens[i][0]}`} stroke-dasharray=${pens[i][1]?.join(" ")} stroke-width=${pens[i][2]} /></svg>
      ${v.lifted.name} (${pens[i][3]}): ${withUncertainty(fromMm(v.findings.max_lift_mm), fromMm(v.findings.max_lift_u_mm), unit)}${i ? html`, ${digits(fromMm(v.findings.max_lift_mm - value[0].findings.max_lift_mm), unit, { sign: true })} ${unit} against the first: <strong>${differs(value[0].findings, v.findings) ? "differs beyond the ± of both" : "the same within the ± of both"}</strong>` : ""}</li>`)}</ol>
    ${value.length > 1 ? html`<h2>Difference from the first</h2>
      <${Chart} data=${drawn.differences}
        series=${series.slice(1).map((s) => ({ ...s, write: (/** @type {number} */ v) => `${v.toFixed(1)} ${fine}` }))} xUnit=${xUnit} height=${240}
      says="Difference of lift from the first." axes=${[{ label: from }, { label: fine, size: 64 }]} />` : null}
    ${inDegrees && value.length > 1 ? html`<${Differences} ids=${ids} names=${value.map((v) => v.lifted.name)} unit=${unit} />` : null}
    ${ids.length > value.length ? html`<p class="hint">${ids.length - value.length} of them have no whole opening and are left out.</p>` : null}`;
}

/**
 * Whether the others are the same as the first over their whole opening, as the
 * daemon says from all turns of each.
 * @param {{ids: string[], names: string[], unit: import("../units.js").Unit}} props
 */
function Differences({ ids, names, unit }) {
  const app = useApp();
  const { value } = useFetched((signal) => Promise.all(ids.slice(1).map(async (id) => {
    try {
      return (await app.api.get(`/difference${query({ first: ids[0], second: id, unit })}`, signal)).difference;
    } catch (err) {
      if (signal.aborted) throw err;
      return { says: /** @type {Error} */ (err).message };
    }
  })), [ids.join(), unit]);
  if (!value) return null;
  return html`<h2>Same or not, over the whole opening</h2>${value.map((d, i) => html`<p>
    ${d.is ? html`<${Mark} shape=${d.is === "same" ? "ring" : "triangle"} kind="" /> ` : null}<strong>${names[i + 1]}:</strong> ${sentence(d.says)}</p>`)}
    <p class="hint">Each is drawn from all its turns. The ± holds the noise of both, their heels and how well they lie over each other; a difference counts when it stands out of that over four degrees or more.</p>`;
}
