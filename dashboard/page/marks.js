// What is marked in a photograph of a rocker: places with a name, each with one
// mark or several, in pixels of the picture, as the daemon takes them.

/** @typedef {[number, number]} Point right of the left edge and down from the upper edge, in pixels */

/**
 * @typedef {object} Marks of one photograph, with the API's names
 * @property {number} [at_lift_mm] absent: half lift
 * @property {number} [known_mm]
 * @property {number} [camera_within_deg] absent: 5
 * @property {Point[]} [stem_a_px]
 * @property {Point[]} [stem_b_px]
 * @property {Point[]} [pivot_px]
 * @property {Point[]} [pivot_rim_px]
 * @property {Point[]} [tip_px]
 * @property {Point[]} [tip_rim_px]
 * @property {Point[]} [ball_px]
 * @property {Point[]} [ball_rim_px]
 * @property {Point[]} [known_a_px]
 * @property {Point[]} [known_b_px]
 */

/** @typedef {"stem_a_px"|"stem_b_px"|"pivot_px"|"pivot_rim_px"|"tip_px"|"tip_rim_px"|"ball_px"|"ball_rim_px"|"known_a_px"|"known_b_px"} Place */

/** @typedef {{place: Place, name: string, sign: string, rim?: Place, need?: boolean}} Kind */

/** What can be marked, in the order in which it is asked for. */
export const kinds = /** @type {readonly Kind[]} */ ([
  { place: "stem_a_px", name: "Stem, one end", sign: "S", need: true },
  { place: "stem_b_px", name: "Stem, other end", sign: "S", need: true },
  { place: "pivot_px", rim: "pivot_rim_px", name: "Pivot", sign: "P", need: true },
  { place: "tip_px", rim: "tip_rim_px", name: "Tip or roller", sign: "T", need: true },
  { place: "ball_px", rim: "ball_rim_px", name: "Adjuster ball", sign: "B" },
  { place: "known_a_px", name: "Known length, one end", sign: "K" },
  { place: "known_b_px", name: "Known length, other end", sign: "K" },
]);

/** A rim has three marks at least, and its circle is not sharper by more than these. */
const ofRim = 3;

/**
 * Where the marks of a kind are kept: at its centre, or around its rim.
 * @param {Kind} kind @param {boolean} byRim
 * @returns {Place}
 */
export const placeOf = (kind, byRim) => (byRim && kind.rim ? kind.rim : kind.place);

/** @param {Marks} marks @param {Place} place */
export const at = (marks, place) => marks[place] ?? [];

/**
 * Whether a kind has the marks it needs.
 * @param {Marks} marks @param {Kind} kind
 */
export const isMarked = (marks, kind) => at(marks, kind.place).length > 0 || (kind.rim !== undefined && at(marks, kind.rim).length >= ofRim);

/**
 * The first kind that must be marked and is not; null when all are.
 * @param {Marks} marks
 */
export const lacking = (marks) => kinds.find((k) => k.need && !isMarked(marks, k)) ?? null;

/**
 * A point inside of the picture, to a tenth of a pixel.
 * @param {Point} p @param {{width_px: number, height_px: number}} picture
 * @returns {Point}
 */
export function inside([x, y], { width_px, height_px }) {
  const within = (/** @type {number} */ v, /** @type {number} */ most) => Math.round(Math.min(Math.max(v, 0), most) * 10) / 10;
  return [within(x, width_px), within(y, height_px)];
}

/**
 * Puts a mark. At a centre it takes the place of the one that is there unless it
 * is a repeated one; around a rim it comes to the others. Marks of the other way,
 * rim or centre, go: the daemon takes one of the two.
 * @param {Marks} marks @param {Kind} kind @param {Point} p @param {{byRim: boolean, again: boolean}} how
 * @returns {Marks}
 */
export function put(marks, kind, p, { byRim, again }) {
  const place = placeOf(kind, byRim), other = byRim ? kind.place : kind.rim;
  const next = { ...marks, [place]: (byRim && kind.rim) || again ? [...at(marks, place), p] : [p] };
  if (other && other !== place) delete next[other];
  return next;
}

/**
 * @param {Marks} marks @param {Place} place @param {number} i @param {Point|null} p null takes the mark away
 * @returns {Marks}
 */
export function moved(marks, place, i, p) {
  const list = at(marks, place).flatMap((had, n) => (n !== i ? [had] : p ? [p] : []));
  const next = { ...marks, [place]: list };
  if (list.length === 0) delete next[place];
  return next;
}

/**
 * Every mark with its name, for the picture and for who can not see it.
 * @param {Marks} marks
 */
export const everyMark = (marks) => kinds.flatMap((kind) => [kind.place, ...(kind.rim ? [kind.rim] : [])].flatMap((place) => at(marks, /** @type {Place} */ (place)).map((p, i, all) => ({
  kind, place: /** @type {Place} */ (place), i, p, name: kind.name + (place === kind.rim ? `, rim ${i + 1}` : all.length > 1 ? `, mark ${i + 1}` : ""),
}))));

/**
 * Where a place's centre is: the mean of its marks, or of the circle through three
 * points of its rim; null without.
 * @param {Marks} marks @param {Place} place @param {Place} [rim]
 * @returns {Point|null}
 */
export function centre(marks, place, rim) {
  const list = at(marks, place), round = rim ? at(marks, rim) : [];
  if (list.length) return [list.reduce((s, p) => s + p[0], 0) / list.length, list.reduce((s, p) => s + p[1], 0) / list.length];
  if (round.length < ofRim) return null;
  const [[ax, ay], [bx, by], [cx, cy]] = [round[0], round[Math.floor(round.length / 2)], round[round.length - 1]];
  const d = 2 * (ax * (by - cy) + bx * (cy - ay) + cx * (ay - by)), a = ax * ax + ay * ay, b = bx * bx + by * by, c = cx * cx + cy * cy;
  return d ? [(a * (by - cy) + b * (cy - ay) + c * (ay - by)) / d, (a * (cx - bx) + b * (ax - cx) + c * (bx - ax)) / d] : null;
}

/**
 * The rocker at another lift, as lines over its photograph: pivot to tip, and to
 * the ball where that is marked. The arm's angle at a lift v is asin((v - v0)/a).
 * @param {Marks} marks
 * @param {{square_at_lift_mm: number, valve_arm_mm: number}} rocker what the marks say
 * @param {number} at_mm the lift at which the photograph was taken
 * @param {number} lift_mm the lift to draw
 * @returns {[Point, Point][]}
 */
export function rockerOver(marks, { square_at_lift_mm: v0, valve_arm_mm: a }, at_mm, lift_mm) {
  const pivot = centre(marks, "pivot_px", "pivot_rim_px"), tip = centre(marks, "tip_px", "tip_rim_px");
  const one = centre(marks, "stem_a_px"), two = centre(marks, "stem_b_px"), ball = centre(marks, "ball_px", "ball_rim_px");
  if (!pivot || !tip || !one || !two || !(Math.abs(lift_mm - v0) < a) || !(Math.abs(at_mm - v0) < a)) return [];
  const [rx, ry] = [tip[0] - pivot[0], tip[1] - pivot[1]];
  // The valve opens along the stem, away from the tip.
  const down = [(one[0] + two[0]) / 2 - tip[0], (one[1] + two[1]) / 2 - tip[1]];
  const turn = (Math.asin((lift_mm - v0) / a) - Math.asin((at_mm - v0) / a)) * Math.sign(-ry * down[0] + rx * down[1]);
  const [cos, sin] = [Math.cos(turn), Math.sin(turn)];
  return [tip, ...(ball ? [ball] : [])].map((p) => {
    const [x, y] = [p[0] - pivot[0], p[1] - pivot[1]];
    return [pivot, [pivot[0] + x * cos - y * sin, pivot[1] + x * sin + y * cos]];
  });
}

/** How far a key moves a mark, in pixels, or null: arrows one, with Shift ten. @param {{key: string, shiftKey: boolean}} e @returns {Point|null} */
export function step({ key, shiftKey }) {
  const far = shiftKey ? 10 : 1;
  const way = /** @type {Record<string, Point>} */ ({ ArrowLeft: [-far, 0], ArrowRight: [far, 0], ArrowUp: [0, -far], ArrowDown: [0, far] });
  return way[key] ?? null;
}

/**
 * The lift at this moment in nanometres, where the bench knows it of this valve; else null.
 * @param {import("./state.js").State} s @param {string} valve
 */
export function liftNow(s, valve) {
  const p = s.engine.position;
  if (s.replay || s.link !== "up" || s.devices.indicator?.state !== "live" || s.bench.valve !== valve) return null;
  return p && p.sign !== 0 ? p.lift_nm : null;
}

/**
 * What the daemon says of marks, with the names that stand on the page.
 * @param {string} text @param {number[]} numbers of the marked photographs, as they are counted on screen
 */
export const plainMarks = (text, numbers) => text
  .replace(/photographs\[(\d+)\]\.(\w)/gi, (_, i, next) => `Photograph ${numbers[Number(i)] ?? Number(i) + 1}: ${next}`)
  .replace(/\b(stem_[ab]|pivot|tip|ball|known_[ab])(?:_rim)?_px(?:\[(\d+)\])?:?/gi, (_, place, i) => {
    const kind = kinds.find((k) => k.place === `${place.toLowerCase()}_px`);
    return `“${kind?.name}”${i === undefined ? "" : `, mark ${Number(i) + 1},`}`;
  });

/** What a picture may have: pixels, and bytes once encoded. */
const mostPixels = 2e6, mostBytes = 1e6;

/**
 * The size at which a picture is sent: its shape, and two megapixels at most.
 * @param {number} width @param {number} height
 * @returns {[number, number]}
 */
export function sentSize(width, height) {
  const k = Math.min(1, Math.sqrt(mostPixels / (width * height)));
  return [Math.max(1, Math.floor(width * k)), Math.max(1, Math.floor(height * k))];
}

/**
 * A picture as it is sent: scaled and encoded again, so that nothing of the
 * camera or the place leaves the phone. Base64 of a JPEG.
 * @param {Blob} file
 */
export async function encoded(file) {
  let picture;
  try {
    picture = await createImageBitmap(file);
  } catch {
    throw new Error("This browser can not read that file as a picture. Take the photograph again, or choose a JPEG or PNG.");
  }
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = sentSize(picture.width, picture.height);
  const pen = canvas.getContext("2d");
  if (!pen) throw new Error("This browser can not scale a picture. Use another one.");
  pen.imageSmoothingQuality = "high";
  pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  for (const quality of [0.92, 0.8, 0.65, 0.5, 0.3]) {
    const base64 = canvas.toDataURL("image/jpeg", quality).split(",")[1] ?? "";
    if (base64 && (base64.length * 3) / 4 <= mostBytes) return base64;
  }
  throw new Error("The picture stays larger than 1 MB. Take it with less around the rocker in it, or in better light.");
}
