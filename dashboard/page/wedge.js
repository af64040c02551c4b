// An indicator whose cable is a keyboard ("wedge") types its figure and then Enter.
// It is known by its speed: no hand types so fast. In a form its Enter goes on to
// the next field and does not send the form half filled; where no field has the
// focus it is no pedal.

/** The longest time between two of its keys, in milliseconds: cables take 1 to 20, fast typists 60 and more (common practice, no source). */
const fast = 35;
/** So many keys in a row are no roll of two fingers. */
const few = 3;

/** @typedef {"" | "typing" | "ends"} Wedged */

/** Follows the keys; times are those of the events, so a busy page changes nothing. */
export function createWedge() {
  let last = -Infinity, run = 0, figure = "";
  return {
    /** What was typed, once it ended. */
    figure: () => figure,
    /**
     * @param {{key: string, timeStamp: number, repeat?: boolean, ctrlKey?: boolean, altKey?: boolean, metaKey?: boolean}} e
     * @returns {Wedged}
     */
    hear({ key, timeStamp, repeat, ctrlKey, altKey, metaKey }) {
      if (key === "Shift") return ""; // for a plus; it is no key of the figure
      const printed = key.length === 1 && !repeat && !ctrlKey && !altKey && !metaKey;
      const goesOn = timeStamp - last <= fast;
      if (!goesOn) [run, figure] = [0, ""];
      last = timeStamp;
      if (printed) {
        run++;
        figure += key;
        return run >= few ? "typing" : "";
      }
      const ended = key === "Enter" && goesOn && run >= few && /\d/.test(figure);
      run = 0;
      return ended ? "ends" : "";
    },
  };
}

/**
 * Goes to the field behind one, in its form or screen; false where it is the last.
 * @param {HTMLElement} from
 */
export function nextField(from) {
  const all = [...(from.closest("form") ?? from.closest("main") ?? document.body).querySelectorAll("input:not([type=range]):not([type=file]):not([type=checkbox]):not([type=radio]), textarea, select")];
  const seen = /** @type {HTMLElement[]} */ (all).filter((e) => e.offsetParent !== null && !(/** @type {any} */ (e).disabled));
  const next = seen[seen.indexOf(from) + 1];
  if (!next) return false;
  next.focus();
  if (next instanceof HTMLInputElement) next.select(); // the next figure takes the place of what stands there
  return true;
}
