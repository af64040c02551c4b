// Addresses of the screens: what stands behind the # of the page.

/** @typedef {{view: string, rest: string[], query: URLSearchParams}} Route */

/** @param {string} hash @returns {Route} */
export function parseRoute(hash) {
  const [path, q = ""] = hash.replace(/^#?\/?/, "").split("?");
  const [view = "", ...rest] = path.split("/").filter(Boolean).map(decodeURIComponent);
  return { view: view || "bench", rest, query: new URLSearchParams(q) };
}

/** The screens in the order of the work, and their names. */
export const screens = /** @type {const} */ ([
  ["bench", "Bench"], ["traces", "Traces"], ["engine", "Engine"], ["trials", "Trials"], ["timing", "Timing"],
  ["compare", "Compare"], ["clearances", "Clearances"], ["sheet", "Sheet"], ["devices", "Devices"], ["help", "Help"],
]);

/** Which topic of the help goes with a screen; the others have the whole of it. @type {Record<string, string>} */
const topics = { bench: "day", traces: "faults", engine: "day", trials: "day", timing: "day", compare: "plusminus", clearances: "figures", sheet: "day", devices: "setup" };

/** @param {string} view */
export const helpFor = (view) => `#/help${topics[view] ? `/${topics[view]}` : ""}`;
