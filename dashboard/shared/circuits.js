// @ts-check
/* Failures of circuits, values dialled in by hand and a meter, for the pages that have a panel and a cursor. */
import { bar, button, element, inputBox, labelled, select, setOptions, setText, worded } from "./dom.js";
import { listIn, panel } from "../panel/panel.js";
import { fields } from "./server.js";
import { quantity, said } from "./words.js";

/** A part that can fail. @typedef {{ name: string, failures: string[][], kind?: string, unit?: string }} Circuit */

const named = (parts) => parts.map((part) => /** @type {[string, string]} */ ([part.name, part.name]));
const unitBox = () => element("span", { class: "unit" });
const withUnit = (text, unit) =>
  (/^[+-]?[0-9.]+$/.test(text) && unit ? `${text} ${unit}` : text);

/** @param {string} words @param {HTMLElement} input @param {HTMLElement} [unit] */
const row = (words, input, unit) => labelled(words, input,
  unit ? element("span", { class: "with-unit" }, [input, unit]) : input, { class: "dial-row" });
/** @param {string} title @param {string} words @param {HTMLElement[]} children */
const fold = (title, words, children) => element("details", { class: "group" }, [
  element("summary", {}, [worded("span", title)]),
  element("div", { class: "group-body" }, [worded("p", words, "quiet small"), ...children])]);

export class Circuits {
  /** @param {HTMLElement} place
   * @param {{ page: string, here: () => string, fail: (text: string) => void, going: () => void }} of page: word before
   * the ids; here: place or time at the cursor; fail: says what is missing; going: a change on the fly comes */
  constructor(place, of) {
    this.place = place; this.of = of;
    /** @type {any[]} */ this.found = [];
    /** @type {[any, [[string, string, number], HTMLElement][]][]} */ this.boxes = [];
    fields().then((described) => { this.build(described.circuits); this.shown(); this.meters(this.found); });
  }
  /** @param {string} key @returns {string[]} */
  list(key) {
    const inputs = panel();
    return inputs?.described ? listIn(inputs.given(key)) : [];
  }
  /** @param {string} key @param {string[]} values */
  put(key, values) {
    const inputs = panel();
    if (!inputs?.described) { return; }
    inputs.change(key, JSON.stringify(values));
    inputs.refresh();
    this.shown();
  }
  /** @param {string} key @param {string[]} words */
  add(key, words) {
    this.of.going();
    this.put(key, [...this.list(key), [this.of.here(), ...words].filter((word) => word).join(" ")]);
  }
  /** @param {Circuit[]} parts */
  build(parts) {
    const sensors = parts.filter((part) => part.kind);
    const meter = select([["", "nothing"], ...named(sensors)], { id: `${this.of.page}-meter`,
      onchange: () => this.put("circuits.meters", meter.value ? [meter.value] : []) });
    this.meter = meter;
    this.readings = element("div", { class: "meter" });
    this.entries = element("ul", { class: "dialled" });
    this.place.append(row("meter on", meter), this.readings, this.dial(sensors), this.failures(parts), this.entries);
  }
  /** A value by hand. @param {Circuit[]} sensors */
  dial(sensors) {
    const value = inputBox(`${this.of.page}-dial-value`), unit = unitBox();
    const which = select(named(sensors), { id: `${this.of.page}-dial-part`, onchange: () => units() });
    const sensor = () => /** @type {Circuit} */ (sensors.find((part) => part.name === which.value));
    const units = () => {
      unit.textContent = sensor().unit || (sensor().kind === "switch" ? "pressed or released" : "position");
      value.placeholder = !sensor().unit && sensor().kind === "switch" ? "pressed" : "";
    };
    which.value = "intake temperature";
    units();
    const put = (text) => this.add("circuits.dialled", [which.value, text]);
    return fold("Dial a value in by hand", "In place of a sensor's, from the cursor on; the engine answers.", [
      row("in place of", which), row("value", value, unit), bar([
        button("Dial in here", () => {
          const text = value.value.trim() || value.placeholder, inUnit = sensor().unit || "";
          if (text) { put(withUnit(text, inUnit)); return; }
          this.of.fail("Dial in by hand: give a value" + (inUnit ? ` in ${inUnit}` : "") + ".");
          value.focus();
        }),
        button("Let go here", () => put("let go"))])]);
  }
  /** A failure. @param {Circuit[]} parts */
  failures(parts) {
    const which = select(named(parts), { id: `${this.of.page}-break-part`, onchange: () => choices() });
    const failure = select([], { id: `${this.of.page}-break-failure`, onchange: () => sizes() });
    const size = inputBox(`${this.of.page}-break-size`), unit = unitBox(), sizeRow = row("size", size, unit);
    const meaning = element("p", { class: "meaning" });
    const part = () => /** @type {Circuit} */ (parts.find((each) => each.name === which.value));
    const kind = () => part().failures.find(([name]) => name === failure.value) || [];
    const sizes = () => {
      const [, name, says] = kind();
      sizeRow.hidden = !name; unit.textContent = name; meaning.textContent = says;
    };
    const choices = () => {
      setOptions(failure, part().failures.map(([name]) => [name, name]));
      sizes();
    };
    choices();
    const breakIt = () => {
      const [name, unitName] = kind(), text = size.value.trim();
      if (unitName && !text) { this.of.fail(`Break a circuit: give the size in ${unitName}.`); size.focus(); return; }
      this.add("faults.occur", [which.value, name, unitName ? withUnit(text, unitName) : ""]);
    };
    return fold("Break a circuit", "From the cursor on; mended ends it.", [row("part", which), row("failure", failure),
      meaning, sizeRow, bar([button("Break it here", breakIt)])]);
  }
  /** What is chosen, as it stands in the panel. */
  shown() {
    if (!this.entries) { return; }
    const without = (key, place) => this.put(key, this.list(key).filter((_, at) => at !== place));
    this.entries.replaceChildren(...["faults.occur", "circuits.dialled"].flatMap((key) =>
      this.list(key).map((text, place) => element("li", {}, [text + " ", button("take out", () => without(key, place),
        { class: "plain", "aria-label": "take out: " + text })]))));
    const metered = this.list("circuits.meters");
    this.meter.value = metered.length === 1 ? metered[0] : "";
  }
  /** @param {{ name: string, columns: [string, string, number][] }[]} found as the head of an answer has them */
  meters(found) {
    this.found = found;
    if (!this.entries) { return; }
    this.boxes = found.map((meter) => [meter, meter.columns.map((column) => [column, worded("b", "-")])]);
    const none = "Put it on a sensor or switch: true value, signal, and what the controller makes of it.";
    this.readings.replaceChildren(...this.boxes.map(([meter, boxes]) => element("div", {}, [
      worded("h3", meter.name),
      element("dl", { class: "gauges" }, boxes.flatMap(([, box], place) => [
        worded("dt", ["true", "at the pin", "believed"][place]), element("dd", {}, [box])]))])),
    ...(found.length ? [] : [worded("p", none, "quiet small")]));
  }
  /** @param {(column: string) => number} value at the cursor, NaN for none */
  cursor(value) {
    this.boxes.forEach(([, boxes]) => boxes.forEach(([[name, kind, digits], box]) =>
      setText(box, quantity(value(name), kind, digits))));
  }
}

/** Codes of an answer at a time of it. @param {any[]} codes @param {number} time */
export const codesAt = (codes, time) => codes.map((code) => {
  const spans = code.spans.filter(([from]) => from <= time);
  return { code, active: spans.some(([, to]) => to === null || time < to),
    count: spans.length };
}).filter((each) => each.count);

/** @param {any} code @param {number} count @param {string} now whether it is active, in words */
export const codeText = ({ spn, fmi, words, lamp }, count, now) =>
  `SPN ${spn} FMI ${fmi}, ${said(words)}; lamp ${lamp}, ${count} ${count === 1 ? "time" : "times"}, ${now}`;
