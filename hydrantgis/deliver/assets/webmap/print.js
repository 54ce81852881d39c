/* The map on paper: one page, with all that lies on the screen. */

const FINE = 3;

/**
 * All that is painted, on one canvas. A printer takes every canvas for opaque, so that the upper ones
 * would hide those below; this one is in the order of the screen, and fine enough for paper.
 */
function compose({ map, context, sheet }, hydrants) {
  const holder = map.getContainer().getBoundingClientRect();
  const canvas = make('canvas', 'composed', null, map.getPane('mapPane'));
  canvas.width = holder.width * FINE;
  canvas.height = holder.height * FINE;
  canvas.style.width = `${holder.width}px`;
  canvas.style.height = `${holder.height}px`;
  L.DomUtil.setPosition(canvas, map.containerPointToLayerPoint([0, 0]));
  const pen = canvas.getContext('2d');
  pen.scale(FINE, FINE);
  pen.fillStyle = sheet.colors.paper;
  pen.fillRect(0, 0, holder.width, holder.height);
  const put = (image, element) => {
    const box = element.getBoundingClientRect();
    pen.drawImage(image, box.left - holder.left, box.top - holder.top, box.width, box.height);
  };
  const shown = [...context].reverse().map(({ layer }) => layer).filter((layer) => map.hasLayer(layer));
  const tiles = (layer) => Object.values(layer._tiles).filter(({ coords }) => coords.z === layer._tileZoom);
  shown.filter((layer) => layer instanceof L.TileLayer)
    .forEach((layer) => tiles(layer).forEach(({ el, loaded }) => { if (loaded) put(el, el); }));
  const repaint = (layer) => tiles(layer).forEach(({ el, coords }) => {
    const own = document.createElement('canvas');
    own.width = TILE * FINE;
    own.height = own.width;
    layer.paintTile(own, coords);
    put(own, el);
  });
  shown.filter((layer) => layer instanceof LineTiles).forEach(repaint);
  map.getPane('overlayPane').querySelectorAll('canvas').forEach((one) => put(one, one));
  shown.filter((layer) => layer instanceof PointTiles).forEach(repaint);
  repaint(hydrants);
  return canvas;
}

/** Gives the map the shape of its place on paper while it is printed, and its own again. */
function printing(app, hydrants, view) {
  const { map } = app;
  let [screen, paper] = [null, null];
  window.addEventListener('beforeprint', () => {
    const holder = map.getContainer();
    screen = [map.getCenter(), map.getZoom(), view.moved];
    // what was not moved shows everything, on paper as on the screen, whatever the shape of the screen
    const box = view.moved ? map.getBounds() : view.bounds();
    Object.assign(view, { printing: true, moved: true });
    holder.style.width = '690px';
    holder.style.height = '700px';
    map.invalidateSize({ animate: false });
    map.fitBounds(box, screen[2] ? { animate: false } : { padding: [26, 26], maxZoom: 18, animate: false });
    paper = compose(app, hydrants);
  });
  window.addEventListener('afterprint', () => {
    const holder = map.getContainer();
    paper.remove();
    holder.style.width = '';
    holder.style.height = '';
    map.invalidateSize({ animate: false });
    map.setView(screen[0], screen[1], { animate: false });
    Object.assign(view, { printing: false, moved: screen[2] });
  });
}
