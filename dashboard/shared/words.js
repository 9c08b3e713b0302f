// @ts-check
/* Quantities and findings in words: the tables of the server, and what sim/units.py and sim/wording.py make of them. */
import { get } from "./server.js";
import { clock, fixed, units } from "./units.js";

/** Factor and offset to SI, whether it is upside down, usual digits, and its unit as it is written.
 * @typedef {[number, number, boolean, number, string]} Kind */
/** What the program has to say: its kind, and values in SI by the names its wording uses.
 * @typedef {{ kind: string, values: Record<string, any> }} Finding */

/** @type {{ quantities: Record<string, Record<"metric" | "us", Kind>>, wordings: Record<string, string> }} */
const { quantities, wordings } = await get("/words.json");

/** @param {string} kind */
export const unitOf = (kind) => quantities[kind][units][4];
/** @param {string} kind */
export const digitsOf = (kind) => quantities[kind][units][3];

/** A quantity in the unit its reader is shown. @param {number} value [SI] @param {string} kind */
export function asShown(value, kind) {
  const [factor, offset, upsideDown] = quantities[kind][units];
  return (upsideDown ? 1 / value : value - offset) / factor;
}
/** The other way round. @param {number} value [as shown] @param {string} kind @returns {number} [SI] */
export function inSI(value, kind) {
  const [factor, offset, upsideDown] = quantities[kind][units];
  return upsideDown ? 1 / (value * factor) : value * factor + offset;
}

/** A quantity without its unit; a hyphen where there is no such number.
 * @param {number | null | undefined} value [SI] @param {string} kind @param {number} [digits] */
export function number(value, kind, digits = digitsOf(kind)) {
  const shown = value === null || value === undefined ? NaN : asShown(value, kind);
  return isFinite(shown) ? fixed(shown, digits) : "-";
}

/** A quantity with its unit; a hyphen for none. @param {number | null | undefined} value [SI] @param {string} kind
 * @param {number} [digits] */
export const quantity = (value, kind, digits) =>
  (isFinite(value ?? NaN) ? `${number(value, kind, digits)} ${unitOf(kind)}`.trimEnd() : "-");

/** How far a quantity may be off, to two figures and without its unit.
 * @param {number} value [SI] @param {string} kind */
export const spread = (value, kind) => String(Number((value / quantities[kind][units][0]).toPrecision(2)));

/** A finding in words. @param {Finding} finding @returns {string} */
export const said = ({ kind, values }) =>
  wordings[kind].replace(/\{(\w+)(?::([^}]*))?\}/g, (_, name, how) => inWords(values[name], how));

/** One value of a finding. @param {any} value @param {string} [how] as its wording has it behind the colon
 * @returns {string} */
export function inWords(value, how) {
  if (Array.isArray(value)) { return value.map((each) => inWords(each, how)).join(", "); }
  if (value?.kind) { return said(value); }
  if (value?.quantity) {
    return (how === "bare" ? number : quantity)(value.value ?? NaN, value.quantity, value.digits ?? undefined);
  }
  if (!how) { return String(value); }
  if (how === "clock") { return clock(value); }
  const [kind, digits] = how.split(".");
  return quantity(value, kind, digits === undefined ? undefined : Number(digits));
}
