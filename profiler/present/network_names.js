
// ---------------------------------------------------------------- degrees, names and signs about the lines
const GRID = [30, 20, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05];
const GRID_PX = 110; // lines of degrees stand at least so far apart
const MOST_NAMES = 80, NAMED_PX = 30; // lines shorter than that are not named

// Boxes that nothing else may meet.
function takenBoxes() {
  const boxes = [];
  const meets = (box) => boxes.some((b) => box[0] < b[2] && b[0] < box[2] && box[1] < b[3] && b[1] < box[3]);
  return { boxes, take: (box) => !meets(box) && boxes.push(box) > 0, block: (box) => boxes.push(box) };
}
const eastOf = (longitude) => (longitude + 180) / 360;
const southOf = (latitude) => (1 - Math.asinh(Math.tan(latitude * Math.PI / 180)) / Math.PI) / 2;
const degrees = (value, step, ends) => {
  const figure = Math.abs(value).toFixed(step < 0.1 ? 2 : step < 1 ? 1 : 0) + "°";
  return Number(value.toFixed(2)) === 0 || Math.abs(value) === 180 ? figure : figure + (value > 0 ? ends[0] : ends[1]);
};

function graticule(pen, map, view, room) {
  const step = GRID.findLast((one) => one * view.scale / 360 >= GRID_PX) || GRID[0];
  const corner = (x, y) => map.unproject(L.point(view.left + x, view.top + y));
  const first = corner(0, view.height), last = corner(view.width, 0), words = [];
  const lines = new Path2D();
  for (let n = Math.ceil(first.lng / step); n * step <= last.lng; n++) {
    const x = Math.round(eastOf(n * step) * view.scale - view.left) + 0.5;
    lines.moveTo(x, 0);
    lines.lineTo(x, view.height);
    words.push([degrees(((n * step + 540) % 360 + 360) % 360 - 180, step, "EW"), x + 4, room[1] + 14]);
  }
  for (let n = Math.ceil(Math.max(first.lat, -85) / step); n * step <= Math.min(last.lat, 85); n++) {
    const y = Math.round(southOf(n * step) * view.scale - view.top) + 0.5;
    lines.moveTo(0, y);
    lines.lineTo(view.width, y);
    words.push([degrees(n * step, step, "NS"), room[0] + 6, y - 4]);
  }
  pen.strokeStyle = "#CFCBC3";
  pen.lineWidth = 1;
  pen.stroke(lines);
  return words;
}
function write(pen, words, x, y, font) {
  pen.font = font;
  pen.lineJoin = "round";
  pen.lineWidth = 3.4;
  pen.strokeStyle = "rgba(255, 255, 255, .92)";
  pen.strokeText(words, x, y);
  pen.fillStyle = INK;
  pen.fillText(words, x, y);
}
const FACE = '"DejaVu Sans", Verdana, system-ui, sans-serif';

// A name beside its place, at the first of six sides where it is free; left out where none is.
function name(pen, words, x, y, away, font, taken, westFirst = false) {
  pen.font = font;
  const wide = pen.measureText(words).width, up = 10, down = 4, beside = [[x + away, y + 4], [x - away - wide, y + 4]];
  for (const [left, base] of [...(westFirst ? beside.reverse() : beside), [x - wide / 2, y - away], [x - wide / 2, y + away + 9],
    [x + away, y - away], [x + away, y + away + 8]]) {
    if (!taken.take([left - 2.4, base - up - 2.4, left + wide + 2.4, base + down + 2.4])) continue;
    write(pen, words, left, base, font);
    return true;
  }
  return false;
}
const SIGNS = { summit: "M-6.5 5L0 -6.5L6.5 5Z", curve: "M-6 4A6 6 0 0 1 6 4Z", foot: "M-5 -5L5 5M-5 5L5 -5", head: "M-5 -5L5 5M-5 5L5 -5" };
const WORDS = { summit: "summit", curve: "curve", foot: "sustained from here", head: "sustained to here" };
function sign(pen, shape, x, y) {
  pen.save();
  pen.translate(x, y);
  const path = new Path2D(shape);
  pen.lineJoin = "round";
  for (const [colour, width] of [["#fff", 5], [INK, 1.7]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.stroke(path);
  }
  pen.fillStyle = "#fff";
  pen.fill(path);
  pen.stroke(path);
  pen.restore();
}

// Signs of the chosen line, then the names of ends: of the chosen line first, then of long lines.
function names(pen, data, level, view, shown, chosen, units, taken) {
  const inView = (x, y) => x > 0 && y > 0 && x < view.width && y < view.height;
  if (chosen >= 0) chosenSigns(pen, data, level, view, chosen, units, taken, inView);
  const long = (i) => Math.max(level.box[4 * i + 2] - level.box[4 * i], level.box[4 * i + 3] - level.box[4 * i + 1]) * view.scale;
  const order = data.byLength.filter((i) => shown[i] && i !== chosen && long(i) > NAMED_PX), said = new Set();
  let count = 0;
  for (const i of chosen < 0 ? order : [chosen, ...order]) {
    if (count >= MOST_NAMES || level.starts[i] === level.starts[i + 1]) continue;
    for (const turn of TURNS) {
      if (!seen(level, i, turn, view, 0)) continue;
      [level.starts[i], level.starts[i + 1] - 1].forEach((j, which) => {
        const x = level.x[j] * view.scale + turn * view.scale - view.left, y = level.y[j] * view.scale - view.top;
        const words = shortened(data.lines[i].ends[which]), key = words + "/" + Math.round(x / 60) + "/" + Math.round(y / 60);
        if (!inView(x, y) || said.has(key)) return;
        said.add(key);
        const eastwards = level.x[which ? j - 1 : j + 1] > level.x[j]; // the line runs there, its name stands on the other side
        const [away, font] = i === chosen ? [14, "bold 12px " + FACE] : [9, "12px " + FACE];
        if (!name(pen, words, x, y, away, font, taken, eastwards)) return;
        count++;
        pen.strokeStyle = INK;
        pen.lineWidth = 1.4;
        pen.fillStyle = "#fff";
        pen.fillRect(x - 3.5, y - 3.5, 7, 7);
        pen.strokeRect(x - 3.5, y - 3.5, 7, 7);
      });
    }
  }
}
const shortened = (words) => (words.length > 30 ? words.slice(0, 29).trimEnd() + "…" : words);
function chosenSigns(pen, data, level, view, chosen, units, taken, inView) {
  const cells = data.lines[chosen].cells[units], placed = [];
  for (const turn of TURNS) {
    for (const key of Object.keys(SIGNS)) {
      const [east, north] = data.places[key].map((values) => values.at(chosen));
      const x = (eastOf(east) + turn) * view.scale - view.left, y = southOf(north) * view.scale - view.top;
      if (!inView(x, y) || !taken.take([x - 8, y - 8, x + 8, y + 8])) continue; // NaN is nowhere
      sign(pen, SIGNS[key], x, y);
      placed.push([key, x, y]);
    }
    if (seen(level, chosen, turn, view, 0)) blockLine(level, chosen, turn * view.scale - view.left, view, taken);
  }
  for (const [key, x, y] of placed) {
    const column = data.columns.findIndex((one) => one.key === key);
    name(pen, WORDS[key] + (column < 0 ? "" : " " + cells[column][0]), x, y, 15, "bold 12px " + FACE, taken);
  }
}
function blockLine(level, i, shift, view, taken) { // no name lies on the chosen line
  let from = null;
  for (let j = level.starts[i]; j < level.starts[i + 1]; j++) {
    const to = [level.x[j] * view.scale + shift, level.y[j] * view.scale - view.top];
    const steps = from ? Math.min(Math.ceil(Math.hypot(to[0] - from[0], to[1] - from[1]) / 12), 400) : 1;
    for (let n = 1; n <= steps; n++) {
      const [x, y] = from ? [0, 1].map((k) => from[k] + (to[k] - from[k]) * n / steps) : to;
      if (x > 0 && y > 0 && x < view.width && y < view.height) taken.block([x - 7, y - 7, x + 7, y + 7]);
    }
    from = to;
  }
}
