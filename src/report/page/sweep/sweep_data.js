'use strict';
// The table of the sweep: its columns, and what can be counted and ranked in them. Rows are the cases on this page; of a
// large table that is a sample, and `counts of all` come with the columns.

const whole = JSON.parse(byId('table').textContent);
const rowCount = whole.shown_rows;
const everyRow = Uint32Array.from({ length: rowCount }, (_, row) => row);

function readColumn(index) {
  const column = JSON.parse(byId('column-' + index).textContent);
  column.index = index;
  const byName = column.role === 'varied' || column.role === 'setting';
  column.label = byName ? named(column.name) : column.text || named(column.name);
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

// A column made here: 1 where every limit is kept, 0 where one is broken or not judged.
const keepsAll =
  allLimits === null
    ? null
    : {
        name: 'share of cases within all limits',
        label: 'share of cases within all limits',
        role: 'share',
        kind: 'number',
        si: '1',
        trade: '%',
        low: 0,
        high: 1,
        cached: Float64Array.from(cellsOf(allLimits), (flag, row) => (flag === 1 ? 1 : hasFailed(row) ? NaN : 0)),
      };

function textAt(column, row) {
  const choice = column.choices[cellsOf(column)[row]];
  return choice === undefined ? '(a text that is only in the table)' : choice.text;
}

function hasFailed(row) {
  return statusColumn !== null && textAt(statusColumn, row) === 'failed';
}

// kept, broken, unjudged (no limit, or one without evidence, and none broken) or failed.
function outcomeOf(row) {
  if (hasFailed(row)) return 'failed';
  return allLimits === null ? 'unjudged' : ['broken', 'kept', 'unjudged'][cellsOf(allLimits)[row]] || 'unjudged';
}

const outcomeWords = {
  kept: 'keeps all limits',
  broken: 'breaks a limit',
  unjudged: allLimits === null ? 'no limits' : 'not judged',
  failed: 'failed',
};
const outcomeMarks = { kept: '✓', broken: '✕', unjudged: '○', failed: '▲' };

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

// --- Steps of an axis -----------------------------------------------------------------------------------------------------

const MOST_LEVELS = 40;
const BINS = 12;

// The values a parameter takes if they are few, else equal intervals of its range (of its logarithm where it spans
// decades). `placeOf` says in which of them a value lies.
function levelsOf(column) {
  if (column.levels) return column.levels;
  if (column.kind === 'text') {
    const count = column.choices.length;
    column.levels = {
      count,
      logarithmic: false,
      binned: false,
      names: column.choices.map((choice) => named(choice.text)),
      centres: Array.from({ length: count }, (_, at) => at),
      edges: Array.from({ length: count + 1 }, (_, at) => at - 0.5),
      placeOf: (value) => value,
    };
    return column.levels;
  }
  const distinct = [...new Set(cellsOf(column))].filter(Number.isFinite).sort((a, b) => a - b);
  const few = distinct.length <= MOST_LEVELS;
  const logarithmic = isLogarithmic(distinct);
  const to = logarithmic ? Math.log : (value) => value;
  const from = logarithmic ? Math.exp : (value) => value;
  const edges = few ? edgesBetween(distinct, to, from) : evenEdges(distinct, to, from);
  const count = edges.length - 1;
  column.levels = {
    count,
    logarithmic,
    binned: !few,
    names: null,
    centres: few ? distinct : edges.slice(1).map((edge, at) => from((to(edge) + to(edges[at])) / 2)),
    edges,
    placeOf: (value) => Math.min(Math.max(indexAt(edges, value), 0), count - 1),
  };
  return column.levels;
}

// Steps that grow in proportion, or a range over decades.
function isLogarithmic(values) {
  if (values.length < 3 || !(values[0] > 0)) return false;
  const last = values.length - 1;
  if (values.length > MOST_LEVELS) return values[last] / values[0] > 50;
  const first = values[1] / values[0];
  const final = values[last] / values[last - 1];
  return values[last] / values[0] > 4 && Math.abs(first / final - 1) < 0.02;
}

function edgesBetween(values, to, from) {
  if (values.length < 2) {
    const value = values[0] || 0;
    const half = Math.abs(value) * 0.05 || 0.5;
    return [value - half, value + half];
  }
  const places = values.map(to);
  const middles = places.slice(1).map((place, at) => (place + places[at]) / 2);
  const end = places.length - 1;
  return [
    places[0] - (middles[0] - places[0]),
    ...middles,
    places[end] + (places[end] - middles[middles.length - 1]),
  ].map(from);
}

function evenEdges(values, to, from) {
  const [low, high] = [to(values[0]), to(values[values.length - 1])];
  const count = Math.max(4, Math.min(BINS, Math.floor(Math.sqrt(rowCount / 12))));
  return Array.from({ length: count + 1 }, (_, at) => from(low + ((high - low) * at) / count));
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
