// The wiring: the parts are made here, handed down through one context, and
// tied to the live socket. Nothing else on the page is global.

import { render } from "./lib/preact.js";
import { useEffect, useRef, useState } from "./lib/hooks.js";
import { createApi } from "./api.js";
import { createLive, lowestDelay } from "./live.js";
import { createStore, initialState, onlyShows, reduce, shown } from "./state.js";
import { readPrefs, writePrefs } from "./prefs.js";
import { beatFor, createTone } from "./tone.js";
import { createVoice, pulseFor } from "./voice.js";
import { createWake } from "./wake.js";
import { call, linkWords } from "./cues.js";
import { valveWords } from "./valve.js";
import { StripBuffer } from "./strip.js";
import { helpFor, parseRoute, screensFor, viewFor } from "./router.js";
import { taken } from "./keys.js";
import { createWedge, nextField } from "./wedge.js";
import { nextValve } from "./engine.js";
import { nextAction } from "./action.js";
import { agreedCall, agreedNext, createRest, mayGoOn, roundOf } from "./round.js";
import { readDraft } from "./kept.js";
import { Tour } from "./tour.js";
import { AppContext, html, Mark, Trouble, useApp, usePart } from "./ui.js";
import { ReplayBar } from "./replaybar.js";
import { Repairs } from "./repairs.js";
import { Bench } from "./views/bench.js";
import { CautionsFirst } from "./cautions.js";

/** @typedef {(props: {route: import("./router.js").Route}) => any} View */

/**
 * The screens that come after the bench: what is read from three metres must
 * stand first. They are fetched as soon as it does, so that they are there even
 * when the daemon is not.
 * @type {Record<string, () => Promise<View>>}
 */
const later = {
  traces: () => import("./views/traces.js").then((m) => m.Traces),
  engine: () => import("./views/engine.js").then((m) => m.EngineView),
  trials: () => import("./views/trials.js").then((m) => m.Trials),
  timing: () => import("./views/timing.js").then((m) => m.Timing),
  compare: () => import("./views/compare.js").then((m) => m.Compare),
  clearances: () => import("./views/clearances.js").then((m) => m.Clearances),
  sheet: () => import("./views/sheet.js").then((m) => m.Sheet),
  devices: () => import("./views/devices.js").then((m) => m.Devices),
  shop: () => import("./views/shop.js").then((m) => m.Shop),
  help: () => import("./views/help.js").then((m) => m.Help),
};

/** The screen this document was opened at. */
const openedAt = parseRoute(location.hash).view;

/**
 * A screen, as soon as it is there. One whose fetching failed stays failed for
 * as long as its document lives, whatever answers by then: the browser keeps
 * the failure. So the document is loaded again at that screen, once.
 * @param {{route: import("./router.js").Route}} props
 */
function Later({ route }) {
  const app = useApp();
  const answers = usePart(app.store, (s) => s.link === "up");
  const [View, setView] = useState(/** @type {View|null} */ (null));
  const [error, setError] = useState("");
  useEffect(() => {
    let gone = false;
    later[route.view]().then((v) => gone || setView(() => v), async () => {
      // The link may not have noticed yet that nobody answers.
      const there = await fetch("/healthz", { cache: "no-store" }).then(() => true, () => false);
      if (gone) return;
      if (!there) setError("This screen could not be fetched: Lobescribe does not answer. It comes as soon as it does.");
      else if (parseRoute(location.hash).view !== openedAt) location.reload(); // over a shop, the route of the bench shows the shop
      else setError("This screen could not be fetched. Load the page again.");
    });
    return () => {
      gone = true;
    };
  }, [route.view, answers]);
  return View ? html`<${View} route=${route} />` : html`<${Trouble} text=${error} />`;
}

/** How often a hands-free round looks whether the valve has rested, in milliseconds. */
const restEvery = 250;

/** @returns {import("./ui.js").App} */
function createApp() {
  const store = createStore(initialState());
  const prefs = createStore(readPrefs(localStorage));
  const notices = createStore(/** @type {import("./ui.js").Notice[]} */ ([]));
  const api = createApi();
  const tone = createTone();
  const voice = createVoice();
  const wake = createWake(() => {});
  const strips = { engine: new StripBuffer(), replay: new StripBuffer() };
  const undo = createStore(/** @type {import("./ui.js").Undo|null} */ (null));
  let count = 0;

  /** @param {string} text @param {"said"|"problem"} [kind] @param {{name: string, act: () => void}} [back] how to undo it */
  const notify = (text, kind = "said", back = undefined) => {
    const id = ++count;
    const once = back && { name: back.name, act: () => { undo.set(null); back.act(); } };
    notices.set([...notices.get().filter((n) => n.text !== text), { id, text, kind, undo: once }].slice(-3));
    setTimeout(() => notices.set(notices.get().filter((n) => n.id !== id)), kind === "problem" || back ? 9000 : 3000);
    if (once) undo.set(once);
  };
  const problem = (/** @type {Error} */ err) => notify(err.message, "problem");

  prefs.subscribe((p) => {
    writePrefs(localStorage, p);
    tone.enable(p.tone);
    voice.enable(p.speech);
  });
  tone.enable(prefs.get().tone);
  voice.enable(prefs.get().speech);
  store.subscribe((s) => {
    const c = shown(s);
    tone.play(s.link === "up" ? beatFor(c.position, c.held) : null);
  });

  const live = createLive({
    url: `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/api/v1/live${lowestDelay(location.search)}`,
    ask: () => api.get("/settings"),
    onLink: (link) => store.set({ ...store.get(), link }),
    onMessage(m) {
      if (m.type === "readings") (m.replay ? strips.replay : strips.engine).add(m);
      const before = store.get();
      const after = reduce(before, m);
      if (after.replayed !== before.replayed && after.replayed.position === null) strips.replay.clear(); // another replay, or gone back in this one
      store.set(after);
      const onScreen = Boolean(m.replay) === Boolean(after.replay);
      if (!onScreen) return;
      voice.say(agreedCall(before, after) || call(m, after.unit));
      const pulse = pulseFor(m);
      if (pulse && prefs.get().vibration && navigator.userActivation?.hasBeenActive && "vibrate" in navigator) navigator.vibrate(pulse);
    },
  });
  // The order of work, so that what comes next can be said before it is asked for.
  let ordered = "";
  store.subscribe(({ bench: { engine }, link }) => {
    if (engine === ordered || link !== "up") return;
    ordered = engine;
    const keep = (/** @type {import("./engine.js").ValveState[]} */ valves) => ordered === engine && store.set({ ...store.get(),
      order: valves.map((v) => v.valve), names: Object.fromEntries(valves.flatMap((v) => (v.own ? [[v.valve, v.own]] : []))), measured: valves.filter((v) => v.max_lift_mm !== null).length, round: prefs.get().round ? roundOf(valves) : null });
    if (!engine) return keep([]);
    api.get(`/engines/${encodeURIComponent(engine)}/valves`).then(keep, () => { ordered = ""; });
  });
  // A hands-free round: what agrees and rests on its heel makes room for the next
  // valve, unless a height was typed that is not saved yet.
  const rested = createRest(() => {
    const s = store.get(), { engine, valve } = s.bench;
    return { may: mayGoOn(s) && !readDraft(`height.${engine}.${valve}`) && !readDraft(`height.${engine}.${valve}.unread`), angle: strips.engine.newest()?.angle_udeg, rests: prefs.get().rests };
  });
  /** @type {ReturnType<typeof setInterval>|undefined} */
  let watching;
  store.subscribe((s) => {
    if (s.round && watching === undefined) watching = setInterval(() => rested(performance.now()) && act("next"), restEvery);
    else if (!s.round) {
      clearInterval(watching);
      watching = undefined;
    }
  });
  prefs.subscribe((p) => {
    const s = store.get();
    if (p.round === (s.round !== null)) return;
    ordered = p.round ? "" : ordered; // which valves are still to be measured is asked now
    store.set({ ...s, round: p.round ? { left: s.order } : null });
  });
  /** @param {{engine?: string, valve?: string, trial?: string}} change */
  async function setBench(change) {
    const now = store.get();
    if (onlyShows(now)) store.set({ ...now, bench: { ...now.bench, ...change } });
    else await api.put("/bench", change);
  }
  /** The last opening is left out, which the same press takes back while it is fresh. */
  function scratch() {
    const back = () => api.del("/trace/left-out").then(() => notify("It counts again."), problem);
    api.post("/trace/left-out", { why: "scratched on the bench" }).then((/** @type {{left_out: unknown[]}} */ left) => {
      notify(`The last opening is left out${left.left_out.length > 1 ? `, ${left.left_out.length} in all` : ""}.`, "said", { name: "Undo", act: back });
      voice.say("Left out");
    }, problem);
  }
  function mark() {
    if (store.get().engine.trace?.state !== "recording") return notify("Nothing is being recorded, so there is nothing to mark.");
    const back = () => api.del("/mark").then(() => notify("The mark is undone."), problem);
    api.post("/mark").then(() => notify("Marked.", "said", { name: "Undo", act: back }), problem);
    return undefined;
  }
  document.addEventListener("visibilitychange", () => live.hurry());
  addEventListener("online", () => live.hurry());

  /** @param {import("./prefs.js").KeyAction} action */
  function act(action) {
    if (action === "mark") mark();
    if (action === "scratch") scratch();
    if (action === "step") act(nextAction(store.get())?.act ?? "nothing");
    if (action === "next") {
      const { bench } = store.get();
      if (!bench.engine) return notify("Name the engine first; then there is a next valve.", "problem");
      api.get(`/engines/${encodeURIComponent(bench.engine)}/valves`)
        .then(async (/** @type {import("./engine.js").ValveState[]} */ valves) => {
          const valve = agreedNext(store.get()) || nextValve(valves.map((v) => v.valve), bench.valve); // what was said is next
          await setBench({ valve, trial: "" });
          const { names } = store.get();
          notify(`${valveWords(valve, names)}.`, "said", { name: `Back to ${valveWords(bench.valve, names)}`, act: () => setBench({ valve: bench.valve, trial: bench.trial }).catch(problem) });
          voice.say(`Now ${valveWords(valve, names)}`);
        })
        .catch(problem);
    }
    return undefined;
  }

  return {
    store, prefs, notices, undo, api, tone, voice, wake, strips, notify, act,
    setUnit(unit) {
      if (store.get().link === "connecting") return; // which unit it is now is not known yet
      store.set({ ...store.get(), unit });
      if (!onlyShows(store.get())) api.put("/settings", { units: unit }).catch(problem);
    },
    setBench,
    renew() {
      ordered = "";
      store.set({ ...store.get() });
    },
  };
}

/** @param {{app: import("./ui.js").App}} props */
function Shell({ app }) {
  const first = useRef(location.hash);
  const [route, setRoute] = useState(() => parseRoute(first.current));
  const [menu, setMenu] = useState(false);
  const shop = usePart(app.store, (s) => s.shop);
  const view = viewFor(route.view, shop);
  useEffect(() => {
    const go = () => {
      setRoute(parseRoute(location.hash));
      setMenu(false);
      scrollTo(0, 0);
      document.getElementById("main")?.focus({ preventScroll: true });
    };
    addEventListener("hashchange", go);
    if (location.hash !== first.current) go(); // led on before anybody listened
    return () => removeEventListener("hashchange", go);
  }, []);
  useEffect(() => {
    const wedge = createWedge();
    // Before any field or button hears of it.
    const typed = (/** @type {KeyboardEvent} */ e) => {
      const wedged = wedge.hear(e), at = e.target;
      if (!wedged) return;
      const field = at instanceof HTMLInputElement;
      if (!field && !(at instanceof HTMLTextAreaElement)) {
        e.preventDefault();
        e.stopPropagation();
        if (wedged === "ends") app.notify(`${wedge.figure()} was typed, and no field was there to take it: click into one first. An indicator that is to be followed goes under Devices.`);
      } else if (field && wedged === "ends") {
        e.preventDefault();
        if (!nextField(at)) at.blur(); // it is read and kept; Save is pressed by hand
      }
    };
    const key = (/** @type {KeyboardEvent} */ e) => {
      app.tone.start();
      if (taken(/** @type {any} */ (e))) return;
      if (e.key === "u") return app.setUnit(app.store.get().unit === "in" ? "mm" : "in");
      if (e.key === "m") {
        const p = app.prefs.get(), quiet = !(p.tone || p.speech);
        app.prefs.set({ ...p, tone: quiet, speech: quiet });
        return app.notify(quiet ? "Tone and calls are on." : "Tone and calls are muted.");
      }
      const action = app.prefs.get().keys[e.key];
      if (view !== "bench" || !action || action === "nothing" || e.repeat) return;
      e.preventDefault();
      app.act(action);
    };
    const touch = () => app.tone.start();
    // A button that was clicked keeps the focus, and then the pedal's Space
    // would press it again: on the bench the keys are given back.
    const giveBack = (/** @type {MouseEvent} */ e) => {
      const at = document.activeElement;
      if (view === "bench" && e.detail > 0 && at instanceof HTMLButtonElement) at.blur();
    };
    addEventListener("keydown", typed, true);
    addEventListener("keydown", key);
    addEventListener("pointerdown", touch);
    addEventListener("click", giveBack);
    return () => {
      removeEventListener("keydown", typed, true);
      removeEventListener("keydown", key);
      removeEventListener("pointerdown", touch);
      removeEventListener("click", giveBack);
    };
  }, [app, view]);
  useEffect(() => {
    app.wake.want(view === "bench" && app.prefs.get().awake);
    const name = screensFor(shop).find(([v]) => v === view)?.[1] ?? "Bench";
    document.title = `${name} · Lobescribe`;
  }, [app, view, shop]);

  return html`<${AppContext.Provider} value=${app}>
    <a class="skip" href="#main" onClick=${(/** @type {Event} */ e) => { e.preventDefault(); document.getElementById("main")?.focus(); }}>Skip to the screen</a>
    <${Top} view=${view} menu=${menu} onMenu=${() => setMenu(!menu)} />
    <nav class=${`rail ${menu ? "open" : ""}`} aria-label="Screens" id="screens">
      ${screensFor(shop).map(([v, name]) => html`<a href=${`#/${v}`} aria-current=${v === view ? "page" : undefined}>${name}</a>`)}
    </nav>
    <${ReplayBar} />
    <${Tour} />
    <main id="main" tabindex="-1" class=${`view view-${view}`}>
      <${Repairs} />
      ${Object.hasOwn(later, view) ? html`<${Later} key=${view} route=${{ ...route, view }} />`
      : view === "bench" ? html`<${Bench} />`
      : html`<section><h2>There is no such screen</h2>
        <p>The address ends in “#/${view}”, and no screen has that name; it may have been cut short when it was copied.
        Choose a screen from the menu, or go to the <a href="#/bench">bench</a>.</p></section>`}</main>
    <${Notices} />
    <${CautionsFirst} />
  <//>`;
}

/** @param {{view: string, menu: boolean, onMenu: () => void}} props */
function Top({ view, menu, onMenu }) {
  const app = useApp();
  const [word, shape, kind, only, simulated, unit, known] = usePart(app.store, (s) => {
    const l = linkWords(s);
    return /** @type {const} */ ([l.word, l.shape, l.kind, onlyShows(s), s.simulated, s.unit, s.link !== "connecting"]);
  });
  return html`<header class="top">
    <button class="menu-button" aria-expanded=${menu ? "true" : "false"} aria-controls="screens" onClick=${onMenu}>Menu</button>
    <a class="name" href=${only ? "#/shop" : "#/bench"}>Lobescribe</a>
    ${simulated ? html`<span class="tag simulated"><${Mark} shape="triangle" /> <span>simulated</span></span>` : null}
    <a class=${`tag link ${kind}`} href=${only ? "#/shop" : "#/devices"} aria-label=${`${only ? "Page" : "Indicator"}: ${word}`}>
      <${Mark} shape=${shape} kind=${kind} /> ${word}</a>
    <button class="unit-switch" disabled=${!known} onClick=${() => app.setUnit(unit === "in" ? "mm" : "in")} title="key U">
      ${unit}<span class="sr">: lengths are in ${unit === "in" ? "inches, switch to millimetres" : "millimetres, switch to inches"}</span></button>
    <a class="help-link" href=${helpFor(view)} aria-label="Help with this screen">?</a>
  </header>`;
}

function Notices() {
  const app = useApp();
  const notices = usePart(app.notices, (n) => n);
  return html`<div class="notices" aria-live="polite">${notices.map((n) => html`<p key=${n.id} class=${n.kind}>
    <${Mark} shape=${n.kind === "problem" ? "triangle" : "check"} /> ${n.text}
      ${n.undo ? html`<button onClick=${() => { n.undo?.act(); app.notices.set(app.notices.get().filter((m) => m !== n)); }}>${n.undo.name}</button>` : null}</p>`)}</div>`;
}

const place = document.getElementById("app");
if (place) {
  // Whoever comes straight to another screen waits for it, so it is asked for first.
  later[parseRoute(location.hash).view]?.().catch(() => {});
  place.replaceChildren();
  render(html`<${Shell} app=${createApp()} />`, place);
  // The others come when the browser has nothing better to do, and not before the figure stands.
  const rest = () => Object.values(later).forEach((load) => load().catch(() => {}));
  setTimeout(() => ("requestIdleCallback" in window ? requestIdleCallback(rest, { timeout: 4000 }) : rest()), 1500);
}

