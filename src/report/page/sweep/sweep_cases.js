'use strict';
// The chosen case, and the table of all.

// --- The command that runs a case again ---------------------------------------------------------------------------------------

// A word for a shell, whatever it holds.
function shellWord(word) {
  return /^[A-Za-z0-9_./+:=,@-]+$/.test(word) && !word.startsWith('-') ? word : "'" + word.replace(/'/g, "'\\''") + "'";
}

// The study's file, from the command that swept it.
function studyFile() {
  const words = (whole.history || '').match(/'[^']*'|[^\s']+/g) || [];
  const start = words.indexOf('sweep');
  for (let at = start + 1; start >= 0 && at < words.length; at++) {
    const word = words[at].replace(/^'|'$/g, '');
    if (/^(-o|--output|--jobs|--shard)$/.test(word)) at++;
    else if (!word.startsWith('-')) return word;
  }
  return null;
}

function replayCommand(row) {
  const output = `case_${numberOf(row)}.h5`;
  return [
    `swashloop run --study ${shellWord(studyFile() ?? 'STUDY.yaml')} --case ${numberOf(row)} -o ${output}`,
    `swashloop report ${output}`,
  ].join('\n');
}

// --- One case -----------------------------------------------------------------------------------------------------------------

function caseHeadline(row) {
  const outcome = outcomeOf(row);
  const status = statusColumn === null ? '' : textAt(statusColumn, row);
  const broken = limitColumns.filter(({ flags }) => cellsOf(flags)[row] === 0).length;
  const words =
    outcome === 'broken'
      ? `breaks ${broken} of ${limitColumns.length} limits`
      : outcome === 'kept'
        ? 'keeps all limits'
        : outcomeWords[outcome];
  return element(
    'p',
    { class: 'case-outcome ' + outcome },
    element('span', { class: 'mark', 'aria-hidden': 'true' }, outcomeMarks[outcome] + ' '),
    words + (status === 'stopped' ? '; an event ended the run' : ''),
  );
}

// How far from breaking, as a share of the level: see marginOf in tables.js, which this feeds.
function limitAt({ flags, worst, sentence }, row) {
  const flag = cellsOf(flags)[row];
  const value = worst === null ? NaN : cellsOf(worst)[row];
  return {
    sentence,
    result: flag === 0 ? 'broken' : flag === 1 ? 'kept' : 'unjudged',
    worst: Number.isFinite(value) ? value : null,
    level: worst === null ? null : worst.level,
    unit: worst === null ? '1' : worst.si,
    described: worst,
  };
}

function marginText(limit) {
  if (limit.result === 'unjudged') return '';
  if (limit.worst === null || limit.level === null || limit.described === null) return 'no value';
  const unit = unitOf(limit.described);
  const distance = figures(Math.abs(limit.worst - limit.level) / unit.scale, 3);
  const share = limit.level !== 0 ? ` (${percent(Math.abs(marginOf(limit)), 2)})` : '';
  return (limit.result === 'broken' ? 'over by ' : '') + distance + (unit.unit ? '\u00a0' + unit.unit : '') + share;
}

function caseLimits(row) {
  if (limitColumns.length === 0) return null;
  const rank = (limit) => (Number.isNaN(marginOf(limit)) ? Infinity : marginOf(limit));
  const limits = limitColumns.map((column) => limitAt(column, row)).sort((a, b) => rank(a) - rank(b));
  const words = { broken: '✕ broken', kept: '✓ kept', unjudged: '○ not judged' };
  return table(
    [{ text: '' }, { text: 'limit' }, { text: 'worst value', number: true }, { text: 'margin', number: true }],
    limits.map((limit) =>
      element(
        'tr',
        { class: limit.result },
        cell(words[limit.result], 'result'),
        rowHead(limit.sentence),
        labelled('worst value', cell(limit.described === null ? '–' : shown(limit.described, limit.worst), 'number')),
        labelled('margin', cell(marginText(limit), 'number')),
      ),
    ),
    { class: 'limits', 'aria-label': 'Limits of this case, worst margin first' },
  );
}

function caseMeasures(row) {
  const rows = plottable.filter((column) => column.role !== 'worst' && Number.isFinite(cellsOf(column)[row]));
  return element(
    'details',
    { open: show.measuresOpen, ontoggle: (event) => (show.measuresOpen = event.target.open) },
    element('summary', {}, `All ${rows.length} measures`),
    table(
      null,
      rows.map((column) => element('tr', {}, rowHead(column.label), cell(valueWords(column, row), 'number'))),
      { 'aria-label': 'Measures of this case' },
    ),
  );
}

function stepChosen(way) {
  const count = show.chosen.length;
  show.at = (show.at + way + count) % count;
  tell('chosen');
}

function copyButton(words) {
  const copy = element(
    'button',
    {
      type: 'button',
      onclick: () =>
        navigator.clipboard.writeText(words).then(
          () => (copy.textContent = 'copied'),
          () => (copy.textContent = 'select and copy by hand'),
        ),
    },
    'Copy',
  );
  return navigator.clipboard === undefined ? null : copy;
}

function showChosen() {
  const side = byId('chosen-case');
  const row = chosenRow();
  if (row < 0) {
    replaceAll(side, element('p', { class: 'hint' }, 'No case chosen: click on the map, on a point or in the table.'));
    return;
  }
  const message = messageColumn === null ? '' : textAt(messageColumn, row);
  const several = show.chosen.length > 1;
  const inFocus = side.contains(document.activeElement) ? document.activeElement.textContent : null;
  replaceAll(
    side,
    element(
      'div',
      { class: 'case-head' },
      element('h3', {}, `Case ${numberOf(row)}`),
      several
        ? element(
            'span',
            { class: 'case-steps' },
            element('button', { type: 'button', class: 'tool', 'aria-label': 'Case before, in this cell', onclick: () => stepChosen(-1) }, '◂'),
            element('span', { class: 'hint' }, `${show.at + 1} of ${show.chosen.length}`),
            element('button', { type: 'button', class: 'tool', 'aria-label': 'Case after, in this cell', onclick: () => stepChosen(1) }, '▸'),
          )
        : null,
    ),
    show.origin ? element('p', { class: 'hint' }, show.origin) : null,
    caseHeadline(row),
    message ? element('p', { class: 'case-message' }, message) : null,
    table(
      null,
      varied.map((column) => element('tr', {}, rowHead(column.label), cell(valueWords(column, row, 5), 'number'))),
      { 'aria-label': 'Parameters of this case' },
    ),
    caseLimits(row),
    caseMeasures(row),
    element('h4', {}, 'Runs this very case again, with its histories'),
    element('pre', { class: 'command', tabindex: '0' }, replayCommand(row)),
    copyButton(replayCommand(row)),
    studyFile() === null
      ? element('p', { class: 'hint' }, 'STUDY.yaml stands for the study’s file: its text is further down, under The study.')
      : null,
  );
  if (inFocus !== null) [...side.querySelectorAll('button')].find((one) => one.textContent === inFocus)?.focus();
}

function caseButton(number) {
  const row = rowOfCase.get(number);
  if (row === undefined) return String(number);
  return element('button', { type: 'button', class: 'time', onclick: () => chooseCase(row) }, String(number));
}

function chooseCase(row) {
  choose([row]);
  // On a wide screen the case stands beside; from far off, bring it into sight.
  const box = byId('chosen-case').getBoundingClientRect();
  if (box.bottom < 60 || box.top > innerHeight - 60) byId('chosen-case').scrollIntoView({ block: 'nearest' });
}

// --- The table of cases -------------------------------------------------------------------------------------------------------

const PAGE_ROWS = 25;
const casesState = { sort: null, down: false, filter: 'every', column: null, low: '', high: '', page: 0, wide: false };

// One entry of a list of filters each: what it is called, and which rows it lets pass.
function caseFilters() {
  const filters = [
    { key: 'every', words: 'every case', passes: () => true },
    ...['kept', 'broken', 'unjudged', 'failed', 'unfinished'].map((outcome) => ({
      key: outcome,
      words: outcomeWords[outcome],
      passes: (row) => outcomeOf(row) === outcome,
    })),
    {
      key: 'stopped',
      words: 'stopped by an event',
      passes: (row) => statusColumn !== null && textAt(statusColumn, row) === 'stopped',
    },
    ...limitColumns.map(({ flags, sentence }) => ({
      key: flags.name,
      words: `breaks ${sentence}`,
      passes: (row) => cellsOf(flags)[row] === 0,
    })),
  ];
  return filters.filter(({ key }) => allLimits !== null || !['kept', 'broken', 'unjudged'].includes(key));
}

function inRange(row) {
  const column = casesState.column;
  if (column === null) return true;
  const value = toShown(column, cellsOf(column)[row]);
  const bound = (text) => (text.trim() === '' ? null : Number(text.replace(',', '.').replace('−', '-')));
  const [low, high] = [bound(casesState.low), bound(casesState.high)];
  const near = 1e-6 * Math.abs(value);
  return (low === null || value >= low - near) && (high === null || value <= high + near);
}

function tableColumns() {
  const worst = limitColumns.map((limit) => limit.worst).filter((column) => column !== null && column.low !== null);
  const measures = casesState.wide ? plottable.filter((column) => column.role === 'measure' || column.role === 'work') : [];
  const plotted = worst.includes(show.plotted) || show.plotted.role === 'share' || measures.includes(show.plotted) ? [] : [show.plotted];
  return [...varied, ...plotted, ...worst, ...measures];
}

function filteredRows() {
  const filter = caseFilters().find((one) => one.key === casesState.filter);
  const rows = Array.from(everyRow.filter((row) => filter.passes(row) && inRange(row)));
  const sort = casesState.sort;
  if (sort === null) return casesState.down ? rows.reverse() : rows;
  const key =
    sort === 'outcome'
      ? (row) => ['failed', 'broken', 'unjudged', 'kept'].indexOf(outcomeOf(row))
      : sort.kind === 'text'
        ? (row) => textAt(sort, row)
        : (row) => cellsOf(sort)[row];
  const way = casesState.down ? -1 : 1;
  const absent = (value) => typeof value === 'number' && Number.isNaN(value);
  return rows
    .map((row) => ({ row, value: key(row) }))
    .sort((a, b) => {
      if (absent(a.value) || absent(b.value)) return Number(absent(a.value)) - Number(absent(b.value));
      return a.value < b.value ? -way : a.value > b.value ? way : a.row - b.row;
    })
    .map((one) => one.row);
}

function sortHead(words, key, number) {
  const active = casesState.sort === key;
  const sorted = !active ? null : casesState.down ? 'descending' : 'ascending';
  return element(
    'th',
    { scope: 'col', class: number ? 'number' : null, 'aria-sort': sorted },
    element(
      'button',
      {
        type: 'button',
        class: 'sort',
        onclick: () => {
          casesState.down = active ? !casesState.down : false;
          casesState.sort = key;
          casesState.page = 0;
          showRows();
          announce(`Sorted by ${words}, ${casesState.down ? 'highest' : 'lowest'} first`);
          [...document.querySelectorAll('#case-rows .sort')].find((one) => one.dataset.words === words)?.focus();
        },
        'data-words': words,
      },
      words,
      element('span', { 'aria-hidden': 'true' }, !active ? '' : casesState.down ? ' ▾' : ' ▴'),
    ),
  );
}

function caseRow(row, list) {
  const outcome = outcomeOf(row);
  const chooseThis = () => chooseCase(row);
  const brokenBy = new Set(limitColumns.filter(({ flags }) => cellsOf(flags)[row] === 0).map(({ worst }) => worst));
  return element(
    'tr',
    { class: outcome, 'aria-current': row === chosenRow() ? 'true' : null },
    element('th', { scope: 'row', class: 'number' }, element('button', { type: 'button', class: 'time', onclick: chooseThis }, String(numberOf(row)))),
    cell([element('span', { class: 'mark', 'aria-hidden': 'true' }, outcomeMarks[outcome] + ' '), outcomeWords[outcome]], 'result'),
    list.map((column) =>
      cell(
        (brokenBy.has(column) ? '✕ ' : '') +
          (column.kind === 'text' ? named(textAt(column, row)) : figures(toShown(column, cellsOf(column)[row]))),
        'number' + (brokenBy.has(column) ? ' over' : ''),
      ),
    ),
  );
}

function showRows() {
  const list = tableColumns();
  const rows = filteredRows();
  const pages = Math.max(1, Math.ceil(rows.length / PAGE_ROWS));
  casesState.page = Math.min(Math.max(casesState.page, 0), pages - 1);
  const from = casesState.page * PAGE_ROWS;
  const turn = (to) => () => {
    casesState.page = to;
    showRows();
    announce(`Page ${casesState.page + 1} of ${pages}`);
  };
  const turner = (words, label, to, off) =>
    element('button', { type: 'button', class: 'tool', 'aria-label': label, disabled: off, onclick: turn(to) }, words);
  replaceAll(
    byId('case-rows'),
    element(
      'div',
      { class: 'scroll', tabindex: '0', role: 'region', 'aria-label': 'Cases, scrolls sideways' },
      element(
        'table',
        { class: 'cases', 'aria-label': 'Cases' },
        element(
          'thead',
          {},
          element(
            'tr',
            {},
            sortHead('case', null, true),
            sortHead('outcome', 'outcome', false),
            list.map((column) => sortHead(titleWithUnit(column), column, true)),
          ),
        ),
        element('tbody', {}, rows.slice(from, from + PAGE_ROWS).map((row) => caseRow(row, list))),
      ),
    ),
    element(
      'p',
      { class: 'pages' },
      turner('⇤', 'First page', 0, casesState.page === 0),
      turner('◂', 'Page before', casesState.page - 1, casesState.page === 0),
      element(
        'span',
        {},
        rows.length === 0
          ? 'no case'
          : `${from + 1} to ${Math.min(from + PAGE_ROWS, rows.length)} of ${rows.length}${rows.length < rowCount ? ` (filtered from ${rowCount})` : ''}`,
      ),
      turner('▸', 'Next page', casesState.page + 1, casesState.page === pages - 1),
      turner('⇥', 'Last page', pages - 1, casesState.page === pages - 1),
    ),
  );
}

function showCases() {
  const numbers = [...varied.filter((column) => column.kind === 'number'), ...plottable];
  const change = (key) => (value) => {
    casesState[key] = value;
    casesState.page = 0;
    showRows();
  };
  const bound = (key, words) =>
    element(
      'label',
      { class: 'select-field' },
      element('span', {}, words),
      element('input', { type: 'text', inputmode: 'decimal', size: 7, value: casesState[key], oninput: (event) => change(key)(event.target.value) }),
    );
  replaceAll(
    byId('cases-body'),
    element(
      'div',
      { class: 'select-row' },
      selectField('show', caseFilters().map(({ key, words }) => ({ value: key, words })), casesState.filter, change('filter')),
      selectField(
        'with',
        [{ value: null, words: 'anything' }, ...numbers.map((column) => ({ value: column, words: titleWithUnit(column) }))],
        casesState.column,
        change('column'),
      ),
      bound('low', 'from'),
      bound('high', 'to'),
      element(
        'label',
        { class: 'select-field' },
        element('input', { type: 'checkbox', checked: casesState.wide, onchange: (event) => change('wide')(event.target.checked) }),
        element('span', {}, 'all measures'),
      ),
    ),
    element('div', { id: 'case-rows' }),
  );
  showRows();
}
