// Help: one topic a screen, each short enough to read beside the engine.

import { html, useApp, usePart } from "../ui.js";
import { Cautions } from "../cautions.js";
import { SetupHelpView } from "../helpsetup.js";
import { DayHelp } from "../helpday.js";
import { FaultHelpView } from "../helpfaults.js";
import { AddressHelp } from "../helpaddresses.js";
import { BoardHelp } from "../helpboard.js";
import { HandsFreeHelp, KeepingHelp } from "../helpkeep.js";
import { PhotographHelp } from "../helpphotograph.js";
import { PlusMinusHelp, UsualFigures } from "../helpfigures.js";

/** @typedef {{unit: import("../units.js").Unit, rest: string[]}} Asked */

/** @type {readonly (readonly [string, string, string, (asked: Asked) => any])[]} */
const topics = [
  ["setup", "First set-up", "Where the indicator goes, with pictures.", () => html`<${SetupHelpView} />`],
  ["day", "A day's work", "From the first valve to the sheet.", ({ unit }) => html`<${DayHelp} unit=${unit} />`],
  ["faults", "Something is wrong", "What each fault means, and what to do.", ({ rest }) => html`<${FaultHelpView} asked=${rest[0] ?? ""} />`],
  ["photograph", "Photograph", "How to hold the phone, and what to mark.", () => html`<${PhotographHelp} />`],
  ["plusminus", "What ± means", "How sure a figure is.", ({ unit }) => html`<${PlusMinusHelp} unit=${unit} />`],
  ["figures", "Usual figures", "Clearances as they are often asked for.", ({ unit }) => html`<${UsualFigures} unit=${unit} />`],
  ["addresses", "Addresses of devices", "Every word, every format, an example each.", () => html`<${AddressHelp} />`],
  ["board", "A board of your own", "Encoder and indicator in one line: parts, wires, firmware.", () => html`<${BoardHelp} />`],
  ["handsfree", "Hands free", "A round with nothing but the wrench; a pedal.", () => html`<${HandsFreeHelp} />`],
  ["keeping", "Keeping it", "Backup and restore, other programs, many benches.", () => html`<${KeepingHelp} />`],
  ["keys", "Keys", "Pedal, presenter, keyboard.", () => html`<${Keys} />`],
  ["cautions", "Cautions", "Before anything is turned.", () => html`<section><${Cautions} /></section>`],
];

/** @param {{route: import("../router.js").Route}} props */
export function Help({ route }) {
  const unit = usePart(useApp().store, (s) => s.unit);
  const [name, ...rest] = route.rest;
  const topic = topics.find(([t]) => t === name);
  if (!topic) {
    return html`<h1>Help</h1><section id="cautions"><h2>Before the engine is turned</h2><${Cautions} /></section>
      <nav class="topics" aria-label="Help">${topics.map(([t, title, says]) => html`<a href=${`#/help/${t}`}><strong>${title}</strong> <small>${says}</small></a>`)}</nav>
      <p class="hint">All of this is in the program and needs no network. The libraries of this page, and their licences: <a href="lib/licences.txt">licences</a>.</p>`;
  }
  return html`<nav class="row topic-row" aria-label="Help"><a class="button quiet" href="#/help">All help</a></nav>
    <h1>${topic[1]}</h1>${topic[3]({ unit, rest })}
    <nav class="topics" aria-label="More help">${topics.filter((t) => t !== topic).map(([t, title, says]) => html`<a href=${`#/help/${t}`}><strong>${title}</strong> <small>${says}</small></a>`)}</nav>`;
}

const Keys = () => html`<section><dl class="facts small"><div><dt>mark</dt><dd>Space, Page down, Enter</dd></div><div><dt>next valve</dt>
  <dd>right arrow</dd></div><div><dt>inch or millimetre</dt><dd>U</dd></div><div><dt>mute, and back</dt><dd>M</dd></div></dl>
  <p>Anything that types a key will do: a presenter, a foot switch. What each key does is set on the <a href="#/bench">bench</a>.</p></section>`;
