// What is typed and not saved yet: kept leaf by leaf, laid over what is stored.
import { test } from "node:test";
import assert from "node:assert/strict";
import { changed, changes, Clash, saveOver, since } from "../../../page/draft.js";
import { goesOn } from "../../../page/kept.js";

const stored = { name: "V8", cam_card: { io: 12 }, limits: {}, order: ["1I", "1E"], tdc: undefined };

test("what was typed comes back over what is stored, and nothing else", () => {
  for (const next of [
    { ...stored, name: "V8 second" },
    { ...stored, cam_card: { io: 12.5, ic: 48 } },
    { ...stored, cam_card: {} },
    { ...stored, limits: { coil_bind_mm: 1.5 } },
    { ...stored, order: ["1E"] },
    { ...stored, tdc: { angle_deg: 3.25, method: "typed" } },
    { name: "V8" },
  ]) {
    const kept = JSON.parse(JSON.stringify(changes(stored, next))); // as the browser keeps it
    assert.deepEqual(JSON.parse(JSON.stringify(changed(stored, kept))), JSON.parse(JSON.stringify(next)));
  }
  assert.deepEqual(changes(stored, structuredClone(stored)), [], "opening a form changes nothing");
});

test("a field that somebody else saved meanwhile stays as they saved it", () => {
  const mine = changes(stored, { ...stored, cam_card: { io: 14 } });
  const theirs = { ...stored, name: "V8 of the other bench", cam_card: { io: 12, ec: 9 } };
  assert.deepEqual(changed(theirs, mine), { ...theirs, cam_card: { io: 14, ec: 9 } });
});

test("changes are small: one leaf for one field", () => {
  assert.deepEqual(changes(stored, { ...stored, cam_card: { io: 14 } }), [{ at: ["cam_card", "io"], was: 12, now: 14 }]);
});

test("two who save one document: both are kept, or the second is told", async () => {
  const conflict = Object.assign(new Error("somebody changed it"), { status: 409 });
  const bench = (/** @type {any} */ now) => {
    const held = { now, shown: /** @type {any} */ (null) };
    return { held, save: (/** @type {any} */ value) => saveOver({ stored: { ...stored, rev: 1 }, value, get: async () => held.now, put: async (next, over) => {
      if (over.rev !== held.now.rev) throw conflict;
      return (held.now = { ...next, rev: held.now.rev + 1 });
    }, renew: (there) => { held.shown = there; } }) };
  };
  const beside = bench({ ...stored, cam_card: { io: 12, ec: 9 }, rev: 2 });
  await beside.save({ ...stored, rev: 1, name: "mine" });
  assert.deepEqual(beside.held.now, { ...stored, cam_card: { io: 12, ec: 9 }, name: "mine", rev: 3 });
  const same = bench({ ...stored, name: "theirs", rev: 2 });
  await assert.rejects(same.save({ ...stored, rev: 1, name: "mine" }), Clash);
  assert.equal(same.held.now.name, "theirs");
  assert.equal(same.held.shown.name, "theirs", "what is stored now stands under what was typed");
});

test("what was typed while it was being saved is not saved with it, and stays", () => {
  const sent = { ...stored, name: "V8 second", cam_card: { io: 14 } };
  const typed = changes(stored, { ...sent, name: "V8 third", limits: { coil_bind_mm: 1.5 } });
  assert.deepEqual(since(typed, sent), [{ at: ["name"], was: "V8 second", now: "V8 third" }, { at: ["limits", "coil_bind_mm"], was: undefined, now: 1.5 }]);
  assert.deepEqual(changed(sent, since(typed, sent)), { ...sent, name: "V8 third", limits: { coil_bind_mm: 1.5 } });
  assert.deepEqual(since(changes(stored, sent), sent), []);
});

test("another tab's writing that comes late wipes nothing", () => {
  const typed = changes(stored, { ...stored, name: "two" });
  assert.equal(goesOn(JSON.stringify(typed), typed), true, "it saved what stands here");
  assert.equal(goesOn(null, null), true, "it began to type");
  assert.equal(goesOn(JSON.stringify(changes(stored, { ...stored, name: "one" })), typed), false, "it saved what stood here before");
  assert.equal(goesOn(null, typed), false);
});
