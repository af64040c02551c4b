// Copies the page's libraries from node_modules into ../page/lib, where the
// browser finds them as plain ES modules. There is no bundler and no import
// map, so the bare names inside them ("preact") become relative ones here.
import { mkdir, readFile, writeFile } from "node:fs/promises";
import path from "node:path";
import { fileURLToPath } from "node:url";

const here = path.dirname(fileURLToPath(import.meta.url));
const modules = path.join(here, "node_modules");
const lib = path.join(here, "..", "page", "lib");

/** @param {string} file */
const read = (file) => readFile(path.join(modules, file), "utf8");

/**
 * The code without the pointer to its source map, which is not served.
 * @param {string} code
 */
const withoutMap = (code) => code.replace(/\n?\/\/# sourceMappingURL=.*\s*$/, "\n");

/**
 * The code with the bare module name replaced. It must occur: a library that
 * changed its shape should fail here and not in a browser.
 * @param {string} code
 * @param {string} bare
 * @param {string} relative
 */
function point(code, bare, relative) {
  const pattern = new RegExp(`from\\s*(["'])${bare}\\1`, "g");
  if (!pattern.test(code)) throw new Error(`vendor: no import of "${bare}" found: has the library changed its shape?`);
  return code.replace(pattern, `from"${relative}"`);
}

/**
 * One library: its name, the files it gives, and where its licence stands.
 * @type {{name: string, licence: string, files: () => Promise<Record<string, string>>}[]}
 */
const libraries = [
  {
    name: "preact",
    licence: "preact/LICENSE",
    files: async () => ({
      "preact.js": withoutMap(await read("preact/dist/preact.mjs")),
      "hooks.js": point(withoutMap(await read("preact/hooks/dist/hooks.mjs")), "preact", "./preact.js"),
    }),
  },
  {
    name: "htm",
    licence: "htm/LICENSE",
    files: async () => ({ "htm.js": withoutMap(await read("htm/dist/htm.mjs")) }),
  },
  {
    name: "uplot",
    licence: "uplot/LICENSE",
    // The small build is a script that sets a variable; one line makes it a
    // module, and a third of the size of the module build.
    files: async () => ({
      "uplot.js": withoutMap(await read("uplot/dist/uPlot.iife.min.js")) + "\nexport default uPlot;\n",
      "uplot.css": await read("uplot/dist/uPlot.min.css"),
    }),
  },
];

/**
 * Beside each library stands where its types are, for the type check; the
 * browser never asks for these.
 */
const types = {
  "preact.d.ts": 'export * from "preact";\n',
  "hooks.d.ts": 'export * from "preact/hooks";\n',
  "htm.d.ts": 'export { default } from "htm";\n',
  "uplot.d.ts": 'import uPlot from "uplot";\nexport default uPlot;\n',
};

await mkdir(lib, { recursive: true });
let licences = "";
for (const { name, licence, files } of libraries) {
  const { version } = JSON.parse(await read(`${name}/package.json`));
  licences += `${name} ${version}\n\n${await read(licence)}\n\n`;
  for (const [file, code] of Object.entries(await files())) {
    await writeFile(path.join(lib, file), code);
    console.log(`page/lib/${file}  ${name} ${version}  ${Buffer.byteLength(code)} bytes`);
  }
}
await writeFile(path.join(lib, "licences.txt"), licences);
for (const [file, code] of Object.entries(types)) await writeFile(path.join(lib, file), code);
