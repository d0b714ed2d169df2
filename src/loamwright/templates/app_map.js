// The map one draws on: shows what there is, draws with the corner layer, and asks the server for every figure.
import { Corners } from "/static/corners.js";

const draw = byId("draw");
const DRAFT = `loamwright-draft-${draw.dataset.uid}`;
const SHAPED = ["plot", "redraw", "hole", "split", "part", "keep-out", "way"]; // the others need no drawing

document.body.dataset.stay = "yes"; // another tab's change does not throw a drawing away

const map = L.map("map", { zoomSnap: 0.25, maxZoom: 22, zoomControl: false, attributionControl: Boolean(draw.dataset.tiles) });
L.control.zoom({ position: "bottomright" }).addTo(map); // under the thumb, and out of the way of what is drawn
L.control.scale({ maxWidth: 140 }).addTo(map);
if (draw.dataset.tiles) {
  L.tileLayer(draw.dataset.tiles, { attribution: draw.dataset.credit, maxZoom: 22, maxNativeZoom: Number(draw.dataset.nearest) }).addTo(map);
}

makePanes(map);
const drawn = L.featureGroup().addTo(map);
let held = { plots: [], keepouts: [], ways: [], parts: [] };
let lastChange = null;

// --- shapes to and from GeoJSON ----------------------------------------------------------------------------

const flip = ([a, b]) => [b, a];
const ringOf = (ring) => ring.slice(0, -1).map(flip);
const shapeOf = (geometry) => (geometry.type === "Polygon" ? [geometry.coordinates] : geometry.coordinates)
  .map((part) => part.map(ringOf));

function geometryOf(shape, kind) {
  if (kind === "point") return { type: "Point", coordinates: flip(shape[0][0][0]) };
  if (kind === "line") return { type: "LineString", coordinates: shape[0][0].map(flip) };
  const closed = shape.map((part) => part.map((ring) => [...ring, ring[0]].map(flip)));
  return closed.length === 1 ? { type: "Polygon", coordinates: closed[0] } : { type: "MultiPolygon", coordinates: closed };
}

// --- asking ------------------------------------------------------------------------------------------------

async function ask(address, data) {
  const answer = await fetch(address, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(data) });
  return answer.json();
}

let asking = false;
let waiting = null;

/** Measure; one question out at a time, and only the newest waits. */
async function measure(shape, kind) {
  if (kind !== "ring") return;
  if (asking) { waiting = [shape, kind]; return; }
  asking = true;
  try {
    // Only a boundary is held against the other plots; a hole or a keep-out may lie over them.
    const own = { plot: [], redraw: [byId("which").value] }[tool()] ?? held.plots.map((one) => one.id);
    const told = await ask("/draw/measure", { shape: geometryOf(shape, kind), own });
    byId("area").textContent = told.area ? `${told.area}, ${told.around} around` : "";
    byId("area").dataset.m2 = told.area_m2 ?? "";
    showProblems(told.problems);
  } catch {
    byId("area").textContent = "The program does not answer; your drawing is kept here until it does.";
  }
  asking = false;
  if (waiting) {
    const next = waiting;
    waiting = null;
    measure(...next);
  }
}

function showProblems(problems) {
  byId("wrong").replaceChildren(...problems.map(({ level, what, fix }) => {
    const box = document.createElement("div");
    box.className = `caution ${{ error: "stop", warning: "care", note: "note" }[level] || "stop"}`;
    const text = document.createElement("p");
    text.textContent = `${what}. ${fix}`;
    box.append(text);
    return box;
  }));
}

// --- what there is -----------------------------------------------------------------------------------------

/** The places of a GeoJSON geometry by their kind, as latitude and longitude. */
function placesOf(geometry) {
  if (geometry.type === "GeometryCollection") {
    const each = geometry.geometries.map(placesOf);
    return Object.fromEntries(["points", "paths", "polygons"].map((kind) => [kind, each.flatMap((one) => one[kind])]));
  }
  const several = geometry.type.startsWith("Multi") ? geometry.coordinates : [geometry.coordinates];
  const found = { points: [], paths: [], polygons: [] };
  if (geometry.type.endsWith("Point")) found.points = several.map(flip);
  else if (geometry.type.endsWith("LineString")) found.paths = several.map((path) => path.map(flip));
  else found.polygons = several.map((polygon) => polygon.map((ring) => ring.map(flip)));
  return found;
}

/** What may be tapped for its name, unless a tap is a corner. */
function named(shape, ...texts) {
  const told = L.popup().setContent(make("div", {}, texts.map((text) => make("p", {}, written(text)))));
  return shape.on("click", ({ latlng }) => { if (!corners.kind) told.setLatLng(latlng).openOn(map); });
}

async function load() {
  held = await (await fetch("/draw/shapes")).json();
  drawn.clearLayers();
  for (const one of held.keepouts) {
    one.ground = one.ground ? placesOf(one.ground).polygons : [];
    if (one.ground.length) setbackShape(one.ground).addTo(drawn);
    named(keepOutShape({ ...placesOf(one.shape), stated: one.stated }), one.name,
      one.stated ? `Setback ${one.setback}.` : "Setback not stated: ask for the local distance before you spread near it.").addTo(drawn);
  }
  for (const one of held.ways) wayShape(placesOf(one.shape)).addTo(drawn);
  for (const one of held.plots) {
    const places = { outline: placesOf(one.shape).polygons, spread: one.spread ? placesOf(one.spread).polygons : [] };
    const { under, fill } = plotShape(places, one.cut, 0.9);
    for (const shape of [under, fill]) shape?.on("click", (event) => choosePlot(one.id, event)).addTo(drawn);
    const bounds = L.latLngBounds(places.outline.flat(2));
    Object.assign(one, { layer: fill, under, middle: one.middle.slice().reverse(), degrees: bounds.getEast() - bounds.getWest() });
  }
  for (const one of held.parts) L.polygon(placesOf(one.shape).polygons, { className: "part", interactive: false }).addTo(drawn);
  drawChoice();
  loadColours();
}

// --- colours, key and labels -------------------------------------------------------------------------------

let layers = []; // the questions of the field map, when they are worked out

const chosenColour = () => {
  const [layer, choice] = byId("choice").value.split("/").map(Number);
  return byId("choice").value === "" ? null : { question: layers[layer].question, ...layers[layer].choices[choice] };
};

/** What the plots may be coloured by; worked out by the server, so it comes after the map. */
async function loadColours() {
  try {
    ({ layers } = await (await fetch("/draw/colours")).json());
  } catch { /* the server is away: the map stays as it is */ }
  const before = byId("choice").value;
  byId("choice").replaceChildren(new Option("nothing", ""), ...layers.map((layer, place) => make("optgroup", { label: layer.label },
    layer.choices.map((one, each) => make("option", { value: `${place}/${each}` }, isolated(one.label))))));
  if ([...byId("choice").options].some((one) => one.value === before)) byId("choice").value = before;
  drawChoice();
}

/** Colour the plots, and say in the key what that means. */
function drawChoice() {
  const chosen = chosenColour(), seenThrough = pictured(map) || below.isConnected;
  map.getContainer().classList.toggle("pictured", seenThrough);
  held.plots.forEach((one, place) => {
    one.under?.setStyle({ fillOpacity: chosen || !seenThrough ? 1 : 0 }); // what is see-through shows no hatching below it
    if (chosen) one.layer.setStyle({ fillColor: fillOf(chosen.classes[chosen.of[place]]), fillOpacity: seenThrough ? 0.6 : 0.9 });
    one.layer.getElement()?.classList.toggle("plain", !chosen);
  });
  const ways = held.ways.length ? [[waySign(), "way"]] : [];
  showKey(chosen?.question ?? "", chosen?.classes ?? [], chosen?.note ?? "", [...ways, ...keepOutSigns(held.keepouts)]);
  drawLabels();
}

function drawLabels() {
  if (!held.grid_m) return;
  const values = chosenColour()?.values ?? [];
  const wanted = held.plots.map((one, place) => ({ middle: one.middle, degrees: one.degrees, id: one.id,
    tries: labelTexts(one, values[place]) }));
  layLabels(map, wanted.sort((a, b) => b.degrees - a.degrees));
  const [chosen] = drawSquares(map, map.getBounds().getSouthWest(), held.grid_m);
  byId("grid").textContent = `Squares are ${held.grid_labels[chosen]} wide. North is up.`;
}

function choosePlot(id, event) {
  if (corners.kind) return; // while drawing a tap is a corner
  L.DomEvent.stopPropagation(event);
  if (byId("which").value !== id) byId("which").value = id;
  if (byId("tool").value === "") window.location.href = `/plots/${encodeURIComponent(id)}`;
  else startTool();
}

function goHome() {
  const bounds = drawn.getBounds();
  if (bounds.isValid()) map.fitBounds(bounds, { padding: [20, 20], maxZoom: 18, animate: false });
  else if (draw.dataset.at) map.setView(draw.dataset.at.split(",").map(Number), 16);
  else map.setView([46.05, -93.05], 15);
}

// --- drawing -----------------------------------------------------------------------------------------------

const corners = new Corners(map, {
  neighbours: () => held.plots.filter((one) => byId("tool").value !== "redraw" || one.id !== byId("which").value)
    .flatMap((one) => shapeOf(one.shape).flat()),
  onChange: (shape, what) => {
    if (what !== "moving") keepDraft();
    if (corners.kind !== "ring" || shape[0][0].length >= 3) measure(shape, corners.kind);
    else byId("area").textContent = "";
    showButtons();
  },
  onChoose: () => showButtons(),
  say: (text) => { byId("said").textContent = text; },
});

const tool = () => byId("tool").value;
const plot = () => held.plots.find((one) => one.id === byId("which").value);

function keepDraft() {
  const fields = Object.fromEntries(["which", "other", "name", "keepout-kind", "way-kind", "setback", "drawn-as"].map((id) => [id, byId(id).value]));
  const state = { tool: tool(), print: print(), fields, corners: corners.state };
  const short = { ...state, corners: { ...state.corners, past: [] } }; // the steps back of a large boundary may not fit
  for (const one of [state, short]) {
    try { return void localStorage.setItem(DRAFT, JSON.stringify(one)); } catch { /* full, or not allowed */ }
  }
  byId("said").textContent = "This browser keeps no draft.";
}

const forgetDraft = () => { try { localStorage.removeItem(DRAFT); } catch { /* nothing was kept */ } };

let taken = ""; // mark of the boundary a change was begun from
const print = () => taken;

// A drawing left for another tool or plot waits here, and goes on with the next tool that draws alike.
const aside = new Map();
let begun = ""; // as what the open drawing waits

function waitsAs(kind) {
  if (kind === "redraw") return `redraw ${byId("which").value}`;
  if (kind === "keep-out" || kind === "way") return byId("drawn-as").value;
  return { plot: "ring", hole: "ring", part: "ring", split: "line" }[kind] ?? "";
}

/** Let go of the open drawing: it was kept, or is not wanted. */
function endDrawing() {
  corners.stop();
  aside.delete(begun);
  forgetDraft();
  byId("tool").value = "";
}

function showPlot() {
  const bounds = L.geoJSON(plot().shape).getBounds();
  map.fitBounds(bounds, { padding: [40, 40], maxZoom: 20, animate: false });
}

function startTool() {
  if (corners.kind && corners.past.length) aside.set(begun, [corners.state, taken]);
  corners.stop();
  byId("wrong").replaceChildren();
  byId("area").textContent = byId("area").dataset.m2 = "";
  const kind = tool();
  for (const field of document.querySelectorAll("[data-for]")) field.hidden = !field.dataset.for.split(" ").includes(kind);
  taken = ["redraw", "hole", "split"].includes(kind) ? plot()?.print || "" : "";
  begun = waitsAs(kind);
  const waiting = aside.get(begun);
  if (waiting) {
    if (kind === "redraw") taken = waiting[1];
    corners.resume(waiting[0]);
  } else if (kind === "redraw" && plot()) {
    corners.edit(shapeOf(plot().shape));
    // Who only looks through the tools keeps the view.
    if (!map.getBounds().contains(L.geoJSON(plot().shape).getBounds())) showPlot();
    measure(corners.shape, "ring");
  } else if (begun && kind !== "redraw") corners.start(begun);
  byId("said").textContent = waiting ? "Your drawing is still here: go on, keep it or leave it." : { "": "",
    plot: "Tap the corners one after the other; tap the first again to close.",
    redraw: "Drag a corner; drag a small mark to add one.", split: "Draw a line across the plot.",
    hole: "Draw around what is taken out; over the edge it is a bite." }[kind] ?? "";
  showButtons();
}

function showButtons() {
  const drawing = Boolean(corners.kind);
  byId("while-drawing").hidden = !drawing;
  if (drawing) {
    byId("step-back").disabled = !corners.past.length;
    byId("step-on").disabled = !corners.future.length;
    byId("remove").disabled = !corners.chosen;
    byId("close").hidden = !(corners.open && corners.kind === "ring" && corners.complete);
  }
  const ready = SHAPED.includes(tool()) ? drawing && corners.complete && (corners.kind !== "ring" || !corners.open) : tool() !== "";
  byId("keep").hidden = !ready;
  byId("leave").hidden = tool() === "";
}

/** The file is as this page left it: nobody changed it elsewhere. */
function isOurs(told) {
  document.body.dataset.mark = told.mark;
  document.dispatchEvent(new Event("kept"));
}

async function keep(anyway) {
  const data = {
    what: tool(), plot: byId("which").value, other: byId("other").value, print: anyway ? "" : print(),
    name: byId("name").value, kind: byId(tool() === "way" ? "way-kind" : "keepout-kind").value, setback: byId("setback").value,
    plots: [...document.querySelectorAll("input[name=merge]:checked")].map((one) => one.value),
  };
  if (corners.kind) data.shape = geometryOf(corners.shape, corners.kind);
  byId("keep").disabled = true;
  let told;
  try {
    told = await ask("/draw/keep", data);
  } catch {
    told = { ok: false, problems: [{ level: "error", what: "the program does not answer", fix: "Your drawing is kept here; keep it again when it does." }] };
  }
  byId("keep").disabled = false;
  byId("mine").hidden = !told.problems.some((one) => one.choices?.length);
  showProblems(told.problems);
  if (!told.ok) return;
  endDrawing();
  lastChange = told.change;
  isOurs(told);
  for (const id of ["name", "keepout-kind", "way-kind", "setback"]) byId(id).value = ""; // of this one, not of the next
  startTool();
  showProblems(told.problems);
  await load();
  refill();
  byId("said").textContent = told.sentence;
  byId("back").hidden = !lastChange;
}

/** The lists of plots, as they are now. */
function refill() {
  for (const id of ["which", "other"]) {
    const chosen = byId(id).value;
    byId(id).replaceChildren(...held.plots.map((one) => new Option(`${one.id} ${one.name}`, one.id)));
    if (held.plots.some((one) => one.id === chosen)) byId(id).value = chosen;
  }
  const legend = document.querySelector("fieldset[data-for=merge] legend");
  legend.parentElement.replaceChildren(legend, ...held.plots.map((one) => {
    const row = document.createElement("label");
    row.className = "check";
    const box = document.createElement("input");
    Object.assign(box, { type: "checkbox", name: "merge", value: one.id });
    row.append(box, ` ${one.id} ${one.name}`);
    return row;
  }));
}

async function lay(what) {
  const { lat, lng } = map.getCenter();
  const told = await ask("/draw/lay", { what, middle: [lng, lat], length: byId("length").value, width: byId("width").value, bearing: byId("bearing").value });
  if (!told.ok) return void showProblems(told.problems);
  corners.edit(shapeOf(told.shape));
  corners.changed("laid");
}

// --- a picture of the user's own, pinned by points ---------------------------------------------------------

/** Least-squares affine map from picture pixels to map pixels; of two points the similarity that fits them. */
function pinned(pairs) {
  if (pairs.length === 2) {
    const [[p, q], [r, s]] = pairs;
    const dx = r.x - p.x, dy = r.y - p.y, ex = s.x - q.x, ey = s.y - q.y;
    const long = dx * dx + dy * dy;
    const a = (ex * dx + ey * dy) / long, b = (ey * dx - ex * dy) / long;
    return [a, b, -b, a, q.x - a * p.x + b * p.y, q.y - b * p.x - a * p.y];
  }
  const n = [[0, 0, 0], [0, 0, 0], [0, 0, 0]];
  const u = [0, 0, 0], v = [0, 0, 0];
  for (const [p, q] of pairs) {
    const row = [p.x, p.y, 1];
    row.forEach((one, i) => { row.forEach((two, j) => { n[i][j] += one * two; }); u[i] += one * q.x; v[i] += one * q.y; });
  }
  const [x, y] = [u, v].map((right) => solve(n.map((line) => line.slice()), right.slice()));
  return [x[0], y[0], x[1], y[1], x[2], y[2]];
}

function solve(n, right) {
  for (let i = 0; i < 3; i += 1) {
    const best = [0, 1, 2].slice(i).reduce((a, b) => (Math.abs(n[b][i]) > Math.abs(n[a][i]) ? b : a));
    [n[i], n[best], right[i], right[best]] = [n[best], n[i], right[best], right[i]];
    for (let j = i + 1; j < 3; j += 1) {
      const share = n[j][i] / n[i][i];
      for (let k = i; k < 3; k += 1) n[j][k] -= share * n[i][k];
      right[j] -= share * right[i];
    }
  }
  for (let i = 2; i >= 0; i -= 1) {
    for (let k = i + 1; k < 3; k += 1) right[i] -= n[i][k] * right[k];
    right[i] /= n[i][i];
  }
  return right;
}

const pins = [];
let pinPoint = null;
const below = document.createElement("img");
below.className = "below";
below.alt = "";

function layPicture() {
  const pairs = pins.map(([p, at]) => [p, map.latLngToLayerPoint(at)]);
  below.style.transform = `matrix(${pinned(pairs).join(",")})`;
}

let laid = null;
map.createPane("below").style.zIndex = 150;

function takePictureAway() {
  below.remove();
  laid?.remove();
  pins.length = 0;
  byId("pin-told").textContent = "";
  drawChoice();
}

/** A GeoTIFF says where it lies; the program makes a picture of it that a browser can show. */
async function layGround(file) {
  byId("pins").hidden = false;
  byId("pin-picture").hidden = byId("pin-lay").hidden = true;
  byId("pin-told").textContent = "Reading it …";
  const form = new FormData();
  form.append("picture", file);
  let told;
  try {
    told = await (await fetch("/draw/picture", { method: "POST", body: form })).json();
  } catch {
    told = { ok: false, problems: [{ what: "it could not be read", fix: "Is it larger than 20 MB?" }] };
  }
  byId("pin-told").textContent = told.ok ? "It lies below." : told.problems.map(({ what, fix }) => `${what}. ${fix}`).join(" ");
  if (!told.ok) return;
  laid = L.imageOverlay(told.picture, told.corners, { pane: "below", opacity: 0.8 }).addTo(map);
  drawChoice();
  if (!map.getBounds().intersects(told.corners)) map.fitBounds(told.corners, { animate: false });
}

byId("picture").addEventListener("change", ({ target }) => {
  if (!target.files.length) return;
  takePictureAway();
  if (/\.tiff?$/i.test(target.files[0].name)) return void layGround(target.files[0]);
  byId("pin-picture").hidden = byId("pin-lay").hidden = false;
  const address = URL.createObjectURL(target.files[0]);
  byId("pin-picture").src = below.src = address;
  pins.length = 0;
  byId("pins").hidden = false;
  byId("pin-told").textContent = "Tap a point in the picture.";
});
byId("pin-picture").addEventListener("click", (event) => {
  const box = event.target.getBoundingClientRect();
  const scale = event.target.naturalWidth / box.width;
  pinPoint = { x: (event.clientX - box.left) * scale, y: (event.clientY - box.top) * scale };
  byId("pin-told").textContent = "Now tap the same place on the map.";
});
map.on("click", ({ latlng }) => {
  if (!pinPoint || pins.length >= 4) return;
  pins.push([pinPoint, latlng]);
  pinPoint = null;
  byId("pin-told").textContent = `${pins.length} of 2 to 4 points.`;
});
byId("pin-lay").addEventListener("click", () => {
  if (pins.length < 2) return void (byId("pin-told").textContent = "It needs two points at least.");
  map.getPane("below").append(below);
  map.on("zoom viewreset", layPicture);
  layPicture();
  drawChoice();
});
byId("pin-away").addEventListener("click", takePictureAway);

// --- putting it together -----------------------------------------------------------------------------------

byId("tool").addEventListener("change", () => { byId("back").hidden = true; startTool(); });
byId("which").addEventListener("change", () => { if (tool()) startTool(); });
byId("drawn-as").addEventListener("change", startTool);
for (const id of ["name", "keepout-kind", "way-kind", "setback"]) byId(id).addEventListener("input", () => { if (corners.kind) keepDraft(); });
byId("step-back").addEventListener("click", () => corners.undo());
byId("step-on").addEventListener("click", () => corners.redo());
byId("remove").addEventListener("click", () => corners.removeCorner());
byId("close").addEventListener("click", () => corners.close());
byId("keep").addEventListener("click", () => keep(false));
byId("mine").addEventListener("click", () => keep(true));
byId("leave").addEventListener("click", () => { endDrawing(); startTool(); });
byId("lay-rectangle").addEventListener("click", () => lay("rectangle"));
byId("lay-circle").addEventListener("click", () => lay("circle"));
byId("back").addEventListener("click", async () => {
  const told = await ask("/draw/back", { change: lastChange });
  showProblems(told.problems);
  if (!told.ok) return;
  isOurs(told);
  byId("said").textContent = told.sentence;
  byId("back").hidden = true;
  await load();
  refill();
});

map.on("moveend zoomend resize", drawLabels);
byId("choice").addEventListener("change", drawChoice);
map.setView([46.05, -93.05], 15);
await load();
goHome();
refill();
if (draw.dataset.plot) byId("which").value = draw.dataset.plot;
const draft = JSON.parse(localStorage.getItem(DRAFT) || "null");
if (draft?.corners) {
  for (const [id, value] of Object.entries(draft.fields)) byId(id).value = value;
  byId("tool").value = draft.tool;
  startTool();
  taken = draft.print;
  corners.resume(draft.corners);
  byId("said").textContent = "This drawing is not kept yet: go on, keep it or leave it.";
} else if (draw.dataset.plot) {
  byId("tool").value = "redraw";
  startTool();
  showPlot();
} else if (draw.dataset.new) {
  byId("tool").value = draw.dataset.new;
  startTool();
}
document.body.dataset.ready = "yes";
