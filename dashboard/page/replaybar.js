// The replay's controls. They stand across the whole page, hatched and in
// words, on every screen: nobody may mistake a replay for the engine.

import { useRef } from "./lib/hooks.js";
import { html, Mark, useApp, usePart } from "./ui.js";
import { leaveReplay } from "./state.js";
import { seconds } from "./units.js";

const rates = [0.1, 0.25, 0.5, 1, 2, 5, 20];

export function ReplayBar() {
  const app = useApp();
  const replay = usePart(app.store, (s) => s.replay);
  const wait = useRef(/** @type {ReturnType<typeof setTimeout>|undefined} */ (undefined));
  if (!replay) return null;
  const problem = (/** @type {Error} */ err) => app.notify(err.message, "problem");
  // One that has played out is over for the daemon: to look again it is started again.
  const change = (/** @type {{rate?: number, paused?: boolean, at_s?: number}} */ what) => {
    if (replay.ended) app.api.post("/replay", { trace: replay.trace, rate: what.rate ?? replay.rate, from_s: what.at_s ?? 0 }).catch(problem);
    else app.api.patch("/replay", what).catch(problem);
  };
  // A thumb on the scale sends a hundred places a second; a few are enough.
  const scrub = (/** @type {number} */ at_s) => {
    clearTimeout(wait.current);
    wait.current = setTimeout(() => change({ at_s }), 60);
  };
  const stop = () => {
    if (!replay.ended) app.api.del("/replay").catch(problem);
    app.store.set(leaveReplay(app.store.get()));
  };
  return html`<section class="replay-bar" aria-label="Replay">
    <strong class="replay-says"><${Mark} shape="bars" kind="replay" /> Replay of trace ${replay.trace}: this is not the engine</strong>
    <button onClick=${() => change(replay.ended ? { at_s: 0 } : { paused: !replay.paused })}>
      ${replay.ended ? "Again" : replay.paused ? "Go on" : "Hold"}</button>
    <input type="range" min="0" max=${replay.seconds || 1} step="0.01" value=${replay.at_s} aria-label="Place in the trace"
      aria-valuetext=${`${seconds(replay.at_s)} of ${seconds(replay.seconds)}`}
      onInput=${(/** @type {any} */ e) => scrub(Number(e.target.value))} />
    <span class="figures">${seconds(replay.at_s)} of ${seconds(replay.seconds)}</span>
    <label>speed <select value=${String(replay.rate)} onChange=${(/** @type {any} */ e) => change({ rate: Number(e.target.value) })}>
      ${[...new Set([...rates, replay.rate])].sort((a, b) => a - b).map((r) => html`<option value=${String(r)} selected=${r === replay.rate}>
        ${r}×</option>`)}
    </select></label>
    <button onClick=${stop}>Back to the engine</button>
  </section>`;
}
