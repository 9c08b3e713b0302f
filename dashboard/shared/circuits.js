/* Failures of circuits, values dialled in by hand and a meter, for the pages that have a panel and a cursor. */
"use strict";
(function () {
  const H = window.haulbench, element = H.element;
  // in a list of texts such as ["60 s boost pressure 100 kPa", "70 s ..."]
  function listOf(text) { try { const found = JSON.parse(text); return Array.isArray(found) ? found.map(String) : []; } catch (problem) { return []; } }

  /* place: element; page: word before the ids; panel(): the panel of inputs; here(): the place or time at the cursor, as text;
     fail(text): says what is missing; going(): something is about to change on the fly */
  class Circuits {
    constructor(place, options) {
      this.place = place; this.o = options;
      H.fields().then((described) => { this.parts = described.circuits; this.build(); this.shown(); this.meters(this.found || []); });
    }
    list(key) {
      const panel = this.o.panel();
      if (!panel || !panel.described) { return []; }
      const now = panel.changed(key) ? panel.setup.changes[key] : panel.base(key);
      return Array.isArray(now) ? now.map(String) : listOf(now || "[]");
    }
    put(key, values) {
      const panel = this.o.panel();
      if (!panel || !panel.described) { return; }
      panel.change(key, JSON.stringify(values));
      panel.refresh();
      this.shown();
    }
    build() {
      const id = (name) => `${this.o.page}-${name}`, sensors = this.parts.filter((part) => part.kind);
      const choose = (name, parts, changed) => {
        const select = element("select", { id: id(name), onchange: changed });
        select.append(...parts.map((part) => element("option", { value: part.name, text: part.name })));
        return select;
      };
      const row = (words, input, unit) => element("div", { class: "dial-row" }, [element("label", { for: input.id, text: words }),
        unit ? element("span", { class: "with-unit" }, [input, unit]) : input]);
      const box = (name) => element("input", { type: "text", id: id(name), autocomplete: "off" });
      const numberOf = (text, unit) => (/^[+-]?[0-9.]+$/.test(text) && unit ? `${text} ${unit}` : text);

      // a meter
      this.meter = element("select", { id: id("meter"), onchange: () => this.put("circuits.meters", this.meter.value ? [this.meter.value] : []) });
      this.meter.append(element("option", { value: "", text: "nothing" }), ...sensors.map((part) => element("option", { value: part.name, text: part.name })));
      this.readings = element("div", { class: "meter" });

      // a value by hand
      const value = box("dial-value"), unit = element("span", { class: "unit" });
      const dialled = choose("dial-part", sensors, () => units());
      const sensor = () => sensors.find((part) => part.name === dialled.value);
      const units = () => {
        unit.textContent = sensor().unit || (sensor().kind === "switch" ? "pressed or released" : "position");
        value.placeholder = !sensor().unit && sensor().kind === "switch" ? "pressed" : "";
      };
      dialled.value = "intake temperature"; units();
      const dial = (text) => { this.o.going(); this.put("circuits.dialled", [...this.list("circuits.dialled"), `${this.o.here()} ${dialled.value} ${text}`]); };
      const dialIn = element("button", { type: "button", text: "Dial in here", onclick: () => {
        const text = value.value.trim() || value.placeholder;
        if (!text) { this.o.fail("Dial in by hand: give a value" + (sensor().unit ? ` in ${sensor().unit}` : "") + "."); value.focus(); return; }
        dial(numberOf(text, sensor().unit));
      } });
      const letGo = element("button", { type: "button", text: "Let go here", onclick: () => dial("let go") });

      // a failure
      const failing = choose("break-part", this.parts, () => failures());
      const failure = element("select", { id: id("break-failure"), onchange: () => sizes() }), size = box("break-size"), sizeUnit = element("span", { class: "unit" });
      const sizeRow = row("size", size, sizeUnit), meaning = element("p", { class: "meaning" });
      const part = () => this.parts.find((each) => each.name === failing.value);
      const kind = () => part().failures.find(([name]) => name === failure.value);
      const failures = () => { failure.replaceChildren(...part().failures.map(([name]) => element("option", { value: name, text: name }))); sizes(); };
      const sizes = () => { const [, name, says] = kind(); sizeRow.hidden = !name; sizeUnit.textContent = name; meaning.textContent = says; };
      failures();
      const breaks = element("button", { type: "button", text: "Break it here", onclick: () => {
        const [name, unitName] = kind(), text = size.value.trim();
        if (unitName && !text) { this.o.fail(`Break a circuit: give the size in ${unitName}.`); size.focus(); return; }
        this.o.going();
        this.put("faults.occur", [...this.list("faults.occur"), [this.o.here(), failing.value, name, unitName ? numberOf(text, unitName) : ""].filter((word) => word).join(" ")]);
      } });
      this.entries = element("ul", { class: "dialled" });
      const fold = (title, children) => element("details", { class: "group" }, [element("summary", {}, [element("span", { text: title })]), element("div", { class: "group-body" }, children)]);
      this.place.append(element("div", { class: "dial-row" }, [element("label", { for: this.meter.id, text: "meter on" }), this.meter]), this.readings,
        fold("Dial a value in by hand", [element("p", { class: "quiet small", text: "In place of a sensor's, from the cursor on; the engine answers." }), row("in place of", dialled), row("value", value, unit), element("div", { class: "bar" }, [dialIn, letGo])]),
        fold("Break a circuit", [element("p", { class: "quiet small", text: "From the cursor on; mended ends it." }), row("part", failing), row("failure", failure), meaning, sizeRow, element("div", { class: "bar" }, [breaks])]),
        this.entries);
    }
    // what is chosen, as it stands in the panel
    shown() {
      if (!this.entries) { return; }
      const all = ["faults.occur", "circuits.dialled"].flatMap((key) => this.list(key).map((text, place) => [key, text, place]));
      this.entries.replaceChildren(...all.map(([key, text, place]) => element("li", {}, [text + " ", element("button", { type: "button", class: "plain", text: "take out",
        "aria-label": "take out: " + text, onclick: () => this.put(key, this.list(key).filter((each, at) => at !== place)) })])));
      const metered = this.list("circuits.meters");
      this.meter.value = metered.length === 1 ? metered[0] : "";
    }
    /* meters: as the head of an answer has them; value(column): number at the cursor, NaN for none */
    meters(found) {
      this.found = found;
      if (!this.entries) { return; }
      this.boxes = found.map((meter) => [meter, meter.columns.map((name) => [name, element("b", { text: "-" })])]);
      this.readings.replaceChildren(...(found.length ? this.boxes.map(([meter, boxes]) => element("div", {}, [element("h3", { text: meter.name }),
        element("dl", { class: "gauges" }, boxes.flatMap(([, box], place) => [element("dt", { text: ["true", "at the pin", "believed"][place] }), element("dd", {}, [box])]))]))
        : [element("p", { class: "quiet small", text: "Put it on a sensor or switch: true value, signal, and what the controller makes of it." })]));
    }
    cursor(value) {
      (this.boxes || []).forEach(([, boxes]) => boxes.forEach(([name, box]) => {
        const number = value(name), text = Circuits.text(name, number);
        if (box.textContent !== text) { box.textContent = text; }
      }));
    }
    static text(name, value) {
      if (!isFinite(value)) { return "-"; }
      if (name.endsWith("_kpa")) { return H.shown("pressure", value, 1); }
      if (name.endsWith("_c")) { return H.shown("temperature", value, 1); }
      if (name.endsWith("_km_h")) { return H.shown("speed", value / 3.6, 1); }
      const units = { _v: " V", _hz: " Hz", _rpm: " rpm", _percent: " %" }, ending = Object.keys(units).find((each) => name.endsWith(each));
      return value.toFixed(ending === "_v" ? 3 : 1) + (ending ? units[ending] : "");
    }
  }
  H.Circuits = Circuits;

  /* codes of an answer at a time of it, in words: active ones first */
  H.codesAt = function (codes, time) {
    return codes.map((code) => {
      const spans = code.spans.filter(([from]) => from <= time);
      const active = spans.some(([from, to]) => to === null || time < to);
      return { code, active, count: spans.length };
    }).filter((each) => each.count);
  };
  H.codeText = function (code, count, active) {
    return `SPN ${code.spn} FMI ${code.fmi}, ${code.words}; lamp ${code.lamp}, ${count} ${count === 1 ? "time" : "times"}, ${active ? "active" : "earlier"}`;
  };
})();
