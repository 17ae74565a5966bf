// Everything known of the chosen place, in the order in which one decides.

const placePanel = document.getElementById("place");

function drawPlace() {
  const row = choice.row;
  if (row < 0) {
    placePanel.replaceChildren(element("div", { class: "empty" },
      element("p", { class: "big", text: "Choose a bank" }),
      element("p", { text: "in the list or on the map. Its reason, its cross-sections, how sure its rank is and what the work takes are shown here." })));
    return;
  }
  const place = data.details[row] || null;
  placePanel.replaceChildren(
    placeHead(row),
    placeRank(row),
    ...(place && place.sections.length ? [placeSections(row, place)] : [noSections(place)]),
    ...placeRepairs(row),
    placeBanks(row, place),
    ...(place ? [placeScore(row, place), placeNear(place)] : []),
    placeCautions(row, place));
  drawChosenSection();
}

function placeHead(row) {
  const look = CLASSES[rows.class[row]];
  const [longitude, latitude] = toDegrees(middleOf(row));
  const at = `${latitude.toFixed(5)}, ${longitude.toFixed(5)}`;
  return element("header", { class: "head" },
    element("button", { type: "button", class: "back", text: "‹ Back to the list", onclick: () => { showView("list"); list.focus(); } }),
    element("h2", {}, element("span", { text: streamName(row) }), element("span", { class: "which", text: bankName(row) })),
    element("p", { class: "class-line" }, classSign(rows.class[row]),
      element("b", { text: look.name }), element("span", { text: look.meaning })),
    element("p", { class: "reason", text: sentence(rows.why[row]) }),
    element("p", { class: "where" },
      element("span", { text: `${stations(row)} · ${rows.id[row]}` }),
      element("span", {}, `middle at ${at} `,
        element("button", { type: "button", class: "small", text: "Copy place", "aria-label": `Copy latitude and longitude ${at}`, onclick: () => copyText(at, "Latitude and longitude copied.") }),
        element("a", { class: "geo small", href: `geo:${latitude.toFixed(6)},${longitude.toFixed(6)}`, text: "Open in a map app" }))));
}

/** Rank and how far it ranges, on a line from the first to the last rank. */
function placeRank(row) {
  const part = element("section", { class: "part rank-part" }, element("h3", { text: "How sure is the rank?" }));
  if (rows.rank[row] === null) {
    part.append(element("p", { text: "This reach could not be ranked." }));
    return part;
  }
  const low = rows.low[row] ?? rows.rank[row], greatest = rows.high[row] ?? rows.rank[row];
  const end = Math.min(ROWS, Math.max(20, Math.ceil(greatest * 1.3)));
  const width = 360, x = (rank) => 12 + (width - 24) * (rank - 1) / Math.max(1, end - 1);
  const svg = svgElement("svg", { viewBox: `0 0 ${width} 44`, class: "range", role: "img" });
  svg.append(svgElement("title", {}, `Rank ${rows.rank[row]}, from ${low} to ${greatest} in 9 of 10 draws.`));
  svg.append(svgElement("line", { x1: x(1), x2: x(end), y1: 16, y2: 16, class: "axis" }));
  svg.append(svgElement("line", { x1: x(low), x2: Math.max(x(greatest), x(low) + 1), y1: 16, y2: 16, class: "reach", stroke: CLASSES[rows.class[row]].colour }));
  svg.append(svgElement("circle", { cx: x(rows.rank[row]), cy: 16, r: 8, class: "dot" }));
  svg.append(svgElement("text", { x: x(1), y: 40, "text-anchor": "start" }, "1"));
  svg.append(svgElement("text", { x: x(end), y: 40, "text-anchor": "end" }, end < ROWS ? `${end} (of ${number(ROWS, 0)})` : number(end, 0)));
  part.append(svg);
  const text = [];
  if (rows.low[row] !== null) text.push(`Rank ${rows.rank[row]}; between ${low} and ${greatest} in 9 of 10 draws, in which measurements and weights are shaken within their error.`);
  if (rows.sure[row] !== null) text.push(`${rows.sure[row]}% of what the score is made of was measured here.`);
  part.append(element("p", { text: text.join(" ") }));
  return part;
}

function noSections(place) {
  const why = place ? "The ranked file holds no profiles of this reach." :
    data.about.banks_in_detail > 0 ? `Cross-sections are kept for the ${number(data.about.banks_in_detail, 0)} worst banks; the ranked file has those of more.` : "This page was made without cross-sections.";
  return element("section", { class: "part" }, element("h3", { text: "Cross-sections" }), element("p", { class: "quiet", text: why }));
}

function placeSections(row, place) {
  const n = place.sections.length;
  const step = (by) => () => {
    choice.section = Math.min(n - 1, Math.max(0, choice.section + by));
    tell("section");
  };
  return element("section", { class: "part" },
    element("h3", { text: "Across the stream, looking downstream" }),
    element("div", { class: "stepper" },
      element("button", { type: "button", id: "section-down", text: "‹ down", "aria-label": "Next section downstream", onclick: step(-1) }),
      element("p", { id: "section-at", role: "status" }),
      element("button", { type: "button", id: "section-up", text: "up ›", "aria-label": "Next section upstream", onclick: step(1) })),
    element("div", { id: "section-drawing" }),
    element("p", { class: "quiet", id: "section-note" }));
}

function drawChosenSection() {
  const place = data.details[choice.row], frame = document.getElementById("section-drawing");
  if (!place || !frame) return;
  const section = place.sections[choice.section];
  const width = Math.max(280, Math.min(560, frame.clientWidth || 360));
  const { svg, exaggeration } = drawSection(section, rows.side[choice.row], CLASSES[rows.class[choice.row]], width);
  frame.replaceChildren(svg);
  const n = place.sections.length;
  document.getElementById("section-at").textContent = `${choice.section + 1} of ${n}, station ${along(section.at)}`;
  document.getElementById("section-down").disabled = choice.section === 0;
  document.getElementById("section-up").disabled = choice.section === n - 1;
  const notes = [
    section.decides ? `This section decides the score of the ${["", "left bank", "right bank", "left and of the right bank"][section.decides]}.` : "",
    `Circle: toe, at the water's edge of the flight. Triangle: top. ${exaggeration === 1 ? "Drawn true to scale." : `Heights are drawn ${number(exaggeration, exaggeration % 1 ? 1 : 0)} times as tall.`}`,
    section.notes.length ? `Doubtful here: ${section.notes.join("; ")}.` : "",
  ];
  document.getElementById("section-note").textContent = notes.filter(Boolean).join(" ");
}

function facts(pairs) {
  return element("dl", { class: "facts" }, ...pairs.filter(([, value]) => value).flatMap(([term, value]) => [
    element("dt", { text: term }), element("dd", { text: value })]));
}

const get = (name, k) => (data.repairs[name] ? data.repairs[name][k] : null);

function placeRepairs(row) {
  const repairs = repairsOfRow.get(row) || [];
  if (!repairs.length) {
    return [element("section", { class: "part" }, element("h3", { text: "The work" }),
      element("p", { class: "quiet", text: "No length of bank here fails plainly enough to be put down for repair." }))];
  }
  return repairs.map((k) => {
    const kind = data.kinds[data.repairs.kind[k]];
    const others = data.repairs.rows[k].length - 1;
    const part = element("section", { class: "part work" },
      element("h3", { text: kind.path ? `The work: ${kind.label}` : "The work" }),
      facts([
        ["Bank to repair", `${along(get("length", k))} of the ${SIDES[data.repairs.side[k]]} bank${others > 0 ? `, in ${others + 1} reaches` : ""}`],
        ["Height", get("height", k) === null ? "" : `${high(get("height", k))}, at most ${high(get("height_max", k))}`],
        ["Cost", between(get("cost_low", k), get("cost_high", k), dollars)],
        ["Crew", between(get("hours_low", k), get("hours_high", k), hours)],
        ["Soil lost in a year", soilText(k)],
        ["Repair", data.repairs.id[k]],
      ]));
    for (const [name, title] of [["path_reasons", "Why this kind of work"], ["permit_questions", "Whom to ask first"], ["constraint_names", "Lies in or touches"]]) {
      const text = sentence(get(name, k));
      if (text) part.append(element("p", {}, element("b", { text: `${title}. ` }), text));
    }
    const things = data.materials[k];
    if (things) part.append(materialsTable(things));
    return part;
  });
}

function soilText(k) {
  if (get("soil_mid", k) === null) return "";
  return `${between(get("soil_low", k), get("soil_high", k), soil)}, middle ${soil(get("soil_mid", k))} (screening figure, at the bank)`;
}

function materialsTable(things) {
  const shift = units.us ? 3 : 0;
  const amount = (low, greatest) => (low === null ? "" : low === greatest || greatest === null ? number(low, low % 1 ? 1 : 0) : `${number(low, low % 1 ? 1 : 0)} to ${number(greatest, greatest % 1 ? 1 : 0)}`);
  return element("details", { class: "buy", open: true },
    element("summary", { text: "What to buy, gather or do" }),
    element("table", {},
      element("thead", {}, element("tr", {}, ...["Item", "How much", "US$"].map((text, i) => element("th", { scope: "col", text, class: i ? "number" : "" })))),
      element("tbody", {}, ...things.map((thing) => element("tr", {},
        element("th", { scope: "row", text: sentence(thing[0]) }),
        element("td", { class: "number", text: `${amount(thing[2 + shift], thing[3 + shift])} ${thing[1 + shift]}` }),
        element("td", { class: "number", text: amount(thing[7], thing[8]) }))))));
}

function placeBanks(row, place) {
  const part = element("section", { class: "part" }, element("h3", { text: "Both banks" }));
  if (!place) {
    part.append(facts([
      ["Height", rows.height[row] === null ? "" : high(rows.height[row])],
      ["Face", rows.angle[row] === null ? "" : `${rows.angle[row]}° from level`],
      ["Nearest structure", rows.near[row] === null ? "none within reach" : along(rows.near[row])],
      ["Hazard, exposure", `${points(rows.hazard[row])} and ${points(rows.exposure[row])} of 100`],
    ]));
    return part;
  }
  const side = (name) => place.banks[name] || {};
  const lines = [
    ["Height, middle value", (b) => (b.height === null ? "not known" : `${high(b.height)}${b.height_se >= 5 ? ` ± ${high(b.height_se)}` : ""}`)],
    ["9 in 10 are lower than", (b) => (b.height_90 === null ? "" : high(b.height_90))],
    ["Face, from level", (b) => (b.angle === null ? "not known" : `${b.angle}°${b.angle_or_more ? " or steeper" : ""}`)],
    ["Outside of a bend", (b) => (b.outside === null ? "" : `${b.outside}% of it`)],
    ["Trees and shrubs", (b) => (b.cover === null ? "" : `${b.cover}% of the strip behind`)],
    ["Nearest structure", (b) => (b.near === null ? "none within reach" : along(b.near))],
    ["To repair", (b) => (b.repair ? along(b.repair) : "nothing found")],
    ["Hazard, of 100", (b) => points(b.hazard)],
    ["Exposure, of 100", (b) => points(b.exposure)],
    ["Rank among banks", (b) => (b.rank === null ? "not ranked" : number(b.rank, 0))],
  ];
  const worst = rows.side[row];
  const cell = (text, k) => element("td", { text, class: k === worst ? "worst" : "" });
  const body = lines.map(([title, show]) => [title, ...["left", "right"].map((name) => (place.banks[name] ? show(side(name)) : ""))])
    .filter(([, a, b]) => a || b)
    .map(([title, a, b]) => element("tr", {}, element("th", { scope: "row", text: title }), cell(a, 1), cell(b, 2)));
  part.append(element("table", { class: "banks" },
    element("thead", {}, element("tr", {}, element("td"), ...[1, 2].map((k) => element("th", { scope: "col", text: `${SIDES[k]} bank`, class: k === worst ? "worst" : "" })))),
    element("tbody", {}, ...body)));
  return part;
}

const points = (tenths) => (tenths === null || tenths === undefined ? "not known" : number(tenths / 10, 0));

function placeScore(row, place) {
  const bank = place.banks[SIDES[rows.side[row]]];
  const part = element("section", { class: "part" }, element("h3", { text: "What the hazard is made of" }));
  if (!bank || !bank.factors.length) {
    part.append(element("p", { class: "quiet", text: "Not in the ranked file." }));
    return part;
  }
  const most = Math.max(...bank.factors.map((factor) => Math.max(factor[1], factor[2])), 1);
  const states = ["", " or more", ", not known here: the middle of all banks is taken"];
  part.append(
    element("ul", { class: "bars" }, ...bank.factors.map(([words, given, weight, state, metric, us]) => {
      const value = state === 2 ? "" : ` ${units.us ? us : metric}`;
      const bar = svgElement("svg", { viewBox: "0 0 100 8", preserveAspectRatio: "none", class: "bar", "aria-hidden": "true" });
      bar.append(svgElement("rect", { x: 0, y: 0, width: 100 * weight / most, height: 8, class: "possible" }));
      bar.append(svgElement("rect", { x: 0, y: 0, width: 100 * given / most, height: 8, class: "given" }));
      return element("li", {},
        element("span", { text: `${sentence(words)}${value}${states[state]}` }),
        element("b", { text: `${number(given / 10, 0)} of ${number(weight / 10, 0)}` }), bar);
    })),
    element("p", { class: "quiet", text: `Points of 100 at the section that decides, or the bank's share of them; the bank's own hazard is ${points(bank.hazard)}. With exposure ${points(bank.exposure)} this makes a priority of ${points(rows.score[row])}.` }));
  return part;
}

function placeNear(place) {
  const part = element("section", { class: "part" }, element("h3", { text: "What is near" }));
  if (!place.near.length) {
    part.append(element("p", { class: "quiet", text: "No structure within reach of either bank." }));
    return part;
  }
  const cap = data.about.years_cap;
  const year = (value) => (cap !== null && value >= cap ? `${number(cap, 0)} or more` : number(value, 0));
  part.append(element("ul", { class: "near" }, ...place.near.slice(0, 8).map((thing) => {
    const [soonest, middle] = thing.years;
    const away = thing.away < 5 ? "at the edge" : `${along(thing.away)} from the edge`;
    const years = soonest === null ? "" : `; at the recession of such a bank the edge is there in ${year(soonest)} years at the soonest, ${year(middle)} at the middle rate`;
    return element("li", { text: `${thing.what}, ${away} of the ${SIDES[thing.side]} bank${years}` });
  })));
  return part;
}

function placeCautions(row, place) {
  const own = (data.told[row] || []).map(sentence);
  if (rows.sure[row] !== null && rows.sure[row] < 60) own.push("Less than six tenths of the score was measured here: look at the ground before anything else.");
  if (rows.low[row] !== null && rows.high[row] - rows.low[row] >= Math.max(10, ROWS * 0.2)) own.push("The rank ranges widely: do not send a crew for the rank alone.");
  const flags = place ? [...new Set(place.sections.flatMap((section) => section.notes))] : [];
  if (flags.length) own.push(`Along this reach: ${flags.join("; ")}.`);
  return element("section", { class: "part cautions" }, element("h3", { text: "Before anyone goes" }),
    element("ul", {}, ...own.map((text) => element("li", { class: "own", text })),
      ...data.about.cautions.map((text) => element("li", { text }))));
}

on("section", drawChosenSection);
on("units", drawPlace);
on("chosen", (from, again) => {
  if (again) return;
  drawPlace();
  placePanel.scrollTop = 0;
  const row = choice.row;
  if (row >= 0) say(`${streamName(row)}, ${bankName(row)}, ${rows.rank[row] === null ? "not ranked" : `rank ${rows.rank[row]}`}.`);
});
new ResizeObserver(() => drawChosenSection()).observe(placePanel);
