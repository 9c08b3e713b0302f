// @ts-check
/* The control-speed chart: curves of the gear at the cursor, lines of grades, the dot where the truck is. */
import { element } from "../shared/dom.js";
import {
  DASHES, FRAME, INK, edge, level, levels, marks, onWidth, path, sketch, stroke, uprights, within,
} from "../shared/drawing.js";
import { units } from "../shared/units.js";
import { number, quantity, unitOf } from "../shared/words.js";

const LEFT = 46, TOP = 10, FAST = 28; // m/s that the axis shows at least
const TOLD = [-0.06, -0.04, -0.08]; // grades of which the words tell, the usual one first

/** @typedef {{ value: (column: string) => number }} Cursor */

export class Chart {
  /** @param {HTMLElement} place @param {any} look colours of stages */
  constructor(place, look) {
    this.place = place; this.look = look; this.gear = -1; this.width = 0;
    /** @type {import("../shared/server.js").Answer} */ this.run = null;
    this.dot = element("div", { class: "live-dot", hidden: true, "aria-hidden": "true" });
    place.append(this.dot);
    onWidth(place, () => this.width, () => { if (this.at) { this.gear = -1; this.cursor(this.at); } });
  }
  /** @param {import("../shared/server.js").Answer} run */
  show(run) { this.run = run; this.gear = -1; }
  /** @param {Cursor} at */
  cursor(at) {
    this.at = at;
    const gear = Math.round(at.value("gear"));
    if (gear !== this.gear || this.units !== units) { this.gear = gear; this.units = units; this.draw(); }
    const force = -at.value("drive_force"), { top, bottom } = this.frame;
    const px = this.x(at.value("speed")), py = Math.min(Math.max(this.y(force), top), bottom);
    this.dot.hidden = false;
    this.dot.classList.toggle("pushing", force < 0);
    this.dot.style.transform = `translate(${(px - 8).toFixed(1)}px, ${(py - 8).toFixed(1)}px)`;
  }
  get frame() {
    const height = Math.round(Math.min(Math.max(this.width * 0.72, 210), 340));
    return { left: LEFT, top: TOP, right: this.width - 12, bottom: height - 26 };
  }
  /** What the axes end at: speed, force below and above. */
  get ends() {
    const c = this.run.columns, fastest = 1.08 * Math.max(...c.speed);
    const high = 1.35 * Math.max(...c["chart_line_" + (this.run.head.chart.grades.length - 1)]);
    return { end: Math.max(fastest, FAST), low: -0.16 * high, high };
  }
  draw() {
    this.width = this.place.clientWidth;
    const { frame } = this, { left, top, right, bottom } = frame, { end, low, high } = this.ends;
    const pen = sketch(this.place, this.width, bottom + 26);
    const across = (speed) => left + speed / end * (right - left);
    this.x = (speed) => Math.min(across(speed), right);
    const y = this.y = (force) => bottom - (force - low) / (high - low) * (bottom - top);
    levels(pen, frame, marks("force", low, high, 5).map(([mark, force]) => [mark, y(force)]), 6);
    uprights(pen, frame, marks("speed", 0, end, 5).map(([mark, speed]) => [mark, this.x(speed)]),
      { below: bottom + 12 });
    /** @type {[number, number, string][]} */
    let labels = [];
    within(pen, frame, () => {
      level(pen, frame, y(0), FRAME);
      labels = this.curves((xs, ys, colour, width, dash) => {
        path(pen, Array.from(xs, (speed, row) => [across(speed), y(ys[row])]));
        stroke(pen, colour, width, dash);
      }, end, right);
    });
    edge(pen, frame);
    labels.forEach(([px, py, text]) => {
      if (py < top + 4 || py > bottom) { return; }
      const width = pen.measureText(text).width;
      pen.textAlign = "right";
      pen.fillStyle = "rgba(255,255,255,0.82)"; pen.fillRect(px - width - 2, py - 7, width + 4, 14);
      pen.fillStyle = INK; pen.fillText(text, px, py);
    });
  }
  /** Draws all curves. @returns {[number, number, string][]} labels and their places
   * @param {(xs: Float32Array, ys: Float32Array, colour: string, width: number, dash?: number[]) => void} curve
   * @param {number} end fastest speed on the axis @param {number} right edge */
  curves(curve, end, right) {
    const { grades, gears } = this.run.head.chart, c = this.run.columns, speed = c.chart_line_speed;
    const labels = grades.map((grade, place) => {
      const line = c["chart_line_" + place];
      curve(speed, line, this.look.grey, 2.2);
      let row = 0;
      while (row < line.length - 1 && speed[row + 1] < 0.97 * end) { row += 1; }
      return [right - 4, this.y(line[row]) - 8, Math.abs(100 * grade) + " %"];
    });
    gears.filter((gear) => gear !== this.gear).forEach((gear) => {
      curve(c["chart_speed_" + gear], c[`chart_force_${gear}_3`], "#a9b5be", 1.1);
    });
    if (!gears.includes(this.gear)) { return labels; }
    const speeds = c["chart_speed_" + this.gear];
    return [...labels, ...[0, 1, 2, 3].map((stage) => {
      const [colour, , dash] = this.look.stages[stage], forces = c[`chart_force_${this.gear}_${stage}`];
      curve(speeds, forces, colour, 2.4, DASHES[dash]);
      const middle = Math.floor(speeds.length * (0.98 - 0.2 * (3 - stage)));
      return [this.x(speeds[middle]), this.y(forces[middle]) - 9, "stage " + stage];
    })];
  }
  words() {
    const { crossings, elevation: height, grades } = this.run.head.chart;
    const steep = grades.map(Math.abs).sort((a, b) => a - b), held = crossings.filter(([gear]) => gear === this.gear);
    const where = `Holding force in ${unitOf("force")} against speed in ${unitOf("speed")}, at ` +
      `${quantity(height, "height")}; grey lines are grades of ${number(steep[0], "grade", 0)} to ` +
      `${quantity(steep.at(-1), "grade", 0)}.`;
    if (!held.length) { return where; }
    const said = held.filter(([, , grade]) => TOLD.includes(grade)).slice(0, 4)
      .map(([, stage, grade, speed]) =>
        `stage ${stage} holds ${quantity(speed, "speed", 0)} on ${quantity(-grade, "grade", 0)}`);
    return `In gear ${this.gear}: ${said.join(", ") || "nothing holds on 4 to 8 %"}. ${where}`;
  }
}
