// All lines of the map on one canvas: drawn anew after each move, without a thousand elements.

const HALO = "#ffd60a"; // marks the chosen place, as a highlighter would
const INK = "#1b1f24";
const PAPER = "#f7f6f1";
const SIGNS_MOST = 160;
const CELL_PX = 6; // of the net that keeps texts apart
const FINE_ZOOM = 15; // bank tops and the like are drawn from here on

const ReachLayer = L.Renderer.extend({
  options: { padding: 0.15 },

  initialize(options) {
    L.Renderer.prototype.initialize.call(this, options);
    this.hover = -1;
    this.hasRelief = false;
  },

  _initContainer() {
    this._container = document.createElement("canvas");
    this._container.setAttribute("aria-hidden", "true");
    this._ctx = this._container.getContext("2d");
  },

  _destroyContainer() {
    this._container.remove();
    delete this._container;
    delete this._ctx;
  },

  _update() {
    if (this._map._animatingZoom && this._bounds) return;
    L.Renderer.prototype._update.call(this);
    const size = this._bounds.getSize(), ratio = this._ratio();
    L.DomUtil.setPosition(this._container, this._bounds.min);
    this._container.width = Math.round(size.x * ratio);
    this._container.height = Math.round(size.y * ratio);
    this._container.style.width = `${size.x}px`;
    this._container.style.height = `${size.y}px`;
    this.draw();
  },

  /** Draw anew at the next frame. */
  redraw() {
    if (this._frame || !this._map) return;
    this._frame = requestAnimationFrame(() => {
      this._frame = 0;
      if (this._ctx) this.draw();
    });
  },

  /** Pixels of the canvas to a pixel of the page. */
  _ratio() {
    return this.isPrinting ? 3 : window.devicePixelRatio || 1;
  },

  draw() {
    const ctx = this._ctx, ratio = this._ratio(), size = this._bounds.getSize();
    const zoom = this._zoom, scale = 2 ** zoom, origin = this._map.getPixelOrigin();
    this._view = {
      scale,
      x: -origin.x - this._bounds.min.x,
      y: -origin.y - this._bounds.min.y,
      west: (origin.x + this._bounds.min.x) / scale,
      north: (origin.y + this._bounds.min.y) / scale,
      east: (origin.x + this._bounds.max.x) / scale,
      south: (origin.y + this._bounds.max.y) / scale,
      width: size.x,
      height: size.y,
    };
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    ctx.clearRect(0, 0, size.x, size.y);
    ctx.lineJoin = "round";
    ctx.lineCap = "round";
    if (!this.hasRelief) this._squares();
    this._taken = new Set();
    this._reaches(zoom);
    this._repairs(zoom);
    this._chosen(zoom);
    this._signs(zoom);
    this._names(zoom);
  },

  /** Trace lines into the current path: those of `which` whose box is in view. */
  _trace(set, which) {
    const ctx = this._ctx, v = this._view, { start, x, y, box } = set;
    ctx.beginPath();
    for (const k of which) {
      if (box[4 * k + 2] < v.west || box[4 * k] > v.east || box[4 * k + 3] < v.north || box[4 * k + 1] > v.south) continue;
      for (let i = start[k]; i < start[k + 1]; i++) {
        const px = x[i] * v.scale + v.x, py = y[i] * v.scale + v.y;
        if (i === start[k]) ctx.moveTo(px, py);
        else ctx.lineTo(px, py);
      }
    }
  },

  _stroke(colour, width, dash = []) {
    const ctx = this._ctx;
    ctx.setLineDash(dash);
    ctx.strokeStyle = colour;
    ctx.lineWidth = width;
    ctx.stroke();
    ctx.setLineDash([]);
  },

  _reaches(zoom) {
    const byClass = CLASSES.map(() => []), hidden = [];
    for (let row = 0; row < ROWS; row++) {
      (choice.isShown[row] ? byClass[rows.class[row]] : hidden).push(row);
    }
    const thin = zoom < 10 ? 0.45 : zoom < 11 ? 0.6 : zoom < 13 ? 0.8 : zoom >= 17 ? 1.25 : 1;
    if (hidden.length) {
      this._trace(lines, hidden);
      this._stroke("#9aa3a8", 1, [2, 4]);
    }
    for (const k of [UNRANKED, ...CLASSES.keys()].filter((k, i) => i === 0 || k !== UNRANKED)) {
      if (!byClass[k].length) continue;
      const width = CLASSES[k].width * thin;
      this._trace(lines, byClass[k]);
      if (k !== UNRANKED) this._stroke(CLASSES[k].edge, width + (k === 0 ? 1.4 : 2.5));
      this._stroke(CLASSES[k].colour, width, k === UNRANKED ? [3, 5] : []);
    }
  },

  _repairs(zoom) {
    if (zoom < FINE_ZOOM - 1) return;
    const shown = [];
    data.repairs.rows.forEach((inRows, k) => {
      if (inRows.some((row) => choice.isShown[row])) shown.push(k);
    });
    this._trace(repairLines, shown);
    this._stroke("#ffffff", zoom > 15 ? 6 : 4.5);
    this._stroke(INK, zoom > 15 ? 3 : 2, [7, 5]);
  },

  _path(points) {
    const ctx = this._ctx, v = this._view;
    ctx.beginPath();
    points.forEach(([x, y], i) => ctx[i ? "lineTo" : "moveTo"](x * v.scale + v.x, y * v.scale + v.y));
  },

  _chosen(zoom) {
    for (const row of [this.hover, choice.row]) {
      if (row < 0) continue;
      const isChosen = row === choice.row;
      this._trace(lines, [row]);
      if (isChosen) {
        this._stroke(INK, CLASSES[rows.class[row]].width + 15);
        this._stroke(HALO, CLASSES[rows.class[row]].width + 12);
      } else {
        this._stroke("rgba(27,31,36,0.55)", CLASSES[rows.class[row]].width + 6);
        this._stroke("#ffffff", CLASSES[rows.class[row]].width + 4);
      }
      this._stroke(CLASSES[rows.class[row]].colour, CLASSES[rows.class[row]].width);
      if (isChosen && zoom >= FINE_ZOOM) this._arrows(row);
    }
    const place = data.details[choice.row];
    if (!place || zoom < FINE_ZOOM) return;
    for (const bank of Object.values(place.banks)) {
      this._path(decodeLine(bank.line));
      this._stroke("#ffffff", 3.5);
      this._stroke("#3c454c", 1.5);
    }
    const repairs = repairsOfRow.get(choice.row) || [];
    this._trace(repairLines, repairs);
    this._stroke("#ffffff", 7);
    this._stroke(INK, 3.5, [7, 5]);
    for (const thing of place.near) {
      this._path(decodeLine(thing.line));
      this._stroke("#ffffff", 4);
      this._stroke(INK, 1.5, [2, 4]);
    }
    place.sections.forEach((section, k) => {
      if (!section.line.length) return;
      const [a, b, c, d] = section.line;
      const isDrawn = k === choice.section;
      this._path([toWorld(a / DEGREE_STEPS, b / DEGREE_STEPS), toWorld(c / DEGREE_STEPS, d / DEGREE_STEPS)]);
      if (isDrawn) this._stroke("#ffffff", 7);
      this._stroke(isDrawn ? INK : "rgba(27,31,36,0.45)", isDrawn ? 3.5 : 1.25);
    });
  },

  /** Small arrows that point downstream, the way lines are drawn. */
  _arrows(row) {
    const ctx = this._ctx, v = this._view;
    let left = 30;
    ctx.fillStyle = "#ffffff";
    ctx.strokeStyle = INK;
    ctx.lineWidth = 1;
    for (let i = lines.start[row] + 1; i < lines.start[row + 1]; i++) {
      const ax = lines.x[i - 1] * v.scale + v.x, ay = lines.y[i - 1] * v.scale + v.y;
      const bx = lines.x[i] * v.scale + v.x, by = lines.y[i] * v.scale + v.y;
      const length = Math.hypot(bx - ax, by - ay), angle = Math.atan2(by - ay, bx - ax);
      let at = left;
      for (; at < length; at += 64) {
        ctx.save();
        ctx.translate(ax + (bx - ax) * at / length, ay + (by - ay) * at / length);
        ctx.rotate(angle);
        ctx.beginPath();
        ctx.moveTo(8, 0); ctx.lineTo(-5, -6); ctx.lineTo(-2, 0); ctx.lineTo(-5, 6);
        ctx.closePath();
        ctx.fill();
        ctx.stroke();
        ctx.restore();
      }
      left = at - length;
    }
  },

  /** Whether a box is in full view and covers nothing that is written there. */
  _isFree(x, y, width, height) {
    const size = this._map.getSize(), pad = this.options.padding;
    const left = size.x * pad + 4, top = size.y * pad + 4;
    if (x < left || y < top || x + width > left + size.x - 8 || y + height > top + size.y - 8) return false;
    for (let i = Math.floor(x / CELL_PX); i <= Math.floor((x + width) / CELL_PX); i++) {
      for (let j = Math.floor(y / CELL_PX); j <= Math.floor((y + height) / CELL_PX); j++) {
        if (this._taken.has(i * 4096 + j)) return false;
      }
    }
    return true;
  },

  _isTaken(x, y) {
    return this._taken.has(Math.floor(x / CELL_PX) * 4096 + Math.floor(y / CELL_PX));
  },

  /** Mark the cells that a text covers. */
  _take(x, y, width, height) {
    for (let i = Math.floor(x / CELL_PX); i <= Math.floor((x + width) / CELL_PX); i++) {
      for (let j = Math.floor(y / CELL_PX); j <= Math.floor((y + height) / CELL_PX); j++) this._taken.add(i * 4096 + j);
    }
  },

  /** Letter and rank beside the lines, first ranks first, as far as there is room. */
  _signs() {
    const ctx = this._ctx, v = this._view;
    ctx.font = "700 13px " + FONT;
    ctx.textBaseline = "middle";
    let drawn = 0;
    const sign = (row) => {
      const [mx, my] = middleOf(row);
      if (mx < v.west || mx > v.east || my < v.north || my > v.south) return;
      const height = 21, x = mx * v.scale + v.x + 9, y = my * v.scale + v.y - height - 5;
      if (row !== choice.row && this._isTaken(x + 8, y + 10)) return; // measuring text takes longer
      const look = CLASSES[rows.class[row]];
      const text = `${look.letter} ${rows.rank[row] ?? ""}`.trim();
      const width = ctx.measureText(text).width + 12;
      if (row !== choice.row && !this._isFree(x - 2, y - 2, width + 4, height + 4)) return;
      this._take(x - 2, y - 2, width + 4, height + 4);
      ctx.beginPath();
      ctx.roundRect(x, y, width, height, 4);
      ctx.fillStyle = row === choice.row ? HALO : look.colour;
      ctx.fill();
      ctx.lineWidth = 1.5;
      ctx.strokeStyle = row === choice.row ? INK : "#ffffff";
      ctx.stroke();
      ctx.fillStyle = row === choice.row ? INK : look.ink;
      ctx.fillText(text, x + 6, y + height / 2 + 0.5);
      drawn++;
    };
    if (choice.row >= 0) sign(choice.row);
    for (let row = 0; row < ROWS && drawn < SIGNS_MOST; row++) {
      if (rows.class[row] === UNRANKED || !choice.isShown[row] || row === choice.row) continue;
      if (rows.class[row] === 0 && this._zoom < 15) continue;
      sign(row);
    }
  },

  /** Names of streams where they do not cover anything. */
  _names() {
    const ctx = this._ctx, v = this._view;
    ctx.font = "italic 600 15px " + SERIF;
    ctx.lineWidth = 4;
    ctx.strokeStyle = "rgba(255,255,255,0.92)";
    ctx.fillStyle = "#17506b";
    let drawn = 0;
    for (const { stream, candidates } of nameCandidates()) {
      if (drawn >= 40) break;
      const name = data.streams[stream][1];
      const width = ctx.measureText(name).width;
      for (const row of candidates) {
        const [mx, my] = middleOf(row);
        if (mx < v.west || mx > v.east || my < v.north || my > v.south) continue;
        const x = mx * v.scale + v.x + 12, y = my * v.scale + v.y + 6;
        if (!this._isFree(x, y, width, 20)) continue;
        this._take(x - 30, y - 10, width + 60, 40);
        ctx.strokeText(name, x, y + 10);
        ctx.fillText(name, x, y + 10);
        drawn++;
        break;
      }
    }
  },

  /** A quiet net of squares of a round size, so that an empty ground still shows distance. */
  _squares() {
    const ctx = this._ctx, v = this._view, map = this._map;
    const perPx = 156543.034 / v.scale * 1 * Math.cos(map.getCenter().lat * Math.PI / 180);
    const round = niceLength(inUnit(perPx * 90));
    const step = toMetres(round) / perPx / v.scale; // in pixels at zoom 0
    ctx.fillStyle = PAPER;
    ctx.fillRect(0, 0, v.width, v.height);
    ctx.beginPath();
    for (let x = Math.ceil(v.west / step) * step; x < v.east; x += step) {
      ctx.moveTo(x * v.scale + v.x, 0); ctx.lineTo(x * v.scale + v.x, v.height);
    }
    for (let y = Math.ceil(v.north / step) * step; y < v.south; y += step) {
      ctx.moveTo(0, y * v.scale + v.y); ctx.lineTo(v.width, y * v.scale + v.y);
    }
    this._stroke("#dfe3e0", 1);
  },

  /** The row whose line is nearest to a point of the map's frame, within so many pixels; else -1. */
  rowAt(point, within) {
    const at = this._map.containerPointToLayerPoint(point).subtract(this._bounds.min);
    const v = this._view, wx = (at.x - v.x) / v.scale, wy = (at.y - v.y) / v.scale, pad = within / v.scale;
    let best = -1, nearest = pad * pad;
    for (let row = 0; row < ROWS; row++) {
      const b = 4 * row;
      if (!choice.isShown[row] || wx < lines.box[b] - pad || wx > lines.box[b + 2] + pad || wy < lines.box[b + 1] - pad || wy > lines.box[b + 3] + pad) continue;
      for (let i = lines.start[row] + 1; i < lines.start[row + 1]; i++) {
        const square = squareDistance(wx, wy, lines.x[i - 1], lines.y[i - 1], lines.x[i], lines.y[i]);
        if (square < nearest) { nearest = square; best = row; }
      }
    }
    return best;
  },
});

function squareDistance(x, y, ax, ay, bx, by) {
  const dx = bx - ax, dy = by - ay, length = dx * dx + dy * dy;
  const t = length > 0 ? Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / length)) : 0;
  return (x - ax - t * dx) ** 2 + (y - ay - t * dy) ** 2;
}

/** The round length (1, 2 or 5 times a power of ten) at or below a length. */
function niceLength(length) {
  const power = 10 ** Math.floor(Math.log10(length));
  return power * (length >= 5 * power ? 5 : length >= 2 * power ? 2 : 1);
}

/** Rows where a stream's name may stand: middle first, then a few along it; long streams first. */
const nameCandidates = (() => {
  let known = null;
  return () => {
    if (known) return known;
    const byStream = new Map();
    for (let row = 0; row < ROWS; row++) {
      const stream = rows.stream[row];
      if (!data.streams[stream][1]) continue;
      if (!byStream.has(stream)) byStream.set(stream, []);
      byStream.get(stream).push(row);
    }
    known = [...byStream].map(([stream, members]) => {
      members.sort((a, b) => rows.from[a] - rows.from[b]);
      const parts = [0.5, 0.3, 0.7, 0.15, 0.85, 0.4, 0.6, 0.05, 0.95];
      const candidates = parts.map((part) => members[Math.floor(part * (members.length - 1))]);
      if (members.length > 40) candidates.push(...members.filter((_, i) => i % 12 === 0));
      return { stream, length: members.length, candidates };
    }).sort((a, b) => b.length - a.length);
    return known;
  };
})();
