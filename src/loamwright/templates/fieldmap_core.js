// The page's data, small helpers, and what is shown where. Texts come ready from the data; the page
// never turns text into markup: every text goes in as a text node.

/** The data stand in the page as gzip (RFC 1952) in base64: a tenth of their size. */
async function unpack(text) {
  if (!window.DecompressionStream) document.getElementById("too-old").hidden = false;
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return JSON.parse(await new Response(stream).text());
}

const data = await unpack(document.getElementById("map-data").textContent);
const map = window.map_fields;

const state = {
  layer: data.layers[0],
  choices: new Map(), // layer id -> place of the choice last used
  view: "plots",
  plot: null, // place in data.plots
  round: null, // place in data.rounds
  fromRound: false, // the plot's sheet was opened from a stop
  stop: 0,
  position: null, // {latlng, accuracy} when the phone told it
};

const button = (text, action, props) => make("button", { type: "button", ...props, on: { click: action } }, text);

function say(text) {
  byId("say").textContent = text;
}

function stepList(places) {
  const items = list(places).map((place) => {
    const [what, value, unit, source] = data.steps[place].map((text) => data.texts[text]);
    return make("li", {}, written(what), ": ", make("b", {}, written(value), unit ? " " : "", unit ? written(unit) : ""),
      make("small", {}, written(source)));
  });
  return make("ol", { class: "steps" }, items);
}

/** "How this number was made", folded. */
function steps(places, about) {
  if (!list(places).length) return null;
  return make("details", { class: "how" }, make("summary", {}, "How this number was made",
    make("span", { class: "unseen" }, `: ${about}`)), stepList(places));
}

function section(title, ...inside) {
  const parts = inside.flat().filter(Boolean);
  return parts.length ? make("section", {}, make("h3", {}, title), ...parts) : null;
}

// --- what the browser keeps ------------------------------------------------------------------------

const shelf = {
  lasting: true, // false when the browser keeps nothing for a page opened this way
  loose: new Map(),
  get(name, fallback) {
    try {
      const text = localStorage.getItem(`${data.store_key}/${name}`);
      return text === null ? fallback : JSON.parse(text);
    } catch {
      this.lasting = false;
      return this.loose.has(name) ? this.loose.get(name) : fallback;
    }
  },
  put(name, value) {
    this.loose.set(name, value);
    try {
      localStorage.setItem(`${data.store_key}/${name}`, JSON.stringify(value));
    } catch {
      this.lasting = false;
    }
    return this.lasting;
  },
};

// --- figures a person makes in the field -----------------------------------------------------------

const grouped = (value, digits) =>
  value.toLocaleString("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits });

/** Write a mass as units.format_mass does. */
function massText(kg) {
  const [small, large] = data.mass_units;
  const amount = kg / small.kg;
  if (amount >= (data.units === "us" ? 4000 : 2000)) return `${grouped(kg / large.kg, 2)} ${large.label}`;
  return `${grouped(amount, amount < 1000 ? 1 : 0)} ${small.label}`;
}

/** Write a distance no finer than a phone knows it. */
function lengthText(metres) {
  const amount = metres / data.length_unit_m;
  if (metres >= data.long_unit_m / 4) return `${grouped(metres / data.long_unit_m, 2)} ${data.long_unit}`;
  const grain = amount < 50 ? 1 : amount < 300 ? 5 : 10;
  return `${grouped(Math.round(amount / grain) * grain, 0)} ${data.length_unit}`;
}

const POINTS = ["N", "NE", "E", "SE", "S", "SW", "W", "NW"];

/** Bearing from one place to another over a property's width, in degrees from north. */
function bearing(from, to) {
  const east = (to.lng - from.lng) * Math.cos(((from.lat + to.lat) / 2) * (Math.PI / 180));
  const degrees = Math.atan2(east, to.lat - from.lat) * (180 / Math.PI);
  return (degrees + 360) % 360;
}

function wayText(from, to) {
  const degrees = bearing(from, to);
  return `${lengthText(map.distance(from, to))} ${POINTS[Math.round(degrees / 45) % 8]} (${Math.round(degrees)}°)`;
}

// --- parts of the page -----------------------------------------------------------------------------

/** A phone on its side: the sheet stands on the right half of the map. */
const isLow = () => window.matchMedia("(max-width: 899px) and (max-height: 480px)").matches;
const isWide = () => window.matchMedia("(min-width: 900px)").matches;

/** Show one part: map, plots, plot, round or records. On a wide screen the map stays beside it. */
function show(view, focus) {
  state.view = view === "map" && isWide() ? "plots" : view;
  document.body.dataset.view = state.view;
  for (const part of document.querySelectorAll("#panel .view")) part.hidden = part.id !== `view-${state.view}`;
  byId("panel").classList.toggle("closed", state.view === "map");
  const ways = { plot: state.fromRound ? ["Back to the round", backToRound] : ["All plots", closePlot],
    round: state.round === null ? null : ["Rounds", leaveRound] };
  const way = ways[state.view];
  byId("back").hidden = !way;
  byId("back").textContent = way ? way[0] : "";
  byId("back").onclick = way ? way[1] : null;
  const tab = state.view === "plot" ? "plots" : state.view;
  for (const each of document.querySelectorAll("#tabs button")) {
    if (each.dataset.view === tab) each.setAttribute("aria-current", "page");
    else each.removeAttribute("aria-current");
  }
  if (state.view !== "map") byId("panel").scrollTop = 0;
  if (focus) {
    const heading = document.querySelector(`#view-${state.view} h2`);
    if (heading) heading.focus({ preventScroll: true });
  }
}

/** More room for the sheet, over all of the map; or the map beside it again. */
function tall(on) {
  byId("panel").classList.toggle("tall", on);
  byId("taller").setAttribute("aria-expanded", String(on));
}

function heading(...inside) {
  return make("h2", { tabindex: "-1" }, ...inside);
}

// --- light and dark --------------------------------------------------------------------------------

function setTheme(theme) {
  if (theme === "auto") delete document.documentElement.dataset.theme;
  else document.documentElement.dataset.theme = theme;
  shelf.put("theme", theme);
}

// --- about -----------------------------------------------------------------------------------------

function openAbout() {
  const theme = shelf.get("theme", "auto");
  const options = [["auto", "As the phone"], ["light", "Light"], ["dark", "Dark"]].map(([value, text]) =>
    make("label", { class: "pick" }, make("input", { type: "radio", name: "theme", value, checked: value === theme,
      on: { change: () => setTheme(value) } }), make("span", {}, text)));
  const missing = list(data.problems).map((line) => make("li", {}, written(line)));
  byId("about").replaceChildren(...[
    make("h2", { id: "about-title", tabindex: "-1" }, written(data.title)),
    data.about ? make("p", {}, written(data.about)) : "",
    section("In short", make("ul", {}, list(data.summary).map((line) => make("li", {}, written(line))))),
    data.edition === "helper" ? "" : section("What is missing, and why", missing.length > 6
      ? make("details", { class: "how" }, make("summary", {}, `${missing.length} things`), make("ul", {}, missing))
      : make("ul", {}, missing.length ? missing : make("li", {}, "Nothing."))),
    make("fieldset", { class: "picks" }, make("legend", {}, "Light or dark"), ...options),
    section("This page", make("p", {}, "It holds everything it shows and asks nothing of the network, unless it was "
      + "made with an online background picture. Check-offs are kept in this browser only, until you send them."),
    make("p", {}, "Areas are measured on the WGS84 ellipsoid. Boundaries are drawn to about 1 ft; the figures were "
      + "worked out before drawing. This map is no survey.")),
    make("div", { class: "actions" }, button("Print", () => { byId("about").close(); printPage(); }),
      button("Close", () => byId("about").close(), { class: "main" })),
  ].filter(Boolean));
  byId("about").showModal();
  byId("about-title").focus();
}

const LEVELS = { stop: "Stop", care: "Take care", note: "Note" };

function cautionCard(one) {
  return make("div", { class: `caution ${one.level}` },
    make("p", {}, make("b", {}, LEVELS[one.level], ": "), written(one.text)),
    make("small", {}, [one.product, one.source && `Source: ${one.source}`, one.defers_to && `Ask, and follow: ${one.defers_to}`]
      .filter(Boolean).map((text) => [written(text), ". "]).flat()));
}

/** Cautions at places of the list, which has the most serious first. */
const cautionsAt = (places) => [...list(places)].sort((a, b) => a - b).map((place) => cautionCard(data.cautions[place]));

const folded = (places, words) => (list(places).length ? make("details", { class: "how" },
  make("summary", {}, `${places.length} ${words}`), cautionsAt(places)) : "");
