// @ts-check
/* What is said of a whole trip: verdict, lamps, what was foreseen, events. */
import { button, element, region, table, worded } from "../shared/dom.js";
import { clock } from "../shared/units.js";
import { quantity, said } from "../shared/words.js";

/** @typedef {import("../shared/words.js").Finding} Finding */

/** How bad it is at its worst. @param {any} head */
export function worstOf({ lamps, warnings, codes }) {
  const states = lamps.map((lamp) => lamp.state);
  if (states.includes("alarm")) { return "alarm"; }
  return states.includes("warned") || warnings.length || codes.length ? "warned" : "good";
}

/** Sentences under the verdict, each with the word before it. @param {any} head @returns {[string, string][]} */
export const sentences = (head) =>
  Object.entries({ warning: head.warnings, fault: head.controller, why: head.explanations })
    .flatMap(([word, found]) => found.map((each) => [word, said(each)]));

/** @param {{ name: string, state: string, said: Finding }} lamp */
export const lampItem = ({ name, state, said: found }) => element("li", { class: `lamp ${state}` }, [
  element("span", { class: "sign", "aria-hidden": "true", text: state === "good" ? "\u2713" : "!" }),
  worded("span", `${state}: `, "unseen"), worded("b", name), worded("span", said(found), "words")]);

/** @param {HTMLElement} box @param {Finding[]} found */
export function showForeseen(box, found) {
  box.replaceChildren(...(found.length ? [worded("h3", "Before the run: what will happen"),
    element("ul", {}, found.map((each) => worded("li", said(each))))] : []));
}

/** @param {any} head @param {(time: number) => void} go to the time of an event */
export function eventList(head, go) {
  const heads = ["place", { text: "time", class: "number" }, "event", "reason", { text: "value", class: "number" }];
  const rows = head.events.map(([time, distance, event, cause, value, kind]) => [
    { children: [button(quantity(distance, "distance", 2), () => go(time),
      { class: "plain", title: "show this place" })] },
    { text: clock(time), class: "number" }, event, { text: said(cause), class: "word" },
    { text: kind && quantity(value, kind), class: "number" }]);
  const list = region("wide", "Events", [table(heads, rows, { first: "td" })]);
  const more = `The first ${head.events.length} of ${head.all_events}; events.csv has all.`;
  return head.all_events > head.events.length ? [worded("p", more, "quiet"), list] : [list];
}
