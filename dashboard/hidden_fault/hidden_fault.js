/* The Hidden fault page: asks the server for tests and shows what they found; what is wrong is not here. */
"use strict";
(function () {
  const H = window.haulbench, element = H.element;
  const KEPT = "haulbench-fault";
  // unit of a reading -> factor, offset, unit and digits for readers of US units
  const US = { kPa: [1 / 6.894757293168361, 0, "psi", 1], C: [1.8, 32, "F", 0], "km/h": [1 / 1.609344, 0, "mi/h", 1], kg: [1 / 0.45359237, 0, "lb", 2],
    kW: [1 / 0.7456998715822702, 0, "hp", 0], "g/s": [3.6 / 0.45359237, 0, "lb/h", 0], m: [1 / 0.3048, 0, "ft", 2], km: [1 / 1.609344, 0, "mi", 2] };

  class Hunt {
    constructor(place) {
      this.place = place;
      this.asked = JSON.parse(place.dataset.fault);
      this.part = (name) => place.querySelector(`[data-part="${name}"]`);
      this.session = null; this.who = null; this.because = new Set();
      this.hosted = null;
      fetch("/hidden-fault/hosted", { credentials: "same-origin" }).then((answer) => answer.json()).then((found) => {
        this.hosted = found.hosted;
        this.buildBegin(); this.buildMenu(); this.buildAnswer();
        if (this.hosted) { if (found.instructor) { this.instructor(); } else { this.signIn(); } }
        this.recall();
      }).catch(() => this.fail("The server does not answer. Is it still running?"));
      H.onUnits(() => { if (this.session && document.body.contains(place)) { this.render(); } });
    }

    // ------------------------------------------------------------ asking
    fail(text) { const box = this.part("error"); box.textContent = text; box.hidden = !text; if (text) { box.scrollIntoView({ block: "nearest" }); } }
    say(text) { this.part("state").textContent = text; }
    busy(on, text) {
      this.place.classList.toggle("busy", on);
      this.place.querySelectorAll("[data-part='menu'] button, [data-part='answer'] button").forEach((each) => { each.disabled = on || (this.session && this.session.closed); });
      this.say(on ? text : "");
    }
    post(what, body) {
      return fetch("/hidden-fault/" + what, { method: "POST", credentials: "same-origin", headers: { "Content-Type": "application/json" },
        body: JSON.stringify(body) }).catch(() => { throw new Error("The server does not answer. Is it still running?"); }).then(async (answer) => {
        const told = await answer.json().catch(() => ({ message: "The server gave an answer that cannot be read." }));
        if (!answer.ok || told.message) { throw new Error(told.message || "The server refused that."); }
        return told;
      });
    }
    whose() { return this.who ? this.who : { session: this.kept }; }
    took(told) { this.session = told.session; this.kept = told.kept; }
    keep() {
      try { window.sessionStorage.setItem(KEPT, JSON.stringify(this.who ? { who: this.who, because: [...this.because] } : { session: this.session, kept: this.kept, because: [...this.because] })); }
      catch (problem) { this.say("This browser keeps nothing: do not reload this page, or the case is lost."); }
    }
    recall() {
      let kept = null;
      try { kept = JSON.parse(window.sessionStorage.getItem(KEPT) || "null"); } catch (problem) { kept = null; }
      const wanted = this.asked.practice;
      if (kept && kept.who && this.hosted && !wanted) { this.because = new Set(kept.because); this.begin(kept.who, kept.who); return; }
      if (kept && kept.session && kept.kept && (!wanted || (String(kept.session.case.practice) === wanted && String(kept.session.level) === this.asked.level))) {
        this.because = new Set(kept.because); this.took(kept); this.render(); this.markWhenOver(); return;
      }
      if (wanted) { this.begin({ practice: Number(wanted), level: Number(this.asked.level) }, null); return; }
      this.empty();
    }
    empty() {
      this.part("complaint").replaceChildren(element("h2", { text: "One thing is wrong with a truck." }),
        element("p", { text: "Begin a case on the left. Read what the driver says, drive, read codes and values, put the meter on; then name part and failure. Every test takes time in a real shop: think before you ask." }));
    }
    begin(asked, who) {
      this.fail(""); this.busy(true, "The truck is brought in ...");
      H.whenReady((text) => this.say(text), () => this.post("begin", asked).then((told) => {
        if (!who || !this.who || this.who.student !== who.student) { if (this.session) { this.because = new Set(); } }
        this.took(told); this.who = who;
        this.busy(false); this.keep(); this.render(); this.markWhenOver();
        const query = who ? "" : `?practice=${this.session.case.practice}&level=${this.session.level}`;
        window.history.replaceState(window.history.state, "", "/hidden-fault" + query);
      }).catch((problem) => { this.busy(false); this.fail(problem.message); if (!this.session) { this.empty(); } }));
    }
    test(text) {
      if (!this.session) { return; }
      this.fail(""); this.busy(true, `${text}: under way ...`);
      this.post("test", { ...this.whose(), test: text }).then((told) => {
        this.took(told); this.because.add(told.entry.number);
        this.busy(false); this.keep(); this.render();
        this.part("latest_card").scrollIntoView({ block: "nearest", behavior: "smooth" });
      }).catch((problem) => { this.busy(false); this.fail(problem.message); });
    }
    answer(part, failure, explanation) {
      this.fail(""); this.busy(true, "Your answer is looked at ...");
      this.post("answer", { ...this.whose(), part, failure, because: [...this.because].sort((a, b) => a - b), explanation }).then((told) => {
        this.took(told); this.busy(false); this.keep(); this.render();
        const left = this.session.attempts_left, worth = told.answer;
        this.say(worth.failure_right ? "Part and failure are right." : (worth.part_right ? "The part is right, its failure is another one." : "It is another part.") +
          (this.session.closed ? "" : ` Attempts left: ${left}. Measure before the next.`));
        this.markWhenOver();
      }).catch((problem) => { this.busy(false); this.fail(problem.message); });
    }
    markWhenOver() {
      if (!this.session || !this.session.closed) { this.part("marking").hidden = true; return; }
      const box = this.part("marking");
      box.hidden = false;
      box.replaceChildren(element("h2", { text: "Marking" }), element("p", { class: "quiet", text: "Your tests are made on the truck with every other cause; a few seconds ..." }));
      this.post("marking", this.whose()).then((told) => this.marking(told.marking)).catch((problem) => this.fail(problem.message));
    }

    // ------------------------------------------------------------ building
    buildBegin() {
      const box = this.part("begin");
      const level = element("select", { id: "fault-level" }, this.asked.levels.map(([number, words]) => element("option", { value: number, text: `${number}: ${words}` })));
      level.value = this.asked.level;
      if (!level.value) { level.value = "1"; }
      const number = element("input", { type: "text", inputmode: "numeric", id: "fault-practice", autocomplete: "off", value: this.asked.practice || "1" });
      const start = element("button", { type: "button", class: this.hosted ? null : "strong", text: "Begin this practice case", onclick: () => {
        const text = number.value.trim();
        this.session = null; this.who = null; this.because = new Set();
        this.begin({ practice: /^\d{1,9}$/.test(text) ? Number(text) : -1, level: Number(level.value) }, null);
      } });
      const practice = element("fieldset", { class: "begin" }, [element("legend", { text: "Practice" }),
        element("div", { class: "field-row" }, [element("label", { for: level.id, text: "level" }), level]),
        element("div", { class: "field-row" }, [element("label", { for: number.id, text: "case number" }), number]), start]);
      if (this.hosted) {
        const name = element("input", { type: "text", id: "fault-student", autocomplete: "off", maxlength: "80" });
        const word = element("input", { type: "text", id: "fault-word", autocomplete: "off", maxlength: "20", spellcheck: "false" });
        const enter = element("button", { type: "button", class: "strong", text: "Open my case", onclick: () => {
          const who = { student: name.value.trim(), word: word.value.trim() };
          this.session = null; this.because = new Set();
          this.begin(who, who);
        } });
        word.addEventListener("keydown", (event) => { if (event.key === "Enter") { enter.click(); } });
        box.append(element("fieldset", { class: "begin" }, [
          element("legend", { text: `Class ${this.hosted.class}, round ${this.hosted.round}` }),
          element("div", { class: "field-row" }, [element("label", { for: name.id, text: "your name" }), name]),
          element("div", { class: "field-row" }, [element("label", { for: word.id, text: "entry word" }), word]), enter]));
      }
      box.append(practice);
    }
    buildMenu() {
      const box = this.part("menu");
      this.asked.places.forEach(([place, names]) => {
        const body = element("div", { class: "group-body" }, names.map((name) => this.oneTest(name)));
        const made = element("details", { class: "group" }, [element("summary", {}, [element("span", { text: place })]), body]);
        made.open = true;
        box.append(made);
      });
    }
    oneTest(name) {
      const [words, minutes, takes, needs] = this.asked.menu[name];
      const time = element("span", { class: "minutes", text: `${minutes} min` });
      const label = name[0].toUpperCase() + name.slice(1);
      if (!takes.length) {
        return element("div", { class: "test" }, [element("button", { type: "button", "data-test": name, text: label, onclick: () => this.test(name) }), time,
          element("p", { class: "meaning", text: `${words}; needs ${needs}` })]);
      }
      const select = element("select", { id: "fault-about-" + name, "aria-label": `${name}: about what` }, takes.map((each) => element("option", { value: each, text: each })));
      const own = name === "drive" ? element("input", { type: "text", id: "fault-own-road", autocomplete: "off", "aria-label": "a road of your own, and settings",
        placeholder: "or: grade:4%,2km weather.temperature_c=35" }) : null;
      const go = element("button", { type: "button", "data-test": name, text: label, onclick: () => {
        const about = own && own.value.trim() ? own.value.trim() : select.value;
        this.test(`${name} ${about}`);
      } });
      return element("div", { class: "test with-about" }, [go, select, time, ...(own ? [own] : []), element("p", { class: "meaning", text: `${words}; needs ${needs}` })]);
    }
    buildAnswer() {
      const box = this.part("answer"), part = element("select", { id: "fault-part" }), failure = element("select", { id: "fault-failure" });
      part.append(element("option", { value: "", text: "choose" }), ...Object.keys(this.asked.parts).map((name) => element("option", { value: name, text: name })));
      const meaning = element("p", { class: "meaning" });
      const told = () => { meaning.textContent = this.asked.failures[failure.value] || ""; };
      part.onchange = () => { failure.replaceChildren(...(this.asked.parts[part.value] || []).map((name) => element("option", { value: name, text: name }))); told(); };
      failure.onchange = told;
      const why = element("textarea", { id: "fault-why", rows: "3", maxlength: "1000" });
      this.evidence = element("p", { class: "quiet" });
      this.confirm = element("div", { class: "bar", hidden: true });
      const sure = element("button", { type: "button", class: "strong", text: "Yes, that is my answer", onclick: () => { this.confirm.hidden = true; give.hidden = false; this.answer(part.value, failure.value, why.value); } });
      const back = element("button", { type: "button", text: "Not yet", onclick: () => { this.confirm.hidden = true; give.hidden = false; give.focus(); } });
      const asking = element("span", {});
      this.confirm.append(asking, sure, back);
      const give = element("button", { type: "button", class: "strong", text: "Answer", onclick: () => {
        if (!part.value) { this.fail("Answer: choose the part first."); part.focus(); return; }
        this.fail("");
        asking.textContent = `${part.value}: ${failure.value}. This is attempt ${this.asked.attempts - this.session.attempts_left + 1} of ${this.asked.attempts}.`;
        this.confirm.hidden = false; give.hidden = true; sure.focus();
      } });
      box.append(element("div", { class: "answer-row" }, [
        element("div", {}, [element("label", { for: part.id, text: "part" }), part]), element("div", {}, [element("label", { for: failure.id, text: "failure" }), failure])]), meaning,
        element("label", { for: why.id, text: "why, in your own words" }), why, this.evidence, give, this.confirm);
    }

    // ------------------------------------------------------------ showing
    render() {
      const session = this.session, spent = session.tests.reduce((sum, entry) => sum + this.minutes(entry.test), 0);
      const case_ = session.case, name = case_.practice === undefined ? `${case_.student}, class ${case_.class}, round ${case_.round}` : `practice case ${case_.practice}`;
      this.part("complaint").replaceChildren(element("p", { class: "quiet", text: `${name}, level ${session.level}: the driver says` }),
        element("blockquote", { text: session.complaint }),
        element("ul", { class: "counts" }, [[session.tests.length, `of ${this.asked.most} tests`], [spent.toFixed(0), "minutes in the shop"], [session.attempts_left, "attempts left"]]
          .map(([value, words]) => element("li", {}, [element("b", { text: String(value) }), " " + words]))));
      ["tests", "answer_card", "record_card"].forEach((each) => { this.part(each).hidden = false; });
      this.part("answer_card").hidden = session.closed;
      this.part("tests").hidden = session.closed;
      const last = session.tests[session.tests.length - 1];
      this.part("latest_card").hidden = !last;
      if (last) { this.part("latest").replaceChildren(element("h3", { text: `${last.number}. ${last.test}` }), this.table(last, true)); }
      this.record();
    }
    minutes(test) {
      const name = Object.keys(this.asked.menu).filter((each) => test === each || test.startsWith(each + " ")).sort((a, b) => b.length - a.length)[0];
      return name ? this.asked.menu[name][1] : 0;
    }
    shown(value, unit) {
      const us = H.units === "us" ? US[unit] : null;
      if (typeof value !== "number") { return String(value) + (unit && value !== "not reached" ? " " + unit : ""); }
      const text = us ? (value * us[0] + us[1]).toFixed(us[3]) : String(value);
      const word = us ? us[2] : unit;
      return text + (word ? " " + (word === "C" || word === "F" ? "\u00b0" + word : word) : "");
    }
    finding(reading) {
      if (!("sound" in reading)) { return ["", ""]; }
      if (typeof reading.value === "number" && typeof reading.sound === "number") {
        const off = reading.value - reading.sound;
        return Math.abs(off) <= (reading.within || 0) + 1e-9 ? ["within", "\u2713 within"] : off < 0 ? ["off", "\u25bc low"] : ["off", "\u25b2 high"];
      }
      return reading.value === reading.sound ? ["within", "\u2713 the same"] : ["off", "\u25c6 another"];
    }
    table(entry, large) {
      const rows = entry.readings.map((reading) => {
        const [kind, words] = this.finding(reading), us = H.units === "us" ? US[reading.unit] : null;
        const within = reading.within ? ` \u00b1 ${us ? Number((reading.within * us[0]).toPrecision(2)) : reading.within}` : "";
        return [kind, element("tr", { class: kind }, [element("th", { scope: "row", text: reading.name }), element("td", { class: "found", text: this.shown(reading.value, reading.unit) }),
          element("td", { text: "sound" in reading ? this.shown(reading.sound, reading.unit) + within : "" }), element("td", { class: "finding", text: words })])];
      });
      // a long record shows first what differs
      const long = rows.length > 30, off = rows.filter(([kind]) => kind === "off"), shownRows = long ? [...off, ...rows.filter(([kind]) => kind !== "off")] : rows;
      const made = element("table", { class: "readings-table" + (large ? " large" : "") }, [element("thead", {}, [element("tr", {}, ["reading", "found", "sound truck", "judged"]
        .map((text) => element("th", { scope: "col", text })))]), element("tbody", {}, shownRows.map(([, row]) => row))]);
      return element("div", { class: "wide" + (long ? " long" : ""), tabindex: "0", role: "region", "aria-label": "Readings of " + entry.test }, [made]);
    }
    record() {
      const box = this.part("record"), session = this.session;
      if (!session.tests.length) { box.replaceChildren(element("p", { class: "quiet", text: "Nothing asked for yet. Every test stands here with its time; tick those your answer rests on." })); }
      else {
        box.replaceChildren(element("ol", { class: "work-list" }, session.tests.map((entry) => {
          const tick = element("input", { type: "checkbox", id: "fault-tick-" + entry.number, disabled: session.closed, onchange: () => {
            if (tick.checked) { this.because.add(entry.number); } else { this.because.delete(entry.number); }
            this.keep(); this.evidenceSaid();
          } });
          tick.checked = this.because.has(entry.number);
          const off = entry.readings.filter((reading) => this.finding(reading)[0] === "off").length;
          return element("li", {}, [element("div", { class: "work-head" }, [tick, element("label", { for: tick.id, text: `${entry.number}. ${entry.test}` }),
            element("span", { class: "quiet", text: `${this.minutes(entry.test)} min; ` + (off ? `${off} off` : "nothing off") })]),
            element("details", {}, [element("summary", { text: "readings" }), this.table(entry, false)])]);
        })));
      }
      box.append(element("div", { class: "bar" }, [element("button", { type: "button", text: "Lab sheet, to print", onclick: () => this.sheet() }), element("span", { class: "quiet small", "data-told": "" })]),
        ...(session.answers.length ? [element("h3", { text: "Answers" }), element("ul", {}, session.answers.map((answer) => element("li", { text: `${answer.part}: ${answer.failure} \u2013 ` +
          (answer.failure_right ? "right" : answer.part_right ? "the part is right, its failure is another one" : "another part") })))] : []));
      this.evidenceSaid();
    }
    evidenceSaid() {
      const numbers = [...this.because].sort((a, b) => a - b);
      this.evidence.textContent = numbers.length ? `Your answer rests on test${numbers.length > 1 ? "s" : ""} ${numbers.join(", ")} (ticked in the work record).` : "Your answer rests on no test yet: tick some in the work record.";
    }
    sheet() {
      this.post("sheet", this.whose()).then((told) => {
        H.save(told.sheet, "hidden-fault-sheet.html");
        const said = this.part("record").querySelector("[data-told]");
        if (said) { said.textContent = "Saved as hidden-fault-sheet.html: open it and print."; }
      }).catch((problem) => this.fail(problem.message));
    }
    marking(found) {
      const box = this.part("marking");
      if (!found) { box.hidden = true; return; }
      const which = found.cylinder ? ` (cylinder ${found.cylinder})` : "";
      const list = (steps, words) => element("ol", {}, steps.map((step) => element("li", { text: `${step.test}: ${words(step)}` })));
      box.replaceChildren(element("h2", { text: `It was: ${found.part}: ${found.failure}${which}` }), element("p", { text: found.teaches }),
        element("div", { class: "score" }, [element("b", { text: `${found.score} of 4` }), element("span", { text: found.score_words })]),
        element("div", { class: "pair" }, [
          element("div", {}, [element("h3", { text: `Your evidence: how many of ${found.candidates - 1} other causes each test left` }),
            found.evidence.length ? list(found.evidence, (step) => `${step.left} left`) : element("p", { text: "No test was named." }),
            element("p", { text: found.evidence_supports ? "It leaves no other cause, and a test looked at the part itself: proved." : !found.still_possible.length ? "It leaves no other cause of this list, but no test looked at the part itself." : `Still possible: ${found.still_possible.slice(0, 8).join(", ")}${found.still_possible.length > 8 ? " ..." : ""}.` })]),
          element("div", {}, [element("h3", { text: `A short path: ${found.shortest_path.length} tests, ${found.shortest_path_minutes} minutes` }),
            list(found.shortest_path, (step) => `${step.left} left`),
            element("p", { text: `You made ${found.tests_used} tests in ${found.minutes_used} minutes, and ${found.attempts} ${found.attempts === 1 ? "answer" : "answers"}.` })])]));
    }

    // ------------------------------------------------------------ the instructor
    signIn(open) {
      const box = this.part("instructor"), told = element("p", { class: "told", role: "alert", hidden: true });
      const password = element("input", { type: "password", id: "fault-password", autocomplete: "off", maxlength: "200", spellcheck: "false", autocapitalize: "none", "aria-describedby": "fault-password-where" });
      const enter = element("button", { type: "submit", class: "strong", text: "Sign in" });
      const form = element("form", { class: "bar", onsubmit: (event) => {
        event.preventDefault();
        const given = password.value;
        if (!given) { password.focus(); return; }
        password.value = ""; told.hidden = true; enter.disabled = true;
        this.post("sign-in", { password: given }).then(() => { this.instructor(); box.querySelector("button").focus(); })
          .catch((problem) => { enter.disabled = false; told.textContent = problem.message; told.hidden = false; password.focus(); });
      } }, [element("label", { for: password.id, text: "password" }), password, enter]);
      const made = element("details", { class: "sign-in" }, [element("summary", { text: "For the instructor" }),
        element("p", { class: "quiet small", id: "fault-password-where", text: "The table of the class and its entry words. The password stands on the terminal of the server, or in its password file." }), form, told]);
      made.open = Boolean(open);
      box.hidden = false;
      box.replaceChildren(made);
      if (open) { made.querySelector("summary").focus(); }
    }
    instructor() {
      const box = this.part("instructor");
      const table = element("div", { class: "wide", tabindex: "0", role: "region", "aria-label": "The class" }), aside = element("div", {});
      const name = element("input", { type: "text", id: "fault-word-for", autocomplete: "off" }), word = element("b", { class: "entry-word", role: "status" });
      const told = element("p", { class: "told", role: "alert", hidden: true });
      const fail = (problem) => { told.textContent = problem.message; told.hidden = false; };
      const show = () => fetch("/hidden-fault/hosted", { credentials: "same-origin" }).then((answer) => answer.json()).then((now) => {
        if (!now.instructor) { this.signIn(true); return null; }
        return fetch("/hidden-fault/class.json", { credentials: "same-origin" }).then((answer) => answer.json());
      }).then((found) => {
        if (!found) { return; }
        told.hidden = true;
        table.replaceChildren(found.rows.length ? element("table", {}, [element("thead", {}, [element("tr", {}, found.heads.map((text) => element("th", { scope: "col", text })))]),
          element("tbody", {}, found.rows.map((row) => element("tr", {}, row.map((cell) => element("td", { text: String(cell) })))))]) : element("p", { class: "quiet", text: "Nobody has opened a case yet." }));
        aside.replaceChildren(...(found.set_aside.length ? [element("h3", { text: "Set aside in the folder of sessions" }), element("ul", { class: "small" }, found.set_aside.map((text) => element("li", { text })))] : []));
      }).catch(() => fail(new Error("The class list could not be read.")));
      const ask = () => {
        word.textContent = ""; told.hidden = true;
        if (!name.value.trim()) { name.focus(); return; }
        this.post("word", { student: name.value.trim() }).then((answer) => { word.textContent = answer.word; }).catch(fail);
      };
      name.addEventListener("keydown", (event) => { if (event.key === "Enter") { ask(); } });
      box.hidden = false;
      box.replaceChildren(element("h2", { text: "For the instructor" }), told, table, aside,
        element("div", { class: "bar" }, [element("button", { type: "button", text: "Look again", onclick: show }),
          element("a", { class: "button", href: "/hidden-fault/class.csv", download: "class.csv", text: "Download class.csv" }),
          element("label", { for: name.id, text: "entry word for" }), name,
          element("button", { type: "button", text: "Show the word", onclick: ask }), word,
          element("button", { type: "button", class: "sign-out", text: "Sign out", onclick: () => this.post("sign-out", {}).then(() => this.signIn(true)).catch(fail) })]));
      show();
    }
  }

  H.whenThere("data-fault", (place) => { place.hunt = new Hunt(place); });
})();
