// What ± means, and the usual figures of the trade.

import { html } from "./ui.js";
import { UncertaintyPicture } from "./helpdrawings.js";
import { digits, length, nanometres, withUncertainty } from "./units.js";

/** An invented lift and its uncertainty, in nanometres. */
const lift = 11_216_640, sure = 10_160;

/** @param {{unit: import("./units.js").Unit}} props */
export const PlusMinusHelp = ({ unit }) => html`<section><h2 class="sr">What ± means</h2>
  <p class="lead">A lift of ${withUncertainty(lift, sure, unit)}: the truth is most likely between ${digits(lift - sure, unit)} and ${length(lift + sure, unit)}.</p>
  <p>Most likely means about 95 times in 100. In the words of the standard it is the expanded uncertainty with k = 2 (JCGM 100:2008, the GUM).</p>
  <h3>It holds what the readings can show</h3>
  <ul class="plain"><li>the indicator's step, at the nose and at the heel;</li><li>how much a reading shakes;</li><li>how well the heel comes back;</li><li>a nose that may lie between two readings.</li></ul>
  <h3>It can not know</h3>
  <ul class="plain"><li>an indicator that <a href="#/help/setup">leans</a>;</li><li>a stand, a rod or a rocker that bends;</li><li>an indicator that is out of calibration.</li></ul>
  <h3>Is one valve really different from another?</h3>
  <${UncertaintyPicture} caption="Where the two bars overlap, measure again before you change anything. Where they are apart, the valves differ." />
  <h3>To make it smaller</h3>
  <ul class="plain"><li>Turn slowly over the nose.</li><li>Turn more openings.</li><li>Tighten the base, shorten the arm.</li><li>Use an indicator with a finer step.</li></ul></section>`;

/** In nanometres; a pair is a range. @type {readonly (readonly [string, readonly number[]])[]} */
const practice = [
  ["piston to valve, intake", [0.08]], ["piston to valve, exhaust", [0.1]], ["valve edge to pocket wall", [0.05]],
  ["coil bind left at full lift, whole spring", [0.06]], ["retainer to seal or guide at full lift", [0.05, 0.06]], ["checking lift", [0.05]],
].map(([what, inches]) => /** @type {[string, number[]]} */ ([what, /** @type {number[]} */ (inches).map((i) => Math.round(i * nanometres.in))]));

/** @param {{unit: import("./units.js").Unit}} props */
export const UsualFigures = ({ unit }) => html`<section><h2 class="sr">Usual figures</h2>
  <p class="lead">The engine maker's figures and your own limits come first.</p>
  <p><strong>Common practice, no source.</strong> Least clearances as they are often asked for, with the engine cold on the stand. They are no promise that an engine lives with them.</p>
  <table><thead><tr><th scope="col">what</th><th scope="col">${unit}</th></tr></thead>
    <tbody>${practice.map(([what, nm]) => html`<tr><th scope="row" class="words">${what}</th>
      <td>${nm.map((n) => digits(n, unit, { decimals: unit === "in" ? 3 : 2 })).join(" to ")}</td></tr>`)}</tbody></table>
  <p class="hint">Checking lift is also often 1 mm. What the cam card says is what counts.</p></section>`;
