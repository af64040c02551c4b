import { test } from "node:test";
import assert from "node:assert/strict";
import { ApiError, createApi, plainly, query } from "../../../page/api.js";

/** @param {number} status @param {string} text */
const answering = (status, text) => /** @type {any} */ (async () => new Response(text || null, { status }));

test("an error comes out in the daemon's words, with its field", async () => {
  const api = createApi({ fetch: answering(400, '{"error":"cylinders is 0; it must be 1 to 48.","field":"cylinders"}') });
  await assert.rejects(api.get("/engines"), (/** @type {any} */ err) => err instanceof ApiError && err.message === "Cylinders is 0; it must be 1 to 48." && err.field === "cylinders" && err.status === 400);
});

test("a daemon that is away is said in words, and a page in its place too", async () => {
  const gone = createApi({ fetch: /** @type {any} */ (async () => { throw new TypeError("Failed to fetch"); }) });
  await assert.rejects(gone.get("/engines"), /does not answer/);
  const other = createApi({ fetch: answering(502, "<html>bad gateway</html>") });
  await assert.rejects(other.get("/engines"), /GET \/engines was refused \(502\)/);
});

test("an answer without content is no error", async () => {
  assert.equal(await createApi({ fetch: answering(204, "") }).post("/mark"), null);
});

test("a body goes as JSON, a file as it is", async () => {
  /** @type {any[]} */ const sent = [];
  const api = createApi({ fetch: /** @type {any} */ (async (/** @type {string} */ url, /** @type {any} */ init) => { sent.push([url, init]); return new Response(null, { status: 204 }); }) });
  await api.put("/bench", { valve: "1I" });
  await api.post("/traces?name=a.csv", "t_s,lift_mm\n");
  assert.equal(sent[0][0], "/api/v1/bench");
  assert.equal(sent[0][1].body, '{"valve":"1I"}');
  assert.equal(sent[0][1].headers["Content-Type"], "application/json");
  assert.equal(sent[1][1].body, "t_s,lift_mm\n");
});

test("field names of the wire become words", () => {
  assert.equal(plainly("trials[1].adjuster_below_valve_mm: is missing"), "Adjuster below valve is missing");
  assert.equal(plainly("Wire_mm: is missing: give wire_mm, mean_diameter_mm and active_coils, or two loads."), "Wire is missing: give wire, mean diameter and active_coils, or two loads.");
  assert.equal(plainly("There is no trace 12."), "There is no trace 12.");
});

test("queries leave out what is empty", () => {
  assert.equal(query({ engine: "a b", valve: "", before: undefined, limit: 50 }), "?engine=a+b&limit=50");
  assert.equal(query({}), "");
});
