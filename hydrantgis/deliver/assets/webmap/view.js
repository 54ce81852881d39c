/* The map itself: what is drawn, what a click finds, what the address says, what a printer gets. */

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
    drawn('text', { x: 13, y: 11, 'text-anchor': 'middle', 'font-size': 13, 'font-weight': 600, fill: '#1b2a38' }, svg, 'N');
    drawn('path', { d: 'M13 14 L13 42 L5 42 Z', fill: '#1b2a38' }, svg);
    drawn('path', { d: 'M13 14 L21 42 L13 42', fill: 'none', stroke: '#1b2a38' }, svg);
    return holder;
  },
});

async function startMap(map) {
  const sheet = JSON.parse(document.getElementById('hydrant-sheet').textContent);
  const page = document.documentElement;
  if (!window.DecompressionStream) {
    const told = make('p', 'too-old', 'This browser is too old for this map. It needs one of 2023 or later.', null);
    document.body.prepend(told);
    return;
  }
  const { colors, world } = sheet;
  // Nearer than this a step between places could be seen, and lines are too long to be painted.
  map.setMaxZoom(22);
  map.getContainer().setAttribute('role', 'main');
  map.getContainer().setAttribute('aria-label', 'Map of hydrants. Arrow keys move it, plus and minus change its scale, Enter opens the hydrant nearest its middle.');
  [['background', 250], ['names', 420], ['extras', 440], ['hydrants', 450]].forEach(([name, z]) => {
    const pane = map.createPane(name);
    pane.style.zIndex = z;
    pane.style.pointerEvents = 'none';
  });

  const [places, themes, area, rings, strokes, points] = await Promise.all([
    Places.of(sheet, world),
    Promise.all(sheet.themes.map(async (theme) => ({ ...theme, codes: await numbersOf(theme.codes) }))),
    sheet.area ? numbersOf(sheet.area) : null,
    sheet.areas ? readAreas(sheet.areas, world) : null,
    Promise.all(sheet.lines.map((one) => Strokes.of(one))),
    Promise.all(sheet.points.map(async (one) => ({ ...one, places: await Places.of(one, world) }))),
  ]);

  const facts = new Facts(sheet);
  const filters = new Filters(places.count);
  const app = { map, sheet, places, themes, facts, filters, onTheme: [], context: [] };
  app.narrow = window.matchMedia('(max-width: 799px)');
  /** Whether somebody moved the map, or it moves by itself, or is being printed; and all there is. */
  const view = { moved: false, fitting: false, printing: false, bounds };

  // ---- facets, ranges, themes ---------------------------------------------------------------

  themes.forEach((theme) => {
    theme.facet = filters.addFacet(theme.name, theme.title, theme.codes, theme.looks.map((k) => k.label));
    theme.rank = new Array(theme.looks.length);
    theme.order.forEach((k, place) => { theme.rank[k] = place; });
  });
  if (area) {
    filters.addFacet('area', 'Area', area, ['No area', ...sheet.areas.names], ['', ...sheet.areas.ids]);
  }
  function columnRange(word, title, name, type, text, parse) {
    const range = filters.addRange(word, title, (i) => {
      const column = facts.columns[name];
      if (!column) return null;
      const whole = column.code(i);
      return whole === null || type === 'date' ? whole : whole / column.packed.scale;
    });
    const known = () => facts.sent && facts.columns[name] && facts.columns[name].codes;
    Object.assign(range, { type, text, parse, known, ready: () => facts.load([name]) });
  }
  columnRange('height', 'Outlet height, in', 'outlet_height_in', 'number', numberText, parseNumber);
  columnRange('read', 'Read on', 'reading_date', 'date',
    (days) => (days === null ? '' : dayText(days)),
    parseDay);

  [app.theme] = themes;
  const verdicts = themes[0];
  const state = { mask: filters.mask };
  function dress() {
    const { codes, looks, order, rank } = app.theme;
    Object.assign(state, { codes, looks, order, rank });
  }
  dress();
  const hydrants = new PointTiles(places, state, { pane: 'hydrants' });
  app.show = (name) => {
    app.theme = themes.find((theme) => theme.name === name) || verdicts;
    dress();
    app.onTheme.forEach((listen) => listen());
    hydrants.repaint();
    writeAddress();
  };
  filters.listeners.push(() => { hydrants.repaint(); writeAddress(); });

  // ---- popups ---------------------------------------------------------------------------------

  const popup = L.popup({ autoPanPadding: [12, 12] });
  const ring = L.circleMarker([0, 0], { radius: 14, fill: false, color: colors.ink, weight: 2, interactive: false });
  let opened = -1;
  let openedId = null;
  let opener = null;
  const tip = L.tooltip({ sticky: true, opacity: 1, className: 'tip', direction: 'right', offset: [14, 0], interactive: false });

  /** The popup has the room that the map has, beside the buttons that lie on it. */
  function measurePopup() {
    const size = map.getSize();
    const [left, top] = app.narrow.matches ? [12, 64] : [56, 12];
    const width = Math.min(400, size.x - left - 16);
    Object.assign(popup.options, {
      minWidth: width, maxWidth: width, autoPanPaddingTopLeft: [left, top],
      maxHeight: Math.max(180, Math.floor(size.y * (app.narrow.matches ? 0.62 : 0.8))),
    });
  }

  function show(place, content, focus) {
    measurePopup();
    map.closeTooltip(tip);
    popup.setLatLng(place).setContent(content).openOn(map);
    const scrolled = popup.getElement().querySelector('.leaflet-popup-scrolled');
    if (scrolled) {
      scrolled.tabIndex = 0;
      scrolled.setAttribute('role', 'group');
      scrolled.setAttribute('aria-label', 'Facts');
    }
    if (focus) content.querySelector('h2').focus({ preventScroll: true });
  }

  /** Opens a hydrant; `group` are those at one place, so that each of them can be reached. */
  app.open = async (i, from = null, group = null) => {
    await facts.load();
    const place = places.latLng(i);
    const here = group || places.beside(map, i, 2, allowed);
    if (app.narrow.matches) app.fold(true);
    if (!map.getBounds().contains(place)) map.panTo(place, { animate: false });
    const { theme } = app;
    const content = hydrantSheet(facts, i, place, theme.looks[theme.codes[i]], verdicts.looks[verdicts.codes[i]]);
    if (here.length > 1) {
      const k = here.indexOf(i);
      const line = make('p', 'several', `${k + 1} of ${here.length} hydrants at this place`);
      // later: a button that is gone before its click has passed looks like a click on the map
      const next = () => app.open(here[(k + 1) % here.length], from || opener || map.getContainer(), here);
      button('Next of them', 'copy', line, () => window.setTimeout(next, 0));
      content.querySelector('.fact-head').after(line);
    }
    show(place, content, from !== null);
    ring.setLatLng(place).addTo(map);
    [opened, opener] = [i, from];
    openedId = facts.at('hydrant_id', i);
    writeAddress();
  };

  map.on('popupclose', () => {
    ring.remove();
    [opened, openedId] = [-1, null];
    if (opener && opener.isConnected) opener.focus();
    opener = null;
    writeAddress();
  });

  function goTo(i, from = null) {
    // a hydrant that is asked for is shown, whatever the filters say
    if (!filters.mask[i]) filters.clear();
    const place = places.latLng(i);
    if (map.getZoom() < 16) map.setView(place, 16, { animate: false });
    view.moved = true;
    return app.open(i, from);
  }

  // ---- search ---------------------------------------------------------------------------------

  /** The row of a hydrant by its id as typed, else without regard to case; -1 where there is none. */
  async function rowOf(id) {
    await facts.load(['hydrant_id']);
    const wanted = id.toLowerCase();
    let like = -1;
    for (let i = 0; i < places.count; i += 1) {
      const one = facts.at('hydrant_id', i);
      if (one === id) return i;
      if (like < 0 && one !== null && one.toLowerCase() === wanted) like = i;
    }
    return like;
  }

  app.search = async (text, most) => {
    await facts.load(['hydrant_id', 'address']);
    const wanted = text.toLowerCase();
    const hits = [];
    let [more, exact] = [0, null];
    const take = (hit) => { if (hits.length < most) hits.push(hit); else more += 1; };
    strokes.forEach((one) => one.streets.forEach((rows, name) => {
      if (name.toLowerCase().includes(wanted)) {
        take({ name, about: `${one.sent.title}, ${plain(rows.length)} ${rows.length === 1 ? 'part' : 'parts'}`, go: () => goToStreet(one, rows) });
      }
    }));
    const input = document.getElementById('find');
    for (let i = 0; i < places.count; i += 1) {
      const id = facts.at('hydrant_id', i);
      const address = facts.at('address', i);
      const same = id !== null && id.toLowerCase() === wanted;
      if (same || (id !== null && id.toLowerCase().includes(wanted)) || (address !== null && address.toLowerCase().includes(wanted))) {
        const hit = { name: id ?? '(no id)', about: address, go: () => goTo(i, input) };
        if (same && (!exact || id === text)) exact = hit;
        if (same) hits.unshift(hit); else take(hit);
      }
    }
    return { hits, more, exact };
  };

  function goToStreet(one, rows) {
    const box = L.latLngBounds([]);
    rows.forEach((k) => box.extend(one.bounds(k, world)));
    view.moved = true;
    if (app.narrow.matches) app.fold(true);
    map.fitBounds(box, { padding: [40, 40], maxZoom: 18, animate: false });
  }

  app.goToArea = (row) => {
    const box = L.latLngBounds([]);
    (rings.get(row) || []).forEach((ring1) => ring1.forEach((place) => box.extend(place)));
    if (!box.isValid()) return;
    view.moved = true;
    if (app.narrow.matches) app.fold(true);
    map.fitBounds(box, { padding: [26, 26], animate: false });
  };

  // ---- what is in view ------------------------------------------------------------------------

  const allowed = (i) => filters.mask[i] === 1;
  /** Rows in view, by id where they are few enough to be sorted while somebody waits. */
  app.inView = async () => {
    const rows = places.inside(map, allowed);
    await facts.load(['hydrant_id']);
    if (rows.length > 20000) return rows;
    const ids = new Map(rows.map((i) => [i, facts.at('hydrant_id', i) ?? '']));
    const by = new Intl.Collator('en', { numeric: true });
    return rows.sort((a, b) => by.compare(ids.get(a), ids.get(b)));
  };
  app.saveCsv = async () => {
    await facts.load();
    const names = Object.keys(facts.columns).filter((name) => facts.columns[name]);
    const titles = [...names, 'verdict', ...facts.extra.map(({ name }) => name.replace('season:', 'season_')), 'longitude', 'latitude'];
    const rows = (await app.inView()).map((i) => {
      const [lat, lng] = places.latLng(i);
      return [
        ...names.map((name) => facts.at(name, i)), verdicts.looks[verdicts.codes[i]].value || null,
        ...facts.extra.map(({ column }) => column.at(i)), Number(asWritten(lng).toFixed(7)), Number(lat.toFixed(7)),
      ];
    });
    saveFile('hydrants-in-view.csv', 'text/csv;charset=utf-8', csvText(titles, rows));
  };

  // ---- context --------------------------------------------------------------------------------

  await Promise.all(strokes.map(async (one) => {
    one.streets = new Map();
    if (!one.sent.names) return;
    const column = await new Column(one.sent.names, {}).load();
    for (let k = 0; k + 1 < one.starts.length; k += 1) {
      const name = column.at(k);
      if (name === null) continue;
      if (!one.streets.has(name)) one.streets.set(name, []);
      one.streets.get(name).push(k);
    }
  }));
  let clickedArea = -1;
  if (rings) {
    const layer = areaLayer(map, sheet.areas, rings, world, colors.boundary, places, (row) => { clickedArea = row; });
    app.context.push({
      title: 'Areas', count: sheet.areas.names.length, on: true, layer,
      swatch: (line) => swatch(line, { color: colors.boundary, width: 2, dash: [11, 3, 3, 3] }),
    });
  }
  const extraLooks = {
    Valves: { value: 'valve', label: 'Valves', points: [[-1, 0.7], [0, 0.12], [1, 0.7], [1, -0.7], [0, -0.12], [-1, -0.7]], fill: '#ffffff', edge: '#7d8a95', size: 0.9 },
    Facilities: { value: 'facility', label: 'Facilities', points: [[0, 1.1], [1, 0.35], [1, -0.9], [-1, -0.9], [-1, 0.35]], fill: '#fdf6d8', edge: '#3d4a56', size: 0.95 },
  };
  points.forEach((one) => {
    const look = extraLooks[one.title];
    const own = {
      mask: new Uint8Array(one.places.count).fill(1), codes: new Uint8Array(one.places.count),
      looks: [look], order: [0], rank: [0], ratio: one.title === 'Valves' ? 0.6 : 1.15,
    };
    one.columns.forEach((fact) => { fact.column = new Column(fact.column, {}); });
    one.layer = new PointTiles(one.places, own, { pane: 'extras' });
    // their size goes with that of the hydrants
    one.layer.radius = (zoom) => hydrants.radius(zoom) * own.ratio;
    // many valves say little from afar
    const on = one.places.count < 5 * places.count || one.places.count < 2000;
    app.context.push({ title: one.title, count: one.places.count, on, layer: one.layer, swatch: (line) => mark(look, line) });
  });
  [...strokes].reverse().forEach((one) => {
    const layer = new LineTiles(one, world, { pane: 'background' });
    const { color, width, dash } = one.sent;
    app.context.push({
      title: one.sent.title, on: true, layer,
      swatch: (line) => swatch(line, { color, width: Math.min(width, 5), dash, outline: width > 3 ? '#b9b5a8' : null }),
    });
  });
  if (sheet.tiles) {
    const layer = L.tileLayer(sheet.tiles.url, { maxZoom: 22, maxNativeZoom: 19, crossOrigin: false });
    app.context.push({ title: 'Background map', on: true, layer, swatch: (line) => make('span', 'mark', null, line) });
    make('p', 'attribution', sheet.tiles.attribution, map.getContainer());
  }

  app.measuring = new Measuring(app);
  panel(app);

  // ---- the view -------------------------------------------------------------------------------

  function bounds() {
    const box = L.latLngBounds([]);
    if (places.count) return places.bounds();
    (rings ? [...rings.values()] : []).forEach((shape) => shape.forEach((r) => r.forEach((p) => box.extend(p))));
    strokes.forEach((one) => {
      if (!box.isValid() && one.starts.length > 1) for (let k = 0; k + 1 < one.starts.length; k += 1) box.extend(one.bounds(k, world));
    });
    return box.isValid() ? box : L.latLngBounds([[-55, -150], [70, 150]]);
  }

  // Until somebody moves the map it shows everything, whatever becomes of the window: a phone is
  // turned, and a notebook lays the page out before it has a size.
  function fit() {
    if (view.moved) return;
    view.fitting = true;
    map.fitBounds(bounds(), { padding: [26, 26], maxZoom: 18, animate: false });
    view.fitting = false;
  }

  const writeNow = () => {
    if (reading) return;
    const words = new URLSearchParams();
    if (view.moved) {
      const { lat, lng } = map.getCenter();
      words.set('at', `${lat.toFixed(6)},${lng.toFixed(6)},${Number(map.getZoom().toFixed(2))}`);
    }
    if (app.theme !== verdicts) words.set('show', app.theme.name);
    filters.write(words);
    if (openedId !== null) words.set('hydrant', openedId);
    const text = words.toString();
    const wanted = text ? `#${text}` : window.location.pathname + window.location.search;
    // A page inside another one may not have an address of its own to write to.
    try { window.history.replaceState(null, '', wanted); } catch (error) { console.info(error.message); }
  };
  const writeLater = later(writeNow, 120);
  let reading = false;
  function writeAddress() { if (!reading) writeLater(); }

  async function readAddress() {
    const words = new URLSearchParams(window.location.hash.slice(1));
    reading = true;
    try {
      const at = (words.get('at') || '').split(',').map(parseNumber);
      const placed = at.length === 3 && !at.includes(null) && Math.abs(at[0]) <= 90 && Math.abs(at[1]) <= 360;
      view.moved = placed;
      if (placed) map.setView([at[0], at[1]], at[2], { animate: false });
      else fit();
      if (filters.ranges.some((range) => words.has(range.name))) await facts.load(['outlet_height_in', 'reading_date']);
      filters.read(words);
      filters.update();
      app.show(words.get('show') || 'verdict');
      const id = words.get('hydrant');
      const i = id === null ? -1 : await rowOf(id);
      if (i < 0) map.closePopup();
      // With a view told it is that view which is shown; else the hydrant is gone to.
      else if (i !== opened) await (placed ? app.open(i) : goTo(i));
    } finally {
      reading = false;
    }
  }

  map.invalidateSize({ animate: false });
  fit();
  map.on('resize', fit);
  map.on('resize', () => {
    if (!popup.isOpen() || view.printing) return;
    measurePopup();
    popup.update();
  });
  map.on('movestart', () => { if (!view.fitting) view.moved = true; });
  map.on('moveend', writeAddress);
  new FeetScale({ position: 'bottomleft', metric: false, maxWidth: 160 }).addTo(map);
  new North({ position: 'bottomleft' }).addTo(map);
  [...app.context].reverse().forEach(({ layer, on }) => { if (on) layer.addTo(map); });
  hydrants.addTo(map);

  // ---- pointer and keys -----------------------------------------------------------------------

  const reachOf = () => Math.max(hydrants.radius(map.getZoom()) * 1.25, app.narrow.matches ? 18 : 7) + 2;
  const pointLayers = () => points.filter((one) => map.hasLayer(one.layer));
  const hovers = window.matchMedia('(hover: hover)');
  let told = -1;

  map.on('mousemove', (event) => {
    const hit = app.measuring.on ? -1 : places.nearest(map, event.latlng, reachOf(), allowed);
    map.getContainer().classList.toggle('over', hit >= 0);
    // a finger does not hover, and an open hydrant tells its name already
    if (hit < 0 || hit === opened || !hovers.matches) {
      if (told >= 0) map.closeTooltip(tip);
      told = -1;
      return;
    }
    tip.setLatLng(event.latlng);
    if (hit === told) return;
    told = hit;
    facts.load(['hydrant_id']).then(() => {
      if (told !== hit) return;
      const content = make('div');
      make('b', '', facts.at('hydrant_id', hit) ?? '(no id)', content);
      make('span', '', app.theme.looks[app.theme.codes[hit]].label, content);
      map.openTooltip(tip.setContent(content));
    });
  });
  map.on('mouseout', () => { map.closeTooltip(tip); told = -1; });

  async function press(latlng, reach, from = null) {
    const row = clickedArea;
    clickedArea = -1;
    if (app.measuring.on) {
      app.measuring.add(latlng);
      return;
    }
    const hit = places.nearest(map, latlng, reach, allowed);
    if (hit >= 0) {
      await app.open(hit, from);
      return;
    }
    const near = pointLayers().map((one) => [one, one.places.nearest(map, latlng, reach, () => true)]).find(([, i]) => i >= 0);
    if (near) {
      const [one, i] = near;
      await Promise.all(one.columns.map(({ column }) => column.load()));
      map.closePopup();
      show(one.places.latLng(i), pointSheet(one, i), from !== null);
    } else if (row >= 0) {
      show(latlng, areaSheet(sheet.areas, row), false);
    }
  }
  map.on('click', (event) => press(event.latlng, reachOf()));
  map.getContainer().addEventListener('keydown', (event) => {
    if (event.target !== map.getContainer()) return;
    if (event.key === 'Enter') {
      event.preventDefault();
      press(map.getCenter(), app.measuring.on ? 0 : map.getSize().x, map.getContainer());
    } else if (event.key === 'Escape' && app.measuring.on) {
      app.measuring.toggle();
    }
  });
  document.addEventListener('keydown', (event) => {
    if (event.key === 'Escape') map.closePopup();
  });

  printing(app, hydrants, view);
  window.addEventListener('hashchange', readAddress);
  hydrants.on('painted', () => performance.mark('painted'));
  hydrants.once('painted', () => {
    page.dataset.drawn = String(places.inside(map, allowed).length);
    performance.mark('drawn');
  });
  if (!places.count) page.dataset.drawn = '0';
  await readAddress();
  page.dataset.ready = 'yes';
}
