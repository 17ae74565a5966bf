// The data of the page: columns of whole numbers, lines as steps. Nothing here touches the page.

const data = JSON.parse(document.getElementById("content").textContent);
const rows = data.rows;
const ROWS = rows.id.length;
const CLASSES = data.classes;
const UNRANKED = CLASSES.length - 1;
const SIDES = ["", "left", "right"];
const DEGREE_STEPS = 1e6;
const WORLD_PX = 256; // side of the world at zoom 0

/** Longitude and latitude in degrees to pixels at zoom 0 (Web Mercator, EPSG:3857). */
function toWorld(longitude, latitude) {
  const sine = Math.sin(latitude * Math.PI / 180);
  return [
    (longitude + 180) / 360 * WORLD_PX,
    (0.5 - Math.log((1 + sine) / (1 - sine)) / (4 * Math.PI)) * WORLD_PX,
  ];
}

/** Many lines: `start[k]` to `start[k + 1]` are the points of line k, in pixels at zoom 0. */
function decodeLines(coded) {
  const points = coded.x.length;
  const lines = {
    start: new Int32Array(coded.counts.length + 1),
    x: new Float64Array(points),
    y: new Float64Array(points),
    box: new Float64Array(coded.counts.length * 4), // west, north, east, south
  };
  let longitude = 0, latitude = 0, at = 0;
  coded.counts.forEach((count, k) => {
    let west = Infinity, north = Infinity, east = -Infinity, south = -Infinity;
    for (let i = 0; i < count; i++, at++) {
      longitude += coded.x[at];
      latitude += coded.y[at];
      const [x, y] = toWorld(longitude / DEGREE_STEPS, latitude / DEGREE_STEPS);
      lines.x[at] = x;
      lines.y[at] = y;
      west = Math.min(west, x); east = Math.max(east, x);
      north = Math.min(north, y); south = Math.max(south, y);
    }
    lines.start[k + 1] = at;
    lines.box.set([west, north, east, south], k * 4);
  });
  return lines;
}

/** One line of a place's details: x, y, x, y as steps; gives pairs of pixels at zoom 0. */
function decodeLine(steps) {
  const points = [];
  let longitude = 0, latitude = 0;
  for (let i = 0; i < steps.length; i += 2) {
    longitude += steps[i];
    latitude += steps[i + 1];
    points.push(toWorld(longitude / DEGREE_STEPS, latitude / DEGREE_STEPS));
  }
  return points;
}

const lines = decodeLines(data.lines);
const repairLines = decodeLines(data.repairs.lines);

/** Repairs of each row of the list. */
const repairsOfRow = new Map();
data.repairs.rows.forEach((inRows, k) => {
  for (const row of inRows) {
    if (!repairsOfRow.has(row)) repairsOfRow.set(row, []);
    repairsOfRow.get(row).push(k);
  }
});

/** Halfway along each row's line, in pixels at zoom 0. */
const middles = (() => {
  const { start, x, y } = lines, out = new Float64Array(2 * ROWS);
  for (let row = 0; row < ROWS; row++) {
    const first = start[row], last = start[row + 1] - 1;
    let half = 0;
    for (let i = first; i < last; i++) half += Math.hypot(x[i + 1] - x[i], y[i + 1] - y[i]) / 2;
    let i = first, length = 0;
    for (; i < last; i++) {
      length = Math.hypot(x[i + 1] - x[i], y[i + 1] - y[i]);
      if (half <= length) break;
      half -= length;
    }
    const part = i < last && length > 0 ? half / length : 0;
    out[2 * row] = part ? x[i] + (x[i + 1] - x[i]) * part : x[i];
    out[2 * row + 1] = part ? y[i] + (y[i + 1] - y[i]) * part : y[i];
  }
  return out;
})();

function middleOf(row) {
  return [middles[2 * row], middles[2 * row + 1]];
}

/** Longitude and latitude of a place in pixels at zoom 0. */
function toDegrees([x, y]) {
  return [
    x / WORLD_PX * 360 - 180,
    Math.atan(Math.sinh(Math.PI * (1 - 2 * y / WORLD_PX))) * 180 / Math.PI,
  ];
}

function streamName(row) {
  const [id, name] = data.streams[rows.stream[row]];
  return name || `Unnamed stream ${id}`;
}

function bankName(row) {
  return rows.side[row] ? `${SIDES[rows.side[row]]} bank` : "bank not ranked";
}

function kindsOf(row) {
  return data.kinds.filter((_, k) => rows.kinds[row] & (1 << k)).map((kind) => kind.label);
}
