// The last turn as a strip: a ring of readings, and its drawing on a canvas.
// The ring is the one mutable thing that follows the signal; a thousand
// readings a second must not make a thousand new arrays.

/** Within this a spindle stands still, whatever its last digit does: 0.0005 in. */
const stands = 12_700;
/** So long it must have stood, in microseconds. */
const restAfter = 1_500_000;

export class StripBuffer {
  /** @param {number} capacity readings kept */
  constructor(capacity = 24_000) {
    this.t = new Float64Array(capacity); // microseconds
    this.lift = new Float64Array(capacity); // nanometres, as the indicator shows
    this.angle = new Float64Array(capacity); // microdegrees, or NaN
    this.capacity = capacity;
    this.start = 0;
    this.size = 0;
    /** what the indicator showed at least and at most since the strip began */
    this.low = Infinity;
    this.high = -Infinity;
    /** what the gauge across the stem showed last, if there is one @type {number|undefined} */
    this.sweep_nm = undefined;
    /** counts changes that can be seen, so that a drawing knows whether it is stale */
    this.moved = 0;
    this.resting = NaN; // where the spindle stands
    this.movedAt = 0; // when it last moved, in microseconds
    /** @type {Set<() => void>} */
    this.hearers = new Set();
  }

  /** Calls after each change that can be seen. @param {() => void} act @returns {() => void} the way out */
  hear(act) {
    this.hearers.add(act);
    return () => void this.hearers.delete(act);
  }

  changed() {
    this.moved++;
    for (const act of this.hearers) act();
  }

  clear() {
    this.start = this.size = 0;
    this.low = Infinity;
    this.high = -Infinity;
    this.resting = NaN;
    this.changed();
  }

  /**
   * Adds a batch. Time never runs backwards on a strip: a batch from before the
   * newest reading is another run of the daemon or of a replay, and starts again.
   * @param {{t_us: number[], lift_nm?: number[], angle_udeg?: number[], sweep_nm?: number[]}} batch
   */
  add({ t_us, lift_nm, angle_udeg, sweep_nm }) {
    if (t_us.length === 0) return;
    this.sweep_nm = sweep_nm?.at(-1);
    if (this.size > 0 && t_us[0] < this.t[this.at(this.size - 1)] - 1_000_000) this.clear();
    for (let i = 0; i < t_us.length; i++) {
      if (this.size > 0 && t_us[i] <= this.t[this.at(this.size - 1)]) continue; // sent again after a reconnection
      const at = this.at(this.size);
      this.t[at] = t_us[i];
      const lift = lift_nm ? lift_nm[i] : NaN;
      this.lift[at] = lift;
      if (lift < this.low) this.low = lift;
      if (lift > this.high) this.high = lift;
      this.angle[at] = angle_udeg ? angle_udeg[i] : NaN;
      if (this.size < this.capacity) this.size++;
      else this.start = (this.start + 1) % this.capacity;
      if (!(Math.abs(lift - this.resting) <= stands)) {
        this.resting = lift;
        this.movedAt = t_us[i];
      }
    }
    // A spindle that has stood for a while leaves the strip as it is.
    if (this.size > 0 && this.t[this.at(this.size - 1)] - this.movedAt < restAfter) this.changed();
  }

  /** @param {number} i from the oldest */
  at(i) {
    return (this.start + i) % this.capacity;
  }

  /** The newest reading, or null; without a lift where only the sweep gauge is read. */
  newest() {
    if (this.size === 0) return null;
    const at = this.at(this.size - 1);
    return { t_us: this.t[at], lift_nm: /** @type {number} */ (Number.isNaN(this.lift[at]) ? undefined : this.lift[at]), angle_udeg: Number.isNaN(this.angle[at]) ? undefined : this.angle[at] };
  }

  /**
   * The newest seconds as columns of least and greatest lift above the heel, as
   * a drawing of that many pixels needs them; empty columns hold NaN.
   * @param {number} columns
   * @param {number} seconds
   * @param {{heel_nm: number, sign: number}} zero
   */
  columns(columns, seconds, { heel_nm, sign }) {
    const low = new Float64Array(columns).fill(NaN), high = new Float64Array(columns).fill(NaN);
    if (this.size === 0) return { low, high };
    const end = this.t[this.at(this.size - 1)], span = seconds * 1e6;
    for (let i = this.size - 1; i >= 0; i--) {
      const at = this.at(i), back = (end - this.t[at]) / span;
      if (back >= 1) break;
      const column = columns - 1 - Math.floor(back * columns);
      const lift = (sign || 1) * (this.lift[at] - heel_nm);
      if (!(lift >= low[column])) low[column] = lift;
      if (!(lift <= high[column])) high[column] = lift;
    }
    return { low, high };
  }
}

/**
 * Draws the strip. Colours come from the caller, who reads them off the page.
 * @param {CanvasRenderingContext2D} ctx in device pixels
 * @param {StripBuffer} buffer
 * @param {{width: number, height: number, seconds: number, heel_nm: number, sign: number, half_nm: number, nose_nm: number, scale: number, ink: string, paper: string, faint: string, target: string, font: string, halfLabel: string, noseLabel: string}} o
 */
export function drawStrip(ctx, buffer, o) {
  const { width, height, scale } = o;
  ctx.clearRect(0, 0, width, height);
  const { low, high } = buffer.columns(width, o.seconds, o);
  let top = o.nose_nm, bottom = 0;
  for (let i = 0; i < width; i++) {
    if (high[i] > top) top = high[i];
    if (low[i] < bottom) bottom = low[i];
  }
  if (top - bottom < 100_000) top = bottom + 100_000; // a still needle is a line, not a mountain range of noise
  const pad = 10 * scale;
  const y = (/** @type {number} */ nm) => height - pad - ((nm - bottom) / (top - bottom)) * (height - 2.4 * pad);

  ctx.lineWidth = scale;
  ctx.font = o.font;
  ctx.textBaseline = "bottom";
  ctx.strokeStyle = o.faint;
  line(ctx, y(0), width, []);
  if (o.nose_nm > 0) line(ctx, y(o.nose_nm), width, [2 * scale, 4 * scale]);
  if (o.half_nm > 0) {
    ctx.strokeStyle = o.target;
    line(ctx, y(o.half_nm), width, [9 * scale, 5 * scale]);
  }
  ctx.strokeStyle = o.ink;
  ctx.lineWidth = 2.5 * scale;
  ctx.lineJoin = "round";
  ctx.beginPath();
  let pen = false;
  for (let i = 0; i < width; i++) {
    if (Number.isNaN(low[i])) continue;
    if (pen) ctx.lineTo(i, y(low[i]));
    else ctx.moveTo(i, y(low[i]));
    if (high[i] !== low[i]) ctx.lineTo(i, y(high[i]));
    pen = true;
  }
  ctx.stroke();

  // Last, on a halo of paper: the trace runs under its labels wherever it likes.
  ctx.strokeStyle = o.paper;
  ctx.lineWidth = 4 * scale;
  const write = (/** @type {string} */ label, /** @type {number} */ nm, /** @type {number} */ left, /** @type {string} */ colour) => {
    ctx.fillStyle = colour;
    ctx.strokeText(label, left * scale, y(nm) - 2 * scale);
    ctx.fillText(label, left * scale, y(nm) - 2 * scale);
  };
  // On the way up the nose so far passes the half lift: its label steps aside.
  const near = Math.abs(y(o.nose_nm) - y(o.half_nm)) < 16 * scale;
  if (o.nose_nm > 0) write(o.noseLabel, o.nose_nm, near ? 170 : 6, o.faint);
  if (o.half_nm > 0) write(o.halfLabel, o.half_nm, 6, o.target);
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {number} y
 * @param {number} width
 * @param {number[]} dash
 */
function line(ctx, y, width, dash) {
  ctx.setLineDash(dash);
  ctx.beginPath();
  ctx.moveTo(0, y);
  ctx.lineTo(width, y);
  ctx.stroke();
  ctx.setLineDash([]);
}
