// Whatever can be typed, in every field of every view, key by key: what the
// daemon then holds or is asked is exactly that, or it was refused where it was
// typed and the form was not sent. The fields are found by walking the views, so
// that a new one is in it. What a text means is worked out here by itself, in
// whole fractions, and not by the page's own reading. All of it takes many minutes:
// LOBESCRIBE_TYPED=all (as .ci/run sets it) or TYPED_ONLY=route,route asks for it.
// Otherwise the first field of each kind on each screen gets one text that means
// nothing and one that does.
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import { shoot } from "./stand.mjs";
import { onTheMule } from "./mule.mjs";
import { at, changed, fields, leaves, meaning, samples } from "./typing.mjs";

/** @type {Awaited<ReturnType<typeof onTheMule>>} */ let stand;
/** @type {typeof stand.d} */ let d;
/** @type {typeof stand.page} */ let page;
/** @type {typeof stand.typist.api} */ let api;
/** @type {typeof stand.typist.settled} */ let settled;
/** @type {typeof stand.typist.show} */ let show;
/** @type {typeof stand.typist.screens} */ let screens;
before(async () => {
  stand = await onTheMule();
  ({ d, page, typist: { api, settled, show, screens } } = stand);
});
after(async () => {
  if (page) await shoot(page, "typed-last");
  await stand?.end();
});

/** What the daemon keeps, without what counts its changes. @returns {Promise<Record<string, string>>} by path, as JSON */
async function held() {
  const [engines, trials, works, trace, settings] = await Promise.all(["/engines", `${at}/trials`, `${at}/works`, "/traces/1", "/settings"].map((path) => api("GET", path)));
  const all = { engines, trials, works, trace: { engine: trace.engine, valve: trace.valve, trial: trace.trial, remark: trace.remark, away: trace.put_away, left_out: trace.head.left_out }, settings };
  /** @type {Record<string, string>} */
  const flat = {};
  leaves(all, "", flat);
  return Object.fromEntries(Object.entries(flat).filter(([path]) => !/\.(rev|at|id|curve|tdc\.method|tdc\.on)(\.|$)/.test(path)));
}

/** One text of each sort. @param {{bad: string[], good: string[]}} all */
const one = ({ bad, good }) => ({ bad: bad.slice(0, 1), good: good.slice(0, 1) });

test("what is typed is what is kept, in every field of every view", { timeout: 3_600_000 }, async () => {
  const wrong = [], none = [], forms = new Map(); // one view may have two addresses
  let fieldCount = 0, kept = 0, refused = 0;
  const all = await screens();
  assert.ok(all.length >= 12, `only ${all} were found`);
  // The bench waits for half lift, so it comes first, and then the simulator rests:
  // drawing what it says would take most of the time. Devices may end it for good.
  const place = (/** @type {string} */ route) => (route === "bench" ? 0 : route === "devices" ? 2 : 1);
  const only = process.env.TYPED_ONLY?.split(","), whole = only !== undefined || process.env.LOBESCRIBE_TYPED === "all";
  for (const route of all.sort((a, z) => place(a) - place(z))) {
    if (only && !only.includes(route)) continue;
    if (route !== "bench") await stand.rest();
    const began = Date.now();
    await show(route);
    const labels = await page.locator(fields).evaluateAll((found) => found.map((f) => ({ kind: f.getAttribute("data-kind"), label: document.querySelector(`label[for="${f.id}"]`)?.textContent?.trim() ?? f.id })));
    const form = JSON.stringify(labels);
    if (labels.length && forms.has(form)) { console.log(`${route}: the same fields as ${forms.get(form)}`); continue; }
    forms.set(form, route);
    const kinds = new Set();
    for (const [n, { kind, label }] of labels.entries()) {
      const name = `${route}: ${label} (${n})`;
      if (!kind) { wrong.push(`${name}: a field that is none of fields.js`); continue; }
      fieldCount++;
      if (!whole && kinds.has(kind)) continue;
      kinds.add(kind);
      await forget(); // neither a red field nor one that was refused may hold up the next
      await show(route, n);
      const first = await page.locator(fields).nth(n).inputValue();
      const { bad, good } = whole ? samples(kind, first, n) : one(samples(kind, first, n));
      let accepted = 0;
      // What is refused is refused where it is typed; that the form is not sent with it is tried with one of them.
      for (const text of bad.slice(1)) {
        const became = await typeOnly(page.locator(fields).nth(n), text);
        if (became !== text) wrong.push(`${name}: ${JSON.stringify(text)} became ${JSON.stringify(became)} while it was typed`);
        else if (!(await page.locator(fields).nth(n).getAttribute("aria-invalid"))) wrong.push(`${name}: ${JSON.stringify(text)} was kept`);
        else refused++;
      }
      for (const text of [...bad.slice(0, 1), ...good, ...(first === "" ? [] : [first])]) {
        const result = await type(route, n, kind, text);
        if (result === "kept") { accepted++; kept++; }
        else if (result === "refused") refused++;
        else wrong.push(`${name}: ${JSON.stringify(text)} ${result}`);
        if (bad.includes(text) && result === "kept") wrong.push(`${name}: ${JSON.stringify(text)} was kept`);
      }
      if (accepted === 0) none.push(`${name} took none of ${good.join(" | ")}`);
      console.log(`${name}: ${accepted} kept`);
    }
    console.log(`${route}: ${labels.length} fields in ${((Date.now() - began) / 1000).toFixed(0)} s`);
  }
  console.log(`${fieldCount} fields, ${kept} texts kept exactly, ${refused} refused`);
  assert.deepEqual([...wrong, ...none], []);
  assert.ok(only || fieldCount >= 150, `only ${fieldCount} fields were found`);
});

/** What was held after the last typing. @type {Record<string, string>|null} */
let known = null;

/**
 * Types a text over what stands in a field, key by key, and leaves it.
 * @param {import("playwright-core").Locator} field @param {string} text
 * @returns {Promise<string>} what stood there when the last key was pressed
 */
async function typeOnly(field, text) {
  await field.click();
  await field.press("ControlOrMeta+a");
  await field.press("Delete");
  await field.pressSequentially(text);
  const typed = await field.inputValue();
  await field.press("Tab");
  return typed;
}

/**
 * Types a text and sends the form: "kept", "refused", or what went wrong.
 * @param {string} route @param {number} n @param {string} kind @param {string} text
 */
async function type(route, n, kind, text) {
  await show(route, n);
  const before = known ?? await held(), bench = await api("GET", "/bench");
  /** @type {string[]} */ const asked = [];
  const listen = (/** @type {import("playwright-core").Request} */ r) => {
    const url = new URL(r.url());
    if (!url.pathname.startsWith("/api/v1/") || /\/(ports|live|settings|bench|healthz)$/.test(url.pathname)) return;
    const flat = /** @type {Record<string, string>} */ ({});
    leaves(Object.fromEntries(url.searchParams), "", flat);
    if (r.postData()) leaves(r.postDataJSON(), "", flat);
    asked.push(...Object.values(flat));
  };
  page.on("request", listen);
  const field = page.locator(fields).nth(n);
  const typed = await typeOnly(field, text);
  if (typed !== text) return `became ${JSON.stringify(typed)} while it was typed`;
  const invalid = await field.getAttribute("aria-invalid");
  // Sent: by its form's button, or that of its block.
  const send = await field.evaluateHandle((f) => f.closest("form")?.querySelector("button:not([type=button])") ?? f.closest("[data-fields]")?.querySelector("p > button:not(.quiet)") ?? null);
  const button = send.asElement();
  if (button && !invalid && !(await button.isEnabled())) await complete(field);
  if (button && (await button.isEnabled())) await button.click();
  await settled();
  page.off("request", listen);
  const after = await held(), diff = changed(before, after);
  known = await tidy(bench) ? null : after;
  if (invalid) {
    if (diff.length) return `was refused, but ${JSON.stringify(diff)} changed`;
    if (button && !(await field.evaluate((f) => f === document.activeElement)) && (await button.isEnabled())) return "was refused, but the form did not go to it";
    return "refused";
  }
  const want = meaning(kind, text);
  const same = (/** @type {string|undefined} */ got) => want.some((w) => got === w || (kind === "word" && got !== undefined && decodeURIComponent(got).includes(text))
    || (w.length > 3 && !Number.isNaN(Number(w)) && Math.abs(Number(got) - Number(w)) < 1e-9 * Math.abs(Number(w))));
  if (diff.some((c) => same(c.now)) || (diff.length === 0 && (asked.some(same) || Object.entries(before).some(([, v]) => same(v))))) return "kept";
  if (want.includes("0") && diff.every((c) => c.now === undefined)) return "kept"; // zero is what is absent
  if (diff.length === 0 && (await page.getByText("Not all that is typed was used").count()) && (await stands(route, n))) return "kept"; // here, and it is said
  const says = await page.locator(".trouble, .notices .problem").allInnerTexts();
  return says.length && diff.length === 0 ? "refused" : `should have become ${want[0] ?? "a refusal"}; changed: ${JSON.stringify(diff).slice(0, 300)}; asked ${asked.slice(0, 6)}; says ${says}`;
}

/** Whether something stands in a field after its screen was left and opened again. @param {string} route @param {number} n */
async function stands(route, n) {
  await page.goto(`${d.url}/#/help`);
  await page.locator("main.view-help h1").waitFor();
  await show(route, n);
  return (await page.locator(fields).nth(n).inputValue()) !== "";
}

/** What was typed and not saved is gone. */
async function forget() {
  await page.evaluate(() => { for (const name of Object.keys(localStorage)) if (name.startsWith("lobescribe.draft.")) localStorage.removeItem(name); });
  await page.goto(`${d.url}/#/help`);
  await page.locator("main.view-help h1").waitFor();
}

/** Fills what else a form waits for before it can be sent, what stands beside the field first. @param {import("playwright-core").Locator} field */
async function complete(field) {
  const others = await field.evaluate((f, all) => [...(f.closest("form, [data-fields]")?.querySelectorAll("input") ?? [])].filter((e) => e !== f && e.value === "")
    .sort((a, b) => Number(f.closest(".grid")?.contains(b) ?? false) - Number(f.closest(".grid")?.contains(a) ?? false))
    .map((e) => ({ kind: e.dataset.kind ?? "", n: [...document.querySelectorAll(all)].indexOf(e) })), fields);
  for (const { kind, n } of others.slice(0, 2)) await page.locator(fields).nth(n).fill(kind === "text" ? "a second one" : samples(kind, "", n).good[0]);
}

/** What a form made a new thing of is taken away again. @param {any} bench */
async function tidy(bench) {
  let gone = false, less = false;
  for (const e of await api("GET", "/engines")) if (e.id !== "bench-mule") { await api("DELETE", `/engines/${e.id}?rev=${e.rev}`); gone = true; }
  for (const t of (await api("GET", `${at}/trials`)).slice(1)) { await api("DELETE", `/trials/${t.id}?rev=${t.rev}`); less = true; }
  // A reason was typed: the point is open again, the opening and the trace count again.
  const trace = await api("GET", "/traces/1");
  let again = false;
  for (const { item } of (await api("GET", at)).waived ?? []) { await api("DELETE", `${at}/gate/${item}`); again = true; }
  for (const { from_s: from } of trace.head.left_out ?? []) { await api("DELETE", `/traces/1/left-out?t_s=${from}`); again = true; }
  if (trace.put_away) { await api("PATCH", "/traces/1", { put_away: "" }); again = true; }
  if (gone) await api("PUT", "/bench", bench);
  if (gone || again) {
    await page.goto(`${d.url}/#/help`);
  }
  return gone || less || again;
}
