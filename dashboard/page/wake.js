// Keeps the screen on while the bench is shown. Browsers allow it only in a
// secure context (loopback counts, a plain address in the local network does
// not), so whether it holds is told to whoever shows it.

/** @param {(held: boolean) => void} tell */
export function createWake(tell) {
  /** @type {WakeLockSentinel|null} */
  let lock = null;
  let wanted = false;

  async function take() {
    if (!wanted || lock || document.visibilityState !== "visible" || !("wakeLock" in navigator)) return;
    try {
      const got = await navigator.wakeLock.request("screen");
      if (!wanted) {
        await got.release();
        return;
      }
      lock = got;
      tell(true);
      got.addEventListener("release", () => {
        lock = null;
        tell(false);
      });
    } catch {
      tell(false); // low battery, or the browser's settings
    }
  }
  document.addEventListener("visibilitychange", () => void take());

  return {
    able: "wakeLock" in navigator,
    /** @param {boolean} yes */
    want(yes) {
      wanted = yes;
      if (yes) void take();
      else void lock?.release();
    },
  };
}

/** @typedef {ReturnType<typeof createWake>} Wake */
