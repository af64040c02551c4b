// Keys from a keyboard, a presenter or a foot switch: anything that types. A
// key only acts where it has no other job: never while something is being
// typed, and Space or Enter on a button press the button.

/** Keys that a pedal or presenter may type, with their names for the page. */
export const pedalKeys = /** @type {const} */ ([
  [" ", "Space"], ["Enter", "Enter"], ["PageDown", "Page down"], ["PageUp", "Page up"],
  ["ArrowRight", "Right arrow"], ["ArrowLeft", "Left arrow"], ["b", "B"], ["F5", "F5"],
]);

/**
 * Whether a key pressed on this element belongs to the element.
 * @param {{key: string, target: {tagName?: string, isContentEditable?: boolean, getAttribute?: (name: string) => string|null}|null, ctrlKey?: boolean, altKey?: boolean, metaKey?: boolean}} event
 */
export function taken({ key, target, ctrlKey, altKey, metaKey }) {
  if (ctrlKey || altKey || metaKey) return true;
  const tag = target?.tagName ?? "";
  if (["INPUT", "TEXTAREA", "SELECT"].includes(tag) || target?.isContentEditable) return true;
  const role = target?.getAttribute?.("role") ?? "";
  if (["BUTTON", "A", "SUMMARY"].includes(tag) || role === "button") return key === " " || key === "Enter";
  if (role === "slider" || role === "application" || role === "figure") return key.startsWith("Arrow") || key.startsWith("Page");
  return false;
}
