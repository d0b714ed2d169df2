// The map itself: paper grid, keep-outs, plots with their fills, labels that give way to each other,
// core places, and the round's way.

// --- shapes ----------------------------------------------------------------------------------------

const plotShapes = []; // per plot {under, fill}
const keepOutShapes = [];
const corePlaces = L.layerGroup();
const ways = L.layerGroup();
const CLOSE = 16; // zoom from which ways in and core places are drawn
const roundWay = L.layerGroup();
const tracks = L.layerGroup(); // with gates, bridges and loading places

makePanes(map);

function drawGround() {
  const fillOpacity = pictured(map) ? 0.6 : 0.9;
  for (const { ground } of list(data.keepouts)) {
    if (list(ground).length) setbackShape(ground).addTo(map);
  }
  if (list(data.context).length) {
    L.polygon(data.context, { pane: "ground", color: "#6b6b6b", weight: 1, fill: false, interactive: false }).addTo(map);
  }
  data.plots.forEach((plot, place) => {
    const cut = list(plot.spread).length > 0 || plot.spread_m2 === 0;
    const { under, fill } = plotShape(plot, cut, fillOpacity);
    for (const shape of [under, fill]) shape?.on("click", () => choosePlot(place, false)).addTo(map);
    plotShapes.push({ under, fill });
  });
  list(data.keepouts).forEach((one) => {
    const shape = keepOutShape(one).addTo(map);
    shape.bindPopup(() => make("div", {}, make("b", {}, written(one.name)), make("p", {}, written(one.setback)),
      make("p", {}, one.stated ? "Nothing is spread here or within the setback."
        : "Ask for the local distance before you spread near it.")));
    keepOutShapes.push(shape);
  });
  for (const { entrance } of data.plots) {
    if (entrance) ways.addLayer(L.circleMarker(entrance, { className: "entrance", radius: 4.5, fillOpacity: 1, interactive: false }));
  }
  for (const one of list(data.ways)) {
    if (!list(one.points).length && !list(one.paths).length) continue;
    const about = make("div", {}, make("b", {}, written(one.kind)), make("p", {}, written(one.text)));
    tracks.addLayer(wayShape(one).bindPopup(() => about));
  }
  tracks.addTo(map);
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
  const entrances = data.plots.some((plot) => plot.entrance) ? [[entranceSign(), "way in"]] : [];
  const trodden = list(data.ways).length ? [[waySign(), "track, gate, bridge or loading place"]] : [];
  showKey(state.layer.question, shown.classes, shown.note, [...entrances, ...trodden, ...keepOutSigns(list(data.keepouts))]);
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

/** Label the plots: the chosen one first, then large before small. */
function placeLabels() {
  if (!shown) return;
  const order = data.plots.map((_, place) => place)
    .sort((a, b) => (b === state.plot) - (a === state.plot) || data.plots[b].spread_m2 - data.plots[a].spread_m2);
  const stopOf = state.round === null ? new Map()
    : new Map(data.rounds[state.round].stops.map((stop, number) => [stop.plot, { ...stop, number: number + 1 }]));
  layLabels(map, order.map((place) => {
    const plot = data.plots[place];
    const stop = stopOf.get(place);
    return { middle: plot.middle, degrees: plotWidth(place), id: plot.id, chosen: place === state.plot, number: stop?.number,
      tries: labelTexts(plot, stop ? stop.packages || stop.mass : shown.values[place]) };
  }));
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

function drawGrid() {
  const [chosen, width] = drawSquares(map, L.latLng(data.bounds[0]), data.grid_m);
  const size = data.grid_labels[chosen];
  byId("grid").textContent = `Squares are ${size} wide. North is up.`;
  byId("scale-size").textContent = size;
  byId("scale-size").style.width = `${width}px`;
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

// --- moving ----------------------------------------------------------------------------------------

/** Fit the map to an area, clear of the key on a wide screen and of the open sheet on a small one. */
function goTo(bounds, maxZoom = 17.5) {
  unfollow();
  const printing = document.body.classList.contains("printing");
  const beside = isWide() && !printing ? byId("key").offsetWidth + 24 : 16;
  const below = state.view === "map" ? byId("place").offsetHeight : map.getSize().y * 0.54;
  const onItsSide = isLow() && !printing && state.view !== "map";
  const covered = isWide() || printing || onItsSide ? 16 : below + 8;
  const above = isWide() || printing ? 16 : 64;
  map.fitBounds(bounds, { paddingTopLeft: [beside, above], paddingBottomRight: [onItsSide ? map.getSize().x * 0.54 : 16, covered], maxZoom, animate: false });
}

const goHome = () => goTo(data.bounds, 20);
