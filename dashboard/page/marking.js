// A photograph with its marks over it. A touch puts the mark that is asked for;
// a mark is dragged, or moved by arrow keys, with a magnifier beside it.

import { useEffect, useRef, useState } from "./lib/hooks.js";
import { Choice, html, Mark } from "./ui.js";
import { at, everyMark, inside, isMarked, kinds, lacking, moved, placeOf, put, step } from "./marks.js";

/** @typedef {import("./marks.js").Marks} Marks */
/** @typedef {import("./marks.js").Point} Point */
/** @typedef {import("./marks.js").Place} Place */

/** The magnifier: its side on screen and how much larger than a pixel it shows one. */
const glass = 132, larger = 3;

/**
 * @param {{photograph: {width_px: number, height_px: number}, src: string, marks: Marks, change: (marks: Marks) => void, only: boolean, over?: {square: [Point, Point][], now: [Point, Point][]}}} props
 *   over: the rocker where it would be square, and where it stands now
 */
export function Marking({ photograph, src, marks, change, only, over }) {
  const stage = useRef(/** @type {HTMLDivElement|null} */ (null)), picture = useRef(/** @type {HTMLImageElement|null} */ (null));
  const [asked, ask] = useState(() => (lacking(marks) ?? kinds[0]).place);
  const [byRim, setByRim] = useState(false);
  const [again, setAgain] = useState(false);
  const [zoom, setZoom] = useState(1);
  const [held, hold] = useState(/** @type {{place: Place, i: number}|null} */ (null));
  const [before, setBefore] = useState(/** @type {Marks[]} */ ([]));
  const drag = useRef(/** @type {{x: number, y: number, from: Point, marks: Marks, moved: boolean}|null} */ (null));
  const kind = kinds.find((k) => k.place === asked) ?? kinds[0];
  const all = everyMark(marks);
  const heldMark = held ? all.find((m) => m.place === held.place && m.i === held.i) : undefined;
  /** @param {Marks} next @param {Marks} [was] */
  const set = (next, was = marks) => {
    setBefore([...before.slice(-99), was]);
    change(next);
  };
  const perPixel = () => (stage.current ? stage.current.getBoundingClientRect().width / photograph.width_px : 1);
  /** @param {Point} p */
  const putAt = (p) => {
    const next = put(marks, kind, inside(p, photograph), { byRim, again }), place = placeOf(kind, byRim);
    set(next);
    hold({ place, i: at(next, place).length - 1 });
    const then = isMarked(next, kind) && !again && !(byRim && kind.rim) ? lacking(next) : null;
    if (then) ask(then.place);
  };
  // A click knows whole pixels of the screen only, which are several of the
  // picture; the press before it knows parts of them.
  const pressed = useRef({ x: 0, y: 0 });
  const tap = (/** @type {MouseEvent} */ e) => {
    if (only || !stage.current || /** @type {Element} */ (e.target).closest("button")) return;
    const box = stage.current.getBoundingClientRect(), k = perPixel(), { x, y } = pressed.current;
    putAt([(x - box.left) / k, (y - box.top) / k]);
  };
  useEffect(() => { // what is zoomed into is the mark that is held, else the middle
    const to = stage.current, window = to?.parentElement;
    if (!to || !window) return;
    const [x, y] = heldMark ? [heldMark.p[0] / photograph.width_px, heldMark.p[1] / photograph.height_px] : [0.5, 0.5];
    window.scrollTo(x * to.offsetWidth - window.clientWidth / 2, y * to.offsetHeight - window.clientHeight / 2);
  }, [zoom]);
  /** @param {{place: Place, i: number, p: Point}} m @param {Point} by */
  const nudge = (m, [dx, dy]) => set(moved(marks, m.place, m.i, inside([m.p[0] + dx, m.p[1] + dy], photograph)));
  const take = (/** @type {{place: Place, i: number, p: Point}} */ m) => {
    set(moved(marks, m.place, m.i, null));
    hold(null);
  };
  const keys = (/** @type {KeyboardEvent} */ e, /** @type {any} */ m) => {
    const by = step(e);
    if (!by && e.key !== "Delete" && e.key !== "Backspace") return;
    e.preventDefault();
    e.stopPropagation();
    if (by) nudge(m, by);
    else take(m);
  };
  const grab = (/** @type {PointerEvent} */ e, /** @type {any} */ m) => {
    hold({ place: m.place, i: m.i });
    if (only) return;
    /** @type {HTMLElement} */ (e.currentTarget).setPointerCapture(e.pointerId);
    drag.current = { x: e.clientX, y: e.clientY, from: m.p, marks, moved: false };
  };
  const pull = (/** @type {PointerEvent} */ e, /** @type {any} */ m) => {
    const d = drag.current;
    if (!d) return;
    const k = perPixel(), dx = e.clientX - d.x, dy = e.clientY - d.y;
    if (!d.moved && Math.hypot(dx, dy) < 2) return; // a finger that only pressed
    if (!d.moved) setBefore([...before.slice(-99), d.marks]);
    d.moved = true;
    change(moved(marks, m.place, m.i, inside([d.from[0] + dx / k, d.from[1] + dy / k], photograph)));
  };
  const drop = () => (drag.current = null);
  const undo = () => {
    const last = before.at(-1);
    if (!last) return;
    change(last);
    setBefore(before.slice(0, -1));
  };
  const percent = (/** @type {Point} */ [x, y]) => ({ left: `${(x / photograph.width_px) * 100}%`, top: `${(y / photograph.height_px) * 100}%` });
  const line = (/** @type {Place} */ a, /** @type {Place} */ b) => {
    const one = at(marks, a)[0], two = at(marks, b)[0];
    return one && two ? html`<line x1=${one[0]} y1=${one[1]} x2=${two[0]} y2=${two[1]} />` : null;
  };
  return html`<div class="marking">
    ${only ? null : html`<p class="lead marking-asks" role="status">${lacking(marks) || again ? html`Touch: <strong>${kind.name}</strong>` : html`<${Mark} shape="check" kind="good" /> All that is needed is marked. Drag a mark to move it.`}</p>
    <div class="marking-picks"><${Choice} label="What is marked" value=${asked} options=${kinds.map((k) => [k.place, `${k.name}${isMarked(marks, k) ? ", marked" : k.need ? "" : ", if wanted"}`])}
      onChange=${(/** @type {Place} */ v) => { ask(v); setByRim(false); }} />
    <div class="row">${kind.rim ? html`<button class="toggle" aria-pressed=${byRim ? "true" : "false"} onClick=${() => setByRim(!byRim)}>By three points on its rim</button>` : null}
      <button class="toggle" aria-pressed=${again ? "true" : "false"} onClick=${() => setAgain(!again)}>Mark again</button>
      <button class="quiet" onClick=${() => putAt([photograph.width_px / 2, photograph.height_px / 2])}>Put in the middle</button></div></div>`}
    <div class="marking-window" tabindex="0" role="group" aria-label="The photograph, may scroll">
      <div class="marking-stage" ref=${stage} style=${{ width: `calc(${zoom} * min(100%, ${(75 * photograph.width_px) / photograph.height_px}vh))`, aspectRatio: `${photograph.width_px} / ${photograph.height_px}` }}
        onPointerDown=${(/** @type {PointerEvent} */ e) => (pressed.current = { x: e.clientX, y: e.clientY })} onClick=${tap}>
        <img ref=${picture} src=${src} alt="The rocker, photographed" draggable=${false} />
        <svg viewBox=${`0 0 ${photograph.width_px} ${photograph.height_px}`} aria-hidden="true">${line("stem_a_px", "stem_b_px")}${line("pivot_px", "tip_px")}${line("pivot_px", "ball_px")}${line("known_a_px", "known_b_px")}
          ${over ? /** @type {const} */ ([["square", over.square], ["now", over.now]]).map(([name, lines]) => lines.map((/** @type {any} */ [[x1, y1], [x2, y2]]) => html`<line class=${name} x1=${x1} y1=${y1} x2=${x2} y2=${y2} />`)) : null}</svg>
        ${all.map((m) => html`<button key=${`${m.place} ${m.i}`} type="button" class=${`marked ${heldMark === m ? "held" : ""}`} style=${percent(m.p)}
          aria-label=${`${m.name}, at ${m.p[0]}, ${m.p[1]} pixels`} onFocus=${() => hold({ place: m.place, i: m.i })} onKeyDown=${only ? undefined : (/** @type {any} */ e) => keys(e, m)}
          onPointerDown=${(/** @type {any} */ e) => grab(e, m)} onPointerMove=${(/** @type {any} */ e) => pull(e, m)} onPointerUp=${drop} onPointerCancel=${drop}><span>${m.kind.sign}</span></button>`)}
      </div></div>
    ${heldMark ? html`<${Magnifier} picture=${picture.current} p=${heldMark.p} share=${[heldMark.p[0] / photograph.width_px, heldMark.p[1] / photograph.height_px]} stage=${stage.current} zoom=${zoom} />` : null}
    <div class="row" role="group" aria-label="Picture">
      <button class="quiet" aria-label="Smaller" disabled=${zoom <= 1} onClick=${() => setZoom(zoom / 2)}>−</button><button class="quiet" aria-label="Larger" disabled=${zoom >= 8} onClick=${() => setZoom(zoom * 2)}>+</button>
      ${only ? null : html`<button class="quiet" disabled=${before.length === 0} onClick=${undo}>Undo</button>`}</div>
    ${heldMark && !only ? html`<div class="row" role="group" aria-label=${`Move ${heldMark.name}`}><span>${heldMark.name}</span>
      ${[["ArrowLeft", "←", "left"], ["ArrowUp", "↑", "up"], ["ArrowDown", "↓", "down"], ["ArrowRight", "→", "right"]].map(([key, sign, way]) => html`<button class="quiet nudge"
        aria-label=${`One pixel ${way}`} onClick=${() => nudge(heldMark, /** @type {Point} */ (step({ key, shiftKey: false })))}>${sign}</button>`)}
      <button class="quiet" onClick=${() => take(heldMark)}>Delete this mark</button></div>` : null}
  </div>`;
}

/**
 * What lies under the mark, larger, beside it where the finger is not.
 * @param {{picture: HTMLImageElement|null, p: Point, share: number[], stage: HTMLDivElement|null, zoom: number}} props
 */
function Magnifier({ picture, p, share, stage, zoom }) {
  const canvas = useRef(/** @type {HTMLCanvasElement|null} */ (null));
  useEffect(() => {
    const c = canvas.current, pen = c?.getContext("2d");
    if (!c || !pen || !picture?.complete || !stage) return;
    const size = glass / larger;
    pen.imageSmoothingEnabled = false;
    pen.fillStyle = "#000";
    pen.fillRect(0, 0, glass, glass);
    pen.drawImage(picture, p[0] - size / 2, p[1] - size / 2, size, size, 0, 0, glass, glass);
    for (const [colour, wide] of /** @type {const} */ ([["#000", 3], ["#fff", 1]])) {
      pen.strokeStyle = colour;
      pen.lineWidth = wide;
      pen.beginPath();
      pen.moveTo(glass / 2, 0);
      pen.lineTo(glass / 2, glass);
      pen.moveTo(0, glass / 2);
      pen.lineTo(glass, glass / 2);
      pen.stroke();
    }
    // Inside the window, on the half where the mark is not.
    const window = stage.parentElement;
    const x = share[0] * stage.offsetWidth - (window?.scrollLeft ?? 0), wide = window?.clientWidth ?? 0;
    c.style.left = x < wide / 2 ? "auto" : "4px";
    c.style.right = x < wide / 2 ? "4px" : "auto";
    c.style.top = `${(window?.offsetTop ?? 0) + 4}px`;
  }, [picture, p[0], p[1], zoom, stage]);
  return html`<canvas class="magnifier" ref=${canvas} width=${glass} height=${glass} aria-hidden="true"></canvas>`;
}
