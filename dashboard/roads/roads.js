// @ts-check
/* A road from a recording: sends one file to this server, and opens what it makes of it. */
import { button, decimalBox, element, labelled, whenThere } from "../shared/dom.js";
import { panel } from "../panel/panel.js";
import { recall, remember } from "../shared/server.js";
import { onUnits } from "../shared/units.js";
import { asShown, inSI, unitOf } from "../shared/words.js";

const KNOWN = "haulbench-roads", MOST_KNOWN = 20;
// name, label, kind of quantity
const BOXES = [["smooth", "smoothed over", "height"], ["every", "a row every", "height"],
  ["limit", "posted limit", "speed"]];

class Upload {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.asked = JSON.parse(place.dataset.upload);
    /** As sent: in m and m/s. @type {Record<string, number | "">} */
    this.given = { smooth: this.asked.smooth, every: this.asked.every, limit: "" };
    this.file = element("input", { type: "file", id: "roads-file", accept: ".gpx,.csv" });
    this.send = button("Make a road of it", () => this.go(), { class: "strong", id: "roads-send" });
    this.told = element("p", { class: "upload-told", id: "roads-told", role: "status" });
    this.boxes = element("div", { class: "three" });
    place.classList.add("upload");
    const text = `file, .gpx or .csv, at most ${this.asked.most / 1e6} MB`;
    place.append(element("label", { for: this.file.id, text }), this.file, this.boxes, this.send, this.told);
    this.show();
    onUnits(() => this.show());
  }
  show() {
    this.boxes.replaceChildren(...BOXES.map(([name, label, kind]) => {
      const kept = this.given[name];
      const input = decimalBox(`roads-${name}`, {
        placeholder: name === "limit" ? "none" : null,
        value: kept === "" || Number.isNaN(kept) ? "" : String(Number(asShown(kept, kind).toPrecision(4))),
        oninput: () => {
          const value = input.value.trim();
          this.given[name] = value === "" ? "" : inSI(Number(value), kind);
        } });
      return labelled(`${label}, ${unitOf(kind)}`, input);
    }));
  }
  say(kind, text) { this.told.className = `upload-told ${kind}`; this.told.textContent = text; }
  async go() {
    const file = this.file.files[0], { most, path } = this.asked;
    if (!file) {
      this.say("told", "Choose a file first: a GPX track, or a CSV table with distance_m and elevation_m.");
      this.file.focus();
      return;
    }
    if (file.size > most) {
      this.say("told", `${file.name} has ${(file.size / 1e6).toFixed(1)} MB; at most ${most / 1e6} MB are taken. ` +
        "Cut it into shorter tracks.");
      return;
    }
    const query = new URLSearchParams({ name: file.name });
    const { limit } = this.given, sent = { ...this.given, limit: limit === "" ? "" : 3.6 * limit }; // in km/h
    Object.entries(sent).forEach(([name, value]) => { if (value !== "") { query.set(name, String(value)); } });
    this.send.disabled = true;
    this.say("noted", `Making a road of ${file.name} ...`);
    try {
      const answer = await fetch(`${path}?${query}`, { method: "POST", body: file,
        headers: { "Content-Type": "application/octet-stream" } });
      const { message, address, title } = await answer.json();
      if (!answer.ok) { this.say("told", message); return; }
      const known = recall(KNOWN, []).filter((each) => each.address !== address);
      remember(KNOWN, [{ address, title }, ...known].slice(0, MOST_KNOWN));
      this.say("noted", `Made: ${title}. Its link works as long as this server keeps it.`);
      panel().pick("road", address);
    } catch { this.say("told", "The server did not answer. Is it still running?"); }
    finally { this.send.disabled = false; }
  }
}

whenThere("data-upload", (place) => { new Upload(place); });
