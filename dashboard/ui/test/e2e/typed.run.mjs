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
import { browser, daemon, openPage, shoot } from "./stand.mjs";

/** @type {Awaited<ReturnType<typeof daemon>>} */ let d;
/** @type {import("playwright-core").Browser} */ let b;
/** @type {import("playwright-core").Page} */ let page;
before(async () => {
  d = await daemon(["demo", "--speed", "4", "--hand", "smooth"]);
  b = await browser();
  ({ page } = await openPage(b));
  page.on("request", () => void open++);
  page.on("requestfinished", () => void open--);
  page.on("requestfailed", () => void open--);
  page.on("dialog", (dialog) => dialog.accept());
  await page.addInitScript(() => localStorage.setItem("lobescribe", '{"cautioned":true,"ended":true}'));
  await page.goto(d.url);
  await page.locator(".openings tbody tr").first().waitFor();
  await page.getByRole("button", { name: "End this trace" }).click();
  await page.goto(`${d.url}/#/traces`);
  await page.locator(".card-figure", { hasText: /^\d+\.\d+/ }).first().waitFor();
  await fill();
});
after(async () => {
  await shoot(page, "typed-last");
  await b?.close();
  await d?.end();
});

/** Requests that are not answered yet. */
let open = 0;

/** The page has drawn, what it asked is answered, and it has drawn the answer. */
async function settled() {
  for (let quiet = 0; quiet < 2; quiet = open > 0 ? 0 : quiet + 1) await page.evaluate(() => new Promise((drawn) => requestAnimationFrame(() => setTimeout(drawn, 0))));
}

const api = async (/** @type {string} */ method, /** @type {string} */ path, /** @type {any} */ data = undefined) => {
  const answer = await page.request.fetch(`${d.url}/api/v1${path}`, { method, ...(data === undefined ? {} : { data }) });
  assert.ok(answer.ok(), `${method} ${path}: ${answer.status()} ${await answer.text()}`);
  const text = await answer.text();
  return text === "" ? null : JSON.parse(text);
};
const at = "/engines/bench-mule";

/** Documents of every kind with something at every place. Lengths in inches of few digits. */
async function fill() {
  const i = (/** @type {number} */ inches) => Math.round(inches * 25.4e6) / 1e6;
  const engine = await api("GET", at);
  await api("PUT", at, {
    ...engine, type: "mule", rotation: "clockwise", stroke_mm: i(3.5), rod_mm: i(5.6875), rocker_ratio: { intake: 1.55, exhaust: 1.5 }, rocker_arm_mm: i(1.5), adjuster_arm_mm: i(0.96875), tdc: { angle_deg: 3.25, method: "typed", on: "2026-11-25" },
    pushrod: { material: "steel", diameter_mm: i(0.3125), wall_mm: i(0.08), ends: "ball-ball", ball_diameter_mm: i(0.3125) },
    cam_card: { checking_lift_mm: i(0.05), io_btdc_deg: 12, ic_abdc_deg: 48.5, eo_bbdc_deg: 50, ec_atdc_deg: 10, lobe_separation_deg: 108, max_lift_intake_mm: i(0.45), max_lift_exhaust_mm: i(0.46), lash_intake_mm: i(0.01), lash_exhaust_mm: i(0.012) },
    limits: { piston_to_valve_intake_mm: i(0.08), piston_to_valve_exhaust_mm: i(0.1), coil_bind_mm: i(0.06), retainer_mm: i(0.05), rocker_mm: i(0.06) },
    shims_on_hand: [{ thickness_mm: i(0.015), count: 3 }], order: ["1I", "1E", "3I"], notes: "one line",
  });
  const trial = { valve: "1I", stack_mm: [0.4, i(0.03)], pushrod_length_mm: i(8.6875), lash_mm: i(0.01), adjuster_below_valve_mm: i(0.12), sweep_mm: i(0.06), max_lift_mm: i(0.44), remark: "as bought" };
  await api("POST", `${at}/trials`, trial);
  await api("POST", `${at}/works`, { kind: "pushrod", question: {
    rods: [{ valve: "1I", checking_rod_mm: i(8.6) }, { valve: "1E", checking_rod_mm: i(8.5) }], measured: "gauge", gauge_diameter_mm: i(0.14), ends: [{ length_mm: i(0.5), press_depth_mm: i(0.25), ball_diameter_mm: i(0.3125) }],
    stack_change_mm: i(0.015), adjuster_down_mm: i(0.02), thread_left_mm: i(0.2), preload_mm: i(0.03), step_mm: i(0.005), rocker_ratio: 1.55,
    lash: { rod: [{ material: "steel 4130" }], stack: [{ material: "aluminium 6061", length_mm: i(5) }, { material: "grey iron", length_mm: i(3) }], warmer_k: 70, hot_lash_mm: i(0.004) } } });
  await api("POST", `${at}/works`, { kind: "clearance", valve: "1I", question: { coil_bind: { installed_height_mm: i(1.75), solid_height_mm: i(1.1), lift_mm: i(0.44) }, retainer: { closed_gap_mm: i(0.6), lift_mm: i(0.44) },
    slot: { slot_length_mm: i(0.9), stud_diameter_mm: i(0.375), height_mm: i(0.3), closed_deg: -10, full_deg: 12, centred_deg: 1 } } });
  await api("POST", `${at}/works`, { kind: "spring", valve: "1I", question: { loads: [{ height_mm: i(1.75), load_n: 489.30437907 }, { height_mm: i(1.25), load_n: 1200 }], wire_mm: i(0.18), outer_diameter_mm: i(1.3), total_coils: 6.5, ends: "closed ground",
    installed_height_mm: i(1.75), lift_mm: i(0.44), free_length_mm: i(2.1), solid_height_mm: i(1.1) } });
}

/** What the daemon keeps, without what counts its changes. @returns {Promise<Record<string, string>>} by path, as JSON */
async function held() {
  const [engines, trials, works, trace, settings] = await Promise.all(["/engines", `${at}/trials`, `${at}/works`, "/traces/1", "/settings"].map((path) => api("GET", path)));
  const all = { engines, trials, works, trace: { engine: trace.engine, valve: trace.valve, trial: trace.trial, remark: trace.remark }, settings };
  /** @type {Record<string, string>} */
  const flat = {};
  leaves(all, "", flat);
  return Object.fromEntries(Object.entries(flat).filter(([path]) => !/\.(rev|at|id|curve|tdc\.method|tdc\.on)(\.|$)/.test(path)));
}

/** Leaves by path; lists of plain values stay whole. @param {any} v @param {string} path @param {Record<string, string>} into */
function leaves(v, path, into) {
  if (v === null || typeof v !== "object") into[path] = JSON.stringify(v);
  else if (Array.isArray(v) && v.every((x) => typeof x !== "object")) into[path] = JSON.stringify(v);
  else for (const [k, x] of Object.entries(v)) leaves(x, `${path}.${Array.isArray(v) && x?.id ? x.id : k}`, into);
}

/** @param {Record<string, string>} was @param {Record<string, string>} now */
const changed = (was, now) => [...new Set([...Object.keys(was), ...Object.keys(now)])].filter((p) => was[p] !== now[p]).map((p) => ({ path: p, was: was[p], now: now[p] }));

/** Nanometres of a text in inches, or null when it means nothing: whole fractions only. @param {string} text */
function nanometresOf(text) {
  const m = /^(-?)(?:(\d+)[ -])?(\d+)\/(\d+)( mm| thou| in)?$|^(-?)(\d*)\.?(\d*)( mm| thou| in)?$/.exec(text.trim());
  if (!m || /^-?\.?$/.test(text.trim().replace(/ (mm|thou|in)$/, ""))) return null;
  const one = { " mm": 1_000_000n, " thou": 25_400n }[m[5] ?? m[9] ?? ""] ?? 25_400_000n;
  const [above, below] = m[3] ? [BigInt(m[2] ?? 0) * BigInt(m[4]) + BigInt(m[3]), BigInt(m[4])] : [BigInt(m[7] + m[8]), 10n ** BigInt(m[8].length)];
  const nm = Number((above * one * 2n + below) / (below * 2n));
  return (m[1] || m[6]) === "-" ? -nm : nm;
}

const lbf = 4.4482216152605;

/**
 * What would have to be held for a text, as JSON leaves; none: it must be refused.
 * @param {string} kind @param {string} text @returns {string[]}
 */
function meaning(kind, text) {
  const mm = (/** @type {string} */ t) => { const nm = nanometresOf(t); return nm === null ? NaN : nm / 1e6; };
  const number = /^-?(\d+\.?\d*|\.\d+)$/.test(text) ? Number(text) : NaN;
  switch (kind) {
    case "length": return Number.isNaN(mm(text)) ? [] : [JSON.stringify(mm(text))];
    case "lengths": { const all = text.split("+").map(mm); return all.some(Number.isNaN) ? [] : [JSON.stringify(all)]; }
    case "number": case "whole": return Number.isNaN(number) ? [] : [JSON.stringify(number), JSON.stringify(number * lbf)];
    case "cylinders": return [JSON.stringify(text.split("-").map(Number))];
    case "valves": return [JSON.stringify(text.split(" "))];
    case "text": case "word": case "checks": return [JSON.stringify(text)];
    default: throw new Error(`a field of a new kind, ${kind}: say here what a text in it means`);
  }
}

/** What is typed into a field that shows now. @param {string} kind @param {string} now */
function samples(kind, now) {
  const v = Number(now), near = Number.isFinite(v) && now !== "" ? v : null;
  const sixteenths = near === null ? 4 : Math.round(near * 64);
  const rule = `${Math.abs(sixteenths) >= 64 ? `${Math.trunc(sixteenths / 64)} ` : sixteenths < 0 ? "-" : ""}${(Math.abs(sixteenths) % 64) | 1}/64`;
  switch (kind) {
    case "length": return { bad: ["six", "1.2.3", "8 11/61", "400", "-", "7 furlongs"], good: [...(near === null ? ["0.015", "0.5", "8 11/16"] : [String(Number((near * 1.002 + 0.0005).toFixed(4))), `${(near * 25.4).toFixed(2)} mm`, `${Math.round(near * 1000)} thou`, rule])] };
    case "lengths": return { bad: ["0.015 0.030", "0.015 +", "15", "six"], good: ["0.015 + 0.030", "1/32 + 0.40 mm", "0.015"] };
    case "number": return { bad: ["six", "1e3", "0x10", "1 2", "9999999999"], good: near === null ? ["10.5", "1.5"] : [String(Number((near * 1.01).toFixed(3))), `${(near * 1.02).toFixed(4)}`] };
    case "whole": return { bad: ["six", "2.5", "99999"], good: near === null ? ["4"] : [String(near + 1), String(near)] };
    case "cylinders": return { bad: ["1342", "1-3-4", "1-3-3-2", "one"], good: ["1-2-4-3"] };
    case "valves": return { bad: ["1I1E", "9I", "1I 1I"], good: ["1I 1E 2I", "4E 1I"] };
    case "checks": return { bad: ["six", "0.05 furlong"], good: ["0.006 in, 2 mm"] };
    case "word": return { bad: [], good: ["7"] };
    default: return { bad: [], good: ["a b-c, d 0.015", "2I"] };
  }
}

/** One text of each sort. @param {{bad: string[], good: string[]}} all */
const one = ({ bad, good }) => ({ bad: bad.slice(0, 1), good: good.slice(0, 1) });

const fields = "main :is(input:not([type=range]):not([type=file]):not([type=checkbox]), textarea)";

/** Opens all that can be opened on a screen. */
async function unfold() {
  await page.locator("h1").first().waitFor();
  await settled();
  await page.evaluate(() => {
    for (const more of document.querySelectorAll('main button[aria-expanded="false"]')) /** @type {HTMLElement} */ (more).click();
    for (const e of document.querySelectorAll("main details")) /** @type {HTMLDetailsElement} */ (e).open = true;
  });
}

/** Every screen that a link leads to, from the rail on. */
async function screens() {
  const seen = new Set(), queue = ["bench"];
  while (queue.length) {
    const route = /** @type {string} */ (queue.shift());
    if (seen.has(route) || seen.size > 40) continue;
    seen.add(route);
    await page.goto(`${d.url}/#/${route}`);
    await unfold();
    for (const href of await page.locator('nav a[href^="#/"], main a[href^="#/"]').evaluateAll((all) => all.map((a) => a.getAttribute("href") ?? ""))) {
      const to = href.slice(2).split("?")[0];
      if (!/^help\/|^traces\/(?!1$)|^compare|^shop/.test(to)) queue.push(to);
    }
  }
  return [...seen];
}

test("what is typed is what is kept, in every field of every view", { timeout: 1_500_000 }, async () => {
  const wrong = [], none = [];
  let fieldCount = 0, kept = 0, refused = 0;
  const all = await screens();
  assert.ok(all.length >= 12, `only ${all} were found`);
  // The bench waits for half lift, so it comes first, and then the simulator rests:
  // drawing what it says would take most of the time. Devices may end it for good.
  const place = (/** @type {string} */ route) => (route === "bench" ? 0 : route === "devices" ? 2 : 1);
  const only = process.env.TYPED_ONLY?.split(","), whole = only !== undefined || process.env.LOBESCRIBE_TYPED === "all";
  for (const route of all.sort((a, z) => place(a) - place(z))) {
    if (only && !only.includes(route)) continue;
    if (route !== "bench") await page.request.post(`${d.url}/api/v1/simulator`, { data: { on: false }, headers: { Origin: d.url } });
    const began = Date.now();
    await show(route);
    const labels = await page.locator(fields).evaluateAll((found) => found.map((f) => ({ kind: f.getAttribute("data-kind"), label: document.querySelector(`label[for="${f.id}"]`)?.textContent?.trim() ?? f.id })));
    const kinds = new Set();
    for (const [n, { kind, label }] of labels.entries()) {
      const name = `${route}: ${label} (${n})`;
      if (!kind) { wrong.push(`${name}: a field that is none of fields.js`); continue; }
      fieldCount++;
      if (!whole && kinds.has(kind)) continue;
      kinds.add(kind);
      await show(route, n);
      const first = await page.locator(fields).nth(n).inputValue();
      const { bad, good } = whole ? samples(kind, first) : one(samples(kind, first));
      let accepted = 0;
      for (const text of [...bad, ...good, ...(first === "" ? [] : [first])]) {
        const result = await type(route, n, kind, text);
        if (result === "kept") { accepted++; kept++; }
        else if (result === "refused") refused++;
        else wrong.push(`${name}: ${JSON.stringify(text)} ${result}`);
        if (result !== "kept" && text === (first || good.at(-1))) await page.goto(`${d.url}/#/help`); // a red field must not hold up the next one
        if (bad.includes(text) && result === "kept") wrong.push(`${name}: ${JSON.stringify(text)} was kept`);
      }
      if (accepted === 0) none.push(`${name} took none of ${good.join(" | ")}`);
      console.log(`${name}: ${accepted} kept`);
    }
    console.log(`${route}: ${labels.length} fields in ${((Date.now() - began) / 1000).toFixed(0)} s`);
  }
  console.log(`${fieldCount} fields, ${kept} texts kept exactly, ${refused} refused`);
  assert.deepEqual([...wrong, ...none], []);
  assert.ok(only || fieldCount >= 100, `only ${fieldCount} fields were found`);
});

/** The screen, unfolded, with as many fields as are needed. @param {string} route @param {number} [n] */
async function show(route, n = 0) {
  if (!page.url().endsWith(`/#/${route}`)) await page.goto(`${d.url}/#/${route}`);
  await unfold();
  if (route === "bench") return page.locator(".height input").waitFor({ timeout: 120_000 }); // it opens at half lift
  for (let i = 0; i < 40 && (await page.locator(fields).count()) <= n; i++) await page.waitForTimeout(100);
}

/** What was held after the last typing. @type {Record<string, string>|null} */
let known = null;

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
  await field.click();
  await field.press("ControlOrMeta+a");
  await field.press("Delete");
  await field.pressSequentially(text);
  const typed = await field.inputValue();
  if (typed !== text) return `became ${JSON.stringify(typed)} while it was typed`;
  await field.press("Tab");
  const invalid = await field.getAttribute("aria-invalid");
  // Sent: by its form's button, or that of its block.
  const send = await field.evaluateHandle((f) => f.closest("form")?.querySelector("button:not([type=button])") ?? f.closest("[data-fields]")?.querySelector("p > button") ?? null);
  const button = send.asElement();
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
  const same = (/** @type {string|undefined} */ got) => want.some((w) => got === w || (kind === "word" && got !== undefined && decodeURIComponent(got).includes(text)) || (kind === "checks" && got === '"0.1524mm,2mm"')
    || (w.length > 3 && !Number.isNaN(Number(w)) && Math.abs(Number(got) - Number(w)) < 1e-9 * Math.abs(Number(w))));
  if (diff.some((c) => same(c.now)) || (diff.length === 0 && (asked.some(same) || Object.entries(before).some(([, v]) => same(v))))) return "kept";
  if (want.includes("0") && diff.every((c) => c.now === undefined)) return "kept"; // nought is what is absent
  const says = await page.locator(".trouble, .notices .amiss").allInnerTexts();
  return says.length && diff.length === 0 ? "refused" : `should have become ${want[0] ?? "a refusal"}; changed: ${JSON.stringify(diff).slice(0, 300)}; asked ${asked.slice(0, 6)}; says ${says}`;
}

/** What a form made anew is taken away again. @param {any} bench */
async function tidy(bench) {
  let gone = false, less = false;
  for (const e of await api("GET", "/engines")) if (e.id !== "bench-mule") { await api("DELETE", `/engines/${e.id}?rev=${e.rev}`); gone = true; }
  for (const t of (await api("GET", `${at}/trials`)).slice(1)) { await api("DELETE", `/trials/${t.id}?rev=${t.rev}`); less = true; }
  if (gone) {
    await api("PUT", "/bench", bench);
    await page.goto(`${d.url}/#/help`);
  }
  return gone || less;
}
