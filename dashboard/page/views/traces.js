// The traces: the list, and one of them opened.

import { useRef, useState } from "../lib/hooks.js";
import { html, Mark, Nothing, Trouble, useApp, useFetched, useOnlyShows, usePart, useValveWords } from "../ui.js";
import { digits, seconds, when } from "../units.js";
import { createApi, query } from "../api.js";
import { Columns } from "../columns.js";
import { sending } from "../upload.js";
import { TraceView } from "./trace.js";

/** @typedef {{id: string|number, started: string, engine: string, valve: string, cylinder?: number, kind?: "intake"|"exhaust", trial: string, readings: number, seconds: number, cut_short: boolean, max_lift_mm?: number, has_angle: boolean, source: string, remark: string, recording?: boolean, left_out?: number, put_away?: string}} TraceHead */

/** @param {{route: import("../router.js").Route}} props */
export const Traces = ({ route }) => (route.rest[0] ? html`<${TraceView} key=${route.rest[0]} id=${route.rest[0]} />` : html`<${TraceList} />`);

const page = 50;

function TraceList() {
  const called = useValveWords();
  const app = useApp();
  const unit = usePart(app.store, (s) => s.unit);
  const bench = usePart(app.store, (s) => s.bench);
  const looks = useOnlyShows();
  const newest = usePart(app.store, (s) => `${s.engine.trace?.id} ${s.engine.trace?.state} ${s.engine.findingsOf}`);
  const [only, setOnly] = useState("");
  const [away, setAway] = useState(false);
  const [before, setBefore] = useState(/** @type {(string|number)[]} */ ([]));
  const filter = only === "valve" ? { engine: bench.engine, valve: bench.valve } : only === "engine" ? { engine: bench.engine } : {};
  const { value: traces, error, again } = useFetched(
    (signal) => app.api.get(`/traces${query({ ...filter, before: before.at(-1), limit: page, away: away ? "with" : "" })}`, signal),
    [only, away, bench.engine, bench.valve, before.at(-1), newest],
  );
  return html`<h1>Traces</h1>
    <div class="row">
      <label class="inline">Show <select value=${only} onChange=${(/** @type {any} */ e) => { setOnly(e.target.value); setBefore([]); }}>
        <option value="">every trace</option>
        ${bench.engine ? html`<option value="engine">this engine's</option>` : null}
        ${bench.valve ? html`<option value="valve">of ${called(bench.valve)}</option>` : null}
      </select></label>
      <label class="tick"><input type="checkbox" checked=${away} onChange=${() => { setAway(!away); setBefore([]); }} /> deleted ones too</label>
      ${looks ? null : html`<${Import} done=${again} />`}
      <a class="button quiet" href="#/compare">Lay traces over each other</a>
    </div>
    <${Trouble} text=${error} />
    ${traces && traces.length === 0 ? html`<${Nothing} says="No trace here yet. One begins by itself when the engine is turned, and ends after 20 s of rest on the heel." href="#/bench" label="To the bench" />` : null}
    ${traces && traces.length > 0 ? html`<${Rows} traces=${traces} unit=${unit} />` : null}
    <div class="row">
      ${before.length ? html`<button onClick=${() => setBefore(before.slice(0, -1))}>Newer</button>` : null}
      ${traces?.length === page ? html`<button onClick=${() => setBefore([...before, traces[traces.length - 1].id])}>Older</button>` : null}
    </div>
    <p class="backup"><a class="button quiet" href=${`${app.api.base}/backup`} download>Save a backup of everything</a>
      <span class="hint">Engines, trials and traces in one file, as they stand now; recording goes on.</span></p>`;
}

/** @param {{traces: TraceHead[], unit: import("../units.js").Unit}} props */
function Rows({ traces, unit }) {
  const called = useValveWords();
  return html`<ul class="cards">${traces.map((t) => html`<li key=${t.id}>
  <a class="card" href=${`#/traces/${t.id}`}>
    <span class="card-figure">${t.max_lift_mm ? digits(t.max_lift_mm * 1e6, unit) : "–"}<small>
      ${t.max_lift_mm ? `max lift, ${unit}` : t.recording ? "not ended yet" : "no whole opening"}</small></span>
    <span class="card-words"><strong>${t.valve ? called(t.valve, t.engine) : "No valve named"}</strong>
      ${t.source?.startsWith("shop:") ? html`<span>${t.engine ? `${t.engine}, ` : ""}recorded on ${t.source.slice(5)}</span>` : null}
      <span>trace ${t.id}, ${when(t.started)}</span>
      <span>${seconds(t.seconds)}, ${t.readings.toLocaleString("en")} readings${t.has_angle ? ", with crank angle" : ""}</span>
      ${t.cut_short ? html`<span class="problem"><${Mark} shape="triangle" kind="bad" /> cut short</span>` : null}
      ${/demo|simulat/.test(t.source ?? "") ? html`<span class="problem"><${Mark} shape="triangle" /> simulated</span>` : null}
      ${t.left_out ? html`<span>${t.left_out} ${t.left_out === 1 ? "opening" : "openings"} left out</span>` : null}
      ${t.put_away ? html`<span class="problem"><${Mark} shape="cross" /> deleted: ${t.put_away}</span>` : null}
      ${t.recording ? html`<span><${Mark} shape="disc" kind="good" /> ${t.source?.startsWith("import:") ? "being imported" : "recording now"}</span>` : null}
      ${t.remark ? html`<span>${t.remark}</span>` : null}</span>
  </a></li>`)}</ul>`;
}

/** @param {{done: () => void}} props */
function Import({ done }) {
  const app = useApp();
  const input = useRef(/** @type {HTMLInputElement|null} */ (null));
  const [part, setPart] = useState("");
  const [asked, setAsked] = useState(/** @type {{file: File, why: string, table: import("../columns.js").Table}|null} */ (null));
  const take = async (/** @type {File|undefined} */ file, columns = "") => {
    if (!file || part) return;
    setPart("0 %");
    try {
      const api = createApi({ base: app.api.base, fetch: sending((sent) => setPart(sent < 1 ? `${Math.floor(sent * 100)} %` : "working it out")) });
      const got = await api.post(`/traces${query({ name: file.name, columns })}`, file);
      app.notify(`${file.name} is now trace ${got.id}.`);
      setAsked(null);
      done();
    } catch (err) {
      const { message, table } = /** @type {import("../api.js").ApiError} */ (err);
      if (table) setAsked({ file, why: message, table });
      else app.notify(message, "problem");
    }
    if (input.current) input.current.value = "";
    setPart("");
  };
  return html`<label class="button file">${part ? `Importing: ${part}` : "Import a file"}<input type="file" disabled=${part !== ""} accept=".csv,.jsonl,.ndjson,.parquet,.txt,.tsv,text/csv" ref=${input} onChange=${() => take(input.current?.files?.[0])} />
    </label>${asked ? html`<${Columns} key=${asked.file.name} name=${asked.file.name} why=${asked.why} table=${asked.table} act=${(/** @type {string} */ columns) => take(asked.file, columns)} cancel=${() => setAsked(null)} />` : null}`;
}
