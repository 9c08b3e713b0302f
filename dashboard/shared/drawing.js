// @ts-check
/* Drawing on canvas: marks of an axis, grids, lines and their samples. */
import { drawn, element } from "./dom.js";
import { tidy } from "./units.js";
import { asShown, inSI } from "./words.js";

export const INK = "#14202b", QUIET = "#4a5966", GRID = "#dde4e9", KEPT = "#6b6b6b", FRAME = "#7b8894";
export const BAND = "rgba(0,114,178,0.16)";
/** @type {Record<string, number[]>} */
export const DASHES = { solid: [], dash: [7, 4], dot: [2, 3], dashdot: [7, 3, 2, 3], longdash: [12, 4],
  longdashdot: [12, 3, 2, 3] };
export const FONT = "system-ui, 'Segoe UI', Roboto, 'Liberation Sans', Arial, sans-serif";

/** @typedef {{ left: number, top: number, right: number, bottom: number }} Frame */
/** @typedef {CanvasRenderingContext2D} Pen */

/** Round numbers along an axis. @param {number} low @param {number} high @param {number} most about so many */
export function ticks(low, high, most) {
  const rough = (high - low) / Math.max(most, 1), power = Math.pow(10, Math.floor(Math.log10(rough)));
  const step = [1, 2, 2.5, 5, 10].map((each) => each * power).find((each) => each >= rough) || 10 * power;
  const found = [];
  for (let at = Math.ceil(low / step - 1e-9) * step; at <= high + 1e-9 * step; at += step) {
    found.push(Math.abs(at) < 1e-12 ? 0 : at);
  }
  return found;
}

/** Round numbers in the units chosen, each with its value. @param {string} kind @returns {[number, number][]}
 * @param {number} low @param {number} high @param {number} most */
export const marks = (kind, low, high, most) =>
  ticks(asShown(low, kind), asShown(high, kind), most).map((mark) => [mark, inSI(mark, kind)]);

/** A pen for a clean canvas of a size, sharp on any screen. @param {HTMLElement} place where it stands, or will
 * @param {number} width @param {number} height @param {number} size of letters */
export function sketch(place, width, height, size = 12) {
  const canvas = place.querySelector("canvas") || place.appendChild(element("canvas", { "aria-hidden": "true" }));
  const scale = window.devicePixelRatio || 1, wide = Math.round(width * scale), high = Math.round(height * scale);
  if (canvas.width !== wide || canvas.height !== high) {
    canvas.width = wide; canvas.height = high;
    canvas.style.width = width + "px"; canvas.style.height = height + "px";
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(scale, 0, 0, scale, 0, 0);
  pen.clearRect(0, 0, width, height);
  pen.font = `${size}px ${FONT}`; pen.textBaseline = "middle"; pen.lineJoin = "round"; pen.lineWidth = 1;
  return pen;
}

/** A path through points. @param {Pen} pen @param {number[][]} points */
export function path(pen, points, closed = false) {
  pen.beginPath();
  points.forEach(([x, y], at) => { if (at) { pen.lineTo(x, y); } else { pen.moveTo(x, y); } });
  if (closed) { pen.closePath(); }
}

/** Draws the path that is there. @param {Pen} pen @param {string} colour @param {number[]} dash */
export function stroke(pen, colour, width = 1, dash = []) {
  pen.strokeStyle = colour; pen.lineWidth = width; pen.setLineDash(dash); pen.stroke(); pen.setLineDash([]);
}

/** Fills the path that is there, and draws its edge. @param {Pen} pen @param {string} inside @param {string} [edge]
 * @param {number} [width] */
export function fill(pen, inside, edge, width) {
  pen.fillStyle = inside; pen.fill();
  if (edge) { stroke(pen, edge, width); }
}

/** @param {Pen} pen @param {number} x @param {number} y @param {number} radius */
export function circle(pen, x, y, radius) { pen.beginPath(); pen.arc(x, y, radius, 0, 2 * Math.PI); }

/** A level line through a frame. @param {Pen} pen @param {Frame} frame @param {number} y @param {string} colour
 * @param {number} [width] @param {number[]} [dash] */
export function level(pen, { left, right }, y, colour, width, dash) {
  path(pen, [[left, y], [right, y]]);
  stroke(pen, colour, width, dash);
}

/** The level lines of a grid and what they stand for. @param {Pen} pen @param {Frame} frame
 * @param {[number, number][]} found number and height */
export function levels(pen, frame, found, gap = 7) {
  pen.textAlign = "right"; pen.fillStyle = QUIET;
  found.forEach(([mark, y]) => {
    const at = Math.round(y) + 0.5;
    if (at < frame.top - 3 || at > frame.bottom + 1) { return; }
    level(pen, frame, at, GRID);
    pen.fillText(tidy(mark), frame.left - gap, at);
  });
}

/** The upright lines of a grid, and what they stand for below. @param {Pen} pen @param {Frame} frame
 * @param {[number, number][]} found number and place
 * @param {{ below?: number, edge?: number, lines?: boolean }} [more] `below`: height of the numbers */
export function uprights(pen, { left, top, right, bottom }, found, { below, edge = 10, lines = true } = {}) {
  pen.textAlign = "center"; pen.fillStyle = QUIET;
  found.forEach(([mark, x]) => {
    const at = Math.round(x) + 0.5;
    if (at < left - 1 || at > right + 1) { return; }
    if (lines) { path(pen, [[at, top], [at, bottom]]); stroke(pen, GRID); }
    if (below !== undefined) { pen.fillText(tidy(mark), Math.min(at, right - edge), below); }
  });
}

/** Draws within a frame. @param {Pen} pen @param {Frame} frame @param {() => void} draw */
export function within(pen, { left, top, right, bottom }, draw) {
  pen.save();
  pen.beginPath(); pen.rect(left, top, right - left, bottom - top); pen.clip();
  draw();
  pen.restore();
}
/** @param {Pen} pen @param {Frame} frame */
export function edge(pen, { left, top, right, bottom }) {
  pen.beginPath(); pen.rect(left + 0.5, top + 0.5, right - left - 1, bottom - top - 1);
  stroke(pen, FRAME);
}

/** A sample of a line. @param {any} line colour, dash, width; bars, dots, joined */
export function swatch(line, width = Math.max(line.width || 1.6, 2)) {
  const dash = (DASHES[line.dash] || []).join(" "), parts = [];
  if (line.bars) { parts.push(drawn("rect", { x: 6, y: 0, width: 12, height: 10, fill: line.colour })); }
  else if (!line.dots || line.joined) {
    parts.push(drawn("line", { x1: 0, y1: 5, x2: 24, y2: 5, stroke: line.colour, "stroke-width": width,
      "stroke-dasharray": dash }));
  }
  if (line.dots) {
    parts.push(drawn("circle", { cx: 12, cy: 5, r: 3.4, fill: "#fff", stroke: line.colour, "stroke-width": 1.8 }));
  }
  return drawn("svg", { width: 24, height: 10, "aria-hidden": "true" }, parts);
}

/** An entry of a legend. @param {(Node | string)[]} children */
export const item = (...children) => element("span", { class: "item" }, children);
/** @param {string} label */
export const bandItem = (label) => item(element("span", { class: "band-swatch" }), label);

/** Draws again when a place has another width. @param {HTMLElement} place @param {() => number | undefined} drawnAt
 * @param {() => void} draw */
export function onWidth(place, drawnAt, draw) {
  new ResizeObserver(() => { if (place.clientWidth && place.clientWidth !== drawnAt()) { draw(); } }).observe(place);
}
