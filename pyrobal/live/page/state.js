// What the user has laid over the case, the way back through it, and what outlives a reload of the page.
//
// A state is {changes: {key: text}, hold: [{reading, value, by}], limits: [text]}. It is a value: a change makes
// another one. The server knows nothing of it but what each request brings.

const STORE = "pyrobal live";
const MOST_STEPS = 200;
const ONE_GESTURE = 800; // ms: steps of one handle that follow each other faster are one change
export const EMPTY = Object.freeze({ changes: {}, hold: [], limits: [] });

/** One text for one state, whatever the order its changes were made in. */
export function named(state) {
  const changes = Object.entries(state.changes).sort(([a], [b]) => (a < b ? -1 : 1));
  return JSON.stringify([changes, state.hold.map(({ reading, value, by }) => [reading, value, by]), state.limits]);
}

export const untouched = (state) => named(state) === named(EMPTY);

export function withChange(state, key, text) {
  const changes = { ...state.changes, [key]: text };
  if (text === null) delete changes[key];
  return { ...state, changes };
}

/** What lies over a setting, or over those of a table, as another state has it. */
export function withThoseOf(state, key, other) {
  const within = (one) => one === key || one.startsWith(`${key}.`);
  const rest = Object.entries(state.changes).map(([one, text]) => [one, within(one) ? other.changes[one] ?? null : text]);
  const lost = Object.entries(other.changes).filter(([one]) => within(one) && !(one in state.changes));
  return { ...state, changes: Object.fromEntries([...rest, ...lost].filter(([, text]) => text !== null)) };
}

/** These settings of a concentrate, by what stands behind its name, and no others; null for none at all. */
export function withConcentrate(state, name, own) {
  const rest = Object.entries(state.changes).filter(([key]) => concentrateOf(key) !== name);
  const laid = Object.entries(own ?? {}).map(([key, text]) => [`concentrate.${name}.${key}`, text]);
  return { ...state, changes: Object.fromEntries([...rest, ...laid]) };
}

/** The name of the concentrate that a setting is of, or null. */
export function concentrateOf(key) {
  const [section, name, ...rest] = key.split(".");
  return section === "concentrate" && name !== "*" && rest.length ? name : null;
}

/** Concentrates that are laid over a case which has others. */
export function addedConcentrates({ changes }, others) {
  const names = Object.keys(changes).map(concentrateOf).filter((name) => name !== null && !others.includes(name));
  return [...new Set(names)];
}

export function withHold(state, hold) {
  const rest = state.hold.filter(({ reading, by }) => reading !== hold.reading && by !== hold.by);
  return { ...state, hold: [...rest, hold] };
}

export function withoutHold(state, reading) {
  return { ...state, hold: state.hold.filter((one) => one.reading !== reading) };
}

/** A limit takes the place of another on the same side of the same reading. */
export function withLimit(state, text) {
  const side = (one) => one.slice(0, one.search(/[<>]=/) + 1);
  return { ...state, limits: [...state.limits.filter((one) => side(one) !== side(text)), text] };
}

export function withoutLimit(state, text) {
  return { ...state, limits: state.limits.filter((one) => one !== text) };
}

/** The part of a link behind "#": one "set", "hold" or "limit" for each part of the state. */
export function fragment(state) {
  const parts = new URLSearchParams();
  for (const [key, text] of Object.entries(state.changes)) parts.append("set", `${key}=${text}`);
  for (const { reading, value, by } of state.hold) parts.append("hold", [reading, value, by].join("|"));
  for (const text of state.limits) parts.append("limit", text);
  return parts.toString();
}

export function fromFragment(text) {
  const parts = new URLSearchParams(text.replace(/^#/, ""));
  const cut = parts.getAll("set").map((one) => [one.indexOf("="), one]).filter(([at]) => at > 0);
  const held = parts.getAll("hold").map((one) => one.split("|")).filter((one) => one.length === 3);
  return {
    changes: Object.fromEntries(cut.map(([at, one]) => [one.slice(0, at), one.slice(at + 1)])),
    hold: held.map(([reading, value, by]) => ({ reading, value, by })),
    limits: parts.getAll("limit"),
  };
}

/** The states gone through, and which of them is in force. */
export class Way {
  constructor({ past = [], now = EMPTY, future = [] } = {}) {
    Object.assign(this, { past, now, future });
    this.gesture = null; // which handle moves, and when it last did
  }

  /** Another state; of the same `gesture` shortly after the one before, it takes its place. */
  go(state, gesture = null) {
    const time = performance.now();
    const same = gesture !== null && this.gesture?.name === gesture && time - this.gesture.time < ONE_GESTURE;
    if (named(state) === named(this.now)) return;
    if (!same) this.past = [...this.past, this.now].slice(-MOST_STEPS);
    this.now = state;
    this.future = [];
    this.gesture = gesture === null ? null : { name: gesture, time };
  }

  /** Puts right what is in force, as if it had never been otherwise. */
  mend(state) {
    this.now = state;
    if (this.past.length && named(this.past.at(-1)) === named(state)) this.past.pop();
  }

  back() {
    if (!this.past.length) return;
    this.future = [this.now, ...this.future];
    this.now = this.past.pop();
    this.gesture = null;
  }

  forward() {
    if (!this.future.length) return;
    this.past = [...this.past, this.now];
    [this.now, ...this.future] = this.future;
    this.gesture = null;
  }

  /** The state before the last change; the same where there was none. */
  get before() {
    return this.past.at(-1) ?? this.now;
  }
}

/** What was stored by this tab, for this case. */
export function restored(file) {
  try {
    const found = JSON.parse(sessionStorage.getItem(STORE));
    return found?.file === file ? found : {};
  } catch {
    return {}; // no storage, or not ours
  }
}

export function store(file, what) {
  try {
    sessionStorage.setItem(STORE, JSON.stringify({ file, ...what }));
  } catch {
    // a full or forbidden store loses what a reload would bring back, and nothing else
  }
}
