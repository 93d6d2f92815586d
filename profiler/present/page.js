// The page: what is chosen, where the head is, and whatever follows from it.
const SHARES = [0.10, 0.94]; // the picture turns its page when the head leaves these of it
const SPAN_PER_PX = 18, LEAST_SPAN = 2000;
const PARTS = ["header", ".drive", "#strip", "footer"]; // what leaves the rest of the height to Plan
const MOST_PINNED = 0.65; // of the window's height: a strip that leaves less for the rest scrolls with it
const $ = (id) => document.getElementById(id), root = document.documentElement;

async function start() {
  const [data, buffer, from] = await unpacked($("numbers").textContent.trim());
  opened(data, buffer, from);
  const page = {
    words: data.words, colours: data.colours, widths: data.widths, units: data.units, head: 0, view: { a: 0, span: 0 },
    layers: { landmarks: true, structures: true, posts: true, stops: true, curves: false, limits: false, slack: false },
    chosen: { train: 0, direction: Object.keys(data.lines)[0], case: "plan" },
    keyBox() {
      const key = $("key").getBoundingClientRect(), plan = $("ground-plan").getBoundingClientRect();
      return key.width ? [key.left - plan.left - 4, key.top - plan.top - 4, key.right - plan.left + 4, key.bottom - plan.top + 4] : null;
    },
    listed: (mark) => (mark.sign === "felt" ? true : mark.number ? page.layers.stops || (mark.sign !== "stop" && mark.sign !== "hard") : page.layers.slack),
    limitAt(limits, head) {
      let i = 0;
      while (i < limits.edges.length && limits.edges[i] <= head) i++;
      const near = [limits.speeds[i]];
      if (i > 0 && limits.edges[i - 1] === head) near.push(limits.speeds[i - 1]);
      const known = near.filter((speed) => speed !== null);
      return known.length ? Math.min(...known) : null;
    },
    past() { // share of the train's mass past a crest that it lies astride of
      const mark = page.marks.find((m) => m.crest && m.quarters.length === 3 && page.head >= m.start && page.head <= m.end);
      if (!mark) return null;
      const places = [mark.start, ...mark.quarters, mark.end], i = Math.min(before(places, page.head), 3);
      return 0.25 * (i + (page.head - places[i]) / (places[i + 1] - places[i] || 1));
    },
  };

  const section = new Section($("section"), $("whole"));
  const plan = data.plan ? new Plan($("ground-plan"), data.plan, $("shade") && $("shade").src) : null;
  const now = new Now($("now"), data.words), panel = new TrainPanel($("couplers"), data.words), list = new List($("marks"), $("list-words"), data.words);
  const slider = $("slider");

  // ---------------------------------------------------------------- what is chosen
  function choose(change) {
    Object.assign(page.chosen, change);
    const { train, direction } = page.chosen, made = data.trains[train];
    page.train = made;
    page.trip = made.trips[direction] || Object.values(made.trips)[0];
    page.chosen.direction = page.trip === made.trips[direction] ? direction : Object.keys(made.trips)[0];
    page.line = data.lines[page.chosen.direction];
    page.chosen.case = page.chosen.case in page.trip.cases ? page.chosen.case : "plan";
    page.run = page.trip.cases[page.chosen.case];
    page.marks = page.run.marks;
    for (const mark of page.marks) mark.title = mark[page.units].title;
    say($("train-name"), made.name + " · ");
    say($("train-words"), made.size[page.units]);
    say($("plan-words"), " · " + data.words.cases_long[page.chosen.case]);
    say($("towards"), page.line.towards);
    say($("case-words"), data.words.cases_long[page.chosen.case]);
    $("drafts").replaceChildren(...page.trip.told[page.units].map((line) => make("li", {}, null, line + ".")));
    $("train").value = String(page.chosen.train);
    $("case").value = page.chosen.case;
    $("units").value = page.units;
    set(slider, { "aria-valuemin": "0", "aria-valuemax": (page.line.length / page.line.posts.unit_m).toFixed(2) });
    key();
    inside = null; // another train is in other marks, and has left none behind
    move(page.head, "chosen");
    render();
  }
  function choseAnew(change) {
    stop();
    choose(change);
    move(page.head);
    list.turned(page);
  }

  function key() {
    const { units } = page, { fills, names } = data.key;
    $("samples").replaceChildren(...fills.map((fill, i) => {
      const item = make("li", {}), svg = draw("svg", { width: 40, height: 20, "aria-hidden": "true" }, item), kind = 4 - i, wide = data.widths[Math.abs(kind)];
      const count = Math.max(Math.abs(kind) - 1, 0), sense = kind > 0 ? -1 : 1, marks = [];
      for (let c = 0; c < count; c++) { const x = 20 + (c - (count - 1) / 2) * 5; marks.push(`M${x - 2 * sense} 1l${3 * sense} 4l${-3 * sense} 4`); }
      draw("path", { d: marks.join(""), class: "chevron" }, svg);
      draw("rect", { x: 0.5, y: 15 - wide / 2, width: 39, height: wide, fill, class: "box-edge" }, svg);
      make("span", {}, item, names[units][Math.abs(kind)]);
      return item;
    }));
    say($("grade-unit"), units === "us" ? "%" : "‰");
  }

  // ---------------------------------------------------------------- the picture
  function render() {
    const { view, line: { length } } = page, width = page.width = Math.max(slider.clientWidth, 200);
    if (!(view.zoomed || page.paper) || !view.span) spread(width * SPAN_PER_PX);
    view.a = Math.min(Math.max(view.a, 0), length - view.span);
    section.render(page);
    list.render(page);
    const high = $("strip").offsetHeight, pinned = high < MOST_PINNED * innerHeight;
    root.classList.toggle("pinned", pinned);
    root.style.setProperty("--strip", (pinned ? high : 0) + "px");
    const rest = PARTS.reduce((sum, name) => sum + document.querySelector(name).offsetHeight, 0);
    root.style.setProperty("--rest", rest + "px");
    panel.size();
    if (plan) plan.render(page);
    shown();
    place();
  }
  function spread(wished) { // Section shows so much, the head standing where it stood in the picture
    const { view, line, head } = page, span = Math.min(Math.max(wished, LEAST_SPAN), line.length);
    if (view.span) view.a = head - Math.min(Math.max((head - view.a) / view.span, 0.1), 0.9) * span;
    view.span = span;
  }
  function shown() {
    const mark = page.marks[page.run.opened];
    if (plan) plan.window(mark && page.listed(mark) ? mark : null);
  }
  function planned() { // Plan from another place or as near or far as it is now
    plan.render(page);
    shown();
    plan.move(page.head, page.rear, page.train);
  }
  function place() { // everything that moves with the head
    section.move(page.head, page.rear, page.train);
    const seen = plan && plan.move(page.head, page.rear, page.train);
    now.move(page);
    panel.move(page);
    list.move(page);
    return seen;
  }

  let inside = null, saved = 0;
  function move(head, how) {
    const { line, train, view } = page, old = page.head;
    page.head = Math.min(Math.max(head, 0), line.length);
    page.rear = page.head - train.length;
    if (how === "chosen") return;
    const share = (page.head - view.a) / view.span;
    if (how !== "held" && (share < SHARES[0] || share > SHARES[1])) {
      const back = page.head < old, lead = back ? 0.86 : Math.max(0.14, Math.min(train.length * 1.1 / view.span, 0.6));
      const a = Math.min(Math.max(page.head - lead * view.span, 0), line.length - view.span);
      if (Math.abs(a - view.a) > 1) {
        view.a = a;
        section.render(page);
        list.render(page);
        requestAnimationFrame(() => list.turned(page));
      }
    }
    const seen = place();
    if (seen && how !== "held" && (seen[0] < 0.04 * plan.width || seen[0] > 0.96 * plan.width || seen[1] < 0.04 * plan.height || seen[1] > 0.96 * plan.height)) {
      [plan.cx, plan.cy] = plan.at(page.head);
      planned();
    }
    told(how);
  }
  function told(how) {
    const here = page.marks.filter((m) => m.number && page.head >= m.start && page.head <= m.end);
    const post = postText(page.line.posts, page.head, 2), first = here[0];
    set(slider, {
      "aria-valuenow": (page.head / page.line.posts.unit_m).toFixed(2),
      "aria-valuetext": page.words.at.replace("%", post) + (first ? `, ${first.title}: ${first.inside.join("")}` : ""),
    });
    if (document.activeElement !== $("post")) { $("post").value = post; wrong(""); }
    const names = new Set(here.map((m) => m.title));
    if (how !== "played" && inside) {
      const words = [...here.filter((m) => !inside.has(m.title)).map((m) => `${m.title}: ${m.inside.join("")}`), ...[...inside].filter((t) => !names.has(t)).map((t) => page.words.left.replace("%", t))];
      if (words.length) say($("told"), words.join(". "));
    }
    inside = names;
    saved = saved || setTimeout(save, 500); // while it is played too
  }
  function save() { // the address keeps head, direction, units
    saved = 0;
    const { train, direction } = page.chosen;
    const kept = new URLSearchParams({ head: postValue(page.line.posts, postAt(page.line.posts, page.head), 2), to: direction, units: page.units, train, case: page.chosen.case });
    keepAddress("#" + kept);
  }

  function wrong(words) { // a post that is not there
    if ($("no-post").textContent === words) return;
    $("no-post").textContent = words;
    $("post").setAttribute("aria-invalid", String(Boolean(words)));
  }

  function units(name) { page.units = name; choose({}); told("chosen"); }
  function turnAround() {
    const other = Object.keys(page.train.trips).find((d) => d !== page.chosen.direction);
    if (!other) return;
    stop();
    const { length } = page.line, head = Math.min(length - page.rear, length), middle = length - page.view.a - page.view.span;
    page.head = Math.max(head, 0);
    page.view.a = middle;
    choseAnew({ direction: other });
  }
  function zoom(factor) {
    page.view.zoomed = true;
    spread(page.view.span * factor);
    render();
  }
  function open(index) {
    const mark = page.marks[index], { view } = page;
    if (!page.listed(mark)) return;
    if (mark.end < view.a || mark.start > view.a + view.span) {
      view.a = Math.min(Math.max(mark.start - 0.3 * view.span, 0), page.line.length - view.span);
      page.run.opened = null;
      section.render(page);
      list.render(page);
      place();
    }
    list.open(index);
    shown();
  }
  function markAfter(sense) {
    const places = page.marks.filter((m) => m.number).map((m) => Math.min(Math.max(m.at, 0), page.line.length)).sort((a, b) => a - b);
    const next = sense > 0 ? places.find((p) => p > page.head + 1) : places.reverse().find((p) => p < page.head - 1);
    return next === undefined ? page.head : next;
  }

  // ---------------------------------------------------------------- keys
  const keys = {
    ArrowRight: (shift) => move(page.head + page.line.posts.unit_m * (shift ? 1 : 0.1)),
    ArrowLeft: (shift) => move(page.head - page.line.posts.unit_m * (shift ? 1 : 0.1)),
    PageDown: () => move(markAfter(1)), PageUp: () => move(markAfter(-1)),
    Home: () => move(0), End: () => move(page.line.length),
    "+": () => zoom(0.7), "=": () => zoom(0.7), "-": () => zoom(1 / 0.7),
    f: () => { if (plan) { plan.show(page.head, page.rear); planned(); } },
    d: turnAround, u: () => units(page.units === "us" ? "metric" : "us"),
  };
  document.addEventListener("keydown", (event) => {
    const { target } = event, typing = ["INPUT", "SELECT", "TEXTAREA"].includes(target.tagName);
    if (event.ctrlKey || event.metaKey || event.altKey || typing) return;
    const name = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    if (!(name in keys) || (name.length > 1 && target !== slider && target !== document.body)) return;
    event.preventDefault();
    keys[name](event.shiftKey);
  });

  // ---------------------------------------------------------------- hand
  function dragged(svg, placeAt, how) {
    svg.addEventListener("pointerdown", (event) => {
      if (event.button || !event.isPrimary || event.target.closest("[data-mark]")) return;
      stop();
      slider.focus({ preventScroll: true });
      const was = page.head, follow = (e) => move(placeAt(e.clientX - svg.getBoundingClientRect().left), how);
      held(svg, event, follow, (scrolled) => move(scrolled ? was : page.head));
      follow(event);
    });
  }
  dragged($("section"), (x) => section.place(Math.min(Math.max(x, section.left), section.right)), "held");
  dragged($("whole"), (x) => (x - section.left) / (section.right - section.left) * page.line.length);
  $("section").addEventListener("wheel", (event) => {
    const by = event.deltaX || (event.shiftKey ? event.deltaY : 0);
    if (event.ctrlKey) { event.preventDefault(); zoom(1 / wheeled(event)); }
    else if (by) { event.preventDefault(); page.view.a += by / section.k; render(); }
  }, { passive: false });
  document.addEventListener("click", (event) => {
    const marked = event.target.closest("[data-mark]");
    if (marked) open(Number(marked.getAttribute("data-mark")));
  });

  if (plan) {
    const svg = $("ground-plan"), fingers = new Map();
    svg.addEventListener("pointerdown", (event) => {
      if (event.button || event.target.closest("[data-mark]")) return;
      const at = (e) => { const box = svg.getBoundingClientRect(); return [e.clientX - box.left, e.clientY - box.top]; };
      const [place, far] = plan.nearest(...at(event)), onLine = !fingers.size && far < 14;
      fingers.set(event.pointerId, at(event));
      if (onLine) { stop(); move(place, "held"); }
      const follow = (e) => {
        const was = [...fingers.values()];
        fingers.set(e.pointerId, at(e));
        if (onLine && was.length === 1) { move(plan.nearest(...at(e))[0], "held"); return; }
        plan.moved = true;
        plan.grip(was, [...fingers.values()]);
        planned();
      };
      held(svg, event, follow, () => {
        fingers.delete(event.pointerId);
        if (onLine) { move(page.head); slider.focus({ preventScroll: true }); }
      });
    });
    const closer = (factor, x, y) => { plan.moved = true; plan.zoom(factor, x, y); planned(); };
    svg.addEventListener("wheel", (event) => {
      event.preventDefault();
      const box = svg.getBoundingClientRect();
      if (event.deltaY) closer(wheeled(event), event.clientX - box.left, event.clientY - box.top);
    }, { passive: false });
    $("closer").addEventListener("click", () => closer(1.5, plan.width / 2, plan.height / 2));
    $("farther").addEventListener("click", () => closer(1 / 1.5, plan.width / 2, plan.height / 2));
    $("key").addEventListener("toggle", planned);
  }

  // ---------------------------------------------------------------- play, by the run's own time
  let playing = null;
  function stop() { playing = null; say($("play"), page.words.play); }
  function play() {
    if (playing) { stop(); return; }
    say($("play"), page.words.stop);
    if (page.head >= page.line.length) move(0);
    const own = playing = {};
    let last = null, time = null;
    const step = (stamp) => {
      if (playing !== own) return;
      const { run, line } = page, n = run.time.n, apart = line.length / (n - 1);
      let i = Math.min(Math.floor(page.head / apart + 1e-6), n - 1);
      const here = along(run.time, line.length, page.head);
      if (Number.isNaN(here)) { // not run here: on to where it is
        while (i < n - 1 && Number.isNaN(run.time.at(i))) i++;
        move(i * apart, "played");
        if (i === n - 1) { stop(); return; }
        time = run.time.at(i);
      } else if (time === null || Math.abs(here - time) > 5) time = here;
      if (last !== null) {
        time += Math.min((stamp - last) / 1000, 0.2) * Number($("rate").value);
        while (i < n - 1 && !(run.time.at(i + 1) > time)) i++;
        const a = run.time.at(i), b = i < n - 1 ? run.time.at(i + 1) : NaN;
        if (i >= n - 1) { move(line.length, "played"); stop(); return; }
        if (Number.isNaN(a)) { time = b; move((i + 1) * apart, "played"); } // it stalls: the run goes on farther on
        else move((i + Math.max((time - a) / (b - a), 0)) * apart, "played");
      }
      last = stamp;
      requestAnimationFrame(step);
    };
    requestAnimationFrame(step);
  }

  // ---------------------------------------------------------------- controls
  data.trains.forEach((train, i) => make("option", { value: i }, $("train"), train.name));
  for (const name of Object.keys(Object.values(data.trains[0].trips)[0].cases)) make("option", { value: name }, $("case"), data.words.cases[name]);
  $("train").parentNode.hidden = data.trains.length < 2;
  $("train-name").classList.toggle("on-paper", data.trains.length > 1);
  $("case").parentNode.hidden = $("case").options.length < 2;
  $("turn").hidden = Object.keys(data.lines).length < 2;
  $("train").addEventListener("change", () => choseAnew({ train: Number($("train").value) }));
  $("case").addEventListener("change", () => choseAnew({ case: $("case").value }));
  $("units").addEventListener("change", () => units($("units").value));
  $("turn").addEventListener("click", turnAround);
  $("play").addEventListener("click", play);
  $("nearer").addEventListener("click", () => zoom(0.7));
  $("wider").addEventListener("click", () => zoom(1 / 0.7));
  $("go").addEventListener("submit", (event) => {
    event.preventDefault();
    const place = postTyped(page.line.posts, $("post").value);
    wrong(place === null ? page.words.no_post : "");
    if (place !== null) { stop(); slider.focus({ preventScroll: true }); move(place); }
  });
  $("post").addEventListener("input", () => wrong(""));
  for (const box of document.querySelectorAll("#layers input")) {
    box.checked = page.layers[box.name];
    box.addEventListener("change", () => { page.layers[box.name] = box.checked; render(); });
  }

  function asked() { // what the address asks for is chosen, and its place given, if it has one
    const kept = new URLSearchParams(location.hash.slice(1)), wished = {};
    if (["us", "metric"].includes(kept.get("units"))) page.units = kept.get("units");
    if (kept.get("train") && data.trains[Number(kept.get("train"))]) wished.train = Number(kept.get("train"));
    if (Object.hasOwn(data.lines, kept.get("to"))) wished.direction = kept.get("to");
    if (Object.hasOwn(data.words.cases, kept.get("case"))) wished.case = kept.get("case");
    choose(wished);
    return kept.get("head") ? postTyped(page.line.posts, kept.get("head")) : null;
  }
  root.classList.add("ready");
  keyFolds($("key"), "(max-width: 999px)"); // there it covers half of Plan
  const typed = asked();
  const height = (mark) => along(page.line.rail.elevation, page.line.length, mark.start);
  const crest = page.marks.filter((mark) => mark.crest).sort((a, b) => height(b) - height(a))[0];
  move(typed === null ? (crest ? crest.quarters[1] || crest.at : Math.min(page.train.length, page.line.length)) : typed);
  list.turned(page);
  addEventListener("hashchange", () => { stop(); const place = asked(); move(place === null ? page.head : place); list.turned(page); });
  for (const [when, paper] of [["beforeprint", true], ["afterprint", false]]) { // all is drawn for the width that paper has
    addEventListener(when, () => {
      page.paper = paper;
      root.classList.toggle("paper", paper);
      $("notes").open = paper;
      if (plan && !plan.moved) plan.k = undefined;
      render();
    });
  }
  let sized = 0;
  const observer = new ResizeObserver(() => {
    cancelAnimationFrame(sized);
    sized = requestAnimationFrame(() => { if (plan && !plan.moved && plan.width !== $("ground-plan").clientWidth) plan.k = undefined; render(); });
  });
  for (const name of [...PARTS, "#plan"]) observer.observe(document.querySelector(name)); // not the list: it grows as marks open
  new ResizeObserver(() => { panel.size(); panel.move(page); }).observe($("couplers")); // a bar to scroll by comes as a mark opens
  globalThis.gradewright = { page, move }; // for tests and for the curious
}
start().catch((error) => {
  root.classList.add("failed");
  throw error;
});
