// @ts-check
/* The engine brake at the cursor: which cylinders work, and which switches and interlocks let it. */
import { element, setText } from "../shared/dom.js";
import { number, quantity, unitOf } from "../shared/words.js";
import { tens } from "./cluster.js";

const PAIRS = ["front", "middle", "rear"];
const CONDITIONS = ["switch", "foot", "fuel", "clutch", "gear", "speed", "oil", "slip"];

/** @typedef {import("./cluster.js").Moment} Moment */

/** Whether each lets the brake work, and in words. @param {Moment} at @returns {Record<string, [boolean, string]>} */
function conditions({ value, head: { about }, gear, turning, stage }) {
  const pedal = value("accelerator"), oil = value("oil_temperature"), released = number(pedal, "share") === "0";
  const needed = stage ? about.off : about.on, warm = oil >= about.least_oil;
  const is = (name) => value(name) > 0.5;
  return {
    switch: [about.switch, about.switch ? `switch on, up to ${about.selector}` : "switch off"],
    foot: [released, released ? "accelerator released" : `accelerator ${quantity(pedal, "share")}`],
    fuel: [is("fuel_cut"), is("fuel_cut") ? "no fuel" : "fuel burning"],
    clutch: [is("clutch_locked"), is("clutch_locked") ? "clutch engaged" : "clutch open"],
    gear: [gear > 0, gear > 0 ? `gear ${gear} engaged` : "neutral"],
    speed: [turning > needed, `${tens(turning)} ${unitOf("engine speed")}, ${stage ? "off below" : "on above"} ` +
      number(needed, "engine speed")],
    oil: [warm, `oil ${quantity(oil, "temperature")}` +
      (warm ? "" : `, needs ${quantity(about.least_oil, "temperature")}`)],
    slip: [!is("wheel_slip"), is("wheel_slip") ? "wheels slipping"
      : `grip ${quantity(value("wheel_utilisation") / about.grip, "share")} used`],
  };
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
    this.rows = Object.fromEntries(CONDITIONS.map((name) => {
      const sign = element("span", { class: "sign", "aria-hidden": "true" }), words = element("span");
      const made = element("li", {}, [sign, words]);
      part("conditions").append(made);
      return [name, { made, sign, words }];
    }));
  }
  /** @param {Moment} at */
  show(at) {
    const { value, head, stage } = at, { about } = head;
    const working = value("active_cylinders") > 0.5 ? about.stages[stage] || [] : [];
    this.pairs.forEach(({ name, lights, words }) => {
      const state = !working.includes(name) ? "" : about.dead_pairs.includes(name) ? "dead" : "on";
      lights.forEach((light) => { if (light.dataset.state !== state) { light.dataset.state = state; } });
      setText(words, name + { "": "", dead: " dead", on: " works" }[state]);
    });
    const reason = head.reasons[Math.round(value("stage_reason"))] || "nothing asked for it";
    const asked = Math.round(value("stage_requested"));
    setText(this.words, `${stage ? `Stage ${stage} works` : "No stage works"}: ${reason}.` + (asked === stage ? ""
      : ` Asked for: ${asked ? `stage ${asked}` : "none"}; the pairs follow after their delay.`));
    Object.entries(conditions(at)).forEach(([name, [good, text]]) => {
      const { made, sign, words } = this.rows[name];
      made.className = good ? "lets" : "stops";
      sign.textContent = good ? "\u2713" : "\u2717";
      setText(words, text);
    });
  }
}
