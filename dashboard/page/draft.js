// What is being typed, kept in the browser until it is saved or discarded: a
// reload, a knocked-over laptop or a daemon that is away must not cost sixteen
// measurements. Every form of the page keeps what is typed in it this way.
//
// Only what differs from what is stored is kept, leaf by leaf, so that a form
// survives that somebody else saves another field of the same document meanwhile.

import { useState } from "./lib/hooks.js";
import { html } from "./ui.js";

/** @param {string} name */
const place = (name) => `lobescribe.draft.${name}`;

/**
 * What was typed under a name and not yet saved, or null.
 * @param {string} name of the form and of what it belongs to
 * @returns {any}
 */
export function readDraft(name) {
  try {
    return JSON.parse(localStorage.getItem(place(name)) ?? "null");
  } catch {
    return null;
  }
}

/** @param {string} name @param {unknown} value null forgets it */
export function writeDraft(name, value) {
  try {
    if (value === null) localStorage.removeItem(place(name));
    else localStorage.setItem(place(name), JSON.stringify(value));
  } catch {
    // It is forgotten with the page, then.
  }
}

/**
 * One leaf that was typed: where it stands in the document, what stood there
 * before, and what stands there now; absent is nothing.
 * @typedef {{at: string[], was?: any, now?: any}} Change
 */

const plain = (/** @type {any} */ v) => v !== null && typeof v === "object" && !Array.isArray(v);
const same = (/** @type {any} */ a, /** @type {any} */ b) => JSON.stringify(a) === JSON.stringify(b);
const leaf = (/** @type {any} */ doc, /** @type {string[]} */ at) => at.reduce((part, name) => part?.[name], doc);

/**
 * The leaves in which two documents differ. A list is one leaf, and so is what only one of them has.
 * @param {any} was @param {any} now @param {string[]} [at]
 * @returns {Change[]}
 */
export function changes(was, now, at = []) {
  if (same(was, now)) return [];
  if (!plain(was) || !plain(now)) return [{ at, was, now }];
  return [...new Set([...Object.keys(was), ...Object.keys(now)])].flatMap((name) => changes(was[name], now[name], [...at, name]));
}

/**
 * The document with changes laid over it; nothing given is altered.
 * @template T
 * @param {T} doc @param {Change[]} all
 * @returns {T}
 */
export function changed(doc, all) {
  const put = (/** @type {any} */ part, /** @type {string[]} */ [name, ...rest], /** @type {any} */ now) => {
    const next = { ...part };
    if (rest.length) next[name] = put(next[name], rest, now);
    else if (now === undefined) delete next[name];
    else next[name] = now;
    return next;
  };
  return all.reduce((d, c) => put(d, c.at, c.now), /** @type {any} */ (doc));
}

/**
 * @template T
 * @typedef {object} Draft
 * @property {T} value what stands in the form
 * @property {(next: T) => void} set
 * @property {boolean} open something was typed that is not saved
 * @property {boolean} clash what is stored was changed elsewhere in a place that was typed in here
 * @property {() => void} done it is saved, or discarded
 */

/**
 * What stands in a form: what is stored, with what was typed over it.
 * @template T
 * @param {string} name of the form and of what it belongs to
 * @param {T} stored the document as it is kept, or an empty one
 * @returns {Draft<T>}
 */
export function useDraft(name, stored) {
  const [mine, setMine] = useState({ name, typed: /** @type {Change[]} */ (readDraft(name) ?? []) });
  const typed = mine.name === name ? mine.typed : /** @type {Change[]} */ (readDraft(name) ?? []);
  const note = (/** @type {Change[]} */ all) => {
    setMine({ name, typed: all });
    writeDraft(name, all.length ? all : null);
  };
  const real = typed.filter((c) => !same(leaf(stored, c.at), c.now));
  return {
    value: changed(stored, real),
    set: (next) => note(changes(stored, next).map((c) => ({ ...c, was: typed.find((t) => same(t.at, c.at))?.was ?? c.was }))),
    open: real.length > 0,
    clash: real.some((c) => !same(leaf(stored, c.at), c.was)),
    done: () => note([]),
  };
}

/**
 * Says that something typed is not saved yet, and discards it when asked.
 * @param {{draft: Draft<any>}} props
 */
export const DraftLine = ({ draft }) => (draft.open ? html`<p class="hint unsaved" role="status">Not saved yet: it is in this browser only, and survives a reload.
  ${draft.clash ? " What is stored was changed elsewhere meanwhile; saving puts yours in its place." : ""} <button type="button" class="quiet" onClick=${draft.done}>Discard what was typed</button></p>` : null);

/**
 * Something that stays with this browser for good.
 * @template T
 * @param {string} name
 * @param {T} blank
 * @returns {[T, (next: T) => void]}
 */
export function useKeptHere(name, blank) {
  const [value, set] = useState(() => ({ ...blank, ...readDraft(name) }));
  return [value, (next) => {
    set(next);
    writeDraft(name, /** @type {any} */ (next));
  }];
}
