// @ts-check
/* Who pushes and who holds back at the cursor: a bar for each force, and a sentence. */
import { element, setText, worded } from "../shared/dom.js";
import { quantity } from "../shared/words.js";

// force on the truck along the road by its column, which way it counts, label of its bar, name in the sentence
/** @type {[string, string, number, string, string][]} */
const FORCES = [["grade", "grade_force", -1, "grade", "the grade"],
  ["engine", "drive_force", 1, "engine", "the engine"], ["air", "aero_force", -1, "air", "the air"],
  ["tyres", "rolling_force", -1, "tyres", "the tyres"],
  ["brakes", "service_brake_force", -1, "service brakes", "the service brakes"]];

const listed = (words) => [words.slice(0, -1).join(", "), words.at(-1)].filter((word) => word).join(" and ");

/** What forces do, as a sentence. @param {[string, number][]} forces by their names [N] @param {number} speed [m/s]
 * @param {{ standing: number, nothing: number, even: number }} about: a truck that is slower stands, a force below is
 * nothing, and forces are even */
export function balanceWords(forces, speed, about) {
  if (speed < about.standing) { return "The truck stands."; }
  const named = (way) => forces.filter(([, force]) => way * force > about.nothing)
    .sort((a, b) => Math.abs(b[1]) - Math.abs(a[1])).map(([name]) => name);
  const push = named(1), hold = named(-1), net = forces.reduce((sum, [, force]) => sum + force, 0);
  const verb = (names, one) => (names.length > 1 ? one : one + (one.endsWith("sh") ? "es" : "s"));
  const pushes = push.length ? `${listed(push)} ${verb(push, "push")}` : "nothing pushes";
  const holds = hold.length ? `${listed(hold)} ${verb(hold, "hold")} back` : "nothing holds back";
  const sum = Math.abs(net) < about.even ? "They balance: the speed stays."
    : net > 0 ? `The push is larger by ${quantity(net, "force")}: the truck gains speed.`
      : `The hold is larger by ${quantity(-net, "force")}: the truck slows.`;
  return `${pushes[0].toUpperCase()}${pushes.slice(1)}; ${holds}. ${sum}`;
}

export class Balance {
  /** @param {(name: string) => HTMLElement} part of the page */
  constructor(part) {
    this.words = part("balance_words");
    this.scale = 1; // N at the end of a bar
    this.bars = FORCES.map(([name, , , label]) => {
      const bar = element("span", { class: "bar-fill" }), value = element("span", { class: "bar-value" });
      part("balance").append(element("div", { class: `balance-row ${name}` }, [
        worded("span", label, "bar-label"),
        element("span", { class: "bar-track", "aria-hidden": "true" }, [bar]), value]));
      return { bar, value };
    });
  }
  /** @param {Record<string, Float32Array>} columns of a trip */
  measure(columns) {
    this.scale = ["drive_force", "grade_force"].reduce((most, name) =>
      columns[name].reduce((sofar, each) => Math.max(sofar, Math.abs(each)), most), 1);
  }
  /** @param {import("./cluster.js").Moment} at */
  show({ value, speed, head: { about } }) {
    /** @type {[string, number][]} */
    const forces = FORCES.map(([, column, way, , name]) => [name, way * value(column)]);
    forces.forEach(([, force], place) => {
      const { bar, value: box } = this.bars[place], share = Math.min(Math.abs(force) / this.scale, 1) * 50;
      bar.style.width = share.toFixed(2) + "%";
      bar.style.left = (force >= 0 ? 50 : 50 - share).toFixed(2) + "%";
      bar.className = "bar-fill " + (force >= 0 ? "pushes" : "holds");
      setText(box, Math.abs(force) < about.nothing ? "\u2013" : `${force > 0 ? "pushes" : "holds"} ` +
        `${quantity(Math.abs(force), "force")}, ${quantity(Math.abs(force * speed), "power")}`);
    });
    setText(this.words, balanceWords(forces, speed, about));
  }
}
