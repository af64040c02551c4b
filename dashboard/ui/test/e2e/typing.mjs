// Typing into the page as somebody does, for the runs that try every field: an
// engine with something at every place, the screens that links lead to, all
// folded out, and what may be typed into a field of each kind.
import assert from "node:assert/strict";
import { watch } from "./stand.mjs";

export const at = "/engines/bench-mule";
export const fields = "main :is(input:not([type=range]):not([type=file]):not([type=checkbox]), textarea)";

/**
 * @param {import("playwright-core").Page} page
 * @param {{url: string}} d the daemon
 */
export function createTypist(page, d) {
  const settled = watch(page);

  const api = async (/** @type {string} */ method, /** @type {string} */ path, /** @type {any} */ data = undefined) => {
    const answer = await page.request.fetch(`${d.url}/api/v1${path}`, { method, ...(data === undefined ? {} : { data }) });
    assert.ok(answer.ok(), `${method} ${path}: ${answer.status()} ${await answer.text()}`);
    const text = await answer.text();
    return text === "" ? null : JSON.parse(text);
  };

  /** Documents of every kind with something at every place. Lengths in inches of few digits. */
  async function fill() {
    const i = (/** @type {number} */ inches) => Math.round(inches * 25.4e6) / 1e6;
    const engine = await api("GET", at);
    await api("PUT", at, {
      ...engine, type: "mule", rotation: "clockwise", stroke_mm: i(3.5), rod_mm: i(5.6875), rocker_ratio: { intake: 1.55, exhaust: 1.5 }, rocker_arm_mm: i(1.5), rocker_tip: "pad", rocker_tip_radius_mm: i(0.75), adjuster_arm_mm: i(0.96875), tdc: { angle_deg: 3.25, method: "typed", on: "2026-11-25" },
      pushrod: { material: "steel", diameter_mm: i(0.3125), wall_mm: i(0.08), ends: "ball-ball", ball_diameter_mm: i(0.3125) },
      cam_card: { checking_lift_mm: i(0.05), io_btdc_deg: 12, ic_abdc_deg: 48.5, eo_bbdc_deg: 50, ec_atdc_deg: 10, lobe_separation_deg: 108, max_lift_intake_mm: i(0.45), max_lift_exhaust_mm: i(0.46), lash_intake_mm: i(0.01), lash_exhaust_mm: i(0.012) },
      limits: { piston_to_valve_intake_mm: i(0.08), piston_to_valve_exhaust_mm: i(0.1), coil_bind_mm: i(0.06), retainer_mm: i(0.05), rocker_mm: i(0.06) },
      shims_on_hand: [{ thickness_mm: i(0.015), count: 3 }], order: ["1I", "1E", "3I"], valve_names: { "3E": "A7", "2I": "No.2 In" }, notes: "one line",
    });
    const trial = { valve: "1I", stack_mm: [0.4, i(0.03)], pushrod_length_mm: i(8.6875), lash_mm: i(0.01), adjuster_below_valve_mm: i(0.12), sweep_mm: i(0.06), max_lift_mm: i(0.44), remark: "as bought" };
    const { id } = await api("POST", `${at}/trials`, trial);
    const picture = await page.evaluate(() => {
      const c = document.createElement("canvas");
      c.width = c.height = 64;
      c.getContext("2d")?.fillRect(0, 0, 64, 64);
      return c.toDataURL("image/jpeg").split(",")[1];
    });
    await api("POST", `/trials/${id}/photographs`, { picture, marks: { at_lift_mm: i(0.22), known_mm: i(1.5), camera_within_deg: 4 } });
    await api("POST", `${at}/works`, { kind: "pushrod", question: {
      rods: [{ valve: "1I", checking_rod_mm: i(8.6) }, { valve: "1E", checking_rod_mm: i(8.5) }], measured: "gauge", gauge_diameter_mm: i(0.14), ends: [{ length_mm: i(0.5), press_depth_mm: i(0.25), ball_diameter_mm: i(0.3125) }],
      stack_change_mm: i(0.015), adjuster_down_mm: i(0.02), thread_left_mm: i(0.2), preload_mm: i(0.03), step_mm: i(0.005), rocker_ratio: 1.55,
      lash: { rod: [{ material: "steel 4130" }], stack: [{ material: "aluminium 6061", length_mm: i(5) }, { material: "grey iron", length_mm: i(3) }], warmer_k: 70, hot_lash_mm: i(0.004) } } });
    await api("POST", `${at}/works`, { kind: "clearance", valve: "1I", question: { coil_bind: { installed_height_mm: i(1.75), solid_height_mm: i(1.1), lift_mm: i(0.44) }, retainer: { closed_gap_mm: i(0.6), lift_mm: i(0.44) },
      slot: { slot_length_mm: i(0.9), stud_diameter_mm: i(0.375), height_mm: i(0.3), closed_deg: -10, full_deg: 12, centred_deg: 1 } } });
    await api("POST", `${at}/works`, { kind: "spring", valve: "1I", question: { loads: [{ height_mm: i(1.75), load_n: 489.30437907 }, { height_mm: i(1.25), load_n: 1200 }], wire_mm: i(0.18), outer_diameter_mm: i(1.3), total_coils: 6.5, ends: "closed ground",
      installed_height_mm: i(1.75), lift_mm: i(0.44), free_length_mm: i(2.1), solid_height_mm: i(1.1) } });
  }


  /** Opens all that can be opened on a screen. */
  async function unfold() {
    await page.locator("h1").first().waitFor();
    await settled();
    await page.evaluate(() => {
      // The bench's rows come and go under the hands: what can be typed there is typed on the trace's own page.
      for (const more of document.querySelectorAll('main:not(.view-bench) button[aria-expanded="false"]')) /** @type {HTMLElement} */ (more).click();
      for (const e of document.querySelectorAll("main details")) /** @type {HTMLDetailsElement} */ (e).open = true;
      // One pair of a list that begins with none.
      const labels = [...document.querySelectorAll("main label")].map((l) => l.textContent?.trim());
      for (const add of document.querySelectorAll("main button")) if (add.textContent?.trim() === "Add a pair" && !labels.includes("Encoder 1")) /** @type {HTMLElement} */ (add).click();
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

  /** The screen, unfolded, with as many fields as are needed. @param {string} route @param {number} [n] */
  async function show(route, n = 0) {
    if (!page.url().endsWith(`/#/${route}`)) await page.goto(`${d.url}/#/${route}`);
    await unfold();
    if (route === "bench") return page.locator(".height input").waitFor({ timeout: 120_000 }); // it opens at half lift
    for (let i = 0; i < 40 && (await page.locator(fields).count()) <= n; i++) await page.waitForTimeout(100);
  }
  return { api, fill, settled, unfold, screens, show };
}

/** Leaves by path; lists of plain values stay whole. @param {any} v @param {string} path @param {Record<string, string>} into */
export function leaves(v, path, into) {
  if (v === null || typeof v !== "object") into[path] = JSON.stringify(v);
  else if (Array.isArray(v) && v.every((x) => typeof x !== "object")) into[path] = JSON.stringify(v);
  else for (const [k, x] of Object.entries(v)) leaves(x, `${path}.${Array.isArray(v) && x?.id ? x.id : k}`, into);
}

/** @param {Record<string, string>} was @param {Record<string, string>} now */
export const changed = (was, now) => [...new Set([...Object.keys(was), ...Object.keys(now)])].filter((p) => was[p] !== now[p]).map((p) => ({ path: p, was: was[p], now: now[p] }));

const wideDigits = "\uff10\uff11\uff12\uff13\uff14\uff15\uff16\uff17\uff18\uff19\uff0e\uff0f\uff0d", plainDigits = "0123456789./-";
/** @type {Record<string, string>} */
const vulgar = { "\u00bd": "1/2", "\u00bc": "1/4", "\u00be": "3/4", "\u215b": "1/8", "\u215c": "3/8", "\u215d": "5/8", "\u215e": "7/8" };

/** Full-width digits of an eastern keyboard. @param {string} text */
const widened = (text) => [...text].map((c) => wideDigits[plainDigits.indexOf(c)] ?? c).join("");

/** The same with plain digits, dashes, points and fractions. @param {string} text */
const plainly = (text) => [...text].map((c) => (wideDigits.includes(c) ? plainDigits[wideDigits.indexOf(c)] : c === "\u2013" || c === "\u2212" ? "-" : c === "," ? "." : vulgar[c] ? ` ${vulgar[c]}` : c)).join("").trim();

/** Nanometres of a text in inches, or null when it means nothing: whole fractions only. @param {string} typed */
function nanometresOf(typed) {
  const text = plainly(typed).replace(/ ?(in|"|\u2033)$/, " in").replace(/(\d)(mm|thou)$/, "$1 $2").toLowerCase();
  const m = /^(-?)(?:(\d+)[ -])?(\d+)\/(\d+)( mm| thou| in)?$|^(-?)\+?(\d*)\.?(\d*)( mm| thou| in)?$/.exec(text);
  if (!m || /^-?\.?$/.test(text.replace(/ (mm|thou|in)$/, ""))) return null;
  const one = { " mm": 1_000_000n, " thou": 25_400n }[m[5] ?? m[9] ?? ""] ?? 25_400_000n;
  const [above, below] = m[3] ? [BigInt(m[2] ?? 0) * BigInt(m[4]) + BigInt(m[3]), BigInt(m[4])] : [BigInt(m[7] + m[8]), 10n ** BigInt(m[8].length)];
  const nm = Number((above * one * 2n + below) / (below * 2n));
  return (m[1] || m[6]) === "-" ? -nm : nm;
}

const lbf = 4.4482216152605;

/** What nobody means by a number: two points, an exponent, a comma that may be thousands, digits that only look like some. */
const nonsense = ["six", "1.2.3", "0..4", ".", "-", "--1", "1e-3", "1E3", "0x10", "1/2/3", "1/0", "=1", "NaN", "Infinity", "\u0664", "1'5", "1 2", "1,2,3"];

/**
 * What would have to be held for a text, as JSON leaves; none: it must be refused.
 * @param {string} kind @param {string} text @returns {string[]}
 */
export function meaning(kind, text) {
  const mm = (/** @type {string} */ t) => { const nm = nanometresOf(t); return nm === null ? NaN : nm / 1e6; };
  const bare = plainly(text).replace(/^\+/, ""), number = /^-?(\d+\.?\d*|\.\d+)$/.test(bare) ? Number(bare) : NaN;
  switch (kind) {
    case "length": return Number.isNaN(mm(text)) ? [] : [JSON.stringify(mm(text))];
    case "lengths": { const all = text.split("+").map(mm); return all.some(Number.isNaN) ? [] : [JSON.stringify(all)]; }
    case "number": case "whole": return Number.isNaN(number) ? [] : [JSON.stringify(number), JSON.stringify(number * lbf)];
    case "cylinders": return [JSON.stringify(text.split(/[^\d\uff10-\uff19]+/).map((n) => Number(plainly(n))))];
    case "heads": return [JSON.stringify(text.split(" / ").map((h) => h.split(" "))), ...text.split(" / ").map((h) => JSON.stringify(h.split(" ")))];
    case "valves": return [JSON.stringify(text.toUpperCase().split(/[ ,;]+/))];
    case "checks": { const all = text.split(/,\s+/).map(mm); return all.some(Number.isNaN) ? [] : [JSON.stringify(all.map((v) => `${v}mm`).join(","))]; }
    case "text": case "word": case "reason": case "own-name": return [JSON.stringify(text)];
    default: throw new Error(`a field of a new kind, ${kind}: say here what a text in it means`);
  }
}

/** What is typed into the nth field of a screen, that shows now. @param {string} kind @param {string} now @param {number} n */
export function samples(kind, now, n) {
  const v = Number(now), near = Number.isFinite(v) && now !== "" ? v : null;
  const sixteenths = near === null ? 4 : Math.round(near * 64);
  const rule = `${Math.abs(sixteenths) >= 64 ? `${Math.trunc(sixteenths / 64)} ` : sixteenths < 0 ? "-" : ""}${(Math.abs(sixteenths) % 64) | 1}/64`;
  switch (kind) {
    case "length": return { bad: ["8 11/61", "400", "7 furlongs", "1,500", "0.4 m", ...nonsense], good: near === null ? ["0.015", "0.5", "8 11/16", "\u00bd", ".4\"", "10,5 mm"] : lengthsNear(near, rule) };
    case "lengths": return { bad: ["0.050 0.020", "0.050 +", "+ 0.050", "15", "six", "0.05 + 0..2"], good: ["0.050 + 0.020", "1/32 + 0.40 mm", ".015\"+12 thou", "0,4mm + \u215b", "0.015"] };
    case "number": return { bad: ["9999999999", "1,500", "1.500,5", ...nonsense], good: near === null ? ["10.5", "1.5"] : [String(Number((near * 1.01).toFixed(3))), `${(near * 1.02).toFixed(4)}`, (near * 1.03).toFixed(2).replace(".", ","), widened((near * 1.04).toFixed(2)), `+${(Math.abs(near) * 1.05).toFixed(1)}`] };
    case "whole": return { bad: ["2.5", "99999", ...nonsense], good: near === null ? ["4"] : [String(near + 1), widened(String(near + 2)), String(near)] };
    case "cylinders": return { bad: ["1342", "1-3-4", "1-3-3-2", "one", "1-2-3-4-5", "1.2.4.3"], good: ["1-2-4-3", "1\u20133\u20134\u20132", "1 2 4 3", "1,3,4,2", "\uff11-\uff12-\uff14-\uff13"] };
    case "valves": return { bad: ["1I1E", "9I", "1I 1I", "1I-1E", "I1"], good: ["1I 1E 2I", "4e 1i", "2I, 1E; 3E"] };
    case "heads": return { bad: ["1E 1I", "1 2 3", "1 2 3 4 4", "1 2 / 3 4 /", "1E 1E 1I 2 3 4", "1 2 3 9"], good: ["1E 1I 2I 2E 3E 3I 4I 4E", "4I 4E 3I 3E / 1I 1E 2I 2E"] };
    case "checks": return { bad: ["six", "0.05 furlong", "0..5"], good: ["0.006 in, 2 mm"] };
    case "own-name": return { bad: ["9I", "12 e", "seventeen letters", " A3", "A3 "], good: [`No.${n} In`, `\u00dcnten ${n}`, `sixteen letter${n % 90 + 10}`] }; // no two valves are called alike
    case "word": return { bad: [], good: ["7"] };
    default: return { bad: [], good: ["a b-c, d 0.015", "2I", "\uff11\u00bd \u2013 \u201cx\u201d"] };
  }
}

/** A length near another one, as people write it. @param {number} near inches @param {string} rule as an inch rule has it */
function lengthsNear(near, rule) {
  const a = (/** @type {number} */ by, decimals = 4) => (near * by + 0.0005).toFixed(decimals);
  return [String(Number(a(1.002))), `${(near * 25.4).toFixed(2)} mm`, `${Math.round(near * 1000)} thou`, rule, `${(near * 25.5).toFixed(2).replace(".", ",")}mm`, `${a(1.003)}"`, a(1.004).replace(/^(-?)0\./, "$1."), widened(a(1.005)), a(1.006).replace("-", "\u2013")];
}
