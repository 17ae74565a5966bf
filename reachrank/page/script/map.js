// The map: the lines, the ground behind them, and how it and the list lead to one another.

const FONT = '"Segoe UI", "Noto Sans", "Open Sans", "DejaVu Sans", system-ui, sans-serif';
const SERIF = '"Georgia", "Noto Serif", "DejaVu Serif", serif';
const NEAR_PX = 9, NEAR_TOUCH_PX = 18;

const map = L.map("map", {
  attributionControl: false, zoomControl: false, zoomSnap: 0.5, zoomDelta: 1, wheelPxPerZoomLevel: 90,
  minZoom: 7, maxZoom: 20, maxBoundsViscosity: 0, fadeAnimation: false,
});
L.control.zoom({ position: "topleft", zoomInTitle: "Nearer", zoomOutTitle: "Farther" }).addTo(map);
const reachLayer = new ReachLayer();
const tip = L.tooltip({ direction: "top", offset: [0, -10], opacity: 1, className: "tip" });
let scaleBar = null;

const toLatLng = ([x, y]) => { const [longitude, latitude] = toDegrees([x, y]); return L.latLng(latitude, longitude); };

function boundsOf(row) {
  const [west, north, east, south] = lines.box.subarray(4 * row, 4 * row + 4);
  return L.latLngBounds(toLatLng([west, south]), toLatLng([east, north]));
}

function wholeBounds() {
  let west = Infinity, north = Infinity, east = -Infinity, south = -Infinity;
  for (let row = 0; row < ROWS; row++) {
    if (lines.start[row] === lines.start[row + 1]) continue;
    west = Math.min(west, lines.box[4 * row]); north = Math.min(north, lines.box[4 * row + 1]);
    east = Math.max(east, lines.box[4 * row + 2]); south = Math.max(south, lines.box[4 * row + 3]);
  }
  return L.latLngBounds(toLatLng([west, south]), toLatLng([east, north]));
}

const isCalm = () => window.matchMedia("(prefers-reduced-motion: reduce)").matches;

function goTo(row, from) {
  if (from === "first" || row < 0 || lines.start[row] === lines.start[row + 1]) return;
  const bounds = boundsOf(row);
  if (from === "map" && map.getBounds().pad(-0.1).contains(bounds.getCenter())) return;
  const zoom = Math.min(17, Math.floor(map.getBoundsZoom(bounds.pad(0.35))));
  map.setView(bounds.getCenter(), zoom, { animate: !isCalm() && from !== "start" && from !== "keys", duration: 0.4 });
}

function showScale() {
  if (scaleBar) scaleBar.remove();
  scaleBar = L.control.scale({ position: "bottomright", metric: !units.us, imperial: units.us, maxWidth: 140 }).addTo(map);
}

/** The shaded ground. It is read after the first drawing, because its pictures are large. */
function showRelief() {
  const relief = JSON.parse(document.getElementById("relief").textContent);
  if (relief.overview) {
    const [south, west, north, east] = relief.overview.box;
    L.imageOverlay(relief.overview.picture, [[south, west], [north, east]], { alt: "", interactive: false, pane: "tilePane", zIndex: 1 }).addTo(map);
  }
  if (relief.tiles && relief.zoom) {
    const Tiles = L.GridLayer.extend({
      _isValidTile: (at) => `${at.z}/${at.x}/${at.y}` in relief.tiles,
      createTile(at) {
        const picture = document.createElement("img");
        picture.alt = "";
        picture.src = relief.tiles[`${at.z}/${at.x}/${at.y}`];
        return picture;
      },
    });
    new Tiles({ minZoom: relief.zoom - 2, maxZoom: 20, minNativeZoom: relief.zoom, maxNativeZoom: relief.zoom, zIndex: 2, keepBuffer: 1 }).addTo(map);
  }
  reachLayer.hasRelief = Boolean(relief.overview);
  document.getElementById("map").classList.toggle("has-relief", reachLayer.hasRelief);
  reachLayer.redraw();
}

function hoverAt(event) {
  const row = reachLayer.rowAt(event.containerPoint, NEAR_PX);
  map.getContainer().classList.toggle("over-line", row >= 0);
  if (row === reachLayer.hover) return;
  reachLayer.hover = row;
  reachLayer.redraw();
  if (row < 0) {
    tip.remove();
    return;
  }
  const rank = rows.rank[row] === null ? "not ranked" : `rank ${rows.rank[row]}, ${CLASSES[rows.class[row]].name}`;
  tip.setContent(element("span", {}, element("b", { text: streamName(row) }), element("br"), `${bankName(row)} · ${rank}`))
    .setLatLng(toLatLng(middleOf(row))).addTo(map);
}

function showPeek() {
  const peek = document.getElementById("peek"), row = choice.row;
  peek.hidden = row < 0;
  if (row < 0) return;
  peek.replaceChildren(
    classSign(rows.class[row]),
    element("span", {}, element("b", { text: `${rows.rank[row] ?? "–"}  ${streamName(row)}` }),
      element("span", { text: `${bankName(row)} · read on` })));
}

function drawLegend() {
  const counts = new Array(CLASSES.length).fill(0);
  rows.class.forEach((k) => counts[k]++);
  const line = (colour, width, dash, edge) => {
    const svg = svgElement("svg", { width: 34, height: 14, "aria-hidden": "true" });
    if (edge) svg.append(svgElement("line", { x1: 4, x2: 30, y1: 7, y2: 7, stroke: edge, "stroke-width": width + 1.4, "stroke-linecap": "round" }));
    svg.append(svgElement("line", { x1: 4, x2: 30, y1: 7, y2: 7, stroke: colour, "stroke-width": width, "stroke-dasharray": dash || "none", "stroke-linecap": "round" }));
    return svg;
  };
  const entry = (picture, sign, name, more) => element("li", {}, picture, sign,
    element("span", {}, element("b", { text: name }), more ? ` ${more}` : ""));
  const classes = [...CLASSES.keys()].filter((k) => counts[k])
    .sort((a, b) => (a === UNRANKED) - (b === UNRANKED) || b - a);
  const score = (k) => {
    const { start } = CLASSES[k], next = CLASSES[k + 1] && CLASSES[k + 1].start;
    if (start === null) return "";
    if (start === 0) return next ? `below ${next}` : "";
    return `from ${start}`;
  };
  document.getElementById("legend-body").replaceChildren(element("ul", {},
    ...classes.map((k) => entry(line(CLASSES[k].colour, CLASSES[k].width, k === UNRANKED ? "3 5" : "", k === 0 ? CLASSES[k].edge : ""),
      classSign(k), CLASSES[k].name, score(k))),
    data.repairs.id.length ? entry(line(INK, 3, "7 5"), null, "bank to repair") : null,
    entry(line(HALO, 12), null, "chosen")));
}

function setUpMap() {
  map.fitBounds(wholeBounds(), { padding: [30, 30], animate: false });
  reachLayer.addTo(map);
  showScale();
  map.on("click", (event) => {
    const touch = event.originalEvent && event.originalEvent.pointerType === "touch";
    const row = reachLayer.rowAt(event.containerPoint, touch ? NEAR_TOUCH_PX : NEAR_PX);
    if (row >= 0) choose(row, "map");
  });
  map.on("mousemove", hoverAt);
  map.on("mouseout", () => {
    reachLayer.hover = -1;
    tip.remove();
    reachLayer.redraw();
  });
  document.getElementById("whole").addEventListener("click", () => map.fitBounds(wholeBounds(), { padding: [30, 30] }));
  document.getElementById("peek").addEventListener("click", () => showView("place"));
  new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(map.getContainer());
}

on("shown", () => reachLayer.redraw());
on("section", () => reachLayer.redraw());
on("units", () => { showScale(); reachLayer.redraw(); });
on("chosen", (from) => {
  goTo(choice.row, from);
  showPeek();
  reachLayer.redraw();
});
