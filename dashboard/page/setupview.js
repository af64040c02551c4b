// The first set-up on the bench: what is done, and the one thing that is next.

import { useEffect } from "./lib/hooks.js";
import { html, Mark, useApp, usePart } from "./ui.js";
import { setupSteps } from "./setup.js";

/** @param {{state: import("./state.js").State}} props */
export function Setup({ state }) {
  const app = useApp();
  const prefs = usePart(app.prefs, (p) => p);
  const steps = setupSteps(state, app.strips.engine);
  const all = steps.every((s) => s.done);
  useEffect(() => {
    if (all && !prefs.ended) app.prefs.set({ ...app.prefs.get(), ended: true });
  }, [all, prefs.ended]);
  if (prefs.ended || state.replay || state.link !== "up") return null;
  const next = steps.find((s) => !s.done);
  const simulate = () => app.api.post("/simulator", { on: true }).then(() => app.notify("The simulator is running."), (err) => app.notify(err.message, "problem"));
  return html`<section class="setup" aria-label="First set-up"><h2>Five steps to the first max lift</h2>
    <ol>${steps.map((s) => html`<li class=${s === next ? "now" : ""} aria-current=${s === next ? "step" : undefined}>
      <${Mark} shape=${s.done ? "check" : s === next ? "bars" : "ring"} kind=${s.done ? "good" : ""} />
      <span>${s === next ? html`<a href=${s.href}>${s.name}</a> <small>
        ${s.how}</small>` : s.name}${s.done ? html`<span class="sr"> done</span>` : null}</span></li>`)}</ol>
    ${state.devices.indicator ? null : html`<p>
      <button class="quiet" onClick=${simulate}>No indicator here: use the simulator</button> <small>An invented engine, turned by an invented hand. All it shows is labelled as simulated.</small></p>`}
    <p><a href="#/help">Read the cautions before anything is turned.</a> <button class="quiet"
      onClick=${() => app.prefs.set({ ...prefs, ended: true })}>I know the way</button></p></section>`;
}
