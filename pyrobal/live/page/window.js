// Two settings together: where every limit is kept, what binds elsewhere, lines of one figure, and a dot that can be dragged.

import { by, draw, make, number, quantity, tell } from "./dom.js";

const [WIDE, HIGH] = [440, 330];
const ROOM = { left: 52, right: 12, top: 12, bottom: 40 };
const KINDS = 6; // shades of what binds, told apart by colour and hatching
const WORKING = "the window is being worked out";
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowDown: [0, -1], ArrowUp: [0, 1] };

export class Window {
  /** `go([x, y], settled)` moves both settings. */
  constructor(go) {
    this.go = go;
    this.found = null;
    this.dragged = false;
    this.dot = draw("g", {
      class: "dot", tabindex: "0", role: "slider", "aria-label": "both settings, by the arrow keys", "aria-valuenow": 0,
      onkeydown: (event) => this.press(event),
    }, draw("circle", { r: 14, class: "grip" }), draw("circle", { r: 7, class: "point" }));
    this.cells = draw("g");
    this.axes = draw("g", { class: "axes" });
    this.drawing = draw("svg", {
      viewBox: `0 0 ${WIDE} ${HIGH}`, hidden: true, role: "group", "aria-label": "window of two settings",
      onpointerdown: (event) => this.press0(event), onpointermove: (event) => this.drag(event),
      onpointerup: (event) => this.drop(event), onpointercancel: (event) => this.drop(event),
    }, hatches(), this.cells, this.axes, this.dot);
    this.legend = make("ul", { class: "legend" });
    by("window-drawing").append(this.drawing, this.legend);
  }

  /** `found`: the answer of the server; `x`, `y`: the two handles; `reading`: label of what its lines are of. */
  show(found, x, y, reading) {
    Object.assign(this, { found, handles: [x, y], stale: false, kept: found.names.length > 1 ? "every limit is kept" : "there is an answer" });
    this.drawing.removeAttribute("hidden");
    this.drawing.classList.remove("stale");
    const edges = [found.x, found.y].map(borders);
    this.spans = edges.map((e) => [e[0], e.at(-1)]);
    const counts = new Map();
    const kinds = found.cells.flatMap((row, j) => row.map((kind, i) => {
      counts.set(kind, (counts.get(kind) ?? 0) + 1);
      return [kind, i, j];
    }));
    const areas = new Map();
    for (const [kind, i, j] of kinds) {
      const [x0, x1] = [this.px(edges[0][i]), this.px(edges[0][i + 1])];
      const [y0, y1] = [this.py(edges[1][j]), this.py(edges[1][j + 1])];
      const box = `M${f(x0)} ${f(y0)}H${f(x1)}V${f(y1)}H${f(x0)}Z`;
      areas.set(kind, (areas.get(kind) ?? "") + box);
    }
    this.cells.replaceChildren(...[...areas].flatMap(([kind, d]) => (kind < 0 ? [draw("path", { class: "kept", d })]
      : [draw("path", { class: `binds binds-${kind % KINDS}`, d }),
        draw("path", { fill: `url(#window-hatch-${kind % KINDS})`, d })])),
      ...found.levels.lines.map(({ points }) => draw("path", { class: "level", d: points.map((piece) => this.path(piece)).join("") })),
      ...found.levels.lines.flatMap((one) => this.label(one)),
      ...found.lines.map(({ points }) => draw("path", { class: "edge", d: points.map((piece) => this.path(piece)).join("") })));
    this.axes.replaceChildren(...this.scale(0), ...this.scale(1));
    this.legend.replaceChildren(...[...counts].sort(([a], [b]) => a - b).map(([kind, count]) => {
      const share = Math.round((100 * count) / kinds.length);
      const said = kind < 0 ? this.kept : found.names[kind];
      return make("li", {}, swatch(kind), `${said}: ${share} %`);
    }));
    const { unit, lines } = found.levels;
    if (lines.length) this.legend.append(make("li", {}, level(), `lines of ${reading}${unit && unit !== "-" ? `, ${unit}` : ""}`));
    this.at(found.now);
  }

  /** A window that takes long is worked out only on a button. */
  offer(ask) {
    const button = make("button", { type: "button", onclick: () => {
      button.replaceWith(WORKING);
      ask();
    } }, "Work out the window for this state");
    by("window-told").replaceChildren(button);
  }

  /** No window, and why. */
  refuse(text) {
    this.found = null;
    this.drawing.setAttribute("hidden", "");
    this.legend.replaceChildren();
    tell(by("window-told"), text);
  }

  /** What a line is of, on the middle of its longest piece. */
  label({ label, points }) {
    const longest = points.reduce((best, piece) => (piece.length > best.length ? piece : best), []);
    if (longest.length < 2) return [];
    const [x, y] = longest[Math.floor(longest.length / 2)];
    return [draw("text", { class: "of-level", x: f(this.px(x)), y: f(this.py(y) + 4), "text-anchor": "middle" }, label)];
  }

  path(piece) {
    return piece.map(([a, b], i) => `${i ? "L" : "M"}${f(this.px(a))} ${f(this.py(b))}`).join("");
  }

  px(x) {
    const [a, b] = this.spans[0];
    return ROOM.left + ((WIDE - ROOM.left - ROOM.right) * (x - a)) / (b - a);
  }

  py(y) {
    const [a, b] = this.spans[1];
    return HIGH - ROOM.bottom - ((HIGH - ROOM.top - ROOM.bottom) * (y - a)) / (b - a);
  }

  /** Ticks, figures and the name of an axis. */
  scale(axis) {
    const [a, b] = this.spans[axis];
    const { label, unit } = this.handles[axis];
    const said = unit && unit !== "-" ? `${label}, ${unit}` : label;
    const parts = ticks(a, b).map((value) => (axis === 0
      ? [draw("path", { d: `M${f(this.px(value))} ${HIGH - ROOM.bottom}v5` }),
        draw("text", { x: f(this.px(value)), y: HIGH - ROOM.bottom + 18, "text-anchor": "middle" }, number(value))]
      : [draw("path", { d: `M${ROOM.left} ${f(this.py(value))}h-5` }),
        draw("text", { x: ROOM.left - 8, y: f(this.py(value) + 4), "text-anchor": "end" }, number(value))]));
    const name = axis === 0
      ? draw("text", { x: (WIDE + ROOM.left) / 2, y: HIGH - 6, "text-anchor": "middle", class: "name" }, said)
      : draw("text", { transform: `translate(12 ${(HIGH - ROOM.bottom) / 2}) rotate(-90)`, "text-anchor": "middle", class: "name" }, said);
    return [...parts.flat(), name];
  }

  at(now) {
    if (!this.found || now.some((one) => one === null || !Number.isFinite(one))) return;
    this.now = now;
    const [x, y] = now.map((value, i) => Math.min(Math.max(value, this.spans[i][0]), this.spans[i][1]));
    this.dot.setAttribute("transform", `translate(${f(this.px(x))} ${f(this.py(y))})`);
    const [a, b] = this.handles;
    const said = `${a.label} ${quantity(Number(now[0].toPrecision(5)), a.unit)}, ${b.label} ${quantity(Number(now[1].toPrecision(5)), b.unit)}`;
    const values = { min: this.spans[0][0], max: this.spans[0][1], now: now[0], text: `${said}: ${this.said(now)}` };
    for (const [name, value] of Object.entries(values)) this.dot.setAttribute(`aria-value${name}`, value);
    tell(by("window-told"), `${said}: ${this.said(now)}`);
  }

  /** What the window says of a point. */
  said(now) {
    if (this.stale) return WORKING;
    const [i, j] = [this.found.x, this.found.y].map((places, axis) => nearest(places, now[axis]));
    const kind = this.found.cells[j][i];
    return kind < 0 ? this.kept : this.found.names[kind];
  }

  /** Another setting has moved since it was drawn. */
  outdate() {
    this.stale = true;
    this.drawing.classList.add("stale");
    if (!this.found) tell(by("window-told"), WORKING);
  }

  press(event) {
    if (!(event.key in STEPS) || !this.found) return;
    event.preventDefault();
    const many = event.shiftKey ? 10 : 1;
    this.move(this.now.map((value, i) => value + many * STEPS[event.key][i] * this.handles[i].step), true);
  }

  move(wanted, settled) {
    const now = wanted.map((value, i) => Math.min(Math.max(value, this.spans[i][0]), this.spans[i][1]));
    this.at(now);
    this.go(now, settled);
  }

  press0(event) {
    if (!this.found || event.button !== 0) return;
    event.preventDefault();
    this.drawing.setPointerCapture(event.pointerId);
    this.dragged = true;
    this.dot.focus();
    this.move(this.place(event), false);
  }

  drag(event) {
    if (this.dragged) this.move(this.place(event), false);
  }

  drop(event) {
    if (!this.dragged) return;
    this.dragged = false;
    if (event.type === "pointerup") this.move(this.place(event), true);
  }

  place(event) {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.drawing.getScreenCTM().inverse());
    const [[a, b], [c, d]] = this.spans;
    return [
      a + ((b - a) * (point.x - ROOM.left)) / (WIDE - ROOM.left - ROOM.right),
      c + ((d - c) * (HIGH - ROOM.bottom - point.y)) / (HIGH - ROOM.top - ROOM.bottom),
    ];
  }
}

const f = (x) => x.toFixed(1);

/** The borders of cells around these places: half way between them, the outermost at the first and the last. */
function borders(places) {
  const middles = places.slice(1).map((x, i) => (x + places[i]) / 2);
  return [places[0], ...middles, places.at(-1)];
}

function nearest(places, value) {
  return places.reduce((best, place, i) => (Math.abs(place - value) < Math.abs(places[best] - value) ? i : best), 0);
}

/** Round values from a to b, about five of them. */
function ticks(a, b) {
  const rough = (b - a) / 5;
  const ten = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((one) => one * ten).find((one) => one >= rough);
  const first = Math.ceil(a / step - 1e-9);
  return Array.from({ length: Math.floor(b / step + 1e-9) - first + 1 }, (_, i) => (first + i) * step);
}

function hatches() {
  const lines = ["M0 8L8 0", "M0 0L8 8", "M0 4H8", "M4 0V8", "M0 8L8 0M0 0L8 8", "M0 4H8M4 0V8"];
  return draw("defs", {}, ...lines.map((d, i) =>
    draw("pattern", { id: `window-hatch-${i}`, width: 8, height: 8, patternUnits: "userSpaceOnUse" },
      draw("path", { d, class: "hatch" }))));
}

function level() {
  return draw("svg", { width: 34, height: 14, "aria-hidden": "true" }, draw("path", { class: "level", d: "M2 11L32 3" }));
}

function swatch(kind) {
  const box = { width: 34, height: 14 };
  const own = kind < 0 ? [draw("rect", { ...box, class: "kept" })]
    : [draw("rect", { ...box, class: `binds binds-${kind % KINDS}` }), draw("rect", { ...box, fill: `url(#window-hatch-${kind % KINDS})` })];
  return draw("svg", { ...box, "aria-hidden": "true" }, ...own);
}
