// @ts-check
/* Strips over one distance axis, drawn from columns that are already here. */
import { element, setText, worded } from "../shared/dom.js";
import {
  BAND, DASHES, FRAME, INK, KEPT, bandItem, edge, fill, item, level, levels, marks, onWidth, path, sketch, stroke,
  swatch, uprights, within,
} from "../shared/drawing.js";
import { number, unitOf } from "../shared/words.js";

/** @typedef {import("../shared/server.js").Answer} Answer */
/** @typedef {import("../shared/drawing.js").Frame} Frame */
/** @typedef {import("../shared/drawing.js").Pen} Pen */
/** A strip on the page. @typedef {{ strip: any, made: HTMLElement, plot: HTMLElement, unit: HTMLElement, last: boolean,
 *  values: [any, HTMLElement][], y?: (value: number) => number }} Box */

const LEFT = 52, RIGHT = 14, AXIS = 22;
const CLOSEST = 200; // m in sight at least
const LORRY = '<svg viewBox="0 0 64 30" width="46" height="22" fill="#10212e">' +
  '<path d="M2 4h38v18H2zM42 9h11l8 8v5H42z"/><path d="M46 12h6l5 5h-11z" fill="#7cc7ff"/>' +
  '<g stroke="#fff" stroke-width="1.6">' +
  '<circle cx="11" cy="24" r="5"/><circle cx="24" cy="24" r="5"/><circle cx="53" cy="24" r="5"/></g></svg>';
/** @type {Record<string, (x: number, y: number) => number[][]>} */
const SIGNS = {
  sign: (x, y) => [[x - 5, y - 5], [x + 5, y - 5], [x, y + 4]],
  stop: (x, y) => [[x - 4, y - 5], [x + 4, y - 5], [x + 4, y + 3], [x - 4, y + 3]],
  curve: (x, y) => [[x, y - 6], [x + 5, y - 1], [x, y + 4], [x - 5, y - 1]],
};

export class Strips {
  /** @param {HTMLElement} place @param {any} look colours of stages
   * @param {(distance: number, pressed: boolean) => void} moved the cursor is wanted there
   * @param {() => void} zoomed another part of the road is in sight */
  constructor(place, look, moved, zoomed) {
    this.place = place; this.look = look; this.moved = moved; this.zoomed = zoomed;
    /** @type {Box[]} */ this.boxes = [];
    /** @type {Answer} */ this.run = null;
    /** @type {Answer | null} */ this.other = null;
    /** @type {[number, number]} */ this.ends = [0, 0];
    /** @type {[number, number]} */ this.whole = [0, 0];
    this.width = 0;
    this.line = element("div", { class: "cursor-line", hidden: true, "aria-hidden": "true" });
    this.lorry = element("div", { class: "lorry", hidden: true, "aria-hidden": "true" });
    this.lorry.innerHTML = LORRY;
    this.choice = element("div", { class: "choice-box", hidden: true, "aria-hidden": "true" });
    place.append(this.line, this.choice);
    this.listen();
    onWidth(place, () => this.width, () => this.draw());
  }
  /** @param {Answer} run @param {Answer | null} other a kept run */
  show(run, other) {
    const same = this.run && this.run.head.length === run.head.length && this.run.head.route === run.head.route;
    this.run = run; this.other = other;
    const along = run.columns.distance, last = along.reduce((most, each) => Math.max(most, each), 0);
    this.whole = [Math.min(0, along[0]), Math.max(run.head.length, last, 50)];
    if (!same) { this.ends = this.whole; }
    this.build();
    this.draw();
  }
  build() {
    this.boxes.forEach((box) => box.made.remove());
    this.boxes = this.run.head.strips.map((strip, at, all) => {
      const unit = element("span", { class: "quiet" }), plot = element("div", { class: "plot" });
      /** @type {[any, HTMLElement][]} */
      const values = strip.road ? [] : strip.lines.slice().reverse().map((line) => [line, element("b")]);
      const head = element("div", { class: "strip-head" }, [worded("h3", strip.title), unit,
        ...values.map(([line, value]) => item(swatch(line), line.label + " ", value)), ...this.legend(strip)]);
      if (strip.road) { plot.append(this.lorry); }
      const made = element("div", { class: "strip", "data-strip": strip.name }, [head, plot]);
      this.place.append(made);
      return { strip, made, plot, unit, values, last: at === all.length - 1 };
    });
  }
  /** @param {any} strip */
  legend(strip) {
    const found = [
      ...(strip.levels || []).map(({ colour, label }) => item(swatch({ colour, dash: "dash", width: 2 }), label)),
      ...(strip.bands || []).map((band) => bandItem(band.label)),
    ];
    if (strip.over) { found.push(item(element("span", { class: "over-swatch" }), "over the limit")); }
    if (strip.road) {
      found.push(...this.look.stages.map(([colour, width], stage) =>
        item(swatch({ colour, width }), stage ? `stage ${stage}` : "no stage")),
      item("\u25bd sign  \u25a1 stop  \u25c7 curve"));
      if (this.other) { found.push(item(swatch({ colour: KEPT, dash: "dot", width: 2.4 }), "the kept run")); }
    }
    return found;
  }

  // ------------------------------------------------------------ the axis
  /** @param {number} distance */
  x(distance) { return LEFT + (distance - this.ends[0]) / (this.ends[1] - this.ends[0]) * (this.width - LEFT - RIGHT); }
  /** @param {number} x */
  distanceAt(x) {
    const share = Math.min(Math.max((x - LEFT) / (this.width - LEFT - RIGHT), 0), 1);
    return this.ends[0] + share * (this.ends[1] - this.ends[0]);
  }
  /** @param {number} from @param {number} to */
  zoom(from, to) {
    const middle = 0.5 * (from + to), half = Math.max(to - from, CLOSEST) / 2;
    this.ends = [Math.max(middle - half, this.whole[0]), Math.min(middle + half, this.whole[1])];
    this.draw();
    this.zoomed();
  }
  /** Half as much of the road in sight. @param {number} distance which stays in sight */
  closer(distance) {
    const [from, to] = this.ends, half = (to - from) / 4;
    const middle = Math.min(Math.max(distance, from + half), to - half);
    this.zoom(middle - half, middle + half);
  }
  get zoomedIn() { return this.ends[0] > this.whole[0] || this.ends[1] < this.whole[1]; }

  // ------------------------------------------------------------ drawing
  draw() {
    if (!this.run) { return; }
    this.width = this.place.clientWidth;
    this.boxes.forEach((box) => this.drawStrip(box));
    if (this.at) { this.cursor(this.at); }
  }
  /** @param {Box} box */
  drawStrip(box) {
    const { strip, plot } = box, [low, high] = strip.span, { kind } = strip, withAxis = box.last || strip.road;
    const tall = Math.round(strip.height * (strip.road && document.body.classList.contains("class-view") ? 1.7 : 1));
    const pen = sketch(plot, this.width, tall + (withAxis ? AXIS : 0));
    const frame = { left: LEFT, top: 4, right: this.width - RIGHT, bottom: tall - 4 }, top = strip.road ? 22 : 5;
    const y = box.y = (value) => frame.bottom - (value - low) / (high - low) * (frame.bottom - top);
    box.unit.textContent = unitOf(kind);
    let found = marks(kind, low, high, Math.max(strip.whole ? 4 : 2, Math.round(tall / 34)));
    if (strip.whole) { found = found.filter(([mark]) => Number.isInteger(mark)); }
    if (strip.name === "stage") { found = [0, 1, 2, 3].map((each) => [each, each]); }
    levels(pen, { ...frame, top }, found.map(([mark, value]) => [mark, y(value)]));
    const along = marks("distance", ...this.ends, Math.max(3, Math.round(this.width / 90)));
    uprights(pen, frame, along.map(([mark, distance]) => [mark, this.x(distance)]),
      { below: withAxis ? tall + 7 : undefined, edge: 8 });
    if (withAxis) { pen.textAlign = "right"; pen.fillText(unitOf("distance"), LEFT - 7, tall + 7); }
    within(pen, { ...frame, top: 0, bottom: tall }, () => this.contents(pen, strip, frame, y));
    edge(pen, { ...frame, bottom: tall - 3 });
  }
  /** @param {Pen} pen @param {any} strip @param {Frame} frame @param {(value: number) => number} y */
  contents(pen, strip, frame, y) {
    const { left, right } = frame;
    (strip.bands || []).forEach((band) => {
      pen.fillStyle = BAND;
      pen.fillRect(left, y(band.high), right - left, y(band.low) - y(band.high));
    });
    if (strip.zero) { level(pen, frame, y(0), FRAME); }
    (strip.levels || []).forEach((each) => level(pen, frame, y(each.at), each.colour, 2, DASHES.dash));
    if (strip.road) { this.road(pen, y, frame.bottom); return; }
    const { other } = this;
    if (other) {
      strip.lines.filter((line) => line.main && other.columns[line.column]).forEach((line) => {
        this.trace(pen, other, line, y);
        stroke(pen, KEPT, 2.4, [2, 2]);
      });
    }
    if (strip.over) { this.over(pen, strip, y); }
    strip.lines.forEach((line) => {
      if (line.shade) { this.shade(pen, line, y, y(Math.max(strip.span[0], 0))); }
      this.trace(pen, this.run, line, y);
      stroke(pen, line.colour, line.width || 1.6, DASHES[line.dash]);
    });
  }
  /** Rows in sight, and one on both sides, so that lines run to the edges. @param {Answer} run */
  range(run) {
    const along = run.columns.distance;
    let first = 0, last = along.length - 1;
    while (first < last && along[first + 1] < this.ends[0]) { first += 1; }
    while (last > first && along[last - 1] > this.ends[1]) { last -= 1; }
    return [first, last];
  }
  /** The path of a line. @param {Pen} pen @param {Answer} run @param {any} line @param {(value: number) => number} y */
  trace(pen, run, line, y) {
    const along = run.columns.distance, values = run.columns[line.column], [first, last] = this.range(run);
    let drawing = false, before = 0;
    pen.beginPath();
    for (let row = first; row <= last; row += 1) {
      const value = values[row];
      if (!isFinite(value) || (line.gap && value <= 0) || value > line.most) { drawing = false; continue; }
      const px = this.x(along[row]), py = y(value);
      if (!drawing) { pen.moveTo(px, py); drawing = true; }
      else { if (line.step) { pen.lineTo(px, before); } pen.lineTo(px, py); }
      before = py;
    }
  }
  /** @param {Pen} pen @param {any} line @param {(value: number) => number} y @param {number} floor */
  shade(pen, line, y, floor) {
    const along = this.run.columns.distance, [first, last] = this.range(this.run);
    this.trace(pen, this.run, line, y);
    pen.lineTo(this.x(along[last]), floor); pen.lineTo(this.x(along[first]), floor); pen.closePath();
    pen.globalAlpha = line.shade;
    fill(pen, line.colour);
    pen.globalAlpha = 1;
  }
  /** Where it was too fast. @param {Pen} pen @param {any} strip @param {(value: number) => number} y */
  over(pen, strip, y) {
    const c = this.run.columns, along = c.distance, [first, last] = this.range(this.run);
    const fast = c[strip.over[0]], limit = c[strip.over[1]];
    pen.fillStyle = "rgba(213,94,0,0.5)";
    for (let row = first; row < last; row += 1) {
      if (fast[row] <= limit[row] + strip.tolerance) { continue; }
      const left = this.x(along[row]), next = Math.max(this.x(along[row + 1]), left + 1);
      pen.fillRect(left, y(fast[row]), next - left, Math.max(y(limit[row]) - y(fast[row]), 2));
    }
  }
  /** @param {Pen} pen @param {(value: number) => number} y @param {number} bottom */
  road(pen, y, bottom) {
    const c = this.run.columns, [first, last] = this.range(this.run), far = c.profile_distance;
    const outline = Array.from(far, (distance, at) => [this.x(distance), y(c.profile_elevation[at])]);
    path(pen, [[this.x(far[0]), bottom], ...outline, [this.x(far[far.length - 1]), bottom]], true);
    fill(pen, "rgba(90,105,118,0.16)");
    const at = (row) => [this.x(c.distance[row]), y(c.elevation[row])];
    pen.lineCap = "round";
    for (let row = first; row < last;) {
      const stage = c.brake_stage[row], points = [at(row)];
      while (row < last && c.brake_stage[row] === stage) { row += 1; points.push(at(row)); }
      const [colour, width] = this.look.stages[Math.min(Math.max(Math.round(stage), 0), 3)];
      path(pen, points);
      stroke(pen, colour, width);
    }
    pen.lineCap = "butt";
    this.run.head.places.forEach(([distance, kind]) => {
      path(pen, SIGNS[kind](this.x(distance), y(this.heightAt(distance)) - 11), true);
      fill(pen, "#fff", INK, 1.4);
    });
  }
  /** Height of the road. [m] @param {number} distance */
  heightAt(distance) {
    const x = this.run.columns.profile_distance, z = this.run.columns.profile_elevation, step = x[1] - x[0];
    const at = Math.min(Math.max(Math.floor((distance - x[0]) / step), 0), x.length - 2);
    return z[at] + (z[at + 1] - z[at]) * Math.min(Math.max((distance - x[at]) / step, 0), 1);
  }

  // ------------------------------------------------------------ the cursor
  /** @param {{ distance: number, value: (column: string) => number }} at */
  cursor(at) {
    this.at = at;
    const px = this.x(at.distance), inside = px >= LEFT - 1 && px <= this.width - RIGHT + 1;
    this.line.hidden = !inside;
    this.line.style.transform = `translateX(${px.toFixed(1)}px)`;
    this.boxes.forEach(({ strip, values, y }) => {
      values.forEach(([line, box]) => {
        const found = at.value(line.column);
        const none = (line.gap && found <= 0) || found > line.most;
        setText(box, none ? "-" : number(found, strip.kind, strip.digits));
      });
      if (strip.road && y) {
        this.lorry.hidden = !inside;
        this.lorry.style.transform =
          `translate(${(px - 23).toFixed(1)}px, ${(y(at.value("elevation")) - 24).toFixed(1)}px)`;
      }
    });
  }
  listen() {
    const { place, choice } = this;
    /** @type {number | null} */
    let from = null;
    const at = (event) => event.clientX - place.getBoundingClientRect().left;
    const onPlot = (event) => /** @type {Element} */ (event.target).closest(".plot");
    place.addEventListener("pointerdown", (event) => {
      if (!this.run || event.button !== 0 || !onPlot(event)) { return; }
      from = at(event);
      this.moved(this.distanceAt(from), true);
    });
    place.addEventListener("pointermove", (event) => {
      if (!this.run || !(onPlot(event) || from !== null)) { return; }
      const x = at(event);
      if (from !== null && event.pointerType === "mouse" && Math.abs(x - from) > 6) {
        choice.hidden = false;
        choice.style.left = Math.max(Math.min(x, from), LEFT) + "px";
        choice.style.width = Math.min(Math.abs(x - from), this.width) + "px";
      } else { this.moved(this.distanceAt(x), event.pointerType !== "mouse"); }
    });
    window.addEventListener("pointerup", (event) => {
      if (from === null) { return; }
      const x = at(event), [left, right] = [Math.min(x, from), Math.max(x, from)];
      if (!choice.hidden) { choice.hidden = true; this.zoom(this.distanceAt(left), this.distanceAt(right)); }
      from = null;
    });
    place.addEventListener("dblclick", () => { if (this.run) { this.zoom(...this.whole); } });
  }
}
