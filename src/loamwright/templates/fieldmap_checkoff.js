// Checking off: by one tap as planned, or with a form that asks what differs.

// --- a form left half filled ---------------------------------------------------------------------------

const draftKey = (plot, line, old) => [plot.id, line ? line.id : "", old ? old.entry.entry_id : ""].join("/");

/** What was typed is kept until it is kept as an entry, whatever happens to the page. */
function keepDraft(key, form) {
  shelf.put("draft", { key, values: Object.fromEntries(new FormData(form)) });
}

function restoreDraft(key, form) {
  const draft = shelf.get("draft", null);
  if (!draft || draft.key !== key) return false;
  for (const [name, value] of Object.entries(draft.values)) {
    if (form.elements[name]) form.elements[name].value = value;
  }
  return true;
}

// --- what was just kept ----------------------------------------------------------------------------------

/** Say what was kept, with a way to take it back. */
function showKept(entries, plot, undo) {
  const bar = byId("kept");
  const what = entries.flatMap((entry) => [", ", written(entry.product), `, ${entry.done}`,
    entry.mass_kg ? `, ${massText(entry.mass_kg)}` : ""]);
  bar.replaceChildren(make("p", {}, "Kept: ", written(plotName(plot)), ...what, "."),
    button("Take it back", () => {
      undo();
      bar.hidden = true;
      say("Taken back.");
    }));
  bar.hidden = false;
}

/** Show what entries changed; `before` are put back when they are taken back. */
function afterKeeping(entries, plot, lasting, before) {
  say(lasting ? `Kept on this phone. ${unsent().length} not handed over yet.` : LOSING);
  const seen = () => {
    if (state.view === "plot") showPlot(data.plots.indexOf(plot), true);
    if (state.view === "round") drawRound(true);
  };
  const made = new Set(entries.map((entry) => entry.entry_id));
  showKept(entries, plot, () => {
    keep((all) => [...all.filter((one) => !made.has(one.entry.entry_id)), ...before]);
    seen();
  });
  if (state.view === "round") goOn();
  else seen();
}

// --- done as planned, by one tap ---------------------------------------------------------------------------

/** Ground a line goes on [m2]: the rest of its plot, or all of it. */
const groundOf = (plot, line) => (line && line.rest_m2) || plot.spread_m2;

/** Open lines of the load that a line is part of: what shares a hopper goes on together. */
function loadOf(plot, line) {
  const states = lineStates(plot);
  return list(plot.lines).filter((each, i) => (each === line || (line.job && each.job === line.job))
    && states[i].state === "nothing yet" && !states[i].notDone);
}

/** Keep a line, and what shares its hopper, as done today as planned. What has to be asked opens the form. */
async function markDone(plot, line) {
  const lines = loadOf(plot, line);
  if (!lines.includes(line) || today() < data.season_from || today() > data.season_to) return openCheckOff(plot, line, null);
  if (!shelf.get("last", {}).operator && !shelf.get("who", false)) await askWho();
  const { operator = "", method = "", on, ground, weather, forecast } = shelf.get("last", {});
  const lately = on === today() ? { ground, weather, forecast } : {};
  const entries = lines.map((each) => newEntry(plot, { product: each.product, done: "done", applied_on: today(),
    mass_kg: Number(each.kg.toFixed(5)), timing: each.timing || null, ...jobOf(each), time_of_day: nowTime(),
    area_m2: groundOf(plot, each) ? Number(groundOf(plot, each).toFixed(1)) : null, operator, method, equipment: equipmentFor(each), ...lately }));
  const lasting = keep((all) => [...all, ...entries.map((entry) => ({ entry, sent: "" }))]);
  return afterKeeping(entries, plot, lasting, []);
}

/** Ask once who works with this phone. */
function askWho() {
  const name = make("input", { name: "operator", autocomplete: "name", maxlength: "500" });
  const form = make("form", { method: "dialog" }, make("h2", { id: "who-title" }, "Who is spreading?"),
    field("Name", name, "Asked once. It goes into every entry of this phone."),
    make("div", { class: "actions" }, make("button", { class: "main" }, "Keep")));
  byId("who").replaceChildren(form);
  byId("who").showModal();
  name.focus();
  return new Promise((resolve) => {
    byId("who").addEventListener("close", () => {
      shelf.put("who", true);
      shelf.put("last", { ...shelf.get("last", {}), operator: name.value.trim() });
      resolve();
    }, { once: true });
  });
}

// --- the form --------------------------------------------------------------------------------------

const GROUND = ["dry", "moist", "wet", "saturated", "frozen", "snow-covered"];
const METHODS = ["broadcast on the surface", "broadcast and worked in", "banded", "sprayed on"];
const REASONS = ["rain or wet ground", "ran out of product", "could not reach the plot", "stand too thin or too tall",
  "spreader trouble", "product left over"];

const twoDigits = (value) => String(value).padStart(2, "0");
const today = () => {
  const now = new Date();
  return `${now.getFullYear()}-${twoDigits(now.getMonth() + 1)}-${twoDigits(now.getDate())}`;
};
const nowTime = () => {
  const now = new Date();
  return `${twoDigits(now.getHours())}:${twoDigits(now.getMinutes())}`;
};

/** crypto.randomUUID where the page may use it; the same kind of id (RFC 9562, version 4) where not. */
function newId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

/** The planned line, and the job of which plan it is part of, as an entry names them. */
const jobOf = (line) => ({ line_id: line ? line.id : "", ...(line && line.job ? { plan_id: data.plan_id, job_id: line.job } : {}) });

const newEntry = (plot, said) => ({
  entry_id: newId(),
  plot_id: plot.id,
  cost: null,
  note: "",
  reason: "",
  replaces: "",
  recorded_at: `${new Date().toISOString().slice(0, 19)}Z`,
  ...said,
});

function suggestions(id, texts) {
  return make("datalist", { id }, texts.map((text) => make("option", { value: text })));
}

function field(label, input, hint) {
  return make("label", { class: "field" }, make("span", {}, label), input, hint ? make("small", {}, hint) : "");
}

/**
 * Open the check-off form: for a planned line, for something not planned (line null), or to correct
 * an entry this phone holds (old).
 */
function openCheckOff(plot, line, old) {
  const last = shelf.get("last", {});
  const lately = last.on === today() ? last : {}; // weather and ground of another day are no guess for today
  const before = old ? old.entry : null;
  const units = data.mass_units.map((unit) => ({ label: unit.label, kg: unit.kg }));
  if (line && line.package_kg) units.unshift({ label: `× ${line.package}`, kg: line.package_kg });
  const lineState = line ? lineStates(plot)[plot.lines.indexOf(line)] : null;
  const toDo = line ? Math.max(0, line.kg - (before ? 0 : lineState.kg)) : 0;
  const startKg = before ? before.mass_kg : toDo;
  // What shares its hopper, with what is left of each: the same share of it goes on.
  const mixed = line && line.job && !old ? lineStates(plot).map((now, i) => ({ line: plot.lines[i], left: plot.lines[i].kg - now.kg, now }))
    .filter((each) => each.line !== line && each.line.job === line.job && each.left > 0 && each.now.state !== "done" && !each.now.notDone) : [];

  const product = line ? null : make("select", { name: "product", required: true },
    make("option", { value: "" }, "Choose"), list(data.products).map((name) => make("option", { value: name,
      selected: before ? before.product === name : false }, isolated(name))));
  const unit = make("select", { name: "unit", "aria-label": "Unit of the amount" },
    units.map((one, i) => make("option", { value: i }, isolated(one.label))));
  const exact = (kg, at) => String(Number((kg / units[at].kg).toFixed(3)));
  const amount = make("input", { name: "amount", type: "number", inputmode: "decimal", min: "0", step: "any",
    value: line || before ? exact(startKg, 0) : "" });
  const amountKg = () => {
    const typed = amount.value.trim();
    if (typed === "" || !Number.isFinite(Number(typed)) || Number(typed) < 0) return null;
    // The amount as proposed is the exact planned mass, not its rounded text.
    return (line || before) && typed === exact(startKg, unit.value) ? startKg : Number(typed) * units[unit.value].kg;
  };
  const echo = make("output", { class: "echo" });
  const doneNow = () => form.elements.done.value;
  const reason = make("input", { name: "reason", list: "reasons", value: before ? before.reason : "", maxlength: "500" });
  const reasonField = field("Reason", reason, "Why it differs from the plan.");
  const area = make("input", { name: "area", type: "number", inputmode: "decimal", min: "0", step: "any",
    value: before ? (before.area_m2 === null ? "" : String(Number((before.area_m2 / data.area_unit_m2).toFixed(3))))
      : groundOf(plot, line) ? String(Number((groundOf(plot, line) / data.area_unit_m2).toFixed(3))) : "" });
  const text = (name, value, props) => make("input", { name, value: value || "", autocomplete: "off", maxlength: "500", ...props });
  const problem = make("p", { class: "problem", role: "alert" });
  const amountRow = make("div", { class: "amount" }, field("Amount", amount), unit, echo);
  const areaField = field(`Area covered (${data.area_unit})`, area);

  const shares = make("div", { class: "shares", hidden: true }, [["¼", 0.25], ["½", 0.5], ["¾", 0.75]].map(([sign, share]) =>
    button(`${sign} of the plan`, () => {
      amount.value = exact(line.kg * share, unit.value);
      form.dispatchEvent(new Event("input"));
    })));
  const states = [["done", "Done"], ["part", "Part"], ["not done", "Not done"]].map(([value, label]) =>
    make("label", { class: "pick" }, make("input", { type: "radio", name: "done", value,
      checked: (before ? before.done : "done") === value }), make("span", {}, label)));

  const form = make("form", { method: "dialog", novalidate: true },
    make("h2", { id: "check-off-title" }, before ? "Correct: " : "Check off: ", written(plotName(plot))),
    line ? make("p", { class: "planned" }, written(line.product), ` – planned ${line.mass}`,
      line.packages ? [" (", written(line.packages), ")"] : "", `, ${line.rate}`,
      lineState.kg && !before ? `. So far ${massText(lineState.kg)}.` : "",
      mixed.length ? ["; the same share of ", written(mixed.map((each) => each.line.product).join(", ")), ", mixed with it"] : "") : field("Product", product),
    make("fieldset", { class: "picks" }, make("legend", {}, "What happened"), ...states),
    shares, amountRow, areaField, reasonField,
    make("div", { class: "two" },
      field("Date", make("input", { name: "date", type: "date", required: true, value: before ? before.applied_on : today() })),
      field("Time", make("input", { name: "time", type: "time", value: before ? before.time_of_day : nowTime() }))),
    field("Operator", text("operator", before ? before.operator : last.operator)),
    field("Equipment", text("equipment", before ? before.equipment : equipmentFor(line) || last.equipment, { list: "equipment" })),
    field("Method", text("method", before ? before.method : last.method, { list: "methods" })),
    field("Ground", text("ground", before ? before.ground : lately.ground, { list: "grounds" })),
    field("Weather", text("weather", before ? before.weather : lately.weather, { placeholder: "temperature, wind, rain" })),
    field("Forecast", text("forecast", before ? before.forecast : lately.forecast, { placeholder: "for the next day" })),
    field("Note", make("textarea", { name: "note", rows: "3", maxlength: "2000" }, before ? before.note : "")),
    suggestions("reasons", REASONS), suggestions("equipment", list(data.equipment)), suggestions("methods", METHODS),
    suggestions("grounds", GROUND),
    problem,
    make("div", { class: "actions" }, button("Cancel", () => byId("check-off").close()),
      make("button", { type: "submit", class: "main" }, "Keep")));

  const refresh = () => {
    const nothing = doneNow() === "not done";
    const part = doneNow() === "part";
    amountRow.hidden = areaField.hidden = nothing;
    shares.hidden = !part || !line;
    reasonField.firstChild.textContent = part ? "Which part is left, and why" : "Reason";
    const kg = nothing ? 0 : amountKg();
    echo.textContent = nothing || kg === null ? "" : `= ${massText(kg)}`;
    const differs = line && kg !== null && (kg < toDo * data.done_fraction || kg > toDo * data.over_fraction);
    reasonField.classList.toggle("asked", Boolean(nothing || doneNow() === "part" || differs));
  };
  for (const radio of form.elements.done) {
    radio.addEventListener("change", () => { // how much is on is asked of a part, never supposed
      const proposed = line && amount.value.trim() === exact(toDo, unit.value);
      if (radio.value === "part" && proposed) amount.value = area.value = "";
      else if (radio.value === "done" && line && amount.value.trim() === "") amount.value = exact(toDo, unit.value);
      refresh();
    });
  }
  const key = draftKey(plot, line, old);
  form.addEventListener("input", () => { refresh(); keepDraft(key, form); });
  let unitBefore = 0;
  unit.addEventListener("change", () => { // show the same amount in the other unit
    const at = unit.value;
    unit.value = unitBefore;
    const kg = amountKg();
    unit.value = unitBefore = at;
    if (kg !== null) amount.value = exact(kg, at);
    refresh();
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const values = form.elements;
    const done = doneNow();
    const kg = done === "not done" ? 0 : amountKg();
    const fail = (message, input) => { problem.textContent = message; input.focus(); };
    /** Ask about what is hardly meant; the same once more is. */
    const unsure = (about, message, input) => {
      if (form.dataset[about] === input.value) return false;
      form.dataset[about] = input.value;
      fail(`${message} Press Keep again if it is so.`, input);
      return true;
    };
    if (product && !product.value) return fail("Choose the product.", product);
    if (kg === null) {
      return fail(done === "part" && amount.value.trim() === "" ? "Say how much is on: ¼, ½ or ¾ of the plan, or an amount."
        : "Write the amount as a number, zero or more.", amount);
    }
    if (done !== "not done" && kg === 0) return fail("An amount of zero is “Not done”.", amount);
    if (line && done === "done" && toDo > 0 && kg < toDo * data.done_fraction) {
      return fail(`That is ${massText(kg)} of ${massText(toDo)}: choose Part, or correct the amount.`, amount);
    }
    if (line && done === "part" && toDo > 0 && kg >= toDo * data.done_fraction) {
      return fail(`That is all of the ${massText(toDo)}: choose Done, or correct the amount.`, amount);
    }
    if (line && kg > line.kg * data.sane_fraction && unsure("much", `That is ${grouped(kg / line.kg, 1)} times what is planned.`, amount)) return undefined;
    if (!line && plot.spread_m2 && kg / plot.spread_m2 > data.sane_kg_m2
      && unsure("much", `That is ${massText(kg)} on ${plot.area}, more than a spreader puts on in one pass.`, amount)) return undefined;
    if (!values.date.value) return fail("Write the date.", values.date);
    if (values.date.value > today() && unsure("when", "That day is still to come.", values.date)) return undefined;
    if ((values.date.value < data.season_from || values.date.value > data.season_to)
      && unsure("when", `That day is outside season ${data.season}.`, values.date)) return undefined;
    if (reasonField.classList.contains("asked") && !reason.value.trim()) {
      return fail("Write the reason: it differs from the plan.", reason);
    }
    const areaTyped = area.value.trim();
    if (areaTyped && !(Number(areaTyped) >= 0)) return fail("Write the area as a number, or leave it empty.", area);
    const said = (name) => values[name].value.trim();
    const entry = newEntry(plot, {
      product: line ? line.product : product.value,
      done,
      applied_on: said("date"),
      mass_kg: Number(kg.toFixed(5)), // whole pounds stay whole, and fifteen entries fit a code
      timing: (line ? line.timing : before && before.timing) || null,
      ...(before ? { line_id: line ? line.id : before.line_id, plan_id: before.plan_id, job_id: before.job_id } : jobOf(line)),
      time_of_day: said("time"),
      area_m2: done === "not done" || !areaTyped ? null : Number((Number(areaTyped) * data.area_unit_m2).toFixed(1)),
      reason: reason.value.trim(),
      ...Object.fromEntries(["operator", "equipment", "method", "ground", "weather", "forecast", "note"].map((name) => [name, said(name)])),
    });
    // What was never sent is simply written anew; what was sent stays, and the new entry points to it.
    const fixed = old && (old.sent || old.saved || known.has(before.entry_id));
    if (old) entry.replaces = fixed ? before.entry_id : before.replaces;
    const { operator, equipment, method, ground, weather, forecast } = entry;
    shelf.put("last", { on: today(), operator, equipment, method, ground, weather, forecast });
    const kept = [entry, ...mixed.map((each) => ({ ...newEntry(plot, entry), entry_id: newId(), product: each.line.product,
      mass_kg: Number((toDo > 0 ? kg / toDo * each.left : 0).toFixed(5)), timing: each.line.timing || null, ...jobOf(each.line) }))];
    const lasting = keep((entries) => [...(old && !fixed ? without(old)(entries) : entries), ...kept.map((one) => ({ entry: one, sent: "" }))]);
    shelf.put("draft", null);
    byId("check-off").close();
    afterKeeping(kept, plot, lasting, old && !fixed ? [old] : []);
    return undefined;
  });
  byId("check-off").replaceChildren(form);
  if (restoreDraft(key, form)) problem.textContent = "As you left it.";
  refresh();
  byId("check-off").showModal();
  form.elements.done[0].focus();
}

/** The spreader of the round that holds a line. */
function equipmentFor(line) {
  if (!line) return "";
  const round = list(data.rounds).find((one) => one.stops.some((stop) => [stop.line, ...list(stop.others)].includes(line.id)));
  return round ? round.spreader : "";
}
