/* What all pages share: units, numbers in words, the server's messages, and the state of the workers.
   Everything is served from this machine; nothing here asks anybody else. */
"use strict";
window.haulbench = (function () {
  const KEY = "haulbench-units";
  const listeners = [];
  let units = "metric";
  try { if (window.localStorage.getItem(KEY) === "us") { units = "us"; } } catch (problem) { /* none kept */ }
  document.documentElement.dataset.units = units;

  // name, metric: factor from SI, digits and unit; us: the same
  const KINDS = {
    speed: { metric: [3.6, 0, "km/h"], us: [2.2369362920544025, 0, "mi/h"] },
    distance: { metric: [0.001, 2, "km"], us: [1 / 1609.344, 2, "mi"] },
    height: { metric: [1, 0, "m"], us: [1 / 0.3048, 0, "ft"] },
    temperature: { metric: [1, 0, "\u00b0C"], us: [1.8, 0, "\u00b0F", 32] },
    power: { metric: [1, 0, "kW"], us: [1 / 0.7456998715822702, 0, "hp"] },
    torque: { metric: [1, 0, "N m"], us: [1 / 1.3558179483314004, 0, "lb ft"] },
    force: { metric: [0.001, 1, "kN"], us: [1 / 4.4482216152605, 0, "lbf"] },
    fuel: { metric: [1, 1, "g/s"], us: [3.6 / 0.45359237, 0, "lb/h"] },
    mass: { metric: [1, 0, "kg"], us: [1 / 0.45359237, 0, "lb"] },
    pressure: { metric: [1, 0, "kPa"], us: [1 / 6.894757293168361, 1, "psi"] },
    bsfc: { metric: [1, 0, "g/kWh"], us: [0.7456998715822702 / 453.59237, 3, "lb/(hp h)"] },
    plain: { metric: [1, 0, ""], us: [1, 0, ""] },
  };

  function inUnits(kind, value) {
    const how = KINDS[kind][units];
    return value * how[0] + (how[3] || 0);
  }
  function unitOf(kind) { return KINDS[kind][units][2]; }
  function shown(kind, value, digits) {
    if (value === null || value === undefined || !isFinite(value)) { return "-"; }
    const how = KINDS[kind][units];
    const text = inUnits(kind, value).toFixed(digits === undefined ? how[1] : digits);
    return how[2] ? text + " " + how[2] : text;
  }
  function clock(seconds) {
    const whole = Math.round(seconds), hours = Math.floor(whole / 3600);
    const two = (number) => String(number).padStart(2, "0");
    const rest = two(Math.floor(whole / 60) % 60) + ":" + two(whole % 60);
    return hours ? hours + ":" + rest : String(Math.floor(whole / 60)) + ":" + two(whole % 60);
  }

  function setProps(id, props) {
    if (window.dash_clientside && window.dash_clientside.set_props) { window.dash_clientside.set_props(id, props); }
  }

  function choose(wanted) {
    units = wanted;
    document.documentElement.dataset.units = units;
    try { window.localStorage.setItem(KEY, units); } catch (problem) { /* not kept */ }
    setProps("units", { data: units });
    document.querySelectorAll("#unit-switch button").forEach((button) => {
      button.setAttribute("aria-pressed", String(button.dataset.units === units));
    });
    listeners.forEach((listener) => listener(units));
  }

  function element(tag, attributes, children) {
    const made = document.createElement(tag);
    Object.entries(attributes || {}).forEach(([name, value]) => {
      if (value === undefined || value === null || value === false) { return; }
      if (name === "text") { made.textContent = value; }
      else if (name.startsWith("on")) { made.addEventListener(name.slice(2), value); }
      else { made.setAttribute(name, value === true ? "" : value); }
    });
    (children || []).forEach((child) => { if (child) { made.append(child); } });
    return made;
  }

  // runs make(place) once for each element with the attribute, whenever it appears on the page
  const wanted = [];
  function whenThere(attribute, make) { wanted.push([attribute, make]); look(); }
  function look() {
    wanted.forEach(([attribute, make]) => {
      document.querySelectorAll("[" + attribute + "]:not([data-made])").forEach((place) => {
        place.setAttribute("data-made", "");
        make(place);
      });
    });
  }
  function start() {
    new MutationObserver(look).observe(document.body, { childList: true, subtree: true });
    whenThere("id='unit-switch'", (place) => {
      [["metric", "metric"], ["us", "US"]].forEach(([name, text]) => {
        place.append(element("button", { type: "button", text: text, "data-units": name, "aria-pressed": String(name === units),
          onclick: () => choose(name) }));
      });
      if (units !== "metric") { choose(units); }
    });
    whenThere("data-path", (link) => {
      if (link.dataset.path === window.location.pathname) { link.setAttribute("aria-current", "page"); }
    });
  }
  if (document.readyState === "loading") { document.addEventListener("DOMContentLoaded", start); } else { start(); }

  let described = null;
  function fields() {
    if (!described) {
      described = fetch("/fields.json", { credentials: "same-origin" }).then((answer) => {
        if (!answer.ok) { throw new Error("the list of inputs could not be read"); }
        return answer.json();
      });
      described.catch(() => { described = null; });
    }
    return described;
  }

  // puts the address of this page into the clipboard, or shows it to be copied by hand
  function copyLink(told, words) {
    const address = window.location.href;
    const byHand = () => {
      const box = element("input", { type: "text", value: address, readonly: true, "aria-label": "Link to this setup", class: "link-box" });
      told.replaceChildren(box); box.focus(); box.select();
    };
    if (navigator.clipboard && window.isSecureContext) {
      navigator.clipboard.writeText(address).then(() => { told.textContent = words; }, byHand);
    } else { byHand(); }
  }
  // saves a page that is here already under a name
  function save(text, name) {
    const address = URL.createObjectURL(new Blob([text], { type: "text/html" })), link = element("a", { href: address, download: name });
    document.body.append(link); link.click(); link.remove();
    window.setTimeout(() => URL.revokeObjectURL(address), 5000);
  }
  // place of the last value that is not above what is looked for, in a column that rises
  function lastAt(column, wanted) {
    let low = 0, high = column.length - 1;
    while (low < high) { const middle = (low + high + 1) >> 1; if (column[middle] <= wanted) { low = middle; } else { high = middle - 1; } }
    return low;
  }

  // what dashboard/server/packing.py has packed: the head, and columns by name
  function unpack(buffer) {
    const bytes = new Uint8Array(buffer), length = new DataView(buffer).getUint32(0, true);
    const head = JSON.parse(new TextDecoder().decode(bytes.subarray(4, 4 + length)));
    const columns = {};
    let at = 4 + length;
    head.columns.forEach(([name, count]) => {
      const plain = new Uint8Array(4 * count);
      for (let plane = 0; plane < 4; plane += 1) {
        for (let row = 0; row < count; row += 1) { plain[4 * row + plane] = bytes[at + plane * count + row]; }
      }
      columns[name] = new Float32Array(plain.buffer);
      at += 4 * count;
    });
    return { head, columns };
  }

  // calls told(text) until the workers have the model; then done()
  function whenReady(told, done) {
    fetch("/ready", { credentials: "same-origin" }).then((answer) => answer.json()).then((answer) => {
      if (answer.trouble) { told("The model could not be prepared: " + answer.trouble); return; }
      if (answer.ready) { done(); return; }
      told("Preparing the model; the first time after an update this takes a quarter of a minute.");
      window.setTimeout(() => whenReady(told, done), 700);
    }).catch(() => {
      told("The server does not answer; waiting for it.");
      window.setTimeout(() => whenReady(told, done), 1500);
    });
  }

  return {
    get units() { return units; },
    onUnits(listener) { listeners.push(listener); },
    KINDS, inUnits, unitOf, shown, clock, element, whenThere, fields, setProps, copyLink, save, lastAt, unpack, whenReady,
  };
})();
