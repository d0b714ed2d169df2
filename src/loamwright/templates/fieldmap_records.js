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

const unsent = () => openEntries().filter((one) => !one.sent && !one.arrived);

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
function showKept(entry, plot, undo) {
  const bar = byId("kept");
  const amount = entry.mass_kg ? `, ${massText(entry.mass_kg)}` : "";
  bar.replaceChildren(make("p", {}, "Kept: ", written(plotName(plot)), ", ", written(entry.product), `, ${entry.done}${amount}.`),
    button("Take it back", () => {
      undo();
      bar.hidden = true;
      say("Taken back.");
    }));
  bar.hidden = false;
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

  const shares = make("div", { class: "shares", hidden: true }, [["¼", 0.25], ["½", 0.5], ["¾", 0.75]].map(([sign, share]) =>
    button(`${sign} of the plan`, () => {
      amount.value = exact(line.kg * share, unit.value);
      form.dispatchEvent(new Event("input"));
    })));
  const states = [["done", "Done"], ["part", "Part"], ["not done", "Not done"]].map(([value, label]) =>
    make("label", { class: "pick" }, make("input", { type: "radio", name: "done", value,
      checked: (before ? before.done : "done") === value }), make("span", {}, label)));
  const stops = cautionsOf(plot).filter((one) => one.level === "stop" && (!one.product || !line || one.product === line.product));

  const form = make("form", { method: "dialog", novalidate: true },
    make("h2", { id: "check-off-title" }, before ? "Correct: " : "Check off: ", written(plotName(plot))),
    line ? make("p", { class: "planned" }, written(line.product), ` – planned ${line.mass}`,
      line.packages ? [" (", written(line.packages), ")"] : "", `, ${line.rate}`,
      lineState.kg && !before ? `. So far ${massText(lineState.kg)}.` : "") : field("Product", product),
    stops.map((one) => make("p", { class: "caution stop" }, make("b", {}, LEVELS.stop, ": "), written(one.text))),
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
    const entry = {
      entry_id: newId(),
      plot_id: plot.id,
      product: line ? line.product : product.value,
      done,
      applied_on: said("date"),
      mass_kg: Number(kg.toFixed(5)), // whole pounds stay whole, and fifteen entries fit a code
      timing: (line ? line.timing : before && before.timing) || null,
      line_id: line ? line.id : before ? before.line_id : "",
      time_of_day: said("time"),
      area_m2: done === "not done" || !areaTyped ? null : Number((Number(areaTyped) * data.area_unit_m2).toFixed(1)),
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
      recorded_at: `${new Date().toISOString().slice(0, 19)}Z`,
    };
    // What was never sent is simply written anew; what was sent stays, and the new entry points to it.
    const fixed = old && (old.sent || old.saved || known.has(before.entry_id));
    if (old) entry.replaces = fixed ? before.entry_id : before.replaces;
    const { operator, equipment, method, ground, weather, forecast } = entry;
    shelf.put("last", { on: today(), operator, equipment, method, ground, weather, forecast });
    const lasting = keep((entries) => [...(old && !fixed ? without(old)(entries) : entries), { entry, sent: "" }]);
    shelf.put("draft", null);
    byId("check-off").close();
    say(lasting ? `Kept on this phone. ${unsent().length} not handed over yet.` : LOSING);
    const seen = () => {
      if (state.view === "plot") showPlot(data.plots.indexOf(plot), true);
      if (state.view === "round") drawRound(true);
    };
    showKept(entry, plot, () => {
      keep((entries) => [...without({ entry })(entries), ...(old && !fixed ? [old] : [])]);
      seen();
    });
    if (state.view === "round") goOn();
    else seen();
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
  const round = list(data.rounds).find((one) => one.stops.some((stop) => stop.line === line.id));
  return round ? round.spreader : "";
}

// --- sending ---------------------------------------------------------------------------------------

const LOSING = "This browser keeps nothing for a page opened this way. Send your records before you close the page.";
const LONGEST_LETTER = 6000; // characters of an address that phones still pass on (our choice)
function recordsText(entries, indent) {
  return JSON.stringify({ format: "loamwright-records", version: 1, entries: entries.map((one) => one.entry) }, null, indent);
}

/** Everything that is not in the property file yet, corrected entries included: what was sent must be complete. */
const toSend = () => kept.filter((one) => !known.has(one.entry.entry_id));

function fileName() {
  const name = data.title.normalize("NFKD").toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "").slice(0, 40);
  return `${name || "property"}-records-${today()}-${nowTime().replace(":", "")}.json`;
}

/** The receipt of a set of entries, as `work.receipt_of` makes it: FNV-1a of their ids, six letters of base 32. */
function receiptOf(ids) {
  let hash = 0x811c9dc5;
  for (const byte of new TextEncoder().encode([...ids].sort().join("\n"))) {
    hash = Math.imul(hash ^ byte, 0x01000193) >>> 0;
  }
  const letters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
  return [25, 20, 15, 10, 5, 0].map((shift) => letters[(hash >>> shift) & 31]).join("");
}

/** Entries that arrived, by the receipt the property's keeper gave. */
function takeReceipt(text) {
  const wanted = text.trim().toUpperCase().replace(/O/g, "0").replace(/[IL]/g, "1");
  const ids = (shelf.get("handed", []).find((one) => one.receipt === wanted) || {}).ids;
  if (!ids) return false;
  const arrived = new Set(ids);
  keep((all) => all.map((one) => (arrived.has(one.entry.entry_id) ? { ...one, sent: one.sent || today(), arrived: today() } : one)));
  return true;
}

/** What was handed over is remembered by its receipt. */
function remember(entries) {
  const ids = entries.map((one) => one.entry.entry_id);
  const receipt = receiptOf(ids);
  shelf.put("handed", [...shelf.get("handed", []).filter((one) => one.receipt !== receipt), { receipt, ids }].slice(-20));
}

/** A file was made of them: they are on this phone twice, and nowhere else yet. */
function markSaved(entries) {
  remember(entries);
  const ids = new Set(entries.map((one) => one.entry.entry_id));
  keep((all) => all.map((one) => (ids.has(one.entry.entry_id) ? { ...one, saved: one.saved || today() } : one)));
}

function markSent(entries) {
  remember(entries);
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
  markSaved(entries);
  say("The records file is in the browser's downloads. It is not handed over yet.");
}

/** Plain text is what every phone lets a page share. */
const textFile = (text) => new File([text], `${fileName()}.txt`, { type: "text/plain" });

async function copyRecords(entries) {
  const text = recordsText(entries);
  try {
    await navigator.clipboard.writeText(text);
  } catch { // not allowed to a page opened from a file: by hand
    const place = byId("records-text");
    place.closest("details").open = true;
    place.focus();
    place.select();
    if (!document.execCommand("copy")) return void say("Copy the text below by hand.");
  }
  markSaved(entries);
  say("Copied. Paste it into a message to whoever keeps the property.");
}

async function shareRecords(entries) {
  const file = textFile(recordsText(entries, 1));
  try {
    await navigator.share({ files: [file], title: fileName() });
    markSent(entries);
    say("Handed over. It has arrived when the receipt is here.");
  } catch (error) {
    if (error.name !== "AbortError") download(entries);
  }
}

function canShare() {
  try {
    return Boolean(navigator.canShare && navigator.canShare({ files: [textFile("{}")] }));
  } catch {
    return false;
  }
}

function drawRecords() {
  const entries = toSend();
  const replaced = new Set(kept.map((one) => one.entry.replaces)); // the others stand, here or on file
  const ready = entries.length > 0;
  const onFile = kept.filter((one) => known.has(one.entry.entry_id));
  const waiting = unsent().length;
  const inHand = entries.filter((one) => one.saved && !one.sent);
  const out = entries.filter((one) => one.sent && !one.arrived).length;
  const receipt = make("input", { name: "receipt", autocomplete: "off", autocapitalize: "characters", maxlength: "8" });
  const letter = `mailto:?subject=${encodeURIComponent(fileName())}&body=${encodeURIComponent(recordsText(entries))}`;
  byId("view-records").replaceChildren(...[
    heading("Records on this phone"),
    shelf.lasting ? "" : make("p", { class: "problem" }, LOSING),
    make("p", {}, ready ? `${entries.length} kept here, ${waiting} not handed over yet${out ? `, ${out} without a receipt` : ""}.`
      : "Nothing is waiting here. Check off a plot, and it appears in this list."),
    make("div", { class: "actions stacked" },
      canShare() ? button("Send records", () => shareRecords(entries), { class: "main", disabled: !ready }) : "",
      button("Copy as text", () => copyRecords(entries), { class: canShare() ? "" : "main", disabled: !ready }),
      ready && letter.length < LONGEST_LETTER ? make("a", { class: "button", href: letter, on: { click: () => markSaved(entries) } }, "Write a mail") : "",
      button("Save records file", () => download(entries), { disabled: !ready }),
      button("Show as a code", () => showCodes(entries), { disabled: !ready })),
    inHand.length ? make("div", { class: "actions stacked" },
      make("p", {}, `${inHand.length} copied or saved, which is not yet sent.`),
      button("I handed them over", () => markSent(entries), { class: "main" })) : "",
    out ? make("form", { class: "receipt", on: { submit: (event) => {
      event.preventDefault();
      say(takeReceipt(receipt.value) ? "They have arrived." : "This phone handed nothing over with that receipt.");
    } } }, field("Receipt", receipt, "Six letters that the property's keeper reads to you: then they have arrived."),
    make("button", {}, "They arrived")) : "",
    ready ? make("details", { class: "how" }, make("summary", {}, "As text to copy"),
      make("textarea", { id: "records-text", readonly: true, rows: "6", "aria-label": "Records as text",
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
  let where = one.saved ? "copied or saved, not handed over yet" : "not handed over yet";
  if (known.has(entry.entry_id)) where = "in the property file";
  else if (one.arrived) where = `arrived ${one.arrived}`;
  else if (one.sent) where = `handed over ${one.sent.slice(0, 10)}, no receipt yet`;
  if (!standing) where = "corrected by a later entry";
  return make("li", {},
    make("p", {}, make("b", {}, written(plot ? plotName(plot) : entry.plot_id)), ": ", written(entry.product)),
    make("p", {}, `${entry.done}, ${massText(entry.mass_kg)} (${grouped(entry.mass_kg, 2)} kg), ${entry.applied_on} ${entry.time_of_day}`,
      entry.operator ? [", ", written(entry.operator)] : ", by whom is not stated"),
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
