// @ts-check
/* What pages share that ask for a run and play it: asking, keeping, playing. The latest question wins; an older run
   stays in sight, greyed, until the new one is there. */
import { Circuits } from "./circuits.js";
import { element, onSpace, partsOf, say, select, setText, table, worded } from "./dom.js";
import { panel } from "../panel/panel.js";
import { Prediction } from "./prediction.js";
import { copyLink, post, whenReady } from "./server.js";
import { onUnits, units } from "./units.js";

/** @typedef {import("./server.js").Answer} Answer */

/** Time that goes on while something is played. */
export class Play {
  /** @param {HTMLElement} place @param {{ end: () => number, moved: () => void, turned: (on: boolean) => void }} of
   * `end`: of its time; `moved`: the time is another; `turned`: it begins or ends */
  constructor(place, of) {
    this.place = place; this.of = of;
    this.time = 0; this.rate = 1; this.on = false;
  }
  /** A choice of rates. @param {number[]} rates @param {number} rate @param {Record<string, any>} attributes */
  rates(rates, rate, attributes) {
    const box = select(rates.map((each) => [each, `${each} times`]),
      { ...attributes, onchange: () => { this.rate = Number(box.value); } });
    this.choose = (wanted) => { this.rate = wanted; box.value = String(wanted); };
    this.choose(rate);
    return box;
  }
  start() {
    if (this.time >= this.of.end() - 0.05) { this.time = 0; }
    this.on = true;
    this.of.turned(true);
    /** @type {number | null} */
    let before = null;
    const step = (now) => {
      if (!this.on) { return; }
      if (!this.place.isConnected) { this.on = false; return; }
      const end = this.of.end();
      if (before !== null) { this.time = Math.min(this.time + Math.min(now - before, 250) / 1000 * this.rate, end); }
      before = now;
      this.of.moved();
      if (this.time >= end) { this.stop(); } else { window.requestAnimationFrame(step); }
    };
    window.requestAnimationFrame(step);
  }
  stop() { this.on = false; this.of.turned(false); }
}

/** Rows of a summary beside those of a kept run. @param {string[][]} rows name, metric text, US text
 * @param {string[][]} kept @param {import("./dom.js").Cell} heading @param {string} kind class of numbers */
export function numbersTable(rows, kept, heading, kind) {
  const at = units === "us" ? 2 : 1, heads = ["this run", ...(kept ? ["kept run"] : [])];
  return table([heading, ...heads.map((text) => ({ text, class: kind }))], rows.map((row) => {
    const other = kept && (kept.find((each) => each[0] === row[0]) || ["", "-", "-"])[at];
    const numbers = [row[at], ...(kept ? [other] : [])];
    return { class: kept && other !== row[at] ? "differs" : null,
      cells: [row[0].replace(/ \[\d\]/g, ""), ...numbers.map((text) => ({ text, class: kind }))] };
  }));
}

/** Words of a page: what it calls a run; while the first and later ones are made; before one; text and name of its play
 * button at rest and going; the button that lets a run go; where predictions are kept.
 * @typedef {{ page: string, noun: string, path: string, first: string, again: string, waiting: string, copied: string,
 *   rest: [string, string], going: [string, string], release: string, rateLabel: string, scrub: Record<string, any>,
 *   hold: string, kept: string }} Words */

export class Player {
  /** @param {HTMLElement} place @param {Words} words @param {number[]} rates */
  constructor(place, words, rates) {
    this.place = place; this.words = words;
    this.part = partsOf(place);
    /** @type {Answer} */ this.run = null;
    /** @type {Answer | null} */ this.kept = null;
    /** @type {any} */ this.setup = null;
    this.number = 0;
    /** @type {AbortController | undefined} */ this.stopper = undefined;
    this.play = new Play(place, { end: () => this.end(), moved: () => this.moved(), turned: (on) => this.turned(on) });
    this.buildDrive(rates);
    this.prediction = new Prediction(this.part, { page: words.page, store: words.kept, hold: words.hold,
      changed: () => this.predicted(), held: (on) => { this.waiting(false); if (!on) { this.changed(); } } });
    this.part(words.release).onclick = () => { this.released = true; this.changed(); };
    this.circuits = new Circuits(this.part("circuits"), { page: words.page, fail: (text) => this.fail(text),
      going: () => this.dialled(), here: () => this.here() });
    this.part("keep").onclick = () => this.keep(this.run, "Kept: the next run is drawn over it.");
    this.part("release").onclick = () => this.keep(null, "");
    this.part("link").onclick = () => copyLink(this.part("link_text"), words.copied);
  }
  /** Listens, and asks for the first run. */
  begin() {
    this.place.addEventListener("haulbench:setup", (event) => {
      this.setup = /** @type {CustomEvent} */ (event).detail.setup;
      this.changed();
    });
    onUnits(() => { if (this.place.isConnected) { this.predictable(); this.render(); } });
    onSpace(this.place, () => this.toggle());
    const inputs = panel();
    if (inputs?.described) { this.setup = inputs.setup; this.changed(); }
  }

  // ------------------------------------------------------------ what a page adds
  end() { return 0; }
  here() { return ""; }
  /** @returns {object} what it asks beside the setup */
  question() { return {}; }
  files() { /* links to its downloads */ }
  draw() { /* what is as wide as its place */ }
  /** @param {Answer} _run */
  take(_run) { /* a run has come */ }
  show() { /* what stands at the cursor */ }
  showRun() { /* what is the same at every time of a run */ }
  moved() { this.show(); }
  /** @param {number} _value */
  scrubbed(_value) { /* to that place */ }
  dialled() { /* a value is about to change on the fly */ }
  foretell() { /* says what is known before a run */ }
  predictable() { /* fields for what may be predicted */ }
  predicted() { /* predictions against the run */ }

  // ------------------------------------------------------------ asking
  changed() {
    this.files();
    if (this.prediction.kept.hold && !this.released) { this.waiting(true); this.foretell(); return; }
    this.released = false;
    this.ask();
  }
  /** @param {string} text */
  say(text) { say(this.part("state"), text); }
  /** @param {string} text */
  fail(text) { say(this.part("error"), text); }
  /** @param {boolean} on */
  busy(on) {
    this.place.classList.toggle("busy", on);
    this.place.querySelector(".trip-main")?.setAttribute("aria-busy", String(on));
    window.clearTimeout(this.slow);
    if (on) { this.slow = window.setTimeout(() => this.say(this.run ? this.words.again : this.words.first), 350); }
    else if (this.ready) { this.say(""); }
  }
  /** @param {boolean} on whether a run waits for a prediction */
  waiting(on) {
    this.place.classList.toggle("waiting-to-drive", on);
    this.part(this.words.release).hidden = !this.prediction.kept.hold;
    if (on) { this.play.stop(); }
    this.say(on ? this.words.waiting : "");
  }
  async ask() {
    if (!this.ready) {
      this.busy(true);
      if (this.preparing) { return; } // the newest setup is asked for as soon as the workers are there
      this.preparing = true;
      whenReady((text) => { window.clearTimeout(this.slow); this.say(text); },
        () => { this.ready = true; this.ask(); });
      return;
    }
    this.stopper?.abort();
    const stopper = this.stopper = new AbortController(), number = this.next(), { noun } = this.words;
    this.waiting(false);
    this.busy(true);
    try {
      const question = { setup: this.setup, have: this.run?.head.key, ...this.question() };
      const told = await post(this.words.path, question, stopper.signal);
      if (number !== this.number) { return; }
      this.busy(false); this.fail("");
      this.place.classList.remove("refused");
      if (told.same) { this.say(`Nothing changed: the ${noun} is the same as before.`); return; }
      this.take(told);
      this.place.dataset.answered = String(number);
    } catch (problem) {
      if (problem.name === "AbortError" || number !== this.number) { return; }
      this.busy(false);
      this.place.classList.add("refused");
      this.fail(problem.message);
      if (this.run) { this.say(`What is shown below, in grey, is the ${noun} before this change.`); }
    }
  }
  /** Number of a question; the last one counts. */
  next() {
    this.place.dataset.asked = String(this.number += 1);
    return this.number;
  }

  // ------------------------------------------------------------ showing
  /** @param {Answer | null} run @param {string} words */
  keep(run, words) { this.kept = run; this.render(); this.part("link_text").textContent = words; }
  /** The kept run, when another one is shown. */
  get other() { return this.kept !== this.run ? this.kept : null; }
  render() {
    if (!this.run) { return; }
    this.part("keep").disabled = false;
    setText(this.part("keep"), this.kept ? "Keep this run instead" : "Keep this run");
    this.part("release").hidden = !this.kept;
    this.showRun();
    this.predicted();
  }
  /** @param {string} worst good, warned or alarm @param {string} title @param {string} about
   * @param {[string, string][]} said words and sentences */
  verdict(worst, title, about, said) {
    const box = this.part("verdict");
    box.className = "verdict " + worst;
    box.replaceChildren(worded("h2", title), worded("p", about, "quiet"),
      ...said.map(([word, text]) => element("p", { class: `said ${word}` }, [worded("b", `${word}: `), text])));
  }
  // ------------------------------------------------------------ playing
  /** @param {number[]} rates */
  buildDrive(rates) {
    const { page, rateLabel, scrub } = this.words;
    this.part("rate").append(this.play.rates(rates, 10, { id: `${page}-rate`, "aria-label": rateLabel }));
    this.scrub = element("input", { type: "range", min: "0", max: "1", value: "0", id: `${page}-scrub`, ...scrub,
      oninput: () => this.scrubbed(Number(this.scrub.value)) });
    this.part("scrub_place").append(this.scrub);
    this.part("play").onclick = () => this.toggle();
    const large = this.part("class_view");
    large.onclick = () => {
      const on = document.body.classList.toggle("class-view");
      large.setAttribute("aria-pressed", String(on));
      large.textContent = on ? "Usual view" : "Class view";
      window.setTimeout(() => this.draw(), 0);
    };
  }
  toggle() { if (this.play.on) { this.play.stop(); } else { this.start(); } }
  start() { if (this.run) { this.play.start(); } }
  /** @param {boolean} on */
  turned(on) {
    const [text, label] = on ? this.words.going : this.words.rest;
    this.place.classList.toggle("playing", on);
    this.part("play").textContent = text;
    this.part("play").setAttribute("aria-label", label);
  }
  /** Moves the slider to the cursor, unless a hand is on it. @param {number} at @param {string} words */
  slide(at, words, free = document.activeElement !== this.scrub || this.play.on) {
    if (free) { this.scrub.value = String(at); }
    this.scrub.setAttribute("aria-valuetext", words);
  }
}
