// @ts-check
/* The curves of a dyno run: what stays is drawn once, the lines that grow are drawn over it as the run goes. */
import { element, worded } from "../shared/dom.js";
import {
  BAND, DASHES, FRAME, INK, KEPT, bandItem, circle, edge, fill, item, level, levels, marks, onWidth, path, sketch,
  stroke, swatch, uprights, within,
} from "../shared/drawing.js";
import { number, unitOf } from "../shared/words.js";

/** @typedef {import("../shared/server.js").Answer} Answer */
/** @typedef {import("../shared/drawing.js").Frame} Frame */
/** @typedef {CanvasRenderingContext2D} Pen */
/** A plot on the page; `x` and `y` give places on its canvas.
 * @typedef {{ plot: any, head: HTMLElement, made: HTMLElement, width: number, height: number, back?: HTMLCanvasElement,
 *   frame: Frame, x: (value: number) => number, y: (value: number) => number }} Box */

const LEFT = 58, RIGHT = 12, TOP = 6, FOOT = 34;
const inClass = () => document.body.classList.contains("class-view");

export class Curves {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.place = place; this.width = 0; this.time = Infinity;
    /** @type {Box[]} */ this.boxes = [];
    /** @type {Answer} */ this.run = null;
    /** @type {Answer | null} */ this.other = null;
    onWidth(place, () => this.width, () => this.draw());
  }
  /** @param {Answer} run @param {Answer | null} other a kept run */
  show(run, other) {
    this.run = run; this.other = other;
    const { plots } = run.head;
    if (plots.length !== this.boxes.length || this.boxes.some((box, at) => box.plot.title !== plots[at].title)) {
      this.boxes = plots.map(() => {
        const head = element("div", { class: "strip-head" });
        return { head, made: element("div", { class: "curve" }, [head]) };
      });
      this.place.replaceChildren(...this.boxes.map((box) => box.made));
      this.place.classList.toggle("few", plots.length < 3);
    }
    this.boxes.forEach((box, at) => { box.plot = plots[at]; this.legend(box); });
    this.draw();
  }
  /** @param {Box} box */
  legend({ plot, head }) {
    const items = plot.lines.flatMap((line) => [item(swatch(line, 2.4), line.label),
      ...(line.band ? [bandItem(line.band_label)] : [])]);
    if (this.other) { items.push(item(swatch({ colour: KEPT, dash: "dot" }, 2.4), "the kept run")); }
    head.replaceChildren(worded("h3", plot.title),
      worded("span", unitOf(plot.kind), "quiet"), ...items);
  }
  draw() {
    this.width = this.place.clientWidth;
    if (!this.run || !this.width) { return; }
    const shares = this.boxes.reduce((sum, box) => sum + box.plot.share, 0), all = inClass() ? 1180 : 900;
    this.boxes.forEach((box) => {
      box.height = Math.round(Math.max(150, Math.min(box.plot.share / shares * all, 420)));
      box.width = box.made.clientWidth;
      this.backdrop(box);
    });
    this.goTo(this.time);
  }
  /** What does not change as the run goes: axes, references and bands, the kept run. @param {Box} box */
  backdrop(box) {
    const { plot, width, height } = box, [low, high] = plot.span, [from, to] = plot.reach;
    const right = width - RIGHT, bottom = height - FOOT, frame = box.frame = { left: LEFT, top: TOP, right, bottom };
    const bars = plot.lines.some((line) => line.bars), air = bars ? 0.6 : 0;
    box.x = (value) => LEFT + (value - from + air) / (to - from + 2 * air) * (right - LEFT);
    box.y = (value) => bottom - (value - low) / (high - low) * (bottom - TOP);
    const pen = sketch(element("div"), width, height, inClass() ? 15 : 12);
    box.back = pen.canvas;
    levels(pen, frame, marks(plot.kind, low, high, Math.max(3, Math.round(height / 46)))
      .map(([mark, value]) => [mark, box.y(value)]));
    const [words, kind] = plot.axis, unit = unitOf(kind);
    const along = bars ? Array.from({ length: to - from + 1 }, (_, place) => [from + place, from + place])
      : marks(kind, from, to, Math.max(4, Math.round(width / 90)));
    uprights(pen, frame, along.map(([mark, value]) => [mark, box.x(value)]), { below: bottom + 10, lines: !bars });
    pen.fillText(unit ? `${words}, ${unit}` : words, 0.5 * (LEFT + right), bottom + 25);
    within(pen, frame, () => {
      if (low < 0) { level(pen, frame, box.y(0), FRAME); }
      plot.lines.filter((line) => line.band).forEach((line) => this.band(pen, box, line));
      const { other } = this, kept = other?.head.plots.find((each) => each.title === plot.title);
      (kept?.lines || []).filter((line) => line.main).forEach((line) =>
        this.line(pen, box, other, { ...line, colour: KEPT, dash: "dot", width: 2.4 }, Infinity));
      plot.lines.filter((line) => !line.play).forEach((line) => this.line(pen, box, this.run, line, Infinity));
    });
    edge(pen, frame);
  }
  /** @param {Pen} pen @param {Box} box @param {any} line */
  band(pen, box, line) {
    const { columns: c } = this.run, x = Array.from(c[line.x], (value) => box.x(value));
    const side = (name) => x.map((px, row) => [px, box.y(c[name][row])]);
    path(pen, [...side(line.band[1]), ...side(line.band[0]).reverse()], true);
    fill(pen, BAND);
  }
  /** A line up to a time of play. @param {Pen} pen @param {Box} box @param {Answer} run @param {any} line
   * @param {number} until @returns {[number, number] | null} its end */
  line(pen, box, run, line, until) {
    const { [line.x]: x, [line.y]: y, [line.play]: known } = run.columns;
    const there = (row) => !known || known[row] <= until;
    if (line.bars) { this.bars(pen, box, line, x, y, there); return null; }
    let drawing = false;
    /** @type {[number, number]} */
    let last = null;
    pen.beginPath();
    for (let row = 0; row < x.length && !(known && known[row] > until); row += 1) {
      if (!isFinite(y[row]) || !isFinite(x[row])) { drawing = false; continue; }
      last = [box.x(x[row]), box.y(y[row])];
      if (drawing) { pen.lineTo(last[0], last[1]); } else { pen.moveTo(last[0], last[1]); drawing = true; }
    }
    if (!line.dots || line.joined) { stroke(pen, line.colour, line.width, DASHES[line.dash]); }
    for (let row = 0; line.dots && row < x.length; row += 1) {
      if (!there(row) || !isFinite(y[row])) { continue; }
      circle(pen, box.x(x[row]), box.y(y[row]), 4);
      fill(pen, "#fff", line.colour, 1.8);
    }
    return last;
  }
  /** @param {Pen} pen @param {Box} box @param {any} line @param {Float32Array} x @param {Float32Array} y
   * @param {(row: number) => boolean} there */
  bars(pen, box, line, x, y, there) {
    const aside = line.dash === "dot", wide = 0.5 * (box.x(1) - box.x(0)) / (aside ? 2 : 1), zero = box.y(0);
    pen.textAlign = "center";
    x.forEach((place, row) => {
      if (!there(row)) { return; }
      const px = box.x(place), py = box.y(y[row]), top = Math.min(py, zero);
      pen.fillStyle = line.colour; pen.globalAlpha = aside ? 0.5 : 1;
      pen.fillRect(px - wide / 2, top, wide, Math.max(Math.abs(py - zero), 1));
      pen.globalAlpha = 1;
      if (!aside) { pen.fillStyle = INK; pen.fillText(number(y[row], box.plot.kind, 1), px, top - 8); }
    });
  }
  /** The lines up to a time of play. @param {number} time [s] */
  goTo(time) {
    this.time = time;
    const going = this.run && time < this.run.head.play_s - 0.05;
    this.boxes.forEach((box) => {
      if (!box.back) { return; }
      const pen = sketch(box.made, box.width, box.height);
      pen.drawImage(box.back, 0, 0, box.width, box.height);
      within(pen, box.frame, () => box.plot.lines.filter((line) => line.play).forEach((line) => {
        const last = this.line(pen, box, this.run, line, time);
        if (last && line.main && !line.dots && going) { circle(pen, ...last, 6); fill(pen, "#ffb000", INK, 2); }
      }));
    });
  }
}
