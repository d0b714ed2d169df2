// Check-offs: kept in this browser, sent as one records file. An entry holds the fields of
// values.Application, mass in kilograms, dates as ISO 8601.

const known = new Set(list(data.known_entries));
const counted = new Set(list(data.counted_entries)); // taken off the needs before the plan was made
let kept = shelf.get("entries", []); // [{entry, sent}] in the order they were made

/** Entries that count beside the property file: not replaced by a later one, not on file already. */
function openEntries() {
  const replaced = new Set(kept.map((one) => one.entry.replaces).filter(Boolean));
  return kept.filter((one) => !known.has(one.entry.entry_id) && !replaced.has(one.entry.entry_id));
}

/** What a plot's lines are held against: entries on file that this phone does not correct, then its own. */
function standingEntries(plot) {
  const replaced = new Set(kept.map((one) => one.entry.replaces).filter(Boolean));
  const off = new Set(counted); // with the corrections of those, which stand after them
  for (const { entry } of kept) if (off.has(entry.replaces)) off.add(entry.entry_id);
  const mine = openEntries().map((one) => one.entry);
  return [...list(plot.on_file).filter((entry) => !replaced.has(entry.entry_id)),
    ...mine.filter((entry) => entry.plot_id === plot.id && !off.has(entry.entry_id))];
}

/** Whether an entry reports on a planned line of its plot, as ledger.py decides it. */
function answers(entry, line) {
  if (entry.product !== line.product) return false;
  if (entry.line_id) return entry.line_id === line.id;
  return !entry.timing || !line.timing || entry.timing === line.timing;
}

function stateOf(kg, plannedKg) {
  if (kg <= 0) return "nothing yet";
  if (kg > plannedKg * data.over_fraction) return "over";
  return kg >= plannedKg * data.done_fraction ? "done" : "part";
}

/**
 * State of each planned line of a plot, with what this phone holds: [{state, kg, notDone}]. As in ledger.py,
 * an entry goes to the first line that is not done yet, one of its own timing before others.
 */
function lineStates(plot) {
  const rows = list(plot.lines).map((line) => ({ line, kg: 0, refused: "" }));
  for (const entry of standingEntries(plot)) {
    const fitting = rows.filter((row) => answers(entry, row.line));
    const own = (row) => (row.line.timing || "") === (entry.timing || "");
    const inOrder = [...fitting.filter(own), ...fitting.filter((row) => !own(row))];
    const row = inOrder.find((one) => ["nothing yet", "part"].includes(stateOf(one.kg, one.line.kg))) || inOrder[0];
    if (row) {
      row.kg += entry.mass_kg;
      if (entry.done === "not done") row.refused ||= entry.reason;
    }
  }
  return rows.map(({ line, kg, refused }) => (
    { state: stateOf(kg, line.kg), kg, notDone: kg <= 0 ? refused : "" }));
}

function redraw() {
  drawLayer();
  drawRecords();
  if (state.view === "plots") drawList();
}

/** Change the kept entries. They are read afresh first: the map may be open twice. */
function keep(change) {
  kept = change(shelf.get("entries", []));
  const lasting = shelf.put("entries", kept);
  redraw();
  return lasting;
}

const without = (gone) => (entries) => entries.filter((one) => one.entry.entry_id !== gone.entry.entry_id);

const unsent = () => openEntries().filter((one) => !one.sent);

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
      : plot.spread_m2 ? String(Number((plot.spread_m2 / data.area_unit_m2).toFixed(3))) : "" });
  const text = (name, value, props) => make("input", { name, value: value || "", autocomplete: "off", maxlength: "500", ...props });
  const problem = make("p", { class: "problem", role: "alert" });
  const amountRow = make("div", { class: "amount" }, field("Amount", amount), unit, echo);
  const areaField = field(`Area covered (${data.area_unit})`, area);

  const states = [["done", "Done"], ["part", "Part"], ["not done", "Not done"]].map(([value, label]) =>
    make("label", { class: "pick" }, make("input", { type: "radio", name: "done", value,
      checked: (before ? before.done : "done") === value }), make("span", {}, label)));
  const stops = cautionsOf(plot).filter((one) => one.level === "stop" && (!one.product || !line || one.product === line.product));

  const form = make("form", { method: "dialog", novalidate: true },
    make("h2", { id: "check-off-title" }, before ? "Correct: " : "Check off: ", written(plot.name)),
    line ? make("p", { class: "planned" }, written(line.product), ` – planned ${line.mass}`,
      line.packages ? [" (", written(line.packages), ")"] : "", `, ${line.rate}`,
      lineState.kg && !before ? `. So far ${massText(lineState.kg)}.` : "") : field("Product", product),
    stops.map((one) => make("p", { class: "caution stop" }, make("b", {}, LEVELS.stop, ": "), written(one.text))),
    make("fieldset", { class: "picks" }, make("legend", {}, "What happened"), ...states),
    amountRow, areaField, reasonField,
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
    amountRow.hidden = areaField.hidden = nothing;
    const kg = nothing ? 0 : amountKg();
    echo.textContent = nothing || kg === null ? "" : `= ${massText(kg)}`;
    const differs = line && kg !== null && (kg < toDo * data.done_fraction || kg > toDo * data.over_fraction);
    reasonField.classList.toggle("asked", Boolean(nothing || doneNow() === "part" || differs));
  };
  form.addEventListener("input", refresh);
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
    if (product && !product.value) return fail("Choose the product.", product);
    if (kg === null) return fail("Write the amount as a number, zero or more.", amount);
    if (done !== "not done" && kg === 0) return fail("An amount of zero is “Not done”.", amount);
    if (!values.date.value) return fail("Write the date.", values.date);
    if (reasonField.classList.contains("asked") && !reason.value.trim()) {
      return fail("Write the reason: it differs from the plan.", reason);
    }
    const areaTyped = area.value.trim();
    if (areaTyped && !(Number(areaTyped) >= 0)) return fail("Write the area as a number, or leave it empty.", area);
    const said = (name) => values[name].value.trim();
    const entry = {
      entry_id: newId(),
      plot_id: plot.id,
      product: line ? line.product : product.value,
      done,
      applied_on: said("date"),
      mass_kg: kg,
      timing: (line ? line.timing : before && before.timing) || null,
      line_id: line ? line.id : before ? before.line_id : "",
      time_of_day: said("time"),
      area_m2: done === "not done" || !areaTyped ? null : Number(areaTyped) * data.area_unit_m2,
      cost: null,
      operator: said("operator"),
      equipment: said("equipment"),
      method: said("method"),
      ground: said("ground"),
      weather: said("weather"),
      forecast: said("forecast"),
      note: said("note"),
      reason: reason.value.trim(),
      replaces: "",
      recorded_at: new Date().toISOString(),
    };
    // What was never sent is simply written anew; what was sent stays, and the new entry points to it.
    const fixed = old && (old.sent || known.has(before.entry_id));
    if (old) entry.replaces = fixed ? before.entry_id : before.replaces;
    const { operator, equipment, method, ground, weather, forecast } = entry;
    shelf.put("last", { on: today(), operator, equipment, method, ground, weather, forecast });
    const lasting = keep((entries) => [...(old && !fixed ? without(old)(entries) : entries), { entry, sent: "" }]);
    byId("check-off").close();
    say(lasting ? `Kept on this phone. ${unsent().length} not sent yet.` : LOSING);
    if (state.view === "plot") showPlot(data.plots.indexOf(plot), true);
    if (state.view === "round") drawRound(true);
    return undefined;
  });
  byId("check-off").replaceChildren(form);
  refresh();
  byId("check-off").showModal();
  form.elements.done[0].focus();
}

/** The spreader of the round that holds a line. */
function equipmentFor(line) {
  if (!line) return "";
  const round = list(data.rounds).find((one) => one.stops.some((stop) => stop.line === line.id));
  return round ? round.spreader : "";
}

// --- sending ---------------------------------------------------------------------------------------

const LOSING = "This browser keeps nothing for a page opened this way. Send your records before you close the page.";
const QR_LIMIT_BYTES = 1273; // what version 25 at level L holds

function recordsText(entries, indent) {
  return JSON.stringify({ format: "loamwright-records", version: 1, entries: entries.map((one) => one.entry) }, null, indent);
}

/** Shorter for a code: fields that say nothing are left out. */
function shortRecordsText(entries) {
  const full = (entry) => Object.fromEntries(Object.entries(entry).filter(([, value]) => value !== "" && value !== null));
  return JSON.stringify({ format: "loamwright-records", version: 1, entries: entries.map((one) => full(one.entry)) });
}

/** Everything that is not in the property file yet, corrected entries included: what was sent must be complete. */
const toSend = () => kept.filter((one) => !known.has(one.entry.entry_id));

function fileName() {
  const name = data.title.normalize("NFKD").toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "").slice(0, 40);
  return `${name || "property"}-records-${today()}-${nowTime().replace(":", "")}.json`;
}

function markSent(entries) {
  const ids = new Set(entries.map((one) => one.entry.entry_id));
  const when = new Date().toISOString();
  keep((all) => all.map((one) => (ids.has(one.entry.entry_id) && !one.sent ? { ...one, sent: when } : one)));
}

function download(entries) {
  const address = URL.createObjectURL(new Blob([recordsText(entries, 1)], { type: "application/json" }));
  const link = make("a", { href: address, download: fileName() });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
  markSent(entries);
  say("The records file was handed to the browser's downloads.");
}

async function shareRecords(entries) {
  const file = new File([recordsText(entries, 1)], fileName(), { type: "application/json" });
  try {
    await navigator.share({ files: [file], title: fileName() });
    markSent(entries);
    say("Sent.");
  } catch (error) {
    if (error.name !== "AbortError") download(entries);
  }
}

function canShare() {
  try {
    return Boolean(navigator.canShare && navigator.canShare({ files: [new File(["{}"], "a.json", { type: "application/json" })] }));
  } catch {
    return false;
  }
}

function showCode(entries) {
  const text = shortRecordsText(entries);
  const rows = qrEncode(text);
  const size = rows.length + 8; // four light squares all around, as the standard asks
  const path = rows.map((row, y) => [...row].map((on, x) => (on ? `M${x + 4} ${y + 4}h1v1h-1z` : "")).join("")).join("");
  byId("code").replaceChildren(
    make("h2", { id: "code-title" }, "Records as a code"),
    make("p", {}, "Scan it with another phone or a computer's camera, save the text as a file, and bring that file in "
      + "with “loamwright record”. Bringing it in twice changes nothing."),
    makeSvg("svg", { viewBox: `0 0 ${size} ${size}`, class: "code", role: "img", "shape-rendering": "crispEdges",
      "aria-label": `Code that holds ${entries.length} entries` },
    makeSvg("rect", { width: size, height: size, fill: "#fff" }), makeSvg("path", { d: path, fill: "#000" })),
    make("div", { class: "actions" }, button("It was scanned", () => { markSent(entries); byId("code").close(); }),
      button("Close", () => byId("code").close(), { class: "main" })));
  byId("code").showModal();
}

function drawRecords() {
  const entries = toSend();
  const bytes = new TextEncoder().encode(shortRecordsText(entries)).length;
  const replaced = new Set(kept.map((one) => one.entry.replaces)); // the others stand, here or on file
  const ready = entries.length > 0;
  const onFile = kept.filter((one) => known.has(one.entry.entry_id));
  const waiting = unsent().length;
  byId("view-records").replaceChildren(...[
    heading("Records on this phone"),
    shelf.lasting ? "" : make("p", { class: "problem" }, LOSING),
    make("p", {}, ready ? `${entries.length} kept here, ${waiting} not sent yet.`
      : "Nothing is waiting here. Check off a plot, and it appears in this list."),
    make("div", { class: "actions stacked" },
      canShare() ? button("Send records", () => shareRecords(entries), { class: "main", disabled: !ready }) : "",
      button("Save records file", () => download(entries), { class: canShare() ? "" : "main", disabled: !ready }),
      button("Show as a code", () => showCode(entries), { disabled: !ready || bytes > QR_LIMIT_BYTES })),
    ready && bytes > QR_LIMIT_BYTES ? make("p", { class: "quiet" },
      `A code holds ${grouped(QR_LIMIT_BYTES, 0)} bytes; these records have ${grouped(bytes, 0)}. Send the file instead.`) : "",
    ready ? make("details", { class: "how" }, make("summary", {}, "As text to copy"),
      make("textarea", { readonly: true, rows: "6", "aria-label": "Records as text",
        on: { focus: (event) => event.target.select() } }, recordsText(entries))) : "",
    make("ol", { class: "entries" }, kept.slice().reverse().map((one) => entryItem(one, !replaced.has(one.entry.entry_id)))),
    onFile.length ? button(`Tidy away ${onFile.length} that the property file already holds`,
      () => keep((all) => all.filter((one) => !known.has(one.entry.entry_id)))) : "",
  ].filter(Boolean));
}

function entryItem(one, standing) {
  const { entry } = one;
  const plot = data.plots.find((each) => each.id === entry.plot_id);
  const line = plot && list(plot.lines).find((each) => each.id === entry.line_id);
  let where = "not sent yet";
  if (known.has(entry.entry_id)) where = "in the property file";
  else if (one.sent) where = `sent ${one.sent.slice(0, 10)}`;
  if (!standing) where = "corrected by a later entry";
  return make("li", {},
    make("p", {}, make("b", {}, written(plot ? plot.name : entry.plot_id)), ": ", written(entry.product)),
    make("p", {}, `${entry.done}, ${massText(entry.mass_kg)} (${grouped(entry.mass_kg, 2)} kg), ${entry.applied_on} ${entry.time_of_day}`,
      entry.operator ? [", ", written(entry.operator)] : ""),
    entry.reason ? make("p", {}, "Reason: ", written(entry.reason)) : "",
    entry.line_id && !line ? make("p", { class: "quiet" }, "For a line that is not on this map.") : "",
    make("p", { class: "quiet" }, where),
    make("div", { class: "actions" },
      standing && plot ? button("Correct", () => openCheckOff(plot, line || null, one)) : "",
      standing && !one.sent && !known.has(entry.entry_id) ? button("Remove", () => {
        keep(without(one));
        say("Removed.");
      }) : ""));
}
