// Elements, room for words, and the signs of marks: the same shapes on Section, Plan and List.
const SVG = "http://www.w3.org/2000/svg";
function make(name, attributes, parent, text) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes || {})) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  if (parent) parent.appendChild(node);
  return node;
}
function draw(name, attributes, parent, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes || {})) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  if (parent) parent.appendChild(node);
  return node;
}
const set = (node, attributes) => { for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value); };
function say(node, text) { if (node.textContent !== text) node.textContent = text; }
const pathOf = (points, close) => points.length
  ? "M" + points.map((p) => p[0].toFixed(1) + " " + p[1].toFixed(1)).join("L") + (close ? "Z" : "") : "";

const pen = document.createElement("canvas").getContext("2d");
const widths = new Map();
function wide(text, font) {
  const key = font + text;
  if (!widths.has(key)) { pen.font = font; widths.set(key, pen.measureText(text).width); }
  return widths.get(key);
}
const FONT = '"DejaVu Sans", Verdana, system-ui, sans-serif';
const PLAIN = "12px " + FONT, SMALL = "11px " + FONT, BOLD = "bold 11.5px " + FONT, POST = "bold 11px " + FONT;

// Boxes already taken; what finds no room is left out.
class Room {
  constructor(left, top, right, bottom) { this.edge = [left, top, right, bottom]; this.taken = []; }
  free(box) {
    const [left, top, right, bottom] = this.edge;
    if (box[0] < left || box[1] < top || box[2] > right || box[3] > bottom) return false;
    return !this.taken.some((b) => box[0] < b[2] && b[0] < box[2] && box[1] < b[3] && b[1] < box[3]);
  }
  take(box) { this.taken.push(box); }
  takeLine(points, air) { // a drawn line, as boxes of its pieces, none longer than some 14 px
    let box = null;
    const add = ([x, y]) => {
      if (!box) box = [x, y, x, y];
      else box = [Math.min(box[0], x), Math.min(box[1], y), Math.max(box[2], x), Math.max(box[3], y)];
      if (box[2] - box[0] < 12 && box[3] - box[1] < 12) return;
      this.take([box[0] - air, box[1] - air, box[2] + air, box[3] + air]);
      box = [x, y, x, y];
    };
    points.forEach((b, i) => {
      const a = points[i - 1] || b, parts = Math.max(1, Math.ceil(Math.hypot(b[0] - a[0], b[1] - a[1]) / 14));
      for (let k = 1; k <= parts; k++) add([a[0] + (b[0] - a[0]) * k / parts, a[1] + (b[1] - a[1]) * k / parts]);
    });
    if (box) this.take([box[0] - air, box[1] - air, box[2] + air, box[3] + air]);
  }
  put(text, font, spots, high) { // spots: [x, baseline, "start" | "middle" | "end"]
    const w = wide(text, font);
    for (const [x, y, anchor] of spots) {
      const left = anchor === "start" ? x : anchor === "end" ? x - w : x - w / 2;
      const box = [left - 3, y - (high || 10), left + w + 3, y + 3.5];
      if (this.free(box)) { this.take(box); return { x: left, y, right: left + w, box }; }
    }
    return null;
  }
}

// ---------------------------------------------------------------- signs of marks
const BEGIN = "begin";
const chipWide = (number) => (number > 9 ? 20 : 16);
function chip(parent, mark, index, x, y) {
  const w = chipWide(mark.number), group = draw("g", { class: "chip", "data-mark": index, transform: `translate(${x.toFixed(1)} ${y.toFixed(1)})` }, parent);
  draw("rect", { x: -15, y: -15, width: 30, height: 30, fill: "none", class: "hit" }, group);
  if (mark.sign === "astride") draw("rect", { x: -w / 2, y: -8, width: w, height: 16, rx: 8, class: "solid" }, group);
  else if (mark.sign === BEGIN) draw("path", { d: `M${-w / 2 - 3} 0L0 -10.5L${w / 2 + 3} 0L0 10.5Z`, class: "solid" }, group);
  else draw("rect", { x: -w / 2, y: -8, width: w, height: 16, class: mark.sign === "hard" ? "open" : "solid" }, group);
  draw("text", { y: 4, "text-anchor": "middle", class: mark.sign === "hard" ? "number ink" : "number" }, group, String(mark.number));
  draw("title", {}, group, mark.title);
  return group;
}
function slackSign(parent, x, y, inward) {
  const gap = inward ? 1 : 4;
  const group = draw("g", { transform: `translate(${x.toFixed(1)} ${y.toFixed(1)})` }, parent);
  draw("path", { d: `M${-gap - 8} -4H${-gap}V4H${-gap - 8}ZM${gap} -4H${gap + 8}V4H${gap}Z`, class: "box" }, group);
  draw("path", { d: inward ? "M0 -6V6" : `M${-gap} 0H${gap}`, class: inward ? "wall" : "edge" }, group);
  return group;
}
// A mark's stretch as a sign from x0 to x1 about y; at(place) gives x.
function windowSign(parent, mark, at, y) {
  const x0 = at(mark.start), x1 = Math.max(at(mark.end), x0 + 3), best = Math.min(Math.max(at(mark.at), x0), x1), h = 6;
  const group = draw("g", {}, parent);
  if (mark.sign === BEGIN) {
    if (mark.empty) { draw("path", { d: `M${best - 4} ${y - 5}L${best + 4} ${y + 5}M${best - 4} ${y + 5}L${best + 4} ${y - 5}`, class: "wall thin" }, group); return group; }
    if (mark.opens && best - x0 > 1) draw("path", { d: `M${x0} ${y}L${best} ${y - h}V${y + h}Z`, class: "wedge" }, group);
    if (!mark.opens) draw("path", { d: `M${best - 12} ${y - h}H${best}M${best - 12} ${y + h}H${best}`, class: "edge dashed" }, group);
    if (mark.ends) {
      if (x1 - best > 2) draw("rect", { x: best, y: y - h, width: x1 - best, height: 2 * h, class: "box hatched" }, group);
      draw("path", { d: `M${x1} ${y - 8}V${y + 8}`, class: "wall" }, group);
    } else draw("path", { d: `M${best} ${y - h}V${y + h}M${best} ${y - h}H${best + 12}M${best} ${y + h}H${best + 12}`, class: "edge dashed" }, group);
    return group;
  }
  const kinds = { astride: "box", stop: "box dotted", hard: "box", unheld: "solid" };
  draw("rect", { x: x0, y: y - h, width: x1 - x0, height: 2 * h, class: kinds[mark.sign] || "box" }, group);
  if (mark.sign === "hard") draw("rect", { x: x0, y, width: x1 - x0, height: h, class: "box dotted" }, group);
  mark.quarters.forEach((place, i) => draw("path", { d: `M${at(place)} ${y - h}V${y + h}`, class: i === 1 ? "wall thin" : "edge" }, group));
  return group;
}
