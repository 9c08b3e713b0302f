/* The editor of choices: axle ratio, gearbox and tyre of each, kept the same as its store and as the address. */
"use strict";
(function () {
  const H = window.haulbench, element = H.element;
  const DASHES = { solid: "", dash: "7 5", dot: "2 4", dashdot: "7 4 2 4", longdash: "12 5", longdashdot: "12 4 2 4" };
  const TYPING = 450;

  function line(colour, dash) {
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    svg.setAttribute("viewBox", "0 0 34 10");
    const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
    path.setAttribute("d", "M0 5H34");
    path.setAttribute("stroke", colour);
    path.setAttribute("stroke-width", "3");
    if (DASHES[dash]) { path.setAttribute("stroke-dasharray", DASHES[dash]); }
    svg.append(path);
    return svg;
  }
  H.whenThere("data-colour", (place) => { place.append(line(place.dataset.colour, place.dataset.dash)); });

  class Choices {
    constructor(place) {
      this.place = place;
      this.asked = JSON.parse(place.dataset.choices);
      this.text = this.asked.text;
      H.fields().then((described) => {
        this.described = described;
        this.rows = this.read(this.text);
        this.build();
        document.addEventListener("haulbench:setup", (event) => this.follow(event));
        H.onUnits(() => this.build());
      }).catch(() => { place.append(element("p", { class: "told", text: "The inputs could not be loaded; reload the page." })); });
    }
    read(text) {
      return text ? text.split("|").slice(0, this.asked.most).map((each) => {
        const [axle, gearbox, radius] = each.split(",");
        return { axle: axle || "", gearbox: gearbox || "", radius: radius || "" };
      }) : null;
    }
    // the truck of the panel: its name, its axle, its tyre
    truck() {
      const panel = document.getElementById("gearing-panel");
      const setup = panel && panel.panel ? panel.panel.setup : null;
      const name = setup ? setup.truck : Object.keys(this.described.trucks)[0];
      const values = (this.described.trucks[name] || Object.values(this.described.trucks)[0]).values;
      return { name, axle: values["driveline.axle_ratio"], radius: values["tyres.rolling_radius_m"], box: values["gearbox.name"] };
    }
    usual() {
      return this.asked.steps.map((step) => ({ axle: (this.truck().axle * step).toFixed(2), gearbox: "", radius: "" }));
    }
    follow(event) {
      if (event.detail.page !== "gearing" || event.detail.setup.truck === this.known) { return; }
      this.build();
    }
    tell(wait) {
      window.clearTimeout(this.timer);
      this.timer = window.setTimeout(() => {
        this.text = this.rows ? this.rows.map((row) => [row.axle, row.gearbox, row.radius].join(",").replace(/,+$/, "")).join("|") : "";
        H.setProps(this.asked.store, { data: this.text });
        const query = new URLSearchParams(window.location.search);
        if (this.text) { query.set("choices", this.text); } else { query.delete("choices"); }
        const search = query.toString().replace(/%3A/g, ":").replace(/%2C/g, ",").replace(/%7C/g, "|");
        window.history.replaceState(window.history.state, "", window.location.pathname + "?" + search + window.location.hash);
      }, wait);
    }
    change(number, key, value, wait) {
      this.rows = this.rows || this.usual();
      this.rows[number][key] = value;
      this.tell(wait);
    }
    build() {
      const truck = this.truck();
      this.known = truck.name;
      const shown = this.rows || this.usual();
      const focused = document.activeElement && this.place.contains(document.activeElement) ? document.activeElement.id : "";
      this.place.replaceChildren();
      shown.forEach((row, number) => this.place.append(this.one(row, number, truck, shown.length)));
      const add = element("button", { type: "button", id: "gearing-add", text: "Add a choice", onclick: () => {
        this.rows = (this.rows || this.usual()).concat([{ axle: truck.axle.toFixed(2), gearbox: "", radius: "" }]);
        this.build();
        this.tell(0);
        document.getElementById("gearing-axle-" + this.rows.length).focus();
      } });
      add.disabled = shown.length >= this.asked.most;
      const usual = element("button", { type: "button", class: "plain", text: "the usual three", onclick: () => {
        this.rows = null;
        this.build();
        this.tell(0);
      } });
      usual.hidden = !this.rows;
      this.place.append(element("div", { class: "bar" }, [add, usual]));
      if (shown.length >= this.asked.most) {
        this.place.append(element("p", { class: "quiet fine", text: "Six choices are the most that can be compared." }));
      }
      this.picks(shown.length);
      if (focused && document.getElementById(focused)) { document.getElementById(focused).focus(); }
    }
    // which choice the handbook charts are for
    picks(count) {
      const place = document.getElementById("gearing-picks");
      if (!place) { return; }
      if (this.shown > count) {
        this.shown = count;
        H.setProps(this.asked.shown, { data: count });
      }
      this.shown = this.shown || 1;
      place.replaceChildren(element("legend", { class: "unseen", text: "charts of choice" }), element("span", { class: "quiet",
        "aria-hidden": "true", text: "of choice" }), ...Array.from({ length: count }, (_, number) => {
        const input = element("input", { type: "radio", name: "gearing-pick", id: "gearing-pick-" + (number + 1),
          onchange: () => { this.shown = number + 1; H.setProps(this.asked.shown, { data: number + 1 }); } });
        input.checked = number + 1 === this.shown;
        return element("label", { class: "inline", for: input.id }, [input, String(number + 1)]);
      }));
    }
    one(row, number, truck, count) {
      const style = this.asked.styles[number], at = number + 1;
      const sample = element("span", { class: "swatch", "aria-hidden": "true" });
      sample.append(line(style[0], style[1]));
      const box = element("fieldset", { class: "choice" }, [element("legend", {}, [sample, "choice " + at])]);
      box.append(...this.number(row, number, "axle", "axle ratio", "driveline.axle_ratio", String(truck.axle)));
      const select = element("select", { id: "gearing-gearbox-" + at, onchange: () => this.change(number, "gearbox", select.value, 0) });
      select.append(element("option", { value: "", text: "own: " + truck.box }));
      const seen = new Set();
      Object.entries(this.described.trucks).forEach(([name, about]) => {
        const text = about.values["gearbox.name"];
        if (name !== truck.name && !seen.has(text) && text !== truck.box) {
          seen.add(text);
          select.append(element("option", { value: name, text }));
        }
      });
      if (row.gearbox && ![...select.options].some((option) => option.value === row.gearbox)) {
        select.append(element("option", { value: row.gearbox, text: row.gearbox.slice(0, 40) }));
      }
      select.value = row.gearbox;
      box.append(element("label", { for: select.id, text: "gearbox" }), select);
      box.append(...this.number(row, number, "radius", "tyre radius", "tyres.rolling_radius_m", ""));
      const drop = element("button", { type: "button", class: "plain drop", "aria-label": "remove choice " + at, text: "remove",
        onclick: () => {
          this.rows = (this.rows || this.usual()).filter((_, other) => other !== number);
          this.build();
          this.tell(0);
        } });
      if (count > 1) { box.append(drop); }
      return box;
    }
    // a number in the unit of the reader; kept in that of the file
    number(row, number, key, label, name, otherwise) {
      const field = this.described.fields[name], us = key === "radius" && H.units === "us";
      const inches = 0.0254;
      const id = `gearing-${key}-${number + 1}`;
      const own = key === "radius" ? this.truck().radius : this.truck().axle;
      const shown = row[key] && us ? String(Number((Number(row[key]) / inches).toPrecision(5))) : row[key];
      const input = element("input", { type: "text", inputmode: "decimal", id, autocomplete: "off", value: shown,
        placeholder: us ? (own / inches).toFixed(2) : String(own) });
      const send = (wait) => {
        const text = input.value.trim(), value = Number(text) * (us ? inches : 1);
        const fits = text === "" || (Number.isFinite(value) && value >= field.low && value <= field.high);
        input.setAttribute("aria-invalid", String(!fits));
        const kept = text === "" || !Number.isFinite(value) ? text.replace(/[,|]/g, "") : String(Number(value.toPrecision(6)));
        this.change(number, key, kept, wait);
      };
      input.addEventListener("input", () => send(TYPING));
      input.addEventListener("change", () => send(0));
      const unit = key === "radius" ? element("span", { class: "quiet fine", text: us ? "in" : "m" }) : element("span", {});
      return [element("label", { for: id, text: label }), element("div", { class: "number-unit" }, [input, unit])];
    }
  }
  H.whenThere("data-choices", (place) => { place.choices = new Choices(place); });
})();
