// What a repair of the store has cost. It stands on every screen until somebody
// says that it was read: a loss that nobody saw would be found at the next build.

import { html, Mark, useApp, usePart } from "./ui.js";
import { onlyShows } from "./state.js";

/** @typedef {{id: string, loss: boolean, says: string}} Repair */

/**
 * The heading of one repair.
 * @param {Repair} r
 */
export const headingOf = (r) => (r.loss ? "The store was hurt, and some of it is lost" : "The store was hurt, and repaired without a loss");

export function Repairs() {
  const app = useApp();
  const repairs = usePart(app.store, (s) => s.repairs);
  const looks = usePart(app.store, onlyShows);
  const dismiss = (/** @type {string} */ id) => app.api.del(`/repairs/${encodeURIComponent(id)}`).catch((err) => app.notify(err.message, "problem"));
  return repairs.map((r) => html`<section key=${r.id} class=${`repair ${r.loss ? "lost" : ""}`} aria-label="Repair of the store">
    <details>
      <summary><${Mark} shape=${r.loss ? "triangle" : "check"} /> ${headingOf(r)}</summary>
      <p>${r.says}</p>
    </details>
    ${looks ? null : html`<button onClick=${() => dismiss(r.id)}>I have read it</button>`}
  </section>`);
}
