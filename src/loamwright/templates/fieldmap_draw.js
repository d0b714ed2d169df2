// The map itself: paper grid, keep-outs, plots with their fills, labels that give way to each other,
// core places, the round's way, and the phone's position.

// --- fills -----------------------------------------------------------------------------------------

const MARKS = { // drawn on top of a class's colour, in an 8 by 8 or 12 by 12 square
  plain: [8, ""],
  dots: [8, "M2 2h2v2h-2z"],
  lines: [8, "M-2 10L10 -2M-6 6L6 -6M2 14L14 2"],
  "dense lines": [5, "M-1 6L6 -1M-3 3L3 -3M2 8L8 2"],
  cross: [7, "M0 0L7 7M7 0L0 7"],
  half: [10, "M0 10L10 0V10z"],
  check: [14, "M3 7l3 3l5 -6"],
  question: [14, "M4.6 5.2a2.4 2.4 0 1 1 3.4 2.1c-.8.4-1 .8-1 1.7M7 10.6v1.2"],
};

function isDark(colour) {
  const [r, g, b] = [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));
  return 0.299 * r + 0.587 * g + 0.114 * b < 120;
}

/** The fill of a class as a reference to its pattern, made on first use. */
function fillOf(one) {
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

// --- shapes ----------------------------------------------------------------------------------------

const plotShapes = []; // per plot {under, fill}
const keepOutShapes = [];
const corePlaces = L.layerGroup();
const ways = L.layerGroup();
const CLOSE = 16; // zoom from which ways in and core places are drawn
const roundWay = L.layerGroup();

for (const [name, level] of [["ground", 350], ["way", 450], ["labels", 620]]) {
  map.createPane(name).style.zIndex = level;
}
map.getPane("labels").style.pointerEvents = "none";
map.getPane("way").style.pointerEvents = "none";

/** Whether a picture lies under the plots: then they are filled lightly, and the ground shows through. */
function pictured() {
  let found = false;
  map.eachLayer((layer) => { found ||= layer instanceof L.TileLayer || layer instanceof L.ImageOverlay; });
  return found;
}

function drawGround() {
  const fillOpacity = pictured() ? 0.6 : 0.9;
  for (const { ground } of list(data.keepouts)) {
    if (list(ground).length) L.polygon(ground, { pane: "ground", className: "setback", fill: false, interactive: false }).addTo(map);
  }
  if (list(data.context).length) {
    L.polygon(data.context, { pane: "ground", color: "#6b6b6b", weight: 1, fill: false, interactive: false }).addTo(map);
  }
  data.plots.forEach((plot, place) => {
    const cut = list(plot.spread).length > 0 || plot.spread_m2 === 0;
    const under = cut ? L.polygon(plot.outline, { className: "keep-out", weight: 1.5, dashArray: "3 3",
      fillColor: keepOutFill(true), fillOpacity: 1 }).addTo(map) : null;
    const fill = L.polygon(cut ? list(plot.spread) : plot.outline, { className: "plot", fillOpacity }).addTo(map);
    for (const shape of [under, fill]) if (shape) shape.on("click", () => choosePlot(place, false));
    plotShapes.push({ under, fill });
  });
  list(data.keepouts).forEach((one) => {
    const style = { className: "keep-out", weight: 2, fillColor: keepOutFill(one.stated), fillOpacity: 1,
      dashArray: one.stated ? null : "5 4" };
    const shape = L.featureGroup([
      ...(list(one.polygons).length ? [L.polygon(one.polygons, style)] : []),
      ...list(one.paths).map((path) => L.polyline(path, { ...style, weight: 6, opacity: 0.35, dashArray: null })),
      ...list(one.paths).map((path) => L.polyline(path, { ...style, dashArray: one.stated ? "10 5" : "3 6" })),
      ...list(one.points).map((point) => L.circleMarker(point, { ...style, radius: 8 })),
    ]).addTo(map);
    shape.bindPopup(() => make("div", {}, make("b", {}, written(one.name)), make("p", {}, written(one.setback)),
      make("p", {}, one.stated ? "Nothing is spread here or within the setback."
        : "Ask for the local distance before you spread near it.")));
    keepOutShapes.push(shape);
  });
  for (const { entrance } of data.plots) {
    if (entrance) ways.addLayer(L.circleMarker(entrance, { className: "entrance", radius: 4.5, fillOpacity: 1, interactive: false }));
  }
  corePlaces.addTo(map);
  roundWay.addTo(map);
}

const choiceNow = () => state.layer.choices[state.choices.get(state.layer.id) || 0];

/** Classes, class of each plot, and label text: from the data, or counted here for what is done. */
function layerNow() {
  const choice = choiceNow();
  if (state.layer.id !== "done") return { ...choice, note: choice.note || "" };
  const names = choice.classes.map((one) => one.label);
  const of = [];
  const values = data.plots.map((plot) => {
    const states = lineStates(plot).map((one) => one.state);
    let overall = "part";
    if (!states.length) overall = "nothing planned";
    else if (states.includes("over")) overall = "over";
    else if (states.every((one) => one === "done")) overall = "done";
    else if (states.every((one) => one === "nothing yet")) overall = "nothing yet";
    of.push(names.indexOf(overall));
    return states.length ? `${states.filter((one) => one === "done" || one === "over").length} of ${states.length} done` : "";
  });
  const classes = choice.classes.map((one, place) => ({ ...one, plots: of.filter((each) => each === place).length }));
  return { ...choice, classes, of, values };
}

let shown = null; // the layer as last drawn

function drawLayer() {
  shown = layerNow();
  data.plots.forEach((plot, place) => {
    const chosen = place === state.plot;
    const { fill } = plotShapes[place];
    fill.setStyle({ fillColor: fillOf(shown.classes[shown.of[place]]) });
    fill.getElement().classList.toggle("chosen", chosen);
    if (chosen) fill.bringToFront();
  });
  drawLegend();
  drawDetails();
  placeLabels();
}

function drawLegend() {
  const choice = byId("choice");
  choice.hidden = state.layer.choices.length < 2;
  choice.setAttribute("aria-label", state.layer.question);
  choice.replaceChildren(...state.layer.choices.map((one, place) => make("option", { value: place,
    selected: place === (state.choices.get(state.layer.id) || 0) }, isolated(one.label))));
  byId("question").textContent = state.layer.question;
  byId("classes").replaceChildren(...shown.classes.filter((one) => one.plots).map((one) => make("li", {},
    swatch(fillOf(one)), make("span", {}, written(one.label)), make("small", {}, `${one.plots} plot${one.plots === 1 ? "" : "s"}`))));
  byId("note").textContent = shown.note;
  const always = [];
  if (data.plots.some((plot) => plot.entrance)) always.push([entranceSign(), "way in"]);
  if (list(data.keepouts).some((one) => one.stated)) always.push([swatch(keepOutFill(true)), "keep-out, and its setback on a plot"]);
  if (list(data.keepouts).some((one) => list(one.ground).length)) always.push([setbackSign(), "how far a setback reaches"]);
  if (list(data.keepouts).some((one) => !one.stated)) always.push([swatch(keepOutFill(false), true), "keep-out, setback not stated"]);
  byId("always").replaceChildren(...always.map(([sign, text]) => make("li", {}, sign, make("span", {}, text))));
}

/** What is only told from near by: ways in, and the places of cores. */
function drawDetails() {
  if (map.getZoom() >= CLOSE) ways.addTo(map);
  else ways.remove();
  corePlaces.clearLayers();
  if (state.layer.id !== "sample" || map.getZoom() < CLOSE) return;
  const view = map.getBounds();
  for (const plot of data.plots) {
    const points = plot.sampling ? list(plot.sampling.points) : [];
    if (!points.length || !view.contains(plot.middle)) continue;
    corePlaces.addLayer(L.polyline(points, { color: "#333", weight: 1, dashArray: "2 4", interactive: false }));
    for (const point of points) {
      corePlaces.addLayer(L.circleMarker(point, { radius: 4, color: "#000", weight: 1, fillColor: "#fff", fillOpacity: 1,
        interactive: false }));
    }
  }
}

// --- labels ----------------------------------------------------------------------------------------

const pen = document.createElement("canvas").getContext("2d");
const LINE = 17;

function cutShort(text, most) {
  const letters = Array.from(text);
  return letters.length <= most ? text : `${letters.slice(0, most - 1).join("")}…`;
}

/** Texts to try for a plot, from the fullest to the shortest. */
function labelTexts(plot, value) {
  const name = cutShort(plot.name, 20);
  const words = cutShort(value || "", 26);
  const id = cutShort(plot.id, 8);
  const tries = [[name, plot.area, words], [name, words], [name], [id, cutShort(words, 12)], [id]];
  return tries.map((lines) => lines.filter(Boolean));
}

/** Put labels where there is room: chosen plot first, then large before small; no label covers another. */
function placeLabels() {
  if (!shown) return;
  pen.font = `700 14px ${getComputedStyle(document.body).fontFamily}`;
  const size = map.getSize();
  const boxes = [];
  const made = [];
  const order = data.plots.map((_, place) => place)
    .sort((a, b) => (b === state.plot) - (a === state.plot) || data.plots[b].spread_m2 - data.plots[a].spread_m2);
  const stopOf = state.round === null ? new Map()
    : new Map(data.rounds[state.round].stops.map((stop, number) => [stop.plot, { ...stop, number: number + 1 }]));
  const scale = map.getZoomScale(map.getZoom(), 0) * (256 / 360); // pixels per degree of longitude
  for (const place of order) {
    const plot = data.plots[place];
    const spot = map.latLngToContainerPoint(plot.middle);
    if (spot.x < -40 || spot.y < -40 || spot.x > size.x + 40 || spot.y > size.y + 40) continue;
    const across = plotWidth(place) * scale;
    if (across < 9 && place !== state.plot && data.plots.length > 40) continue;
    const stop = stopOf.get(place);
    for (const texts of labelTexts(plot, stop ? stop.packages || stop.mass : shown.values[place])) {
      const lines = stop ? [`${stop.number}. ${texts[0]}`, ...texts.slice(1)] : texts;
      const width = Math.max(...lines.map((line) => pen.measureText(line).width)) + 10;
      const height = lines.length * LINE + 4;
      const short = texts[0] === cutShort(plot.id, 8);
      if (width > (short ? across * 2 : Math.max(across * 1.4, 30)) && place !== state.plot) continue;
      const box = [spot.x - width / 2, spot.y - height / 2, spot.x + width / 2, spot.y + height / 2];
      if (boxes.some((b) => box[0] < b[2] && box[2] > b[0] && box[1] < b[3] && box[3] > b[1])) continue;
      boxes.push(box);
      const label = make("div", { class: `label${place === state.plot ? " chosen" : ""} leaflet-zoom-hide` },
        lines.map((line) => make("div", {}, written(line))));
      L.DomUtil.setPosition(label, map.latLngToLayerPoint(plot.middle).subtract([width / 2, height / 2]));
      label.style.width = `${Math.ceil(width)}px`;
      made.push(label);
      break;
    }
  }
  const pane = map.getPane("labels");
  pane.setAttribute("aria-hidden", "true"); // the list says the same
  pane.replaceChildren(...made);
}

const widths = [];
/** Width of a plot in degrees of longitude. */
function plotWidth(place) {
  if (widths[place] === undefined) {
    const east = data.plots[place].outline.flat(2).map((point) => point[1]);
    widths[place] = Math.max(...east) - Math.min(...east);
  }
  return widths[place];
}

// --- paper grid ------------------------------------------------------------------------------------

let gridAt = 0;

/** Squares of a round ground distance, fixed to the ground: a scale you can count. */
function drawGrid() {
  const south = L.latLng(data.bounds[0]);
  const corner = map.latLngToContainerPoint(south);
  const metre = map.latLngToContainerPoint([south.lat, south.lng + 0.01]).subtract(corner).x
    / map.distance(south, [south.lat, south.lng + 0.01]);
  gridAt = data.grid_m.findIndex((step) => step * metre >= 44);
  if (gridAt < 0) gridAt = data.grid_m.length - 1;
  const step = data.grid_m[gridAt] * metre;
  const paper = map.getContainer();
  paper.style.backgroundSize = `${step}px ${step}px`;
  paper.style.backgroundPosition = `${corner.x}px ${corner.y}px`;
  byId("grid").textContent = `Squares are ${data.grid_labels[gridAt]} wide. North is up.`;
}

// --- the round's way -------------------------------------------------------------------------------

function drawWay() {
  roundWay.clearLayers();
  if (state.round === null) return;
  const stops = data.rounds[state.round].stops;
  const spots = stops.map((stop) => data.plots[stop.plot].entrance || data.plots[stop.plot].middle);
  const style = { pane: "way", fill: false, interactive: false };
  roundWay.addLayer(L.polyline(spots, { ...style, className: "way-edge", weight: 6 }));
  roundWay.addLayer(L.polyline(spots, { ...style, className: "way", weight: 3, dashArray: "8 6" }));
  roundWay.addLayer(L.circleMarker(spots[state.stop], { ...style, className: "way", radius: 11, weight: 4 }));
}

// --- where am I ------------------------------------------------------------------------------------

let watch = null;
let ring = null;
let dot = null;

const REFUSED = {
  1: "The phone did not allow this page to know its position. Some browsers never allow it to a page opened from a file.",
  2: "The phone does not know its position just now. Step out from under the trees and try again.",
  3: "The phone took too long to find its position. Try again.",
};

function stopLocating() {
  if (watch !== null) navigator.geolocation.clearWatch(watch);
  watch = null;
  state.position = null;
  if (ring) ring.remove();
  if (dot) dot.remove();
  ring = dot = null;
  byId("locate").setAttribute("aria-pressed", "false");
  drawPlace("");
}

function toggleLocate() {
  if (watch !== null) {
    stopLocating();
    return;
  }
  if (!navigator.geolocation) {
    drawPlace("This browser cannot tell a page where the phone is.");
    return;
  }
  byId("locate").setAttribute("aria-pressed", "true");
  drawPlace("Looking for the position …");
  let first = true;
  watch = navigator.geolocation.watchPosition(({ coords }) => {
    const latlng = L.latLng(coords.latitude, coords.longitude);
    state.position = { latlng, accuracy: coords.accuracy };
    if (!dot) {
      ring = L.circle(latlng, { radius: coords.accuracy, color: "#005fb8", weight: 2, fillOpacity: 0.12, interactive: false }).addTo(map);
      dot = L.circleMarker(latlng, { radius: 8, color: "#fff", weight: 3, fillColor: "#005fb8", fillOpacity: 1,
        interactive: false }).addTo(map);
    }
    ring.setLatLng(latlng).setRadius(coords.accuracy);
    dot.setLatLng(latlng).bringToFront();
    if (first) map.setView(latlng, Math.max(map.getZoom(), 16), { animate: false });
    first = false;
    drawPlace();
  }, (error) => {
    const text = REFUSED[error.code] || error.message;
    stopLocating();
    drawPlace(text);
  }, { enableHighAccuracy: true, maximumAge: 5000, timeout: 30000 });
}

/** Distance to the chosen plot, or to the nearest one. */
function drawPlace(text) {
  if (text !== undefined) {
    byId("where").textContent = text;
    return;
  }
  const { latlng, accuracy } = state.position;
  let place = state.plot;
  if (place === null) {
    const far = data.plots.map((plot) => map.distance(latlng, plot.entrance || plot.middle));
    place = far.indexOf(Math.min(...far));
  }
  const plot = data.plots[place];
  byId("where").replaceChildren(make("b", {}, `± ${lengthText(accuracy)}`), state.plot === null ? " Nearest: " : " ",
    written(cutShort(plot.name, 24)), plot.entrance ? ", entrance " : ", middle (entrance not stated) ",
    wayText(latlng, L.latLng(plot.entrance || plot.middle)));
}

// --- moving ----------------------------------------------------------------------------------------

/** Fit the map to an area, clear of the key on a wide screen and of the open sheet on a small one. */
function goTo(bounds, maxZoom = 17.5) {
  const printing = document.body.classList.contains("printing");
  const beside = isWide() && !printing ? byId("key").offsetWidth + 24 : 16;
  const covered = isWide() || printing || state.view === "map" ? 16 : map.getSize().y * 0.54 + 8;
  const above = isWide() || printing ? 16 : 64;
  map.fitBounds(bounds, { paddingTopLeft: [beside, above], paddingBottomRight: [16, covered], maxZoom, animate: false });
}

const goHome = () => goTo(data.bounds, 20);
