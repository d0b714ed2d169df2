// The ground, drawn alike on the field map and on the map of the app: fills and patterns, keep-outs and ways,
// the key, labels that give way to each other, and squares one can count. The first part of each map's script.

// --- elements --------------------------------------------------------------------------------------

const list = (value) => value || []; // empty lists are left out of the data
const byId = (id) => document.getElementById(id);

/** Make an element. `props`: attributes, plus `on` with listeners. Texts become text nodes. */
function make(tag, props, ...inside) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(props || {})) {
    if (name === "on") {
      for (const [event, listener] of Object.entries(value)) element.addEventListener(event, listener);
    } else if (value === true) {
      element.setAttribute(name, "");
    } else if (value !== false && value !== null && value !== undefined) {
      element.setAttribute(name, value);
    }
  }
  element.append(...inside.flat().filter((part) => part !== null && part !== undefined && part !== ""));
  return element;
}

function makeSvg(tag, attributes, ...inside) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...inside);
  return element;
}

/** Text a person wrote, kept apart so that right-to-left text disturbs nothing around it. */
const written = (text) => make("bdi", {}, text);
/** The same for places that take no markup: first strong isolate … pop directional isolate. */
const isolated = (text) => (/^[ -~]*$/.test(text) ? text : `\u2068${text}\u2069`);

function cutShort(text, most) {
  const letters = Array.from(text);
  return letters.length <= most ? text : `${letters.slice(0, most - 1).join("")}…`;
}

// --- fills -----------------------------------------------------------------------------------------

const MARKS = { // drawn on top of a class's colour, in an 8 by 8 or 12 by 12 square
  plain: [8, ""],
  dots: [8, "M2 2h2v2h-2z"],
  lines: [8, "M-2 10L10 -2M-6 6L6 -6M2 14L14 2"],
  "dense lines": [5, "M-1 6L6 -1M-3 3L3 -3M2 8L8 2"],
  cross: [7, "M0 0L7 7M7 0L0 7"],
  half: [10, "M0 10L10 0V10z"],
  check: [14, "M3 7l3 3l5 -6"],
  dash: [18, "M6 9h6"],
  ring: [16, "M8 5.5a2.5 2.5 0 1 1 0 5a2.5 2.5 0 1 1 0 -5"],
  question: [14, "M4.6 5.2a2.4 2.4 0 1 1 3.4 2.1c-.8.4-1 .8-1 1.7M7 10.6v1.2"],
};

function isDark(colour) {
  const [r, g, b] = [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));
  return 0.299 * r + 0.587 * g + 0.114 * b < 120;
}

/** The fill of a class as a reference to its pattern, made on first use. */
function fillOf(one) {
  if (list(one.bands).length) return bandsOf(one.bands);
  const id = `fill-${one.colour.slice(1)}-${one.pattern.replace(" ", "-")}`;
  if (!byId(id)) {
    const [size, path] = MARKS[one.pattern];
    const ink = isDark(one.colour) ? "#fff" : "#000";
    const solid = one.pattern === "half" || one.pattern === "dots";
    byId("patterns").append(makeSvg("pattern", { id, width: size, height: size, patternUnits: "userSpaceOnUse" },
      makeSvg("rect", { width: size, height: size, fill: one.colour }),
      makeSvg("path", { d: path, fill: solid ? ink : "none", stroke: solid ? "none" : ink, "fill-opacity": 0.5,
        "stroke-opacity": 0.6, "stroke-width": one.pattern === "check" || one.pattern === "question" ? 1.8 : 1.1 })));
  }
  return `url(#${id})`;
}

/** Several products: their colours side by side, a dark line between. */
function bandsOf(colours) {
  const id = `fill-bands-${colours.map((colour) => colour.slice(1)).join("-")}`;
  if (!byId(id)) {
    byId("patterns").append(makeSvg("pattern", { id, width: 10 * colours.length, height: 10, patternUnits: "userSpaceOnUse" },
      ...colours.map((fill, i) => makeSvg("rect", { x: 10 * i, width: 10, height: 10, fill })),
      ...colours.map((_, i) => makeSvg("rect", { x: 10 * i, width: 1, height: 10, fill: "#000", "fill-opacity": 0.5 }))));
  }
  return `url(#${id})`;
}

function keepOutFill(stated) {
  const id = stated ? "keep-out" : "keep-out-unstated";
  if (!byId(id)) {
    byId("patterns").append(makeSvg("pattern", { id, width: 9, height: 9, patternUnits: "userSpaceOnUse" },
      makeSvg("rect", { width: 9, height: 9, fill: "#fff" }),
      makeSvg("path", { d: stated ? "M-2 11L11 -2M-6.5 6.5L6.5 -6.5M2.5 15.5L15.5 2.5" : "M0 4.5H9M4.5 0V9",
        fill: "none", stroke: "#8c1c13", "stroke-width": 1.6 })));
  }
  return `url(#${id})`;
}

function setbackSign() {
  return makeSvg("svg", { width: 34, height: 22, "aria-hidden": "true", focusable: "false" },
    makeSvg("path", { d: "M1 19C8 4 26 4 33 19", class: "setback", fill: "none" }));
}

function swatch(fill, dashed) {
  return makeSvg("svg", { width: 34, height: 22, "aria-hidden": "true", focusable: "false", class: "swatch" },
    makeSvg("rect", { x: 1, y: 1, width: 32, height: 20, fill, stroke: "#222", "stroke-width": 1.2,
      "stroke-dasharray": dashed ? "4 3" : "none" }));
}

function entranceSign() {
  return makeSvg("svg", { width: 34, height: 22, "aria-hidden": "true", focusable: "false" },
    makeSvg("circle", { cx: 17, cy: 11, r: 4.5, class: "entrance" }));
}

function waySign() {
  return makeSvg("svg", { width: 34, height: 22, "aria-hidden": "true", focusable: "false" },
    makeSvg("path", { d: "M1 14C10 8 22 15 33 8", class: "track", fill: "none" }));
}

// --- shapes ----------------------------------------------------------------------------------------

/** Where on the map each kind of thing is drawn: ground below the plots, labels above everything. */
function makePanes(map) {
  for (const [name, level] of [["ground", 350], ["way", 450], ["labels", 620]]) {
    map.createPane(name).style.zIndex = level;
  }
  map.getPane("labels").style.pointerEvents = "none";
  map.getPane("way").style.pointerEvents = "none";
}

/** Whether a picture lies under the plots: then they are filled lightly, and the ground shows through. */
function pictured(map) {
  let found = false;
  map.eachLayer((layer) => { found ||= layer instanceof L.TileLayer || layer instanceof L.ImageOverlay; });
  return found;
}

/** A plot: what may be spread on it is filled, what keep-outs take from it is hatched below. */
function plotShape(one, cut, fillOpacity) {
  const under = cut ? L.polygon(one.outline, { className: "keep-out", weight: 1.5, dashArray: "3 3",
    fillColor: keepOutFill(true), fillOpacity: 1 }) : null;
  return { under, fill: L.polygon(cut ? list(one.spread) : one.outline, { className: "plot", fillOpacity }) };
}

/** How far a setback reaches. */
const setbackShape = (ground) => L.polygon(ground, { pane: "ground", className: "setback", fill: false, interactive: false });

/** Ground where nothing is spread; what is not stated about it shows. */
function keepOutShape(one) {
  const style = { className: "keep-out", weight: 2, fillColor: keepOutFill(one.stated), fillOpacity: 1,
    dashArray: one.stated ? null : "5 4" };
  return L.featureGroup([
    ...(list(one.polygons).length ? [L.polygon(one.polygons, style)] : []),
    ...list(one.paths).map((path) => L.polyline(path, { ...style, weight: 6, opacity: 0.35, dashArray: null })),
    ...list(one.paths).map((path) => L.polyline(path, { ...style, dashArray: one.stated ? "10 5" : "3 6" })),
    ...list(one.points).map((point) => L.circleMarker(point, { ...style, radius: 8 })),
  ]);
}

/** A track, gate, bridge or loading place. */
function wayShape(one) {
  const style = { pane: "ground", className: "track", fill: false, interactive: false };
  return L.featureGroup([
    ...(list(one.polygons).length ? [L.polygon(one.polygons, style)] : []),
    ...list(one.paths).map((path) => L.polyline(path, style)),
    ...list(one.points).map((point) => L.circleMarker(point, { ...style, radius: 6 })),
  ]);
}

// --- the key ---------------------------------------------------------------------------------------

/** Say what the colours mean, and the signs that stand on the map whatever is asked. */
function showKey(question, classes, note, always) {
  byId("question").textContent = question;
  byId("classes").replaceChildren(...classes.filter((one) => one.plots).map((one) => make("li", {},
    swatch(fillOf(one)), make("span", {}, written(one.label)), make("small", {}, `${one.plots} plot${one.plots === 1 ? "" : "s"}`))));
  byId("note").textContent = note;
  byId("always").replaceChildren(...always.map(([sign, text]) => make("li", {}, sign, make("span", {}, text))));
}

/** The signs of keep-outs, for the key. */
function keepOutSigns(keepouts) {
  const signs = [];
  if (keepouts.some((one) => one.stated)) signs.push([swatch(keepOutFill(true)), "keep-out, and its setback on a plot"]);
  if (keepouts.some((one) => list(one.ground).length)) signs.push([setbackSign(), "how far a setback reaches"]);
  if (keepouts.some((one) => !one.stated)) signs.push([swatch(keepOutFill(false), true), "keep-out, setback not stated"]);
  return signs;
}

// --- labels ----------------------------------------------------------------------------------------

const pen = document.createElement("canvas").getContext("2d");
const LINE = 17;

/** A plot by the name it has everywhere: its id, and what people call it. */
const plotName = (plot) => (plot.name && plot.name !== plot.id ? `${plot.id} ${plot.name}` : plot.id);

/** Texts to try for a plot, from the fullest to the shortest. */
function labelTexts(plot, value) {
  const name = cutShort(plotName(plot), 26);
  const words = cutShort(value || "", 26);
  const id = cutShort(plot.id, 8);
  const tries = [[name, plot.area, words], [name, words], [name], [id, cutShort(words, 12)], [id]];
  return tries.map((lines) => lines.filter(Boolean));
}

/**
 * Put labels where there is room, in the order given; no label covers another.
 * `wanted`: {middle, degrees (width of the plot), id, tries (texts from the fullest on), number, chosen}. Where many
 * small plots lie side by side, each gets its id, or what tells it from the others.
 */
function layLabels(map, wanted) {
  pen.font = `700 14px ${getComputedStyle(document.body).fontFamily}`;
  const size = map.getSize();
  const scale = map.getZoomScale(map.getZoom(), 0) * (256 / 360); // pixels per degree of longitude
  const boxes = [];
  const made = [];
  const crowded = wanted.length > 40 && wanted.filter((one) => one.degrees * scale < 60).length > wanted.length / 2;
  const first = wanted.length ? wanted[0].id : "";
  const same = [...first].findIndex((letter, i) => wanted.some((one) => one.id[i] !== letter));
  const tail = (id) => (crowded && same > 0 && wanted.every((one) => one.id.length > same) ? id.slice(same) : id);
  for (const one of wanted) {
    const spot = map.latLngToContainerPoint(one.middle);
    if (spot.x < -40 || spot.y < -40 || spot.x > size.x + 40 || spot.y > size.y + 40) continue;
    const across = one.degrees * scale;
    if (across < 9 && !one.chosen && wanted.length > 40) continue;
    for (const texts of crowded && !one.chosen ? [[cutShort(tail(one.id), 8)]] : one.tries) {
      const lines = one.number ? [`${one.number}. ${texts[0]}`, ...texts.slice(1)] : texts;
      const width = Math.max(...lines.map((line) => pen.measureText(line).width)) + 10;
      const height = lines.length * LINE + 4;
      const short = texts[0] === cutShort(one.id, 8) || crowded;
      if (width > (short ? Math.max(across * 2, crowded ? 60 : 0) : Math.max(across * 1.4, 30)) && !one.chosen) continue;
      const box = [spot.x - width / 2, spot.y - height / 2, spot.x + width / 2, spot.y + height / 2];
      if (boxes.some((b) => box[0] < b[2] && box[2] > b[0] && box[1] < b[3] && box[3] > b[1])) continue;
      boxes.push(box);
      const label = make("div", { class: `label${one.chosen ? " chosen" : ""} leaflet-zoom-hide` },
        lines.map((line) => make("div", {}, written(line))));
      L.DomUtil.setPosition(label, map.latLngToLayerPoint(one.middle).subtract([width / 2, height / 2]));
      label.style.width = `${Math.ceil(width)}px`;
      made.push(label);
      break;
    }
  }
  const pane = map.getPane("labels");
  pane.setAttribute("aria-hidden", "true"); // the list says the same
  pane.replaceChildren(...made);
}

// --- squares ---------------------------------------------------------------------------------------

/** Squares of a round ground distance, fixed to the ground: a scale you can count. Returns the size chosen, and its pixels. */
function drawSquares(map, south, steps) {
  const corner = map.latLngToContainerPoint(south);
  const metre = map.latLngToContainerPoint([south.lat, south.lng + 0.01]).subtract(corner).x
    / map.distance(south, [south.lat, south.lng + 0.01]);
  let chosen = steps.findIndex((step) => step * metre >= 44);
  if (chosen < 0) chosen = steps.length - 1;
  const step = steps[chosen] * metre;
  const paper = map.getContainer();
  paper.style.backgroundSize = `${step}px ${step}px`;
  paper.style.backgroundPosition = `${corner.x}px ${corner.y}px`;
  return [chosen, step];
}
