// @ts-check
/* What is asked of the server, and what this browser keeps. Everything is served from this machine. */
import { element } from "./dom.js";

/** @typedef {{ head: any, columns: Record<string, Float32Array> }} Answer */

const NO_ANSWER = "The server does not answer. Is it still running?";

/** @param {string} path @returns {Promise<any>} */
export const get = (path) => fetch(path).then((answer) => answer.json());

/**
 * Asks a route; what it refuses is thrown in its words.
 * @param {string} path @param {object} body @param {AbortSignal} [signal]
 * @returns {Promise<any>} values, or an `Answer`
 */
export async function post(path, body, signal) {
  const answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" },
    body: JSON.stringify(body), signal }).catch((problem) => {
    throw problem.name === "AbortError" ? problem : new Error(NO_ANSWER);
  });
  if (answer.ok && !(answer.headers.get("Content-Type") || "").startsWith("application/json")) {
    return unpack(await answer.arrayBuffer());
  }
  const told = await answer.json().catch(() => ({ message: "The server gave an answer that cannot be read." }));
  if (!answer.ok || told.message) { throw new Error(told.message || "The server refused that."); }
  return told;
}

/** Opens what dashboard/server/packing.py has packed. @param {ArrayBuffer} buffer @returns {Answer} */
export function unpack(buffer) {
  const bytes = new Uint8Array(buffer), length = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(bytes.subarray(4, 4 + length)));
  /** @type {Record<string, Float32Array>} */
  const columns = {};
  let at = 4 + length;
  head.columns.forEach(([name, count]) => {
    const plain = new Uint8Array(4 * count);
    for (let plane = 0; plane < 4; plane += 1) {
      for (let row = 0; row < count; row += 1) { plain[4 * row + plane] = bytes[at + plane * count + row]; }
    }
    columns[name] = new Float32Array(plain.buffer);
    at += 4 * count;
  });
  return { head, columns };
}

/** Place of the last value that is not above what is looked for. @param {ArrayLike<number>} column which rises
 * @param {number} wanted */
export function lastAt(column, wanted) {
  let low = 0, high = column.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (column[middle] <= wanted) { low = middle; } else { high = middle - 1; }
  }
  return low;
}

/** Value between the rows of a column over one that rises; a place where it does not rise has the later value.
 * @param {ArrayLike<number>} over @param {ArrayLike<number>} values @param {number} at */
export function between(over, values, at) {
  const row = lastAt(over, at);
  if (row + 1 >= values.length) { return values[row]; }
  const share = Math.min(Math.max((at - over[row]) / (over[row + 1] - over[row]), 0), 1);
  return values[row] + share * (values[row + 1] - values[row]);
}

/** Calls told(text) until the workers have the model; then done(). @param {(text: string) => void} told
 * @param {() => void} done */
export function whenReady(told, done) {
  get("/ready").then((answer) => {
    if (answer.trouble) { told("The model could not be prepared: " + answer.trouble); return; }
    if (answer.ready) { done(); return; }
    told("Preparing the model; the first time after an update this takes a quarter of a minute.");
    window.setTimeout(() => whenReady(told, done), 700);
  }).catch(() => {
    told("The server does not answer; waiting for it.");
    window.setTimeout(() => whenReady(told, done), 1500);
  });
}

/** @type {Promise<any> | null} */
let described = null;

/** All inputs, as the models describe them. */
export function fields() {
  described = described || get("/fields.json");
  described.catch(() => { described = null; });
  return described;
}

/** Hands a value to a component of Dash. @param {string} id @param {object} props */
export function setProps(id, props) { /** @type {any} */ (window).dash_clientside?.set_props?.(id, props); }

/** What was kept in this session. @param {string} name @param {any} otherwise */
export function recall(name, otherwise) {
  try { return JSON.parse(window.sessionStorage.getItem(name) || "null") || otherwise; } catch { return otherwise; }
}
/** @param {string} name @param {any} value @returns {boolean} whether it was kept */
export function remember(name, value) {
  try { window.sessionStorage.setItem(name, JSON.stringify(value)); return true; } catch { return false; }
}

/** A query as people write it. @param {URLSearchParams} query */
export const written = (query) =>
  "?" + query.toString().replace(/%3A/g, ":").replace(/%2C/g, ",").replace(/%7C/g, "|");

/** Puts a query into the address of this page. @param {string} search */
export function readdress(search, path = window.location.pathname, hash = window.location.hash) {
  window.history.replaceState(window.history.state, "", path + search + hash);
}

/** Puts the address of this page into the clipboard, or shows it to be copied by hand.
 * @param {HTMLElement} told @param {string} words */
export function copyLink(told, words) {
  const address = window.location.href;
  const byHand = () => {
    const box = element("input", { type: "text", value: address, readonly: true, "aria-label": "Link to this setup",
      class: "link-box" });
    told.replaceChildren(box); box.focus(); box.select();
  };
  if (navigator.clipboard && window.isSecureContext) {
    navigator.clipboard.writeText(address).then(() => { told.textContent = words; }, byHand);
  } else { byHand(); }
}

/** Saves a page that is here already. @param {string} text @param {string} name */
export function save(text, name) {
  const address = URL.createObjectURL(new Blob([text], { type: "text/html" }));
  const link = element("a", { href: address, download: name });
  document.body.append(link); link.click(); link.remove();
  window.setTimeout(() => URL.revokeObjectURL(address), 5000);
}
