// What is typed into the forms of pushrods, clearances and springs, as the
// question that the calculation takes, and back again: the question is what is
// kept with the engine, and another browser fills its form from it.
//
// Limits are never in a question: they are the engine's, and the daemon puts them
// in, for this page as for the build sheet.

/**
 * @typedef {object} Form
 * @property {string} name of the draft in the browser
 * @property {"pushrod"|"clearance"|"spring"} kind of work, and of calculation
 * @property {string[]} parts of the question that are this form's; none means all
 * @property {(engine: any) => any} blank
 * @property {(question: any) => any} draft what was typed to ask it; null when nothing of this form is in it
 */

/** The parts of a question that hold something. @param {Record<string, any>} ask */
export const filled = (ask) => Object.fromEntries(Object.entries(ask).filter(([, v]) => v !== undefined && v !== null && v !== ""));

/**
 * A question to be kept, in the place of an older one of the same kind and
 * valve: what belongs to other forms in it stays.
 * @param {Form} form
 * @param {any} older undefined when there is none
 * @param {any} question
 */
export function kept(form, older, question) {
  if (!form.parts.length) return question;
  const others = Object.entries(older ?? {}).filter(([name]) => !form.parts.includes(name));
  return { ...Object.fromEntries(others), ...question };
}

/** The numbers in a value, wherever they stand. @param {any} v @returns {number[]} */
const numbers = (v) => (typeof v === "number" ? [v] : v !== null && typeof v === "object" ? Object.values(v).flatMap(numbers) : []);

/**
 * Whether a number that was typed is not in the question, since something beside it
 * is missing: a length without its material, a mass without a trace.
 * @param {Form} form @param {any} engine
 * @param {any} d what was typed
 * @param {any} question that was made of it
 */
export function notAsked(form, engine, d, question) {
  const asked = numbers([form.blank(engine), form.draft(question)]);
  return numbers(d).some((n) => !asked.includes(n));
}

/**
 * The newest of the works of one valve; "" is the whole engine.
 * @template {{at: string, valve?: string}} W
 * @param {W[]} works
 * @param {string} valve
 * @returns {W|null}
 */
export function newestOf(works, valve) {
  let newest = /** @type {W|null} */ (null);
  for (const w of works) if ((w.valve ?? "") === valve && (!newest || Date.parse(w.at) >= Date.parse(newest.at))) newest = w;
  return newest;
}

/** @type {Form} */
export const pushrods = {
  name: "pushrods",
  kind: "pushrod",
  parts: [],
  blank: () => ({ rods: {}, measured: "overall", ends: {}, lash: {}, rod_material: "" }),
  draft: (q) => {
    const [end] = q.ends ?? [], [first, second] = q.lash?.stack ?? [];
    return filled({
      ...q,
      rocker_ratio: undefined, // the engine's
      rods: Object.fromEntries((q.rods ?? []).map((/** @type {any} */ r) => [r.valve, r.checking_rod_mm])),
      measured: q.measured || "overall",
      ends: end ?? {},
      cup_mm: q.ends?.[1]?.cup_depth_mm,
      rod_material: q.lash?.rod?.[0]?.material,
      lash: filled({
        above_material: q.lash?.above_seat?.[0]?.material, above_mm: q.lash?.above_seat?.[0]?.length_mm, stem_material: q.lash?.stem?.[0]?.material, stem_mm: q.lash?.stem?.[0]?.length_mm,
        stack_material: first?.material, stack_mm: first?.length_mm, case_material: second?.material, case_mm: second?.length_mm,
        warmer_k: q.lash?.warmer_k, hot_lash_mm: q.lash?.hot_lash_mm,
      }),
    });
  },
};

/** What a lathe works to where inches are read, mm. */
const thou = 0.0254;

/**
 * @param {any} d what was typed
 * @param {string[]} names of the engine's valves, in the order of work
 * @param {any} engine
 */
export function askPushrods(d, names, engine) {
  const { rods: typed, ends, cup_mm, lash, rod_material, ...rest } = d;
  const end = filled({ ...ends, press_depth_mm: ends.press_depth_mm ?? 0 });
  const rods = names.filter((n) => typed[n]).map((n) => ({ valve: n, checking_rod_mm: typed[n] }));
  const pieces = (/** @type {any[][]} */ ...list) => list.filter(([m, l]) => m && l).map(([material, length_mm]) => ({ material, length_mm }));
  const stack = pieces([lash.stack_material, lash.stack_mm], [lash.case_material, lash.case_mm]);
  const above = pieces([lash.above_material, lash.above_mm]), stem = pieces([lash.stem_material, lash.stem_mm]);
  return filled({
    ...rest, rods, step_mm: rest.step_mm ?? (engine.units === "in" ? thou : undefined),
    gauge_diameter_mm: d.measured === "gauge" ? d.gauge_diameter_mm : undefined,
    ends: ends.length_mm === undefined ? undefined : cup_mm ? [end, { ...end, cup_depth_mm: cup_mm }] : [end],
    rocker_ratio: engine.rocker_ratio?.intake || engine.rocker_ratio?.exhaust || undefined,
    lash: rod_material && stack.length ? filled({ rod: [{ material: rod_material }], stack, above_seat: above.length ? above : undefined, stem: stem.length ? stem : undefined, warmer_k: lash.warmer_k, hot_lash_mm: lash.hot_lash_mm }) : undefined,
  });
}

/** @type {Form} */
export const gaps = {
  name: "gaps",
  kind: "clearance",
  parts: ["coil_bind", "retainer", "slot"],
  blank: () => ({ coil: {}, retainer: {}, slot: {} }),
  draft: (q) => {
    if (!q.coil_bind && !q.retainer && !q.slot) return null;
    const own = (/** @type {any} */ part) => filled({ ...part, lift_mm: undefined, limit_mm: undefined });
    return filled({ lift_mm: q.coil_bind?.lift_mm ?? q.retainer?.lift_mm, coil: own(q.coil_bind), retainer: own(q.retainer), slot: own(q.slot) });
  },
};

/** @param {any} d what was typed */
export const askGaps = (d) => filled({
  coil_bind: d.coil.installed_height_mm !== undefined && d.coil.solid_height_mm !== undefined ? filled({ ...d.coil, lift_mm: d.lift_mm }) : undefined,
  retainer: d.retainer.closed_gap_mm !== undefined ? filled({ ...d.retainer, lift_mm: d.lift_mm }) : undefined,
  slot: d.slot.slot_length_mm !== undefined ? filled(d.slot) : undefined,
});

/** @type {Form} */
export const spring = {
  name: "spring",
  kind: "spring",
  parts: [],
  blank: () => ({ ends: "closed ground", loads: [{}, {}], inner_loads: [{}, {}] }),
  draft: (q) => {
    const two = (/** @type {any[]|undefined} */ list) => [...(list ?? []), ...[{}, {}].slice(list?.length ?? 0)];
    return filled({
      ...q, coil_bind_limit_mm: undefined, ends: q.ends ?? "closed ground", loads: two(q.loads), progressive: q.progressive ? "yes" : undefined,
      inner: undefined, inner_loads: q.inner ? two(q.inner.loads) : undefined, inner_mass_g: q.inner?.mass_g, motion: q.motion && { ...q.motion, curve: undefined },
    });
  },
};

/**
 * @param {any} d what was typed
 * @param {{curve: any[]}|null} trace the valve's lift against crank angle, where it is asked for at speed
 */
export function askSpring(d, trace = null) {
  const { trace: _, inner_loads, inner_mass_g, motion, ...rest } = d;
  const whole = (/** @type {any[]} */ list) => list.filter((l) => l.height_mm !== undefined && l.load_n !== undefined);
  const loads = whole(d.loads), inner = whole(inner_loads ?? []);
  return filled({
    ...rest, loads: loads.length ? loads : undefined, ends: d.wire_mm === undefined ? undefined : d.ends, progressive: d.progressive === "yes" || undefined,
    inner: inner.length ? filled({ loads: inner, mass_g: inner_mass_g }) : undefined,
    motion: trace && motion ? { ...motion, curve: trace.curve } : undefined,
  });
}

/** @type {Form} */
export const piston = {
  name: "piston",
  kind: "clearance",
  parts: ["piston"],
  blank: (engine) => filled({ crown: "parallel", stroke_mm: engine.stroke_mm, rod_mm: engine.rod_mm }),
  draft: (q) => (q.piston ? filled({ ...q.piston, curve: undefined, valve: undefined, limit_mm: undefined, doubts: undefined }) : null),
};

/**
 * @param {any} d what was typed
 * @param {{side: "intake"|"exhaust", curve: any[], doubt?: string}} of the valve's lift against crank angle, and why its top dead centre is not believed
 */
export function askPiston(d, { side, curve, doubt = "" }) {
  const { trace: _, ...rest } = d;
  return { piston: filled({ ...rest, valve: side, curve, doubts: doubt ? [{ cause: "doubtful", says: doubt }] : undefined }) };
}

/**
 * The question of what was typed; null while there is too little for one.
 * @param {{index: (number|null)[], back: (number|null)[], pairs: {encoder: number|null, wheel: number|null}[]}} t
 */
export function askWheel(t) {
  const told = (/** @type {(number|null)[]} */ list) => list.filter((v) => v !== null);
  const index_deg = told(t.index), index_back_deg = told(t.back);
  const readings = t.pairs.filter((p) => p.encoder !== null && p.wheel !== null).map((p) => ({ encoder_deg: p.encoder, wheel_deg: p.wheel }));
  if (readings.length === 0 && index_deg.length + index_back_deg.length < 2) return null;
  return { wheel: { index_deg, index_back_deg, readings } };
}

/**
 * The question of a trace: the same flank at half lift comes past once in two turns.
 * @param {any} findings
 */
export function askTraceWheel(findings) {
  /** @type {any[]} */
  const halves = (findings?.openings ?? []).map((/** @type {any} */ o) => o.opening_half).filter((/** @type {any} */ h) => h?.angle_deg !== undefined);
  if (halves.length < 2) return null;
  const u = Math.max(0.05, ...halves.map((h) => h.angle_u_deg ?? 0.5));
  return { wheel: { index_deg: halves.map((h) => h.angle_deg), reading_u_deg: u } };
}
