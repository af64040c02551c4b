// The set-up of the runs that type into every field: the invented engine with one
// trace turned, something at every place of its documents, and a page in front of it.
import { browser, daemon, openPage } from "./stand.mjs";
import { createTypist } from "./typing.mjs";

/** The cautions were read, unless the page remembers something else by now. */
export const remember = () => { localStorage.getItem("lobescribe") ?? localStorage.setItem("lobescribe", '{"cautioned":true,"ended":true}'); };

/** A daemon with the mule on its bench, filled in, and a browser with its page. */
export async function onTheMule() {
  const d = await daemon(["demo", "--empty", "--speed", "4", "--hand", "smooth"]);
  const b = await browser();
  const { page } = await openPage(b);
  const typist = createTypist(page, d);
  page.on("dialog", (dialog) => dialog.accept());
  await page.addInitScript(remember);
  await page.goto(d.url);
  await page.locator(".openings tbody tr").first().waitFor();
  await page.getByRole("button", { name: "End this trace" }).click();
  await page.goto(`${d.url}/#/traces`);
  await page.locator(".card-figure", { hasText: /^\d+\.\d+/ }).first().waitFor();
  await typist.fill();
  await typist.api("PUT", "/bench", { engine: "bench-mule", valve: "1I" });
  return {
    d, page, typist,
    /** The simulator rests: drawing what it says would take most of the time. */
    rest: () => page.request.post(`${d.url}/api/v1/simulator`, { data: { on: false }, headers: { Origin: d.url } }),
    async end() {
      await b.close();
      await d.end();
    },
  };
}
