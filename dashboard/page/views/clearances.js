// Clearances and pushrods: what to measure and how, and what follows from it.

import { html, Nothing, Trouble, useApp, useFetched, usePart } from "../ui.js";
import { Pushrods } from "./pushrods.js";
import { Piston } from "./piston.js";
import { Spring, Gaps } from "./springs.js";

const parts = /** @type {const} */ ([["pushrods", "Pushrods", Pushrods], ["piston", "Piston to valve", Piston], ["gaps", "Coils, retainer, stud", Gaps], ["spring", "Springs", Spring]]);

/** @param {{route: import("../router.js").Route}} props */
export function Clearances({ route }) {
  const app = useApp();
  const [bench, unit] = usePart(app.store, (s) => /** @type {const} */ ([s.bench, s.unit]));
  const engine = useFetched((signal) => (bench.engine ? app.api.get(`/engines/${encodeURIComponent(bench.engine)}`, signal) : Promise.resolve(null)), [bench.engine]);
  const [part, , Part] = parts.find(([name]) => name === route.rest[0]) ?? parts[0];
  return html`<h1>Clearances and pushrods</h1>
    <nav class="row" aria-label="Kinds of clearance">
      ${parts.map(([v, t]) => html`<a class="button quiet" aria-current=${v === part ? "page" : undefined} href=${`#/clearances/${v}`}>
      ${t}</a>`)}</nav>
    <${Trouble} text=${engine.error} />
    ${!bench.engine ? html`<${Nothing} says="These belong to an engine. Name it first." href="#/engine" label="To the engine" />`
      : engine.value?.id === bench.engine ? html`<${Part} key=${`${part} ${bench.engine} ${bench.valve}`} engine=${engine.value} valve=${bench.valve} unit=${unit} />` : null}`;
}
