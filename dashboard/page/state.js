// What the page knows. A store holds one immutable value; messages from the
// daemon are turned into the next value by pure functions, so every screen can
// be tested from a list of messages.
//
// There are two channels of the same shape: the engine and, while one runs, a
// replay. They never mix: what came from a replay can not end up in the
// engine's read-out, and the engine goes on being followed behind a replay.

/**
 * The messages of the live socket, as far as the page reads them.
 * @typedef {{t_s: number, state: "heel"|"opening"|"nose"|"closing", lift_nm: number, heel_nm: number, sign: number, nose_nm: number, settled: boolean, half_nm: number, to_go_nm: number, fallen_nm?: number, doubtful?: boolean}} Position
 * @typedef {{t_s: number, kind: "approach-half"|"at-half"|"past-half"|"nose"|"heel"|"taken-back", lift_nm: number, to_go_nm: number, flank?: string, doubtful?: boolean, of?: "nose"|"at-half"}} Cue
 * @typedef {{t_s: number, reading_mm: number, angle_deg?: number}} Crossing
 * @typedef {{t_open_s: number, t_nose_s: number, t_close_s: number, heel_mm: number, max_lift_mm: number, max_lift_u_mm: number, half_lift_mm: number, opening_half: Crossing, closing_half: Crossing, nose_angle_deg?: number}} Opening
 * @typedef {{kind: string, t_s: number, says: string, sentence?: string, lengths_mm?: number[]}} Fault
 * @typedef {{openings: Opening[]|null, max_lift_mm: number, max_lift_u_mm: number, half_lift_mm: number, spread_mm: number, resolution_mm: number, sign?: number, held?: {kind: string, by_mm: number, says: string}[], drive?: {delay_s: number, delay_u_s: number, slack_deg?: number, slack_u_deg?: number, says: string}, doubted?: Record<string, number>, doubts?: {t_s: number, reading_mm: number, reason: string}[], faults: Fault[]|null, left_out?: {opening: Opening, why: string}[]}} Findings
 * @typedef {{from_s: number, until_s: number, why: string}} LeftOut
 * @typedef {{from_s: number, until_s: number, says: string}} OpeningNote
 * @typedef {{id: string, address: string, state: "connecting"|"live"|"silent"|"lost", says: string, detail?: string, rate_hz?: number, age_s?: number, format?: string, assumes?: string, resolution_mm?: number, refused?: Record<string, number>}} Device
 * @typedef {{id: number, state: "recording"|"kept"|"behind"|"failed", t0_us?: number, seconds: number, readings: number, on_disk_s: number, says?: string}} Trace
 * @typedef {{engine: string, valve: string, trial: string, against?: string}} Bench
 * @typedef {{line: string, score: number, says: string}} ProbeStep
 * @typedef {{trace: number, rate: number, paused: boolean, at_s: number, seconds: number, ended: boolean}} Replay
 */

/**
 * One thing that is followed: the engine, or a replay of it.
 * @typedef {object} Channel
 * @property {Position|null} position
 * @property {Cue|null} cue the newest cue
 * @property {boolean} held half lift was called and the valve has not moved on
 * @property {Opening[]} openings settled openings of the trace under way, oldest first
 * @property {Fault[]} faults newest last, the last twenty
 * @property {Findings|null} findings of the last finished trace
 * @property {number} findingsOf its id; 0 for none
 * @property {Trace|null} trace
 * @property {number} passed the newest trace of the valve before; its findings come after the bench has gone on
 * @property {import("./agreement.js").Agreement|null} agreement of the openings of that trace that count
 * @property {LeftOut[]} leftOut openings of that trace that count for nothing, in the trace's own time
 * @property {OpeningNote[]} noted what is written beside its openings, in the trace's own time
 * @property {number[]} marks when a pedal was pressed in it, in seconds of the trace
 */

/**
 * @typedef {object} State
 * @property {"connecting"|"up"|"lost"} link to the daemon
 * @property {string} version
 * @property {"in"|"mm"} unit
 * @property {Bench} bench
 * @property {string[]} order the engine's valves in the order of work; none until it is known
 * @property {import("./valve.js").OwnNames} names what the builder calls the valves of the engine on the bench
 * @property {{left: string[]}|null} round a hands-free round: the valves that it still comes to; null while there is none
 * @property {number} measured how many of them were measured when the engine was put on the bench
 * @property {Record<string, Device>} devices by id
 * @property {boolean} simulated
 * @property {import("./proof.js").ProofNow|null} proof what is known of the indicator
 * @property {boolean} lan
 * @property {""|"bench"|"record"} shop this bench tells a shop; or this is the page over a shop, which only shows
 * @property {Channel} engine
 * @property {Channel} replayed
 * @property {Replay|null} replay
 * @property {ProbeStep[]} probed what a probe has heard so far, speed by speed; the last two hundred
 * @property {import("./repairs.js").Repair[]} repairs of the store, that nobody has dismissed
 * @property {number} marks how many marks were set since the page was opened
 * @property {number} missed readings that this page was too slow for
 */

/** @returns {Channel} */
export const emptyChannel = () => ({
  position: null, cue: null, held: false, openings: [], faults: [], findings: null, findingsOf: 0, trace: null, passed: 0, leftOut: [], noted: [], marks: [], agreement: null,
});

/** @returns {State} */
export const initialState = () => ({
  link: "connecting", version: "", unit: "in", bench: { engine: "", valve: "", trial: "" }, order: [], names: {}, round: null, measured: 0, devices: {},
  simulated: false, proof: null, lan: false, shop: "", engine: emptyChannel(), replayed: emptyChannel(), replay: null, probed: [], repairs: [], marks: 0, missed: 0,
});

/**
 * The channel that is on screen: the replay while there is one.
 * @param {State} state
 */
export const shown = (state) => (state.replay ? state.replayed : state.engine);

/**
 * The page over a shop only shows what the benches recorded.
 * @param {State} state
 */
export const onlyShows = (state) => state.shop === "record";

/**
 * Why an opening counts for nothing; "" when it counts.
 * @param {{leftOut: LeftOut[]}} c
 * @param {Opening} o in the time of its trace, as the bench hears it
 */
export function whyLeftOut(c, o) {
  return c.leftOut.find((l) => l.from_s <= o.t_nose_s && o.t_nose_s <= l.until_s)?.why ?? "";
}

/** Beyond this from half lift the valve has plainly moved on: 0.005 in. */
export const movedOn = 127_000;

/**
 * The state after one message. Unknown types change nothing: a newer daemon may
 * say more than this page understands.
 * @param {State} state
 * @param {any} m
 * @returns {State}
 */
export function reduce(state, m) {
  switch (m.type) {
    case "hello": return hello(state, m);
    case "device": {
      const { type: _, ...device } = m;
      return { ...state, devices: { ...state.devices, [device.id]: device } };
    }
    case "bench": {
      const bench = benchOf(m);
      const same = bench.engine === state.bench.engine && bench.valve === state.bench.valve;
      return { ...state, bench, engine: same ? state.engine : { ...emptyChannel(), trace: state.engine.trace, passed: state.engine.trace?.id ?? 0 } }; // no figure of the last valve
    }
    case "replay": return replay(state, m);
    case "settings": return { ...state, unit: m.units === "mm" ? "mm" : "in" };
    case "repairs": return { ...state, repairs: m.repairs ?? [] };
    case "simulator": return { ...state, simulated: Boolean(m.on) };
    case "probe": return { ...state, probed: [...state.probed, { line: m.line, score: m.score, says: m.says }].slice(-200) };
    case "proof": {
      const { type: _, ...proof } = m;
      return { ...state, proof };
    }
    case "mark": return { ...state, marks: Math.max(0, state.marks + (m.undone ? -1 : 1)), engine: marked(state.engine, m) };
    case "readings": return m.lost ? { ...state, missed: state.missed + m.lost } : state;
    default: {
      const channel = m.replay ? "replayed" : "engine";
      const next = follow(state[channel], m);
      if (next === state[channel]) return state;
      const after = { ...state, [channel]: next };
      return m.type === "agreement" && !m.replay ? { ...after, round: inRound(after, m) } : after;
    }
  }
}

/**
 * A pedal's mark, in the time of the trace that it belongs to.
 * @param {Channel} c
 * @param {any} m
 * @returns {Channel}
 */
function marked(c, m) {
  if (m.undone) return { ...c, marks: c.marks.slice(0, -1) };
  return c.trace?.t0_us === undefined || c.trace.state === "kept" ? c : { ...c, marks: [...c.marks, m.t_s - c.trace.t0_us / 1e6] };
}

/**
 * The round after the openings of the valve on the bench were judged: one whose
 * openings agree is done, one whose later opening does not is not.
 * @param {State} state
 * @param {import("./agreement.js").Agreement} a
 */
function inRound({ round, order, bench: { valve } }, a) {
  if (!round || a.count < 2) return round;
  const done = a.agree, there = round.left.includes(valve);
  return done === there ? { left: order.filter((v) => (v === valve ? !done : round.left.includes(v))) } : round;
}

/**
 * A hello is a snapshot. After a lost connection it brings back what was
 * missed, and must not wipe what the daemon no longer tells: findings that are
 * on screen stay until newer ones come.
 * @param {State} state
 * @param {any} m
 * @returns {State}
 */
function hello(state, m) {
  const held = state.engine.held && m.position && Math.abs(m.position.to_go_nm) < movedOn;
  /** @type {Channel} */
  const channel = {
    ...emptyChannel(),
    position: m.position ?? state.engine.position,
    held: Boolean(held),
    trace: m.trace ?? null,
    openings: m.openings ?? [],
    leftOut: m.left_out ?? [],
    noted: m.noted ?? [],
    marks: m.marks_s ?? [],
    agreement: m.agreement ?? null,
    findings: m.findings?.findings ?? m.findings ?? state.engine.findings,
    findingsOf: m.findings?.trace ?? state.engine.findingsOf,
    faults: state.engine.faults,
  };
  const inReplay = Boolean(m.replay_of);
  // Over a shop everybody looks at another engine, so that stays with the page.
  const record = m.shop === "record", stays = record && onlyShows(state);
  return {
    ...state,
    link: "up",
    version: m.version ?? "",
    unit: stays ? state.unit : m.units === "mm" ? "mm" : "in",
    bench: stays ? state.bench : benchOf(m.bench ?? {}),
    shop: record ? "record" : m.shop === "bench" ? "bench" : "",
    devices: Object.fromEntries((m.devices ?? []).map((/** @type {Device} */ d) => [d.id, d])),
    simulated: Boolean(m.simulated),
    proof: m.proof ?? null,
    lan: Boolean(m.lan),
    repairs: m.repairs ?? [],
    engine: channel,
    replay: inReplay ? state.replay ?? { trace: m.replay_of, rate: 1, paused: false, at_s: 0, seconds: 0, ended: false } : null,
    replayed: inReplay ? state.replayed : emptyChannel(),
  };
}

/** @param {any} m @returns {Bench} */
const benchOf = (m) => ({ engine: m.engine ?? "", valve: m.valve ?? "", trial: m.trial ?? "", against: m.against });

/** Within this of its end a replay counts as played out, in seconds. */
const playedOut = 0.25;

/**
 * A replay that has played out stays on screen, so that its last position can
 * be read; one that was stopped on the way, here or by somebody else, is gone.
 * @param {State} state
 * @param {any} m
 * @returns {State}
 */
function replay(state, m) {
  if (m.ended && (!state.replay || state.replay.trace !== m.trace || m.at_s < m.seconds - playedOut)) return leaveReplay(state);
  const { type: _, replay: __, ...now } = m;
  const other = state.replay?.trace !== now.trace;
  const wentBack = !other && now.at_s < (state.replay?.at_s ?? 0) - 0.001;
  return { ...state, replay: now, replayed: other || wentBack ? emptyChannel() : state.replayed };
}

/**
 * Back to the engine.
 * @param {State} state
 * @returns {State}
 */
export const leaveReplay = (state) => (state.replay ? { ...state, replay: null, replayed: emptyChannel() } : state);

/**
 * @param {Channel} c
 * @param {any} m
 * @returns {Channel}
 */
function follow(c, m) {
  switch (m.type) {
    case "state": {
      const { type: _, replay: __, ...position } = m;
      const held = c.held && Math.abs(position.to_go_nm) <= movedOn && position.state !== "nose" && position.state !== "heel";
      return { ...c, position, held };
    }
    case "cue": {
      const { type: _, replay: __, ...cue } = m;
      return { ...c, cue, held: cue.kind === "at-half" ? true : cue.kind === "past-half" || cue.kind === "taken-back" ? false : c.held };
    }
    case "opening": return { ...c, openings: [...c.openings, m.opening] };
    case "fault": return { ...c, faults: [...c.faults, m.fault].slice(-200) };
    case "agreement": {
      const { type: _, replay: __, ...agreement } = m;
      return { ...c, agreement };
    }
    case "noted": return c.trace?.id === m.trace ? { ...c, noted: m.noted } : c;
    case "left-out": return c.trace?.id === m.trace ? { ...c, leftOut: m.left_out } : c;
    case "findings": return m.trace <= c.passed ? c : { ...c, findings: m.findings, findingsOf: m.trace };
    case "trace": {
      const { type: _, replay: __, ...trace } = m;
      if (!c.trace) return { ...c, trace };
      // Told apart by when they began: one that the disk refuses has no number
      // yet, and one that had to wait may be kept after the next began.
      const began = trace.t0_us ?? 0, other = began - (c.trace.t0_us ?? 0);
      if (other < 0) return c;
      return other > 0 || (c.trace.id && c.trace.id !== trace.id) ? { ...c, trace, openings: [], leftOut: [], noted: [], marks: [], agreement: null, faults: [] } : { ...c, trace };
    }
    default: return c;
  }
}

/**
 * A store: one value, and those who want to know when it changes.
 * @template T
 * @param {T} initial
 */
export function createStore(initial) {
  let value = initial;
  /** @type {Set<(value: T) => void>} */
  const listeners = new Set();
  return {
    get: () => value,
    /** @param {T} next */
    set(next) {
      if (next === value) return;
      value = next;
      for (const tell of [...listeners]) tell(value);
    },
    /** @param {(value: T) => void} tell @returns {() => void} the way out */
    subscribe(tell) {
      listeners.add(tell);
      return () => void listeners.delete(tell);
    },
  };
}

/** @template T @typedef {ReturnType<typeof createStore<T>>} Store */
