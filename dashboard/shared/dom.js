// @ts-check
/* Elements of a page: made, filled, and found as they appear. */

/**
 * An element of a page, with what buttons, links and inputs have beside.
 * @typedef {HTMLElement & { disabled: boolean, href: string, value: string }} Part
 */

/**
 * An element with its attributes and children; `text` is its text, `onclick` and the like are listened to.
 * @template {keyof HTMLElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Record<string, any>} [attributes] undefined, null and false leave one out
 * @param {(Node | string | null | undefined | false)[]} [children]
 * @returns {HTMLElementTagNameMap[Tag]}
 */
export function element(tag, attributes = {}, children = []) {
  const made = document.createElement(tag);
  Object.entries(attributes).forEach(([name, value]) => {
    if (value === undefined || value === null || value === false) { return; }
    if (name === "text") { made.textContent = value; }
    else if (name.startsWith("on")) { made.addEventListener(name.slice(2), value); }
    else { made.setAttribute(name, value === true ? "" : value); }
  });
  children.forEach((child) => { if (child) { made.append(child); } });
  return made;
}

/** @param {string} tag @param {Record<string, any>} attributes @param {Node[]} [children] */
export function drawn(tag, attributes, children = []) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
  made.append(...children);
  return made;
}

/** @param {string} text @param {(event: Event) => void} onclick @param {Record<string, any>} [more] */
export const button = (text, onclick, more = {}) => element("button", { type: "button", text, onclick, ...more });

/** @param {[any, string][]} choices values and their texts @param {Record<string, any>} attributes */
export const select = (choices, attributes) =>
  element("select", attributes, choices.map(([value, text]) => element("option", { value, text })));

/** @param {keyof HTMLElementTagNameMap} tag @param {string} text @param {string} [kind] its class */
export const worded = (tag, text, kind) => element(tag, { class: kind, text });
/** @param {(Node | null)[]} children */
export const bar = (children) => element("div", { class: "bar" }, children);
/** @param {HTMLSelectElement} box @param {[any, string][]} choices values and their texts */
export const setOptions = (box, choices) =>
  box.replaceChildren(...choices.map(([value, text]) => element("option", { value, text })));
/** A box to write in. @param {string} id @param {Record<string, any>} [more] */
export const inputBox = (id, more) => element("input", { type: "text", id, autocomplete: "off", ...more });
/** A box for a number. @param {string} id @param {Record<string, any>} [more] */
export const decimalBox = (id, more) => inputBox(id, { inputmode: "decimal", ...more });
/** A part of the page that scrolls by itself. @param {string} kind @param {string} label @param {Node[]} children */
export const region = (kind, label, children) =>
  element("div", { class: kind, tabindex: "0", role: "region", "aria-label": label }, children);

/** An input under its label. @param {string} text @param {HTMLElement} input @param {Node} [shown] with its unit */
export const labelled = (text, input, shown = input, attributes = {}) =>
  element("div", attributes, [element("label", { for: input.id, text }), shown]);

/** @typedef {string | Record<string, any>} Cell a text, or attributes, with `children` among them */

/**
 * A table; the first cell of a row is its heading.
 * @param {Cell[] | null} heads
 * @param {(Cell[] | { class: string | null, cells: Cell[] })[]} rows
 * @param {{ class?: string, first?: "th" | "td" }} [more] `first`: what the first cell of a row is
 */
export function table(heads, rows, { class: kind, first = "th" } = {}) {
  const cell = (tag, scope, given) => {
    const { children, ...attributes } = typeof given === "string" ? { text: given } : given;
    return element(tag, { scope, ...attributes }, children);
  };
  return element("table", { class: kind }, [
    heads && element("thead", {}, [element("tr", {}, heads.map((given) => cell("th", "col", given)))]),
    element("tbody", {}, rows.map((row) => {
      const [cells, name] = Array.isArray(row) ? [row, null] : [row.cells, row.class];
      return element("tr", { class: name }, cells.map((given, place) =>
        (place ? cell("td", null, given) : cell(first, first === "th" ? "row" : null, given))));
    })),
  ]);
}

/** Leaves the page alone where the text is the same. @param {Element} box @param {string} text */
export function setText(box, text) { if (box.textContent !== text) { box.textContent = text; } }

/** Says something, or hides the box of what is said. @param {HTMLElement} box @param {string} text */
export function say(box, text) { box.textContent = text; box.hidden = !text; }

/** @param {Element} place @param {string} selector @returns {Part[]} */
export const all = (place, selector) => [.../** @type {NodeListOf<Part>} */ (place.querySelectorAll(selector))];
/** @param {Element} place @returns {(name: string) => Part} finds its parts */
export const partsOf = (place) => (name) => place.querySelector(`[data-part="${name}"]`);

/** Pressing a button opens and closes a box. @param {Element} opener @param {HTMLElement} box @param {boolean} on */
export function open(opener, box, on) { box.hidden = !on; opener.setAttribute("aria-expanded", String(on)); }

/** The space bar, where nothing else has the focus that takes it. @param {Element} place @param {() => void} act */
export function onSpace(place, act) {
  const taken = "input, select, button, summary, a, textarea";
  document.addEventListener("keydown", (event) => {
    if (event.key !== " " || !place.isConnected || document.activeElement?.closest(taken)) { return; }
    event.preventDefault();
    act();
  });
}

/** @type {[string, (place: HTMLElement) => void][]} */
const wanted = [];

/** Runs make(place) once for each element with the attribute, whenever it appears on the page.
 * @param {string} attribute @param {(place: HTMLElement) => void} make */
export function whenThere(attribute, make) { wanted.push([attribute, make]); look(); }

function look() {
  wanted.forEach(([attribute, make]) => {
    document.querySelectorAll(`[${attribute}]:not([data-made])`).forEach((place) => {
      place.setAttribute("data-made", "");
      make(/** @type {HTMLElement} */ (place));
    });
  });
}
new MutationObserver(look).observe(document.body, { childList: true, subtree: true });
