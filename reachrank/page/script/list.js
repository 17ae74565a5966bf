// The list beside the map. Only the rows in view exist; they are moved and filled again.

const list = document.getElementById("list");
const space = document.getElementById("list-space");
let rowHeight = 92;
const pool = new Map(); // position in the list -> element

function makeRow() {
  const row = element("div", { class: "row", role: "option" });
  row.append(
    element("span", { class: "band", "aria-hidden": "true" }),
    element("span", { class: "rank" }, element("b"), element("small")),
    element("span", { class: "words" },
      element("span", { class: "name" }), element("span", { class: "why" }), element("span", { class: "facts" })),
  );
  row.addEventListener("click", () => {
    choose(Number(row.dataset.row), "list");
    if (isPhone()) showView("place");
  });
  return row;
}

function fillRow(node, position) {
  const row = choice.shown[position];
  const look = CLASSES[rows.class[row]];
  node.id = `row-${row}`;
  node.dataset.row = row;
  node.setAttribute("aria-posinset", position + 1);
  node.setAttribute("aria-setsize", choice.shown.length);
  node.setAttribute("aria-selected", String(row === choice.row));
  node.style.transform = `translateY(${position * rowHeight}px)`;
  const [band, rank, words] = node.children;
  band.textContent = look.letter;
  band.style.backgroundColor = look.colour;
  band.style.color = look.ink;
  rank.firstChild.textContent = rows.rank[row] ?? "–";
  rank.lastChild.textContent = rankRange(row);
  const [name, why, facts] = words.children;
  name.replaceChildren(
    element("b", { text: streamName(row) }), element("span", { text: bankName(row) }));
  why.textContent = sentence(rows.why[row]);
  const kinds = kindsOf(row).filter((kind) => data.kinds.length > 1 || data.kinds[0].path);
  facts.textContent = [`at ${along(rows.from[row])}`,
    ...(rows.repair[row] > 0 ? [`repair ${along(rows.repair[row])}`, ...kinds] : [])].join(" · ");
  node.setAttribute("aria-label", [
    rows.rank[row] === null ? "Not ranked" : `Rank ${rows.rank[row]}, class ${look.name}`,
    streamName(row), bankName(row), sentence(rows.why[row]), facts.textContent,
  ].join(". "));
}

function drawList(refill) {
  const n = choice.shown.length;
  space.style.height = `${n * rowHeight}px`;
  const first = Math.max(0, Math.floor(list.scrollTop / rowHeight) - 3);
  const last = Math.min(n, Math.ceil((list.scrollTop + list.clientHeight) / rowHeight) + 3);
  const spare = [];
  for (const [position, node] of pool) {
    if (position < first || position >= last) {
      pool.delete(position);
      spare.push(node);
    }
  }
  for (let position = first; position < last; position++) {
    let node = pool.get(position);
    if (node && !refill) continue;
    if (!node) {
      node = spare.pop() || space.appendChild(makeRow());
      pool.set(position, node);
    }
    fillRow(node, position);
  }
  spare.forEach((node) => node.remove());
}

function markChosen() {
  for (const [position, node] of pool) {
    node.setAttribute("aria-selected", String(choice.shown[position] === choice.row));
  }
  const isThere = document.getElementById(`row-${choice.row}`);
  if (isThere) list.setAttribute("aria-activedescendant", isThere.id);
  else list.removeAttribute("aria-activedescendant");
}

function scrollToChosen(inMiddle) {
  const position = choice.shown.indexOf(choice.row);
  if (position < 0) return;
  const top = position * rowHeight, view = list.clientHeight;
  if (inMiddle && (top < list.scrollTop || top + rowHeight > list.scrollTop + view)) {
    list.scrollTop = top - (view - rowHeight) / 2;
  } else if (top < list.scrollTop) {
    list.scrollTop = top;
  } else if (top + rowHeight > list.scrollTop + view) {
    list.scrollTop = top + rowHeight - view;
  }
  drawList(false);
}

let isDrawing = false;
list.addEventListener("scroll", () => {
  if (isDrawing) return;
  isDrawing = true;
  requestAnimationFrame(() => {
    isDrawing = false;
    drawList(false);
    markChosen();
  });
}, { passive: true });

list.addEventListener("keydown", (event) => {
  const n = choice.shown.length;
  if (!n) return;
  const page = Math.max(1, Math.floor(list.clientHeight / rowHeight) - 1);
  const at = choice.shown.indexOf(choice.row);
  const moves = { ArrowDown: at + 1, ArrowUp: at < 0 ? 0 : at - 1, PageDown: at + page, PageUp: at - page, Home: 0, End: n - 1 };
  if (event.key in moves) {
    event.preventDefault();
    choose(choice.shown[Math.min(n - 1, Math.max(0, moves[event.key]))], "keys");
  } else if (event.key === "Enter" && choice.row >= 0) {
    event.preventDefault();
    showView("place");
    document.getElementById("place").focus();
  }
});

function drawCount() {
  const n = choice.shown.length;
  const many = (count) => `${number(count, 0)} ${count === 1 ? "reach" : "reaches"}`;
  document.getElementById("count").textContent =
    isFiltered() ? `${number(n, 0)} of ${many(ROWS)}` : many(ROWS);
  document.getElementById("clear").hidden = !isFiltered();
  document.getElementById("none").hidden = n > 0;
  list.hidden = n === 0;
}

on("shown", () => {
  list.scrollTop = 0;
  drawCount();
  drawList(true);
  markChosen();
});
on("units", () => drawList(true));
on("chosen", (from, again) => {
  if (from !== "list" && !again) scrollToChosen(from === "map");
  markChosen();
});

// ---- the filters ---------------------------------------------------------------------------

function fillSelect(id, pairs) {
  document.getElementById(id).replaceChildren(
    ...pairs.map(([value, text]) => element("option", { value, text })));
}

function setUpFilters() {
  const counts = new Array(CLASSES.length).fill(0);
  rows.class.forEach((k) => counts[k]++);
  const chips = [...CLASSES.keys()].filter((k) => counts[k]).sort((a, b) =>
    (a === UNRANKED) - (b === UNRANKED) || b - a);
  document.getElementById("classes").append(...chips.map((k) => element("label", { class: "chip" },
    element("input", { type: "checkbox", value: k, checked: true }),
    classSign(k),
    element("span", { text: CLASSES[k].name }),
    element("small", { text: number(counts[k], 0) }))));
  fillSelect("order", Object.entries(ORDERS).map(([value, [text]]) => [value, text]));
  const streams = [...data.streams.keys()].map((k) => [k, nameOfStream(k)])
    .sort((a, b) => a[1].localeCompare(b[1]));
  fillSelect("stream", [[-1, `all ${number(streams.length, 0)} streams`], ...streams]);
  const hasKinds = data.kinds.some((kind) => kind.path);
  fillSelect("kind", [["any", "any"], ["some", "some bank to repair"],
    ...(hasKinds ? data.kinds.map((kind, k) => [k, kind.label]) : []),
    ["none", "nothing found to repair"]]);
  const form = document.getElementById("filters");
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("input", readFilters);
  document.getElementById("clear").addEventListener("click", clearFilters);
}

let waiting = 0;
function readFilters(event) {
  const value = (id) => document.getElementById(id).value;
  const boxes = document.querySelectorAll("#classes input");
  choice.filters = {
    classes: new Set([...boxes].filter((box) => box.checked).map((box) => Number(box.value))),
    stream: Number(value("stream")),
    kind: value("kind"),
    leastM: toMetres(Number(value("least")) || 0),
    words: value("search"),
  };
  choice.order = value("order");
  clearTimeout(waiting);
  waiting = setTimeout(applyFilters, event && event.target.id === "search" ? 80 : 0);
}

function clearFilters() {
  document.querySelectorAll("#classes input").forEach((box) => { box.checked = true; });
  for (const [id, value] of [["stream", "-1"], ["kind", "any"], ["least", ""], ["search", ""]]) {
    document.getElementById(id).value = value;
  }
  readFilters();
  list.focus();
}

on("units", () => {
  document.getElementById("least-unit").textContent = lengthUnit();
  const least = document.getElementById("least");
  if (choice.filters.leastM > 0) least.value = Math.round(inUnit(choice.filters.leastM) * 10) / 10;
});
