// @ts-check
/* Tables of many rows: built from plain values; a press on a heading sorts by it, a second the other way round. */
import { button, element, whenThere, worded } from "./dom.js";

/** What a text is sorted by. @param {string} text */
export function key(text) {
  const number = Number(text);
  return text !== "" && Number.isFinite(number) ? number : text;
}
/** Numbers by value, texts as people sort them, nothing last. @param {string | number} a @param {string | number} b */
export function compare(a, b) {
  if (typeof a === "number" && typeof b === "number") { return a - b; }
  if (a === "" || b === "") { return a === b ? 0 : (a === "" ? 1 : -1); }
  return String(a).localeCompare(String(b), "en", { numeric: true });
}
/** @param {string[]} cell */
function filled(cell) {
  const [first, ...more] = cell[0].split("\n");
  const made = worded("td", first, cell[2] || null);
  if (more.length) { made.append(element("br"), worded("span", more.join(" "), "quiet fine")); }
  return made;
}

// lists to pick from are no list boxes, and carry their name
whenThere("data-picks", (place) => {
  function name() {
    place.querySelectorAll("[role='listbox']").forEach((list) => {
      list.setAttribute("role", "group");
      list.setAttribute("aria-label", place.dataset.picks || "");
    });
    place.querySelectorAll("[role='option']").forEach((each) => {
      each.removeAttribute("role");
      each.removeAttribute("aria-selected");
    });
  }
  name();
  const attributeFilter = ["role", "aria-selected"];
  new MutationObserver(name).observe(place, { childList: true, subtree: true, attributeFilter });
});

whenThere("data-table", (place) => {
  /** @type {{ heads: string[], rows: string[][][] }} */
  const given = JSON.parse(place.dataset.table || "");
  const body = element("tbody");
  let rows = given.rows, column = -1, down = false;
  function fill() { body.replaceChildren(...rows.map((row) => element("tr", {}, row.map(filled)))); }
  const heads = given.heads.map((text, number) => {
    const head = element("th", { scope: "col" }, [button(text, () => {
      down = column === number && !down;
      column = number;
      rows = given.rows.slice().sort((a, b) => compare(key(a[number][1]), key(b[number][1])) * (down ? -1 : 1));
      heads.forEach((each) => each.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      fill();
    }, { class: "plain sorter" })]);
    return head;
  });
  fill();
  place.append(element("table", { class: "trips" }, [element("thead", {}, [element("tr", {}, heads)]), body]));
});
