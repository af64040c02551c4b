// The way from an unpacked indicator to the first max lift, as far as it has
// been gone. Each step is known from what the page sees, never ticked by hand.

/** The spindle has been seen to move when its reading went this far: 0.002 in. */
const moved = 50_800;

/**
 * @typedef {{name: string, href: string, done: boolean, how: string}} Step
 * @param {import("./state.js").State} state
 * @param {{low: number, high: number}} strip what the indicator showed at least and at most
 * @returns {Step[]}
 */
export function setupSteps(state, strip) {
  const indicator = state.devices.indicator;
  const c = state.engine;
  const turned = c.openings.length > 0 || (c.findings?.openings?.length ?? 0) > 0;
  return [
    { name: "Choose the indicator's port", href: "#/devices", done: Boolean(indicator), how: "Listen at a port first: its figure must be the one on the indicator." },
    { name: "See it move", href: "#/devices", done: turned || strip.high - strip.low > moved, how: "Touch the spindle; the figure here must follow it." },
    { name: "Let it find which way it runs", href: "#/devices", done: turned || (c.position?.sign ?? 0) !== 0, how: "Turn until the valve opens. If it is found the wrong way round, set it under Devices." },
    { name: "Name the engine and choose the valve", href: "#/engine", done: state.bench.engine !== "" && state.bench.valve !== "", how: "A name, the layout and two numbers are enough." },
    { name: "Turn the engine by hand", href: "#/bench", done: turned, how: "Two full turns of the crank, battery off and plugs out. The nose and half lift are called out as they come." },
  ];
}
