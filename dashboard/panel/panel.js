// @ts-check
/* The panel of inputs: built from what the server says of each key, kept the same as its store and as the address. */
import {
  all, button, decimalBox, element, inputBox, labelled, select, setOptions, whenThere, worded,
} from "../shared/dom.js";
import { fields, readdress, recall, setProps, written } from "../shared/server.js";
import { onUnits, units } from "../shared/units.js";
import { asShown, quantity, unitOf as unitOfKind } from "../shared/words.js";

/** Truck, road, settings, and changes by key, as texts.
 * @typedef {{ truck: string, road: string, settings: string, changes: Record<string, string> }} Setup */
/** An input as `field_of` of dashboard/panel/fields.py describes it. @typedef {Record<string, any>} Field */

const GEARS = { "start.gear": "by the speed", "drill.hold_gear": "none", "driver.descent_gear": "driver's choice" };
const WORDS = ["truck", "road", "settings"];
const NAMES = { settings: "start from", truck: "truck", road: "road" };
const GRADE = "grade:";
const TYPING = 450, SLIDING = 120; // ms without a change before it counts

/** @param {number} value */
export function significant(value) {
  return value === 0 ? "0" : String(Number(value.toPrecision(Math.abs(value) >= 10000 ? 6 : 5)));
}

const NUMBER = /^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$/;
/** A number in the unit of the file, given with a unit that measures the same or with none; null when it is none.
 * @param {Field} field @param {string} text */
export function numberIn(field, text) {
  const [, number, unit] = NUMBER.exec(text) || [], into = unit === "" ? [1, 0] : field.spellings?.[unit];
  return into ? Number(number) * into[0] + into[1] : null;
}

/** A list of texts, such as ["60 s boost pressure 100 kPa"]. @param {unknown} given as a list, or as a text of one */
export function listIn(given) {
  if (Array.isArray(given)) { return given.map(String); }
  try {
    const found = JSON.parse(String(given));
    return Array.isArray(found) ? found.map(String) : [];
  } catch { return []; }
}

/** The query of a setup; what stands in the address for others stays. @param {Setup} setup @param {string} search */
export function addressOf(setup, search) {
  const kept = [...new URLSearchParams(search)].filter(([key]) => !key.includes(".") && !WORDS.includes(key));
  return written(new URLSearchParams([...WORDS.map((word) => [word, setup[word]]),
    ...Object.entries(setup.changes).sort(([one], [other]) => (one < other ? -1 : 1)), ...kept]));
}

const usOf = (field) => (field.us && units === "us" ? field.us : null);
const inUnits = (field, value) => value * (usOf(field)?.factor ?? 1) + (usOf(field)?.offset ?? 0);
const inFile = (field, value) => (value - (usOf(field)?.offset ?? 0)) / (usOf(field)?.factor ?? 1);
const unitOf = (field) => (usOf(field) || field).unit;
/** Every number of a list in another unit; all else as it is. */
const listed = (text, turn) => {
  const each = (value) => (Array.isArray(value) ? value.map(each) : Number(significant(turn(value))));
  try { return JSON.stringify(each(JSON.parse(text))); } catch { return text; }
};
const plain = (value) => (Array.isArray(value) ? JSON.stringify(value) : String(value));
const has = (choices, name) => [...choices.options].some((option) => option.value === name);

/** Panels by the element they are in. @type {WeakMap<Element, Panel>} */
const panels = new WeakMap();
/** The panel of the page, once it is there. */
export const panel = () => panels.get(document.querySelector("[data-panel]"));

class Panel {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.place = place;
    this.asked = JSON.parse(place.dataset.panel);
    /** @type {Setup} */ this.setup = this.asked.setup;
    /** @type {Map<string, (() => void)[]>} */ this.boxes = new Map();
    this.refreshers = [];
    this.counters = [];
    this.number = 0;
    place.classList.add("waiting");
    fields().then((described) => { this.described = described; this.build(); place.classList.remove("waiting"); })
      .catch(() => place.append(worded("p", "The inputs could not be loaded; reload the page.", "told")));
    onUnits(() => this.refresh());
  }

  // ------------------------------------------------------------ values
  get truck() { return this.described.trucks[this.setup.truck]; }
  base(key) {
    const settings = this.described.settings[this.setup.settings] || this.described.settings.defaults;
    return key in this.described.usual ? settings.values[key] ?? this.described.usual[key] : this.truck?.values[key];
  }
  changed(key) { return Object.hasOwn(this.setup.changes, key); }
  given(key) { return this.changed(key) ? this.setup.changes[key] : this.base(key); }
  /** As it is shown in its box. @param {Field} field */
  text(field) {
    const given = this.given(field.key), value = this.value(field), changed = this.changed(field.key);
    if (field.kind === "list" && usOf(field)) { return listed(plain(given), (each) => inUnits(field, each)); }
    if (changed ? value === null : typeof given !== "number") { return plain(given); }
    const [, number, unit] = changed ? NUMBER.exec(given) : [];
    const own = usOf(field) ? field.us.typed || null : "";
    return changed && unit === own ? number : significant(inUnits(field, value));
  }
  value(field) { return this.changed(field.key) ? numberIn(field, this.given(field.key)) : this.base(field.key); }

  change(key, text, wait = 0) {
    const base = this.base(key), same = typeof base === "number"
      ? Math.abs((numberIn(this.described.fields[key], text) ?? NaN) - base) <= 1e-9 * Math.max(1, Math.abs(base))
      : (Array.isArray(base) ? text.replace(/\s/g, "") : text) === plain(base);
    const { [key]: _, ...others } = this.setup.changes;
    this.setup = { ...this.setup, changes: same ? others : { ...this.setup.changes, [key]: text } };
    (this.boxes.get(key) || []).forEach((refresh) => refresh());
    this.counts();
    this.tell(wait);
  }
  undo(key) { this.change(key, plain(this.base(key))); }
  pick(word, name) {
    const kept = Object.entries(this.setup.changes).filter(([key]) =>
      word === "road" || (word === "truck" && key in this.described.usual));
    this.setup = { ...this.setup, [word]: name, changes: Object.fromEntries(kept) };
    const chosen = word === "settings" && this.described.settings[name];
    if (chosen && chosen.truck in this.described.trucks) { this.setup.truck = chosen.truck; }
    if (chosen && chosen.road) { this.setup.road = chosen.road; }
    this.refresh();
    this.tell(0);
  }

  // ------------------------------------------------------------ telling
  tell(wait) {
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => this.say(), wait);
  }
  say() {
    setProps(this.asked.store, { data: this.setup });
    readdress(addressOf(this.setup, window.location.search));
    this.place.dispatchEvent(new CustomEvent("haulbench:setup", { bubbles: true,
      detail: { page: this.asked.page, setup: this.setup } }));
  }

  // ------------------------------------------------------------ building
  build() {
    this.count = element("span", { class: "quiet", "aria-live": "polite" });
    this.all = button("undo all changes", () => {
      this.setup = { ...this.setup, changes: {} };
      this.refresh();
      this.tell(0);
    }, { class: "plain" });
    this.place.append(...this.asked.start_with.map((word) => this.choice(word)),
      element("div", { class: "panel-head" }, [this.count, this.all]),
      ...this.asked.groups.map((group) => this.group(group.title, group.keys,
        (group.open || group.keys.some((key) => this.changed(key))) && window.innerWidth > 1100)));
    if (this.asked.everything) { this.place.append(this.drawer()); }
    this.refresh();
    this.place.dataset.built = "";
    this.say();
  }

  choice(word) {
    const id = `${this.asked.page}-${word}`, list = this.described[word === "settings" ? word : word + "s"];
    const about = element("p", { class: "meaning", id: `${id}-meaning` });
    const picked = (name) => this.pick(word, name === GRADE ? `${GRADE}-6%,6km,1100m` : name);
    const choices = select(Object.keys(list).map((name) => [name, name.replace(/-/g, " ")]), { id, name: word,
      "aria-describedby": about.id, onchange: () => picked(choices.value) });
    const add = (value, text) => choices.append(element("option", { value, text }));
    const grade = word === "road" ? this.gradeInputs() : null;
    if (grade) { add(GRADE, "a constant grade ..."); }
    this.refreshers.push(() => {
      const name = this.setup[word], constant = grade !== null && name.startsWith(GRADE);
      grade?.show(constant ? name : null);
      if (!constant && !has(choices, name)) {
        const uploaded = recall("haulbench-roads", []).find((each) => each.address === name);
        add(name, grade ? uploaded?.title || "an uploaded road" : name.slice(0, 40));
      }
      choices.value = constant ? GRADE : name;
      about.textContent = constant ? "grade, length, altitude at the start" : this.about(list[name]);
    });
    return element("div", { class: "field is-choice" },
      [element("label", { for: id, text: NAMES[word] }), choices, about, grade?.box]);
  }
  /** A truck, a road or settings in a line. */
  about(chosen) {
    const { title, length_m: length, values } = chosen ?? { title: "" }, mass = values?.["vehicle.mass_kg"];
    if (length) { return `${title}; ${quantity(length, "distance")}`; }
    return mass ? `${title}; ${quantity(mass, "mass")}, ${quantity(1000 * values["engine.rated_power_kw"], "power")}`
      : title;
  }
  gradeInputs() {
    const { "tyres.rolling_radius_m": metres, "cruise.set_speed_km_h": speed } = this.described.fields;
    const names = ["grade", "length", "altitude", "limit"], kinds = ["grade", "distance", "height", "speed"];
    const boxes = names.map((name) => decimalBox(`${this.asked.page}-constant-${name}`, {
      onchange: () => {
        const texts = boxes.map((each, place) => (each.value.trim() || "0") + unitOfKind(kinds[place]));
        this.pick("road", GRADE + texts.slice(0, boxes[3].value.trim() ? 4 : 3).join(","));
      } }));
    const labels = boxes.map(({ id }) => element("label", { for: id }));
    const box = element("div", { class: "three", hidden: true },
      boxes.map((each, place) => element("div", {}, [labels[place], each])));
    return { box, show: (name) => {
      box.hidden = name === null;
      const given = (name || "").slice(GRADE.length).split(",");
      if (given.length === 3 && /[hs]$/.test(given[2].trim())) { given.splice(2, 0, "0"); }
      boxes.forEach((each, place) => {
        const read = numberIn(place < 3 ? metres : speed, given[place] ?? "");
        const value = read === null || place < 3 ? read : read / 3.6; // km/h of a file as m/s
        labels[place].textContent = `${names[place]}, ${unitOfKind(kinds[place])}`;
        if (name && document.activeElement !== each) {
          each.value = value === null ? (given[place] ?? "").replace(/[^0-9.+-]/g, "")
            : significant(place ? asShown(value, kinds[place]) : value);
        }
      });
    } };
  }

  /** @param {string} title @param {string[]} keys @param {boolean} open */
  group(title, keys, open) {
    const body = element("div", { class: "group-body" }), about = element("span", { class: "quiet" });
    const made = element("details", { class: "group" }, [
      element("summary", {}, [worded("span", title), about]), body]);
    made.open = Boolean(open);
    const fill = () => {
      if (made.open && !body.childElementCount) { body.append(...keys.map((key) => this.field(key))); }
    };
    fill();
    made.addEventListener("toggle", fill);
    this.counters.push(() => {
      const number = keys.filter((key) => this.changed(key)).length;
      about.textContent = number ? `${number} changed` : "";
    });
    return made;
  }
  drawer() {
    const body = element("div", { class: "group-body" });
    const made = element("details", { class: "group drawer" }, [
      element("summary", {}, [worded("span", "All settings and truck values")]), body]);
    made.addEventListener("toggle", () => {
      if (!made.open || body.childElementCount) { return; }
      const tables = {}, all = Object.keys(this.described.fields);
      all.forEach((key) => { (tables[key.split(".")[0]] ||= []).push(key); });
      const groups = Object.entries(tables).map(([table, keys]) => /** @type {const} */ (
        [this.group(this.described.tables[table] || table, keys, false), keys]));
      const search = inputBox(`${this.asked.page}-search`, { type: "search",
        oninput: () => this.find(groups, search.value.trim().toLowerCase()) });
      body.append(labelled("find a setting by a word", search, search, { class: "field" }),
        ...groups.map(([group]) => group));
    });
    return made;
  }
  /** Shows the groups and fields that a word is in. @param {(readonly [HTMLDetailsElement, string[]])[]} groups
   * @param {string} word */
  find(groups, word) {
    groups.forEach(([group, keys]) => {
      const found = keys.filter((key) => {
        const { label, meaning } = this.described.fields[key];
        return `${key} ${label} ${meaning}`.toLowerCase().includes(word);
      });
      group.hidden = !found.length;
      group.open = word !== "" && found.length > 0;
      window.setTimeout(() => all(group, "[data-key]").forEach((box) => { // once it is filled
        box.hidden = !found.includes(box.dataset.key);
      }), 0);
    });
  }

  // ------------------------------------------------------------ one input
  field(key) {
    const field = this.described.fields[key], kind = key in GEARS ? "choice" : field.kind;
    const id = `${this.asked.page}-${key.replace(/[^a-z0-9]/g, "-")}-${this.number += 1}`;
    const meaning = element("p", { class: "meaning", id: `${id}-meaning` });
    const undo = button("\u21ba", () => { this.undo(key); this.refresh(); },
      { class: "undo", title: "undo this change", "aria-label": `undo ${field.label}` });
    const label = element("label", { for: id }, [worded("span", field.label)]);
    const attributes = { id, name: key, "aria-describedby": meaning.id };
    const make = { switch: this.turned, choice: this.chosen, several: this.several }[kind] || this.typed;
    const { parts, update } = make.call(this, field, attributes, label, undo);
    const box = element("div", { class: `field is-${kind}`, "data-key": key }, [...parts, meaning]);
    const refresh = () => {
      update();
      meaning.textContent = this.meaning(field);
      box.classList.toggle("changed", this.changed(key));
    };
    this.refreshers.push(refresh);
    this.boxes.set(key, [...(this.boxes.get(key) || []), refresh]);
    refresh();
    return box;
  }
  /** What it means, and its range. @param {Field} field */
  meaning(field) {
    if (field.kind === "switch") { return field.meaning.replace(/^true:/, "on:").replace(/^false:/, "off:"); }
    if (field.low === undefined || field.key in GEARS) { return field.meaning; }
    const four = (value) => String(Number(inUnits(field, value).toPrecision(4)));
    return `${field.meaning}; ${four(field.low)} to ${four(field.high)} ${unitOf(field)}`.trimEnd();
  }
  turned(field, attributes, label, undo) {
    const input = element("input", { ...attributes, type: "checkbox", role: "switch",
      onchange: () => this.change(field.key, String(input.checked)) });
    return { parts: [input, label, undo], update: () => { input.checked = String(this.given(field.key)) === "true"; } };
  }
  chosen(field, attributes, label, undo) {
    const { key } = field, input = select([], { ...attributes, onchange: () => this.change(key, input.value) });
    const update = () => {
      const now = String(this.given(key));
      let choices = key in GEARS ? Array.from({ length: (this.truck?.gears ?? 18) + 1 },
        (_, gear) => [String(gear), gear ? `gear ${gear}` : GEARS[key]]) : field.choices;
      if (!choices.some(([value]) => value === now)) { choices = [...choices, [now, now.slice(0, 30)]]; }
      if (choices.map(([value]) => value).join() !== [...input.options].map((option) => option.value).join()) {
        setOptions(input, choices);
      }
      input.value = now;
    };
    return { parts: [label, input, undo], update };
  }
  several(field, attributes, _, undo) {
    const changed = () => this.change(field.key,
      JSON.stringify(boxes.filter((each) => each.input.checked).map((each) => each.value)));
    const boxes = field.choices.map(([value]) => ({ value,
      input: element("input", { type: "checkbox", id: attributes.id + value, onchange: changed }) }));
    const set = element("fieldset", { "aria-describedby": attributes["aria-describedby"] }, [
      worded("legend", field.label),
      ...boxes.map(({ value, input }) => element("label", { for: input.id, class: "inline" }, [input, value]))]);
    const update = () => {
      const now = listIn(this.given(field.key));
      boxes.forEach((each) => { each.input.checked = now.includes(each.value); });
    };
    return { parts: [set, undo], update };
  }
  /** A box to type in, and a slider where it is a number. */
  typed(field, attributes, label, undo) {
    const { key, kind } = field, numeric = kind === "number" || kind === "whole";
    const input = (numeric ? decimalBox : inputBox)(attributes.id, { ...attributes, spellcheck: "false" });
    const unit = element("span", { class: "unit" });
    const slider = numeric ? element("input", { type: "range", "aria-label": `${field.label}, slider` }) : null;
    const check = () => {
      const value = this.value(field), fits = !numeric || (value !== null && value >= field.low && value <= field.high);
      input.setAttribute("aria-invalid", String(!fits));
      if (slider && fits) { slider.value = String(inUnits(field, value)); }
    };
    const send = (wait) => {
      const text = input.value.trim(), bare = numeric && /^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$/.test(text);
      if (text === "") { return; }
      const us = usOf(field), turned = () => (kind === "list" ? listed(text, (each) => inFile(field, each))
        : us.typed ? text + us.typed : String(inFile(field, Number(text))));
      this.change(key, us && (bare || kind === "list") ? turned() : text, wait);
      check();
    };
    const update = () => {
      if (document.activeElement !== input) { input.value = this.text(field); }
      unit.textContent = unitOf(field);
      if (slider) {
        const low = inUnits(field, field.low), high = inUnits(field, field.high);
        const step = kind === "whole" ? 1 : Math.pow(10, Math.floor(Math.log10((high - low) / 200)));
        Object.assign(slider, { min: String(low), max: String(high), step: String(Math.max(step, 1e-6)) });
      }
      check();
    };
    input.addEventListener("input", () => send(TYPING));
    input.addEventListener("change", () => { send(0); if (input.value.trim() === "") { update(); } });
    slider?.addEventListener("input", () => { input.value = slider.value; send(SLIDING); });
    return { parts: [label, input, unit, undo, slider], update };
  }

  counts() {
    const number = Object.keys(this.setup.changes).length;
    this.count.textContent = number ? `${number} ${number === 1 ? "value" : "values"} changed` : "nothing changed yet";
    this.all.hidden = number === 0;
    this.counters.forEach((each) => each());
  }
  refresh() {
    if (!this.described) { return; }
    this.refreshers.forEach((each) => each());
    this.counts();
  }
}

whenThere("data-panel", (place) => { panels.set(place, new Panel(place)); });
