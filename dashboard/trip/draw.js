/* Strips over one distance axis, and the control-speed chart: drawn on canvas from columns that are already here. */
"use strict";
window.haulbench.draw = (function () {
  const H = window.haulbench, element = H.element;
  const LEFT = 52, RIGHT = 14, HEAD = 24, AXIS = 22;
  const INK = "#14202b", QUIET = "#4a5966", GRID = "#dde4e9", KEPT = "#6b6b6b";
  const DASHES = { solid: [], dash: [7, 4], dot: [2, 3], dashdot: [7, 3, 2, 3], longdash: [12, 4], longdashdot: [12, 3, 2, 3] };
  const FONT = "system-ui, 'Segoe UI', Roboto, 'Liberation Sans', Arial, sans-serif";

  function ticks(low, high, most) {
    const rough = (high - low) / Math.max(most, 1), power = Math.pow(10, Math.floor(Math.log10(rough)));
    const step = [1, 2, 2.5, 5, 10].map((each) => each * power).find((each) => each >= rough) || 10 * power;
    const found = [];
    for (let at = Math.ceil(low / step - 1e-9) * step; at <= high + 1e-9 * step; at += step) { found.push(Math.abs(at) < 1e-12 ? 0 : at); }
    return found;
  }
  function tidy(value) { return String(Number(value.toPrecision(6))); }

  function canvasFor(place, width, height) {
    const canvas = place.querySelector("canvas") || place.appendChild(element("canvas", { "aria-hidden": "true" }));
    const scale = window.devicePixelRatio || 1;
    canvas.width = Math.round(width * scale);
    canvas.height = Math.round(height * scale);
    canvas.style.width = width + "px";
    canvas.style.height = height + "px";
    const pen = canvas.getContext("2d");
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    pen.clearRect(0, 0, width, height);
    pen.lineJoin = "round";
    return pen;
  }

  function swatch(line) {
    const space = "http://www.w3.org/2000/svg", svg = document.createElementNS(space, "svg");
    svg.setAttribute("width", "24"); svg.setAttribute("height", "10"); svg.setAttribute("aria-hidden", "true");
    const stroke = document.createElementNS(space, "line");
    Object.entries({ x1: 0, y1: 5, x2: 24, y2: 5, stroke: line.colour, "stroke-width": Math.max(line.width || 1.6, 2),
      "stroke-dasharray": (DASHES[line.dash] || []).join(" ") }).forEach(([name, value]) => stroke.setAttribute(name, value));
    svg.append(stroke);
    return svg;
  }

  /* All strips of a trip. place: element; look: colours of stages; moved(distance): the cursor is wanted there; zoomed(): ends changed */
  class Strips {
    constructor(place, look, moved, zoomed) {
      this.place = place; this.look = look; this.moved = moved; this.zoomed = zoomed;
      this.boxes = [];
      this.trip = null; this.kept = null; this.ends = null;
      this.line = element("div", { class: "cursor-line", hidden: true, "aria-hidden": "true" });
      this.lorry = element("div", { class: "lorry", hidden: true, "aria-hidden": "true" });
      this.lorry.innerHTML = '<svg viewBox="0 0 64 30" width="46" height="22"><path d="M2 4h38v18H2zM42 9h11l8 8v5H42z" fill="#10212e"/>' +
        '<path d="M46 12h6l5 5h-11z" fill="#7cc7ff"/><circle cx="11" cy="24" r="5" fill="#10212e" stroke="#fff" stroke-width="1.6"/>' +
        '<circle cx="24" cy="24" r="5" fill="#10212e" stroke="#fff" stroke-width="1.6"/>' +
        '<circle cx="53" cy="24" r="5" fill="#10212e" stroke="#fff" stroke-width="1.6"/></svg>';
      this.choice = element("div", { class: "choice-box", hidden: true, "aria-hidden": "true" });
      place.append(this.line, this.choice);
      this.listen();
      new ResizeObserver(() => { if (this.trip && place.clientWidth && place.clientWidth !== this.width) { this.draw(); } }).observe(place);
    }
    show(trip, kept) {
      const same = this.trip && this.trip.head.length_m === trip.head.length_m && this.trip.head.route === trip.head.route;
      this.trip = trip; this.kept = kept;
      const last = trip.columns.distance_m.reduce((most, each) => Math.max(most, each), 0);
      this.whole = [Math.min(0, trip.columns.distance_m[0]), Math.max(trip.head.length_m, last, 50)];
      if (!same || !this.ends) { this.ends = this.whole; }
      this.build();
      this.draw();
    }
    build() {
      this.boxes.forEach((box) => box.made.remove());
      this.boxes = this.trip.head.strips.map((strip, at, all) => {
        const head = element("div", { class: "strip-head" });
        const title = element("h3", { text: strip.title });
        const unit = element("span", { class: "quiet" });
        head.append(title, unit);
        const values = [];
        const items = strip.road ? [] : strip.lines;
        items.slice().reverse().forEach((line) => {
          const value = element("b", {});
          head.append(element("span", { class: "item" }, [swatch(line), line.label + " ", value]));
          values.push([line, value]);
        });
        (strip.levels || []).forEach((level) => head.append(element("span", { class: "item" }, [
          swatch({ colour: level.colour, dash: "dash", width: 2 }), level.label])));
        (strip.bands || []).forEach((band) => head.append(element("span", { class: "item" }, [
          element("span", { class: "band-swatch" }), band.label])));
        if (strip.over) { head.append(element("span", { class: "item" }, [element("span", { class: "over-swatch" }), "over the limit"])); }
        if (strip.road) {
          this.look.stages.forEach(([colour, width, dash], stage) => head.append(element("span", { class: "item" }, [
            swatch({ colour, width, dash: "solid" }), stage ? "stage " + stage : "no stage"])));
          head.append(element("span", { class: "item" }, ["\u25bd sign  \u25a1 stop  \u25c7 curve"]));
          if (this.kept && this.kept !== this.trip) {
            head.append(element("span", { class: "item" }, [swatch({ colour: KEPT, dash: "dot", width: 2.4 }), "the kept run"]));
          }
        }
        const plot = element("div", { class: "plot" });
        if (strip.road) { plot.append(this.lorry); }
        const made = element("div", { class: "strip", "data-strip": strip.name }, [head, plot]);
        this.place.append(made);
        return { strip, made, plot, unit, values, last: at === all.length - 1 };
      });
    }
    x(distance) { return LEFT + (distance - this.ends[0]) / (this.ends[1] - this.ends[0]) * (this.width - LEFT - RIGHT); }
    distanceAt(x) {
      const share = (x - LEFT) / (this.width - LEFT - RIGHT);
      return this.ends[0] + Math.min(Math.max(share, 0), 1) * (this.ends[1] - this.ends[0]);
    }
    zoom(from, to) {
      const least = 200;
      if (to - from < least) { const middle = 0.5 * (from + to); from = middle - least / 2; to = middle + least / 2; }
      this.ends = [Math.max(from, this.whole[0]), Math.min(to, this.whole[1])];
      this.draw();
      this.zoomed();
    }
    get zoomedIn() { return this.ends && (this.ends[0] > this.whole[0] || this.ends[1] < this.whole[1]); }

    draw() {
      if (!this.trip) { return; }
      this.width = this.place.clientWidth;
      this.boxes.forEach((box) => this.drawStrip(box));
      if (this.at) { this.cursor(this.at); }
    }
    drawStrip(box) {
      const { plot, last } = box, withAxis = last || box.strip.road;
      const taller = box.strip.road && document.body.classList.contains("class-view") ? 1.7 : 1;
      const strip = { ...box.strip, height: Math.round(box.strip.height * taller) };
      const height = strip.height + (withAxis ? AXIS : 0);
      const pen = canvasFor(plot, this.width, height), kind = strip.kind;
      const [low, high] = strip.span, bottom = strip.height - 4, top = strip.road ? 22 : 5, right = this.width - RIGHT;
      const y = (value) => bottom - (value - low) / (high - low) * (bottom - top);
      box.y = y;
      box.unit.textContent = kind === "plain" ? strip.unit : H.unitOf(kind);
      pen.font = "12px " + FONT;
      pen.textBaseline = "middle";
      // axis in the units chosen
      const how = H.KINDS[kind][H.units], factor = how[0], offset = how[3] || 0;
      const most = Math.max(strip.whole ? 4 : 2, Math.round(strip.height / 34));
      let marks = ticks(low * factor + offset, high * factor + offset, most);
      if (strip.whole) { marks = marks.filter((each) => Number.isInteger(each)); if (strip.name === "stage") { marks = [0, 1, 2, 3]; } }
      pen.strokeStyle = GRID; pen.lineWidth = 1; pen.fillStyle = QUIET; pen.textAlign = "right";
      marks.forEach((mark) => {
        const at = Math.round(y((mark - offset) / factor)) + 0.5;
        if (at < top - 3 || at > bottom + 1) { return; }
        pen.beginPath(); pen.moveTo(LEFT, at); pen.lineTo(right, at); pen.stroke();
        pen.fillText(tidy(mark), LEFT - 7, at);
      });
      const unit = H.units === "us" ? 1609.344 : 1000;
      const along = ticks(this.ends[0] / unit, this.ends[1] / unit, Math.max(3, Math.round(this.width / 90)));
      pen.textAlign = "center";
      along.forEach((mark) => {
        const at = Math.round(this.x(mark * unit)) + 0.5;
        if (at < LEFT - 1 || at > right + 1) { return; }
        pen.strokeStyle = GRID; pen.beginPath(); pen.moveTo(at, 5); pen.lineTo(at, bottom); pen.stroke();
        if (withAxis) { pen.fillText(tidy(mark), Math.min(at, right - 8), strip.height + 7); }
      });
      if (withAxis) {
        pen.textAlign = "right";
        pen.fillText(H.units === "us" ? "mi" : "km", LEFT - 7, strip.height + 7);
      }
      pen.save();
      pen.beginPath(); pen.rect(LEFT, 0, right - LEFT, strip.height); pen.clip();
      (strip.bands || []).forEach((band) => {
        pen.fillStyle = "rgba(0,114,178,0.16)";
        pen.fillRect(LEFT, y(band.high), right - LEFT, y(band.low) - y(band.high));
      });
      if (strip.zero) { this.level(pen, y(0), "#7b8894", [], right); }
      (strip.levels || []).forEach((level) => this.level(pen, y(level.at), level.colour, DASHES.dash, right, 2));
      if (strip.road) { this.road(pen, y, bottom); }
      else {
        if (this.kept) {
          strip.lines.filter((line) => line.main && this.kept.columns[line.column]).forEach((line) => {
            this.path(pen, this.kept, line, y); this.stroke(pen, KEPT, [2, 2], 2.4);
          });
        }
        if (strip.over) { this.over(pen, strip, y); }
        strip.lines.forEach((line) => {
          if (line.shade) { this.shade(pen, line, y, y(Math.max(low, 0))); }
          this.path(pen, this.trip, line, y);
          this.stroke(pen, line.colour, DASHES[line.dash] || [], line.width || 1.6);
        });
      }
      pen.restore();
      pen.strokeStyle = "#7b8894"; pen.lineWidth = 1;
      pen.strokeRect(LEFT + 0.5, 4.5, right - LEFT - 1, bottom - 4);
    }
    level(pen, at, colour, dash, right, width) {
      pen.strokeStyle = colour; pen.lineWidth = width || 1; pen.setLineDash(dash);
      pen.beginPath(); pen.moveTo(LEFT, at); pen.lineTo(right, at); pen.stroke(); pen.setLineDash([]);
    }
    stroke(pen, colour, dash, width) {
      pen.strokeStyle = colour; pen.setLineDash(dash); pen.lineWidth = width; pen.stroke(); pen.setLineDash([]);
    }
    // rows on both sides of the window too, so that lines run to its edges
    range(trip) {
      const along = trip.columns.distance_m;
      let first = 0, last = along.length - 1;
      while (first < last && along[first + 1] < this.ends[0]) { first += 1; }
      while (last > first && along[last - 1] > this.ends[1]) { last -= 1; }
      return [first, last];
    }
    path(pen, trip, line, y) {
      const along = trip.columns.distance_m, values = trip.columns[line.column], [first, last] = this.range(trip);
      let drawing = false, before = 0;
      pen.beginPath();
      for (let row = first; row <= last; row += 1) {
        const value = values[row];
        if (!isFinite(value) || (line.gap && value <= 0) || value > line.most) { drawing = false; continue; }
        const px = this.x(along[row]), py = y(value);
        if (!drawing) { pen.moveTo(px, py); drawing = true; }
        else { if (line.step) { pen.lineTo(px, before); } pen.lineTo(px, py); }
        before = py;
      }
    }
    shade(pen, line, y, floor) {
      const along = this.trip.columns.distance_m, [first, last] = this.range(this.trip);
      this.path(pen, this.trip, line, y);
      pen.lineTo(this.x(along[last]), floor); pen.lineTo(this.x(along[first]), floor); pen.closePath();
      pen.globalAlpha = line.shade; pen.fillStyle = line.colour; pen.fill(); pen.globalAlpha = 1;
    }
    over(pen, strip, y) {
      const along = this.trip.columns.distance_m, [first, last] = this.range(this.trip);
      const fast = this.trip.columns[strip.over[0]], limit = this.trip.columns[strip.over[1]];
      pen.fillStyle = "rgba(213,94,0,0.5)";
      for (let row = first; row < last; row += 1) {
        if (fast[row] <= limit[row] + strip.tolerance) { continue; }
        const left = this.x(along[row]), next = Math.max(this.x(along[row + 1]), left + 1);
        pen.fillRect(left, y(fast[row]), next - left, Math.max(y(limit[row]) - y(fast[row]), 2));
      }
    }
    road(pen, y, bottom) {
      const c = this.trip.columns, [first, last] = this.range(this.trip);
      pen.fillStyle = "rgba(90,105,118,0.16)";
      pen.beginPath();
      pen.moveTo(this.x(c.profile_distance_m[0]), bottom);
      c.profile_distance_m.forEach((distance, at) => pen.lineTo(this.x(distance), y(c.profile_elevation_m[at])));
      pen.lineTo(this.x(c.profile_distance_m[c.profile_distance_m.length - 1]), bottom);
      pen.closePath(); pen.fill();
      pen.lineCap = "round";
      for (let row = first; row < last;) {
        const stage = c.brake_stage[row];
        pen.beginPath(); pen.moveTo(this.x(c.distance_m[row]), y(c.elevation_m[row]));
        while (row < last && c.brake_stage[row] === stage) { row += 1; pen.lineTo(this.x(c.distance_m[row]), y(c.elevation_m[row])); }
        const [colour, width] = this.look.stages[Math.min(Math.max(Math.round(stage), 0), 3)];
        this.stroke(pen, colour, [], width);
      }
      pen.lineCap = "butt";
      this.trip.head.places.forEach(([distance, kind], at) => {
        const px = this.x(distance), height = this.heightAt(distance), py = y(height) - 11;
        pen.beginPath();
        if (kind === "sign") { pen.moveTo(px - 5, py - 5); pen.lineTo(px + 5, py - 5); pen.lineTo(px, py + 4); pen.closePath(); }
        else if (kind === "stop") { pen.rect(px - 4, py - 5, 8, 8); }
        else { pen.moveTo(px, py - 6); pen.lineTo(px + 5, py - 1); pen.lineTo(px, py + 4); pen.lineTo(px - 5, py - 1); pen.closePath(); }
        pen.fillStyle = "#fff"; pen.fill(); pen.strokeStyle = INK; pen.lineWidth = 1.4; pen.stroke();
      });
    }
    heightAt(distance) {
      const x = this.trip.columns.profile_distance_m, z = this.trip.columns.profile_elevation_m, step = x[1] - x[0];
      const at = Math.min(Math.max(Math.floor((distance - x[0]) / step), 0), x.length - 2);
      return z[at] + (z[at + 1] - z[at]) * Math.min(Math.max((distance - x[at]) / step, 0), 1);
    }
    // at: { distance, value(column) }
    cursor(at) {
      this.at = at;
      const px = this.x(at.distance), inside = px >= LEFT - 1 && px <= this.width - RIGHT + 1;
      this.line.hidden = !inside;
      this.line.style.transform = `translateX(${px.toFixed(1)}px)`;
      this.boxes.forEach((box) => {
        box.values.forEach(([line, value]) => {
          const found = at.value(line.column);
          const text = (line.gap && found <= 0) || found > line.most ? "-" : box.strip.kind === "plain" ? found.toFixed(line.digits || 0) :
            H.inUnits(box.strip.kind, found).toFixed(line.digits !== undefined ? line.digits : box.strip.kind === "fuel" ? 1 : 0);
          if (value.textContent !== text) { value.textContent = text; }
        });
        if (box.strip.road && box.y) {
          this.lorry.hidden = !inside;
          this.lorry.style.transform = `translate(${(px - 23).toFixed(1)}px, ${(box.y(at.value("elevation_m")) - 24).toFixed(1)}px)`;
        }
      });
    }
    listen() {
      const place = this.place;
      let from = null;
      const at = (event) => event.clientX - place.getBoundingClientRect().left;
      const onPlot = (event) => event.target.closest(".plot");
      place.addEventListener("pointerdown", (event) => {
        if (!this.trip || event.button !== 0 || !onPlot(event)) { return; }
        from = at(event);
        this.moved(this.distanceAt(from), true);
      });
      place.addEventListener("pointermove", (event) => {
        if (!this.trip || !(onPlot(event) || from !== null)) { return; }
        const x = at(event);
        if (from !== null && event.pointerType === "mouse" && Math.abs(x - from) > 6) {
          this.choice.hidden = false;
          this.choice.style.left = Math.max(Math.min(x, from), LEFT) + "px";
          this.choice.style.width = Math.min(Math.abs(x - from), this.width) + "px";
        } else { this.moved(this.distanceAt(x), event.pointerType !== "mouse"); }
      });
      window.addEventListener("pointerup", (event) => {
        if (from === null) { return; }
        const x = at(event);
        if (!this.choice.hidden) { this.choice.hidden = true; this.zoom(this.distanceAt(Math.min(x, from)), this.distanceAt(Math.max(x, from))); }
        from = null;
      });
      place.addEventListener("dblclick", () => { if (this.trip) { this.zoom(...this.whole); } });
    }
  }

  /* The control-speed chart: curves of the gear at the cursor, lines of grades, the dot where the truck is. */
  class Chart {
    constructor(place, look) {
      this.place = place; this.look = look; this.trip = null; this.gear = -1;
      this.dot = element("div", { class: "live-dot", hidden: true, "aria-hidden": "true" });
      place.append(this.dot);
      new ResizeObserver(() => { if (this.trip && place.clientWidth && place.clientWidth !== this.width) { this.gear = -1; this.cursor(this.at); } }).observe(place);
    }
    show(trip) { this.trip = trip; this.gear = -1; }
    cursor(at) {
      if (!this.trip || !at) { return; }
      this.at = at;
      const gear = Math.round(at.value("gear"));
      if (gear !== this.gear || this.units !== H.units) { this.gear = gear; this.units = H.units; this.draw(); }
      const force = -at.value("drive_force_n"), px = this.x(at.value("speed_m_s")), py = this.y(force);
      this.dot.hidden = false;
      this.dot.classList.toggle("pushing", force < 0);
      const inside = Math.min(Math.max(py, this.top), this.bottom);
      this.dot.style.transform = `translate(${(px - 8).toFixed(1)}px, ${(inside - 8).toFixed(1)}px)`;
    }
    draw() {
      const head = this.trip.head.chart, c = this.trip.columns;
      this.width = this.place.clientWidth;
      const height = Math.round(Math.min(Math.max(this.width * 0.72, 210), 340)), left = 46, right = this.width - 12;
      const top = 10, bottom = height - 26;
      this.top = top; this.bottom = bottom;
      const fastest = Math.max(...c.speed_m_s) * 1.08, end = Math.max(fastest, 100 / 3.6);
      const steep = Math.max(...c["chart_line_" + (head.grades.length - 1)]), high = 1.35 * steep, low = -0.16 * high;
      this.x = (speed) => left + Math.min(speed / end, 1) * (right - left);
      this.y = (force) => bottom - (force - low) / (high - low) * (bottom - top);
      const pen = canvasFor(this.place, this.width, height);
      pen.font = "12px " + FONT; pen.fillStyle = QUIET; pen.strokeStyle = GRID; pen.lineWidth = 1;
      pen.textAlign = "right"; pen.textBaseline = "middle";
      const perForce = H.KINDS.force[H.units][0], perSpeed = H.KINDS.speed[H.units][0];
      ticks(low * perForce, high * perForce, 5).forEach((mark) => {
        const at = Math.round(this.y(mark / perForce)) + 0.5;
        pen.beginPath(); pen.moveTo(left, at); pen.lineTo(right, at); pen.stroke(); pen.fillText(tidy(mark), left - 6, at);
      });
      pen.textAlign = "center";
      ticks(0, end * perSpeed, 5).forEach((mark) => {
        const at = Math.round(this.x(mark / perSpeed)) + 0.5;
        pen.beginPath(); pen.moveTo(at, top); pen.lineTo(at, bottom); pen.stroke(); pen.fillText(tidy(mark), Math.min(at, right - 10), bottom + 12);
      });
      pen.save(); pen.beginPath(); pen.rect(left, top, right - left, bottom - top); pen.clip();
      this.level(pen, this.y(0), left, right);
      const curve = (xs, ys, colour, dash, width) => {
        pen.beginPath();
        for (let row = 0; row < xs.length; row += 1) {
          const px = left + xs[row] / end * (right - left), py = this.y(ys[row]);
          if (row) { pen.lineTo(px, py); } else { pen.moveTo(px, py); }
        }
        pen.strokeStyle = colour; pen.setLineDash(dash); pen.lineWidth = width; pen.stroke(); pen.setLineDash([]);
      };
      const labels = [];
      head.grades.forEach((grade, place) => {
        const line = c["chart_line_" + place];
        curve(c.chart_line_speed, line, this.look.grey, [], 2.2);
        let row = 0;
        while (row < line.length - 1 && c.chart_line_speed[row + 1] < 0.97 * end) { row += 1; }
        labels.push([right - 4, this.y(line[row]) - 8, Math.abs(100 * grade) + " %", "right"]);
      });
      head.gears.filter((gear) => gear !== this.gear).forEach((gear) => {
        curve(c["chart_speed_" + gear], c[`chart_force_${gear}_3`], "#a9b5be", [], 1.1);
      });
      if (head.gears.includes(this.gear)) {
        [0, 1, 2, 3].forEach((stage) => {
          const [colour, , dash] = this.look.stages[stage], forces = c[`chart_force_${this.gear}_${stage}`], speeds = c["chart_speed_" + this.gear];
          curve(speeds, forces, colour, DASHES[dash] || [], 2.4);
          const middle = Math.floor(speeds.length * (0.98 - 0.2 * (3 - stage)));
          labels.push([this.x(speeds[middle]), this.y(forces[middle]) - 9, "stage " + stage, "right"]);
        });
      }
      pen.restore();
      labels.forEach(([px, py, text, align]) => {
        if (py < top + 4 || py > bottom) { return; }
        pen.textAlign = align;
        const width = pen.measureText(text).width;
        pen.fillStyle = "rgba(255,255,255,0.82)"; pen.fillRect(align === "right" ? px - width - 2 : px - 2, py - 7, width + 4, 14);
        pen.fillStyle = INK; pen.fillText(text, px, py);
      });
      pen.strokeStyle = "#7b8894"; pen.strokeRect(left + 0.5, top + 0.5, right - left - 1, bottom - top - 1);
    }
    level(pen, at, left, right) { pen.strokeStyle = "#7b8894"; pen.beginPath(); pen.moveTo(left, at); pen.lineTo(right, at); pen.stroke(); pen.strokeStyle = GRID; }
    words() {
      const head = this.trip.head.chart, grades = [-0.06, -0.04, -0.08];
      const held = head.crossings.filter((each) => each[0] === this.gear);
      const where = `Holding force in ${H.unitOf("force")} against speed in ${H.unitOf("speed")}, at ${H.shown("height", head.elevation_m)}; grey lines are grades of 0 to 8 %.`;
      if (!held.length) { return where; }
      const said = held.filter((each) => grades.includes(each[2])).slice(0, 4).map((each) =>
        `stage ${each[1]} holds ${H.shown("speed", each[3])} on ${(-100 * each[2]).toFixed(0)} %`);
      return `In gear ${this.gear}: ${said.join(", ") || "nothing holds on 4 to 8 %"}. ${where}`;
    }
  }
  return { Strips, Chart, ticks, tidy, DASHES, FONT };
})();
