'use strict';
// What matters most, how a measure goes with one parameter, and every case as a point.

// --- Ranking --------------------------------------------------------------------------------------------------------------

function influenceBar(influence) {
  const width = 240;
  const middle = width / 2;
  const rho = influence.rho;
  const end = Number.isFinite(rho) ? middle + (middle - 4) * rho : middle;
  return drawn(
    'svg',
    { viewBox: `0 0 ${width} 18`, width, height: 18, class: 'influence', 'aria-hidden': 'true' },
    drawn('path', { d: `M4 9H${width - 4}`, class: 'zero' }),
    drawn('rect', {
      x: Math.min(end, middle),
      y: 4,
      width: Math.abs(end - middle),
      height: 10,
      class: rho < 0 ? 'down' : 'up',
    }),
    drawn('path', { d: `M${middle} 0V18`, class: 'middle' }),
  );
}

function influenceWords(influence) {
  const { rho, parameter } = influence;
  if (parameter.kind === 'text') return 'names have no order';
  if (!Number.isFinite(rho)) return 'does not vary together with anything';
  if (Math.abs(rho) < 0.1) return Math.sqrt(influence.share || 0) > 0.3 ? 'bends: up and down' : 'hardly any';
  return rho > 0 ? 'more of it gives more' : 'more of it gives less';
}

// Sobol's indices where the study is a Saltelli design.
function indexTable() {
  const rows = indicesOf(show.plotted);
  if (rows.length === 0) return null;
  const interval = (row, name) =>
    row[name] === null
      ? '–'
      : `${minus(row[name].toFixed(2))} (${minus(row[name + '_low'].toFixed(2))} to ${minus(row[name + '_high'].toFixed(2))})`;
  return table(
    [
      { text: 'parameter' },
      { text: 'first order (95 %)', number: true },
      { text: 'total (95 %)', number: true },
      { text: 'groups', number: true },
    ],
    rows.map((row) =>
      element(
        'tr',
        {},
        rowHead(columnByName.get(row.input)?.label || row.input),
        cell(interval(row, 'first'), 'number'),
        cell(interval(row, 'total'), 'number'),
        cell(String(row.groups), 'number'),
      ),
    ),
    { class: 'ranking indices', 'aria-label': 'Sobol’s indices: share of the variance by this input alone, and with all others' },
  );
}

function showRanking() {
  const view = byId('ranking-view');
  const ranked = rankedInfluences(show.plotted);
  const count = ranked.length > 0 ? ranked[0].count : 0;
  replaceAll(
    view,
    element(
      'figcaption',
      {},
      element('span', { class: 'chart-title' }, 'What matters most: '),
      plottedName(show.plotted),
    ),
    table(
      [
        { text: 'parameter' },
        { text: 'Spearman’s rank correlation' },
        { text: '', number: true },
        { text: 'share of variance of ranks', number: true },
        { text: '' },
      ],
      ranked.map((influence) =>
        element(
          'tr',
          {},
          rowHead(influence.parameter.label),
          cell(influenceBar(influence)),
          cell(Number.isFinite(influence.rho) ? minus(influence.rho.toFixed(2)) : '–', 'number'),
          cell(Number.isFinite(influence.share) ? percent(influence.share, 2) : '–', 'number'),
          cell(influenceWords(influence), 'hint'),
        ),
      ),
      { class: 'ranking', 'aria-label': 'Influence of the parameters, strongest first' },
    ),
    indexTable(),
    element(
      'p',
      { class: 'hint view-hint' },
      `Over ${count} cases that have a value. Spearman’s correlation runs from −1 to 1 and sees what only rises or only falls; the share of the variance of the ranks that one parameter explains by itself sees bends too.`,
    ),
  );
}

// --- Curves of one parameter ----------------------------------------------------------------------------------------------

const curveShares = [0.05, 0.25, 0.5, 0.75, 0.95];

function percentilesOver(column) {
  const steps = levelsOf(column);
  const groups = Array.from({ length: steps.count }, () => []);
  const [x, y] = [cellsOf(column), cellsOf(show.plotted)];
  for (const row of everyRow) {
    if (Number.isFinite(x[row]) && Number.isFinite(y[row])) groups[steps.placeOf(x[row])].push(y[row]);
  }
  return groups
    .map((values, at) => {
      const sorted = sortedNumbers(values);
      const mean = sorted.reduce((sum, value) => sum + value, 0) / sorted.length;
      return {
        x: steps.centres[at],
        count: sorted.length,
        odds: show.plotted.role === 'share' ? regionOf(0, [column, at]) : null,
        marks: show.plotted.role === 'share' ? [mean] : curveShares.map((share) => quantile(sorted, share)),
      };
    })
    .filter((one) => one.count > 0);
}

function band(frame, points, low, high, kind) {
  if (points.length === 1 || points[0].marks.length === 1) return null;
  const there = points.map((p) => `${frame.xAt(p.x).toFixed(1)} ${frame.yAt(p.marks[high]).toFixed(1)}`);
  const back = points.map((p) => `${frame.xAt(p.x).toFixed(1)} ${frame.yAt(p.marks[low]).toFixed(1)}`).reverse();
  return drawn('path', { d: `M${there.concat(back).join('L')}Z`, class: kind });
}

// The interval of 95 % of a probability.
function oddsBar(frame, { x, odds }) {
  if (odds === null || odds.low === null) return null;
  return drawn('path', { d: `M${frame.xAt(x)} ${frame.yAt(odds.low)}V${frame.yAt(odds.high)}`, class: 'whisker' });
}

function boxMarks(frame, point) {
  if (point.marks.length === 1) return null;
  const x = frame.xAt(point.x);
  const [p5, p25, , p75, p95] = point.marks.map((value) => frame.yAt(value));
  return [
    drawn('path', { d: `M${x} ${p5}V${p95}`, class: 'whisker' }),
    drawn('rect', { x: x - 9, y: p75, width: 18, height: Math.max(1, p25 - p75), class: 'band-inner' }),
  ];
}

function limitLine(frame, low, high) {
  const { level, role } = show.plotted;
  if (role !== 'worst' || !(level >= low && level <= high)) return null;
  const y = frame.yAt(level);
  return [
    drawn('path', { d: `M${frame.inner.left} ${y}h${frame.inner.width}`, class: 'contour limit' }),
    drawn(
      'text',
      { x: frame.inner.left + frame.inner.width - 4, y: y - 4, 'text-anchor': 'end', class: 'contour limit' },
      `limit ${shown(show.plotted, level, 5)}`,
    ),
  ];
}

// Room above and below; a limit that is near comes into sight.
function rangeWithLimit(values) {
  if (show.plotted.role === 'share') return [0, 1];
  let [low, high] = [Math.min(...values), Math.max(...values)];
  const span = high - low || Math.abs(high) * 0.1 || 1;
  const { level, role } = show.plotted;
  if (role === 'worst' && level > low - 0.6 * span && level < high + 0.6 * span) {
    [low, high] = [Math.min(low, level), Math.max(high, level)];
  }
  return [low - 0.05 * span, high + 0.05 * span];
}

function trendWords(column, points) {
  const at = (point) => `${column.kind === 'text' ? levelsOf(column).names[point.x] : shown(column, point.x, 3)}`;
  const middle = (point) => shown(show.plotted, point.marks[Math.floor(point.marks.length / 2)]);
  const [first, last] = [points[0], points[points.length - 1]];
  return `${plottedName(show.plotted)} over ${column.label}: ${middle(first)} at ${at(first)}, ${middle(last)} at ${at(last)}`;
}

function showCurves() {
  const view = byId('curves-view');
  const ranked = rankedInfluences(show.plotted).slice(0, 6);
  const sets = ranked
    .map(({ parameter }) => ({ parameter, points: percentilesOver(parameter) }))
    .filter((set) => set.points.length > 0);
  const values = sets.flatMap((set) => set.points.flatMap((point) => point.marks));
  const isShare = show.plotted.role === 'share';
  const grid = element('div', { class: 'small-frames' });
  replaceAll(
    view,
    element(
      'figcaption',
      {},
      element('span', { class: 'chart-title' }, 'One parameter at a time: '),
      titleWithUnit(show.plotted),
      isShare
        ? null
        : [
            element('span', { class: 'hold-key' }, element('span', { class: 'line-sample', 'aria-hidden': 'true' }), 'median'),
            element('span', { class: 'hold-key' }, element('span', { class: 'band-sample inner', 'aria-hidden': 'true' }), '25 to 75 %'),
            element('span', { class: 'hold-key' }, element('span', { class: 'band-sample outer', 'aria-hidden': 'true' }), '5 to 95 % of the cases'),
          ],
    ),
    grid,
  );
  if (sets.length === 0) return;
  const whole_ = widthOf('curves-view');
  const across = whole_ > 560 && sets.length > 1 ? 2 : 1;
  const [low, high] = rangeWithLimit(values);
  for (const { parameter, points } of sets) {
    const steps = levelsOf(parameter);
    const holder = element('div', { class: 'small-frame' });
    grid.append(holder);
    const frame = makeFrame(holder, {
      width: Math.floor((whole_ - 16 * (across - 1)) / across),
      height: 210,
      x: { column: parameter, scale: scaleFor(parameter, steps.edges[0], steps.edges[steps.count], steps) },
      y: { column: show.plotted, scale: scaleFor(show.plotted, low, high, null) },
      label: trendWords(parameter, points),
      small: true,
    });
    const middle = isShare ? 0 : 2;
    const line = points.map((p) => `${frame.xAt(p.x).toFixed(1)} ${frame.yAt(p.marks[middle]).toFixed(1)}`).join('L');
    frame.over.append(
      ...[
        parameter.kind === 'text' ? points.map((point) => boxMarks(frame, point)) : null,
        parameter.kind === 'text' ? null : band(frame, points, 0, 4, 'band-outer'),
        parameter.kind === 'text' ? null : band(frame, points, 1, 3, 'band-inner'),
        parameter.kind === 'text' ? null : drawn('path', { d: 'M' + line, class: 'median' }),
        points.map((p) =>
          drawn('circle', { cx: frame.xAt(p.x), cy: frame.yAt(p.marks[middle]), r: 2.6, class: 'median-dot' }),
        ),
        isShare ? points.map((point) => oddsBar(frame, point)) : null,
        limitLine(frame, low, high),
      ]
        .flat(Infinity)
        .filter((node) => node !== null),
    );
  }
}

// --- Scatter --------------------------------------------------------------------------------------------------------------

const scatterState = { x: null, points: [], frame: null, cursor: -1 };

function scatterChoices() {
  return varied.concat(plottable.filter((column) => column !== show.plotted));
}

// Points at the same value of a parameter are spread sideways a little, always in the same way.
function nudge(column, row) {
  if (column.role !== 'varied' && column.role !== 'setting') return 0;
  const steps = levelsOf(column);
  return steps.binned ? 0 : (((numberOf(row) * 0.6180339887) % 1) - 0.5) * 0.5;
}

function makePoints(frame, column) {
  const [x, y] = [cellsOf(column), cellsOf(show.plotted)];
  const spread = frame.inner.width / Math.max(4, levelsOf(column).count + 1);
  const floor = frame.inner.top + frame.inner.height - 8;
  const points = [];
  for (const row of everyRow) {
    const outcome = outcomeOf(row);
    if (!Number.isFinite(x[row]) || (!Number.isFinite(y[row]) && !['failed', 'unfinished'].includes(outcome))) continue;
    points.push({
      row,
      outcome,
      x: frame.xAt(x[row]) + spread * nudge(column, row),
      y: Number.isFinite(y[row]) ? frame.yAt(y[row]) : floor,
    });
  }
  return points.sort((a, b) => a.x - b.x);
}

function drawPoint(pen, point, size) {
  const { x, y, outcome } = point;
  pen.beginPath();
  if (outcome === 'failed' || outcome === 'unfinished') {
    pen.moveTo(x, y - 1.5 * size);
    pen.lineTo(x + 1.4 * size, y + size);
    pen.lineTo(x - 1.4 * size, y + size);
    pen.closePath();
    pen.fill();
  } else if (outcome === 'broken') {
    pen.moveTo(x - size, y - size);
    pen.lineTo(x + size, y + size);
    pen.moveTo(x - size, y + size);
    pen.lineTo(x + size, y - size);
    pen.stroke();
  } else if (outcome === 'kept') {
    pen.arc(x, y, size, 0, 2 * Math.PI);
    pen.stroke();
  } else {
    pen.rect(x - size * 0.8, y - size * 0.8, size * 1.6, size * 1.6);
    pen.stroke();
  }
}

const outcomeColours = { kept: '--curve-1', broken: '--broken', unjudged: '--faint', failed: '--ink', unfinished: '--faint' };

function drawPoints(frame, points) {
  const size = points.length > 3000 ? 2 : points.length > 600 ? 2.6 : 3.4;
  frame.pen.lineWidth = points.length > 3000 ? 0.8 : 1.1;
  frame.pen.globalAlpha = points.length > 1000 ? 0.7 : 0.9;
  for (const outcome of ['unjudged', 'unfinished', 'kept', 'broken', 'failed']) {
    frame.pen.strokeStyle = frame.pen.fillStyle = themeColour(outcomeColours[outcome]);
    for (const point of points) if (point.outcome === outcome) drawPoint(frame.pen, point, size);
  }
}

function shapeSample(outcome) {
  const sample = element('canvas', { width: 28, height: 28, class: 'shape-sample', 'aria-hidden': 'true' });
  const pen = sample.getContext('2d');
  pen.scale(2, 2);
  pen.lineWidth = 1.2;
  pen.strokeStyle = pen.fillStyle = themeColour(outcomeColours[outcome]);
  drawPoint(pen, { x: 7, y: 7, outcome }, 3.6);
  return sample;
}

function markPoint() {
  const point = scatterState.points.find((one) => one.row === chosenRow());
  scatterState.mark.setAttribute('visibility', point === undefined ? 'hidden' : 'visible');
  if (point === undefined) return;
  scatterState.cursor = scatterState.points.indexOf(point);
  scatterState.mark.setAttribute('cx', point.x.toFixed(1));
  scatterState.mark.setAttribute('cy', point.y.toFixed(1));
}

function bindScatter(frame) {
  const { picture } = frame;
  picture.setAttribute('tabindex', '0');
  picture.setAttribute('role', 'application');
  picture.addEventListener('click', (event) => {
    const bounds = picture.getBoundingClientRect();
    const x = ((event.clientX - bounds.left) * frame.width) / bounds.width;
    const y = ((event.clientY - bounds.top) * frame.height) / bounds.height;
    let nearest = null;
    for (const point of scatterState.points) {
      const distance = Math.hypot(point.x - x, point.y - y);
      if (distance < 24 && (nearest === null || distance < nearest.distance)) nearest = { distance, point };
    }
    if (nearest !== null) choose([nearest.point.row]);
  });
  picture.addEventListener('keydown', (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1, Home: -Infinity, End: Infinity }[event.key];
    if (step === undefined || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    const last = scatterState.points.length - 1;
    const at = Math.min(Math.max(scatterState.cursor + step, 0), last);
    if (last >= 0) choose([scatterState.points[at].row]);
  });
}

function showScatter() {
  const view = byId('scatter-view');
  const choices = scatterChoices();
  if (scatterState.x === null || !choices.includes(scatterState.x)) scatterState.x = choices.includes(mapState.x) ? mapState.x : choices[0] || null;
  if (scatterState.x === null) return replaceAll(view, null);
  const column = scatterState.x;
  const counts = new Map();
  for (const row of everyRow) counts.set(outcomeOf(row), (counts.get(outcomeOf(row)) || 0) + 1);
  const focused = document.activeElement?.closest('#scatter-view .select-field') !== null && document.activeElement !== null;
  replaceAll(
    view,
    element(
      'div',
      { class: 'select-row' },
      selectField(
        'across',
        choices.map((one) => ({ value: one, words: longPlottedName(one) })),
        column,
        (choice) => {
          scatterState.x = choice;
          showScatter();
        },
      ),
    ),
    element(
      'figcaption',
      {},
      element('span', { class: 'chart-title' }, 'Every case a point: '),
      titleWithUnit(show.plotted),
      [...counts].map(([outcome, count]) =>
        element('span', { class: 'hold-key' }, shapeSample(outcome), `${outcomeWords[outcome]} (${count})`),
      ),
    ),
  );
  const isParameter = varied.includes(column);
  const steps = isParameter ? levelsOf(column) : null;
  const range = (one) => {
    const span = one.high - one.low || Math.abs(one.high) * 0.1 || 1;
    return [one.low - 0.04 * span, one.high + 0.04 * span];
  };
  const [low, high] = isParameter ? [steps.edges[0], steps.edges[steps.count]] : range(column);
  const [bottom, top] = rangeWithLimit([show.plotted.low, show.plotted.high]);
  const width = widthOf('scatter-view');
  const frame = makeFrame(view, {
    width,
    height: Math.round(Math.min(400, Math.max(280, 0.55 * width))),
    x: { column, scale: scaleFor(column, low, high, steps) },
    y: { column: show.plotted, scale: scaleFor(show.plotted, bottom, top, null) },
    label: `${plottedName(show.plotted)} over ${plottedName(column)}, every case a point: arrow keys go from case to case`,
  });
  scatterState.frame = frame;
  scatterState.points = makePoints(frame, column);
  scatterState.mark = drawn('circle', { r: 7, class: 'point-mark', visibility: 'hidden' });
  drawPoints(frame, scatterState.points);
  frame.over.append(...[limitLine(frame, bottom, top), scatterState.mark].flat().filter((node) => node !== null));
  view.append(element('p', { class: 'hint view-hint' }, 'A click on a point shows its case; with the keyboard, the arrow keys do.'));
  bindScatter(frame);
  markPoint();
  if (focused) view.querySelector('select').focus();
}
