// Clearances and pushrods: what to measure and how, and what follows from it.

import { html, Nothing, useApp, useFetched, usePart } from "../ui.js";
import { Pushrods } from "./pushrods.js";

const parts = /** @type {const} */ ([["pushrods", "Pushrods"]]);

/** @param {{route: import("../router.js").Route}} props */
export function Clearances({ route }) {
  const app = useApp();
  const { bench, unit } = usePart(app.store, (s) => s);
  const engine = useFetched((signal) => (bench.engine ? app.api.get(`/engines/${encodeURIComponent(bench.engine)}`, signal) : Promise.resolve(null)), [bench.engine]);
  const part = route.rest[0] ?? parts[0][0];
  return html`<h1>Clearances and pushrods</h1>
    ${parts.length > 1 ? html`<nav class="row" aria-label="Kinds of clearance">${parts.map(([v, t]) => html`<a class="button quiet" aria-current=${v === part ? "page" : undefined} href=${`#/clearances/${v}`}>${t}</a>`)}</nav>` : null}
    ${!bench.engine ? html`<${Nothing} says="These belong to an engine. Name it first." href="#/engine" label="To the engine" />` : engine.value ? html`<${Pushrods} engine=${engine.value} unit=${unit} />` : null}`;
}
