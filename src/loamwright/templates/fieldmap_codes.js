// Records as codes: packed, written in letters that a message leaves alone, and shown one code after another. How a
// code is put together stands in files/record_codes.py.

const BASE32 = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"; // RFC 4648
const CODE_ROOM = 1800; // letters in a code; version 25 holds 1,853 with what stands before them

function base32(bytes) {
  let [letters, held, bits] = ["", 0, 0];
  for (const byte of bytes) {
    held = (held << 8) | byte;
    bits += 8;
    while (bits >= 5) {
      bits -= 5;
      letters += BASE32[(held >> bits) & 31];
    }
    held &= 31;
  }
  return bits ? letters + BASE32[(held << (5 - bits)) & 31] : letters;
}

/** One value for a field that all entries share, else a list; what says nothing is null. */
function columnsOf(rows) {
  const said = (value) => (value === undefined || value === "" ? null : value);
  return Object.fromEntries([...new Set(rows.flatMap(Object.keys))].map((name) => {
    const values = rows.map((row) => said(row[name]));
    return [name, values.every((value) => value === values[0]) ? values[0] : values];
  }).filter(([, column]) => column !== null));
}

/** The texts of the codes that carry some entries. */
async function codesOf(entries) {
  const rows = entries.map(told);
  const text = JSON.stringify({ format: "loamwright-records", version: 2, count: rows.length, columns: columnsOf(rows),
    ...capturedPart() });
  const stream = new Blob([text]).stream().pipeThrough(new CompressionStream("deflate"));
  const letters = base32(new Uint8Array(await new Response(stream).arrayBuffer()));
  const parts = Math.ceil(letters.length / CODE_ROOM);
  const each = Math.ceil(letters.length / parts);
  const receipt = receiptOf(idsOf(entries));
  return Array.from({ length: parts }, (_, i) => `LW1.${i + 1}.${parts}.${receipt}.${letters.slice(i * each, (i + 1) * each)}.`);
}

function codePicture(text, label) {
  const rows = qrEncode(text);
  const size = rows.length + 8; // four light squares all around, as the standard asks
  const path = rows.map((row, y) => [...row].map((on, x) => (on ? `M${x + 4} ${y + 4}h1v1h-1z` : "")).join("")).join("");
  return makeSvg("svg", { viewBox: `0 0 ${size} ${size}`, class: "code", role: "img", "shape-rendering": "crispEdges", "aria-label": label },
    makeSvg("rect", { width: size, height: size, fill: "#fff" }), makeSvg("path", { d: path, fill: "#000" }));
}

async function showCodes(entries, at = 0) {
  const texts = await codesOf(entries);
  const which = texts.length > 1 ? `Code ${at + 1} of ${texts.length}` : "Records as a code";
  byId("code").replaceChildren(...[
    make("h2", { id: "code-title", tabindex: "-1" }, which),
    make("p", {}, "Take a picture of it, or a screenshot, and give the file to “loamwright record”"
      + `${texts.length > 1 ? ", all of them in one command" : ""}. Bringing it in twice changes nothing.`),
    codePicture(texts[at], `${which}: ${entries.length} entries`),
    texts.length > 1 ? make("div", { class: "actions" },
      button("Previous code", () => showCodes(entries, at - 1), { disabled: at === 0 }),
      button("Next code", () => showCodes(entries, at + 1), { disabled: at + 1 === texts.length })) : "",
    make("div", { class: "actions" },
      at + 1 === texts.length ? button("It was scanned", () => { markSent(entries); byId("code").close(); }) : "",
      button("Close", () => byId("code").close(), { class: "main" })),
  ].filter(Boolean));
  if (!byId("code").open) byId("code").showModal();
  byId("code-title").focus();
}
