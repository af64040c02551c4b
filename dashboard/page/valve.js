// The names of valves: the cylinder, I or E, and which of several of that kind,
// as in "3I", "3E", "3I2". The daemon reads them the same way (capture/valve);
// both are held against testdata/valves/names.json.

/** @typedef {{cylinder: number, kind: "intake"|"exhaust", nth: number}} Valve nth is 0 where the cylinder has only one of the kind */

/**
 * The valve of a name; null for a word that is no valve's name.
 * @param {string} name
 * @returns {Valve|null}
 */
export function parseValve(name) {
  const found = /^([1-9][0-9]{0,2})([IE])([1-9]?)$/.exec(name);
  return found && { cylinder: Number(found[1]), kind: found[2] === "I" ? "intake" : "exhaust", nth: Number(found[3] || 0) };
}

/**
 * Whether a valve is an intake or an exhaust; "" for a word that is no name.
 * @param {string} name
 * @returns {"intake"|"exhaust"|""}
 */
export const sideOf = (name) => parseValve(name)?.kind ?? "";

/** The cylinder of a valve; 0 for a word that is no name. @param {string} name */
export const cylinderOf = (name) => parseValve(name)?.cylinder ?? 0;

/**
 * What the builder calls an engine's valves, by their standard names.
 * @typedef {Record<string, string>} OwnNames
 */

/** How many letters such a name may have: what a cell of the build sheet holds. */
export const mostOwn = 16;

/** The valve in words, whatever the builder calls it: "3I" is Cylinder 3 intake. @param {string} name */
export function standardWords(name) {
  const v = parseValve(name);
  return v ? `Cylinder ${v.cylinder} ${v.kind}${v.nth ? ` ${v.nth}` : ""}` : name;
}

/**
 * The valve as it is called: by the builder's own name, else "3I" is Cylinder 3
 * intake. Any other word is the user's own and stays as it is.
 * @param {string} name
 * @param {OwnNames} [own]
 */
export const valveWords = (name, own) => own?.[name] || standardWords(name);

/** A name as an ear hears it: without blanks, points, dashes and capitals. @param {string} name */
const folded = (name) => name.replace(/[\s.\-_#]/gu, "").toLowerCase();

/**
 * Reads a builder's own name of a valve; throws where it could be taken for another.
 * @param {string} text
 * @param {string} valve which one it is for
 * @param {string[]} all the engine's valves
 * @param {OwnNames} own the names of the others
 */
export function readOwnName(text, valve, all, own) {
  if (text.trim() !== text || text === "") throw new Error("A blank stands at an end: leave it out.");
  if ([...text].length > mostOwn) throw new Error(`It has ${[...text].length} letters; it may have ${mostOwn}.`);
  if (/[\p{C}\p{Zl}\p{Zp}]|[^\S ]/u.test(text)) throw new Error("It holds what is no letter: leave that out.");
  const f = folded(text), parsed = parseValve(f.toUpperCase()) ? f.toUpperCase() : "";
  const other = parsed || all.find((v) => f === folded(standardWords(v)) || f === folded(standardWords(v)).replace(/^cylinder/, ""));
  if (other && other !== valve) throw new Error(`It is another valve's name: ${standardWords(other)}.`);
  const alike = all.find((v) => v !== valve && own[v] && folded(own[v]) === f);
  if (alike) throw new Error(`${standardWords(alike)} is called that already.`);
  return text;
}
