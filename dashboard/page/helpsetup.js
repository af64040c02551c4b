// The first set-up on the engine, step by step: what to do, and what the tool
// looks after by itself.

import { html, Mark } from "./ui.js";
import { faultHref, faultTitle } from "./faults.js";
import { SetUpPicture, TravelPicture } from "./helpdrawings.js";

/**
 * @typedef {object} SetupHelp
 * @property {string} name what to do, in a few words
 * @property {any[]} how sentences
 * @property {string} [checks] what the tool looks after here
 * @property {string} [blind] what it can not see
 * @property {readonly string[]} [faults] the kinds it tells when it goes wrong
 */

/** @type {readonly SetupHelp[]} */
export const setupHelp = [
  {
    name: "Make it safe",
    how: [html`Battery off, plugs out, fingers clear. Never the starter. <a href="#/help/cautions">All the cautions.</a>`],
  },
  {
    name: "Fit what lets you measure",
    how: ["Soft checking springs instead of the valve springs.", "A lifter that can not bleed down: solid, or blocked.", "Lash taken up, so that the valve moves as soon as the lobe does.", html`<small>Common practice, no source. The engine maker's way comes first.</small>`],
    checks: "a lift that sinks while the valve is open, as it does over a lifter that bleeds down, and a heel that goes up and down as it turns.",
    faults: ["bleeding", "heel-runout"],
  },
  {
    name: "Stand the base where it can not slip",
    how: ["A magnet wants clean iron or steel. On aluminium bolt a steel plate to a stud hole, and stand the magnet on that.", "Short arm, every joint tight.", "Push the arm lightly with a finger and let go. The figure must come back."],
    checks: "the heel before and after each opening. If it comes back elsewhere, something slipped; a bump that comes back is told too, and a tip that left the valve.",
    faults: ["zero-shift", "knock", "not-counted"],
  },
  {
    name: "Set the tip on the retainer, in line with the valve",
    how: ["On the flat rim of the retainer, beside the rocker. Not on the rocker: its end swings in an arc.", "Sight along the spindle from the front and from the side. Both must run with the valve.", "Out of line by 5 degrees it shows 0.4 % too much on a flat rim, by 10 degrees 1.5 %: that is 0.007 in (0.17 mm) on a lift of 0.450 in (11.4 mm)."],
    blind: "a lean. Nothing in the readings shows it; only your eye does.",
  },
  {
    name: "Press it in by about half its travel",
    how: ["Do it with the valve shut.", "It must be more than the lift you expect. Over a retainer the spindle usually comes out as the valve opens, and it has to follow all the way."],
    checks: "both ends: a nose cut off flat, and a lift that begins with a jerk.",
    faults: ["travel-end", "no-contact"],
  },
  {
    name: "Prove the indicator, once",
    how: [html`Ten seconds, under <a href="#/devices">Devices</a>: let the spindle hang free, press it home, let it snap onto the retainer three times, and let the retainer come to it from below once.`, "It is remembered for this indicator, also when it is set to zero. The bench then shows how far the spindle can still go."],
    checks: "before you turn, whether the travel that is left does for the lift it expects of this valve.",
    blind: "a delay that all its readings have alike, such as that of the cable.",
  },
  {
    name: "See that the spindle is free",
    how: ["Lift it with a finger and let it down, three times. It must come back to the same figure each time.", "The cable must not pull at it. Lay it where no wrench catches it.", "Clean and dry, as its maker says."],
    checks: "whether it moves in jumps. One that sticks by less than can be told makes the ± larger.",
    blind: "always that it was your finger: without a crank encoder a spindle that is lifted slowly, and by about as much as the valve, looks like a valve. Wait until the trace has ended before you turn, or leave that opening out.",
    faults: ["sticking"],
  },
  {
    name: "Plug it in and see it move",
    how: [html`Open <a href="#/devices">Devices</a>, listen at its port, and choose it.`, "Touch the spindle. The figure on the screen must follow.", "Set inch or millimetre on the indicator now, and leave it. Zero does not matter: the heel is found by itself."],
    checks: "the link all the time: what is lost, what is silent, what nobody may open. It finds the format and the direction.",
    faults: ["gap", "unit-change", "re-zero", "misread", "frozen", "slow-gauge"],
  },
  {
    name: "With a crank encoder: find top dead centre",
    how: [html`Use a stop in the plug hole, against it from both sides: <a href="#/timing">Timing</a>, Top dead centre.`, "Always come up to a mark in the engine's own direction."],
    checks: "turning the wrong way, how late one instrument is against the other, whether the encoder slipped, and whether its counts make whole turns from nose to nose.",
    faults: ["back-turn", "late-port", "encoder-slip", "encoder-counts"],
  },
  {
    name: "Turn two full turns by hand",
    how: ["Slowly over the nose. Nose and half lift are called out as they come.", "Then two more. Both openings should agree within their ±. If they do, the set-up is good."],
    checks: "the speed, that there was a whole opening, and that the openings agree.",
    faults: ["too-fast", "part-turn", "no-repeat"],
  },
];

export const SetupHelpView = () => html`<section><h2 class="sr">First set-up on the engine</h2>
  <p class="lead">Ten minutes here save a day. Do it once for each valve you move the indicator to.</p>
  <p>What each trouble looks like, and of how many it is told: <a href="#/help/faults">Something is wrong</a>.</p>
  <div class="drawings"><${SetUpPicture} kind="good" caption="In line with the valve, tip on the retainer's rim, pressed in, base that can not slip." />
    <div class="drawings-small">
      <${SetUpPicture} kind="leans" caption="It leans, and shows too much." />
      <${SetUpPicture} kind="free" caption="It hangs free when the valve is shut." />
      <${SetUpPicture} kind="arc" caption="On the rocker: its end swings in an arc." />
      <${SetUpPicture} kind="slips" caption="The base can slide." /></div></div>
  <ol class="big-steps">${setupHelp.map((s) => html`<li><h3>${s.name}</h3>
    ${s.how.map((text) => html`<p>${text}</p>`)}
    ${s.name.startsWith("Press it in") ? html`<${TravelPicture} caption="In the middle, with room for the lift." />` : null}
    ${s.checks ? html`<p class="watch"><${Mark} shape="check" kind="good" /> <span><strong>Lobescribe checks</strong> ${s.checks}
      ${s.faults ? html` It tells: ${s.faults.map((kind, i) => html`${i ? ", " : ""}<a href=${faultHref(kind)}>${faultTitle(kind)}</a>`)}.` : null}</span></p>` : null}
    ${s.blind ? html`<p class="watch"><${Mark} shape="triangle" kind="bad" /> <span><strong>Lobescribe can not see</strong> ${s.blind}</span></p>` : null}
  </li>`)}</ol>
  <p><a class="button" href="#/bench">To the bench</a> <a class="button quiet" href="#/help/day">A day's work</a></p></section>`;
