// What is asked for apart: the tables of a part of the report, and how one figure came about.

import { by, make, tell } from "./dom.js";
import { AtRest } from "./server.js";
import { named } from "./state.js";

const FIRST = "smelting"; // part of the report that is shown first, where the case has it

export class Details {
  /** desk : {mine, way(), digest(), wanted(state, keys), label(key), changed(), failed}; `changed`: what this tab keeps is another */
  constructor(desk) {
    this.desk = desk;
    this.tables = new AtRest("tables", (answered) => answered && this.show(answered), desk.failed);
    this.story = new AtRest("explain", (answered) => answered && this.tell(answered), desk.failed);
    by("tables-more").addEventListener("toggle", () => this.rest());
    by("tables-word").addEventListener("change", () => {
      desk.mine.part = by("tables-word").value;
      desk.changed();
      this.rest();
    });
    by("explained-close").addEventListener("click", () => (by("explained").hidden = true));
  }

  /** The handles rest: the tables are those of the state. */
  rest() {
    if (!by("tables-more").open) return;
    const { digest, way, wanted, mine } = this.desk;
    const what = mine.part || FIRST;
    this.tables.ask([digest(), named(way().now), what].join("\n"), { ...wanted(way().now, []), what });
  }

  /** Another state is in force. */
  outdate() {
    if (this.asked !== named(this.desk.way().now)) tell(by("explained-said"), this.told ? "of a state before this one" : "");
  }

  show({ words, word, tables, errors }) {
    if (!words) return tell(by("tables-said"), Object.values(errors).join("; "));
    const list = by("tables-word");
    if ([...list.options].map((one) => one.value).join() !== words.join())
      list.replaceChildren(...words.map((one) => make("option", { value: one }, one.replaceAll("_", " "))));
    list.value = word;
    tell(by("tables-of"), word.replaceAll("_", " "));
    tell(by("tables-said"), "");
    by("tables-list").replaceChildren(...tables.map(table));
  }

  explain(key) {
    const { digest, way, wanted, label } = this.desk;
    by("explained").hidden = false;
    tell(by("explained-title"), `How ${label(key)} came about`);
    tell(by("explained-said"), "being worked out");
    tell(by("explained-lines"), "");
    this.told = false;
    this.asked = named(way().now);
    by("explained").focus();
    by("explained").scrollIntoView({ block: "nearest" });
    this.story.ask([digest(), this.asked, key].join("\n"), { ...wanted(way().now, []), what: key });
  }

  tell({ lines, errors, unmet }) {
    this.told = true;
    tell(by("explained-said"), lines ? "" : Object.values({ ...errors, ...unmet }).join("; "));
    tell(by("explained-lines"), (lines ?? []).join("\n"));
    this.outdate();
  }
}

const NUMBER = /^[-+]?[\d.]*(e[-+]?\d+)?$/i;

function table({ title, columns, rows, notes }) {
  const words = columns.map((_, i) => rows.some((row) => !NUMBER.test(row[i])));
  const kind = (i) => ({ class: words[i] ? "words" : null });
  const heads = columns.map(({ name, unit }, i) => make("th", { scope: "col", ...kind(i) }, unit && unit !== "-" ? `${name}, ${unit}` : name));
  const cell = (text, i) => (i ? make("td", kind(i), text) : make("th", { scope: "row" }, text));
  return make("div", { class: "wide" }, make("table", {},
    make("caption", {}, title), make("thead", {}, make("tr", {}, ...heads)),
    make("tbody", {}, ...rows.map((row) => make("tr", {}, ...row.map(cell))))),
  ...notes.map((note) => make("p", { class: "soft" }, note)));
}
