'use strict';
// Time charts: grouped by quantity, all on one window of time and one cursor.

const runDashes = [
  [],
  [7, 4],
  [2, 3],
  [9, 3, 2, 3],
  [4, 2],
  [12, 4],
  [1, 4],
  [6, 2, 2, 2],
  [3, 6],
  [14, 3, 3, 3],
  [5, 5],
  [2, 2, 6, 2],
];
const charts = [];

function colourAt(index) {
  return themeColour('--curve-' + ((index % 6) + 1));
}

function dashSample(index) {
  return drawn(
    'svg',
    { viewBox: '0 0 28 8', class: 'dash', 'aria-hidden': 'true' },
    drawn('path', { d: 'M1 4H27', 'stroke-dasharray': runDashes[index % runDashes.length].join(' ') || null }),
  );
}

// --- One chart ------------------------------------------------------------------------------------------------------------

function isConstant(signal) {
  return (
    signal.low === null ||
    signal.high === null ||
    !(signal.high - signal.low > 1e-9 * Math.max(1e-9, Math.abs(signal.high)))
  );
}

function seriesOf(group) {
  return group.names.flatMap((name, at) =>
    runs
      .filter((run) => run.signalByName.has(name))
      .map((run) => {
        const signal = run.signals[run.signalByName.get(name)];
        return {
          name,
          run,
          signal,
          colour: at,
          label: shortName(name),
          on: !isConstant(signal),
          constant: isConstant(signal),
        };
      }),
  );
}

function limitLinesOf(chart) {
  const lines = [];
  for (const run of runs) {
    for (const limit of run.limits) {
      const name = signalBehind(run, limit.name);
      if (limit.level === null || !chart.series.some((one) => one.on && one.name === name && one.run === run)) continue;
      if (!lines.some((line) => line.level === limit.level && line.words === limit.sentence))
        lines.push({ level: limit.level, words: limit.sentence, broken: limit.result === 'broken', judged: !neverJudged(limit) });
    }
  }
  return lines;
}

function axisNumber(value, step) {
  const size = Math.max(Math.abs(value), step);
  if (size >= 1e5 || size < 1e-3) return figures(value, 3);
  let decimals = 0;
  while (decimals < 6 && Math.abs(step * 10 ** decimals - Math.round(step * 10 ** decimals)) > 1e-6) decimals++;
  return minus(value.toFixed(decimals));
}

function makeAxes(narrow) {
  const font = '11px ' + themeColour('--sans');
  const common = {
    font,
    stroke: () => themeColour('--faint'),
    grid: { stroke: () => themeColour('--grid'), width: 1 },
    ticks: { show: false },
  };
  return [
    {
      ...common,
      size: 22,
      space: 70,
      gap: 4,
      values: (plot, splits, axis, space, step) =>
        splits.map((split, at) => axisNumber(split, step) + (at === splits.length - 1 ? ' s' : '')),
    },
    {
      ...common,
      size: narrow ? 40 : 52,
      space: 28,
      gap: 4,
      values: (plot, splits, axis, space, step) => splits.map((split) => axisNumber(split, step)),
    },
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
    if (level > low - 1.5 * span && level < high + 1.5 * span)
      [low, high] = [Math.min(low, level), Math.max(high, level)];
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
    const time = event.time + chosenRun().shift;
    if (time < state.window[0] || time > state.window[1]) continue;
    const x = Math.round(plot.valToPos(time, 'x', true));
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
    const words_ = `${line.broken ? '✕' : line.judged ? '✓' : '○'} ${line.words}`;
    context.textAlign = 'left';
    const above = y - 15 * ratio > top;
    context.textBaseline = above ? 'bottom' : 'top';
    context.setLineDash([]);
    context.strokeStyle = themeColour('--paper');
    context.lineWidth = 3 * ratio;
    // Beside the words of a limit at nearly the same height, not over them.
    const x =
      left +
      taken.reduce(
        (place, other) => (Math.abs(other.y - y) < 13 * ratio ? Math.max(place, other.end + 14 * ratio) : place),
        6 * ratio,
      );
    taken.push({ y, end: x - left + context.measureText(words_).width });
    const height_ = above ? y - 2 * ratio : y + 3 * ratio;
    context.strokeText(words_, x, height_);
    context.fillText(words_, x, height_);
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
  const labels = chart.active
    .map((one, at) => {
      const values = chart.data[at + 1];
      let last = values.length - 1;
      while (last >= 0 && !Number.isFinite(values[last])) last--;
      return last < 0
        ? null
        : {
            words: one.label + (runs.length > 1 ? ' ' + (one.run.index + 1) : ''),
            y: plot.valToPos(values[last], 'y', true),
            colour: colourAt(one.colour),
          };
    })
    .filter((label) => label !== null)
    .sort((a, b) => a.y - b.y);
  const room = 12 * ratio;
  for (let i = 1; i < labels.length; i++) labels[i].y = Math.max(labels[i].y, labels[i - 1].y + room);
  for (let i = labels.length - 1, floor = top + height; i >= 0; i--, floor -= room)
    labels[i].y = Math.min(labels[i].y, floor);
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
  const series = [{}].concat(
    chart.active.map((one) => ({
      label: one.label,
      stroke: () => colourAt(one.colour),
      width: 1.5,
      dash: runDashes[one.run.index % runDashes.length],
      points: { show: false },
      pxAlign: 0,
      spanGaps: false,
    })),
  );
  return {
    width,
    height: chart.height,
    legend: { show: false },
    padding: [6, chart.narrow ? 12 : 78, 0, 0],
    axes: makeAxes(chart.narrow),
    series,
    scales: { x: { time: false, range: () => state.window }, y: { range: () => chart.range } },
    cursor: {
      x: false,
      y: false,
      points: { show: false },
      drag: { x: true, y: false, setScale: false },
      bind: {
        mousedown: (plot, target, handler) => (event) => (event.shiftKey || event.button !== 0 ? null : handler(event)),
        dblclick: () => () => setWindow(...wholeSpan),
      },
    },
    hooks: {
      draw: [
        (plot) => {
          drawMarks(chart, plot);
          drawNames(chart, plot);
        },
      ],
      setSelect: [
        (plot) => {
          const { left, width: span } = plot.select;
          if (span < 3) return;
          const window = [plot.posToVal(left, 'x'), plot.posToVal(left + span, 'x')];
          plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
          setWindow(...window);
        },
      ],
    },
  };
}

function refreshData(chart) {
  chart.active = chart.series.filter((one) => one.on);
  chart.limitLines = limitLinesOf(chart);
  const unit = unitOf(chart.described);
  const columns = Math.max(
    100,
    Math.round(chart.plot ? chart.plot.bbox.width / devicePixelRatioOf(chart.plot) : chart.holder.clientWidth),
  );
  const points = pointsFor(
    chart.active.map((one) => shownCurve(one.run, one.name)),
    state.window,
    columns,
  );
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
  for (const kind of ['pointerup', 'pointercancel'])
    over.addEventListener(kind, () => {
      pan = null;
    });
  over.addEventListener(
    'wheel',
    (event) => {
      if (!event.ctrlKey && Math.abs(event.deltaX) <= Math.abs(event.deltaY)) return;
      event.preventDefault();
      if (event.ctrlKey) zoomBy(Math.exp(event.deltaY / 300), timeAt(event));
      else panBy(event.deltaX / over.clientWidth);
    },
    { passive: false },
  );
}

function placeCursor(chart) {
  if (chart.plot !== null) {
    // From the window itself: the plot takes a new one over only at its next turn.
    const width = chart.plot.over.clientWidth;
    const x = (width * (state.cursor - state.window[0])) / (state.window[1] - state.window[0]);
    const inside = x >= -0.5 && x <= width + 0.5;
    chart.line.style.display = inside ? '' : 'none';
    if (inside) chart.line.style.transform = `translateX(${x.toFixed(1)}px)`;
  }
  const unit = unitOf(chart.described);
  for (const one of chart.series) {
    const largest = Math.max(
      Math.abs((one.signal.low - unit.offset) / unit.scale),
      Math.abs((one.signal.high - unit.offset) / unit.scale),
    );
    one.readout.textContent = steady(
      (valueAt(shownCurve(one.run, one.name), state.cursor) - unit.offset) / unit.scale,
      largest,
    );
  }
}

function legendOf(chart) {
  return chart.series.map((one) => {
    one.readout = element('span', { class: 'readout' });
    one.button = element(
      'button',
      {
        type: 'button',
        class: 'key',
        'aria-pressed': String(one.on),
        title: one.signal.text || named(one.name),
        onclick: () => {
          one.on = !one.on;
          one.button.setAttribute('aria-pressed', String(one.on));
          buildChart(chart);
        },
      },
      keySample(one),
      element('span', { class: 'key-name' }, one.label + (runs.length > 1 ? ' ' + (one.run.index + 1) : '')),
      one.readout,
    );
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
  const chart = {
    group,
    series,
    described: series[0].signal,
    height: group.tall ? 210 : 138,
    plot: null,
    stale: true,
    data: [[]],
    active: [],
    limitLines: [],
  };
  chart.unitLabel = element('span', { class: 'unit' });
  chart.holder = element('div', { class: 'plot', 'aria-hidden': 'true' });
  chart.figure = element(
    'figure',
    { class: group.tall ? 'chart tall' : 'chart' },
    element('figcaption', {}, element('span', { class: 'chart-title' }, group.title), chart.unitLabel),
    element('div', { class: 'keys' }, legendOf(chart)),
    chart.holder,
  );
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
  const [moving, still] = allGroups()
    .map(makeChart)
    .reduce(
      ([yes, no], chart) =>
        chart.series.every((one) => one.constant) ? [yes, no.concat(chart)] : [yes.concat(chart), no],
      [[], []],
    );
  charts.push(...moving);
  const unchanged = element('p', { class: 'hint unchanged' });
  replaceAll(
    byId('charts'),
    charts.map((chart) => chart.figure),
    unchanged,
  );
  const tellStill = () => {
    const said = still
      .flatMap((chart) => chart.series.filter((one) => one.run === runs[0]))
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
