'use strict';

/*
 * Draws the hydrants from columns onto one canvas, and builds the legend and the popups.
 * Text from data is only ever set as textContent; nothing here is parsed as markup.
 */
function hydrantMap(map) {
  const sheet = JSON.parse(document.getElementById('hydrant-sheet').textContent);
  const { words, looks, colors } = sheet;
  const page = document.documentElement;
  const narrow = window.matchMedia('(max-width: 699px)');
  const canvas = L.canvas({ padding: 0.4, tolerance: 3 });
  // Names of areas lie under the canvas, so that they never hide a hydrant.
  map.createPane('names').style.zIndex = 350;

  // ---- small tools ------------------------------------------------------------------------

  function make(tag, className, text, parent) {
    const element = document.createElement(tag);
    if (className) element.className = className;
    if (text !== undefined && text !== null) element.textContent = text;
    if (parent) parent.append(element);
    return element;
  }

  function drawn(tag, attributes, parent, text) {
    const element = document.createElementNS('http://www.w3.org/2000/svg', tag);
    Object.entries(attributes).forEach(([name, value]) => element.setAttribute(name, value));
    if (text !== undefined) element.textContent = text;
    if (parent) parent.append(element);
    return element;
  }

  const plain = (value, digits = 2) =>
    value.toLocaleString('en-US', { maximumFractionDigits: digits });

  function latLng(x, y) {
    const lat = Math.atan(Math.sinh(Math.PI * (1 - 2 * y / sheet.world))) * 180 / Math.PI;
    return [lat, x / sheet.world * 360 - 180];
  }

  const corners = (look, radius) =>
    look.points.map(([x, y]) => [x * radius * look.size, -y * radius * look.size]);

  /** The mark of a verdict as a small drawing, for the legend and the popups. */
  function mark(look, parent) {
    const svg = drawn('svg', { class: 'mark', viewBox: '-13 -12 26 24', 'aria-hidden': 'true' }, parent);
    drawn('polygon', {
      points: corners(look, 8).map((p) => p.join(',')).join(' '),
      fill: look.fill, stroke: look.edge, 'stroke-width': 1.3,
    }, svg);
    return svg;
  }

  // ---- hydrants ---------------------------------------------------------------------------

  /** Points in square cells, so that a view or a click looks only at those near it. */
  class Cells {
    constructor(members) {
      this.members = members;
      let [right, bottom] = [0, 0];
      members.forEach((i) => {
        right = Math.max(right, sheet.x[i]);
        bottom = Math.max(bottom, sheet.y[i]);
      });
      const wanted = Math.sqrt((right + 1) * (bottom + 1) / Math.max(1, members.length / 32));
      this.side = Math.max(1, wanted, Math.max(right, bottom) / 1024);
      this.columns = Math.floor(right / this.side) + 1;
      this.rows = Math.floor(bottom / this.side) + 1;
      const cell = members.map(
        (i) => Math.floor(sheet.y[i] / this.side) * this.columns + Math.floor(sheet.x[i] / this.side),
      );
      this.starts = new Uint32Array(this.columns * this.rows + 1);
      cell.forEach((c) => { this.starts[c + 1] += 1; });
      for (let c = 1; c < this.starts.length; c += 1) this.starts[c] += this.starts[c - 1];
      const next = this.starts.slice();
      this.sorted = new Uint32Array(members.length);
      members.forEach((i, k) => { this.sorted[next[cell[k]]] = i; next[cell[k]] += 1; });
    }

    /** Hands every point of a box, and some just outside it, to `use`. */
    within(left, top, right, bottom, use) {
      const place = (value, most) => Math.min(most, Math.max(0, Math.floor(value / this.side)));
      const [c0, c1] = [place(left, this.columns - 1), place(right, this.columns - 1)];
      const [r0, r1] = [place(top, this.rows - 1), place(bottom, this.rows - 1)];
      for (let r = r0; r <= r1; r += 1) {
        const from = this.starts[r * this.columns + c0];
        const to = this.starts[r * this.columns + c1 + 1];
        for (let k = from; k < to; k += 1) use(this.sorted[k]);
      }
    }
  }

  const greatest = (values) => values.reduce((most, value) => Math.max(most, value), 0);
  const [wide, high] = [greatest(sheet.x), greatest(sheet.y)];

  /** Steps between neighbours, were the hydrants spread evenly. */
  const spread = sheet.x.length > 1 ? Math.sqrt((wide + 1) * (high + 1) / sheet.x.length) : Infinity;

  /** Half width of a mark: small where hydrants crowd, never too small to tell its shape. */
  function radius() {
    const pixels = spread * 256 * 2 ** map.getZoom() / sheet.world;
    return Math.min(9, Math.max(1.8, pixels / 4.5));
  }

  /** All hydrants of one verdict: one Leaflet layer, one path on the shared canvas. */
  const Marks = L.Path.extend({
    initialize(look, members) {
      L.setOptions(this, { renderer: canvas, weight: 0 });
      this.look = look;
      this.cells = new Cells(members);
      this.painted = 0;
      this.hit = -1;
    },
    _project() {
      const zoom = map.getZoom();
      this.scale = 256 * 2 ** zoom / sheet.world;
      this.shift = map.getPixelOrigin();
      this.radius = radius();
    },
    _update() {
      this._pxBounds = this._renderer._bounds;
    },
    _point(i) {
      return [
        (sheet.origin[0] + sheet.x[i]) * this.scale - this.shift.x,
        (sheet.origin[1] + sheet.y[i]) * this.scale - this.shift.y,
      ];
    },
    _box(min, max, margin, use) {
      const step = (value, axis, side) =>
        (value + side * margin + this.shift[axis ? 'y' : 'x']) / this.scale - sheet.origin[axis];
      this.cells.within(
        step(min.x, 0, -1), step(min.y, 1, -1), step(max.x, 0, 1), step(max.y, 1, 1), use,
      );
    },
    _stamp() {
      const ratio = L.Browser.retina ? 2 : 1;
      const half = Math.ceil(this.radius * this.look.size + 2);
      const stamp = document.createElement('canvas');
      stamp.width = 2 * half * ratio;
      stamp.height = stamp.width;
      const pen = stamp.getContext('2d');
      pen.scale(ratio, ratio);
      pen.translate(half, half);
      pen.beginPath();
      corners(this.look, this.radius).forEach(([x, y]) => pen.lineTo(x, y));
      pen.closePath();
      pen.fillStyle = this.look.fill;
      pen.fill();
      pen.lineWidth = Math.min(1.2, this.radius / 5);
      pen.lineJoin = 'round';
      pen.strokeStyle = this.look.edge;
      pen.stroke();
      return [stamp, half];
    },
    _updatePath() {
      const bounds = this._renderer._bounds;
      const [stamp, half] = this._stamp();
      const pen = this._renderer._ctx;
      pen.globalAlpha = 1;
      this.painted = 0;
      this._box(bounds.min, bounds.max, half, (i) => {
        const [x, y] = this._point(i);
        pen.drawImage(stamp, x - half, y - half, 2 * half, 2 * half);
        this.painted += 1;
      });
    },
    _containsPoint(point) {
      const reach = Math.max(this.radius * this.look.size, narrow.matches ? 14 : 6) + 2;
      let nearest = reach;
      this.hit = -1;
      this._box(point, point, reach, (i) => {
        const [x, y] = this._point(i);
        const away = Math.hypot(x - point.x, y - point.y);
        if (away < nearest) [nearest, this.hit] = [away, i];
      });
      return this.hit >= 0;
    },
  });

  const members = looks.map(() => []);
  for (let i = 0; i < sheet.look.length; i += 1) members[sheet.look.charCodeAt(i) - 48].push(i);
  const marks = looks.map((look, k) => new Marks(look, members[k]));

  function restack() {
    sheet.order.forEach((k) => { if (map.hasLayer(marks[k])) marks[k].bringToFront(); });
  }

  // ---- facts ------------------------------------------------------------------------------

  let facts = null;

  /** The second block is large and is read only when somebody asks for a hydrant. */
  function readFacts() {
    if (!facts) facts = JSON.parse(document.getElementById('hydrant-facts').textContent);
    return facts;
  }

  function cell(column, i) {
    if (!column) return null;
    if (column.numbers) return column.numbers[i];
    const code = column.codes ? column.codes[i] : i;
    return code < 0 ? null : column.words[code];
  }

  const fact = (name, i) => cell(readFacts().columns[name], i);

  function measure(value, unit) {
    return value === null ? null : `${plain(value)} ${unit}`;
  }

  function change(before, after, unit) {
    if (before === null && after === null) return null;
    if (after === null) return measure(before, unit);
    return `${before === null ? '?' : plain(before)} \u2192 ${plain(after)} ${unit}`;
  }

  function windowWords(low, high) {
    if (low !== null && high !== null) return `${plain(low)} to ${plain(high)} in`;
    if (low !== null) return `${plain(low)} in or more`;
    return high === null ? null : `${plain(high)} in or less`;
  }

  function probability(value) {
    if (value === null) return null;
    if (value > 0.995) return 'over 99 %';
    if (value < 0.005) return 'under 1 %';
    return `${plain(100 * value, 0)} %`;
  }

  /** The area of a hydrant by its name where the map has one. */
  function areaName(i) {
    const id = fact('area_id', i);
    const row = sheet.areas && id !== null ? sheet.areas.ids.indexOf(id) : -1;
    return row < 0 || sheet.areas.names[row] === id ? id : `${sheet.areas.names[row]} (${id})`;
  }

  /** Rows of a popup: title, text, and whether a new part begins. */
  function factRows(i) {
    const height = fact('outlet_height_in', i);
    const sd = fact('height_sd_in', i);
    const spreadWords = height !== null && sd !== null ? ` \u00b1 ${plain(2 * sd)} in (k = 2)` : '';
    const flange = [measure(fact('flange_height_in', i), 'in'), fact('flange_verdict', i)];
    const kit = [fact('kit_id', i), measure(fact('kit_length_in', i), 'in')];
    const known = (parts) => parts.filter((part) => part !== null).join(', ') || null;
    const written = (value, unit) => {
      const text = typeof value === 'number' ? plain(value) : value;
      return text !== null && unit ? `${text} ${unit}` : text;
    };
    const rows = (wanted) => readFacts().extra.filter(({ name }) => wanted(name))
      .map(({ title, unit, column }) => [title, written(cell(column, i), unit)]);
    return [
      [
        ...rows((name) => name === 'address'),
        ['Area', areaName(i)],
      ],
      [
        ['Outlet height', height === null ? 'not measured' : `${plain(height)}${spreadWords || ' in'}`],
        ['Basis', fact('height_basis', i)],
        ['Read on', fact('reading_date', i)],
        ['Window', windowWords(fact('window_lo_in', i), fact('window_hi_in', i))],
        ['P inside', probability(fact('p_inside', i))],
        ['Flange', known(flange)],
      ],
      [
        ['Remedy', fact('remedy', i)],
        ['Reason', fact('remedy_reason', i)],
        ['Kit', known(kit)],
        ['Raise', measure(fact('raise_in', i), 'in')],
        ['Outlet after', measure(fact('outlet_height_after_in', i), 'in')],
        ['Flange after', measure(fact('flange_height_after_in', i), 'in')],
        ['Bury', change(fact('bury_ft', i), fact('bury_after_ft', i), 'ft')],
        ['Extension', measure(fact('installed_extension_in', i), 'in')],
      ],
      rows((name) => name !== 'address'),
    ].map((part) => part.filter(([, text]) => text !== null && text !== '')).filter((p) => p.length);
  }

  /** The outlet beside its window, drawn to scale above the datum. */
  function gauge(i, look) {
    const [height, sd] = [fact('outlet_height_in', i), fact('height_sd_in', i)];
    const [low, high] = [fact('window_lo_in', i), fact('window_hi_in', i)];
    const after = fact('outlet_height_after_in', i);
    if (height === null || (low === null && high === null)) return null;
    const half = sd === null ? 0 : 2 * sd;
    const values = [0, height - half, height + half, low, high, after].filter((v) => v !== null);
    const [least, most] = [Math.min(...values), Math.max(...values)];
    const y = (value) => 166 - (value - least) / Math.max(most - least, 1) * 148;
    const [top, bottom] = [high === null ? 6 : y(high), low === null ? 166 : y(low)];
    const svg = drawn('svg', {
      class: 'gauge', viewBox: '0 0 108 186', role: 'img',
      'aria-label': `Outlet at ${plain(height)} in, window ${windowWords(low, high)}`,
    });
    drawn('rect', { x: 30, y: top, width: 34, height: Math.max(bottom - top, 1), fill: '#e3ecf3' }, svg);
    [low, high].filter((v) => v !== null).forEach((limit) => {
      drawn('line', { x1: 26, x2: 68, y1: y(limit), y2: y(limit), stroke: colors.ink, 'stroke-width': 1 }, svg);
      drawn('text', { x: 23, y: y(limit) + 4, 'text-anchor': 'end', 'font-size': 12, fill: colors.ink }, svg, plain(limit));
    });
    drawn('line', { x1: 18, x2: 80, y1: y(0), y2: y(0), stroke: colors.ink, 'stroke-width': 2 }, svg);
    for (let x = 22; x <= 78; x += 7) {
      drawn('line', { x1: x, x2: x - 6, y1: y(0), y2: y(0) + 7, stroke: colors.ink, 'stroke-width': 0.8 }, svg);
    }
    if (after !== null && after !== height) {
      const way = after > height ? 1 : -1;
      drawn('line', { x1: 47, x2: 47, y1: y(height), y2: y(after) + way * 5, stroke: colors.ink, 'stroke-width': 1.2, 'stroke-dasharray': '3 2' }, svg);
      drawn('circle', { cx: 47, cy: y(after), r: 5, fill: '#fff', stroke: colors.ink, 'stroke-width': 1.5 }, svg);
      drawn('text', { x: 70, y: y(after) + 4, 'font-size': 12, fill: colors.ink }, svg, plain(after, 1));
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
      drawn('text', { x: 70, y: y(height) + 4, 'font-size': 12, 'font-weight': 600, fill: colors.ink }, svg, plain(height, 1));
    }
    return svg;
  }

  function popupContent(i) {
    const look = looks[sheet.look.charCodeAt(i) - 48];
    const id = fact('hydrant_id', i) ?? '(no id)';
    const content = make('div', 'fact-sheet');
    const head = make('header', 'fact-head', null, content);
    mark(look, head);
    make('h2', '', id, head);
    make('p', '', `${look.label}${fact('marginal', i) === 'yes' ? ', marginal' : ''}`, head);
    const body = make('div', 'fact-body', null, content);
    const drawing = gauge(i, look);
    if (drawing) body.append(drawing);
    const table = make('table', 'facts', null, body);
    factRows(i).forEach((part, p) => part.forEach(([title, text], r) => {
      const row = make('tr', p > 0 && r === 0 ? 'part' : '', null, table);
      make('th', '', title, row).scope = 'row';
      make('td', '', text, row).dir = 'auto';
    }));
    return content;
  }

  // ---- the open hydrant, named in the address ---------------------------------------------

  const popup = L.popup({ autoPanPadding: [12, 12] });
  let opened = -1;
  const ring = L.circleMarker([0, 0], { radius: 14, fill: false, color: colors.ink, weight: 2, interactive: false });

  function remember(hash) {
    // A page inside another one may not have an address of its own to write to.
    try { window.history.replaceState(null, '', hash); } catch (error) { console.info(error.message); }
  }

  function openHydrant(i) {
    const size = map.getSize();
    const place = latLng(sheet.origin[0] + sheet.x[i], sheet.origin[1] + sheet.y[i]);
    const width = Math.min(400, Math.floor(window.innerWidth * 0.9) - 4);
    popup.options.minWidth = width;
    popup.options.maxWidth = width;
    popup.options.maxHeight = Math.max(180, Math.floor(size.y * (narrow.matches ? 0.62 : 0.8)));
    // On a phone the button of the legend stays clear of the popup.
    popup.options.autoPanPaddingTopLeft = [12, narrow.matches ? 64 : 12];
    popup.setLatLng(place).setContent(popupContent(i)).openOn(map);
    ring.setLatLng(place).addTo(map);
    opened = i;
    const id = fact('hydrant_id', i);
    if (id !== null) remember(`#hydrant=${encodeURIComponent(id)}`);
  }

  map.on('popupclose', () => {
    ring.remove();
    opened = -1;
    remember(window.location.pathname + window.location.search);
  });

  /** The row of a hydrant by its id as typed, else without regard to case; -1 where there is none. */
  function rowOf(id) {
    const column = readFacts().columns.hydrant_id;
    if (!column) return -1;
    const row = (code) => (column.codes ? column.codes.indexOf(code) : code);
    const exact = column.words.indexOf(id);
    if (exact >= 0) return row(exact);
    const like = column.words.findIndex((word) => word.toLowerCase() === id.toLowerCase());
    return like < 0 ? -1 : row(like);
  }

  function goTo(id) {
    const i = rowOf(id);
    if (i < 0) return false;
    const k = sheet.look.charCodeAt(i) - 48;
    if (!map.hasLayer(marks[k])) switches[k].click();
    const place = latLng(sheet.origin[0] + sheet.x[i], sheet.origin[1] + sheet.y[i]);
    if (map.getZoom() < 16) map.setView(place, 16, { animate: false });
    openHydrant(i);
    return true;
  }

  function goToAddress() {
    const named = /^#hydrant=(.*)$/.exec(window.location.hash);
    if (!named) return;
    let id = named[1];
    try { id = decodeURIComponent(id); } catch (error) { console.info(error.message); }
    goTo(id);
  }

  // ---- context ----------------------------------------------------------------------------

  function parts(shapes) {
    const byRow = new Map();
    let at = 0;
    shapes.lengths.forEach((length, k) => {
      const line = [];
      for (let end = at + length; at < end; at += 1) line.push(latLng(shapes.x[at], shapes.y[at]));
      if (!byRow.has(shapes.rows[k])) byRow.set(shapes.rows[k], []);
      if (length > 1) byRow.get(shapes.rows[k]).push(line);
    });
    return byRow;
  }

  function areaTip(row) {
    const tip = make('div');
    make('b', '', sheet.areas.names[row], tip);
    const table = make('table', '', null, tip);
    const counts = sheet.areas.counts[row];
    looks.forEach((look, k) => {
      if (!counts[k]) return;
      const line = make('tr', '', null, table);
      make('td', '', look.label, line);
      make('td', 'count', plain(counts[k]), line);
    });
    if (!table.rows.length) make('span', '', 'no hydrants', tip);
    return tip;
  }

  function areaLayer() {
    const group = L.layerGroup();
    const names = [];
    parts(sheet.areas.outlines).forEach((rings, row) => {
      // Even-odd filling tells holes from shells, so that all rings of an area form one shape.
      const shape = L.polygon(rings, {
        renderer: canvas, color: colors.boundary, weight: 1.4, dashArray: '14 4 3 4',
        fillColor: colors.boundary, fillOpacity: 0.035,
      });
      shape.bindTooltip(areaTip(row), { sticky: true, opacity: 1, className: 'tip', direction: 'right', offset: [14, 0] });
      group.addLayer(shape);
      const at = sheet.areas.labels[row];
      if (at[0] === null) return;
      const name = L.tooltip({ permanent: true, direction: 'center', pane: 'names', className: 'area-name', opacity: 1, interactive: false });
      name.setLatLng(latLng(at[0], at[1])).setContent(make('span', '', sheet.areas.names[row]));
      group.addLayer(name);
      names.push([name, shape.getBounds()]);
    });
    function thin() {
      names.forEach(([name, bounds]) => {
        const element = name.getElement();
        if (!element) return;
        element.classList.remove('tight');
        const room = map.project(bounds.getNorthEast()).x - map.project(bounds.getSouthWest()).x;
        element.classList.toggle('tight', element.offsetWidth > room);
      });
    }
    map.on('zoomend', thin);
    group.on('add', () => L.Util.requestAnimFrame(thin));
    return group;
  }

  function lineLayer() {
    const strokes = [...parts(sheet.lines.strokes).values()].flat();
    return L.polyline(strokes, {
      renderer: canvas, color: colors.faint, weight: 1.1, interactive: false, smoothFactor: 1.5,
    });
  }

  // ---- the block beside the map -------------------------------------------------------------

  function toggle(parent, { label, about, count, draw, layer, after }) {
    const line = make('label', count === 0 ? 'switch none' : 'switch', null, parent);
    const box = make('input', '', null, line);
    box.type = 'checkbox';
    box.checked = true;
    draw(line);
    const name = make('span', 'name', label, line);
    if (about) make('span', 'about', about, name);
    if (count !== undefined) make('span', 'count', plain(count), line);
    box.addEventListener('change', () => {
      if (box.checked) layer.addTo(map); else layer.remove();
      after();
    });
    return box;
  }

  function swatch(dash, color) {
    return (parent) => {
      const svg = drawn('svg', { class: 'mark', viewBox: '0 0 26 22', 'aria-hidden': 'true' }, parent);
      drawn('line', { x1: 0, x2: 26, y1: 11, y2: 11, stroke: color, 'stroke-width': 2, 'stroke-dasharray': dash }, svg);
    };
  }

  const context = [];
  if (sheet.lines) {
    context.push({ label: sheet.lines.title, draw: swatch('', colors.faint), layer: lineLayer() });
  }
  if (sheet.areas) {
    context.push({ label: 'Areas', draw: swatch('11 3 3 3', colors.boundary), layer: areaLayer() });
  }

  function restackAll() {
    context.forEach(({ layer }) => {
      if (!map.hasLayer(layer)) return;
      (layer.getLayers ? layer.getLayers() : [layer]).forEach((l) => {
        if (l instanceof L.Path) l.bringToFront();
      });
    });
    restack();
  }

  const block = make('aside', 'block', null, document.body);
  block.id = 'block';
  block.setAttribute('aria-label', 'Title, legend and layers');
  make('h1', '', words.title, block).dir = 'auto';
  make('p', 'share', words.share, block);

  const legend = make('fieldset', '', null, block);
  make('legend', 'caption', 'Hydrants by verdict', legend);
  const switches = looks.map((look, k) => toggle(legend, {
    label: look.label, about: look.about, count: look.count, draw: (parent) => mark(look, parent),
    layer: marks[k], after: restack,
  }));
  if (sheet.missing) {
    const line = make('div', 'switch', null, legend);
    line.id = 'no-location';
    make('span', 'name', 'No location', line);
    make('span', 'count', plain(sheet.missing), line);
    make('p', 'missing', words.missing, legend);
  }

  if (context.length) {
    const layers = make('fieldset', '', null, block);
    make('legend', 'caption', 'Context', layers);
    [...context].reverse().forEach((entry) => toggle(layers, { ...entry, after: restackAll }));
  }

  if (sheet.x.length) {
    const find = make('form', 'find', null, block);
    const label = make('label', 'caption', 'Find a hydrant by its number', find);
    const input = make('input', '', null, find);
    const answer = document.createElement('output');
    label.htmlFor = 'find';
    input.id = 'find';
    input.type = 'search';
    input.autocomplete = 'off';
    make('button', '', 'Find', find).type = 'submit';
    find.append(answer);
    find.addEventListener('submit', (event) => {
      event.preventDefault();
      const id = input.value.trim();
      answer.textContent = '';
      if (!id) return;
      if (!goTo(id)) answer.textContent = `${id} is not on this map`;
      else if (narrow.matches) fold(true);
    });
  }

  const terms = make('dl', 'terms', null, block);
  const newest = /^\d{4}-\d\d-\d\d$/.test(words.data_date) ? `the newest of ${words.data_date}` : words.data_date;
  [['Rule', words.rule], ['Source', words.citation], ['Readings', newest]].forEach(([term, text]) => {
    make('dt', '', term, terms);
    make('dd', '', text, terms).dir = 'auto';
  });

  if (sheet.areas && sheet.areas.names.length) {
    const box = make('details', '', null, block);
    make('summary', '', 'Counts by area', box);
    const table = make('table', '', null, make('div', 'wide', null, box));
    const head = make('tr', '', null, make('thead', '', null, table));
    make('th', '', 'Area', head);
    const used = looks.map((look, k) => k).filter((k) => looks[k].count > 0);
    used.forEach((k) => {
      const th = make('th', '', null, head);
      th.title = looks[k].label;
      mark(looks[k], th).setAttribute('aria-label', looks[k].label);
    });
    const rows = make('tbody', '', null, table);
    sheet.areas.names.forEach((name, row) => {
      const line = make('tr', '', null, rows);
      make('th', '', name, line).scope = 'row';
      used.forEach((k) => make('td', 'count', plain(sheet.areas.counts[row][k]), line));
    });
  }

  if (words.cautions.length) {
    const box = make('details', '', null, block);
    make('summary', '', 'Cautions', box);
    const list = make('ul', '', null, box);
    words.cautions.forEach((caution) => make('li', '', caution, list));
  }

  const folder = make('button', 'fold', null, null);
  folder.type = 'button';
  folder.setAttribute('aria-controls', 'block');
  block.before(folder);
  function fold(folded) {
    block.classList.toggle('folded', folded);
    folder.setAttribute('aria-expanded', String(!folded));
    folder.textContent = folded ? 'Legend' : 'Close';
  }
  folder.addEventListener('click', () => fold(!block.classList.contains('folded')));
  fold(narrow.matches);

  // ---- the map ------------------------------------------------------------------------------

  const FeetScale = L.Control.Scale.extend({
    _updateImperial(metres) {
      const feet = metres / 0.3048;
      const round = this._getRoundNum(feet);
      this._updateScale(this._iScale, `${plain(round)} ft`, round / feet);
    },
  });
  const North = L.Control.extend({
    onAdd() {
      const holder = make('div', 'north');
      const svg = drawn('svg', { width: 26, height: 44, viewBox: '0 0 26 44', role: 'img', 'aria-label': 'North is up' }, holder);
      drawn('text', { x: 13, y: 11, 'text-anchor': 'middle', 'font-size': 13, 'font-weight': 600, fill: colors.ink }, svg, 'N');
      drawn('path', { d: 'M13 14 L13 42 L5 42 Z', fill: colors.ink }, svg);
      drawn('path', { d: 'M13 14 L21 42 L13 42', fill: 'none', stroke: colors.ink }, svg);
      return holder;
    },
  });

  function bounds() {
    const box = L.latLngBounds([]);
    if (sheet.x.length) {
      box.extend(latLng(sheet.origin[0], sheet.origin[1]));
      box.extend(latLng(sheet.origin[0] + wide, sheet.origin[1] + high));
      return box;
    }
    [sheet.areas && sheet.areas.outlines, sheet.lines && sheet.lines.strokes].forEach((shapes) => {
      if (shapes && !box.isValid()) shapes.x.forEach((x, k) => box.extend(latLng(x, shapes.y[k])));
    });
    return box.isValid() ? box : L.latLngBounds([[-55, -150], [70, 150]]);
  }

  // Until somebody moves the map it shows everything, whatever becomes of the window: a phone is
  // turned, and a notebook lays the page out before it has a size.
  let [moved, fitting] = [false, false];
  function fit() {
    if (moved) return;
    fitting = true;
    map.fitBounds(bounds(), { padding: [26, 26], maxZoom: 18, animate: false });
    fitting = false;
  }
  map.invalidateSize({ animate: false });
  fit();
  map.on('resize', () => {
    fit();
    if (opened >= 0) openHydrant(opened);
  });
  map.on('movestart', () => { if (!fitting) moved = true; });
  new FeetScale({ position: 'bottomleft', metric: false, maxWidth: 160 }).addTo(map);
  new North({ position: 'bottomleft' }).addTo(map);
  context.forEach(({ layer }) => layer.addTo(map));
  sheet.order.forEach((k) => marks[k].addTo(map));

  marks.forEach((layer) => {
    layer.bindTooltip(() => {
      const tip = make('div');
      make('b', '', layer.hit < 0 ? '' : fact('hydrant_id', layer.hit), tip);
      make('span', '', layer.look.label, tip);
      return tip;
    }, { sticky: true, opacity: 1, className: 'tip', direction: 'right', offset: [14, 0] });
    // The tip follows the pointer from one hydrant of a layer to the next.
    let told = -1;
    layer.on('mousemove', () => {
      if (layer.hit !== told) layer.getTooltip().update();
      told = layer.hit;
    });
    layer.on('click', (event) => {
      L.DomEvent.stopPropagation(event);
      if (layer.hit >= 0) openHydrant(layer.hit);
    });
  });

  if (!sheet.x.length && sheet.missing) {
    const note = make('p', 'share', 'No hydrant has a location.');
    block.querySelector('.share').after(note);
  }

  let screen = null;
  window.addEventListener('beforeprint', () => {
    const holder = map.getContainer();
    screen = [map.getCenter(), map.getZoom()];
    const view = map.getBounds();
    holder.style.width = '690px';
    holder.style.height = '640px';
    map.invalidateSize({ animate: false });
    map.fitBounds(view, { animate: false });
  });
  window.addEventListener('afterprint', () => {
    const holder = map.getContainer();
    holder.style.width = '';
    holder.style.height = '';
    map.invalidateSize({ animate: false });
    map.setView(screen[0], screen[1], { animate: false });
  });

  window.addEventListener('hashchange', goToAddress);
  // The canvas paints in the next frame; what it painted is told in the one after that.
  L.Util.requestAnimFrame(() => L.Util.requestAnimFrame(() => {
    page.dataset.drawn = String(marks.reduce((sum, layer) => sum + layer.painted, 0));
    goToAddress();
  }));
}
