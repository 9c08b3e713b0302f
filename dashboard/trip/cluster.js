// @ts-check
/* The large readings at the cursor of a trip, and the lamp of the codes. */
import { codeText, codesAt } from "../shared/circuits.js";
import { element, setText, worded } from "../shared/dom.js";
import { clock, inUnits, shown, unitOf } from "../shared/units.js";
import { said } from "../shared/words.js";

/** A trip at one time of it.
 * @typedef {{ value: (column: string) => number, head: any, time: number, distance: number, speed: number,
 *   gear: number, stage: number, rpm: number }} Moment */

/** @param {Moment} at */
function engineWords({ value, head: { about }, rpm, stage }) {
  const [low, high] = about.best_retarding_rpm;
  if (rpm > about.governed_rpm + 1) { return "above governed"; }
  if (stage && rpm >= low && rpm <= high) { return "best for retarding"; }
  return value("fuel_cut") > 0.5 ? "no fuel" : `${value("accelerator_percent").toFixed(0)} % pedal`;
}

/** Large number, unit and small words of each reading. @param {Moment} at @returns {Record<string, string[]>} */
function readings(at) {
  const { value, speed, gear, stage, distance } = at, grade = value("grade_percent"), chosen = value("set_speed_m_s");
  const whole = (kind, number) => inUnits(kind, number).toFixed(0);
  const level = Math.abs(grade) < 0.05;
  return {
    speed: [whole("speed", speed), unitOf("speed"), `limit ${whole("speed", value("speed_limit_m_s"))}` +
      (chosen > 0 ? `, set ${whole("speed", chosen)}` : "")],
    engine: [(Math.round(at.rpm / 10) * 10).toFixed(0), "rpm", engineWords(at)],
    gear: [gear ? String(gear) : "N", "",
      value("clutch_locked") > 0.5 ? "clutch in" : gear ? "clutch open" : "neutral"],
    stage: [stage ? String(stage) : "off", "", shown("power", value("engine_brake_power_kw"))],
    brakes: [whole("temperature", value("brake_temperature_c")), unitOf("temperature"),
      value("brake_pressure_bar") > 0.02 ? "pressed" : "released"],
    grade: [(level ? 0 : grade).toFixed(1), "%", level ? "level" : grade < 0 ? "down" : "up"],
    place: [inUnits("distance", distance).toFixed(distance > 99500 ? 1 : 2), unitOf("distance"), clock(at.time)],
  };
}

/** @param {(name: string) => HTMLElement} part @param {Moment} at */
export function showCluster(part, at) {
  const { about } = at.head;
  Object.entries(readings(at)).forEach(([name, [text, unit, more]]) => {
    setText(part(name), text); setText(part(`${name}_unit`), unit); setText(part(`${name}_more`), more);
  });
  const { classList } = part("speed").closest(".cluster");
  classList.toggle("over-speed", at.speed > at.value("speed_limit_m_s") + about.limit_tolerance_m_s);
  classList.toggle("over-engine", at.rpm > about.governed_rpm + 1);
  classList.toggle("over-brakes", at.value("brake_temperature_c") > about.brake_limit_c);
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
