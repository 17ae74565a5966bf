// What the page says of itself.

const about = document.getElementById("about");

function drawAbout() {
  const told = data.about;
  const kinds = data.findings.kinds;
  about.replaceChildren(
    element("div", { class: "about-body" },
      element("div", { class: "about-head" },
        element("h2", { id: "about-title", text: "What this page cannot tell you" }),
        element("button", { type: "button", text: "Close", onclick: () => about.close() })),
      element("ul", { class: "cannot" }, ...told.cannot.map(firstSentenceBold)),
      element("h3", { text: "Before anyone goes" }),
      element("ul", {}, ...told.cautions.map((text) => element("li", { text }))),
      element("h3", { text: "How to read it" }),
      element("p", { text: "A reach takes the rank of its worse bank. Left and right look downstream. Stations count upstream from the mouth of each stream. The range of a rank is that of 9 in 10 draws; places whose ranges overlap are not told apart. Darker, wider lines come first." }),
      element("p", { text: `Cross-sections are here for the ${number(told.banks_in_detail, 0)} worst banks, as far as the ranked file holds them; the ground is shown sharper along those banks, where it is shown. Lines are thinned by up to ${number(inUnit(told.tolerance_m), 0)} ${lengthUnit()}.` }),
      element("p", { text: "Keys: / goes to the search; in the list, arrows, Page Up and Down, Home and End choose, Enter reads on; on the map, arrows, plus and minus." }),
      element("h3", { text: `Findings: ${number(data.findings.count, 0)}` }),
      kinds.length ? element("ul", { class: "kinds" }, ...kinds.map(([count, severity, text]) =>
        element("li", {}, element("b", { text: `${number(count, 0)} × ${severity}: ` }), sentence(text)))) :
        element("p", { text: "Nothing was mended, left out or doubted." }),
      element("h3", { text: "From what it was made" }),
      element("dl", { class: "facts" },
        element("dt", { text: "This page" }), element("dd", { text: `made ${told.made}; ${number(ROWS, 0)} reaches of ${number(data.streams.length, 0)} streams` }),
        ...told.from.flatMap(([term, text]) => [element("dt", { text: term }), element("dd", { text })]),
        element("dt", { text: "Colours" }), element("dd", { text: "ColorBrewer BuPu, one sequence from light to dark, safe for colour-blind readers" }),
        element("dt", { text: "Map drawing" }), element("dd", { text: "Leaflet 1.9, BSD 2-Clause licence" }))));
}

function firstSentenceBold(text) {
  const end = text.indexOf(". ") + 1 || text.length;
  return element("li", {}, element("b", { text: text.slice(0, end) }), text.slice(end));
}

document.getElementById("about-button").addEventListener("click", () => {
  drawAbout();
  about.showModal();
});
