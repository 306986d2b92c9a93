// What is written for others: the case, the report, the command lines, a link.

import { by, make, tell } from "./dom.js";
import { fragment, untouched } from "./state.js";
import { post } from "./server.js";

/** Downloads and the clipboard; each says what it did. `now()`: the state in force. */
export function wire(now, failed) {
  const say = (text) => tell(by("keep-said"), text);
  const save = async (what) => {
    try {
      const response = await post("keep", { ...now(), what });
      const name = /filename="?([^";]+)"?/.exec(response.headers.get("Content-Disposition") ?? "")?.[1];
      if (!name) return say(refusal(await response.json()));
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
      const told = await (await post("keep", { ...now(), what: "commands" })).json();
      if (!told.lines) return say(refusal(told));
      tell(by("commands"), told.lines.join("\n"));
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

/** Why something cannot be kept. */
function refusal({ errors = {}, unmet = {}, limit_errors = {} }) {
  return Object.values({ ...errors, ...unmet, ...limit_errors }).join("; ");
}
