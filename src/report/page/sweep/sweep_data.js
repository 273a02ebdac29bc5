'use strict';
// The table of the sweep: its columns, and what can be counted and ranked in them. Rows are the cases on this page; of a
// large table that is a sample, and `counts of all` come with the columns.

const whole = JSON.parse(byId('table').textContent);
const views = JSON.parse(byId('views').textContent);
const rowCount = whole.shown_rows;
const everyRow = Uint32Array.from({ length: rowCount }, (_, row) => row);

function readColumn(index) {
  const column = JSON.parse(byId('column-' + index).textContent);
  column.index = index;
  const byName = column.role === 'varied' || column.role === 'setting';
  column.label = column.label || (byName ? named(column.name) : column.text || named(column.name));
  column.cached = null;
  return column;
}

const columns = Array.from({ length: whole.columns }, (_, index) => readColumn(index));
const columnByName = new Map(columns.map((column) => [column.name, column]));

const bytesPerCell = { case: 4, number: 4, flags: 1, text: 2 };

// The cells of a column, decoded when they are first asked for: numbers, 0 broken / 1 kept / 2 not judged, or places in
// its list of texts.
function cellsOf(column) {
  if (column.cached !== null) return column.cached;
  const holder = byId('cells-' + column.index);
  const binary = atob(holder.textContent);
  holder.textContent = '';
  const bytes = new Uint8Array(binary.length);
  for (let i = 0; i < binary.length; i++) bytes[i] = binary.charCodeAt(i);
  const size = bytesPerCell[column.kind];
  const view = new DataView(bytes.buffer);
  const cells = new Float64Array(rowCount).fill(column.kind === 'number' ? NaN : 0);
  for (let row = 0; row < rowCount && (row + 1) * size <= bytes.length; row++) {
    if (size === 1) cells[row] = bytes[row];
    else if (size === 2) cells[row] = view.getUint16(2 * row, true);
    else cells[row] = column.kind === 'case' ? view.getUint32(4 * row, true) : view.getFloat32(4 * row, true);
    if (!Number.isFinite(cells[row])) cells[row] = NaN;
  }
  column.cached = cells;
  return cells;
}

const ofRole = (role) => columns.filter((column) => column.role === role);
const varied = ofRole('varied').concat(ofRole('setting'));
const limitColumns = ofRole('limit').map((flags) => ({
  flags,
  worst: columnByName.get(flags.name + '_worst') || null,
  sentence: flags.text || named(flags.name),
}));
const allLimits = ofRole('all_limits')[0] || null;
const statusColumn = columnByName.get('status') || null;
const messageColumn = columnByName.get('message') || null;
const caseColumn = columnByName.get('case');

// What can be plotted: how much room limits leave, then measures that have a number, then the work.
const plottable = columns.filter(
  (column) =>
    ['worst', 'measure', 'work'].includes(column.role) && column.low !== null && !/_residual$/.test(column.name),
);

// A column made here: 1 where a limit breaks, 0 where every limit is kept; no number where that is not known.
const breaksAny =
  allLimits === null
    ? null
    : {
        name: 'probability that a limit breaks',
        label: 'probability that a limit breaks',
        role: 'share',
        kind: 'number',
        si: '1',
        trade: '%',
        low: 0,
        high: 1,
        cached: Float64Array.from(cellsOf(allLimits), (flag) => (flag === 0 ? 1 : flag === 1 ? 0 : NaN)),
      };

function textAt(column, row) {
  const choice = column.choices[cellsOf(column)[row]];
  return choice === undefined ? '(a text that is only in the table)' : choice.text;
}

function hasFailed(row) {
  return statusColumn !== null && textAt(statusColumn, row) === 'failed';
}

// kept, broken (also by a run that failed later), unjudged (no limit, or one without evidence, and none broken), failed
// or unfinished.
function outcomeOf(row) {
  const broken = allLimits !== null && cellsOf(allLimits)[row] === 0;
  if (hasFailed(row) && !broken) return 'failed';
  if (statusColumn !== null && textAt(statusColumn, row) === 'unfinished' && !broken) return 'unfinished';
  return allLimits === null ? 'unjudged' : ['broken', 'kept', 'unjudged'][cellsOf(allLimits)[row]] || 'unjudged';
}

const outcomeWords = {
  kept: 'keeps all limits',
  broken: 'breaks a limit',
  unjudged: allLimits === null ? 'no limits' : 'not judged',
  failed: 'failed',
  unfinished: 'unfinished: its budget was spent',
};
const outcomeMarks = { kept: '✓', broken: '✕', unjudged: '○', failed: '▲', unfinished: '◔' };

const rowOfCase = new Map();
cellsOf(caseColumn).forEach((number, row) => rowOfCase.set(number, row));

// --- Values for people ----------------------------------------------------------------------------------------------------

function valueWords(column, row, digits = 4) {
  if (column.kind === 'text') return named(textAt(column, row));
  return shown(column, cellsOf(column)[row], digits);
}

// "highest engine speed" for the worst value of a limit on it; measures are called that way by themselves.
function plottedName(column) {
  if (column.role !== 'worst') return column.label;
  const name = column.name.replace(/^limit_\d+_/, '').replace(/_worst$/, '');
  const extreme = column.side === 'at least' ? 'lowest ' : 'highest ';
  return (/^(peak|highest|lowest)_|_(max|min)$/.test(name) ? '' : extreme) + named(name);
}

// The same with the limit, where there is room.
function longPlottedName(column) {
  return column.role === 'worst' ? `${plottedName(column)}, for ${column.label}` : plottedName(column);
}

function titleWithUnit(column) {
  const unit = column.kind === 'text' ? '' : unitOf(column).unit;
  return plottedName(column) + (unit ? `, ${unit}` : '');
}

// --- Statistics -----------------------------------------------------------------------------------------------------------

function quantile(sorted, share) {
  if (sorted.length === 0) return NaN;
  const place = share * (sorted.length - 1);
  const low = Math.floor(place);
  const high = Math.ceil(place);
  return sorted[low] + (place - low) * (sorted[high] - sorted[low]);
}

function sortedNumbers(values) {
  return Float64Array.from(values.filter(Number.isFinite)).sort();
}

// Ranks from 1; those that are equal share the mean of theirs.
function ranksOf(values) {
  const order = Uint32Array.from(values.keys()).sort((a, b) => values[a] - values[b]);
  const ranks = new Float64Array(values.length);
  for (let start = 0; start < order.length; ) {
    let end = start;
    while (end + 1 < order.length && values[order[end + 1]] === values[order[start]]) end++;
    for (let i = start; i <= end; i++) ranks[order[i]] = (start + end) / 2 + 1;
    start = end + 1;
  }
  return ranks;
}

function correlation(a, b) {
  const mean = (values) => values.reduce((sum, value) => sum + value, 0) / values.length;
  const [meanA, meanB] = [mean(a), mean(b)];
  let [both, squareA, squareB] = [0, 0, 0];
  for (let i = 0; i < a.length; i++) {
    both += (a[i] - meanA) * (b[i] - meanB);
    squareA += (a[i] - meanA) ** 2;
    squareB += (b[i] - meanB) ** 2;
  }
  return squareA > 0 && squareB > 0 ? both / Math.sqrt(squareA * squareB) : NaN;
}

// Share of the variance of `ranks` that lies between the groups: 1 if the group alone decides, 0 if it says nothing.
function shareBetween(groups, ranks) {
  const sums = new Map();
  let total = 0;
  let mean = 0;
  for (const rank of ranks) mean += rank / ranks.length;
  for (let i = 0; i < ranks.length; i++) {
    const sum = sums.get(groups[i]) || { count: 0, rank: 0 };
    sum.count++;
    sum.rank += ranks[i] - mean;
    sums.set(groups[i], sum);
    total += (ranks[i] - mean) ** 2;
  }
  let between = 0;
  for (const { count, rank } of sums.values()) between += (rank * rank) / count;
  return total > 0 && sums.size > 1 ? between / total : NaN;
}

// Ranks of a column among these rows; kept for the rows that come most often, which is all of them.
const wholeRanks = new Map();

function ranksIn(column, rows) {
  const values = Float64Array.from(rows, (row) => cellsOf(column)[row]);
  if (rows.length < rowCount) return ranksOf(values);
  if (!wholeRanks.has(column.name)) wholeRanks.set(column.name, ranksOf(values));
  return wholeRanks.get(column.name);
}

const influences = new Map();

// How strongly a varied parameter moves what is plotted. `rho` is Spearman's rank correlation (no number for names);
// `share` is the part of the variance of the ranks between groups of (nearly) equal values: it sees bends as well.
function influenceOf(parameter, plotted) {
  const key = parameter.name + '>' + plotted.name;
  if (!influences.has(key)) {
    const [x, y] = [cellsOf(parameter), cellsOf(plotted)];
    const rows = everyRow.filter((row) => Number.isFinite(x[row]) && Number.isFinite(y[row]));
    const xRanks = ranksIn(parameter, rows);
    const yRanks = ranksIn(plotted, rows);
    const steps = levelsOf(parameter);
    const groups = Float64Array.from(rows, (row) => steps.placeOf(x[row]));
    influences.set(key, {
      parameter,
      count: rows.length,
      rho: parameter.kind === 'text' ? NaN : correlation(xRanks, yRanks),
      share: shareBetween(groups, yRanks),
    });
  }
  return influences.get(key);
}

function rankedInfluences(plotted) {
  return varied
    .map((parameter) => influenceOf(parameter, plotted))
    .sort((a, b) => strengthOf(b) - strengthOf(a));
}

function strengthOf(influence) {
  const rho = Number.isFinite(influence.rho) ? Math.abs(influence.rho) : 0;
  return Math.max(rho, Math.sqrt(influence.share || 0));
}

// --- Steps and regions, as the table keeps them ---------------------------------------------------------------------------

// The steps of a parameter, from the table: the picture of tools/plot uses the same. `placeOf` says in which of them a
// value lies.
function levelsOf(column) {
  if (column.levels) return column.levels;
  const { varied: of, place, low, high, centre, name, logarithmic, one_value: oneValue } = views.steps;
  const rows = of.flatMap((path, at) => (path === column.name ? [at] : [])).sort((a, b) => place[a] - place[b]);
  const isText = column.kind === 'text';
  const names = isText ? rows.map((at) => name[at]) : null;
  const edges = isText
    ? Array.from({ length: rows.length + 1 }, (_, at) => at - 0.5)
    : [...rows.map((at) => low[at]), ...rows.slice(-1).map((at) => high[at])];
  // Cells of names are places in the column's own list.
  const placeOfChoice = isText ? column.choices.map((choice) => names.indexOf(choice.text)) : null;
  column.levels = {
    count: rows.length,
    logarithmic: rows.length > 0 && logarithmic[rows[0]] === 1,
    binned: rows.length > 0 && oneValue[rows[0]] === 0,
    names: isText ? names.map(named) : null,
    centres: isText ? rows.map((_, at) => at) : rows.map((at) => centre[at]),
    edges,
    placeOf: isText
      ? (value) => placeOfChoice[value]
      : (value) => Math.min(Math.max(indexAt(edges, value), 0), rows.length - 1),
  };
  return column.levels;
}

const axisNumber = new Map((views.steps ? views.steps.varied : []).map((path, at) => [path, views.steps.axis[at]]));

const regionAt = new Map();
if (views.regions) {
  const { limit, x, x_place: xPlace, y, y_place: yPlace } = views.regions;
  limit.forEach((number, at) => {
    regionAt.set([number, x[at], xPlace[at], y[at], yPlace[at]].join(' '), at);
  });
}

// How the cases of a region fared with limit number `limit` (0: any of them), of all cases of the table. Without places:
// overall. Null where the table has none.
function regionOf(limit, ...places) {
  const sorted = places
    .map(([column, place]) => [axisNumber.get(column.name), place])
    .sort((a, b) => a[0] - b[0])
    .flat();
  const at = regionAt.get([limit, ...sorted, ...Array(4 - sorted.length).fill(-1)].join(' '));
  if (at === undefined) return null;
  const of = (name) => views.regions[name][at];
  return {
    broken: of('broken'),
    kept: of('kept'),
    unjudged: of('not_judged'),
    failed: of('failed'),
    unfinished: of('unfinished'),
    share: of('probability'),
    low: of('probability_low'),
    high: of('probability_high'),
    smoothed: of('smoothed'),
  };
}

// "65.7 % (63.4 to 68.0 %)", the interval being of 95 %.
function oddsWords(region) {
  if (region === null || region.low === null) return '–';
  const interval = `${percent(region.low, 3).replace(/\s*%$/, '')} to ${percent(region.high, 3)}`;
  return region.share === null ? `not known (${interval})` : `${percent(region.share, 3)} (${interval})`;
}

// Sobol's indices of a result, strongest total first; empty where the study is no Saltelli design.
function indicesOf(column) {
  if (!views.indices) return [];
  const name = column.role === 'share' ? allLimits.name : column.name;
  return views.indices.of
    .flatMap((of, at) => (of === name ? [at] : []))
    .map((at) => Object.fromEntries(Object.entries(views.indices).map(([key, values]) => [key, values[at]])))
    .sort((a, b) => (b.total ?? -1) - (a.total ?? -1));
}

// --- What is on show ------------------------------------------------------------------------------------------------------

const show = { plotted: null, chosen: [], at: 0, origin: '' };
listeners.plotted = [];
listeners.chosen = [];

function setPlotted(column) {
  show.plotted = column;
  tell('plotted');
}

function chosenRow() {
  return show.chosen.length > 0 ? show.chosen[show.at] : -1;
}

// Show these rows' cases, one after the other; `origin` says what they have in common.
function choose(rows, origin = '', at = 0) {
  show.chosen = rows;
  show.at = at;
  show.origin = origin;
  tell('chosen');
}

function numberOf(row) {
  return cellsOf(caseColumn)[row];
}
