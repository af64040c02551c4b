// The strip on screen: a canvas that redraws when readings came, at most once a
// frame, and not at all while nothing changes.

import { useEffect, useRef } from "./lib/hooks.js";
import { html } from "./ui.js";
import { drawStrip } from "./strip.js";
import { farLength, length } from "./units.js";

/** @param {{buffer: import("./strip.js").StripBuffer, position: import("./state.js").Position|null, unit: import("./units.js").Unit, seconds?: number}} props */
export function Strip({ buffer, position, unit, seconds = 15 }) {
  const canvas = useRef(/** @type {HTMLCanvasElement|null} */ (null));
  const now = useRef({ position, unit });
  now.current = { position, unit };
  useEffect(() => {
    const c = canvas.current, ctx = c?.getContext("2d");
    if (!c || !ctx) return;
    let frame = 0, drawn = "";
    const draw = () => {
      frame = requestAnimationFrame(draw);
      const scale = Math.min(2, devicePixelRatio || 1);
      const width = Math.round(c.clientWidth * scale), height = Math.round(c.clientHeight * scale);
      const { position: p, unit: u } = now.current;
      const dark = matchMedia("(prefers-color-scheme: dark)").matches;
      const key = [buffer.version, width, height, p?.half_nm, p?.nose_nm, p?.heel_nm, p?.sign, u, dark].join();
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
    draw();
    return () => cancelAnimationFrame(frame);
  }, [buffer]);
  return html`<figure class="strip"><canvas ref=${canvas} role="img" aria-label=${`Lift over the last ${seconds} seconds.`}></canvas>
    <figcaption>last ${seconds} s</figcaption></figure>`;
}
