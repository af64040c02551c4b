// The demo's five steps: a first look at an engine that is half done. It shows where
// the invented engine is on the stand with its work so far, until it is closed.

import { html, useApp, usePart } from "./ui.js";

/** What the demo's engine is called, and how many of its valves are measured when it opens. */
const engine = "bench-mule", done = 6;

/** @type {[string, string, string][]} the screen, its name, and what is to be seen there */
export const steps = [
  ["bench", "Bench", "An invented hand turns cylinder 2 intake, the seventh of eight valves. Watch the figure run down to half lift, and listen: touch the page once."],
  ["engine", "Engine", "Six valves are measured, each with its ±. Exhaust 3 stands out: its lobe is worn."],
  ["trials", "Trials", "Choose cylinder 1 intake: each trial said which shims come next, until the rocker stood square at half lift."],
  ["traces", "Traces", "Everything that was turned is kept. In one the cable came out; in one an opening is left out, with the reason."],
  ["sheet", "Sheet", "What is still open before metal is cut, and the sheet to print. All of it is marked as simulated."],
];

export function Tour() {
  const app = useApp();
  const [at, here, up] = [usePart(app.prefs, (p) => p.tour), usePart(app.store, (s) => s.simulated && s.bench.engine === engine && s.measured >= done && !s.replay), usePart(app.store, (s) => s.link === "up")];
  const cautioned = usePart(app.prefs, (p) => p.cautioned);
  if (!here || !up || !cautioned || at < 0 || at >= steps.length) return null;
  const [route, name, says] = steps[at];
  const go = (/** @type {number} */ n) => {
    app.prefs.set({ ...app.prefs.get(), tour: n < steps.length ? n : -1 });
    if (steps[n]) location.hash = `#/${steps[n][0]}`; // -1 closes it
  };
  return html`<aside class="tour" aria-label="A look at the demo">
    <p><strong>${at + 1} of ${steps.length}, <a href=${`#/${route}`}>${name}</a>.</strong> ${says}</p>
    <div>${at > 0 ? html`<button class="quiet" onClick=${() => go(at - 1)}>Back</button>` : null}
      <button onClick=${() => go(at + 1)}>${at + 1 < steps.length ? `Next: ${steps[at + 1][1]}` : "Done"}</button>
      <button class="quiet" onClick=${() => go(-1)}>Close<span class="sr"> the tour</span></button></div></aside>`;
}
