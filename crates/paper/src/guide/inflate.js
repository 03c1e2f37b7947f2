"use strict";
// Unpacks the data: by the browser where it can, else by hand (RFC 1951, the whole of it).

function ofBase64(text) {
  const letters = atob(text.trim());
  const bytes = new Uint8Array(letters.length);
  for (let at = 0; at < letters.length; at++) bytes[at] = letters.charCodeAt(at);
  return bytes;
}

async function unpacked(bytes) {
  if (typeof DecompressionStream === "function") {
    try {
      const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
      return await new Response(stream).text();
    } catch (_) {
      // Older browsers know the stream but not this kind of it.
    }
  }
  return new TextDecoder().decode(inflate(bytes));
}

function inflate(bytes) {
  const LENGTHS = [3, 4, 5, 6, 7, 8, 9, 10, 11, 13, 15, 17, 19, 23, 27, 31, 35, 43, 51, 59, 67, 83, 99, 115, 131, 163, 195, 227, 258];
  const LENGTH_BITS = [0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 4, 4, 4, 4, 5, 5, 5, 5, 0];
  const FARS = [1, 2, 3, 4, 5, 7, 9, 13, 17, 25, 33, 49, 65, 97, 129, 193, 257, 385, 513, 769, 1025, 1537, 2049, 3073, 4097, 6145, 8193, 12289, 16385, 24577];
  const FAR_BITS = [0, 0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5, 6, 6, 7, 7, 8, 8, 9, 9, 10, 10, 11, 11, 12, 12, 13, 13];
  const ORDER = [16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15];
  let at = 0, held = 0, count = 0;
  let out = new Uint8Array(bytes.length * 8), size = 0;
  const bits = (number) => {
    while (count < number) {
      held |= bytes[at++] << count;
      count += 8;
    }
    const value = held & ((1 << number) - 1);
    held >>>= number;
    count -= number;
    return value;
  };
  const room = (more) => {
    if (size + more <= out.length) return;
    const larger = new Uint8Array(Math.max(out.length * 2, size + more));
    larger.set(out);
    out = larger;
  };
  // Lengths of codes to counts by length and symbols in order.
  const table = (lengths) => {
    const counts = new Uint16Array(16), places = new Uint16Array(16), symbols = new Uint16Array(lengths.length);
    for (const length of lengths) counts[length]++;
    counts[0] = 0;
    for (let length = 1; length < 16; length++) places[length] = places[length - 1] + counts[length - 1];
    lengths.forEach((length, symbol) => { if (length) symbols[places[length]++] = symbol; });
    return { counts, symbols };
  };
  const symbol = ({ counts, symbols }) => {
    let code = 0, first = 0, index = 0;
    for (let length = 1; length < 16; length++) {
      code |= bits(1);
      const here = counts[length];
      if (code - here < first) return symbols[index + (code - first)];
      index += here;
      first = (first + here) << 1;
      code <<= 1;
    }
    throw new Error("the data of this page are damaged");
  };
  for (let last = 0; !last; ) {
    last = bits(1);
    const kind = bits(2);
    if (kind === 0) {
      held = count = 0;
      const length = bytes[at] | (bytes[at + 1] << 8);
      at += 4;
      room(length);
      out.set(bytes.subarray(at, at + length), size);
      at += length;
      size += length;
      continue;
    }
    let codes, fars;
    if (kind === 1) {
      codes = table(Array.from({ length: 288 }, (_, one) => (one < 144 ? 8 : one < 256 ? 9 : one < 280 ? 7 : 8)));
      fars = table(new Array(30).fill(5));
    } else {
      const many = bits(5) + 257, manyFars = bits(5) + 1, manyLengths = bits(4) + 4;
      const own = new Array(19).fill(0);
      for (let one = 0; one < manyLengths; one++) own[ORDER[one]] = bits(3);
      const tree = table(own);
      const lengths = [];
      while (lengths.length < many + manyFars) {
        const one = symbol(tree);
        if (one < 16) lengths.push(one);
        else if (one === 16) for (let left = 3 + bits(2), before = lengths[lengths.length - 1]; left > 0; left--) lengths.push(before);
        else for (let left = one === 17 ? 3 + bits(3) : 11 + bits(7); left > 0; left--) lengths.push(0);
      }
      codes = table(lengths.slice(0, many));
      fars = table(lengths.slice(many));
    }
    for (let one = symbol(codes); one !== 256; one = symbol(codes)) {
      if (one < 256) {
        room(1);
        out[size++] = one;
        continue;
      }
      const length = LENGTHS[one - 257] + bits(LENGTH_BITS[one - 257]);
      const far = symbol(fars);
      const from = size - (FARS[far] + bits(FAR_BITS[far]));
      room(length);
      for (let place = 0; place < length; place++) out[size++] = out[from + place];
    }
  }
  return out.subarray(0, size);
}

if (typeof module !== "undefined") module.exports = { inflate, ofBase64, unpacked };
