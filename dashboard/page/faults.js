// Every fault that can be found in a turn: its name, what it means, whether the
// figures hold all the same, and what to do. This table is the only one: the
// bench, the traces, the help and the manual's list are made of it, and a test
// holds it against the schema of the findings, so that no kind can be missing.

import { fromMm } from "./units.js";

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
    means: "Somebody pressed the unit button while the engine was turned, or a sleeve did; or the readings are in another unit than they are read in.",
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
  misread: {
    title: "Readings that no valve can give",
    means: "A figure came that the ones before and after it contradict: a digit lost on the way, a loose plug, a spark nearby.",
    figures: "Such readings are left out and counted. The figures hold; where one could not be told, the ± holds it.",
    steps: [
      "Push the plugs home, and lay the cable away from ignition leads and chargers.",
      "If it comes often, change the cable or the battery.",
      "If every figure is far off, look at the unit and the address: it may be another device.",
    ],
  },
  frozen: {
    title: "Indicator repeated itself",
    means: "The indicator showed the same figure for a while although the valve moved, then caught up with a jump.",
    figures: "The repeated readings are left out. A nose that fell into them may be missing: the ± holds what is not known.",
    steps: [
      "Turn the opening again that was hit.",
      "Look for a weak battery, or an indicator that saves power between readings.",
    ],
  },
  "slow-gauge": {
    title: "Lift comes late",
    means: "The indicator averages its figure, or its port is slower than the encoder's: lift lags behind the crank.",
    figures: "Half-lift angles are mended for it. A nose that was passed fast reads a little low: it is in the ±.",
    steps: [
      "Turn slowly over the nose.",
      "Switch averaging off on the indicator, if it can be.",
      "Prove the indicator (Devices): then its lag is known.",
    ],
  },
  "late-port": {
    title: "Crank angle comes late",
    means: "The encoder's port is slower than the indicator's: the angle lags behind the lift.",
    figures: "Half-lift angles are mended for it. Lift is right.",
    steps: [
      "Measure the delay of the two ports once (Devices).",
      "Or turn slowly: the lag counts for less.",
    ],
  },
  "encoder-slip": {
    title: "Encoder slipped",
    means: "The lobe's flanks no longer lie where they lay, or two noses are not two turns of the crank apart.",
    figures: "Lift is right. Angles from before and after the slip do not belong together.",
    steps: [
      "Tighten the coupling and the encoder's arm.",
      "Find top dead centre again, then turn again.",
    ],
  },
  "encoder-counts": {
    title: "Encoder's counts a turn are wrong",
    means: "From nose to nose the engine turns 720 degrees; the encoder says something else each time.",
    figures: "Lift is right. All angles are too large or too small by the share that is said.",
    steps: [
      "Look up the encoder's counts a turn (four edges a line) and set counts= in its address.",
      "If it sits on the cam, say on=cam.",
      "If the share is small and changes, counts are lost: look at its wires and its speed.",
    ],
  },
  "heel-runout": {
    title: "Heel runs out",
    means: "With the valve shut the reading goes up and down as the engine turns: the base circle or the cam's bearings run out.",
    figures: "Lash and max lift depend on where on the heel they are taken. The ± holds it.",
    steps: [
      "Set lash where the maker says, always at the same place.",
      "Look at the cam's bearings and the lobe. How much is allowed, the maker says.",
    ],
  },
  bleeding: {
    title: "Lifter bleeds down",
    means: "The valve sinks while it is held open: oil leaves a hydraulic lifter.",
    figures: "Max lift is too small by what it sinks until the nose, half lift and the closing flank too. The ± holds about that much.",
    steps: [
      "Use a solid lifter, or a checking spring, for the mock-up.",
      "Or pump the lifter up and turn without pausing.",
    ],
  },
  sticking: {
    title: "Spindle sticks",
    means: "The indicator's spindle comes home to another figure than the one it left, now here, now there.",
    figures: "A nose reads low by as much as it sticks, and the heel high. The ± holds it.",
    steps: [
      "Wipe the spindle dry and clean. Never oil it.",
      "Set the indicator in line with the valve, so that nothing pushes it sideways.",
      "Prove the indicator (Devices): then its stickiness is known.",
    ],
  },
  knock: {
    title: "Stand was knocked",
    means: "With the valve shut the reading swung out and came back, or it ran back on a flank while the crank went on: something hit the stand, the head or the bar, or slipped there.",
    figures: "What swung is left out where it shows. An opening that was hit may be off: turn it again.",
    steps: [
      "Keep bar and sleeves clear of the stand.",
      "Turn the opening again that was hit.",
    ],
  },
  "not-counted": {
    title: "An opening that does not count",
    means: "The reading left the heel, or should have, and no opening could be made of it: the tip came off the valve, something slipped far, readings are missing, or the unit was changed.",
    figures: "This opening is in no figure, and those behind it may be missing too. The openings that are listed hold.",
    steps: [
      "Look at the trace at the time that is named.",
      "See that the tip stands on the retainer at full lift and on the heel, and that base and arm are tight.",
      "See that the indicator shows the unit that it is read in.",
      "Turn this valve again.",
    ],
  },
  "no-repeat": {
    title: "Openings do not repeat",
    means: "One opening's max lift differs from the others' by more than readings, hand and heel explain: something slipped, was knocked or was misread. Or what counts as one went far too quickly for a hand at the crank, or lies elsewhere on it: somebody lifted the spindle.",
    figures: "The ± holds the difference. Which opening is the right one nobody knows until it is turned again.",
    steps: [
      "Turn the valve twice more without touching the indicator.",
      "Leave out the opening that does not agree, with the reason.",
      "If they still differ: check base, tip, lash, and a lifter that bleeds down.",
    ],
  },
  "part-turn": {
    title: "Part of an opening",
    means: "The trace holds no passage from valve shut to valve shut again, or it begins or ends while the valve is open.",
    figures: "What was not turned through to the end gives no max lift. Openings before it count, and what was read is saved.",
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

/**
 * What the daemon says of a fault, its lengths in the person's unit. One of an earlier
 * version has them in both, as text.
 * @param {import("./state.js").Fault} fault
 * @param {(nm: number) => string} print a length
 */
export function faultWords(fault, print) {
  if (fault.sentence === undefined) return fault.says;
  const lengths = fault.lengths_mm ?? [];
  return fault.sentence.split("{}").map((part, i) => (i === 0 ? part : print(fromMm(lengths[i - 1])) + part)).join("");
}
