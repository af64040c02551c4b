// What each fault means and what to do. A fault on another screen leads here.

import { useEffect } from "./lib/hooks.js";
import { html, Mark } from "./ui.js";
import { faults } from "./faults.js";
import { howOften, TroublePicture, troubles } from "./helptroubles.js";

const placeOf = (/** @type {string} */ kind) => `fault-${kind}`;

/** @param {{asked?: string}} props asked: the kind that somebody wants to know of */
export function FaultHelpView({ asked = "" }) {
  useEffect(() => {
    const at = asked in faults ? document.getElementById(placeOf(asked)) : null;
    at?.scrollIntoView({ block: "start" });
    at?.querySelector("h3")?.focus({ preventScroll: true });
  }, [asked]);
  return html`<section><h2 class="sr">When something is wrong</h2>
    <p class="lead">Nothing is ever thrown away. A fault only says which figures not to trust, and why.</p>
    ${asked && !(asked in faults) ? html`<p class="trouble">There is no fault of the name “${asked}”. All that there are stand here.</p>` : null}
    ${Object.entries(faults).map(([kind, f]) => html`<article id=${placeOf(kind)} class=${`fault-help${kind === asked ? " asked" : ""}`}>
      <h3 tabindex="-1"><${Mark} shape="triangle" /> ${f.title}</h3>
      <p>${f.means}</p><${TroublePicture} kind=${kind} />
      <p><strong>The figures:</strong> ${f.figures}</p>
      ${howOften(troubles[kind]?.tested) ? html`<p class="watch"><${Mark} shape="check" kind="good" /> <span><strong>Lobescribe checks:</strong> ${howOften(troubles[kind]?.tested)}</span></p>` : null}
      <ol>${f.steps.map((s) => html`<li>${s}</li>`)}</ol></article>`)}
    <h2>No readings at all</h2>
    <p><a href="#/devices">Devices</a> says what stands in the way: nothing plugged in, not allowed, taken by another program, or silent. <code>lobescribe doctor</code> says more, and writes a report to send along with a question.</p></section>`;
}
