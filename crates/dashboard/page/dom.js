// Small helpers: nodes are made from text, never from markup.
const SVG = "http://www.w3.org/2000/svg";
const $ = (id) => document.getElementById(id);
const str = (v) => (v === null || v === undefined ? "" : String(v));
const num = (v) => (typeof v === "number" && Number.isFinite(v) ? v : null);
const list = (v) => (Array.isArray(v) ? v : []);
const figure = (v) => String(Number(v.toPrecision(6)));
function el(tag, cls, ...kids) {
  const node = document.createElement(tag);
  if (cls) node.className = cls;
  node.append(...kids.filter((k) => k !== null && k !== ""));
  return node;
}
function svg(tag, attrs, ...kids) {
  const node = document.createElementNS(SVG, tag);
  for (const name in attrs) node.setAttribute(name, attrs[name]);
  node.append(...kids);
  return node;
}
function put(node, text) {
  if (node.textContent !== text) node.textContent = text;
  node.hidden = text === "";
}
// Redraws a part only when what it is made from has changed, so that focus, typing and a held button survive.
const drawnFrom = new Map();
function changed(part, from) {
  const text = JSON.stringify(from);
  if (drawnFrom.get(part) === text) return false;
  drawnFrom.set(part, text);
  return true;
}
