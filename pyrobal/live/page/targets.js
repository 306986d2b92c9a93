// Figures held at a value while a setting follows, and limits that are added on this page.

import { by, make, quantity, tell } from "./dom.js";
import { Search } from "./search.js";

const BARE = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i;

/** A bare number has the unit of what it is a value of. */
function withUnit(text, item) {
  return BARE.test(text) && item?.unit && item.unit !== "-" ? `${text} ${item.unit}` : text;
}

export class Targets {
  /** `hold({reading, value, by})`, `release(reading)`; `readings()`, `settings()`: what can be chosen. */
  constructor({ hold, release, readings, settings }) {
    Object.assign(this, { hold, release, readings, settings, rows: new Map() });
    this.reading = new Search(by("hold-reading"), { label: "figure", items: readings, keep: true, placeholder: "fuel heat" });
    this.setting = new Search(by("hold-by"), { label: "by", items: settings, keep: true, placeholder: "enrichment" });
    by("hold-form").addEventListener("submit", (event) => this.add(event));
  }

  /** The form, filled in for a figure at what it is now. */
  offer(item, value, setting) {
    by("hold-more").open = true;
    this.reading.set(item);
    if (!this.setting.value) this.setting.set(setting);
    by("hold-value").value = value;
    by("hold-value").focus();
    by("hold-value").select();
  }

  add(event) {
    event.preventDefault();
    const value = by("hold-value").value.trim();
    const missing = !this.reading.value ? "choose a figure from the list" : !value ? "at which value?"
      : !this.setting.value ? "choose the setting that follows from the list" : "";
    tell(by("hold-fault"), missing);
    if (missing) return;
    const item = this.readings().find(({ key }) => key === this.reading.value);
    this.hold({ reading: item.key, value: withUnit(value, item), by: this.setting.value });
    by("hold-more").open = false;
  }

  /** `holds`: those of the state; `faults`: reading -> text; `values`: settings of the answer. */
  show(holds, faults, values) {
    const wanted = new Map(holds.map((one) => [`${one.reading} ${one.by}`, one]));
    for (const [name, row] of this.rows) if (!wanted.has(name)) {
      row.element.remove();
      this.rows.delete(name);
    }
    for (const [name, hold] of wanted) {
      if (!this.rows.has(name)) this.rows.set(name, this.row(hold));
      const row = this.rows.get(name);
      if (document.activeElement !== row.field) row.field.value = hold.value;
      const found = values[hold.by];
      const fault = faults[hold.reading] ?? "";
      tell(row.now, !found || fault ? "" : `: ${quantity(found.value, found.unit)}`);
      tell(row.fault, fault);
      row.field.setAttribute("aria-invalid", String(fault !== ""));
    }
  }

  row(hold) {
    const item = this.readings().find(({ key }) => key === hold.reading) ?? { label: hold.reading };
    const setting = this.settings().find(({ key }) => key === hold.by) ?? { label: hold.by };
    const id = `hold-${hold.reading}`;
    const row = { now: make("strong"), fault: make("p", { class: "fault", id: `${id}-fault`, role: "alert" }) };
    row.field = make("input", { id, size: 11, autocomplete: "off", "aria-describedby": `${id}-fault`, onchange: () => {
      const value = row.field.value.trim();
      if (value) this.hold({ ...hold, value: withUnit(value, item) });
    } });
    row.element = make("li", {}, make("label", { for: id }, `${item.label} at`), " ", row.field, " ",
      make("span", {}, `by ${setting.label}`, row.now), " ",
      make("button", { type: "button", class: "small", "aria-label": `release ${item.label}`, onclick: () => this.release(hold.reading) }, "release"),
      row.fault);
    by("holds").append(row.element);
    return row;
  }
}

/** The form for a limit of any reading. `add(text)`: in the words of the command line. Returns what fills it in. */
export function limitForm(readings, add) {
  const reading = new Search(by("limit-reading"), { label: "figure", items: readings, keep: true, placeholder: "industrial oxygen" });
  by("limit-form").addEventListener("submit", (event) => {
    event.preventDefault();
    const value = by("limit-value").value.trim();
    const missing = !reading.value ? "choose a figure from the list" : !value ? "at which value?" : "";
    tell(by("limit-fault"), missing);
    if (missing) return;
    const item = readings().find(({ key }) => key === reading.value);
    add(`${item.key}${by("limit-side").value}${withUnit(value, item)}`);
    by("limit-more").open = false;
  });
  return (item, value) => {
    by("limit-more").open = true;
    reading.set(item);
    by("limit-value").value = value;
    by("limit-value").focus();
    by("limit-value").select();
  };
}
