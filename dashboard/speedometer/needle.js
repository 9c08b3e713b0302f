// @ts-check
/* What is drawn on the Speedometer page: a scale with its needle, and the road past two posts. */
import { INK, circle, fill, level, path, sketch, stroke } from "../shared/drawing.js";
import { units } from "../shared/units.js";
import { asShown, quantity } from "../shared/words.js";

const LETTERS = "600 15px system-ui, sans-serif", DARK = "#10212e";

/** What is driven to show what a wrong needle does. [m, m/s] */
export const POSTED = { way: 10000, speed: 25 };

/** @param {number} value [m/s] @param {number} [digits] */
export const perHour = (value, digits = 1) => quantity(value, "speed", digits);
/** @param {number} value */
export const percent = (value) => `${value >= 0 ? "+" : ""}${value.toFixed(2)} %`;

/** A scale with a pointer over it. @param {HTMLElement} place @param {number} needle what it shows [m/s]
 * @param {number | null} truth below it; null where it may not be seen [m/s] */
export function drawNeedle(place, needle, truth) {
  const width = Math.max(place.clientWidth, 200), middle = 74, left = 22, right = width - 22;
  const pen = sketch(place, width, truth === null ? 118 : 168), [most, step] = units === "us" ? [80, 5] : [120, 10];
  const x = (mark) => left + Math.min(Math.max(mark / most, 0), 1) * (right - left);
  const at = (speed) => x(asShown(speed, "speed"));
  const pointer = (px, tip, foot, colour) => {
    path(pen, [[px, tip], [px - 9, foot], [px + 9, foot]], true);
    fill(pen, colour);
  };
  pen.textBaseline = "alphabetic"; pen.font = LETTERS; pen.textAlign = "center";
  pen.fillStyle = DARK; pen.fillRect(0, 0, width, 112);
  pen.fillStyle = "#fff";
  for (let mark = 0; mark <= most; mark += step) {
    const long = mark % (2 * step) === 0;
    path(pen, [[x(mark), middle], [x(mark), middle - (long ? 16 : 9)]]);
    stroke(pen, "#b9cbd8", 2);
    if (long) { pen.fillText(String(mark), x(mark), middle + 22); }
  }
  level(pen, { left, right, top: 0, bottom: 0 }, middle, "#b9cbd8", 2);
  pointer(at(needle), middle + 2, 22, "#ffb000");
  pen.fillStyle = "#fff"; pen.textAlign = "left"; pen.fillText("needle", 10, 18);
  if (truth === null) { return; }
  const real = at(truth), far = real > width / 2;
  pointer(real, 114, 140, "#0072b2");
  pen.fillStyle = INK; pen.textAlign = far ? "right" : "left";
  pen.fillText(`true ${perHour(truth)}`, real + (far ? -14 : 14), 136);
}

/** The road beside which the student stands: the truck in the middle, its bumper at the line, posts coming by.
 * @param {HTMLElement} place @param {number} along of the bumper [m] @param {number[]} posts [m] */
export function drawRoad(place, along, posts) {
  const width = Math.max(place.clientWidth, 200), scale = width / 300, centre = width * 0.4; // 300 m of road in sight
  const pen = sketch(place, width, 150);
  const box = (colour, x, y, wide, high) => { pen.fillStyle = colour; pen.fillRect(x, y, wide, high); };
  box("#dfe8ee", 0, 0, width, 150);
  box("#5a6976", 0, 104, width, 46);
  for (let mark = Math.floor((along - 200) / 12) * 12; mark < along + 260; mark += 12) {
    box("#fff", centre + (mark - along) * scale, 125, 5 * scale, 3);
  }
  pen.font = "600 14px system-ui, sans-serif"; pen.textAlign = "center"; pen.lineWidth = 2; pen.strokeStyle = INK;
  posts.forEach((post, at) => {
    const px = centre + (post - along) * scale;
    if (px < -60 || px > width + 60) { return; }
    box(INK, px - 3, 26, 6, 80);
    box("#fff", px - 34, 14, 68, 26);
    pen.strokeRect(px - 34, 14, 68, 26);
    pen.fillStyle = INK; pen.fillText(`post ${at + 1}`, px, 28);
  });
  const long = 20 * scale;
  box(DARK, centre - long, 62, long * 0.74, 46);
  box(DARK, centre - long * 0.23, 74, long * 0.23, 34);
  box("#7cc7ff", centre - long * 0.1, 78, long * 0.08, 12);
  [0.9, 0.75, 0.3, 0.08].forEach((share) => {
    circle(pen, centre - long * share, 110, Math.max(4, 0.5 * scale));
    fill(pen, INK);
  });
  path(pen, [[centre, 44], [centre, 112]]);
  stroke(pen, "#d55e00", 2);
}
