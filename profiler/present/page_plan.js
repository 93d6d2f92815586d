// Plan: the line on its ground, drawn from numbers; the train on it at true length.
const WHITE_UNDER = 11, CHEVRON_APART = 110;

class Plan {
  constructor(svg, plan, picture) {
    this.svg = svg;
    this.plan = plan;
    this.n = plan.s.n;
    const every = (array) => Float64Array.from({ length: this.n }, (_, i) => array.at(i));
    [this.s, this.px, this.py] = [every(plan.s), every(plan.x), every(plan.y)];
    this.image = picture ? draw("image", { href: picture, preserveAspectRatio: "none" }, svg) : null;
    this.ground = draw("g", {}, svg);
    this.train = draw("g", { class: "train" }, svg);
    this.casing = draw("path", { class: "on-plan casing" }, this.train);
    this.body = draw("path", { class: "on-plan body" }, this.train);
    this.power = draw("path", { class: "on-plan power" }, this.train);
    this.opened = draw("path", { class: "on-plan opened" }, svg);
    this.over = draw("g", {}, svg);
    this.headDot = draw("circle", { r: 7.5, class: "head-dot" }, svg);
    this.box = [Math.min(...this.px), Math.min(...this.py), Math.max(...this.px), Math.max(...this.py)];
  }

  // ---------------------------------------------------------------- places
  chainage(place) { return this.page.line.direction === "with" ? place : this.page.line.length - place; }
  at(place) { // metres of the plane
    const c = this.chainage(place), i = Math.min(before(this.s, c), this.n - 2), wide = this.s[i + 1] - this.s[i];
    const share = Math.min(Math.max((c - this.s[i]) / wide, 0), 1);
    return [this.px[i] + share * (this.px[i + 1] - this.px[i]), this.py[i] + share * (this.py[i + 1] - this.py[i])];
  }
  screen([x, y]) { return [this.width / 2 + (x - this.cx) * this.k, this.height / 2 - (y - this.cy) * this.k]; }
  stretch(from, to) { // points on screen, in order of travel
    const [a, b] = [this.chainage(from), this.chainage(to)].sort((p, q) => p - q);
    const low = Math.max(a, this.s[0]), high = Math.min(b, this.s[this.n - 1]);
    const one = (c) => this.screen(this.at(this.page.line.direction === "with" ? c : this.page.line.length - c));
    if (high <= low) return [one(Math.min(Math.max(a, 0), this.page.line.length))];
    const points = [one(low)];
    for (let i = before(this.s, low) + 1; i < this.n && this.s[i] < high; i++) points.push(this.screen([this.px[i], this.py[i]]));
    points.push(one(high));
    return this.page.line.direction === "with" ? points : points.reverse();
  }
  thinned(points) { // no two nearer than 0.7 px
    const kept = [points[0]];
    for (let i = 1; i < points.length - 1; i++) {
      const [p, q] = [points[i], kept[kept.length - 1]];
      if (Math.abs(p[0] - q[0]) + Math.abs(p[1] - q[1]) > 0.7) kept.push(p);
    }
    if (points.length > 1) kept.push(points[points.length - 1]);
    return kept;
  }

  fit() {
    this.width = this.svg.clientWidth;
    this.height = this.svg.clientHeight;
    const [x0, y0, x1, y1] = this.box;
    this.k = 0.86 * Math.min(this.width / Math.max(x1 - x0, 100), this.height / Math.max(y1 - y0, 100));
    [this.cx, this.cy] = [(x0 + x1) / 2, (y0 + y1) / 2];
    if (this.width >= 700) return;
    this.k = Math.max(this.k, this.width / (1.3 * this.page.view.span)); // on a phone what Section shows, not all of the line
    [this.cx, this.cy] = this.at(this.page.view.a + this.page.view.span / 2);
  }
  corner() { // the key stands where least of the line lies under it
    const key = document.getElementById("key"), [w, h] = [key.offsetWidth + 24, key.offsetHeight + 24];
    const under = (top) => this.thinned(this.stretch(0, this.page.line.length)).filter(([x, y]) => x < w && (top ? y < h : y > this.height - h)).length;
    const low = under(true) > under(false);
    key.classList.toggle("low", low);
    key.classList.toggle("high", !low);
  }
  zoom(factor, x, y) {
    const k = Math.min(Math.max(this.k * factor, 0.0005), 0.5), dx = x - this.width / 2, dy = this.height / 2 - y;
    this.cx += dx / this.k - dx / k;
    this.cy += dy / this.k - dy / k;
    this.k = k;
  }
  grip([a, b], [p, q]) { // what lay under one finger or two at a and b lies under p and q
    const far = (u, v) => Math.max(Math.hypot(u[0] - v[0], u[1] - v[1]), 1), middle = (u, v) => [(u[0] + v[0]) / 2, (u[1] + v[1]) / 2];
    const from = b ? middle(a, b) : a, to = b ? middle(p, q) : p;
    this.cx -= (to[0] - from[0]) / this.k;
    this.cy += (to[1] - from[1]) / this.k;
    if (b) this.zoom(far(p, q) / far(a, b), ...to);
  }
  show(head, rear) { // the train in view, near by
    const [x, y] = this.at((head + Math.max(rear, 0)) / 2);
    [this.cx, this.cy] = [x, y];
    this.k = Math.max(this.k, Math.min(this.width, this.height) / Math.max(4 * (head - rear), 6000));
  }

  // ---------------------------------------------------------------- ground
  render(page) {
    this.page = page;
    this.width = this.svg.clientWidth;
    this.height = this.svg.clientHeight;
    if (!this.width) return;
    this.svg.setAttribute("viewBox", `0 0 ${this.width} ${this.height}`);
    if (this.k === undefined) { this.fit(); this.corner(); }
    this.ground.replaceChildren();
    this.over.replaceChildren();
    const frame = this.plan.frame;
    if (this.image) {
      const [x0, y0] = this.screen([frame[0], frame[3]]), [x1, y1] = this.screen([frame[2], frame[1]]);
      set(this.image, { x: x0, y: y0, width: x1 - x0, height: y1 - y0 });
    }
    this.line();
    this.names();
  }

  line() {
    const { runs } = this.page.line, { colours, widths } = this.page, whole = this.thinned(this.stretch(0, this.page.line.length));
    this.route = whole;
    draw("path", { d: pathOf(whole), class: "on-plan under", "stroke-width": WHITE_UNDER }, this.ground);
    const drawn = runs.map(([from, to, kind, cover]) => [kind, cover, this.thinned(this.stretch(from, to))]);
    for (const [kind, cover, points] of drawn) {
      draw("path", { d: pathOf(points), class: cover ? "on-plan rim tunnel" : "on-plan rim", "stroke-width": widths[Math.abs(kind)] + 2 }, this.ground);
    }
    for (const [kind, cover, points] of drawn) {
      const fill = colours[cover ? "tunnel" : "open"][String(kind)];
      draw("path", { d: pathOf(points), class: "on-plan", stroke: fill, "stroke-width": widths[Math.abs(kind)] }, this.ground);
    }
    if (this.page.layers.stops) {
      const stops = this.page.marks.filter((mark) => mark.sign === "stop").map((mark) => this.beside(mark.start, mark.end, 7));
      draw("path", { d: stops.join(""), class: "on-plan stops" }, this.ground);
    }
    const chevrons = [];
    for (const [kind, , points] of drawn) if (Math.abs(kind) >= 2) this.chevrons(points, kind, chevrons);
    for (const cls of ["chevron halo", "chevron"]) draw("path", { d: chevrons.join(""), class: cls }, this.ground);
  }

  chevrons(points, kind, found) { // beside the line, pointing downhill
    const total = points.reduce((sum, p, i) => sum + (i ? Math.hypot(p[0] - points[i - 1][0], p[1] - points[i - 1][1]) : 0), 0);
    if (total < 26) return;
    let far = 0, next = total < CHEVRON_APART ? total / 2 : CHEVRON_APART / 2;
    for (let i = 1; i < points.length; i++) {
      const [p, q] = [points[i - 1], points[i]], long = Math.hypot(q[0] - p[0], q[1] - p[1]);
      while (far + long >= next) {
        const share = (next - far) / long, sense = kind < 0 ? 1 : -1, ux = (q[0] - p[0]) / long, uy = (q[1] - p[1]) / long;
        const count = Math.abs(kind) - 1, x = p[0] + share * (q[0] - p[0]) - uy * 13, y = p[1] + share * (q[1] - p[1]) + ux * 13;
        if (x > -20 && y > -20 && x < this.width + 20 && y < this.height + 20) {
          for (let c = 0; c < count; c++) {
            const o = (c - (count - 1) / 2) * 4.5, at = (along, side) => `${(x + (along + o) * ux * sense - side * uy).toFixed(1)} ${(y + (along + o) * uy * sense + side * ux).toFixed(1)}`;
            found.push(`M${at(-2.5, -4)}L${at(1.5, 0)}L${at(-2.5, 4)}`);
          }
        }
        next += CHEVRON_APART;
      }
      far += long;
    }
  }

  // ---------------------------------------------------------------- names, signs and marks beside it
  names() {
    const { page } = this, { posts, signs, length } = page.line, layer = page.layers, room = new Room(2, 2, this.width - 2, this.height - 2);
    this.room = room;
    const keyBox = page.keyBox();
    if (keyBox) room.take(keyBox);
    room.take([this.width - 50, 0, this.width, 100]);
    room.take([this.width - 130, this.height - 34, this.width, this.height]);
    room.takeLine(this.route.filter((p) => p[0] > -20 && p[1] > -20 && p[0] < this.width + 20 && p[1] < this.height + 20), 5);
    const inside = (p) => p[0] > 4 && p[1] > 4 && p[0] < this.width - 4 && p[1] < this.height - 4;
    const put = (place, text, font, cls, fars) => {
      const p = this.screen(this.at(place));
      if (!inside(p)) return;
      const spots = [];
      for (const far of fars) {
        const d = far * 0.75;
        spots.push([p[0] + d, p[1] - d, "start"], [p[0] - d, p[1] - d, "end"], [p[0] + d, p[1] + d + 8, "start"], [p[0] - d, p[1] + d + 8, "end"], [p[0], p[1] - far, "middle"], [p[0], p[1] + far + 9, "middle"]);
      }
      const found = room.put(text, font, spots);
      if (!found) return;
      const to = [Math.min(Math.max(p[0], found.x), found.right), found.y < p[1] ? found.y + 3 : found.y - 10];
      if (Math.hypot(to[0] - p[0], to[1] - p[1]) > 15) draw("path", { d: pathOf([p, to]), class: "stem" }, this.over);
      draw("text", { x: found.x, y: found.y, class: "halo " + cls }, this.over, text);
    };
    const away = (place, far, side) => { // a place beside the line
      const p = this.screen(this.at(place)), q = this.screen(this.at(Math.min(place + 60, length))), r = this.screen(this.at(Math.max(place - 60, 0)));
      const dx = q[0] - r[0], dy = q[1] - r[1], long = Math.hypot(dx, dy) || 1;
      return [p, [p[0] - dy / long * far * side, p[1] + dx / long * far * side], dx / long, dy / long];
    };
    page.marks.forEach((mark, index) => {
      if (!mark.number || (!layer.stops && (mark.sign === "stop" || mark.sign === "hard"))) return;
      const place = Math.min(Math.max(mark.at, 0), length);
      if (!inside(this.screen(this.at(place)))) return;
      let best = null;
      search: for (const far of [19, 32, 46, 60, 76, 94, 114, 136]) {
        for (const slide of [0, 16, -16, 34, -34]) {
          for (const side of [-1, 1]) {
            const [p, q, ux, uy] = away(place, far, side), at = [q[0] + ux * slide, q[1] + uy * slide];
            const box = [at[0] - 12, at[1] - 11, at[0] + 12, at[1] + 11];
            if (room.free(box)) { best = [p, at, box]; break search; }
          }
        }
      }
      if (!best) { const [p, q] = away(place, 19, -1); best = [p, q, [q[0] - 12, q[1] - 11, q[0] + 12, q[1] + 11]]; }
      room.take(best[2]);
      draw("path", { d: pathOf([best[0], best[1]]), class: "stem" }, this.over);
      chip(this.over, mark, index, best[1][0], best[1][1]);
    });
    for (const s of signs) {
      const at = Math.min(Math.max(s.at, 0), length), p = this.screen(this.at(at)), bold = ["crest", "sag", "break"].includes(s.sign);
      if (!inside(p) || (bold ? !layer.landmarks : s.sign !== "station")) continue;
      const shape = { crest: `M${p[0] - 6} ${p[1] + 4}L${p[0]} ${p[1] - 7}L${p[0] + 6} ${p[1] + 4}Z`, sag: `M${p[0] - 6} ${p[1] - 4}L${p[0]} ${p[1] + 7}L${p[0] + 6} ${p[1] - 4}Z` }[s.sign];
      const group = draw("g", { class: "place" }, this.over);
      draw("title", {}, group, [s[page.units].title, s[page.units].where, ...s[page.units].lines].join("\n"));
      if (shape) draw("path", { d: shape, class: "open" }, group);
      else if (s.sign === "break") draw("circle", { cx: p[0], cy: p[1], r: 4, class: "open" }, group);
      else draw("rect", { x: p[0] - 3.5, y: p[1] - 3.5, width: 7, height: 7, class: "open" }, group);
    }
    for (const s of signs.filter((x) => x.sign === "station")) put(s.at, s[page.units].label, "13px " + FONT, "station", [13, 22, 34, 48]);
    if (layer.landmarks) for (const s of signs.filter((x) => x.sign === "crest" || x.sign === "sag")) put(s.at, s[page.units].label, BOLD, "bold", [13, 22, 34]);
    if (layer.posts) {
      const step = [1, 5, 10, 50, 100].find((t) => t * posts.unit_m * this.k >= 34) || 500;
      for (const [place, post] of posts.whole) if (post % step === 0) put(place, String(post), POST, "post", [13, 22]);
    }
    if (layer.structures) for (const s of signs.filter((x) => ["tunnel", "bridge", "suspected"].includes(x.sign))) put(s.at, s[page.units].label, "italic " + SMALL, "italic", [13, 22, 34]);
    this.scaleBar();
  }

  beside(from, to, far) { // a stretch as a line beside the route
    const points = this.thinned(this.stretch(Math.max(from, 0), Math.min(to, this.page.line.length)));
    return pathOf(points.map((p, i) => {
      const a = points[Math.max(i - 1, 0)], b = points[Math.min(i + 1, points.length - 1)], long = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
      return [p[0] - (b[1] - a[1]) / long * far, p[1] + (b[0] - a[0]) / long * far];
    }));
  }
  window(mark) { // of the mark that is opened in the list
    this.opened.setAttribute("d", mark ? this.beside(mark.start, mark.end, 8) : "");
  }

  scaleBar() { // miles or kilometres, true at the middle latitude
    const unit = this.page.units === "us" ? SI.mi : 1000, steps = [0.1, 0.2, 0.5, 1, 2, 3, 5, 10, 20, 50, 100];
    const size = [...steps].reverse().find((s) => s * unit * this.k <= 110) || 0.1, w = size * unit * this.k, x = this.width - w - 14, y = this.height - 12;
    draw("rect", { x: x - 6, y: y - 19, width: w + 12, height: 25, class: "paper" }, this.over);
    draw("path", { d: `M${x} ${y - 5}V${y}H${x + w}V${y - 5}`, class: "ink" }, this.over);
    draw("text", { x: x + 4, y: y - 6, class: "post" }, this.over, size + (this.page.units === "us" ? " mi" : " km"));
  }

  // ---------------------------------------------------------------- the train
  move(head, rear, train) {
    if (!this.page || !this.width) return;
    const d = pathOf(this.thinned(this.stretch(Math.max(rear, 0), head)));
    for (const node of [this.casing, this.body]) node.setAttribute("d", d);
    this.power.setAttribute("d", train.groups.map(([from, to]) => (head - from > 0 ? pathOf(this.thinned(this.stretch(Math.max(head - to, 0), head - from))) : "")).join(""));
    const p = this.screen(this.at(head));
    set(this.headDot, { cx: p[0].toFixed(1), cy: p[1].toFixed(1) });
    return p;
  }
  nearest(x, y) { // the place on the line nearest to a point on screen, and how far it is
    let best = [0, Infinity];
    for (let i = 0; i + 1 < this.n; i++) {
      const a = this.screen([this.px[i], this.py[i]]), b = this.screen([this.px[i + 1], this.py[i + 1]]), dx = b[0] - a[0], dy = b[1] - a[1];
      const share = Math.min(Math.max(((x - a[0]) * dx + (y - a[1]) * dy) / (dx * dx + dy * dy || 1), 0), 1);
      const far = Math.hypot(x - a[0] - share * dx, y - a[1] - share * dy);
      if (far < best[1]) best = [this.chainage(this.s[i] + share * (this.s[i + 1] - this.s[i])), far];
    }
    return best;
  }
}
