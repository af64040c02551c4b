// A day's work, from the first valve to the sheet, and the words it is done in.

import { html } from "./ui.js";
import { CyclePicture } from "./cycle.js";
import { Dial } from "./dial.js";
import { HalfLiftPicture } from "./helpdrawings.js";
import { length, needleTurn, needleWords } from "./units.js";

/** An invented valve for the pictures, in nanometres: just past half lift on its way to the nose. */
const shownValve = { lift: 6_375_400, half: 5_588_000, nose: 11_176_000 };

/** @param {{unit: import("./units.js").Unit}} props */
const DialHelp = ({ unit }) => html`<figure class="drawing small"><${Dial} lift=${shownValve.lift} half=${shownValve.half} nose=${shownValve.nose} unit=${unit} known=${true} />
  <figcaption>The dial. The line winds once for each turn of a needle, ${length(needleTurn(unit), unit, { decimals: unit === "in" ? 3 : 0 })}.
    Here it stands at ${needleWords(shownValve.lift, unit)}. The bar is half lift, the diamond the nose.</figcaption></figure>`;

const openingShown = /** @type {import("./state.js").Position} */ ({ t_s: 0, state: "opening", lift_nm: shownValve.half, heel_nm: 0, sign: 1,
  nose_nm: shownValve.nose, settled: true, half_nm: shownValve.half, to_go_nm: 0 });

/** @param {{unit: import("./units.js").Unit}} props */
export const DayHelp = ({ unit }) => html`<section><h2 class="sr">A day's work, from the first valve to the sheet</h2>
  <ol class="big-steps">
    <li><h3>Enter the engine</h3><p>Cylinders, layout, rocker ratio, and the cam card if you have it. <a href="#/engine">Engine</a></p></li>
    <li><h3>Set the indicator up on the first valve</h3><p><a href="#/help/setup">How, with pictures.</a></p></li>
    <li><h3>Choose the valve, and turn two openings</h3><p>One opening is heel, nose, and heel again.
      It is saved by itself. Max lift comes with its ±. Both openings should agree. <a href="#/bench">Bench</a></p>
      <figure class="drawing small"><${CyclePicture} position=${openingShown} />
        <figcaption>One opening. The red bars are half lift, going up and coming down.</figcaption></figure></li>
    <li><h3>Turn to half lift, and hold</h3><p>The tone quickens, then holds. A voice says it. Keep your eyes on the metal.</p>
      <${DialHelp} unit=${unit} /></li>
    <li><h3>Judge the rocker there</h3><p>Tip to pivot must stand square to the valve. Measure how far the adjuster end sits below the valve end, and write it in the field on the bench.</p>
      <${HalfLiftPicture} caption="At half lift, square to the valve: then it swings as far above as below, and the tip wanders least on the stem." /></li>
    <li><h3>Fit the shims it names, and turn again</h3><p>Check at half lift after each. Stop when it says to leave the stand. <a href="#/trials">Trials</a></p></li>
    <li><h3>Measure the pushrod</h3><p>Checking rod to no lash, read its length, get the cut list. Cut nothing before the sheet is signed. <a href="#/clearances/pushrods">Pushrods</a></p></li>
    <li><h3>Check what could touch</h3><p><a href="#/clearances/piston">Piston to valve</a>, <a href="#/clearances/gaps">coils, retainer, stud</a>, <a href="#/clearances/spring">springs</a>. The engine maker's limits come first.</p></li>
    <li><h3>With an encoder: compare with the cam card</h3><p>Events, duration, centreline. <a href="#/timing">Timing</a></p></li>
    <li><h3>Next valve</h3><p>Right arrow, or the pedal; with "Hands-free round" it comes by itself once two openings agree and the valve has rested for ten seconds. Move the indicator, and see that it is well set up again. When several are done, <a href="#/compare">compare</a> them.</p></li>
    <li><h3>After every change, turn again</h3><p>New shim, new rod, new spring: what was measured before it no longer holds.</p></li>
    <li><h3>Print the sheet</h3><p>All valves, all limits, room for two names. Somebody else reads it before metal is cut. Then make a copy of everything: <code>lobescribe backup FILE</code>. <a href="#/sheet">Sheet</a></p></li>
  </ol></section>`;
