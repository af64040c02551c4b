// Fields that are tied to one place in a document: they read it, change it, and
// give the changed document back.

import { html, LengthField, LinesField, NumberField, TextField, Choice } from "./ui.js";
import { getAt, setAt } from "./engine.js";
import { kindAt } from "./plausible.js";
import { fromMm, toMm } from "./units.js";

/** A rocker's ratio; one that is not known is left empty. */
const ratios = { least: 0.5, most: 5, why: "or empty while it is not known" };
/** Degrees where nothing narrower is said. */
const circle = { least: -360, most: 360 };

/**
 * The fields of one document.
 * @param {any} doc
 * @param {(next: any) => void} change
 * @param {import("./units.js").Unit} unit
 */
export function fieldsOf(doc, change, unit) {
  return {
    /** A length; the place holds millimetres. */
    length: (/** @type {string} */ path, /** @type {string} */ label, /** @type {string} */ hint = "") => {
      const mm = getAt(doc, path);
      return html`<${LengthField} label=${label} name=${path} unit=${unit} hint=${hint} of=${kindAt(path)} nm=${mm === undefined || mm === null ? null : fromMm(mm)}
        onChange=${(/** @type {number|null} */ nm) => change(setAt(doc, path, nm === null ? undefined : toMm(nm)))} />`;
    },
    /** A ratio, that is 0 as long as nobody knows it. */
    known: (/** @type {string} */ path, /** @type {string} */ label) => html`<${NumberField} label=${label} name=${path} value=${getAt(doc, path) || null} range=${ratios}
      onChange=${(/** @type {number|null} */ v) => change(setAt(doc, path, v ?? 0))} />`,
    /** A plain number with its unit behind it. */
    number: (/** @type {string} */ path, /** @type {string} */ label, /** @type {string} */ unitName = "", /** @type {string} */ hint = "", /** @type {import("./reads.js").Range|undefined} */ range = undefined) => html`<${NumberField}
      label=${label} name=${path} unit=${unitName} hint=${hint} range=${range ?? (unitName.startsWith("°") ? circle : undefined)} value=${getAt(doc, path) ?? null}
        onChange=${(/** @type {number|null} */ v) => change(setAt(doc, path, v ?? undefined))} />`,
    text: (/** @type {string} */ path, /** @type {string} */ label, /** @type {string} */ hint = "") => html`<${TextField}
      label=${label} hint=${hint} value=${getAt(doc, path) ?? ""} onChange=${(/** @type {string} */ v) => change(setAt(doc, path, v))} />`,
    lines: (/** @type {string} */ path, /** @type {string} */ label, /** @type {string} */ hint = "") => html`<${LinesField}
      label=${label} hint=${hint} value=${getAt(doc, path) ?? ""} onChange=${(/** @type {string} */ v) => change(setAt(doc, path, v || undefined))} />`,
    choice: (/** @type {string} */ path, /** @type {string} */ label, /** @type {readonly (readonly [string, string])[]} */ options, /** @type {string} */ hint = "") => html`<${Choice}
      label=${label} hint=${hint} options=${options} value=${String(getAt(doc, path) ?? "")}
        onChange=${(/** @type {string} */ v) => change(setAt(doc, path, v))} />`,
  };
}
