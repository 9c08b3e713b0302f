// @ts-check
/* The Trip page: asks for a trip when the setup changes, and from then on works from the columns it was sent. */
import { all, labelled, select, setText, whenThere, worded } from "../shared/dom.js";
import { Player, numbersTable } from "../shared/player.js";
import { between, lastAt, post } from "../shared/server.js";
import { fixed } from "../shared/units.js";
import { asShown, digitsOf, quantity, said } from "../shared/words.js";
import { Balance } from "./balance.js";
import { Chart } from "./chart.js";
import { showCluster, showCodes } from "./cluster.js";
import { EngineBrake } from "./engine_brake.js";
import { Strips } from "./strips.js";
import { eventList, lampItem, sentences, showForeseen, worstOf } from "./told.js";

/** @type {import("../shared/player.js").Words} */
const WORDS = {
  page: "trip", noun: "trip", path: "/trip/drive", first: "Driving the trip ...", again: "Driving the changed trip ...",
  waiting: "Not driven yet: write what you expect, then press Drive.",
  copied: "Copied: it reopens exactly this setup.", rest: ["Play", "Play the trip"], going: ["Pause", "Pause"],
  release: "drive_button", rateLabel: "How fast to play", scrub: { "aria-label": "Place along the road" },
  hold: "do not drive before I press Drive", kept: "haulbench-prediction",
};
/** Name, label, kind of quantity, digits. @type {[string, string, string, number?][]} */
const PREDICTED = [
  ["max_speed", "highest speed", "speed", 0], ["max_engine_speed", "highest engine speed", "engine speed"],
  ["max_brake_temperature", "hottest mean of the brakes", "temperature"],
  ["service_brake_applications", "times on the service brakes", "number"],
  ["time", "time", "duration"], ["fuel", "fuel", "consumption"],
];
const ENDS = { "": "say nothing", arrived: "arrives", runaway: "runs away", stalled: "stalls",
  time_limit: "runs out of time" };
// columns that jump
const STEPS = new Set(["gear", "brake_stage", "stage_requested", "stage_reason", "speed_limit", "set_speed",
  "active_cylinders", "fan_on", "clutch_locked", "fuel_cut"]);

/** When a truck first gets to a place. [s] @param {ArrayLike<number>} along @param {ArrayLike<number>} time
 * @param {number} distance */
export function timeAt(along, time, distance) {
  let low = 0, high = along.length - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (along[middle] < distance) { low = middle + 1; } else { high = middle; }
  }
  if (!low) { return time[0]; }
  const share = Math.min((distance - along[low - 1]) / (along[low] - along[low - 1]), 1);
  return time[low - 1] + (isFinite(share) ? Math.max(share, 0) : 1) * (time[low] - time[low - 1]);
}

class Trip extends Player {
  /** @param {HTMLElement} place */
  constructor(place) {
    super(place, WORDS, JSON.parse(all(place, "[data-rates]")[0].dataset.rates));
    const look = JSON.parse(place.dataset.trip);
    this.strips = new Strips(this.part("strips"), look, (distance, pressed) => {
      if (!this.play.on || pressed) { this.scrubbed(distance); }
    }, () => this.zoomed());
    this.chart = new Chart(this.part("chart"), look);
    this.balance = new Balance(this.part);
    this.brake = new EngineBrake(this.part);
    this.part("zoom_in").onclick = () => { if (this.run) { this.strips.closer(this.value("distance")); } };
    this.part("zoom_out").onclick = () => { if (this.run) { this.strips.zoom(...this.strips.whole); } };
    this.predictable();
    this.begin();
  }

  // ------------------------------------------------------------ asking
  async foretell() {
    const number = this.next();
    try {
      const told = await post("/trip/foretell", { setup: this.setup });
      if (number !== this.number) { return; }
      this.fail("");
      showForeseen(this.part("foreseen"), told.foreseen);
    } catch (problem) { this.fail(problem.message); }
  }
  files() {
    all(this.place, "[data-file]").forEach((link) => {
      link.href = `/trip/${link.dataset.file}${window.location.search}`;
    });
  }
  take(run) {
    const at = this.run?.head.route === run.head.route ? this.value("distance") : 0.25 * run.head.length;
    this.play.stop();
    this.run = run;
    this.play.time = this.timeAt(at);
    this.render();
  }

  // ------------------------------------------------------------ a whole trip
  showRun() {
    const { head, columns } = this.run;
    this.verdict(worstOf(head), said(head.verdict), `${head.truck} \u2014 ${head.route}`, sentences(head));
    this.circuits.meters(head.meters); this.circuits.shown();
    this.said = ""; this.part("lamp_box").hidden = !head.codes.length;
    this.part("lamps").replaceChildren(...head.lamps.map(lampItem));
    showForeseen(this.part("foreseen"), head.foreseen);
    const heading = { children: [worded("span", "quantity", "unseen")] };
    this.part("numbers").replaceChildren(numbersTable(head.numbers, this.other?.head.numbers, heading, "number"));
    this.part("events").replaceChildren(...eventList(head, (time) => {
      this.play.stop();
      this.play.time = time;
      this.show();
    }));
    const end = columns.distance[columns.distance.length - 1];
    this.scrub.max = String(Math.max(end, 1)); this.scrub.step = String(Math.max(Math.round(end / 1000), 1));
    this.balance.measure(columns);
    this.strips.show(this.run, this.other);
    this.chart.show(this.run);
    this.zoomed();
    this.show();
  }
  draw() { this.strips.draw(); }
  zoomed() {
    const [from, to] = this.strips.ends, { zoomedIn } = this.strips;
    this.part("zoom_out").disabled = !zoomedIn;
    const [first, last] = [from, to].map((end) => quantity(end, "distance", 2));
    this.part("zoom_words").textContent = zoomedIn ? `${first} to ${last}`
      : "drag sideways to look closer";
  }

  // ------------------------------------------------------------ the cursor
  end() { const { time } = this.run.columns; return time[time.length - 1]; }
  here() { return quantity(this.run ? this.value("distance") : 0, "distance", 2); }
  /** @param {number} distance */
  timeAt(distance) { return timeAt(this.run.columns.distance, this.run.columns.time, distance); }
  /** @param {string} name of a column */
  value(name) {
    const { columns: { time, [name]: values }, head } = this.run;
    const steps = STEPS.has(name) || head.conditions.some(({ column }) => column === name);
    return steps ? values[lastAt(time, this.play.time)] : between(time, values, this.play.time);
  }
  scrubbed(distance) { if (this.run) { this.play.time = this.timeAt(distance); this.show(); } }
  moved() {
    const at = this.value("distance"), [from, to] = this.strips.ends;
    // the part of the road in sight goes along with a truck that leaves it
    if (this.strips.zoomedIn && (at > to || at < from)) { this.strips.zoom(at, at + to - from); }
    this.show();
  }
  show() {
    const value = (name) => this.value(name), round = (name) => Math.round(value(name)), { head, columns } = this.run;
    const at = { value, head, time: this.play.time, distance: value("distance"), speed: value("speed"),
      gear: round("gear"), stage: round("brake_stage"), turning: value("engine_speed") };
    this.strips.cursor(at);
    this.chart.cursor(at);
    showCluster(this.part, at);
    const words = [quantity(at.distance, "distance", 2), quantity(at.speed, "speed", 0), `gear ${at.gear || "neutral"}`,
      `stage ${at.stage || "off"}`].join(", ");
    const far = Math.abs(Number(this.scrub.value) - at.distance) > 2 * Number(this.scrub.step);
    this.slide(at.distance, words, far || document.activeElement !== this.scrub || this.play.on);
    this.balance.show(at);
    this.brake.show(at);
    this.said = showCodes(this.part, at, this.said);
    const { "meters:time": time } = columns;
    this.circuits.cursor((name) => columns[`meters:${name}`]?.[lastAt(time, at.time + 1e-3)] ?? NaN);
    setText(this.part("chart_words"), this.chart.words());
  }

  // ------------------------------------------------------------ predicting
  predictable() {
    const { kept } = this.prediction;
    const end = select(Object.entries(ENDS), { id: "predict-ended", onchange: () => {
      kept.end = end.value;
      this.prediction.changed();
    } });
    end.value = kept.end;
    /** @param {[string, string, string, number?]} row */
    const field = ([name, label, kind]) =>
      this.prediction.field(`predict-${name}`, label, kind, kept.values, name);
    this.prediction.fields.replaceChildren(...PREDICTED.map(field), labelled("the truck", end));
  }
  predicted() {
    if (!this.run) { return; }
    const { found } = this.run.head, { values, end } = this.prediction.kept;
    const rows = PREDICTED.filter(([name]) => values[name] !== undefined && found[name] !== null)
      .map(([name, label, kind, digits = digitsOf(kind)]) => {
        const mine = values[name], came = found[name], off = asShown(came, kind) - asShown(mine, kind);
        const by = fixed(Math.abs(off), digits);
        return [label, quantity(mine, kind, digits), quantity(came, kind, digits),
          Number(by) ? `${by} too ${off > 0 ? "low" : "high"}` : "right"];
      });
    if (end) { rows.push(["the truck", ENDS[end], ENDS[found.ended], end === found.ended ? "right" : "not so"]); }
    this.prediction.compare(["what", "predicted", "driven", "the prediction was"], rows);
  }
}

whenThere("data-trip", (place) => { new Trip(place); });
