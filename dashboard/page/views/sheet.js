// The build sheet: made by the daemon as one page to print and sign.

import { html, Mark, Nothing, Trouble, useApp, useFetched, usePart, useValveWords } from "../ui.js";
import { GateList, turned } from "../gate.js";

export function Sheet() {
  const called = useValveWords();
  const app = useApp();
  const bench = usePart(app.store, (s) => s.bench);
  const at = `/engines/${encodeURIComponent(bench.engine)}`;
  const { value: valves, error } = useFetched((signal) => (bench.engine ? app.api.get(`${at}/valves`, signal) : Promise.resolve(null)), [bench.engine, usePart(app.store, turned)]);
  if (!bench.engine) return html`<h1>Build sheet</h1>
    <${Nothing} says="A build sheet is of one engine. Name it first." href="#/engine" label="To the engine" />`;
  const open = (valves ?? []).filter((/** @type {any} */ v) => v.missing.length > 0);
  return html`<h1>Build sheet</h1><${Trouble} text=${error} />
    <p>Every valve with its lift and its uncertainty, the trials, the clearances, the cut list and the plots, on one page with room for a signature. It stands by itself: save it, send it, print it.</p>
    <p class="row"><a class="button" href=${`${app.api.base}${at}/sheet`} target="_blank" rel="noopener">Open the sheet, to print</a>
      <a class="button quiet" href=${`${app.api.base}${at}/sheet`} download=${`${bench.engine}.html`}>Save the sheet</a>
      <a class="button quiet" href=${`${app.api.base}${at}/csv`} download=${`${bench.engine}.csv`}>All numbers as CSV</a></p>
    <p class="hint">The browser's own print dialog saves it as PDF.</p>
    <${GateList} engine=${bench.engine} />
    ${!valves ? null : open.length === 0 ? html`<p><${Mark} shape="check" kind="good" /> Nothing is missing.</p>`
      : html`<h2>Not yet measured</h2><p class="hint">The sheet can be printed all the same; these places stay empty.</p>
        <ul class="plain">${open.map((/** @type {any} */ v) => html`<li><strong>
          ${called(v.valve)}</strong>: ${v.missing.join(", ")}</li>`)}</ul>`}`;
}
