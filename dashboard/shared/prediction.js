// @ts-check
/* What a student expects before a run: written into fields, kept for the session, compared with what came. */
import { decimalBox, element, labelled, open, table, worded } from "./dom.js";
import { recall, remember } from "./server.js";
import { tidy } from "./units.js";
import { asShown, inSI, unitOf } from "./words.js";

/** A number as a person writes it; NaN for none. @param {string} text */
export const numberOf = (text) => (text.trim() === "" ? NaN : Number(text.trim().replace(",", ".")));

export class Prediction {
  /** @param {(name: string) => import("./dom.js").Part} part of the page
   * @param {{ page: string, store: string, hold: string, changed: () => void, held: (on: boolean) => void }} of
   * `store`: where it is kept; `hold`: words beside the switch; `held`: the switch was turned */
  constructor(part, of) {
    this.of = of;
    /** @type {{ hold: boolean, values: Record<string, any>, end: string }} */
    this.kept = { hold: false, values: {}, end: "", ...recall(of.store, {}) };
    this.fields = element("div", { class: "predict-fields" });
    this.outcome = element("div", { class: "outcome", "aria-live": "polite" });
    const hold = element("input", { type: "checkbox", role: "switch", id: `${of.page}-hold`, onchange: () => {
      this.kept.hold = hold.checked;
      this.changed();
      of.held(hold.checked);
    } });
    hold.checked = this.kept.hold;
    const box = part("predict"), opener = part("predict_button");
    box.append(worded("h3", "What do you expect?"), this.fields,
      element("p", { class: "bar" }, [hold, element("label", { for: hold.id, text: of.hold })]), this.outcome);
    opener.onclick = () => open(opener, box, box.hidden);
    open(opener, box, this.kept.hold || (of.page === "trip" && Object.keys(this.kept.values).length > 0));
  }
  changed() { remember(this.of.store, this.kept); this.of.changed(); }

  /** A field for one quantity. @param {string} name @param {string} label @param {string} kind of quantity
   * @param {Record<string, number>} values where it is kept [SI] @param {string} key */
  field(name, label, kind, values, key) {
    const input = decimalBox(name, { onchange: () => {
      const number = numberOf(input.value);
      if (isFinite(number)) { values[key] = inSI(number, kind); } else { delete values[key]; input.value = ""; }
      this.changed();
    } });
    if (values[key] !== undefined) { input.value = tidy(asShown(values[key], kind)); }
    return labelled(label, input, element("span", { class: "with-unit" },
      [input, worded("span", unitOf(kind), "unit")]));
  }
  /** @param {string[]} heads @param {string[][]} rows */
  compare(heads, rows) { this.outcome.replaceChildren(...(rows.length ? [table(heads, rows)] : [])); }
}
