// The tone that quickens towards half lift, so that both eyes can stay on the
// metal. Far away it ticks once a second, near it runs together, and at half
// lift it stands. Past half lift it drops by a fifth, so that "too far" sounds
// different from "not yet".

/**
 * @typedef {object} Beat
 * @property {number} hz pitch
 * @property {number} every milliseconds from one beep to the next; 0 stands still
 * @property {number} long milliseconds of one beep
 */

/** From this far the tone begins: 0.100 in, one turn of the needle. */
const reach = 2_540_000;
/** Here it stands: 0.001 in. */
const there = 25_400;

/**
 * What is to be heard at a position, or null for silence.
 * @param {import("./state.js").Position|null} p
 * @param {boolean} held half lift was called and the valve stands there
 * @returns {Beat|null}
 */
export function beatFor(p, held) {
  if (!p || p.half_nm === 0 || (p.state !== "opening" && p.state !== "closing")) return null;
  const away = Math.abs(p.to_go_nm);
  if (held || away <= there) return { hz: 880, every: 0, long: 0 };
  if (p.to_go_nm < 0) return away < reach / 4 ? { hz: 440, every: 320, long: 120 } : null;
  if (away >= reach) return null;
  // Even steps for the ear: the logarithm of what is left.
  const part = Math.log(away / there) / Math.log(reach / there);
  return { hz: 660, every: Math.round(70 + 830 * part), long: Math.round(45 + 35 * part) };
}

/**
 * The sound itself. A browser lets it begin only after a touch or a key, so
 * start() is called from one.
 */
export function createTone() {
  /** @type {AudioContext|null} */
  let audio = null;
  /** @type {GainNode|null} */
  let gain = null;
  /** @type {OscillatorNode|null} */
  let voice = null;
  /** @type {Beat|null} */
  let beat = null;
  let on = true;
  /** @type {ReturnType<typeof setTimeout>|undefined} */
  let timer;

  function level(/** @type {number} */ to) {
    if (!audio || !gain) return;
    gain.gain.cancelScheduledValues(audio.currentTime);
    gain.gain.setTargetAtTime(to, audio.currentTime, 0.006);
  }

  function step() {
    timer = undefined;
    if (!audio || !voice || !beat || !on) {
      level(0);
      return;
    }
    voice.frequency.setValueAtTime(beat.hz, audio.currentTime);
    level(0.22);
    if (beat.every === 0) {
      timer = setTimeout(step, 100);
      return;
    }
    const { every, long } = beat;
    timer = setTimeout(() => {
      level(0);
      timer = setTimeout(step, Math.max(15, every - long));
    }, long);
  }

  return {
    /** @returns {boolean} whether sound can be heard now */
    ready: () => audio?.state === "running",
    start() {
      if (!audio) {
        if (typeof AudioContext === "undefined") return;
        audio = new AudioContext();
        gain = audio.createGain();
        gain.gain.value = 0;
        gain.connect(audio.destination);
        voice = audio.createOscillator();
        voice.type = "triangle";
        voice.connect(gain);
        voice.start();
      }
      if (audio.state === "suspended") void audio.resume();
    },
    /** @param {Beat|null} next */
    play(next) {
      const was = beat?.hz;
      beat = next;
      if (!beat || beat.hz === was) return;
      // Another pitch has another meaning: it does not wait for the pause of the last beep.
      clearTimeout(timer);
      step();
    },
    /** @param {boolean} yes */
    enable(yes) {
      on = yes;
      if (!on) level(0);
      else if (beat && timer === undefined) step();
    },
  };
}

/** @typedef {ReturnType<typeof createTone>} Tone */
