/* Small tools. Text from data is only ever set as textContent; nothing here is parsed as markup. */

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

function button(text, className, parent, act) {
  const element = make('button', className, text, parent);
  element.type = 'button';
  element.addEventListener('click', act);
  return element;
}

function plain(value, digits = 2) {
  return value.toLocaleString('en-US', { maximumFractionDigits: digits });
}

const corners = (look, radius) =>
  look.points.map(([x, y]) => [x * radius * look.size, -y * radius * look.size]);

/** The mark of a class as a small drawing, for the legend and the popups. */
function mark(look, parent) {
  const svg = drawn('svg', { class: 'mark', viewBox: '-13 -12 26 24', 'aria-hidden': 'true' }, parent);
  drawn('polygon', {
    points: corners(look, 8).map((p) => p.join(',')).join(' '),
    fill: look.fill, stroke: look.edge, 'stroke-width': 1.3,
  }, svg);
  return svg;
}

/** Puts a text on the clipboard, where need be by selecting it as a hand would. */
async function copyText(text) {
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch (error) {
    const area = make('textarea', 'unseen', null, document.body);
    area.value = text;
    area.select();
    const done = document.execCommand('copy');
    area.remove();
    return done;
  }
}

/** A button that copies, and says for a moment that it did. */
function copyButton(label, text, parent) {
  const one = button(label, 'copy', parent, async () => {
    const done = await copyText(text());
    one.textContent = done ? 'Copied' : 'Not copied';
    window.setTimeout(() => { one.textContent = label; }, 1600);
  });
  one.setAttribute('aria-live', 'polite');
  return one;
}

function saveFile(name, type, text) {
  const link = make('a', '', null, document.body);
  link.href = URL.createObjectURL(new Blob([text], { type }));
  link.download = name;
  link.click();
  link.remove();
  window.setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}

/** Rows as CSV: every text is quoted, and none begins like a formula. */
function csvText(titles, rows) {
  const cell = (value) => {
    if (value === null || value === undefined) return '';
    if (typeof value === 'number') return String(value);
    const safe = /^[=+\-@\t\r]/.test(value) ? `'${value}` : value;
    return `"${safe.replaceAll('"', '""')}"`;
  };
  return `\ufeff${[titles, ...rows].map((row) => row.map(cell).join(',')).join('\r\n')}\r\n`;
}

/**
 * Distance on the GRS 80 ellipsoid along the chord of its radii at the middle latitude. [m]
 * Over the few miles of a district it differs from the geodesic by less than a part in a million.
 */
function groundDistance(a, b) {
  const rad = Math.PI / 180;
  const [axis, e2] = [6378137, 0.0066943800229];
  const middle = (a.lat + b.lat) / 2 * rad;
  const w2 = 1 - e2 * Math.sin(middle) ** 2;
  const north = (b.lat - a.lat) * rad * axis * (1 - e2) / w2 ** 1.5;
  const east = (b.lng - a.lng) * rad * axis * Math.cos(middle) / Math.sqrt(w2);
  return Math.hypot(north, east);
}

const feetText = (metres) => {
  const feet = metres / 0.3048;
  return feet < 5280 ? `${plain(feet, feet < 100 ? 1 : 0)} ft` : `${plain(feet / 5280, 2)} mi (${plain(feet, 0)} ft)`;
};

/** Calls once for many calls in a row. */
function later(act, wait = 150) {
  let timer = 0;
  const call = (...words) => {
    window.clearTimeout(timer);
    timer = window.setTimeout(act, wait, ...words);
  };
  call.cancel = () => window.clearTimeout(timer);
  return call;
}
