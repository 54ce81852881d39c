/* What is painted on canvas tiles: lines under, hydrants above. */

const TILE = 512;

/** Points in square cells, so that a tile or a click looks only at those near it. */
class Cells {
  constructor(x, y) {
    Object.assign(this, { x, y });
    let [right, bottom] = [0, 0];
    for (let i = 0; i < x.length; i += 1) {
      if (x[i] > right) right = x[i];
      if (y[i] > bottom) bottom = y[i];
    }
    Object.assign(this, { right, bottom });
    const wanted = Math.sqrt((right + 1) * (bottom + 1) / Math.max(1, x.length / 32));
    this.side = Math.max(1, wanted, Math.max(right, bottom) / 1024);
    this.columns = Math.floor(right / this.side) + 1;
    this.rows = Math.floor(bottom / this.side) + 1;
    const cell = new Uint32Array(x.length);
    this.starts = new Uint32Array(this.columns * this.rows + 1);
    for (let i = 0; i < x.length; i += 1) {
      cell[i] = Math.floor(y[i] / this.side) * this.columns + Math.floor(x[i] / this.side);
      this.starts[cell[i] + 1] += 1;
    }
    for (let c = 1; c < this.starts.length; c += 1) this.starts[c] += this.starts[c - 1];
    const next = this.starts.slice();
    this.sorted = new Uint32Array(x.length);
    for (let i = 0; i < x.length; i += 1) {
      this.sorted[next[cell[i]]] = i;
      next[cell[i]] += 1;
    }
  }

  /** Hands every point of a box, and some just outside it, to `use`. */
  within(left, top, right, bottom, use) {
    if (right < 0 || bottom < 0 || left > this.right || top > this.bottom) return;
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

/** Steps of about 60 ft at middle latitudes. */
const LEAST_SPREAD = 700;

/** Places on the map of one kind: steps from an origin, and how to find the nearest. */
class Places {
  constructor(x, y, origin, world) {
    Object.assign(this, { origin, world, count: x.length });
    this.cells = new Cells(x, y);
    this.x = x;
    this.y = y;
    const { right, bottom } = this.cells;
    /**
     * Steps between neighbours, were they spread evenly over the box or along its longer side; but where
     * few lie far off, those of the others. Hydrants do not stand nearer to each other than the least,
     * however near two of them are recorded.
     */
    const even = Math.max(Math.sqrt((right + 1) * (bottom + 1) / x.length), Math.max(right, bottom) / x.length);
    this.spread = x.length > 1 ? Math.max(Math.min(even, 2 * this.middleStep()), LEAST_SPREAD) : Infinity;
  }

  /** The middle of the ways from one point to the next: they travel so that these are near. */
  middleStep() {
    const every = Math.max(1, Math.floor(this.x.length / 20000));
    const steps = [];
    for (let i = 1; i < this.x.length; i += every) {
      steps.push(Math.hypot(this.x[i] - this.x[i - 1], this.y[i] - this.y[i - 1]));
    }
    return steps.sort((a, b) => a - b)[Math.floor(steps.length / 2)];
  }

  static async of(sent, world) {
    const origin = [sent.x.least, sent.y.least];
    const [x, y] = await Promise.all([sent.x, sent.y].map((p) => numbersOf({ ...p, least: 0 })));
    return new Places(x, y, origin, world);
  }

  latLng(i) {
    return latLngOf(this.origin[0] + this.x[i], this.origin[1] + this.y[i], this.world);
  }

  bounds() {
    const [x, y] = this.origin;
    return L.latLngBounds([
      latLngOf(x, y, this.world),
      latLngOf(x + this.cells.right, y + this.cells.bottom, this.world),
    ]);
  }

  /** The row nearest to a place within so many pixels that `allowed` takes; -1 where none is. */
  nearest(map, latlng, pixels, allowed) {
    const scale = pixelsOfStep(map.getZoom(), this.world);
    const at = map.project(latlng);
    const [x, y] = [at.x / scale - this.origin[0], at.y / scale - this.origin[1]];
    let [reach, hit] = [pixels / scale, -1];
    this.cells.within(x - reach, y - reach, x + reach, y + reach, (i) => {
      if (!allowed(i)) return;
      const away = Math.hypot(this.x[i] - x, this.y[i] - y);
      if (away < reach) [reach, hit] = [away, i];
    });
    return hit;
  }

  /** All rows that `allowed` takes within a few pixels of one, itself the first. */
  beside(map, i, pixels, allowed) {
    const reach = pixels / pixelsOfStep(map.getZoom(), this.world);
    const rows = [];
    const [x, y] = [this.x[i], this.y[i]];
    this.cells.within(x - reach, y - reach, x + reach, y + reach, (k) => {
      if (k !== i && allowed(k) && Math.hypot(this.x[k] - x, this.y[k] - y) <= reach) rows.push(k);
    });
    return [i, ...rows.sort((a, b) => a - b)];
  }

  /** How many points lie in a box of pixels, at the zoom of the map. */
  countIn(map, left, top, right, bottom) {
    const scale = pixelsOfStep(map.getZoom(), this.world);
    const [x0, x1] = [left, right].map((v) => v / scale - this.origin[0]);
    const [y0, y1] = [top, bottom].map((v) => v / scale - this.origin[1]);
    let count = 0;
    this.cells.within(x0, y0, x1, y1, (i) => {
      if (this.x[i] >= x0 && this.x[i] <= x1 && this.y[i] >= y0 && this.y[i] <= y1) count += 1;
    });
    return count;
  }

  /** Rows within bounds that `allowed` takes. */
  inside(map, allowed) {
    const view = map.getPixelBounds();
    const scale = pixelsOfStep(map.getZoom(), this.world);
    const [left, right] = [view.min.x, view.max.x].map((v) => v / scale - this.origin[0]);
    const [top, bottom] = [view.min.y, view.max.y].map((v) => v / scale - this.origin[1]);
    const rows = [];
    this.cells.within(left, top, right, bottom, (i) => {
      const there = this.x[i] >= left && this.x[i] <= right && this.y[i] >= top && this.y[i] <= bottom;
      if (there && allowed(i)) rows.push(i);
    });
    return rows;
  }
}

const pixelsOfStep = (zoom, world) => 256 * 2 ** zoom / world;

function latLngOf(x, y, world) {
  const lat = Math.atan(Math.sinh(Math.PI * (1 - 2 * y / world))) * 180 / Math.PI;
  return [lat, x / world * 360 - 180];
}

/** Tiles that are painted one after another, as long as a frame has time, at any zoom. */
const PaintedTiles = L.GridLayer.extend({
  options: { tileSize: TILE, noWrap: true, updateWhenZooming: false, updateWhenIdle: false, keepBuffer: 2 },

  initialize(options) {
    L.setOptions(this, options);
    this.waiting = [];
  },

  // Leaflet has tiles at whole zooms only, and blurs them between. These have the zoom of the map.
  _setView(center, zoom, noPrune, noUpdate) {
    if (!noUpdate || (this.options.updateWhenZooming && zoom !== this._tileZoom)) {
      this._tileZoom = zoom;
      this._updateLevels();
      this._resetGrid();
      this._update(center);
      if (!noPrune) this._pruneTiles();
      this._noPrune = !!noPrune;
    }
    this._setZoomTransforms(center, zoom);
  },

  createTile(coords, done) {
    const tile = document.createElement('canvas');
    const ratio = window.devicePixelRatio > 1 ? 2 : 1;
    tile.width = TILE * ratio;
    tile.height = TILE * ratio;
    this.waiting.push({ tile, coords, done });
    this.goOn();
    return tile;
  },

  goOn() {
    if (this.asked) return;
    this.asked = window.requestAnimationFrame(() => {
      this.asked = 0;
      const until = performance.now() + 8;
      do this.paintNext(); while (this.waiting.length && performance.now() < until);
      if (this.waiting.length) this.goOn();
      else this.fire('painted');
    });
  },

  paintNext() {
    const next = this.waiting.shift();
    if (!next) return;
    // a tile of a zoom that is left already need not be painted
    if (next.coords.z === this._tileZoom || !next.done) this.paintTile(next.tile, next.coords);
    if (next.done) next.done(null, next.tile);
  },

  paintTile(tile, coords) {
    const ratio = tile.width / TILE;
    const pen = tile.getContext('2d');
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.clearRect(0, 0, tile.width, tile.height);
    pen.scale(ratio, ratio);
    this.paint(pen, coords.x * TILE, coords.y * TILE, coords.z, ratio);
  },

  /** Paints the tiles that are there anew, without taking them away. */
  repaint() {
    if (!this._map) return;
    this.waiting = this.waiting.filter(({ done }) => done);
    Object.values(this._tiles).forEach(({ el, coords, loaded }) => {
      if (loaded && coords.z === this._tileZoom) this.waiting.push({ tile: el, coords });
    });
    this.goOn();
  },
});

/** Half width of marks below which they are set pixel by pixel: no shape can be told any more. */
const SPECK = 2.4;

/** Marks of many points. What they show comes from `state`: mask, codes, looks, rank. */
const PointTiles = PaintedTiles.extend({
  initialize(places, state, options) {
    PaintedTiles.prototype.initialize.call(this, options);
    Object.assign(this, { places, state, stamps: new Map() });
    const margin = 40;
    this.margin = margin;
    this.taken = new Int32Array((TILE + 2 * margin) ** 2);
  },

  /**
   * Half width of a mark: small where points crowd, and where they crowd so that marks would cover
   * each other, small enough that what matters most does not seem to be all there is.
   */
  radius(zoom) {
    const pixels = this.places.spread * pixelsOfStep(zoom, this.places.world);
    return Math.min(9, Math.max(0.5, Math.min(1.8, pixels / 2), pixels / 4.5));
  },

  stamp(look, radius, ratio) {
    const key = `${look.value}|${radius}|${ratio}|${look.fill}`;
    if (!this.stamps.has(key)) {
      if (this.stamps.size > 300) this.stamps.clear();
      const half = Math.ceil(radius * look.size * 1.1 + 2);
      const image = document.createElement('canvas');
      image.width = 2 * half * ratio;
      image.height = image.width;
      const pen = image.getContext('2d');
      pen.scale(ratio, ratio);
      pen.translate(half, half);
      pen.beginPath();
      corners(look, radius).forEach(([x, y]) => pen.lineTo(x, y));
      pen.closePath();
      pen.fillStyle = look.fill;
      pen.fill();
      if (radius >= 1.5) {
        pen.lineWidth = Math.min(1.2, radius / 5);
        pen.lineJoin = 'round';
        pen.strokeStyle = look.edge;
        pen.stroke();
      }
      this.stamps.set(key, [image, half, radius < SPECK ? specksOf(image, look.fill) : null]);
    }
    return this.stamps.get(key);
  },

  /** Of points on one pixel only the one that matters most is painted: it hides the others. */
  paint(pen, left, top, zoom, ratio) {
    const { places, state, margin, taken } = this;
    const { mask, codes, looks, order, rank } = state;
    const scale = pixelsOfStep(zoom, places.world);
    const radius = this.radius(zoom);
    const wide = TILE + 2 * margin;
    const [shiftX, shiftY] = [places.origin[0] * scale - left, places.origin[1] * scale - top];
    const step = (pixel, shift) => (pixel - shift) / scale;
    const found = [];
    const reach = Math.min(margin, radius * 1.5 + 3);
    places.cells.within(
      step(-reach, shiftX), step(-reach, shiftY), step(TILE + reach, shiftX), step(TILE + reach, shiftY),
      (i) => {
        if (!mask[i]) return;
        const [x, y] = [places.x[i] * scale + shiftX, places.y[i] * scale + shiftY];
        if (x < -reach || y < -reach || x >= TILE + reach || y >= TILE + reach) return;
        const pixel = (Math.floor(y) + margin) * wide + Math.floor(x) + margin;
        const before = taken[pixel];
        if (before === 0) {
          taken[pixel] = i + 1;
          found.push(pixel);
        } else if (rank[codes[i]] > rank[codes[before - 1]]) {
          taken[pixel] = i + 1;
        }
      },
    );
    const members = looks.map(() => []);
    found.forEach((pixel) => {
      members[codes[taken[pixel] - 1]].push(taken[pixel] - 1);
      taken[pixel] = 0;
    });
    const crowd = radius < SPECK ? new Crowd(TILE * ratio) : null;
    order.forEach((k) => {
      if (!members[k].length) return;
      const [image, half, specks] = this.stamp(looks[k], radius, ratio);
      members[k].forEach((i) => {
        const [x, y] = [places.x[i] * scale + shiftX - half, places.y[i] * scale + shiftY - half];
        if (crowd) crowd.put(Math.round(x * ratio), Math.round(y * ratio), specks);
        else pen.drawImage(image, x, y, 2 * half, 2 * half);
      });
    });
    if (crowd) pen.putImageData(crowd.picture, 0, 0);
  },
});

/** The pixels of a stamp that are rather covered than not, at least the one in its middle. */
function specksOf(image, fill) {
  const { data } = image.getContext('2d').getImageData(0, 0, image.width, image.height);
  const [dx, dy, inks] = [[], [], []];
  const ink = (r, g, b) => new Uint32Array(new Uint8ClampedArray([r, g, b, 255]).buffer)[0];
  for (let at = 0; at < data.length / 4; at += 1) {
    const [r, g, b, alpha] = data.subarray(4 * at, 4 * at + 4);
    if (alpha < 128) continue;
    dx.push(at % image.width);
    dy.push(Math.floor(at / image.width));
    inks.push(ink(r, g, b));
  }
  if (!inks.length) {
    dx.push(image.width / 2);
    dy.push(image.width / 2);
    inks.push(ink(...[1, 3, 5].map((k) => parseInt(fill.slice(k, k + 2), 16))));
  }
  return { dx, dy, inks };
}

/** A tile of marks that are a few pixels each. */
class Crowd {
  constructor(side) {
    this.side = side;
    this.picture = new ImageData(side, side);
    this.pixels = new Uint32Array(this.picture.data.buffer);
  }

  put(left, top, { dx, dy, inks }) {
    const { side, pixels } = this;
    for (let k = 0; k < inks.length; k += 1) {
      const [x, y] = [left + dx[k], top + dy[k]];
      if (x >= 0 && y >= 0 && x < side && y < side) pixels[y * side + x] = inks[k];
    }
  }
}

/** Lines of the background: each layer with its box, so that a tile skips those elsewhere. */
class Strokes {
  constructor(sent, x, y, lengths) {
    Object.assign(this, { sent, x, y, grid: sent.grid });
    this.starts = new Uint32Array(lengths.length + 1);
    this.boxes = new Float64Array(lengths.length * 4);
    for (let k = 0; k < lengths.length; k += 1) {
      const [from, to] = [this.starts[k], this.starts[k] + lengths[k]];
      this.starts[k + 1] = to;
      let [left, top, right, bottom] = [Infinity, Infinity, -Infinity, -Infinity];
      for (let i = from; i < to; i += 1) {
        left = Math.min(left, x[i]);
        right = Math.max(right, x[i]);
        top = Math.min(top, y[i]);
        bottom = Math.max(bottom, y[i]);
      }
      this.boxes.set([left, top, right, bottom], 4 * k);
    }
  }

  static async of(sent) {
    const [x, y, lengths] = await Promise.all([sent.x, sent.y, sent.lengths].map(numbersOf));
    return new Strokes(sent, x, y, lengths);
  }

  bounds(k, world) {
    const [left, top, right, bottom] = this.boxes.subarray(4 * k, 4 * k + 4);
    return L.latLngBounds([
      latLngOf(left * this.grid, top * this.grid, world),
      latLngOf(right * this.grid, bottom * this.grid, world),
    ]);
  }
}

const LineTiles = PaintedTiles.extend({
  initialize(strokes, world, options) {
    PaintedTiles.prototype.initialize.call(this, options);
    Object.assign(this, { strokes, world });
  },

  paint(pen, left, top, zoom) {
    const { strokes, world } = this;
    const scale = pixelsOfStep(zoom, world) * strokes.grid;
    const { color, width, dash } = strokes.sent;
    // thinner from afar, so that a town does not turn into one stain
    const broad = Math.max(0.4, Math.min(width, width * 2 ** ((zoom - 15) / 2)));
    pen.strokeStyle = color;
    pen.lineWidth = broad;
    pen.lineJoin = 'round';
    pen.lineCap = dash.length ? 'butt' : 'round';
    pen.setLineDash(zoom >= 14 ? dash : []);
    pen.beginPath();
    const edge = broad + 2;
    const [l, t, r, b] = [left - edge, top - edge, left + TILE + edge, top + TILE + edge].map((v) => v / scale);
    for (let k = 0; k + 1 < strokes.starts.length; k += 1) {
      const box = 4 * k;
      if (strokes.boxes[box] > r || strokes.boxes[box + 2] < l
        || strokes.boxes[box + 1] > b || strokes.boxes[box + 3] < t) continue;
      let [lastX, lastY] = [Infinity, Infinity];
      for (let i = strokes.starts[k]; i < strokes.starts[k + 1]; i += 1) {
        const [x, y] = [strokes.x[i] * scale - left, strokes.y[i] * scale - top];
        if (i === strokes.starts[k]) pen.moveTo(x, y);
        // a vertex within half a pixel of the last one cannot be seen
        else if (Math.abs(x - lastX) + Math.abs(y - lastY) < 0.5 && i + 1 < strokes.starts[k + 1]) continue;
        else pen.lineTo(x, y);
        [lastX, lastY] = [x, y];
      }
    }
    pen.stroke();
  },
});
