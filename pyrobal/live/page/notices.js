// What stands above everything else: a server that has stopped, faults of the case, what could not be done.

import { by, make } from "./dom.js";

const shown = {};

/** `content`: what the notice of this name holds; null takes it away. */
export function notice(name, content) {
  shown[name] = content;
  by("notices").replaceChildren(...Object.values(shown).filter(Boolean).map((parts) => make("div", { class: "notice" }, ...parts)));
}

/** The faults of a case, each with its line. */
export function faultsOf({ file, faults, handles }) {
  const many = faults.length === 1 ? "a fault" : `${faults.length} faults`;
  notice("faults", faults.length ? [
    make("p", {}, make("strong", {}, `The case has ${many}. `),
      handles.length ? "What is shown is its last good state. Mend the file; this page reads it again."
        : "Mend the file; this page reads it again."),
    make("ul", {}, ...faults.map((one) => item(one, file))),
  ] : null);
}

function item(fault, file) {
  const place = [fault.file && fault.file !== file ? fault.file : "", fault.line ? `line ${fault.line}` : ""];
  const where = place.filter(Boolean).join(", ");
  return make("li", {}, make("strong", {}, where), where ? ": " : "",
    ...(fault.key ? [make("span", { class: "key" }, fault.key), ": "] : []), make("bdi", {}, fault.text));
}
