// The map's own script: places signs and words on the line by the numbers in #map-data.
// It computes places on paper and nothing about the railway.
"use strict";
(function () {
  const data = JSON.parse(document.getElementById("map-data").textContent);
  const holder = document.querySelector(".folium-map");
  const map = window[holder.id];
  const SVG = "http://www.w3.org/2000/svg";
  const INK = "#1E2329";
  const PLACES_PX = [13, 22, 34, 48, 66]; // how far a name may stand from its place
  const LEADER_FROM_PX = 20;
  const CHEVRON_PX = 110;
  const GAP_PX = 2.4; // air round every measured box
  const EQUATIONS_TO = 10; // post equations are shown while every tenth post or more is labelled
  const MARGIN_PX = 240; // drawn beyond the window's edge
  const touch = window.matchMedia("(pointer: coarse)").matches;
  const narrow = () => window.innerWidth <= 600;
  const paperly = () => document.documentElement.classList.contains("paper");
  let untouched = true; // until the reader moves the map by hand, it follows the window
  const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;

  // ---------------------------------------------------------------- elements
  function make(name, attributes, parent, text) {
    const node = document.createElement(name);
    for (const [key, value] of Object.entries(attributes || {})) node.setAttribute(key, value);
    if (text !== undefined) node.textContent = text;
    if (parent) parent.appendChild(node);
    return node;
  }
  function draw(name, attributes, parent) {
    const node = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes || {})) node.setAttribute(key, value);
    if (parent) parent.appendChild(node);
    return node;
  }
  const path = (points) => "M" + points.map((p) => p[0].toFixed(1) + " " + p[1].toFixed(1)).join("L");

  // ---------------------------------------------------------------- the line
  function whole(steps, unit) {
    let sum = 0;
    return Float64Array.from(steps, (step) => (sum += step) * unit);
  }
  const chainage = whole(data.line.chainage, 0.1);
  const longitude = whole(data.line.longitude, 1e-6);
  const latitude = whole(data.line.latitude, 1e-6);
  const last = chainage.length - 1;

  function segment(values, x) { // index i with values[i] <= x < values[i + 1]
    let low = 0, high = last;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (values[middle] <= x) low = middle; else high = middle;
    }
    return low;
  }
  function between(from, to, x, values) {
    const i = segment(from, x);
    const wide = from[i + 1] - from[i];
    const share = wide > 0 ? Math.min(Math.max((x - from[i]) / wide, 0), 1) : 0;
    return values ? [i, share] : to[i] + share * (to[i + 1] - to[i]);
  }
  function placeAt(x) {
    return L.latLng(between(chainage, latitude, x), between(chainage, longitude, x));
  }
  function stretch(from, to) {
    const points = [placeAt(from)];
    for (let i = segment(chainage, from) + 1; i <= last && chainage[i] < to; i++) {
      if (chainage[i] > from) points.push(L.latLng(latitude[i], longitude[i]));
    }
    points.push(placeAt(to));
    return points;
  }
  const width = (kind) => data.widths[Math.abs(kind)];

  map.attributionControl.setPrefix(false);
  // Leaflet takes markup there, and this is text of an input file.
  if (data.credit) map.attributionControl.addAttribution(Object.assign(document.createElement("i"), { textContent: data.credit }).innerHTML);
  map.createPane("line").style.zIndex = 410;
  const paper = L.svg({ pane: "line", padding: 1 });
  const stroke = (points, options) => L.polyline(points, Object.assign(
    { renderer: paper, pane: "line", lineCap: "butt", interactive: false, smoothFactor: 0.6 }, options)).addTo(map);
  const everything = stretch(chainage[0], chainage[last]);
  const runs = data.runs.map(([from, to, kind, cover]) => ({ from, to, kind, cover, points: stretch(from, to) }));
  // The band: the less sure the rail's elevation, the wider.
  for (const edge of [2, 0]) {
    for (const [from, to, step] of data.unsure) {
      stroke(stretch(from, to), { color: edge ? INK : data.band.colour, weight: data.band.widths[step - 1] + edge });
    }
  }
  stroke(everything, { color: "#fff", weight: 11, opacity: 0.9, lineCap: "round" });
  // Casings: whole in the open, dashed in tunnels, dotted where a structure is suspected.
  for (const run of runs) {
    const dash = [null, "5 4", "2 4"][run.cover];
    stroke(run.points, { color: INK, weight: width(run.kind) + 2, dashArray: dash });
  }
  for (const run of runs) {
    const fill = data.colours[run.cover === 1 ? "tunnel" : "open"][run.kind];
    stroke(run.points, { color: fill, weight: width(run.kind) });
  }
  const touchLine = stroke(everything, { weight: touch ? 30 : 18, opacity: 0, interactive: true });

  // ---------------------------------------------------------------- words that open
  function words(title, lines) {
    const node = make("div");
    make("strong", {}, node, title);
    for (const line of lines) make("span", {}, node, line);
    return node;
  }
  touchLine.on("click", (event) => {
    const to = map.latLngToLayerPoint(event.latlng);
    let best = Infinity, at = 0;
    for (let i = 0; i < last; i++) {
      const near = L.LineUtil.closestPointOnSegment(to, view.points[i], view.points[i + 1]);
      const away = near.distanceTo(to);
      if (away < best) {
        best = away;
        const long = view.points[i].distanceTo(view.points[i + 1]);
        const share = long > 0 ? view.points[i].distanceTo(near) / long : 0;
        at = chainage[i] + share * (chainage[i + 1] - chainage[i]);
      }
    }
    const run = data.grades.find(([from, to_]) => at >= from && at <= to_);
    const here = data.places.reduce((best, place) => Math.abs(place[0] - at) < Math.abs(best[0] - at) ? place : best);
    const bends = data.plan.filter((mark) => mark.sign === "bend" && at >= mark.start && at <= mark.end);
    const bent = bends.map((mark) => mark.title + ": " + mark.lines[0]);
    const content = run ? words(run[2][0], [...run[2].slice(1), here[1], ...bent]) : words(here[1], bent);
    L.popup({ maxWidth: 280 }).setLatLng(placeAt(at)).setContent(content).openOn(map);
  });

  // ---------------------------------------------------------------- signs
  const twice = (d) => [["path", { class: "ground", d }], ["path", { d }]]; // strokes on a white ground
  const SHAPES = { // drawn about 0, 0
    station: [["rect", { x: -4.5, y: -4.5, width: 9, height: 9 }]],
    crest: [["path", { d: "M-6.5 5L0 -6.5L6.5 5Z" }]],
    sag: [["path", { d: "M-6.5 -5L0 6.5L6.5 -5Z" }]],
    break: [["circle", { r: 5 }]],
    curve: [["path", { d: "M-6 4A6 6 0 0 1 6 4Z" }]],
    corner: twice("M-4 -4L4 4M-4 4L4 -4"),
    equation: twice("M-2.2 -7V7M2.2 -7V7"), // turned to lie across the line
    practice: twice("M0 -5.4V5.4M-4.7 -2.7L4.7 2.7M-4.7 2.7L4.7 -2.7"),
    astride: [["circle", { class: "chip", r: 9 }]],
    stop: [["rect", { class: "chip", x: -9, y: -9, width: 18, height: 18 }]],
    hard: [["rect", { x: -9, y: -9, width: 18, height: 18 }]],
    unheld: [["rect", { x: -11, y: -11, width: 22, height: 22 }], ["rect", { class: "chip", x: -8, y: -8, width: 16, height: 16 }]],
    begin: [["path", { class: "chip", d: "M0 -12L12 0L0 12L-12 0Z" }]],
    "slack-in": [["path", { d: "M-11 -4H-2V4H-11ZM2 -4H11V4H2Z" }], ["rect", { class: "chip", x: -1, y: -6, width: 2, height: 12 }]],
    "slack-out": [["path", { d: "M-11 -4H-4V4H-11ZM4 -4H11V4H4ZM-4 0H4" }]],
  };
  const OF_TRAIN = new Set(["astride", "stop", "hard", "unheld", "begin", "slack-in", "slack-out"]); // chips beside the line
  const DOTS = { stop: "0.1 5", hard: "0.1 9", unheld: "none" }; // a dotted or solid band on the right of the line
  const AT_BEST = new Set(["begin", "slack-in", "slack-out"]); // a chip alone: the words tell from where to where
  const BESIDE = { ruling: 2.4, heavy: 1.1, bend: 0.8 }; // weight of brackets beside the line
  function shape(sign, parent) {
    for (const [name, attributes] of SHAPES[sign] || []) {
      const own = attributes.class ? { class: "shape " + attributes.class } : {};
      draw(name, Object.assign({ class: "shape" }, attributes, own), parent);
    }
  }
  function icon(mark) {
    const sign = mark.sign;
    const svg = draw("svg", { width: 24, height: 24, viewBox: "-12 -12 24 24", "aria-hidden": "true" });
    shape(sign, svg);
    if (mark.number) figure(svg, sign, mark.number);
    return L.divIcon({ className: "sign sign-" + sign, iconSize: [24, 24], html: svg });
  }
  function figure(svg, sign, number) { // the number of a mark in its chip
    const node = draw("text", { class: sign === "hard" ? "number" : "number white", y: 3.8, "text-anchor": "middle" }, svg);
    node.textContent = String(number);
  }
  const layer = { open: false, train: true }; // curves and what belongs to them are there while their list is open
  const asked = data.plan.map((mark) => Object.assign({ asked: true }, mark));
  const ofTrain = data.train ? data.train.marks : [];
  const hidden = (sign) => (sign.asked && !layer.open) || (OF_TRAIN.has(sign.sign) && !layer.train);
  const signs = [...data.marks, ...asked, ...ofTrain].map((mark) => {
    const marker = L.marker(placeAt(mark.at), { icon: icon(mark), keyboard: true, riseOnHover: true,
      zIndexOffset: mark.sign === "equation" ? -1000 : 0 }); // strokes may stick out under a sign, not hide it
    marker.bindPopup(words(mark.title, [mark.where, ...mark.lines]), { maxWidth: 290, offset: [0, -4] });
    marker.on("add", () => marker.getElement().setAttribute("aria-label", [mark.title, mark.where, ...mark.lines].join(". ")));
    // Long words scroll, and open clear of the key.
    const options = marker.getPopup().options;
    const beside = (side) => !narrow() && key.classList.contains(side) ? key.offsetWidth + 16 : 5;
    Object.defineProperty(options, "maxHeight", { get: () => Math.max(Math.round(0.55 * map.getSize().y), 120) });
    Object.defineProperty(options, "autoPanPaddingTopLeft", { get: () => L.point(beside("left"), narrow() ? key.offsetHeight + 14 : 5) });
    Object.defineProperty(options, "autoPanPaddingBottomRight", { get: () => L.point(beside("right"), 5) });
    return Object.assign({ marker }, mark);
  });

  // ---------------------------------------------------------------- boxes that must not meet
  class Boxes {
    constructor() { this.cells = new Map(); }
    each(box, use) {
      for (let i = Math.floor(box[0] / 40); i <= Math.floor(box[2] / 40); i++) {
        for (let j = Math.floor(box[1] / 40); j <= Math.floor(box[3] / 40); j++) if (use(i + "," + j)) return true;
      }
      return false;
    }
    add(box) {
      this.each(box, (cell) => { (this.cells.get(cell) || this.cells.set(cell, []).get(cell)).push(box); });
    }
    meets(box) {
      return this.each(box, (cell) => (this.cells.get(cell) || []).some(
        (other) => box[0] < other[2] && box[2] > other[0] && box[1] < other[3] && box[3] > other[1]));
    }
  }
  const around = (x, y, half) => [x - half, y - half, x + half, y + half];
  function alongLeader(from, to, use) {
    const long = Math.hypot(to[0] - from[0], to[1] - from[1]);
    const steps = Math.max(1, Math.ceil(long / 4));
    for (let i = 0; i <= steps; i++) {
      const x = from[0] + (to[0] - from[0]) * i / steps, y = from[1] + (to[1] - from[1]) * i / steps;
      if (use(around(x, y, 1.5))) return true;
    }
    return false;
  }

  const pen = document.createElement("canvas").getContext("2d");
  const FONTS = { post: "bold 11px", figure: "11px", station: "13px", bold: "bold 12px", italic: "italic 11px" };
  const measured = new Map();
  function textWidth(text, style) {
    const key = style + text;
    if (!measured.has(key)) {
      pen.font = FONTS[style] + ' "DejaVu Sans", Verdana, system-ui, sans-serif';
      measured.set(key, pen.measureText(text).width);
    }
    return measured.get(key);
  }

  // ---------------------------------------------------------------- one drawing per view
  map.createPane("under").style.zIndex = 405;
  map.createPane("words").style.zIndex = 590;
  map.getPane("words").style.pointerEvents = "none";
  const drawing = draw("svg", { class: "drawing", width: 1, height: 1 }, map.getPane("words"));
  const under = draw("svg", { class: "drawing", width: 1, height: 1 }, map.getPane("under"));
  const view = { points: [], arc: new Float64Array(last + 1) };

  function look() { // the line in pixels of this zoom, and where it is in sight
    let sum = 0;
    view.points = everything.length === last + 1 ? everything.map((p) => map.latLngToLayerPoint(p)) : [];
    for (let i = 1; i <= last; i++) view.arc[i] = sum += view.points[i].distanceTo(view.points[i - 1]);
    const size = map.getSize();
    const corner = map.containerPointToLayerPoint([0, 0]);
    view.window = [corner.x, corner.y, corner.x + size.x, corner.y + size.y];
    const [left, top, right, bottom] = view.window;
    view.seen = [];
    for (let i = 0; i < last; i++) {
      const a = view.points[i], b = view.points[i + 1];
      if (Math.max(a.x, b.x) < left - MARGIN_PX || Math.min(a.x, b.x) > right + MARGIN_PX) continue;
      if (Math.max(a.y, b.y) < top - MARGIN_PX || Math.min(a.y, b.y) > bottom + MARGIN_PX) continue;
      const end = view.seen[view.seen.length - 1];
      if (end && end[1] >= view.arc[i] - 1) end[1] = view.arc[i + 1];
      else view.seen.push([view.arc[i], view.arc[i + 1]]);
    }
  }
  const arcAt = (x) => between(chainage, view.arc, x);
  function pointAt(arc) {
    const [i, share] = between(view.arc, null, arc, true);
    const a = view.points[i], b = view.points[i + 1];
    return [a.x + share * (b.x - a.x), a.y + share * (b.y - a.y)];
  }
  function tangentAt(arc, reach) { // unit vector along the line, averaged over the reach
    const a = pointAt(Math.max(arc - reach, 0)), b = pointAt(Math.min(arc + reach, view.arc[last]));
    const long = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
    return [(b[0] - a[0]) / long, (b[1] - a[1]) / long];
  }
  const beside = (p, t, offset) => [p[0] - t[1] * offset, p[1] + t[0] * offset]; // + is right of travel
  function inSight(from, to) { // parts of a stretch of arc that can be seen
    return view.seen.map(([a, b]) => [Math.max(a, from), Math.min(b, to)]).filter(([a, b]) => b >= a);
  }
  const isSeen = (p) => p[0] > view.window[0] && p[0] < view.window[2] && p[1] > view.window[1] && p[1] < view.window[3];

  function redraw() {
    if (!map.getSize().x || !map.getSize().y) return;
    look();
    drawing.replaceChildren();
    under.replaceChildren();
    const taken = new Boxes();
    coverControls(taken);
    const rail = new Boxes();
    const labels = [...postLabels(), ...signLabels(taken), ...bracketLabels(rail)];
    bridges();
    for (const [from, to] of view.seen) {
      for (let arc = from; arc <= to; arc += 5) rail.add(around(...pointAt(arc), 5));
    }
    chips(taken, rail);
    labels.sort((a, b) => a.rank - b.rank);
    // Chevrons can slide along their run, so the weightier names come first.
    for (const label of labels.filter((l) => l.rank <= 2)) place(label, taken, rail);
    chevrons(taken, rail);
    for (const label of labels.filter((l) => l.rank > 2)) place(label, taken, rail);
  }

  function coverControls(taken) {
    const [left, top, right, bottom] = view.window;
    for (const box of [[left - 999, top - 999, left + 4, bottom + 999], [right - 4, top - 999, right + 999, bottom + 999],
      [left - 999, top - 999, right + 999, top + 4], [left - 999, bottom - 4, right + 999, bottom + 999]]) taken.add(box);
    const home = holder.getBoundingClientRect();
    for (const node of [key, ...holder.querySelectorAll(".leaflet-control")]) {
      const r = node.getBoundingClientRect();
      const x = r.left - home.left + left, y = r.top - home.top + top;
      if (r.width) taken.add([x - 4, y - 4, x + r.width + 4, y + r.height + 4]);
    }
  }

  // ---------------------------------------------------------------- posts, signs, brackets
  function postStep() { // labelled posts stand at least 46 px apart
    const apart = view.arc[last] / Math.max(data.posts.length - 1, 1);
    return [1, 5, 10, 50, 100, 500].find((n) => n * apart >= 46) || 1000;
  }
  function postLabels() {
    const step = postStep(), labels = [];
    for (const [x, value] of data.posts) {
      if (value % step) continue;
      const arc = arcAt(x), p = pointAt(arc);
      if (isSeen(p)) labels.push({ rank: 0, style: "post", texts: [String(value)], at: [p], along: tangentAt(arc, 6), leader: true });
    }
    return labels;
  }

  const STYLE = { station: "station", tunnel: "italic", bridge: "italic", suspected: "italic", bend: "figure", corner: "figure", practice: "figure", equation: "figure" };
  const RANK = { crest: 1, sag: 1, ruling: 0.5, break: 1.5, station: 2, suspected: 3, tunnel: 3, bridge: 4, curve: 5, heavy: 5, corner: 6, practice: 6, equation: 6, bend: 7 };
  const AREAL = new Set(["tunnel", "bridge", "suspected"]);
  function signLabels(taken) {
    const labels = [], near = postStep() <= EQUATIONS_TO;
    for (const sign of signs) {
      if (sign.sign in BESIDE || OF_TRAIN.has(sign.sign)) continue;
      const arc = arcAt(sign.at), p = pointAt(arc);
      const long = arcAt(sign.end) - arcAt(sign.start);
      const shown = !hidden(sign) && isSeen(p) && (!AREAL.has(sign.sign) || long >= 5) && (sign.sign !== "equation" || near);
      show(sign, shown, placeAt(sign.at));
      if (!shown) continue;
      if (!AREAL.has(sign.sign)) taken.add(around(p[0], p[1], 8));
      if (sign.sign === "equation") {
        const [tx, ty] = tangentAt(arc, 6);
        sign.marker.getElement().firstElementChild.style.rotate = Math.atan2(ty, tx) + "rad";
      }
      labels.push({ rank: RANK[sign.sign] - Math.min(long, 500) / 1000, style: STYLE[sign.sign] || "bold",
        texts: [sign.label], at: [p], along: tangentAt(arc, 10), sign });
    }
    return labels;
  }
  const AWAY_PX = [24, -24, 36, -36, 50, -50, 66, -66, 84, -84]; // how far off the line a chip may stand
  function chips(taken, rail) { // marks of the train: a chip off the line, a leader, the stretch beside the line
    const own = signs.filter((s) => OF_TRAIN.has(s.sign)); // numbers come first
    for (const sign of [...own.filter((s) => s.number), ...own.filter((s) => !s.number)]) {
      if (hidden(sign)) { show(sign, false); continue; }
      const from = arcAt(sign.start), to = arcAt(sign.end);
      if (!AT_BEST.has(sign.sign)) for (const [a, b] of inSight(from, to)) along(sign, a, b, a === from, b === to, rail);
      const arc = arcAt(sign.at), p = pointAt(arc), t = tangentAt(arc, 8);
      const free = (q) => isSeen(q) && !taken.meets(around(q[0], q[1], 11)) && !rail.meets(around(q[0], q[1], 11));
      // A chip whose words are open stays where it is: the map moves to make room for them.
      const stays = sign.marker.isPopupOpen() && sign.away;
      if (!stays) sign.away = isSeen(p) && AWAY_PX.slice(0, sign.number ? 10 : 4).find((away) => free(beside(p, t, away)));
      const spot = sign.away && beside(p, t, sign.away);
      show(sign, Boolean(spot), spot ? map.layerPointToLatLng(spot) : placeAt(sign.at));
      if (!spot) continue; // crowded from afar: nearer it is there, and the list has it
      taken.add(around(spot[0], spot[1], 11));
      draw("path", { class: "halo", d: path([p, spot]), "stroke-width": 2.6 }, under);
      draw("path", { class: "ink", d: path([p, spot]), "stroke-width": 0.9 }, under);
    }
  }
  function along(sign, from, to, opens, closes, rail) {
    if (to - from < 6) return;
    if (!(sign.sign in DOTS)) { bracket(from, to, -11, 1.1, opens, closes); return; }
    const points = [];
    for (let arc = from; arc < to + 5; arc += 5) points.push(beside(pointAt(Math.min(arc, to)), tangentAt(Math.min(arc, to), 14), 11));
    points.forEach((p) => rail.add(around(p[0], p[1], 3)));
    draw("path", { class: "halo", d: path(points), "stroke-width": 7 }, under);
    draw("path", { class: "ink dots", d: path(points), "stroke-width": 4, "stroke-dasharray": DOTS[sign.sign] }, under);
  }
  function show(sign, shown, place_) {
    if (shown) {
      sign.marker.setLatLng(place_);
      if (!map.hasLayer(sign.marker)) sign.marker.addTo(map);
    } else if (map.hasLayer(sign.marker) && !sign.marker.isPopupOpen()) sign.marker.remove();
  }

  function bracketLabels(rail) {
    const labels = [];
    const level = { left: [], right: [] };
    for (const sign of signs.filter((s) => s.sign in BESIDE).sort((a, b) => BESIDE[b.sign] - BESIDE[a.sign])) {
      if (hidden(sign)) { show(sign, false); continue; }
      const [from, to] = [arcAt(sign.start), arcAt(sign.end)];
      // Brackets of one side that share ground stand one outside the other.
      const floor = level[sign.side].filter(([a, b]) => a < to + 8 && b > from - 8).length;
      level[sign.side].push([from, to]);
      const offset = (sign.side === "left" ? -1 : 1) * (15 + 8 * floor);
      const parts = inSight(from, to).filter(([a, b]) => b - a > 3);
      const seen = [];
      for (const [a, b] of parts) seen.push(...bracket(a, b, offset, BESIDE[sign.sign], a === from, b === to));
      seen.forEach((p) => rail.add(around(p[0], p[1], 3))); // a leader may cross a bracket, a name may not
      const inner = seen.filter(isSeen);
      const middle = inner[Math.floor(inner.length / 2)];
      show(sign, inner.length > 0 && to - from > 8, middle ? map.layerPointToLatLng(middle) : placeAt(sign.at));
      if (!inner.length || to - from <= 8) continue;
      const pick = (share) => inner[Math.min(Math.floor(inner.length * share), inner.length - 1)];
      labels.push({ rank: RANK[sign.sign], style: STYLE[sign.sign] || "bold", texts: [sign.label, sign.short], at: [0.5, 0.35, 0.65, 0.2, 0.8, 0.05, 0.95].map(pick),
        along: tangentAt((from + to) / 2, 10), side: Math.sign(offset), sign });
    }
    return labels;
  }
  function bracket(from, to, offset, weight, opens, closes) {
    const away = Math.abs(offset), reach = Math.max(14, 1.8 * away);
    const steps = Math.max(2, Math.ceil((to - from) / 5));
    const points = [];
    for (let i = 0; i <= steps; i++) {
      const arc = from + (to - from) * i / steps;
      const p = beside(pointAt(arc), tangentAt(arc, reach), offset);
      if (!closer(p, arc, away)) points.push(p);
    }
    const foot = (arc) => beside(pointAt(arc), tangentAt(arc, reach), offset * 0.5);
    const drawn = [...(opens ? [foot(from)] : []), ...points, ...(closes ? [foot(to)] : [])];
    if (drawn.length < 2) return [];
    draw("path", { class: "halo", d: path(drawn), "stroke-width": weight + 3 }, under);
    draw("path", { class: "ink", d: path(drawn), "stroke-width": weight }, under);
    return points;
  }
  function closer(p, arc, away) { // inside a bend: nearer to another part of the line than it should be
    for (let other = arc - 5 * away; other <= arc + 5 * away; other += 4) {
      const q = pointAt(Math.min(Math.max(other, 0), view.arc[last]));
      if (Math.hypot(q[0] - p[0], q[1] - p[1]) < 0.72 * away) return true;
    }
    return false;
  }

  function bridges() { // two parapets
    for (const sign of signs) {
      if (sign.sign !== "bridge") continue;
      for (const [a, b] of inSight(arcAt(sign.start), arcAt(sign.end))) {
        if (b - a < 5) continue;
        for (const side of [-7, 7]) {
          const line = [];
          for (let i = 0; i <= 8; i++) line.push(beside(pointAt(a + (b - a) * i / 8), tangentAt(a + (b - a) * i / 8, 3), side));
          const flare = (arc, away) => { const t = tangentAt(arc, 3), p = beside(pointAt(arc), t, side * 1.5); return [p[0] + t[0] * away, p[1] + t[1] * away]; };
          draw("path", { class: "ink", d: path([flare(a, -3), ...line, flare(b, 3)]), "stroke-width": 1.4 }, drawing);
        }
      }
    }
  }

  // ---------------------------------------------------------------- chevrons: the way the line falls
  function chevronPath(x, y, t, count) {
    const parts = [];
    for (let i = 0; i < count; i++) {
      const away = (i - (count - 1) / 2) * 5;
      const tip = [x + t[0] * (away + 2), y + t[1] * (away + 2)];
      const wing = (side) => [tip[0] - t[0] * 4 - t[1] * 4.5 * side, tip[1] - t[1] * 4 + t[0] * 4.5 * side];
      parts.push(path([wing(1), tip, wing(-1)]));
    }
    return parts.join("");
  }
  function chevrons(taken, rail) {
    // Along whole stretches that fall one way, and at least once on every run long enough.
    let from = 0;
    for (let i = 0; i <= runs.length; i++) {
      if (i < runs.length && Math.abs(runs[i].kind) > 1 && (i === from || runs[i].kind * runs[from].kind > 0)) continue;
      if (i > from) chevronsOn(runs.slice(from, i), taken, rail);
      from = i < runs.length && Math.abs(runs[i].kind) > 1 ? i : i + 1;
    }
  }
  function chevronsOn(some, taken, rail) {
    const start = arcAt(some[0].from), long = arcAt(some[some.length - 1].to) - start;
    if (long < 26) return;
    const count = Math.max(1, Math.round(long / CHEVRON_PX));
    const places = Array.from({ length: count }, (_, i) => start + long * (i + 0.5) / count);
    for (const run of some) {
      const a = arcAt(run.from), b = arcAt(run.to);
      const own = places.filter((arc) => arc >= a && arc < b);
      if (!own.length && b - a >= 26) own.push((a + b) / 2);
      for (const arc of own) chevron(arc, Math.min(long / count, b - a), run, Math.abs(run.kind) - 1, taken, rail);
    }
  }
  function chevron(arc, room, run, count, taken, rail) {
    const clear = width(run.kind) / 2 + 9;
    for (const shift of [0, -0.12, 0.12, -0.25, 0.25, -0.38, 0.38]) {
      for (const side of [1, -1]) {
        const at = arc + shift * room, t = tangentAt(at, 8);
        const p = beside(pointAt(at), t, side * clear);
        if (!isSeen(p)) continue;
        const long = 4 + 2.5 * count;
        const boxes = [-1, 0, 1].map((n) => around(p[0] + t[0] * n * long * 0.7, p[1] + t[1] * n * long * 0.7, 3.5));
        if (boxes.some((box) => taken.meets(box) || rail.meets(box))) continue;
        boxes.forEach((box) => taken.add(box));
        const down = run.kind < 0 ? t : [-t[0], -t[1]];
        const d = chevronPath(p[0], p[1], down, count);
        draw("path", { class: "halo", d, "stroke-width": 4.6 }, drawing);
        draw("path", { class: "ink", d, "stroke-width": 1.7 }, drawing);
        return;
      }
    }
  }

  // ---------------------------------------------------------------- names, each at its first free place
  const WAYS = [[1, 0], [-1, 0], [0.8, -0.6], [0.8, 0.6], [-0.8, -0.6], [-0.8, 0.6]];
  const UPRIGHT = [[0.3, -0.95], [0.3, 0.95], [-0.3, -0.95], [-0.3, 0.95]];
  function ways(label) { // those across the line first; for a bracket, outwards first
    const [tx, ty] = label.along;
    const across = (w) => label.side ? -(w[0] * -ty + w[1] * tx) * label.side : Math.abs(w[0] * tx + w[1] * ty);
    const sorted = (some) => [...some].sort((a, b) => across(a) - across(b));
    return label.side ? sorted([...WAYS, ...UPRIGHT]).filter((w) => across(w) < -0.4) : [...sorted(WAYS), ...sorted(UPRIGHT)];
  }
  function place(label, taken, rail) {
    const high = label.style === "station" ? 14 : 12;
    for (const text of label.texts) {
      const wide = textWidth(text, label.style);
      for (const away of PLACES_PX) {
        for (const p of label.at) {
          for (const way of ways(label)) {
            if (tryPlace(label, text, taken, rail, p, way, away, wide, high)) return;
          }
        }
      }
    }
  }
  function tryPlace(label, text, taken, rail, p, way, away, wide, high) {
    const edge = [p[0] + way[0] * away, p[1] + way[1] * away];
    const x = way[0] > 0 ? edge[0] : edge[0] - wide;
    const y = edge[1] - high / 2;
    const box = [x - GAP_PX, y - GAP_PX, x + wide + GAP_PX, y + high + GAP_PX];
    if (taken.meets(box) || rail.meets(box)) return false;
    const leader = label.leader || away >= LEADER_FROM_PX;
    const from = [p[0] + way[0] * (label.leader ? 3 : 9), p[1] + way[1] * (label.leader ? 3 : 9)];
    const to = [edge[0] - Math.sign(way[0]) * 2, edge[1]];
    if (leader && away >= LEADER_FROM_PX) {
      // A leader may cross the line but no word and no sign other than its own.
      const clear = [p[0] + way[0] * 12, p[1] + way[1] * 12];
      if (alongLeader(clear, to, (spot) => taken.meets(spot))) return false;
      alongLeader(clear, to, (spot) => { taken.add(spot); });
    }
    taken.add(box);
    if (leader) {
      draw("path", { class: "halo", d: path([from, to]), "stroke-width": 2.6 }, drawing);
      draw("path", { class: "ink", d: path([from, to]), "stroke-width": 0.9 }, drawing);
    }
    const node = draw("text", { class: label.style, x: x.toFixed(1), y: (y + high - 2.2).toFixed(1), "aria-hidden": "true" }, drawing);
    node.textContent = text;
    if (label.sign) node.addEventListener("click", () => label.sign.marker.openPopup());
    return true;
  }

  // ---------------------------------------------------------------- key
  const key = make("aside", { class: "key", "aria-label": "Key to the map" }, holder);
  L.DomEvent.disableClickPropagation(key);
  L.DomEvent.disableScrollPropagation(key);

  function sample(kind) {
    const svg = draw("svg", { viewBox: "0 0 44 30", preserveAspectRatio: "xMidYMid meet", "aria-hidden": "true" });
    const count = Math.abs(kind) - 1;
    if (count > 0) draw("path", { class: "shape open", d: chevronPath(22, 8, [kind > 0 ? -1 : 1, 0], count) }, svg);
    line(svg, 0, 44, 23, kind, 0);
    return svg;
  }
  function line(svg, from, to, y, kind, cover) {
    const d = path([[from, y], [to, y]]);
    const dash = cover ? { "stroke-dasharray": ["", "5 4", "2 4"][cover] } : {};
    draw("path", { d, stroke: "#fff", "stroke-width": 11 }, svg);
    draw("path", Object.assign({ d, stroke: INK, "stroke-width": width(kind) + 2 }, dash), svg);
    draw("path", { d, stroke: data.colours[cover === 1 ? "tunnel" : "open"][kind], "stroke-width": width(kind) }, svg);
  }
  function signSample(list, name, text) {
    const item = make("li", {}, list);
    if (name in DOTS || name === "astride") {
      const svg = draw("svg", { width: 50, height: 20, viewBox: "-12 -12 58 24", "aria-hidden": "true" }, item);
      shape(name, svg);
      figure(svg, name, 5);
      if (name === "astride") draw("path", { class: "shape open", d: "M16 5V-2H42V5", style: "stroke-width:1.1" }, svg);
      else draw("path", { class: "shape open dots", d: "M16 0H42", "stroke-dasharray": DOTS[name], style: "stroke-width:4" }, svg);
      make("span", {}, item, text);
      return;
    }
    if (AT_BEST.has(name)) {
      const svg = draw("svg", { width: 24, height: 20, viewBox: "-13 -13 26 26", "aria-hidden": "true" }, item);
      shape(name, svg);
      if (name === "begin") figure(svg, name, 5);
      make("span", {}, item, text);
      return;
    }
    const flat = name === "tunnel" || name === "suspected" || name === "bridge" || name in BESIDE;
    const svg = draw("svg", { width: flat ? 30 : 16, height: 16, viewBox: flat ? "0 0 30 16" : "-8 -8 16 16", "aria-hidden": "true" }, item);
    if (name === "tunnel") line(svg, 0, 30, 8, 2, 1);
    else if (name === "suspected") line(svg, 0, 30, 8, 2, 2);
    else if (name in BESIDE) draw("path", { class: "shape open", d: "M3 13V5H27V13", style: "stroke-width:" + BESIDE[name] }, svg);
    else if (name === "bridge") {
      line(svg, 0, 30, 8, 1, 0);
      for (const d of ["M5 0L8 3H22L25 0", "M5 16L8 13H22L25 16"]) draw("path", { class: "shape open", d, style: "stroke-width:1.4" }, svg);
    } else shape(name, svg);
    make("span", {}, item, text);
  }
  function signSamples(parent, marks, names) {
    const used = new Set(marks.map((mark) => mark.sign));
    const list = make("ul", { class: "signs", "aria-label": "Signs" }, parent);
    for (const [name, text] of Object.entries(names)) if (used.has(name)) signSample(list, name, text);
    return list;
  }
  function buildKey() {
    const all = make("details", {}, key);
    const head = make("summary", {}, all);
    keyFolds(all, "(max-width: 899px), (max-height: 639px)");
    make("h1", {}, head, data.name);
    make("span", { class: "direction" }, head, data.direction);
    if (data.train) make("span", { class: "train" }, head, data.train.title);
    if (data.invented) make("span", { class: "invented", role: "note" }, head, data.invented);
    make("p", { class: "small" }, all, "grade in " + data.grade_unit + " · chevrons point downhill");
    const list = make("ul", { class: "samples", "aria-label": "Grade classes in " + data.grade_unit }, all);
    for (let kind = 4; kind >= -4; kind--) {
      const item = make("li", {}, list);
      item.appendChild(sample(kind));
      const limit = data.classes[Math.abs(kind)];
      const sense = kind > 0 ? "up " : kind < 0 ? "down " : "";
      make("span", { "aria-label": sense + limit }, item, limit.replace("–", "–\u200b"));
    }
    const senses = make("p", { class: "senses" }, all);
    make("span", {}, senses, "← up, as travelled");
    make("span", {}, senses, "down, as travelled →");
    const signList = signSamples(all, data.marks, { ruling: "ruling grade", heavy: "heavy or sustained grade", crest: "crest", sag: "sag", break: "grade break",
      curve: "sharpest curve", station: "station", equation: "post equation, back = ahead", tunnel: "in tunnel", suspected: "structure suspected only", bridge: "bridge" });
    const steps = new Set(data.unsure.map((run) => run[2]));
    data.band.words.forEach((text, i) => {
      if (!steps.has(i + 1)) return;
      const item = make("li", {}, signList);
      const wide = data.band.widths[i];
      const svg = draw("svg", { width: 30, height: wide, viewBox: "0 0 30 " + wide, "aria-hidden": "true" }, item);
      draw("rect", { width: 30, height: wide, fill: INK }, svg);
      draw("rect", { y: 1, width: 30, height: wide - 2, fill: data.band.colour }, svg);
      line(svg, 0, 30, wide / 2, 1, 0);
      make("span", {}, item, "elevation less sure than " + text);
    });
    if (data.posts.length) {
      const item = make("li", {}, signList);
      make("strong", {}, item, String(data.posts[data.posts.length >> 1][1]));
      make("span", {}, item, data.post_words);
    }
    if (data.train) buildTrain(all);
    buildPlaces(all, "Places on the line (" + data.marks.length + ")", signs.filter((sign) => !sign.asked && !OF_TRAIN.has(sign.sign)));
    if (asked.length) {
      const plan = buildPlaces(all, data.plan_words, signs.filter((sign) => sign.asked));
      plan.classList.add("plan");
      plan.addEventListener("toggle", () => { layer.open = plan.open; redraw(); });
      plan.querySelector("ol").before(signSamples(plan, data.plan, { bend: "curve, on its outer side",
        corner: "corner of the drawn line", practice: "departs from design practice" }));
    }
    const end = make("div", { class: "key-end" }, all);
    for (const note of data.notes) make("p", { class: "small" }, end, note);
    const layers = holder.querySelector(".leaflet-control-layers");
    if (layers) end.prepend(layers);
    all.addEventListener("toggle", () => { if (untouched) fit(); redraw(); });
  }
  function buildTrain(parent) {
    signSamples(parent, ofTrain, { astride: "astride, left of the line", stop: "do not stop, right of the line", hard: "start hard here",
      unheld: "not held, right of the line", begin: "begin: at its best place", "slack-in": "slack runs in", "slack-out": "slack runs out" });
    for (const rule of data.train.rules) make("span", { class: "small" }, parent, rule + " ");
    const label = make("label", { class: "shown" }, parent);
    const box = make("input", { type: "checkbox", checked: "" }, label);
    make("span", {}, label, "marks of this train on the map");
    box.addEventListener("change", () => { layer.train = box.checked; redraw(); });
    const list = buildPlaces(parent, "Marks (" + ofTrain.length + ")", signs.filter((sign) => OF_TRAIN.has(sign.sign)));
    for (const note of data.train.notes) make("p", { class: "small" }, list, note);
  }
  function buildPlaces(parent, title, some) {
    const places = make("details", { class: "places" }, parent);
    make("summary", {}, places, title);
    const list = make("ol", {}, places);
    for (const sign of some) {
      const button = make("button", { type: "button" }, make("li", {}, list), sign.label + " · " + sign.where);
      button.addEventListener("click", () => visit(sign));
    }
    places.addEventListener("toggle", () => redraw());
    return places;
  }
  function visit(sign) {
    untouched = false;
    if (narrow()) { // it covers most of what is asked for
      key.firstElementChild.open = false;
      key.querySelector("summary").focus({ preventScroll: true });
    }
    map.once("moveend", () => { // a view that does not animate has ended before fitBounds returns
      redraw();
      show(sign, true, sign.marker.getLatLng());
      sign.marker.openPopup();
    });
    const close = sign.end > sign.start ? map.getBoundsZoom(stretch(sign.start, sign.end), false, L.point(120, 120)) : 13;
    const zoom = Math.min(Math.max(sign.end > sign.start ? close : Math.max(map.getZoom(), close), 5), 14);
    map.setView(placeAt((sign.start + sign.end) / 2), zoom, { animate: !still });
  }

  // The key stands in the corner with the least line under it, and the view makes room if it must.
  function fit() {
    if (!map.getSize().x || !map.getSize().y) return; // not shown yet
    const bounds = L.latLngBounds(everything);
    key.className = "key left top";
    map.fitBounds(bounds, { animate: false, padding: [44, 44] });
    if (paperly()) return;
    if (narrow()) {
      map.fitBounds(bounds, { animate: false, paddingTopLeft: [40, key.offsetHeight < 160 ? key.offsetHeight + 24 : 40], paddingBottomRight: [40, 40] });
      return;
    }
    const corners = [["left", "bottom"], ["left", "top"], ["right", "top"], ["right", "bottom"]];
    const covered = corners.map(coveredBy);
    const least = covered.indexOf(Math.min(...covered));
    key.className = "key " + corners[least].join(" ");
    if (covered[least] > 0 && map.getSize().x > 900) {
      const room = key.offsetWidth + 50;
      const left = corners[least][0] === "left";
      map.fitBounds(bounds, { animate: false, paddingTopLeft: [left ? room : 44, 44], paddingBottomRight: [left ? 44 : room, 44] });
    }
  }
  function coveredBy([side, end]) {
    const size = map.getSize(), wide = key.offsetWidth + 40, high = key.offsetHeight + 40;
    let count = 0;
    for (const p of everything) {
      const q = map.latLngToContainerPoint(p);
      if ((side === "left" ? q.x < wide : q.x > size.x - wide) && (end === "top" ? q.y < high : q.y > size.y - high)) count++;
    }
    return count;
  }

  L.control.scale({ position: "bottomright", metric: data.units !== "us", imperial: data.units === "us" }).addTo(map);
  const zoom = L.control.zoom(), clear = () => zoom.setPosition(narrow() ? "bottomright" : "topright"); // of the key
  clear();
  if (!touch) zoom.addTo(map);
  holder.setAttribute("aria-label", "Map of " + data.name + ", " + data.direction);
  holder.setAttribute("role", "region");
  buildKey();
  map.invalidateSize({ animate: false });
  fit();
  redraw();
  map.on("zoomend moveend", redraw);
  for (const act of ["pointerdown", "wheel", "keydown"]) {
    holder.addEventListener(act, () => { untouched = false; }, { capture: true, once: true, passive: true });
  }
  map.on("resize", () => { clear(); if (untouched) fit(); redraw(); });
  // Closed words give the focus back to what opened them.
  let opener = null;
  map.on("popupopen", () => { opener = document.activeElement; });
  map.on("popupclose", (event) => {
    if (!event.popup.getElement().contains(document.activeElement)) return;
    (opener && opener.isConnected && opener !== document.body ? opener : holder).focus({ preventScroll: true });
  });
  holder.addEventListener("keydown", (event) => { if (event.key === "Escape") map.closePopup(); });
  for (const [when, paper] of [["beforeprint", true], ["afterprint", false]]) { // the map takes the size of the paper, its key stands under it
    window.addEventListener(when, () => {
      const [center, zoomed, wide] = [map.getCenter(), map.getZoom(), map.getSize().x];
      document.documentElement.classList.toggle("paper", paper);
      if (paper) holder.after(key); else holder.append(key);
      map.invalidateSize({ animate: false, pan: false });
      if (untouched) fit();
      else map.setView(center, zoomed + Math.log2(map.getSize().x / wide), { animate: false });
      redraw();
    });
  }
})();
