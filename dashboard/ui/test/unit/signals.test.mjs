// The tone, the strip, the keys, the routes and the addresses: small pure parts.
import { test } from "node:test";
import assert from "node:assert/strict";
import { beatFor } from "../../../page/tone.js";
import { pulseFor } from "../../../page/voice.js";
import { StripBuffer } from "../../../page/strip.js";
import { taken } from "../../../page/keys.js";
import { parseRoute } from "../../../page/router.js";
import { defaultPrefs, readPrefs, writePrefs } from "../../../page/prefs.js";

const p = { t_s: 0, state: /** @type {any} */ ("opening"), lift_nm: 0, heel_nm: 0, sign: 1, nose_nm: 1e7, settled: true, half_nm: 5e6, to_go_nm: 0 };

test("the tone only ever quickens towards half lift, and stands there", () => {
  let before = Infinity;
  for (let away = 2_500_000; away > 25_400; away -= 10_000) {
    const beat = beatFor({ ...p, to_go_nm: away }, false);
    assert.ok(beat && beat.every > 0 && beat.every <= before && beat.every > beat.long, `at ${away}`);
    before = beat.every;
  }
  assert.ok((beatFor({ ...p, to_go_nm: 26_000 }, false)?.every ?? Infinity) < 80, "it runs together just before half lift");
  assert.equal(beatFor({ ...p, to_go_nm: 20_000 }, false)?.every, 0);
  assert.equal(beatFor({ ...p, to_go_nm: -90_000 }, true)?.every, 0);
});

test("too far sounds lower than not yet, and nothing sounds without a target", () => {
  assert.ok((beatFor({ ...p, to_go_nm: -100_000 }, false)?.hz ?? 0) < (beatFor({ ...p, to_go_nm: 100_000 }, false)?.hz ?? 0));
  assert.equal(beatFor({ ...p, half_nm: 0, to_go_nm: 100_000 }, false), null);
  assert.equal(beatFor({ ...p, state: "heel", to_go_nm: 100_000 }, false), null);
  assert.equal(beatFor({ ...p, to_go_nm: 9_000_000 }, false), null);
  assert.equal(beatFor(null, false), null);
});

test("a hand can tell the pulses apart", () => {
  assert.notDeepEqual(pulseFor({ type: "cue", kind: "nose" }), pulseFor({ type: "cue", kind: "at-half" }));
  const pulses = ["nose", "at-half", "past-half", "taken-back"].map((kind) => JSON.stringify(pulseFor({ type: "cue", kind })));
  assert.equal(new Set(pulses).size, 4);
  assert.equal(pulseFor({ type: "cue", kind: "heel" }), null);
  assert.equal(pulseFor({ type: "opening" }), null);
});

test("the strip keeps the newest and drops what was sent twice", () => {
  const b = new StripBuffer(4);
  b.add({ t_us: [1, 2, 3], lift_nm: [10, 20, 30] });
  b.add({ t_us: [2, 3, 4, 5, 6], lift_nm: [0, 0, 40, 50, 60], angle_udeg: [0, 0, 7, 8, 9] });
  assert.equal(b.size, 4);
  assert.deepEqual(b.newest(), { t_us: 6, lift_nm: 60, angle_udeg: 9 });
  assert.equal(b.lift[b.at(0)], 30);
});

test("a strip starts again when its time does", () => {
  const b = new StripBuffer(100);
  b.add({ t_us: [9_000_000, 9_010_000], lift_nm: [1, 2] });
  b.add({ t_us: [0, 10_000], lift_nm: [3, 4] });
  assert.equal(b.size, 2);
});

test("a spindle that stands leaves the strip as it is, whatever its last digit does", () => {
  const b = new StripBuffer(1000);
  let asked = 0;
  const deaf = b.hear(() => void asked++);
  const at = (/** @type {number} */ s, /** @type {number} */ nm) => b.add({ t_us: [s * 1e6], lift_nm: [nm] });
  at(0, 0);
  at(1, 1_000_000);
  assert.equal(asked, 2);
  for (let s = 2; s < 60; s++) at(s, 1_000_000 + (s % 2) * 12_700);
  assert.equal(asked, 3, "one second of standing is still drawn, and no more");
  at(60, 1_100_000);
  assert.equal(asked, 4, "it moved");
  deaf();
  at(61, 0);
  assert.equal(asked, 4);
});

test("columns of a strip hold the least and the greatest, above the heel and the right way up", () => {
  const b = new StripBuffer(1000);
  const t = Array.from({ length: 100 }, (_, i) => i * 10_000);
  b.add({ t_us: t, lift_nm: t.map((_, i) => 1000 - i * 10) });
  const { low, high } = b.columns(10, 1, { heel_nm: 1000, sign: -1 });
  assert.equal(high[9], 990);
  for (let i = 0; i < 10; i++) assert.ok(low[i] <= high[i], `column ${i}`);
  assert.ok(low[0] >= 0 && high[0] < low[9]);
});

test("a pedal's key acts only where the key has no other job", () => {
  const on = (/** @type {string} */ tagName) => ({ tagName, getAttribute: () => null });
  assert.equal(taken({ key: " ", target: on("BODY") }), false);
  assert.equal(taken({ key: " ", target: on("BUTTON") }), true);
  assert.equal(taken({ key: "PageDown", target: on("BUTTON") }), false);
  assert.equal(taken({ key: "u", target: on("INPUT") }), true);
  assert.equal(taken({ key: "u", target: on("BODY"), ctrlKey: true }), true);
});

test("routes", () => {
  assert.deepEqual(parseRoute("").view, "bench");
  const r = parseRoute("#/traces/12?from=3");
  assert.deepEqual([r.view, r.rest, r.query.get("from")], ["traces", ["12"], "3"]);
});

test("preferences are remembered, and a browser that forbids it only forgets", () => {
  /** @type {Record<string, string>} */
  const kept = {};
  const storage = { getItem: (/** @type {string} */ k) => kept[k] ?? null, setItem: (/** @type {string} */ k, /** @type {string} */ v) => void (kept[k] = v) };
  writePrefs(storage, { ...defaultPrefs(), tone: false });
  assert.equal(readPrefs(storage).tone, false);
  assert.equal(readPrefs(storage).keys[" "], "mark");
  const forbids = { getItem() { throw new Error("forbidden"); }, setItem() { throw new Error("forbidden"); } };
  assert.deepEqual(readPrefs(forbids), defaultPrefs());
  writePrefs(forbids, defaultPrefs());
});

test("words of an address are set and read one by one", async () => {
  const { keyOf, settings, withKey } = await import("../../../page/address.js");
  const bare = "serial:/dev/ttyUSB0";
  assert.equal(withKey(bare, "baud", "9600"), "serial:/dev/ttyUSB0?baud=9600");
  assert.equal(withKey("serial:COM3?baud=9600&unit=mm", "baud", ""), "serial:COM3?unit=mm");
  assert.equal(withKey("serial:COM3?baud=9600", "baud", ""), "serial:COM3");
  assert.equal(keyOf("tcp://127.0.0.1:4001?format=auto&unit=in", "unit"), "in");
  assert.equal(keyOf(bare, "unit"), "");
  assert.equal(keyOf("x?my_unit=mm", "unit"), "");
  for (const value of ["?\\r", "a&b", "100%"]) assert.equal(keyOf(withKey(bare, "poll", value), "poll"), value);
  for (const all of Object.values(settings)) assert.equal(new Set(all.map((s) => s.key)).size, all.length);
});
