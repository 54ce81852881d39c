/* Packed columns: how they are read is told in the package, in `deliver/packing.py`. */

async function inflate(text) {
  const binary = atob(text);
  const raw = new Uint8Array(binary.length);
  for (let i = 0; i < raw.length; i += 1) raw[i] = binary.charCodeAt(i);
  const stream = new Blob([raw]).stream().pipeThrough(new DecompressionStream('deflate'));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

/** Whole numbers as codes; code 0 is a missing one where `gaps` is set. */
async function codesOf(packed) {
  const raw = await inflate(packed.data);
  const count = raw.length / packed.width;
  const codes = new (packed.width === 1 ? Uint8Array : packed.width === 2 ? Uint16Array : Uint32Array)(count);
  for (let plane = 0; plane < packed.width; plane += 1) {
    const weight = 2 ** (8 * plane);
    for (let i = 0, at = plane * count; i < count; i += 1, at += 1) codes[i] += raw[at] * weight;
  }
  if (!packed.steps) return codes;
  // The steps between codes may take fewer bytes than the codes do, and never more than four.
  const whole = new Uint32Array(count);
  let before = 0;
  for (let i = 0; i < count; i += 1) {
    const code = codes[i];
    before += code % 2 ? -(code + 1) / 2 : code / 2;
    whole[i] = before;
  }
  return whole;
}

/** Whole numbers without missing ones, as they are. */
async function numbersOf(packed) {
  const codes = await codesOf(packed);
  const numbers = new Int32Array(codes.length);
  for (let i = 0; i < codes.length; i += 1) numbers[i] = codes[i] + packed.least;
  return numbers;
}

const dayText = (days) => new Date(days * 864e5).toISOString().slice(0, 10);

/** A column that answers `at(row)` once it is loaded: a number, a text, or null. */
class Column {
  constructor(packed, others) {
    Object.assign(this, { packed, others, codes: null });
  }

  load() {
    this.loading = this.loading || this.read();
    return this.loading;
  }

  async read() {
    const { packed } = this;
    if (packed.kind === 'text') {
      [this.codes, this.sentences, this.figures] = await Promise.all([
        codesOf(packed.codes),
        inflate(packed.sentences).then((raw) => JSON.parse(new TextDecoder().decode(raw))),
        Promise.all(packed.figures.map(codesOf)),
      ]);
      this.pieces = this.sentences.map((text) => text.split('\u0001'));
    } else if (packed.kind === 'sum') {
      this.parts = packed.of.map((name) => this.others[name]);
      [this.codes] = await Promise.all([codesOf(packed.where), ...this.parts.map((p) => p.load())]);
    } else {
      this.codes = await codesOf(packed);
    }
    return this;
  }

  code(i, packed = this.packed, codes = this.codes) {
    const code = codes[i];
    if (!packed.gaps) return packed.least + code;
    return code === 0 ? null : packed.least + code - 1;
  }

  at(i) {
    const { packed } = this;
    if (packed.kind === 'sum') {
      if (this.codes[i] + packed.where.least === 0) return null;
      const total = this.parts.reduce((sum, part) => sum + part.at(i), 0);
      return Math.round(total * packed.scale) / packed.scale;
    }
    if (packed.kind !== 'text') {
      const whole = this.code(i);
      if (whole === null) return null;
      return packed.kind === 'date' ? dayText(whole) : whole / packed.scale;
    }
    const sentence = this.code(i, packed.codes, this.codes);
    if (sentence === null) return null;
    const pieces = this.pieces[sentence];
    if (pieces.length === 1 || !packed.figures.length) return this.sentences[sentence];
    let text = pieces[0];
    for (let k = 1; k < pieces.length; k += 1) {
      text += this.code(i, packed.figures[k - 1], this.figures[k - 1]) + pieces[k];
    }
    return text;
  }
}
