// How a rocker is photographed so that its picture can be measured.

import { html } from "./ui.js";

export const PhotographHelp = () => html`<section><h2 class="sr">How a rocker is photographed</h2>
  <p>Hold the valve at half lift and photograph the rocker from the side, under <a href="#/trials">Trials</a>. At another lift it works too, as long as the lift is known.</p>
  <ol class="big-steps">
    <li><h3>Nobody turns, nobody reaches in</h3><p>The engine stands still while somebody is near it with a phone. A compressed spring moves it by itself: hold the bar, fingers clear.</p></li>
    <li><h3>Look along the rocker's shaft</h3><p>The phone looks straight along the shaft, so that the shaft's end shows as a circle. Five degrees aside are counted in the ±.</p></li>
    <li><h3>Stem upright, tip in the middle</h3><p>About 25 cm away, the whole rocker in the picture, its tip near the middle. Do not crop the picture.</p></li>
    <li><h3>Mark four places</h3><p>Two places on the stem's or spring's axis, far apart; the pivot's centre; the centre of the roller, or of the tip's curve. Three points on a rim give its centre.</p></li>
    <li><h3>Mark again what matters</h3><p>Marks repeated with Mark again are averaged, and how far they scatter goes into the ±. The adjuster's ball gives the bend, a known length the arms.</p></li>
  </ol></section>`;
