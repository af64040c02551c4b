// A fetch that tells how much of the body has been sent.

/**
 * @param {(part: number) => void} told from 0 to 1
 * @returns {typeof fetch}
 */
export const sending = (told) => (path, init) => new Promise((done, fail) => {
  const x = new XMLHttpRequest();
  x.open(init?.method ?? "GET", String(path));
  for (const [name, value] of Object.entries(/** @type {Record<string, string>} */ (init?.headers ?? {}))) x.setRequestHeader(name, value);
  x.upload.onprogress = (e) => told(e.total ? e.loaded / e.total : 0);
  x.onload = () => done(new Response(x.responseText, { status: x.status }));
  x.onerror = fail;
  x.send(/** @type {any} */ (init?.body));
});
