// Handing records over: text, mail, file, the phone's own sharing; and the receipt that says they arrived.

const LOSING = "This browser keeps nothing for a page opened this way. Send your records before you close the page.";
const LONGEST_LETTER = 6000; // characters of an address that phones still pass on (our choice)
const capturedItems = () => capturedToSend().map((one) => one.item);
const capturedPart = () => (capturedToSend().length ? { captured: capturedItems() } : {});
const idsOf = (entries) => [...entries.map((one) => one.entry.entry_id), ...capturedItems().map((item) => item.captured_id)];

/** An entry as it is told: plan and job name its line. */
const told = ({ entry }) => (entry.job_id ? { ...entry, line_id: undefined } : entry);

function recordsText(entries, indent) {
  return JSON.stringify({ format: "loamwright-records", version: 2, entries: entries.map(told), ...capturedPart() },
    null, indent);
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
  const there = (one) => ({ ...one, sent: one.sent || today(), arrived: today() });
  keep((all) => all.map((one) => (arrived.has(one.entry.entry_id) ? there(one) : one)));
  keepCaptured((all) => all.map((one) => (arrived.has(one.item.captured_id) ? there(one) : one)));
  return true;
}

/** What was handed over is remembered by its receipt. */
function remember(entries) {
  const ids = idsOf(entries);
  const receipt = receiptOf(ids);
  shelf.put("handed", [...shelf.get("handed", []).filter((one) => one.receipt !== receipt), { receipt, ids }].slice(-20));
}

/** A file was made of them: they are on this phone twice, and nowhere else yet. */
function markSaved(entries) {
  remember(entries);
  const ids = new Set(idsOf(entries));
  keep((all) => all.map((one) => (ids.has(one.entry.entry_id) ? { ...one, saved: one.saved || today() } : one)));
  keepCaptured((all) => all.map((one) => (ids.has(one.item.captured_id) ? { ...one, saved: one.saved || today() } : one)));
}

function markSent(entries) {
  remember(entries);
  const ids = new Set(idsOf(entries));
  const when = new Date().toISOString();
  keep((all) => all.map((one) => (ids.has(one.entry.entry_id) && !one.sent ? { ...one, sent: when } : one)));
  keepCaptured((all) => all.map((one) => (ids.has(one.item.captured_id) && !one.sent ? { ...one, sent: when } : one)));
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
  const marked = capturedToSend();
  const ready = entries.length + marked.length > 0;
  const onFile = kept.filter((one) => known.has(one.entry.entry_id));
  const waiting = unsent().length + marked.filter((one) => !one.sent).length;
  const inHand = [...entries, ...marked].filter((one) => one.saved && !one.sent);
  const out = [...entries, ...marked].filter((one) => one.sent && !one.arrived).length;
  const receipt = make("input", { name: "receipt", autocomplete: "off", autocapitalize: "characters", maxlength: "8" });
  const letter = `mailto:?subject=${encodeURIComponent(fileName())}&body=${encodeURIComponent(recordsText(entries))}`;
  byId("view-records").replaceChildren(...[
    heading("Records on this phone"),
    shelf.lasting ? "" : make("p", { class: "problem" }, LOSING),
    make("p", {}, ready ? `${entries.length + marked.length} kept here, ${waiting} not handed over yet${out ? `, ${out} without a receipt` : ""}.`
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
    button("Mark a spot, a boundary or a core", openMark),
    out || inHand.length ? make("form", { class: "receipt", on: { submit: (event) => {
      event.preventDefault();
      say(takeReceipt(receipt.value) ? "They have arrived." : "This phone handed nothing over with that receipt.");
    } } }, field("Receipt", receipt, "Six letters that the property's keeper reads to you: then they have arrived."),
    make("button", {}, "They arrived")) : "",
    ready ? make("details", { class: "how" }, make("summary", {}, "As text to copy"),
      make("textarea", { id: "records-text", readonly: true, rows: "6", "aria-label": "Records as text",
        on: { focus: (event) => event.target.select() } }, recordsText(entries))) : "",
    make("ol", { class: "entries" }, kept.slice().reverse().map((one) => entryItem(one, !replaced.has(one.entry.entry_id)))),
    captured.length ? section("Marked on the ground", make("ol", { class: "entries" }, captured.slice().reverse().map(capturedItem))) : "",
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
      standing && !one.sent && !one.saved && !known.has(entry.entry_id) ? button("Remove", () => {
        keep(without(one));
        say("Removed.");
      }) : ""));
}
