// A QR code (ISO/IEC 18004) for a short text: capitals, figures and a few signs (alphanumeric mode), error correction
// level L, versions 1 to 25. It stands here because no package on PyPI carries one for a page.

// Error-correction codewords per block, and number of blocks, by version. The tests compare every version and
// mask bit for bit with an independent library.
const QR_CHECK = [7, 10, 15, 20, 26, 18, 20, 24, 30, 18, 20, 24, 26, 30, 22, 24, 28, 30, 28, 28, 28, 28, 30, 30, 26];
const QR_BLOCKS = [1, 1, 1, 1, 1, 2, 2, 2, 2, 4, 4, 4, 4, 4, 6, 6, 6, 6, 7, 8, 8, 9, 9, 10, 12];

const qrSize = (version) => 17 + 4 * version;

/** Centres of the alignment patterns: 6, then evenly back from the far edge in even steps. */
function qrAlignment(version) {
  if (version === 1) return [];
  const count = Math.floor(version / 7) + 2;
  const step = 2 * Math.ceil((qrSize(version) - 13) / (2 * (count - 1)));
  const centres = [6];
  for (let i = count - 2; i >= 0; i--) centres.push(qrSize(version) - 7 - i * step);
  return centres;
}

/** Squares that carry no data: finders, timing, alignment, format and version. */
function qrFrame(version) {
  const size = qrSize(version);
  const dark = Array.from({ length: size }, () => new Uint8Array(size));
  const fixed = Array.from({ length: size }, () => new Uint8Array(size));
  const set = (x, y, on) => {
    if (x < 0 || y < 0 || x >= size || y >= size) return;
    dark[y][x] = on ? 1 : 0;
    fixed[y][x] = 1;
  };
  for (let i = 0; i < size; i++) {
    set(6, i, i % 2 === 0);
    set(i, 6, i % 2 === 0);
  }
  for (const [cx, cy] of [[3, 3], [size - 4, 3], [3, size - 4]]) {
    for (let dy = -4; dy <= 4; dy++) {
      for (let dx = -4; dx <= 4; dx++) {
        const ring = Math.max(Math.abs(dx), Math.abs(dy));
        set(cx + dx, cy + dy, ring !== 2 && ring !== 4);
      }
    }
  }
  const centres = qrAlignment(version);
  const last = centres.length - 1;
  centres.forEach((cx, i) => centres.forEach((cy, j) => {
    if ((i === 0 && (j === 0 || j === last)) || (i === last && j === 0)) return;
    for (let dy = -2; dy <= 2; dy++) {
      for (let dx = -2; dx <= 2; dx++) set(cx + dx, cy + dy, Math.max(Math.abs(dx), Math.abs(dy)) !== 1);
    }
  }));
  for (let i = 0; i < 9; i++) {
    if (i !== 6) {
      set(8, i, false);
      set(i, 8, false);
    }
    if (i < 8) {
      set(size - 1 - i, 8, false);
      set(8, size - 1 - i, i === 7); // the one square that is always dark
    }
  }
  if (version >= 7) {
    const bits = qrCheckBits(version, 12, 0x1f25);
    for (let i = 0; i < 18; i++) {
      const [a, b] = [Math.floor(i / 3), size - 11 + (i % 3)];
      set(a, b, (bits >> i) & 1);
      set(b, a, (bits >> i) & 1);
    }
  }
  return { size, dark, fixed };
}

/** Append the remainder of a division by a binary polynomial. */
function qrCheckBits(value, degree, polynomial) {
  let rest = value << degree;
  for (let bit = 31 - Math.clz32(rest); bit >= degree; bit = 31 - Math.clz32(rest)) {
    rest ^= polynomial << (bit - degree);
    if (rest === 0) break;
  }
  return (value << degree) | rest;
}

/** Data squares in the order they are filled: column pairs from the right, up and down in turn. */
function qrPath({ size, fixed }) {
  const path = [];
  let up = true;
  for (let right = size - 1; right > 0; right -= 2) {
    if (right === 6) right = 5;
    for (let i = 0; i < size; i++) {
      const y = up ? size - 1 - i : i;
      for (const x of [right, right - 1]) if (!fixed[y][x]) path.push([x, y]);
    }
    up = !up;
  }
  return path;
}

function qrMultiply(a, b) {
  let product = 0;
  for (let bit = 7; bit >= 0; bit--) {
    product = (product << 1) ^ (product >> 7 ? 0x11d : 0);
    if ((b >> bit) & 1) product ^= a;
  }
  return product;
}

/** Reed–Solomon check codewords of one block. */
function qrReedSolomon(block, count) {
  let divisor = [1];
  for (let i = 0, root = 1; i < count; i++, root = qrMultiply(root, 2)) {
    const next = [...divisor, 0];
    divisor.forEach((factor, k) => { next[k + 1] ^= qrMultiply(factor, root); });
    divisor = next;
  }
  const rest = new Uint8Array(count);
  for (const byte of block) {
    const factor = byte ^ rest[0];
    rest.copyWithin(0, 1);
    rest[count - 1] = 0;
    for (let k = 0; k < count; k++) rest[k] ^= qrMultiply(divisor[k + 1], factor);
  }
  return rest;
}

const QR_LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:";

/** Bits a text of so many letters takes: mode, length, eleven bits for two letters, six for a last one. */
const qrBits = (length, version) => 4 + (version < 10 ? 9 : 11) + 11 * Math.floor(length / 2) + 6 * (length % 2);

/** Codewords for a text: length, data, padding, then data and check words of all blocks interleaved. */
function qrCodewords(text, version, total) {
  const blocks = QR_BLOCKS[version - 1];
  const check = QR_CHECK[version - 1];
  const room = total - blocks * check;
  const bits = [];
  const push = (value, length) => { for (let i = length - 1; i >= 0; i--) bits.push((value >> i) & 1); };
  push(2, 4); // alphanumeric
  push(text.length, version < 10 ? 9 : 11);
  const values = [...text].map((letter) => QR_LETTERS.indexOf(letter));
  for (let i = 0; i < values.length; i += 2) {
    if (i + 1 < values.length) push(values[i] * 45 + values[i + 1], 11);
    else push(values[i], 6);
  }
  push(0, Math.min(4, room * 8 - bits.length));
  while (bits.length % 8) bits.push(0);
  const words = [];
  for (let i = 0; i < bits.length; i += 8) words.push(parseInt(bits.slice(i, i + 8).join(""), 2));
  for (let pad = 0xec; words.length < room; pad ^= 0xec ^ 0x11) words.push(pad);
  const short = Math.floor(room / blocks);
  const parts = [];
  for (let b = 0, at = 0; b < blocks; b++) {
    const length = short + (b >= blocks - (room % blocks) ? 1 : 0);
    parts.push(words.slice(at, at + length));
    at += length;
  }
  const checks = parts.map((part) => qrReedSolomon(part, check));
  const out = [];
  for (let i = 0; i <= short; i++) for (const part of parts) if (i < part.length) out.push(part[i]);
  for (let i = 0; i < check; i++) for (const part of checks) out.push(part[i]);
  return out;
}

const QR_MASKS = [
  (x, y) => (x + y) % 2 === 0,
  (x, y) => y % 2 === 0,
  (x) => x % 3 === 0,
  (x, y) => (x + y) % 3 === 0,
  (x, y) => (Math.floor(y / 2) + Math.floor(x / 3)) % 2 === 0,
  (x, y) => ((x * y) % 2) + ((x * y) % 3) === 0,
  (x, y) => (((x * y) % 2) + ((x * y) % 3)) % 2 === 0,
  (x, y) => (((x + y) % 2) + ((x * y) % 3)) % 2 === 0,
];

/** Penalty points of a finished code by the rules of the standard. */
function qrPenalty(code) {
  const size = code.length;
  let points = 0;
  let darks = 0;
  const lines = [...code.map((row) => [...row]), ...code.map((_, x) => code.map((row) => row[x]))];
  for (const line of lines) {
    points += [...line.join("").matchAll(/0{5,}|1{5,}/g)].reduce((sum, run) => sum + run[0].length - 2, 0);
    const text = line.join("");
    for (const look of ["10111010000", "00001011101"]) {
      for (let at = text.indexOf(look); at >= 0; at = text.indexOf(look, at + 1)) points += 40;
    }
  }
  for (let y = 0; y < size; y++) {
    for (let x = 0; x < size; x++) {
      darks += code[y][x];
      if (x + 1 < size && y + 1 < size) {
        const sum = code[y][x] + code[y][x + 1] + code[y + 1][x] + code[y + 1][x + 1];
        if (sum % 4 === 0) points += 3;
      }
    }
  }
  return points + 10 * Math.floor(Math.abs((darks * 100) / (size * size) - 50) / 5);
}

/**
 * Encode a text of `QR_LETTERS`. Returns rows of 0 and 1, or null when it is too long for version 25.
 * `mask` forces one of the eight masks; without it the one with the fewest penalty points is taken.
 */
function qrEncode(text, mask) {
  for (let version = 1; version <= QR_CHECK.length; version++) {
    const frame = qrFrame(version);
    const path = qrPath(frame);
    const total = Math.floor(path.length / 8);
    const room = total - QR_BLOCKS[version - 1] * QR_CHECK[version - 1];
    if (room * 8 < qrBits(text.length, version)) continue;
    const words = qrCodewords(text, version, total);
    const made = (mask === undefined ? [0, 1, 2, 3, 4, 5, 6, 7] : [mask]).map((which) => {
      const code = frame.dark.map((row) => row.slice());
      path.forEach(([x, y], i) => {
        const bit = i < total * 8 ? (words[i >> 3] >> (7 - (i & 7))) & 1 : 0;
        code[y][x] = bit ^ (QR_MASKS[which](x, y) ? 1 : 0);
      });
      const format = qrCheckBits((1 << 3) | which, 10, 0x537) ^ 0x5412; // level L is 01
      const spots = [0, 1, 2, 3, 4, 5, 7, 8].map((y) => [8, y]).concat([7, 5, 4, 3, 2, 1, 0].map((x) => [x, 8]));
      spots.forEach(([x, y], i) => {
        const bit = (format >> i) & 1;
        code[y][x] = bit;
        if (i < 8) code[8][frame.size - 1 - i] = bit;
        else code[frame.size - 15 + i][8] = bit;
      });
      return code;
    });
    return made.reduce((best, code) => (qrPenalty(code) < qrPenalty(best) ? code : best));
  }
  return null;
}
