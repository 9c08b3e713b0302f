// @ts-check
/* What is said of a whole trip: verdict, lamps, what was foreseen, events. */
import { button, element, region, table, worded } from "../shared/dom.js";
import { clock, inUnits, shown, units } from "../shared/units.js";

/** Temperatures and speeds in a sentence of the model, in the units chosen. @param {string} text */
export function inWords(text) {
  if (units !== "us") { return text; }
  const as = (kind, digits, from) => (_, value) => shown(kind, Number(value) * from, digits);
  return text.replace(/(-?\d+(?:\.\d+)?) C \((-?\d+) F\)/g, "$2 F")
    .replace(/(-?\d+(?:\.\d+)?) km\/h/g, as("speed", 1, 1 / 3.6))
    .replace(/(-?\d+(?:\.\d+)?) C\b/g, (_, value) => inUnits("temperature", Number(value)).toFixed(0) + " F")
    .replace(/(?<![/\d])(-?\d+(?:\.\d+)?) km\b(?!\/)/g, as("distance", 1, 1000));
}

/** How bad it is at its worst. @param {any} head */
export function worstOf({ lamps, warnings, codes }) {
  const states = lamps.map((lamp) => lamp.state);
  if (states.includes("alarm")) { return "alarm"; }
  return states.includes("warned") || warnings.length || codes.length ? "warned" : "good";
}

/** Sentences under the verdict, each with the word before it. @param {any} head @returns {[string, string][]} */
export function sentences(head) {
  const past = head.verdict.includes("past the published limit");
  const warnings = head.warnings.filter((text) => !head.verdict.includes(text) &&
    !(past && text.startsWith("brakes passed the published limit")));
  return Object.entries({ warning: warnings, fault: head.controller, why: head.explanations })
    .flatMap(([word, texts]) => texts.map((text) => [word, inWords(text)]));
}

/** @param {{ name: string, state: string, metric: string, us: string }} lamp */
export const lampItem = ({ name, state, metric, us }) => element("li", { class: `lamp ${state}` }, [
  element("span", { class: "sign", "aria-hidden": "true", text: state === "good" ? "\u2713" : "!" }),
  worded("span", `${state}: `, "unseen"), worded("b", name), worded("span", units === "us" ? us : metric, "words")]);

/** @param {HTMLElement} box @param {string[]} texts */
export function showForeseen(box, texts) {
  box.replaceChildren(...(texts.length ? [worded("h3", "Before the run: what will happen"),
    element("ul", {}, texts.map((text) => worded("li", inWords(text))))] : []));
}

/** @param {any} head @param {(time: number) => void} go to the time of an event */
export function eventList(head, go) {
  const heads = ["place", { text: "time", class: "number" }, "event", "reason", { text: "value", class: "number" }];
  const rows = head.events.map(([time, distance, event, reason, value]) => [
    { children: [button(shown("distance", distance), () => go(time), { class: "plain", title: "show this place" })] },
    { text: clock(time), class: "number" }, event, { text: inWords(reason), class: "word" },
    { text: value, class: "number" }]);
  const list = region("wide", "Events", [table(heads, rows, { first: "td" })]);
  const more = `The first ${head.events.length} of ${head.all_events}; events.csv has all.`;
  return head.all_events > head.events.length ? [worded("p", more, "quiet"), list] : [list];
}
