// The settings that can be moved: sliders with a field and a curve, lists of choices.

import { Curve } from "./curve.js";
import { by, make, number, tell } from "./dom.js";

const BARE = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i; // a number without a unit has that of the field

/** How a value of this handle is written, so that the case reader takes it. */
export function written(handle, value) {
  const places = Math.max(0, Math.min(12, Math.ceil(-Math.log10(handle.step) + 1)));
  return withUnit(handle, String(Number(value.toFixed(places))));
}

function withUnit({ unit }, text) {
  return BARE.test(text) && unit && unit !== "-" ? `${text} ${unit}` : text;
}

class Handle {
  /** `change(key, text|null, settled)`: null gives the setting back to the case; `remove` for one added by search. */
  constructor(handle, change, remove) {
    this.handle = handle;
    this.key = handle.key;
    this.change = change;
    const id = `set-${handle.key}`;
    this.fault = make("p", { class: "fault", id: `${id}-fault`, role: "alert" });
    this.note = make("span", { class: "allowed", id: `${id}-note` });
    this.undo = make("button", {
      type: "button", class: "small undo", disabled: true, title: "as the case has it",
      "aria-label": `${handle.label}: as the case has it`, onclick: () => this.giveBack(),
    }, "\u21ba");
    this.head = make("div", { class: "head" },
      make("label", { for: id, title: `${handle.key}: ${handle.meaning ?? ""}` }, handle.label));
    this.element = make("div", { class: "handle", role: "group", "aria-label": handle.label }, this.head);
    this.build(id);
    this.head.append(this.undo);
    if (remove) this.head.append(make("button", { type: "button", class: "small", title: "take off this page",
      "aria-label": `${handle.label}: take off this page`, onclick: () => remove(this.key) }, "\u2715"));
    this.element.append(this.fault);
  }

  giveBack() {
    this.wrong("");
    this.shown = this.field.value;
    this.change(this.key, null, true);
    this.field.focus();
  }

  /** What is wrong with the text of the field, which stays as it was typed; "" for nothing. */
  wrong(text) {
    tell(this.fault, text);
    this.field.setAttribute("aria-invalid", String(text !== ""));
    if (text) this.field.setAttribute("aria-describedby", this.fault.id);
    else this.field.removeAttribute("aria-describedby");
    this.element.classList.toggle("wrong", text !== "");
  }

  /** Whether the case has another value. */
  changed(is) {
    this.undo.disabled = !is;
    this.element.classList.toggle("changed", is);
  }
}

/** A number: slider, field, curve. */
class Slider extends Handle {
  build(id) {
    const { handle } = this;
    this.field = make("input", {
      id, type: "text", inputmode: "text", autocomplete: "off", spellcheck: "false", class: "value",
      title: handle.units?.length ? `in ${handle.units.join(", ")}` : "",
      onchange: () => this.typed(), onfocus: () => this.field.select(),
      onkeydown: (event) => event.key === "Escape" && this.escape(),
    });
    this.head.append(make("span", { class: "entry" }, this.field, make("span", { class: "unit" }, shown(handle.unit))));
    this.range = make("input", {
      type: "range", step: handle.step, "aria-label": `${handle.label}, slider`,
      oninput: () => this.moved(false), onchange: () => this.moved(true),
    });
    this.ends = [make("span", { "aria-hidden": "true" }), make("span", { "aria-hidden": "true" })];
    this.element.append(this.range);
    this.curve = new Curve((x) => this.move(x));
    this.curve.plot.after(make("div", { class: "ends soft" }, this.ends[0], this.note, this.ends[1]));
    this.element.append(this.curve.element);
    this.span(handle.value);
    tell(this.note, allowed(handle));
  }

  /** The range of the slider holds the value, whatever was typed. */
  span(value) {
    const { low, high, step } = this.handle;
    const beyond = value !== null && Number.isFinite(value);
    this.low = beyond && value < low ? value : low;
    this.high = beyond && value > high ? value : high;
    this.range.min = this.low;
    this.range.max = this.high;
    this.range.step = step;
    this.ends.forEach((end, i) => tell(end, number([this.low, this.high][i])));
  }

  moved(settled) {
    this.wrong("");
    const value = Number(this.range.value);
    this.field.value = number(value, 6);
    this.curve.at(value);
    this.change(this.key, written(this.handle, value), settled);
  }

  move(x) {
    this.wrong("");
    this.change(this.key, written({ ...this.handle, step: this.handle.step / 1000 }, x), true);
  }

  typed() {
    const text = this.field.value.trim();
    if (!text) return this.giveBack();
    this.wrong("");
    this.shown = this.field.value; // no longer typed: the answer may write it anew
    this.change(this.key, withUnit(this.handle, text), true);
  }

  escape() {
    this.wrong("");
    if (this.now) this.field.value = this.now.text;
  }

  /** `now`: {value, text} of the last answer. The text that is typed, or wrong, is left alone. */
  show(now) {
    const unset = now.value === null; // a slider that sets it as soon as it moves
    this.now = { ...now, text: unset ? now.text : number(now.value, 6) };
    this.field.placeholder = unset ? "not set" : "";
    this.element.classList.toggle("unset", unset);
    const typing = document.activeElement === this.field && this.field.value !== this.shown;
    if (!typing && this.field.getAttribute("aria-invalid") !== "true") this.field.value = this.shown = this.now.text;
    this.span(now.value);
    if (!unset && (document.activeElement !== this.range || Math.abs(this.range.value - now.value) > this.handle.step))
      this.range.value = now.value;
    this.range.setAttribute("aria-valuetext", unset ? this.now.text || "not set" : `${this.now.text} ${shown(this.handle.unit)}`);
    this.curve.at(now.value);
  }

  /** It follows a target, which says so; or it does not. */
  follow(text) {
    this.range.disabled = this.field.disabled = text !== "";
    tell(this.note, text || allowed(this.handle));
  }
}

/** One of a few words. */
class Choice extends Handle {
  build(id) {
    this.field = make("select", { id, onchange: () => {
      this.wrong("");
      this.change(this.key, this.field.value, true);
    } }, ...this.handle.choices.map((one) => make("option", { value: one }, one.replaceAll("_", " "))));
    this.head.append(make("span", { class: "entry" }, this.field));
  }

  show({ text }) {
    this.field.value = text;
  }

  follow() {}
}

/** A word, a list, a key typed by hand: a field and nothing else. */
class Words extends Handle {
  build(id) {
    this.field = make("input", { id, type: "text", autocomplete: "off", spellcheck: "false", class: "value words",
      onchange: () => {
        this.wrong("");
        this.change(this.key, this.field.value.trim() || null, true);
      } });
    this.head.append(make("span", { class: "entry" }, this.field));
  }

  show({ text }) {
    if (document.activeElement !== this.field) this.field.value = text;
  }

  follow() {}
}

const shown = (unit) => (unit === "-" ? "" : unit);

function allowed({ least, most, unit }) {
  const [low, high] = [least ?? null, most ?? null];
  const behind = unit && unit !== "-" ? ` ${unit}` : "";
  if (low === null && high === null) return "";
  if (low === null) return `allowed to ${number(high)}${behind}`;
  return high === null ? `allowed from ${number(low)}${behind}` : `allowed ${number(low)} to ${number(high)}${behind}`;
}

/** Whether a slider can be made of it. */
export const slides = ({ kind, low, high }) =>
  kind === "number" && Number.isFinite(low) && Number.isFinite(high) && high > low;

export class Handles {
  constructor(change, remove) {
    Object.assign(this, { change, remove });
    this.by = new Map();
    this.place = by("handle-list");
    this.choices = by("choices");
  }

  /** Those of the case first, then those that were added; what stays keeps its place and its focus. */
  set(handles, added) {
    const wanted = [...handles, ...added];
    const gone = [...this.by].filter(([key, { handle }]) =>
      !wanted.some((one) => one.key === key && one.kind === handle.kind && one.unit === handle.unit));
    for (const [key, one] of gone) {
      one.element.remove();
      this.by.delete(key);
    }
    wanted.forEach((handle) => {
      const known = this.by.get(handle.key);
      if (known) return void (known.handle = handle);
      const kind = slides(handle) ? Slider : handle.choices?.length ? Choice : Words;
      const made = new kind(handle, this.change, added.includes(handle) ? this.remove : null);
      this.by.set(handle.key, made);
      (kind === Choice ? this.choices : this.place).append(made.element);
    });
    const choices = [...this.by.values()].filter((one) => one instanceof Choice);
    this.choices.hidden = !choices.length;
    tell(this.choices.firstElementChild, `Choices: ${choices.length}`);
  }

  /** The keys whose curve is wanted. */
  get sliding() {
    return [...this.by.values()].filter((one) => one.curve && !one.range.disabled).map((one) => one.key);
  }

  /** As the last answer has them. `changes`: what lies over the case; `holds`: which setting follows what. */
  show(settings, changes, holds) {
    for (const [key, one] of this.by) {
      const hold = holds.find(({ by: setting }) => setting === key);
      one.follow(hold ? `follows: ${hold.label} held at ${hold.value}` : "");
      one.changed(key in changes);
      if (settings[key]) one.show(settings[key]);
    }
  }

  curves(found, reading) {
    for (const [key, curve] of Object.entries(found)) {
      const one = this.by.get(key);
      one?.curve?.show(curve, [one.low, one.high], reading, one.now?.value ?? null);
    }
  }

  /** All curves but that of the handle that moves have become old. */
  outdate(but) {
    for (const [key, one] of this.by) if (key !== but) one.curve?.outdate();
  }

  wrong(key, text) {
    const one = this.by.get(key);
    one?.wrong(text);
    if (one instanceof Choice) this.choices.open = true;
    return one !== undefined;
  }
}
