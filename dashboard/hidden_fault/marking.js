// @ts-check
/* What a hidden fault was, and how well it was found. */
import { element, worded } from "../shared/dom.js";

const steps = (found) => element("ol", {}, found.map(({ test, left }) => worded("li", `${test}: ${left} left`)));

/** What the evidence proves, as a sentence. @param {any} found */
export function proofWords({ evidence_supports: proved, still_possible: left }) {
  if (proved) { return "It leaves no other cause, and a test looked at the part itself: proved."; }
  if (!left.length) { return "It leaves no other cause of this list, but no test looked at the part itself."; }
  return `Still possible: ${left.slice(0, 8).join(", ")}${left.length > 8 ? " ..." : ""}.`;
}

/** @param {HTMLElement} box @param {any} found */
export function showMarking(box, found) {
  if (!found) { box.hidden = true; return; }
  const which = found.cylinder ? ` (cylinder ${found.cylinder})` : "";
  const used = `You made ${found.tests_used} tests in ${found.minutes_used} minutes, and ${found.attempts} ` +
    `${found.attempts === 1 ? "answer" : "answers"}.`;
  box.replaceChildren(worded("h2", `It was: ${found.part}: ${found.failure}${which}`),
    worded("p", found.teaches),
    element("div", { class: "score" }, [worded("b", `${found.score} of 4`), worded("span", found.score_words)]),
    element("div", { class: "pair" }, [
      element("div", {}, [
        worded("h3", `Your evidence: how many of ${found.candidates - 1} other causes each test left`),
        found.evidence.length ? steps(found.evidence) : worded("p", "No test was named."),
        worded("p", proofWords(found))]),
      element("div", {}, [
        worded("h3", `A short path: ${found.shortest_path.length} tests, ${found.shortest_path_minutes} minutes`),
        steps(found.shortest_path), worded("p", used)])]));
}
