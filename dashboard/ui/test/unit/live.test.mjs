import { test, mock } from "node:test";
import assert from "node:assert/strict";
import { createLive, lowestDelay } from "../../../page/live.js";

/** A socket whose other end the test holds. */
class FakeSocket {
  /** @type {((e: {data: string}) => void)|null} */ onmessage = null;
  /** @type {(() => void)|null} */ onclose = null;
  /** @type {(() => void)|null} */ onerror = null;
  closed = false;
  close() { this.closed = true; }
  /** @param {any} m */
  says(m) { this.onmessage?.({ data: JSON.stringify(m) }); }
}

function bench(ask = () => Promise.resolve()) {
  mock.timers.enable({ apis: ["setTimeout"] });
  /** @type {FakeSocket[]} */ const sockets = [];
  /** @type {string[]} */ const links = [];
  /** @type {any[]} */ const messages = [];
  const live = createLive({
    url: "ws://x", ask, onMessage: (m) => messages.push(m), onLink: (l) => links.push(l),
    open: () => { const s = new FakeSocket(); sockets.push(s); return /** @type {any} */ (s); },
  });
  return { live, sockets, links, messages };
}
const settle = async () => { for (let i = 0; i < 8; i++) await Promise.resolve(); };

test("a closed socket is said at once and opened again", () => {
  const { sockets, links, messages } = bench();
  sockets[0].says({ type: "hello" });
  sockets[0].onclose?.();
  assert.deepEqual(links, ["connecting", "lost"]);
  mock.timers.tick(150);
  assert.equal(sockets.length, 2);
  sockets[1].says({ type: "hello" });
  assert.equal(messages.length, 2);
  mock.timers.reset();
});

test("a link that went dead without closing is found within two seconds", async () => {
  const { sockets, links } = bench(() => new Promise(() => {}));
  sockets[0].says({ type: "hello" });
  let waited = 0;
  while (links.at(-1) !== "lost" && waited < 5000) {
    mock.timers.tick(50);
    waited += 50;
    await settle();
  }
  assert.ok(waited <= 2000, `took ${waited} ms`);
  assert.equal(sockets[0].closed, true);
  mock.timers.reset();
});

test("silence alone is no alarm while the daemon answers", async () => {
  let asked = 0;
  const { sockets, links } = bench(() => { asked++; return Promise.resolve(); });
  sockets[0].says({ type: "hello" });
  for (let i = 0; i < 100; i++) {
    mock.timers.tick(100);
    await settle();
  }
  assert.deepEqual(links, ["connecting"]);
  assert.ok(asked >= 5);
  mock.timers.reset();
});

test("half a message spoils nothing, and a late one of an old socket is not heard", () => {
  const { sockets, messages } = bench();
  sockets[0].onmessage?.({ data: '{"type":' });
  sockets[0].says({ type: "state" });
  const late = sockets[0].onmessage;
  sockets[0].onclose?.();
  late?.({ data: '{"type":"cue"}' });
  assert.deepEqual(messages, [{ type: "state" }]);
  mock.timers.reset();
});

test("attempts go on, at most a second and a half apart", () => {
  const { sockets } = bench();
  for (let i = 0; i < 12; i++) {
    sockets.at(-1)?.onclose?.();
    mock.timers.tick(1500);
    assert.equal(sockets.length, i + 2);
  }
  mock.timers.reset();
});

test("a page opened for the lowest delay asks the socket for it", () => {
  assert.equal(lowestDelay("?delay=lowest"), "?delay=lowest");
  assert.equal(lowestDelay("?a=b&delay=lowest"), "?delay=lowest");
  assert.equal(lowestDelay("?delay=other"), "");
  assert.equal(lowestDelay(""), "");
});

test("a network that takes seconds to open a socket is given them, and gets there", () => {
  const { sockets, links } = bench();
  const opens = 3000; // milliseconds from asking to the first word
  /** @type {Map<FakeSocket, number>} */ const since = new Map();
  let now = 0;
  for (; now < 20_000 && !links.includes("up"); now += 50) {
    for (const s of sockets) if (!since.has(s)) since.set(s, now);
    const open = sockets.find((s) => !s.closed && now - (since.get(s) ?? now) >= opens);
    if (open) { open.says({ type: "hello" }); break; }
    mock.timers.tick(50);
  }
  assert.ok(now < 10_000, `no word within ${now} ms`);
  mock.timers.reset();
});
