// @ts-check
/* The measured mile: a drive past two posts to be timed by hand, the sum of the student, and its marking. */
import {
  bar, button, decimalBox, element, inputBox, labelled, partsOf, say, select, setOptions, setText, table, worded,
} from "../shared/dom.js";
import { Play } from "../shared/player.js";
import { between, save, whenReady } from "../shared/server.js";
import { clock, onUnits, units } from "../shared/units.js";
import { inSI, quantity, unitOf } from "../shared/words.js";
import { POSTED, drawNeedle, drawRoad, perHour, percent } from "./needle.js";

const MILE = 1609.344; // m
const SPEEDS = [40, 45, 50, 55, 60, 65], MILES = [0.5, 1, 2, 5]; // [mi/h, mi]
const FIELDS = [["seconds", "stopwatch", "s"], ["read", "needle, as you read it", "speed"],
  ["speed", "true speed, by your sum", "speed"], ["pulses", "new pulses per mile, by your sum", "pulses/mi"]];

const beside = (text, box) =>
  element("span", { class: "with-label" }, [element("label", { for: box.id, text }), box]);

export class Mile {
  /** @param {HTMLElement} place @param {number[]} rates
   * @param {{ post: (what: string, body: object) => Promise<any>, secret: () => void }} of `secret`: another truck may
   * be seen, or none */
  constructor(place, rates, of) {
    this.place = place; this.of = of; this.part = partsOf(place);
    this.secret = null; // number of a truck from another workshop, until it is marked
    this.second = false; // drive, after a number was entered
    this.times = {}; // timed by hand, by way [s]
    this.run = null; this.found = null; this.watch = { on: false, from: 0, time: 0 };
    const end = () => this.run.columns.time_s.at(-1);
    this.play = new Play(place, { end, moved: () => { this.scene(); this.watchShown(); },
      turned: (on) => { if (!on && this.watch.on && this.play.time >= end()) { this.press(); } } });
    this.road = element("div"); this.dial = element("div", { class: "dial" });
    this.buildSetup();
    this.buildWatch(rates);
    this.buildSum();
    onUnits(() => {
      if (!place.isConnected) { return; }
      this.units();
      if (this.found) { this.marked(); }
    });
  }
  fail(text) { say(this.part("mile_error"), text); }

  // ------------------------------------------------------------ building
  buildSetup() {
    const which = select([["own", "this truck"], ["other", "a truck from another workshop"]], { id: "speedo-which",
      onchange: () => { numberBox.hidden = which.value !== "other"; } });
    const number = inputBox("speedo-number", { inputmode: "numeric", value: "1" });
    const numberBox = beside("number", number);
    numberBox.hidden = true;
    const speed = select([], { id: "speedo-shown" }), miles = select([], { id: "speedo-miles" });
    const way = select([["there", "there"], ["back", "back"]], { id: "speedo-way" });
    const name = (box, usual, list, size, kind, digits) => { // kept in mi/h and mi
      const { value } = box;
      setOptions(box, list.map((each) => [String(each), quantity(each * size, kind, digits)]));
      box.value = value || usual;
    };
    this.nameChoices = () => {
      name(speed, "60", SPEEDS, MILE / 3600, "speed", 1);
      name(miles, "1", MILES, MILE, "distance", 2);
    };
    this.nameChoices();
    const go = button("Drive", () => {
      const text = number.value.trim();
      this.secret = which.value === "other" ? (/^\d{1,9}$/.test(text) ? Number(text) : -1) : null;
      const before = JSON.stringify({ ...this.asking, back: null });
      this.asking = { mystery: this.secret, shown_mi_h: Number(speed.value), miles: Number(miles.value),
        back: way.value === "back" };
      if (this.found || JSON.stringify({ ...this.asking, back: null }) !== before) { this.times = {}; }
      this.found = null; this.part("marked").replaceChildren(); this.second = false;
      this.of.secret();
      this.drive(null);
    }, { class: "strong" });
    this.part("mile_setup").append(beside("drive", which), numberBox, beside("hold the needle at", speed),
      beside("posts apart", miles), beside("way", way), go);
  }
  buildWatch(rates) {
    this.time = element("b", { class: "watch-time", role: "timer", text: "0.0 s" });
    this.button = button("Start the watch", () => this.press(), { class: "play" });
    const rate = this.play.rates(rates, 5, { id: "speedo-rate", "aria-label": "how fast to show the drive" });
    this.part("watch").append(this.button, this.time, beside("shown at", rate),
      button("From the start", () => this.start()),
      element("span", { class: "quiet small",
        text: "The watch counts the time of the truck. Shown faster, a late press costs more seconds." }));
  }
  buildSum() {
    this.fields = {};
    const list = element("div", { class: "predict-fields" }, FIELDS.map(([name, words, unit]) => {
      const input = decimalBox("speedo-" + name), box = element("span", { class: "unit" });
      this.fields[name] = { input, box, unit };
      return labelled(words, input, element("span", { class: "with-unit" }, [input, box]));
    }));
    this.toldWords = element("p", { class: "quiet" });
    this.part("sums").append(worded("h3", "Your sum"), this.toldWords, list,
      bar([button("Enter the number and mark it", () => this.mark(), { class: "strong" })]));
    this.units();
  }
  units() {
    Object.values(this.fields).forEach(({ box, unit }) => setText(box, unit === "speed" ? unitOf(unit) : unit));
    this.nameChoices();
    this.sayTold?.();
  }

  // ------------------------------------------------------------ the drive
  /** @param {number | null} entered pulses per mile */
  drive(entered) {
    this.fail(""); this.play.stop();
    whenReady((text) => this.fail(text), () => this.of.post("mile", { ...this.asking, entered }).then((run) => {
      const { length_m: length, told } = run.head;
      this.fail("");
      this.run = run;
      this.part("watch").hidden = false; this.part("sums").hidden = this.second;
      this.sayTold = () => {
        this.toldWords.textContent = `The posts stand ${quantity(length, "distance", 3)} apart; the controller has ` +
          `been told ${told.toFixed(0)} pulses per mile. Speed is distance over time, of both ways the mean; new ` +
          "pulses are old pulses times needle over true speed, or tyre revolutions per mile x axle ratio x teeth.";
      };
      this.sayTold();
      this.start();
      this.button.focus({ preventScroll: true }); // so that Space is the watch at once
      this.part("scene").scrollIntoView({ block: "nearest" });
      this.place.dataset.mile = entered === null ? "first" : "second";
    }).catch((problem) => { this.run = null; this.fail(problem.message); }));
  }
  start() {
    if (!this.run) { return; }
    this.watch = { on: false, from: 0, time: 0 }; this.watchShown();
    this.play.time = 0;
    if (!this.play.on) { this.play.start(); }
  }
  press() {
    if (!this.run) { return; }
    const { time } = this.play, { on, from } = this.watch;
    this.watch = on ? { on: false, from: 0, time: time - from } : { on: true, from: time, time: 0 };
    if (on && !this.second) {
      this.times[this.asking.back ? "back" : "there"] = this.watch.time;
      const all = Object.values(this.times);
      this.fields.seconds.input.value = (all.reduce((sum, each) => sum + each, 0) / all.length).toFixed(1);
    }
    this.watchShown();
  }
  watchShown() {
    const { on, from, time } = this.watch;
    setText(this.time, `${(on ? this.play.time - from : time).toFixed(1)} s`);
    setText(this.button, on ? "Stop the watch" : "Start the watch");
  }
  scene() {
    if (!this.run) { return; }
    const { head, columns } = this.run, value = (name) => between(columns.time_s, columns[name], this.play.time);
    if (!this.road.isConnected) { this.part("scene").append(this.road, this.dial); }
    drawRoad(this.road, value("distance_m"), [0, head.length_m]);
    drawNeedle(this.dial, value("indicated_speed_m_s"), null);
  }

  // ------------------------------------------------------------ the marking
  mark() {
    const [seconds, read, speed, pulses] = Object.values(this.fields).map(({ input }) =>
      input.value.trim().replaceAll(",", "."));
    const metric = (text) => (text && isFinite(Number(text)) ? 3.6 * inSI(Number(text), "speed") : text);
    this.fail("");
    this.told = { entries: { seconds, read_km_h: metric(read), speed_km_h: metric(speed), pulses },
      both: "there" in this.times && "back" in this.times };
    this.of.post("mark", { ...this.asking, ...this.told }).then((found) => {
      this.found = found; this.secret = null; this.second = true;
      this.of.secret();
      this.marked();
      this.drive(found.entered_pulses_per_mile);
    }).catch((problem) => this.fail(problem.message));
  }
  marked() {
    const { steps, before, after, score, score_words: words, cause } = this.found;
    const shown = (value, unit) => (unit === "km/h" ? perHour(value / 3.6, 2)
      : `${value.toFixed(unit === "s" ? 1 : 0)} ${unit}`);
    const state = (name, { calibration, verdict, effects, posted_run: run }) => [name,
      calibration.told_pulses_per_mile.toFixed(0), perHour(verdict.shown_speed_m_s), verdict.verdict,
      percent(effects.speed_error_percent), clock(run.time_over_limit_s)];
    const wide = (heads, rows) => element("div", { class: "wide" }, [table(heads, rows)]);
    this.saved = worded("span", "", "quiet small");
    const again = "The truck drives the mile again, above, with your number: look at the needle and time it once more.";
    this.part("marked").replaceChildren(worded("h3", "Predicted against measured"),
      wide(["step", "yours", "right", "within"], steps.map(({ name, entered, right, unit, within, tolerance }) =>
        [name, shown(entered, unit), shown(right, unit),
          `${within ? "\u2713 within" : "\u2717 outside"} ${shown(tolerance, unit)}`])),
      element("div", { class: "score" }, [worded("b", `${score} of 4`), worded("span", words)]),
      ...(cause ? [element("p", {}, [worded("b", "What had happened: "), `${cause}.`])] : []),
      wide(["", "told, pulses/mi", `at a true ${perHour(before.verdict.true_speed_m_s, 0)}`, "49 CFR 393.82",
        "speed off", `over a posted ${perHour(POSTED.speed, 0)}`],
      [state("as found", before), state("with your number", after)]),
      worded("p", again, "quiet"), bar([button("Lab sheet, to print", () => this.sheet()), this.saved]));
  }
  sheet() {
    this.of.post("sheet", { ...this.asking, ...this.told, units }).then((told) => {
      save(told.sheet, "measured-mile-sheet.html");
      this.saved.textContent = "Saved as measured-mile-sheet.html: open it and print.";
    }).catch((problem) => this.fail(problem.message));
  }
}
