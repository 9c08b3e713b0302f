// @ts-check
/* The Knobs page: hands at the controller. The server does again what they have done and answers what is seen for a
   while; here that is played, so that delays take as long as they do in a truck. */
import { button, element, labelled, partsOf, say, setText, table, whenThere, worded } from "../shared/dom.js";
import { addressOf, panel } from "../panel/panel.js";
import { copyLink, post, readdress, whenReady, written } from "../shared/server.js";
import { clock, onUnits, units } from "../shared/units.js";
import { asShown, digitsOf, inSI, number, quantity, said, unitOf } from "../shared/words.js";

/** @typedef {{ name: string, words: string, kind: string, quantity: string, least: number, most: number,
 * steps: [number, number] }} Knob */
/** What was done, and when. @typedef {[number, string, number]} Action [ms, knob, SI] */

const DRAG = 150; // ms: what a slider does within them is one movement
const LOOK = 100; // ms between two frames
const NO_KEY = "do", NO_TIME = "at"; // of the address: what was done, and how long ago the first of it was

/** @param {string} text as the address has it @returns {Action[]} */
const actionsIn = (text) => text.split(",").filter((each) => each).map((each) => {
  const [time, name, value] = each.split(":");
  return [Number(time), name, Number(value)];
});

const nameOf = ({ event }) => said({ kind: `event.${event}`, values: {} });

class Knobs {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.place = place; this.part = partsOf(place);
    this.asked = JSON.parse(place.dataset.knobs);
    const query = new URLSearchParams(window.location.search);
    /** @type {Action[]} */ this.actions = actionsIn(query.get(NO_KEY) || "");
    this.at = Number(query.get(NO_TIME)) || 0; this.since = window.performance.now();
    this.setup = null; this.film = null; this.shown = null; this.next = 0; this.busy = false; this.more = false;
    /** @type {Record<string, () => void>} */ this.refresh = {};
    this.build();
    place.addEventListener("haulbench:setup", (event) => {
      this.setup = /** @type {CustomEvent} */ (event).detail.setup; this.ask();
    });
    onUnits(() => { if (place.isConnected) { this.build(); if (this.shown) { this.show(); } } });
    this.timer = window.setInterval(() => {
      if (!place.isConnected) { window.clearInterval(this.timer); return; }
      this.play();
    }, LOOK);
    const inputs = panel();
    if (inputs?.described) { this.setup = inputs.setup; this.ask(); }
  }

  // ------------------------------------------------------------ time
  now() {
    const now = this.at + window.performance.now() - this.since;
    return Math.round(this.film ? Math.min(now, this.film.until_ms) : this.at);
  }
  /** Time goes on from here. @param {number} now */
  goOn(now) { this.at = now; this.since = window.performance.now(); }
  play() {
    if (!this.film || this.busy) { return; }
    const now = this.now(), { frames } = this.film;
    let fresh = false;
    while (this.next < frames.length && frames[this.next][0] <= now) {
      this.shown = { ...this.shown, ...frames[this.next][1] };
      this.next += 1; fresh = true;
    }
    if (fresh) { this.show(); }
    const stands = now >= this.film.until_ms;
    setText(this.part("clock"), `${clock(now / 1000)}${stands ? ", time stands still until you turn a knob" : ""}`);
  }

  // ------------------------------------------------------------ hands
  /** @param {string} name @param {number} value [SI] @param {boolean} [drags] */
  turn(name, value, drags = false) {
    const before = this.actions.at(-1), now = Math.max(this.now(), before?.[0] ?? 0);
    const exact = Number(value.toPrecision(9));
    if (drags && before?.[1] === name && now - before[0] < DRAG) { before[2] = exact; }
    else { this.actions.push([now, name, exact]); }
    this.goOn(now);
    if (this.shown) { this.shown.turned[name] = exact; this.refresh[name]?.(); }
    this.ask();
  }
  again() { this.actions = []; this.film = null; this.shown = null; this.goOn(0); this.ask(); }
  /** Asks once more after the answer that is under way. */
  ask() {
    if (!this.setup) { return; }
    if (this.busy) { this.more = true; return; }
    this.busy = true; this.more = false;
    this.readdress();
    const body = { setup: this.setup, actions: this.actions };
    whenReady((text) => setText(this.part("state"), text), () => {
      setText(this.part("state"), "");
      post("/knobs/turn", body).then((film) => {
        say(this.part("error"), ""); this.place.classList.remove("refused");
        this.film = film; this.shown = film.frames[0][1]; this.next = 1;
        if (this.at < film.frames[0][0]) { this.goOn(film.frames[0][0]); }
        this.leftOut();
        this.show();
        this.place.dataset.turned = String(Number(this.place.dataset.turned || 0) + 1);
      }).catch((problem) => {
        say(this.part("error"), problem.message); this.place.classList.add("refused");
      }).finally(() => {
        this.busy = false;
        if (this.more) { this.ask(); } else { this.play(); }
      });
    });
  }
  readdress() {
    const query = new URLSearchParams(window.location.search);
    query.set(NO_KEY, this.actions.map((each) => each.join(":")).join(","));
    query.set(NO_TIME, String(this.now()));
    readdress(written(query));
  }

  // ------------------------------------------------------------ what hands hold
  build() {
    const by = (kinds) => this.asked.knobs.filter((/** @type {Knob} */ knob) => kinds.includes(knob.kind));
    this.part("dials").replaceChildren(...by(["dial"]).map((knob) => this.dial(knob)));
    const make = { switch: (knob) => this.toggle(knob), place: (knob) => this.places(knob),
      button: (knob) => this.button(knob) };
    this.part("switches").replaceChildren(
      ...by(["switch", "place", "button"]).map((knob) => make[knob.kind](knob)));
    this.part("again").onclick = () => this.again();
    this.part("link").onclick = () => { this.readdress(); copyLink(this.part("link_text"), "Link copied."); };
  }
  /** A slider in the units of its reader. @param {Knob} knob */
  dial(knob) {
    const step = knob.steps[units === "us" ? 1 : 0], kind = knob.quantity;
    const end = (value, round) => Number((round(Number((asShown(value, kind) / step).toFixed(6))) * step).toFixed(6));
    const slider = element("input", { type: "range", id: `knob-${knob.name}`, min: String(end(knob.least, Math.ceil)),
      max: String(end(knob.most, Math.floor)), step: String(step),
      oninput: () => this.turn(knob.name, inSI(Number(slider.value), kind), true) });
    const output = element("output", { for: slider.id });
    this.refresh[knob.name] = () => {
      const value = this.shown.turned[knob.name];
      const text = quantity(value, kind, Math.max(digitsOf(kind), step < 1 ? 1 : 0));
      slider.value = String(asShown(value, kind));
      setText(output, text); slider.setAttribute("aria-valuetext", text);
    };
    const box = labelled(knob.words, slider, slider, { class: "dial" });
    box.append(output);
    return box;
  }
  /** @param {Knob} knob */
  toggle(knob) {
    const made = element("input", { type: "checkbox", role: "switch", id: `knob-${knob.name}`,
      onchange: () => this.turn(knob.name, Number(made.checked)) });
    this.refresh[knob.name] = () => { made.checked = this.shown.turned[knob.name] > 0; };
    return element("div", { class: "switch" }, [made, element("label", { for: made.id, text: knob.words })]);
  }
  /** @param {Knob} knob */
  places(knob) {
    const all = Array.from({ length: knob.most - knob.least + 1 }, (_, place) => knob.least + place).map((value) => {
      const made = element("input", { type: "radio", name: `knob-${knob.name}`, value: String(value),
        id: `knob-${knob.name}-${value}`, onchange: () => this.turn(knob.name, value) });
      return { made, value };
    });
    this.refresh[knob.name] = () => all.forEach(({ made, value }) => {
      made.checked = this.shown.turned[knob.name] === value;
    });
    return element("fieldset", { class: "switch places" }, [worded("legend", knob.words),
      ...all.map(({ made, value }) => element("label", { class: "inline", for: made.id }, [made, String(value)]))]);
  }
  /** A button counts as long as it is held, by a finger or by a key. @param {Knob} knob */
  button(knob) {
    let held = false;
    const put = (down) => {
      if (down === held) { return; }
      held = down; made.classList.toggle("held", held); this.turn(knob.name, Number(held));
    };
    const key = (event, down) => { if ([" ", "Enter"].includes(event.key)) { event.preventDefault(); put(down); } };
    const made = button(knob.words, () => {}, { id: `knob-${knob.name}`, class: "momentary",
      onpointerdown: () => put(true), onpointerup: () => put(false), onpointerleave: () => put(false),
      onpointercancel: () => put(false), onblur: () => put(false),
      onkeydown: (event) => key(event, true), onkeyup: (event) => key(event, false) });
    return made;
  }

  // ------------------------------------------------------------ what is seen
  show() {
    this.actions.forEach(([, name, value]) => { this.shown.turned[name] = value; }); // an answer may be of before
    Object.values(this.refresh).forEach((refresh) => refresh());
    this.lamps(); this.readings(); this.lists();
    const { truck, settings, changes } = this.setup;
    const setup = { truck, settings, road: this.asked.road, changes: { ...changes, ...this.shown.road } };
    this.part("road").href = `/${addressOf(setup, "")}`;
  }
  lamps() {
    const { pairs, engine_brake: brake } = this.shown;
    Object.entries(pairs).forEach(([pair, on]) => {
      const lamp = this.part(`pair_${pair}`);
      lamp.classList.toggle("on", on);
      if (lamp.dataset.on !== String(on)) {
        lamp.dataset.on = String(on);
        lamp.replaceChildren(worded("b", pair), worded("span", on ? "ON" : "off"));
      }
    });
    setText(this.part("stage"), `Engine brake, stage ${brake.stage}: ${said(brake.why)}.`);
  }
  /** One large reading. @param {string} name @param {string} label @param {string} value @param {string} [unit]
   * @param {string} [more] @param {string} [level] of its lamp */
  reading(name, label, value, unit = "", more = "", level = "") {
    const box = this.part(`reading_${name}`), text = [label, value, unit, more].join("|");
    box.dataset.level = level;
    if (box.dataset.text === text) { return; }
    box.dataset.text = text;
    box.replaceChildren(worded("span", label, "label"), worded("span", value, "value"), worded("span", unit, "unit"),
      worded("span", more, "more"));
  }
  readings() {
    const { turned, told, cruise, fan, derate, lamp } = this.shown;
    const of = (name, label, value, kind, more = "", level = "") =>
      this.reading(name, label, number(value, kind), unitOf(kind), more, level);
    of("engine_speed", "engine speed", turned.engine_speed, "engine speed");
    of("road_speed", "road speed", turned.road_speed, "speed");
    of("fuel", "fuel told", told.fuel_share, "share", quantity(told.fuel_rate, "fuel rate"));
    of("torque", "torque told", told.torque, "torque",
      told.stopped ? said(told.stopped) : told.limiter === "none" ? "" : told.limiter);
    const now = cruise.on ? "switch on" : "switch off";
    const why = cruise.why ? `${nameOf(cruise.why)}: ${said(cruise.why.cause)}` : now;
    const holds = cruise.set_speed !== null;
    this.reading("cruise", "cruise holds",
      holds ? number(cruise.set_speed, "speed") : "-", holds ? unitOf("speed") : "", why, holds ? "on" : "");
    this.reading("fan", "fan", fan.on ? "ON" : "off", "", fan.why ? said(fan.why) : "", fan.on ? "on" : "");
    of("derate", "torque withheld", derate, "share", "", derate > 0 ? "amber" : "");
    this.reading("lamp", "warning lamp", lamp, "", "", lamp);
  }
  lists() {
    const { codes, events, pins } = this.shown;
    const cells = codes.map(({ spn, fmi, says, active }) => ({ class: active ? "active" : null,
      cells: [`SPN ${spn}`, `FMI ${fmi}`, said(says)] }));
    this.part("codes").replaceChildren(cells.length ? table(["code", "kind", "what it says"], cells)
      : worded("p", "None.", "quiet"));
    const told = [...events].reverse().map((event) => [`${event.time_s.toFixed(2)} s`, nameOf(event),
      event.quantity ? quantity(event.value, event.quantity) : "", said(event.cause)]);
    this.part("events").replaceChildren(told.length ? table(["at", "what", "", "why"], told)
      : worded("p", "Nothing yet. Turn the engine speed up.", "quiet"));
    this.part("pins").replaceChildren(table(["part", "at its pin", "the controller believes"],
      this.asked.pins.map((pin) => {
        const [signal, believed] = pins[pin.key];
        return [pin.name, { text: quantity(signal, pin.signal), class: "number" },
          { text: quantity(believed, pin.quantity), class: "number" }];
      })));
  }
  leftOut() {
    this.part("left_out").replaceChildren(...this.film.left_out.map((finding) => worded("li", said(finding))));
  }
}

whenThere("data-knobs", (place) => { new Knobs(place); });
