// Elements made in one line, and numbers as the reports write them.

const SVG = "http://www.w3.org/2000/svg";

/** An HTML element: attributes by name, listeners as functions under "on..." names, children as nodes or text. */
export function make(tag, attributes = {}, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

/** The same for a drawing. */
export function draw(tag, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, tag), attributes, children);
}

function filled(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children);
  return element;
}

export const by = (id) => document.getElementById(id);

/** Sets the text only where it is another, so that nothing is drawn or read out anew for nothing. */
export function tell(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** Makes `element` alike `wanted`, touching only what differs: what has the focus keeps it. */
export function become(element, wanted) {
  if (element.nodeType !== wanted.nodeType || element.nodeName !== wanted.nodeName) return element.replaceWith(wanted);
  if (element.nodeType === Node.TEXT_NODE) return tell(element, wanted.textContent);
  for (const { name } of [...element.attributes]) if (!wanted.hasAttribute(name)) element.removeAttribute(name);
  for (const { name, value } of wanted.attributes)
    if (element.getAttribute(name) !== value) element.setAttribute(name, value);
  const [has, wants] = [[...element.childNodes], [...wanted.childNodes]];
  has.slice(wants.length).forEach((node) => node.remove());
  wants.forEach((node, i) => (i < has.length ? become(has[i], node) : element.append(node)));
}

/** `value` to four significant digits, none before the point rounded away: 23836, 64, 7.721, 0.00045, 99.9995. */
export function number(value, digits = 4) {
  if (value === null || !Number.isFinite(value)) return "-";
  if (value === 0) return "0";
  const size = Math.abs(value);
  if (size < 1e-4) return String(Number(value.toPrecision(Math.max(digits - 2, 1))));
  if (size > 99 && size < 100 && value > 0) digits = Math.max(digits, 2 - Math.floor(Math.log10(100 - value)));
  const text = value.toFixed(Math.min(Math.max(digits - 1 - Math.floor(Math.log10(size)), 0), 20));
  return String(text.includes(".") ? text.replace(/\.?0+$/, "") : text).replace(/^-0$/, "0");
}

/** With its unit; a ratio has none. */
export function quantity(value, unit) {
  const text = number(value);
  return text === "-" || !unit || unit === "-" ? text : `${text} ${unit}`;
}
