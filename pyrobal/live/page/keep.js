// What is kept: named states side by side, the case, the report, the command lines, a link.

import { by, make, tell } from "./dom.js";
import { shown } from "./figures.js";
import { fragment, named, untouched } from "./state.js";
import { post } from "./server.js";

/** Names of all that a state lays over the case, with their texts. */
function laid({ changes, hold, limits }) {
  return new Map([
    ...Object.entries(changes),
    ...hold.map(({ reading, value, by: setting }) => [`${reading} held, by ${setting}`, value]),
    ...limits.map((text) => [text, "limit"]),
  ]);
}

/**
 * States side by side: what was set in each, and the pinned figures.
 *
 * columns : [{name, state, readings, take, forget}], readings null where they are not known yet
 */
export function table(columns, pins, label) {
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

/** Downloads and the clipboard; each says what it did. `now()`: the state in force. */
export function wire(now, failed) {
  const say = (text) => tell(by("keep-said"), text);
  const save = async (what) => {
    try {
      const response = await post("keep", { ...now(), what });
      const named_ = /filename="?([^";]+)"?/.exec(response.headers.get("Content-Disposition") ?? "");
      const name = named_ ? named_[1] : what === "report" ? "report.html" : "case.toml";
      const link = make("a", { href: URL.createObjectURL(await response.blob()), download: name });
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 1000);
      say(`${name} is in your downloads`);
    } catch (error) {
      failed(error, say);
    }
  };
  by("write-case").addEventListener("click", () => save("case"));
  by("write-report").addEventListener("click", () => save("report"));
  by("show-commands").addEventListener("click", async () => {
    try {
      const { lines } = await (await post("keep", { ...now(), what: "commands" })).json();
      tell(by("commands"), lines.join("\n"));
      by("commands").hidden = false;
      say("These give the same from the command line.");
    } catch (error) {
      failed(error, say);
    }
  });
  by("copy-link").addEventListener("click", async () => {
    const link = location.href.replace(/#.*/, "") + (untouched(now()) ? "" : `#${fragment(now())}`);
    try {
      await navigator.clipboard.writeText(link);
      say("The link is copied. It holds while this server runs; the part behind # fits any later one.");
    } catch {
      tell(by("commands"), link);
      by("commands").hidden = false;
      say("Copy this link:");
    }
  });
}

/** Another name where this one is taken by another state. */
export function free(name, kept, state) {
  const same = kept.find((one) => named(one.state) === named(state));
  if (!name) name = same?.name ?? `state ${kept.length + 1}`;
  const taken = (text) => kept.some((one) => one.name === text && one !== same);
  for (let i = 2, first = name; taken(name); i++) name = `${first} ${i}`;
  return [name, same];
}
