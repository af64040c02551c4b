// Fields, all of one make. While somebody types, the text in a field is theirs;
// what it means is read at every key, and is kept or refused: what can not be
// read is said under the field as soon as it is left, and a form that holds such
// a field is not sent but goes to it.

import { useContext, useEffect, useId, useRef, useState } from "./lib/hooks.js";
import { UnreadContext, useUnread } from "./unread.js";
import { html } from "./ui.js";
import { readLength, readLengths, readNumber } from "./reads.js";
import { typedDigits } from "./units.js";

/**
 * The frame of every field: its label, the input, its unit, and under it the
 * hint or what is wrong. The hint describes the input and is not its name, so
 * that a screen reader says the name first and short.
 * @param {{label: string, input: (attributes: object) => any, hint?: any, wrong?: string, unit?: string, wide?: boolean}} props
 */
function Frame({ label, input, hint, wrong, unit, wide }) {
  const id = useId();
  const about = [unit ? `${id}-unit` : "", wrong || hint ? `${id}-hint` : ""].filter(Boolean).join(" ");
  const attributes = { id, "aria-describedby": about || undefined, ...(wrong ? { "aria-invalid": "true" } : {}) };
  return html`<div class=${wide ? "field all" : "field"}><label class="field-name" for=${id}>${label}</label>
    ${unit ? html`<span class="with-unit">${input(attributes)}<span class="unit" id=${`${id}-unit`}>${unit}</span></span>` : input(attributes)}
    ${wrong ? html`<span class="wrong" id=${`${id}-hint`} role="alert">${wrong}</span>` : hint ? html`<span class="hint" id=${`${id}-hint`}>
      ${hint}</span>` : null}</div>`;
}

/**
 * A field for anything that is typed as one text.
 * @template T
 * @typedef {object} TypedProps
 * @property {string} label
 * @property {T|null|undefined} value
 * @property {(value: T) => string} show what stands in the field when nobody types
 * @property {(text: string) => T} read throws an Error in words
 * @property {(value: T|null) => void} onChange
 * @property {string} kind of what is typed, as the page's own tests ask for it
 * @property {string} [name] among the fields of its form, where the label is not enough
 * @property {T|null} [empty] what an empty field means; null when absent
 * @property {string} [hint]
 * @property {string} [unit]
 * @property {string} [mode] of a phone's keyboard
 * @property {string} [list] of suggestions
 */

/**
 * A text that can not be read stays as it was typed, over a reload and a change of
 * the unit, and what stood there before it was typed goes on standing in the
 * document: the "8" of an unfinished "8 11/" was never meant.
 * @template T
 * @param {TypedProps<T>} props
 */
export function TypedField({ label, value, show, read, onChange, kind, name = label, empty = null, hint, unit, mode, list }) {
  const shownText = value === null || value === undefined ? "" : show(value);
  const alone = useUnread(""), form = useContext(UnreadContext) ?? alone; // where a field stands in no form
  const unread = form.texts[name];
  const [text, setText] = useState(/** @type {string|null} */ (null)); // while it is typed and reads
  const [left, setLeft] = useState(true);
  const before = useRef(/** @type {T|null|undefined} */ (undefined)), last = useRef({ shownText, echo: false });
  if (last.current.echo || last.current.shownText !== shownText) {
    const echo = last.current.echo; // what the document made of the key just typed: not a change from outside
    last.current = { shownText, echo: false };
    if (!echo && text !== null) setText(null);
  }
  let wrong = "";
  if (unread !== undefined) {
    try {
      read(unread);
    } catch (err) {
      wrong = /** @type {Error} */ (err).message;
    }
  }
  useEffect(() => {
    // What did not read does now: the unit is another one, or the number of cylinders.
    if (unread === undefined || wrong || !form.turn()) return;
    form.put(name, null);
    onChange(read(unread));
  }, [form.texts, wrong]);
  const take = (/** @type {string} */ typed) => {
    if (left) before.current = value ?? empty;
    setLeft(false);
    last.current.echo = true;
    /** @type {T|null} */ let got = empty;
    try {
      if (typed.trim() !== "") got = read(typed);
    } catch {
      setText(null);
      form.put(name, typed);
      if (before.current !== undefined) onChange(before.current);
      return;
    }
    setText(typed);
    form.put(name, null);
    onChange(got);
  };
  const leave = () => {
    setLeft(true);
    setText(null);
  };
  // The browser drops the ends of lines: of a column with 8 and 10 it would make 810.
  const paste = (/** @type {ClipboardEvent} */ e) => {
    const lines = e.clipboardData?.getData("text").trim() ?? "";
    if (!/[\r\n]/.test(lines)) return;
    e.preventDefault();
    document.execCommand("insertText", false, lines.replace(/\s*[\r\n]+\s*/g, " ")); // what else a browser can undo
  };
  return html`<${Frame} label=${label} hint=${hint} wrong=${left ? wrong : ""} unit=${unit}
    input=${(/** @type {any} */ a) => html`<input ...${a} inputmode=${mode} autocomplete="off" spellcheck=${false} list=${list} value=${unread ?? text ?? shownText} data-kind=${kind}
      data-wrong=${wrong || undefined} onInput=${(/** @type {any} */ e) => take(e.target.value)} onBlur=${leave} onPaste=${paste} />`} />`;
}

/** Lengths that an inch rule measures, and those that may be below zero: a phone's pad of digits has neither stroke nor minus. */
const ruled = new Set(["pushrod", "rod", "stroke", "arm", "diameter", "piece", "block", "spring"]), signed = new Set(["height", "move"]);

/**
 * A field for a length. It shows and takes the user's unit and gives whole
 * nanometres.
 * @param {{label: string, nm: number|null|undefined, unit: import("./units.js").Unit, onChange: (nm: number|null) => void, hint?: string, of?: string, name?: string}} props
 *   of: what it is the length of, see plausible.js
 */
export const LengthField = ({ label, nm, unit, onChange, hint, of, name }) => html`<${TypedField} key=${unit} label=${label} name=${name} value=${nm} unit=${unit} hint=${hint} kind="length"
  mode=${signed.has(of ?? "") || (unit === "in" && ruled.has(of ?? "")) ? "text" : "decimal"} show=${(/** @type {number} */ v) => typedDigits(v, unit)} read=${(/** @type {string} */ t) => readLength(t, unit, of)} onChange=${onChange} />`;

/**
 * A field for several lengths with a plus between.
 * @param {{label: string, nms: number[], unit: import("./units.js").Unit, onChange: (nms: number[]) => void, hint?: string, of?: string}} props
 */
export const LengthsField = ({ label, nms, unit, onChange, hint, of }) => html`<${TypedField} key=${unit} label=${label} value=${nms} unit=${unit} hint=${hint} kind="lengths" empty=${[]}
  show=${(/** @type {number[]} */ all) => all.map((v) => typedDigits(v, unit)).join(" + ")} read=${(/** @type {string} */ t) => readLengths(t, unit, of)} onChange=${onChange} />`;

/**
 * A field for a plain number, with its unit written behind.
 * @param {{label: string, value: number|null|undefined, unit?: string, onChange: (value: number|null) => void, hint?: string, range?: import("./reads.js").Range, name?: string}} props
 */
export const NumberField = ({ label, value, unit, onChange, hint, range, name }) => html`<${TypedField} label=${label} name=${name} value=${value} unit=${unit} hint=${hint}
  kind=${range?.whole ? "whole" : "number"} mode="decimal" show=${String} read=${(/** @type {string} */ t) => readNumber(t, range, unit)} onChange=${onChange} />`;

/**
 * A field for words, kept to the letter.
 * @param {{label: string, value: string, onChange: (value: string) => void, hint?: string, list?: string, placeholder?: string, kind?: string}} props
 */
export const TextField = ({ label, value, onChange, hint, list, placeholder, kind = "text" }) => html`<${Frame} label=${label} hint=${hint}
  input=${(/** @type {any} */ a) => html`<input ...${a} value=${value} list=${list} data-kind=${kind}
  placeholder=${placeholder} autocomplete="off" onInput=${(/** @type {any} */ e) => onChange(e.target.value)} />`} />`;

/**
 * A field for several lines of words.
 * @param {{label: string, value: string, onChange: (value: string) => void, hint?: string, rows?: number}} props
 */
export const LinesField = ({ label, value, onChange, hint, rows = 4 }) => html`<${Frame} label=${label} hint=${hint} wide
  input=${(/** @type {any} */ a) => html`<textarea ...${a} rows=${rows} data-kind="text" value=${value}
  onInput=${(/** @type {any} */ e) => onChange(e.target.value)}></textarea>`} />`;

/**
 * A choice of a few.
 * @param {{label: string, value: string, options: readonly (readonly [string, string])[], onChange: (value: string) => void, hint?: string}} props
 */
export function Choice({ label, value, options, onChange, hint }) {
  const now = options.some(([v]) => v === value) ? value : options[0]?.[0]; // what is not said is the first
  return html`<${Frame} label=${label} hint=${hint} input=${(/** @type {any} */ a) => html`<select ...${a} value=${now} data-kind="choice"
    onChange=${(/** @type {any} */ e) => onChange(e.target.value)}>
    ${options.map(([v, name]) => html`<option value=${v} selected=${v === now}>${name}</option>`)}</select>`} />`;
}

/**
 * Whether every field inside reads; if not, it goes to the first that does not,
 * opening what hides it.
 * @param {Element|null|undefined} inside
 */
export function sound(inside) {
  const first = /** @type {HTMLElement|null} */ (inside?.querySelector("[data-wrong]") ?? null);
  if (!first) return true;
  if (document.activeElement === first) first.blur(); // left: now it says what is wrong
  for (let at = first.parentElement; at && at !== inside; at = at.parentElement) if (at instanceof HTMLDetailsElement) at.open = true;
  first.focus();
  first.scrollIntoView({ block: "center" });
  return false;
}

/** For how long a second press sends nothing while the first is under way, in milliseconds: a double press is one. */
const onePress = 3000;

/**
 * A form that is sent only when all of its fields read, and once for a double press.
 * @param {{onSubmit: (e: Event) => unknown, class?: string, children?: any, formRef?: any, draft?: {unread: import("./unread.js").Unread}}} props
 *   draft: what keeps its texts that do not read
 */
export function Form({ onSubmit, class: kind, children, formRef, draft }) {
  const own = useRef(/** @type {HTMLFormElement|null} */ (null)), sentAt = useRef(-Infinity);
  useEffect(() => {
    if (formRef) formRef.current = own.current;
  });
  const send = (/** @type {Event} */ e) => {
    e.preventDefault();
    if (!sound(own.current) || performance.now() - sentAt.current < onePress) return;
    sentAt.current = performance.now();
    const free = () => { sentAt.current = -Infinity; };
    Promise.resolve(onSubmit(e)).then(free, free);
  };
  const form = html`<form class=${kind} ref=${own} novalidate onSubmit=${send}>${children}</form>`;
  return draft ? html`<${UnreadContext.Provider} value=${draft.unread}>${form}<//>` : form;
}

/**
 * Fields that belong to a button beside them, without a form's Enter.
 * @param {{draft: {unread: import("./unread.js").Unread}, class?: string, children?: any}} props
 */
export const Fields = ({ draft, class: kind, children }) => html`<${UnreadContext.Provider} value=${draft.unread}><div class=${kind} data-fields>${children}</div><//>`;
