/* The Trip page: asks for a trip when the setup changes, and from then on works from the columns it was sent.
   The latest question wins; an older result stays in sight, greyed, until the new one is there. */
"use strict";
(function () {
  const H = window.haulbench, element = H.element;
  const PREDICTED = [
    ["max_speed_m_s", "highest speed", "speed", 0], ["max_engine_speed_rpm", "highest engine speed", "plain", 0, "rpm"],
    ["max_brake_temperature_c", "hottest mean of the brakes", "temperature", 0],
    ["service_brake_applications", "times on the service brakes", "plain", 0, ""],
    ["time_s", "time", "minutes", 1], ["fuel", "fuel", "economy", 1],
  ];
  const ENDS = { "": "say nothing", arrived: "arrives", runaway: "runs away", stalled: "stalls", time_limit: "runs out of time" };

  const STEPS = new Set(["gear", "brake_stage", "stage_requested", "stage_reason", "speed_limit_m_s", "set_speed_m_s", "active_cylinders",
    "fan_on", "clutch_locked", "fuel_cut", "wheel_slip"]);

  class Trip {
    constructor(place) {
      this.place = place;
      this.look = JSON.parse(place.dataset.trip);
      this.part = (name) => place.querySelector(`[data-part="${name}"]`);
      this.trip = null; this.kept = null; this.setup = null; this.asked = 0; this.time = 0; this.playing = false; this.rate = 10;
      this.prediction = this.recall();
      this.strips = new H.draw.Strips(this.part("strips"), this.look, (distance, pressed) => {
        if (!this.playing || pressed) { this.goTo(distance); }
      }, () => this.zoomed());
      this.chart = new H.draw.Chart(this.part("chart"), this.look);
      this.buildDrive(); this.buildPredict(); this.buildBalance(); this.buildCylinders();
      this.circuits = new H.Circuits(this.part("circuits"), { page: "trip", fail: (text) => this.fail(text), going: () => {},
        panel: () => { const box = place.querySelector("[data-panel]"); return box ? box.panel : null; },
        here: () => `${this.trip ? (this.value("distance_m") / 1000).toFixed(2) : "0"} km` });
      this.part("keep").onclick = () => this.keep();
      this.part("release").onclick = () => { this.kept = null; this.render(); };
      this.part("link").onclick = () => H.copyLink(this.part("link_text"), "Copied: it reopens exactly this setup.");
      this.part("zoom_in").onclick = () => this.closer();
      this.part("zoom_out").onclick = () => { if (this.trip) { this.strips.zoom(...this.strips.whole); } };
      place.addEventListener("haulbench:setup", (event) => { this.setup = event.detail.setup; this.changed(); });
      H.onUnits(() => { if (this.trip) { this.render(); } this.predictUnits(); });
      document.addEventListener("keydown", (event) => {
        if (event.key === " " && document.body.contains(place) && !event.target.closest("input, select, button, summary, a, textarea")) {
          event.preventDefault(); this.toggle();
        }
      });
      const panel = place.querySelector("[data-panel]");
      if (panel && panel.panel && panel.panel.described) { this.setup = panel.panel.setup; this.changed(); }
    }

    // ------------------------------------------------------------ asking
    changed() {
      this.files();
      if (this.prediction.hold && !this.released) { this.foretell(); return; }
      this.released = false;
      this.drive();
    }
    say(text) { const state = this.part("state"); state.textContent = text; state.hidden = !text; }
    fail(text) { const box = this.part("error"); box.textContent = text; box.hidden = !text; }
    busy(on) {
      this.place.classList.toggle("busy", on);
      this.place.querySelector(".trip-main").setAttribute("aria-busy", String(on));
      window.clearTimeout(this.slow);
      if (on) { this.slow = window.setTimeout(() => this.say(this.trip ? "Driving the changed trip ..." : "Driving the trip ..."), 350); }
      else if (this.ready) { this.say(""); }
    }
    post(path, body, signal) {
      return fetch(path, { method: "POST", credentials: "same-origin", headers: { "Content-Type": "application/json" },
        body: JSON.stringify(body), signal }).catch((problem) => {
        throw problem.name === "AbortError" ? problem : new Error("The server does not answer. Is it still running?");
      });
    }
    drive() {
      if (!this.ready) {
        this.busy(true);
        if (this.preparing) { return; } // the newest setup is driven as soon as the workers are there
        this.preparing = true;
        H.whenReady((text) => { window.clearTimeout(this.slow); this.say(text); }, () => { this.ready = true; this.drive(); });
        return;
      }
      if (this.stopper) { this.stopper.abort(); }
      const stopper = this.stopper = new AbortController(), number = this.asked += 1;
      this.waiting(false);
      this.busy(true);
      const have = this.trip ? this.trip.head.key : undefined;
      this.post("/trip/drive", { setup: this.setup, have }, stopper.signal).then(async (answer) => {
        if (number !== this.asked) { return; }
        if ((answer.headers.get("Content-Type") || "").startsWith("application/json")) {
          const told = await answer.json();
          if (told.same) {
            this.place.classList.remove("refused");
            this.busy(false); this.fail(""); this.say("Nothing changed: the trip is the same as before.");
            return;
          }
          throw new Error(told.message);
        }
        const trip = H.unpack(await answer.arrayBuffer());
        if (number !== this.asked) { return; }
        this.busy(false); this.fail("");
        this.take(trip);
      }).catch((problem) => {
        if (problem.name === "AbortError" || number !== this.asked) { return; }
        this.busy(false);
        this.place.classList.add("refused");
        this.fail(problem.message);
        if (this.trip) { this.say("What is shown below, in grey, is the trip before this change."); }
      });
    }
    foretell() {
      this.waiting(true);
      const number = this.asked += 1;
      this.post("/trip/foretell", { setup: this.setup }).then((answer) => answer.json()).then((told) => {
        if (number !== this.asked) { return; }
        this.fail(told.message || "");
        if (told.foreseen) { this.foreseen(told.foreseen); }
      }).catch((problem) => this.fail(problem.message));
    }
    waiting(on) {
      this.place.classList.toggle("waiting-to-drive", on);
      this.driveButton.hidden = !this.prediction.hold;
      this.say(on ? "Not driven yet: write what you expect, then press Drive." : "");
    }
    files() {
      const query = window.location.search;
      this.place.querySelectorAll("[data-file]").forEach((link) => { link.href = "/trip/" + link.dataset.file + query; });
    }

    // ------------------------------------------------------------ a trip has come
    take(trip) {
      const before = this.trip, at = before ? this.value("distance_m") : null;
      this.trip = trip;
      this.place.classList.remove("refused");
      this.stop();
      this.time = 0;
      if (at !== null && before.head.route === trip.head.route) { this.time = this.timeAt(at); }
      else { this.time = this.timeAt(0.25 * trip.head.length_m); }
      this.render();
      this.place.dataset.driven = String(this.asked);
    }
    render() {
      if (!this.trip) { return; }
      const head = this.trip.head;
      const verdict = this.part("verdict");
      const worst = head.lamps.some((lamp) => lamp.state === "alarm") ? "alarm" : head.lamps.some((lamp) => lamp.state === "warned") ||
        head.warnings.length || head.codes.length ? "warned" : "good";
      verdict.className = "verdict " + worst;
      const warnings = head.warnings.filter((text) => !head.verdict.includes(text) &&
        !(text.startsWith("brakes passed the published limit") && head.verdict.includes("past the published limit")));
      verdict.replaceChildren(element("h2", { text: this.inUnits(head.verdict) }),
        element("p", { class: "quiet", text: head.truck + " \u2014 " + head.route }),
        ...[...warnings.map((text) => ["warning", text]), ...head.controller.map((text) => ["fault", text]), ...head.explanations.map((text) => ["why", text])].map(([word, text]) =>
          element("p", { class: "said " + word }, [element("b", { text: word + ": " }), this.inUnits(text)])));
      this.circuits.meters(head.meters); this.circuits.shown();
      this.codeBoxes = null; this.part("lamp_box").hidden = !head.codes.length;
      this.part("lamps").replaceChildren(...head.lamps.map((lamp) => element("li", { class: "lamp " + lamp.state }, [
        element("span", { class: "sign", "aria-hidden": "true", text: lamp.state === "good" ? "\u2713" : "!" }),
        element("span", { class: "unseen", text: lamp.state === "good" ? "good: " : lamp.state + ": " }),
        element("b", { text: lamp.name }), element("span", { class: "words", text: H.units === "us" ? lamp.us : lamp.metric })])));
      this.foreseen(head.foreseen);
      this.part("keep").disabled = false;
      this.part("keep").textContent = this.kept ? "Keep this run instead" : "Keep this run";
      this.part("release").hidden = !this.kept;
      this.numbers(); this.events(); this.predicted();
      const scrub = this.scrub, end = this.trip.columns.distance_m[this.trip.columns.distance_m.length - 1];
      scrub.max = String(Math.max(end, 1)); scrub.step = String(Math.max(Math.round(end / 1000), 1));
      this.scale = Math.max(...["drive_force_n", "grade_force_n"].map((name) =>
        this.trip.columns[name].reduce((most, each) => Math.max(most, Math.abs(each)), 1)));
      this.strips.show(this.trip, this.kept);
      this.chart.show(this.trip);
      this.zoomed();
      this.show();
    }
    // temperatures and speeds in a sentence of the model, in the units chosen
    inUnits(text) {
      if (H.units !== "us") { return text; }
      return text.replace(/(-?\d+(?:\.\d+)?) C \((-?\d+) F\)/g, "$2 F").replace(/(-?\d+(?:\.\d+)?) km\/h/g, (all, value) =>
        (value / 1.609344).toFixed(1) + " mi/h").replace(/(-?\d+(?:\.\d+)?) C\b/g, (all, value) => (value * 1.8 + 32).toFixed(0) + " F")
        .replace(/(-?\d+(?:\.\d+)?) km\b(?!\/)/g, (all, value) => (value / 1.609344).toFixed(1) + " mi");
    }
    foreseen(sentences) {
      const box = this.part("foreseen");
      box.replaceChildren();
      if (!sentences.length) { return; }
      box.append(element("h3", { text: "Before the run: what will happen" }),
        element("ul", {}, sentences.map((text) => element("li", { text: this.inUnits(text) }))));
    }

    // ------------------------------------------------------------ the cursor
    timeAt(distance) {
      const along = this.trip.columns.distance_m, time = this.trip.columns.time_s;
      let low = 0, high = along.length - 1;
      while (low < high) { const middle = (low + high) >> 1; if (along[middle] < distance) { low = middle + 1; } else { high = middle; } }
      if (!low) { return time[0]; }
      const span = along[low] - along[low - 1], share = span > 0 ? (distance - along[low - 1]) / span : 1;
      return time[low - 1] + Math.min(Math.max(share, 0), 1) * (time[low] - time[low - 1]);
    }
    row() {
      const time = this.trip.columns.time_s;
      return H.lastAt(time, this.time);
    }
    value(name) {
      const values = this.trip.columns[name], row = this.row();
      if (STEPS.has(name) || row + 1 >= values.length) { return values[row]; }
      const time = this.trip.columns.time_s, span = time[row + 1] - time[row];
      const share = span > 0 ? Math.min(Math.max((this.time - time[row]) / span, 0), 1) : 0;
      return values[row] + share * (values[row + 1] - values[row]);
    }
    goTo(distance) { if (this.trip) { this.time = this.timeAt(distance); this.show(); } }

    show() {
      if (!this.trip) { return; }
      const v = (name) => this.value(name), set = (name, text) => {
        const part = this.part(name);
        if (part.textContent !== text) { part.textContent = text; }
      };
      const distance = v("distance_m"), speed = v("speed_m_s"), gear = Math.round(v("gear")), stage = Math.round(v("brake_stage"));
      const limit = v("speed_limit_m_s"), chosen = v("set_speed_m_s"), rpm = v("engine_speed_rpm"), warm = v("brake_temperature_c");
      const about = this.trip.head.about;
      this.strips.cursor({ distance, value: v });
      this.chart.cursor({ value: v });
      set("speed", H.inUnits("speed", speed).toFixed(0)); set("speed_unit", H.unitOf("speed"));
      set("speed_more", `limit ${H.inUnits("speed", limit).toFixed(0)}` + (chosen > 0 ? `, set ${H.inUnits("speed", chosen).toFixed(0)}` : ""));
      set("engine", (Math.round(rpm / 10) * 10).toFixed(0)); set("engine_unit", "rpm");
      set("engine_more", rpm > about.governed_rpm + 1 ? "above governed" : rpm >= 1750 && rpm <= 2100 && stage ? "best for retarding" : v("fuel_cut") > 0.5 ? "no fuel" : `${v("accelerator_percent").toFixed(0)} % pedal`);
      set("gear", gear ? String(gear) : "N"); set("gear_more", v("clutch_locked") > 0.5 ? "clutch in" : gear ? "clutch open" : "neutral");
      set("stage", stage ? String(stage) : "off"); set("stage_more", `${H.shown("power", v("engine_brake_power_kw"))}`);
      set("brakes", H.inUnits("temperature", warm).toFixed(0)); set("brakes_unit", H.unitOf("temperature"));
      set("brakes_more", v("brake_pressure_bar") > 0.02 ? "pressed" : "released");
      const grade = v("grade_percent");
      set("grade", (grade > -0.05 && grade < 0.05 ? 0 : grade).toFixed(1)); set("grade_more", grade < -0.05 ? "down" : grade > 0.05 ? "up" : "level");
      set("place", H.inUnits("distance", distance).toFixed(distance > 99500 ? 1 : 2)); set("place_unit", H.unitOf("distance"));
      set("place_more", H.clock(this.time));
      const cluster = this.place.querySelector(".cluster");
      cluster.classList.toggle("over-speed", speed > limit + 1 / 3.6);
      cluster.classList.toggle("over-engine", rpm > about.governed_rpm + 1);
      cluster.classList.toggle("over-brakes", warm > 260);
      if (document.activeElement !== this.scrub || this.playing || Math.abs(Number(this.scrub.value) - distance) > 2 * Number(this.scrub.step)) {
        this.scrub.value = String(distance);
      }
      this.scrub.setAttribute("aria-valuetext", `${H.shown("distance", distance)}, ${H.shown("speed", speed)}, gear ${gear || "neutral"}, stage ${stage || "off"}`);
      this.balance(v, speed); this.brake(v, stage, gear, rpm); this.codes(set);
      this.circuits.cursor((name) => this.metered(name));
      const words = this.chart.words();
      if (this.part("chart_words").textContent !== words) { this.part("chart_words").textContent = words; }
    }

    // of a meter, whose readings have times of their own
    metered(name) {
      const time = this.trip.columns["meters:time_s"], values = this.trip.columns["meters:" + name];
      if (!time || !values) { return NaN; }
      return values[H.lastAt(time, this.time + 1e-3)];
    }
    codes(set) {
      const all = this.trip.head.codes, now = H.codesAt(all, this.time), lit = now.filter((each) => each.active).map((each) => each.code.lamp);
      const lamp = lit.includes("red") ? "red" : lit.includes("amber") ? "amber" : "off", box = this.part("lamp_box");
      if (box.dataset.lamp !== lamp) { box.dataset.lamp = lamp; }
      set("lamp", lamp); set("lamp_more", lit.length ? `${lit.length} active` : now.length ? "earlier codes" : "no code yet");
      const words = all.length ? now.map((each) => H.codeText(each.code, each.count, each.active)).join("\n") || "No code has been set up to here." : "Nothing is broken: no code in this trip.";
      if (this.codeBoxes === words) { return; }
      this.codeBoxes = words;
      const frame = (code) => Object.entries(code.frame).filter(([key]) => key !== "time_s").map(([key, value]) => {
        const kind = { distance_m: "distance", indicated_speed_m_s: "speed", boost_kpa: "pressure", oil_pressure_kpa: "pressure", coolant_temperature_c: "temperature" }[key];
        const name = key.replace(/_(m_s|m|kpa|c|rpm|percent)$/, "").replace(/_/g, " ");
        return `${name} ${kind ? H.shown(kind, value) : value.toFixed(0) + (key.endsWith("_rpm") ? " rpm" : key.endsWith("_percent") ? " %" : "")}`;
      }).join(", ");
      this.part("codes").replaceChildren(...(now.length ? [element("ul", { class: "dialled" }, now.map((each) => element("li", { class: each.active ? "active" : null }, [
        H.codeText(each.code, each.count, each.active), element("details", {}, [element("summary", { text: "freeze frame" }), element("span", { class: "quiet", text: frame(each.code) })])])))]
        : [element("p", { class: "quiet small", text: words })]));
    }

    buildBalance() {
      const names = [["grade", "grade"], ["engine", "engine"], ["air", "air"], ["tyres", "tyres"], ["brakes", "service brakes"]];
      this.bars = {};
      names.forEach(([name, label]) => {
        const bar = element("span", { class: "bar-fill" }), value = element("span", { class: "bar-value" });
        this.part("balance").append(element("div", { class: "balance-row " + name }, [
          element("span", { class: "bar-label", text: label }), element("span", { class: "bar-track", "aria-hidden": "true" }, [bar]), value]));
        this.bars[name] = [bar, value];
      });
    }
    balance(v, speed) {
      const braking = speed > 0.3 ? 1000 * v("service_brake_power_kw") / speed : 0;
      const forces = { grade: -v("grade_force_n"), engine: v("drive_force_n"), air: -v("aero_force_n"), tyres: -v("rolling_force_n"), brakes: -braking };
      const power = (force) => Math.abs(force * speed) / 1000, both = (force) => `${power(force).toFixed(0)} kW (${(power(force) / 0.7456998715822702).toFixed(0)} hp)`;
      Object.entries(forces).forEach(([name, force]) => {
        const [bar, value] = this.bars[name], share = Math.min(Math.abs(force) / this.scale, 1) * 50;
        bar.style.width = share.toFixed(2) + "%";
        bar.style.left = (force >= 0 ? 50 : 50 - share).toFixed(2) + "%";
        bar.className = "bar-fill " + (force >= 0 ? "pushes" : "holds");
        const word = Math.abs(force) < 20 ? "nothing" : force > 0 ? "pushes" : "holds";
        const text = Math.abs(force) < 20 ? "\u2013" : `${word} ${H.shown("force", Math.abs(force))}, ${both(force)}`;
        if (value.textContent !== text) { value.textContent = text; }
      });
      const net = Object.values(forces).reduce((sum, each) => sum + each, 0), names = { grade: "the grade", engine: "the engine", air: "the air", tyres: "the tyres", brakes: "the service brakes" };
      const list = (wanted) => Object.entries(forces).filter(([, force]) => wanted * force > 20).sort((a, b) => Math.abs(b[1]) - Math.abs(a[1])).map(([name]) => names[name]);
      const join = (words) => words.length > 1 ? words.slice(0, -1).join(", ") + " and " + words[words.length - 1] : words[0];
      const push = list(1), hold = list(-1);
      let text = speed < 0.1 ? "The truck stands." : `${push.length ? join(push)[0].toUpperCase() + join(push).slice(1) + (push.length > 1 ? " push" : " pushes") : "Nothing pushes"}; ` +
        `${hold.length ? join(hold) + (hold.length > 1 ? " hold" : " holds") + " back" : "nothing holds back"}. ` +
        (Math.abs(net) < 0.004 * this.trip.head.about.mass_kg * 2.5 ? "They balance: the speed stays." : net > 0 ? `The push is larger by ${H.shown("force", net)}: the truck gains speed.` : `The hold is larger by ${H.shown("force", -net)}: the truck slows.`);
      const box = this.part("balance_words");
      if (box.textContent !== text) { box.textContent = text; }
    }

    buildCylinders() {
      this.lights = {};
      ["front", "middle", "rear"].forEach((pair) => {
        const lights = [0, 1].map(() => element("span", { class: "cylinder" }));
        const words = element("span", { class: "pair-words", text: pair });
        this.part("cylinders").append(element("div", { class: "pair-box" }, [element("div", { class: "pair-lights", "aria-hidden": "true" }, lights), words]));
        this.lights[pair] = [lights, words];
      });
      this.conditions = {};
      ["switch", "foot", "fuel", "clutch", "gear", "speed", "oil", "slip"].forEach((name) => {
        const sign = element("span", { class: "sign", "aria-hidden": "true" }), words = element("span", {});
        const made = element("li", {}, [sign, words]);
        this.part("conditions").append(made);
        this.conditions[name] = [made, sign, words];
      });
    }
    brake(v, stage, gear, rpm) {
      const head = this.trip.head, about = head.about, working = v("active_cylinders") > 0.5 ? about.stages[stage] || [] : [];
      Object.entries(this.lights).forEach(([pair, [lights, words]]) => {
        const dead = about.dead_pairs.includes(pair), on = working.includes(pair);
        const state = on && dead ? "dead" : on ? "on" : "";
        lights.forEach((light) => { if (light.dataset.state !== state) { light.dataset.state = state; } });
        const text = pair + (on ? dead ? " dead" : " works" : "");
        if (words.textContent !== text) { words.textContent = text; }
      });
      const reason = head.reasons[Math.round(v("stage_reason"))] || "nothing asked for it", asked = Math.round(v("stage_requested"));
      const text = (stage ? `Stage ${stage} works: ${reason}.` : `No stage works: ${reason}.`) + (asked !== stage ? ` Asked for: ${asked ? "stage " + asked : "none"}; the pairs follow after their delay.` : "");
      if (this.part("stage_words").textContent !== text) { this.part("stage_words").textContent = text; }
      const pedal = v("accelerator_percent"), oil = v("oil_temperature_c");
      const found = {
        switch: [about.switch, about.switch ? `switch on, up to ${about.selector}` : "switch off"],
        foot: [pedal < 0.5, pedal < 0.5 ? "accelerator released" : `accelerator ${pedal.toFixed(0)} %`],
        fuel: [v("fuel_cut") > 0.5, v("fuel_cut") > 0.5 ? "no fuel" : "fuel burning"],
        clutch: [v("clutch_locked") > 0.5, v("clutch_locked") > 0.5 ? "clutch engaged" : "clutch open"],
        gear: [gear > 0, gear > 0 ? `gear ${gear} engaged` : "neutral"],
        speed: [rpm > (stage ? about.off_rpm : about.on_rpm), `${(Math.round(rpm / 10) * 10).toFixed(0)} rpm, ${stage ? "off below " + about.off_rpm.toFixed(0) : "on above " + about.on_rpm.toFixed(0)}`],
        oil: [oil >= about.least_oil_c, `oil ${H.shown("temperature", oil)}` + (oil >= about.least_oil_c ? "" : `, needs ${H.shown("temperature", about.least_oil_c)}`)],
        slip: [v("wheel_slip") < 0.5, v("wheel_slip") < 0.5 ? `grip ${(100 * v("wheel_utilisation") / about.grip).toFixed(0)} % used` : "wheels slipping"],
      };
      Object.entries(found).forEach(([name, [good, words]]) => {
        const [made, sign, box] = this.conditions[name];
        made.className = good ? "lets" : "stops";
        sign.textContent = good ? "\u2713" : "\u2717";
        if (box.textContent !== words) { box.textContent = words; }
      });
    }

    // ------------------------------------------------------------ playing
    buildDrive() {
      const rates = JSON.parse(this.place.querySelector("[data-rates]").dataset.rates);
      const select = element("select", { id: "trip-rate", "aria-label": "How fast to play", onchange: () => { this.rate = Number(select.value); } });
      rates.forEach((rate) => select.append(element("option", { value: rate, text: rate + " times" })));
      select.value = String(this.rate);
      this.part("rate").append(select);
      this.scrub = element("input", { type: "range", min: "0", max: "1", value: "0", id: "trip-scrub", "aria-label": "Place along the road" });
      this.scrub.addEventListener("input", () => this.goTo(Number(this.scrub.value)));
      this.part("scrub_place").append(this.scrub);
      this.part("play").onclick = () => this.toggle();
      const large = this.part("class_view");
      large.onclick = () => {
        const on = document.body.classList.toggle("class-view");
        large.setAttribute("aria-pressed", String(on));
        large.textContent = on ? "Usual view" : "Class view";
      };
    }
    toggle() { if (this.playing) { this.stop(); } else { this.start(); } }
    start() {
      if (!this.trip) { return; }
      const time = this.trip.columns.time_s, end = time[time.length - 1];
      if (this.time >= end - 0.05) { this.time = 0; }
      this.playing = true;
      this.part("play").textContent = "Pause"; this.part("play").setAttribute("aria-label", "Pause");
      this.place.classList.add("playing");
      let before = null;
      const step = (now) => {
        if (!this.playing) { return; }
        if (!document.body.contains(this.place)) { this.playing = false; return; }
        if (before !== null) { this.time = Math.min(this.time + Math.min(now - before, 250) / 1000 * this.rate, end); }
        before = now;
        this.follow();
        this.show();
        if (this.time >= end) { this.stop(); } else { window.requestAnimationFrame(step); }
      };
      window.requestAnimationFrame(step);
    }
    // the part of the road in sight goes along with a truck that leaves it
    follow() {
      if (!this.strips.zoomedIn) { return; }
      const at = this.value("distance_m"), [from, to] = this.strips.ends;
      if (at > to || at < from) { this.strips.zoom(at, at + to - from); }
    }
    stop() {
      this.playing = false;
      this.place.classList.remove("playing");
      this.part("play").textContent = "Play"; this.part("play").setAttribute("aria-label", "Play the trip");
    }
    closer() {
      if (!this.trip) { return; }
      const at = this.value("distance_m"), [from, to] = this.strips.ends, half = (to - from) / 4;
      const middle = Math.min(Math.max(at, from + half), to - half);
      this.strips.zoom(middle - half, middle + half);
    }
    zoomed() {
      const [from, to] = this.strips.ends;
      this.part("zoom_out").disabled = !this.strips.zoomedIn;
      this.part("zoom_words").textContent = this.strips.zoomedIn ? `${H.shown("distance", from)} to ${H.shown("distance", to)}` : "drag sideways to look closer";
    }

    // ------------------------------------------------------------ keeping, linking, numbers, events
    keep() { if (this.trip) { this.kept = this.trip; this.render(); this.part("link_text").textContent = "Kept: the next run is drawn over it."; } }
    numbers() {
      const rows = this.trip.head.numbers, kept = this.kept && this.kept !== this.trip ? this.kept.head.numbers : null, at = H.units === "us" ? 2 : 1;
      const bare = (text) => text.replace(/ \[\d\]/g, "");
      const head = element("tr", {}, ["", "this run", ...(kept ? ["kept run"] : [])].map((text, place) =>
        element("th", { scope: "col", text, class: place ? "number" : null })));
      if (!rows.length) { return; }
      head.firstChild.append(element("span", { class: "unseen", text: "quantity" }));
      this.part("numbers").replaceChildren(element("table", {}, [element("thead", {}, [head]), element("tbody", {}, rows.map((row, place) => {
        const other = kept ? (kept.find((each) => each[0] === row[0]) || ["", "-", "-"])[at] : null;
        return element("tr", { class: kept && other !== row[at] ? "differs" : null }, [
          element("th", { scope: "row", text: bare(row[0]) }), element("td", { class: "number", text: row[at] }),
          kept ? element("td", { class: "number", text: other }) : null]);
      }))]));
    }
    events() {
      const head = this.trip.head, box = this.part("events");
      const rows = head.events.map((event) => element("tr", {}, [
        element("td", {}, [element("button", { type: "button", class: "plain", text: H.shown("distance", event[1]),
          title: "show this place", onclick: () => { this.stop(); this.time = event[0]; this.show(); } })]),
        element("td", { class: "number", text: H.clock(event[0]) }), element("td", { text: event[2] }), element("td", { class: "word", text: this.inUnits(event[3]) }),
        element("td", { class: "number", text: event[4] })]));
      const more = head.all_events > head.events.length ? element("p", { class: "quiet", text: `The first ${head.events.length} of ${head.all_events}; events.csv has all.` }) : null;
      box.replaceChildren(...(more ? [more] : []), element("div", { class: "wide", tabindex: "0", role: "region", "aria-label": "Events" }, [element("table", {}, [
        element("thead", {}, [element("tr", {}, ["place", "time", "event", "reason", "value"].map((text, place) =>
          element("th", { scope: "col", text, class: place === 1 || place === 4 ? "number" : null })))]), element("tbody", {}, rows)])]));
    }

    // ------------------------------------------------------------ predicting
    recall() {
      try { return { hold: false, values: {}, end: "", ...JSON.parse(window.sessionStorage.getItem("haulbench-prediction") || "{}") }; }
      catch (problem) { return { hold: false, values: {}, end: "" }; }
    }
    remember() {
      try { window.sessionStorage.setItem("haulbench-prediction", JSON.stringify(this.prediction)); } catch (problem) { /* not kept */ }
      this.predicted();
    }
    // [to what is shown, back, unit]
    way(kind, unit) {
      if (kind === "minutes") { return [(value) => value / 60, (value) => value * 60, "min"]; }
      if (kind === "economy") { return [(value) => value, (value) => value, H.units === "us" ? "mi/gal" : "L/100 km"]; }
      const how = H.KINDS[kind][H.units];
      return [(value) => value * how[0] + (how[3] || 0), (value) => (value - (how[3] || 0)) / how[0], unit === undefined ? how[2] : unit];
    }
    key(name) { return name === "fuel" ? H.units === "us" ? "fuel_mpg_us" : "fuel_l_per_100km" : name; }
    buildPredict() {
      const body = element("div", { class: "predict-fields" });
      this.guesses = PREDICTED.map(([name, label, kind, digits, unit]) => {
        const input = element("input", { type: "text", inputmode: "decimal", id: "predict-" + name, autocomplete: "off" });
        const unitBox = element("span", { class: "unit" });
        input.addEventListener("change", () => {
          const number = Number(input.value.replace(",", ".")), key = this.key(name);
          if (input.value.trim() === "" || !isFinite(number)) { delete this.prediction.values[key]; input.value = ""; }
          else { this.prediction.values[key] = this.way(kind, unit)[1](number); }
          this.remember();
        });
        body.append(element("div", {}, [element("label", { for: input.id, text: label }), element("span", { class: "with-unit" }, [input, unitBox])]));
        return { name, label, kind, digits, unit, input, unitBox };
      });
      const end = element("select", { id: "predict-ended", onchange: () => { this.prediction.end = end.value; this.remember(); } });
      Object.entries(ENDS).forEach(([value, text]) => end.append(element("option", { value, text })));
      end.value = this.prediction.end;
      body.append(element("div", {}, [element("label", { for: end.id, text: "the truck" }), end]));
      const hold = element("input", { type: "checkbox", role: "switch", id: "predict-hold", onchange: () => {
        this.prediction.hold = hold.checked; this.remember(); this.waiting(false);
        if (!hold.checked) { this.drive(); }
      } });
      hold.checked = this.prediction.hold;
      this.driveButton = this.part("drive_button");
      this.driveButton.onclick = () => { this.released = true; this.changed(); };
      this.driveButton.hidden = !this.prediction.hold;
      this.outcome = element("div", { class: "outcome", "aria-live": "polite" });
      const box = this.part("predict"), button = this.part("predict_button");
      box.append(element("h3", { text: "What do you expect?" }), body,
        element("p", { class: "bar" }, [hold, element("label", { for: hold.id, text: "do not drive before I press Drive" })]), this.outcome);
      const open = (on) => { box.hidden = !on; button.setAttribute("aria-expanded", String(on)); };
      button.onclick = () => open(box.hidden);
      open(this.prediction.hold || Object.keys(this.prediction.values).length > 0);
      this.predictUnits();
    }
    predictUnits() {
      this.guesses.forEach((guess) => {
        const value = this.prediction.values[this.key(guess.name)], [there, , unit] = this.way(guess.kind, guess.unit);
        guess.input.value = value === undefined ? "" : String(Number(there(value).toFixed(guess.digits + 1)));
        guess.unitBox.textContent = unit;
      });
    }
    predicted() {
      if (!this.trip) { return; }
      const found = this.trip.head.found, rows = [];
      this.guesses.forEach(({ name, label, kind, digits, unit }) => {
        const key = this.key(name), guess = this.prediction.values[key];
        if (guess === undefined || found[key] === null) { return; }
        const [there, , word] = this.way(kind, unit), off = there(found[key]) - there(guess);
        rows.push([label, there(guess).toFixed(digits) + " " + word, there(found[key]).toFixed(digits) + " " + word,
          Math.abs(off) < 0.5 * Math.pow(10, -digits) ? "right" : `${Math.abs(off).toFixed(digits)} too ${off > 0 ? "low" : "high"}`]);
      });
      if (this.prediction.end) { rows.push(["the truck", ENDS[this.prediction.end], ENDS[found.ended], this.prediction.end === found.ended ? "right" : "not so"]); }
      this.outcome.replaceChildren(...(rows.length ? [element("table", {}, [
        element("thead", {}, [element("tr", {}, ["what", "predicted", "driven", "the prediction was"].map((text) => element("th", { scope: "col", text })))]),
        element("tbody", {}, rows.map((row) => element("tr", {}, row.map((text, place) => element(place ? "td" : "th", { scope: place ? null : "row", text })))))])] : []));
    }
  }

  H.whenThere("data-trip", (place) => { place.trip = new Trip(place); });
})();
