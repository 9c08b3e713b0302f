/* The Speedometer page: a needle, a mile to be timed by hand, and the record of what is programmed. */
"use strict";
(function () {
  const H = window.haulbench, element = H.element;
  const INK = "#14202b", MILE = 1609.344;
  const perHour = (value, digits) => `${(H.units === "us" ? value / MILE * 3600 : value * 3.6).toFixed(digits === undefined ? 1 : digits)} ${H.unitOf("speed")}`;

  function canvasOn(place, width, height) {
    const canvas = place.querySelector("canvas") || place.appendChild(element("canvas", { "aria-hidden": "true" }));
    const scale = window.devicePixelRatio || 1;
    if (canvas.width !== Math.round(width * scale) || canvas.height !== Math.round(height * scale)) {
      canvas.width = Math.round(width * scale); canvas.height = Math.round(height * scale);
      canvas.style.width = width + "px"; canvas.style.height = height + "px";
    }
    const pen = canvas.getContext("2d");
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    pen.clearRect(0, 0, width, height);
    return pen;
  }
  // a scale with a pointer over it: shown above, true below when it may be seen
  function drawNeedle(place, shown, truth) {
    const width = Math.max(place.clientWidth, 200), height = truth === null ? 118 : 168, left = 22, right = width - 22, middle = 74;
    const pen = canvasOn(place, width, height), us = H.units === "us", factor = us ? 3600 / MILE : 3.6, most = us ? 80 : 120;
    const x = (speed) => left + Math.min(Math.max(speed * factor / most, 0), 1) * (right - left);
    pen.fillStyle = "#10212e"; pen.fillRect(0, 0, width, 112);
    pen.strokeStyle = "#b9cbd8"; pen.fillStyle = "#fff"; pen.textAlign = "center"; pen.font = "600 15px system-ui, sans-serif"; pen.lineWidth = 2;
    for (let mark = 0; mark <= most; mark += us ? 5 : 10) {
      const at = left + mark / most * (right - left), long = mark % (us ? 10 : 20) === 0;
      pen.beginPath(); pen.moveTo(at, middle); pen.lineTo(at, middle - (long ? 16 : 9)); pen.stroke();
      if (long) { pen.fillText(String(mark), at, middle + 22); }
    }
    pen.beginPath(); pen.moveTo(left, middle); pen.lineTo(right, middle); pen.stroke();
    const at = x(shown);
    pen.fillStyle = "#ffb000"; pen.beginPath(); pen.moveTo(at, middle + 2); pen.lineTo(at - 9, 22); pen.lineTo(at + 9, 22); pen.closePath(); pen.fill();
    pen.fillStyle = "#fff"; pen.textAlign = "left"; pen.fillText("needle", 10, 18);
    if (truth !== null) {
      const real = x(truth);
      pen.fillStyle = "#0072b2"; pen.beginPath(); pen.moveTo(real, 114); pen.lineTo(real - 9, 140); pen.lineTo(real + 9, 140); pen.closePath(); pen.fill();
      pen.fillStyle = INK; pen.textAlign = real > width / 2 ? "right" : "left"; pen.font = "600 15px system-ui, sans-serif";
      pen.fillText(`true ${perHour(truth)}`, real + (real > width / 2 ? -14 : 14), 136);
    }
  }

  class Speedo {
    constructor(place) {
      this.place = place;
      this.asked = JSON.parse(place.dataset.speedo);
      this.part = (name) => place.querySelector(`[data-part="${name}"]`);
      this.setup = null; this.state = null; this.number = 0; this.truth = 80 / 3.6; this.rate = 5;
      this.mile = null; this.watch = { on: false, from: 0, time: null }; this.playing = false; this.secret = null;
      this.buildNeedle(); this.buildMile(); this.buildRecord();
      place.addEventListener("haulbench:setup", (event) => { this.setup = event.detail.setup; this.look(); });
      H.onUnits(() => { if (document.body.contains(place)) { this.units(); } });
      new ResizeObserver(() => { this.drawNow(); }).observe(place);
      document.addEventListener("keydown", (event) => {
        if (event.key === " " && document.body.contains(place) && this.mile && !event.target.closest("input, select, button, summary, a, textarea")) {
          event.preventDefault(); this.press();
        }
      });
      const panel = place.querySelector("[data-panel]").panel;
      if (panel && panel.described) { this.setup = panel.setup; this.look(); }
    }
    post(what, body) {
      return fetch("/speedometer/" + what, { method: "POST", credentials: "same-origin", headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ setup: this.setup, ...body }) }).catch(() => { throw new Error("The server does not answer. Is it still running?"); }).then(async (answer) => {
        if ((answer.headers.get("Content-Type") || "").startsWith("application/json")) {
          const told = await answer.json();
          if (!answer.ok || told.message) { throw new Error(told.message || "The server refused that."); }
          return told;
        }
        return H.unpack(await answer.arrayBuffer());
      });
    }
    fail(text) { const box = this.part("error"); box.textContent = text; box.hidden = !text; }
    failMile(text) { const box = this.part("mile_error"); box.textContent = text; box.hidden = !text; }

    // ------------------------------------------------------------ calibration
    look() {
      const number = this.number += 1;
      ["save_html", "save_csv"].forEach((name) => { const link = this.part(name); link.href = link.href.split("?")[0] + window.location.search; });
      H.whenReady((text) => { this.part("state").textContent = text; }, () => {
        this.part("state").textContent = "";
        this.post("look", {}).then((told) => {
          if (number !== this.number) { return; }
          this.fail(""); this.place.classList.remove("refused");
          this.state = told.state; this.rows = told.record;
          this.show(); this.record();
          this.place.dataset.looked = String(number);
        }).catch((problem) => { if (number === this.number) { this.fail(problem.message); this.place.classList.add("refused"); } });
      });
    }
    buildNeedle() {
      const slider = element("input", { type: "range", id: "speedo-true", min: "0", max: "110", step: "1", value: "80", "aria-label": "true speed" });
      this.dial = element("div", { class: "dial" });
      this.said = element("p", { class: "said-speed", "aria-live": "polite" });
      slider.addEventListener("input", () => { this.truth = Number(slider.value) / 3.6; this.needle(); });
      this.slider = slider;
      this.part("needle").append(this.dial, element("label", { for: slider.id, text: "true speed" }), slider, this.said);
    }
    needle() {
      if (!this.state) { return; }
      if (this.secret !== null) { this.said.textContent = "Hidden while a truck from another workshop is measured."; drawNeedle(this.dial, 0, null); return; }
      const shown = this.truth * this.state.calibration.shown_over_true;
      drawNeedle(this.dial, shown, this.truth);
      this.slider.setAttribute("aria-valuetext", perHour(this.truth));
      this.said.textContent = `True ${perHour(this.truth)}: the needle shows ${perHour(shown)}.`;
    }
    show() {
      const s = this.state, c = s.calibration, v = s.verdict, e = s.effects, run = s.posted_run, verdict = this.part("verdict"), hidden = this.secret !== null;
      verdict.className = "verdict " + (hidden ? "warned" : v.verdict === "pass" ? "good" : "alarm");
      verdict.replaceChildren(element("h2", { text: hidden ? "A truck from another workshop: measure it." : v.verdict === "pass" ? `Pass: shows ${perHour(v.shown_speed_m_s)} at a true ${perHour(v.true_speed_m_s)}`
        : `Fail: shows ${perHour(v.shown_speed_m_s)} at a true ${perHour(v.true_speed_m_s)}` }),
        element("p", { class: "quiet", text: `${s.truck} \u2014 ${v.rule}` }));
      ["pulses", "effects"].forEach((name) => { this.part(name).hidden = hidden; });
      const row = (cells, head) => element("tr", {}, cells.map((text, place) => element(place && !head ? "td" : "th", { scope: head ? "col" : place ? null : "row", class: place ? "number" : null, text })));
      this.part("pulses").replaceChildren(element("table", {}, [element("tbody", {}, [
        row(["tyre, revolutions per mile", c.tyre_revolutions_per_mile.toFixed(1)]), row(["axle ratio", c.axle_ratio.toFixed(2)]), row(["teeth of the tone wheel", String(c.teeth)]),
        row(["pulses per mile, fitted", c.fitted_pulses_per_mile.toFixed(0)]), row(["pulses per mile, told", c.told_pulses_per_mile.toFixed(0)]),
        row(["speed and odometer show", `${e.speed_error_percent >= 0 ? "+" : ""}${e.speed_error_percent.toFixed(2)} %`])])]));
      const us = H.units === "us", fuel = us ? [run.fuel_mpg_us, run.shown_fuel_mpg_us, "mi/gal"] : [run.fuel_l_per_100km, run.shown_fuel_l_per_100km, "L/100 km"];
      const rows = e.true_speed_m_s.map((speed, at) => row([`at ${perHour(speed, 0)} true`, perHour(e.shown_speed_m_s[at])]));
      const more = [["cruise_set", "cruise set to"], ["road_speed_limit", "road-speed limit of"]].filter(([key]) => key + "_true_m_s" in e).map(([key, words]) =>
        row([`${words} ${perHour(e[key + "_shown_m_s"])}`, `true ${perHour(e[key + "_true_m_s"])}`]));
      const posted = [row(["true mean speed", perHour(run.mean_speed_m_s)]), row(["over the posted limit", H.clock(run.time_over_limit_s)]),
        row(["distance driven", H.shown("distance", run.distance_m)]), row(["odometer", H.shown("distance", run.shown_distance_m)]),
        row(["fuel economy, true", `${fuel[0].toFixed(2)} ${fuel[2]}`]), row(["fuel economy, shown", `${fuel[1].toFixed(2)} ${fuel[2]}`])];
      const table = (title, body) => element("div", {}, [element("h3", { text: title }), element("table", {}, [element("tbody", {}, body)])]);
      this.part("effects").replaceChildren(element("div", { class: "three-tables" }, [table("The needle shows", rows),
        table("10 km at a posted 90 km/h, kept to by the needle", posted), ...(more.length ? [table("What follows the needle", more)] : [])]));
      this.needle();
    }
    units() { if (this.state) { this.show(); } this.sumsUnits(); this.drawNow(); if (this.found) { this.showMarked(this.found); } }

    // ------------------------------------------------------------ the mile
    buildMile() {
      const box = this.part("mile_setup");
      const which = element("select", { id: "speedo-which" }, [element("option", { value: "own", text: "this truck" }), element("option", { value: "other", text: "a truck from another workshop" })]);
      const number = element("input", { type: "text", inputmode: "numeric", id: "speedo-number", value: "1", autocomplete: "off" });
      const numberBox = element("span", { hidden: true, class: "with-label" }, [element("label", { for: number.id, text: "number" }), number]);
      which.onchange = () => { numberBox.hidden = which.value !== "other"; };
      const shown = element("select", { id: "speedo-shown" }, [40, 45, 50, 55, 60, 65].map((each) => element("option", { value: String(each), text: `${each} mi/h (${(each * 1.609344).toFixed(0)} km/h)` })));
      shown.value = "60";
      const miles = element("select", { id: "speedo-miles" }, [0.5, 1, 2, 5].map((each) => element("option", { value: String(each), text: `${each} mi (${(each * 1.609344).toFixed(2)} km)` })));
      miles.value = "1";
      const go = element("button", { type: "button", class: "strong", text: "Drive", onclick: () => {
        const text = number.value.trim();
        this.secret = which.value === "other" ? (/^\d{1,9}$/.test(text) ? Number(text) : -1) : null;
        this.asking = { mystery: this.secret, shown_mi_h: Number(shown.value), miles: Number(miles.value) };
        this.found = null; this.part("marked").replaceChildren(); this.second = false;
        if (this.state) { this.show(); }
        this.drive(null);
      } });
      box.append(element("span", { class: "with-label" }, [element("label", { for: which.id, text: "drive" }), which]), numberBox,
        element("span", { class: "with-label" }, [element("label", { for: shown.id, text: "hold the needle at" }), shown]),
        element("span", { class: "with-label" }, [element("label", { for: miles.id, text: "posts apart" }), miles]), go);
      // stopwatch
      this.time = element("b", { class: "watch-time", role: "timer", text: "0.0 s" });
      this.button = element("button", { type: "button", class: "play", text: "Start the watch", onclick: () => this.press() });
      const rate = element("select", { id: "speedo-rate", "aria-label": "how fast to show the drive", onchange: () => { this.rate = Number(rate.value); } },
        this.asked.rates.map((each) => element("option", { value: String(each), text: `${each} times` })));
      rate.value = String(this.rate);
      this.again = element("button", { type: "button", text: "From the start", onclick: () => this.start() });
      this.part("watch").append(this.button, this.time, element("span", { class: "with-label" }, [element("label", { for: rate.id, text: "shown at" }), rate]), this.again,
        element("span", { class: "quiet small", text: "The watch counts the time of the truck. Shown faster, a late press costs more seconds." }));
      // sums
      const fields = [["seconds", "stopwatch", "s"], ["read", "needle, as you read it", "speed"], ["speed", "true speed, by your sum", "speed"], ["pulses", "new pulses per mile, by your sum", "pulses/mi"]];
      this.fields = {};
      const list = element("div", { class: "predict-fields" }, fields.map(([name, words, unit]) => {
        const input = element("input", { type: "text", inputmode: "decimal", id: "speedo-" + name, autocomplete: "off" }), box = element("span", { class: "unit" });
        this.fields[name] = [input, box, unit];
        return element("div", {}, [element("label", { for: input.id, text: words }), element("span", { class: "with-unit" }, [input, box])]);
      }));
      this.toldWords = element("p", { class: "quiet" });
      this.part("sums").append(element("h3", { text: "Your sum" }), this.toldWords, list, element("div", { class: "bar" }, [
        element("button", { type: "button", class: "strong", text: "Enter the number and mark it", onclick: () => this.mark() })]));
      this.sumsUnits();
    }
    sumsUnits() { Object.values(this.fields).forEach(([, box, unit]) => { box.textContent = unit === "speed" ? H.unitOf("speed") : unit; }); }
    drive(entered) {
      this.failMile(""); this.stop();
      H.whenReady((text) => this.failMile(text), () => this.post("mile", { ...this.asking, entered }).then((mile) => {
        this.failMile("");
        this.mile = mile; this.at = 0;
        this.part("watch").hidden = false; this.part("sums").hidden = this.second;
        this.toldWords.textContent = `The posts stand ${(mile.head.length_m / MILE).toFixed(2)} mi (${(mile.head.length_m / 1000).toFixed(3)} km) apart; the controller has been told ${mile.head.told.toFixed(0)} pulses per mile. ` +
          "Speed is distance over time; new pulses are old pulses times needle over true speed.";
        this.start();
        this.button.focus({ preventScroll: true }); // so that Space is the watch at once
        this.part("scene").scrollIntoView({ block: "nearest" });
        this.place.dataset.mile = entered === null ? "first" : "second";
      }).catch((problem) => { this.mile = null; this.failMile(problem.message); }));
    }
    start() {
      if (!this.mile) { return; }
      this.at = 0; this.watch = { on: false, from: 0, time: null }; this.watchShown();
      this.playing = true;
      let before = null;
      const step = (now) => {
        if (!this.playing || !document.body.contains(this.place)) { this.playing = false; return; }
        const end = this.mile.columns.time_s[this.mile.columns.time_s.length - 1];
        if (before !== null) { this.at = Math.min(this.at + Math.min(now - before, 250) / 1000 * this.rate, end); }
        before = now;
        this.scene(); this.watchShown();
        if (this.at >= end) { this.playing = false; if (this.watch.on) { this.press(); } } else { window.requestAnimationFrame(step); }
      };
      window.requestAnimationFrame(step);
    }
    stop() { this.playing = false; }
    press() {
      if (!this.mile) { return; }
      if (!this.watch.on) { this.watch = { on: true, from: this.at, time: null }; }
      else {
        this.watch = { on: false, from: 0, time: this.at - this.watch.from };
        if (!this.second) { this.fields.seconds[0].value = this.watch.time.toFixed(1); }
      }
      this.watchShown();
    }
    watchShown() {
      const time = this.watch.on ? this.at - this.watch.from : this.watch.time || 0, text = `${time.toFixed(1)} s`;
      if (this.time.textContent !== text) { this.time.textContent = text; }
      const words = this.watch.on ? "Stop the watch" : "Start the watch";
      if (this.button.textContent !== words) { this.button.textContent = words; }
    }
    value(name) {
      const time = this.mile.columns.time_s, values = this.mile.columns[name];
      const low = H.lastAt(time, this.at);
      if (low + 1 >= time.length) { return values[low]; }
      return values[low] + (values[low + 1] - values[low]) * (this.at - time[low]) / (time[low + 1] - time[low]);
    }
    // the road beside which the student stands: the truck in the middle, posts coming by
    scene() {
      const place = this.part("scene"), width = Math.max(place.clientWidth, 200), road = this.roadBox || (this.roadBox = place.appendChild(element("div", {}))), dial = this.mileDial || (this.mileDial = place.appendChild(element("div", { class: "dial" })));
      const pen = canvasOn(road, width, 150), along = this.value("distance_m"), scale = width / 300, centre = width * 0.4; // 300 m of road in sight
      pen.fillStyle = "#dfe8ee"; pen.fillRect(0, 0, width, 150); pen.fillStyle = "#5a6976"; pen.fillRect(0, 104, width, 46);
      pen.fillStyle = "#fff";
      for (let line = Math.floor((along - 200) / 12) * 12; line < along + 260; line += 12) { pen.fillRect(centre + (line - along) * scale, 125, 5 * scale, 3); }
      [0, this.mile.head.length_m].forEach((post, at) => {
        const px = centre + (post - along) * scale;
        if (px < -60 || px > width + 60) { return; }
        pen.fillStyle = INK; pen.fillRect(px - 3, 26, 6, 80); pen.fillStyle = "#fff"; pen.strokeStyle = INK; pen.lineWidth = 2;
        pen.fillRect(px - 34, 14, 68, 26); pen.strokeRect(px - 34, 14, 68, 26); pen.fillStyle = INK; pen.font = "600 14px system-ui, sans-serif"; pen.textAlign = "center"; pen.textBaseline = "middle"; pen.fillText(at ? "post 2" : "post 1", px, 28);
      });
      // the bumper is at the centre
      const long = 20 * scale;
      pen.fillStyle = "#10212e"; pen.fillRect(centre - long, 62, long * 0.74, 46); pen.fillRect(centre - long * 0.23, 74, long * 0.23, 34); pen.fillStyle = "#7cc7ff"; pen.fillRect(centre - long * 0.1, 78, long * 0.08, 12);
      pen.fillStyle = INK; [0.9, 0.75, 0.3, 0.08].forEach((share) => { pen.beginPath(); pen.arc(centre - long * share, 110, Math.max(4, 0.5 * scale), 0, 7); pen.fill(); });
      pen.strokeStyle = "#d55e00"; pen.lineWidth = 2; pen.beginPath(); pen.moveTo(centre, 44); pen.lineTo(centre, 112); pen.stroke();
      drawNeedle(dial, this.value("indicated_speed_m_s"), null);
    }
    drawNow() { this.needle(); if (this.mile) { this.scene(); } }
    mark() {
      const number = (name) => this.fields[name][0].value.trim().replace(",", "."), factor = H.units === "us" ? 1.609344 : 1;
      const speed = (name) => { const text = number(name), value = Number(text); return text && isFinite(value) ? value * factor : text; };
      this.failMile("");
      this.entries = { seconds: number("seconds"), read_km_h: speed("read"), speed_km_h: speed("speed"), pulses: number("pulses") };
      this.post("mark", { ...this.asking, entries: this.entries }).then((found) => {
        this.found = found; this.secret = null; this.second = true;
        if (this.state) { this.show(); }
        this.showMarked(found);
        this.drive(Number(this.entries.pulses));
      }).catch((problem) => this.failMile(problem.message));
    }
    showMarked(found) {
      const shown = (value, unit) => (unit === "km/h" ? perHour(value / 3.6, 2) : `${value.toFixed(unit === "s" ? 1 : 0)} ${unit}`);
      const before = found.before, after = found.after;
      const state = (words, s) => [words, `${s.calibration.told_pulses_per_mile.toFixed(0)}`, perHour(s.verdict.shown_speed_m_s), s.verdict.verdict, `${s.effects.speed_error_percent >= 0 ? "+" : ""}${s.effects.speed_error_percent.toFixed(2)} %`, H.clock(s.posted_run.time_over_limit_s)];
      const table = (heads, rows) => element("div", { class: "wide" }, [element("table", {}, [element("thead", {}, [element("tr", {}, heads.map((text) => element("th", { scope: "col", text })))]),
        element("tbody", {}, rows.map((row) => element("tr", {}, row.map((text, place) => element(place ? "td" : "th", { scope: place ? null : "row", text })))))])]);
      this.part("marked").replaceChildren(element("h3", { text: "Predicted against measured" }),
        table(["step", "yours", "right", "within"], found.steps.map((step) => [step.name, shown(step.entered, step.unit), shown(step.right, step.unit), (step.within ? "\u2713 within " : "\u2717 outside ") + shown(step.tolerance, step.unit)])),
        element("div", { class: "score" }, [element("b", { text: `${found.score} of 4` }), element("span", { text: found.score_words })]),
        ...(found.cause ? [element("p", {}, [element("b", { text: "What had happened: " }), found.cause + "."])] : []),
        table(["", "told, pulses/mi", `at a true ${perHour(before.verdict.true_speed_m_s, 0)}`, "49 CFR 393.82", "speed off", "over a posted 90 km/h"], [state("as found", before), state("with your number", after)]),
        element("p", { class: "quiet", text: "The truck drives the mile again, above, with your number: look at the needle and time it once more." }),
        element("div", { class: "bar" }, [element("button", { type: "button", text: "Lab sheet, to print", onclick: () => this.sheet() }), element("span", { class: "quiet small", "data-told": "" })]));
    }
    sheet() {
      this.post("sheet", { ...this.asking, entries: this.entries }).then((told) => {
        H.save(told.sheet, "measured-mile-sheet.html");
        this.part("marked").querySelector("[data-told]").textContent = "Saved as measured-mile-sheet.html: open it and print.";
      }).catch((problem) => this.failMile(problem.message));
    }

    // ------------------------------------------------------------ the record
    buildRecord() {
      const find = element("input", { type: "search", id: "speedo-find", autocomplete: "off", "aria-label": "find a setting" });
      const only = element("input", { type: "checkbox", id: "speedo-only" });
      find.addEventListener("input", () => this.record()); only.addEventListener("change", () => this.record());
      this.part("find").append(find); this.part("only").append(only, element("label", { for: only.id, text: " only what has changed" }));
      this.find = find; this.only = only;
    }
    record() {
      if (!this.rows) { return; }
      const word = this.find.value.trim().toLowerCase(), text = (value) => (typeof value === "boolean" ? String(value) : Array.isArray(value) ? value.join(", ") || "none" : String(value));
      const rows = this.rows.filter((row) => (!this.only.checked || row[6]) && (!word || (row[0] + " " + row[5]).toLowerCase().includes(word)));
      const changed = this.rows.filter((row) => row[6]).length;
      this.part("record").replaceChildren(element("p", { class: "quiet", role: "status", text: `${changed} of ${this.rows.length} changed; ${rows.length} shown.` }),
        ...(rows.length ? [element("table", {}, [element("thead", {}, [element("tr", {}, ["value", "before", "after", "unit", "allowed", "meaning"].map((head) => element("th", { scope: "col", text: head })))]),
          element("tbody", {}, rows.map((row) => element("tr", { class: row[6] ? "changed-row" : null }, [element("th", { scope: "row", text: row[0] }), element("td", { class: "number", text: text(row[1]) }),
            element("td", { class: "number", text: (row[6] ? "\u2192 " : "") + text(row[2]) }), element("td", { text: row[3] }), element("td", { text: row[4] }), element("td", { text: row[5] })])))])]
          : [element("p", { text: changed || word ? "No setting fits." : "Nothing has changed yet: change a value on the left." })]));
    }
  }

  H.whenThere("data-speedo", (place) => { place.speedo = new Speedo(place); });
})();
