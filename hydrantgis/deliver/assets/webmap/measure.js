/* Distances on the map. */

/** A distance along the places that are clicked, or, by the keyboard, along middles of the view. */
class Measuring {
  constructor(app) {
    this.app = app;
    this.on = false;
    this.places = [];
    this.line = L.polyline([], { color: '#0b63ce', weight: 3, dashArray: '6 5', interactive: false });
    this.box = make('div', 'measure', null, app.map.getContainer());
    this.box.hidden = true;
    this.told = make('output', '', null, this.box);
    button('Undo', 'small', this.box, () => { this.places.pop(); this.renew(); });
    button('Done', 'small', this.box, () => this.toggle());
    L.DomEvent.disableClickPropagation(this.box);
    this.cross = make('div', 'cross', null, app.map.getContainer());
    this.cross.hidden = true;
  }

  attach(control) {
    this.control = control;
    control.setAttribute('aria-pressed', 'false');
  }

  toggle() {
    this.on = !this.on;
    this.places = [];
    this.control.setAttribute('aria-pressed', String(this.on));
    this.box.hidden = !this.on;
    this.cross.hidden = !this.on;
    this.app.map.getContainer().classList.toggle('measuring', this.on);
    if (this.on) {
      this.line.addTo(this.app.map);
      if (this.app.narrow.matches) this.app.fold(true);
      this.app.map.getContainer().focus();
    } else {
      this.line.remove();
    }
    this.renew();
  }

  add(latlng) {
    this.places.push(latlng);
    this.renew();
  }

  renew() {
    this.line.setLatLngs(this.places);
    let total = 0;
    for (let k = 1; k < this.places.length; k += 1) total += groundDistance(this.places[k - 1], this.places[k]);
    this.told.textContent = this.places.length > 1 ? feetText(total)
      : this.places.length ? 'Click the next place' : 'Click a place, or move the cross there and press Enter';
  }
}
