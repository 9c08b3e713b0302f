// @ts-check
/* The units chosen, and numbers in words. */
import { button, whenThere } from "./dom.js";
import { setProps } from "./server.js";

const KEY = "haulbench-units";
/** @type {((units: string) => void)[]} */
const listeners = [];
/** @type {"metric" | "us"} */
export let units = "metric";
try { if (window.localStorage.getItem(KEY) === "us") { units = "us"; } } catch { /* none kept */ }
document.documentElement.dataset.units = units;

/** With so many digits; from the middle of two numbers to the even one, and no minus before nothing.
 * @param {number} value @param {number} digits */
export function fixed(value, digits) {
  let text = value.toFixed(digits);
  const middle = Math.abs(value * 2 ** (digits + 1) % 2) === 1;
  if (middle && Number(text.at(-1)) % 2) { text = (value * (1 - Number.EPSILON)).toFixed(digits); }
  return /^-[0.]*$/.test(text) ? text.slice(1) : text;
}

/** @param {number} seconds */
export function clock(seconds) {
  const rounded = Number(fixed(seconds, 0)), whole = Math.abs(rounded), sign = rounded < 0 ? "-" : "";
  const hours = Math.floor(whole / 3600), minutes = Math.floor(whole / 60) % 60;
  const two = (number) => String(number).padStart(2, "0");
  return sign + (hours ? hours + ":" + two(minutes) : String(minutes)) + ":" + two(whole % 60);
}

/** @param {number} value as many digits as it needs, six at most */
export const tidy = (value) => String(Number(value.toPrecision(6)));

/** @param {(units: string) => void} listener */
export function onUnits(listener) { listeners.push(listener); }

/** @param {"metric" | "us"} wanted */
function choose(wanted) {
  units = wanted;
  document.documentElement.dataset.units = units;
  try { window.localStorage.setItem(KEY, units); } catch { /* not kept */ }
  setProps("units", { data: units });
  document.querySelectorAll("#unit-switch button").forEach((each) => {
    each.setAttribute("aria-pressed", String(each.getAttribute("data-units") === units));
  });
  listeners.forEach((listener) => listener(units));
}

whenThere("id='unit-switch'", (place) => {
  place.append(...(/** @type {const} */ ([["metric", "metric"], ["us", "US"]])).map(([name, text]) =>
    button(text, () => choose(name), { "data-units": name, "aria-pressed": String(name === units) })));
  if (units !== "metric") { choose(units); }
});
whenThere("data-path", (link) => {
  if (link.dataset.path === window.location.pathname) { link.setAttribute("aria-current", "page"); }
});
