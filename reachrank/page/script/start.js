// Set everything up, draw once, then read the pictures of the ground.

const isPhone = () => window.matchMedia("(max-width: 760px)").matches;

function showView(view) {
  document.body.dataset.view = view;
  document.querySelectorAll(".views button").forEach((button) => {
    button.setAttribute("aria-pressed", String(button.dataset.to === view));
  });
  if (view === "list") {
    drawList(false);
    scrollToChosen(true);
  }
  if (view === "place") drawChosenSection();
}

function setUnits(us) {
  units.us = us;
  tell("units");
}

/** What the page shows, for whoever steers it from outside: tests, a picture's script. */
function stateOfPage() {
  const centre = map.getCenter();
  return {
    chosen: choice.row < 0 ? null : rows.id[choice.row],
    shown: choice.shown.length,
    first: choice.shown.length ? rows.id[choice.shown[0]] : null,
    centre: [centre.lat, centre.lng],
    zoom: map.getZoom(),
    us: units.us,
    hasRelief: reachLayer.hasRelief,
  };
}

/** Where the middle of a reach lies in the window, in pixels. */
function placeOnScreen(id) {
  const frame = map.getContainer().getBoundingClientRect();
  const at = map.latLngToContainerPoint(toLatLng(middleOf(rows.id.indexOf(id))));
  return [frame.x + at.x, frame.y + at.y];
}

function start() {
  const told = data.about;
  document.getElementById("made").textContent = [
    `${number(ROWS, 0)} reaches of ${number(data.streams.length, 0)} ${data.streams.length === 1 ? "stream" : "streams"}`,
    `${number(data.findings.count, 0)} findings`, `from ${told.source}`, `page made ${told.made}`].join(" · ");
  document.querySelector(`#units input[value="${units.us ? "us" : "metric"}"]`).checked = true;
  document.getElementById("units").addEventListener("change", (event) => setUnits(event.target.value === "us"));
  document.querySelectorAll(".views button").forEach((button) => {
    button.addEventListener("click", () => showView(button.dataset.to));
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "/" && !/^(INPUT|SELECT|TEXTAREA)$/.test(document.activeElement.tagName)) {
      event.preventDefault();
      document.getElementById("search").focus();
    } else if (event.key === "Escape" && document.activeElement === placePanel) {
      showView("list");
      list.focus();
    }
  });
  rowHeight = parseFloat(getComputedStyle(list).getPropertyValue("--row")) || rowHeight;
  if (isPhone()) document.getElementById("legend").open = false;
  setUpFilters();
  drawLegend();
  setUpMap();
  document.getElementById("least-unit").textContent = lengthUnit();
  applyFilters();
  drawPlace();
  let wanted = "";
  try { wanted = decodeURIComponent(location.hash.slice(1)); } catch { /* not one of ours */ }
  const row = wanted ? rows.id.indexOf(wanted) : -1;
  if (row >= 0) choose(row, "start");
  else if (rows.rank[0] !== null) choose(0, "first"); // something to look at, the map as a whole
  window.ready = true; // the list and the map can be used from here on
  window.reachrank = { state: stateOfPage, place: placeOnScreen };
  setTimeout(showRelief, 0);
}

start();
