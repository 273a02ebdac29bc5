'use strict';
// The map: two parameters against each other, a measure as colour and contours, and where every limit holds.

const mapState = { x: null, y: null, over: 'median', slices: new Map(), slicesOpen: false, cells: [], cursor: -1, frame: null };

const overWords = {
  median: 'median of the cases',
  highest: 'highest of the cases',
  lowest: 'lowest of the cases',
};

function startMap() {
  // Of what matters most, numbers first: names make no map, only rows of one.
  const ranked = rankedInfluences(show.plotted)
    .map((influence) => influence.parameter)
    .sort((a, b) => Number(a.kind === 'text') - Number(b.kind === 'text'));
  mapState.x = ranked[0] || null;
  mapState.y = ranked[1] || null;
}

// Of a limit, what comes nearest to it is what counts.
function overFor(plotted) {
  if (plotted.role !== 'worst') return 'median';
  return plotted.side === 'at least' ? 'lowest' : 'highest';
}

function otherParameters() {
  return varied.filter((column) => column !== mapState.x && column !== mapState.y);
}

// Rows that lie on the slice through the other parameters.
function rowsOnSlice() {
  const wanted = otherParameters()
    .filter((column) => mapState.slices.has(column))
    .map((column) => [cellsOf(column), levelsOf(column), mapState.slices.get(column)]);
  return everyRow.filter((row) =>
    wanted.every(([cells, steps, place]) => Number.isFinite(cells[row]) && steps.placeOf(cells[row]) === place),
  );
}

function summaryOf(values, plotted, over) {
  const sorted = sortedNumbers(values);
  if (sorted.length === 0) return NaN;
  if (plotted.role === 'share') return sorted.reduce((sum, value) => sum + value, 0) / sorted.length;
  if (over === 'highest') return sorted[sorted.length - 1];
  return over === 'lowest' ? sorted[0] : quantile(sorted, 0.5);
}

function makeCells() {
  const [xSteps, ySteps] = [levelsOf(mapState.x), levelsOf(mapState.y)];
  const cells = Array.from({ length: xSteps.count * ySteps.count }, (_, at) => ({
    at,
    column: at % xSteps.count,
    row: Math.floor(at / xSteps.count),
    rows: [],
  }));
  const [x, y] = [cellsOf(mapState.x), cellsOf(mapState.y)];
  for (const row of rowsOnSlice()) {
    if (!Number.isFinite(x[row]) || !Number.isFinite(y[row])) continue;
    cells[xSteps.placeOf(x[row]) + xSteps.count * ySteps.placeOf(y[row])].rows.push(row);
  }
  const values = cellsOf(show.plotted);
  const isWhole = otherParameters().every((column) => !mapState.slices.has(column));
  for (const cell of cells) {
    cell.value = summaryOf(
      cell.rows.map((row) => values[row]),
      show.plotted,
      mapState.over,
    );
    // Of all cases of the table, unless another parameter is held fixed.
    const region = isWhole ? regionOf(0, [mapState.x, cell.column], [mapState.y, cell.row]) : null;
    cell.region = region;
    const outcomes = cell.rows.map(outcomeOf);
    const number = (outcome) => (region === null ? outcomes.filter((one) => one === outcome).length : region[outcome]);
    cell.failed = number('failed') + number('unfinished');
    cell.kept = number('kept');
    cell.cases = region === null ? cell.rows.length : cell.kept + number('broken') + number('unjudged') + cell.failed;
    const judged = cell.kept + number('broken') + cell.failed;
    if (show.plotted.role === 'share') {
      const known = cell.kept + number('broken');
      cell.value = known > 0 ? number('broken') / known : NaN;
    }
    // A case that is not judged does not count as kept.
    cell.hold = cell.kept === cell.cases && cell.kept > 0 ? 'all' : cell.kept > 0 ? 'some' : judged === 0 ? 'none' : 'broken';
  }
  return cells;
}

// --- Drawing --------------------------------------------------------------------------------------------------------------

function cellBox(frame, cell) {
  const [xSteps, ySteps] = [levelsOf(mapState.x), levelsOf(mapState.y)];
  const left = frame.xAt(xSteps.edges[cell.column]);
  const right = frame.xAt(xSteps.edges[cell.column + 1]);
  const low = frame.yAt(ySteps.edges[cell.row]);
  const high = frame.yAt(ySteps.edges[cell.row + 1]);
  return { left, top: high, width: right - left, height: low - high };
}

// Stripes where no case keeps all limits, dots where only some do: the region shows without any colour.
function drawHold(pen, cell, box, dark) {
  if (cell.hold !== 'broken' && cell.hold !== 'some') return;
  pen.save();
  pen.beginPath();
  pen.rect(box.left, box.top, box.width, box.height);
  pen.clip();
  pen.strokeStyle = pen.fillStyle = dark ? 'rgb(255 255 255 / 0.55)' : 'rgb(20 28 36 / 0.5)';
  pen.lineWidth = 1;
  const step = 8;
  if (cell.hold === 'broken') {
    // Lines of one family over the whole map: x + y is the same along each.
    pen.beginPath();
    const first = Math.floor((box.left + box.top) / step) * step;
    for (let sum = first; sum < box.left + box.width + box.top + box.height; sum += step) {
      pen.moveTo(sum - box.top, box.top);
      pen.lineTo(sum - box.top - box.height, box.top + box.height);
    }
    pen.stroke();
  } else {
    for (let x = Math.ceil(box.left / step) * step; x < box.left + box.width; x += step) {
      for (let y = Math.ceil(box.top / step) * step; y < box.top + box.height; y += step) {
        pen.fillRect(x - 0.9, y - 0.9, 1.8, 1.8);
      }
    }
  }
  pen.restore();
}

// No case lies here: a cross through the cell, and no colour that could be read as a value.
function drawEmpty(pen, { left, top, width, height }) {
  pen.save();
  pen.strokeStyle = themeColour('--faint');
  pen.globalAlpha = 0.45;
  pen.lineWidth = 0.8;
  pen.beginPath();
  pen.moveTo(left, top);
  pen.lineTo(left + width, top + height);
  pen.moveTo(left, top + height);
  pen.lineTo(left + width, top);
  pen.stroke();
  pen.restore();
}

function drawCells(frame, cells, low, high) {
  const { pen } = frame;
  for (const cell of cells) {
    const box = cellBox(frame, cell);
    if (cell.rows.length === 0) {
      drawEmpty(pen, box);
      continue;
    }
    const share = high > low ? (cell.value - low) / (high - low) : 0.4;
    const blank = !Number.isFinite(cell.value);
    pen.fillStyle = blank ? themeColour('--sunk') : rampColour(share);
    pen.fillRect(box.left, box.top, box.width + 0.6, box.height + 0.6);
    const deep = !blank && share > 0.5;
    drawHold(pen, cell, box, isDark() ? !deep : deep);
    if (cell.failed > 0 || blank) {
      pen.fillStyle = themeColour('--ink');
      pen.font = '12px sans-serif';
      pen.textAlign = 'center';
      pen.textBaseline = 'middle';
      pen.fillText(cell.failed > 0 ? '▲' : '–', box.left + box.width / 2, box.top + box.height / 2);
    }
  }
}

// The edge of the region where every case keeps every limit, along the edges of cells.
function regionEdge(frame, cells) {
  const xCount = levelsOf(mapState.x).count;
  // Beyond the map, and where there is no case, nobody knows: no edge there.
  const breaks = (column, row) =>
    column >= 0 && column < xCount && ['some', 'broken'].includes(cells[row * xCount + column]?.hold);
  let path = '';
  for (const cell of cells) {
    if (cell.hold !== 'all') continue;
    const { left, top, width, height } = cellBox(frame, cell);
    const { column, row } = cell;
    const side = (dx, dy, words) => {
      if (breaks(column + dx, row + dy)) path += words;
    };
    side(-1, 0, `M${left.toFixed(1)} ${top.toFixed(1)}v${height.toFixed(1)}`);
    side(1, 0, `M${(left + width).toFixed(1)} ${top.toFixed(1)}v${height.toFixed(1)}`);
    side(0, 1, `M${left.toFixed(1)} ${top.toFixed(1)}h${width.toFixed(1)}`);
    side(0, -1, `M${left.toFixed(1)} ${(top + height).toFixed(1)}h${width.toFixed(1)}`);
  }
  return path;
}

// Lines of equal value between the centres of cells (marching squares, the saddle split by its mean).
function contourOf(frame, cells, level) {
  const [xSteps, ySteps] = [levelsOf(mapState.x), levelsOf(mapState.y)];
  const pieces = [];
  const point = (cell) => [frame.xAt(xSteps.centres[cell.column]), frame.yAt(ySteps.centres[cell.row])];
  const cross = (a, b) => {
    const share = (level - a.value) / (b.value - a.value);
    const [from, to] = [point(a), point(b)];
    return [from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])];
  };
  for (let row = 0; row + 1 < ySteps.count; row++) {
    for (let column = 0; column + 1 < xSteps.count; column++) {
      const at = row * xSteps.count + column;
      const corners = [cells[at], cells[at + 1], cells[at + xSteps.count + 1], cells[at + xSteps.count]];
      if (!corners.every((cell) => Number.isFinite(cell.value))) continue;
      const above = corners.map((cell) => cell.value >= level);
      const ends = [];
      for (let side = 0; side < 4; side++) {
        if (above[side] !== above[(side + 1) % 4]) ends.push(cross(corners[side], corners[(side + 1) % 4]));
      }
      if (ends.length === 2) pieces.push(ends);
      if (ends.length === 4) {
        const middle = corners.reduce((sum, cell) => sum + cell.value, 0) / 4 >= level;
        const pairs = middle === above[0] ? [[0, 1], [2, 3]] : [[3, 0], [1, 2]];
        for (const [a, b] of pairs) pieces.push([ends[a], ends[b]]);
      }
    }
  }
  return pieces;
}

function drawContours(frame, cells, low, high) {
  if (mapState.x.kind === 'text' || mapState.y.kind === 'text' || !(high > low)) return;
  const unit = unitOf(show.plotted);
  const toUnit = (value) => (value - unit.offset) / unit.scale;
  const levels = evenTicks(toUnit(low), toUnit(high), 5).map((value) => ({
    level: value * unit.scale + unit.offset,
    words: figures(value, 5),
    kind: 'contour',
  }));
  if (show.plotted.role === 'worst' && show.plotted.level > low && show.plotted.level < high) {
    const level = show.plotted.level;
    levels.push({ level, words: `limit ${shown(show.plotted, level, 5)}`, kind: 'contour limit' });
  }
  drawLevels(frame, cells, levels);
}

// Where a limit breaks in half of the cases, and in one of twenty: of the probability smoothed over neighbouring cells.
function drawBoundary(frame, cells) {
  if (mapState.x.kind === 'text' || mapState.y.kind === 'text' || cells.every((cell) => cell.region === null)) return;
  const smoothed = cells.map((cell) => ({ ...cell, value: cell.region === null ? NaN : (cell.region.smoothed ?? NaN) }));
  drawLevels(frame, smoothed, [
    { level: 0.05, words: '5 % break', kind: 'contour boundary few' },
    { level: 0.5, words: 'half break', kind: 'contour boundary' },
  ]);
}

function drawLevels(frame, cells, levels) {
  const labels = [];
  for (const { level, words, kind } of levels.reverse()) {
    const pieces = contourOf(frame, cells, level);
    if (pieces.length === 0) continue;
    const path = pieces.map(([a, b]) => `M${a.map((v) => v.toFixed(1)).join(' ')}L${b.map((v) => v.toFixed(1)).join(' ')}`);
    frame.over.append(drawn('path', { d: path.join(''), class: kind }));
    const long = pieces.reduce((sum, [a, b]) => sum + Math.hypot(b[0] - a[0], b[1] - a[1]), 0);
    const spot = long < words.length * 6.4 ? null : labelSpot(frame, pieces, labels, words.length * 6.4);
    if (spot === null) continue;
    labels.push({ spot, half: words.length * 3.2 });
    frame.over.append(
      drawn('text', { x: spot[0].toFixed(1), y: (spot[1] + 4).toFixed(1), 'text-anchor': 'middle', class: kind }, words),
    );
  }
}

// The piece nearest to the middle of the line that leaves other words alone.
function labelSpot(frame, pieces, labels, width) {
  const { left, top, width: wide, height } = frame.inner;
  const middle = pieces[Math.floor(pieces.length / 2)][0];
  const spots = pieces
    .map(([a, b]) => [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2])
    .filter(([x, y]) => x - width / 2 > left && x + width / 2 < left + wide && y > top + 9 && y < top + height - 9)
    .sort((a, b) => Math.hypot(a[0] - middle[0], a[1] - middle[1]) - Math.hypot(b[0] - middle[0], b[1] - middle[1]));
  return (
    spots.find((spot) =>
      labels.every(
        (other) => Math.abs(other.spot[1] - spot[1]) > 16 || Math.abs(other.spot[0] - spot[0]) > other.half + width / 2 + 4,
      ),
    ) || null
  );
}

function colourKey(low, high) {
  if (!(high > low)) return null;
  const width = 200;
  const steps = 40;
  const scale = scaleFor(show.plotted, low, high, null);
  return drawn(
    'svg',
    { viewBox: `0 0 ${width + 40} 34`, width: width + 40, height: 34, class: 'frame key-bar', 'aria-hidden': 'true' },
    Array.from({ length: steps }, (_, at) => {
      const part = drawn('rect', { x: 20 + (width * at) / steps, y: 2, width: width / steps + 0.5, height: 10 });
      part.style.fill = rampColour((at + 0.5) / steps);
      return part;
    }),
    thinned(scale.ticks, width).map(({ place, words }) => [
      drawn('path', { d: `M${20 + width * place} 12v4`, class: 'frame-tick' }),
      drawn('text', { x: 20 + width * place, y: 28, 'text-anchor': 'middle' }, words),
    ]),
  );
}

function holdKey() {
  if (allLimits === null) return null;
  const sample = (kind, words) =>
    element('span', { class: 'hold-key' }, element('span', { class: 'hold-sample ' + kind, 'aria-hidden': 'true' }), words);
  return [
    sample('all', 'every case keeps all limits (thick edge)'),
    sample('some', 'some cases do'),
    sample('broken', 'no case does'),
    allLimits.unjudged > 0 ? sample('none', 'no case is judged') : null,
    mapState.cells.some((cell) => cell.rows.length === 0) ? sample('empty', 'no case at all') : null,
  ];
}

// --- Cells by pointer and keys --------------------------------------------------------------------------------------------

function stepWords(column, place) {
  const steps = levelsOf(column);
  if (steps.names !== null) return steps.names[place];
  if (!steps.binned) return shown(column, steps.centres[place]);
  return `${shown(column, steps.edges[place], 3)} to ${shown(column, steps.edges[place + 1], 3)}`;
}

function cellWords(cell) {
  const where = (column, place) => `${column.label} ${stepWords(column, place)}`;
  const odds = cell.region === null || cell.region.low === null ? '' : `; a limit breaks with ${oddsWords(cell.region)}`;
  const lost = cell.failed > 0 ? `, ${cell.failed} failed or unfinished` : '';
  const kept = allLimits === null ? '' : `; ${cell.kept} of ${cell.cases} within all limits${lost}${odds}`;
  return `${where(mapState.x, cell.column)}, ${where(mapState.y, cell.row)}: ${
    show.plotted.role === 'share' ? 'probability that a limit breaks' : overWords[mapState.over]
  } ${shown(show.plotted, cell.value)}${kept}`;
}

// First the case that made the cell's value.
function casesOf(cell) {
  const values = cellsOf(show.plotted);
  const distance = (row) => (Number.isFinite(values[row]) ? Math.abs(values[row] - cell.value) : Infinity);
  return cell.rows.slice().sort((a, b) => distance(a) - distance(b) || a - b);
}

function goToCell(at) {
  const cell = mapState.cells[at];
  if (cell === undefined) return;
  mapState.cursor = at;
  markCell();
  if (cell.rows.length > 0) choose(casesOf(cell), cellWords(cell));
  else announce('No case here.');
}

function markCell() {
  const cell = mapState.cells[mapState.cursor];
  mapState.mark.setAttribute('visibility', cell === undefined ? 'hidden' : 'visible');
  if (cell === undefined) return;
  const box = cellBox(mapState.frame, cell);
  for (const [key, value] of Object.entries({ x: box.left, y: box.top, width: box.width, height: box.height })) {
    mapState.mark.setAttribute(key, value.toFixed(1));
  }
}

function cellAt(frame, event) {
  const bounds = frame.picture.getBoundingClientRect();
  const x = ((event.clientX - bounds.left) * frame.width) / bounds.width;
  const y = ((event.clientY - bounds.top) * frame.height) / bounds.height;
  return mapState.cells.find((cell) => {
    const box = cellBox(frame, cell);
    return x >= box.left && x < box.left + box.width && y >= box.top && y < box.top + box.height;
  });
}

function bindMap(frame) {
  const xCount = levelsOf(mapState.x).count;
  const hint = mapState.hint;
  frame.picture.setAttribute('tabindex', '0');
  frame.picture.setAttribute('role', 'application');
  frame.picture.addEventListener('click', (event) => {
    const cell = cellAt(frame, event);
    if (cell !== undefined) goToCell(cell.at);
  });
  frame.picture.addEventListener('pointermove', (event) => {
    const cell = cellAt(frame, event);
    hint.textContent = cell === undefined || cell.rows.length === 0 ? mapHint : cellWords(cell);
  });
  frame.picture.addEventListener('pointerleave', () => {
    hint.textContent = mapHint;
  });
  frame.picture.addEventListener('keydown', (event) => {
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
    const move = moves[event.key];
    if (move === undefined || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    const cell = mapState.cells[mapState.cursor];
    if (cell === undefined) return goToCell(0);
    const column = cell.column + move[0];
    const row = cell.row + move[1];
    if (column >= 0 && column < xCount && row >= 0) goToCell(row * xCount + column);
  });
}

// What a cell stands for, and where the other parameters are held.
function cellsWords() {
  const over = show.plotted.role === 'share' ? 'of the cases in each cell' : `${overWords[mapState.over]} in each cell`;
  const held = otherParameters()
    .filter((column) => mapState.slices.has(column))
    .map((column) => `${column.label} ${stepWords(column, mapState.slices.get(column))}`);
  return [over, ...held].join(', ');
}

const mapHint = 'A click on a cell shows its cases; with the keyboard, the arrow keys do.';

function mapControls() {
  const entries = varied.map((column) => ({ value: column, words: column.label }));
  const swapTo = (axis, other) => (column) => {
    if (mapState[other] === column) mapState[other] = mapState[axis];
    mapState[axis] = column;
    mapState.slices.delete(column);
    showMap();
  };
  const sliceOf = (column) => {
    const places = Array.from({ length: levelsOf(column).count }, (_, at) => ({ value: at, words: stepWords(column, at) }));
    return selectField(column.label, [{ value: -1, words: 'all' }, ...places], mapState.slices.get(column) ?? -1, (place) => {
      if (place < 0) mapState.slices.delete(column);
      else mapState.slices.set(column, place);
      showMap();
    });
  };
  return element(
    'div',
    { class: 'select-row' },
    selectField('across', entries, mapState.x, swapTo('x', 'y')),
    selectField('up', entries, mapState.y, swapTo('y', 'x')),
    show.plotted.role === 'share'
      ? null
      : selectField(
          'in each cell',
          Object.entries(overWords).map(([value, words]) => ({ value, words })),
          mapState.over,
          (over) => {
            mapState.over = over;
            showMap();
          },
        ),
    heldFixed(otherParameters().map(sliceOf)),
  );
}

// A long list of what can be held fixed folds away.
function heldFixed(fields) {
  if (fields.length <= 3) return fields;
  return element(
    'details',
    {
      class: 'held',
      open: mapState.slicesOpen,
      ontoggle: (event) => {
        mapState.slicesOpen = event.target.open;
      },
    },
    element('summary', {}, `Hold one of the other ${fields.length} fixed`),
    element('div', { class: 'select-row' }, fields),
  );
}

function showMap() {
  const view = byId('map-view');
  if (mapState.x === null || mapState.y === null) {
    replaceAll(view, element('p', { class: 'hint' }, 'A map takes two parameters that vary.'));
    return;
  }
  const focused = document.activeElement?.closest('#map-view .select-field')?.querySelector('span').textContent;
  mapState.cells = makeCells();
  const values = mapState.cells.map((cell) => cell.value).filter(Number.isFinite);
  const [low, high] =
    show.plotted.role === 'share' ? [0, 1] : [Math.min(...values), Math.max(...values)];
  mapState.hint = element('p', { class: 'hint view-hint' }, mapHint);
  const caption = element(
    'figcaption',
    {},
    element('span', { class: 'chart-title' }, 'Map: '),
    `${titleWithUnit(show.plotted)}; ${cellsWords()}`,
    colourKey(low, high),
    holdKey(),
  );
  replaceAll(view, mapControls(), caption);
  const width = widthOf('map-view');
  const axisOf = (column) => {
    const steps = levelsOf(column);
    return { column, scale: scaleFor(column, steps.edges[0], steps.edges[steps.count], steps) };
  };
  const frame = makeFrame(view, {
    width,
    height: Math.round(Math.min(460, Math.max(300, 0.62 * width))),
    x: axisOf(mapState.x),
    y: axisOf(mapState.y),
    label: `Map of ${plottedName(show.plotted)} over ${mapState.x.label} and ${mapState.y.label}: arrow keys go from cell to cell`,
  });
  mapState.frame = frame;
  mapState.mark = drawn('rect', { class: 'map-mark', visibility: 'hidden' });
  drawCells(frame, mapState.cells, low, high);
  if (show.plotted.role !== 'share') drawContours(frame, mapState.cells, low, high);
  drawBoundary(frame, mapState.cells);
  frame.over.prepend(drawn('path', { d: regionEdge(frame, mapState.cells), class: 'region-edge' }));
  frame.over.append(mapState.mark);
  view.append(mapState.hint);
  bindMap(frame);
  markCell();
  if (focused) {
    const again = [...view.querySelectorAll('.select-field')].find((field) => field.querySelector('span').textContent === focused);
    again?.querySelector('select').focus();
  }
}
