// What is being typed into the longer forms, kept in the browser until it is
// done with: a reload or a knocked-over laptop must not cost sixteen
// measurements.

import { useState } from "./lib/hooks.js";

/**
 * @template T
 * @param {string} name of the form and of what it belongs to
 * @param {T} blank
 * @returns {[T, (next: T) => void]}
 */
export function useDraft(name, blank) {
  const key = `lobescribe.draft.${name}`;
  const [value, set] = useState(() => {
    try {
      const kept = localStorage.getItem(key);
      return kept ? { ...blank, ...JSON.parse(kept) } : blank;
    } catch {
      return blank;
    }
  });
  return [value, (next) => {
    set(next);
    try {
      localStorage.setItem(key, JSON.stringify(next));
    } catch {
      // It is forgotten with the page, then.
    }
  }];
}
