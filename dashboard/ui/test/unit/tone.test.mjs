// The tone: what it says at a place, and that another meaning is heard at once.
import { test, mock } from "node:test";
import assert from "node:assert/strict";
import { beatFor, createTone } from "../../../page/tone.js";

const at = (/** @type {number} */ toGo) => /** @type {any} */ ({ state: "opening", half_nm: 5_600_000, to_go_nm: toGo });

test("near half lift it quickens, there it stands, behind it it drops", () => {
  assert.equal(beatFor(at(3_000_000), false), null, "far away");
  const far = beatFor(at(2_000_000), false), near = beatFor(at(50_000), false);
  assert.ok(far && near && far.hz === 660 && near.hz === 660 && near.every < far.every / 3);
  assert.deepEqual([beatFor(at(20_000), false)?.hz, beatFor(at(20_000), false)?.every], [880, 0]);
  assert.equal(beatFor(at(-100_000), false)?.hz, 440);
  assert.equal(beatFor(at(-2_000_000), false), null);
});

test("half lift is heard at once, not after the pause of the last beep", () => {
  mock.timers.enable({ apis: ["setTimeout"] });
  /** @type {number[]} */ const heard = [];
  const param = () => ({ value: 0, cancelScheduledValues() {}, setTargetAtTime() {}, setValueAtTime(/** @type {number} */ hz) { heard.push(hz); } });
  /** @type {any} */ (globalThis).AudioContext = class {
    state = "running";
    currentTime = 0;
    createGain() { return { gain: param(), connect() {} }; }
    createOscillator() { return { frequency: param(), connect() {}, start() {} }; }
  };
  try {
    const tone = createTone();
    tone.start();
    tone.play({ hz: 660, every: 900, long: 80 });
    assert.deepEqual(heard, [660]);
    mock.timers.tick(100);
    tone.play({ hz: 660, every: 500, long: 60 });
    assert.deepEqual(heard, [660], "the same meaning waits for its turn");
    tone.play({ hz: 880, every: 0, long: 0 });
    assert.deepEqual(heard, [660, 880]);
    tone.play({ hz: 440, every: 320, long: 120 });
    assert.deepEqual(heard, [660, 880, 440]);
    tone.play(null);
    mock.timers.tick(20);
    tone.play({ hz: 880, every: 0, long: 0 });
    assert.deepEqual(heard, [660, 880, 440, 880], "also after a silence shorter than the pause");
    for (let i = 0; i < 3; i++) mock.timers.tick(100);
    assert.equal(heard.filter((hz) => hz === 880).length, 5, "one voice goes on, not two");
  } finally {
    mock.timers.reset();
    delete /** @type {any} */ (globalThis).AudioContext;
  }
});
