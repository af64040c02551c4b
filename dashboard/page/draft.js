// What is being typed, kept in the browser until it is saved or discarded: a
// reload, a knocked-over laptop or a daemon that is away must not cost sixteen
// measurements. Every form of the page keeps what is typed in it this way.
//
// Only what differs from what is stored is kept, leaf by leaf, so that a form
// survives that somebody else saves another field of the same document meanwhile.

import { useEffect, useRef, useState } from "./lib/hooks.js";
import { html } from "./ui.js";
import { hearDraft, readDraft, writeDraft } from "./kept.js";
import { useUnread } from "./unread.js";

export { readDraft, writeDraft } from "./kept.js";

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
 * What was typed after a document was sent: it is not saved with it.
 * @param {Change[]} typed by now @param {any} sent
 * @returns {Change[]}
 */
export const since = (typed, sent) => typed.filter((c) => !same(leaf(sent, c.at), c.now)).map((c) => ({ ...c, was: leaf(sent, c.at) }));

/**
 * @template T
 * @typedef {object} Draft
 * @property {T} value what stands in the form
 * @property {(next: T) => void} set
 * @property {boolean} open something was typed that is not saved
 * @property {boolean} clash what is stored was changed elsewhere in a place that was typed in here
 * @property {(sent?: T) => void} done it is saved, as it was sent: what was typed after that stays; or it is discarded
 * @property {import("./unread.js").Unread} unread texts in it that do not read
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
  const unread = useUnread(name);
  const now = useRef({ name, typed }); // as it is now, also for what was started with an older state
  if (now.current.name !== name) now.current = { name, typed };
  const take = (/** @type {Change[]} */ all) => {
    now.current = { name, typed: all };
    setMine(now.current);
  };
  useEffect(() => hearDraft(name, () => (now.current.typed.length ? now.current.typed : null), (all) => take(all ?? [])), [name]);
  const note = (/** @type {Change[]} */ all) => {
    take(all);
    writeDraft(name, all.length ? all : null);
  };
  const real = typed.filter((c) => !same(leaf(stored, c.at), c.now));
  return {
    value: changed(stored, real),
    set: (next) => note(changes(stored, next).map((c) => ({ ...c, was: typed.find((t) => same(t.at, c.at))?.was ?? c.was }))),
    open: real.length > 0 || Object.keys(unread.texts).length > 0,
    clash: real.some((c) => !same(leaf(stored, c.at), c.was)),
    done: (sent) => {
      note(sent === undefined ? [] : since(now.current.typed, sent));
      if (sent === undefined) unread.clear(); // what does not read can not have been sent
    },
    unread,
  };
}

/** What is still there, or an error that says that it is not. @template T @param {T|undefined} doc @returns {T} */
export function there(doc) {
  if (doc === undefined) throw new Clash("It was deleted elsewhere meanwhile. What you typed stands here until you leave: write it down, or save it as a new one.");
  return doc;
}

/** Two have changed the same place of a document. */
export class Clash extends Error {}

/**
 * Saves a document that somebody else may have saved since it was read: what was
 * typed goes into the document as it is now. Where both changed the same place
 * nothing is sent, and it is said; asked again, what was typed takes its place.
 * @template T
 * @param {{stored: T, value: T, get: () => Promise<T>, put: (value: T, over: T) => Promise<T>, renew: (now: T) => void}} doc
 *   stored: as it was read; value: as it stands in the form; renew: shows what is stored now under what was typed
 * @returns {Promise<T>}
 */
export async function saveOver({ stored, value, get, put, renew }) {
  try {
    return await put(value, stored);
  } catch (err) {
    if (/** @type {import("./api.js").ApiError} */ (err).status !== 409) throw err;
  }
  const now = await get(), mine = changes(stored, value);
  if (mine.some((c) => !same(leaf(now, c.at), c.was) && !same(leaf(now, c.at), c.now))) {
    renew(now);
    throw new Clash("What you changed was changed elsewhere meanwhile, and stands there otherwise. Yours is still here: save again to put it in its place, or discard it.");
  }
  return put(changed(now, mine), now);
}

/**
 * Says that something typed is not saved yet, and discards it when asked.
 * @param {{draft: Draft<any>}} props
 */
export const DraftLine = ({ draft }) => (draft.open ? html`<p class="hint unsaved" role="status">Not saved yet: it is in this browser only, and survives a reload.
  ${draft.clash ? " What is stored was changed elsewhere meanwhile; saving puts yours in its place." : ""} <button type="button" class="quiet" onClick=${() => draft.done()}>Discard what was typed</button></p>` : null);

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
