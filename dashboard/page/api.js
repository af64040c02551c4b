// The daemon's HTTP API. Errors come out in the user's words: what was wrong
// and what to do, as the daemon wrote it, or that the daemon did not answer.

/** An answer that was no success. */
export class ApiError extends Error {
  /**
   * @param {string} message
   * @param {number} status 0 when there was no answer
   * @param {string} [field] of the request that was wrong
   * @param {any} [table] what a file looked like whose columns nobody could tell
   */
  constructor(message, status, field, table) {
    super(message);
    this.status = status;
    this.field = field;
    this.table = table;
  }
}

const keyNeeded = "This page needs the key of this daemon: open it by the link or the code that was shown when it was started.";

/**
 * An error of the daemon for a person: field names of the wire become words
 * ("adjuster_below_valve_mm: is missing" -> "adjuster below valve is missing").
 * @param {string} text
 */
export const plainly = (text) => text
  .replace(/\b(?:[A-Za-z_]+(?:\[\d+\])?\.)*([A-Za-z]+(?:_[a-z0-9]+)*)_(?:mm|deg|n|k|s)\b:?/g, (_, name) => name.replaceAll("_", " "))
  .replace(/^([a-z])/, (first) => first.toUpperCase());

/** @param {{base?: string, fetch?: typeof fetch}} [options] */
export function createApi({ base = "/api/v1", fetch: ask = (...a) => fetch(...a) } = {}) {
  /**
   * @param {string} method
   * @param {string} path
   * @param {unknown} [body] sent as JSON; a string, a Blob or bytes go as they are
   * @param {AbortSignal} [signal]
   * @returns {Promise<any>}
   */
  async function call(method, path, body, signal) {
    /** @type {RequestInit} */
    const init = { method, signal, headers: {} };
    if (body !== undefined) {
      const raw = typeof body === "string" || body instanceof Blob || body instanceof ArrayBuffer;
      init.body = raw ? /** @type {BodyInit} */ (body) : JSON.stringify(body);
      init.headers = { "Content-Type": raw ? "text/plain" : "application/json" };
    }
    /** @type {Response} */
    let answer;
    try {
      answer = await ask(base + path, init);
    } catch (err) {
      if (signal?.aborted) throw err;
      throw new ApiError("Lobescribe does not answer. It may have been stopped: start it again; this page comes back by itself.", 0);
    }
    const text = await answer.text();
    /** @type {any} */
    let value = null;
    try {
      value = text === "" ? null : JSON.parse(text);
    } catch {
      value = null;
    }
    if (answer.ok) return value;
    if (value?.error) throw new ApiError(plainly(value.error), answer.status, value.field, value.table);
    if (answer.status === 401) throw new ApiError(keyNeeded, 401);
    throw new ApiError(`${method} ${path} was refused (${answer.status}).`, answer.status);
  }
  return {
    call,
    base,
    /** @param {string} path @param {AbortSignal} [signal] */
    get: (path, signal) => call("GET", path, undefined, signal),
    /** @param {string} path @param {unknown} [body] */
    post: (path, body) => call("POST", path, body),
    /** @param {string} path @param {unknown} body */
    put: (path, body) => call("PUT", path, body),
    /** @param {string} path @param {unknown} body */
    patch: (path, body) => call("PATCH", path, body),
    /** @param {string} path */
    del: (path) => call("DELETE", path),
  };
}

/** @typedef {ReturnType<typeof createApi>} Api */

/**
 * The query of an address, without what is empty.
 * @param {Record<string, string|number|undefined|null>} values
 */
export function query(values) {
  const q = new URLSearchParams();
  for (const [name, value] of Object.entries(values)) if (value !== undefined && value !== null && value !== "") q.set(name, String(value));
  const text = q.toString();
  return text === "" ? "" : `?${text}`;
}
