// What the page knows of an engine: its valves, their arrangement, and the
// order in which they are worked through.

/**
 * @typedef {object} Engine
 * @property {string} id
 * @property {string} name
 */

/** @param {any} engine @param {string} valve */
export function nextValve(engine, valve) {
  const order = workOrder(engine);
  if (order.length === 0) return "";
  return order[(order.indexOf(valve) + 1) % order.length];
}

/**
 * The valves in the order of work.
 * @param {any} engine
 * @returns {string[]}
 */
export function workOrder(engine) {
  return engine.valves ?? [];
}
