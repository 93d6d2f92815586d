
// ---------------------------------------------------------------- lines of a network on one canvas
const FILL_OF = (data, kind) => data.fills[kind + 4];
const PAD = 0.3; // drawn beyond the window's edge, by its size
const NEAR_PX = 12; // how far from a line it can still be chosen

// A level of the network: places of all vertices as shares of the world's width, and the box of each line.
function levelOf(packed) {
  const lines = packed.n.n, starts = new Int32Array(lines + 1), box = new Float64Array(4 * lines).fill(NaN);
  for (let i = 0; i < lines; i++) starts[i + 1] = starts[i] + packed.n.at(i);
  const x = new Float64Array(starts[lines]), y = new Float64Array(starts[lines]), kind = new Int8Array(starts[lines]);
  const unit = 1 / (1024 * 2 ** packed.zoom); // quarters of a pixel
  for (let i = 0, on = 0; i < lines; i++) {
    if (starts[i] === starts[i + 1]) continue;
    let east = packed.x.at(on), south = packed.y.at(on), west = Infinity, north = Infinity, right = -Infinity, low = -Infinity;
    on++;
    for (let j = starts[i]; j < starts[i + 1]; j++) {
      east += packed.dx.at(j);
      south += packed.dy.at(j);
      kind[j] = packed.k.at(j);
      x[j] = east * unit;
      y[j] = south * unit;
      if (x[j] < west) west = x[j];
      if (x[j] > right) right = x[j];
      if (y[j] < north) north = y[j];
      if (y[j] > low) low = y[j];
    }
    box.set([west, north, right, low], 4 * i);
  }
  return { zoom: packed.zoom, lines, starts, x, y, kind, box };
}
function levelAt(data, zoom) { // the least of those that show all that can be seen at a zoom; unpacked when first asked for
  const i = data.levels.findIndex((level) => level.zoom >= zoom), at = i < 0 ? data.levels.length - 1 : i;
  if (!data.levels[at].starts) data.levels[at] = levelOf(data.levels[at]);
  return data.levels[at];
}

// How a share of the world becomes a pixel of the canvas; the world stands thrice beside itself.
function viewOf(map, size, corner) {
  const scale = 256 * 2 ** map.getZoom(), origin = map.getPixelOrigin().add(corner);
  return { scale, left: origin.x, top: origin.y, width: size.x, height: size.y, zoom: map.getZoom() };
}
const TURNS = [-1, 0, 1];
function seen(level, i, turn, view, room) {
  const b = 4 * i, shift = turn * view.scale - view.left;
  return level.box[b] * view.scale + shift < view.width + room && level.box[b + 2] * view.scale + shift > -room &&
    level.box[b + 1] * view.scale - view.top < view.height + room && level.box[b + 3] * view.scale - view.top > -room;
}
function eachSeen(level, view, room, act) {
  for (const turn of TURNS) {
    for (let i = 0; i < level.lines; i++) if (seen(level, i, turn, view, room)) act(i, turn * view.scale - view.left);
  }
}

// Stretches of one class, each class in a path of its own.
function follow(level, i, shift, view, paths) {
  let kind = null;
  for (let j = level.starts[i]; j < level.starts[i + 1] - 1; j++) {
    const x = level.x[j] * view.scale + shift, y = level.y[j] * view.scale - view.top;
    if (level.kind[j] !== kind) {
      if (kind !== null) paths[kind + 4].lineTo(x, y);
      kind = level.kind[j];
      paths[kind + 4].moveTo(x, y);
    } else paths[kind + 4].lineTo(x, y);
  }
  const last = level.starts[i + 1] - 1;
  if (kind !== null) paths[kind + 4].lineTo(level.x[last] * view.scale + shift, level.y[last] * view.scale - view.top);
}
function whole(level, i, shift, view, path) {
  for (let j = level.starts[i]; j < level.starts[i + 1]; j++) {
    const x = level.x[j] * view.scale + shift, y = level.y[j] * view.scale - view.top;
    if (j === level.starts[i]) path.moveTo(x, y); else path.lineTo(x, y);
  }
}
const nine = () => Array.from({ length: 9 }, () => new Path2D());

// Steepness reads as width; where many lines lie close, all are narrower.
const narrowed = (zoom) => Math.min(Math.max(0.42 + (zoom - 4) * 0.1, 0.42), 1);

function drawLines(pen, data, level, view, shown, chosen) {
  const paths = nine(), others = new Path2D(), own = nine(), outline = new Path2D();
  eachSeen(level, view, 30, (i, shift) => {
    if (i === chosen) {
      whole(level, i, shift, view, outline);
      follow(level, i, shift, view, own);
    } else if (shown[i]) follow(level, i, shift, view, paths);
    else whole(level, i, shift, view, others);
  });
  pen.lineCap = "butt";
  pen.lineJoin = "round";
  const stroke = (path, colour, width) => {
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.stroke(path);
  };
  const steepLast = [0, -1, 1, -2, 2, -3, 3, -4, 4]; // so that no gentle stretch covers a steep one
  const coloured = (some, less) => {
    const edge = 2 * Math.max(less, 0.5);
    for (const kind of steepLast) stroke(some[kind + 4], INK, data.widths[Math.abs(kind)] * less + edge);
    for (const kind of steepLast) stroke(some[kind + 4], FILL_OF(data, kind), data.widths[Math.abs(kind)] * less);
  };
  stroke(others, "#A8A297", 1.6);
  coloured(paths, narrowed(view.zoom));
  pen.lineCap = "round";
  stroke(outline, "#fff", 19);
  stroke(outline, INK, 16);
  stroke(outline, "#fff", 12);
  pen.lineCap = "butt";
  coloured(own, Math.max(narrowed(view.zoom), 0.8));
}

// Arrow heads beside steep stretches: the way the line falls.
function chevrons(pen, level, view, shown, taken) {
  eachSeen(level, view, 0, (i, shift) => {
    if (!shown[i]) return;
    let from = level.starts[i];
    for (let j = from + 1; j < level.starts[i + 1]; j++) {
      if (j < level.starts[i + 1] - 1 && level.kind[j] === level.kind[from]) continue;
      if (Math.abs(level.kind[from]) > 1) chevron(pen, level, from, j, shift, view, taken);
      from = j;
    }
  });
}
function chevron(pen, level, from, to, shift, view, taken) {
  const kind = level.kind[from], at = (i) => [level.x[i] * view.scale + shift, level.y[i] * view.scale - view.top];
  const away = (p, q) => Math.hypot(q[0] - p[0], q[1] - p[1]);
  if (away(at(from), at(to)) < 46) return;
  let middle = from;
  while (middle < to - 1 && away(at(from), at(middle + 1)) < away(at(middle + 1), at(to))) middle++;
  const p = at(middle), q = at(middle + 1), here = [(p[0] + q[0]) / 2, (p[1] + q[1]) / 2];
  let first = middle, last = middle + 1; // as the line runs over a few pixels, not at one bend
  while (first > from && away(at(first), here) < 12) first--;
  while (last < to && away(at(last), here) < 12) last++;
  const long = away(at(first), at(last));
  if (!long) return;
  const t = [0, 1].map((n) => (at(last)[n] - at(first)[n]) / long), down = kind < 0 ? t : [-t[0], -t[1]];
  const x = here[0] - t[1] * 17, y = here[1] + t[0] * 17;
  if (!taken.take([x - 7, y - 7, x + 7, y + 7])) return;
  const heads = new Path2D(), count = Math.abs(kind) - 1;
  for (let n = 0; n < count; n++) {
    const ahead = (n - (count - 1) / 2) * 5 + 2, tip = [x + down[0] * ahead, y + down[1] * ahead];
    const wing = (side) => [tip[0] - down[0] * 4 - down[1] * 4.5 * side, tip[1] - down[1] * 4 + down[0] * 4.5 * side];
    heads.moveTo(...wing(1));
    heads.lineTo(...tip);
    heads.lineTo(...wing(-1));
  }
  for (const [colour, width] of [["#fff", 4.6], [INK, 1.7]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.stroke(heads);
  }
}

// The line nearest to a pixel, −1 where none is near.
function lineAt(level, view, x, y, shown) {
  let best = NEAR_PX, found = -1;
  eachSeen(level, view, NEAR_PX, (i, shift) => {
    if (!shown[i]) return;
    const b = 4 * i;
    if (x < level.box[b] * view.scale + shift - NEAR_PX || x > level.box[b + 2] * view.scale + shift + NEAR_PX ||
      y < level.box[b + 1] * view.scale - view.top - NEAR_PX || y > level.box[b + 3] * view.scale - view.top + NEAR_PX) return;
    for (let j = level.starts[i]; j < level.starts[i + 1] - 1; j++) {
      const ax = level.x[j] * view.scale + shift, ay = level.y[j] * view.scale - view.top;
      const dx = (level.x[j + 1] - level.x[j]) * view.scale, dy = (level.y[j + 1] - level.y[j]) * view.scale;
      const long = dx * dx + dy * dy, share = long ? Math.min(Math.max(((x - ax) * dx + (y - ay) * dy) / long, 0), 1) : 0;
      const away = Math.hypot(ax + share * dx - x, ay + share * dy - y);
      if (away < best) [best, found] = [away, i];
    }
  });
  return found;
}
