// What a state comes to: the verdict, pinned figures with what they were before, limits as bars, messages.

import { by, draw, make, number, quantity, tell } from "./dom.js";

const ALIKE = 1e-6; // relative; a difference below it is none
const URGENT = ["limit", "caution"];

export function verdict({ status, headline }) {
  const place = by("verdict");
  const mark = make("strong", { class: `status status-${status}` }, status);
  place.replaceChildren(mark, " ", make("bdi", {}, headline));
}

/** Pinned figures, each with its value now, before, and the difference. */
export class Pins {
  /** `unpin(key)`, `hold(key)`, `explain(key)`: what the buttons of a card do. */
  constructor(unpin, hold, explain) {
    Object.assign(this, { unpin, hold, explain, cards: new Map() });
    this.place = by("pins");
  }

  /** `keys` in their order; `known`: key -> reading of the registry; `now`, `before`: answers by key. */
  show(keys, known, now, before) {
    for (const [key, card] of this.cards) if (!keys.includes(key)) this.drop(key, card);
    for (const key of keys) {
      if (!this.cards.has(key)) this.add(key, known.get(key));
      this.fill(this.cards.get(key), now[key], before?.[key]);
    }
  }

  drop(key, card) {
    card.element.remove();
    this.cards.delete(key);
  }

  add(key, item) {
    const label = item?.label ?? key;
    const card = {
      value: make("strong"), unit: make("span", { class: "unit" }), before: make("span"),
      difference: make("span", { class: "difference" }),
    };
    const act = (sign, title, run) => make("button", {
      type: "button", title, "aria-label": `${label}: ${title}`, onclick: () => run(key),
    }, sign);
    card.element = make("div", { class: "pin", "data-key": key },
      make("div", { class: "name", title: `${key}: ${item?.meaning ?? ""}` }, make("span", {}, label),
        make("span", { class: "acts screen" }, act(target(), "hold at a target", this.hold), act("?", "how it came about", this.explain), act("\u2715", "unpin", this.unpin))),
      make("div", { class: "now" }, card.value, " ", card.unit),
      make("div", { class: "was" }, make("span", { class: "soft" }, "was "), card.before, " ", card.difference));
    this.cards.set(key, card);
    this.place.append(card.element);
  }

  fill(card, now, before) {
    const value = now?.value ?? null;
    const was = before?.value ?? null;
    tell(card.value, now?.text ?? "-");
    tell(card.unit, value === null || now.unit === "-" ? "" : now.unit);
    card.element.title = now?.reason ?? "";
    tell(card.before, was === null ? "-" : before.text);
    const by_ = value === null || was === null ? null : value - was;
    const alike = by_ === null || now.text === before.text || Math.abs(by_) <= ALIKE * Math.max(Math.abs(value), Math.abs(was));
    tell(card.difference, alike ? "" : said(by_, was));
    card.element.classList.toggle("more", !alike && by_ > 0);
    card.element.classList.toggle("less", !alike && by_ < 0);
  }
}

function target() {
  return draw("svg", { viewBox: "0 0 14 14", width: 13, height: 13, "aria-hidden": "true", class: "target" },
    draw("circle", { cx: 7, cy: 7, r: 5.5 }), draw("circle", { cx: 7, cy: 7, r: 1.5 }));
}

/** "+1.56 (+10.9 %)" */
function said(difference, was) {
  const sign = difference > 0 ? "+" : "\u2212";
  const share = was === 0 ? "" : ` (${sign}${number(Math.abs((100 * difference) / was), 3)}\u00a0%)`;
  return `${sign}${number(Math.abs(difference), 3)}${share}`;
}

/** The readings that differ most between the two states, each with a button that pins it. */
export function moved(found, before, pin) {
  const rows = found.moved.map((one) => make("tr", {},
    make("th", { scope: "row", title: `${one.key}: ${one.meaning}` }, one.label, " ",
      make("span", { class: "unit" }, one.unit === "-" ? "" : one.unit)),
    ...[one.before, one.now, one.share].map((text) => make("td", {}, text)),
    make("td", { class: "screen" }, make("button", { type: "button", class: "small", "aria-label": `pin ${one.label}`,
      title: "pin", onclick: () => pin(one) }, "pin"))));
  const heads = ["", before, "now", "change", ""].map((text) => (text ? make("th", { scope: "col" }, text) : make("td")));
  tell(by("moved-said"), rows.length ? "" : "Nothing has moved.");
  by("moved-list").replaceChildren(...(rows.length
    ? [make("table", {}, make("thead", {}, make("tr", {}, ...heads)), make("tbody", {}, ...rows)),
      make("p", { class: "soft" }, `${found.more} more differ, ${found.same} are the same.`)] : []));
}

/** Bars; those added on this page can be taken off again. */
export function limits(found, remove) {
  const rows = found.map((limit) => {
    const length = limit.use === null ? 0 : Math.min(Math.max(limit.use, 0), 125);
    const text = limit.added;
    const button = text ? [" ", make("button", { type: "button", class: "small screen", title: "take this limit off",
      "aria-label": `take off ${text}`, onclick: () => remove(text) }, "\u2715")] : [];
    return make("div", { class: limit.broken ? "broken" : "" },
      make("dt", {}, make("bdi", {}, limit.name), ...button),
      make("dd", { class: "share" }, limit.use === null ? "no answer" : `${number(limit.use, 3)} %`),
      make("dd", { class: "use" }, bar(length)),
      make("dd", { class: "said" }, limit.said + (limit.broken ? ": beyond" : "")));
  });
  by("uses").replaceChildren(...rows);
  by("no-limits").hidden = rows.length > 0;
}

function bar(length) {
  return draw("svg", { class: "bar", viewBox: "0 0 125 10", preserveAspectRatio: "none", "aria-hidden": "true" },
    draw("rect", { class: "room", width: 100, height: 10 }), draw("rect", { class: "used", width: length, height: 10 }),
    draw("path", { class: "edge", d: "M100 0V10" }));
}

/** Limits and cautions open, notes and what concerns safety folded. */
export function messages(found) {
  const urgent = found.filter(({ level }) => URGENT.includes(level));
  const open = Object.fromEntries([...by("message-list").querySelectorAll("details")].map((one) => [one.dataset.of, one.open]));
  const folded = ["note", "safety"].map((level) => [level, found.filter((one) => one.level === level)]);
  by("message-list").replaceChildren(
    urgent.length ? list(urgent) : make("p", { class: "soft" }, "No caution, and no limit is broken."),
    ...folded.filter(([, some]) => some.length).map(([level, some]) =>
      make("details", { open: open[level] ?? false, "data-of": level },
        make("summary", {}, `${level === "note" ? "Notes" : "Safety"}: ${some.length}`), list(some))),
  );
}

function list(some) {
  return make("ul", { class: "messages" }, ...some.map(({ level, key, text }) =>
    make("li", { class: level }, make("span", { class: "level" }, level), ": ",
      ...(key ? [make("span", { class: "key" }, key), ": "] : []), make("bdi", {}, text))));
}

/** The reading at its value, of another answer than the one on the page. */
export const shown = (reading) => (reading ? (reading.value === null ? "-" : quantity(reading.value, reading.unit)) : "");
