// Section and Whole line: posts, rail, steps and marks of a stretch; the ground stands, the train moves over it.
const LEFT = 78, RIGHT = 46;
const LANES = [["astride", ["astride"]], ["do not stop", ["stop", "hard"]], ["not held", ["unheld"]], ["begin", [BEGIN]], ["slack", ["slack-in", "slack-out"]]];
const STROKES = [0, 14, 9, 6, 4], LANE = 19, LOW_LANE = 17;

class Section {
  constructor(svg, whole) {
    this.svg = svg;
    this.whole = whole;
    const clip = draw("clipPath", { id: "inside" }, draw("defs", {}, svg));
    this.clip = draw("rect", {}, clip);
    this.under = draw("g", {}, svg);
    this.train = draw("g", { "clip-path": "url(#inside)", class: "train" }, svg);
    this.over = draw("g", {}, svg);
    this.flag = draw("g", { class: "flag" }, svg);
    const [c, t] = [(name) => draw(name, {}, this.train), this.flag];
    this.column = c("rect");
    this.column.setAttribute("class", "column");
    [this.rear, this.body, this.white, this.power, this.head] = ["rear", "body", "white", "power", "head"].map((name) => {
      const node = c("path");
      node.setAttribute("class", name);
      return node;
    });
    this.flagBox = draw("rect", { height: 16 }, t);
    this.flagText = draw("text", {}, t);
    this.wholeGround = draw("g", {}, whole);
    this.wholeTrain = draw("rect", { class: "lies", width: 1 }, whole);
    this.wholeFrame = draw("rect", { class: "frame" }, whole);
    this.wholeHead = draw("path", { class: "head" }, whole);
  }

  x(place) { return this.left + (place - this.view.a) * this.k; }
  place(x) { return this.view.a + (x - this.left) / this.k; }
  y(elevation) { return this.railFoot - (elevation - this.base) * this.high; }
  elevation(place) { return along(this.line.rail.elevation, this.line.length, place); }

  // ---------------------------------------------------------------- ground
  render(page) {
    const { width } = page, narrow = width < 700;
    Object.assign(this, { page, line: page.line, view: page.view, units: page.units, marks: page.marks, wide: width });
    this.left = narrow ? 10 : LEFT;
    this.right = width - (narrow ? 10 : RIGHT);
    this.narrow = narrow;
    this.k = (this.right - this.left) / this.view.span;
    this.under.replaceChildren();
    this.over.replaceChildren();
    const rail = narrow ? 84 : 132, steps = narrow ? 58 : 86;
    this.railTop = 26; this.railFoot = 26 + rail;
    this.stepsTop = this.railFoot + 8; this.stepsFoot = this.stepsTop + steps;
    let foot = this.stepsFoot + 6;
    this.room = new Room(this.left, 0, this.right, 4000);
    this.posts();
    this.rail();
    this.steps();
    if (page.layers.curves) foot = this.curves(foot);
    if (page.layers.limits) foot = this.limits(foot);
    foot = this.lanes(foot);
    this.foot = foot;
    set(this.svg, { width, height: foot, viewBox: `0 0 ${width} ${foot}` });
    set(this.clip, { x: this.left, y: 0, width: this.right - this.left, height: foot });
    this.renderWhole();
  }

  gutter(y, name, lines) {
    if (this.narrow) return;
    draw("text", { x: LEFT - 12, y, class: "row" }, this.under, name);
    lines.forEach((line, i) => draw("text", { x: LEFT - 12, y: y + 14 * (i + 1), class: "unit" }, this.under, line));
  }

  posts() {
    const { posts } = this.line, { a, span } = this.view;
    this.gutter(16, "Posts", []);
    draw("path", { d: `M${this.left} 22H${this.right}`, class: "ink" }, this.under);
    const step = [1, 2, 5, 10, 20, 50, 100].find((s) => s * posts.unit_m * this.k >= 44) || 200;
    const hair = [], ticks = [];
    for (const [place, post] of posts.whole) {
      if (place < a || place > a + span) continue;
      const x = this.x(place);
      ticks.push(`M${x.toFixed(1)} 22v-5`);
      if (post % step || !this.page.layers.posts) continue;
      hair.push(`M${x.toFixed(1)} 22V${this.stepsFoot}`);
      draw("text", { x, y: 14, class: "post" }, this.under, String(post));
    }
    draw("path", { d: hair.join(""), class: "hair" }, this.under);
    draw("path", { d: ticks.join(""), class: "edge" }, this.under);
  }

  heights() { // one scale for all pages of this width of view: that of its greatest range
    const { rail, length } = this.line, n = rail.elevation.n, window = Math.max(2, Math.round(this.view.span / length * (n - 1)));
    if (this.known && this.known[0] === rail && this.known[1] === window) return this.known[2];
    let most = 10;
    for (let i = 0; i < n - 1; i += Math.max(1, window >> 1)) {
      let low = Infinity, high = -Infinity;
      for (let j = i; j <= Math.min(i + window, n - 1); j++) { const z = rail.elevation.at(j); low = Math.min(low, z); high = Math.max(high, z); }
      most = Math.max(most, high - low);
    }
    this.known = [rail, window, most];
    return most;
  }

  rail() {
    const { rail, length } = this.line, { a, span } = this.view, n = rail.elevation.n, apart = length / (n - 1);
    const step = Math.max(1, Math.floor(1 / (apart * this.k))), tall = this.railFoot - this.railTop;
    const first = Math.max(0, Math.floor(a / apart)), last = Math.min(n - 1, Math.ceil((a + span) / apart));
    const at = [];
    for (let i = first; i < last; i += step) at.push(i);
    at.push(last);
    let low = Infinity;
    for (const i of at) low = Math.min(low, rail.elevation.at(i));
    const most = this.heights();
    this.high = Math.min(tall / (most * 1.56), 100 * this.k);
    this.base = low - 0.14 * most;
    const inside = draw("g", { "clip-path": "url(#inside)" }, this.under);
    const bound = (y) => Math.min(Math.max(y, this.railTop), this.railFoot);
    const points = at.map((i) => [this.x(i * apart), this.y(rail.elevation.at(i))]);
    const ground = at.map((i, j) => { const g = rail.ground.at(i); return [points[j][0], bound(Number.isNaN(g) ? points[j][1] : this.y(g))]; });
    const foot = [[points[points.length - 1][0], this.railFoot], [points[0][0], this.railFoot]];
    draw("path", { d: pathOf([...ground, ...foot], true), class: "ground" }, inside);
    draw("path", { d: pathOf(ground), class: "ground-edge" }, inside);
    const band = (sign) => at.map((i) => [this.x(i * apart), bound(this.y(rail.elevation.at(i) + sign * rail.half.at(i)))]);
    draw("path", { d: pathOf([...band(1), ...band(-1).reverse()], true), class: "band" }, inside);
    draw("path", { d: pathOf(points), class: "casing" }, inside);
    draw("path", { d: pathOf(points), class: "rail" }, inside);
    const unit = this.units === "us" ? SI.foot : 1;
    const tick = [5, 10, 20, 50, 100, 200, 500, 1000].find((t) => t * unit * this.high >= 17) || 2000;
    if (!this.narrow) {
      for (let z = Math.ceil(this.base / unit / tick) * tick; this.y(z * unit) > this.railTop + 40; z += tick) {
        draw("text", { x: this.right + 6, y: this.y(z * unit) + 4, class: "tick" }, this.under, number(z, 0, this.units));
      }
    }
    const times = Math.round(this.high / this.k);
    this.gutter(this.railTop + 26, "Rail", [this.units === "us" ? "ft" : "m", "height ×" + times]);
    this.room.takeLine(points, 2);
    this.signs();
  }

  signs() {
    const { a, span } = this.view, bold = { crest: 1, sag: 1, break: 1 }, layer = this.page.layers;
    const rank = { crest: 0, sag: 0, break: 1, station: 2, equation: 3, tunnel: 4, bridge: 4, suspected: 4 };
    const inside = draw("g", { "clip-path": "url(#inside)" }, this.over);
    const shown = this.line.signs.filter((s) => s.end >= a && s.start <= a + span && (bold[s.sign] ? layer.landmarks : rank[s.sign] === 4 ? layer.structures : true));
    const stretch = (s) => {
      const points = [];
      for (let i = 0; i <= 8; i++) { const p = s.start + (s.end - s.start) * i / 8; points.push([this.x(p), this.y(this.elevation(p))]); }
      return pathOf(points);
    };
    for (const s of shown) {
      const group = draw("g", { class: "place" }, inside), x = this.x(s.at), y = this.y(this.elevation(s.at));
      draw("title", {}, group, [s[this.units].title, s[this.units].where, ...s[this.units].lines].join("\n"));
      if (s.sign === "crest") draw("path", { d: `M${x - 6} ${y}L${x} ${y - 11}L${x + 6} ${y}Z`, class: "open" }, group);
      else if (s.sign === "sag") draw("path", { d: `M${x - 6} ${y}L${x} ${y + 11}L${x + 6} ${y}Z`, class: "open" }, group);
      else if (s.sign === "break") draw("circle", { cx: x, cy: y, r: 3.6, class: "open" }, group);
      else if (s.sign === "station") draw("rect", { x: x - 3.2, y: y - 3.2, width: 6.4, height: 6.4, class: "open" }, group);
      else if (s.sign === "bridge") draw("path", { d: stretch(s), class: "bridge" }, group);
      else if (s.sign === "equation") draw("path", { d: `M${x} ${y - 5}V${y + 5}`, class: "edge" }, group);
      else { // a tunnel is hollow rail, a suspected structure dashed
        draw("path", { d: stretch(s), class: "hollow" + (s.sign === "suspected" ? " dashed" : "") }, group);
        draw("path", { d: stretch(s), class: "hollow-in" }, group);
      }
    }
    for (const s of [...shown].sort((p, q) => rank[p.sign] - rank[q.sign])) {
      if (s.at < a || s.at > a + span) continue;
      const text = s[this.units].label, font = bold[s.sign] ? BOLD : rank[s.sign] === 4 ? "italic " + SMALL : PLAIN;
      const x = this.x(s.at), y = this.y(this.elevation(s.at)), spots = [];
      if (rank[s.sign] === 4) for (const dy of [17, 30]) if (y + dy < this.railFoot - 3) spots.push([x, y + dy, "middle"]);
      for (let tier = 0; tier < 4; tier++) {
        const ty = this.railTop + 11 + 14 * tier;
        if (ty < y - 14) spots.push([x, ty, "middle"], [x - 4, ty, "start"], [x + 4, ty, "end"]);
      }
      const found = this.room.put(text, font, spots);
      if (!found) continue;
      const cls = bold[s.sign] ? "name bold" : rank[s.sign] === 4 ? "name italic" : "name";
      if (found.y < y) {
        draw("path", { d: `M${x.toFixed(1)} ${(found.y + 3).toFixed(1)}V${(y - (s.sign === "crest" ? 11 : 4)).toFixed(1)}`, class: "stem" }, this.over);
        this.room.take([x - 2, found.y + 3, x + 2, y - 4]);
      }
      draw("text", { x: found.x, y: found.y, class: cls }, this.over, text);
    }
  }

  steps() {
    const { a, span } = this.view, { steps } = this.line, top = this.stepsTop, foot = this.stepsFoot;
    const up = Math.max(0.0025, ...steps.map((s) => s.grade)), down = Math.max(0.0025, ...steps.map((s) => -s.grade));
    const high = foot - top - 14, share = Math.min(Math.max(up / (up + down), 0.2), 0.8), zero = top + 7 + high * share;
    const scale = Math.min(high * share / up, high * (1 - share) / down), unit = this.units === "us" ? "%" : "‰";
    this.gutter(zero + 2, "Steps", [unit]);
    const inside = draw("g", { "clip-path": "url(#inside)" }, this.under), strokes = [], ties = [], bars = [];
    const room = new Room(this.left, top - 6, this.right, foot + 8), words = [];
    for (const s of steps) {
      if (s.end < a || s.start > a + span) continue;
      const x0 = this.x(Math.max(s.start, a)), x1 = this.x(Math.min(s.end, a + span)), y = zero - s.grade * scale, rising = s.grade > 0;
      if (s.class === 0) draw("path", { d: `M${x0} ${zero - 2}H${x1}`, class: "edge" }, inside);
      else {
        const edge = s.edge.map(([p, g]) => [this.x(p), zero - g * scale]);
        draw("path", { d: pathOf([[edge[0][0], zero], ...edge, [edge[edge.length - 1][0], zero]], true), fill: s.fill, class: "block" }, inside);
        const flat = edge.filter((p) => Math.abs(p[1] - y) < 0.5);
        if (flat.length) {
          const from = Math.max(flat[0][0], this.left), to = Math.min(flat[flat.length - 1][0], this.right), by = STROKES[s.class];
          for (let x = from + by / 2; x < to - 3; x += by) strokes.push(rising ? `M${x.toFixed(1)} ${y - 2}l3 -4` : `M${x.toFixed(1)} ${y + 2}l3 4`);
        }
      }
      words.push([s, x0, x1, y]);
      if (s.end < a + span && s !== steps[steps.length - 1]) {
        const x = this.x(s.end);
        if (!s.curved && s.end_se * this.k > 4) bars.push([x, 1.96 * s.end_se * this.k, (y + zero) / 2]);
        else if (s.sure) ties.push(`M${x.toFixed(1)} ${Math.min(y, zero).toFixed(1)}V${this.y(this.elevation(s.end)).toFixed(1)}`);
      }
    }
    draw("path", { d: `M${this.left} ${zero}H${this.right}`, class: "zero" }, inside);
    draw("path", { d: strokes.join(""), class: "edge" }, inside);
    draw("path", { d: ties.join(""), class: "tie" }, inside);
    for (const [x, half, y] of bars) {
      for (const kind of ["bar-case", "bar"]) draw("path", { d: `M${x - half} ${y - 3}V${y + 3}M${x - half} ${y}H${x + half}M${x + half} ${y - 3}V${y + 3}`, class: kind }, inside);
      room.take([x - half - 2, y - 4, x + half + 2, y + 4]);
    }
    for (const [s, x0, x1, y] of words.sort((p, q) => (q[2] - q[1]) - (p[2] - p[1]))) {
      const figure = s.figure[this.units], number = (s.class ? (s.grade > 0 ? "↗" : "↘") : "") + (s.class ? figure : "level");
      const tall = Math.abs(y - zero), middle = (x0 + x1) / 2, white = s.class && ["#7A4E06", "#526EB4", "#1F2C63"].includes(s.fill);
      const long = s.long[this.units], w = x1 - x0 - 6;
      const across = s.grade > 0 ? zero + 12 : zero - 5, spots = [0.5, 0.35, 0.65, 0.2, 0.8].map((share) => x0 + share * (x1 - x0));
      const write = (text, at, cls, least) => { // in the block where it is high enough, else across the zero line
        const half = wide(text, BOLD) / 2, within = spots.filter((x) => x - half > x0 && x + half < x1);
        if (!within.length || tall < least) return null;
        const found = room.put(text, BOLD, within.map((x) => [x, at, "middle"]));
        if (found) draw("text", { x: (found.x + found.right) / 2, y: at, class: cls }, this.under, text);
        return found;
      };
      const inner = white ? "grade white" : "grade", centre = (y + zero) / 2 + 4;
      if (tall > 32 && wide(long, SMALL) < w) {
        const found = write(number, centre - 6, inner, 14);
        if (found) {
          const x = (found.x + found.right) / 2, under = room.put(long, SMALL, [[x, centre + 8, "middle"]]);
          if (under) draw("text", { x, y: centre + 8, class: "long" + (white ? " white" : "") }, this.under, long);
          continue;
        }
      }
      if (write(number + " \u00a0" + long, centre, inner, 14) || write(number, centre, inner, 14)) continue;
      if (write(number + " \u00a0" + long, across, "grade", 0) || write(number, across, "grade", 0) || x1 - x0 < 16) continue;
      const found = room.put(number, BOLD, [[middle, across, "middle"]]);
      if (found) draw("text", { x: middle, y: across, class: "grade" }, this.under, number);
    }
  }

  curves(foot) {
    const { a, span } = this.view, tall = 40, zero = foot + 24;
    const inside = draw("g", { "clip-path": "url(#inside)" }, this.under), room = new Room(this.left, foot, this.right, foot + 50);
    const most = Math.max(0.0005, ...this.line.curves.map((c) => Math.abs(c.curvature)));
    this.gutter(zero - 2, "Curves", ["left up"]);
    for (const c of this.line.curves) {
      const [p, q, r, s] = c.knots;
      if (s < a || p > a + span) continue;
      const y = zero - c.curvature / most * (tall / 2 - 4);
      const shape = draw("path", { d: pathOf([[this.x(p), zero], [this.x(q), y], [this.x(r), y], [this.x(s), zero]], true), class: c.curvature > 0 ? "curve left" : "curve" }, inside);
      draw("title", {}, shape, [c[this.units].title, c[this.units].where, ...c[this.units].lines].join("\n"));
      const found = room.put(c[this.units].short, SMALL, [[this.x((p + s) / 2), c.curvature > 0 ? zero + 11 : zero - 4, "middle"]]);
      if (found) draw("text", { x: found.x, y: found.y, class: "name small" }, this.under, c[this.units].short);
    }
    draw("path", { d: `M${this.left} ${zero}H${this.right}`, class: "edge" }, this.under);
    return foot + 52;
  }

  limits(foot) {
    const { a, span } = this.view, most = Math.max(1, ...this.line.limits.map((l) => l.speed)), base = foot + 38;
    const inside = draw("g", { "clip-path": "url(#inside)" }, this.under), room = new Room(this.left, foot - 2, this.right, foot + 44);
    this.gutter(foot + 14, "Limits", [this.units === "us" ? "mph" : "km/h"]);
    for (const l of this.line.limits) {
      if (l.end < a || l.start > a + span) continue;
      const x0 = this.x(l.start), x1 = Math.max(this.x(l.end), x0 + 2), y = base - l.speed / most * 20;
      draw("rect", { x: x0, y, width: x1 - x0, height: base - y, class: l.slow ? "box hatched" : "limit" }, inside);
      const text = l[this.units], from = Math.max(x0, this.left) + 4;
      const within = base - y > 15 && !l.slow ? [[from, y + 13, "start"]] : [];
      const found = room.put(text, SMALL, [...within, [from, y - 4, "start"], [x1 + 4, y - 4, "start"]]);
      if (found) draw("text", { x: found.x, y: found.y, class: "name small" }, this.under, text);
    }
    return foot + 44;
  }

  lanes(foot) {
    const { a, span } = this.view, layers = this.page.layers, high = this.narrow ? LOW_LANE : LANE;
    const inside = draw("g", { "clip-path": "url(#inside)" }, this.over);
    for (const [name, kinds] of LANES) {
      if ((name === "slack" && !layers.slack) || (name === "do not stop" && !layers.stops)) continue;
      const every = this.marks.map((mark, index) => [mark, index]).filter(([mark]) => kinds.includes(mark.sign));
      if (!every.length) continue;
      const ends = [], resting = every.filter(([mark]) => mark.sign === "stop").map(([mark]) => mark);
      let chipped = -Infinity;
      for (const [mark, index] of every) { // lanes of the whole line, so that they stand still when the page turns
        const w = mark.number ? chipWide(mark.number) + 8 : 10;
        const from = mark.start * this.k - w, to = Math.max(mark.end * this.k, mark.start * this.k + 4) + 14;
        let lane = ends.findIndex((end) => end <= from);
        if (lane < 0) lane = name === "begin" || name === "astride" || !ends.length ? ends.push(0) - 1 : 0;
        ends[lane] = to;
        if (mark.end < a || mark.start > a + span) continue;
        const y = foot + high / 2 + lane * high;
        if (mark.sign.startsWith("slack")) {
          draw("path", { d: `M${this.x(mark.start)} ${y}H${this.x(mark.end)}`, class: "edge" }, inside);
          const sign = slackSign(inside, Math.min(Math.max(this.x(mark.at), this.left + 12), this.right - 12), y, mark.sign === "slack-in");
          set(sign, { class: "chip", "data-mark": index });
          draw("title", {}, sign, mark.title);
        } else {
          const covered = mark.sign === "hard" && resting.some((r) => r.start < mark.end && mark.start < r.end);
          if (!covered) windowSign(inside, mark, (place) => this.x(place), y);
          let x = Math.min(Math.max(this.x(covered ? mark.at : mark.start) - (covered ? 0 : w / 2 + 1), this.left + w / 2 - 8), this.right - w / 2);
          if (name === "do not stop" && x - chipped < w - 2) x = chipped + w - 2; // one row: where stretches meet the number stands inside
          chipped = x;
          chip(this.over, mark, index, x, y);
        }
      }
      if (!this.narrow) draw("text", { x: LEFT - 12, y: foot + high / 2 + 4, class: "unit ink-text" }, this.under, name);
      foot += high * ends.length;
    }
    return foot + 4;
  }

  renderWhole() {
    const { rail, length } = this.line, width = this.wide, high = 44;
    this.wx = (place) => this.left + place / length * (this.right - this.left);
    if (this.drawn !== rail || this.drawnWide !== width) this.drawWhole();
    set(this.whole, { width, height: high, viewBox: `0 0 ${width} ${high}` });
    set(this.wholeFrame, { x: this.wx(this.view.a), y: 1, width: Math.max(this.wx(this.view.a + this.view.span) - this.wx(this.view.a), 6), height: 42 });
  }

  drawWhole() {
    const { rail, length, runs } = this.line, n = rail.elevation.n;
    [this.drawn, this.drawnWide] = [rail, this.wide];
    const step = Math.max(1, Math.floor(n / (this.right - this.left)));
    let low = Infinity, top = -Infinity;
    for (let i = 0; i < n; i++) { const z = rail.elevation.at(i); low = Math.min(low, z); top = Math.max(top, z); }
    const points = [];
    for (let i = 0; i < n; i += step) points.push([this.wx(i * length / (n - 1)), 30 - (rail.elevation.at(i) - low) / Math.max(top - low, 10) * 24]);
    this.wholeGround.replaceChildren();
    draw("path", { d: pathOf([...points, [this.right, 34], [this.left, 34]], true), class: "ground" }, this.wholeGround);
    draw("path", { d: pathOf(points), class: "ink" }, this.wholeGround);
    for (const [from, to, kind] of runs) {
      draw("rect", { x: this.wx(from), y: 35, width: Math.max(this.wx(to) - this.wx(from), 0.5), height: 6, fill: this.page.colours.open[String(kind)], class: "run" }, this.wholeGround);
    }
    if (!this.narrow) {
      draw("text", { x: LEFT - 12, y: 18, class: "row" }, this.wholeGround, "Whole");
      draw("text", { x: LEFT - 12, y: 31, class: "unit" }, this.wholeGround, "line");
    }
  }

  // ---------------------------------------------------------------- the train over it
  move(head, rear, train) {
    const body = (from, to) => {
      const points = [], a = Math.max(from, this.view.a - 2000), b = Math.min(to, this.view.a + this.view.span + 2000), n = 20;
      if (b <= a) return "";
      for (let i = 0; i <= n; i++) { const p = a + (b - a) * i / n; points.push([this.x(p), this.y(this.elevation(p)) - 7]); }
      return pathOf(points);
    };
    const x = this.x(head), xr = this.x(rear);
    set(this.column, { x: xr, y: 22, width: Math.max(x - xr, 0), height: this.foot - 22 });
    this.rear.setAttribute("d", `M${xr.toFixed(1)} 22V${this.foot}`);
    this.head.setAttribute("d", `M${x.toFixed(1)} 22V${this.foot}`);
    const whole = body(rear, head);
    this.body.setAttribute("d", whole);
    this.white.setAttribute("d", whole);
    this.power.setAttribute("d", train.groups.map(([from, to]) => body(head - to, head - from)).join(""));
    const text = this.page.words.head + " " + postText(this.line.posts, head, 1), w = wide(text, BOLD) + 12;
    const fx = Math.min(Math.max(x, this.left), this.right - w), out = x < this.left - 1 || x > this.right + 1;
    this.flag.setAttribute("visibility", out ? "hidden" : "visible");
    set(this.flagBox, { x: fx, y: 4, width: w });
    set(this.flagText, { x: fx + 6, y: 16 });
    say(this.flagText, text);
    set(this.wholeTrain, { x: this.wx(Math.max(rear, 0)), y: 2, width: Math.max(this.wx(head) - this.wx(Math.max(rear, 0)), 1), height: 32 });
    this.wholeHead.setAttribute("d", `M${this.wx(head).toFixed(1)} 2V42`);
  }
}
