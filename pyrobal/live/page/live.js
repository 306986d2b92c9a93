// The page of `pyrobal live`: what is moved, what is asked, and where the answer is shown.

import { Compared } from "./compare.js";
import { Concentrates } from "./concentrates.js";
import { Details } from "./details.js";
import { by, make, tell } from "./dom.js";
import { Pins, limits, messages, verdict } from "./figures.js";
import { Handles, slides, written } from "./handles.js";
import { wire } from "./keep.js";
import { faultsOf, notice } from "./notices.js";
import { Plant } from "./plant.js";
import { Search } from "./search.js";
import { AtRest, Lane, Unreached, get, hear } from "./server.js";
import {
  EMPTY, Way, concentrateOf, fragment, fromFragment, named, restored, store, untouched, withChange, withConcentrate,
  withHold, withLimit, withThoseOf, withoutHold, withoutLimit,
} from "./state.js";
import { Targets, limitForm } from "./targets.js";
import { Window } from "./window.js";

const SAVE = 150; // ms after the last move, when the address and the store of this tab are written
const NONE = Object.freeze({ unmet: {}, other: "" });
const SLOW = 4000; // ms; a window that took longer is worked out anew only when it is asked for

let found = null; // the case as the server has it
let way = new Way();
let good = null; // {state, answer}: the last that could be answered
let faults = NONE; // of the state in force: targets that cannot be met, and what belongs to no field
const mine = { pins: [], curve: "", axes: [], added: [], kept: [], baseline: "before" }; // of this tab
let moving = null; // key of the handle that moved last: its own curve stays true
let asked = 0;
const known = { readings: new Map(), settings: new Map() }; // by key

const readings = () => [...known.readings.values()];
const label = (key) => known.readings.get(key)?.label ?? key;
const settings = () => [...known.settings.values()];

const answer = new Lane("answer", take, failed);
const curves = new AtRest("curves", takeCurves, failed);
const pair = new AtRest("window", takeWindow, failed);

const handles = new Handles(change, takeOff);
const compared = new Compared({
  mine, wanted, failed, way: () => way, digest: () => found.digest, label, go: (state) => (moving = null, go(state)),
  changed: () => (save(), showPins()), pin,
});
const details = new Details({ mine, wanted, failed, way: () => way, digest: () => found.digest, label, changed: save });
const pins = new Pins(unpin, offerHold, (key) => details.explain(key));
new ResizeObserver(([{ target }]) =>
  by("main").style.setProperty("--figures", `${target.offsetHeight}px`)).observe(by("figures"));
const plant = new Plant(() => found && ask());
const pairView = new Window(movePair);
const concentrates = new Concentrates({
  lay: (name, own) => (moving = null, go(withConcentrate(way.now, name, own)), setHandles()),
  known: () => found,
});
const targets = new Targets({
  hold: (hold) => go(withHold(way.now, hold)),
  release: (reading) => go(withoutHold(way.now, reading)),
  readings,
  settings: () => settings().filter(slides),
});
const curveChoice = new Search(by("curve-choice"), {
  label: "Curves show", items: readings, keep: true, pick: ({ key }) => {
    mine.curve = key;
    save();
    ask();
  },
});

// ---- moves ----

/** Another state is in force. `gesture`: what moves, whose own curve stays true. */
function go(state, gesture = null) {
  way.go(state, gesture);
  inForce();
}

function inForce() {
  faults = NONE;
  notice("refused", null);
  tell(by("limit-fault"), "");
  show();
  save();
  ask();
}

function change(key, text, settled) {
  moving = key;
  if (text === null) return giveBack(key);
  go(withChange(way.now, key, text), `set ${key}`);
}

/** As the case has it: one that has no such concentrate has nothing of it. */
function giveBack(key) {
  const added = addedTo(key);
  go(added === null ? withChange(way.now, key, null) : withConcentrate(way.now, added, null));
  if (added !== null) setHandles();
}

/** The concentrate added on this page that is fed by a setting, or null. */
function addedTo(key) {
  const name = concentrateOf(key);
  return name !== null && key.endsWith(`.${found.fed_by}`) && !found.concentrates.includes(name) ? name : null;
}

function movePair([x, y]) {
  const [a, b] = pairView.handles;
  moving = null;
  go(withChange(withChange(way.now, a.key, written(a, x)), b.key, written(b, y)), "window");
}

function step(direction) {
  moving = null;
  way[direction]();
  inForce();
}

function takeOff(key) {
  mine.added = mine.added.filter((one) => one !== key);
  giveBack(key);
  setHandles();
}

// ---- asking ----

function wanted(state, keys) {
  return { ...state, number: ++asked, read: keys };
}

function ask() {
  const keys = [...new Set([...mine.pins, mine.curve, ...way.now.hold.map(({ reading }) => reading)])];
  const request = { ...wanted(way.now, keys), keys: mine.added, picture: plant.wanted };
  by("main").dataset.asked = request.number;
  by("main").setAttribute("aria-busy", "true");
  compared.stop();
  details.outdate();
  if (curves.outdated(curvesName())) {
    handles.outdate(moving);
    by("curves-said").hidden = curves.took < SLOW;
  }
  if (pair.outdated(pairName())) pairView.outdate();
  answer.ask(request);
}

/** What the curves are of: a state and a reading; what the window is of: a state but for its own two settings. */
const curvesName = () => [found.digest, named(way.now), mine.curve, ...handles.sliding].join("\n");

function pairName() {
  const [x, y] = mine.axes;
  return [found.digest, named(withChange(withChange(way.now, x, null), y, null)), x, y, mine.curve].join("\n");
}

const stateOf = ({ changes, hold, limits: some }) => ({ changes, hold, limits: some });

function take(answered, request, last) {
  if (answered.digest !== found.digest) return last && load(true); // the file changed meanwhile
  const state = stateOf(request);
  if (!answered.ok) return last && refuse(answered, state);
  good = { state, answer: answered };
  if (more(answered) && last) setHandles();
  compared.remember(state, answered.readings);
  if (last) faults = NONE;
  showAnswer(answered, last);
  const again = last && plant.show(answered.picture, answered.quantities);
  shown(answered.number);
  if (last && !again) atRest();
}

/** Settings and readings of a state beyond those of the case as the file has it; whether settings were unknown. */
function more({ more_settings, more_readings }) {
  for (const one of more_readings) known.readings.set(one.key, one);
  const unknown = more_settings.filter(({ key }) => !known.settings.has(key));
  for (const one of more_settings) known.settings.set(one.key, one);
  return unknown.length > 0;
}

/** The answer to a request stands in the page. */
function shown(number) {
  by("main").dataset.answered = number;
  by("main").setAttribute("aria-busy", String(by("main").dataset.asked !== String(number)));
}

/** Wrong texts leave the state and stay in their fields; a target that cannot be met stays, and says so. */
function refuse({ errors = {}, unmet = {}, limit_errors = {}, number }, state) {
  const { "": other = "", ...wrong } = errors;
  const lost = other ? [other] : [];
  const form = concentrates.refuse(wrong);
  let mended = state;
  for (const [key, text] of Object.entries(wrong)) {
    const told = form.told.includes(key);
    mended = withThoseOf(mended, told ? form.table : key, good?.state ?? EMPTY);
    if (!told && !handles.wrong(key, text)) lost.push(`${key}: ${text}`);
  }
  for (const text of Object.keys(limit_errors)) mended = withoutLimit(mended, text);
  tell(by("limit-fault"), Object.values(limit_errors).join("; "));
  faults = { unmet, other };
  notice("refused", lost.length ? lost.map((text) => make("p", {}, text)) : null);
  way.mend(mended);
  if (form.told.length) setHandles();
  show();
  showPins();
  save();
  shown(number);
  if (good && named(mended) === named(good.state)) atRest();
  else if (named(mended) !== named(state)) ask();
}

function atRest() {
  tell(by("said"), good.answer.headline);
  compared.rank();
  details.rest();
  const keys = handles.sliding;
  if (mine.curve && keys.length) curves.ask(curvesName(), { ...wanted(way.now, [mine.curve]), read: mine.curve, keys });
  else takeCurves(null);
}

function takeCurves(answered) {
  by("curves-said").hidden = true;
  if (answered?.curves) handles.curves(answered.curves, label(mine.curve));
  const [x, y] = mine.axes;
  const led = [x, y].find((key) => way.now.hold.some((one) => one.by === key));
  if (led) pairView.refuse(`${known.settings.get(led).label} follows a target; choose another setting for the window.`);
  else if (x && y && x !== y) {
    const ask_ = () => pair.ask(pairName(), { ...wanted(way.now, [mine.curve]), x, y });
    if (pair.took > SLOW && pair.outdated(pairName())) pairView.offer(ask_);
    else ask_();
  }
  compared.fill();
}

function takeWindow(answered) {
  if (!answered) return;
  const [x, y] = mine.axes.map((key) => known.settings.get(key));
  if (answered.cells && x && y) pairView.show(answered, x, y, label(mine.curve));
  else pairView.refuse(Object.values(answered.errors ?? {}).join("; "));
}

// ---- showing ----

function showAnswer(answered, last) {
  verdict(answered);
  showPins();
  by("window-limit").hidden = answered.limits.length > 0;
  limits(answered.limits, (text) => go(withoutLimit(way.now, text)));
  messages(answered.messages);
  if (last) show();
}

/** What depends on the state and the last good answer. */
function show() {
  const { now } = way;
  const labelled = now.hold.map((hold) => ({ ...hold, label: label(hold.reading) }));
  const current = good && named(good.state) === named(now);
  if (current) handles.show(good.answer.settings, now.changes, labelled);
  concentrates.show(now, good?.state);
  targets.show(now.hold, faults.unmet, good?.answer.settings ?? {});
  by("old").hidden = !(Object.keys(faults.unmet).length > 0 || faults.other !== "");
  by("back").disabled = !way.past.length;
  by("forward").disabled = !way.future.length;
  by("reset").disabled = untouched(now);
  const at = pairView.handles?.map(({ key }) => good?.answer.settings[key]?.value ?? null);
  if (current && at) pairView.at(at);
  compared.show();
}

function showPins() {
  if (good) pins.show(mine.pins, known.readings, good.answer.readings, compared.before);
}

// ---- pins, curves, axes, kept states ----

function pin({ key }) {
  if (!mine.pins.includes(key)) mine.pins = [...mine.pins, key];
  save();
  ask();
}

function unpin(key) {
  mine.pins = mine.pins.filter((one) => one !== key);
  save();
  showPins();
  compared.show();
  by("pins").focus();
}

/** A reading as it is typed. */
function textOf(reading) {
  const { value = null, text, unit } = reading ?? {};
  return value === null ? "" : unit === "-" ? text : `${text} ${unit}`;
}

function offerHold(key) {
  const sliding = found.handles.filter(slides);
  targets.offer(known.readings.get(key), textOf(good.answer.readings[key]), sliding.find((one) => one.key === moving) ?? sliding[0]);
}

function add(item) {
  if (!mine.added.includes(item.key)) mine.added = [...mine.added, item.key];
  known.settings.set(item.key, known.settings.get(item.key) ?? item);
  save();
  setHandles();
  ask();
  document.getElementById(`set-${item.key}`)?.focus();
}

/** A key typed by hand, such as one of a table that the case does not have yet. */
function typedKey(text) {
  return /^[\w-]+(\.[^.=]+)+$/.test(text) ? { key: text, label: text, unit: "", kind: "words", meaning: "a key as you typed it" } : null;
}

/** Of a concentrate that was added only its feed has one; the rest stands in its form. */
function hasHandle(key) {
  const name = concentrateOf(key);
  return name === null || found.concentrates.includes(name) || addedTo(key) !== null;
}

let saving = null;
function save() {
  clearTimeout(saving);
  saving = setTimeout(saveNow, SAVE);
}

function saveNow() {
  if (!found) return;
  clearTimeout(saving);
  const { past, now, future } = way;
  store(found.file, { way: { past, now, future }, mine: { ...mine, quantity: by("quantity").value } });
  const part = untouched(now) ? "" : `#${fragment(now)}`;
  if (location.hash !== part) history.replaceState(null, "", part || location.pathname);
}

// ---- the case, at first and whenever its file changes ----

/** `again`: even where nothing changed, because answers may have been lost. */
async function load(again = false) {
  try {
    const first = found === null;
    const [before, complete] = [found?.digest, found?.complete];
    found = await get("case");
    notice("stopped", null);
    if (found.digest === before && found.complete === complete && !again) return;
    document.title = `${found.title || found.file}: pyrobal live`;
    tell(by("title"), found.title || "pyrobal live");
    tell(by("file"), found.file + (first || found.digest === before ? "" : `, read again at ${new Date().toLocaleTimeString()}`));
    tell(by("caution"), found.caution);
    faultsOf(found);
    by("main").classList.toggle("waiting", !found.handles.length);
    if (!found.handles.length) return (tell(by("verdict"), ""), (found = null));
    known.readings = new Map(found.readings.map((one) => [one.key, one]));
    known.settings = new Map([...found.settings, ...found.handles].map((one) => [one.key, one]));
    if (first) begin();
    compared.forgetAll();
    mine.axes = mine.axes.filter((key) => slides(known.settings.get(key) ?? {}));
    for (const one of found.handles.filter(slides)) if (mine.axes.length < 2 && !mine.axes.includes(one.key)) mine.axes.push(one.key);
    if (!known.readings.has(mine.curve)) mine.curve = found.curve;
    concentrates.begin();
    curveChoice.set(known.readings.get(mine.curve));
    setHandles();
    inForce();
  } catch (error) {
    failed(error);
  }
}

/** What this tab had before a reload, or what a link says. */
function begin() {
  const before = restored(found.file);
  Object.assign(mine, { pins: [...found.pinned], ...before.mine });
  plant.chosen = before.mine?.quantity;
  way = new Way(before.way);
  if (location.hash.length > 1) way.go(fromFragment(location.hash));
}

function setHandles() {
  const own = new Set(found.handles.map(({ key }) => key));
  const laid = [...mine.added, ...Object.keys(way.now.changes).filter(hasHandle)].filter((key) => !own.has(key));
  const more = [...new Set(laid)].map((key) => known.settings.get(key) ?? { ...typedKey(key), key, label: key, kind: "words" });
  handles.set(found.handles, more);
  const movable = [...found.handles, ...more].filter(slides);
  for (const [i, axis] of ["x", "y"].entries()) {
    by(`window-${axis}`).replaceChildren(...movable.map(({ key, label }) => make("option", { value: key }, label)));
    by(`window-${axis}`).value = mine.axes[i] ?? "";
  }
  by("window").hidden = movable.length < 2;
}

function failed(error, say) {
  if (error instanceof Unreached) return stopped();
  if (say) return say(error.message);
  notice("refused", [make("p", {}, `The server could not answer: ${error.message}`)]);
}

function stopped() {
  document.body.classList.add("stopped");
  notice("stopped", [make("p", {}, make("strong", {}, "The server has stopped. "),
    "What is shown is the last answer. This page comes back by itself when the server runs again at this address.")]);
}

function back() {
  document.body.classList.remove("stopped");
  load(true);
}

// ---- wires ----

for (const direction of ["back", "forward"]) by(direction).addEventListener("click", () => step(direction));
by("reset").addEventListener("click", () => (moving = null, go(EMPTY)));
addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.target.matches?.("input:not([type=range]), textarea")) return;
  const letter = event.key.toLowerCase();
  const direction = letter === "z" ? (event.shiftKey ? "forward" : "back") : letter === "y" ? "forward" : null;
  if (!direction || by(direction).disabled) return;
  event.preventDefault();
  step(direction);
});
addEventListener("hashchange", () => (moving = null, go(fromFragment(location.hash)), setHandles()));
addEventListener("pagehide", saveNow);
for (const [i, axis] of ["x", "y"].entries())
  by(`window-${axis}`).addEventListener("change", (event) => {
    mine.axes[i] = event.target.value;
    save();
    pairView.outdate();
    takeCurves(null);
  });
new Search(by("pin-search"), { label: "Pin a figure", items: readings, pick: pin, free: typedKey, placeholder: "slag viscosity" });
new Search(by("handle-search"), { label: "Another setting", items: settings, pick: add, free: typedKey, placeholder: "heat loss" });
const limitOf = limitForm(readings, (text) => go(withLimit(way.now, text)));
by("window-limit-add").addEventListener("click", () => limitOf(known.readings.get(mine.curve), textOf(good.answer.readings[mine.curve])));
wire(() => way.now, failed);
by("theme").addEventListener("click", () => {
  const root = document.documentElement;
  const dark = root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  root.dataset.theme = dark ? "light" : "dark";
  by("theme").setAttribute("aria-pressed", String(!dark));
});
hear({ changed: () => load(), stopped, back });
