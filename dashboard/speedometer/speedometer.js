// @ts-check
/* The Speedometer page: a needle, a mile to be timed by hand, and the record of what is programmed. */
import { element, inputBox, onSpace, partsOf, say, table, whenThere, worded } from "../shared/dom.js";
import { panel } from "../panel/panel.js";
import { post, whenReady } from "../shared/server.js";
import { clock, onUnits, units } from "../shared/units.js";
import { quantity } from "../shared/words.js";
import { Mile } from "./mile.js";
import { POSTED, drawNeedle, perHour, percent } from "./needle.js";

const LITRE_PER_100KM = 1e-8; // m3/m

class Speedometer {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.place = place;
    this.part = partsOf(place);
    this.setup = null; this.state = null; this.number = 0; this.truth = 80 / 3.6;
    this.buildNeedle();
    this.buildRecord();
    this.mile = new Mile(place, JSON.parse(place.dataset.speedo).rates, {
      post: (what, body) => this.post(what, body), secret: () => { if (this.state) { this.show(); } } });
    place.addEventListener("haulbench:setup", (event) => {
      this.setup = /** @type {CustomEvent} */ (event).detail.setup;
      this.look();
    });
    onUnits(() => {
      if (!place.isConnected) { return; }
      if (this.state) { this.show(); this.record(); this.link(); }
      this.draw();
    });
    new ResizeObserver(() => this.draw()).observe(place);
    onSpace(place, () => this.mile.press());
    const inputs = panel();
    if (inputs?.described) { this.setup = inputs.setup; this.look(); }
  }
  /** @param {string} what @param {object} body */
  post(what, body) { return post(`/speedometer/${what}`, { setup: this.setup, ...body }); }
  draw() { this.needle(); this.mile.scene(); }

  // ------------------------------------------------------------ calibration
  look() {
    const number = this.number += 1;
    this.link();
    whenReady((text) => { this.part("state").textContent = text; }, () => {
      this.part("state").textContent = "";
      this.post("look", {}).then((told) => {
        if (number !== this.number) { return; }
        say(this.part("error"), ""); this.place.classList.remove("refused");
        this.state = told.state; this.rows = told.record;
        this.show(); this.record();
        this.place.dataset.looked = String(number);
      }).catch((problem) => {
        if (number === this.number) { say(this.part("error"), problem.message); this.place.classList.add("refused"); }
      });
    });
  }
  /** The files to save are of this setup, in these units. */
  link() {
    ["save_html", "save_csv"].forEach((name) => {
      const query = new URLSearchParams(window.location.search);
      query.set("units", units);
      this.part(name).href = `${this.part(name).href.split("?")[0]}?${query}`;
    });
  }
  buildNeedle() {
    this.slider = element("input", { type: "range", id: "speedo-true", min: "0", max: "110", step: "1", value: "80",
      "aria-label": "true speed", oninput: () => { this.truth = Number(this.slider.value) / 3.6; this.needle(); } });
    this.dial = element("div", { class: "dial" });
    this.said = element("p", { class: "said-speed", "aria-live": "polite" });
    this.part("needle").append(this.dial, element("label", { for: this.slider.id, text: "true speed" }), this.slider,
      this.said);
  }
  needle() {
    if (!this.state) { return; }
    if (this.mile.secret !== null) {
      this.said.textContent = "Hidden while a truck from another workshop is measured.";
      drawNeedle(this.dial, 0, null);
      return;
    }
    const needle = this.truth * this.state.calibration.shown_over_true;
    drawNeedle(this.dial, needle, this.truth);
    this.slider.setAttribute("aria-valuetext", perHour(this.truth));
    this.said.textContent = `True ${perHour(this.truth)}: the needle shows ${perHour(needle)}.`;
  }
  show() {
    const { truck, calibration: c, verdict: v, effects: e, posted_run: run, wear } = this.state;
    const box = this.part("verdict");
    const pass = v.verdict === "pass", hidden = this.mile.secret !== null;
    box.className = `verdict ${hidden ? "warned" : pass ? "good" : "alarm"}`;
    box.replaceChildren(worded("h2", hidden ? "A truck from another workshop: measure it."
      : `${pass ? "Pass" : "Fail"}: shows ${perHour(v.shown_speed_m_s)} at a true ${perHour(v.true_speed_m_s)}`),
    worded("p", `${truck} \u2014 ${v.rule}`, "quiet"));
    ["pulses", "effects"].forEach((name) => { this.part(name).hidden = hidden; });
    const plain = (rows) => table(null, rows.map(([name, text]) => [name, { text, class: "number" }]));
    const titled = (title, rows) => element("div", {}, [worded("h3", title), plain(rows)]);
    this.part("pulses").replaceChildren(plain([["tyre, revolutions per mile", c.tyre_revolutions_per_mile.toFixed(1)],
      ["axle ratio", c.axle_ratio.toFixed(2)], ["teeth of the tone wheel", String(c.teeth)],
      ["pulses per mile, fitted", c.fitted_pulses_per_mile.toFixed(0)],
      ["pulses per mile, told", c.told_pulses_per_mile.toFixed(0)],
      ["speed and odometer show", percent(e.speed_error_percent)],
      ["the same, tread at the legal limit", percent(wear.worn_out_error_percent)],
      ["revolutions per mile, half worn", wear.half_worn_revolutions_per_mile.toFixed(1)],
      ["pulses per mile, half worn", wear.half_worn_pulses_per_mile.toFixed(0)],
      ["told those: new, worn out", `${percent(wear.new_error_percent_told_half_worn)}, ${
        percent(wear.worn_out_error_percent_told_half_worn)}`]]));
    const economy = (name) => quantity(run[`${name}fuel_l_per_100km`] * LITRE_PER_100KM, "consumption", 2);
    const more = [["cruise_set", "cruise set to"], ["road_speed_limit", "road-speed limit of"]]
      .filter(([key]) => `${key}_true_m_s` in e)
      .map(([key, words]) => [`${words} ${perHour(e[`${key}_shown_m_s`])}`, `true ${perHour(e[`${key}_true_m_s`])}`]);
    this.part("effects").replaceChildren(element("div", { class: "three-tables" }, [
      titled("The needle shows", e.true_speed_m_s.map((speed, at) =>
        [`at ${perHour(speed, 0)} true`, perHour(e.shown_speed_m_s[at])])),
      titled(`${quantity(POSTED.way, "distance")} at a posted ${perHour(POSTED.speed, 0)}, kept to by the needle`, [
        ["true mean speed", perHour(run.mean_speed_m_s)], ["over the posted limit", clock(run.time_over_limit_s)],
        ["distance driven", quantity(run.distance_m, "distance", 2)],
        ["odometer", quantity(run.shown_distance_m, "distance", 2)], ["fuel economy, true", economy("")],
        ["fuel economy, shown", economy("shown_")]]),
      more.length ? titled("What follows the needle", more) : null]));
    this.needle();
  }

  // ------------------------------------------------------------ the record
  buildRecord() {
    this.find = inputBox("speedo-find", { type: "search", "aria-label": "find a setting",
      oninput: () => this.record() });
    this.only = element("input", { type: "checkbox", id: "speedo-only", onchange: () => this.record() });
    this.part("find").append(this.find);
    this.part("only").append(this.only, element("label", { for: this.only.id, text: " only what has changed" }));
  }
  record() {
    if (!this.rows) { return; }
    const all = this.rows[units], word = this.find.value.trim().toLowerCase();
    const changed = all.filter((row) => row[6]).length;
    const rows = all.filter(([name, , , , , meaning, differs]) =>
      (!this.only.checked || differs) && `${name} ${meaning}`.toLowerCase().includes(word));
    const heads = ["value", "before", "after", "unit", "allowed", "meaning"];
    const none = changed || word ? "No setting fits." : "Nothing has changed yet: change a value on the left.";
    this.part("record").replaceChildren(element("p", { class: "quiet", role: "status",
      text: `${changed} of ${all.length} changed; ${rows.length} shown.` }), rows.length
      ? table(heads, rows.map(([name, before, after, unit, allowed, meaning, differs]) => ({
        class: differs ? "changed-row" : null, cells: [name, { text: before, class: "number" },
          { text: (differs ? "\u2192 " : "") + after, class: "number" }, unit, allowed, meaning] })))
      : worded("p", none));
  }
}

whenThere("data-speedo", (place) => { new Speedometer(place); });
