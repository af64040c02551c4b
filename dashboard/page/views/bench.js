// The bench: what the person at the wrench reads from three metres. One thing
// is always the biggest: what is left to half lift while there is a way to go,
// else the lift.

import { useEffect, useRef, useState } from "../lib/hooks.js";
import { useDraft } from "../draft.js";
import { Form, html, LengthField, Mark, readable, useApp, usePart, useValveWords } from "../ui.js";
import { nextStep } from "../cues.js";
import { nextAction, stepped } from "../action.js";
import { agreementWords } from "../agreement.js";
import { OpeningRows } from "../openings.js";
import { FaultLine } from "../faultline.js";
import { shown, whyLeftOut } from "../state.js";
import { digits, farDigits, fromMm, length, needleWords, roundedUp, toMm } from "../units.js";
import { Dial } from "../dial.js";
import { leftWords, tooLittle } from "../proof.js";
import { emsOf } from "../ems.js";
import { CyclePicture } from "../cycle.js";
import { Strip } from "../stripview.js";
import { pedalKeys } from "../keys.js";
import { noteAt, pressesAt } from "../noted.js";
import { Setup } from "../setupview.js";

export function Bench() {
  const app = useApp();
  const [replay, mood, stale, first] = usePart(app.store, (s) => {
    const up = s.link === "up", indicator = s.devices.indicator;
    return /** @type {const} */ ([Boolean(s.replay), nextStep(s).mood, !s.replay && (!up || Boolean(indicator && indicator.state !== "live")),
      !s.replay && up && Object.keys(s.devices).length === 0]);
  });
  const strip = replay ? app.strips.replay : app.strips.engine;
  return html`<div class=${`bench mood-${mood} ${stale ? "stale" : ""}`}>
    <h1 class="sr">Bench</h1>
    <div class="step"><${ValveBar} />
      <${NextSentence} />
      <${SetupNow} />
      <${TravelLine} />
      ${first ? null : html`<${Figures} stale=${stale} />
      <${Height} mood=${mood} />
      <div class="dial-box"><${DialNow} /></div>`}</div>
    ${first ? null : html`<${Strip} buffer=${strip} />
      <${CycleNow} />
      <${Openings} />
      <${TraceLine} />
      <${Calls} />
      <${ActBar} />`}
  </div>`;
}

/** The sentence that says what to do, and where. */
function NextSentence() {
  const [says, mood, href, label] = usePart(useApp().store, (s) => {
    const n = nextStep(s);
    return [n.says, n.mood, n.link?.href, n.link?.label];
  }, readable);
  return html`<p class="next" role="status"><${MoodMark} mood=${mood ?? ""} /><span>${says}</span>
    ${href ? html` <a class="button" href=${href}>${label}</a>` : null}</p>`;
}

/** The first set-up, as long as it is not done. */
function SetupNow() {
  const app = useApp();
  usePart(app.store, (s) => s, 500); // its steps look at what the spindle did
  return app.prefs.get().ended ? null : html`<${Setup} state=${app.store.get()} />`;
}

/** How often the needle is drawn, in milliseconds. */
const needleEvery = 40;

function DialNow() {
  const [lift, half, nose, known, unit] = usePart(useApp().store, (s) => {
    const p = shown(s).position, yes = Boolean(p && p.sign !== 0);
    return /** @type {const} */ ([yes && p ? p.lift_nm : 0, p?.half_nm ?? 0, p?.nose_nm ?? 0, yes, s.unit]);
  }, needleEvery);
  return html`<${Dial} lift=${lift} half=${half} nose=${nose} unit=${unit} known=${known} />`;
}

function CycleNow() {
  const app = useApp();
  const [position, angle] = usePart(app.store, (s) => /** @type {const} */ ([shown(s).position, (s.replay ? app.strips.replay : app.strips.engine).newest()?.angle_udeg]), readable);
  return html`<${CyclePicture} position=${position} angle_udeg=${angle} />`;
}

/**
 * What is left of the spindle's travel, and a warning before a turn for which
 * that is not enough. An indicator that was never proved is offered it.
 */
function TravelLine() {
  const app = useApp();
  const [now, replay, live, unit] = usePart(app.store, (s) => /** @type {const} */ ([s.proof, s.replay, s.devices.indicator?.state === "live", s.unit]));
  // Only a proved indicator has something to say at each reading.
  const [position, reading] = usePart(app.store, (s) => (now?.proof ? /** @type {const} */ ([s.engine.position, app.strips.engine.newest()?.lift_nm]) : /** @type {const} */ ([null, undefined])), 250);
  if (replay || !now?.indicator || !live) return null;
  if (now.proving) return html`<p class="travel-line"><${Mark} shape="triangle" /> The indicator is being proved, and nothing else is measured. <a class="button" href="#/devices">Go on</a></p>`;
  const warning = tooLittle(now, position, reading, unit);
  if (warning) return html`<p class="trouble travel-line" role="alert"><${Mark} shape="triangle" /> ${warning}</p>`;
  const left = leftWords(now, reading, unit);
  if (left) return html`<p class="hint travel-line">Spindle travel left: ${left}</p>`;
  return html`<p class="hint travel-line">${now.proof.loose ? "The indicator's zero has changed, so its stops are not known." : "This indicator was never proved: ten seconds."} <a href="#/devices">Prove it</a></p>`;
}

/** @param {{mood: string}} props */
function MoodMark({ mood }) {
  const shape = { rest: "disc", towards: "bars", half: "square", nose: "check", problem: "triangle" }[mood] ?? "disc";
  return html`<${Mark} shape=${shape} kind=${`mood-${mood}`} />`;
}

function ValveBar() {
  const app = useApp();
  const [{ engine, valve }, replay] = usePart(app.store, (s) => /** @type {const} */ ([s.bench, s.replay?.trace])), called = useValveWords();
  if (replay !== undefined) return html`<div class="valve-bar">
    <a href=${`#/traces/${replay}`} class="valve-name">Replay of trace ${replay}</a></div>`;
  return html`<div class="valve-bar">
    <a href="#/engine" class="valve-name">${valve ? called(valve) : engine ? "Choose the valve" : "New engine"}</a>
    ${engine ? html`<button onClick=${() => app.act("next")}>Next valve</button>` : null}
    <button onClick=${() => app.act("mark")} title="Space bar, pedal or presenter">Mark</button>
  </div>`;
}

/**
 * The figures. What moves is what the indicator shows, to its own step, and has no ±
 * while it moves; what was measured carries its own.
 * @param {{stale: boolean}} props
 */
function Figures({ stale }) {
  const app = useApp();
  const [p, unit, mood, raw, a] = usePart(app.store, (s) => {
    const c = shown(s);
    return /** @type {const} */ ([c.position, s.unit, nextStep(s).mood, (s.replay ? app.strips.replay : app.strips.engine).newest()?.lift_nm, c.agreement]);
  }, readable);
  const known = Boolean(p && p.sign !== 0);
  // Just past half lift the way back still matters; farther on the lift does.
  const toGo = p && p.half_nm > 0 && (p.state === "opening" || p.state === "closing") && p.to_go_nm > -0.2 * p.half_nm;
  const lift = known && p ? p.lift_nm : null;
  const big = toGo && p
    ? { name: mood === "half" ? "half lift" : p.to_go_nm >= 0 ? "to half lift" : "past half lift", text: farDigits(Math.abs(p.to_go_nm), unit), kind: "to-go" }
    : p?.state === "nose" ? { name: "nose", text: digits(p.nose_nm, unit), kind: "at-nose" }
    : { name: known ? "lift" : "indicator shows", text: lift === null ? (raw === undefined ? "–" : digits(raw, unit)) : digits(lift, unit), kind: "lift" };
  const max = a && a.count > 0 ? fromMm(a.max_lift_mm) : 0, u = a ? fromMm(a.max_lift_u_mm) : 0; // of the openings that count
  return html`<div class=${`figures-box ${big.kind}`} aria-hidden=${stale ? "true" : undefined}>
    <p class="giant"><span class="giant-digits" style=${{ "--ems": emsOf(big.text) }}>${big.text}</span> <span class="giant-name">
      ${big.name}, ${unit}</span></p>
    <dl class="smaller">
      ${big.kind !== "lift" && lift !== null ? html`<div><dt>lift</dt><dd>${digits(lift, unit)}</dd></div>` : null}
      ${p && p.half_nm > 0 ? html`<div class="is-target"><dt>half lift</dt><dd>${digits(p.half_nm, unit)}<${PlusMinus} u=${u / 2} unit=${unit} /><small>
        ${needleWords(p.half_nm, unit)}</small></dd></div>` : null}
      ${p && p.nose_nm > 0 && big.kind !== "at-nose" ? html`<div><dt>${p.settled ? "max lift" : "max lift so far"}</dt><dd>
        ${digits(max > 0 && p.settled ? max : p.nose_nm, unit)}${p.settled ? html`<${PlusMinus} u=${u} unit=${unit} />` : null}<small>${needleWords(p.nose_nm, unit)}</small></dd></div>` : null}
      ${raw !== undefined && known ? html`<div><dt>indicator shows</dt><dd>${digits(raw, unit)}</dd></div>` : null}
    </dl>
    ${stale ? html`<p class="stale-says"><${Mark} shape="cross" kind="bad" /> last known; nothing new is coming in</p>` : null}
  </div>`;
}

/** @param {{u: number, unit: import("../units.js").Unit}} props u in nanometres; 0: not known */
const PlusMinus = ({ u, unit }) => (u > 0 ? html`<span class="plus-minus"> ± ${roundedUp(u, unit)}</span>` : null);

/**
 * One large action under the thumb, and what is needed beside it: on a phone
 * everything of the present step stands on one screen.
 */
function ActBar() {
  const app = useApp();
  const prefs = usePart(app.prefs, (p) => p);
  const [name, act, why, can] = usePart(app.store, (s) => {
    const n = nextAction(s);
    return /** @type {const} */ ([n?.name, n?.act, n?.why, s.engine.openings.some((o) => !whyLeftOut(s.engine, o))]);
  });
  const action = name && act ? { name, act, why } : null, quiet = !(prefs.tone || prefs.speech);
  const mute = () => app.prefs.set({ ...prefs, tone: quiet, speech: quiet });
  const undo = usePart(app.undo, (u) => u);
  return html`<div class="act-bar">
    <button class="quiet act-side" onClick=${mute} aria-pressed=${quiet ? "true" : "false"}>${quiet ? "Muted" : "Mute"}</button>
    ${action ? html`<button class="act-main" onClick=${() => app.act(action.act)}>${action.name}${action.why ? html` <small>${action.why}</small>` : null}</button>` : null}
    ${undo ? html`<button class="quiet act-side" onClick=${undo.act}>${undo.name}</button>`
      : action && action.act !== "scratch" ? html`<button class="quiet act-side" disabled=${!can} onClick=${() => app.act("scratch")}>Leave out the last</button>` : null}</div>`;
}

/** For how long a hand that trembles over half lift does not shut the field, in milliseconds. */
const lingers = 1500;

/** For how long a height stands in a round before it is saved by itself, in milliseconds. */
const settles = 4000;

/**
 * The one field at half lift: by how much the adjuster end stands below the
 * valve end. It opens at half lift and goes when half lift is left, unless
 * somebody is typing in it or something is in it.
 * @param {{mood: string}} props
 */
function Height({ mood }) {
  const app = useApp();
  const [{ engine, valve }, unit, replay, round] = usePart(app.store, (s) => /** @type {const} */ ([s.bench, s.unit, Boolean(s.replay), s.round !== null]));
  const typed = useDraft(`height.${engine}.${valve}`, { nm: /** @type {number|null} */ (null) }), nm = typed.value.nm;
  const setNm = (/** @type {number|null} */ v) => typed.set({ nm: v });
  const [open, setOpen] = useState(false);
  const box = useRef(/** @type {HTMLFormElement|null} */ (null)), saving = useRef(false);
  const keep = async () => {
    if (nm === null || saving.current) return;
    saving.current = true;
    const nose = shown(app.store.get()).position?.nose_nm ?? 0;
    try {
      const at = `/engines/${encodeURIComponent(engine)}/trials`;
      const last = (await app.api.get(`${at}?valve=${encodeURIComponent(valve)}`)).at(-1);
      // What is under the stand is what was there last, until Trials says otherwise.
      const trial = await app.api.post(at, {
        valve, stack_mm: last?.stack_mm, pushrod_length_mm: last?.pushrod_length_mm, lash_mm: last?.lash_mm, adjuster_below_valve_mm: toMm(nm),
        max_lift_mm: nose > 0 ? toMm(nose) : undefined,
      });
      const stack = (last?.stack_mm ?? []).reduce((/** @type {number} */ sum, /** @type {number} */ s) => sum + fromMm(s), 0);
      const back = () => app.api.del(`/trials/${encodeURIComponent(trial.id)}?rev=${trial.rev}`).then(() => app.notify("The trial is deleted again."), (/** @type {Error} */ err) => app.notify(err.message, "problem"));
      app.notify(`Saved as a trial, with a stack of ${length(stack, unit)}. If that has changed, put it right under Trials.`, "said", { name: "Undo the trial", act: back });
      if (round) app.voice.say("The height is saved.");
      typed.done();
      setOpen(false);
    } catch (err) {
      app.notify(/** @type {Error} */ (err).message, "problem");
    } finally {
      saving.current = false;
    }
  };
  useEffect(() => {
    if (mood === "half") {
      setOpen(true);
      return undefined;
    }
    const leave = () => {
      if (!box.current?.contains(document.activeElement)) setOpen(false);
    };
    const soon = setTimeout(leave, lingers);
    const form = box.current; // who types in it leaves it when the focus does
    const left = () => setTimeout(leave);
    form?.addEventListener("focusout", left);
    return () => {
      clearTimeout(soon);
      form?.removeEventListener("focusout", left);
    };
  }, [mood, open]);
  // In a round no hand is free for a button: what was set is saved when half lift
  // is left and nobody goes on setting it.
  useEffect(() => {
    if (!round || mood === "half" || nm === null || !engine || !valve) return undefined;
    const soon = setTimeout(() => {
      if (Object.keys(typed.unread.texts).length === 0 && document.activeElement?.tagName !== "INPUT") void keep();
    }, settles);
    return () => clearTimeout(soon);
  }, [round, mood, nm, engine, valve]);
  if (replay || (!open && !typed.open)) return null; // in a replay nothing is measured
  return html`<${Form} class="height" formRef=${box} onSubmit=${keep} draft=${typed}>
    <${LengthField} label="Adjuster end below valve end, now" nm=${nm} unit=${unit} of="height"
      onChange=${setNm} hint="A minus: the adjuster end stands higher." />
    <div class="stepper" role="group" aria-label="In steps"><button type="button" class="quiet" onClick=${() => setNm(stepped(nm, -1, unit))} aria-label="Less">−</button>
      <button type="button" class="quiet" onClick=${() => setNm(stepped(nm, 1, unit))} aria-label="More">+</button></div>
    ${engine && valve ? html`<button
      disabled=${nm === null}>Save as a trial</button>` : html`<a class="button" href="#/engine">Choose the valve, to save it</a>`}
    ${engine && valve ? html`<a class="button quiet" href="#/trials">Photograph</a>` : null}
    <button type="button" class="quiet" onClick=${() => { setOpen(false); typed.done(); }}>Close</button>
  <//>`;
}

function Openings() {
  const [openings, findings, findingsOf, leftOut, noted, marks, agreement, all, id, valve, names, unit, replay] = usePart(useApp().store, (s) => {
    const c = shown(s);
    return /** @type {const} */ ([c.openings, c.findings, c.findingsOf, c.leftOut, c.noted, c.marks, c.agreement, c.faults, c.trace?.id, s.bench.valve, s.names, s.unit, Boolean(s.replay)]);
  });
  const channel = { openings, findings, findingsOf, leftOut, agreement, faults: all };
  const faults = channel.faults.filter((f) => f.kind !== "back-turn").slice(-3);
  const now = channel.openings.length > 0;
  const struck = (channel.findings?.left_out ?? []).map((s) => ({ o: s.opening, at: s.opening.t_nose_s, why: s.why }));
  const presses = pressesAt(openings, marks);
  const rows = now ? channel.openings.map((o, i) => ({ o, at: o.t_nose_s, why: replay ? "" : whyLeftOut(channel, o), presses: presses[i], note: noteAt(noted, o) }))
    : [...(channel.findings?.openings ?? []).map((o) => ({ o, at: o.t_nose_s, why: "" })), ...struck].sort((a, b) => a.at - b.at);
  const trace = replay ? 0 : now ? id : channel.findingsOf;
  if (rows.length === 0 && faults.length === 0) return html`<section class="openings"><h2>Openings</h2>
    <p class="hint">None yet. One opening is heel, nose, and heel again; each is listed here when the valve has come home.</p></section>`;
  const agreed = now ? agreementWords(channel.agreement, replay ? "" : valve, unit, names) : "";
  return html`<section class="openings"><h2>Openings${now || replay ? "" : html` <small>of trace ${channel.findingsOf}</small>`}</h2>
    ${faults.map((f) => html`<${FaultLine} fault=${f} unit=${unit} />`)}
    ${agreed ? html`<p class="agreement" role="status"><${Mark} shape=${channel.agreement?.agree ? "check" : channel.agreement?.count === 1 ? "ring" : "triangle"} kind=${channel.agreement?.agree ? "good" : ""} /> ${agreed}</p>` : null}
    ${rows.length ? html`<${OpeningRows} rows=${rows} trace=${trace ? String(trace) : ""} agreement=${now ? channel.agreement : null} unit=${unit} newestFirst />` : null}</section>`;
}

function TraceLine() {
  const app = useApp();
  const [t, marks] = usePart(app.store, (s) => /** @type {const} */ ([s.engine.trace, s.marks]), 900);
  if (!t) return html`<p class="trace-line hint">A trace begins by itself when the engine moves.</p>`;
  const end = () => app.api.post("/trace/end").catch((err) => app.notify(err.message, "problem"));
  const words = { recording: "Recording", kept: "Saved", behind: "The disk is behind", failed: "Not being saved" }[t.state] ?? t.state;
  const shape = t.state === "kept" ? "check" : t.state === "recording" ? "disc" : "triangle";
  return html`<p class="trace-line"><${Mark} shape=${shape} kind=${t.state === "failed" || t.state === "behind" ? "bad" : "good"} />
    <strong>${words}:</strong> ${t.id ? html`<a
      href=${`#/traces/${t.id}`}>trace ${t.id}</a>` : "this trace"}, ${t.seconds.toFixed(0)} s, ${t.on_disk_s.toFixed(0)} s of it on disk${marks ? `, ${marks} ${marks === 1 ? "mark" : "marks"} since this page was opened` : ""}${t.says ? `. ${t.says}` : ""}
    ${t.state === "recording" ? html` <button class="quiet" onClick=${end}>End this trace</button>` : null}</p>`;
}

/** What is heard, felt and typed: each can be muted, and is remembered here. */
function Calls() {
  const app = useApp();
  const prefs = usePart(app.prefs, (p) => p);
  const flip = (/** @type {"tone"|"speech"|"vibration"|"awake"|"round"} */ name) => () => {
    app.prefs.set({ ...prefs, [name]: !prefs[name] });
    if (name === "awake") app.wake.want(!prefs.awake);
  };
  /** @param {"tone"|"speech"|"vibration"|"awake"|"round"} name @param {string} label */
  const toggle = (name, label) => html`<button class="toggle" aria-pressed=${prefs[name] ? "true" : "false"} onClick=${flip(name)}>
    <${Mark} shape=${prefs[name] ? "check" : "cross"} /> ${label}</button>`;
  return html`<section class="calls"><h2>Heard and felt</h2>
    <div class="row">${toggle("tone", "Tone")}${toggle("speech", "Spoken calls")}${toggle("vibration", "Vibration")}${toggle("awake", "Keep screen on")}${toggle("round", "Hands-free round")}</div>
    ${prefs.round ? html`<p class="hint">When two openings of a valve agree, the bench says so and which valve is next, and goes on to that once the valve has rested on its heel. Leave the indicator until it says “now”; turning on cancels it. A height set at half lift is saved by itself when half lift is left. Valves that are measured already are left out, unless all are.</p>
    <label class="inline">Goes on after <select value=${String(prefs.rests)} onChange=${(/** @type {any} */ e) => app.prefs.set({ ...prefs, rests: Number(e.target.value) })}>
      ${[...new Set([3, 5, 10, 20, prefs.rests])].map((s) => html`<option value=${String(s)} selected=${s === prefs.rests}>${s} seconds of rest</option>`)}</select></label>` : null}
    ${prefs.awake && !app.wake.able ? html`<p class="hint">This browser does not keep the screen on here: it wants a secure address (https, or this computer itself). Set the screen's own time-out longer.</p>` : null}
    ${prefs.speech && !app.voice.able ? html`<p class="hint">This browser can not speak.</p>` : null}
    <p class="hint">A browser stays silent until the page is touched once. Key M mutes, key U switches inch and millimetre.</p>
    <details><summary>Keys of a pedal or presenter</summary>
      <div class="grid">${pedalKeys.map(([key, name]) => html`<label class="field"><span class="field-name">${name}</span>
        <select value=${prefs.keys[key] ?? "nothing"}
          onChange=${(/** @type {any} */ e) => app.prefs.set({ ...prefs, keys: { ...prefs.keys, [key]: e.target.value } })}>
          ${[["mark", "marks"], ["next", "next valve"], ["scratch", "leaves the last opening out"], ["step", "does what the step asks for"], ["nothing", "nothing"]].map(([v, t]) => html`<option value=${v}
            selected=${v === (prefs.keys[key] ?? "nothing")}>${t}</option>`)}
        </select></label>`)}</div></details>
  </section>`;
}

