// A form whose question is kept with the engine: it is filled from what was
// kept, answered by the daemon, and kept again after a good answer, so that the
// build sheet and every other browser have it. In this browser stays only what
// was not answered yet.

import { useEffect, useRef, useState } from "./lib/hooks.js";
import { html, Mark, Trouble, useApp } from "./ui.js";
import { readDraft, writeDraft } from "./draft.js";
import { kept, newestOf } from "./questions.js";
import { when } from "./units.js";
import { query } from "./api.js";

/** @typedef {{id: string, rev: number, engine: string, valve?: string, kind: string, at: string, question: any}} Work */
/**
 * @typedef {object} Kept
 * @property {any} d what stands in the form
 * @property {(next: any) => void} setD
 * @property {any} answer
 * @property {string} error why there is no answer
 * @property {(question: any) => Promise<void>} ask answers a question, and keeps it when that went well
 * @property {KeptState} state
 *
 * @typedef {object} KeptState
 * @property {Work|null} work what is kept with the engine
 * @property {boolean} changed something was typed since
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
  const name = `${form.name}.${engine.id}${valve ? `.${valve}` : ""}`;
  const typed = useRef(/** @type {any} */ (undefined));
  if (typed.current === undefined) typed.current = readDraft(name);
  const [d, set] = useState(() => ({ ...form.blank(engine), ...typed.current }));
  const [answer, setAnswer] = useState(/** @type {any} */ (null));
  const [error, setError] = useState("");
  const [work, setWork] = useState(/** @type {Work|null} */ (null));
  const [clash, setClash] = useState(false);
  const [refused, setRefused] = useState("");
  const asked = useRef(/** @type {any} */ (null));
  const at = `/engines/${encodeURIComponent(engine.id)}/works`;

  /** @param {any} next what is typed, or null when it is done with */
  const note = (next) => {
    typed.current = next;
    writeDraft(name, next);
  };
  const setD = (/** @type {any} */ next) => {
    set(next);
    note(next);
  };
  /** @returns {Promise<Work|null>} */
  const newest = async () => newestOf(/** @type {Work[]} */ (await app.api.get(`${at}${query({ kind: form.kind, valve })}`)), valve);
  const solve = async (/** @type {any} */ question) => {
    setAnswer(await app.api.post(`/calc/${form.kind}`, form.limited(question, engine)));
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
    newest().then((w) => {
      if (gone) return;
      setWork(w);
      if (!typed.current) fill(w);
    }, (err) => !gone && setRefused(err.message));
    return () => { gone = true; };
  }, []);

  /** @param {Work|null} older @param {{question: any, typed: any}} what */
  async function keep(older, what) {
    const question = kept(form, older?.question, what.question);
    try {
      setWork(older
        ? await app.api.put(`/works/${encodeURIComponent(older.id)}`, { id: older.id, rev: older.rev, engine: engine.id, valve, kind: form.kind, question })
        : await app.api.post(at, { kind: form.kind, valve, question }));
      if (typed.current === what.typed) note(null); // more may have been typed meanwhile
      setClash(false);
      setRefused("");
    } catch (err) {
      const { status, message } = /** @type {import("./api.js").ApiError} */ (err);
      setClash(status === 409);
      setRefused(status === 409 ? "" : message);
    }
  }

  const again = (/** @type {(w: Work|null) => unknown} */ then) => () => newest().then((w) => {
    setWork(w);
    setClash(false);
    setRefused("");
    return then(w);
  }).catch((/** @type {Error} */ err) => setRefused(err.message));

  return {
    d, setD, answer, error,
    async ask(question) {
      asked.current = { question, typed: typed.current };
      try {
        await solve(question);
      } catch (err) {
        setError(/** @type {Error} */ (err).message);
        return;
      }
      await keep(work, asked.current);
    },
    state: {
      work: work && form.draft(work.question) ? work : null,
      changed: typed.current !== null, clash, error: refused,
      mine: again((w) => asked.current && keep(w, asked.current)),
      theirs: again((w) => {
        note(null);
        fill(w);
      }),
    },
  };
}

/** Where what is typed stands: with the engine, or only here. @param {{state: KeptState}} props */
export function KeptLine({ state: { work, changed, clash, error, mine, theirs } }) {
  if (clash) return html`<div class="fault" role="alert"><p><${Mark} shape="triangle" /> <strong>Worked out, but not kept.</strong> Somebody kept another one with this engine since this screen was opened. Nothing of either is lost.</p>
    <p class="row"><button type="button" onClick=${mine}>Keep mine in its place</button>
      <button type="button" class="quiet" onClick=${theirs}>Show theirs</button></p></div>`;
  const back = work && changed ? html` <button type="button" class="quiet" onClick=${theirs}>Back to what is kept</button>` : null;
  return html`${error ? html`<${Trouble} text=${`Not kept with the engine: ${error}`} />` : null}
    ${work || changed ? html`<p class="hint kept" role="status">${changed
      ? html`<${Mark} shape="ring" /> What is typed here is in this browser only, until it is worked out.${back}`
      : html`<${Mark} shape="check" kind="good" /> Kept with the engine since ${when(work?.at ?? "")}; it stands on the build sheet.`}</p>` : null}`;
}
