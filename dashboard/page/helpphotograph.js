// How a rocker is photographed so that its picture can be measured.

import { html } from "./ui.js";
import { PhonePicture, SweepPicture } from "./helpdrawings.js";

export const PhotographHelp = () => html`<section><h2 class="sr">How a rocker is photographed</h2>
  <p>Hold the valve at half lift and photograph the rocker from the side, under <a href="#/trials">Trials</a>. At another lift it works too, as long as the lift is known.</p>
  <${PhonePicture} caption="The phone looks along the shaft. The stem stands upright in the picture." />
  <ol class="big-steps">
    <li><h3>Nobody turns, nobody reaches in</h3><p>The engine stands still while somebody is near it with a phone. A compressed spring moves it by itself: hold the bar, fingers clear.</p></li>
    <li><h3>Look along the rocker's shaft</h3><p>The phone looks straight along the shaft, so that the shaft's end shows as a circle. Five degrees aside are counted in the ±.</p></li>
    <li><h3>Stem upright, tip in the middle</h3><p>About 25 cm away, the whole rocker in the picture, its tip near the middle. Do not crop the picture.</p></li>
    <li><h3>Mark four places</h3><p>Two places on the stem's or spring's axis, far apart; the pivot's centre; the centre of the roller, or of the tip's curve. Three points on a rim give its centre.</p></li>
    <li><h3>Mark again what matters</h3><p>Marks repeated with Mark again are averaged, and how far they scatter goes into the ±. The adjuster's ball gives the bend, a known length the arms.</p></li>
  </ol></section>
  <section><h2>For hundredths: a gauge across the stem</h2>
  <${SweepPicture} caption="Square to the stem, in the rocker's plane, its flat tip against the roller." />
  <ol class="big-steps">
    <li><h3>Set a second indicator across</h3><p>On a stand of its own, square to the stem, its flat tip against the roller or the rocker's round end. Connect it under <a href="#/devices">Devices</a> as sweep gauge. With an encoder one indicator will do: turn with it on the valve first, then move it.</p></li>
    <li><h3>Turn through one opening</h3><p>The lift and the sweep together tell where the arm is square. Hands and sleeves away from rockers and springs: nobody reaches in while somebody turns.</p></li>
    <li><h3>Then the reference pass</h3><p>Choose “the stem's side” under <a href="#/trials">Trials</a>. With the engine at rest slide the gauge's tip, not its stand, against the side of the stem, lash cap or retainer, and turn once more. It tells how the gauge stands: one degree is 0.66 mm of the stand at an arm of 38 mm.</p></li>
    <li><h3>What spoils it</h3><p>A retainer that turns and runs out, a stem that tips in its guide, a stand that gives. The ± counts what is usual of each.</p></li>
  </ol></section>`;
