// The drawings of the help: made by hand in the page's own colours, so that
// they follow day and night. None is to scale; what matters is exaggerated.

import { html, Mark } from "./ui.js";

/**
 * A drawing with its caption; a tick or a cross says whether it is to be copied.
 * @param {{says: string, view: string, caption: any, good?: boolean, small?: boolean, children?: any}} props
 */
const Drawing = ({ says, view, caption, good, small = false, children }) => html`<figure class=${`drawing${small ? " small" : ""}`}>
  <svg viewBox=${view} role="img" aria-label=${says}>${children}</svg>
  <figcaption>${good === undefined ? null : html`<${Mark} shape=${good ? "check" : "cross"} kind=${good ? "good" : "bad"} /> <strong>
    ${good ? "Right" : "Wrong"}.</strong> `}${caption}</figcaption></figure>`;

/** A valve with its spring in the head, and the rocker on its stem. */
const Valve = () => html`<g>
  <path class="iron" d="M2 214H318V262H162V286H118V262H2z" />
  <path class="part" d="M134 98h12v164h-12z" />
  <path class="part" d="M98 296q34-6 36-34h12q2 28 36 34z" />
  <path class="wire" d="M112 212l56-10-56-14 56-14-56-14 56-14-50-12" />
  <path class="part" d="M104 118h72l-8 14h-56z" />
</g>`;

const Rocker = () => html`<g>
  <path class="part" d="M214 214l6-112h24l6 112z" />
  <path class="beam" d="M140 90L232 94 292 108" />
  <circle class="part" cx="140" cy="90" r="9" /><circle class="ink" cx="232" cy="94" r="6" />
  <path class="wire thick" d="M292 108V214" />
</g>`;

/**
 * The indicator on its base. It is drawn upright with its tip at 0,0.
 * @param {{kind: "good"|"leans"|"free"|"slips"|"arc"}} props
 */
function Indicator({ kind }) {
  const lean = kind === "leans" ? -17 : 0, up = kind === "free" ? -13 : kind === "arc" ? -37 : 0;
  return html`<g>
    <g class=${kind === "slips" ? "off" : ""}>
      <path class="part" d="M14 186h52v28h-52z" />
      <path class="post" d="M40 186V54" /><path class="post" d=${kind === "leans" ? "M40 54L70 50" : kind === "arc" ? "M40 54V18H118" : "M40 54H98"} />
    </g>
    <g transform=${`translate(${kind === "arc" ? 142 : 114} ${117 + up}) rotate(${lean})`}>
      <path class="post thin" d="M0 0V-36" /><path class="part" d="M-5-36h10v-12h-10z" />
      <circle class="part" cx="0" cy="-72" r="25" /><circle class="face" cx="0" cy="-72" r="19" />
      <path class="needle" d="M0-72L10-84" /><circle class="ink" cx="0" cy="0" r="3" />
    </g>
  </g>`;
}

/**
 * The indicator over a valve: as it should stand, or one of the ways it should not.
 * @param {{kind: "good"|"leans"|"free"|"slips"|"arc", caption: any}} props
 */
export function SetUpPicture({ kind, caption }) {
  const says = {
    good: "An indicator on a magnetic base. Its tip stands on the rim of the valve's retainer, beside the rocker. Its spindle runs in line with the valve.",
    leans: "The same indicator, leaning: its spindle stands at an angle to the valve.",
    free: "The same indicator, too high: with the valve shut there is a gap under its tip.",
    slips: "The same indicator on a base that can slide.",
    arc: "The same indicator with its tip on the rocker's end, which swings in an arc.",
  }[kind];
  const small = kind !== "good";
  return html`<${Drawing} says=${says} view=${small ? "-26 -26 242 248" : "0 8 320 292"} caption=${caption} good=${kind === "good"} small=${small}>
    <${Valve} /><${Rocker} /><${Indicator} kind=${kind} />
    ${small ? null : html`<path class="axis" d="M140 14V296" /><path class="axis" d="M114 14V126" />
      <text x="150" y="26">both in line</text><text x="100" y="146" class="end">retainer</text><text x="190" y="84">rocker</text>
      <text x="6" y="236">base: can not slip</text>`}
    ${kind === "leans" ? html`<path class="axis wrong-line" d="M114 117V22" /><path class="wrong-line" d="M114 38A79 79 0 0 0 91 41" />` : null}
    ${kind === "free" ? html`<path class="wrong-line" d="M84 104h22M84 117h22M90 92v12M90 129v-12" />` : null}
    ${kind === "arc" ? html`<path class="wrong-line" d="M133 58A100 100 0 0 0 133 122M127 113l6 10 9-7" />` : null}
    ${kind === "slips" ? html`<path class="wrong-line" d="M8 200H-2M72 200h22M84 194l10 6-10 6" />` : null}
  <//>`;
}

/** How far to press the spindle in. */
export const TravelPicture = ({ caption = "" }) => html`<${Drawing} good=${true} caption=${caption}
  says="The spindle's whole travel as a bar. With the valve shut it stands in the middle, and there is more room on either side than the lift."
  view="0 0 320 116">
  <path class="iron" d="M10 46h300v22H10z" />
  <path class="travel" d="M160 46h104v22H160z" />
  <path class="mark-line" d="M160 34v46" /><path class="mark-line" d="M264 38v38" />
  <path class="arrow" d="M164 57h92M246 51l10 6-10 6" />
  <text x="160" y="26" class="middle">valve shut</text><text x="264" y="26" class="middle">full lift</text>
  <text x="10" y="90">pressed</text><text x="10" y="106">right in</text>
  <text x="310" y="90" class="end">all the</text><text x="310" y="106" class="end">way out</text><text x="160" y="98" class="middle">half its travel</text>
<//>`;

/**
 * One position of a drawn rocker, turned about its pivot.
 * @param {{turn: number, kind: string, name: string}} props
 */
const Position = ({ turn, kind, name }) => html`<g class=${kind} transform=${`rotate(${turn} 196 96)`}>
  <path class="beam" d="M72 96H196L268 108" /><circle class="part" cx="72" cy="96" r="9" /><circle class="part" cx="268" cy="108" r="6" />
  ${name ? html`<text x="44" y="100" class="end" transform=${`rotate(${-turn} 44 96)`}>${name}</text>` : null}
</g>`;

/** The rocker at half lift, square to the valve. */
export const HalfLiftPicture = ({ caption = "" }) => html`<${Drawing} good=${true} caption=${caption}
  says="A rocker at half lift. The line from its tip to its pivot stands square to the valve. Shut it stands as far above that line as it stands below it at full lift."
  view="0 20 320 176">
  <path class="part" d="M182 196l8-96h12l8 96z" />
  <path class="part faint" d="M66 110h12v86h-12z" />
  <${Position} turn=${11} kind="ghost" name="shut" /><${Position} turn=${-11} kind="ghost" name="full" />
  <path class="axis" d="M72 26V196M72 96H196" />
  <${Position} turn=${0} kind="now" name="half" />
  <path class="target-line" d="M72 116h20V96" />
  <circle class="ink" cx="196" cy="96" r="6" />
  <text x="98" y="118">square</text><text x="210" y="84">pivot</text><text x="256" y="136">adjuster</text><text x="84" y="190">valve</text>
<//>`;

/** How a rocker's bend is measured: a straight edge through tip and pivot. */
export const BendPicture = ({ caption = "" }) => html`<${Drawing} caption=${caption}
  says="A straight edge lies through the centres of tip and pivot. What is measured is how far the middle of the adjuster's ball stands above it."
  view="30 36 310 92">
  <path class="beam" d="M72 96H196L284 70" /><path class="axis" d="M44 96H330" />
  <circle class="part" cx="72" cy="96" r="9" /><circle class="part" cx="284" cy="70" r="7" /><circle class="ink" cx="196" cy="96" r="6" />
  <path class="mark-line" d="M306 70V96M300 70h12M300 96h12" />
  <text x="56" y="122">tip</text><text x="182" y="122">pivot</text><text x="298" y="58" text-anchor="end">adjuster's ball</text><text x="96" y="86">straight edge</text>
<//>`;

/** Two figures with their uncertainty: apart, and not. */
export const UncertaintyPicture = ({ caption = "" }) => html`<${Drawing} caption=${caption}
  says="Two pairs of figures, each with a bar for its uncertainty. Where the bars overlap the two can not be told apart; where they do not, they differ."
  view="0 0 346 142">
  <g><path class="bar" d="M40 26h120" /><path class="mark-line" d="M100 18v16" /><path class="bar" d="M80 50h120" /><path class="mark-line" d="M140 42v16" />
    <text x="212" y="34">overlap:</text><text x="212" y="50">may be the same</text></g>
  <g><path class="bar" d="M20 96h70" /><path class="mark-line" d="M55 88v16" /><path class="bar" d="M130 120h70" /><path class="mark-line" d="M165 112v16" />
    <text x="212" y="104">apart:</text><text x="212" y="120">they differ</text></g>
<//>`;

/** A phone that looks along the rocker's shaft: from above, and what it sees. */
export const PhonePicture = ({ caption = "" }) => html`<${Drawing} good=${true} caption=${caption}
  says="Left, from above: a phone in line with the rocker's shaft, square to the rocker. Right, what it sees: the rocker from the side, the stem upright, the tip in the middle, four places marked."
  view="0 0 340 190">
  <path class="part" d="M14 40h14v56H14z" /><path class="axis" d="M28 68H150" />
  <path class="beam" d="M112 24V132" /><path class="part" d="M84 62h60v12H84z" /><circle class="part" cx="112" cy="30" r="7" />
  <text x="8" y="118">phone</text><text x="100" y="156">rocker</text><text x="46" y="60">shaft</text>
  <path class="part" d="M186 10h146v170H186z" /><path class="part faint" d="M253 82h12v86h-12z" /><path class="beam" d="M259 74H310" />
  <circle class="part" cx="259" cy="74" r="8" /><circle class="part" cx="310" cy="74" r="11" />
  <path class="target-line" d="M252 74h14M259 67v14M303 74h14M310 67v14M252 112h14M259 105v14M252 152h14M259 145v14" />
  <text x="200" y="30">four marks</text><text x="196" y="136">stem</text>
<//>`;

/** The sweep gauge: square to the stem, against the roller; and in the reference pass. */
export const SweepPicture = ({ caption = "" }) => html`<${Drawing} good=${true} caption=${caption}
  says="An indicator lies across the valve's stem in the rocker's plane. Its flat tip touches the roller. For the reference pass the tip lies lower, against the retainer's side, the stand where it was."
  view="0 20 340 190">
  <path class="part faint" d="M134 108h12v100h-12z" /><path class="part" d="M108 132h64l-8 14h-48z" />
  <path class="beam" d="M140 90L232 94 292 108" /><circle class="part" cx="140" cy="90" r="14" /><circle class="ink" cx="232" cy="94" r="6" />
  <path class="axis" d="M140 26V208M20 90H126" />
  <path class="post" d="M48 90H122" /><path class="part" d="M122 78h4v24h-4z" /><circle class="part" cx="40" cy="90" r="24" /><circle class="face" cx="40" cy="90" r="18" /><path class="needle" d="M40 90L50 78" />
  <path class="ghost" d="M64 139H106M106 128v22" /><path class="mark-line" d="M126 90v-14h14" />
  <text x="14" y="58">gauge</text><text x="150" y="74">square</text><text x="178" y="144">retainer, for the</text><text x="178" y="159">reference pass</text><text x="150" y="200">stem</text>
<//>`;
