// How the encoder sits on the engine: what it shows at top dead centre, and
// the two ways of finding that.

import { useState } from "../lib/hooks.js";
import { Fields, html, LengthField, Mark, NumberField, sound, Trouble, useApp, useOnlyShows } from "../ui.js";
import { degrees, toMm } from "../units.js";
import { cylinderOf } from "../engine.js";
import { DraftLine, useDraft, useKeptHere } from "../draft.js";
import { foundTdc, tdcWords, withTdc } from "../tdc.js";
import { AngleField, besides, turns } from "../anglefield.js";
import { Wheel } from "./wheel.js";

/**
 * @typedef {object} Mounting
 * @property {number} [tdc_deg] only where no engine keeps it
 * @property {number} [tdc_u_deg]
 * @property {boolean} [on_cam]
 * @property {boolean} [counts_down]
 */

/**
 * How the encoder is mounted: top dead centre is the engine's, the rest is of
 * this browser.
 * @param {any} engine null when none is chosen
 * @returns {[Mounting, (m: Mounting) => void]}
 */
export function useMounting(engine) {
  const [typed, setTyped] = useKeptHere(`encoder.${engine?.id ?? ""}`, /** @type {Mounting} */ ({}));
  return [engine?.tdc ? { ...typed, tdc_deg: undefined, tdc_u_deg: undefined } : typed, setTyped];
}

/**
 * The mounting as the query of a request about timing. An engine's own top dead
 * centre and its ± are not sent: the daemon knows them, and of which cylinder.
 * @param {Mounting} m
 */
export const mountingQuery = (m) => ({ tdc_deg: m.tdc_deg, tdc_u_deg: m.tdc_u_deg, on_cam: m.on_cam ? "true" : undefined, counts_down: m.counts_down ? "true" : undefined });

/** @param {{engine: any, valve: string, mounting: Mounting, change: (m: Mounting) => void, kept: (engine: any) => void, unit: import("../units.js").Unit}} props */
export function EncoderPanel({ engine, valve, mounting: m, change, kept, unit }) {
  const app = useApp();
  const [error, setError] = useState("");
  const now = () => app.strips.engine.newest()?.angle_udeg;
  const tdc = /** @type {import("../tdc.js").TopDeadCentre|null} */ (engine?.tdc ?? (m.tdc_deg === undefined ? null : { angle_deg: m.tdc_deg, u_deg: m.tdc_u_deg }));
  const keep = async (/** @type {import("../tdc.js").TopDeadCentre|null} */ found) => {
    change({ ...m, tdc_deg: engine || !found ? undefined : found.angle_deg, tdc_u_deg: engine || !found ? undefined : found.u_deg });
    if (!engine) return;
    try {
      // As it is now: the form of the engine may have been kept meanwhile.
      const at = `/engines/${encodeURIComponent(engine.id)}`;
      kept(await app.api.put(at, withTdc(await app.api.get(at), found)));
      setError("");
      app.notify(found ? "Top dead centre is saved with the engine." : "Top dead centre is deleted; the encoder's own zero counts again.");
    } catch (err) {
      setError(/** @type {Error} */ (err).message);
    }
  };
  const other = cylinderOf(valve) > 1;
  if (useOnlyShows()) return html`<p class="hint">Top dead centre: ${tdc ? `${tdcWords(tdc)}.` : "not known, so the encoder's own zero counts."}</p>`;
  return html`<details class="panel">
    <summary>Top dead centre${tdc ? `: the encoder shows ${degrees(tdc.angle_deg, 2)} there` : ": not set, the encoder's own zero counts"}</summary>
    ${tdc ? html`<p>${engine?.tdc ? html`<${Mark} shape="check" kind="good" /> Saved with the engine: ${tdcWords(tdc)}.` : "In this browser only."}
      <button type="button" class="quiet" onClick=${() => keep(null)}>Delete</button></p>` : null}
    ${engine ? html`<p class="hint">${other ? html`<strong>Find it at cylinder 1.</strong> ` : "It is that of cylinder 1. "}The others are counted from it by the firing order.</p>` : null}
    <${Trouble} text=${error} />
    <${Typed} of=${engine?.id ?? ""} tdc=${tdc} found=${keep} />
    <div class="grid"><label class="tick"><input type="checkbox" checked=${Boolean(m.on_cam)}
        onChange=${() => change({ ...m, on_cam: !m.on_cam })} /> the encoder turns with the cam</label>
      <label class="tick"><input type="checkbox" checked=${Boolean(m.counts_down)}
        onChange=${() => change({ ...m, counts_down: !m.counts_down })} /> it counts down as the engine runs</label></div>
    <${Stop} of=${engine?.id ?? ""} now=${now} found=${(/** @type {any} */ t) => keep(foundTdc(t.tdc_deg, t.tdc_u_deg, "positive stop"))} />
    <${Drop} of=${engine?.id ?? ""} now=${now} unit=${unit} found=${(/** @type {any} */ t) => keep(foundTdc(t.tdc_deg, t.tdc_u_deg, "indicator on the piston"))} /></details>
    <${Wheel} engine=${engine} now=${now} />`;
}

/** @param {{of: string, tdc: import("../tdc.js").TopDeadCentre|null, found: (tdc: import("../tdc.js").TopDeadCentre) => Promise<void>}} props */
function Typed({ of, tdc, found }) {
  const draft = useDraft(`tdc.typed.${of}`, { deg: tdc?.angle_deg ?? null, u: tdc?.u_deg ?? null });
  const { deg, u } = draft.value;
  const setDeg = (/** @type {number|null} */ v) => draft.set({ deg: v, u }), setU = (/** @type {number|null} */ v) => draft.set({ deg, u: v });
  return html`<${Fields} class="grid" draft=${draft}><${NumberField} label="The encoder shows at TDC" unit="°" range=${turns} value=${deg} onChange=${setDeg} />
    <${NumberField} label="known to ±" unit="°" range=${{ least: 0, most: 90 }} value=${u} onChange=${setU} />
    <p><button type="button" disabled=${deg === null || !draft.open}
      onClick=${(/** @type {Event} */ e) => deg !== null && sound(besides(e)) && found(foundTdc(deg, u, "typed"))}>Save</button></p><${DraftLine} draft=${draft} /><//>`;
}

/** @typedef {{of: string, now: () => number|undefined, found: (tdc: any) => Promise<void>}} Finder */

/** @param {object} question of top dead centre */
function useTdc(question) {
  const app = useApp();
  const [tdc, setTdc] = useState(/** @type {any} */ (null));
  const [error, setError] = useState("");
  const work = async (/** @type {Event} */ e) => {
    if (!sound(besides(e))) return;
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
function Stop({ of, now, found }) {
  const draft = useDraft(`tdc.stop.${of}`, /** @type {Record<"a"|"b"|"a2"|"b2", number|null>} */ ({ a: null, b: null, a2: null, b2: null }));
  const { a, b, a2, b2 } = draft.value;
  const put = (/** @type {"a"|"b"|"a2"|"b2"} */ name) => (/** @type {number|null} */ v) => draft.set({ ...draft.value, [name]: v });
  const told = (/** @type {(number|null)[]} */ list) => list.filter((v) => v !== null);
  const { tdc, error, work } = useTdc({ positive_stop: { first_deg: told([a, a2]), second_deg: told([b, b2]) } });
  return html`<${Fields} draft=${draft}><h3>With a stop in the plug hole</h3>
    <p class="hint">Screw the stop in, turn gently against it one way and read the encoder, then the other way. Top dead centre is the middle. Twice from each side shows how well the stop repeats, and narrows the ±. Take the stop out again.</p>
    <div class="grid"><${AngleField} label="Against it, turning forwards" value=${a} onChange=${put("a")} now=${now} />
      <${AngleField} label="Against it, turning back" value=${b} onChange=${put("b")} now=${now} />
      <${AngleField} label="Forwards, once more" value=${a2} onChange=${put("a2")} now=${now} />
      <${AngleField} label="Back, once more" value=${b2} onChange=${put("b2")} now=${now} /></div>
    <p><button type="button" disabled=${a === null || b === null} onClick=${work}>Find the middle</button></p><${Trouble} text=${error} />
      <${Found} tdc=${tdc} found=${(/** @type {any} */ t) => found(t).then(() => draft.done())} /><${DraftLine} draft=${draft} /><//>`;
}

/** @param {Finder & {unit: import("../units.js").Unit}} props */
function Drop({ of, now, unit, found }) {
  const draft = useDraft(`tdc.drop.${of}`, /** @type {{before: number|null, after: number|null, drop: number|null}} */ ({ before: null, after: null, drop: null }));
  const { before, after, drop } = draft.value;
  const put = (/** @type {"before"|"after"|"drop"} */ name) => (/** @type {number|null} */ v) => draft.set({ ...draft.value, [name]: v });
  const { tdc, error, work } = useTdc({ piston: { drops: [{ before_deg: before, after_deg: after, drop_mm: drop === null ? 0 : toMm(drop) }] } });
  return html`<${Fields} draft=${draft}><h3>With the indicator on the piston</h3>
    <p class="hint">Find the piston's top. Turn well back, come forwards until it is so much below its top, and read the encoder; go on over the top until it is as much below again, and read it once more.</p>
    <div class="grid"><${LengthField} label="So much below its top" nm=${drop} unit=${unit} of="drop" onChange=${put("drop")} />
      <${AngleField} label="Before the top" value=${before} onChange=${put("before")} now=${now} />
      <${AngleField} label="After it" value=${after} onChange=${put("after")} now=${now} /></div>
    <p><button type="button" disabled=${before === null || after === null || !drop} onClick=${work}>Find the middle</button></p>
      <${Trouble} text=${error} /><${Found} tdc=${tdc} found=${(/** @type {any} */ t) => found(t).then(() => draft.done())} /><${DraftLine} draft=${draft} /><//>`;
}

/** @param {{tdc: any, found: (tdc: any) => void}} props */
const Found = ({ tdc, found }) => (tdc ? html`<p role="status"><${Mark} shape="check" kind="good" /> Top dead centre at <strong>
  ${degrees(tdc.tdc_deg, 2)}${tdc.tdc_u_deg ? ` ± ${degrees(tdc.tdc_u_deg, 2)}` : ""}</strong>. <button type="button" onClick=${() => found(tdc)}>Save</button></p>
  ${(tdc.warnings ?? []).map((/** @type {string} */ w) => html`<p class="fault"><${Mark} shape="triangle" /> ${w}</p>`)}` : null);

