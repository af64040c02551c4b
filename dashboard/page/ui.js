// The small things every screen is made of: templates, the shared context, and
// the hooks that tie a screen to the store.

import { createContext, h } from "./lib/preact.js";
import { useContext, useEffect, useRef, useState } from "./lib/hooks.js";
import htm from "./lib/htm.js";
import { onlyShows } from "./state.js";
import { valveWords } from "./valve.js";

export { Choice, Fields, Form, LengthField, LengthsField, LinesField, NumberField, sound, TextField, TypedField } from "./fields.js";

/** Templates: html`<p>text</p>`. */
export const html = /** @type {(strings: TemplateStringsArray, ...values: any[]) => any} */ (htm.bind(h));

/**
 * What app.js made and every screen may use.
 * @typedef {object} App
 * @property {import("./state.js").Store<import("./state.js").State>} store
 * @property {import("./state.js").Store<import("./prefs.js").Prefs>} prefs
 * @property {import("./state.js").Store<Notice[]>} notices
 * @property {import("./state.js").Store<Undo|null>} undo the last action that can be undone
 * @property {import("./api.js").Api} api
 * @property {import("./tone.js").Tone} tone
 * @property {import("./voice.js").Voice} voice
 * @property {import("./wake.js").Wake} wake
 * @property {{engine: import("./strip.js").StripBuffer, replay: import("./strip.js").StripBuffer}} strips
 * @property {(action: import("./prefs.js").KeyAction) => void} act
 * @property {(text: string, kind?: "said"|"problem", undo?: {name: string, act: () => void}) => void} notify
 * @property {(unit: import("./units.js").Unit) => void} setUnit
 * @property {() => void} renew the engine on the bench was changed: what hangs on it is asked again
 * @property {(valve: {engine?: string, valve?: string, trial?: string}) => Promise<void>} setBench
 *
 * @typedef {{name: string, act: () => void}} Undo
 * @typedef {{id: number, text: string, kind: "said"|"problem", undo?: Undo}} Notice
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
 * Names a valve as the builder does; of another engine than the one on the bench, by
 * its standard name.
 * @returns {(valve: string, engine?: string) => string}
 */
export function useValveWords() {
  const [names, on] = usePart(useApp().store, (s) => /** @type {const} */ ([s.names, s.bench.engine]));
  return (valve, engine) => valveWords(valve, engine === undefined || engine === on ? names : undefined);
}

/** How often figures that follow the signal are drawn, in milliseconds: no eye reads digits faster. */
export const readable = 66;

/**
 * The part of a store that a screen needs; it draws again when that part
 * changed, once a frame at most. A part may be a list: then it changed when one
 * of its members did.
 * @template T, P
 * @param {import("./state.js").Store<T>} store
 * @param {(value: T) => P} pick
 * @param {number} [every] at least so many milliseconds between two drawings
 * @returns {P}
 */
export function usePart(store, pick, every = 0) {
  const [, redraw] = useState(0);
  const picker = useRef(pick), value = pick(store.get()), drawn = useRef(value);
  picker.current = pick;
  drawn.current = value; // what changes before the effect below runs is a change from this
  useEffect(() => {
    const later = paced(every, () => {
      if (!alike(picker.current(store.get()), drawn.current)) redraw((n) => n + 1);
    });
    const stop = store.subscribe(later.ask);
    later.ask();
    return () => {
      stop();
      later.end();
    };
  }, [store]);
  return value;
}

/** @param {any} a @param {any} b */
const alike = (a, b) => Object.is(a, b) || (Array.isArray(a) && Array.isArray(b) && a.length === b.length && a.every((v, i) => Object.is(v, b[i])));

/**
 * Does something in the next frame after it was asked for, once however often that
 * was, and not more often than every so many milliseconds. A hidden page has no frames.
 * @param {number} every
 * @param {() => void} act
 */
export function paced(every, act) {
  let frame = 0, last = -Infinity, ended = false;
  /** @type {ReturnType<typeof setTimeout>|undefined} */
  let timer;
  const soon = () => {
    timer = undefined;
    frame = requestAnimationFrame((now) => {
      frame = 0;
      last = now;
      act();
    });
  };
  return {
    ask() {
      if (frame || timer !== undefined || ended) return;
      const wait = last + every - performance.now();
      if (wait > 8) timer = setTimeout(soon, wait - 8);
      else soon();
    },
    end() {
      ended = true;
      clearTimeout(timer);
      cancelAnimationFrame(frame);
    },
  };
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
  const underWay = useRef(false);
  useEffect(() => {
    const stop = new AbortController();
    underWay.current = true;
    load(stop.signal).then(
      (v) => {
        if (stop.signal.aborted) return;
        underWay.current = false;
        set(() => v);
        setError("");
      },
      (/** @type {Error} */ err) => {
        if (stop.signal.aborted) return;
        underWay.current = false;
        setError(err.message);
      },
    );
    return () => stop.abort();
  }, [...on, turn]);
  const refresh = () => again((n) => n + 1);
  return { value, error, again: refresh, set: (v) => {
    set(() => v);
    if (underWay.current) refresh(); // its answer may be older than what is set
  } };
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
 * Something folded, with whether it is open at first. What is typed and taken back
 * in it does not shut it under the hand.
 * @param {{summary: string, open: boolean, class?: string, children?: any}} props
 */
export function Fold({ summary, open: first, class: kind, children }) {
  const [open, setOpen] = useState(first);
  return html`<details class=${kind} open=${open} onToggle=${(/** @type {any} */ e) => setOpen(e.currentTarget.open)}><summary>${summary}</summary>${children}</details>`;
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
