// Addresses of devices, as the daemon takes them: a link and behind a question
// mark the words that set it up, "serial:/dev/ttyUSB0?baud=9600&unit=mm".

/**
 * The link, and its words one by one. Only the first question mark divides: a
 * poll may hold another.
 * @param {string} address
 */
function parts(address) {
  const at = address.indexOf("?");
  if (at < 0) return { link: address, words: [] };
  return { link: address.slice(0, at), words: address.slice(at + 1).split("&").filter((w) => w !== "") };
}

/** What would end or change a value is written as %XX. @param {string} value */
const escaped = (value) => value.replace(/[%&\s]|[^\x21-\x7e]/gu, (c) => encodeURIComponent(c));

/**
 * One word of an address, or "".
 * @param {string} address
 * @param {string} key
 */
export function keyOf(address, key) {
  const word = parts(address).words.find((w) => w.startsWith(`${key}=`));
  return word ? decode(word.slice(key.length + 1)) : "";
}

/**
 * The address with one word set, or taken away when it is "".
 * @param {string} address
 * @param {string} key
 * @param {string} value
 */
export function withKey(address, key, value) {
  const { link, words } = parts(address);
  const rest = words.filter((w) => !w.startsWith(`${key}=`));
  if (value !== "") rest.push(`${key}=${escaped(value)}`);
  return rest.length ? `${link}?${rest.join("&")}` : link;
}

/** @param {string} text */
function decode(text) {
  try {
    return decodeURIComponent(text);
  } catch {
    return text;
  }
}

/**
 * What can be set of a device's link, with the words for it.
 * @typedef {{key: string, label: string, hint?: string, options?: readonly (readonly [string, string])[]}} Setting
 */

/** @type {Setting[]} */
const ofEvery = [
  { key: "baud", label: "Baud", hint: "as the device is set; empty is 9600" },
  { key: "delay", label: "A reading is late by", hint: "as in 16ms; empty if it is not known" },
];

/** @type {Record<string, Setting[]>} */
export const settings = {
  indicator: [
    { key: "invert", label: "Sign of its figure", options: [["", "as it reads"], ["yes", "turned round"]] },
    { key: "unit", label: "Figures without a unit are", options: [["", "as it says"], ["in", "inches"], ["mm", "millimetres"], ["cm", "centimetres"], ["thou", "thou"], ["um", "micrometres"]] },
    { key: "scale", label: "A whole number is", hint: "as in 0.01mm or 0.0005in; empty if its figures have a point" },
    { key: "column", label: "Column of its lines", hint: "its number or name; empty finds the one that moves" },
    { key: "poll", label: "It must be asked with", hint: "\\r and \\n stand for ends of a line; empty if it sends by itself" },
    { key: "rate", label: "Asked so many times a second" },
    { key: "pedal", label: "Foot switch on its port", options: [["", "none"], ["cts", "on CTS"], ["dsr", "on DSR"]] },
    ...ofEvery,
  ],
  encoder: [
    { key: "counts", label: "Counts a turn", hint: "as in 2400, of what it sits on; empty if it prints degrees" },
    { key: "unit", label: "Its angle is in", options: [["", "as it says, or degrees"], ["deg", "degrees"], ["rad", "radians"], ["turn", "turns"]] },
    { key: "column", label: "Column of its lines", hint: "its number or name; empty finds the one that turns" },
    { key: "on", label: "It sits on the", options: [["", "crank"], ["cam", "cam"]] },
    { key: "reverse", label: "As the engine runs it counts", options: [["", "up"], ["yes", "down"]] },
    { key: "wrap", label: "Its angle starts again at", options: [["", "it counts on"], ["360", "360°"], ["720", "720°"]] },
    { key: "offset", label: "Crank angle where it shows 0", hint: "degrees" },
    { key: "index", label: "It prints a mark once a turn", options: [["", "no"], ["yes", "yes"]] },
    ...ofEvery,
  ],
};
settings.sweep = settings.indicator; // it reads as one does
