// @ts-check
/* The editor of choices: axle ratio, gearbox and tyre of each, kept the same as its store and as the address. */
import { bar, button, decimalBox, drawn, element, select, whenThere, worded } from "../shared/dom.js";
import { panel } from "../panel/panel.js";
import { fields, readdress, setProps, written } from "../shared/server.js";
import { onUnits, tidy, units } from "../shared/units.js";

const DASHES = { dash: "7 5", dot: "2 4", dashdot: "7 4 2 4", longdash: "12 5", longdashdot: "12 4 2 4" };
const TYPING = 450; // ms without a change before it counts
const INCH = 0.0254; // m

/** A choice; what is empty is the truck's own. @typedef {{ axle: string, gearbox: string, radius: string }} Choice */

/** @param {string} colour @param {string} dash */
const line = (colour, dash) => drawn("svg", { viewBox: "0 0 34 10" }, [drawn("path", { d: "M0 5H34", stroke: colour,
  "stroke-width": "3", "stroke-dasharray": DASHES[dash] || "none" })]);
whenThere("data-colour", (place) => { place.append(line(place.dataset.colour, place.dataset.dash)); });

/** @param {number} axle @returns {Choice} */
const own = (axle) => ({ axle: axle.toFixed(2), gearbox: "", radius: "" });
/** Choices as they stand in the address; null for the usual ones. @param {string} text @param {number} most
 * @returns {Choice[] | null} */
export function choicesIn(text, most) {
  return text ? text.split("|").slice(0, most).map((each) => {
    const [axle, gearbox = "", radius = ""] = each.split(",");
    return { axle, gearbox, radius };
  }) : null;
}
/** @param {Choice[] | null} rows */
export const choicesText = (rows) => (rows || []).map((row) =>
  [row.axle, row.gearbox, row.radius].join(",").replace(/,+$/, "")).join("|");

class Choices {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.place = place;
    this.asked = JSON.parse(place.dataset.choices);
    this.picked = 1;
    fields().then((described) => {
      this.described = described;
      this.rows = choicesIn(this.asked.text, this.asked.most);
      this.build();
      document.addEventListener("haulbench:setup", (event) => {
        const { page, setup } = /** @type {CustomEvent} */ (event).detail;
        if (page === "gearing" && setup.truck !== this.known) { this.build(); }
      });
      onUnits(() => this.build());
    }).catch(() => place.append(worded("p", "The inputs could not be loaded; reload the page.", "told")));
  }
  /** The truck of the panel: its name, its axle, its tyre, its gearbox. */
  truck() {
    const { trucks } = this.described, name = panel()?.setup.truck ?? Object.keys(trucks)[0];
    const { "driveline.axle_ratio": axle, "tyres.rolling_radius_m": radius, "gearbox.name": box } =
      (trucks[name] || Object.values(trucks)[0]).values;
    return { name, axle, radius, box };
  }
  /** Those chosen, or the usual ones. @returns {Choice[]} */
  shown() {
    return this.rows || this.asked.steps.map((step) => own(this.truck().axle * step));
  }
  tell(wait) {
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => {
      const text = choicesText(this.rows), query = new URLSearchParams(window.location.search);
      setProps(this.asked.store, { data: text });
      if (text) { query.set("choices", text); } else { query.delete("choices"); }
      readdress(written(query));
    }, wait);
  }
  /** @param {Choice[] | null} rows */
  replace(rows) { this.rows = rows; this.build(); this.tell(0); }
  change(number, key, value, wait) {
    this.rows = this.shown();
    this.rows[number][key] = value;
    this.tell(wait);
  }
  build() {
    const truck = this.truck(), shown = this.shown(), full = shown.length >= this.asked.most;
    this.known = truck.name;
    const focused = this.place.contains(document.activeElement) ? document.activeElement.id : "";
    const add = button("Add a choice", () => {
      this.replace([...this.shown(), own(truck.axle)]);
      document.getElementById(`gearing-axle-${this.rows.length}`).focus();
    }, { id: "gearing-add", disabled: full });
    const usual = button("the usual three", () => this.replace(null), { class: "plain", hidden: !this.rows });
    this.place.replaceChildren(...shown.map((row, number) => this.one(row, number, truck, shown.length)),
      bar([add, usual]));
    if (full) { this.place.append(worded("p", "Six choices are the most that can be compared.", "quiet fine")); }
    this.picks(shown.length);
    if (focused) { document.getElementById(focused)?.focus(); }
  }
  /** Which choice the handbook charts are for. @param {number} count */
  picks(count) {
    const place = document.getElementById("gearing-picks");
    if (!place) { return; }
    const pick = (number) => { this.picked = number; setProps(this.asked.shown, { data: number }); };
    if (this.picked > count) { pick(count); }
    const radios = Array.from({ length: count }, (_, at) => {
      const id = `gearing-pick-${at + 1}`;
      const input = element("input", { type: "radio", name: "gearing-pick", id, onchange: () => pick(at + 1) });
      input.checked = at + 1 === this.picked;
      return element("label", { class: "inline", for: id }, [input, String(at + 1)]);
    });
    place.replaceChildren(worded("legend", "charts of choice", "unseen"),
      element("span", { class: "quiet", "aria-hidden": "true", text: "of choice" }), ...radios);
  }
  one(row, number, truck, count) {
    const [colour, dash] = this.asked.styles[number], at = number + 1;
    /** @type {[string, string][]} */
    const trucks = Object.entries(this.described.trucks).map(([name, { values }]) => [name, values["gearbox.name"]]);
    const gearboxes = trucks.filter(([, box], place) =>
      box !== truck.box && trucks.findIndex(([, other]) => other === box) === place);
    if (row.gearbox && !gearboxes.some(([name]) => name === row.gearbox)) {
      gearboxes.push([row.gearbox, row.gearbox.slice(0, 40)]);
    }
    const gearbox = select([["", "own: " + truck.box], ...gearboxes], { id: `gearing-gearbox-${at}`,
      onchange: () => this.change(number, "gearbox", gearbox.value, 0) });
    gearbox.value = row.gearbox;
    const drop = button("remove", () => this.replace(this.shown().filter((_, other) => other !== number)),
      { class: "plain drop", "aria-label": `remove choice ${at}` });
    const sample = element("span", { class: "swatch", "aria-hidden": "true" }, [line(colour, dash)]);
    return element("fieldset", { class: "choice" }, [element("legend", {}, [sample, `choice ${at}`]),
      ...this.number(row, number, "axle", "axle ratio", "driveline.axle_ratio", truck.axle),
      element("label", { for: gearbox.id, text: "gearbox" }), gearbox,
      ...this.number(row, number, "radius", "tyre radius", "tyres.rolling_radius_m", truck.radius), count > 1 && drop]);
  }
  /** A number in the unit of the reader; kept in that of the file. */
  number(row, number, key, label, name, usual) {
    const { low, high } = this.described.fields[name], us = key === "radius" && units === "us";
    const id = `gearing-${key}-${number + 1}`;
    const shown = row[key] && us ? String(Number((Number(row[key]) / INCH).toPrecision(5))) : row[key];
    const send = (wait) => {
      const text = input.value.trim(), value = Number(text) * (us ? INCH : 1);
      const fits = text === "" || (Number.isFinite(value) && value >= low && value <= high);
      input.setAttribute("aria-invalid", String(!fits));
      this.change(number, key, text === "" || !Number.isFinite(value) ? text.replace(/[,|]/g, "") : tidy(value), wait);
    };
    const input = decimalBox(id, { value: shown, placeholder: us ? (usual / INCH).toFixed(2) : String(usual),
      oninput: () => send(TYPING), onchange: () => send(0) });
    const unit = key === "radius" ? worded("span", us ? "in" : "m", "quiet fine") : element("span");
    return [element("label", { for: id, text: label }), element("div", { class: "number-unit" }, [input, unit])];
  }
}

whenThere("data-choices", (place) => { new Choices(place); });
