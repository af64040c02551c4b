// Addresses of the screens: what stands behind the # of the page.

/** @typedef {{view: string, rest: string[], query: URLSearchParams}} Route */

/** @param {string} hash @returns {Route} */
export function parseRoute(hash) {
  const [path, q = ""] = hash.replace(/^#?\/?/, "").split("?");
  const [view = "", ...rest] = path.split("/").filter(Boolean).map(decoded);
  return { view: view || "bench", rest, query: new URLSearchParams(q) };
}

/**
 * A part of an address in plain text. One that was cut short or mistyped, so that
 * it is no text, stays as it stands: no screen and no engine bears such a name,
 * which the page then says.
 * @param {string} part
 */
function decoded(part) {
  try {
    return decodeURIComponent(part);
  } catch {
    return part;
  }
}

/** The screens in the order of the work, and their names. @type {(readonly [string, string])[]} */
export const screens = [
  ["bench", "Bench"], ["traces", "Traces"], ["engine", "Engine"], ["trials", "Trials"], ["timing", "Timing"],
  ["compare", "Compare"], ["clearances", "Clearances"], ["sheet", "Sheet"], ["devices", "Devices"], ["help", "Help"],
];

/** What a page over a shop has not: nothing is turned or plugged in there. */
const ofBenches = new Set(["bench", "devices"]);

/**
 * The screens of this page: a shop's page begins with the shop, a bench that
 * tells one has it behind its devices.
 * @param {""|"bench"|"record"} shop
 * @returns {(readonly [string, string])[]}
 */
export function screensFor(shop) {
  if (shop === "record") return [["shop", "Shop"], ...screens.filter(([v]) => !ofBenches.has(v))];
  if (shop === "bench") return [...screens.slice(0, -1), ["shop", "Shop"], ...screens.slice(-1)];
  return [...screens];
}

/**
 * The screen for a route: over a shop there is no bench to show.
 * @param {string} view
 * @param {""|"bench"|"record"} shop
 */
export const viewFor = (view, shop) => (shop === "record" && ofBenches.has(view) ? "shop" : view);

/** Which topic of the help goes with a screen; the others have the whole of it. @type {Record<string, string>} */
const topics = { bench: "day", traces: "faults", engine: "day", trials: "day", timing: "day", compare: "plusminus", clearances: "figures", sheet: "day", devices: "setup" };

/** @param {string} view */
export const helpFor = (view) => `#/help${topics[view] ? `/${topics[view]}` : ""}`;
