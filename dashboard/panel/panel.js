/* The panel of inputs: built from what the server says of each key, kept the same as its store and as the address. */
"use strict";
(function () {
  const H = window.haulbench, element = H.element;
  const GEARS = { "start.gear": "by the speed", "drill.hold_gear": "none", "driver.descent_gear": "driver's choice" };
  const WORDS = ["truck", "road", "settings"];
  const NAMES = { settings: "start from", truck: "truck", road: "road" };
  const TYPING = 450, SLIDING = 120; // ms without a change before it counts

  function significant(value) {
    if (value === 0) { return "0"; }
    const digits = Math.abs(value) >= 10000 ? 6 : 5;
    return String(Number(value.toPrecision(digits)));
  }

  class Panel {
    constructor(place) {
      this.place = place;
      this.asked = JSON.parse(place.dataset.panel);
      this.setup = this.asked.setup;
      this.boxes = new Map();
      this.refreshers = [];
      this.number = 0;
      place.classList.add("waiting");
      H.fields().then((described) => { this.described = described; this.build(); place.classList.remove("waiting"); })
        .catch(() => { place.append(element("p", { class: "told", text: "The inputs could not be loaded; reload the page." })); });
      H.onUnits(() => this.refresh());
    }

    // ------------------------------------------------------------ values
    base(key) {
      const settings = this.described.settings[this.setup.settings] || this.described.settings.defaults;
      if (key in this.described.usual) { return key in settings.values ? settings.values[key] : this.described.usual[key]; }
      const truck = this.described.trucks[this.setup.truck];
      return truck ? truck.values[key] : undefined;
    }
    changed(key) { return Object.prototype.hasOwnProperty.call(this.setup.changes, key); }

    // a number with or without the unit of the file or its US unit, in the unit of the file; null when it is something else
    read(field, text) {
      const found = /^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$/.exec(text);
      if (!found) { return null; }
      if (!found[2] || found[2] === field.unit) { return Number(found[1]); }
      if (field.us && (found[2] === field.us.written || found[2] === field.us.name)) {
        return (Number(found[1]) - field.us.offset) / field.us.factor;
      }
      return null;
    }
    inUnits(field, value) {
      return field.us && H.units === "us" ? value * field.us.factor + field.us.offset : value;
    }
    unit(field) {
      const name = field.us && H.units === "us" ? field.us.name : field.unit;
      return name === "C" || name === "F" ? "\u00b0" + name : name;
    }
    // as it is shown in its box
    text(field) {
      const given = this.changed(field.key) ? this.setup.changes[field.key] : null;
      if (given !== null) {
        const value = this.read(field, given);
        if (value === null) { return given; }
        const us = /[a-zA-Z]/.test(given.replace(/[eE][+-]?\d/, ""));
        if (us === Boolean(field.us && H.units === "us")) { return given.replace(/\s*[a-zA-Z\/ .]+$/, "").trim(); }
        return significant(this.inUnits(field, value));
      }
      const base = this.base(field.key);
      if (Array.isArray(base)) { return base.length ? JSON.stringify(base) : "[]"; }
      return typeof base === "number" ? significant(this.inUnits(field, base)) : String(base);
    }
    value(field) {
      return this.changed(field.key) ? this.read(field, this.setup.changes[field.key]) : this.base(field.key);
    }

    change(key, text, wait) {
      const field = this.described.fields[key], base = this.base(key);
      let same = false;
      if (typeof base === "number") {
        const value = this.read(field, text);
        same = value !== null && Math.abs(value - base) <= 1e-9 * Math.max(1, Math.abs(base));
      } else if (Array.isArray(base)) {
        same = text.replace(/\s/g, "") === JSON.stringify(base);
      } else { same = text === String(base); }
      const changes = { ...this.setup.changes };
      if (same) { delete changes[key]; } else { changes[key] = text; }
      this.setup = { ...this.setup, changes };
      this.mark(key);
      this.tell(wait || 0);
    }
    pick(word, name) {
      const changes = {};
      Object.entries(this.setup.changes).forEach(([key, text]) => {
        const ofSettings = key in this.described.usual;
        if (word === "road" || (word === "truck" && ofSettings)) { changes[key] = text; }
      });
      this.setup = { ...this.setup, [word]: name, changes };
      if (word === "settings") {
        const chosen = this.described.settings[name];
        if (chosen && chosen.truck in this.described.trucks) { this.setup.truck = chosen.truck; }
        if (chosen && chosen.road) { this.setup.road = chosen.road; }
      }
      this.refresh();
      this.tell(0);
    }

    // ------------------------------------------------------------ telling
    tell(wait) {
      window.clearTimeout(this.timer);
      this.timer = window.setTimeout(() => this.say(), wait);
    }
    say() {
      H.setProps(this.asked.store, { data: this.setup });
      const kept = [...new URLSearchParams(window.location.search)].filter(([key]) => !key.includes(".") && !WORDS.includes(key));
      const query = new URLSearchParams([...WORDS.map((word) => [word, this.setup[word]]),
        ...Object.entries(this.setup.changes).sort(([one], [other]) => (one < other ? -1 : 1)), ...kept]);
      const search = query.toString().replace(/%3A/g, ":").replace(/%2C/g, ",");
      window.history.replaceState(window.history.state, "", window.location.pathname + "?" + search + window.location.hash);
      this.place.dispatchEvent(new CustomEvent("haulbench:setup", { bubbles: true,
        detail: { page: this.asked.page, setup: this.setup } }));
    }

    // ------------------------------------------------------------ building
    build() {
      const head = element("div", { class: "panel-head" });
      this.count = element("span", { class: "quiet", "aria-live": "polite" });
      this.all = element("button", { type: "button", class: "plain", text: "undo all changes",
        onclick: () => { this.setup = { ...this.setup, changes: {} }; this.refresh(); this.tell(0); } });
      head.append(this.count, this.all);
      this.asked.start_with.forEach((word) => this.place.append(this.choice(word)));
      this.place.append(head);
      this.asked.groups.forEach((group) => this.place.append(this.group(group.title, group.keys,
        (group.open || group.keys.some((key) => this.changed(key))) && window.innerWidth > 1100)));
      if (this.asked.everything) { this.place.append(this.drawer()); }
      this.refresh();
      this.place.dataset.built = "";
      this.say();
    }

    choice(word) {
      const id = this.asked.page + "-" + word, list = this.described[word === "settings" ? "settings" : word + "s"];
      const select = element("select", { id, name: word, onchange: () => this.picked(word, select.value) });
      Object.entries(list).forEach(([name, about]) => {
        select.append(element("option", { value: name, text: name.replace(/-/g, " ") }));
      });
      const about = element("p", { class: "meaning", id: id + "-meaning" });
      select.setAttribute("aria-describedby", about.id);
      const made = element("div", { class: "field is-choice" }, [
        element("label", { for: id, text: NAMES[word] }), select, about]);
      let grade = null;
      if (word === "road") {
        select.append(element("option", { value: "grade:", text: "a constant grade ..." }));
        grade = this.gradeInputs();
        made.append(grade.box);
      }
      this.refreshers.push(() => {
        const name = this.setup[word];
        if (word === "road" && !(name in list) && !name.startsWith("grade:") && ![...select.options].some((o) => o.value === name)) {
          let title = "an uploaded road";
          try {
            const known = JSON.parse(window.sessionStorage.getItem("haulbench-roads") || "[]");
            title = (known.find((each) => each.address === name) || { title }).title;
          } catch (problem) { /* none kept */ }
          select.append(element("option", { value: name, text: title }));
        }
        const constant = word === "road" && name.startsWith("grade:");
        if (grade) { grade.show(constant ? name : null); }
        if (!constant && ![...select.options].some((option) => option.value === name)) {
          select.append(element("option", { value: name, text: name.slice(0, 40) }));
        }
        select.value = constant ? "grade:" : name;
        const known = list[name];
        about.textContent = constant ? "grade, length, altitude at the start" : known ? known.title : "";
      });
      return made;
    }
    picked(word, name) {
      if (word === "road" && name === "grade:") { this.pick("road", "grade:-6%,6km,1100m"); return; }
      this.pick(word, name);
    }
    gradeInputs() {
      const parts = [["grade", "%", -35, 35], ["length", "km", 0.2, 300], ["altitude", "m", -400, 5500]];
      const boxes = parts.map(([name, unit], place) => {
        const box = element("input", { type: "text", inputmode: "decimal", id: this.asked.page + "-constant-" + name,
          autocomplete: "off" });
        box.addEventListener("change", () => {
          const [a, b, c] = boxes.map((each) => each.value.trim() || "0");
          this.pick("road", `grade:${a}%,${b}km,${c}m`);
        });
        return box;
      });
      const box = element("div", { class: "three", hidden: true }, parts.map(([name, unit], place) =>
        element("div", {}, [element("label", { for: boxes[place].id, text: `${name}, ${unit}` }), boxes[place]])));
      return { box, show: (name) => {
        box.hidden = name === null;
        if (name === null) { return; }
        name.slice(6).split(",").forEach((text, place) => {
          if (boxes[place] && document.activeElement !== boxes[place]) { boxes[place].value = text.replace(/[^0-9.+-]/g, ""); }
        });
      } };
    }

    group(title, keys, open) {
      const body = element("div", { class: "group-body" });
      const about = element("span", { class: "quiet" });
      const made = element("details", { class: "group" }, [
        element("summary", {}, [element("span", { text: title }), about]), body]);
      made.open = Boolean(open);
      const fill = () => { if (!body.childElementCount) { keys.forEach((key) => body.append(this.field(key))); } };
      if (open) { fill(); }
      made.addEventListener("toggle", () => { if (made.open) { fill(); } });
      const counted = () => {
        const number = keys.filter((key) => this.changed(key)).length;
        about.textContent = number ? number + " changed" : "";
      };
      counted.small = true;
      this.refreshers.push(counted);
      return made;
    }

    drawer() {
      const body = element("div", { class: "group-body" });
      const made = element("details", { class: "group drawer" }, [
        element("summary", {}, [element("span", { text: "All settings and truck values" })]), body]);
      made.addEventListener("toggle", () => {
        if (!made.open || body.childElementCount) { return; }
        const search = element("input", { type: "search", id: this.asked.page + "-search", autocomplete: "off" });
        body.append(element("div", { class: "field" }, [
          element("label", { for: search.id, text: "find a setting by a word" }), search]));
        const tables = {};
        Object.keys(this.described.fields).forEach((key) => {
          const table = key.split(".")[0];
          (tables[table] = tables[table] || []).push(key);
        });
        const groups = Object.entries(tables).map(([table, keys]) => {
          const group = this.group(this.described.tables[table] || table, keys, false);
          body.append(group);
          return [group, keys];
        });
        search.addEventListener("input", () => {
          const word = search.value.trim().toLowerCase();
          groups.forEach(([group, keys]) => {
            const found = keys.filter((key) => {
              const field = this.described.fields[key];
              return (key + " " + field.label + " " + field.meaning).toLowerCase().includes(word);
            });
            group.hidden = word !== "" && !found.length;
            group.open = word !== "" && found.length > 0;
            group.querySelectorAll("[data-key]").forEach((box) => {
              box.hidden = word !== "" && !found.includes(box.dataset.key);
            });
            if (word !== "" && found.length) {
              window.setTimeout(() => group.querySelectorAll("[data-key]").forEach((box) => {
                box.hidden = !found.includes(box.dataset.key);
              }), 0);
            }
          });
        });
      });
      return made;
    }

    field(key) {
      const field = this.described.fields[key];
      const id = this.asked.page + "-" + key.replace(/[^a-z0-9]/g, "-") + "-" + (this.number += 1);
      const meaning = element("p", { class: "meaning", id: id + "-meaning" });
      const undo = element("button", { type: "button", class: "undo", title: "undo this change", "aria-label": "undo " + field.label,
        text: "\u21ba", onclick: () => { this.change(key, this.plain(this.base(key))); this.refresh(); } });
      const label = element("label", { for: id }, [element("span", { text: field.label })]);
      const unit = element("span", { class: "unit" });
      const box = element("div", { class: "field is-" + (key in GEARS ? "choice" : field.kind), "data-key": key });
      const bare = { id, name: key, "aria-describedby": meaning.id };
      let update;
      if (field.kind === "switch") {
        const input = element("input", { ...bare, type: "checkbox", role: "switch",
          onchange: () => this.change(key, String(input.checked)) });
        box.append(input, label, undo, meaning);
        update = () => { input.checked = String(this.changed(key) ? this.setup.changes[key] : this.base(key)) === "true"; };
      } else if (field.kind === "choice" || key in GEARS) {
        const input = element("select", { ...bare, onchange: () => this.change(key, input.value) });
        box.append(label, input, undo, meaning);
        update = () => {
          let choices = field.choices;
          if (key in GEARS) {
            const truck = this.described.trucks[this.setup.truck];
            choices = Array.from({ length: (truck ? truck.gears : 18) + 1 }, (_, gear) => [String(gear), gear ? "gear " + gear : GEARS[key]]);
          }
          const now = String(this.changed(key) ? this.setup.changes[key] : this.base(key));
          if (!choices.some(([value]) => value === now)) { choices = [...choices, [now, now.slice(0, 30)]]; }
          const same = input.options.length === choices.length && choices.every(([value], at) => input.options[at].value === value);
          if (!same) { input.replaceChildren(...choices.map(([value, text]) => element("option", { value, text }))); }
          input.value = now;
        };
      } else if (field.kind === "several") {
        const boxes = field.choices.map(([value]) => {
          const input = element("input", { type: "checkbox", id: id + value, onchange: () => {
            this.change(key, JSON.stringify(boxes.filter((each) => each.input.checked).map((each) => each.value)));
          } });
          return { value, input };
        });
        const set = element("fieldset", { "aria-describedby": meaning.id }, [element("legend", { text: field.label }),
          ...boxes.map((each) => element("label", { for: each.input.id, class: "inline" }, [each.input, each.value]))]);
        box.append(set, undo, meaning);
        update = () => {
          let now = this.base(key);
          if (this.changed(key)) { try { now = JSON.parse(this.setup.changes[key]); } catch (problem) { now = []; } }
          boxes.forEach((each) => { each.input.checked = Array.isArray(now) && now.includes(each.value); });
        };
      } else {
        const numeric = field.kind === "number" || field.kind === "whole";
        const input = element("input", { ...bare, type: "text", inputmode: numeric ? "decimal" : undefined, autocomplete: "off",
          spellcheck: "false" });
        const slider = numeric ? element("input", { type: "range", "aria-label": field.label + ", slider" }) : null;
        const send = (wait) => {
          const text = input.value.trim();
          const bareNumber = numeric && /^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$/.test(text);
          if (text === "") { return; }
          this.change(key, bareNumber && field.us && H.units === "us" ? text + field.us.written : text, wait);
          check();
        };
        const check = () => {
          const value = this.value(field);
          const fits = !numeric || (value !== null && value >= field.low && value <= field.high);
          input.setAttribute("aria-invalid", String(!fits));
          if (slider && fits) { slider.value = String(this.inUnits(field, value)); }
        };
        input.addEventListener("input", () => send(TYPING));
        input.addEventListener("change", () => { send(0); if (input.value.trim() === "") { update(); } });
        if (slider) {
          slider.addEventListener("input", () => { input.value = slider.value; send(SLIDING); });
        }
        box.append(label, input, unit, undo, ...(slider ? [slider] : []), meaning);
        update = () => {
          if (document.activeElement !== input) { input.value = this.text(field); }
          unit.textContent = this.unit(field);
          if (slider) {
            const low = this.inUnits(field, field.low), high = this.inUnits(field, field.high);
            slider.min = String(low);
            slider.max = String(high);
            const step = field.kind === "whole" ? 1 : Math.pow(10, Math.floor(Math.log10((high - low) / 200)));
            slider.step = String(Math.max(step, 1e-6));
          }
          check();
        };
      }
      const words = () => {
        let range = "";
        if (field.low !== undefined && !(key in GEARS)) {
          const four = (value) => String(Number(this.inUnits(field, value).toPrecision(4)));
          range = `; ${four(field.low)} to ${four(field.high)} ${this.unit(field)}`;
        }
        const said = field.kind === "switch" ? field.meaning.replace(/^true:/, "on:").replace(/^false:/, "off:") : field.meaning;
        meaning.textContent = said + range.trimEnd();
      };
      const refresh = () => { update(); words(); box.classList.toggle("changed", this.changed(key)); };
      this.refreshers.push(refresh);
      if (!this.boxes.has(key)) { this.boxes.set(key, []); }
      this.boxes.get(key).push({ box, refresh });
      refresh();
      return box;
    }
    plain(value) { return Array.isArray(value) ? JSON.stringify(value) : String(value); }

    mark(key) {
      (this.boxes.get(key) || []).forEach((each) => each.refresh());
      this.counts();
    }
    counts() {
      const number = Object.keys(this.setup.changes).length;
      this.count.textContent = number ? `${number} ${number === 1 ? "value" : "values"} changed` : "nothing changed yet";
      this.all.hidden = number === 0;
      this.refreshers.forEach((each) => { if (each.small) { each(); } });
    }
    refresh() {
      if (!this.described) { return; }
      this.refreshers.forEach((each) => each());
      this.counts();
    }
  }

  H.whenThere("data-panel", (place) => { place.panel = new Panel(place); });
})();
