// Help: the cautions, the first set-up, a day's work, what can go wrong.

import { html, Mark } from "../ui.js";
import { faultTitle } from "../cues.js";
import { Cautions } from "../cautions.js";

const faults = [
  ["travel-end", "The spindle reached its stop, so the nose looks flat. Set the indicator lower or higher: half an inch of travel in hand is usual."],
  ["no-contact", "Lower the indicator until it stays pressed on the heel, then begin again."],
  ["zero-shift", "Something slipped: the stand, the indicator, or a lifter that bleeds down. Tighten it and turn again."],
  ["gap", "The cable or the battery. Readings before and after are good; turn once more for the opening that was hit."],
  ["too-fast", "Turn more slowly over the nose, or set the indicator to send faster."],
  ["back-turn", "Nothing is lost by it. For timing, go well back and come up again the way the engine runs, because of lash in the drive."],
  ["part-turn", "Two full turns of the crank show every valve once."],
];

const practice = [
  ["piston to valve, intake", "0.080 in"], ["piston to valve, exhaust", "0.100 in"], ["valve edge to pocket wall", "0.050 in"],
  ["coil bind left at full lift, whole spring", "0.060 in"], ["retainer to seal or guide at full lift", "0.050 to 0.060 in"], ["checking lift", "0.050 in or 1 mm"],
];

export function Help() {
  return html`<h1>Help</h1>
    <section id="cautions"><h2>Cautions</h2><${Cautions} /></section>
    <section><h2>First set-up</h2><ol class="plain">
      <li>Stand the indicator so that its spindle runs in line with the valve, on the retainer or the stem. Out of line by 10 degrees it reads 1.5 % wrong.</li>
      <li>Press it in by about half an inch, so that it can follow the valve whichever way it runs.</li>
      <li>Plug it in, open <a href="#/devices">Devices</a>, listen at its port and choose it. Touch the spindle: the figure must move.</li>
      <li>The direction is found by itself at the first opening. If it can not be, set it there.</li>
      <li><a href="#/engine">Name the engine</a> and choose the valve.</li>
      <li>Turn the crank two full turns by hand. Nose and half lift are called out as they come.</li></ol></section>
    <section><h2>A day's work</h2><ol class="plain">
      <li>Turn one valve through two openings. Their spread tells how well the set-up repeats.</li>
      <li>Come up to half lift on the tone. Hold, and look at the rocker: square to the valve? Measure by how much its adjuster end sits below its valve end, and write it in the field on the bench.</li>
      <li><a href="#/trials">Trials</a> says which shims come next. Fit them, and judge it again.</li>
      <li>When it is square, <a href="#/clearances">set the checking rod</a> to no lash and measure it.</li>
      <li>Next valve. When all are done, the <a href="#/sheet">build sheet</a> is too.</li></ol></section>
    <section><h2>Keys</h2><dl class="facts small"><div><dt>mark</dt><dd>Space, Page down, Enter</dd></div><div><dt>next valve</dt>
      <dd>right arrow</dd></div><div><dt>inch or millimetre</dt><dd>U</dd></div><div><dt>mute, and back</dt><dd>M</dd></div></dl>
      <p>Anything that types a key will do: a presenter, a foot switch. What each key does is set on the <a href="#/bench">bench</a>.</p></section>
    <section><h2>When something is wrong</h2><dl class="faults">${faults.map(([kind, what]) => html`<dt>
      <${Mark} shape="triangle" /> ${faultTitle(kind)}</dt><dd>${what}</dd>`)}</dl>
      <p>For a link that does not come about, see <a href="#/devices">Devices</a>, or run <code>lobescribe doctor</code>.</p></section>
    <section><h2>What ± means</h2>
      <p>A figure after ± is the expanded uncertainty with k = 2: of a hundred such figures about 95 have the truth inside. It holds what the readings can show: the indicator's step, noise, how well the heel comes back, and a nose that may have fallen between two readings. It can not know of an indicator that leans or of a stand that bends.</p></section>
    <section><h2>Usual figures</h2><p class="hint">Common practice, no source. The engine maker's figures and your own limits come first.</p>
      <table><tbody>${practice.map(([what, figure]) => html`<tr><th scope="row" class="words">${what}</th><td>${figure}</td></tr>`)}</tbody></table>
        </section>
    <section><h2>What this page is made of</h2><p>Its libraries and their licences: <a href="lib/licences.txt">licences</a>.</p></section>`;
}
