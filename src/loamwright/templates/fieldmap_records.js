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

const earlierJobs = new Map(list(data.earlier_jobs).map((job) => [`${job.plan_id} ${job.job_id}`, job]));
const alike = (one, other) => !one || !other || one === other;
/** Whether a day lies in a window; null where the window has no days. */
const holds = (window, day) => (window.opens ? window.opens <= day && day <= window.closes : null);

/** Whether two windows share a day of the year: one that is past is planned for the next year. */
function meet(one, other) {
  const [from, to, start, end] = [one.opens, one.closes, other.opens, other.closes].map(Date.parse);
  return [-365, 0, 365].some((days) => from <= end + days * 864e5 && start + days * 864e5 <= to);
}

/** Whether what was reported against another plan is of a line of this one: the same part, at the same time. */
function ofThatJob(entry, line) {
  const then = earlierJobs.get(`${entry.plan_id} ${entry.job_id}`) || {};
  const timing = entry.timing || then.timing;
  if (!alike(timing, line.timing) || (then.part || "") !== (line.part || "")) return false;
  if (then.opens && line.opens) return meet(then, line);
  return Boolean(timing && line.timing) || holds(line, entry.applied_on) !== false;
}

/** The lines of its plot an entry may report on, the likeliest first, as matching.py decides it. */
function linesFor(entry, rows) {
  const same = rows.filter(({ line }) => line.product === entry.product);
  if (entry.plan_id && entry.job_id) {
    return same.filter(({ line }) => (entry.plan_id === data.plan_id ? line.job === entry.job_id : ofThatJob(entry, line)));
  }
  if (entry.line_id) return same.filter(({ line }) => entry.line_id === line.id);
  let fitting = same.filter(({ line }) => alike(entry.timing, line.timing) && !(entry.had_share && line.part));
  const day = entry.applied_on;
  if (!entry.timing) { // of lines at several times, those whose window holds the day, or is open already
    const now = fitting.filter(({ line }) => holds(line, day) !== false);
    const begun = fitting.filter(({ line }) => !(line.opens > day));
    fitting = [now, begun, fitting].find((some) => some.length) || [];
  }
  const place = ({ line }) => ((line.timing || "") === (entry.timing || "") ? 0 : 2) + (holds(line, day) ? 0 : 1);
  return fitting.sort((one, other) => place(one) - place(other));
}

function stateOf(kg, plannedKg) {
  if (kg <= 0) return "nothing yet";
  if (kg > plannedKg * data.over_fraction) return "over";
  return kg >= plannedKg * data.done_fraction ? "done" : "part";
}

/**
 * State of each planned line of a plot, with what this phone holds: [{state, kg, notDone}]. As in ledger.py,
 * an entry goes to the first line it may report on that is not done yet.
 */
function lineStates(plot) {
  const rows = list(plot.lines).map((line) => ({ line, kg: 0, refused: "", m2: 0 }));
  for (const entry of standingEntries(plot)) {
    const inOrder = linesFor(entry, rows);
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
