/* The Dyno page: asks for a run when something changes, and draws it as it went, from columns that are already here. */
"use strict";
(function () {
  const H = window.haulbench, element = H.element;
  const INK = "#14202b", QUIET = "#4a5966", GRID = "#dde4e9", KEPT = "#6b6b6b";
  const LEFT = 58, RIGHT = 12, FOOT = 34;
  const { ticks, tidy, DASHES, FONT } = H.draw;
  const shownText = (kind, value, digits, unit) => (kind === "plain" ? (isFinite(value) ? value.toFixed(digits) + (unit ? " " + unit : "") : "-") :
    H.shown(kind, value, H.units === "us" && H.KINDS[kind].us[1] > digits ? H.KINDS[kind].us[1] : digits));
  class Dyno {
    constructor(place) {
      this.place = place;
      this.asked = JSON.parse(place.dataset.dyno);
      this.part = (name) => place.querySelector(`[data-part="${name}"]`);
      this.test = this.asked.test;
      this.run = null; this.kept = null; this.setup = null; this.number = 0; this.time = 0; this.playing = false; this.rate = 10;
      this.prediction = this.recall();
      this.buildTests(); this.buildFaults(); this.buildDrive(); this.buildPredict();
      this.circuits = new H.Circuits(this.part("circuits"), { page: "dyno", panel: () => this.panel(), fail: (text) => this.fail(text), going: () => { this.dialling = true; },
        here: () => {
          const chapter = this.run ? this.run.head.chapters[0] : { end: 0, begins_s: 0 };
          return `${Math.max(0, Math.min(this.time, chapter.end) + chapter.begins_s).toFixed(1)} s`;
        } });
      this.part("keep").onclick = () => { this.kept = this.run; this.render(); this.part("link_text").textContent = "Kept: the next run is drawn over it."; };
      this.part("release").onclick = () => { this.kept = null; this.render(); };
      this.part("link").onclick = () => H.copyLink(this.part("link_text"), "Copied: it reopens exactly this run.");
      place.addEventListener("haulbench:setup", (event) => { this.setup = event.detail.setup; this.changed(); });
      H.onUnits(() => { if (document.body.contains(place)) { this.predictFields(); if (this.run) { this.render(); } } });
      new ResizeObserver(() => { if (this.run && this.part("curves").clientWidth !== this.width) { this.draw(); } }).observe(this.part("curves"));
      const panel = this.panel();
      if (panel && panel.described) { this.setup = panel.setup; this.changed(); }
    }
    panel() { const box = this.place.querySelector("[data-panel]"); return box ? box.panel : null; }

    // ------------------------------------------------------------ asking
    address(more) {
      const query = new URLSearchParams(window.location.search);
      query.set("test", this.test);
      Object.entries(more || {}).forEach(([name, value]) => { if (value) { query.set(name, value); } else { query.delete(name); } });
      return "?" + query.toString().replace(/%3A/g, ":").replace(/%2C/g, ",");
    }
    changed() {
      window.history.replaceState(window.history.state, "", window.location.pathname + this.address({}));
      this.faultsShown(); this.files();
      if (this.prediction.hold && !this.released) { this.waiting(true); return; }
      this.released = false;
      this.ask();
    }
    files() {
      const told = Object.entries(this.prediction.values[this.test] || {}).map(([key, value]) => `${key}=${value}`).join("|");
      this.place.querySelectorAll("[data-file]").forEach((link) => {
        link.href = "/dyno/" + link.dataset.file + this.address({ predict: link.dataset.file === "report.html" ? told : "" });
        link.hidden = link.dataset.file === "meters.csv" && !(this.run && this.run.head.meters.length);
      });
    }
    say(text) { const state = this.part("state"); state.textContent = text; state.hidden = !text; }
    fail(text) { const box = this.part("error"); box.textContent = text; box.hidden = !text; }
    busy(on) {
      this.place.classList.toggle("busy", on);
      this.place.querySelector(".trip-main").setAttribute("aria-busy", String(on));
      window.clearTimeout(this.slow);
      if (on) { this.slow = window.setTimeout(() => this.say("The run is being made ..."), 350); } else if (this.ready) { this.say(""); }
    }
    waiting(on) {
      this.place.classList.toggle("waiting-to-drive", on);
      this.part("run_button").hidden = !this.prediction.hold;
      if (on) { this.stop(); }
      this.say(on ? "Not run yet: write what you expect, then press Run the test." : "");
    }
    ask() {
      if (!this.ready) {
        this.busy(true);
        if (this.preparing) { return; }
        this.preparing = true;
        H.whenReady((text) => { window.clearTimeout(this.slow); this.say(text); }, () => { this.ready = true; this.ask(); });
        return;
      }
      if (this.stopper) { this.stopper.abort(); }
      const stopper = this.stopper = new AbortController(), number = this.number += 1;
      this.waiting(false);
      this.busy(true);
      const body = { setup: this.setup, test: this.test, have: this.run ? this.run.head.key : undefined };
      fetch("/dyno/run", { method: "POST", credentials: "same-origin", headers: { "Content-Type": "application/json" },
        body: JSON.stringify(body), signal: stopper.signal }).catch((problem) => {
        throw problem.name === "AbortError" ? problem : new Error("The server does not answer. Is it still running?");
      }).then(async (answer) => {
        if (number !== this.number) { return; }
        if ((answer.headers.get("Content-Type") || "").startsWith("application/json")) {
          const told = await answer.json();
          if (!told.same) { throw new Error(told.message); }
          this.place.classList.remove("refused");
          this.busy(false); this.fail(""); this.say("Nothing changed: the run is the same as before.");
          return;
        }
        const run = H.unpack(await answer.arrayBuffer());
        if (number !== this.number) { return; }
        this.busy(false); this.fail("");
        this.take(run);
      }).catch((problem) => {
        if (problem.name === "AbortError" || number !== this.number) { return; }
        this.busy(false);
        this.place.classList.add("refused");
        this.fail(problem.message);
        if (this.run) { this.say("What is shown below, in grey, is the run before this change."); }
      });
    }
    take(run) {
      const before = this.run, going = this.playing || this.dialling;
      this.run = run;
      this.place.classList.remove("refused");
      if (!before || before.head.test !== run.head.test) { this.stop(); this.time = run.head.play_s; this.rateFor(run.head.play_s); }
      else if (!going) { this.time = Math.min(this.time >= before.head.play_s - 0.01 ? run.head.play_s : this.time, run.head.play_s); }
      else { this.time = Math.min(this.time, run.head.play_s); }
      if (this.kept && this.kept.head.test !== run.head.test) { this.kept = null; }
      this.render();
      if (this.dialling) { this.dialling = false; this.start(); }
      this.place.dataset.made = String(this.number);
    }
    rateFor(seconds) {
      const wanted = this.asked.rates.find((rate) => seconds / rate <= 20) || this.asked.rates[this.asked.rates.length - 1];
      this.rate = wanted; this.part("rate").querySelector("select").value = String(wanted);
    }

    titles(test) { return this.asked.tests.find((each) => each[0] === test); }

    // ------------------------------------------------------------ building
    buildTests() {
      this.asked.tests.forEach(([name, title, words]) => {
        this.part("tests").append(element("button", { type: "button", text: title, title: words, "data-test": name,
          "aria-pressed": String(name === this.test), onclick: () => {
            this.test = name;
            this.part("tests").querySelectorAll("button").forEach((each) => each.setAttribute("aria-pressed", String(each.dataset.test === name)));
            this.predictFields();
            this.changed();
          } }));
      });
      this.part("tests").append(element("span", { class: "quiet small", "data-words": "" }));
    }
    buildFaults() {
      this.chips = this.asked.faults.map((fault) => {
        const chip = element("button", { type: "button", class: "chip", text: fault.title, title: fault.sign, "aria-pressed": "false",
          onclick: () => {
            const panel = this.panel();
            if (!panel || !panel.described) { return; }
            const on = chip.getAttribute("aria-pressed") === "true";
            fault.changes.forEach(([key, value]) => panel.change(key, on ? panel.plain(panel.base(key)) : value));
            panel.refresh();
          } });
        this.part("faults").append(chip);
        return [fault, chip];
      });
    }
    faultsShown() {
      const panel = this.panel(), words = this.part("tests").querySelector("[data-words]");
      words.textContent = this.titles(this.test)[2];
      if (!panel || !panel.described) { return; }
      this.chips.forEach(([fault, chip]) => {
        chip.setAttribute("aria-pressed", String(fault.changes.every(([key]) => panel.changed(key))));
      });
      this.circuits.shown();
    }
    buildDrive() {
      const select = element("select", { id: "dyno-rate", "aria-label": "How fast to show the run", onchange: () => { this.rate = Number(select.value); } });
      this.asked.rates.forEach((rate) => select.append(element("option", { value: rate, text: rate + " times" })));
      select.value = String(this.rate);
      this.part("rate").append(select);
      this.scrub = element("input", { type: "range", min: "0", max: "1", value: "0", step: "0.1", id: "dyno-scrub", "aria-label": "Time of the run" });
      this.scrub.addEventListener("input", () => { this.time = Number(this.scrub.value); this.show(); });
      this.part("scrub_place").append(this.scrub);
      this.part("play").onclick = () => { if (this.playing) { this.stop(); } else { this.start(); } };
      this.part("whole").onclick = () => { this.stop(); if (this.run) { this.time = this.run.head.play_s; this.show(); } };
      const large = this.part("class_view");
      large.onclick = () => {
        const on = document.body.classList.toggle("class-view");
        large.setAttribute("aria-pressed", String(on));
        large.textContent = on ? "Usual view" : "Class view";
        window.setTimeout(() => this.draw(), 0);
      };
    }
    start() {
      if (!this.run) { return; }
      if (this.time >= this.run.head.play_s - 0.05) { this.time = 0; }
      this.playing = true;
      this.part("play").textContent = "Hold"; this.part("play").setAttribute("aria-label", "Hold");
      this.place.classList.add("playing");
      let before = null;
      const step = (now) => {
        if (!this.playing) { return; }
        if (!document.body.contains(this.place)) { this.playing = false; return; }
        if (before !== null) { this.time = Math.min(this.time + Math.min(now - before, 250) / 1000 * this.rate, this.run.head.play_s); }
        before = now;
        this.show();
        if (this.time >= this.run.head.play_s) { this.stop(); } else { window.requestAnimationFrame(step); }
      };
      window.requestAnimationFrame(step);
    }
    stop() {
      this.playing = false;
      this.place.classList.remove("playing");
      this.part("play").textContent = "Run"; this.part("play").setAttribute("aria-label", "Show the run as it goes");
    }

    // ------------------------------------------------------------ a run has come
    render() {
      if (!this.run) { return; }
      const head = this.run.head, verdict = this.part("verdict");
      verdict.className = "verdict " + (head.verdict === "fail" ? "alarm" : head.verdict === "pass" && !head.warnings.length ? "good" : "warned");
      verdict.replaceChildren(element("h2", { text: head.verdict[0].toUpperCase() + head.verdict.slice(1) + ": " + head.reading }),
        element("p", { class: "quiet", text: `${head.truck} \u2014 ${this.titles(head.test)[1].toLowerCase()}, ${head.form}` }),
        ...head.warnings.map((text) => element("p", { class: "said warning" }, [element("b", { text: "warning: " }), text])));
      this.part("keep").disabled = false;
      this.part("keep").textContent = this.kept ? "Keep this run instead" : "Keep this run";
      this.part("release").hidden = !this.kept;
      this.scrub.max = String(head.play_s);
      this.buildReadings(); this.numbers(); this.points(); this.codes(); this.predicted(); this.files(); this.buildCurves();
      this.draw();
    }
    buildReadings() {
      const make = ([column, name, kind, digits, unit]) => {
        const value = element("span", { class: "value", text: "-" });
        return [element("div", { class: "reading " + column }, [element("span", { class: "label", text: name }), value,
          element("span", { class: "unit", text: kind === "plain" ? unit : kind === "limiter" ? "" : H.unitOf(kind) })]), column, kind, digits, value];
      };
      this.readings = this.run.head.readings.map(make);
      this.part("readings").style.setProperty("--readings", String(this.readings.length - 1));
      this.part("readings").replaceChildren(...this.readings.map((each) => each[0]));
      this.gauges = this.run.head.gauges.map(([column, name, kind, digits]) => [column, kind, digits, element("dd", { text: "-" }), name]);
      this.part("gauges").replaceChildren(...this.gauges.flatMap(([, , , box, name]) => [element("dt", { text: name }), box]));
      this.circuits.meters(this.run.head.meters);
    }
    numbers() {
      const rows = this.run.head.numbers, at = H.units === "us" ? 2 : 1, kept = this.kept && this.kept !== this.run ? this.kept.head.numbers : null;
      this.part("numbers").replaceChildren(element("table", {}, [element("thead", {}, [element("tr", {}, ["quantity", "this run", ...(kept ? ["kept run"] : [])]
        .map((text) => element("th", { scope: "col", text })))]), element("tbody", {}, rows.map((row) => {
        const other = kept ? (kept.find((each) => each[0] === row[0]) || ["", "-", "-"])[at] : null;
        return element("tr", { class: kept && other !== row[at] ? "differs" : null }, [element("th", { scope: "row", text: row[0] }),
          element("td", { text: row[at] }), kept ? element("td", { text: other }) : null]);
      }))]));
    }
    points() {
      if (this.run.head.points.length < 2) {
        this.part("points").replaceChildren(element("p", { class: "quiet", text: "The speeds that were read stand among the numbers and as lines in the first plot." }));
        return;
      }
      const head = this.run.head, c = this.run.columns, rows = head.points.length ? c["table:" + head.points[0][0]].length : 0;
      const title = (name, kind) => (kind === "plain" || kind === "limiter" ? name : `${name}, ${H.unitOf(kind)}`);
      const cell = ([name, , kind, digits], row) => {
        const value = c["table:" + name][row];
        if (!isFinite(value)) { return "-"; }
        if (kind === "limiter") { return head.limiters[Math.round(value)]; }
        return kind === "plain" ? value.toFixed(digits) : H.inUnits(kind, value).toFixed(Math.max(digits, H.units === "us" ? H.KINDS[kind].us[1] : 0));
      };
      this.part("points").replaceChildren(element("table", {}, [
        element("thead", {}, [element("tr", {}, head.points.map(([name, words, kind]) => element("th", { scope: "col", class: "number", text: title(words, kind) })))]),
        element("tbody", {}, Array.from({ length: rows }, (_, row) => element("tr", {}, head.points.map((each) => element("td", { class: "number", text: cell(each, row) })))))]));
    }
    codes() {
      const codes = this.run.head.codes;
      this.part("codes").replaceChildren(...(codes.length ? [element("h3", { text: "Codes the controller has set" }), element("ul", { class: "dialled" },
        codes.map((code) => element("li", { text: `SPN ${code.spn} FMI ${code.fmi}, ${code.words}; lamp ${code.lamp}, ${code.count} ${code.count === 1 ? "time" : "times"}, ` +
          (code.active ? "active at the end" : "earlier") })))] : []));
    }

    // ------------------------------------------------------------ drawing
    buildCurves() {
      const box = this.part("curves"), plots = this.run.head.plots;
      const same = this.boxes && this.boxes.length === plots.length && this.boxes.every((each, place) => each.plot.title === plots[place].title);
      if (same) { this.boxes.forEach((each, place) => { each.plot = plots[place]; this.legend(each); }); return; }
      this.boxes = plots.map((plot) => {
        const head = element("div", { class: "strip-head" }), canvas = element("canvas", { "aria-hidden": "true" });
        const made = element("div", { class: "curve" }, [head, canvas]);
        const found = { plot, head, canvas, made };
        this.legend(found);
        return found;
      });
      box.replaceChildren(...this.boxes.map((each) => each.made));
      box.classList.toggle("few", plots.length < 3);
    }
    legend(box) {
      const plot = box.plot, unit = plot.kind === "plain" ? plot.unit : H.unitOf(plot.kind);
      const items = plot.lines.flatMap((line) => [element("span", { class: "item" }, [this.swatch(line), line.label]),
        ...(line.band ? [element("span", { class: "item" }, [element("span", { class: "band-swatch" }), line.band_label])] : [])]);
      if (this.kept && this.kept !== this.run) { items.push(element("span", { class: "item" }, [this.swatch({ colour: KEPT, dash: "dot" }), "the kept run"])); }
      box.head.replaceChildren(element("h3", { text: plot.title }), element("span", { class: "quiet", text: unit }), ...items);
    }
    swatch(line) {
      const space = "http://www.w3.org/2000/svg", svg = document.createElementNS(space, "svg");
      svg.setAttribute("width", "24"); svg.setAttribute("height", "10"); svg.setAttribute("aria-hidden", "true");
      const add = (name, given) => {
        const made = document.createElementNS(space, name);
        Object.entries(given).forEach(([key, value]) => made.setAttribute(key, value));
        svg.append(made);
      };
      if (line.bars) { add("rect", { x: 6, y: 0, width: 12, height: 10, fill: line.colour }); return svg; }
      if (!line.dots || line.joined) {
        add("line", { x1: 0, y1: 5, x2: 24, y2: 5, stroke: line.colour, "stroke-width": 2.4, "stroke-dasharray": (DASHES[line.dash] || []).join(" ") });
      }
      if (line.dots) { add("circle", { cx: 12, cy: 5, r: 3.4, fill: "#fff", stroke: line.colour, "stroke-width": 1.8 }); }
      return svg;
    }
    draw() {
      if (!this.run || !this.boxes) { return; }
      this.width = this.part("curves").clientWidth;
      if (!this.width) { return; }
      const shares = this.boxes.reduce((sum, box) => sum + box.plot.share, 0), all = document.body.classList.contains("class-view") ? 1180 : 900;
      this.boxes.forEach((box) => {
        box.height = Math.round(Math.max(150, Math.min(box.plot.share / shares * all, 420)));
        box.wide = box.canvas.parentElement.clientWidth;
        const scale = window.devicePixelRatio || 1;
        box.canvas.width = Math.round(box.wide * scale); box.canvas.height = Math.round(box.height * scale);
        box.canvas.style.width = box.wide + "px"; box.canvas.style.height = box.height + "px";
        this.backdrop(box, scale);
      });
      this.show();
    }
    // what does not change as the run goes: axes, references and bands, the kept run
    backdrop(box, scale) {
      const { plot } = box, [low, high] = plot.span, [from, to] = plot.reach, top = 6, bottom = box.height - FOOT, right = box.wide - RIGHT;
      const bars = plot.lines.some((line) => line.bars), ends = bars ? [from - 0.6, to + 0.6] : [from, to];
      box.x = (value) => LEFT + (value - ends[0]) / (ends[1] - ends[0]) * (right - LEFT);
      box.y = (value) => bottom - (value - low) / (high - low) * (bottom - top);
      box.frame = [LEFT, top, right, bottom];
      const back = document.createElement("canvas");
      back.width = box.canvas.width; back.height = box.canvas.height;
      const pen = back.getContext("2d");
      pen.setTransform(scale, 0, 0, scale, 0, 0);
      pen.font = (document.body.classList.contains("class-view") ? "15px " : "12px ") + FONT;
      pen.textBaseline = "middle"; pen.lineWidth = 1; pen.lineJoin = "round";
      const how = plot.kind === "plain" ? [1, 0, ""] : H.KINDS[plot.kind][H.units], factor = how[0], offset = how[3] || 0;
      pen.textAlign = "right";
      ticks(low * factor + offset, high * factor + offset, Math.max(3, Math.round(box.height / 46))).forEach((mark) => {
        const at = Math.round(box.y((mark - offset) / factor)) + 0.5;
        if (at < top || at > bottom + 1) { return; }
        pen.strokeStyle = GRID; pen.beginPath(); pen.moveTo(LEFT, at); pen.lineTo(right, at); pen.stroke();
        pen.fillStyle = QUIET; pen.fillText(tidy(mark), LEFT - 7, at);
      });
      pen.textAlign = "center";
      (bars ? Array.from({ length: to - from + 1 }, (_, place) => from + place) : ticks(from, to, Math.max(4, Math.round(box.wide / 90)))).forEach((mark) => {
        const at = Math.round(box.x(mark)) + 0.5;
        if (!bars) { pen.strokeStyle = GRID; pen.beginPath(); pen.moveTo(at, top); pen.lineTo(at, bottom); pen.stroke(); }
        pen.fillStyle = QUIET; pen.fillText(tidy(mark), Math.min(at, right - 10), bottom + 10);
      });
      pen.fillText(plot.axis, 0.5 * (LEFT + right), bottom + 25);
      pen.save();
      pen.beginPath(); pen.rect(LEFT, top, right - LEFT, bottom - top); pen.clip();
      if (low < 0) { pen.strokeStyle = "#7b8894"; pen.beginPath(); pen.moveTo(LEFT, box.y(0)); pen.lineTo(right, box.y(0)); pen.stroke(); }
      plot.lines.forEach((line) => {
        if (!line.band) { return; }
        const x = this.run.columns[line.x], under = this.run.columns[line.band[0]], over = this.run.columns[line.band[1]];
        pen.beginPath();
        x.forEach((value, row) => { const px = box.x(value), py = box.y(over[row]); if (row) { pen.lineTo(px, py); } else { pen.moveTo(px, py); } });
        for (let row = x.length - 1; row >= 0; row -= 1) { pen.lineTo(box.x(x[row]), box.y(under[row])); }
        pen.closePath(); pen.fillStyle = "rgba(0,114,178,0.16)"; pen.fill();
      });
      if (this.kept && this.kept !== this.run) {
        const other = this.kept.head.plots.find((each) => each.title === plot.title);
        (other ? other.lines : []).filter((line) => line.main).forEach((line) => this.line(pen, box, this.kept, { ...line, colour: KEPT, dash: "dot", width: 2.4 }, Infinity));
      }
      plot.lines.filter((line) => !line.play).forEach((line) => this.line(pen, box, this.run, line, Infinity));
      pen.restore();
      pen.strokeStyle = "#7b8894"; pen.strokeRect(LEFT + 0.5, top + 0.5, right - LEFT - 1, bottom - top - 1);
      box.back = back;
    }
    line(pen, box, run, line, until) {
      const c = run.columns, x = c[line.x], y = c[line.y], known = line.play ? c[line.play] : null;
      pen.strokeStyle = line.colour; pen.lineWidth = line.width; pen.setLineDash(DASHES[line.dash] || []);
      if (line.bars) {
        const wide = 0.5 * (box.x(1) - box.x(0));
        for (let row = 0; row < x.length; row += 1) {
          if (known && known[row] > until) { continue; }
          const px = box.x(x[row]), zero = box.y(0), py = box.y(y[row]);
          pen.setLineDash([]); pen.fillStyle = line.colour; pen.globalAlpha = line.dash === "dot" ? 0.5 : 1;
          pen.fillRect(px - wide / (line.dash === "dot" ? 4 : 2), Math.min(py, zero), wide / (line.dash === "dot" ? 2 : 1), Math.max(Math.abs(py - zero), 1)); pen.globalAlpha = 1;
          if (line.dash !== "dot") { pen.fillStyle = INK; pen.textAlign = "center"; pen.fillText(y[row].toFixed(1), px, Math.min(py, zero) - 8); }
        }
        return null;
      }
      let drawing = false, last = null;
      pen.beginPath();
      for (let row = 0; row < x.length; row += 1) {
        if (known && known[row] > until) { break; }
        if (!isFinite(y[row]) || !isFinite(x[row])) { drawing = false; continue; }
        const px = box.x(x[row]), py = box.y(y[row]);
        if (drawing) { pen.lineTo(px, py); } else { pen.moveTo(px, py); drawing = true; }
        last = [px, py];
      }
      if (!line.dots || line.joined) { pen.stroke(); }
      pen.setLineDash([]);
      if (line.dots) {
        for (let row = 0; row < x.length; row += 1) {
          if ((known && !(known[row] <= until)) || !isFinite(y[row])) { continue; }
          pen.beginPath(); pen.arc(box.x(x[row]), box.y(y[row]), 4, 0, 2 * Math.PI); pen.fillStyle = "#fff"; pen.fill(); pen.lineWidth = 1.8; pen.stroke();
        }
      }
      return last;
    }

    // ------------------------------------------------------------ the cursor
    chapter() { return this.run.head.chapters.find((each) => this.time <= each.end + 1e-6) || this.run.head.chapters[this.run.head.chapters.length - 1]; }
    value(prefix, name) {
      const values = this.run.columns[prefix + ":" + name], play = this.run.columns[prefix + ":play"];
      if (!values || !play) { return NaN; }
      return values[H.lastAt(play, this.time + 1e-4)];
    }
    show() {
      if (!this.run || !this.boxes || !this.boxes[0] || !this.boxes[0].back) { return; }
      const scale = window.devicePixelRatio || 1, chapter = this.chapter(), head = this.run.head;
      this.boxes.forEach((box) => {
        const pen = box.canvas.getContext("2d");
        pen.setTransform(1, 0, 0, 1, 0, 0);
        pen.clearRect(0, 0, box.canvas.width, box.canvas.height);
        pen.drawImage(box.back, 0, 0);
        pen.setTransform(scale, 0, 0, scale, 0, 0);
        pen.font = "12px " + FONT; pen.textBaseline = "middle"; pen.lineJoin = "round";
        const [left, top, right, bottom] = box.frame;
        pen.save(); pen.beginPath(); pen.rect(left, top, right - left, bottom - top); pen.clip();
        box.plot.lines.filter((line) => line.play).forEach((line) => {
          const last = this.line(pen, box, this.run, line, this.time);
          if (last && line.main && !line.dots && this.time < head.play_s - 0.05) {
            pen.beginPath(); pen.arc(last[0], last[1], 6, 0, 2 * Math.PI); pen.fillStyle = "#ffb000"; pen.fill(); pen.strokeStyle = INK; pen.lineWidth = 2; pen.stroke();
          }
        });
        pen.restore();
      });
      this.readings.forEach(([, column, kind, digits, box]) => {
        const value = this.value(chapter.prefix, column);
        const text = !isFinite(value) ? "-" : kind === "limiter" ? head.limiters[Math.round(value)] : kind === "plain" ? (Math.abs(value) < 0.5 * Math.pow(10, -digits) ? 0 : value).toFixed(digits) :
          H.inUnits(kind, value).toFixed(H.units === "us" ? H.KINDS[kind].us[1] : digits);
        if (box.textContent !== text) { box.textContent = text; }
      });
      this.gauges.forEach(([column, kind, digits, box]) => {
        const value = this.value(chapter.prefix, column), text = shownText(kind, value, digits, "");
        if (box.textContent !== text) { box.textContent = text; }
      });
      this.circuits.cursor((name) => (chapter === head.chapters[0] ? this.value("meters", name) : NaN));
      const words = `${chapter.name}, ${(this.time - chapter.start).toFixed(0)} s of ${(chapter.end - chapter.start).toFixed(0)} s`;
      if (this.part("chapter").textContent !== words) { this.part("chapter").textContent = words; }
      if (document.activeElement !== this.scrub || this.playing) { this.scrub.value = String(this.time); }
      this.scrub.setAttribute("aria-valuetext", `${words}, ${this.value(chapter.prefix, "engine_speed_rpm").toFixed(0)} rpm`);
    }

    // ------------------------------------------------------------ predicting
    recall() {
      try { return { hold: false, values: {}, ...JSON.parse(window.sessionStorage.getItem("haulbench-dyno-prediction") || "{}") }; }
      catch (problem) { return { hold: false, values: {} }; }
    }
    remember() {
      try { window.sessionStorage.setItem("haulbench-dyno-prediction", JSON.stringify(this.prediction)); } catch (problem) { /* not kept */ }
      this.predicted(); this.files();
    }
    buildPredict() {
      const hold = element("input", { type: "checkbox", role: "switch", id: "dyno-hold", onchange: () => {
        this.prediction.hold = hold.checked; this.remember(); this.waiting(false);
        if (!hold.checked) { this.changed(); }
      } });
      hold.checked = this.prediction.hold;
      const box = this.part("predict"), button = this.part("predict_button");
      this.guessFields = element("div", { class: "predict-fields" });
      this.outcome = element("div", { class: "outcome", "aria-live": "polite" });
      box.append(element("h3", { text: "What do you expect?" }), this.guessFields,
        element("p", { class: "bar" }, [hold, element("label", { for: hold.id, text: "no run before I press Run the test" })]), this.outcome);
      const open = (on) => { box.hidden = !on; button.setAttribute("aria-expanded", String(on)); };
      button.onclick = () => { this.predictFields(); open(box.hidden); };
      this.part("run_button").onclick = () => { this.released = true; this.changed(); };
      this.part("run_button").hidden = !this.prediction.hold;
      open(this.prediction.hold);
    }
    predictFields() {
      const rows = this.run && this.run.head.test === this.test ? this.run.head.predict : this.known && this.known[this.test];
      this.known = this.known || {};
      if (this.run) { this.known[this.run.head.test] = this.run.head.predict; }
      const mine = this.prediction.values[this.test] = this.prediction.values[this.test] || {};
      if (!rows) { this.guessFields.replaceChildren(element("p", { class: "quiet", text: "Run this test once, or press Run the test; then its quantities stand here." })); return; }
      this.guessFields.replaceChildren(...rows.map(([key, name, kind, unit]) => {
        const input = element("input", { type: "text", inputmode: "decimal", id: "dyno-predict-" + key, autocomplete: "off" });
        const how = kind === "plain" ? [1, 1, unit] : H.KINDS[kind][H.units], words = element("span", { class: "unit", text: how[2] });
        if (mine[key] !== undefined) { input.value = String(Number((mine[key] * how[0]).toPrecision(6))); }
        input.addEventListener("change", () => {
          const number = Number(input.value.trim().replace(",", "."));
          if (input.value.trim() === "" || !isFinite(number)) { delete mine[key]; input.value = ""; } else { mine[key] = number / how[0]; }
          this.remember();
        });
        return element("div", {}, [element("label", { for: input.id, text: name }), element("span", { class: "with-unit" }, [input, words])]);
      }));
    }
    predicted() {
      if (!this.run) { return; }
      const head = this.run.head, mine = this.prediction.values[head.test] || {};
      if (!this.guessFields.childElementCount || this.guessFields.querySelector("p")) { this.predictFields(); }
      const rows = head.predict.filter(([key]) => mine[key] !== undefined && head.found[key] !== undefined && head.found[key] !== null).map(([key, name, kind, unit, tolerance, measure]) => {
        const off = measure === "%" ? 100 * (mine[key] - head.found[key]) / head.found[key] : mine[key] - head.found[key];
        const text = (value) => shownText(kind, value, 1, unit);
        return [name, text(mine[key]), text(head.found[key]), `${off >= 0 ? "+" : ""}${off.toFixed(1)} ${measure}`, Math.abs(off) <= tolerance ? `within ${tolerance} ${measure}` : `outside ${tolerance} ${measure}`];
      });
      this.outcome.replaceChildren(...(rows.length ? [element("table", {}, [
        element("thead", {}, [element("tr", {}, ["what", "predicted", "measured", "off", "tolerance"].map((text) => element("th", { scope: "col", text })))]),
        element("tbody", {}, rows.map((row) => element("tr", {}, row.map((text, place) => element(place ? "td" : "th", { scope: place ? null : "row", text })))))])] : []));
    }
  }

  H.whenThere("data-dyno", (place) => { place.dyno = new Dyno(place); });
})();
