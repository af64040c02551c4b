// The shop: on its own page, what all benches recorded; on a bench, how it
// stands with the shop and which engine of another it may go on with.

import { useEffect, useState } from "../lib/hooks.js";
import { html, Mark, Nothing, Trouble, useApp, useFetched, usePart } from "../ui.js";
import { ago, askEvery, byType, outboxLine, readerLine } from "../shop.js";
import { when } from "../units.js";
import { SpreadView } from "./spread.js";

/** @param {{route: import("../router.js").Route}} props */
export function Shop({ route }) {
  const app = useApp();
  const role = usePart(app.store, (s) => s.shop);
  if (role === "record") return route.rest[0] ? html`<${SpreadView} key=${route.rest[0]} type=${route.rest[0]} />` : html`<${TheRecord} />`;
  if (role === "bench") return html`<${TheBench} />`;
  return html`<h1>Shop</h1><${Nothing} says="This bench tells no shop. With several benches, one page can show what all of them recorded: see “Many benches” in the README." href="#/bench" label="To the bench" />`;
}

/**
 * How it stands with the shop, asked again and again.
 * @returns {{value: any, error: string}}
 */
function useShop() {
  const app = useApp();
  const { value, error, again } = useFetched((signal) => app.api.get("/shop", signal), []);
  useEffect(() => {
    const timer = setInterval(again, askEvery);
    return () => clearInterval(timer);
  }, []);
  return { value, error };
}

/** A line about the shop, for the screens of a bench. */
export function ShopLine() {
  const app = useApp();
  return usePart(app.store, (s) => s.shop) === "bench" ? html`<${Line} />` : null;
}

function Line() {
  const { value } = useShop();
  if (!value?.outbox) return null;
  const line = outboxLine(value.outbox, Date.now());
  return html`<p><${Mark} shape=${line.shape} kind=${line.kind} /> ${line.says} <a href="#/shop">More</a></p>`;
}

function TheRecord() {
  const { value, error } = useShop();
  if (!value) return html`<h1>Shop</h1><${Trouble} text=${error} />`;
  const line = readerLine(value.reader);
  const benches = /** @type {import("../shop.js").BenchEntry[]} */ (value.benches ?? []);
  const engines = /** @type {import("../shop.js").ShopEngine[]} */ (value.engines ?? []);
  return html`<h1>Shop</h1><${Trouble} text=${error} />
    <p class="lead" role="status"><${Mark} shape=${line.shape} kind=${line.kind} /> ${line.says}</p>
    ${benches.length === 0 ? html`<${Nothing} says=${`No bench has sent anything yet. A bench joins with: lobescribe serve --shop ${value.reader.server} --bench NAME`} />` : html`
    <section><h2>Benches</h2><ul class="cards">${benches.map((b) => html`<li key=${b.name}><${BenchCard} bench=${b} /></li>`)}</ul></section>
    <section><h2>Engines</h2>
      ${engines.length === 0 ? html`<${Nothing} says="No bench has sent an engine yet. Its traces are under Traces." />`
        : byType(engines).map((g) => html`<${TypeBlock} key=${g.type} type=${g.type} engines=${g.engines} />`)}</section>`}
    <${RefusedBlock} refused=${value.refused} />`;
}

/** @param {{bench: import("../shop.js").BenchEntry}} props */
const BenchCard = ({ bench: b }) => html`<div class="card">
  <span class="card-figure">${b.traces.toLocaleString("en")}<small>${b.traces === 1 ? "trace" : "traces"}</small></span>
  <span class="card-words"><strong>${b.name}</strong>
    <span title=${when(b.last)}>heard of ${ago(b.last, Date.now())}</span>
    <span>${b.readings.toLocaleString("en")} readings since ${when(b.first)}</span>
    ${b.held_bytes ? html`<span><${Mark} shape="ring" /> a trace of it is still on its way</span>` : null}
    ${b.refused ? html`<span class="problem"><${Mark} shape="triangle" kind="bad" /> ${b.refused} of its messages could not be right</span>` : null}</span></div>`;

/** @param {{type: string, engines: import("../shop.js").ShopEngine[]}} props */
function TypeBlock({ type, engines }) {
  const app = useApp();
  const open = (/** @type {string} */ id, /** @type {boolean} */ card) => app.setBench({ engine: id, valve: "", trial: "" })
    .then(() => { location.hash = card ? "#/engine" : "#/traces"; });
  return html`<section class="type-block"><h3>${type || "No type named"} <small>${engines.length} ${engines.length === 1 ? "engine" : "engines"}</small></h3>
    ${type && engines.length > 1 ? html`<p class="row"><a class="button" href=${`#/shop/${encodeURIComponent(type)}`}>How they differ</a></p>` : null}
    ${type ? null : html`<p class="hint">Write the type with the engine on its bench, and engines of one type can be laid against each other here.</p>`}
    <div class="wide" tabindex="0" role="group" aria-label="Table, may scroll sideways"><table><thead><tr>
      <th scope="col" class="words">engine</th><th scope="col" class="words">benches</th><th scope="col">valves</th><th scope="col">traces</th>
      <th scope="col" class="words">heard of</th></tr></thead>
      <tbody>${engines.map((e) => html`<tr key=${e.id}><td class="words"><button class="quiet" onClick=${() => open(e.id, e.card)}>${e.name || e.id}</button>
        <small>${e.name && e.name !== e.id ? e.id : ""}${e.card ? "" : " no card"}</small></td>
        <td class="words">${e.benches.join(", ")}</td><td title="valves with a max lift">${e.card ? `${e.measured} of ${e.valves}` : e.measured}</td><td>${e.traces}</td>
        <td class="words" title=${when(e.last)}>${ago(e.last, Date.now())}</td></tr>`)}</tbody></table></div></section>`;
}

/** @param {{refused: {counts: Record<string, number>, last: {sequence: number, bench: string, why: string}[]}|undefined}} props */
function RefusedBlock({ refused }) {
  const counts = Object.entries(refused?.counts ?? {});
  if (!refused || counts.length === 0) return null;
  return html`<details class="panel"><summary>Messages that could not be right: ${counts.map(([kind, n]) => `${n} ${kind}`).join(", ")}</summary>
    <p class="hint">They were passed over; the stream still has them.</p>
    <ul class="plain">${[...refused.last].reverse().slice(0, 20).map((r) => html`<li key=${r.sequence}>${r.sequence}, ${r.bench}: ${r.why}</li>`)}</ul></details>`;
}

function TheBench() {
  const { value, error } = useShop();
  const o = /** @type {import("../shop.js").Outbox|undefined} */ (value?.outbox);
  if (!o) return html`<h1>Shop</h1><${Trouble} text=${error} />`;
  const line = outboxLine(o, Date.now());
  return html`<h1>Shop</h1><${Trouble} text=${error} />
    <section class="panel"><h2>This bench is ${o.bench}</h2>
      <p class="lead" role="status"><${Mark} shape=${line.shape} kind=${line.kind} /> ${line.says}</p>
      <p class="hint">Sent to <span class="mono">${o.server}</span>. Without a network everything is recorded all the same, and waits here, for weeks if need be.</p>
      ${o.says ? html`<p>${o.says}${o.next_try ? html` <span class="hint">Tried again at ${when(o.next_try)}.</span>` : null}</p>` : null}
      <dl class="facts small"><div><dt>records sent so far</dt><dd>${o.sent.toLocaleString("en")}</dd></div>
        ${o.since ? html`<div><dt>the oldest waits since</dt><dd>${when(o.since)}</dd></div>` : null}</dl>
      ${(o.set_aside ?? []).map((a) => html`<p class="fault"><${Mark} shape="triangle" kind="bad" /> Set aside: ${a}</p>`)}</section>
    <${Offers} />`;
}

function Offers() {
  const app = useApp();
  const [asked, setAsked] = useState(0);
  const [busy, setBusy] = useState("");
  const { value, error } = useFetched((signal) => (asked ? app.api.get("/shop/engines", signal) : Promise.resolve(null)), [asked]);
  // Those of others first: that is what one comes here for.
  const offers = /** @type {import("../shop.js").Offer[]|null} */ (value && [...value].sort((a, b) => Number(Boolean(a.local)) - Number(Boolean(b.local))));
  const take = async (/** @type {import("../shop.js").Offer} */ o) => {
    setBusy(o.ref.name);
    try {
      const got = await app.api.post("/shop/engines", o.ref);
      app.notify(`${o.name || o.ref.name} is here now, with ${got.traces} new ${got.traces === 1 ? "trace" : "traces"}${got.kept ? `; ${got.kept} changed here and not sent yet stay as they are` : ""}.`);
      setAsked(asked + 1);
    } catch (err) {
      app.notify(/** @type {Error} */ (err).message, "problem");
    }
    setBusy("");
  };
  return html`<section><h2>Go on with an engine of another bench</h2>
    <p>Its card, trials and traces come here, and what is measured on goes to the shop from here.</p>
    <p class="row"><button class=${offers ? "quiet" : ""} onClick=${() => setAsked(asked + 1)}>${offers ? "Refresh" : "Show the engines of the shop"}</button></p>
    <${Trouble} text=${error} />
    ${offers?.length === 0 ? html`<${Nothing} says="The shop knows no engine yet." />` : null}
    ${offers?.length ? html`<ul class="cards">${offers.map((o) => html`<li key=${`${o.ref.origin}/${o.ref.name}`}><article class="panel"><h3>${o.name || o.ref.name}</h3>
      <p>${o.type ? `${o.type}, ` : ""}${o.bench}, heard of ${ago(o.last, Date.now())}${o.local ? html`. <strong>Here as ${o.local}</strong>` : ""}</p>
      <p><button class=${o.local ? "quiet" : ""} disabled=${busy !== ""} onClick=${() => take(o)}>${busy === o.ref.name ? "Fetching…" : o.local ? "Bring it up to date" : "Go on with it here"}</button></p></article></li>`)}</ul>` : null}</section>`;
}
