/* What is shown: classes that are switched off, ranges, and how many rows pass each of them. */

/**
 * Which hydrants are shown. Each facet (a theme, or the areas) sorts them into classes of which
 * some are hidden; each range has ends. A row is shown when no facet and no range keeps it out.
 */
class Filters {
  constructor(count) {
    Object.assign(this, { count, facets: [], ranges: [], listeners: [] });
    this.mask = new Uint8Array(count).fill(1);
    this.shown = count;
  }

  /** `keys` stand for the classes in the address; labels may be alike. */
  addFacet(name, title, codes, labels, keys = labels) {
    const totals = labels.map(() => 0);
    for (let i = 0; i < codes.length; i += 1) totals[codes[i]] += 1;
    const facet = { name, title, codes, labels, keys, totals, hidden: new Set(), counts: [...totals] };
    this.facets.push(facet);
    return facet;
  }

  addRange(name, title, value) {
    const range = { name, title, value, low: null, high: null };
    this.ranges.push(range);
    return range;
  }

  get active() {
    return this.facets.some((f) => f.hidden.size) || this.ranges.some((r) => r.low !== null || r.high !== null);
  }

  clear() {
    this.facets.forEach((facet) => facet.hidden.clear());
    this.ranges.forEach((range) => Object.assign(range, { low: null, high: null }));
    this.update();
  }

  /** Counts of a facet are of the rows that all other filters let through. */
  update() {
    const { facets, count } = this;
    // a range whose column is still being read has its say as soon as it is
    const ranges = this.ranges.filter((r) => (r.low !== null || r.high !== null) && r.known());
    const hides = facets.map((f) => f.labels.map((_, k) => (f.hidden.has(k) ? 1 : 0)));
    if (!this.active) {
      this.mask.fill(1);
      this.shown = count;
      facets.forEach((facet) => { facet.counts = [...facet.totals]; });
      this.listeners.forEach((listen) => listen());
      return;
    }
    facets.forEach((facet) => facet.counts.fill(0));
    this.shown = 0;
    for (let i = 0; i < count; i += 1) {
      // the one filter that keeps it out: -1 is none, -2 more than one, or a range
      let by = -1;
      for (let f = 0; f < facets.length && by !== -2; f += 1) {
        if (hides[f][facets[f].codes[i]]) by = by === -1 ? f : -2;
      }
      for (let r = 0; r < ranges.length && by !== -2; r += 1) {
        const value = ranges[r].value(i);
        const { low, high } = ranges[r];
        if (value === null || (low !== null && value < low) || (high !== null && value > high)) by = -2;
      }
      this.mask[i] = by === -1 ? 1 : 0;
      if (by === -1) {
        this.shown += 1;
        for (let f = 0; f < facets.length; f += 1) facets[f].counts[facets[f].codes[i]] += 1;
      } else if (by >= 0) {
        facets[by].counts[facets[by].codes[i]] += 1;
      }
    }
    this.listeners.forEach((listen) => listen());
  }

  /** The filters in words, one each. */
  told() {
    const told = [];
    this.facets.forEach(({ title, labels, totals, hidden }) => {
      const there = labels.filter((_, k) => totals[k]);
      const off = labels.filter((_, k) => totals[k] && hidden.has(k));
      if (!off.length) return;
      told.push(off.length > 2 ? `${title}: ${there.length - off.length} of ${there.length} classes`
        : `${title}: without ${off.join(', ')}`);
    });
    this.ranges.forEach(({ title, low, high, text }) => {
      if (low !== null && high !== null) told.push(`${title}: ${text(low)} to ${text(high)}`);
      else if (low !== null) told.push(`${title}: from ${text(low)}`);
      else if (high !== null) told.push(`${title}: up to ${text(high)}`);
    });
    return told;
  }

  /** The filters as words of the address. */
  write(words) {
    this.facets.forEach((facet) => {
      if (facet.hidden.size) {
        words.append(`hide-${facet.name}`, JSON.stringify([...facet.hidden].map((k) => facet.keys[k])));
      }
    });
    this.ranges.forEach((range) => {
      if (range.low !== null || range.high !== null) {
        words.append(range.name, `${range.text(range.low)}..${range.text(range.high)}`);
      }
    });
  }

  read(words) {
    this.facets.forEach((facet) => {
      facet.hidden.clear();
      let named = [];
      try { named = JSON.parse(words.get(`hide-${facet.name}`) || '[]'); } catch (error) { console.info(error.message); }
      if (!Array.isArray(named)) return;
      named.forEach((key) => {
        const k = facet.keys.indexOf(key);
        if (k >= 0) facet.hidden.add(k);
      });
    });
    this.ranges.forEach((range) => {
      const [low, high] = (words.get(range.name) || '..').split('..');
      Object.assign(range, { low: range.parse(low), high: range.parse(high) });
    });
  }
}

const numberText = (value) => (value === null ? '' : String(value));
const parseDay = (text) => {
  const days = /^\d{4}-\d\d-\d\d$/.test(text || '') ? Math.floor(Date.parse(text) / 864e5) : NaN;
  return Number.isFinite(days) ? days : null;
};
const parseNumber = (text) => {
  const value = text === undefined || text.trim() === '' ? NaN : Number(text);
  return Number.isFinite(value) ? value : null;
};
