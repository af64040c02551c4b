// The drawn rocker: to scale, at the live or replayed lift, with the closed,
// half and full positions as ghosts, the right angle at half lift, and the
// sweep on the stem's end magnified.

import { html } from "./ui.js";
import { poseAt, windowOf } from "./rocker.js";
import { degrees, length } from "./units.js";

/** Within this of a right angle the picture calls it square, in degrees. */
const square = 0.25;

/**
 * @param {{setting: import("./rocker.js").Setting, tipRadius: number, lift_nm: number|null, unit: import("./units.js").Unit, replay: boolean}} props
 */
export function RockerPicture({ setting, tipRadius, lift_nm, unit, replay }) {
  const live = lift_nm === null ? null : poseAt(setting.at, lift_nm / 1e6);
  const ghosts = /** @type {const} */ ([["closed", setting.closed], ["half", setting.half], ["full", setting.full]]);
  const w = windowOf([setting.closed, setting.half, setting.full]);
  const half = setting.half, off = half.angle_deg;
  const says = Math.abs(off) <= square ? "square at half lift" : `${degrees(Math.abs(off), 1)} ${off > 0 ? "past square" : "short of square"} at half lift`;
  const r = Math.max(tipRadius, 2.5);
  return html`<figure class="rocker"><svg viewBox=${`${w.left} ${w.top} ${w.width} ${w.height}`} role="img"
      aria-label=${`The rocker to scale: ${says}. Sweep ${length(setting.sweep_mm * 1e6, unit)}.${live ? ` Now at a lift of ${length(live.lift_mm * 1e6, unit)}.` : ""}`}>
    ${ghosts.map(([name, pose]) => html`<${Arm} pose=${pose} kind=${`ghost ${name}`} r=${r} room=${w.room} />`)}
    <${RightAngle} pose=${half} off=${off} size=${w.room * 0.55} />
    ${live ? html`<${Arm} pose=${live} kind="live" r=${r} room=${w.room} />` : null}
    ${ghosts.map(([name, pose]) => html`<text class="rocker-label" font-size=${w.room * 0.3} x=${pose.stem.x_mm + w.room * 0.34}
      y=${-pose.stem.z_mm + w.room * 0.1}>${name}</text>`)}
    <circle class="rocker-pivot" cx=${half.pivot.x_mm} cy=${-half.pivot.z_mm} r=${w.room * 0.16} />
  </svg>
  <figcaption>${says.charAt(0).toUpperCase() + says.slice(1)}. ${live ? html`${replay ? "Replayed" : "Live"} lift ${length(live.lift_mm * 1e6, unit)}, ratio here ${live.ratio.toFixed(3)}.` : "It moves when the engine does."}</figcaption></figure>`;
}

/** @param {{pose: import("./rocker.js").Pose, kind: string, r: number, room: number}} props */
const Arm = ({ pose: p, kind, r, room }) => html`<g class=${`rocker-arm ${kind}`}>
  <path class="stem" d=${`M${p.stem.x_mm - room * 0.2} ${-p.stem.z_mm}h${room * 0.4}v${room * 1.6}h${-room * 0.4}z`} />
  <path class="beam" d=${`M${p.tip.x_mm} ${-p.tip.z_mm}L${p.pivot.x_mm} ${-p.pivot.z_mm}L${p.adjuster.x_mm} ${-p.adjuster.z_mm}`} />
  <path class="rod" d=${rodOf(p, room * 1.5)} />
  <circle class="tip" cx=${p.tip.x_mm} cy=${-p.tip.z_mm} r=${r} />
    <circle class="ball" cx=${p.adjuster.x_mm} cy=${-p.adjuster.z_mm} r=${room * 0.11} />
</g>`;

/**
 * The upper end of the pushrod, as far as the picture reaches.
 * @param {import("./rocker.js").Pose} p
 * @param {number} far
 */
function rodOf(p, far) {
  const dx = p.lifter.x_mm - p.adjuster.x_mm, dz = p.lifter.z_mm - p.adjuster.z_mm, l = Math.hypot(dx, dz) || 1;
  return `M${p.adjuster.x_mm} ${-p.adjuster.z_mm}l${(dx / l) * far} ${(-dz / l) * far}`;
}

/**
 * The line through the pivot square to the valve's axis, and the little square
 * that stands for a right angle; it closes only when the arm lies on that line.
 * @param {{pose: import("./rocker.js").Pose, off: number, size: number}} props
 */
function RightAngle({ pose, off, size }) {
  const x = pose.tip.x_mm, y = -pose.tip.z_mm;
  return html`<g class="right-angle">
    <path d=${`M${pose.pivot.x_mm} ${y}H${x}V${y + size * 2.2}`} />
    <path class=${Math.abs(off) <= square ? "is-square" : ""} d=${`M${x - size} ${y}v${size}h${size}`} /></g>`;
}

/**
 * The mark that the tip leaves on the stem's end, magnified.
 * @param {{setting: import("./rocker.js").Setting, lift_nm: number|null, unit: import("./units.js").Unit}} props
 */
export function SweepPicture({ setting, lift_nm, unit }) {
  const row = setting.at, all = row.map((p) => p.contact_mm);
  const low = Math.min(...all), high = Math.max(...all), middle = (low + high) / 2;
  const stem = 8, across = Math.max(high - low, 0.2); // mm: a common stem, and the picture's width
  const by = Math.min(40, 60 / across);
  const x = (/** @type {number} */ mm) => 160 + (mm - middle) * by;
  const live = lift_nm === null ? null : poseAt(row, lift_nm / 1e6);
  const marks = /** @type {const} */ ([["closed", setting.closed, 18], ["half", setting.half, 0], ["full", setting.full, -18]]);
  return html`<figure class="sweep">
    <svg viewBox="0 0 320 132" role="img" aria-label=${`The mark on the stem's end is ${length(setting.sweep_mm * 1e6, unit)} wide.`}>
    <circle class="sweep-stem" cx=${x(0) < 0 || x(0) > 320 ? 160 : x(0)} cy="60" r=${Math.min((stem / 2) * by, 4000)} />
    <rect class="sweep-mark" x=${x(low)} y="28" width=${Math.max(1.5, x(high) - x(low))} height="64" />
    ${marks.map(([name, pose, dy]) => html`<path class="sweep-line" d=${`M${x(pose.contact_mm)} 22V98`} />
      <text x=${x(pose.contact_mm) + 5} y=${60 - dy * 1.6}>${name}</text>`)}
    ${live ? html`<circle class="sweep-now" cx=${x(live.contact_mm)} cy="60" r="7" />` : null}
    <text x="6" y="124">← pivot</text><text x="314" y="124" text-anchor="end">away →</text>
  </svg><figcaption>The mark on the stem's end, ${by.toFixed(0)} times larger than life: ${length(setting.sweep_mm * 1e6, unit)} wide.</figcaption>
    </figure>`;
}
