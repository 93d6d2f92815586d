
// ---------------------------------------------------------------- the view: map and table, and what the reader asks of them
(async function () {
  const root = document.documentElement, at = (id) => document.getElementById(id);
  let data;
  try {
    const [plainData, buffer, from] = await unpacked(at("numbers").textContent);
    data = opened(plainData, buffer, from);
  } catch (error) {
    root.classList.add("failed");
    throw error;
  }
  const lines = data.lines, shown = new Uint8Array(lines.length).fill(1), still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  let units = data.units, chosen = -1, untouched = true, scale = null;
  data.byLength = lines.map((_, i) => i).sort((a, b) => data.figures.length.at(b) - data.figures.length.at(a));
  root.classList.add("ready");

  // ------------------------------------------------------------ map
  const map = L.map("map", { zoomSnap: 0.5, zoomDelta: 1, minZoom: 2, maxZoom: 15, zoomAnimation: false, fadeAnimation: false,
    inertia: !still, worldCopyJump: false, zoomControl: false, attributionControl: false });
  L.control.zoom({ position: "topright" }).addTo(map);
  const credit = L.control.attribution({ position: "bottomright", prefix: false }).addTo(map);
  const credits = [...new Set(data.said.filter((words) => words.startsWith("Elevation data: ")))];
  if (credits.length) { // Leaflet takes markup there, and this is text of an input file
    const words = credits.length === 1 ? credits[0] : credits.length + " sources of elevation data, named under the map";
    credit.addAttribution(Object.assign(document.createElement("i"), { textContent: words }).innerHTML);
  }
  const canvas = document.createElement("canvas");
  canvas.id = "drawing";
  canvas.className = "leaflet-zoom-hide";
  const everything = () => boundsOf(lines.map((_, i) => i).filter((i) => shown[i]));
  function boundsOf(some) { // of lines, by what is drawn of them
    const level = levelAt(data, 8), box = [Infinity, Infinity, -Infinity, -Infinity];
    for (const i of some) {
      const b = level.box.subarray(4 * i, 4 * i + 4);
      if (Number.isNaN(b[0])) continue;
      for (let n = 0; n < 2; n++) [box[n], box[n + 2]] = [Math.min(box[n], b[n]), Math.max(box[n + 2], b[n + 2])];
    }
    return box[0] < Infinity ? L.latLngBounds([placeOn(box[0], box[3]), placeOn(box[2], box[1])]) : null;
  }
  const placeOn = (x, y) => L.latLng(Math.atan(Math.sinh(Math.PI * (1 - 2 * y))) * 180 / Math.PI, x * 360 - 180);
  function padding() { // no line lies under the key of grades, unless that takes too much of the map
    const key = at("key"), under = getComputedStyle(key).position === "absolute" ? key.offsetHeight + 20 : 0;
    const low = Math.max(40, Math.min(under, map.getSize().y / 4));
    return { animate: false, paddingTopLeft: [40, 40], paddingBottomRight: [40, low], maxZoom: 13 };
  }
  function fit(bounds) {
    if (bounds) map.fitBounds(bounds, padding()); else map.setView([0, 0], 2, { animate: false });
  }
  function viewNow() {
    const size = map.getSize(), pad = size.multiplyBy(PAD).round();
    return [viewOf(map, size.add(pad.multiplyBy(2)), map.containerPointToLayerPoint(pad.multiplyBy(-1))), pad];
  }
  function draw() {
    const [view, pad] = viewNow(), sharp = window.devicePixelRatio || 1;
    L.DomUtil.setPosition(canvas, map.containerPointToLayerPoint(pad.multiplyBy(-1)));
    Object.assign(canvas.style, { width: view.width + "px", height: view.height + "px" });
    [canvas.width, canvas.height] = [view.width * sharp, view.height * sharp];
    const pen = canvas.getContext("2d");
    pen.scale(sharp, sharp);
    const level = levelAt(data, view.zoom), taken = takenBoxes();
    for (const node of [at("key"), ...at("map").querySelectorAll(".leaflet-control")]) {
      const r = node.getBoundingClientRect(), home = at("map").getBoundingClientRect();
      taken.block([r.left - home.left + pad.x - 4, r.top - home.top + pad.y - 4, r.right - home.left + pad.x + 4, r.bottom - home.top + pad.y + 4]);
    }
    const [right, low] = [view.width - pad.x, view.height - pad.y]; // a name cut by the window's edge is none
    for (const box of [[-999, -999, pad.x, 1e5], [right, -999, 1e5, 1e5], [-999, -999, 1e5, pad.y], [-999, low, 1e5, 1e5]]) taken.block(box);
    const words = graticule(pen, map, view, [pad.x, pad.y]);
    drawLines(pen, data, level, view, shown, chosen);
    names(pen, data, level, view, shown, chosen, units, taken);
    if (view.zoom >= 8.5) chevrons(pen, level, view, shown, taken);
    for (const [text, x, y] of words) {
      if (taken.take([x - 2, y - 11, x + 6.6 * text.length, y + 3])) write(pen, text, x, y, "11px " + FACE);
    }
    root.dataset.boxes = taken.boxes.length;
  }
  fit(everything());
  map.getPanes().overlayPane.append(canvas);
  map.on("moveend zoomend", draw);
  const again = () => fit((chosen < 0 ? null : boundsOf([chosen])) || everything());
  map.on("resize", () => { if (untouched) again(); draw(); });
  for (const act of ["pointerdown", "wheel", "keydown"]) {
    at("map").addEventListener(act, () => { untouched = false; }, { capture: true, passive: true });
  }
  map.on("click", (event) => {
    const [view, pad] = viewNow(), p = map.latLngToContainerPoint(event.latlng).add(pad);
    choose(lineAt(levelAt(data, view.zoom), view, p.x, p.y, shown), false);
  });
  keyFolds(at("key"), "(max-width: 699px), (max-height: 499px)");
  for (const [when, paper] of [["beforeprint", true], ["afterprint", false]]) { // the map takes the size that paper has
    addEventListener(when, () => {
      const center = map.getCenter(), wide = map.getSize();
      root.classList.toggle("paper", paper);
      at("notes").open = paper;
      map.invalidateSize({ animate: false, pan: false });
      if (untouched) again();
      else map.setView(center, map.getZoom() + (paper ? Math.min(0, Math.floor(Math.log2(map.getSize().x / wide.x))) : 0), { animate: false });
      draw();
    });
  }
  at("map").setAttribute("role", "region");
  at("map").setAttribute("aria-label", "Map of all lines, coloured by grade; every line stands in the table too");

  // ------------------------------------------------------------ key
  function buildKey() {
    at("grade-unit").textContent = data.grade_unit[units];
    at("samples").replaceChildren();
    for (let kind = 4; kind >= -4; kind--) {
      const item = document.createElement("li"), wide = data.widths[Math.abs(kind)] + 2, limit = data.classes[units][Math.abs(kind)];
      const middle = 14, heads = Math.max(Math.abs(kind) - 1, 0), d = Array.from({ length: heads }, (_, n) => {
        const x = 15 + (n - (heads - 1) / 2) * 5, w = kind < 0 ? -3 : 3;
        return "M" + (x + w) + " 22L" + x + " 25L" + (x + w) + " 28";
      }).join("");
      item.innerHTML = '<svg width="30" height="30" aria-hidden="true"><rect x="1" y="' + (middle - wide / 2) + '" width="28" height="' + wide +
        '" fill="' + FILL_OF(data, kind) + '"/><path d="' + d + '"/></svg>';
      item.append(Object.assign(document.createElement("span"), { textContent: limit.replace("–", "–\u200b") }));
      item.lastChild.setAttribute("aria-label", (kind > 0 ? "up " : kind < 0 ? "down " : "") + limit);
      at("samples").append(item);
    }
  }
  at("key").addEventListener("toggle", () => { if (untouched) again(); draw(); });

  // ------------------------------------------------------------ choosing
  const table = tableOf(data, at("lines"), (i) => { choose(i === chosen ? -1 : i, true); byRow = true; });
  let byRow = false; // was it in the table that the line was chosen?
  function choose(i, show) {
    const last = chosen;
    [chosen, byRow] = [i, false];
    table.mark(i, i < 0 ? last : show ? i : -1, card);
    const bounds = i >= 0 && show ? boundsOf([i]) : null;
    if (bounds) {
      untouched = true;
      if (matchMedia("(max-width: 999px)").matches) at("map-part").scrollIntoView({ block: "start", behavior: still ? "auto" : "smooth" });
      fit(bounds);
    }
    draw();
    keep();
  }
  function card() {
    const home = at("chosen");
    home.hidden = chosen < 0;
    home.replaceChildren();
    if (chosen < 0) return;
    const line = lines[chosen], add = (kind, words, name) => {
      const node = document.createElement(kind);
      node.textContent = words;
      if (name) node.className = name;
      home.append(node);
      return node;
    };
    const close = add("button", "Close", "close");
    close.type = "button";
    close.addEventListener("click", () => { // back to where it was chosen
      const back = byRow ? chosen : -1;
      choose(-1, false);
      if (back < 0) at("map").focus({ preventScroll: true }); else table.focus(back);
    });
    add("h2", line.cells[units][0][0]);
    if (line.cells[units][0][1]) add("p", line.cells[units][0][1]);
    for (const [words, href] of line.links) add("a", words).setAttribute("href", href);
    for (const words of line.more[units]) add("p", words);
    for (const i of line.said) add("p", data.said[i], "small");
  }
  function count() {
    const some = shown.reduce((sum, one) => sum + one, 0);
    at("total").textContent = data.total[units];
    at("count").textContent = some === lines.length ? "All lines; choose one to see it on the map."
      : number(some, 0, units) + " of " + number(lines.length, 0, units) + " lines; the others are drawn grey.";
  }
  function keep() { // the address remembers what is shown
    const said = new URLSearchParams();
    if (chosen >= 0) said.set("line", lines[chosen].key);
    if (units !== data.units) said.set("units", units);
    keepAddress(String(said) ? "#" + said : location.pathname + location.search);
  }
  function inUnits(asked) {
    units = asked;
    at("units").value = units;
    table.inUnits(units);
    if (scale) scale.remove();
    scale = L.control.scale({ position: "bottomright", metric: units === "metric", imperial: units === "us" }).addTo(map);
    buildKey();
    card();
    count();
    draw();
  }
  for (const [i, column] of data.columns.entries()) at("sort").append(new Option(column.heading, column.key, i === 0));
  at("sort").addEventListener("change", () => table.sort(at("sort").value, at("sort").value !== "line"));
  at("units").addEventListener("change", () => { inUnits(at("units").value); keep(); });
  at("find").addEventListener("input", () => {
    table.search(at("find").value, shown);
    count();
    draw();
  });
  at("asked").addEventListener("submit", (event) => { // Enter in the search shows what was found
    event.preventDefault();
    untouched = true;
    const only = shown.indexOf(1);
    if (only >= 0 && shown.lastIndexOf(1) === only) choose(only, true);
    else fit(everything());
  });
  function follow() { // the address: the one the page was opened by, or another typed into it
    const from = new URLSearchParams(location.hash.slice(1)), line = lines.findIndex((one) => one.key === from.get("line"));
    inUnits(["us", "metric"].includes(from.get("units")) ? from.get("units") : units);
    if (line >= 0 && line !== chosen) choose(line, true);
  }
  follow();
  addEventListener("hashchange", follow);
  globalThis.gradewright = { network: { data, map, choose, levelAt: (zoom) => levelAt(data, zoom), viewNow, draw, get chosen() { return chosen; } } };
})();
