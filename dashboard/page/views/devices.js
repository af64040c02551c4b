// The devices: which port is which, what it says, and what stands in the way.

import { useState } from "../lib/hooks.js";
import { DraftLine, useDraft } from "../draft.js";
import { Choice, Fold, Form, html, Mark, Nothing, Trouble, TypedField, useApp, useFetched, usePart } from "../ui.js";
import { deviceWords, heardWords, refusedWords } from "../cues.js";
import { length, small } from "../units.js";
import { keyOf, settings, withKey } from "../address.js";
import { DelayStep } from "./delay.js";
import { ProveStep } from "./prove.js";
import { ShopLine } from "./shop.js";
import { LastLines } from "../lastlines.js";

/** @typedef {{address: string, name: string, usb?: {vid: string, pid: string, serial?: string, product?: string}, by_id?: string, by_path?: string, can_open: boolean, says: string}} Port */

const roles = /** @type {const} */ ([["indicator", "Indicator"], ["encoder", "Crank encoder"], ["sweep", "Sweep gauge"]]);

export function Devices() {
  const app = useApp();
  const state = usePart(app.store, (s) => s);
  const { value: ports, error, again } = useFetched((signal) => app.api.get("/ports", signal), []);
  const simulator = (/** @type {boolean} */ on) => app.api.post("/simulator", { on }).then(() => app.notify(on ? "The simulator is running." : "The simulator is off."), (err) => app.notify(err.message, "problem"));
  const indicator = state.devices.indicator;
  return html`<h1>Devices</h1>${state.proof?.proving ? html`<${ProveStep} />` : null}
    ${!indicator ? html`<p class="lead"><${Mark} shape="ring" /> First the indicator: find its port below, look at what it says, and choose it.</p>`
      : indicator.state === "live" ? html`<p class="lead">
        <${Mark} shape="check" kind="good" /> The indicator is heard. Touch its spindle: the figure on the <a href="#/bench">bench</a> must move.${state.bench.engine ? "" : html` Then <a href="#/engine">name the engine</a>.`}</p>` : null}
    <section class="device-cards">
      ${roles.map(([id, name]) => html`<${DeviceCard} key=${id} id=${id} name=${name} device=${state.devices[id]} unit=${state.unit} app=${app} />`)}</section>
    ${state.proof?.proving ? null : html`<${ProveStep} />`}<${ShopLine} /><${DelayStep} />
    ${state.missed ? html`<p class="hint">This page was too slow for ${state.missed.toLocaleString("en")} readings since it was opened. They are in the trace all the same.</p>` : null}
    <section><h2>Ports</h2>
      <p class="row"><button onClick=${again}>Refresh</button></p>
      <${Trouble} text=${error} />
      ${ports?.length === 0 ? html`<${Nothing} says="No serial port is there. Plug the indicator's cable in and press Refresh. If it stays away: another cable (some only charge), another socket, or its driver is missing." />` : null}
      <ul class="cards">${(ports ?? []).map((/** @type {Port} */ p) => html`<li key=${p.address}><${PortCard} port=${p} /></li>`)}</ul>
      <${OtherAddress} />
    </section>
    <section><h2>Simulator</h2>
      <p>An invented engine, turned by an invented hand, with an indicator and an encoder. Everything from it is labelled as simulated.</p>
      <p><button onClick=${() => simulator(!state.simulated)}>${state.simulated ? "Stop the simulator" : "Use the simulator"}</button></p></section>
    <section><h2>When it does not work</h2>
      <ul class="plain">
        <li><strong>Permission denied.</strong> Your user may not open the port. On Linux join the group that owns it (often dialout or uucp), then log out and in. It is not a fault of the cable.</li>
        <li><strong>Busy.</strong> Another program holds the port. Close it; some systems have a modem or braille service that takes a new port for ten seconds or for good.</li>
        <li><strong>Open but silent.</strong> Many indicators send only after a key was pressed or when they are asked: see how it is set up, above. Check that the battery is not low.</li>
        <li><strong>Figures, but wrong ones.</strong> Look at the preview: format says what was found. A wrong unit can be set where it says how the device is set up; a scale in the address with scale=.</li>
        <li><strong>More:</strong> <code>lobescribe doctor</code> in a terminal names what stands in the way, one finding a line.</li>
      </ul></section>`;
}

/** @param {{id: string, name: string, device: import("../state.js").Device|undefined, unit: import("../units.js").Unit, app: import("../ui.js").App}} props */
function DeviceCard({ id, name, device, unit, app }) {
  const words = deviceWords(device);
  const off = () => app.api.del(`/devices/${id}`).catch((err) => app.notify(err.message, "problem"));
  const newest = usePart(app.store, () => app.strips.engine.newest());
  const sweep = app.strips.engine.sweep_nm;
  const up = usePart(app.store, (s) => s.link === "up");
  return html`<article class="panel"><h2>${name}</h2>
    <p class=${`tag link ${words.kind}`}><${Mark} shape=${words.shape} kind=${words.kind} /> ${words.word}</p>
    ${!device ? html`<p class="hint">
      ${id === "encoder" ? "Not needed for max lift and half lift; with it come crank angles and timing."
        : id === "sweep" ? "Not needed: a second indicator across the stem, for where the rocker is square to hundredths." : "Choose its port below."}</p>` : html`
      <p class="mono">${device.address}</p>
      ${device.says ? html`<p>${device.says}</p>` : null}
      ${device.assumes ? html`<p class="hint"><${Mark} shape="triangle" kind="warn" /> Assumed: ${device.assumes}. The keys stand under “How it is set up”.</p>` : null}
      ${id === "indicator" && newest?.lift_nm !== undefined ? html`<p class="big-figure">${length(newest.lift_nm, unit)}</p>` : null}
      ${id === "encoder" && newest?.angle_udeg !== undefined ? html`<p class="big-figure">${(newest.angle_udeg / 1e6).toFixed(1)}°</p>` : null}
      ${id === "sweep" && sweep !== undefined ? html`<p class="big-figure">${length(sweep, unit)}</p>` : null}
      <dl class="facts small">
        ${device.format ? html`<div><dt>lines</dt><dd>${device.format}</dd></div>` : null}
        <div><dt>readings a second</dt><dd>${(device.rate_hz ?? 0).toFixed((device.rate_hz ?? 0) < 20 ? 1 : 0)}</dd></div>
        <div><dt>last reading</dt><dd>${heardWords(device, up)}</dd></div>
        ${device.resolution_mm ? html`<div><dt>step</dt><dd>${small(device.resolution_mm * 1e6, unit)} ${unit}</dd></div>` : null}
        <div><dt>lines refused</dt><dd>${refusedWords(device.refused)}</dd></div>
      </dl>
      <${LinesNow} id=${id} device=${device} />
      <${LinkSettings} id=${id} device=${device} />
      ${id === "indicator" ? html`<p class="hint">Which way the spindle runs as the valve opens is found by itself at the first opening.</p>` : null}
      <p><button class="quiet" onClick=${off}>Disconnect</button></p>`}
  </article>`;
}

/**
 * The last lines of a device that is connected, to see and to change which column
 * is taken.
 * @param {{id: string, device: import("../state.js").Device}} props
 */
function LinesNow({ id, device }) {
  const app = useApp();
  const [heard, setHeard] = useState(/** @type {any} */ (null));
  const look = () => app.api.post("/devices/preview", { address: device.address }).then(setHeard, (err) => app.notify(err.message, "problem"));
  const take = (/** @type {string} */ column) => app.api.put(`/devices/${id}`, { address: withKey(device.address, "column", column) })
    .then(() => app.notify(`Column ${column} is taken from here on.`), (err) => app.notify(err.message, "problem"));
  return html`<p><button class="quiet" onClick=${look}>Look at its lines</button></p>
    ${heard ? html`<${LastLines} lines=${heard.lines} columns=${heard.columns ?? []} onPick=${take} />
      ${heard.lines?.length ? null : html`<p class="hint">No line was kept: the format was named in the address, or nothing has come yet.</p>`}` : null}`;
}

/**
 * How a device's link is set up, as fields instead of words in an address.
 * @param {{id: string, device: import("../state.js").Device}} props
 */
function LinkSettings({ id, device }) {
  const app = useApp();
  const typed = useDraft(`device.${id}`, { address: device.address }), address = typed.value.address;
  const setAddress = (/** @type {string} */ v) => typed.set({ address: v });
  const [error, setError] = useState("");
  const use = async () => {
    try {
      await app.api.put(`/devices/${id}`, { address });
      typed.done();
      setError("");
      app.notify("The link is opened again with these settings.");
    } catch (err) {
      setError(/** @type {Error} */ (err).message);
    }
  };
  return html`<details><summary>How it is set up</summary><${Form} class="grid" onSubmit=${use} draft=${typed}>
    ${settings[id].map(({ key, label, hint, options }) => (options
      ? html`<${Choice} key=${key} label=${label} hint=${hint} options=${options} value=${keyOf(address, key)}
        onChange=${(/** @type {string} */ v) => setAddress(withKey(address, key, v))} />`
      : html`<${TypedField} key=${key} label=${label} hint=${hint} kind="word" value=${keyOf(address, key) || null} show=${(/** @type {string} */ t) => t} read=${(/** @type {string} */ t) => t.trim()}
        onChange=${(/** @type {string|null} */ v) => setAddress(withKey(address, key, v ?? ""))} />`))}
    <${Trouble} text=${error} /><p class="mono all">${address}</p><p><button disabled=${address === device.address}>Save</button></p><${DraftLine} draft=${typed} />
      <//></details>`;
}

/** @param {{port: Port}} props */
function PortCard({ port }) {
  const name = port.usb?.product || port.name || port.address;
  return html`<article class="panel"><h3>${name}</h3>
    <p class="mono">${port.address}</p>
    ${port.usb ? html`<p class="hint">USB ${port.usb.vid}:${port.usb.pid}${port.usb.serial ? `, serial ${port.usb.serial}` : ", without a serial number"}</p>` : null}
    ${port.can_open ? null : html`<p class="fault"><${Mark} shape="triangle" kind="bad" /> ${port.says}</p>`}
    ${port.can_open && port.says ? html`<p class="hint">${port.says}</p>` : null}
    <${Listen} address=${port.address} /></article>`;
}

/** @param {{address: string}} props */
function Listen({ address: given }) {
  const app = useApp();
  const unit = usePart(app.store, (s) => s.unit);
  const probed = usePart(app.store, (s) => s.probed);
  const [address, setAddress] = useState(given);
  const [busy, setBusy] = useState(false);
  const [probing, setProbing] = useState(-1); // steps that were told before it began
  const [found, setFound] = useState("");
  const [heard, setHeard] = useState(/** @type {any} */ (null));
  const [error, setError] = useState("");
  const listen = async (at = address) => {
    setBusy(true);
    setError("");
    try {
      setHeard(await app.api.post("/devices/preview", { address: at }));
    } catch (err) {
      setHeard(null);
      setError(/** @type {Error} */ (err).message);
    }
    setBusy(false);
  };
  const probe = async () => {
    setProbing(app.store.get().probed.length);
    setFound("");
    setHeard(null);
    setError("");
    setBusy(true);
    try {
      const r = await app.api.post("/devices/probe", { address: given });
      setFound(r.sure ? `${r.says} ${r.address} is used from here on.` : r.says);
      if (r.sure) setAddress(r.address);
    } catch (err) {
      setError(/** @type {Error} */ (err).message);
    }
    setBusy(false);
  };
  const choose = (/** @type {string} */ id) => app.api.put(`/devices/${id}`, { address }).then(() => app.notify("Chosen, and remembered."), (err) => app.notify(err.message, "problem"));
  const take = (/** @type {string} */ column) => {
    const other = withKey(address, "column", column);
    setAddress(other);
    listen(other);
  };
  const readings = (heard?.readings ?? []).slice(-6);
  return html`<div class="row"><button class="quiet" disabled=${busy} onClick=${() => listen()}>${busy ? "Listening…" : "Listen for 2 s"}</button>
      ${given.startsWith("serial:") ? html`<button class="quiet" disabled=${busy} onClick=${probe}>Try the usual speeds</button>` : null}
      <button onClick=${() => choose("indicator")}>It is the indicator</button>
        <button class="quiet" onClick=${() => choose("encoder")}>It is the encoder</button>
        <button class="quiet" onClick=${() => choose("sweep")}>It is the sweep gauge</button></div>
    <${Trouble} text=${error} />
    ${probing >= 0 ? html`<div role="status"><ol class="heard">${probed.slice(Math.min(probing, probed.length)).map((s) => html`<li>
      ${s.line}: ${Math.round(s.score * 100)} of 100, ${s.says}</li>`)}</ol>${found ? html`<p><strong>${found}</strong></p>` : null}</div>` : null}
    ${heard ? html`<div role="status"><p><strong>${heard.format || "Nothing was understood"}</strong>${heard.says ? `. ${heard.says}` : ""}</p>
      ${heard.assumes ? html`<p><${Mark} shape="triangle" kind="warn" /> Assumed: ${heard.assumes}.</p>` : null}
      <${LastLines} lines=${heard.lines} columns=${heard.columns ?? []} onPick=${take} />
      ${address !== given ? html`<p class="mono all">${address}</p>` : null}
      ${readings.length ? html`<ol class="heard">${readings.map((/** @type {any} */ r) => html`<li>
        ${r.lift_mm !== undefined ? length(r.lift_mm * 1e6, unit) : ""}${r.angle_deg !== undefined ? ` ${r.angle_deg}°` : ""}</li>`)}</ol>` : null}</div>` : null}`;
}

function OtherAddress() {
  const typed = useDraft("address", { address: "" }), address = typed.value.address;
  return html`<${Fold} class="panel" open=${typed.open} summary="Other address">
    <p class="hint">For a serial port over the network, or settings that differ: <span class="mono">serial:/dev/ttyUSB0?baud=9600</span>, <span class="mono">tcp://192.168.0.20:4001</span>, <span class="mono">usb:VVVV:PPPP</span>. Every word that may stand behind the question mark, with an example: <a href="#/help/addresses">Help, addresses</a>.</p>
    <${TypedField} label="Address" kind="word" value=${address || null} show=${(/** @type {string} */ t) => t} read=${(/** @type {string} */ t) => t.trim()}
      onChange=${(/** @type {string|null} */ t) => typed.set({ address: t ?? "" })} />
    ${address ? html`<${Listen} key=${address} address=${address} />` : null}<//>`;
}
