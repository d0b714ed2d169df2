// Printing, and putting the page together.

function drawPrintSheet() {
  const rows = data.plots.flatMap((plot) => {
    const states = lineStates(plot);
    const lines = list(plot.lines);
    return (lines.length ? lines : [null]).map((line, i) => make("tr", {},
      make("td", {}, i ? "" : written(plotName(plot))),
      make("td", {}, i ? "" : plot.area),
      make("td", {}, line ? written(line.product) : "nothing planned"),
      make("td", {}, line ? line.rate : ""),
      make("td", {}, line ? line.mass : ""),
      make("td", {}, line && line.packages ? written(line.packages) : ""),
      make("td", {}, line ? states[i].state : "")));
  });
  byId("print-sheet").replaceChildren(
    make("h2", {}, "Plots"),
    make("table", {}, make("thead", {}, make("tr", {}, ["Plot", "Spread area", "Product", "Rate", "Total", "Packages", "Status"]
      .map((text) => make("th", { scope: "col" }, text)))), make("tbody", {}, rows)),
    make("h2", {}, "Keep-outs and cautions"),
    make("ul", {}, list(data.keepouts).map((one) => make("li", {}, written(one.name), ": ", written(one.setback))),
      list(data.cautions).map((one) => make("li", {}, LEVELS[one.level], ": ",
        written(one.text), " Ask, and follow: ", written(one.defers_to)))));
}

let viewBefore = null;

function startPrinting() {
  if (document.body.classList.contains("printing")) return;
  drawPrintSheet();
  viewBefore = [map.getCenter(), map.getZoom(), byId("legend").open];
  byId("legend").open = true;
  document.body.classList.add("printing");
  map.invalidateSize({ animate: false });
  goHome();
  placeLabels();
}

function endPrinting() {
  if (!document.body.classList.contains("printing")) return;
  document.body.classList.remove("printing");
  map.invalidateSize({ animate: false });
  map.setView(viewBefore[0], viewBefore[1], { animate: false });
  byId("legend").open = viewBefore[2];
  byId("print-sheet").replaceChildren();
}

function printPage() {
  startPrinting();
  window.print();
}

function buildQuestions() {
  const fieldset = document.querySelector("#questions fieldset");
  for (const layer of data.layers) {
    fieldset.append(make("label", { class: "pick" }, make("input", { type: "radio", name: "question", value: layer.id,
      checked: layer === state.layer, on: { change: () => {
        state.layer = layer;
        drawLayer();
        drawList();
      } } }), make("span", {}, layer.label)));
  }
}

function start() {
  setTheme(shelf.get("theme", "auto"));
  byId("title").append(written(data.title));
  byId("made").textContent = `Season ${data.season}, made ${data.made_on}`;
  if (map.attributionControl) map.attributionControl.setPrefix(false).setPosition("bottomleft"); // clear of the button
  L.DomEvent.disableClickPropagation(byId("key"));
  buildQuestions();
  drawGround();
  byId("legend").open = isWide();
  map.fitBounds(data.bounds, { animate: false });
  drawLayer();
  buildList();
  drawList();
  drawRecords();
  byId("choice").addEventListener("change", (event) => {
    state.choices.set(state.layer.id, Number(event.target.value));
    drawLayer();
    drawList();
  });
  byId("locate").addEventListener("click", toggleLocate);
  byId("mine").addEventListener("click", follow);
  byId("mark-here").addEventListener("click", openMark);
  drawCaptured();
  drawWalk();
  byId("whole").addEventListener("click", goHome);
  L.DomEvent.disableClickPropagation(byId("place"));
  map.on("dragstart", unfollow);
  map.getContainer().addEventListener("keydown", (event) => {
    if (event.key.startsWith("Arrow")) unfollow();
  });
  byId("open-about").addEventListener("click", openAbout);
  byId("taller").addEventListener("click", () => tall(!byId("panel").classList.contains("tall")));
  for (const tab of document.querySelectorAll("#tabs button")) {
    tab.addEventListener("click", () => {
      const { view } = tab.dataset;
      byId("kept").hidden = true;
      tall(view === "records");
      if (view === "round") drawRound(true);
      else if (view === "plots" && state.plot !== null && state.view !== "plot" && state.round === null) showPlot(state.plot, true);
      else show(view, true);
    });
  }
  map.on("moveend zoomend resize", () => {
    drawGrid();
    placeLabels();
    drawDetails();
  });
  map.on("move", drawGrid);
  window.addEventListener("beforeprint", startPrinting);
  window.addEventListener("afterprint", endPrinting);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") map.closePopup();
  });
  let wide = isWide();
  window.addEventListener("resize", () => {
    map.invalidateSize({ animate: false });
    if (wide !== isWide()) show(state.view);
    wide = isWide();
  });
  window.addEventListener("storage", () => {
    kept = shelf.get("entries", []);
    captured = shelf.get("captured", []);
    redraw();
  });
  const opening = list(data.rounds).findIndex((one) => one.id === data.start_round);
  if (opening >= 0) chooseRound(opening);
  else {
    show("map");
    goHome();
  }
  drawGrid();
  document.body.dataset.ready = "yes";
}

start();
