// @ts-check
/* The Dyno page: asks for a run when something changes, and draws it as it went, from columns that are already here. */
import { codeText } from "../shared/circuits.js";
import { all, button, element, setText, table, whenThere, worded } from "../shared/dom.js";
import { panel } from "../panel/panel.js";
import { Player, numbersTable } from "../shared/player.js";
import { lastAt, readdress, written } from "../shared/server.js";
import { tidy } from "../shared/units.js";
import { asShown, digitsOf, number, quantity, said, unitOf } from "../shared/words.js";
import { Curves } from "./curves.js";

/** @type {import("../shared/player.js").Words} */
const WORDS = {
  page: "dyno", noun: "run", path: "/dyno/run", first: "The run is being made ...", again: "The run is being made ...",
  waiting: "Not run yet: write what you expect, then press Run the test.",
  copied: "Copied: it reopens exactly this run.", rest: ["Run", "Show the run as it goes"], going: ["Hold", "Hold"],
  release: "run_button", rateLabel: "How fast to show the run", scrub: { step: "0.1", "aria-label": "Time of the run" },
  hold: "no run before I press Run the test", kept: "haulbench-dyno-prediction",
};
const LONGEST_SHOW = 20; // s a run takes to be shown, unless the fastest rate is too slow for it

class Dyno extends Player {
  /** @param {HTMLElement} place */
  constructor(place) {
    const asked = JSON.parse(place.dataset.dyno);
    super(place, WORDS, asked.rates);
    this.asked = asked;
    this.test = asked.test;
    this.predict = {}; // what may be predicted, by test
    this.curves = new Curves(this.part("curves"));
    this.buildTests();
    this.buildFaults();
    this.part("whole").onclick = () => {
      this.play.stop();
      if (this.run) { this.play.time = this.end(); this.show(); }
    };
    this.predictable();
    this.begin();
  }

  // ------------------------------------------------------------ asking
  /** The query of this run. @param {Record<string, string>} more */
  address(more) {
    const query = new URLSearchParams(window.location.search);
    Object.entries({ test: this.test, ...more }).forEach(([name, value]) => {
      if (value) { query.set(name, value); } else { query.delete(name); }
    });
    return written(query);
  }
  question() { return { test: this.test }; }
  changed() {
    readdress(this.address({}));
    this.faultsShown();
    super.changed();
  }
  files() {
    const mine = this.prediction.kept.values[this.test] || {}, rows = this.predict[this.test] || [];
    const told = rows.filter(([name]) => name in mine).map(([name, , , , , , [key, factor, offset]]) =>
      `${key}=${tidy((mine[name] - offset) / factor)}`).join("|");
    all(this.place, "[data-file]").forEach((link) => {
      const { file } = link.dataset;
      link.href = `/dyno/${file}${this.address({ predict: file === "report.html" ? told : "" })}`;
      link.hidden = file === "meters.csv" && !this.run?.head.meters.length;
    });
  }
  take(run) {
    const before = this.run, { play } = this, going = play.on || this.dialling, end = run.head.play_s;
    this.run = run;
    if (before?.head.test !== run.head.test) {
      play.stop();
      play.time = end;
      play.choose(this.asked.rates.find((rate) => end / rate <= LONGEST_SHOW) || this.asked.rates.at(-1));
    } else if (!going && play.time >= before.head.play_s - 0.01) { play.time = end; }
    else { play.time = Math.min(play.time, end); }
    if (this.kept?.head.test !== run.head.test) { this.kept = null; }
    this.render();
    if (this.dialling) { this.dialling = false; this.start(); }
  }
  dialled() { this.dialling = true; }

  // ------------------------------------------------------------ tests and faults
  titles(test) { return this.asked.tests.find(([name]) => name === test); }
  buildTests() {
    const buttons = this.asked.tests.map(([name, title, words]) => button(title, () => {
      this.test = name;
      buttons.forEach((each) => each.setAttribute("aria-pressed", String(each.dataset.test === name)));
      this.predictable();
      this.changed();
    }, { title: words, "data-test": name, "aria-pressed": String(name === this.test) }));
    this.testWords = element("span", { class: "quiet small" });
    this.part("tests").append(...buttons, this.testWords);
  }
  buildFaults() {
    this.chips = this.asked.faults.map((fault) => {
      const chip = button(fault.title, () => {
        const inputs = panel(), on = chip.getAttribute("aria-pressed") === "true";
        if (!inputs?.described) { return; }
        fault.changes.forEach(([key, value]) => { if (on) { inputs.undo(key); } else { inputs.change(key, value); } });
        inputs.refresh();
      }, { class: "chip", title: fault.sign, "aria-pressed": "false" });
      this.part("faults").append(chip);
      return { fault, chip };
    });
  }
  faultsShown() {
    const inputs = panel();
    this.testWords.textContent = this.titles(this.test)[2];
    if (!inputs?.described) { return; }
    this.chips.forEach(({ fault, chip }) => {
      chip.setAttribute("aria-pressed", String(fault.changes.every(([key]) => inputs.changed(key))));
    });
    this.circuits.shown();
  }

  // ------------------------------------------------------------ a whole run
  showRun() {
    const { head } = this.run, { verdict } = head, name = this.titles(head.test)[1].toLowerCase();
    const state = ["fail", "aborted"].includes(verdict) ? "alarm"
      : verdict === "pass" && !head.warnings.length ? "good" : "warned";
    this.verdict(state, `${verdict[0].toUpperCase()}${verdict.slice(1)}: ${said(head.reading)}`,
      `${head.truck} \u2014 ${name}, ${head.form}`, [
        ...(head.decides ? [["decided", said(head.decides)]] : []),
        ...head.warnings.map((each) => ["warning", said(each)]), ...head.events.map((each) => ["before", said(each)])]);
    this.scrub.max = String(head.play_s);
    this.buildReadings();
    this.part("numbers").replaceChildren(numbersTable(head.numbers, this.other?.head.numbers, "quantity", null));
    const kinds = { gauge: "", found: "", specified: "", verdict: "out", source: "quiet small" };
    this.part("judged").replaceChildren(table(["reading", "found", "specified", "verdict", "by"],
      head.judged.map((row) => Object.entries(kinds).map(([key, kind]) =>
        ({ text: said(row[key]), class: kind === "out" && !row.out ? "" : kind })))));
    this.part("points").replaceChildren(this.points());
    const codes = head.codes.map((code) => codeText(code, code.count, code.active ? "active at the end" : "earlier"));
    this.part("codes").replaceChildren(...(codes.length ? [worded("h3", "Codes the controller has set"),
      element("ul", { class: "dialled" }, codes.map((text) => element("li", { text })))] : []));
    this.predict[head.test] = head.predict;
    if (!this.prediction.fields.querySelector("input")) { this.predictable(); }
    this.files();
    this.curves.show(this.run, this.other);
    this.show();
  }
  draw() { this.curves.draw(); }
  buildReadings() {
    const { head } = this.run;
    this.readings = head.readings.map(([column, name, kind, digits]) => {
      const value = worded("span", "-", "value"), limiter = kind === "limiter";
      const made = element("div", { class: `reading ${column}` }, [
        worded("span", name, "label"), value, worded("span", limiter ? "" : unitOf(kind), "unit")]);
      return { column, made, value, text: this.text(kind, digits, number) };
    });
    this.part("readings").style.setProperty("--readings", String(this.readings.length - 1));
    this.part("readings").replaceChildren(...this.readings.map((each) => each.made));
    const gauges = head.gauges.map(([column, name, kind, digits]) => ({ column, name, value: worded("dd", "-"),
      text: this.text(kind, digits, quantity) }));
    this.part("gauges").replaceChildren(...gauges.flatMap(({ name, value }) => [worded("dt", name), value]));
    this.readings.push(...gauges);
    this.circuits.meters(head.meters);
  }
  /** How a value is written. @param {string} kind of quantity, or limiter @param {number | null} digits
   * @param {typeof number} written @returns {(value: number) => string} */
  text(kind, digits, written) {
    const { limiters } = this.run.head;
    return (value) => (!isFinite(value) ? "-" : kind === "limiter" ? limiters[Math.round(value)]
      : written(value, kind, digits ?? undefined));
  }
  points() {
    const { head, columns } = this.run;
    if (head.points.length < 2) {
      return element("p", { class: "quiet",
        text: head.verdict === "aborted" ? "The run was broken off: no point was read."
          : "The speeds that were read stand among the numbers and as lines in the first plot." });
    }
    const title = (name, unit) => ({ text: unit ? `${name}, ${unit}` : name, class: "number" });
    const texts = head.points.map(([, , kind, digits]) => this.text(kind, digits, number));
    return table(head.points.map(([, name, kind]) => title(name, kind === "limiter" ? "" : unitOf(kind))),
      Array.from(columns["table:" + head.points[0][0]], (_, row) => head.points.map(([name], at) =>
        ({ text: texts[at](columns["table:" + name][row]), class: "number" }))), { first: "td" });
  }

  // ------------------------------------------------------------ the cursor
  end() { return this.run.head.play_s; }
  here() {
    const { end, begins_s: begins } = this.run?.head.chapters[0] || { end: 0, begins_s: 0 };
    return `${Math.max(0, Math.min(this.play.time, end) + begins).toFixed(1)} s`;
  }
  chapter() {
    const { chapters } = this.run.head;
    return chapters.find((each) => this.play.time <= each.end + 1e-6) || chapters.at(-1);
  }
  /** @param {string} prefix of a chapter's columns @param {string} name @returns {number} NaN for none */
  value(prefix, name) {
    const { [`${prefix}:${name}`]: values, [`${prefix}:play`]: play } = this.run.columns;
    return values && play ? values[lastAt(play, this.play.time + 1e-4)] : NaN;
  }
  scrubbed(time) { this.play.time = time; this.show(); }
  show() {
    if (!this.run) { return; }
    const { time } = this.play, chapter = this.chapter(), first = chapter === this.run.head.chapters[0];
    this.curves.goTo(time);
    this.readings.forEach(({ column, value: box, text }) => {
      setText(box, text(this.value(chapter.prefix, column)));
    });
    this.circuits.cursor((name) => (first ? this.value("meters", name) : NaN));
    const { name, start, end } = chapter;
    const words = `${name}, ${(time - start).toFixed(0)} s of ${(end - start).toFixed(0)} s`;
    setText(this.part("chapter"), words);
    this.slide(time, `${words}, ${quantity(this.value(chapter.prefix, "engine_speed"), "engine speed")}`);
  }

  // ------------------------------------------------------------ predicting
  predictable() {
    const { kept, fields } = this.prediction, rows = this.predict[this.test];
    const mine = kept.values[this.test] = kept.values[this.test] || {};
    const none = "Run this test once, or press Run the test; then its quantities stand here.";
    fields.replaceChildren(...(rows ? rows.map(([key, name, kind]) =>
      this.prediction.field(`dyno-predict-${key}`, name, kind, mine, key)) : [worded("p", none, "quiet")]));
  }
  predicted() {
    if (!this.run) { return; }
    const { head } = this.run, mine = this.prediction.kept.values[head.test] || {};
    const rows = head.predict.filter(([key]) => (mine[key] ?? null) !== null && (head.found[key] ?? null) !== null)
      .map(([key, name, kind, tolerance, measure, measured]) => {
        const off = (mine[key] - head.found[key]) / (measured === kind ? 1 : head.found[key]);
        const text = (value) => quantity(value, kind, Math.max(1, digitsOf(kind)));
        return [name, text(mine[key]), text(head.found[key]),
          `${off >= 0 ? "+" : ""}${number(off, measured, 1)} ${measure}`,
          `${Math.abs(off) <= tolerance ? "within" : "outside"} ${tidy(asShown(tolerance, measured))} ${measure}`];
      });
    this.prediction.compare(["what", "predicted", "measured", "off", "tolerance"], rows);
    this.files();
  }
}

whenThere("data-dyno", (place) => { new Dyno(place); });
