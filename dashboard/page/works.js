// A form whose question is kept with the engine: it is filled from what was
// kept, answered by the daemon, and kept again after a good answer, so that the
// build sheet and every other browser have it. In this browser stays only what
// was not answered yet.

import { useEffect, useRef, useState } from "./lib/hooks.js";
import { html, Mark, Trouble, useApp, useOnlyShows, usePart } from "./ui.js";
import { readDraft, writeDraft } from "./kept.js";
import { useUnread } from "./unread.js";
import { kept, newestOf, notAsked } from "./questions.js";
import { onlyShows } from "./state.js";
import { when } from "./units.js";
import { query } from "./api.js";

/** @typedef {{id: string, rev: number, engine: string, valve?: string, kind: string, at: string, question: any}} Work */
/**
 * @typedef {object} Kept
 * @property {any} d what stands in the form
 * @property {(next: any) => void} setD
 * @property {any} answer
 * @property {string} error why there is no answer
 * @property {(question: any) => Promise<unknown>} ask answers a question, and keeps it when that went well
 * @property {KeptState} state
 * @property {import("./unread.js").Unread} unread texts in it that do not read
 *
 * @typedef {object} KeptState
 * @property {Work|null} work what is kept with the engine
 * @property {boolean} changed something was typed since
 * @property {boolean} older the answer on screen is of what was typed before
 * @property {boolean} over some of what was typed is not in the question
 * @property {boolean} clash somebody else kept another one meanwhile
 * @property {string} error why it could not be kept
 * @property {() => void} mine keeps it all the same
 * @property {() => void} theirs fills the form with what is kept
 */

/**
 * @param {import("./questions.js").Form} form
 * @param {any} engine
 * @param {string} valve "" for the whole engine
 * @returns {Kept}
 */
export function useWork(form, engine, valve) {
  const app = useApp();
  const unit = usePart(app.store, (s) => s.unit);
  const name = `${form.name}.${engine.id}${valve ? `.${valve}` : ""}`;
  const unread = useUnread(name), typed = useRef(/** @type {any} */ (undefined));
  if (typed.current === undefined) typed.current = readDraft(name);
  const [d, set] = useState(() => ({ ...form.blank(engine), ...typed.current }));
  const [answer, setAnswer] = useState(/** @type {any} */ (null));
  const [error, setError] = useState("");
  const [work, drawWork] = useState(/** @type {Work|null} */ (null));
  // What was kept last, also by an asking that the screen has not caught up
  // with: a button pressed twice must not clash with itself.
  const last = useRef(/** @type {Work|null} */ (null));
  const turn = useRef(/** @type {Promise<unknown>} */ (Promise.resolve()));
  const [clash, setClash] = useState(false);
  const [refused, setRefused] = useState("");
  const [over, setOver] = useState(false);
  const asked = useRef(/** @type {any} */ (null));
  const at = `/engines/${encodeURIComponent(engine.id)}/works`;

  const setWork = (/** @type {Work|null} */ w) => {
    last.current = w;
    drawWork(w);
  };
  /** @param {any} next what is typed, or null when it is done with */
  const note = (next) => {
    typed.current = next;
    writeDraft(name, next);
  };
  const setD = (/** @type {any} */ next) => {
    set(next);
    setOver(false);
    note(next);
  };
  /** @returns {Promise<Work|null>} */
  const newest = async () => newestOf(/** @type {Work[]} */ (await app.api.get(`${at}${query({ kind: form.kind, valve })}`)), valve);
  const solved = useRef(/** @type {any} */ (null)); // the question of the answer on screen
  const solve = async (/** @type {any} */ question) => {
    solved.current = question;
    setAnswer(await app.api.post(`/calc/${form.kind}${query({ engine: engine.id, valve, unit })}`, question));
    setError("");
  };

  /** Fills the form, and shows the answer again. @param {Work|null} w */
  const fill = (w) => {
    const draft = w && form.draft(w.question);
    if (!draft) return;
    set({ ...form.blank(engine), ...draft });
    solve(form.parts.length ? Object.fromEntries(Object.entries(w.question).filter(([part]) => form.parts.includes(part))) : w.question)
      .catch((/** @type {Error} */ err) => setError(err.message));
  };

  useEffect(() => {
    let gone = false;
    turn.current = newest().then((w) => {
      if (gone) return;
      setWork(w);
      if (!typed.current) fill(w);
    }, (err) => !gone && setRefused(err.message));
    return () => { gone = true; };
  }, []);

  // Its sentences come in the unit that was asked for.
  const worded = useRef(unit);
  useEffect(() => {
    if (worded.current === unit) return;
    worded.current = unit;
    if (solved.current) solve(solved.current).catch((/** @type {Error} */ err) => setError(err.message));
  }, [unit]);

  /** @param {{question: any, typed: any}} what @returns {Promise<void>} */
  async function keep(what) {
    const older = last.current;
    const question = kept(form, older?.question, what.question);
    try {
      setWork(older
        ? await app.api.put(`/works/${encodeURIComponent(older.id)}`, { id: older.id, rev: older.rev, engine: engine.id, valve, kind: form.kind, question })
        : await app.api.post(at, { kind: form.kind, valve, question }));
      const rest = what.typed !== null && notAsked(form, engine, what.typed, what.question);
      if (typed.current === what.typed) { // more may have been typed meanwhile
        setOver(rest);
        if (!rest) note(null);
      }
      setClash(false);
      setRefused("");
    } catch (err) {
      const { status, message } = /** @type {import("./api.js").ApiError} */ (err);
      if (status === 404 && older) { // somebody took it away: it is a new one then
        setWork(null);
        return keep(what);
      }
      setClash(status === 409);
      setRefused(status === 409 ? "" : message);
    }
  }

  /** @param {{question: any, typed: any}} what */
  async function answered(what) {
    asked.current = what;
    try {
      await solve(what.question);
    } catch (err) {
      setAnswer(null); // an older answer must not be taken for this one's
      setError(/** @type {Error} */ (err).message);
      return;
    }
    if (!onlyShows(app.store.get())) await keep(what);
  }

  const again = (/** @type {(w: Work|null) => unknown} */ then) => () => newest().then((w) => {
    setWork(w);
    setClash(false);
    setRefused("");
    return then(w);
  }).catch((/** @type {Error} */ err) => setRefused(err.message));

  return {
    d, setD, answer, error, unread,
    ask(question) {
      const what = { question, typed: typed.current };
      return (turn.current = turn.current.then(() => answered(what)));
    },
    state: {
      work: work && form.draft(work.question) ? work : null,
      changed: typed.current !== null || Object.keys(unread.texts).length > 0, older: answer !== null && typed.current !== null && asked.current?.typed !== typed.current, over, clash, error: refused,
      mine: again(() => asked.current && keep(asked.current)),
      theirs: again((w) => {
        if (!w || !form.draft(w.question)) return; // there is nothing of it any more
        note(null);
        unread.clear();
        setOver(false);
        fill(w);
      }),
    },
  };
}

/** Where what is typed stands: with the engine, or only here. @param {{state: KeptState}} props */
export function KeptLine({ state: { work, changed, older, over, clash, error, mine, theirs } }) {
  const looks = useOnlyShows();
  if (clash) return html`<div class="fault" role="alert"><p><${Mark} shape="triangle" /> <strong>Worked out, but not saved.</strong> Somebody saved another one with this engine since this screen was opened. Nothing of either is lost.</p>
    <p class="row"><button type="button" onClick=${mine}>Save mine in its place</button>
      <button type="button" class="quiet" onClick=${theirs}>Show theirs</button></p></div>`;
  const back = work && changed ? html` <button type="button" class="quiet" onClick=${theirs}>Discard what was typed</button>` : null;
  return html`${error ? html`<${Trouble} text=${`Not saved with the engine: ${error}`} />` : null}
    ${over ? html`<p class="fault" role="status"><${Mark} shape="triangle" /> <strong>Not all that is typed was used:</strong> something beside it is missing, as the material of a length, the other figure of a load, or the trace for a mass. It stays in this browser, and is not saved with the engine.</p>` : null}
    ${work || changed ? html`<p class="hint kept" role="status">${changed
      ? html`<${Mark} shape="ring" /> What is typed here is in this browser only${looks ? "" : ", until it is worked out and saved"}.${older ? " The figures below are of what stood here before." : ""}${back}`
      : html`<${Mark} shape="check" kind="good" /> Saved with the engine since ${when(work?.at ?? "")}; it stands on the build sheet.`}</p>` : null}`;
}
