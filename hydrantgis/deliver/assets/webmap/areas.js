/* Outlines, names and figures of the areas. */

async function readAreas(sent, world) {
  const [x, y] = await Promise.all([sent.outlines.x, sent.outlines.y].map(numbersOf));
  const rings = new Map();
  let at = 0;
  sent.outlines.lengths.forEach((length, k) => {
    const ring = [];
    for (let end = at + length; at < end; at += 1) ring.push(latLngOf(x[at], y[at], world));
    const row = sent.outlines.rows[k];
    if (!rings.has(row)) rings.set(row, []);
    if (length > 1) rings.get(row).push(ring);
  });
  return rings;
}

/** Whether a place lies within rings, by how often a line to the east crosses them. */
function within(rings, lat, lng) {
  let inside = false;
  rings.forEach((ring) => {
    for (let i = 0, j = ring.length - 1; i < ring.length; j = i, i += 1) {
      const [[y1, x1], [y2, x2]] = [ring[i], ring[j]];
      if ((y1 > lat) !== (y2 > lat) && lng < (x2 - x1) * (lat - y1) / (y2 - y1) + x1) inside = !inside;
    }
  });
  return inside;
}

/** Where in an area a name of that size covers the fewest marks: there, or at one of 9 by 9 places. */
function clearPlace(map, places, rings, bounds, first, [wide, high]) {
  const covered = (latlng) => {
    const at = map.project(latlng);
    const [left, right, top, bottom] = [at.x - wide / 2, at.x + wide / 2, at.y - high / 2, at.y + high / 2];
    const outside = [[left, top], [right, top], [left, bottom], [right, bottom]].filter((corner) => {
      const { lat, lng } = map.unproject(corner);
      return !within(rings, lat, lng);
    }).length;
    return places.countIn(map, left, top, right, bottom) + outside;
  };
  let [best, least] = [first, covered(first)];
  const [south, west] = [bounds.getSouth(), bounds.getWest()];
  const [tall, broad] = [bounds.getNorth() - south, bounds.getEast() - west];
  for (let r = 1; r < 10 && least > 0; r += 1) {
    for (let c = 1; c < 10 && least > 0; c += 1) {
      const latlng = [south + tall * r / 10, west + broad * c / 10];
      const count = within(rings, ...latlng) ? covered(latlng) : Infinity;
      if (count < least) [best, least] = [latlng, count];
    }
  }
  return best;
}

/** The layer of outlines, with names where there is room for them. */
function areaLayer(map, sent, rings, world, color, places, clicked) {
  const group = L.layerGroup();
  const names = [];
  const canvas = L.canvas({ padding: 0.4 });
  rings.forEach((shape, row) => {
    // Even-odd filling tells holes from shells, so that all rings of an area form one shape.
    const outline = L.polygon(shape, {
      renderer: canvas, color, weight: 1.4, dashArray: '14 4 3 4', fillColor: color, fillOpacity: 0.03,
    });
    outline.on('click', () => clicked(row));
    group.addLayer(outline);
    const at = sent.labels[row];
    if (at[0] === null) return;
    const name = L.tooltip({ permanent: true, direction: 'center', pane: 'names', className: 'area-name', opacity: 1, interactive: false });
    name.setLatLng(latLngOf(at[0], at[1], world)).setContent(make('span', '', sent.names[row]));
    group.addLayer(name);
    names.push([name, outline.getBounds(), latLngOf(at[0], at[1], world), shape]);
  });
  function thin() {
    names.forEach(([name, bounds, first, shape]) => {
      const element = name.getElement();
      if (!element) return;
      const room = map.project(bounds.getNorthEast()).x - map.project(bounds.getSouthWest()).x;
      const tight = element.offsetWidth > room;
      element.classList.toggle('tight', tight);
      if (tight) return;
      const size = [element.offsetWidth + 8, element.offsetHeight + 6];
      name.setLatLng(clearPlace(map, places, shape, bounds, first, size));
    });
  }
  map.on('zoomend', thin);
  group.on('add', () => L.Util.requestAnimFrame(thin));
  return group;
}

const figureText = (figure, row) => {
  const value = figure.values[row];
  if (value === null) return '\u2013';
  return figure.share ? `${plain(100 * value, 0)} %` : plain(value);
};

function areaSheet(sent, row) {
  const content = make('section', 'fact-sheet');
  const head = make('header', 'fact-head plain', null, content);
  make('h2', '', sent.names[row], head).tabIndex = -1;
  make('p', '', sent.names[row] === sent.ids[row] ? 'Area' : `Area ${sent.ids[row]}`, head);
  const body = make('div', 'fact-body', null, content);
  const told = sent.figures.filter((f) => f.values[row] !== null && (f.values[row] !== 0 || f.share))
    .map((figure) => [figure.title, figureText(figure, row)]);
  factTable([told.length ? told : [['Hydrants', 'none']]], body);
  return content;
}

/** All areas with their figures; a name is a way to go there. */
function areaTable(sent, parent, goTo) {
  const shown = sent.figures.filter((f) => f.values.some((value) => value));
  const box = make('div', 'wide', null, parent);
  box.tabIndex = 0;
  box.setAttribute('role', 'region');
  box.setAttribute('aria-label', 'Figures by area');
  const hint = make('p', 'note', 'More figures to the right: scroll sideways.', parent);
  parent.addEventListener('toggle', () => { hint.hidden = box.scrollWidth <= box.clientWidth; });
  const table = make('table', '', null, box);
  const head = make('tr', '', null, make('thead', '', null, table));
  make('th', '', 'Area', head).scope = 'col';
  shown.forEach(({ title }) => { make('th', '', title, head).scope = 'col'; });
  const rows = make('tbody', '', null, table);
  sent.names.forEach((name, row) => {
    const line = make('tr', '', null, rows);
    const first = make('th', '', null, line);
    first.scope = 'row';
    button(name, 'link', first, () => goTo(row)).dir = 'auto';
    shown.forEach((figure) => make('td', 'count', figureText(figure, row), line));
  });
}
