// The strip on screen: a canvas that redraws when readings came, twenty times a
// second at most, and not at all while the valve stands still.

import { useEffect, useRef } from "./lib/hooks.js";
import { html, paced, useApp } from "./ui.js";
import { drawStrip } from "./strip.js";
import { shown } from "./state.js";
import { farLength, length } from "./units.js";

/** How often it is drawn, in milliseconds. */
const pace = 50;

/** @param {{buffer: import("./strip.js").StripBuffer, seconds?: number}} props */
export function Strip({ buffer, seconds = 15 }) {
  const app = useApp();
  const canvas = useRef(/** @type {HTMLCanvasElement|null} */ (null));
  useEffect(() => {
    const c = canvas.current, ctx = c?.getContext("2d");
    if (!c || !ctx) return;
    let drawn = "", wide = c.clientWidth, high = c.clientHeight;
    const dark = matchMedia("(prefers-color-scheme: dark)");
    const draw = () => {
      const scale = Math.min(2, devicePixelRatio || 1);
      const width = Math.round(wide * scale), height = Math.round(high * scale);
      const state = app.store.get(), p = shown(state).position, u = state.unit;
      const key = [buffer.moved, width, height, p?.half_nm, p?.nose_nm, p?.heel_nm, p?.sign, u, dark.matches].join();
      if (key === drawn || width === 0) return;
      drawn = key;
      if (c.width !== width || c.height !== height) {
        c.width = width;
        c.height = height;
      }
      const css = getComputedStyle(c);
      const colour = (/** @type {string} */ name) => css.getPropertyValue(name).trim();
      drawStrip(ctx, buffer, {
        width, height, scale, seconds,
        heel_nm: p?.heel_nm ?? buffer.newest()?.lift_nm ?? 0, sign: p?.sign || 1, half_nm: p?.half_nm ?? 0, nose_nm: p?.nose_nm ?? 0,
        ink: colour("--ink"), paper: colour("--paper"), faint: colour("--soft"), target: colour("--target"), font: `600 ${13 * scale}px ${css.fontFamily}`,
        halfLabel: p ? `half lift ${farLength(p.half_nm, u)}` : "", noseLabel: p ? `${p.state === "opening" ? "highest" : "nose"} ${length(p.nose_nm, u)}` : "",
      });
    };
    const later = paced(pace, draw);
    const sizes = new ResizeObserver(() => {
      [wide, high] = [c.clientWidth, c.clientHeight];
      later.ask();
    });
    sizes.observe(c);
    dark.addEventListener("change", later.ask);
    const stop = app.store.subscribe(later.ask);
    const unhear = buffer.hear(later.ask);
    later.ask();
    return () => {
      sizes.disconnect();
      dark.removeEventListener("change", later.ask);
      stop();
      unhear();
      later.end();
    };
  }, [buffer]);
  return html`<figure class="strip"><canvas ref=${canvas} role="img" aria-label=${`Lift over the last ${seconds} seconds.`}></canvas>
    <figcaption>last ${seconds} s</figcaption></figure>`;
}
