// States to compare with: the one before, the case, and those that were given a name, side by side.

import { by, make, tell } from "./dom.js";
import { moved, shown } from "./figures.js";
import { AtRest } from "./server.js";
import { EMPTY, named } from "./state.js";

const MOST_ANSWERS = 60; // states whose figures are remembered

export class Compared {
  /**
   * desk : {mine, way(), digest(), wanted(state, keys), label(key), go(state), pin(item), changed(), failed}; `changed` where
   * other figures are to be shown, or what this tab keeps is another
   */
  constructor(desk) {
    this.desk = desk;
    this.answers = new Map(); // named state -> figures by key
    this.aside = new AtRest("answer", (answered, request) => this.take(answered, request), desk.failed);
    this.moved = new AtRest("moved", (answered) => this.takeMoved(answered), desk.failed);
    by("keep-form").addEventListener("submit", (event) => this.keep(event));
    by("baseline").addEventListener("change", () => {
      desk.mine.baseline = by("baseline").value;
      this.changedHere();
    });
  }

  remember(state, figures) {
    const name = named(state);
    const all = { ...this.answers.get(name), ...figures };
    this.answers.delete(name);
    this.answers.set(name, all);
    if (this.answers.size > MOST_ANSWERS) this.answers.delete(this.answers.keys().next().value);
  }

  forgetAll() {
    this.answers.clear();
  }

  /** The state that the pinned figures are compared with. */
  get baseline() {
    const { mine, way } = this.desk;
    if (mine.baseline === "before") return way().before;
    return mine.kept.find(({ name }) => `kept ${name}` === mine.baseline)?.state ?? EMPTY;
  }

  /** Its figures; undefined where they are not known yet. */
  get before() {
    return this.answers.get(named(this.baseline));
  }

  /** Asks for figures that are not known yet, one state after the other. */
  fill() {
    const { mine, digest, wanted } = this.desk;
    const lacks = (state) => mine.pins.some((key) => !(key in (this.answers.get(named(state)) ?? {})));
    const state = [this.baseline, ...mine.kept.map((one) => one.state)].find(lacks);
    if (state) this.aside.ask([digest(), named(state), ...mine.pins].join("\n"), wanted(state, mine.pins));
  }

  /** Asks what differs most from the baseline. */
  rank() {
    const { digest, wanted, way } = this.desk;
    const { changes, hold, limits } = this.baseline;
    const name = [digest(), named(this.baseline), named(way().now)].join("\n");
    this.moved.ask(name, { ...wanted(way().now, []), before: { changes, hold, limits } });
  }

  takeMoved(answered) {
    if (answered?.moved) moved(answered, this.desk.mine.baseline === "before" ? "before" : by("baseline").selectedOptions[0].textContent, this.desk.pin);
  }

  stop() {
    this.aside.stop();
  }

  take(answered, request) {
    if (!answered) return;
    const nothing = Object.fromEntries(request.read.map((key) => [key, { value: null, text: "-", unit: "" }]));
    this.remember(request, { ...nothing, ...answered.readings });
    this.desk.changed();
    this.show();
    this.fill();
  }

  show() {
    const { mine, way, label, go } = this.desk;
    const options = [["before", "the move before"], ["case", "the case"], ...mine.kept.map(({ name }) => [`kept ${name}`, name])];
    const list = by("baseline");
    if ([...list.options].map((one) => one.value).join("\n") !== options.map(([value]) => value).join("\n"))
      list.replaceChildren(...options.map(([value, text]) => make("option", { value }, text)));
    list.value = options.some(([value]) => value === mine.baseline) ? mine.baseline : "before";
    const column = (name, state, more) => ({ name, state, readings: this.answers.get(named(state)) ?? null, ...more });
    const columns = mine.kept.map(({ name, state }) =>
      column(name, state, { take: () => go(state), forget: () => this.forget(name) }));
    table(columns.length ? [...columns, column("now", way().now, {})] : [], mine.pins, label);
  }

  keep(event) {
    event.preventDefault();
    const { mine, way } = this.desk;
    const [name, same] = free(by("keep-name").value.trim(), mine.kept, way().now);
    mine.kept = [...mine.kept.filter((one) => one !== same), { name, state: way().now }];
    by("keep-name").value = "";
    tell(by("keep-said"), `kept as ${name}`);
    this.changedHere();
  }

  forget(name) {
    const { mine } = this.desk;
    mine.kept = mine.kept.filter((one) => one.name !== name);
    this.changedHere();
    by("keep-name").focus();
  }

  changedHere() {
    this.desk.changed();
    this.show();
    this.fill();
    this.rank();
  }
}

/** Names of all that a state lays over the case, with their texts. */
function laid({ changes, hold, limits }) {
  return new Map([
    ...Object.entries(changes),
    ...hold.map(({ reading, value, by: setting }) => [`${reading} held, by ${setting}`, value]),
    ...limits.map((text) => [text, "limit"]),
  ]);
}

/** What was set in each state, and the pinned figures; `readings` null where they are not known yet. */
function table(columns, pins, label) {
  const settings = [...new Set(columns.flatMap(({ state }) => [...laid(state).keys()]))];
  const set = settings.map((key) => row(key, "", columns.map(({ state }) => laid(state).get(key) ?? "as the case")));
  const told = pins.map((key) => row(label(key), key, columns.map(({ readings }) => (readings ? shown(readings[key]) : "..."))));
  by("kept").replaceChildren(...(columns.length ? [make("table", {},
    make("caption", {}, "States side by side"),
    make("thead", {}, make("tr", {}, make("td"), ...columns.map(head))),
    make("tbody", {}, ...set, ...told))] : []));
}

const row = (name, title, cells) =>
  make("tr", {}, make("th", { scope: "row", title }, name), ...cells.map((text) => make("td", {}, text)));

function head({ name, take, forget }) {
  const act = (text, run) => make("button", {
    type: "button", class: "small", onclick: run, "aria-label": `${text} ${name}`,
  }, text);
  const buttons = take ? [make("div", { class: "screen" }, act("take up", take), " ", act("forget", forget))] : [];
  return make("th", { scope: "col" }, make("bdi", {}, name), ...buttons);
}

/** Another name where this one is taken by another state. */
function free(name, kept, state) {
  const same = kept.find((one) => named(one.state) === named(state));
  if (!name) name = same?.name ?? `state ${kept.length + 1}`;
  const taken = (text) => kept.some((one) => one.name === text && one !== same);
  for (let i = 2, first = name; taken(name); i++) name = `${first} ${i}`;
  return [name, same];
}
