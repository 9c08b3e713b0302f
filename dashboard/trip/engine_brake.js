// @ts-check
/* The engine brake at the cursor: which cylinders work, and which switches and interlocks let it. */
import { element, setText, worded } from "../shared/dom.js";
import { said } from "../shared/words.js";

const PAIRS = ["front", "middle", "rear"];
const PAIR_IS = { off: "engine_brake.pair_off", on: "engine_brake.pair_on", dead: "engine_brake.pair_dead" };

/** @typedef {import("./cluster.js").Moment} Moment */

/** What keeps the engine brake off: a column beyond a level, another level while a stage is on, and its two wordings.
 * @typedef {{ column: string, above: boolean, level: number, level_on: number, lets: string, stops: string }}
 * Condition */

/** Whether one keeps the engine brake off, and in words. @param {Condition} row @param {number} value of its column
 * @param {number} stage @returns {[boolean, string]} */
export function conditionAt({ above, lets, stops, ...levels }, value, stage) {
  const level = stage ? levels.level_on : levels.level, stopped = above ? value > level : value < level;
  return [stopped, said({ kind: stopped ? stops : lets, values: { value, level } })];
}

export class EngineBrake {
  /** @param {(name: string) => HTMLElement} part of the page */
  constructor(part) {
    this.words = part("stage_words");
    this.pairs = PAIRS.map((name) => {
      const lights = [0, 1].map(() => element("span", { class: "cylinder" }));
      const words = element("span", { class: "pair-words" });
      part("cylinders").append(element("div", { class: "pair-box" }, [
        element("div", { class: "pair-lights", "aria-hidden": "true" }, lights), words]));
      return { name, lights, words };
    });
    this.list = part("conditions");
  }
  /** @param {Moment} at */
  show(at) {
    const { value, head, stage } = at, { about } = head;
    const working = value("active_cylinders") > 0.5 ? about.stages[stage] || [] : [];
    this.pairs.forEach(({ name, lights, words }) => {
      const state = !working.includes(name) ? "off" : about.dead_pairs.includes(name) ? "dead" : "on";
      lights.forEach((light) => { if (light.dataset.state !== state) { light.dataset.state = state; } });
      setText(words, said({ kind: PAIR_IS[state], values: { pair: name } }));
    });
    const asked = Math.round(value("stage_requested")), reason = head.reasons[Math.round(value("stage_reason"))];
    const changed = stage && asked === stage && head.events.findLast(([time, , , cause]) =>
      time <= at.time && cause.kind === "cause.stage");
    const why = changed ? changed[3] : { kind: reason, values: {} };
    /** @type {import("../shared/words.js").Finding[]} */
    const told = [{ kind: stage ? "engine_brake.works" : "engine_brake.works_not", values: { stage, why } }];
    if (asked !== stage) {
      told.push({ kind: asked ? "engine_brake.asked_for" : "engine_brake.asked_for_none", values: { stage: asked } });
    }
    setText(this.words, told.map(said).join(" "));
    this.list.replaceChildren(...head.conditions.map((row) => {
      const [stopped, text] = conditionAt(row, value(row.column), stage);
      return element("li", { class: stopped ? "stops" : "lets" }, [
        element("span", { class: "sign", "aria-hidden": "true" }, [stopped ? "\u2717" : "\u2713"]),
        worded("span", text)]);
    }));
  }
}
