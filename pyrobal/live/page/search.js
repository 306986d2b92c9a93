// A field that finds settings or readings by any words of their label, key or meaning, and a list to pick from.

import { make } from "./dom.js";

const MOST = 12;
let fields = 0;

/**
 * `items()`: [{key, label, unit, meaning}]; `pick(item)`; `free(text)`: an item for a text that fits none, or null.
 * With `keep` the field goes on showing what was picked, and has a `value`: the key.
 */
export class Search {
  constructor(place, { label, items, pick = () => {}, free = () => null, keep = false, placeholder = "" }) {
    Object.assign(this, { items, pick, free, keep });
    this.id = `search-${++fields}`;
    this.value = "";
    this.at = -1;
    this.shown = [];
    this.field = make("input", {
      id: this.id, type: "text", role: "combobox", "aria-expanded": "false", "aria-autocomplete": "list",
      "aria-controls": `${this.id}-list`, autocomplete: "off", spellcheck: "false", placeholder,
      oninput: () => this.open(),
      onfocus: () => this.keep && this.field.select(),
      onblur: () => this.close(),
      onkeydown: (event) => this.press(event),
    });
    this.list = make("ul", { id: `${this.id}-list`, role: "listbox", "aria-label": label, hidden: true });
    place.classList.add("search");
    place.append(make("label", { for: this.id }, label), " ", make("span", { class: "box" }, this.field, this.list));
  }

  /** Shows `item` as what is chosen. */
  set(item) {
    this.value = item?.key ?? "";
    this.field.value = item?.label ?? "";
  }

  open() {
    const words = this.field.value.toLowerCase().split(/\s+/).filter(Boolean);
    if (!words.length) return this.close();
    const found = this.items().map((item) => [rank(item, words), item]).filter(([good]) => good < Infinity);
    found.sort(([a, x], [b, y]) => a - b || x.key.length - y.key.length);
    this.shown = found.slice(0, MOST).map(([, item]) => item);
    const typed = this.free(this.field.value.trim());
    if (typed && !this.shown.some((item) => item.key === typed.key)) this.shown.push(typed);
    this.at = this.shown.length ? 0 : -1;
    this.list.replaceChildren(...this.shown.map((item, i) => this.option(item, i)));
    if (!this.shown.length) this.list.append(make("li", { role: "option", "aria-disabled": "true" }, "nothing fits"));
    this.list.hidden = false;
    this.field.setAttribute("aria-expanded", "true");
    this.mark();
  }

  option(item, i) {
    const unit = item.unit && item.unit !== "-" ? `, ${item.unit}` : "";
    return make("li", { id: `${this.id}-${i}`, role: "option", title: item.meaning, onpointerdown: (event) => {
      event.preventDefault(); // the field keeps the focus
      this.choose(i);
    } }, make("span", {}, `${item.label}${unit}`), " ", make("span", { class: "key soft" }, item.key));
  }

  mark() {
    [...this.list.children].forEach((option, i) => option.setAttribute("aria-selected", String(i === this.at)));
    const option = this.list.children[this.at];
    option?.scrollIntoView({ block: "nearest" });
    if (this.at >= 0) this.field.setAttribute("aria-activedescendant", option.id);
    else this.field.removeAttribute("aria-activedescendant");
  }

  press(event) {
    const steps = { ArrowDown: 1, ArrowUp: -1 };
    if (event.key in steps && this.shown.length) {
      event.preventDefault();
      if (this.list.hidden) return this.open();
      this.at = (this.at + steps[event.key] + this.shown.length) % this.shown.length;
      this.mark();
    } else if (event.key === "Enter" && !this.list.hidden) {
      event.preventDefault();
      if (this.at >= 0) this.choose(this.at);
    } else if (event.key === "Escape") this.close();
  }

  choose(i) {
    const item = this.shown[i];
    this.set(this.keep ? item : null);
    this.close();
    this.pick(item);
  }

  close() {
    this.list.hidden = true;
    this.field.setAttribute("aria-expanded", "false");
    this.field.removeAttribute("aria-activedescendant");
    if (this.keep) this.set(this.items().find((item) => item.key === this.value));
  }
}

/** Less is better: all words in the label, else in label and key, else in all that is known; Infinity: not all. */
function rank(item, words) {
  const texts = [item.label, `${item.label} ${item.key}`, `${item.label} ${item.key} ${item.meaning ?? ""}`];
  const at = texts.findIndex((text) => words.every((word) => text.toLowerCase().includes(word)));
  return at < 0 ? Infinity : at;
}
