// How the encoder sits on the engine: what it shows at top dead centre, and
// the two ways of finding that.

import { useState } from "../lib/hooks.js";
import { html, LengthField, Mark, NumberField, Trouble, useApp } from "../ui.js";
import { degrees, toMm } from "../units.js";

/**
 * @typedef {object} Mounting
 * @property {number} [tdc_deg]
 * @property {number} [tdc_u_deg]
 * @property {boolean} [on_cam]
 * @property {boolean} [counts_down]
 */

/**
 * The mounting as the query of a request about timing.
 * @param {Mounting} m
 */
export const mountingQuery = (m) => ({ tdc_deg: m.tdc_deg, tdc_u_deg: m.tdc_u_deg, on_cam: m.on_cam ? "true" : undefined, counts_down: m.counts_down ? "true" : undefined });

/** @param {{mounting: Mounting, change: (m: Mounting) => void, unit: import("../units.js").Unit}} props */
export function EncoderPanel({ mounting: m, change, unit }) {
  const app = useApp();
  const now = () => app.strips.engine.newest()?.angle_udeg;
  return html`<details class="panel">
    <summary>Top dead centre${m.tdc_deg === undefined ? ": not set, the encoder's own zero counts" : `: the encoder shows ${degrees(m.tdc_deg, 2)} there`}</summary>
    <div class="grid">
      <${NumberField} label="The encoder shows at TDC" unit="°" value=${m.tdc_deg ?? null}
        onChange=${(/** @type {number|null} */ v) => change({ ...m, tdc_deg: v ?? undefined })} />
      <${NumberField} label="known to ±" unit="°" value=${m.tdc_u_deg ?? null}
        onChange=${(/** @type {number|null} */ v) => change({ ...m, tdc_u_deg: v ?? undefined })} />
      <label class="tick"><input type="checkbox" checked=${Boolean(m.on_cam)}
        onChange=${() => change({ ...m, on_cam: !m.on_cam })} /> it turns with the cam</label>
      <label class="tick"><input type="checkbox" checked=${Boolean(m.counts_down)}
        onChange=${() => change({ ...m, counts_down: !m.counts_down })} /> it counts down as the engine runs</label></div>
    <${Stop} now=${now} found=${(/** @type {any} */ t) => change({ ...m, tdc_deg: t.tdc_deg, tdc_u_deg: t.tdc_u_deg })} />
    <${Drop} now=${now} unit=${unit} found=${(/** @type {any} */ t) => change({ ...m, tdc_deg: t.tdc_deg, tdc_u_deg: t.tdc_u_deg })} /></details>`;
}

/** @typedef {{now: () => number|undefined, found: (tdc: any) => void}} Finder */

/**
 * A field for an angle, with the encoder's present one at a touch.
 * @param {{label: string, value: number|null, onChange: (v: number|null) => void, now: () => number|undefined}} props
 */
function AngleField({ label, value, onChange, now }) {
  const take = () => {
    const angle = now();
    if (angle !== undefined) onChange(Math.round(angle / 1e4) / 100);
  };
  return html`<div class="angle-field"><${NumberField} label=${label} unit="°" value=${value} onChange=${onChange} />
    ${now() === undefined ? null : html`<button type="button" class="quiet" onClick=${take}>As it stands</button>`}</div>`;
}

/** @param {object} question of top dead centre */
function useTdc(question) {
  const app = useApp();
  const [tdc, setTdc] = useState(/** @type {any} */ (null));
  const [error, setError] = useState("");
  const work = async () => {
    try {
      setTdc((await app.api.post("/calc/timing", { tdc: question })).tdc);
      setError("");
    } catch (err) {
      setError(/** @type {Error} */ (err).message);
    }
  };
  return { tdc, error, work };
}

/** @param {Finder} props */
function Stop({ now, found }) {
  const [a, setA] = useState(/** @type {number|null} */ (null));
  const [b, setB] = useState(/** @type {number|null} */ (null));
  const { tdc, error, work } = useTdc({ positive_stop: { first_deg: [a], second_deg: [b] } });
  return html`<h3>With a stop in the plug hole</h3>
    <p class="hint">Screw the stop in, turn gently against it one way and read the encoder, then the other way. Top dead centre is the middle. Take the stop out again.</p>
    <div class="grid"><${AngleField} label="Against it, turning forwards" value=${a} onChange=${setA} now=${now} />
      <${AngleField} label="Against it, turning back" value=${b} onChange=${setB} now=${now} /></div>
    <p><button type="button" disabled=${a === null || b === null} onClick=${work}>Find the middle</button></p><${Trouble} text=${error} />
      <${Found} tdc=${tdc} found=${found} />`;
}

/** @param {Finder & {unit: import("../units.js").Unit}} props */
function Drop({ now, unit, found }) {
  const [before, setBefore] = useState(/** @type {number|null} */ (null));
  const [after, setAfter] = useState(/** @type {number|null} */ (null));
  const [drop, setDrop] = useState(/** @type {number|null} */ (null));
  const { tdc, error, work } = useTdc({ piston: { drops: [{ before_deg: before, after_deg: after, drop_mm: drop === null ? 0 : toMm(drop) }] } });
  return html`<h3>With the indicator on the piston</h3>
    <p class="hint">Find the piston's top. Turn well back, come forwards until it is so much below its top, and read the encoder; go on over the top until it is as much below again, and read it once more.</p>
    <div class="grid"><${LengthField} label="So much below its top" nm=${drop} unit=${unit} onChange=${setDrop} />
      <${AngleField} label="Before the top" value=${before} onChange=${setBefore} now=${now} />
      <${AngleField} label="After it" value=${after} onChange=${setAfter} now=${now} /></div>
    <p><button type="button" disabled=${before === null || after === null || !drop} onClick=${work}>Find the middle</button></p>
      <${Trouble} text=${error} /><${Found} tdc=${tdc} found=${found} />`;
}

/** @param {{tdc: any, found: (tdc: any) => void}} props */
const Found = ({ tdc, found }) => (tdc ? html`<p role="status"><${Mark} shape="check" kind="good" /> Top dead centre at <strong>
  ${degrees(tdc.tdc_deg, 2)} ± ${degrees(tdc.tdc_u_deg, 2)}</strong>. <button type="button" onClick=${() => found(tdc)}>Use it</button></p>
  ${(tdc.warnings ?? []).map((/** @type {string} */ w) => html`<p class="fault"><${Mark} shape="triangle" /> ${w}</p>`)}` : null);

