// A fault where it is told: what is wrong, in the daemon's own words, and the
// way to what to do.

import { html, Mark } from "./ui.js";
import { faultHref, faultTitle, faultWords } from "./faults.js";
import { length, seconds } from "./units.js";

/** @param {{fault: import("./state.js").Fault, unit: import("./units.js").Unit, at?: boolean}} props at: say when it was */
export const FaultLine = ({ fault, unit, at = false }) => html`<p class="fault"><${Mark} shape="triangle" /> <strong>
  ${faultTitle(fault.kind)}</strong>${at ? ` at ${seconds(fault.t_s)}` : ""}: ${faultWords(fault, (nm) => length(nm, unit))}. <a
  class="what-to-do" href=${faultHref(fault.kind)}>What to do<span class="sr"> about: ${faultTitle(fault.kind)}</span></a></p>`;
