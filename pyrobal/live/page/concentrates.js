// Concentrates that the case does not have: named, assayed and rated in a form, laid over the case as any change.

import { by, make, tell } from "./dom.js";
import { addedConcentrates, concentrateOf } from "./state.js";

const FIRST = ["Cu", "Fe", "S", "SiO2", "Al2O3", "CaO", "MgO", "As"]; // lines the form begins with
const NAME = /^[^.="]{1,60}$/;

export class Concentrates {
  /**
   * `lay(name, changes)`: these settings, and no other, are what the concentrate of that name has over the case; null
   * takes it off. `known()`: {concentrates, assay, minerals, fed_by} of the case as the file has it
   */
  constructor({ lay, known }) {
    Object.assign(this, { lay, known, waiting: null, old: null });
    this.more = by("concentrate-more");
    this.place = by("concentrate-lines");
    this.fault = by("concentrate-fault");
    this.plain = ["name", "feed", "moisture"].map((name) => ({ name, field: by(`concentrate-${name}`), fault: by(`concentrate-${name}-fault`) }));
    by("concentrate-form").addEventListener("submit", (event) => this.submit(event));
    this.place.addEventListener("input", () => this.room());
    this.place.addEventListener("paste", (event) => this.paste(event));
    this.more.addEventListener("toggle", () => this.more.open && !this.place.children.length && this.fill("", {}));
  }

  /** What the case as the file has it allows. */
  begin() {
    const { assay, minerals, fed_by } = this.known();
    by("concentrate-names").replaceChildren(...[...assay, ...minerals].map((value) => make("option", { value })));
    tell(by("concentrate-feed-label"), fed_by);
    tell(by("concentrate-feed-unit"), fed_by === "rate" ? "t/h, dry" : "% of the dry blend");
  }

  /** The concentrates of a state, and the form closed once the last of its answers has what was sent. */
  show(state, good) {
    const names = addedConcentrates(state, this.known().concentrates);
    by("concentrates").replaceChildren(...names.map((name) => {
      const act = (text, run) => make("button", { type: "button", class: "small", "aria-label": `${text} ${name}`, onclick: run }, text);
      return make("li", {}, make("bdi", {}, name), " ", act("change", () => this.open(name, state)), " ",
        act("take off", () => this.lay(name, null)));
    }));
    if (this.waiting !== null && good && addedConcentrates(good, this.known().concentrates).includes(this.waiting)) this.done();
  }

  done() {
    this.waiting = this.old = null;
    this.more.open = false;
    this.place.replaceChildren();
  }

  /** The form with what a concentrate has. */
  open(name, { changes }) {
    this.old = name;
    const own = Object.entries(changes).filter(([key]) => concentrateOf(key) === name);
    this.fill(name, Object.fromEntries(own.map(([key, text]) => [key.split(".").slice(2).join("."), text])));
    this.more.open = true;
    this.plain[0].field.focus();
  }

  fill(name, has) {
    const { fed_by } = this.known();
    this.plain.forEach((one, i) => {
      one.field.value = [name, has[fed_by] ?? "", has.moisture ?? ""][i];
    });
    const lines = Object.entries(has).filter(([key]) => key.includes(".")).map(([key, text]) => [key.split(".")[1], text]);
    this.place.replaceChildren();
    for (const [line, text] of lines.length ? lines : FIRST.map((one) => [one, ""])) this.line(line, text);
    this.wrong({});
    this.room();
  }

  line(name = "", text = "") {
    const id = `concentrate-line-${this.place.children.length}`;
    const row = make("div", { class: "assay-line" },
      make("input", { value: name, size: 8, list: "concentrate-names", autocomplete: "off", spellcheck: "false", "aria-label": "element, compound or mineral" }),
      make("input", { value: text, size: 7, id, autocomplete: "off", "aria-label": `of ${name || "it"}, in % unless a unit is given`, "aria-describedby": `${id}-fault` }),
      make("span", { class: "soft" }, "%"), make("p", { class: "fault", id: `${id}-fault`, role: "alert" }));
    this.place.append(row);
    return row;
  }

  get rows() {
    return [...this.place.children].map((row) => {
      const [name, value] = [...row.querySelectorAll("input")];
      return { name, value, row, fault: row.querySelector(".fault") };
    });
  }

  /** There is always one line more to write in; a unit that is written stands instead of the per cent. */
  room() {
    for (const { value, row } of this.rows) row.querySelector("span").hidden = /[a-z%]/i.test(value.value);
    const last = this.rows.at(-1);
    if (!last || last.name.value || last.value.value) this.line();
  }

  /** Lines of a sheet, one below the other or side by side. */
  paste(event) {
    const text = event.clipboardData.getData("text").trim();
    if (!/[\t\n]/.test(text)) return;
    event.preventDefault();
    const cells = text.split(/\r?\n/).map((row) => row.split(/\t|\s+/).map((cell) => cell.trim()).filter(Boolean));
    const across = cells.length === 2 && cells[0].length === cells[1].length && cells[0].length > 2;
    const pairs = across ? cells[0].map((name, i) => [name, cells[1][i]]) : cells.map(([name, ...rest]) => [name, rest.join(" ")]);
    this.place.replaceChildren();
    for (const [name, value] of pairs) this.line(name, value);
    this.room();
  }

  submit(event) {
    event.preventDefault();
    const [name, feed, moisture] = this.plain.map(({ field }) => field.value.trim());
    const { concentrates, minerals, fed_by } = this.known();
    const own = { [fed_by]: feed, ...(moisture ? { moisture } : {}) };
    const faults = {};
    if (!NAME.test(name)) faults.name = name ? 'holds a dot, a quote or "=", or is too long; names become parts of keys' : "is empty; a name is needed";
    else if (concentrates.includes(name)) faults.name = "the case has a concentrate of this name";
    if (!feed) faults[fed_by] = `is missing, e.g. ${fed_by === "rate" ? "8.5 t/h" : "10 %"}`;
    for (const { name: line, value, fault } of this.rows) {
      tell(fault, "");
      const [key, text] = [line.value.trim(), value.value.trim()];
      if (text && !key) tell(fault, "of which element, compound or mineral?");
      else if (text) own[`${minerals.includes(key) ? "minerals" : "assay"}.${key}`] = text;
    }
    this.wrong(faults);
    if (Object.keys(faults).length || this.rows.some(({ fault }) => fault.textContent)) return;
    const bare = /^[\d.]+$/;
    if (bare.test(own[fed_by])) own[fed_by] += fed_by === "rate" ? " t/h" : " %";
    if (bare.test(own.moisture)) own.moisture += " %";
    if (this.old !== null && this.old !== name) this.lay(this.old, null);
    this.old = this.waiting = name;
    this.lay(name, own);
  }

  /** Faults by what stands behind the name of the concentrate in a key; "" belongs to the whole of it. */
  wrong(faults) {
    const left = { ...faults };
    const say = (fault, field, ...keys) => {
      const key = keys.find((one) => left[one]);
      tell(fault, key ? left[key] : "");
      field.setAttribute("aria-invalid", String(key !== undefined));
      delete left[key];
    };
    for (const { name, field, fault } of this.plain) say(fault, field, name === "feed" ? this.known().fed_by : name);
    for (const { name, value, fault } of this.rows) {
      const line = name.value.trim();
      say(fault, value, `assay.${line}`, `minerals.${line}`);
    }
    tell(this.fault, Object.entries(left).map(([key, text]) => `${key} ${text}`.trim()).join("; "));
  }

  /** What the server says of the one that was sent: the keys whose faults the form tells, and the table they are of. */
  refuse(errors) {
    const name = this.waiting;
    const told = name === null ? [] : Object.keys(errors).filter((key) => `${key}.`.startsWith(`concentrate.${name}.`) || key === "concentrate");
    if (told.length) {
      this.wrong(Object.fromEntries(told.map((key) => [key.split(".").slice(2).join("."), errors[key]])));
      this.more.open = true;
    }
    this.waiting = null;
    return { told, table: `concentrate.${name}` };
  }
}
