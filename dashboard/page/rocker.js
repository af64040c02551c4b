// The rocker's picture, worked out in the daemon: a row of poses over the lift,
// between which the live lift moves. Here is only the drawing of it.

/**
 * @typedef {{x_mm: number, z_mm: number}} Point
 * @typedef {{lift_mm: number, lobe_lift_mm: number, angle_deg: number, ratio: number, contact_mm: number, thrust: string, pivot: Point, tip: Point, touch: Point, stem: Point, adjuster: Point, lifter: Point}} Pose
 * @typedef {{lift_mm: number, pushrod_mm: number, swing_deg: number, sweep_mm: number, closed: Pose, half: Pose, full: Pose, at: Pose[]}} Setting
 */

/** How many poses are asked for: the arm moves well under a degree between two. */
export const poses = 41;

const names = /** @type {const} */ (["pivot", "tip", "touch", "stem", "adjuster", "lifter"]);

/**
 * The pose at a lift, between the nearest two of the row.
 * @param {Pose[]} row by growing lift
 * @param {number} liftMm
 * @returns {Pose}
 */
export function poseAt(row, liftMm) {
  const lift = Math.min(Math.max(liftMm, row[0].lift_mm), row[row.length - 1].lift_mm);
  let i = 1;
  while (i < row.length - 1 && row[i].lift_mm < lift) i++;
  const a = row[i - 1], b = row[i];
  const part = b.lift_mm > a.lift_mm ? (lift - a.lift_mm) / (b.lift_mm - a.lift_mm) : 0;
  const mix = (/** @type {number} */ p, /** @type {number} */ q) => p + (q - p) * part;
  const pose = /** @type {any} */ ({
    ...a, lift_mm: lift, lobe_lift_mm: mix(a.lobe_lift_mm, b.lobe_lift_mm), angle_deg: mix(a.angle_deg, b.angle_deg),
    ratio: mix(a.ratio, b.ratio), contact_mm: mix(a.contact_mm, b.contact_mm),
  });
  for (const name of names) pose[name] = { x_mm: mix(a[name].x_mm, b[name].x_mm), z_mm: mix(a[name].z_mm, b[name].z_mm) };
  return pose;
}

/**
 * The window that holds all poses, with room around them; z grows upwards in
 * the poses and downwards on a screen.
 * @param {Pose[]} poses
 */
export function windowOf(poses) {
  const xs = poses.flatMap((p) => [p.pivot.x_mm, p.tip.x_mm, p.adjuster.x_mm, p.stem.x_mm]);
  const zs = poses.flatMap((p) => [p.pivot.z_mm, p.tip.z_mm, p.adjuster.z_mm, p.stem.z_mm]);
  const width = Math.max(...xs) - Math.min(...xs);
  const room = Math.max(8, width * 0.16);
  return {
    left: Math.min(...xs) - room, top: -(Math.max(...zs) + room),
    width: width + 3 * room, height: Math.max(...zs) - Math.min(...zs) + 2.6 * room, room,
  };
}
