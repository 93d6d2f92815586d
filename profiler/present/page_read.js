// What the page knows: numbers unpacked from its own text, places, posts and figures. It looks up and interpolates.
"use strict";
const INK = "#1E2329", MUTED = "#565C64", TRAIN = "#A1214A";
const SI = { mi: 1609.344, foot: 0.3048, kip: 4448.2216152605, mph: 0.44704, kmh: 1 / 3.6, psi: 6894.757293168361 };

async function unpacked(text) {
  const raw = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([raw]).stream().pipeThrough(new DecompressionStream("deflate"));
  const whole = await new Response(stream).arrayBuffer();
  const length = new DataView(whole).getUint32(0, true);
  const data = JSON.parse(new TextDecoder().decode(new Uint8Array(whole, 4, length)));
  return [data, whole, 4 + length];
}

// A packed array: whole steps, the least number of its type for "not known".
const KINDS = { i1: [Int8Array, -128], i2: [Int16Array, -32768], i4: [Int32Array, -2147483648] };
function arrayOf(packed, buffer, from) {
  const [Kind, none] = KINDS[packed.type];
  const whole = new Kind(buffer, from + packed.at, packed.n);
  return { n: packed.n, at: (i) => (whole[i] === none ? NaN : whole[i] * packed.step) };
}
function opened(node, buffer, from) { // every packed array in the data, unpacked in its place
  for (const [key, value] of Object.entries(node)) {
    if (!value || typeof value !== "object") continue;
    if (value.type in KINDS && "at" in value && "n" in value) node[key] = arrayOf(value, buffer, from);
    else opened(value, buffer, from);
  }
  return node;
}

// A value at a place, the array lying evenly over a length.
function along(array, length, place) {
  const x = Math.min(Math.max(place / length, 0), 1) * (array.n - 1);
  const i = Math.min(Math.floor(x), array.n - 2);
  if (i < 0) return array.at(0);
  const a = array.at(i), b = array.at(i + 1), share = x - i;
  if (Number.isNaN(a) || Number.isNaN(b)) return share < 0.5 ? a : b;
  return a + (b - a) * share;
}
function nearest(array, length, place) {
  return array.at(Math.round(Math.min(Math.max(place / length, 0), 1) * (array.n - 1)));
}
function before(values, x) { // the last index with values[i] <= x, 0 where there is none
  let low = 0, high = values.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (values[middle] <= x) low = middle; else high = middle;
  }
  return high > 0 && values[high] <= x ? high : low;
}

// ---------------------------------------------------------------- posts
function postAt(posts, place) {
  const knots = posts.knots;
  let i = 0;
  while (i < knots.length - 2 && knots[i + 1][0] <= place) i++;
  const [a, from] = knots[i], [b, to] = knots[i + 1];
  return b > a ? from + (to - from) * (place - a) / (b - a) : to;
}
function placeOf(posts, value) { // null where no place on the line carries the post
  const knots = posts.knots.slice(1, -1);
  for (let i = 0; i + 1 < knots.length; i++) {
    const [a, from] = knots[i], [b, to] = knots[i + 1];
    if (b > a && value >= Math.min(from, to) - 0.005 && value <= Math.max(from, to) + 0.005) {
      return to === from ? a : a + (b - a) * Math.min(Math.max((value - from) / (to - from), 0), 1);
    }
  }
  return null;
}
function postValue(posts, value, decimals) {
  if (!posts.plus || value < 0 || !decimals) return value.toFixed(decimals).replace("-", "−");
  const [length, digits] = posts.plus, step = length === 1000 ? [1000, 100, 10, 1][decimals] : [5280, 500, 50, 1][decimals];
  let whole = Math.floor(value + 1e-9);
  const rest = (value - whole) * length;
  let rounded = step * Math.round(rest / step);
  if (rounded >= length || length - rest < Math.abs(rest - rounded)) { whole += 1; rounded = 0; }
  return whole + "+" + String(rounded).padStart(digits, "0");
}
const postText = (posts, place, decimals) => posts.prefix + postValue(posts, postAt(posts, place), decimals);
function postTyped(posts, text) { // what a reader writes: "54.3", "km 54.3", "54+1600"
  const found = text.replace(",", ".").match(/(\d+(?:\.\d+)?)(?:\+(\d+(?:\.\d+)?))?/);
  if (!found) return null;
  const length = posts.plus ? posts.plus[0] : 1000, sign = /^\s*[-−]/.test(text) ? -1 : 1;
  return placeOf(posts, sign * Number(found[1]) + (found[2] ? Number(found[2]) / length : 0));
}

// ---------------------------------------------------------------- figures, as wording.py writes them
function number(value, decimals, units) {
  const text = Math.abs(value).toFixed(decimals);
  const [whole, rest] = text.split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, units === "us" ? "," : "\u202f") + (rest ? "." + rest : "");
  return (value < 0 && Number(text) !== 0 ? "−" : "") + grouped;
}
function gradeText(grade, se, units) {
  const decimals = (se <= 0.0005 ? 2 : 1) - (units === "us" ? 0 : 1);
  const figure = number(Math.abs(grade) * (units === "us" ? 100 : 1000), decimals, units);
  const arrow = Number(figure) === 0 ? "" : grade > 0 ? "↗ " : "↘ ";
  return arrow + (se > 0.0025 ? "≈" : "") + figure + (units === "us" ? " %" : " ‰");
}
const sureText = (se, units) =>
  "±" + (units === "us" ? number(196 * se, 2, units) : number(1960 * se, 1, units));
const forceFigure = (force, units) => number(force / (units === "us" ? SI.kip : 1000), 0, units);
const forceText = (force, units) => forceFigure(force, units) + (units === "us" ? " kips" : " kN");
function speedText(speed, units) {
  const figure = speed / (units === "us" ? SI.mph : SI.kmh);
  return number(figure, figure < 10 ? 1 : 0, units) + (units === "us" ? " mph" : " km/h");
}
const pressureText = (pressure, units) =>
  units === "us" ? (pressure / SI.psi).toFixed(0) + " psi" : Number((pressure / 1e5).toPrecision(2)) + " bar";
