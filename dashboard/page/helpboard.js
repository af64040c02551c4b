// A board of one's own: its parts, its wires, and how the firmware gets into it.

import { html } from "./ui.js";

// One lies, one stands upright for a phone, so that neither is dragged sideways. They
// are fetched with this module and held, to be there without the daemon.
const drawings = [{ file: "wiring.svg", pose: "lies", width: 640, height: 470 }, { file: "wiring-upright.svg", pose: "stands", width: 360, height: 610 }]
  .map((d) => ({ ...d, held: Object.assign(new Image(), { src: d.file }) }));
const alt = "Wiring of the board: encoder at A0, A1 and A2; indicator through a level shifter at 2, 3 and 4; two switches at 5 and 7; USB to the computer";

/** @type {readonly (readonly [string, string])[]} */
const pins = [
  ["A0, A1, A2", "encoder's A, B and index; pulled up by the board, as open collectors want"],
  ["2, 3", "indicator's clock and data, through the level shifter"],
  ["4", "asks the kind of indicator that waits for a request; pulls down only"],
  ["5", "kind of indicator: open for 24 bits that come by themselves, to ground for 52 bits when asked"],
  ["7", "pedal, to ground: a press is a mark"],
];

export const BoardHelp = () => html`<section>
  <p><strong>Battery off before you wire near the engine. Tie cables clear of the crank, and turn it once by hand before you trust them.</strong></p>
  <p class="wiring">${drawings.map(({ file, pose, width, height }) => html`<img key=${file} class=${pose} src=${file} width=${width} height=${height} alt=${alt} />`)}</p>
  <dl class="addresses">${pins.map(([pin, says]) => html`<div key=${pin}><dt class="mono">${pin}</dt><dd>${says}</dd></div>`)}</dl></section>
  <section><h2>Parts</h2><ul>
    <li>A hobby board with an ATmega328P at 16 MHz and 5 V, and its USB cable.</li>
    <li>An incremental encoder of 5 V with A, B and, better, an index: 600 lines make 2400 edges a turn.</li>
    <li>A digital indicator that clocks its figure out: 24 bits by itself, or 52 bits when asked (common practice, no source).</li>
    <li>A level shifter for three wires, or opto-couplers: the indicator has 1.5 to 3 V, the board 5 V. Without one the indicator may be destroyed.</li>
    <li>A screened cable; the screen goes to ground at the board only.</li></ul></section>
  <section><h2>The firmware, in three commands</h2>
    <p>From the source, on Linux with Debian's packages:</p>
    <pre>sudo apt install avrdude make \\
  gcc-avr avr-libc
make -C device/board/firmware
make -C device/board/firmware flash PORT=/dev/ttyUSB0</pre>
    <p>Then test it while you turn the crank by more than two turns and move the spindle: <code>lobescribe board 'serial:/dev/ttyUSB0?baud=115200&counts=2400'</code>.
      The same address serves as the indicator's, and needs no format.</p></section>`;
