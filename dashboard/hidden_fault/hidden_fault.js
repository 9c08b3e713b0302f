// @ts-check
/* The Hidden fault page: asks the server for tests and shows what they found; what is wrong is not here. */
import {
  all, bar, button, element, inputBox, labelled, partsOf, region, say, select, setOptions, table, whenThere, worded,
} from "../shared/dom.js";
import { get, post, readdress, recall, remember, save, whenReady } from "../shared/server.js";
import { onUnits, units } from "../shared/units.js";
import { quantity, said, spread } from "../shared/words.js";
import { instructor, signIn } from "./instructor.js";
import { showMarking } from "./marking.js";

const KEPT = "haulbench-fault";
const VERDICTS = { ok: ["within", "\u2713 within"], low: ["off", "\u25bc low"], high: ["off", "\u25b2 high"],
  other: ["off", "\u25c6 another"] };

/** What an instrument showed, what it shows of a sound truck, and class and words of the verdict.
 * @param {any} reading @returns {[string, string, string, string]} */
export function readingWords({ value, sound, within, quantity: kind, digits, verdict }) {
  const text = (shown) => (typeof shown === "number" ? quantity(shown, kind, digits) : said(shown));
  if (sound === undefined) { return [text(value), "", "", ""]; }
  const [name, words] = VERDICTS[verdict], same = verdict === "ok" && !within;
  return [text(value), text(sound) + (within ? ` \u00b1 ${spread(within, kind)}` : ""), name,
    same ? "\u2713 the same" : words];
}

const listed = (numbers) => [...numbers].sort((a, b) => a - b);
const row = (text, box) => labelled(text, box, box, { class: "field-row" });
const same = (names) => names.map((name) => [name, name]);
const outcome = ({ failure_right: right, part_right: part }, words) => words[right ? 0 : part ? 1 : 2];

class Hunt {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.place = place;
    this.asked = JSON.parse(place.dataset.fault);
    this.part = partsOf(place);
    this.session = null; this.who = null; this.because = new Set();
    this.hosted = null;
    get("/hidden-fault/hosted").then((found) => {
      this.hosted = found.hosted;
      this.buildBegin(); this.buildMenu(); this.buildAnswer();
      if (this.hosted) { (found.instructor ? instructor : signIn)(this.part("instructor"), this.post); }
      this.recall();
    }).catch(() => this.fail("The server does not answer. Is it still running?"));
    onUnits(() => { if (this.session && place.isConnected) { this.render(); } });
  }

  // ------------------------------------------------------------ asking
  fail(text) {
    say(this.part("error"), text);
    if (text) { this.part("error").scrollIntoView({ block: "nearest" }); }
  }
  say(text) { this.part("state").textContent = text; }
  busy(on, text) {
    this.place.classList.toggle("busy", on);
    all(this.place, "[data-part='menu'] button, [data-part='answer'] button")
      .forEach((each) => { each.disabled = on || this.session?.closed; });
    this.say(on ? text : "");
  }
  /** @param {string} what @param {object} body */
  post(what, body) { return post(`/hidden-fault/${what}`, body); }
  /** Asks while the page says so; then done(answer). */
  ask(what, body, words, done, failed = () => {}) {
    this.fail(""); this.busy(true, words);
    return this.post(what, body).then((told) => {
      this.session = told.session; this.kept = told.kept;
      done(told);
      this.busy(false); this.keep(); this.render();
    }).catch((problem) => { this.busy(false); this.fail(problem.message); failed(); throw problem; });
  }
  whose() { return this.who || { session: this.kept }; }
  keep() {
    const case_ = this.who ? { who: this.who } : { session: this.session, kept: this.kept };
    if (!remember(KEPT, { ...case_, because: [...this.because] })) {
      this.say("This browser keeps nothing: do not reload this page, or the case is lost.");
    }
  }
  recall() {
    const kept = recall(KEPT, null), { practice, level } = this.asked;
    const mine = kept?.who && this.hosted && !practice, { session } = kept || {};
    const is = session && `${session.case.practice} ${session.level}`;
    const fits = session?.form === this.asked.form && kept.kept && (!practice || is === `${practice} ${level}`);
    if (mine || fits) { this.because = new Set(kept.because); }
    if (mine) { this.begin(kept.who, kept.who); }
    else if (fits) {
      this.session = session; this.kept = kept.kept;
      this.render(); this.markWhenOver();
    } else if (practice) { this.begin({ practice: Number(practice), level: Number(level) }, null); }
    else { this.empty(); }
  }
  empty() {
    this.part("complaint").replaceChildren(worded("h2", "One thing is wrong with a truck."),
      worded("p", "Begin a case on the left. Read what the driver says, drive, read codes and values, put the meter " +
        "on; then name part and failure. Every test takes time in a real shop: think before you ask."));
  }
  begin(asked, who) {
    this.fail(""); this.busy(true, "The truck is brought in ...");
    whenReady((text) => this.say(text), () => this.ask("begin", asked, "The truck is brought in ...", () => {
      this.who = who;
    }, () => { if (!this.session) { this.empty(); } }).then(() => {
      this.markWhenOver();
      readdress(who ? "" : `?practice=${this.session.case.practice}&level=${this.session.level}`, "/hidden-fault", "");
    }, () => {}));
  }
  /** Another case. */
  anew(asked, who) { this.session = null; this.who = null; this.because = new Set(); this.begin(asked, who); }
  test(test) {
    if (!this.session) { return; }
    this.ask("test", { ...this.whose(), test }, `${test}: under way ...`, (told) => this.because.add(told.entry.number))
      .then(() => this.part("latest_card").scrollIntoView({ block: "nearest", behavior: "smooth" }), () => {});
  }
  answer(part, failure, explanation) {
    const body = { ...this.whose(), part, failure, because: listed(this.because), explanation };
    let words = "";
    this.ask("answer", body, "Your answer is looked at ...", ({ answer }) => {
      words = outcome(answer,
        ["Part and failure are right.", "The part is right, its failure is another one.", "It is another part."]);
    }).then(() => {
      const { closed, attempts_left: left } = this.session;
      this.say(words + (closed ? "" : ` Attempts left: ${left}. Measure before the next.`));
      this.markWhenOver();
    }, () => {});
  }
  markWhenOver() {
    const box = this.part("marking");
    box.hidden = !this.session?.closed;
    if (box.hidden) { return; }
    box.replaceChildren(worded("h2", "Marking"), element("p", { class: "quiet",
      text: "Your tests are made on the truck with every other cause; a few seconds ..." }));
    this.post("marking", this.whose()).then((told) => showMarking(box, told.marking))
      .catch((problem) => this.fail(problem.message));
  }

  // ------------------------------------------------------------ building
  buildBegin() {
    const { levels, level: chosen, practice } = this.asked;
    const level = select(levels.map(([number, words]) => [number, `${number}: ${words}`]), { id: "fault-level" });
    level.value = chosen;
    if (!level.value) { level.value = "1"; }
    const number = inputBox("fault-practice", { inputmode: "numeric", value: practice || "1" });
    const start = button("Begin this practice case", () => {
      const text = number.value.trim();
      this.anew({ practice: /^\d{1,9}$/.test(text) ? Number(text) : -1, level: Number(level.value) }, null);
    }, { class: this.hosted ? null : "strong" });
    if (this.hosted) {
      const name = inputBox("fault-student", { maxlength: "80" });
      const open = () => {
        const who = { student: name.value.trim(), word: word.value.trim() };
        this.anew(who, who);
      };
      const word = inputBox("fault-word", { maxlength: "20", spellcheck: "false",
        onkeydown: (event) => { if (event.key === "Enter") { open(); } } });
      this.part("begin").append(element("fieldset", { class: "begin" }, [
        worded("legend", `Class ${this.hosted.class}, round ${this.hosted.round}`),
        row("your name", name), row("entry word", word), button("Open my case", open, { class: "strong" })]));
    }
    this.part("begin").append(element("fieldset", { class: "begin" }, [worded("legend", "Practice"),
      row("level", level), row("case number", number), start]));
  }
  buildMenu() {
    this.part("menu").append(...this.asked.places.map(([place, names]) =>
      element("details", { class: "group", open: true }, [element("summary", {}, [worded("span", place)]),
        element("div", { class: "group-body" }, names.map((name) => this.oneTest(name)))])));
  }
  oneTest(name) {
    const [says, minutes, takes, needs] = this.asked.menu[name];
    const about = takes.length
      ? select(same(takes), { id: `fault-about-${name}`, "aria-label": `${name}: about what` }) : null;
    const words = { "aria-label": "a road of your own, and settings",
      placeholder: "or: grade:4%,2km weather.temperature_c=35" };
    const own = about && name === "drive" ? inputBox("fault-own-road", words) : null;
    const go = button(name[0].toUpperCase() + name.slice(1),
      () => this.test([name, own?.value.trim() || about?.value].filter(Boolean).join(" ")), { "data-test": name });
    return element("div", { class: about ? "test with-about" : "test" }, [go, about,
      worded("span", `${minutes} min`, "minutes"), own,
      worded("p", `${says}; needs ${needs}`, "meaning")]);
  }
  buildAnswer() {
    const { parts, failures, attempts } = this.asked;
    const told = () => { meaning.textContent = failures[failure.value] || ""; };
    const failure = select([], { id: "fault-failure", onchange: told }), meaning = element("p", { class: "meaning" });
    const part = select([["", "choose"], ...same(Object.keys(parts))], { id: "fault-part", onchange: () => {
      setOptions(failure, same(parts[part.value] || []));
      told();
    } });
    const why = element("textarea", { id: "fault-why", rows: "3", maxlength: "1000" }), asking = element("span");
    const sure = (on) => { confirm.hidden = !on; give.hidden = on; };
    const yes = button("Yes, that is my answer", () => {
      sure(false);
      this.answer(part.value, failure.value, why.value);
    }, { class: "strong" });
    const confirm = element("div", { class: "bar", hidden: true }, [asking, yes,
      button("Not yet", () => { sure(false); give.focus(); })]);
    const give = button("Answer", () => {
      if (!part.value) { this.fail("Answer: choose the part first."); part.focus(); return; }
      this.fail("");
      const attempt = attempts - this.session.attempts_left + 1;
      asking.textContent = `${part.value}: ${failure.value}. This is attempt ${attempt} of ${attempts}.`;
      sure(true);
      yes.focus();
    }, { class: "strong" });
    this.evidence = element("p", { class: "quiet" });
    this.part("answer").append(
      element("div", { class: "answer-row" }, [labelled("part", part), labelled("failure", failure)]), meaning,
      element("label", { for: why.id, text: "why, in your own words" }), why, this.evidence, give, confirm);
  }

  // ------------------------------------------------------------ showing
  render() {
    const { tests, case: case_, level, complaint, attempts_left: left, closed } = this.session;
    const spent = tests.reduce((sum, entry) => sum + this.minutes(entry.test), 0), last = tests.at(-1);
    const name = case_.practice === undefined ? `${case_.student}, class ${case_.class}, round ${case_.round}`
      : `practice case ${case_.practice}`;
    const counts = [[tests.length, `of ${this.asked.most} tests`], [spent.toFixed(0), "minutes in the shop"],
      [left, "attempts left"]];
    this.part("complaint").replaceChildren(
      worded("p", `${name}, level ${level}: the driver says`, "quiet"), worded("blockquote", complaint),
      element("ul", { class: "counts" }, counts.map(([value, words]) =>
        element("li", {}, [worded("b", String(value)), ` ${words}`]))));
    this.part("record_card").hidden = false;
    ["tests", "answer_card"].forEach((each) => { this.part(each).hidden = closed; });
    this.part("latest_card").hidden = !last;
    if (last) {
      this.part("latest").replaceChildren(worded("h3", `${last.number}. ${last.test}`), this.readings(last, true));
    }
    this.record();
  }
  /** Minutes a test takes in a shop. @param {string} test its name, and what it is about */
  minutes(test) {
    const name = Object.keys(this.asked.menu).filter((each) => test === each || test.startsWith(each + " "))
      .sort((a, b) => b.length - a.length)[0];
    return name ? this.asked.menu[name][1] : 0;
  }
  readings(entry, large) {
    const rows = entry.readings.map((reading) => {
      const [found, sound, kind, words] = readingWords(reading);
      return { class: kind, cells: [reading.name, { text: found, class: "found" }, sound,
        { text: words, class: "finding" }] };
    });
    const long = rows.length > 30;
    const off = (row) => Number(row.class === "off");
    if (long) { rows.sort((one, other) => off(other) - off(one)); } // what differs first
    return region(long ? "wide long" : "wide", `Readings of ${entry.test}`, [table(
      ["reading", "found", "sound truck", "judged"], rows, { class: "readings-table" + (large ? " large" : "") })]);
  }
  record() {
    const { tests, answers, closed } = this.session;
    this.saved = worded("span", "", "quiet small");
    const none = "Nothing asked for yet. Every test stands here with its time; tick those your answer rests on.";
    const list = tests.map((entry) => {
      const id = `fault-tick-${entry.number}`;
      const tick = element("input", { type: "checkbox", id, disabled: closed, onchange: () => {
        if (tick.checked) { this.because.add(entry.number); } else { this.because.delete(entry.number); }
        this.keep(); this.evidenceSaid();
      } });
      tick.checked = this.because.has(entry.number);
      const off = entry.readings.filter(({ verdict = "ok" }) => verdict !== "ok").length;
      return element("li", {}, [element("div", { class: "work-head" }, [tick,
        element("label", { for: id, text: `${entry.number}. ${entry.test}` }),
        worded("span", `${this.minutes(entry.test)} min; ${off ? `${off} off` : "nothing off"}`, "quiet")]),
      element("details", {}, [worded("summary", "readings"), this.readings(entry, false)])]);
    });
    this.part("record").replaceChildren(
      tests.length ? element("ol", { class: "work-list" }, list) : worded("p", none, "quiet"),
      bar([button("Lab sheet, to print", () => this.sheet()), this.saved]),
      ...(answers.length ? [worded("h3", "Answers"), element("ul", {}, answers.map((answer) => element("li", {
        text: `${answer.part}: ${answer.failure} \u2013 ` +
          outcome(answer, ["right", "the part is right, its failure is another one", "another part"]) })))] : []));
    this.evidenceSaid();
  }
  evidenceSaid() {
    const numbers = listed(this.because);
    this.evidence.textContent = numbers.length
      ? `Your answer rests on test${numbers.length > 1 ? "s" : ""} ${numbers.join(", ")} (ticked in the work record).`
      : "Your answer rests on no test yet: tick some in the work record.";
  }
  sheet() {
    this.post("sheet", { ...this.whose(), units }).then((told) => {
      save(told.sheet, "hidden-fault-sheet.html");
      this.saved.textContent = "Saved as hidden-fault-sheet.html: open it and print.";
    }).catch((problem) => this.fail(problem.message));
  }
}

whenThere("data-fault", (place) => { new Hunt(place); });
