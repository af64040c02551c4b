// What this browser remembers: which calls are muted, which keys a pedal types,
// what was already shown. It belongs to the phone or laptop, not to the engine,
// so it stays here and not with the daemon.

/** @typedef {"mark"|"next"|"scratch"|"step"|"nothing"} KeyAction */

/**
 * @typedef {object} Prefs
 * @property {boolean} tone
 * @property {boolean} speech
 * @property {boolean} vibration
 * @property {boolean} awake keep the screen on
 * @property {boolean} round when a valve's openings agree, the bench goes on to the next by itself
 * @property {number} rests for how long it rests on its heel before, in seconds
 * @property {Record<string, KeyAction>} keys what a key that a pedal types does
 * @property {number} tour how far the look at the demo has come; below zero when it is closed
 * @property {boolean} cautioned the cautions were read once
 * @property {boolean} ended the first set-up was gone through
 */

/** @returns {Prefs} */
export const defaultPrefs = () => ({
  tone: true,
  speech: true,
  vibration: true,
  awake: true,
  round: false,
  rests: 10,
  keys: { " ": "mark", PageDown: "mark", Enter: "mark", ArrowRight: "next", ArrowLeft: "scratch" },
  tour: 0,
  cautioned: false,
  ended: false,
});

const place = "lobescribe";

/**
 * The remembered values over the defaults. A browser that forbids storage
 * simply forgets.
 * @param {Pick<Storage, "getItem">} storage
 * @returns {Prefs}
 */
export function readPrefs(storage) {
  try {
    const kept = JSON.parse(storage.getItem(place) ?? "{}");
    const all = defaultPrefs();
    return { ...all, ...kept, keys: { ...all.keys, ...kept.keys } };
  } catch {
    return defaultPrefs();
  }
}

/**
 * @param {Pick<Storage, "setItem">} storage
 * @param {Prefs} prefs
 */
export function writePrefs(storage, prefs) {
  try {
    storage.setItem(place, JSON.stringify(prefs));
  } catch {
    // Nothing to be done and nothing lost but comfort.
  }
}
