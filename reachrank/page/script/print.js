// A clean sheet for the printer: the map as it is seen, the first of the list, the chosen bank.

const PRINT_ROWS = 40;
const PRINT_MAP_PX = [700, 420];

function fillSheet() {
  const shown = choice.shown.subarray(0, PRINT_ROWS);
  const told = data.about;
  const head = ["Rank", "Range", "Class", "Stream and bank", "Station", "To repair", "Why"];
  const table = element("table", { class: "sheet-list" },
    element("thead", {}, element("tr", {}, ...head.map((text) => element("th", { scope: "col", text })))),
    element("tbody", {}, ...[...shown].map((row) => element("tr", { class: row === choice.row ? "chosen" : "" },
      element("td", { class: "number", text: rows.rank[row] ?? "–" }),
      element("td", { class: "number", text: rankRange(row) }),
      element("td", {}, classSign(rows.class[row])),
      element("td", {}, element("b", { text: streamName(row) }), ` ${bankName(row)}`),
      element("td", { class: "number", text: along(rows.from[row]) }),
      element("td", { class: "number", text: rows.repair[row] > 0 ? along(rows.repair[row]) : "–" }),
      element("td", { text: sentence(rows.why[row]) })))));
  const more = choice.shown.length - shown.length;
  document.getElementById("sheet").replaceChildren(
    element("h2", { text: filterText() }),
    table,
    more > 0 ? element("p", { text: `${number(more, 0)} more are not printed; copy the list as CSV for all.` }) : "");
  document.getElementById("sheet-end").replaceChildren(
    element("h3", { text: "Before anyone goes" }),
    element("ul", {}, ...told.cautions.map((text) => element("li", { text }))),
    element("h3", { text: "What this page cannot tell you" }),
    element("ul", {}, ...told.cannot.map(firstSentenceBold)),
    element("p", { class: "source", text: `${told.made}, from ${told.source}. Findings: ${number(data.findings.count, 0)}.` }));
}

function filterText() {
  const f = choice.filters, parts = [];
  if (f.classes.size < CLASSES.length) {
    const on = [...f.classes].sort((a, b) => b - a).map((k) => CLASSES[k].name);
    parts.push(on.length ? `class ${on.join(", ")}` : "no class");
  }
  if (f.stream >= 0) parts.push(nameOfStream(f.stream));
  if (f.kind !== "any") parts.push(document.getElementById("kind").selectedOptions[0].textContent);
  if (f.leastM > 0) parts.push(`at least ${number(inUnit(f.leastM), 0)} ${lengthUnit()} to repair`);
  if (f.words.trim()) parts.push(`“${f.words.trim()}”`);
  const n = `${number(choice.shown.length, 0)} of ${number(ROWS, 0)} reaches`;
  return isFiltered() && parts.length ? `${n}: ${parts.join("; ")}` : `${n}, by ${ORDERS[choice.order][0]}`;
}

let viewBefore = null;
window.addEventListener("beforeprint", () => {
  if (viewBefore) return;
  viewBefore = { centre: map.getCenter(), zoom: map.getZoom(), hadAll: map.getBounds().contains(wholeBounds()) };
  fillSheet();
  document.body.dataset.chosen = choice.row >= 0 ? "yes" : "no";
  document.getElementById("legend").open = true;
  const frame = map.getContainer().style;
  [frame.width, frame.height] = PRINT_MAP_PX.map((px) => `${px}px`);
  const before = map.getSize();
  reachLayer.isPrinting = true;
  map.invalidateSize({ animate: false, pan: false });
  if (viewBefore.hadAll) {
    map.fitBounds(wholeBounds(), { padding: [12, 12], animate: false, reset: true });
  } else { // what was seen stays in the frame: as much farther away as the frame is smaller
    const shrink = Math.min(1, Math.min(PRINT_MAP_PX[0] / before.x, PRINT_MAP_PX[1] / before.y));
    map.setView(viewBefore.centre, Math.max(map.getMinZoom(), viewBefore.zoom + Math.log2(shrink)), { animate: false, reset: true });
  }
  drawChosenSection();
});
window.addEventListener("afterprint", () => {
  if (!viewBefore) return;
  reachLayer.isPrinting = false;
  map.getContainer().style.width = map.getContainer().style.height = "";
  map.invalidateSize({ animate: false, pan: false });
  map.setView(viewBefore.centre, viewBefore.zoom, { animate: false, reset: true });
  for (const id of ["sheet", "sheet-end"]) document.getElementById(id).replaceChildren();
  viewBefore = null;
  drawChosenSection();
});
document.getElementById("print-button").addEventListener("click", () => window.print());
