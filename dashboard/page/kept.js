// The browser's own memory of what is typed and not saved, by name.

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

/**
 * Whether another tab's writing goes on from what stands here. What it wrote before it
 * had heard of what was typed here since comes late, and must not wipe that.
 * @param {string|null} replaced what the other tab wrote over
 * @param {unknown} mine what stands here; null: nothing
 */
export const goesOn = (replaced, mine) => (replaced ?? "null") === JSON.stringify(mine);

/**
 * Hears what another tab of this browser writes under a name.
 * @param {string} name @param {() => unknown} mine what stands here; null: nothing
 * @param {(value: any) => void} hear
 * @returns {() => void} the way out
 */
export function hearDraft(name, mine, hear) {
  const told = (/** @type {StorageEvent} */ e) => {
    if (e.key === place(name) && goesOn(e.oldValue, mine())) hear(JSON.parse(e.newValue ?? "null"));
  };
  addEventListener("storage", told);
  return () => removeEventListener("storage", told);
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
