// The picture of the plant, redrawn in place at each answer.

import { become, by, make } from "./dom.js";

const READABLE = 0.8; // of its own size, at which its letters can still be read
const NARROW = 900; // px of the place below which it stands beside nothing

export class Plant {
  /** `ask()`: another picture is wanted. */
  constructor(ask) {
    this.ask = ask;
    this.place = by("picture");
    this.quantity = by("quantity");
    this.across = null; // px: width of the drawing from left to right, once it was seen
    this.way = "across";
    this.quantity.addEventListener("change", ask);
    this.room = { whole: 0, beside: 0 }; // px for the drawing, below the rest or beside it; measured only when it changes
    let before = null;
    new ResizeObserver(([{ contentRect: { width } }]) => {
      if (width !== before && ((before = width), this.measure())) this.ask();
    }).observe(by("main"));
    for (const event of ["focusin", "pointerover"]) this.place.addEventListener(event, ({ target }) => this.tell(target));
  }

  get wanted() {
    return { quantity: this.quantity.value || this.chosen || "mass", way: this.way };
  }

  /** `text`: an SVG. Its style is not for a page whose policy allows none within; it is adopted. */
  show(text, quantities) {
    const style = /<style>([^]*?)<\/style>/.exec(text);
    if (style && !this.dressed) {
      this.dressed = new CSSStyleSheet();
      this.dressed.replaceSync(style[1]);
      document.adoptedStyleSheets.push(this.dressed);
    }
    const bare = text.replace(/<style>[^]*?<\/style>/, "").replace(/ style="[^"]*"/, "");
    const drawing = document.importNode(new DOMParser().parseFromString(bare, "image/svg+xml").documentElement, true);
    const [, , width] = drawing.getAttribute("viewBox").split(" ").map(Number);
    if (this.way === "across") this.across = width;
    const before = this.place.firstElementChild;
    if (before) become(before, drawing);
    else this.place.append(drawing);
    const most = `${1.25 * width}px`;
    const drawn = this.place.firstElementChild;
    if (drawn.style.maxWidth !== most) drawn.style.maxWidth = most;
    this.offer(quantities);
    return this.fit() && this.ask();
  }

  offer(quantities) {
    const has = [...this.quantity.options].map((one) => one.value);
    if (has.join() === quantities.join()) return;
    const chosen = this.quantity.value || this.chosen;
    this.quantity.replaceChildren(...quantities.map((one) => make("option", { value: one },
      `${one}, ${one === "heat" ? "MW" : "t/h"}`)));
    this.quantity.value = quantities.includes(chosen) ? chosen : quantities[0];
  }

  measure() {
    const all = by("main").clientWidth;
    const whole = all - (all > NARROW ? by("handles").offsetWidth : 0);
    this.room = { whole, beside: all > NARROW ? whole / 2 : whole };
    return this.fit();
  }

  /** Whether another way is needed for the room there is; the drawing may stand beside the rest or below it. */
  fit() {
    const { whole, beside } = this.room;
    const needs = this.across === null ? 0 : READABLE * this.across;
    by("main").classList.toggle("spread", needs > beside && needs <= whole);
    const way = needs <= whole ? "across" : "down";
    if (way === this.way) return false;
    this.way = way;
    return true;
  }

  tell(target) {
    const told = target.closest?.(".stream")?.querySelector("title")?.textContent;
    if (told) by("plant-told").textContent = told;
  }
}
