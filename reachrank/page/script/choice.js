// What is shown and what is chosen; the list, the map and the rest listen.

const choice = {
  row: -1, // chosen row
  shown: new Int32Array(0), // rows that pass the filters, in the order of the list
  isShown: new Uint8Array(ROWS).fill(1),
  filters: { classes: new Set(CLASSES.keys()), stream: -1, kind: "any", leastM: 0, words: "" },
  order: "rank",
  section: 0, // which of the chosen place's cross-sections is drawn
};

const listeners = { shown: [], chosen: [], units: [], section: [] };
const on = (what, listener) => listeners[what].push(listener);
const tell = (what, ...details) => listeners[what].forEach((listener) => listener(...details));

const searchable = (() => {
  const names = data.streams.map(([id, name]) => `${name} ${id}`.toLowerCase());
  return (row) => `${rows.id[row].toLowerCase()} ${names[rows.stream[row]]}`;
})();

const LAST = Number.MAX_SAFE_INTEGER;
const up = (column) => (row) => column[row] ?? LAST;
const down = (column) => (row) => -(column[row] ?? -LAST);
const ORDERS = {
  rank: ["rank", null],
  stream: ["stream, going upstream", null],
  repair: ["bank to repair, longest first", down(rows.repair)],
  height: ["bank height, highest first", down(rows.height)],
  near: ["structure, nearest first", up(rows.near)],
  sure: ["confidence, lowest first", up(rows.sure)],
};
const costOf = (row) =>
  (repairsOfRow.get(row) || []).reduce((sum, k) => sum + (data.repairs.cost_low[k] || 0), 0) || LAST;
if (data.repairs.cost_low) ORDERS.cost = ["cost, lowest first", costOf];

function sortRows(found) {
  if (choice.order === "rank") return found; // rows come in the order of rank
  if (choice.order === "stream") {
    const place = new Map([...data.streams.keys()]
      .sort((a, b) => nameOfStream(a).localeCompare(nameOfStream(b)) || a - b)
      .map((stream, i) => [stream, i]));
    return found.sort((a, b) =>
      place.get(rows.stream[a]) - place.get(rows.stream[b]) || rows.from[a] - rows.from[b] || a - b);
  }
  const key = Float64Array.from(rows.id, (_, row) => ORDERS[choice.order][1](row));
  return found.sort((a, b) => key[a] - key[b] || a - b);
}

const nameOfStream = (stream) => data.streams[stream][1] || `Unnamed stream ${data.streams[stream][0]}`;

function passes(row, words) {
  const f = choice.filters;
  if (!f.classes.has(rows.class[row])) return false;
  if (f.stream >= 0 && rows.stream[row] !== f.stream) return false;
  if (f.leastM > 0 && !(rows.repair[row] / 10 >= f.leastM)) return false;
  if (f.kind === "some" && !(rows.repair[row] > 0)) return false;
  if (f.kind === "none" && rows.repair[row] > 0) return false;
  if (/^\d+$/.test(f.kind) && !(rows.kinds[row] & (1 << Number(f.kind)))) return false;
  if (words.length) {
    const text = searchable(row);
    return words.every((word) => text.includes(word));
  }
  return true;
}

function applyFilters() {
  const words = choice.filters.words.toLowerCase().split(/\s+/).filter(Boolean);
  const found = new Int32Array(ROWS);
  let n = 0;
  for (let row = 0; row < ROWS; row++) {
    const good = passes(row, words);
    choice.isShown[row] = good ? 1 : 0;
    if (good) found[n++] = row;
  }
  choice.shown = sortRows(found.subarray(0, n));
  tell("shown");
}

const isFiltered = () => choice.shown.length < ROWS;

/** Choose a row; `from` says who did: "list", "keys", "map", "start", "first". */
function choose(row, from) {
  if (row === choice.row && from !== "start") {
    tell("chosen", from, true);
    return;
  }
  choice.row = row;
  const sections = row >= 0 && data.details[row] ? data.details[row].sections : [];
  choice.section = Math.max(0, sections.findIndex((section) => section.decides & rows.side[row]));
  tell("chosen", from, false);
  try {
    history.replaceState(null, "", row >= 0 ? `#${encodeURIComponent(rows.id[row])}` : "#");
  } catch { /* some browsers forbid it for files on disk; nothing depends on it */ }
}

function say(text) {
  document.getElementById("said").textContent = text;
}

/** Make an element: text is set as text, never as markup. */
function element(name, options = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(options)) {
    if (value === null || value === undefined || value === false) continue;
    if (key === "text") node.textContent = value;
    else if (key === "class") node.className = value;
    else if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

function classSign(k) {
  const sign = element("span", { class: "sign", text: CLASSES[k].letter, "aria-hidden": "true" });
  sign.style.backgroundColor = CLASSES[k].colour;
  sign.style.color = CLASSES[k].ink;
  return sign;
}
