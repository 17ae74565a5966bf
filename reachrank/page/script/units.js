// Numbers as text, in metres or in feet. Stored lengths are metres.

const FOOT_M = 0.3048;
const SHORT_TON_T = 0.90718474;
const units = { us: data.us };

const number = (value, decimals) =>
  value.toLocaleString("en-US", { minimumFractionDigits: decimals, maximumFractionDigits: decimals });

const lengthUnit = () => (units.us ? "ft" : "m");
const inUnit = (metres) => (units.us ? metres / FOOT_M : metres);
const toMetres = (value) => (units.us ? value * FOOT_M : value);

/** A length along the ground, from tenths of a metre. */
function along(tenths) {
  if (tenths === null || tenths === undefined) return "not known";
  return `${number(inUnit(tenths / 10), 0)} ${lengthUnit()}`;
}

/** A height, from centimetres. */
function high(cm) {
  if (cm === null || cm === undefined) return "not known";
  return `${number(inUnit(cm / 100), 1)} ${lengthUnit()}`;
}

function between(low, greatest, show) {
  if (low === null || low === undefined) return "";
  const a = show(low), b = show(greatest ?? low);
  if (a === b) return a;
  const unit = / \D+$/.exec(b);
  return unit && a.endsWith(unit[0]) ? `${a.slice(0, -unit[0].length)} to ${b}` : `${a} to ${b}`;
}

const dollars = (value) => `US$ ${number(value, 0)}`;
const hours = (tenths) => `${number(tenths / 10, tenths < 100 ? 1 : 0)} hours`;

/** Soil in a year, from hundredths of a tonne. */
function soil(hundredths) {
  const tonnes = hundredths / 100;
  const value = units.us ? tonnes / SHORT_TON_T : tonnes;
  return `${number(value, value < 10 ? 1 : 0)} ${units.us ? "tons" : "tonnes"}`;
}

/** A sentence from the numbers of its clauses. */
function sentence(clauses) {
  return (clauses || []).map((k) => {
    const clause = data.clauses[k];
    return typeof clause === "string" ? clause : clause[units.us ? 1 : 0];
  }).join("");
}

function stations(row) {
  const from = number(inUnit(rows.from[row] / 10), 0), to = number(inUnit(rows.to[row] / 10), 0);
  return `${from} to ${to} ${lengthUnit()} above the mouth`;
}

function rankRange(row) {
  const low = rows.low[row], greatest = rows.high[row];
  if (low === null || greatest === null) return "";
  return low === greatest ? `${low}` : `${low} to ${greatest}`;
}
