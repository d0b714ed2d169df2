// Here and there: in which plot the phone is, how far it is to the nearest edge and to the plot chosen, and the map
// that follows the phone until somebody moves it.

/** Metres in a degree of latitude and of longitude, on the WGS84 ellipsoid at a latitude. */
function degreeMetres(latitude) {
  const [axis, squashed] = [6378137, 0.00669437999014]; // semi-major axis [m] and first eccentricity squared
  const sine = Math.sin(latitude * (Math.PI / 180));
  const narrow = Math.sqrt(1 - squashed * sine * sine);
  return [(axis * (1 - squashed)) / narrow ** 3, (axis / narrow) * Math.cos(latitude * (Math.PI / 180))]
    .map((radius) => radius * (Math.PI / 180));
}

/** Whether a place is within some polygons, holes taken out: a ray east crosses their edges an odd number of times. */
function within(polygons, { lat, lng }) {
  return list(polygons).some((polygon) => polygon.flatMap((ring) => ring.map((a, i) => [a, ring[(i + 1) % ring.length]]))
    .filter(([a, b]) => (a[0] > lat) !== (b[0] > lat) && lng < a[1] + ((lat - a[0]) / (b[0] - a[0])) * (b[1] - a[1]))
    .length % 2 === 1);
}

/** The nearest edge of a plot: {metres, spot}. Inside the plot the distance is zero; `rim` is to the edge all the same. */
function edgeOf(place, here) {
  const [north, east] = degreeMetres(here.lat);
  let best = { rim: Infinity, spot: here };
  for (const ring of data.plots[place].outline.flat()) {
    ring.forEach((from, i) => {
      const to = ring[(i + 1) % ring.length];
      const [ax, ay] = [(from[1] - here.lng) * east, (from[0] - here.lat) * north];
      const [bx, by] = [(to[1] - from[1]) * east, (to[0] - from[0]) * north];
      const along = Math.min(1, Math.max(0, -(ax * bx + ay * by) / (bx * bx + by * by || 1)));
      const rim = Math.hypot(ax + along * bx, ay + along * by);
      if (rim < best.rim) {
        best = { rim, spot: L.latLng(from[0] + along * (to[0] - from[0]), from[1] + along * (to[1] - from[1])) };
      }
    });
  }
  return { ...best, metres: within(data.plots[place].outline, here) ? 0 : best.rim };
}

/** Where a place is: the plots it is in, the nearest edge, and the keep-outs it is on. */
function placeOf(here) {
  const edges = data.plots.map((_, place) => edgeOf(place, here));
  const inside = data.plots.map((_, place) => place).filter((place) => edges[place].metres === 0);
  const among = inside.length ? inside : data.plots.map((_, place) => place);
  const nearest = among.reduce((a, b) => (edges[b].rim < edges[a].rim ? b : a));
  const off = list(data.keepouts).filter((one) => within(one.ground, here) || within(one.polygons, here));
  return { inside, nearest, ...edges[nearest], off };
}

// --- the way there -----------------------------------------------------------------------------------

/** A place that the phone's own navigation opens (RFC 5870). */
const geoLink = (spot) => make("p", { class: "actions" },
  make("a", { class: "button", href: `geo:${spot[0].toFixed(6)},${spot[1].toFixed(6)}` }, "Open in the phone's navigation"));

/** Ways of a kind, said in a line each. */
const wayLines = (kind) => list(data.ways).filter((one) => one.kind === kind)
  .map((one) => make("p", {}, make("b", {}, one.kind === "contact" ? "Contact: " : "Loading: "), written(one.text)));

// --- where am I --------------------------------------------------------------------------------------

let watch = null;
let ring = null;
let dot = null;
let following = false;

const REFUSED = "The phone did not allow this page to know its position. Some browsers never allow it to a page opened from a file.";
const LOST = {
  2: "The phone does not know its position just now. Step out from under the trees; it is still looking.",
  3: "The phone has not found its position yet; it is still looking.",
};

function stopLocating() {
  if (watch !== null) navigator.geolocation.clearWatch(watch);
  watch = null;
  state.position = null;
  if (ring) ring.remove();
  if (dot) dot.remove();
  ring = dot = null;
  following = false;
  byId("mine").hidden = true;
  byId("locate").setAttribute("aria-pressed", "false");
  drawPlace("");
}

/** The map goes where the phone goes, until it is moved. */
function follow() {
  following = true;
  byId("mine").hidden = true;
  if (!state.position) return;
  const zoom = Math.max(map.getZoom(), 16);
  const covered = isWide() || isLow() || state.view === "map" ? 0 : map.getSize().y * 0.54;
  map.setView(map.unproject(map.project(state.position.latlng, zoom).add([0, covered / 2]), zoom), zoom, { animate: false });
}

function unfollow() {
  following = false;
  byId("mine").hidden = watch === null;
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
  following = true;
  watch = navigator.geolocation.watchPosition(takeFix, loseFix, { enableHighAccuracy: true, maximumAge: 5000, timeout: 30000 });
}

function takeFix({ coords }) {
  const latlng = L.latLng(coords.latitude, coords.longitude);
  state.position = { latlng, accuracy: coords.accuracy, lost: "" };
  if (!dot) {
    ring = L.circle(latlng, { radius: coords.accuracy, className: "here", color: "#005fb8", weight: 2, fillOpacity: 0.12,
      interactive: false }).addTo(map);
    dot = L.circleMarker(latlng, { radius: 8, color: "#fff", weight: 3, fillColor: "#005fb8", fillOpacity: 1,
      interactive: false }).addTo(map);
  }
  ring.setLatLng(latlng).setRadius(coords.accuracy).setStyle({ dashArray: null });
  dot.setLatLng(latlng).setStyle({ fillColor: "#005fb8" }).bringToFront();
  if (following) follow();
  drawPlace();
  walkOn(false);
}

/** A fix that is lost is told, and the phone goes on looking; only a refusal ends it. */
function loseFix(error) {
  if (error.code === 1) {
    stopLocating();
    drawPlace(REFUSED);
    return;
  }
  if (!state.position) {
    drawPlace(LOST[error.code] || error.message);
    return;
  }
  state.position.lost ||= nowTime();
  ring.setStyle({ dashArray: "4 6" });
  dot.setStyle({ fillColor: "#6b6b6b" });
  drawPlace();
}

/** Say where the phone is, and the way from there to the plot that is chosen. */
function drawPlace(text) {
  if (text !== undefined) {
    byId("where").textContent = text;
    return;
  }
  const { latlng, accuracy, lost } = state.position;
  const { inside, nearest, rim, spot, off } = placeOf(latlng);
  const name = (place) => make("b", {}, written(cutShort(plotName(data.plots[place]), 40)));
  const here = inside.length ? [lost ? "You were in " : "You are in ", ...inside.flatMap((place, i) => [i ? " and " : "", name(place)])]
    : ["Nearest: ", name(nearest), `, its edge ${wayText(latlng, spot)}`];
  const doubt = inside.length && rim < accuracy ? `; its edge is ${wayText(latlng, spot)}` : "";
  const chosen = state.plot !== null && !inside.includes(state.plot) ? data.plots[state.plot] : null;
  const goal = chosen && L.latLng(chosen.entrance || chosen.middle);
  byId("where").replaceChildren(...[
    lost ? make("b", {}, `Position lost at ${lost}. `) : "",
    ...here, `, ± ${lengthText(accuracy)}`, doubt, ". ",
    ...off.map((one) => make("b", { class: "problem" }, "Keep-out: ", written(one.name), ". Spread nothing here. ")),
    ...(chosen ? ["To ", name(state.plot), chosen.entrance ? ": entrance " : ": middle (entrance not stated) ",
      wayText(latlng, goal), "."] : []),
  ].filter(Boolean));
}
