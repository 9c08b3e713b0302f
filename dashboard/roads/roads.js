/* A road from a recording: sends one file to this server, and opens what it makes of it. */
"use strict";
(function () {
  const H = window.haulbench, element = H.element;
  const KNOWN = "haulbench-roads";
  const MILE = 1.609344, FOOT = 0.3048;

  function remember(address, title) {
    try {
      const known = JSON.parse(window.sessionStorage.getItem(KNOWN) || "[]").filter((each) => each.address !== address);
      window.sessionStorage.setItem(KNOWN, JSON.stringify([{ address, title }, ...known].slice(0, 20)));
    } catch (problem) { /* not kept */ }
  }

  class Upload {
    constructor(place) {
      this.place = place;
      this.asked = JSON.parse(place.dataset.upload);
      place.classList.add("upload");
      this.file = element("input", { type: "file", id: "roads-file", accept: ".gpx,.csv" });
      this.smooth = this.box("roads-smooth", "smoothed over");
      this.every = this.box("roads-every", "a row every");
      this.limit = this.box("roads-limit", "posted limit");
      this.send = element("button", { type: "button", class: "strong", id: "roads-send", text: "Make a road of it",
        onclick: () => this.go() });
      this.told = element("p", { class: "upload-told", id: "roads-told", role: "status" });
      place.append(element("label", { for: "roads-file", text: "file, .gpx or .csv, at most " + this.asked.most / 1e6 + " MB" }),
        this.file, element("div", { class: "three" }, [this.smooth.whole, this.every.whole, this.limit.whole]), this.send, this.told);
      this.metric = { smooth: this.asked.smooth, every: this.asked.every, limit: "" };
      [["smooth", this.smooth], ["every", this.every], ["limit", this.limit]].forEach(([name, box]) => {
        box.input.addEventListener("input", () => {
          const value = box.input.value.trim();
          this.metric[name] = value === "" ? "" : Number(value) * this.factor(name);
        });
      });
      this.show();
      H.onUnits(() => this.show());
    }
    box(id, label) {
      const input = element("input", { type: "text", inputmode: "decimal", id, autocomplete: "off" });
      const text = element("label", { for: id, text: label });
      return { input, text, label, whole: element("div", {}, [text, input]) };
    }
    factor(name) { return H.units === "us" ? (name === "limit" ? MILE : FOOT) : 1; }
    show() {
      const us = H.units === "us";
      [["smooth", this.smooth, us ? "ft" : "m"], ["every", this.every, us ? "ft" : "m"], ["limit", this.limit, us ? "mi/h" : "km/h"]]
        .forEach(([name, box, unit]) => {
          box.text.textContent = box.label + ", " + unit;
          const value = this.metric[name];
          box.input.value = value === "" || Number.isNaN(value) ? "" : String(Number((value / this.factor(name)).toPrecision(4)));
        });
      this.limit.input.placeholder = us ? "56" : "90";
    }
    say(kind, text) { this.told.className = "upload-told " + kind; this.told.textContent = text; }
    go() {
      const file = this.file.files[0];
      if (!file) { this.say("told", "Choose a file first: a GPX track, or a CSV table with distance_m and elevation_m."); this.file.focus(); return; }
      if (file.size > this.asked.most) {
        this.say("told", `${file.name} has ${(file.size / 1e6).toFixed(1)} MB; at most ${this.asked.most / 1e6} MB are taken. Cut it into shorter tracks.`);
        return;
      }
      const query = new URLSearchParams({ name: file.name });
      ["smooth", "every", "limit"].forEach((name) => {
        if (this.metric[name] !== "") { query.set(name, String(this.metric[name])); }
      });
      this.send.disabled = true;
      this.say("noted", "Making a road of " + file.name + " ...");
      fetch(this.asked.path + "?" + query, { method: "POST", body: file, credentials: "same-origin",
        headers: { "Content-Type": "application/octet-stream" } })
        .then((answer) => answer.json().then((said) => ({ fine: answer.ok, said })))
        .then(({ fine, said }) => {
          if (!fine) { this.say("told", said.message); return; }
          remember(said.address, said.title);
          this.say("noted", "Made: " + said.title + ". Its link works as long as this server keeps it.");
          document.getElementById("roads-panel").panel.pick("road", said.address);
        })
        .catch(() => this.say("told", "The server did not answer. Is it still running?"))
        .finally(() => { this.send.disabled = false; });
    }
  }
  H.whenThere("data-upload", (place) => { place.upload = new Upload(place); });
})();
