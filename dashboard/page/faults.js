// Every fault that can be found in a turn: its name, what it means, whether the
// figures hold all the same, and what to do. This table is the only one: the
// bench, the traces, the help and the README's list are made of it, and a test
// holds it against the schema of the findings, so that no kind can be missing.

/**
 * @typedef {object} FaultHelp
 * @property {string} title a few words, as they stand beside the fault
 * @property {string} means what has happened at the engine
 * @property {string} figures what it does to the figures
 * @property {readonly string[]} steps what to do, in this order
 */

/** @type {Readonly<Record<string, FaultHelp>>} */
export const faults = Object.freeze({
  "travel-end": {
    title: "Spindle at the end of its travel",
    means: "The spindle hit its stop before the valve was fully open. The nose looks flat where it should be round.",
    figures: "Max lift is too small, and so half lift is wrong too.",
    steps: [
      "Look which way the spindle runs as the valve opens: in or out.",
      "Move the indicator so that it has travel left that way at full lift.",
      "Turn again. The nose must come out round.",
    ],
  },
  "no-contact": {
    title: "Spindle hangs free at the heel",
    means: "With the valve shut the tip does not touch. The valve reaches it only on its way, so the first part of the lift is missed.",
    figures: "Max lift is too small by the part that was missed.",
    steps: [
      "Turn to the heel: valve shut, rocker loose.",
      "Push the indicator further in: about half its travel, and more than the lift.",
      "Press the tip with a finger and let go. It must come back to the same figure.",
      "Turn again.",
    ],
  },
  "zero-shift": {
    title: "The heel came back elsewhere",
    means: "The valve is shut again, but the indicator does not show what it showed before. Something slipped.",
    figures: "The openings around it may be wrong by as much as the heel moved.",
    steps: [
      "Push against the base, the arm and the joints. Nothing may give.",
      "Look at the tip: still in the same place on the retainer?",
      "Look for a lifter that bleeds down, an adjuster that turns, a lash that has changed.",
      "Tighten what moved. Turn the valve again.",
    ],
  },
  "unit-change": {
    title: "Indicator switched between inch and metric",
    means: "Somebody pressed the unit button while the engine was turned, or a sleeve did.",
    figures: "Where the indicator tells its unit, the readings were followed. Where it does not, those after the change are wrong.",
    steps: [
      "Set the unit on the indicator once, before you begin.",
      "Turn this valve again.",
      "The page shows inch or millimetre as you like, whatever the indicator sends.",
    ],
  },
  "re-zero": {
    title: "Indicator was set to zero on the way",
    means: "Somebody pressed zero while the engine was turned.",
    figures: "The opening in which it happened is only as good as the guess of how far it jumped. The others are right.",
    steps: [
      "Leave the zero button alone. The heel is found by itself, wherever zero is.",
      "Turn this valve again.",
    ],
  },
  gap: {
    title: "Link was lost for a moment",
    means: "No readings came for a while: a kicked cable, a flat battery, an indicator that went to sleep.",
    figures: "Readings before and after are right. An opening with the gap in it may be missing or less sure.",
    steps: [
      "Look at the plug, the cable and the indicator's battery.",
      "Lay the cable where no foot or wrench can catch it.",
      "If it comes again, open Devices: it says what is lost.",
      "Turn once more for the opening that was hit.",
    ],
  },
  "too-fast": {
    title: "Turned faster than the readings follow",
    means: "The valve moved far between two readings. The nose may lie between them.",
    figures: "Max lift may be too small. The fault says by how much; the ± has grown to hold it.",
    steps: [
      "Turn slowly over the nose. The rest may go faster.",
      "Or set the indicator to send more readings a second, if it can.",
    ],
  },
  "back-turn": {
    title: "Turned back",
    means: "The engine went the wrong way for a moment: the bar was changed over, or a spring pushed it back.",
    figures: "Lift is right all the same. Angles may be out by the play in chain or gears.",
    steps: [
      "For lift: nothing to do.",
      "For timing: go well back, then come up again the way the engine runs.",
    ],
  },
  "part-turn": {
    title: "No whole opening",
    means: "The trace holds no passage from valve shut to valve shut again.",
    figures: "There is no max lift. What was read is kept.",
    steps: [
      "Begin with the valve shut.",
      "Turn two full turns of the crank. Every valve opens once in them.",
      "Go on a little after it has shut.",
    ],
  },
});

/** @param {string} kind */
export const faultTitle = (kind) => faults[kind]?.title ?? kind;

/** Where the help on a kind of fault stands. @param {string} kind */
export const faultHref = (kind) => `#/help/faults/${encodeURIComponent(kind)}`;
