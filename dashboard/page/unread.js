// Texts that were typed and can not be read: they stay in their fields as they
// were typed, over a reload and a change of the unit, until they read, are typed
// again, or are discarded. Each form keeps its own.

import { createContext } from "./lib/preact.js";
import { useEffect, useRef, useState } from "./lib/hooks.js";
import { hearDraft, readDraft, writeDraft } from "./kept.js";

/**
 * @typedef {object} Unread
 * @property {Record<string, string>} texts by the name of the field
 * @property {(name: string, text: string|null) => void} put null: it reads again
 * @property {() => boolean} turn whether a field may give its text to the document now: one at a time, each to what the one before made of it
 * @property {() => void} clear
 */

/** The form that a field stands in. */
export const UnreadContext = createContext(/** @type {Unread|null} */ (null));

/**
 * @param {string} form its name; "" keeps nothing over a reload
 * @returns {Unread}
 */
export function useUnread(form) {
  const name = `${form}.unread`, stored = () => /** @type {Record<string, string>} */ ((form && readDraft(name)) || {});
  const [mine, setMine] = useState(() => ({ form, texts: stored() }));
  const now = useRef(mine);
  if (now.current.form !== form) now.current = { form, texts: stored() };
  useEffect(() => (form ? hearDraft(name, () => (Object.keys(now.current.texts).length ? now.current.texts : null), (texts) => {
    now.current = { form, texts: texts ?? {} };
    setMine(now.current);
  }) : undefined), [name]);
  const taken = useRef(/** @type {object|null} */ (null));
  const note = (/** @type {Record<string, string>} */ texts) => {
    now.current = { form, texts };
    setMine(now.current);
    if (form) writeDraft(name, Object.keys(texts).length ? texts : null);
  };
  return {
    texts: now.current.texts,
    put(field, text) {
      const { [field]: was, ...others } = now.current.texts;
      if (text === null && was === undefined) return;
      note(text === null ? others : { ...others, [field]: text });
    },
    turn() {
      if (taken.current === now.current.texts) return false;
      taken.current = now.current.texts;
      return true;
    },
    clear() {
      if (Object.keys(now.current.texts).length) note({});
    },
  };
}
