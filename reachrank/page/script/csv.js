// The filtered list as CSV. Text that a spreadsheet would take for a formula is kept as text.

function csvCell(value) {
  if (value === null || value === undefined) return "";
  if (typeof value === "number") return String(value);
  const text = /^[=+\-@\t\r]/.test(value) ? `'${value}` : value;
  return /[",\n\r]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

function listAsCsv() {
  const unit = lengthUnit();
  const metres = (value, per, decimals) => (value === null ? null : Number(inUnit(value / per).toFixed(decimals)));
  const tenth = (value) => (value === null ? null : value / 10);
  const columns = [
    ["rank", (r) => rows.rank[r]], ["rank_low", (r) => rows.low[r]], ["rank_high", (r) => rows.high[r]],
    ["priority_class", (r) => CLASSES[rows.class[r]].name], ["reach_id", (r) => rows.id[r]],
    ["stream_id", (r) => data.streams[rows.stream[r]][0]], ["stream_name", (r) => data.streams[rows.stream[r]][1]],
    ["worst_bank", (r) => SIDES[rows.side[r]]],
    [`station_from_${unit}`, (r) => metres(rows.from[r], 10, 1)], [`station_to_${unit}`, (r) => metres(rows.to[r], 10, 1)],
    [`bank_height_${unit}`, (r) => metres(rows.height[r], 100, 2)], ["bank_angle_deg", (r) => rows.angle[r]],
    [`structure_distance_${unit}`, (r) => metres(rows.near[r], 10, 1)], [`repair_length_${unit}`, (r) => metres(rows.repair[r], 10, 1)],
    ["kinds_of_work", (r) => kindsOf(r).join("; ")],
    ["priority_score", (r) => tenth(rows.score[r])], ["hazard_score", (r) => tenth(rows.hazard[r])], ["exposure_score", (r) => tenth(rows.exposure[r])],
    ["confidence_percent", (r) => rows.sure[r]],
    ["latitude", (r) => Number(toDegrees(middleOf(r))[1].toFixed(6))], ["longitude", (r) => Number(toDegrees(middleOf(r))[0].toFixed(6))],
    ["reason", (r) => sentence(rows.why[r])],
  ];
  const text = [columns.map(([name]) => name).join(",")];
  for (const row of choice.shown) text.push(columns.map(([, value]) => csvCell(value(row))).join(","));
  return `${text.join("\r\n")}\r\n`;
}

async function copyText(text, done) {
  try {
    await navigator.clipboard.writeText(text);
    say(done);
    return true;
  } catch {
    const dialog = document.getElementById("by-hand"), area = document.getElementById("by-hand-text");
    area.value = text;
    dialog.showModal();
    area.select();
    return false;
  }
}

document.getElementById("by-hand-close").addEventListener("click", () => document.getElementById("by-hand").close());
document.getElementById("copy").addEventListener("click", async () => {
  const button = document.getElementById("copy"), n = choice.shown.length;
  if (await copyText(listAsCsv(), `${number(n, 0)} rows copied.`)) {
    button.textContent = `${number(n, 0)} rows copied`;
    setTimeout(() => { button.textContent = "Copy list as CSV"; }, 2500);
  }
});
