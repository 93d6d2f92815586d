// What couplers feel at a marked place: as planned, and beside it another way that the reader chooses; figures, and
// forces by time and car in one scale of forces and one of time.
const FELT = { left: 46, right: 42, between: 10, high: 116, room: 15, car: 15, head: 20, axis: 16 };
const NOT_TOLD = 500, TICK_APART = 34, LIMIT_SHOWN = 0.4;

class Felt {
  constructor(words) { Object.assign(this, { words, chosen: new Map(), kept: null, figures: false }); }
  node(page, index, width) { // kept until something else is asked for
    const felt = page.marks[index].felt;
    if (!this.kept || this.kept.felt !== felt || this.kept.width !== width || this.kept.units !== page.units) {
      this.kept = { felt, width, units: page.units, node: this.made(page, felt, width) };
    }
    return this.kept.node;
  }
  made(page, felt, width) {
    const { words } = this, node = make("div", { class: "felt" }), [planned, ...others] = felt.ways;
    make("p", { class: "felt-name" }, node, felt.title);
    for (const said of [planned.breaks, planned.ends[page.units]]) if (said) make("p", { class: "breaks" }, node, `${words.planned}: ${said}.`);
    const chooser = others.length > 1 ? make("fieldset", { class: "ways" }, node) : null;
    const says = others.length ? make("p", {}, node) : null, shown = make("div", {}, node);
    const show = (i) => {
      this.chosen.set(felt, i);
      const other = others[i];
      if (other) say(says, `${this.name(other)}: ${[other.says, other.ends[page.units]].filter(Boolean).join("; ")}.`);
      const ways = other ? [planned, other] : [planned];
      shown.replaceChildren(this.picture(page, felt, ways, width), this.table(page, ways), this.byCar(page, felt, ways));
    };
    const first = this.chosen.has(felt) ? this.chosen.get(felt) : felt.first;
    if (chooser) {
      make("legend", { class: "unseen" }, chooser, words.beside);
      others.forEach((way, i) => {
        const label = make("label", {}, chooser), input = make("input", { type: "radio", name: "way" }, label);
        make("span", {}, label, words.short[way.way]);
        input.checked = i === first;
        input.addEventListener("change", () => show(i));
      });
    }
    show(first);
    for (const line of [words.read, ...page.trip.felt[page.units]]) make("p", { class: "small" }, node, line);
    return node;
  }
  name(way) { return this.words[{ planned: "planned", gentler: "gentler" }[way.way] || "suddenly"]; }

  // ---------------------------------------------------------------- figures
  table(page, ways) {
    const { words } = this, { units, train } = page, table = make("table", {});
    make("caption", { class: "unseen" }, table, words.figures);
    const head = make("tr", {}, make("thead", {}, table)), body = make("tbody", {}, table);
    make("td", {}, head);
    for (const way of ways) make("th", { scope: "col" }, head, this.name(way));
    const row = (name, under, fill) => {
      const line = make("tr", {}, body), title = make("th", { scope: "row" }, line, name);
      if (under) make("small", {}, title, under);
      for (const way of ways) fill(make("td", {}, line), way);
    };
    const unit = forceText(0, units).split(" ").pop();
    for (const [name, key] of [[words.pull, "pull"], [words.push, "push"]]) {
      const limit = train[key].limit;
      row(`${name}, ${unit}`, words.limit.replace("%", forceFigure(limit, units)), (cell, way) => this.peak(cell, page, way[key], limit));
    }
    row(words.closes, "", (cell, way) => { cell.textContent = way.closes === undefined ? "–" : speedText(way.closes, units); });
    if (ways.length > 1 && ways.some((way) => way.breaks)) row(words.breaks, "", (cell, way) => { cell.textContent = way.breaks || words.whole; });
    return table;
  }
  peak(cell, page, peak, limit) {
    const { words } = this, { units, train } = page, figure = (force) => forceFigure(force, units);
    if (!peak || peak.high < NOT_TOLD) { cell.textContent = peak ? words.none : "–"; return; }
    make("strong", {}, cell, figure(peak.force));
    if (peak.force >= NOT_TOLD) cell.append(`, ${train.vehicles[peak.vehicle]}, ${number(peak.after, 0, units)}\u00a0s`);
    if (peak.force > limit) { cell.append(" "); make("span", { class: "over" }, cell, words.over.replace("%", figure(peak.force - limit))); }
    const more = [words.steady.replace("%", figure(peak.steady))];
    if (figure(peak.low) !== figure(peak.high)) more[0] = `${words.range.replace("%", figure(peak.low)).replace("%", figure(peak.high))} ${more[0]}`;
    if (peak.high > limit && peak.high > peak.force) more.push(words.up_to_over.replace("%", figure(peak.high - limit)));
    make("small", {}, cell, more.join(", "));
  }
  byCar(page, felt, ways) { // what the lower rows show, read out
    const { words } = this, { units, train } = page, node = make("details", {}), table = make("table", {});
    node.open = this.figures;
    node.addEventListener("toggle", () => { this.figures = node.open; });
    make("summary", {}, node, words.by_car);
    node.append(table);
    const over = make("tr", {}, make("thead", {}, table)), body = make("tbody", {}, table), unit = forceText(0, units).split(" ").pop();
    make("th", { scope: "col" }, over, words.behind);
    for (const way of ways) for (const name of [words.pull, words.push]) make("th", { scope: "col" }, over, `${this.name(way)}: ${name.toLowerCase()}, ${unit}`);
    felt.couplings.forEach((coupling, i) => {
      const line = make("tr", {}, body);
      make("th", { scope: "row" }, line, train.vehicles[coupling]);
      for (const way of ways) for (const k of [0, 1]) make("td", {}, line, way.drawn ? forceFigure(way.drawn.cars[i][k], units) : "–");
    });
    return node;
  }

  // ---------------------------------------------------------------- picture
  picture(page, felt, ways, width) {
    const { words } = this, { units, train } = page, { left, right, between, high, room, car, head, axis } = FELT;
    const drawn = felt.ways.map((way) => way.drawn).filter(Boolean), count = felt.couplings.length;
    const limits = [], most = (key, sign) => { // a limit far from anything felt is not drawn
      const force = Math.max(1, ...felt.ways.filter((way) => way[key]).map((way) => Math.max(way[key].high, way[key].steady))), { limit } = train[key];
      if (force > LIMIT_SHOWN * limit) limits.push([sign, limit]);
      return force > LIMIT_SHOWN * limit ? Math.max(force, limit) : force;
    };
    const pull = most("pull", -1), push = most("push", 1), scale = high / (pull + push), zero = head + room + pull * scale, foot = zero + push * scale + room;
    const cars = [0, 1].map((k) => Math.max(1, ...drawn.flatMap((d) => d.cars.map((pair) => pair[k])))), small = (car - 2) / (cars[0] + cars[1]);
    const bottom = foot + 14 + count * car, tall = bottom + axis;
    const wide_ = (width - left - right - between * (ways.length - 1)) / ways.length;
    const seen = ways.map((way) => way.drawn).filter(Boolean);
    const from = Math.min(0, ...seen.map((d) => d.from)), until = Math.max(1, ...seen.map((d) => d.from + d.step * d.count)), k = wide_ / (until - from);
    const svg = draw("svg", { viewBox: `0 0 ${width} ${tall}`, width, height: tall, role: "img" });
    draw("title", {}, svg, words.picture.replace("%", ways.map((way) => this.name(way).toLowerCase()).join("; ")));
    const lines = felt.couplings.map((_, i) => foot + 13 + i * car + cars[0] * small);
    draw("text", { x: 0, y: zero - 4, class: "bold" }, svg, forceText(0, units).split(" ").pop());
    draw("text", { x: 0, y: foot + 8, class: "bold" }, svg, words.behind);
    felt.couplings.forEach((coupling, i) => draw("text", { x: left - 5, y: lines[i] + 4, class: "tick", "text-anchor": "end" }, svg, train.vehicles[coupling]));
    ways.forEach((way, i) => {
      const x0 = left + i * (wide_ + between), x1 = x0 + wide_, x = (time) => x0 + (time - from) * k;
      draw("text", { x: x0, y: 11, class: "bold" }, svg, this.name(way));
      this.axis(svg, x, until, head + 4, bottom, x1);
      if (!way.drawn) return;
      const { drawn: d } = way, at = (row, column) => d.force.at(row * d.count + column);
      const shape = (row, y, step, cls, keep) => {
        const points = Array.from({ length: d.count }, (_, c) => [x(d.from + d.step * (c + 0.5)), y + step * (keep ? keep(at(row, c)) : at(row, c))]);
        const ends = [[x(d.from), points[0][1]], [x(d.from + d.step * d.count), points[d.count - 1][1]]];
        draw("path", { d: pathOf([[ends[0][0], y], ends[0], ...points, ends[1], [ends[1][0], y]], true), class: cls }, svg);
      };
      for (const [row, sign, cls] of [[2, -1, "felt-band"], [3, 1, "felt-band"], [0, -1, "pull"], [1, 1, "push"]]) shape(row, zero, sign * scale, cls);
      for (const [y, force] of [[-scale, way.pull.steady], [scale, way.push.steady]]) {
        for (const cls of ["casing", "edge"]) draw("path", { d: `M${x0} ${zero + y * force}H${x1}`, class: cls }, svg);
      }
      draw("path", { d: limits.map(([sign, limit]) => `M${x0} ${(zero + sign * limit * scale).toFixed(1)}H${x1}`).join(""), class: "caution" }, svg);
      draw("path", { d: `M${x0} ${zero}H${x1}`, class: "zero" }, svg);
      felt.couplings.forEach((_, row) => {
        for (const [cls, keep] of [["pull", (force) => Math.max(force, 0)], ["push", (force) => Math.min(force, 0)]]) shape(4 + row, lines[row], -small, cls, keep);
        draw("path", { d: `M${x0} ${lines[row]}H${x1}`, class: "edge" }, svg);
      });
      if (d.parted !== null) this.parted(svg, x(d.parted), zero, x0, x1);
      for (const [key, sign] of [["pull", -1], ["push", 1]]) this.named(svg, page, way[key], train[key].limit, x, zero + sign * way[key].force * scale, sign, x0, x1);
    });
    for (const [sign, force] of [[0, 0], ...limits]) draw("text", { x: width - right + 5, y: zero + sign * force * scale + 4, class: "tick" }, svg, forceFigure(force, units));
    return svg;
  }
  axis(svg, x, until, top, bottom, right) {
    const step = [5, 10, 20, 30, 60, 120, 300].find((s) => x(s) - x(0) >= TICK_APART) || 600, lines = [];
    for (let time = 0; time <= until; time += step) {
      lines.push(`M${x(time).toFixed(1)} ${top}V${bottom}`);
      const text = time ? String(time) : "0 s";
      if (x(time) + wide(text, SMALL) / 2 <= right + 4) draw("text", { x: x(time), y: bottom + 12, class: "tick", "text-anchor": "middle" }, svg, text);
    }
    svg.insertBefore(draw("path", { d: lines.join(""), class: "hair" }), svg.firstChild.nextSibling);
  }
  parted(svg, x, zero, left, right) {
    const { words } = this, w = wide(words.parted, POST) + 8, ahead = x + w + 4 <= right;
    draw("path", { d: `M${x - 4} ${zero - 4}l8 8M${x - 4} ${zero + 4}l8 -8`, class: "wall thin" }, svg);
    draw("text", { x: ahead ? x + 7 : Math.max(x - 7, left + w), y: zero - 4, class: "name small bold", "text-anchor": ahead ? "start" : "end" }, svg, words.parted);
  }
  named(svg, page, peak, limit, x, tip, sign, left, right) { // the largest by its figure and vehicle; past the limit white on ink
    if (peak.force < NOT_TOLD) return;
    const { units, train } = page, over = peak.force > limit, figure = forceFigure(peak.force, units);
    const texts = [`${figure}, ${train.vehicles[peak.vehicle]}${over ? ", " + page.words.over : ""}`, `${figure}${over ? " " + page.words.over : ""}`, figure];
    const text = texts.find((t) => wide(t, POST) + 6 <= right - left) || figure, half = wide(text, POST) / 2 + 3;
    const at = Math.min(Math.max(x(peak.after), left + half), right - half), y = sign < 0 ? tip - 4 : tip + 12;
    if (over) draw("rect", { x: at - half, y: y - 10, width: 2 * half, height: 13, class: "solid" }, svg);
    draw("text", { x: at, y, "text-anchor": "middle", class: `${over ? "white" : "name"} small bold` }, svg, text);
  }
}
