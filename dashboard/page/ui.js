// The small things every screen is made of: templates, the shared context, and
// the hooks that tie a screen to the store.

import { createContext, h } from "./lib/preact.js";
import { useContext, useEffect, useId, useRef, useState } from "./lib/hooks.js";
import htm from "./lib/htm.js";
import { onlyShows } from "./state.js";
import { digits, parseLength } from "./units.js";

/** Templates: html`<p>text</p>`. */
export const html = /** @type {(strings: TemplateStringsArray, ...values: any[]) => any} */ (htm.bind(h));

/**
 * What app.js made and every screen may use.
 * @typedef {object} App
 * @property {import("./state.js").Store<import("./state.js").State>} store
 * @property {import("./state.js").Store<import("./prefs.js").Prefs>} prefs
 * @property {import("./state.js").Store<Notice[]>} notices
 * @property {import("./api.js").Api} api
 * @property {import("./tone.js").Tone} tone
 * @property {import("./voice.js").Voice} voice
 * @property {import("./wake.js").Wake} wake
 * @property {{engine: import("./strip.js").StripBuffer, replay: import("./strip.js").StripBuffer}} strips
 * @property {(action: import("./prefs.js").KeyAction) => void} act
 * @property {(text: string, kind?: "said"|"amiss") => void} notify
 * @property {(unit: import("./units.js").Unit) => void} setUnit
 * @property {(valve: {engine?: string, valve?: string, trial?: string}) => Promise<void>} setBench
 *
 * @typedef {{id: number, text: string, kind: "said"|"amiss"}} Notice
 */

/** The context through which app.js hands its parts down. */
export const AppContext = createContext(/** @type {App|null} */ (null));

/** @returns {App} */
export function useApp() {
  const app = useContext(AppContext);
  if (!app) throw new Error("this part stands outside the app");
  return app;
}

/** Whether this is the page over a shop, which only shows. */
export const useOnlyShows = () => usePart(useApp().store, onlyShows);

/**
 * The part of a store that a screen needs; it draws again when that part
 * changed, once a frame at most.
 * @template T, P
 * @param {import("./state.js").Store<T>} store
 * @param {(value: T) => P} pick
 * @returns {P}
 */
export function usePart(store, pick) {
  const [, redraw] = useState(0);
  const picker = useRef(pick);
  picker.current = pick;
  useEffect(() => {
    let seen = picker.current(store.get());
    let frame = 0;
    const look = () => {
      frame = 0;
      const now = picker.current(store.get());
      if (Object.is(now, seen)) return;
      seen = now;
      redraw((n) => n + 1);
    };
    const stop = store.subscribe(() => {
      frame ||= requestAnimationFrame(look);
    });
    look();
    return () => {
      stop();
      cancelAnimationFrame(frame);
    };
  }, [store]);
  return pick(store.get());
}

/**
 * Something fetched: its value, what went wrong, and a way to fetch again. The
 * old value stays on screen while a new one is on its way.
 * @template T
 * @param {(signal: AbortSignal) => Promise<T>} load
 * @param {any[]} on fetched again when one of these changes
 * @returns {{value: T|undefined, error: string, again: () => void, set: (value: T) => void}}
 */
export function useFetched(load, on) {
  const [value, set] = useState(/** @type {T|undefined} */ (undefined));
  const [error, setError] = useState("");
  const [turn, again] = useState(0);
  useEffect(() => {
    const stop = new AbortController();
    load(stop.signal).then(
      (v) => {
        if (stop.signal.aborted) return;
        set(() => v);
        setError("");
      },
      (/** @type {Error} */ err) => {
        if (!stop.signal.aborted) setError(err.message);
      },
    );
    return () => stop.abort();
  }, [...on, turn]);
  return { value, error, again: () => again((n) => n + 1), set: (v) => set(() => v) };
}

/** @param {{text: string}} props */
export const Trouble = ({ text }) => (text ? html`<p class="trouble" role="alert"><${Mark} shape="triangle" /> ${text}</p>` : null);

/**
 * A small sign; its shape carries the meaning, its colour only helps.
 * @param {{shape: string, kind?: string}} props
 */
export function Mark({ shape, kind = "" }) {
  const shapes = /** @type {Record<string, any>} */ ({
    disc: html`<circle cx="8" cy="8" r="6.500" />`,
    square: html`<rect x="2.500" y="2.500" width="11" height="11" />`,
    ring: html`<circle cx="8" cy="8" r="5.500" class="hollow" />`,
    triangle: html`<path d="M8 1.500 15 14.500H1z" /><path d="M8 6v4M8 11.500v1.500" class="cut" />`,
    cross: html`<path d="M3 3l10 10M13 3 3 13" class="hollow" />`,
    bars: html`<path d="M2 2v12l7-6z M11 2h3v12h-3z" />`,
    check: html`<path d="M2 8.500 6.500 13 14 3.500" class="hollow" />`,
  });
  return html`<svg class=${`mark ${kind}`} viewBox="0 0 16 16" width="16" height="16" aria-hidden="true">${shapes[shape]}</svg>`;
}

/**
 * The frame of every field: its label, the input, its unit, and under it the
 * hint or what is wrong. The hint describes the input and is not its name, so
 * that a screen reader says the name first and short.
 * @param {{label: string, input: (attributes: object) => any, hint?: string, wrong?: string, unit?: string}} props
 */
function Field({ label, input, hint, wrong, unit }) {
  const id = useId();
  const about = [unit ? `${id}-unit` : "", wrong || hint ? `${id}-hint` : ""].filter(Boolean).join(" ");
  const attributes = { id, "aria-describedby": about || undefined, ...(wrong ? { "aria-invalid": "true" } : {}) };
  return html`<div class="field"><label class="field-name" for=${id}>${label}</label>
    ${unit ? html`<span class="with-unit">${input(attributes)}<span class="unit" id=${`${id}-unit`}>${unit}</span></span>` : input(attributes)}
    ${wrong ? html`<span class="wrong" id=${`${id}-hint`} role="alert">${wrong}</span>` : hint ? html`<span class="hint" id=${`${id}-hint`}>
      ${hint}</span>` : null}</div>`;
}

/**
 * A field for a length. It shows and takes the user's unit and gives whole
 * nanometres; what can not be read is said under it in words.
 * @param {{label: string, nm: number|null|undefined, unit: import("./units.js").Unit, onChange: (nm: number|null) => void, hint?: string}} props
 */
export function LengthField({ label, nm, unit, onChange, hint }) {
  const shownText = nm === null || nm === undefined ? "" : trimmed(digits(nm, unit));
  const [text, setText] = useState(shownText);
  const [wrong, setWrong] = useState("");
  const last = useRef({ nm, unit });
  if (last.current.nm !== nm || last.current.unit !== unit) {
    // The value changed from outside, or its unit did: show that.
    last.current = { nm, unit };
    setText(shownText);
    setWrong("");
  }
  const take = (/** @type {string} */ typed) => {
    setText(typed);
    if (typed.trim() === "") {
      setWrong("");
      last.current = { nm: null, unit };
      onChange(null);
      return;
    }
    try {
      const value = parseLength(typed, unit);
      setWrong("");
      last.current = { nm: value, unit };
      onChange(value);
    } catch (err) {
      setWrong(/** @type {Error} */ (err).message);
    }
  };
  return html`<${Field} label=${label} hint=${hint} wrong=${wrong} unit=${unit}
    input=${(/** @type {any} */ a) => html`<input ...${a} inputmode="decimal" autocomplete="off" value=${text}
    onInput=${(/** @type {any} */ e) => take(e.target.value)} />`} />`;
}

/** @param {string} text */
const trimmed = (text) => text.replace("\u2212", "-").replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "");

/**
 * A field for a plain number, with its unit written behind.
 * @param {{label: string, value: number|null|undefined, unit?: string, onChange: (value: number|null) => void, hint?: string, step?: string}} props
 */
export function NumberField({ label, value, unit, onChange, hint }) {
  const [text, setText] = useState(value === null || value === undefined ? "" : String(value));
  const [wrong, setWrong] = useState("");
  const last = useRef(value);
  if (last.current !== value) {
    last.current = value;
    setText(value === null || value === undefined ? "" : String(value));
    setWrong("");
  }
  const take = (/** @type {string} */ typed) => {
    setText(typed);
    const plain = typed.trim().replace(",", ".").replace("\u2212", "-");
    const number = plain === "" ? null : Number(plain);
    if (number !== null && !Number.isFinite(number)) {
      setWrong(`"${typed.trim()}" is not a number`);
      return;
    }
    setWrong("");
    last.current = number;
    onChange(number);
  };
  return html`<${Field} label=${label} hint=${hint} wrong=${wrong} unit=${unit}
    input=${(/** @type {any} */ a) => html`<input ...${a} inputmode="decimal" autocomplete="off" value=${text}
    onInput=${(/** @type {any} */ e) => take(e.target.value)} />`} />`;
}

/**
 * A field for words.
 * @param {{label: string, value: string, onChange: (value: string) => void, hint?: string, list?: string, placeholder?: string}} props
 */
export const TextField = ({ label, value, onChange, hint, list, placeholder }) => html`<${Field} label=${label} hint=${hint}
  input=${(/** @type {any} */ a) => html`<input ...${a} value=${value} list=${list}
  placeholder=${placeholder} autocomplete="off" onInput=${(/** @type {any} */ e) => onChange(e.target.value)} />`} />`;

/**
 * A choice of a few.
 * @param {{label: string, value: string, options: readonly (readonly [string, string])[], onChange: (value: string) => void, hint?: string}} props
 */
export function Choice({ label, value, options, onChange, hint }) {
  const now = options.some(([v]) => v === value) ? value : options[0]?.[0]; // what is not said is the first
  return html`<${Field} label=${label} hint=${hint} input=${(/** @type {any} */ a) => html`<select ...${a} value=${now}
    onChange=${(/** @type {any} */ e) => onChange(e.target.value)}>
    ${options.map(([v, name]) => html`<option value=${v} selected=${v === now}>${name}</option>`)}</select>`} />`;
}

/**
 * An empty place, which never stands without the next step.
 * @param {{says: string, href?: string, label?: string, children?: any}} props
 */
export function Nothing({ says, href, label, children }) {
  const looks = useOnlyShows(); // then there is no bench to be led to
  return html`<div class="nothing">
  <p>${says}</p>${href && !(looks && /#\/(bench|devices)/.test(href)) ? html`<p><a class="button" href=${href}>${label}</a></p>` : null}${children}
</div>`;
}
