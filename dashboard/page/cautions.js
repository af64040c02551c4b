// The cautions of the trade. They are shown before anything else on a first
// run, and stand first in the help.

import { useEffect, useRef } from "./lib/hooks.js";
import { html, useApp, useOnlyShows, usePart } from "./ui.js";

const cautions = [
  ["Battery off.", "Disconnect it before a hand goes near the engine."],
  ["Plugs out.", "Without compression the engine turns evenly and does not kick back."],
  ["Turn by hand, never with the starter.", "A wrench on the crank, slowly, the way the engine runs."],
  ["Keep fingers clear.", "Rockers, springs and the indicator's arm pinch while somebody else turns."],
  ["Valve springs store energy.", "Use soft checking springs for measuring, and never unclip a loaded one in front of your face."],
  ["Follow the engine maker's figures.", "Clearances, lash and torque come from the engine's own manual; what stands here as common practice is only that."],
];

export const Cautions = () => html`<ul class="cautions">${cautions.map(([what, why]) => html`<li><strong>${what}</strong> ${why}</li>`)}</ul>`;

export function CautionsFirst() {
  const app = useApp();
  const prefs = usePart(app.prefs, (p) => p);
  const looks = useOnlyShows(); // nothing is turned over a shop's record
  const box = useRef(/** @type {HTMLDialogElement|null} */ (null));
  useEffect(() => {
    if (!prefs.cautioned && box.current && !box.current.open) box.current.showModal();
  }, [prefs.cautioned]);
  if (looks || prefs.cautioned) return null;
  const done = () => {
    box.current?.close();
    app.prefs.set({ ...app.prefs.get(), cautioned: true });
  };
  return html`<dialog ref=${box} class="cautions-first" aria-labelledby="cautions-title" onCancel=${done}>
    <h2 id="cautions-title">Before the engine is turned</h2>
    <${Cautions} />
    <p><button onClick=${done} autofocus>Understood</button></p>
  </dialog>`;
}
