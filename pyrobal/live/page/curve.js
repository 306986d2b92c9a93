// The curve under a slider: what a reading does over the whole of it, and where a limit is met on the way.

import { draw, make, number, quantity, tell } from "./dom.js";

const HIGH = 100; // of the drawing, in its own units; 1000 wide
const AUTOGENOUS = "autogenous";

export class Curve {
  /** `go(x)` moves the handle to x. */
  constructor(go) {
    this.go = go;
    this.drawing = draw("svg", { viewBox: `0 0 1000 ${HIGH}`, preserveAspectRatio: "none", "aria-hidden": "true" });
    this.most = make("span", { class: "most" });
    this.least = make("span", { class: "least" });
    this.pointed = make("span", { class: "pointed" });
    this.dot = make("span", { class: "dot" });
    this.plot = make("div", {
      class: "plot", role: "img", hidden: true, "aria-label": "",
      onpointermove: (event) => this.point(event),
      onpointerleave: () => tell(this.pointed, ""),
      onclick: (event) => this.found && this.go(this.place(event)),
    }, this.drawing, this.dot, this.most, this.least, this.pointed);
    this.marks = make("ul", { class: "marks" });
    this.element = make("div", { class: "curve" }, this.plot, this.marks);
  }

  /** `found`: the answer of the server for this handle; `span`: [low, high] of the slider; `reading`: its label; `now`: the handle's value. */
  show(found, [low, high], reading, now) {
    Object.assign(this, { found, low, high });
    this.element.classList.remove("stale");
    const known = found.y.filter((y) => y !== null);
    this.plot.hidden = !known.length;
    const [least, most] = [Math.min(...known), Math.max(...known)];
    const room = most - least || Math.abs(most) || 1;
    [this.least0, this.most0] = [least - 0.08 * room, most + 0.08 * room];
    tell(this.most, quantity(most, found.y_unit));
    tell(this.least, most === least ? "" : quantity(least, found.y_unit));
    this.drawing.replaceChildren(...this.beyond(), this.line(), ...this.crossings());
    this.plot.setAttribute("aria-label", this.said(reading, known, least, most));
    this.marks.replaceChildren(...this.buttons());
    this.at(now);
  }

  x(value) {
    return (1000 * (value - this.low)) / (this.high - this.low);
  }

  y(value) {
    return HIGH * (1 - (value - this.least0) / (this.most0 - this.least0));
  }

  /** Where some limit is broken or there is no answer, as shades. */
  beyond() {
    const { x, feasible } = this.found;
    const shades = [];
    for (let i = 0; i < x.length; i++) {
      if (feasible[i]) continue;
      const from = i;
      while (i + 1 < x.length && !feasible[i + 1]) i++;
      const left = from === 0 ? this.low : this.edge(x[from - 1], x[from]);
      const right = i === x.length - 1 ? this.high : this.edge(x[i], x[i + 1]);
      const [a, b] = [this.x(left), this.x(right)];
      shades.push(draw("rect", { class: "beyond", x: a, y: 0, width: Math.max(b - a, 0), height: HIGH }));
    }
    return shades;
  }

  /** The crossing between two points of the curve, or the middle. */
  edge(a, b) {
    return this.found.crossings.find(({ x }) => x >= a && x <= b)?.x ?? (a + b) / 2;
  }

  line() {
    const { x, y } = this.found;
    let pen = "M";
    const path = x.map((at, i) => {
      if (y[i] === null) return (pen = "M"), "";
      const step = `${pen}${this.x(at).toFixed(1)} ${this.y(y[i]).toFixed(2)}`;
      pen = "L";
      return step;
    });
    return draw("path", { class: "line", d: path.join("") });
  }

  crossings() {
    const edges = this.found.crossings.map(({ x }) => draw("path", { class: "crossing", d: `M${this.x(x)} 0V${HIGH}` }));
    const { autogenous } = this.found;
    if (this.within(autogenous))
      edges.push(draw("path", { class: AUTOGENOUS, d: `M${this.x(autogenous)} 0V${HIGH}` }));
    return edges;
  }

  within(x) {
    return x !== null && x !== undefined && x >= this.low && x <= this.high;
  }

  /** What lies on the way, each a button that goes there. */
  buttons() {
    const { crossings, autogenous, x_unit } = this.found;
    const marks = crossings.map(({ x, label, reason }) => [x, label, reason, "crossing"]);
    if (this.within(autogenous)) marks.push([autogenous, AUTOGENOUS, "neither fuel nor coolant is needed", AUTOGENOUS]);
    return marks.sort(([a], [b]) => a - b).map(([x, label, title, kind]) =>
      make("li", {}, make("button", { type: "button", class: kind, title: title ?? "", onclick: () => this.go(x) },
        make("strong", {}, quantity(x, x_unit)), ` ${label}`)));
  }

  said(reading, known, least, most) {
    const { x_unit, y_unit, y } = this.found;
    const gaps = known.length < y.length ? "; part of the range has no answer" : "";
    const ends = y[0] === null || y.at(-1) === null ? ""
      : `, ${number(y[0])} at ${quantity(this.low, x_unit)}, ${number(y.at(-1))} at ${quantity(this.high, x_unit)}`;
    return `${reading} over this range: ${number(least)} to ${quantity(most, y_unit)}${ends}${gaps}`;
  }

  /** The dot on the curve, at the handle's value. */
  at(value) {
    this.now = value;
    if (!this.found) return;
    const y = value === null ? null : this.value(value);
    this.dot.hidden = y === null;
    if (y === null) return;
    this.dot.style.left = `${this.x(value) / 10}%`;
    this.dot.style.top = `${this.y(y)}%`;
  }

  /** The reading at x, between the points that were solved; null beside a gap or beyond the ends. */
  value(at) {
    const { x, y } = this.found;
    const i = x.findIndex((one) => one >= at);
    if (i < 0) return null;
    if (x[i] === at || i === 0) return x[i] === at ? y[i] : null;
    if (y[i] === null || y[i - 1] === null) return null;
    return y[i - 1] + ((y[i] - y[i - 1]) * (at - x[i - 1])) / (x[i] - x[i - 1]);
  }

  place(event) {
    const box = this.plot.getBoundingClientRect();
    return this.low + (this.high - this.low) * Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1);
  }

  point(event) {
    if (!this.found) return;
    const x = this.place(event);
    tell(this.pointed, `${quantity(this.value(x), this.found.y_unit)} at ${quantity(Number(x.toPrecision(3)), this.found.x_unit)}`);
  }

  /** Other handles have moved since it was drawn. */
  outdate() {
    this.element.classList.add("stale");
  }
}
