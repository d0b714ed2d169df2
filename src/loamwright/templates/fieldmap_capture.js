// What is seen in the field: a boundary walked, a spot marked, a soil core taken. It is kept on this phone with its
// place and how well the phone knows it, goes home with the records, and changes nothing until somebody takes it over.

const SPOTS = ["wet", "washed out", "new keep-out", "blocked gate", "something else"];
const PACES_M = 8; // a fix about every ten paces: nearer together they drift alike

let captured = shelf.get("captured", []); // [{item, sent, saved, arrived}]
let walk = shelf.get("walk", null); // the walk under way: {plot_id, note, fixes}

const capturedToSend = () => captured.filter((one) => !one.arrived);

function keepCaptured(change) {
  captured = change(shelf.get("captured", []));
  const lasting = shelf.put("captured", captured);
  drawCaptured();
  drawRecords();
  return lasting;
}

function capture(kind, said) {
  const { operator = "" } = shelf.get("last", {});
  const item = { captured_id: newId(), kind, plot_id: "", what: "", note: "", operator, fixes: [],
    taken_at: `${new Date().toISOString().slice(0, 19)}Z`, ...said };
  const lasting = keepCaptured((all) => [...all, { item, sent: "" }]);
  say(lasting ? "Kept on this phone. It goes home with the records." : LOSING);
  return item;
}

const fixNow = () => {
  const { latlng, accuracy } = state.position;
  return [Number(latlng.lat.toFixed(7)), Number(latlng.lng.toFixed(7)), Number(accuracy.toFixed(1))];
};

// --- on the map --------------------------------------------------------------------------------------

const capturedMarks = L.layerGroup().addTo(map);

function drawCaptured() {
  capturedMarks.clearLayers();
  const style = { className: "captured", fill: false, interactive: false, weight: 3 };
  for (const { item } of captured) {
    const spots = item.fixes.map(([lat, lng]) => [lat, lng]);
    capturedMarks.addLayer(item.kind === "walk" ? L.polygon(spots, { ...style, dashArray: "2 5" })
      : L.circleMarker(spots[0], { ...style, radius: item.kind === "core" ? 5 : 9 }));
  }
  if (walk && walk.fixes.length) capturedMarks.addLayer(L.polyline(walk.fixes.map(([lat, lng]) => [lat, lng]), style));
}

// --- a walk ------------------------------------------------------------------------------------------

/** Area inside some fixes [m2], flat: enough to see on the way whether the walk makes sense. */
function walkedArea(fixes) {
  const [north, east] = degreeMetres(fixes[0][0]);
  return Math.abs(fixes.reduce((sum, [lat, lng], i) => {
    const [nextLat, nextLng] = fixes[(i + 1) % fixes.length];
    return sum + ((lng - fixes[0][1]) * (nextLat - fixes[0][0]) - (nextLng - fixes[0][1]) * (lat - fixes[0][0])) * north * east;
  }, 0)) / 2;
}

function keepWalk(now) {
  walk = now;
  shelf.put("walk", walk);
  drawCaptured();
  drawWalk();
}

/** Take the fix the phone has now, when it is far enough from the last one or asked for. */
function walkOn(asked) {
  if (!walk || !state.position || state.position.lost) return;
  const fix = fixNow();
  const last = walk.fixes[walk.fixes.length - 1];
  if (last && !asked && map.distance(last.slice(0, 2), fix.slice(0, 2)) < PACES_M) return;
  if (last && last[0] === fix[0] && last[1] === fix[1]) return;
  keepWalk({ ...walk, fixes: [...walk.fixes, fix] });
}

function drawWalk() {
  const bar = byId("walk");
  bar.hidden = !walk;
  if (!walk) return;
  const { fixes } = walk;
  const size = fixes.length > 2 ? `, about ${grouped(walkedArea(fixes) / data.area_unit_m2, 2)} ${data.area_unit} so far` : "";
  bar.replaceChildren(
    make("p", {}, make("b", {}, "Walking ", written(walk.plot_id || "a new plot")), `: ${fixes.length} fix${fixes.length === 1 ? "" : "es"}${size}. `
      + "Keep the page open and walk the edge."),
    make("div", { class: "actions" },
      button("Corner here", () => walkOn(true)),
      button("Finish", () => {
        const { plot_id, note } = walk;
        keepWalk(null);
        capture("walk", { plot_id, note, fixes });
      }, { class: "main", disabled: fixes.length < 3 }),
      button("Give up", () => keepWalk(null))));
}

// --- the form ----------------------------------------------------------------------------------------

function plotPick(name, other) {
  const here = state.plot !== null ? state.plot : state.position ? placeOf(state.position.latlng).nearest : null;
  return make("select", { name }, make("option", { value: "" }, other), data.plots.map((plot, place) =>
    make("option", { value: plot.id, selected: place === here }, isolated(plotName(plot)))));
}

/** Ask what is marked; the place is taken when it is kept. */
function openMark() {
  if (watch === null) toggleLocate();
  const kinds = [["spot", "This spot"], ["walk", "Walk a boundary"], ["core", "Soil core here"]].map(([value, text], i) =>
    make("label", { class: "pick" }, make("input", { type: "radio", name: "kind", value, checked: i === 0 }), make("span", {}, text)));
  const what = make("select", { name: "what" }, SPOTS.map((text) => make("option", {}, text)));
  const problem = make("p", { class: "problem", role: "alert" });
  const whatField = field("What is it", what);
  const form = make("form", { method: "dialog", novalidate: true },
    make("h2", { id: "mark-title", tabindex: "-1" }, "Mark on the ground"),
    make("fieldset", { class: "picks" }, make("legend", { class: "unseen" }, "What to mark"), ...kinds),
    whatField, field("Plot", plotPick("plot", "none, or a new one")),
    field("Note", make("input", { name: "note", maxlength: "500", autocomplete: "off" })),
    make("p", { class: "quiet" }, "Nothing changes by it: whoever keeps the property is asked first."),
    problem,
    make("div", { class: "actions" }, button("Cancel", () => byId("mark").close()),
      make("button", { type: "submit", class: "main" }, "Keep")));
  form.addEventListener("change", () => { whatField.hidden = form.elements.kind.value !== "spot"; });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const { kind, plot, note } = form.elements;
    if (!state.position || state.position.lost) {
      problem.textContent = "The phone does not know its position yet. Wait a little, or turn on “Where am I”.";
      return;
    }
    byId("mark").close();
    const said = { plot_id: plot.value, note: note.value.trim() };
    if (kind.value === "walk") {
      keepWalk({ ...said, fixes: [fixNow()] });
      show("map");
      follow();
    } else {
      capture(kind.value, { ...said, what: kind.value === "spot" ? what.value : "", fixes: [fixNow()] });
    }
  });
  byId("mark").replaceChildren(form);
  byId("mark").showModal();
  byId("mark-title").focus();
}

// --- in the list of records --------------------------------------------------------------------------

function capturedItem(one) {
  const { item } = one;
  const plot = data.plots.find((each) => each.id === item.plot_id);
  const size = item.kind === "walk" ? `, ${item.fixes.length} fixes, about ${grouped(walkedArea(item.fixes) / data.area_unit_m2, 2)} ${data.area_unit}`
    : `, ± ${lengthText(item.fixes[0][2])}`;
  const where = one.arrived ? `arrived ${one.arrived}` : one.sent ? "handed over, no receipt yet" : one.saved
    ? "copied or saved, not handed over yet" : "not handed over yet";
  return make("li", {},
    make("p", {}, make("b", {}, { walk: "Walked boundary", core: "Soil core", spot: item.what }[item.kind]), ": ",
      written(plot ? plotName(plot) : item.plot_id || "no plot named"), size, item.note ? [". ", written(item.note)] : ""),
    make("p", { class: "quiet" }, where),
    one.sent && !one.arrived ? "" : make("div", { class: "actions" }, button(one.arrived ? "Tidy away" : "Remove",
      () => keepCaptured((all) => all.filter((each) => each.item.captured_id !== item.captured_id)))));
}
