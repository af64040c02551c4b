// Help: hands free, and keeping what was recorded. The longer form is the manual.

import { html } from "./ui.js";

export const HandsFreeHelp = () => html`<section><h2>Nothing but the wrench</h2>
  <ul class="plain"><li>A trace begins by itself when the engine moves, and ends after twenty seconds of rest on the heel.</li>
    <li>Half lift, the nose, and that the openings of a valve agree are called out, with which valve is next.</li>
    <li>Turn on <strong>Hands-free round</strong> on the <a href="#/bench">bench</a>, under Heard and felt: when the openings agree, the bench says so and which valve is next, and goes on to it when the valve has rested on its heel for ten seconds (or what is set there), and the crank where there is an encoder. Leave the indicator where it is until it says “now”. Turning on cancels that.</li>
    <li>A round comes to the valves that are still to be measured, in the order of work, or to all once when none is; then it says that it is done.</li>
    <li>A height set at half lift with the large − and + is saved by itself when half lift is left. A press of the pedal stands on the row of its opening; a note can be written there when there is a hand for it.</li>
    <li>The order is the <a href="#/engine">engine</a>'s order of work, or its firing order.</li></ul>
  <h2>A pedal</h2>
  <ul class="plain"><li>Whatever types a key: a presenter, a foot switch. Space marks the moment, the right arrow goes to the next valve, the left arrow leaves the last opening out. Each key is set on the bench.</li>
    <li>One key can do what the step asks for: go on when the openings agree, leave out the last one when it does not go with the others, mark otherwise.</li>
    <li>A switch on a serial port's handshake line: <code>pedal=cts</code> in its <a href="#/help/addresses">address</a>.</li></ul></section>`;

export const KeepingHelp = () => html`<section><h2>A copy, and back</h2>
  <p>All that was recorded is in one file. In a terminal on the machine that Lobescribe runs on, also while it records:</p>
  <dl class="facts small"><div><dt>a whole copy</dt><dd><code>lobescribe backup bench.db</code></dd></div>
    <div><dt>over an older one</dt><dd><code>lobescribe backup bench.db --overwrite</code></dd></div>
    <div><dt>put it back</dt><dd><code>lobescribe restore bench.db</code></dd></div>
    <div><dt>check that it is sound</dt><dd><code>lobescribe verify</code></dd></div></dl>
  <p>What is in a backup's place when it is put back is kept beside it. A power cut costs the last second at most.</p>
  <h2>For other programs</h2>
  <p><code>lobescribe export 12 -o turn.csv</code>, or <code>.parquet</code>; the build sheet as a page or a PDF: <code>lobescribe sheet v8 -o sheet.pdf</code>; all numbers of an engine as CSV under <a href="#/sheet">Sheet</a>.</p>
  <h2>Many benches</h2>
  <p>One page over what several benches record: <code>lobescribe shop --embedded</code> runs it, and each bench is told of it with <code>lobescribe serve --shop nats://HOST:4222</code>. Without a network everything is recorded all the same, and waits.</p></section>`;
