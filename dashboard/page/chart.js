// A chart that can be looked into: wheel or two fingers zoom, dragging pans,
// dragging with Shift picks a stretch, arrow keys and + - 0 do the same from
// the keyboard, and a double click or 0 shows everything again. The drawing is
// uPlot's; what is added here is the way in and the colours of the page.

import uPlot from "./lib/uplot.js";
import { useEffect, useRef } from "./lib/hooks.js";
import { placed } from "./labels.js";
import { html } from "./ui.js";

/**
 * @typedef {object} ChartProps
 * @property {any} data columns as uPlot takes them: x first
 * @property {any[]} series as uPlot takes them, without the first; a stroke "--name" is a colour of the page
 * @property {any[]} [bands]
 * @property {any[]} [axes]
 * @property {any} [scales]
 * @property {(from: number, to: number) => void} [onRange] when another stretch of x is looked at
 * @property {{x: number, label: string, dashed?: boolean}[]} [uprights] marked places on x
 * @property {{y: number, label: string}[]} [levels] marked heights
 * @property {{x: number, y: number}[]} [crosses] readings that do not count; one beyond the edge is drawn on it
 * @property {string} says what the chart shows, in words
 * @property {string} [xUnit]
 * @property {number} [height]
 * @property {[number, number]} [limits] the whole of x
 */

/**
 * A stretch of x after a zoom about a place, held inside the whole.
 * @param {number} from
 * @param {number} to
 * @param {number} about
 * @param {number} factor above 1 looks closer
 * @param {number} least the smallest stretch
 * @param {[number, number]} whole
 * @returns {[number, number]}
 */
export function zoomed(from, to, about, factor, least, [low, high]) {
  const span = Math.min(high - low, Math.max(least, (to - from) / factor));
  const part = to > from ? (about - from) / (to - from) : 0.5;
  return held(about - part * span, span, [low, high]);
}

/**
 * @param {number} from
 * @param {number} span
 * @param {[number, number]} whole
 * @returns {[number, number]}
 */
export function held(from, span, [low, high]) {
  const start = Math.min(Math.max(low, from), Math.max(low, high - span));
  return [start, Math.min(high, start + span)];
}

/** @param {ChartProps} props */
export function Chart(props) {
  const box = useRef(/** @type {HTMLDivElement|null} */ (null));
  const latest = useRef(props);
  latest.current = props;
  const plot = useRef(/** @type {any} */ (null));
  const looked = useRef(/** @type {{min: number, max: number}|null} */ (null));
  const shape = JSON.stringify([props.series.map((s) => [s.label, s.stroke, s.scale]), props.axes?.map((a) => [a.label, a.scale]), props.height]);

  useEffect(() => {
    const place = box.current;
    if (!place) return;
    /** @type {ResizeObserver|undefined} */
    let sizes;
    const build = () => {
      const x = plot.current?.scales.x ?? looked.current;
      plot.current?.destroy();
      plot.current = make(place, latest);
      // A new label or colour must not end a closer look.
      if (x && closerThan(limitsOf(latest.current), x.min, x.max)) plot.current.setScale("x", { min: x.min, max: x.max });
    };
    build();
    sizes = new ResizeObserver(() => plot.current?.setSize(sizeOf(place, latest.current)));
    sizes.observe(place);
    const dark = matchMedia("(prefers-color-scheme: dark)");
    dark.addEventListener("change", build);
    return () => {
      sizes?.disconnect();
      dark.removeEventListener("change", build);
      looked.current = plot.current?.scales.x ?? null;
      plot.current?.destroy();
      plot.current = null;
    };
  }, [shape]);

  useEffect(() => {
    const p = plot.current;
    if (!p) return;
    const { min, max } = p.scales.x;
    const whole = limitsOf(props);
    // Finer data of a closer look must not jump back to the whole.
    const closer = closerThan(whole, min, max);
    p.setData(props.data, false);
    p.setScale("x", closer ? { min, max } : { min: whole[0], max: whole[1] });
  }, [props.data]);
  useEffect(() => plot.current?.redraw(false), [props.uprights, props.levels, props.crosses]);

  return html`<figure class="chart"><div ref=${box} tabindex="0" role="application" aria-roledescription="chart"
    aria-label=${`${props.says} Plus and minus zoom, arrows pan, 0 shows all.`}
      onKeyDown=${(/** @type {KeyboardEvent} */ e) => byKey(e, plot.current, latest.current)}></div></figure>`;
}

/** Whether a part of the whole is looked at. @param {[number, number]} whole @param {number} min @param {number} max */
const closerThan = ([low, high], min, max) => Number.isFinite(min) && (min > low || max < high) && min < high && max > low;

/** @param {ChartProps} props @returns {[number, number]} */
function limitsOf({ limits, data }) {
  if (limits) return limits;
  const x = data[0];
  return x.length > 1 ? [x[0], x[x.length - 1]] : [0, 1];
}

/** @param {HTMLElement} place @param {ChartProps} props */
const sizeOf = (place, { height }) => ({ width: Math.max(200, place.clientWidth), height: height ?? Math.round(Math.min(460, Math.max(260, innerHeight * 0.46))) });

/**
 * @param {HTMLElement} place
 * @param {{current: ChartProps}} latest
 */
function make(place, latest) {
  const props = latest.current;
  const css = getComputedStyle(place);
  const colour = (/** @type {string|undefined} */ c) => (c?.startsWith("--") ? css.getPropertyValue(c).trim() : c);
  const ink = colour("--ink") ?? "#000", soft = colour("--soft") ?? "#666", rule = colour("--rule") ?? "#ccc";
  const font = `13px ${css.fontFamily}`;
  const whole = limitsOf(props);
  const axis = (/** @type {any} */ a) => ({ stroke: soft, font, labelFont: font, grid: { stroke: rule, width: 1 }, ticks: { stroke: rule, width: 1 }, ...a });
  const axes = (props.axes ?? [{}, {}]).map(axis);
  const touch = matchMedia("(pointer: coarse)").matches;
  const chart = new uPlot(
    {
      ...sizeOf(place, props),
      padding: [14, 8, 0, 0],
      series: [{}, ...props.series.map((s) => ({ width: 2, ...s, stroke: colour(s.stroke), fill: colour(s.fill), points: s.points ?? { show: false } }))],
      bands: props.bands?.map((b) => ({ ...b, fill: colour(b.fill) })),
      axes,
      scales: { x: { time: false, min: whole[0], max: whole[1] }, ...props.scales },
      legend: { show: false },
      cursor: { drag: { setScale: false, x: false, y: false }, points: { size: 9 } },
      hooks: {
        setScale: [(/** @type {any} */ u, /** @type {string} */ key) => key === "x" && latest.current.onRange?.(u.scales.x.min, u.scales.x.max)],
        draw: [(/** @type {any} */ u) => drawMarks(u, latest.current, { ink, soft, target: colour("--target") ?? ink, paper: colour("--paper") ?? "#fff", font: css.fontFamily })],
      },
    },
    props.data,
    place,
  );
  chart.setScale("x", { min: whole[0], max: whole[1] });
  if (!touch) byWheel(chart, latest);
  byPointer(chart, latest);
  readout(chart, latest);
  return chart;
}

/**
 * @param {any} u
 * @param {ChartProps} props
 * @param {{ink: string, soft: string, target: string, paper: string, font: string}} colours
 */
function drawMarks(u, { uprights = [], levels = [], crosses = [] }, { ink, soft, target, paper, font }) {
  const { ctx, bbox } = u, scale = devicePixelRatio || 1;
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top - 14 * scale, bbox.width, bbox.height + 14 * scale);
  ctx.clip();
  ctx.font = `600 ${12 * scale}px ${font}`;
  ctx.lineWidth = 1.5 * scale;
  ctx.textBaseline = "alphabetic"; // the chart library leaves its own behind, and then the line strikes its label out
  const end = bbox.left + bbox.width;
  const { min, max } = u.scales.x, there = uprights.filter((m) => m.x >= min && m.x <= max);
  // Thousands of them would hide the curve: they come when the chart is looked into.
  const seen = there.length > bbox.width / (5 * scale) ? [] : there.sort((a, b) => a.x - b.x).map((m) => ({ ...m, at: u.valToPos(m.x, "x", true), width: ctx.measureText(m.label).width }));
  const stand = placed(seen, bbox.left, end, 4 * scale);
  for (const { at, dashed } of seen) {
    ctx.strokeStyle = soft;
    ctx.setLineDash(dashed ? [4 * scale, 4 * scale] : []);
    ctx.beginPath();
    ctx.moveTo(at, bbox.top);
    ctx.lineTo(at, bbox.top + bbox.height);
    ctx.stroke();
  }
  for (const { y } of levels) {
    const at = u.valToPos(y, "y", true);
    ctx.strokeStyle = target;
    ctx.setLineDash([9 * scale, 5 * scale]);
    ctx.beginPath();
    ctx.moveTo(bbox.left, at);
    ctx.lineTo(bbox.left + bbox.width, at);
    ctx.stroke();
  }
  // Last, on a halo of paper: lines and curves run under their labels wherever they like.
  ctx.setLineDash([]);
  ctx.textAlign = "left";
  ctx.lineJoin = "round";
  const write = (/** @type {string} */ label, /** @type {number} */ x, /** @type {number} */ y, /** @type {string} */ pen) => {
    ctx.strokeStyle = paper;
    ctx.lineWidth = 4 * scale;
    ctx.strokeText(label, x, y);
    ctx.fillStyle = pen;
    ctx.fillText(label, x, y);
  };
  for (const [i, { label }] of seen.entries()) {
    const place = stand[i];
    if (place) write(label, place.from, bbox.top + (11 + place.row * 15) * scale, ink);
  }
  for (const { y, label } of levels) write(label, bbox.left + 6 * scale, u.valToPos(y, "y", true) - 4 * scale, target);
  ctx.lineWidth = 1.5 * scale;
  drawCrosses(u, crosses, ink);
  ctx.restore();
}

/** @param {any} u @param {{x: number, y: number}[]} crosses @param {string} ink */
function drawCrosses(u, crosses, ink) {
  const { ctx, bbox } = u, scale = devicePixelRatio || 1, arm = 5 * scale;
  ctx.strokeStyle = ink;
  ctx.setLineDash([]);
  ctx.lineWidth = 2 * scale;
  ctx.beginPath();
  for (const { x, y } of crosses) {
    const left = u.valToPos(x, "x", true);
    const top = Math.min(Math.max(u.valToPos(y, "y", true), bbox.top + arm), bbox.top + bbox.height - arm);
    ctx.moveTo(left - arm, top - arm);
    ctx.lineTo(left + arm, top + arm);
    ctx.moveTo(left - arm, top + arm);
    ctx.lineTo(left + arm, top - arm);
  }
  ctx.stroke();
}

/** @param {any} u @param {ChartProps} props */
const least = (u, props) => {
  const [low, high] = limitsOf(props);
  return (high - low) / 20_000 || u.scales.x.max - u.scales.x.min;
};

/**
 * @param {any} u
 * @param {ChartProps} props
 * @param {number} about
 * @param {number} factor
 */
function zoom(u, props, about, factor) {
  const { min, max } = u.scales.x;
  const [from, to] = zoomed(min, max, about, factor, least(u, props), limitsOf(props));
  u.setScale("x", { min: from, max: to });
}

/**
 * @param {any} u
 * @param {ChartProps} props
 * @param {number} by part of what is seen
 */
function pan(u, props, by) {
  const { min, max } = u.scales.x;
  const [from, to] = held(min + by * (max - min), max - min, limitsOf(props));
  u.setScale("x", { min: from, max: to });
}

/**
 * @param {KeyboardEvent} e
 * @param {any} u
 * @param {ChartProps} props
 */
function byKey(e, u, props) {
  if (!u || e.ctrlKey || e.altKey || e.metaKey) return;
  const { min, max } = u.scales.x, whole = limitsOf(props);
  /** @type {Record<string, () => void>} */
  const ways = {
    "+": () => zoom(u, props, (min + max) / 2, 1.5), "=": () => zoom(u, props, (min + max) / 2, 1.5), "-": () => zoom(u, props, (min + max) / 2, 1 / 1.5),
    ArrowLeft: () => pan(u, props, -0.15), ArrowRight: () => pan(u, props, 0.15),
    Home: () => pan(u, props, -1e6), End: () => pan(u, props, 1e6),
    0: () => u.setScale("x", { min: whole[0], max: whole[1] }),
  };
  const way = ways[e.key];
  if (!way) return;
  e.preventDefault();
  e.stopPropagation();
  way();
}

/** @param {any} u @param {{current: ChartProps}} latest */
function byWheel(u, latest) {
  u.over.addEventListener("wheel", (/** @type {WheelEvent} */ e) => {
    e.preventDefault();
    if (Math.abs(e.deltaX) > Math.abs(e.deltaY)) return pan(u, latest.current, e.deltaX / 800);
    zoom(u, latest.current, u.posToVal(e.offsetX, "x"), Math.exp(-e.deltaY / 400));
  }, { passive: false });
}

/** @param {any} u @param {{current: ChartProps}} latest */
function byPointer(u, latest) {
  const over = /** @type {HTMLElement} */ (u.over);
  /** @type {Map<number, {x: number, y: number}>} */
  const down = new Map();
  let pickFrom = NaN;
  over.addEventListener("pointerdown", (e) => {
    if (e.button !== 0) return;
    over.setPointerCapture(e.pointerId);
    down.set(e.pointerId, { x: e.offsetX, y: e.offsetY });
    pickFrom = e.shiftKey ? e.offsetX : NaN;
  });
  over.addEventListener("pointermove", (e) => {
    const was = down.get(e.pointerId);
    if (!was) return;
    if (!Number.isNaN(pickFrom)) {
      const left = Math.min(pickFrom, e.offsetX), width = Math.abs(e.offsetX - pickFrom);
      u.setSelect({ left, width, top: 0, height: over.clientHeight }, false);
      return;
    }
    const other = [...down].find(([id]) => id !== e.pointerId)?.[1];
    if (!other) pan(u, latest.current, (was.x - e.offsetX) / over.clientWidth);
    else {
      const before = Math.abs(was.x - other.x), after = Math.abs(e.offsetX - other.x);
      if (before > 8 && after > 8) zoom(u, latest.current, u.posToVal((e.offsetX + other.x) / 2, "x"), after / before);
    }
    down.set(e.pointerId, { x: e.offsetX, y: e.offsetY });
  });
  const up = (/** @type {PointerEvent} */ e) => {
    down.delete(e.pointerId);
    if (Number.isNaN(pickFrom)) return;
    const from = u.posToVal(Math.min(pickFrom, e.offsetX), "x"), to = u.posToVal(Math.max(pickFrom, e.offsetX), "x");
    u.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
    if (Math.abs(e.offsetX - pickFrom) > 6) u.setScale("x", { min: from, max: to });
    pickFrom = NaN;
  };
  over.addEventListener("pointerup", up);
  over.addEventListener("pointercancel", up);
  over.addEventListener("dblclick", () => {
    const [min, max] = limitsOf(latest.current);
    u.setScale("x", { min, max });
  });
}

/**
 * What stands under the cursor, in a line of text below the chart.
 * @param {any} u
 * @param {{current: ChartProps}} latest
 */
function readout(u, latest) {
  const line = document.createElement("p");
  line.className = "chart-reads";
  u.root.append(line);
  const tell = () => {
    const { idx } = u.cursor;
    const props = latest.current;
    if (idx === null || idx === undefined) {
      line.textContent = matchMedia("(pointer: coarse)").matches ? "Drag to pan, two fingers to zoom, tap twice to see all." : "Drag to pan, wheel to zoom, Shift and drag picks a stretch, double click shows all.";
      return;
    }
    const parts = [`${u.data[0][idx]?.toFixed(2)} ${props.xUnit ?? ""}`];
    props.series.forEach((s, i) => {
      const v = u.data[i + 1][idx];
      if (s.label && v !== null && v !== undefined && !Number.isNaN(v)) parts.push(`${s.label} ${s.write ? s.write(v) : v.toFixed(4)}`);
    });
    line.textContent = parts.join(" · ");
  };
  u.hooks.setCursor = [...(u.hooks.setCursor ?? []), tell];
  tell();
}
