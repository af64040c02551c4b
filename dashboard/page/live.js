// The live socket, and its repair. A dead link must never look alive: if the
// daemon says nothing for a second it is asked over HTTP, and if it does not
// answer the link is called lost, within two seconds in all. Then the socket is
// opened again and again, sooner rather than later, until it holds.

/** How long silence is borne before the daemon is asked, in milliseconds. */
const silence = 1100; // the daemon says "alive" every second
/** How long an answer or the first opening may take. */
const patience = 850;
/** How long an opening may take at most: a weak network or a slow phone gets more time with each attempt. */
const mostPatience = 7000;
/** The waits between attempts; the last one repeats. */
const waits = [150, 300, 600, 1000, 1500];

/**
 * What the page's own address asks of the socket: a page opened as
 * /?delay=lowest gets each reading at once, not in batches.
 * @param {string} search of the page
 */
export const lowestDelay = (search) => (new URLSearchParams(search).get("delay") === "lowest" ? "?delay=lowest" : "");

/**
 * @typedef {object} LiveOptions
 * @property {string} url of the socket
 * @property {(message: any) => void} onMessage
 * @property {(link: "connecting"|"up"|"lost") => void} onLink
 * @property {() => Promise<unknown>} ask asks the daemon for anything; rejects when it is away
 * @property {(url: string) => WebSocket} [open]
 */

/** @param {LiveOptions} options */
export function createLive({ url, onMessage, onLink, ask, open = (u) => new WebSocket(u) }) {
  /** @type {WebSocket|null} */
  let socket = null;
  let attempt = 0;
  let closed = false;
  /** @type {ReturnType<typeof setTimeout>|undefined} */
  let timer;

  const after = (/** @type {number} */ ms, /** @type {() => void} */ what) => {
    clearTimeout(timer);
    timer = setTimeout(what, ms);
  };

  function connect() {
    const s = open(url);
    socket = s;
    after(Math.min(mostPatience, patience * 2 ** attempt), () => drop(s));
    s.onmessage = (event) => {
      if (socket !== s) return;
      attempt = 0;
      after(silence, () => void listenHarder(s));
      let message;
      try {
        message = JSON.parse(event.data);
      } catch {
        return; // half a message is none; the next one stands by itself
      }
      onMessage(message);
    };
    s.onclose = () => drop(s);
    s.onerror = () => drop(s);
  }

  /**
   * Nothing was said for a while. That may be right (no device is chosen), so
   * ask before raising the alarm.
   * @param {WebSocket} s
   */
  async function listenHarder(s) {
    const late = new Promise((_, reject) => setTimeout(() => reject(new Error("no answer")), patience));
    try {
      await Promise.race([ask(), late]);
      if (socket === s) after(silence, () => void listenHarder(s));
    } catch {
      drop(s);
    }
  }

  /** @param {WebSocket} s */
  function drop(s) {
    if (socket !== s || closed) return;
    socket = null;
    s.onmessage = s.onclose = s.onerror = null;
    s.close();
    onLink("lost");
    after(waits[Math.min(attempt++, waits.length - 1)], connect);
  }

  onLink("connecting");
  connect();

  return {
    /** Tries again at once, as when a sleeping phone wakes up. */
    hurry() {
      if (!socket && !closed) {
        attempt = 0;
        after(0, connect);
      }
    },
    close() {
      closed = true;
      clearTimeout(timer);
      socket?.close();
    },
  };
}
