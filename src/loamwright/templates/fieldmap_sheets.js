// The sheets beside the map: list of plots, one plot, the round.

function plain(text) {
  return text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
}

// --- list ------------------------------------------------------------------------------------------

const searchTexts = data.plots.map((plot) =>
  plain([plot.name, plot.id, plot.crop, plot.notes, plot.access, ...list(plot.lines).map((line) => line.product)].join(" ")));

const bare = (text) => plain(text).replace(/[^\p{L}\p{N}]/gu, "");

/** An id without its signs, and without zeros before a number: AF-07 is af7. */
const bareId = (text) => bare(text).replace(/(^|\D)0+(?=\d)/g, "$1");

/** Letters one has to change, add, leave out or swap to get from one word to another. */
function lettersApart(a, b) {
  const rows = [Array.from({ length: b.length + 1 }, (_, j) => j)];
  for (let i = 1; i <= a.length; i++) {
    rows.push([i]);
    for (let j = 1; j <= b.length; j++) {
      const swapped = i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1] ? rows[i - 2][j - 2] + 1 : Infinity;
      rows[i].push(Math.min(rows[i - 1][j] + 1, rows[i][j - 1] + 1, rows[i - 1][j - 1] + (a[i - 1] === b[j - 1] ? 0 : 1), swapped));
    }
  }
  return rows[a.length][b.length];
}

/** Whether a word is meant by another: figures must agree, letters nearly. */
const meant = (word, each) => (/\d/.test(word) ? word === each
  : lettersApart(word, each) <= (word.length > 5 ? 2 : word.length > 2 ? 1 : 0));

/** Places of the plots a text may mean: by id and number first, then by any word, then by words spelt nearly so. */
function found(text) {
  const wanted = plain(text.trim());
  const every = data.plots.map((_, place) => place);
  if (!wanted) return every;
  const number = /^\d+$/.test(wanted) ? Number(wanted) : null;
  const numberOf = (plot) => (/(\d+)\D*$/.exec(plot.id) || [])[1];
  const named = every.filter((place) => {
    const plot = data.plots[place];
    return bareId(plot.id) === bareId(wanted) || (number !== null && Number(numberOf(plot)) === number);
  });
  if (named.length) return named;
  const told = every.filter((place) => searchTexts[place].includes(wanted)
    || bare(plotName(data.plots[place])).includes(bare(wanted) || wanted));
  if (told.length) return told;
  const words = wanted.split(/\s+/);
  return every.filter((place) => words.every((word) => plain(plotName(data.plots[place])).split(/\s+/)
    .some((each) => meant(word, each))));
}

function buildList() {
  const search = make("input", { type: "search", id: "search", placeholder: "name, crop …", autocomplete: "off",
    on: { input: drawList } });
  const sort = make("select", { id: "sort", on: { change: drawList } },
    [["file", "as in the file"], ["name", "by name"], ["large", "large first"], ["near", "nearest first"]]
      .map(([value, text]) => make("option", { value }, text)));
  byId("view-plots").replaceChildren(
    heading("Plots"),
    make("div", { class: "two" }, field("Find a plot", search), field("Order", sort)),
    make("p", { id: "found", role: "status" }),
    make("ul", { id: "plots" }),
    list(data.keepouts).length ? section("Keep-outs", make("ul", { class: "rows" }, data.keepouts.map((one, place) =>
      make("li", {}, button([make("b", {}, written(one.name)), make("span", {}, written(one.setback))],
        () => {
          const shape = keepOutShapes[place];
          if (!isWide()) show("map");
          goTo(shape.getBounds());
          shape.openPopup(shape.getBounds().getCenter());
          say(`${one.name}: ${one.setback}`);
        }, { class: "row" }))))) : "");
}

function drawList() {
  const order = found(byId("search").value);
  const by = byId("sort").value;
  if (by === "name") order.sort((a, b) => data.plots[a].name.localeCompare(data.plots[b].name, "en", { numeric: true }));
  if (by === "large") order.sort((a, b) => data.plots[b].spread_m2 - data.plots[a].spread_m2);
  if (by === "near" && state.position) {
    const far = data.plots.map((_, place) => edgeOf(place, state.position.latlng).metres);
    order.sort((a, b) => far[a] - far[b]);
  }
  let told = `${order.length} of ${data.plots.length} plots`;
  if (by === "near" && !state.position) told += ". Turn on “Where am I” to sort by distance.";
  byId("found").textContent = told;
  byId("plots").replaceChildren(...order.map((place) => {
    const plot = data.plots[place];
    const value = shown.values[place];
    const level = shown.classes[shown.of[place]];
    return make("li", {}, button([swatch(fillOf(level)),
      make("span", { class: "row-text" }, make("b", {}, written(plotName(plot))),
        make("span", {}, [plot.area, value || level.label].join(" – ")))],
    () => choosePlot(place, true), { class: "row", "data-plot": plot.id }));
  }));
}

// --- one plot --------------------------------------------------------------------------------------

function choosePlot(place, focus) {
  state.plot = place;
  state.fromRound = false;
  showPlot(place, focus);
  drawLayer();
  goTo(L.polygon(data.plots[place].outline).getBounds());
  if (state.position) drawPlace();
}

function closePlot() {
  state.plot = null;
  drawLayer();
  drawList();
  show("plots", true);
}

function showPlot(place, focus) {
  const plot = data.plots[place];
  const states = lineStates(plot);
  const here = list(plot.cautions);
  const spots = plot.entrance || plot.middle;
  byId("view-plot").replaceChildren(...[
    heading(written(plotName(plot))),
    make("p", { class: "lead" }, make("b", {}, plot.area), " to spread on"),
    cautionsAt(here.filter((at) => data.cautions[at].level === "stop")),
    section("What goes on", list(plot.lines).length ? plot.lines.map((line, i) => lineCard(plot, line, states[i]))
      : make("p", {}, data.plan_id ? "Nothing is planned here." : "There is no plan yet for this season."),
    button("Something else was spread here", () => openCheckOff(plot, null, null))),
    section("Crop and size", make("p", { class: "quiet" }, written(plot.crop), "."),
      list(plot.area_notes).length ? make("p", { class: "quiet" }, written(`${plot.area_notes.join("; ")}.`)) : "",
      steps(plot.steps, "area")),
    section("Cautions", cautionsAt(here.filter((at) => data.cautions[at].level !== "stop")), folded(data.everywhere, "for the whole property"), folded(plot.planners, "to settle when planning")),
    section("What it needs", list(plot.needs).map(needCard)),
    plot.cost ? section("Cost", make("p", {}, `${plot.cost} is this plot's share.`)) : "",
    section("Getting there", make("p", {}, written(plot.access || "How to get there is not stated.")),
      make("p", { class: "quiet" }, `${plot.entrance ? "Entrance" : "Entrance not stated; middle of the plot"}: `
        + `${spots[0].toFixed(5)}, ${spots[1].toFixed(5)} (latitude, longitude)`),
      geoLink(spots), wayLines("contact"), wayLines("loading place")),
    plot.notes ? section("Notes", make("p", {}, written(plot.notes))) : "",
    plot.sampling ? section("Sampling", make("p", {}, plot.sampling.due ? "A sample is due: " : "No sample is due: ",
      written(plot.sampling.reason), "."), plot.sampling.due ? make("p", {}, `${plot.sampling.cores}`,
      plot.sampling.depth ? [", ", written(plot.sampling.depth), " deep"] : "", ". Bag label: ", written(plot.sampling.label)) : "",
    steps(plot.sampling.steps, "cores")) : "",
    data.edition === "helper" ? "" : section("Soil tests", list(plot.tests).length ? make("ul", {}, plot.tests.map((one) => make("li", {}, written(one))))
      : make("p", {}, "None on file.")),
    list(plot.history).length ? section("On file this season", make("ul", {}, plot.history.map((one) => make("li", {}, written(one))))) : "",
  ].flat().filter(Boolean));
  show("plot", focus);
}

const STATE_MARKS = { "nothing yet": "○", part: "◐", done: "●", over: "▲" };

/** How a line or stop stands, in the words of `words.put_on_words`. */
const stateText = (now, plannedKg) => `${STATE_MARKS[now.state]} ${now.state}`
  + (now.kg ? `: ${massText(now.kg)} of ${massText(plannedKg)} is on` : "");

function lineCard(plot, line, now) {
  return make("div", { class: "card", "data-line": line.id },
    button(["Done", make("span", { class: "unseen" }, ": ", written(line.product))], () => markDone(plot, line),
      { class: "main quick", disabled: now.state === "done" || now.state === "over" }),
    make("p", { class: "lead" }, make("b", {}, written(line.product))),
    make("p", { class: "figures" }, line.packages ? [make("b", {}, written(line.packages)), " = "] : "", make("b", {}, line.mass),
      `, ${line.rate}`, line.timing ? `, ${line.timing}` : ""),
    make("p", { class: "state" }, stateText(now, line.kg),
      now.notDone ? [" – not done: ", written(now.notDone)] : "",
      list(line.reasons).length ? [" – ", written(line.reasons.join("; "))] : ""),
    cautionsAt(line.cautions),
    button(["Part, or other", make("span", { class: "unseen" }, ": ", written(line.product))],
      () => openCheckOff(plot, line, null), { class: "form" }),
    steps(line.steps, line.product));
}

function needCard(need) {
  const figures = need.state === "needed" ? [make("b", {}, need.rate), `, ${need.mass} in all`] : [make("b", {}, need.state)];
  const more = [need.supplied ? `plan gives ${need.supplied}` : "", need.applied ? `${need.applied} given so far` : "",
    need.state === "needed" && need.left ? `${need.left} still owed` : ""].filter(Boolean);
  return make("div", { class: "card" },
    make("p", {}, make("b", { class: "what" }, need.what), ": ", figures),
    make("p", { class: "quiet" }, written(need.reason)),
    more.length ? make("p", {}, more.join("; ")) : "",
    list(need.credits).length ? make("p", { class: "quiet" }, "Already taken off: ", written(need.credits.join("; "))) : "",
    steps(need.steps, need.what));
}

// --- the round -------------------------------------------------------------------------------------

const arrow = (path) => makeSvg("svg", { viewBox: "0 0 24 24", width: 24, height: 24, "aria-hidden": "true", focusable: "false" },
  makeSvg("path", { d: path, fill: "none", stroke: "currentColor", "stroke-width": 2.6 }));

const lineOf = (stop, id = stop.line) => list(data.plots[stop.plot].lines).find((line) => line.id === id);
const linesOf = (stop) => [stop.line, ...list(stop.others)].map((id) => lineOf(stop, id));

/** How a stop stands; what shares its hopper counts as one, and is open while all of it is. */
function stopState(stop) {
  const plot = data.plots[stop.plot];
  const all = lineStates(plot);
  const states = linesOf(stop).map((line) => all[list(plot.lines).indexOf(line)]);
  const alike = states.every((one) => one.state === states[0].state);
  return { ...states[0], state: alike ? states[0].state : "part", kg: states.reduce((kg, one) => kg + one.kg, 0) };
}

const isOpen = (stop) => {
  const now = stopState(stop);
  return now.state === "nothing yet" && !now.notDone;
};

function chooseRound(place) {
  tall(false);
  state.round = place;
  const { stops } = data.rounds[place];
  const first = stops.findIndex(isOpen);
  colourByProduct(lineOf(stops[0]).product);
  goToStop(first < 0 ? 0 : first);
}

/** Show on the plots what the round's product is. */
function colourByProduct(product) {
  state.layer = data.layers.find((layer) => layer.id === "work");
  const choice = state.layer.choices.findIndex((one) => one.id === `product ${product}`);
  state.choices.set(state.layer.id, Math.max(0, choice));
  document.querySelector("#questions [value=work]").checked = true;
}

function backToRound() {
  state.fromRound = false;
  drawRound(true);
}

function leaveRound() {
  state.round = null;
  state.plot = null;
  drawLayer();
  drawWay();
  placeLabels();
  drawRound(true);
}

function goToStop(number) {
  const stop = data.rounds[state.round].stops[number];
  state.stop = number;
  state.plot = stop.plot;
  drawLayer();
  drawWay();
  drawRound(true);
  goTo(L.polygon(data.plots[stop.plot].outline).getBounds());
  if (state.position) drawPlace();
}

/** After a stop was reported: the next that is still open, else this one. */
function goOn() {
  const { stops } = data.rounds[state.round];
  const later = stops.findIndex((each, number) => number > state.stop && isOpen(each));
  if (later >= 0) goToStop(later);
  else drawRound(true);
}

function drawRound(focus) {
  const view = byId("view-round");
  if (state.round === null) {
    view.replaceChildren(heading("Rounds"), list(data.rounds).length
      ? make("ul", { class: "rows" }, data.rounds.map((one, place) => {
        const left = one.stops.filter(isOpen).length;
        return make("li", {}, button([make("b", {}, `${one.number}. `, written(one.title)), make("span", {}, written(one.facts.join("; "))),
          make("span", {}, left ? `${left} of ${one.stops.length} stops open` : "● all stops reported")],
        () => chooseRound(place), { class: "row" }));
      }))
      : make("p", {}, "No rounds: there is no plan yet, or nothing in it is to be spread."),
    list(data.everywhere).length ? section("Everywhere, every day", cautionsAt(data.everywhere)) : "");
    show("round", focus);
    tall(true);
    return;
  }
  const round = data.rounds[state.round];
  const stop = round.stops[state.stop];
  const plot = data.plots[stop.plot];
  const line = lineOf(stop);
  const states = round.stops.map(stopState);
  const now = states[state.stop];
  const putOn = states.reduce((kg, one) => kg + one.kg, 0);
  const planned = round.stops.flatMap(linesOf).reduce((kg, one) => kg + one.kg, 0);
  const later = round.stops.findIndex((each, number) => number > state.stop && isOpen(each));
  const next = later >= 0 ? later : state.stop + 1 < round.stops.length ? state.stop + 1 : -1;
  view.replaceChildren(...[
    heading(`Round ${round.number}: `, written(round.title)),
    make("div", { class: "card stop" },
      make("p", {}, make("b", {}, `Stop ${state.stop + 1} of ${round.stops.length}`), stop.load ? `, hopper load ${stop.load}` : ""),
      make("p", { class: "lead" }, make("b", {}, written(plotName(plot))), `, ${plot.area}`),
      make("p", { class: "figures" }, stop.packages ? [make("b", {}, written(stop.packages)), " = "] : "", make("b", {}, stop.mass),
        `, ${stop.rate}`),
      stop.recipe ? make("p", {}, written(stop.recipe)) : "",
      stop.bring ? make("p", {}, "Bring ", make("b", {}, stop.bring), " for this stop.") : "",
      stop.others ? "" : make("p", {}, stop.left ? ["Left on the vehicle after it, by the plan: ", make("b", {}, stop.left)]
        : "Left on the vehicle: unknown, its capacity is not stated."),
      make("p", { class: "state" }, stateText(now, linesOf(stop).reduce((kg, one) => kg + one.kg, 0)),
        now.notDone ? [" – not done: ", written(now.notDone)] : ""),
      plot.access ? make("p", {}, written(plot.access)) : "",
      geoLink(plot.entrance || plot.middle),
      cautionsAt([...list(plot.cautions), ...linesOf(stop).flatMap((each) => list(each.cautions))]),
      button("Whole sheet of this plot", () => {
        state.fromRound = true;
        showPlot(stop.plot, true);
      })),
    make("p", {}, "Put on so far in this round: ", make("b", {}, massText(putOn)), ` of ${massText(planned)}.`),
    make("p", { class: "quiet" }, written([...round.facts, round.spreader].filter(Boolean).join("; ")), "."),
    section("Before you begin", cautionsAt(round.cautions)),
    steps(round.steps, "loads and time"),
    make("ol", { class: "rows stops" }, round.stops.map((each, number) => {
      const its = states[number];
      return make("li", {}, button([make("b", {}, `${number + 1}. `, written(plotName(data.plots[each.plot]))),
        make("span", {}, each.load ? `load ${each.load}; ` : "", each.bring ? `bring ${each.bring}; ` : "",
          each.packages ? [written(each.packages), " = "] : "", `${each.mass}; `,
          `${STATE_MARKS[its.state]} ${its.notDone ? "not done" : its.state}`,
          each.left ? `; then ${each.left} left` : "")],
      () => goToStop(number), { class: "row", "aria-current": number === state.stop ? "step" : null }));
    })),
    make("div", { class: "actions thumb" },
      button([arrow("M15 5l-7 7l7 7"), make("span", { class: "unseen" }, "Previous")], () => goToStop(state.stop - 1), { disabled: state.stop === 0 }),
      button("Done", () => markDone(plot, line), { class: "main quick", disabled: now.state === "done" || now.state === "over" }),
      button("Part, or other", () => openCheckOff(plot, line, null), { class: "form" }),
      button([arrow("M9 5l7 7l-7 7"), make("span", { class: "unseen" }, "Next stop")], () => goToStop(next), { disabled: next < 0 })),
  ].filter(Boolean));
  show("round", focus);
}
