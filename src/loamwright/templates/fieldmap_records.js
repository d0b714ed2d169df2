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
  const rows = list(plot.lines).map((line) => ({ line, kg: 0, refused: "", m2: 0 }));
  for (const entry of standingEntries(plot)) {
    const fitting = rows.filter((row) => answers(entry, row.line));
    const own = (row) => (row.line.timing || "") === (entry.timing || "");
    const inOrder = [...fitting.filter(own), ...fitting.filter((row) => !own(row))];
    const row = inOrder.find((one) => ["nothing yet", "part"].includes(stateOf(one.kg, one.line.kg))) || inOrder[0];
    if (row) {
      row.kg += entry.mass_kg;
      if (entry.mass_kg > 0) row.m2 += entry.area_m2 ?? Infinity; // not said: on all of it
      if (entry.done === "not done") row.refused ||= entry.reason;
    }
  }
  // A job whose amount is on, but not on all its ground, is a part of it.
  const onPart = ({ line, m2 }) => m2 < data.done_fraction * (line.rest_m2 || plot.spread_m2);
  const stateIn = (row) => {
    const state = stateOf(row.kg, row.line.kg);
    return ["done", "over"].includes(state) && onPart(row) ? "part" : state;
  };
  return rows.map((row) => ({ state: stateIn(row), kg: row.kg, notDone: row.kg <= 0 ? row.refused : "" }));
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
