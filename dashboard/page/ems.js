// How wide a figure is, so that the largest on the bench fills its box and
// never runs over it: which of the fonts asked for there is, and how wide its
// digits are, is for each computer to say.

/** @type {Map<string, number>} */
const known = new Map();

/**
 * The width of a figure in ems of the font for figures. Digits count as alike
 * (they are set in tabular figures), so a changing figure keeps its size.
 * @param {string} text
 * @param {(shape: string) => number} [measure] the width of a text in ems
 */
export function emsOf(text, measure = inFigures) {
  const shape = text.replace(/\d/g, "0");
  let ems = known.get(shape);
  if (ems === undefined) {
    ems = measure(shape);
    known.set(shape, ems);
  }
  return ems;
}

/** @param {string} text */
function inFigures(text) {
  const brush = document.createElement("canvas").getContext("2d");
  if (!brush) return 0.7 * text.length; // as in a wide font
  brush.font = `700 100px ${getComputedStyle(document.documentElement).getPropertyValue("--figures")}`;
  return brush.measureText(text).width / 100;
}
