/* The block beside the map: legend, filters, search, list, context, figures, rule and cautions. */

function section(parent, title, { open = null, id = '' } = {}) {
  if (open === null) {
    const box = make('section', 'part', null, parent);
    if (title) make('h2', 'caption', title, box);
    if (id) box.id = id;
    return box;
  }
  const box = make('details', 'part', null, parent);
  box.open = open;
  if (id) box.id = id;
  make('summary', '', title, box);
  return box;
}

/** One class of a facet: a box, its mark, its name, and how many of it are shown. */
function classSwitch(parent, { look, label, about, total, facet, k, filters }) {
  const line = make('label', total === 0 ? 'switch none' : 'switch', null, parent);
  const box = make('input', '', null, line);
  box.type = 'checkbox';
  box.addEventListener('change', () => {
    if (box.checked) facet.hidden.delete(k); else facet.hidden.add(k);
    filters.update();
  });
  if (look) mark(look, line);
  const name = make('span', 'name', label, line);
  name.dir = 'auto';
  if (about) make('span', 'about', about, name);
  const count = make('span', 'count', '', line);
  return () => {
    box.checked = !facet.hidden.has(k);
    const now = facet.counts[k];
    count.textContent = now === total ? plain(total) : `${plain(now)} of ${plain(total)}`;
  };
}

/** The legend of the theme shown, which is its filter too. */
function legendPart(parent, app) {
  const { themes, filters } = app;
  const box = section(parent, null, { id: 'legend' });
  const choose = make('div', 'choose', null, box);
  const label = make('label', 'caption', 'Points show', choose);
  const select = make('select', '', null, choose);
  select.id = 'show';
  label.htmlFor = 'show';
  themes.forEach((theme) => {
    const option = make('option', '', theme.title, select);
    option.value = theme.name;
  });
  const field = make('fieldset', '', null, box);
  const legend = make('legend', 'unseen', '', field);
  const holder = make('div', '', null, field);
  const note = make('p', 'note', '', box);
  const foot = make('div', 'shown', null, box);
  const tally = make('output', '', null, foot);
  const clear = button('Clear filters', 'small', foot, () => filters.clear());
  const by = make('p', 'note filters', '', box);
  by.dir = 'auto';
  let refresh = [];

  function rebuild() {
    const { theme } = app;
    select.value = theme.name;
    legend.textContent = `Hydrants by ${theme.title.toLowerCase()}`;
    holder.replaceChildren();
    note.textContent = theme.note;
    refresh = theme.looks.map((look, k) => classSwitch(holder, {
      look, label: look.label, about: look.about, total: theme.facet.totals[k], facet: theme.facet, k, filters,
    }));
    renew();
  }
  function renew() {
    refresh.forEach((one) => one());
    const all = app.places.count;
    tally.textContent = filters.shown === all ? `All ${plain(all)} are shown` : `${plain(filters.shown)} of ${plain(all)} are shown`;
    clear.hidden = !filters.active;
    const told = filters.told();
    by.textContent = told.length ? `Filters: ${told.join('; ')}` : '';
  }
  select.addEventListener('change', () => app.show(select.value));
  filters.listeners.push(renew);
  app.onTheme.push(rebuild);
  rebuild();
  return box;
}

/** A pair of inputs for the ends of a range. */
function rangeInputs(parent, range, type, filters, ready) {
  const row = make('div', 'range', null, parent);
  row.setAttribute('role', 'group');
  row.setAttribute('aria-label', range.title);
  make('span', 'range-title', range.title, row);
  const inputs = ['low', 'high'].map((end) => {
    const input = make('input', '', null, row);
    input.type = type;
    input.step = 'any';
    input.setAttribute('aria-label', `${range.title}, ${end === 'low' ? 'from' : 'to'}`);
    if (type === 'number') input.placeholder = end === 'low' ? 'from' : 'to';
    const soon = later(async () => {
      await ready();
      filters.update();
    }, 250);
    input.addEventListener('input', () => {
      range[end] = range.parse(input.value);
      soon();
    });
    return input;
  });
  filters.listeners.push(() => {
    ['low', 'high'].forEach((end, k) => {
      if (document.activeElement !== inputs[k]) inputs[k].value = range.text(range[end]);
    });
  });
}

/** Filters beyond the legend: all facets but the one shown, and ranges. */
function filterPart(parent, app) {
  const { filters } = app;
  const box = section(parent, 'Filter', { open: false, id: 'filter' });
  filters.ranges.forEach((range) => rangeInputs(box, range, range.type, filters, range.ready));
  const folds = filters.facets.filter((f) => f.labels.length > 1).map((facet) => {
    const fold = make('details', 'facet', null, box);
    const summary = make('summary', '', null, fold);
    make('span', '', facet.title, summary);
    const told = make('span', 'told', '', summary);
    const tools = make('div', 'row', null, fold);
    const theme = app.themes.find((one) => one.facet === facet);
    const all = (on) => () => {
      facet.hidden.clear();
      if (!on) facet.labels.forEach((_, k) => facet.hidden.add(k));
      filters.update();
    };
    button('All', 'small', tools, all(true)).setAttribute('aria-label', `${facet.title}: all`);
    button('None', 'small', tools, all(false)).setAttribute('aria-label', `${facet.title}: none`);
    const list = make('div', 'choices', null, fold);
    let refresh = null;
    function renew() {
      if (fold.open && !refresh) {
        // classes of a theme have an order of their own; areas are looked for by name
        const by = new Intl.Collator('en', { numeric: true });
        const order = facet.labels.map((_, k) => k).filter((k) => facet.totals[k]);
        if (!theme) order.sort((a, b) => by.compare(facet.labels[a], facet.labels[b]));
        refresh = order.map((k) => classSwitch(list, {
          look: theme ? theme.looks[k] : null, label: facet.labels[k], total: facet.totals[k], facet, k, filters,
        }));
      }
      if (refresh) refresh.forEach((one) => one());
      const off = facet.labels.filter((_, k) => facet.hidden.has(k) && facet.totals[k]).length;
      const on = facet.labels.filter((_, k) => facet.totals[k]).length - off;
      told.textContent = off ? `${on} of ${on + off}` : 'all';
    }
    fold.addEventListener('toggle', renew);
    filters.listeners.push(renew);
    return [facet, fold];
  });
  app.onTheme.push(() => folds.forEach(([facet, fold]) => { fold.hidden = facet === app.theme.facet; }));
  return box;
}

/** Hydrants by id or address, and streets by name. */
function findPart(parent, app) {
  const box = section(parent, null, { id: 'finder' });
  const form = make('form', 'find', null, box);
  const label = make('label', 'caption', 'Find a hydrant, an address or a street', form);
  const input = make('input', '', null, form);
  label.htmlFor = 'find';
  input.id = 'find';
  input.type = 'search';
  input.autocomplete = 'off';
  make('button', '', 'Find', form).type = 'submit';
  const answer = make('output', '', null, form);
  answer.htmlFor = 'find';
  const list = make('ul', 'hits', null, box);
  let wanted = 0;

  async function look(enter) {
    const text = input.value.trim();
    wanted += 1;
    const mine = wanted;
    list.replaceChildren();
    answer.textContent = '';
    if (!text) return;
    const found = await app.search(text, 12);
    if (mine !== wanted) return;
    if (enter && found.exact) {
      found.exact.go();
      return;
    }
    found.hits.forEach(({ name, about, go }) => {
      const one = button('', 'hit', make('li', '', null, list), go);
      make('b', '', name, one).dir = 'auto';
      if (about) make('span', 'about', about, one).dir = 'auto';
    });
    if (!found.hits.length) answer.textContent = `${text} is not on this map`;
    else if (found.more) answer.textContent = `${plain(found.more)} more; type on to narrow it`;
    if (enter && found.hits.length === 1) found.hits[0].go();
  }
  const soon = later(look, 250);
  input.addEventListener('input', () => soon(false));
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    soon.cancel();
    look(true);
  });
  return box;
}

/** What is in view, as a list that the keyboard reaches, and as a file. */
function listPart(parent, app) {
  const most = 100;
  const box = section(parent, 'List of what is in view', { open: false, id: 'list' });
  const top = make('div', 'row', null, box);
  const tally = make('output', '', null, top);
  button('Save as CSV', 'small', top, () => app.saveCsv());
  const list = make('ol', 'hits', null, box);
  async function renew() {
    if (!box.open) return;
    const rows = await app.inView();
    await app.facts.load(['outlet_height_in', 'address']);
    tally.textContent = `${plain(rows.length)} in view${rows.length > most ? `, the first ${most}` : ''}`;
    list.replaceChildren();
    rows.slice(0, most).forEach((i) => {
      const one = button('', 'hit', make('li', '', null, list), () => app.open(i, one));
      mark(app.theme.looks[app.theme.codes[i]], one);
      make('b', '', app.facts.at('hydrant_id', i) ?? '(no id)', one).dir = 'auto';
      const height = app.facts.at('outlet_height_in', i);
      const words = [app.theme.looks[app.theme.codes[i]].label, height === null ? null : `${plain(height, 1)} in`,
        app.facts.at('address', i)];
      make('span', 'about', words.filter((w) => w !== null).join(', '), one).dir = 'auto';
    });
  }
  const renewLater = later(renew, 200);
  box.addEventListener('toggle', renew);
  app.map.on('moveend', renewLater);
  app.filters.listeners.push(renewLater);
  app.onTheme.push(renewLater);
  return box;
}

function swatch(parent, { color, width, dash, outline }) {
  const svg = drawn('svg', { class: 'mark', viewBox: '0 0 26 22', 'aria-hidden': 'true' }, parent);
  if (outline) drawn('line', { x1: 0, x2: 26, y1: 11, y2: 11, stroke: outline, 'stroke-width': width + 1.6 }, svg);
  drawn('line', { x1: 0, x2: 26, y1: 11, y2: 11, stroke: color, 'stroke-width': width, 'stroke-dasharray': dash.join(' ') }, svg);
}

function contextPart(parent, app) {
  if (!app.context.length) return;
  const field = make('fieldset', 'part', null, parent);
  make('legend', 'caption', 'Also on the map', field);
  app.context.forEach((entry) => {
    const line = make('label', 'switch', null, field);
    const box = make('input', '', null, line);
    box.type = 'checkbox';
    box.checked = entry.on;
    entry.swatch(line);
    make('span', 'name', entry.title, line).dir = 'auto';
    if (entry.count !== undefined) make('span', 'count', plain(entry.count), line);
    box.addEventListener('change', () => {
      if (box.checked) entry.layer.addTo(app.map); else entry.layer.remove();
    });
  });
}

function termsPart(parent, words) {
  const terms = make('dl', 'terms part', null, parent);
  const newest = /^\d{4}-\d\d-\d\d$/.test(words.data_date) ? `the newest of ${words.data_date}` : words.data_date;
  [['Rule', words.rule], ['Source', words.citation], ['Readings', newest]].forEach(([term, text]) => {
    make('dt', '', term, terms);
    make('dd', '', text, terms).dir = 'auto';
  });
}

function panel(app) {
  const { sheet } = app;
  const { words } = sheet;
  const block = make('aside', 'block', null, document.body);
  block.id = 'block';
  block.setAttribute('aria-label', 'Title, legend and layers');
  make('h1', '', words.title, block).dir = 'auto';
  make('p', 'share', words.share, block);
  if (sheet.missing) {
    const text = app.places.count ? words.missing : `No hydrant has a location. ${words.missing}`;
    make('p', 'missing', text, block).id = 'no-location';
  }
  if (app.places.count) {
    findPart(block, app);
    legendPart(block, app);
    filterPart(block, app);
    listPart(block, app);
  }
  const tools = section(block, null, { id: 'tools' });
  const row = make('div', 'row', null, tools);
  app.measuring.attach(button('Measure a distance', 'small', row, () => app.measuring.toggle()));
  copyButton('Copy link to this view', () => window.location.href, row).classList.add('small');
  contextPart(block, app);
  if (sheet.areas && sheet.areas.names.length) {
    areaTable(sheet.areas, section(block, 'Figures by area', { open: false }), app.goToArea);
  }
  termsPart(block, words);
  if (sheet.left_out.length) {
    make('p', 'note part', `Left out to keep the page small: ${sheet.left_out.join(', ')}.`, block);
  }
  if (words.cautions.length) {
    make('p', 'governs', words.cautions[0], block);
    const list = make('ul', '', null, section(block, 'Cautions', { open: false }));
    words.cautions.forEach((caution) => make('li', '', caution, list));
  }
  const folder = make('button', 'fold', null, null);
  folder.type = 'button';
  folder.setAttribute('aria-controls', 'block');
  block.before(folder);
  app.fold = (folded) => {
    block.classList.toggle('folded', folded);
    folder.setAttribute('aria-expanded', String(!folded));
    folder.textContent = folded ? 'Legend and search' : 'Close';
  };
  folder.addEventListener('click', () => app.fold(!block.classList.contains('folded')));
  app.fold(app.narrow.matches);
  app.narrow.addEventListener('change', () => app.fold(app.narrow.matches));
}
