'use strict';
// What everything else stands on: elements, units, numbers, runs and their curves. Text from files only ever becomes
// text: no markup is made of strings anywhere on this page.

const svgSpace = 'http://www.w3.org/2000/svg';

function fill(node, attributes, children) {
  for (const [key, value] of Object.entries(attributes || {})) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith('on')) node.addEventListener(key.slice(2), value);
    else node.setAttribute(key, value === true ? '' : String(value));
  }
  for (const child of children.flat(Infinity)) {
    if (child !== null && child !== undefined && child !== false) {
      node.append(child instanceof Node ? child : document.createTextNode(String(child)));
    }
  }
  return node;
}

function element(tag, attributes, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

function drawn(tag, attributes, ...children) {
  return fill(document.createElementNS(svgSpace, tag), attributes, children);
}

function byId(id) {
  return document.getElementById(id);
}

function replaceAll(node, ...children) {
  node.replaceChildren(
    ...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false),
  );
}

function announce(words) {
  byId('announce').textContent = words;
}

function announceError(error) {
  const main = document.querySelector('main');
  main.prepend(
    element('p', { class: 'notice', role: 'alert' }, 'Part of this page could not be shown: ', error.message),
  );
}

// --- The runs -----------------------------------------------------------------------------------------------------------

const facts = JSON.parse(byId('facts').textContent);

// A review has the runs of all its cells, and the page tells one: that of `#cell-K`, else the worst that has a history.
const review = byId('review-data') ? JSON.parse(byId('review-data').textContent) : null;

function chosenCell() {
  const asked = /^#cell-(\d+)$/.exec(location.hash);
  if (asked !== null && review.cells[Number(asked[1])] && review.cells[Number(asked[1])].run) return Number(asked[1]);
  const left = (cell) => (cell.endless ? -Infinity : cell.margin === null ? Infinity : cell.margin);
  const told = review.cells.map((cell, at) => at).filter((at) => review.cells[at].run);
  return told.reduce((worst, at) => (left(review.cells[at]) < left(review.cells[worst]) ? at : worst));
}

const reviewCell = review === null ? -1 : chosenCell();
const runs = [];
for (let index = 0; index < (review === null ? facts.runs : 1); index++) {
  const place = review === null ? index : reviewCell;
  const run = JSON.parse(byId('run-' + place).textContent);
  run.index = index;
  run.place = place; // of its data on the page
  run.label = 'run ' + (index + 1);
  run.signalByName = new Map(run.signals.map((signal, at) => [signal.name, at]));
  run.measureByName = new Map(run.measures.map((measure) => [measure.name, measure]));
  run.parameterByName = new Map(run.parameters.map((parameter) => [parameter.name, parameter]));
  run.decoded = new Map();
  run.shift = 0; // s: how much later than its own clock the run is shown
  run.shifted = new Map();
  run.bytes = null;
  runs.push(run);
}
const wholeSpan = [Math.min(...runs.map((run) => run.start)), Math.max(...runs.map((run) => run.end))];
if (!(wholeSpan[1] > wholeSpan[0])) wholeSpan[1] = wholeSpan[0] + 1e-6;

function bytesOf(run) {
  if (run.bytes === null) {
    const holder = byId('curves-' + run.place);
    const binary = atob(holder.textContent);
    const bytes = new Uint8Array(binary.length);
    for (let i = 0; i < binary.length; i++) bytes[i] = binary.charCodeAt(i);
    run.bytes = bytes;
    holder.textContent = '';
  }
  return run.bytes;
}

// A curve: times (s) and values (SI) of the points that were kept; between them the line is straight.
function curveOf(run, name) {
  const at = run.signalByName.get(name);
  if (at === undefined) return null;
  if (!run.decoded.has(name)) {
    const { offset, points } = run.curves[at];
    const bytes = bytesOf(run);
    const view = new DataView(bytes.buffer, offset, 4 * points);
    const value = new Float64Array(points);
    const time = new Float64Array(points);
    for (let i = 0; i < points; i++) value[i] = view.getFloat32(4 * i, true);
    let next = offset + 4 * points;
    let ticks = 0;
    for (let i = 0; i < points; i++) {
      let step = 0;
      let place = 1;
      let byte;
      do {
        byte = bytes[next++];
        step += (byte & 127) * place;
        place *= 128;
      } while (byte >= 128);
      ticks += step;
      time[i] = run.start + ticks * run.tick;
    }
    run.decoded.set(name, { time, value, signal: run.signals[at] });
  }
  return run.decoded.get(name);
}

// The same on the clock of the page, where runs may be laid over each other.
function shownCurve(run, name) {
  const curve = curveOf(run, name);
  if (curve === null || run.shift === 0) return curve;
  if (!run.shifted.has(name)) run.shifted.set(name, { ...curve, time: curve.time.map((time) => time + run.shift) });
  return run.shifted.get(name);
}

// Index of the last point at or before `time`; -1 if there is none.
function indexAt(times, time) {
  let low = 0;
  let high = times.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle] <= time) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

function between(curve, index, time) {
  const { time: times, value } = curve;
  if (index < 0) return time >= times[0] - 1e-9 ? value[0] : NaN;
  if (index + 1 >= times.length) return time <= times[times.length - 1] + 1e-6 ? value[index] : NaN;
  const span = times[index + 1] - times[index];
  if (!(span > 0)) return value[index + 1];
  const share = (time - times[index]) / span;
  return value[index] + share * (value[index + 1] - value[index]);
}

function valueAt(curve, time) {
  return curve === null ? NaN : between(curve, indexAt(curve.time, time), time);
}

function signalAt(run, name, time) {
  return valueAt(curveOf(run, name), time);
}

function extremesIn(curve, from, to) {
  const found = { low: Infinity, high: -Infinity, lowTime: NaN, highTime: NaN };
  const take = (time, value) => {
    if (value < found.low) [found.low, found.lowTime] = [value, time];
    if (value > found.high) [found.high, found.highTime] = [value, time];
  };
  take(from, valueAt(curve, from));
  for (let i = indexAt(curve.time, from) + 1; i < curve.time.length && curve.time[i] <= to; i++) {
    take(curve.time[i], curve.value[i]);
  }
  take(to, valueAt(curve, to));
  return found;
}

function measureOf(run, name) {
  const measure = run.measureByName.get(name);
  return measure === undefined || measure.value === null ? NaN : measure.value;
}

function parameterOf(run, name) {
  const parameter = run.parameterByName.get(name);
  return parameter === undefined ? undefined : parameter.choice !== undefined ? parameter.choice : parameter.value;
}

// The signal whose extreme a measure is, or the name itself.
function signalBehind(run, name) {
  const bare = name.replace(/^(peak|lowest)_/, '').replace(/_(max|min)$/, '');
  return run.signalByName.has(name) ? name : run.signalByName.has(bare) ? bare : null;
}

// --- Units and numbers --------------------------------------------------------------------------------------------------

const unitRows = new Map(facts.units.map((row) => [row.si + '>' + row.trade, row]));
// SI with the prefix that fits this trade, so that numbers stay readable.
const siShown = {
  Pa: ['MPa', 1e6],
  'Pa/s': ['MPa/s', 1e6],
  J: ['kJ', 1e3],
  W: ['kW', 1e3],
  'm3/s': ['dm3/s', 1e-3],
  m3: ['dm3', 1e-3],
  'm3/rad': ['cm3/rad', 1e-6],
  'm2/s': ['mm2/s', 1e-6],
  N: ['kN', 1e3],
  'J/kg/K': ['kJ/kg/K', 1e3],
  'J/K': ['kJ/K', 1e3],
};
let shownUnits = 'trade';

function switchUnits() {
  shownUnits = shownUnits === 'si' ? 'trade' : 'si';
}

function prettyUnit(unit) {
  if (unit === '1' || !unit) return '';
  return unit
    .replace('degC', '°C')
    .replace(/\^0\.5/g, '^½')
    .replace(/(m|s)2/g, '$1²')
    .replace(/m3/g, 'm³')
    .replace(/ /g, '\u00a0');
}

// How numbers of this kind are shown now: shown = (SI - offset) / scale.
function unitOf(described) {
  const si = described.si || '1';
  const trade = described.trade || si;
  if (shownUnits === 'si') {
    const [unit, scale] = siShown[si] || [si, 1];
    return { unit: prettyUnit(unit), scale, offset: 0 };
  }
  const row = unitRows.get(si + '>' + trade);
  return row
    ? { unit: prettyUnit(trade), scale: row.scale, offset: row.offset }
    : { unit: prettyUnit(si), scale: 1, offset: 0 };
}

function toShown(described, value) {
  const unit = unitOf(described);
  return (value - unit.offset) / unit.scale;
}

const raised = { '-': '⁻', 0: '⁰', 1: '¹', 2: '²', 3: '³', 4: '⁴', 5: '⁵', 6: '⁶', 7: '⁷', 8: '⁸', 9: '⁹' };

function figures(value, digits = 4) {
  if (value === null || value === undefined || !Number.isFinite(value)) return '–';
  if (value === 0) return '0';
  const size = Math.abs(value);
  if (size >= 1e6 || size < 1e-4) {
    const [number, power] = value.toExponential(Math.max(0, digits - 1)).split('e');
    const places = String(Number(power))
      .split('')
      .map((letter) => raised[letter])
      .join('');
    return minus(String(Number(number))) + '·10' + places;
  }
  return minus(size >= 10 ** digits ? value.toFixed(0) : String(Number(value.toPrecision(digits))));
}

function minus(text) {
  return text.replace(/^-/, '−');
}

// A number with its unit, in words.
function shown(described, value, digits = 4) {
  if (value === null || value === undefined || !Number.isFinite(value)) return 'no value';
  const unit = unitOf(described);
  const trade = (value - unit.offset) / unit.scale;
  // what is left of something that has died away says nothing but nothing; a plain number may be small
  const number = figures(unit.unit && Math.abs(trade) < 1e-15 ? 0 : trade, digits);
  return unit.unit ? number + '\u00a0' + unit.unit : number;
}

// Digits that stay put while the cursor moves: as many decimals as the largest value leaves of four figures.
function steady(value, largest) {
  if (!Number.isFinite(value)) return '–';
  const decimals = largest > 0 ? Math.max(0, Math.min(5, 3 - Math.floor(Math.log10(largest)))) : 1;
  const text = value.toFixed(decimals);
  return minus(Number(text) === 0 ? text.replace('-', '') : text);
}

function timeDecimals(span = wholeSpan[1] - wholeSpan[0]) {
  return Math.max(3, Math.min(7, 2 - Math.floor(Math.log10(span / 30))));
}

function seconds(time, decimals = timeDecimals()) {
  return Number.isFinite(time) ? minus(time.toFixed(decimals)) + '\u00a0s' : '–';
}

// What to call a run: its title, and its file where titles are alike.
function runName(run) {
  const alike = runs.filter((one) => one.title === run.title).length > 1;
  return `${run.label}: ${run.title || run.file}${alike && run.title ? ` (${run.file})` : ''}`;
}

function percent(share, digits = 3) {
  return figures(100 * share, digits) + '\u00a0%';
}

function named(name) {
  return name.replace(/_/g, ' ');
}

// --- What the page shows now, and who wants to know -----------------------------------------------------------------------

const state = { cursor: wholeSpan[0], window: wholeSpan.slice(), run: 0, playing: false, speed: 1 };
const listeners = { cursor: [], window: [], units: [], theme: [], run: [] };

function onChange(what, listener) {
  listeners[what].push(listener);
}

function tell(what) {
  for (const listener of listeners[what]) listener();
}

function setCursor(time) {
  state.cursor = Math.min(Math.max(time, wholeSpan[0]), wholeSpan[1]);
  tell('cursor');
}

function setWindow(from, to) {
  const whole = wholeSpan[1] - wholeSpan[0];
  const span = Math.min(Math.max(to - from, whole * 1e-6, 1e-6), whole);
  let start = from + (to - from - span) / 2;
  start = Math.min(Math.max(start, wholeSpan[0]), wholeSpan[1] - span);
  state.window = [start, start + span];
  tell('window');
}

function zoomBy(factor, about = state.cursor) {
  const [from, to] = state.window;
  const centre = about >= from && about <= to ? about : (from + to) / 2;
  setWindow(centre - (centre - from) * factor, centre + (to - centre) * factor);
}

function panBy(share) {
  const shift = share * (state.window[1] - state.window[0]);
  setWindow(state.window[0] + shift, state.window[1] + shift);
}

// To a time, with some of its surroundings, if it is not already well in view.
function goTo(time) {
  const [from, to] = state.window;
  if (time < from || time > to) {
    const half = (to - from) / 2;
    setWindow(time - half, time + half);
  }
  setCursor(time);
}

// A time of a run among words: a click brings charts and circuit there, and into sight.
function timeButton(run, time) {
  const go = () => {
    byId('replay').scrollIntoView({
      behavior: matchMedia('(prefers-reduced-motion: reduce)').matches ? 'auto' : 'smooth',
    });
    goTo(time + run.shift);
  };
  return element('button', { type: 'button', class: 'time', onclick: go }, seconds(time));
}

// Lay the runs over each other: the shift of each, in s.
function shiftRuns(shiftOf) {
  for (const run of runs) {
    run.shift = shiftOf(run);
    run.shifted.clear();
  }
  wholeSpan[0] = Math.min(...runs.map((run) => run.start + run.shift));
  wholeSpan[1] = Math.max(...runs.map((run) => run.end + run.shift));
}

function selectRun(index) {
  state.run = index;
  tell('run');
}

function chosenRun() {
  return runs[state.run];
}

function themeColour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}
