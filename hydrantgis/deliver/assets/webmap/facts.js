/* All that is known of a hydrant, and how it is said. */

class Facts {
  constructor(sheet) {
    this.sheet = sheet;
    this.sent = null;
  }

  /** The second block is large and is read only when somebody asks for a hydrant. */
  open() {
    if (this.sent) return;
    this.sent = JSON.parse(document.getElementById('hydrant-facts').textContent);
    this.columns = {};
    Object.entries(this.sent.columns).forEach(([name, packed]) => {
      this.columns[name] = packed ? new Column(packed, this.columns) : null;
    });
    this.extra = this.sent.extra.map((fact) => ({ ...fact, column: new Column(fact.column, {}) }));
  }

  async load(names) {
    this.open();
    const wanted = names ? names.map((name) => this.columns[name] || this.named(name))
      : [...Object.values(this.columns), ...this.extra.map((fact) => fact.column)];
    await Promise.all(wanted.filter((column) => column).map((column) => column.load()));
  }

  named(name) {
    const fact = this.extra.find((one) => one.name === name);
    return fact ? fact.column : null;
  }

  at(name, i) {
    const column = this.columns[name] || this.named(name);
    return column ? column.at(i) : null;
  }

  area(i) {
    const { areas } = this.sheet;
    const id = this.at('area_id', i);
    const row = areas && id !== null ? areas.ids.indexOf(id) : -1;
    return row < 0 || areas.names[row] === id ? id : `${areas.names[row]} (${id})`;
  }

  /** Rows of a popup in parts: title and text. */
  rows(i) {
    const get = (name) => this.at(name, i);
    const measure = (value, unit) => (value === null ? null : `${plain(value)} ${unit}`);
    const height = get('outlet_height_in');
    const sd = get('height_sd_in');
    const known = (parts) => parts.filter((part) => part !== null).join(', ') || null;
    const written = (value, unit) => {
      const text = typeof value === 'number' ? plain(value) : spoken(value);
      return text !== null && unit ? `${text} ${unit}` : text;
    };
    const extra = (wanted) => this.extra.filter(({ name }) => wanted(name))
      .map(({ title, unit, column }) => [title, written(column.at(i), unit)]);
    const spread = height !== null && sd !== null ? ` \u00b1 ${plain(2 * sd)} in (k = 2)` : ' in';
    return [
      [...extra((name) => name === 'address'), ['Area', this.area(i)]],
      [
        ['Outlet height', height === null ? 'not measured' : `${plain(height)}${spread}`],
        ['Basis', spoken(get('height_basis'))],
        ['Read on', get('reading_date')],
        ['Window', windowText(get('window_lo_in'), get('window_hi_in'))],
        ['P inside', probabilityText(get('p_inside'))],
        ['Flange', known([measure(get('flange_height_in'), 'in'), get('flange_verdict')])],
      ],
      [
        ['Remedy', spoken(REMEDIES[get('remedy')] ?? get('remedy'))],
        ['Reason', reasonText(get('remedy_reason'))],
        ['Kit', known([get('kit_id'), measure(get('kit_length_in'), 'in')])],
        ['Raise', measure(get('raise_in'), 'in')],
        ['Outlet after', measure(get('outlet_height_after_in'), 'in')],
        ['Flange after', measure(get('flange_height_after_in'), 'in')],
        ['Bury', changeText(get('bury_ft'), get('bury_after_ft'), 'ft')],
        ['Extension', get('installed_extension_in') === 0 ? 'none' : measure(get('installed_extension_in'), 'in')],
      ],
      extra((name) => name.startsWith('season:')),
      extra((name) => name !== 'address' && !name.startsWith('season:')),
    ].map((part) => part.filter(([, text]) => text !== null && text !== '')).filter((p) => p.length);
  }
}

/** What the words of the tables are called where people read them. */
const REMEDIES = {
  extend: 'extend', exchange: 'exchange the kit', remove: 'take the kit out', lower: 'lower',
  regrade: 'raise the ground', replace: 'replace', measure: 'measure', review: 'review', none: 'nothing to do',
};
const spoken = (text) => (/^[a-z]+(_[a-z]+)+$/.test(text ?? '') ? text.replaceAll('_', ' ') : text);

/** A reason without the code that stands before its sentence. */
const reasonText = (text) => (text === null ? null : text.replace(/^[a-z]+(-[a-z]+)*: (?=\S)/, ''));

function windowText(low, high) {
  if (low !== null && high !== null) return `${plain(low)} to ${plain(high)} in`;
  if (low !== null) return `${plain(low)} in or more`;
  return high === null ? null : `${plain(high)} in or less`;
}

function changeText(before, after, unit) {
  if (before === null && after === null) return null;
  if (after === null) return `${plain(before)} ${unit}`;
  return `${before === null ? '?' : plain(before)} \u2192 ${plain(after)} ${unit}`;
}

function probabilityText(value) {
  if (value === null) return null;
  if (value > 0.995) return 'over 99 %';
  if (value < 0.005) return 'under 1 %';
  return `${plain(100 * value, 0)} %`;
}

/** The outlet beside its window, drawn to scale above the datum. */
function gauge(facts, i, look, ink) {
  const get = (name) => facts.at(name, i);
  const [height, sd] = [get('outlet_height_in'), get('height_sd_in')];
  const [low, high] = [get('window_lo_in'), get('window_hi_in')];
  const after = get('outlet_height_after_in');
  if (height === null || (low === null && high === null)) return null;
  const half = sd === null ? 0 : 2 * sd;
  const values = [0, height - half, height + half, low, high, after].filter((v) => v !== null);
  const [least, most] = [Math.min(...values), Math.max(...values)];
  const y = (value) => 166 - (value - least) / Math.max(most - least, 1) * 148;
  const [top, bottom] = [high === null ? 6 : y(high), low === null ? 166 : y(low)];
  const svg = drawn('svg', {
    class: 'gauge', viewBox: '0 0 108 186', role: 'img',
    'aria-label': `Outlet at ${plain(height)} in, window ${windowText(low, high)}`,
  });
  drawn('rect', { x: 30, y: top, width: 34, height: Math.max(bottom - top, 1), fill: '#e3ecf3' }, svg);
  [low, high].filter((v) => v !== null).forEach((limit) => {
    drawn('line', { x1: 26, x2: 68, y1: y(limit), y2: y(limit), stroke: ink, 'stroke-width': 1 }, svg);
    drawn('text', { x: 23, y: y(limit) + 4, 'text-anchor': 'end', 'font-size': 12, fill: ink }, svg, plain(limit));
  });
  drawn('line', { x1: 18, x2: 80, y1: y(0), y2: y(0), stroke: ink, 'stroke-width': 2 }, svg);
  for (let x = 22; x <= 78; x += 7) {
    drawn('line', { x1: x, x2: x - 6, y1: y(0), y2: y(0) + 7, stroke: ink, 'stroke-width': 0.8 }, svg);
  }
  if (after !== null && after !== height) {
    const way = after > height ? 1 : -1;
    drawn('line', { x1: 47, x2: 47, y1: y(height), y2: y(after) + way * 5, stroke: ink, 'stroke-width': 1.2, 'stroke-dasharray': '3 2' }, svg);
    drawn('circle', { cx: 47, cy: y(after), r: 5, fill: '#fff', stroke: ink, 'stroke-width': 1.5 }, svg);
    drawn('text', { x: 70, y: y(after) + 4, 'font-size': 12, fill: ink }, svg, plain(after, 1));
  }
  if (half > 0) {
    drawn('path', {
      d: `M47 ${y(height - half)}V${y(height + half)}M43 ${y(height - half)}h8M43 ${y(height + half)}h8`,
      stroke: look.edge, 'stroke-width': 1.4, fill: 'none',
    }, svg);
  }
  drawn('polygon', {
    points: corners(look, 6.5).map(([px, py]) => `${47 + px},${y(height) + py}`).join(' '),
    fill: look.fill, stroke: look.edge,
  }, svg);
  const clear = after === null || after === height || Math.abs(y(after) - y(height)) > 13;
  if (clear) {
    drawn('text', { x: 70, y: y(height) + 4, 'font-size': 12, 'font-weight': 600, fill: ink }, svg, plain(height, 1));
  }
  return svg;
}

function factTable(parts, parent) {
  const table = make('table', 'facts', null, parent);
  const body = make('tbody', '', null, table);
  parts.forEach((part, p) => part.forEach(([title, text], r) => {
    const row = make('tr', p > 0 && r === 0 ? 'part' : '', null, body);
    make('th', '', title, row).scope = 'row';
    make('td', '', text, row).dir = 'auto';
  }));
}

/** A longitude as it is written; on the map it may go on beyond 180 degrees. */
const asWritten = (lng) => (lng > 180 ? lng - 360 : lng);
const placeText = ([lat, lng]) => `${lat.toFixed(6)}, ${asWritten(lng).toFixed(6)}`;

/** What a click on a hydrant shows. `looks` are the mark of the theme shown, and that of the verdict. */
function hydrantSheet(facts, i, latlng, look, verdict) {
  const id = facts.at('hydrant_id', i) ?? '(no id)';
  const content = make('section', 'fact-sheet');
  content.setAttribute('aria-label', `Hydrant ${id}`);
  const head = make('header', 'fact-head', null, content);
  mark(look, head);
  const title = make('h2', '', id, head);
  title.tabIndex = -1;
  const marginal = facts.at('marginal', i) === 'yes' ? ', marginal' : '';
  const words = `${verdict.label}${marginal}`;
  make('p', '', look.label === verdict.label ? words : `${words}; ${look.label.toLowerCase()}`, head);
  const body = make('div', 'fact-body', null, content);
  const drawing = gauge(facts, i, verdict, '#1b2a38');
  if (drawing) body.append(drawing);
  factTable(facts.rows(i), body);
  const foot = make('footer', 'fact-foot', null, content);
  make('span', 'place', placeText(latlng), foot);
  copyButton('Copy id', () => id, foot);
  copyButton('Copy coordinates', () => placeText(latlng), foot);
  return content;
}

/** What a click on a valve or a facility shows. */
function pointSheet(layer, i) {
  const content = make('section', 'fact-sheet');
  const told = layer.columns.map(({ title, unit, column }) => {
    const value = column.at(i);
    if (value === null) return [title, null];
    return [title, `${typeof value === 'number' ? plain(value) : value}${unit ? ` ${unit}` : ''}`];
  }).filter(([, text]) => text !== null);
  const head = make('header', 'fact-head plain', null, content);
  make('h2', '', told.length ? told[0][1] : layer.title, head).tabIndex = -1;
  make('p', '', layer.title, head);
  const body = make('div', 'fact-body', null, content);
  factTable([told.slice(1)], body);
  return content;
}
