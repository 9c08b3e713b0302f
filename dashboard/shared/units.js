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

/** @typedef {{ factor: number, digits: number, unit: string, offset: number }} Unit */

/** @param {number} factor @param {number} digits @param {string} unit @param {number} [offset] @returns {Unit} */
const unit = (factor, digits, unit, offset = 0) => ({ factor, digits, unit, offset });

/** What is sent in SI or in the unit of a file. @type {Record<string, Record<"metric" | "us", Unit>>} */
export const KINDS = {
  speed: { metric: unit(3.6, 0, "km/h"), us: unit(2.2369362920544025, 0, "mi/h") },
  distance: { metric: unit(0.001, 2, "km"), us: unit(1 / 1609.344, 2, "mi") },
  height: { metric: unit(1, 0, "m"), us: unit(1 / 0.3048, 0, "ft") },
  temperature: { metric: unit(1, 0, "\u00b0C"), us: unit(1.8, 0, "\u00b0F", 32) },
  power: { metric: unit(1, 0, "kW"), us: unit(1 / 0.7456998715822702, 0, "hp") },
  torque: { metric: unit(1, 0, "N m"), us: unit(1 / 1.3558179483314004, 0, "lb ft") },
  force: { metric: unit(0.001, 1, "kN"), us: unit(1 / 4.4482216152605, 0, "lbf") },
  fuel: { metric: unit(1, 1, "g/s"), us: unit(3.6 / 0.45359237, 0, "lb/h") },
  mass: { metric: unit(1, 0, "kg"), us: unit(1 / 0.45359237, 0, "lb") },
  pressure: { metric: unit(1, 0, "kPa"), us: unit(1 / 6.894757293168361, 1, "psi") },
  bsfc: { metric: unit(1, 0, "g/kWh"), us: unit(0.7456998715822702 / 453.59237, 3, "lb/(hp h)") },
  minutes: { metric: unit(1 / 60, 1, "min"), us: unit(1 / 60, 1, "min") },
  economy: { metric: unit(1, 1, "L/100 km"), us: unit(1, 1, "mi/gal") },
  plain: { metric: unit(1, 0, ""), us: unit(1, 0, "") },
};

/** @param {string} kind */
export const how = (kind) => KINDS[kind][units];
/** @param {string} kind @param {number} value */
export const inUnits = (kind, value) => value * how(kind).factor + how(kind).offset;
/** @param {string} kind @param {number} value */
export const fromUnits = (kind, value) => (value - how(kind).offset) / how(kind).factor;
/** @param {string} kind @param {string} [plain] unit of a plain number */
export const unitOf = (kind, plain = "") => how(kind).unit || plain;

/** A number with its unit.
 * @param {string} kind @param {number | null | undefined} value @param {number} [digits] @param {string} [plain] */
export function shown(kind, value, digits = how(kind).digits, plain = "") {
  if (value === null || value === undefined || !isFinite(value)) { return "-"; }
  const text = inUnits(kind, value).toFixed(digits), word = unitOf(kind, plain);
  return word ? text + " " + word : text;
}

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
  const whole = Number(fixed(seconds, 0)), hours = Math.floor(whole / 3600), minutes = Math.floor(whole / 60) % 60;
  const two = (number) => String(number).padStart(2, "0");
  return (hours ? hours + ":" + two(minutes) : String(minutes)) + ":" + two(whole % 60);
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
