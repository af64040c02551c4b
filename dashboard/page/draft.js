// What is being typed into the longer forms, kept in the browser until it is
// done with: a reload or a knocked-over laptop must not cost sixteen
// measurements.

import { useState } from "./lib/hooks.js";

/** @param {string} name */
const place = (name) => `lobescribe.draft.${name}`;

/**
 * What was typed under a name and not yet done with, or null.
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

/** @param {string} name @param {object|null} value null forgets it */
export function writeDraft(name, value) {
  try {
    if (value === null) localStorage.removeItem(place(name));
    else localStorage.setItem(place(name), JSON.stringify(value));
  } catch {
    // It is forgotten with the page, then.
  }
}

/**
 * @template T
 * @param {string} name of the form and of what it belongs to
 * @param {T} blank
 * @returns {[T, (next: T) => void]}
 */
export function useDraft(name, blank) {
  const [value, set] = useState(() => ({ ...blank, ...readDraft(name) }));
  return [value, (next) => {
    set(next);
    writeDraft(name, /** @type {any} */ (next));
  }];
}
