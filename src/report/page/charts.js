'use strict';
// Time charts: grouped by quantity, all on one window of time, one cursor, every visible point or every peak.

const shortNames = {
  line_a_pressure: 'line A', line_b_pressure: 'line B', charge_pressure: 'charge', low_side_pressure: 'low side',
  line_pressure_difference: 'A over B', pump_stroke: 'pump stroke', stroke_command: 'command', motor_displacement: 'motor',
  motor_override: 'override', pump_flow: 'pump', motor_flow: 'motor', relief_a_flow: 'relief A', relief_b_flow: 'relief B',
  relief_a_lift: 'relief A', relief_b_lift: 'relief B', check_a_flow: 'make-up A', check_b_flow: 'make-up B', charge_flow: 'charge pump',
  charge_relief_flow: 'charge relief', flush_flow: 'flushing', case_flow: 'case', engine_speed: 'engine', motor_speed: 'motor',
  wheel_speed: 'wheels', vehicle_speed: 'machine', vehicle_distance: 'distance', vehicle_acceleration: 'acceleration',
  engine_torque: 'engine', pump_torque: 'pump', motor_torque: 'motor', brake_torque: 'brake', traction_force: 'traction',
  fuel_fraction: 'fuel', exhaust_brake: 'exhaust brake', wheel_slip: 'slip', loop_oil_temperature: 'loop oil',
  tank_oil_temperature: 'tank oil', loop_metal_temperature: 'loop metal', case_temperature: 'case', park_brake: 'park brake', relief_a_poppet: 'poppet A',
  relief_b_poppet: 'poppet B', filter_drop: 'filter', filter_bypass: 'bypass', hose_flow: 'lost', drawbar_force: 'drawbar', rear_axle_load: 'rear',
  front_axle_load: 'front', front_wheel_speed: 'front wheels', front_wheel_slip: 'front slip', front_traction_force: 'front', second_motor_speed: 'motor 2',
  second_motor_displacement: 'motor 2', second_motor_flow: 'motor 2', oil_viscosity: 'viscosity', loop_heat: 'loop heat', tank_oil: 'tank oil', limiter_a: 'limiter A', limiter_b: 'limiter B',
};

const chartGroups = [
  { title: 'Main line pressures', names: ['line_a_pressure', 'line_b_pressure'], tall: true },
  { title: 'Charge and low side', names: ['charge_pressure', 'low_side_pressure'] },
  { title: 'Machine speed', names: ['vehicle_speed'] },
  { title: 'Pedals', names: ['pedal', 'brake', 'park_brake', 'exhaust_brake', 'fuel_fraction'] },
  { title: 'Pump stroke and motor displacement', names: ['stroke_command', 'pump_stroke', 'motor_displacement', 'second_motor_displacement', 'motor_override', 'limiter_a', 'limiter_b'] },
  { title: 'Shaft speeds', names: ['engine_speed', 'motor_speed', 'second_motor_speed'] },
  { title: 'Wheel speeds', names: ['wheel_speed', 'front_wheel_speed'] },
  { title: 'Main flows', names: ['pump_flow', 'motor_flow', 'second_motor_flow', 'relief_a_flow', 'relief_b_flow', 'hose_flow'] },
  { title: 'Charge and case flows', names: ['charge_flow', 'check_a_flow', 'check_b_flow', 'charge_relief_flow', 'flush_flow', 'case_flow'] },
  { title: 'Torques', names: ['engine_torque', 'pump_torque', 'motor_torque'] },
  { title: 'Grade and slip', names: ['grade', 'wheel_slip', 'front_wheel_slip'] },
  { title: 'Traction and pull', names: ['traction_force', 'front_traction_force', 'drawbar_force'] },
  { title: 'Axle loads', names: ['rear_axle_load', 'front_axle_load'] },
  { title: 'Brake torque at the wheels', names: ['brake_torque'] },
  { title: 'Heat made in the loop', names: ['loop_heat'] },
  { title: 'Oil temperatures', names: ['loop_oil_temperature', 'tank_oil_temperature', 'loop_metal_temperature', 'case_temperature'] },
  { title: 'Relief valves above cracking', names: ['relief_a_lift', 'relief_b_lift'] },
  { title: 'Relief poppets', names: ['relief_a_poppet', 'relief_b_poppet'] },
  { title: 'Charge filter, drop', names: ['filter_drop'] },
  { title: 'Charge filter, by-passed', names: ['filter_bypass'] },
  { title: 'Distance', names: ['vehicle_distance'] },
];

const runDashes = [[], [7, 4], [2, 3], [9, 3, 2, 3], [4, 2], [12, 4], [1, 4], [6, 2, 2, 2], [3, 6], [14, 3, 3, 3], [5, 5], [2, 2, 6, 2]];
const charts = [];

function colourAt(index) {
  return themeColour('--curve-' + ((index % 6) + 1));
}

function shortName(name) {
  return shortNames[name] || named(name);
}

function dashSample(index) {
  return drawn('svg', { viewBox: '0 0 28 8', class: 'dash', 'aria-hidden': 'true' },
    drawn('path', { d: 'M1 4H27', 'stroke-dasharray': runDashes[index % runDashes.length].join(' ') || null }));
}

// What the groups do not name, by unit.
function allGroups() {
  const first = runs[0];
  const everyName = [...new Set(runs.flatMap((run) => run.signals.map((signal) => signal.name)))];
  const taken = new Set(chartGroups.flatMap((group) => group.names));
  const groups = chartGroups.map((group) => ({ ...group, names: group.names.filter((name) => everyName.includes(name)) })).filter((group) => group.names.length > 0);
  const byUnit = new Map();
  for (const name of everyName.filter((one) => !taken.has(one))) {
    const signal = (runs.find((run) => run.signalByName.has(name)) || first).signals.find((row) => row.name === name);
    const unit = (signal.si || '1') + '>' + (signal.trade || '') + (signal.reference || '');
    if (!byUnit.has(unit)) byUnit.set(unit, []);
    byUnit.get(unit).push(name);
  }
  for (const names of byUnit.values()) {
    for (let at = 0; at < names.length; at += 6) {
      const part = names.slice(at, at + 6);
      groups.push({ title: part.length === 1 ? titleOf(part[0]) : 'Also: ' + part.map(shortName).join(', '), names: part });
    }
  }
  return groups;
}

function titleOf(name) {
  const run = runs.find((one) => one.signalByName.has(name));
  const text = run.signals[run.signalByName.get(name)].text || named(name);
  return text.charAt(0).toUpperCase() + text.slice(1);
}

// The same as indexAt, from a place shortly before.
function indexFrom(curve, index, time) {
  while (index + 1 < curve.time.length && curve.time[index + 1] <= time) index++;
  return index;
}

// --- Points for one window: every one of them if there is room, else lowest and highest of every pixel column ------------------

function inView(curve, [from, to]) {
  const first = Math.max(0, indexAt(curve.time, from));
  const last = Math.min(curve.time.length - 1, indexAt(curve.time, to) + 1);
  return [first, last];
}

function everyPoint(curves, window) {
  let count = 2;
  const views = curves.map((curve) => inView(curve, window));
  for (const [first, last] of views) count += last - first + 1;
  const times = new Float64Array(count);
  let at = 0;
  times[at++] = window[0];
  times[at++] = window[1];
  curves.forEach((curve, index) => {
    for (let i = views[index][0]; i <= views[index][1]; i++) {
      if (curve.time[i] > window[0] && curve.time[i] < window[1]) times[at++] = curve.time[i];
    }
  });
  const sorted = times.subarray(0, at).sort();
  const unique = [];
  for (let i = 0; i < sorted.length; i++) if (i === 0 || sorted[i] > sorted[i - 1]) unique.push(sorted[i]);
  const values = curves.map((curve) => {
    let index = indexAt(curve.time, window[0]);
    return unique.map((time) => {
      index = indexFrom(curve, index, time);
      return between(curve, index, time);
    });
  });
  return [unique, ...values];
}

// A column in which a curve only rises or only falls has its peaks at its edges: there the curve itself is drawn.
function everyPeak(curves, [from, to], columns) {
  const step = (to - from) / columns;
  const times = new Array(2 * columns);
  for (let c = 0; c < columns; c++) {
    times[2 * c] = from + c * step;
    times[2 * c + 1] = from + (c + 0.5) * step;
  }
  const values = curves.map((curve) => {
    const result = new Array(2 * columns);
    let index = indexAt(curve.time, from);
    let edge = between(curve, index, from);
    for (let c = 0; c < columns; c++) {
      const end = from + (c + 1) * step;
      const entry = edge;
      const middle = between(curve, indexFrom(curve, index, times[2 * c + 1]), times[2 * c + 1]);
      let low = edge;
      let high = edge;
      let lowFirst = true;
      while (index + 1 < curve.time.length && curve.time[index + 1] <= end) {
        const value = curve.value[++index];
        if (value < low || Number.isNaN(low)) [low, lowFirst] = [value, false];
        if (value > high || Number.isNaN(high)) [high, lowFirst] = [value, true];
      }
      edge = between(curve, index, end);
      if (edge < low || Number.isNaN(low)) [low, lowFirst] = [edge, false];
      if (edge > high || Number.isNaN(high)) [high, lowFirst] = [edge, true];
      const plain = low === Math.min(entry, edge) && high === Math.max(entry, edge);
      result[2 * c] = plain ? entry : lowFirst ? low : high;
      result[2 * c + 1] = plain ? middle : lowFirst ? high : low;
    }
    return result;
  });
  return [times, ...values];
}

function pointsFor(curves, window, columns) {
  if (curves.length === 0) return [[window[0], window[1]]];
  const count = curves.reduce((sum, curve) => {
    const [first, last] = inView(curve, window);
    return sum + last - first + 1;
  }, 0);
  return count <= 4 * columns ? everyPoint(curves, window) : everyPeak(curves, window, columns);
}

// --- One chart ------------------------------------------------------------------------------------------------------------

function isConstant(signal) {
  return signal.low === null || signal.high === null || !(signal.high - signal.low > 1e-9 * Math.max(1e-9, Math.abs(signal.high)));
}

function seriesOf(group) {
  return group.names.flatMap((name, at) => runs.filter((run) => run.signalByName.has(name)).map((run) => {
    const signal = run.signals[run.signalByName.get(name)];
    return { name, run, signal, colour: at, label: shortName(name), on: !isConstant(signal), constant: isConstant(signal) };
  }));
}

function limitLinesOf(chart) {
  const lines = [];
  for (const run of runs) {
    for (const limit of run.limits) {
      const name = signalBehind(run, limit.name);
      if (limit.level === null || !chart.series.some((one) => one.on && one.name === name && one.run === run)) continue;
      if (!lines.some((line) => line.level === limit.level && line.words === limit.sentence)) lines.push({ level: limit.level, words: limit.sentence, broken: limit.result === 'broken' });
    }
  }
  return lines;
}

function axisNumber(value, step) {
  const size = Math.max(Math.abs(value), step);
  if (size >= 1e5 || size < 1e-3) return figures(value, 3);
  return minus(value.toFixed(Math.max(0, Math.min(6, -Math.floor(Math.log10(step) + 1e-9)))));
}

function makeAxes(narrow) {
  const font = '11px ' + themeColour('--sans');
  const common = { font, stroke: () => themeColour('--faint'), grid: { stroke: () => themeColour('--grid'), width: 1 }, ticks: { show: false } };
  return [
    { ...common, size: 22, space: 70, gap: 4, values: (plot, splits, axis, space, step) => splits.map((split, at) => axisNumber(split, step) + (at === splits.length - 1 ? ' s' : '')) },
    { ...common, size: narrow ? 40 : 52, space: 28, gap: 4, values: (plot, splits, axis, space, step) => splits.map((split) => axisNumber(split, step)) },
  ];
}

// Range of what is on show; zero belongs to it when it is near.
function rangeOf(chart) {
  let low = Infinity;
  let high = -Infinity;
  for (let s = 1; s < chart.data.length; s++) {
    for (const value of chart.data[s]) {
      if (value < low) low = value;
      if (value > high) high = value;
    }
  }
  for (const line of chart.limitLines) {
    const level = toShown(chart.described, line.level);
    const span = Math.max(high - low, Math.abs(high) * 0.1);
    if (level > low - 1.5 * span && level < high + 1.5 * span) [low, high] = [Math.min(low, level), Math.max(high, level)];
  }
  if (!(high >= low)) return [0, 1];
  const span = high - low || Math.abs(high) * 0.1 || 1;
  const padded = [low - 0.07 * span, high + 0.1 * span];
  if (low >= 0 && low < 0.4 * high) padded[0] = -0.02 * high;
  if (high <= 0 && high > 0.4 * low) padded[1] = -0.02 * low;
  return padded;
}

function drawMarks(chart, plot) {
  const context = plot.ctx;
  const { left, top, width, height } = plot.bbox;
  const ratio = devicePixelRatioOf(plot);
  context.save();
  context.beginPath();
  context.rect(left, top, width, height);
  context.clip();
  context.lineWidth = ratio;
  context.strokeStyle = themeColour('--event');
  for (const event of chosenRun().events) {
    if (event.time < state.window[0] || event.time > state.window[1]) continue;
    const x = Math.round(plot.valToPos(event.time, 'x', true));
    context.setLineDash([ratio, 3 * ratio]);
    context.beginPath();
    context.moveTo(x, top);
    context.lineTo(x, top + height);
    context.stroke();
  }
  context.font = `${11 * ratio}px ${themeColour('--sans')}`;
  const taken = [];
  for (const line of chart.limitLines) {
    const y = Math.round(plot.valToPos(toShown(chart.described, line.level), 'y', true));
    context.setLineDash([8 * ratio, 3 * ratio]);
    context.lineWidth = 1.5 * ratio;
    context.strokeStyle = context.fillStyle = themeColour(line.broken ? '--broken' : '--limit');
    context.beginPath();
    context.moveTo(left, y);
    context.lineTo(left + width, y);
    context.stroke();
    const words_ = `${line.broken ? '✕' : '✓'} ${line.words}`;
    context.textAlign = 'left';
    context.textBaseline = 'bottom';
    context.setLineDash([]);
    context.strokeStyle = themeColour('--paper');
    context.lineWidth = 3 * ratio;
    // Beside the words of a limit at nearly the same height, not over them.
    const x = left + taken.reduce((place, other) => (Math.abs(other.y - y) < 13 * ratio ? Math.max(place, other.end + 14 * ratio) : place), 6 * ratio);
    taken.push({ y, end: x - left + context.measureText(words_).width });
    context.strokeText(words_, x, y - 2 * ratio);
    context.fillText(words_, x, y - 2 * ratio);
  }
  context.restore();
}

function devicePixelRatioOf(plot) {
  return plot.ctx.canvas.width / plot.width;
}

// The name of each curve at its right end, moved apart where they would overprint.
function drawNames(chart, plot) {
  const ratio = devicePixelRatioOf(plot);
  const { left, top, width, height } = plot.bbox;
  const context = plot.ctx;
  const labels = chart.active.map((one, at) => {
    const values = chart.data[at + 1];
    let last = values.length - 1;
    while (last >= 0 && !Number.isFinite(values[last])) last--;
    return last < 0 ? null : { words: one.label + (runs.length > 1 ? ' ' + (one.run.index + 1) : ''), y: plot.valToPos(values[last], 'y', true), colour: colourAt(one.colour) };
  }).filter((label) => label !== null).sort((a, b) => a.y - b.y);
  const room = 12 * ratio;
  for (let i = 1; i < labels.length; i++) labels[i].y = Math.max(labels[i].y, labels[i - 1].y + room);
  for (let i = labels.length - 1, floor = top + height; i >= 0; i--, floor -= room) labels[i].y = Math.min(labels[i].y, floor);
  context.save();
  context.font = `${11 * ratio}px ${themeColour('--sans')}`;
  context.textBaseline = 'middle';
  context.textAlign = chart.narrow ? 'right' : 'left';
  for (const label of labels) {
    const x = left + width + (chart.narrow ? -3 : 5) * ratio;
    if (chart.narrow) label.y = Math.max(top + 6 * ratio, label.y - 8 * ratio);
    if (chart.narrow) {
      context.lineWidth = 3 * ratio;
      context.strokeStyle = themeColour('--paper');
      context.strokeText(label.words, x, label.y);
    }
    context.fillStyle = label.colour;
    context.fillText(label.words, x, label.y);
  }
  context.restore();
}

function plotOptions(chart, width) {
  const series = [{}].concat(chart.active.map((one) => ({
    label: one.label, stroke: () => colourAt(one.colour), width: 1.5, dash: runDashes[one.run.index % runDashes.length], points: { show: false }, pxAlign: 0,
    spanGaps: false,
  })));
  return {
    width, height: chart.height, legend: { show: false }, padding: [6, chart.narrow ? 6 : 78, 0, 0], axes: makeAxes(chart.narrow), series,
    scales: { x: { time: false, range: () => state.window }, y: { range: () => chart.range } },
    cursor: {
      x: false, y: false, points: { show: false }, drag: { x: true, y: false, setScale: false },
      bind: { mousedown: (plot, target, handler) => (event) => (event.shiftKey || event.button !== 0 ? null : handler(event)), dblclick: () => () => setWindow(...wholeSpan) },
    },
    hooks: {
      draw: [(plot) => { drawMarks(chart, plot); drawNames(chart, plot); }],
      setSelect: [(plot) => {
        const { left, width: span } = plot.select;
        if (span < 3) return;
        const window = [plot.posToVal(left, 'x'), plot.posToVal(left + span, 'x')];
        plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
        setWindow(...window);
      }],
    },
  };
}

function refreshData(chart) {
  chart.active = chart.series.filter((one) => one.on);
  chart.limitLines = limitLinesOf(chart);
  const unit = unitOf(chart.described);
  const columns = Math.max(100, Math.round((chart.plot ? chart.plot.bbox.width / devicePixelRatioOf(chart.plot) : chart.holder.clientWidth)));
  const points = pointsFor(chart.active.map((one) => curveOf(one.run, one.name)), state.window, columns);
  for (let s = 1; s < points.length; s++) {
    points[s] = points[s].map((value) => (Number.isFinite(value) ? (value - unit.offset) / unit.scale : null));
  }
  chart.data = points;
  chart.range = rangeOf(chart);
}

// Built anew: which curves are on, the width or the theme has changed.
function buildChart(chart) {
  const width = chart.fixedWidth || chart.holder.clientWidth || 600;
  chart.narrow = width < 480;
  if (chart.plot) chart.plot.destroy();
  chart.plot = null;
  refreshData(chart);
  chart.holder.replaceChildren();
  chart.holder.hidden = chart.active.length === 0;
  chart.stale = false;
  if (chart.active.length === 0) return;
  chart.plot = new uPlot(plotOptions(chart, width), chart.data, chart.holder);
  chart.line = element('div', { class: 'cursor-line' });
  chart.plot.over.append(chart.line);
  bindPointer(chart);
  placeCursor(chart);
}

function redrawChart(chart) {
  if (chart.plot === null) return;
  refreshData(chart);
  chart.plot.setData(chart.data, true);
  chart.stale = false;
  placeCursor(chart);
}

function bindPointer(chart) {
  const over = chart.plot.over;
  let pan = null;
  const timeAt = (event) => chart.plot.posToVal(event.clientX - over.getBoundingClientRect().left, 'x');
  over.addEventListener('pointermove', (event) => {
    if (pan !== null) {
      const scale = (pan.window[1] - pan.window[0]) / over.clientWidth;
      const shift = (pan.x - event.clientX) * scale;
      setWindow(pan.window[0] + shift, pan.window[1] + shift);
    } else if (!state.playing) {
      setCursor(timeAt(event));
    }
  });
  over.addEventListener('pointerdown', (event) => {
    if (event.shiftKey) {
      pan = { x: event.clientX, window: state.window.slice() };
      over.setPointerCapture(event.pointerId);
    } else {
      setCursor(timeAt(event));
    }
  });
  for (const kind of ['pointerup', 'pointercancel']) over.addEventListener(kind, () => { pan = null; });
  over.addEventListener('wheel', (event) => {
    if (!event.ctrlKey && Math.abs(event.deltaX) <= Math.abs(event.deltaY)) return;
    event.preventDefault();
    if (event.ctrlKey) zoomBy(Math.exp(event.deltaY / 300), timeAt(event));
    else panBy(event.deltaX / over.clientWidth);
  }, { passive: false });
}

function placeCursor(chart) {
  if (chart.plot !== null) {
    // From the window itself: the plot takes a new one over only at its next turn.
    const width = chart.plot.over.clientWidth;
    const x = width * (state.cursor - state.window[0]) / (state.window[1] - state.window[0]);
    const inside = x >= -0.5 && x <= width + 0.5;
    chart.line.style.display = inside ? '' : 'none';
    if (inside) chart.line.style.transform = `translateX(${x.toFixed(1)}px)`;
  }
  const unit = unitOf(chart.described);
  for (const one of chart.series) {
    const largest = Math.max(Math.abs((one.signal.low - unit.offset) / unit.scale), Math.abs((one.signal.high - unit.offset) / unit.scale));
    one.readout.textContent = steady((valueAt(curveOf(one.run, one.name), state.cursor) - unit.offset) / unit.scale, largest);
  }
}

function legendOf(chart) {
  return chart.series.map((one) => {
    one.readout = element('span', { class: 'readout' });
    one.button = element('button', {
      type: 'button', class: 'key', 'aria-pressed': String(one.on), title: one.signal.text || named(one.name),
      onclick: () => {
        one.on = !one.on;
        one.button.setAttribute('aria-pressed', String(one.on));
        buildChart(chart);
      },
    }, keySample(one), element('span', { class: 'key-name' }, one.label + (runs.length > 1 ? ' ' + (one.run.index + 1) : '')), one.readout);
    return one.button;
  });
}

function keySample(one) {
  const sample = dashSample(one.run.index);
  sample.firstChild.setAttribute('class', 'curve-' + ((one.colour % 6) + 1));
  return sample;
}

function makeChart(group) {
  const series = seriesOf(group);
  const chart = { group, series, described: series[0].signal, height: group.tall ? 210 : 138, plot: null, stale: true, data: [[]], active: [], limitLines: [] };
  chart.unitLabel = element('span', { class: 'unit' });
  chart.holder = element('div', { class: 'plot', 'aria-hidden': 'true' });
  chart.figure = element('figure', { class: group.tall ? 'chart tall' : 'chart' },
    element('figcaption', {}, element('span', { class: 'chart-title' }, group.title), chart.unitLabel),
    element('div', { class: 'keys' }, legendOf(chart)), chart.holder);
  return chart;
}

function labelUnits() {
  for (const chart of charts) {
    const unit = unitOf(chart.described).unit;
    chart.unitLabel.textContent = (unit ? ` ${unit}` : '') + (chart.described.reference === 'gauge' ? ' gauge' : '');
  }
}

function isInSight(chart) {
  const box = chart.figure.getBoundingClientRect();
  return box.bottom > 0 && box.top < innerHeight;
}

// Charts in sight at the next frame, the others when they come into sight.
let frameWanted = 0;
function redrawCharts() {
  for (const chart of charts) chart.stale = true;
  if (frameWanted === 0) {
    frameWanted = requestAnimationFrame(() => {
      frameWanted = 0;
      for (const chart of charts) if (chart.stale && isInSight(chart)) redrawChart(chart);
    });
  }
}

function rebuildCharts() {
  labelUnits();
  for (const chart of charts) buildChart(chart);
}

function showCharts() {
  const [moving, still] = allGroups().map(makeChart).reduce(([yes, no], chart) =>
    (chart.series.every((one) => one.constant) ? [yes, no.concat(chart)] : [yes.concat(chart), no]), [[], []]);
  charts.push(...moving);
  const unchanged = element('p', { class: 'hint unchanged' });
  replaceAll(byId('charts'), charts.map((chart) => chart.figure), unchanged);
  const tellStill = () => {
    const said = still.flatMap((chart) => chart.series.filter((one) => one.run === runs[0]))
      .map((one) => `${one.signal.text || named(one.name)} ${shown(one.signal, one.signal.low)}`);
    unchanged.textContent = said.length > 0 ? `Unchanged all through: ${said.join('; ')}.` : '';
  };
  tellStill();
  onChange('units', tellStill);
  rebuildCharts();
  const watcher = new IntersectionObserver((entries) => {
    for (const entry of entries) {
      const chart = charts.find((one) => one.figure === entry.target);
      if (entry.isIntersecting && chart.stale) redrawChart(chart);
    }
  });
  for (const chart of charts) watcher.observe(chart.figure);
  onChange('cursor', () => charts.forEach(placeCursor));
  onChange('window', redrawCharts);
  onChange('units', rebuildCharts);
  onChange('theme', rebuildCharts);
  onChange('run', redrawCharts);
  let width = byId('charts').clientWidth;
  new ResizeObserver(() => {
    const now = byId('charts').clientWidth;
    if (now === width || document.body.classList.contains('printing')) return;
    width = now;
    rebuildCharts();
  }).observe(byId('charts'));
}
