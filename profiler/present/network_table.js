
// ---------------------------------------------------------------- the table: sorted, searched, and one row chosen
const plain = (words) => words.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();

function tableOf(data, table, chooseLine) {
  const rows = [...table.tBodies[0].rows], heads = [...table.tHead.rows[0].cells], columns = data.columns;
  const found = data.lines.map((line) => plain([line.cells.us[0][0], line.key, ...line.ends, ...line.places].join(" \n")));
  const words = new Intl.Collator(undefined, { numeric: true, sensitivity: "base" });
  let by = null, falling = false;

  heads.forEach((head, i) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => sort(columns[i].key, by === columns[i].key ? !falling : columns[i].step > 0));
  });
  rows.forEach((row, i) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(row.cells[0].firstChild);
    row.cells[0].prepend(button);
    row.line = i;
  });
  table.tBodies[0].addEventListener("click", (event) => {
    const row = event.target.closest("tr");
    if (row && !String(getSelection())) chooseLine(row.line);
  });

  function sort(key, down) { // what has no figure stands last, whichever way
    [by, falling] = [key, down];
    const values = key === "line" ? null : data.figures[key], way = down ? -1 : 1;
    const order = rows.map((_, i) => i).sort((a, b) => {
      if (!values) return way * words.compare(data.lines[a].cells.us[0][0], data.lines[b].cells.us[0][0]) || a - b;
      const u = values.at(a), v = values.at(b);
      return Number.isNaN(u) - Number.isNaN(v) || way * (u - v) || a - b;
    });
    table.tBodies[0].append(...order.map((i) => rows[i]));
    heads.forEach((head, i) => {
      if (columns[i].key === key) head.setAttribute("aria-sort", down ? "descending" : "ascending");
      else head.removeAttribute("aria-sort");
    });
  }
  function search(asked, shown) { // every word of it must stand somewhere in a line's names; how many lines have them
    const parts = plain(asked).split(/\s+/).filter(Boolean);
    let count = 0;
    rows.forEach((row, i) => {
      shown[i] = parts.every((part) => found[i].includes(part)) ? 1 : 0;
      row.hidden = !shown[i];
      count += shown[i];
    });
    return count;
  }
  function inUnits(units) {
    rows.forEach((row, i) => data.lines[i].cells[units].forEach(([figure, small], n) => {
      if (n === 0) return;
      const cell = row.cells[n];
      cell.firstChild.nodeValue = figure;
      cell.lastChild.textContent = small;
    }));
  }
  function mark(i, steady, act) { // while words come or go over the table a row stays under the hand, or the marked one comes into view
    const home = table.parentNode, top = () => (steady < 0 ? 0 : rows[steady].getBoundingClientRect().top), before = top();
    for (const row of table.querySelectorAll("[aria-current]")) row.removeAttribute("aria-current");
    if (i >= 0) rows[i].setAttribute("aria-current", "true");
    act();
    if (getComputedStyle(home).overflowY === "visible") return; // there the table is as long as the page, which does not jump
    home.scrollTop += top() - before;
    if (i >= 0) rows[i].scrollIntoView({ block: "nearest" });
  }
  function focus(i) {
    rows[i].querySelector("button").focus({ preventScroll: true });
    rows[i].scrollIntoView({ block: "nearest" });
  }
  return { sort, search, inUnits, mark, focus };
}
