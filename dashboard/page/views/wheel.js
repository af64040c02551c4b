// The encoder, or a degree wheel beside it, checked by itself: what it counts a turn,
// the slack of its drive, and whether a wheel is centred.

import { useState } from "../lib/hooks.js";
import { Fields, html, NumberField, sound, Trouble, useApp, useFetched, useValveWords } from "../ui.js";
import { when } from "../units.js";
import { query } from "../api.js";
import { DraftLine, useDraft } from "../draft.js";
import { AngleField, besides, turns } from "../anglefield.js";
import { askTraceWheel, askWheel } from "../questions.js";
import { Basis, Sentences } from "../says.js";

/** @typedef {{index: (number|null)[], back: (number|null)[], pairs: {encoder: number|null, wheel: number|null}[]}} Typed */

/** @type {Typed} */
const empty = { index: [null, null, null], back: [null], pairs: [] };

/** @param {{engine: any, now: () => number|undefined}} props */
export function Wheel({ engine, now }) {
  const called = useValveWords();
  const app = useApp();
  const draft = useDraft(`wheel.${engine?.id ?? ""}`, empty);
  const t = /** @type {Typed} */ (draft.value);
  const [said, setSaid] = useState({ answer: /** @type {any} */ (null), error: "", byTrace: false });
  const [trace, setTrace] = useState("");
  const { value: all } = useFetched((signal) => app.api.get(`/traces${query({ engine: engine?.id, limit: 200 })}`, signal), [engine?.id]);
  const traces = (all ?? []).filter((/** @type {any} */ x) => x.has_angle && x.max_lift_mm);
  const ask = async (/** @type {object|null} */ q, /** @type {string} */ without, byTrace = false) => {
    try {
      if (!q) throw new Error(without);
      setSaid({ answer: await app.api.post("/calc/timing", q), error: "", byTrace });
    } catch (err) {
      setSaid({ answer: null, error: /** @type {Error} */ (err).message, byTrace });
    }
  };
  const typed = (/** @type {Event} */ e) => {
    const half = t.pairs.findIndex((p) => (p.encoder === null) !== (p.wheel === null));
    if (sound(besides(e))) void ask(half < 0 ? askWheel(t) : null, `Pair ${half + 1} has one angle of two: read both at one moment, or clear it.`);
  };
  const traced = async () => ask(askTraceWheel((await app.api.get(`/traces/${trace}`)).findings), "That trace has fewer than two whole openings with an angle: record on over the second one.", true);
  const put = (/** @type {"index"|"back"} */ of, /** @type {number} */ i) => (/** @type {number|null} */ v) => draft.set({ ...t, [of]: t[of].map((x, k) => (k === i ? v : x)) });
  const pair = (/** @type {number} */ i, /** @type {object} */ what) => draft.set({ ...t, pairs: t.pairs.map((p, k) => (k === i ? { ...p, ...what } : p)) });
  // Beside what was pressed: on a phone the other end of the panel is out of sight.
  const answer = html`<${Trouble} text=${said.error} />
    ${said.answer?.wheel ? html`<div role="status"><${Sentences} list=${said.answer.wheel.says} /><${Basis} of=${said.answer} /></div>` : null}`;
  return html`<details class="panel"><summary>Check the encoder or the degree wheel</summary>
    ${traces.length ? html`<h3>From a trace</h3><p class="hint">One valve, turned on through two openings or more: its opening flank comes past once in two turns.</p>
      <div class="row"><select aria-label="Trace to check the encoder by" value=${trace} onChange=${(/** @type {any} */ e) => setTrace(e.target.value)}><option value="">none</option>
        ${traces.map((/** @type {any} */ x) => html`<option value=${String(x.id)} selected=${String(x.id) === trace}>${x.valve ? called(x.valve, x.engine) : "no valve named"}, trace ${x.id}, ${when(x.started)}</option>`)}</select>
      <button type="button" disabled=${!trace} onClick=${traced}>Check by the trace</button></div>${said.byTrace ? answer : null}` : null}
    <${Fields} draft=${draft}><h3>By a mark on the damper</h3>
      <p class="hint">Turn forwards until the mark comes past a pointer and read the encoder there, and again a turn and two turns later. Then turn on, and come back past it once: that shows the slack of the drive.</p>
      <div class="grid">${t.index.map((v, i) => html`<${AngleField} key=${i} label=${i === 0 ? "At the mark, turning forwards" : `${i === 1 ? "a turn" : `${i} turns`} later`} value=${v} onChange=${put("index", i)} now=${now} />`)}
        ${t.back.map((v, i) => html`<${AngleField} key=${`b${i}`} label="Turning back past it" value=${v} onChange=${put("back", i)} now=${now} />`)}</div>
      <h3>A degree wheel beside the encoder</h3>
      <p class="hint">Both read at one moment, turning forwards only: eight places or more, spread over two turns.</p>
      ${t.pairs.map((p, i) => html`<div class="grid" key=${`p${i}`}><${AngleField} label=${`Encoder ${i + 1}`} value=${p.encoder} onChange=${(/** @type {number|null} */ encoder) => pair(i, { encoder })} now=${now} />
        <${NumberField} label=${`Wheel ${i + 1}`} unit="°" range=${turns} value=${p.wheel} onChange=${(/** @type {number|null} */ wheel) => pair(i, { wheel })} /></div>`)}
      <p><button type="button" class="quiet" onClick=${() => draft.set({ ...t, pairs: [...t.pairs, { encoder: null, wheel: null }] })}>Add a pair</button></p>
      <p><button type="button" disabled=${!askWheel(t)} onClick=${typed}>Check</button></p><${DraftLine} draft=${draft} /><//>
    ${said.byTrace ? null : answer}</details>`;
}
