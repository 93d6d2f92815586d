// Now: figures of this place. Train: what the couplers carry over the ground under the train. List: marks by post.
class Now {
  constructor(node, words) {
    this.words = words;
    const list = make("dl", {}, node);
    this.cells = words.now.map((label) => {
      const cell = make("div", {}, list);
      const term = make("dt", {}, cell, label), figure = make("dd", {}, cell);
      return [figure, term];
    });
    this.plan = make("p", { class: "by-plan" }, node);
  }
  move(page) {
    const { head, rear, units, line, trip, run } = page, { words } = this, L = line.length, posts = line.posts;
    const limits = trip.limit, limit = page.limitAt(limits, head);
    const grade = along(trip.grade, L, head), se = along(trip.grade_se, L, head);
    const own = along(line.rail.grade, L, head), own_se = along(line.rail.grade_se, L, head);
    const needed = along(run.needed, L, head), speed = along(run.steady, L, head), there = along(run.available, L, head);
    const keep = speed < 0.3 ? words.moves : needed >= 0 ? words.pulls : words.holds;
    const rows = [
      [postText(posts, head, 2), words.now[0]],
      [postText(posts, rear, 2), words.now[1]],
      [limit === null ? "–" : speedText(limit, units), words.now[2]],
      [gradeText(grade, se, units), words.now[3] + " " + sureText(se, units)],
      [gradeText(own, own_se, units), words.now[4] + " " + sureText(own_se, units)],
      [forceText(Math.abs(needed), units), keep.replace("%", speedText(speed, units)) + (needed >= 0 ? words.of.replace("%", forceText(there, units)) : "")],
    ];
    rows.forEach(([figure, term], i) => { say(this.cells[i][0], figure); say(this.cells[i][1], term); });
    say(this.plan, this.byPlan(page, run));
  }
  byPlan(page, run) {
    const { head, units, words } = page, L = page.line.length, speed = along(run.speed, L, head);
    if (Number.isNaN(speed)) return words.not_run;
    const parts = [speedText(speed, units)], effort = along(run.effort, L, head), share = along(run.share, L, head), notch = nearest(run.notch, L, head);
    if (effort > 500) parts.push(notch ? words.notch.replace("%", notch) + ", " + forceText(effort, units) : words.power + " " + forceText(effort, units)); // as it comes off
    if (share > 0.02) parts.push(words.dynamic + " " + Math.round(100 * share) + " %, " + forceText(along(run.dynamic, L, head), units));
    const air = nearest(run.reduction, L, head);
    if (air > 0) parts.push(words.air + " " + pressureText(air, units));
    if (parts.length === 1) parts.push(words.idle);
    const past = page.past();
    return words.by_plan + ": " + parts.join(" · ") + (past === null ? "" : " · " + words.past.replace("%", Math.round(100 * past)));
  }
}

class TrainPanel {
  constructor(svg, words) {
    this.svg = svg;
    this.words = words;
    const add = (cls, name) => draw(name || "path", { class: cls }, svg);
    const defs = draw("defs", {}, svg);
    this.above = draw("rect", { x: 0, y: 0 }, draw("clipPath", { id: "pulls" }, defs));
    this.below = draw("rect", { x: 0 }, draw("clipPath", { id: "pushes" }, defs));
    [this.pull, this.push, this.zero, this.cautions, this.ground] = ["pull", "push", "zero", "caution", "ground"].map((c) => add(c));
    this.pull.setAttribute("clip-path", "url(#pulls)");
    this.push.setAttribute("clip-path", "url(#pushes)");
    this.ribbon = draw("g", {}, svg);
    [this.cars, this.units, this.peak] = ["cars", "units", "tie"].map((c) => add(c));
    this.overBox = add("solid", "rect");
    this.texts = Array.from({ length: 5 }, () => add("name small", "text"));
  }
  size() { this.width = this.svg.clientWidth || 400; this.high = this.svg.clientHeight || 190; this.svg.setAttribute("viewBox", `0 0 ${this.width} ${this.high}`); }
  move(page) {
    const { head, rear, train, trip, run, line, units, words } = page, L = line.length, w = this.width, left = 6, right = w - 6;
    const bar = 14, groundTop = this.high - 78, top = 16, foot = groundTop - 20, x = (behind) => right - behind / train.length * (right - left);
    const n = train.edges.length - 2, known = !Number.isNaN(along(run.draft, L, head)) && n > 0;
    const most = Math.max(trip.most.draft, train.pull.caution * 1.05), least = Math.max(trip.most.buff, most * 0.25);
    const scale = (foot - top) / (most + least), zero = top + most * scale, y = (force) => zero - force * scale;
    const points = [[right, zero]], at = Math.min(Math.max(head / L, 0), 1) * (run.draft.n - 1), i = Math.min(Math.floor(at), run.draft.n - 2), share = at - i;
    let draft = 0, buff = 0, draftAt = 0, buffAt = 0;
    if (known) {
      const first = Number.isNaN(run.draft.at(i)) ? i + 1 : i, second = Number.isNaN(run.draft.at(i + 1)) ? i : i + 1;
      for (let k = 0; k < n; k++) {
        const force = run.force.at(first * n + k) * (1 - share) + run.force.at(second * n + k) * share;
        points.push([x(train.edges[k + 1]), y(force)]);
      }
      draft = along(run.draft, L, head); buff = along(run.buff, L, head);
      draftAt = nearest(run.draft_at, L, head); buffAt = nearest(run.buff_at, L, head);
    }
    points.push([left, zero]);
    const d = pathOf(points, true);
    for (const node of [this.pull, this.push]) node.setAttribute("d", known ? d : "");
    set(this.above, { width: w, height: zero });
    set(this.below, { width: w, y: zero, height: this.high });
    this.zero.setAttribute("d", `M${left} ${zero}H${right}`);
    const lines = [];
    if (y(train.pull.caution) >= top - 1) lines.push(`M${left} ${y(train.pull.caution)}H${right}`);
    if (y(-train.push.limit) <= foot + 1) lines.push(`M${left} ${y(-train.push.limit)}H${right}`);
    this.cautions.setAttribute("d", lines.join(""));
    this.names(page, { draft, buff, px: x(train.edges[draftAt + 1]), bx: x(train.edges[buffAt + 1]), draftAt, buffAt, known, zero, y, left, right, foot, lines });
    // the ground under it
    const tall = this.high - 46 - groundTop, elevations = [];
    for (let k = 0; k <= 24; k++) { const p = head - train.length * (1 - k / 24); elevations.push(along(line.rail.elevation, L, p)); }
    const low = Math.min(...elevations), range = Math.max(Math.max(...elevations) - low, 6);
    const gy = (elevation) => groundTop + tall + 8 - (elevation - low) / range * tall;
    const rail = elevations.map((z, k) => [left + (right - left) * k / 24, gy(z)]);
    this.ground.setAttribute("d", pathOf([...rail, [right, this.high - bar], [left, this.high - bar]], true));
    const cars = [], power = [];
    for (let k = 0; k <= n; k++) {
      const from = x(train.edges[k + 1]), to = x(train.edges[k]), gap = Math.min(1, (to - from) * 0.2);
      const middle = head - (train.edges[k] + train.edges[k + 1]) / 2, my = gy(along(line.rail.elevation, L, middle)) - 1;
      (train.power[k] ? power : cars).push(`M${(from + gap).toFixed(1)} ${my.toFixed(1)}H${(to - gap).toFixed(1)}v${train.power[k] ? -8 : -6}H${(from + gap).toFixed(1)}Z`);
    }
    this.cars.setAttribute("d", cars.join(""));
    this.units.setAttribute("d", power.join(""));
    this.ribbonUnder(page, x, left, right, bar);
  }
  names(page, f) { // the largest pull and push by name; past the limit white on ink, and "over"
    const { words, units, train } = page, [pull, push, caution, buff, none] = this.texts;
    const put = (node, text, px, py) => {
      const half = wide(text, POST) / 2 + 2;
      set(node, { x: Math.min(Math.max(px, f.left + half), f.right - half), y: py, "text-anchor": "middle" });
      say(node, text);
    };
    const over = f.draft > train.pull.limit, past = f.draft > train.pull.caution;
    const text = f.known && f.draft > 500 ? `${words.pull} ${forceText(f.draft, units)}, ${train.vehicles[f.draftAt]}${over ? ", " + words.over : ""}` : "";
    const line = f.y(train.pull.caution), above = f.y(f.draft) - 5;
    put(pull, text, f.px, Math.max(Math.abs(above - 4 - line) < 9 ? Math.min(line - 4, above) : above, 11));
    pull.setAttribute("class", over ? "name small white bold" : "name small bold");
    const w = wide(text, BOLD) + 6, px = Number(pull.getAttribute("x"));
    set(this.overBox, { x: px - w / 2, y: Number(pull.getAttribute("y")) - 10, width: w, height: 13, visibility: over ? "visible" : "hidden" });
    this.peak.setAttribute("d", text ? `M${f.px.toFixed(1)} ${f.y(f.draft).toFixed(1)}V${(this.high - 14).toFixed(1)}` : "");
    const buffOver = f.buff > train.push.limit;
    put(push, f.known && f.buff > 500 ? `${words.push} ${forceText(f.buff, units)}, ${train.vehicles[f.buffAt]}${buffOver ? ", " + words.over : ""}` : "", f.bx, Math.min(f.y(-f.buff) + 12, f.foot + 13));
    push.setAttribute("class", "name small bold");
    const aside = px > (f.left + f.right) / 2;
    const limit = `${words.caution} ${forceText(train.pull.caution, units)}`;
    set(caution, { x: aside ? f.left : f.right, y: f.y(train.pull.caution) - 4, "text-anchor": aside ? "start" : "end", visibility: text && past ? "hidden" : "visible" });
    say(caution, limit);
    const shown = f.y(-train.push.limit) <= f.foot + 1, pushAside = Number(push.getAttribute("x")) > (f.left + f.right) / 2;
    set(buff, { x: pushAside ? f.left : f.right, y: f.y(-train.push.limit) + 12, "text-anchor": pushAside ? "start" : "end", visibility: shown ? "visible" : "hidden" });
    say(buff, `${words.limit} ${forceText(train.push.limit, units)}`);
    put(none, f.known || train.edges.length < 3 ? "" : words.not_run_short, (f.left + f.right) / 2, f.zero - 6);
  }
  ribbonUnder(page, x, left, right, bar) {
    const { head, rear, train, units } = page, under = page.line.steps.filter((s) => s.end > rear && s.start < head), top = this.high - bar;
    while (this.ribbon.children.length < 2 * under.length) draw(this.ribbon.children.length % 2 ? "text" : "rect", { class: this.ribbon.children.length % 2 ? "name small" : "run" }, this.ribbon);
    for (let i = 0; i < this.ribbon.children.length / 2; i++) {
      const [rect, text] = [this.ribbon.children[2 * i], this.ribbon.children[2 * i + 1]], s = under[i];
      if (!s) { set(rect, { width: 0 }); say(text, ""); continue; }
      const a = Math.max(x(head - Math.max(s.start, rear)), left), b = Math.min(x(head - Math.min(s.end, head)), right);
      const figure = (s.class ? (s.grade > 0 ? "↗" : "↘") : "") + s.figure[units];
      set(rect, { x: a, y: top, width: Math.max(b - a, 0), height: bar - 1, fill: s.fill });
      set(text, { x: (a + b) / 2, y: top - 4, "text-anchor": "middle", class: "name small bold" });
      say(text, wide(figure, BOLD) < b - a - 4 ? figure : "");
    }
  }
}

class List { // which mark is opened belongs to the run (`run.opened`), and is kept with it
  constructor(node, heading, words) { Object.assign(this, { node, heading, words, felt: new Felt(words.felt), rows: [] }); }
  render(page) { // made anew in one piece: the page keeps its height, the reader the focus
    const { node } = this, { a, span } = page.view, back = this.focused();
    Object.assign(this, { page, wide: node.clientWidth, rows: [] });
    const here = page.marks.map((mark, index) => [mark, index]).filter(([mark]) => mark.end >= a && mark.start <= a + span && page.listed(mark));
    say(this.heading, this.words.list.replace("%", here.length).replace("%", page.marks.filter((m) => page.listed(m)).length));
    for (const [mark, index] of here) this.rows.push(this.row(mark, index));
    for (const row of this.rows) this.state(row, page);
    node.replaceChildren(...this.rows.map((row) => row.item)); // what was opened is still in it as the focus goes: a browser measures then
    this.unfold();
    if (back) back();
  }
  row(mark, index) {
    const { page } = this, item = make("li", {}), button = make("button", { type: "button", "aria-expanded": "false", "data-mark": index }, item);
    const tag = draw("svg", { width: 28, height: 24, "aria-hidden": "true" }, button);
    if (mark.number) chip(tag, mark, index, 14, 12);
    else if (mark.sign === "felt") draw("rect", { x: 9.5, y: 7.5, width: 9, height: 9, class: "open" }, tag);
    else slackSign(tag, 14, 12, mark.sign === "slack-in");
    const text = make("span", { class: "words" }, button);
    make("span", { class: "name" }, text, mark[page.units].title.replace(/^\d+ · /, "").replace(/^./, (c) => c.toUpperCase()));
    const where = make("span", { class: "where" }, text), bold = make("strong", {}, where), rest = make("span", {}, where);
    if (mark.felt && mark.felt.broken) make("span", { class: "breaks" }, text, this.words.felt.broken.replace("%", mark.felt.broken));
    const sign = draw("svg", { width: 66, height: 24, "aria-hidden": "true" }, button), wide = mark.end - mark.start || 1;
    const at = (place) => 8 + (place - mark.start) / wide * 46;
    if (mark.number) windowSign(sign, mark, at, 12);
    const place = draw("path", { class: "head" }, sign), lines = make("ul", { hidden: "" }, item);
    for (const line of mark[page.units].lines) make("li", {}, lines, line);
    return { mark, index, item, button, bold, rest, place, at, lines, inside: null };
  }
  state(row, page) {
    const { mark } = row, inside = page.head >= mark.start && page.head <= mark.end;
    row.place.setAttribute("d", inside ? `M${row.at(page.head).toFixed(1)} 2V22` : "");
    if (inside === row.inside) return;
    row.inside = inside;
    row.item.className = inside ? "inside" : "";
    say(row.bold, inside ? mark.inside[0] : "");
    say(row.rest, inside ? mark.inside[1] : mark.where);
  }
  move(page) { for (const row of this.rows) this.state(row, page); }
  turned(page) { // the page has turned: the first mark not yet passed stands first
    const row = this.rows.find((r) => r.mark.end >= page.head);
    if (row) this.node.scrollTop = row.item.offsetTop;
  }
  open(index) { // by the reader, and closed by doing so again
    const { run } = this.page, row = this.rows.find((r) => r.index === index);
    run.opened = run.opened === index ? null : index;
    this.wide = this.node.clientWidth;
    this.unfold();
    if (run.opened === index) row.item.scrollIntoView({ block: row.mark.felt ? "start" : "nearest" });
    row.button.focus({ preventScroll: true });
  }
  unfold() {
    const { opened } = this.page.run, found = this.rows.find((row) => row.index === opened);
    this.node.parentNode.classList.toggle("deep", Boolean(found && found.mark.felt));
    for (const row of this.rows) {
      row.lines.hidden = row !== found;
      if (row.mark.felt) this.feel(row, row === found);
      row.button.setAttribute("aria-expanded", String(row === found));
    }
  }
  feel(row, open) { // what couplers feel there, under the lines of an open mark
    const shown = row.lines.nextSibling;
    if (open && !shown) row.item.append(this.felt.node(this.page, row.index, Math.max(this.wide - 16, 240)));
    else if (!open && shown) shown.remove();
  }
  focused() { // how to give the focus back where it is now, or to the list if that is gone
    const held = document.activeElement, row = this.rows.find((r) => r.item.contains(held)), inner = "input, summary";
    if (!this.node.contains(held)) return null;
    const at = row ? [...row.item.querySelectorAll(inner)].indexOf(held) : -1;
    return () => {
      const same = row && this.rows.find((r) => r.mark === row.mark), next = same && (same.item.querySelectorAll(inner)[at] || same.button);
      (next || this.node).focus({ preventScroll: true });
    };
  }
}
