// A cross-section as a drawing: ground, water's edge, toes and tops, looking downstream.

const SVG = "http://www.w3.org/2000/svg";

function svgElement(name, attributes = {}, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

/** Offsets and heights in metres of a section's ground. */
function groundOf(section) {
  const [first, step, heights] = section.ground;
  const points = [];
  let cm = 0;
  heights.forEach((jump, i) => {
    if (jump === null) return;
    cm += jump;
    points.push([first / 100 + i * step / 10000, cm / 100]);
  });
  return points;
}

function heightAt(points, x) {
  for (let i = 1; i < points.length; i++) {
    const [ax, ay] = points[i - 1], [bx, by] = points[i];
    if (x >= ax && x <= bx) return ay + (by - ay) * (x - ax) / (bx - ax || 1);
  }
  return points.length ? points[x < points[0][0] ? 0 : points.length - 1][1] : 0;
}

/** The part of the ground from one offset to another, ends included. */
function partOf(points, from, to) {
  const inner = points.filter(([x]) => x > from && x < to);
  return [[from, heightAt(points, from)], ...inner, [to, heightAt(points, to)]];
}

/**
 * Draw a section.
 *
 * `worst` is 1 for the left bank, 2 for the right, 0 for none; `look` the class of the reach.
 */
function drawSection(section, worst, look, width) {
  const height = 250, left = 46, right = 14, top = 46, bottom = 48;
  const points = groundOf(section);
  const svg = svgElement("svg", { viewBox: `0 0 ${width} ${height}`, width, height, role: "img", class: "section" });
  if (points.length < 2) {
    svg.append(svgElement("text", { x: width / 2, y: height / 2, "text-anchor": "middle" }, "No ground is known here."));
    return { svg, exaggeration: 1 };
  }
  const low = Math.min(...points.map(([, y]) => y)), most = Math.max(...points.map(([, y]) => y));
  const x0 = points[0][0], x1 = points[points.length - 1][0];
  const perX = (width - left - right) / (x1 - x0);
  const fits = (height - top - bottom) / Math.max(most - low, 0.5) / perX;
  const exaggeration = [10, 9, 8, 7, 6, 5, 4, 3, 2.5, 2, 1.5, 1].find((factor) => factor <= fits) || fits;
  const perY = perX * exaggeration;
  const base = height - bottom;
  const px = (x) => left + (x - x0) * perX, py = (y) => base - (y - low) * perY;
  const path = (part) => part.map(([x, y], i) => `${i ? "L" : "M"}${px(x).toFixed(1)} ${py(y).toFixed(1)}`).join("");

  drawTicks(svg, { low, most, x0, x1, px, py, left, right, width, base, top });
  svg.append(svgElement("path", { d: `${path(points)}L${px(x1)} ${base + 8}L${px(x0)} ${base + 8}Z`, class: "earth" }));
  const [toeLeft, toeRight] = section.toes.map((cm) => (cm === null ? null : cm / 100));
  const tops = section.tops.map((cm) => (cm === null ? null : cm / 100));
  if (toeLeft !== null && toeRight !== null) {
    svg.append(svgElement("path", { d: path(partOf(points, toeLeft, toeRight)), class: "water" }));
  }
  svg.append(svgElement("path", { d: path(points), class: "ground" }));
  [toeLeft, toeRight].forEach((toe, side) => {
    const lip = tops[side];
    if (toe === null || lip === null) return;
    const from = Math.min(toe, lip), to = Math.max(toe, lip);
    const isWorst = side + 1 === worst;
    if (isWorst) {
      svg.append(svgElement("path", { d: path(partOf(points, from, to)), class: "face", stroke: INK, "stroke-width": 12 }));
      svg.append(svgElement("path", { d: path(partOf(points, from, to)), class: "face", stroke: HALO, "stroke-width": 9 }));
      svg.append(svgElement("path", { d: path(partOf(points, from, to)), class: "face", stroke: look.colour, "stroke-width": 4 }));
    }
    const lipY = heightAt(points, lip), toeY = heightAt(points, toe);
    svg.append(svgElement("circle", { cx: px(toe), cy: py(toeY), r: 5, class: "toe" }));
    const tx = px(lip), ty = py(lipY);
    svg.append(svgElement("path", { d: `M${tx} ${ty - 2}l-6 -11h12z`, class: "lip" }));
    const anchor = side === 0 ? "start" : "end";
    svg.append(svgElement("text", { x: side === 0 ? left : width - right, y: 16, "text-anchor": anchor, class: isWorst ? "side worst" : "side" },
      `${SIDES[side + 1]} bank`));
    svg.append(svgElement("text", { x: side === 0 ? left : width - right, y: 33, "text-anchor": anchor, class: "figure" }, `${high(section.high[side])} high`));
  });
  const words = [1, 2].map((side) => `${SIDES[side]} bank ${high(section.high[side - 1])} high`).join(", ");
  svg.prepend(svgElement("title", {}, `Cross-section ${along(section.at)} above the mouth, looking downstream: ${words}.`));
  return { svg, exaggeration };
}

function drawTicks(svg, f) {
  const unit = lengthUnit();
  const stepY = niceLength(inUnit((f.most - f.low) / 3) || 1);
  for (let value = 0; value <= inUnit(f.most - f.low) + stepY * 0.2; value += stepY) {
    const y = f.py(f.low + toMetres(value));
    if (y < f.top - 8) break;
    svg.append(svgElement("line", { x1: f.left, x2: f.width - f.right, y1: y, y2: y, class: "rule" }));
    svg.append(svgElement("text", { x: f.left - 6, y: y + 5, "text-anchor": "end", class: "tick" },
      value === 0 ? `0 ${unit}` : `${Math.round(value * 100) / 100}`));
  }
  const stepX = niceLength(inUnit((f.x1 - f.x0) / 3));
  for (let value = Math.ceil(inUnit(f.x0) / stepX) * stepX; value <= inUnit(f.x1); value += stepX) {
    const x = f.px(toMetres(value));
    svg.append(svgElement("line", { x1: x, x2: x, y1: f.base + 8, y2: f.base + 14, class: "rule dark" }));
    const text = Math.abs(value) < stepX / 2 ? "middle" : `${Math.abs(Math.round(value * 10) / 10)}`;
    if (x > f.left + 8 && x < f.width - f.right - 8) {
      svg.append(svgElement("text", { x, y: f.base + 30, "text-anchor": "middle", class: "tick" }, text));
    }
  }
  svg.append(svgElement("text", { x: f.width - f.right, y: f.base + 45, "text-anchor": "end", class: "tick" }, `${unit} from the middle`));
}
