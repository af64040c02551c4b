// The step that measures the delay between the two ports: what is still to be
// done is said every second, until it can be told.

import { useEffect, useRef, useState } from "../lib/hooks.js";
import { html, Mark, Trouble, useApp, usePart } from "../ui.js";
import { sentence, Sentences } from "../says.js";
import { delayWords, onTwoPorts } from "../delay.js";

/** How often the daemon is asked how far it has come, in milliseconds. */
const often = 1000;

export function DelayStep() {
  const app = useApp();
  const devices = usePart(app.store, (s) => s.devices);
  const [on, setOn] = useState(0); // which measuring; none is 0
  const [progress, setProgress] = useState(/** @type {{done: boolean, says: string, result?: import("../delay.js").DelayResult}|null} */ (null));
  const [error, setError] = useState("");
  const underWay = useRef(false);
  const two = onTwoPorts(devices);

  useEffect(() => {
    if (!on) return undefined;
    let gone = false, timer = 0;
    underWay.current = true;
    const look = async () => {
      try {
        const p = await app.api.post("/delay");
        if (gone) return;
        setProgress(p);
        setError("");
        if (p.done) return;
      } catch (err) {
        if (gone) return;
        setError(/** @type {Error} */ (err).message);
      }
      timer = window.setTimeout(look, often);
    };
    void look();
    return () => {
      gone = true;
      clearTimeout(timer);
    };
  }, [on]);
  // Whoever leaves the screen leaves nothing measuring behind.
  useEffect(() => () => {
    if (underWay.current) app.api.del("/delay").catch(() => {});
  }, []);

  const end = () => {
    underWay.current = false;
    setOn(0);
    setProgress(null);
    setError("");
  };
  const keep = async () => {
    try {
      await app.api.put("/delay", {});
      end();
      app.notify("The delay is saved with the devices; both are opened again.");
    } catch (err) {
      setError(/** @type {Error} */ (err).message);
    }
  };
  const drop = () => {
    app.api.del("/delay").catch((/** @type {Error} */ err) => app.notify(err.message, "problem"));
    end();
  };
  const afresh = async () => {
    try {
      await app.api.del("/delay");
      setProgress(null);
      setOn(on + 1);
    } catch (err) {
      setError(/** @type {Error} */ (err).message);
    }
  };
  if (!two && !on) return null;
  const result = progress?.done ? progress.result : undefined;
  const words = result && delayWords(result);
  return html`<section class="panel delay"><h2>Delay between the two ports</h2>
    ${!on ? html`<p>Indicator and encoder come in by two ways, and one is later than the other: at 60 degrees a second 16 ms are a degree of crank. Rocking the engine over one flank shows by how much.</p>
      <p><button onClick=${() => setOn(1)}>Measure the delay between the two ports</button></p>`
    : words ? html`<p class="big-figure">${words.figure}</p><p role="status"><${Mark} shape=${words.long ? "triangle" : "check"} kind=${words.long ? "bad" : "good"} /> <strong>
        ${sentence(words.who)}</strong> ${words.crank}</p>
      ${words.long ? html`<p class="fault">That is longer than ports and converters usually bring. Measure it again before you save it: if it does not come out the same, it was none.</p>` : null}<${Sentences} list=${[progress?.says ?? ""]} /><${Trouble} text=${error} />
      <p class="row"><button class=${words.long ? "quiet" : ""} onClick=${keep}>Save</button><button class="quiet" onClick=${afresh}>Measure again</button><button class="quiet" onClick=${drop}>Cancel</button></p>`
    : html`<p>Turn the crank forward over one flank of the valve, some 30 degrees, and back again; a few times, at different speeds. The indicator stays where it is.</p>
      <p class="lead" role="status"><${Mark} shape="bars" /> ${progress ? sentence(progress.says) : "Listening to both."}</p><${Trouble} text=${error} />
      <p><button class="quiet" onClick=${drop}>Cancel</button></p>`}</section>`;
}
