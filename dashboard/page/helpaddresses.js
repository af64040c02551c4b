// How a device's address is written: what the daemon itself prints, as help.

import { html } from "./ui.js";
import { manual } from "./addresses.js";

export function AddressHelp() {
  return html`${manual.map((part) => html`<section key=${part.title}><h2>${part.title}</h2><p>${part.says}</p>
    ${part.rows ? html`<dl class="addresses">${part.rows.map((r) => html`<div key=${r.word}><dt class="mono">${r.word}</dt>
      <dd>${r.says}${r.allowed ? html`; <span class="hint">${r.allowed}</span>` : null}<br /><code>${r.example}</code></dd></div>`)}</dl>` : null}</section>`)}`;
}
