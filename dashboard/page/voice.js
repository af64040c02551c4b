// The spoken calls. A call that comes while another is still being said takes
// its place: at the wrench only the newest is true.

/**
 * @param {{synth?: SpeechSynthesis, make?: (text: string) => SpeechSynthesisUtterance}} [options]
 */
export function createVoice({ synth = globalThis.speechSynthesis, make = (text) => new SpeechSynthesisUtterance(text) } = {}) {
  let on = true;
  return {
    /** Whether this browser can speak at all. */
    able: Boolean(synth),
    /** @param {boolean} yes */
    enable(yes) {
      on = yes;
      if (!on) synth?.cancel();
    },
    /** @param {string} text */
    say(text) {
      if (!on || !synth || text === "") return;
      synth.cancel();
      const words = make(text);
      words.lang = "en";
      words.rate = 1.05;
      synth.speak(words);
    },
  };
}

/** @typedef {ReturnType<typeof createVoice>} Voice */

/**
 * The pulse a phone gives for a cue, or null: short at the nose, long at half
 * lift, two long ones when a call is taken back, so that a hand can tell them apart.
 * @param {any} m
 * @returns {number[]|null}
 */
export function pulseFor(m) {
  if (m.type !== "cue") return null;
  if (m.kind === "at-half") return [350];
  if (m.kind === "nose") return [80, 60, 80];
  if (m.kind === "past-half") return [60, 40, 60, 40, 60];
  if (m.kind === "taken-back") return [200, 100, 200];
  return null;
}
