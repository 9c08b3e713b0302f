// @ts-check
/* The large readings at the cursor of a trip, and the lamp of the codes. */
import { codeText, codesAt } from "../shared/circuits.js";
import { element, setText, worded } from "../shared/dom.js";
import { clock } from "../shared/units.js";
import { asShown, number, quantity, said, unitOf } from "../shared/words.js";

/** A trip at one time of it.
 * @typedef {{ value: (column: string) => number, head: any, time: number, distance: number, speed: number,
 *   gear: number, stage: number, turning: number }} Moment the engine turning at so many rad/s */

/** @param {Moment} at */
function engineWords({ value, head: { about }, turning, stage }) {
  const [low, high] = about.best_retarding;
  if (turning > about.over_governed) { return "above governed"; }
  if (stage && turning >= low && turning <= high) { return "best for retarding"; }
  return value("fuel_cut") > 0.5 ? "no fuel" : `${quantity(value("accelerator"), "share")} pedal`;
}

/** An engine speed as it is shown, to tens. @param {number} turning [rad/s] */
export const tens = (turning) => String(10 * Math.round(asShown(turning, "engine speed") / 10));

/** Large number, unit and small words of each reading. @param {Moment} at @returns {Record<string, string[]>} */
function readings(at) {
  const { value, head: { about }, gear, stage, distance } = at;
  const chosen = value("set_speed"), posted = value("speed_limit");
  const fast = (speed) => number(speed, "speed", 0), grade = number(value("grade"), "grade"), slope = Number(grade);
  return {
    speed: [fast(at.speed), unitOf("speed"), [posted > 0 ? `limit ${fast(posted)}` : "no limit",
      ...(chosen > 0 ? [`set ${fast(chosen)}`] : [])].join(", ")],
    engine: [tens(at.turning), unitOf("engine speed"), engineWords(at)],
    gear: [gear ? String(gear) : "N", "",
      value("clutch_locked") > 0.5 ? "clutch in" : gear ? "clutch open" : "neutral"],
    stage: [stage ? String(stage) : "off", "", quantity(value("engine_brake_power"), "power")],
    brakes: [number(value("brake_temperature"), "temperature"), unitOf("temperature"),
      value("brake_pressure") > about.brakes_pressed ? "pressed" : "released"],
    grade: [grade, unitOf("grade"), slope ? slope < 0 ? "down" : "up" : "level"],
    place: [number(distance, "distance", distance > 99500 ? 1 : 2), unitOf("distance"), clock(at.time)],
  };
}

/** @param {(name: string) => HTMLElement} part @param {Moment} at */
export function showCluster(part, at) {
  const { about } = at.head;
  Object.entries(readings(at)).forEach(([name, [text, unit, more]]) => {
    setText(part(name), text); setText(part(`${name}_unit`), unit); setText(part(`${name}_more`), more);
  });
  const { classList } = part("speed").closest(".cluster");
  classList.toggle("over-speed", at.speed > (at.value("speed_limit") || Infinity) + about.limit_tolerance);
  classList.toggle("over-engine", at.turning > about.over_governed);
  classList.toggle("over-brakes", at.value("brake_temperature") > about.brake_limit);
}

/** The lamp and the codes up to a time; `before` is what stood there. @param {(name: string) => HTMLElement} part
 * @param {Moment} at @param {string} before @returns {string} what stands there now */
export function showCodes(part, { head, time }, before) {
  const now = codesAt(head.codes, time), lit = now.filter((each) => each.active).map((each) => each.code.lamp);
  const lamp = ["red", "amber"].find((each) => lit.includes(each)) || "off", { dataset } = part("lamp_box");
  if (dataset.lamp !== lamp) { dataset.lamp = lamp; }
  setText(part("lamp"), lamp);
  setText(part("lamp_more"), lit.length ? `${lit.length} active` : now.length ? "earlier codes" : "no code yet");
  const texts = now.map((each) => codeText(each.code, each.count, each.active ? "active" : "earlier"));
  const none = head.codes.length ? "No code has been set up to here." : "Nothing is broken: no code in this trip.";
  const words = texts.join("\n") || none;
  if (words === before) { return before; }
  part("codes").replaceChildren(texts.length
    ? element("ul", { class: "dialled" }, now.map(({ code, active }, place) =>
      element("li", { class: active ? "active" : null }, [texts[place], element("details", {}, [
        worded("summary", "freeze frame"), worded("span", said(code.frame), "quiet")])])))
    : worded("p", none, "quiet small"));
  return words;
}
