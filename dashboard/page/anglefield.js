// A field for an angle of the encoder, which can be taken as it stands.

import { html, NumberField } from "./ui.js";

/** An encoder may have counted many turns. */
export const turns = { least: -360000, most: 360000 };

/** The fields that belong to a button: those of its block. @param {Event} e */
export const besides = (e) => /** @type {Element} */ (e.currentTarget).closest("[data-fields]");

/**
 * A field for an angle, with the encoder's present one at a touch.
 * @param {{label: string, value: number|null, onChange: (v: number|null) => void, now: () => number|undefined}} props
 */
export function AngleField({ label, value, onChange, now }) {
  const take = () => {
    const angle = now();
    if (angle !== undefined) onChange(Math.round(angle / 1e4) / 100);
  };
  return html`<div class="angle-field"><${NumberField} label=${label} unit="°" range=${turns} value=${value} onChange=${onChange} />
    ${now() === undefined ? null : html`<button type="button" class="quiet" onClick=${take}>As it stands</button>`}</div>`;
}
