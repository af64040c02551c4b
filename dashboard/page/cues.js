// The one sentence that says what to do next, and the words of every state. It
// is pure: a state in, words out, so that each case is a line in a test.

import { faultWords } from "./faults.js";
import { farLength, length, spoken, spokenFigure } from "./units.js";
import { agreedWords } from "./round.js";
import { shown } from "./state.js";

/** @typedef {import("./units.js").Unit} Unit */
/** @typedef {import("./state.js").State} State */
/** @typedef {import("./state.js").Channel} Channel */
/** @typedef {import("./state.js").Device} Device */

/**
 * What to show beside the sentence: nothing special, the way to half lift, half
 * lift itself, the nose, or something that must be put right first.
 * @typedef {"rest"|"towards"|"half"|"nose"|"problem"} Mood
 *
 * @typedef {object} Next
 * @property {string} says the sentence
 * @property {Mood} mood
 * @property {{label: string, href: string}} [link] where the next step is done
 */

/** Within this of half lift the rocker can be judged: 0.001 in. */
const closeEnough = 25_400;

/**
 * @param {State} state
 * @returns {Next}
 */
export function nextStep(state) {
  if (state.link === "lost") return { says: "Lobescribe does not answer. Trying again; what is on the screen stays.", mood: "problem" };
  if (state.link === "connecting") return { says: "Reaching Lobescribe.", mood: "rest" };
  if (state.replay) return turning(shown(state), state.unit);
  const indicator = state.devices.indicator;
  if (!indicator && state.devices.sweep) return { says: "The gauge across the stem is read, no lift. Turn the engine over one opening.", mood: "rest", link: { label: "Its answer", href: "#/trials" } };
  if (!indicator) return { says: "Choose the indicator's port.", mood: "problem", link: { label: "Choose", href: "#/devices" } };
  const trouble = deviceTrouble(indicator);
  if (trouble) return trouble;
  const encoder = state.devices.encoder;
  if (encoder && encoder.state === "lost") return { says: `The encoder is lost. ${encoder.says || "Check its cable."}`, mood: "problem", link: { label: "Devices", href: "#/devices" } };
  if (state.engine.trace?.state === "failed") return { says: `The turn is not being saved: ${state.engine.trace.says || "writing to disk failed"}.`, mood: "problem" };
  return turning(state.engine, state.unit, agreedWords(state));
}

/**
 * @param {Device} indicator
 * @returns {Next|null}
 */
function deviceTrouble(indicator) {
  const link = { label: "Devices", href: "#/devices" };
  switch (indicator.state) {
    case "lost": return { says: `The indicator is lost. ${indicator.says || "Check its cable; it comes back by itself."}`, mood: "problem", link };
    case "connecting": return { says: indicator.says || "Opening the indicator.", mood: "rest", link };
    case "silent": return { says: `The indicator says nothing${indicator.age_s ? ` for ${Math.round(indicator.age_s)} s` : ""}. Is it switched on, is its send key pressed?`, mood: "problem", link };
    default: return null;
  }
}

/**
 * @param {Channel} c
 * @param {Unit} unit
 * @param {string} [agreed] that the openings agree and what is next; "" while they do not
 * @returns {Next}
 */
function turning(c, unit, agreed = "") {
  const p = c.position;
  if (!p) return { says: "Turn the engine by hand, the way it runs.", mood: "rest" };
  if (p.sign === 0) return { says: "Turn on until the valve opens: that shows which way the spindle runs.", mood: "rest" };
  const first = p.half_nm === 0;
  if (c.cue?.kind === "taken-back") return { says: takenBack(c.cue, unit), mood: "problem" };
  switch (p.state) {
    case "heel":
      if (c.openings.length > 0 || p.nose_nm > 0) return { says: agreed ? `Heel. ${agreed}` : `Heel. Max lift ${length(p.nose_nm, unit)}. ${after(c.agreement)}`, mood: "rest" };
      return { says: "On the heel. Turn one whole opening, to find max lift.", mood: "rest" };
    case "nose":
      if (first) return { says: "Nose. Turn on to the heel, to know max lift.", mood: "nose" };
      return { says: `Nose at ${length(p.nose_nm, unit)}. Turn on to half lift.`, mood: "nose" };
    case "opening":
      if (p.fallen_nm) return { says: `Down ${length(p.fallen_nm, unit)}: the nose, or turned back? Turn on.`, mood: "rest" };
      if (first) return { says: "Opening. Keep turning to the nose.", mood: "rest" };
      return onFlank(c, unit, "Turn on to the nose.");
    case "closing":
      if (first) return { says: "Past the nose. Turn on to the heel; the next opening has half lift.", mood: "rest" };
      return onFlank(c, unit, "Turn on to the heel.");
  }
}

/**
 * What comes after an opening, by whether those so far agree.
 * @param {import("./agreement.js").Agreement|null} a
 */
function after(a) {
  if (!a || a.count === 0) return "Turn again, or next valve.";
  if (a.count === 1) return "Turn again, to see whether it agrees.";
  return a.agree ? `${a.count} openings agree: next valve.` : "The openings do not agree: turn again.";
}

/**
 * @param {Channel} c
 * @param {Unit} unit
 * @param {string} beyond what comes after half lift on this flank
 * @returns {Next}
 */
function onFlank(c, unit, beyond) {
  const p = c.position;
  if (!p) return { says: "", mood: "rest" };
  if (p.doubtful && (c.held || Math.abs(p.to_go_nm) <= closeEnough)) return { says: "Half of a max lift that is in doubt: its ± is wide, or a fault stands. Put that right, then judge the rocker.", mood: "problem" };
  if (c.held || Math.abs(p.to_go_nm) <= closeEnough) return { says: "Half lift. Hold: judge the rocker now.", mood: "half" };
  const half = p.doubtful ? "half lift, in doubt" : "half lift";
  if (p.to_go_nm > 0) return { says: `Keep turning, ${farLength(p.to_go_nm, unit)} to ${half}.`, mood: "towards" };
  if (-p.to_go_nm > 0.2 * p.half_nm) return { says: `Past half lift. ${beyond}`, mood: "rest" };
  return { says: `${p.doubtful ? "Half lift, in doubt," : "Half lift"} is ${farLength(-p.to_go_nm, unit)} behind. ${beyond}`, mood: "rest" };
}

/**
 * A call that turned out false, in words. It stays until the next call.
 * @param {import("./state.js").Cue} cue
 * @param {Unit} unit
 */
function takenBack(cue, unit) {
  if (cue.of === "nose") return `Correction: ${length(cue.lift_nm, unit)} was not the nose. Turn on.`;
  return `Correction: ${length(cue.lift_nm, unit)} was not half lift. Judge the rocker again.`;
}

/**
 * What is called out for a message, or "" when nothing is. A nose whose lift is
 * doubtful is called without a figure, and a half lift that is, as such.
 * @param {any} m
 * @param {Unit} unit
 */
export function call(m, unit) {
  if (m.type === "opening") return `Max lift ${spokenFigure(m.opening.max_lift_mm * 1e6, unit)}`;
  if (m.type === "fault") return m.fault.kind === "back-turn" ? "" : firstSentence(faultWords(m.fault, (nm) => spoken(nm, unit)));
  if (m.type !== "cue") return "";
  switch (m.kind) {
    case "nose": return m.doubtful ? "Nose" : `Nose, ${spokenFigure(m.lift_nm, unit)}`;
    case "taken-back": return m.of === "nose" ? "Not the nose. Turn on." : "That was not half lift.";
    case "at-half": return m.doubtful ? "Half lift, in doubt." : "Half lift. Hold.";
    case "past-half": return m.doubtful ? "" : `Past half lift by ${spoken(Math.abs(m.to_go_nm), unit)}`;
    default: return "";
  }
}

/** @param {string} text */
const firstSentence = (text) => text.split(/(?<=\.)\s/)[0];

/**
 * The words and the shape of a link's state. The shape is there so that colour
 * is never the only sign.
 * @typedef {{word: string, shape: "disc"|"square"|"ring"|"triangle"|"cross"|"bars", kind: "good"|"wait"|"bad"|"replay"}} LinkWords
 */

/**
 * @param {Device|undefined} device
 * @returns {LinkWords}
 */
export function deviceWords(device) {
  if (!device) return { word: "none chosen", shape: "ring", kind: "wait" };
  switch (device.state) {
    case "live":
      if (device.detail === "standing-still") return { word: "standing still", shape: "square", kind: "good" };
      if (device.detail === "stalled") return { word: "stalled", shape: "triangle", kind: "bad" };
      if (device.detail === "settling") return { word: "settling", shape: "ring", kind: "wait" };
      return { word: device.rate_hz ? `live ${Math.round(device.rate_hz)}/s` : "live", shape: "disc", kind: "good" };
    case "connecting": return { word: "opening", shape: "ring", kind: "wait" };
    case "silent": return { word: device.age_s ? `silent ${Math.round(device.age_s)} s` : "silent", shape: "triangle", kind: "bad" };
    default: return { word: "lost", shape: "cross", kind: "bad" };
  }
}

/**
 * How long ago a device was last heard. Without the daemon nobody knows.
 * @param {import("./state.js").Device} device
 * @param {boolean} up whether the daemon answers
 */
export function heardWords(device, up) {
  if (!up) return "not known: Lobescribe does not answer";
  if (device.age_s === undefined || (device.age_s === 0 && !device.rate_hz && device.state !== "live")) return "none yet";
  return `${device.age_s.toFixed(1)} s ago`;
}

/**
 * Lines that gave no reading, by kind: "3 not a number, 1 jump".
 * @param {Record<string, number>|undefined} refused
 */
export const refusedWords = (refused) => Object.entries(refused ?? {}).filter(([, n]) => n > 0)
  .sort(([, a], [, b]) => b - a).map(([kind, n]) => `${n.toLocaleString("en")} ${kind}`).join(", ") || "none";

/**
 * The link as a whole: the daemon first, then the indicator.
 * @param {State} state
 * @returns {LinkWords}
 */
export function linkWords(state) {
  if (state.link === "lost") return { word: "no answer", shape: "cross", kind: "bad" };
  if (state.link === "connecting") return { word: "reaching", shape: "ring", kind: "wait" };
  if (state.shop === "record") return { word: "the shop's record", shape: "square", kind: "wait" };
  if (state.replay) return { word: "replay", shape: "bars", kind: "replay" };
  return deviceWords(state.devices.indicator);
}

/** @type {Record<string, string>} */
export const stateWords = { heel: "heel", opening: "opening flank", nose: "nose", closing: "closing flank" };

export { valveWords } from "./valve.js";
