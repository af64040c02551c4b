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
 * The valve as it is spoken: "3I" is cylinder 3 intake. Any other word is the
 * user's own and stays as it is.
 * @param {string} name
 */
export function valveWords(name) {
  const v = parseValve(name);
  return v ? `Cylinder ${v.cylinder} ${v.kind}${v.nth ? ` ${v.nth}` : ""}` : name;
}
