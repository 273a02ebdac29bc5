'use strict';
// Verdict, differences, measures, case, laws, solver, origin: everything that is a table.

function table(heads, rows, attributes) {
  return element(
    'div',
    { class: 'scroll' },
    element(
      'table',
      attributes || {},
      heads
        ? element(
            'thead',
            {},
            element(
              'tr',
              {},
              heads.map((head) => element('th', { scope: 'col', class: head.number ? 'number' : null }, head.text)),
            ),
          )
        : null,
      element('tbody', {}, rows),
    ),
  );
}

function cell(words, kind) {
  return element('td', { class: kind || null }, words);
}

// What stands before the cell where the table is stacked, on a narrow screen.
function labelled(label, target) {
  target.dataset.label = label;
  return target;
}

function rowHead(words) {
  return element('th', { scope: 'row' }, words);
}

// --- Verdict --------------------------------------------------------------------------------------------------------------

// How far a limit is from breaking, as a share of its level: negative when it is broken, NaN without a value.
function marginOf(limit) {
  const broken = limit.result === 'broken';
  if (neverJudged(limit)) return NaN;
  if (limit.worst === null || limit.level === null) return broken ? -Infinity : NaN;
  // A share of kelvins would make every temperature a close call.
  const size = Math.abs(limit.unit === 'K' ? limit.level - 273.15 : limit.level);
  const distance = Math.abs(limit.worst - limit.level) / (size || 1);
  return broken ? -distance : distance;
}

function rankedLimits(run) {
  const rank = (limit) => (Number.isNaN(marginOf(limit)) ? Infinity : marginOf(limit));
  return run.limits.slice().sort((a, b) => rank(a) - rank(b));
}

function describedLimit(run, limit) {
  const signal = run.signals[run.signalByName.get(limit.name)];
  return signal || run.measureByName.get(limit.name) || { si: limit.unit, trade: limit.unit };
}

function marginWords(run, limit) {
  if (neverJudged(limit)) return '';
  if (limit.worst === null || limit.level === null) return 'no value';
  const described = describedLimit(run, limit);
  const unit = unitOf(described);
  const distance =
    figures(Math.abs(limit.worst - limit.level) / unit.scale, 3) + (unit.unit ? '\u00a0' + unit.unit : '');
  const share = limit.level !== 0 ? ' (' + percent(Math.abs(marginOf(limit)), 2) + ')' : '';
  return (limit.result === 'broken' ? 'over by ' : '') + distance + share;
}

// The run gives no evidence: it failed before, braking never began, there was no value. Neither kept nor broken.
function neverJudged(limit) {
  return limit.result !== 'broken' && (limit.result !== 'kept' || limit.worst === null);
}

function marginBar(limit) {
  const margin = marginOf(limit);
  const bar = element('span', { class: 'margin-bar ' + limit.result.replace(' ', '-'), 'aria-hidden': 'true' }, element('span', {}));
  const share = Number.isFinite(margin) ? Math.min(1, Math.abs(margin) / 0.5) : neverJudged(limit) ? 0 : 1;
  bar.firstChild.style.width = 100 * share + '%';
  return bar;
}

function headlineOf(run) {
  const broken = run.limits.filter((limit) => limit.result === 'broken').length;
  const open = run.limits.filter(neverJudged).length;
  const count = run.limits.length - open;
  const aside = open > 0 ? ` ${open} ${open === 1 ? 'was' : 'were'} not judged.` : '';
  if (run.status === 'failed' || run.status === 'interrupted' || run.status === 'running') {
    return {
      mark: '✕',
      kind: 'broken',
      words: `The run is not whole: ${run.status}${run.status_message ? ', ' + run.status_message : ''}.`,
    };
  }
  if (count + open === 0) {
    return { mark: '○', kind: 'none', words: 'No limits were set in this case, so nothing was judged.' };
  }
  if (count === 0) return { mark: '○', kind: 'none', words: 'Nothing was judged.' + aside };
  const first = rankedLimits(run)[0];
  if (broken > 0) {
    return {
      mark: '✕',
      kind: 'broken',
      words: `${broken} of ${count} ${count === 1 ? 'limit' : 'limits'} broken. Worst: ${first.sentence}, ${marginWords(run, first)}.${aside}`,
    };
  }
  return {
    mark: open > 0 ? '○' : '✓',
    kind: open > 0 ? 'none' : 'kept',
    words: `${count === 1 ? 'The limit is' : count === 2 ? 'Both limits are' : (open > 0 ? '' : 'All ') + count + ' limits are'} kept. Closest: ${first.sentence}, with ${marginWords(run, first)} to spare.${aside}`,
  };
}

function limitRow(run, limit) {
  const broken = limit.result === 'broken';
  const when = broken && limit.first_time !== null ? limit.first_time : limit.worst_time;
  return element(
    'tr',
    { class: limit.result.replace(' ', '-') },
    cell(
      [
        element('span', { class: 'mark', 'aria-hidden': 'true' }, broken ? '✕ ' : neverJudged(limit) ? '○ ' : '✓ '),
        neverJudged(limit) ? 'not judged' : limit.result,
      ],
      'result',
    ),
    rowHead(limit.sentence),
    labelled('worst value', cell(shown(describedLimit(run, limit), limit.worst), 'number')),
    labelled('margin', cell(marginWords(run, limit), 'number')),
    cell(marginBar(limit)),
    cell(limit.worst_time === null ? '' : timeButton(run, limit.worst_time), 'number'),
    cell(limit.reason || (broken && limit.first_time !== null ? 'first broken at ' + seconds(when) : ''), 'hint'),
  );
}

function showVerdict() {
  const heads = ['', 'limit', 'worst value', 'margin', '', 'at', ''].map((text, at) => ({
    text,
    number: [2, 3, 5].includes(at),
  }));
  const parts = runs.map((run) => {
    const headline = headlineOf(run);
    return element(
      'div',
      { class: 'verdict' },
      runs.length > 1 ? element('h3', {}, runName(run)) : null,
      element(
        'p',
        { class: 'headline ' + headline.kind },
        element('span', { class: 'mark', 'aria-hidden': 'true' }, headline.mark + ' '),
        headline.words,
      ),
      run.limits.length > 0
        ? table(
            heads,
            rankedLimits(run).map((limit) => limitRow(run, limit)),
            { class: 'limits', 'aria-label': 'Limits, worst margin first' },
          )
        : null,
    );
  });
  replaceAll(byId('verdict-body'), parts);
}

// --- Measures -------------------------------------------------------------------------------------------------------------

function isTimeOfAnother(run, measure) {
  return measure.name.endsWith('_time') && run.measureByName.has(measure.name.slice(0, -5));
}

function shutRelief(run, measure) {
  const side = /^relief_([ab])_/.exec(measure.name);
  return side !== null && !(measureOf(run, `relief_${side[1]}_openings`) > 0);
}

function measureCell(run, measure) {
  const own = run.measureByName.get(measure.name);
  const when = measureOf(run, measure.name + '_time');
  return [
    cell(
      own === undefined || own.value === null ? element('span', { class: 'hint' }, 'none') : shown(own, own.value),
      'number',
    ),
    cell(Number.isFinite(when) ? timeButton(run, when) : '', 'number when'),
  ];
}

function showMeasures() {
  const first = runs[0];
  const all = first.measures.filter((measure) => !isTimeOfAnother(first, measure) && !/_residual$/.test(measure.name));
  const has = (measure) =>
    runs.some((run) => Number.isFinite(measureOf(run, measure.name)) && !shutRelief(run, measure));
  const rows = all.filter(has).map((measure) =>
    element(
      'tr',
      {},
      rowHead(measure.text || named(measure.name)),
      runs.map((run) => measureCell(run, measure)),
    ),
  );
  const absent = all.filter((measure) => !has(measure));
  const heads =
    runs.length > 1
      ? [{ text: '' }].concat(
          ...runs.map((run) => [
            { text: run.label, number: true },
            { text: 'at', number: true },
          ]),
        )
      : null;
  const half = Math.ceil(rows.length / 2);
  const tables =
    runs.length > 1
      ? table(heads, rows, { 'aria-label': 'Measures' })
      : element(
          'div',
          { class: 'columns' },
          table(null, rows.slice(0, half), { 'aria-label': 'Measures, first part' }),
          table(null, rows.slice(half), { 'aria-label': 'Measures, second part' }),
        );
  const reasons =
    absent.length === 0
      ? null
      : element(
          'details',
          {},
          element('summary', {}, `${absent.length} ${absent.length === 1 ? 'measure' : 'measures'} without a value in this run, and why`),
          table(
            null,
            absent.map((measure) =>
              element(
                'tr',
                {},
                rowHead(measure.text || named(measure.name)),
                cell(
                  measure.value !== null
                    ? shown(measure, measure.value) + (shutRelief(first, measure) ? ', the valve stayed shut' : '')
                    : measure.reason || 'no value',
                ),
              ),
            ),
          ),
        );
  replaceAll(byId('measures-body'), tables, reasons);
}

// --- Differences between runs -----------------------------------------------------------------------------------------------

function parameterWords(parameter) {
  if (parameter === undefined) return 'not there';
  if (parameter.choice !== undefined) return named(parameter.choice);
  if (parameter.table !== undefined) return profileWords(parameter);
  return shown(parameter, parameter.value, 6);
}

function profileWords(parameter) {
  if (parameter.table.length === 0) return 'empty';
  const argument = { si: parameter.argument_si, trade: parameter.argument_trade };
  const pairs = parameter.table.map(
    (value, at) => `${figures(toShown(argument, parameter.argument[at]), 5)}: ${figures(toShown(parameter, value), 5)}`,
  );
  const shownPairs = pairs.length > 12 ? pairs.slice(0, 11).concat(`… ${pairs.length - 11} more`) : pairs;
  const units = [unitOf(argument).unit, unitOf(parameter).unit].filter((unit) => unit !== '').join(': ');
  return shownPairs.join(', ') + (units ? ` (${units})` : '');
}

function sameParameter(a, b) {
  if (a === undefined || b === undefined) return a === b;
  return (
    a.choice === b.choice &&
    a.value === b.value &&
    JSON.stringify([a.table, a.argument]) === JSON.stringify([b.table, b.argument])
  );
}

function settingDifferences() {
  const names = new Set(runs.flatMap((run) => run.parameters.map((parameter) => parameter.name)));
  return [...names].filter((name) =>
    runs.some((run) => !sameParameter(run.parameterByName.get(name), runs[0].parameterByName.get(name))),
  );
}

function differenceWords(described, value, base) {
  if (!Number.isFinite(value) || !Number.isFinite(base)) return '';
  const unit = unitOf(described);
  const delta = (value - base) / unit.scale;
  const sign = delta > 0 ? '+' : '';
  const share = base !== 0 && described.si !== 'K' ? `, ${sign}${percent((value - base) / Math.abs(base), 2)}` : '';
  return value === base ? 'same' : `${sign}${figures(delta, 3)}${unit.unit ? '\u00a0' + unit.unit : ''}${share}`;
}

function resultDifferences() {
  const rows = [];
  const add = (described, words, values) => {
    const finite = values.filter(Number.isFinite);
    const size = Math.max(...finite.map(Math.abs), 0);
    const spread =
      finite.length > 1 ? (Math.max(...finite) - Math.min(...finite)) / (described.si === 'K' ? 100 : size || 1) : 0;
    const missing = finite.length !== values.length && finite.length > 0;
    if (spread > 1e-6 || missing) rows.push({ described, words, values, spread: missing ? 2 : spread });
  };
  for (const measure of runs[0].measures) {
    if (/residual$/.test(measure.name) || isTimeOfAnother(runs[0], measure)) continue;
    add(
      measure,
      measure.text || named(measure.name),
      runs.map((run) => measureOf(run, measure.name)),
    );
  }
  for (const term of runs[0].ledger.filter((row) => row.kind)) {
    const values = runs.map((run) => (run.ledger.find((row) => row.name === term.name) || { value: NaN }).value);
    const size = Math.max(...runs.map((run) => energyIn(run)));
    if (Math.max(...values) - Math.min(...values) > 0.002 * size)
      add(term, 'energy: ' + (term.text || named(term.name)), values);
  }
  return rows.sort((a, b) => b.spread - a.spread);
}

function differenceRow(row) {
  return element(
    'tr',
    {},
    rowHead(row.words),
    row.values.map((value, at) => [
      cell(Number.isFinite(value) ? shown(row.described, value) : 'none', 'number'),
      at > 0 ? cell(differenceWords(row.described, value, row.values[0]), 'number hint') : null,
    ]),
  );
}

function showComparison() {
  if (runs.length < 2) return;
  byId('comparison').hidden = false;
  const names = settingDifferences();
  const results = resultDifferences();
  const settingHeads = [{ text: 'setting' }].concat(runs.map((run) => ({ text: run.label })));
  const resultHeads = [{ text: 'result' }].concat(
    ...runs.map((run, at) =>
      [{ text: run.label, number: true }].concat(at > 0 ? [{ text: 'against run 1', number: true }] : []),
    ),
  );
  const shownRows = results.slice(0, 14).map(differenceRow);
  const more = results.slice(14).map(differenceRow);
  replaceAll(
    byId('comparison-body'),
    element(
      'ul',
      { class: 'run-keys' },
      runs.map((run) => element('li', {}, dashSample(run.index), ' ' + runName(run))),
    ),
    names.length === 0
      ? element('p', {}, 'No parameter differs.')
      : table(
          settingHeads,
          names.map((name) =>
            element(
              'tr',
              {},
              rowHead(named(name.replace('.', ': '))),
              runs.map((run) => cell(parameterWords(run.parameterByName.get(name)))),
            ),
          ),
          { 'aria-label': 'Settings that differ' },
        ),
    results.length === 0
      ? element('p', {}, 'No result differs.')
      : table(resultHeads, shownRows, { 'aria-label': 'Results that differ, largest difference first' }),
    more.length > 0
      ? element('details', {}, element('summary', {}, `${more.length} smaller differences`), table(resultHeads, more))
      : null,
  );
}

// --- Case and laws ----------------------------------------------------------------------------------------------------------

function isChanged(parameter) {
  if (parameter.table !== undefined) return false;
  if (parameter.choice !== undefined) return parameter.usual !== undefined && parameter.choice !== parameter.usual;
  if (parameter.usual === undefined || parameter.usual === null || parameter.value === null) return false;
  return (
    Math.abs(parameter.value - parameter.usual) > 1e-6 * Math.max(Math.abs(parameter.value), Math.abs(parameter.usual))
  );
}

function profilePicture(parameter) {
  const width = 160;
  const height = 34;
  const arguments_ = parameter.argument;
  const low = Math.min(0, ...parameter.table);
  const high = Math.max(0, ...parameter.table);
  const end = Math.max(arguments_[arguments_.length - 1], arguments_[0] + 1e-9);
  const x = (value) => 2 + ((width - 4) * (value - arguments_[0])) / (end - arguments_[0]);
  const y = (value) => height - 3 - ((height - 6) * (value - low)) / (high - low || 1);
  const path = parameter.table
    .map((value, at) => `${at === 0 ? 'M' : 'L'}${x(arguments_[at]).toFixed(1)} ${y(value).toFixed(1)}`)
    .join('');
  return drawn(
    'svg',
    { viewBox: `0 0 ${width} ${height}`, class: 'profile', 'aria-hidden': 'true' },
    drawn('path', { d: `M2 ${y(0)}H${width - 2}`, class: 'zero' }),
    drawn('path', { d: path, class: 'line' }),
  );
}

function caseOf(run) {
  const inputs = run.parameters.filter((parameter) => parameter.table !== undefined && parameter.table.length > 0);
  const changed = run.parameters.filter(isChanged);
  const sections = [...new Set(changed.map((parameter) => parameter.name.split('.')[0]))];
  return [
    element('h3', {}, 'Inputs'),
    inputs.length === 0
      ? element('p', { class: 'hint' }, 'No table was given.')
      : table(
          null,
          inputs.map((parameter) =>
            element(
              'tr',
              {},
              rowHead([
                named(parameter.name.replace('.', ': ')),
                element('span', { class: 'hint' }, ' ' + (parameter.text || '')),
              ]),
              cell(profilePicture(parameter)),
              cell(profileWords(parameter)),
            ),
          ),
          { class: 'inputs' },
        ),
    element('h3', {}, `Parameters that are not at their default (${changed.length} of ${run.parameters.length})`),
    element(
      'div',
      { class: 'sections' },
      sections.map((section) =>
        element(
          'div',
          { class: 'part' },
          element('h4', {}, named(section)),
          table(
            null,
            changed
              .filter((parameter) => parameter.name.split('.')[0] === section)
              .map((parameter) =>
                element(
                  'tr',
                  { title: parameter.text || null },
                  rowHead(named(parameter.name.slice(section.length + 1))),
                  cell(parameterWords(parameter), 'number'),
                  cell(
                    parameter.choice !== undefined
                      ? `default ${named(parameter.usual)}`
                      : `default ${shown(parameter, parameter.usual, 6)}`,
                    'hint number',
                  ),
                ),
              ),
          ),
        ),
      ),
    ),
    element(
      'details',
      {},
      element('summary', {}, 'The whole case, with every default: save it and it runs again'),
      element('pre', { tabindex: '0' }, run.case),
    ),
  ];
}

function lawsOf(run) {
  const laws = run.parameters.filter((parameter) => parameter.choice !== undefined);
  return table(
    [{ text: 'part' }, { text: 'what' }, { text: 'in use' }, { text: 'to choose from' }],
    laws.map((parameter) =>
      element(
        'tr',
        {},
        rowHead(named(parameter.name.replace('.', ': '))),
        cell(parameter.text || ''),
        cell(element('strong', {}, named(parameter.choice))),
        cell(
          (parameter.choices || '')
            .split('|')
            .filter((choice) => choice !== parameter.choice)
            .map(named)
            .join(', ') || '–',
          'hint',
        ),
      ),
    ),
    { class: 'laws' },
  );
}

function perRun(body, make) {
  replaceAll(
    byId(body),
    runs.length === 1
      ? make(runs[0])
      : runs.map((run, at) =>
          element('details', { class: 'per-run', open: at === 0 }, element('summary', {}, runName(run)), make(run)),
        ),
  );
}

// --- Solver and origin --------------------------------------------------------------------------------------------------------

function solverOf(run) {
  const energy = measureOf(run, 'energy_residual');
  const oil = run.measureByName.get('oil_residual');
  const heat = measureOf(run, 'heat_residual');
  const residual = run.ledger.find((row) => row.name === 'energy_residual');
  const closing = [
    Number.isFinite(energy)
      ? `The energy ledger leaves ${figures(energy, 3)} of the energy put in unexplained${residual ? ` (${shown(residual, residual.value, 3)})` : ''}. `
      : '',
    oil && oil.value !== null ? `The oil in tank and lines drifts by ${shown(oil, oil.value, 3)}. ` : '',
    Number.isFinite(heat) ? `The balance of heat in the oil leaves ${figures(heat, 3)} of what moved unexplained.` : '',
  ];
  return [
    element('p', {}, closing.join('')),
    table(
      null,
      run.solver.map((row) =>
        element('tr', {}, rowHead(row.text || named(row.name)), cell(shown(row, row.value), 'number')),
      ),
    ),
    element(
      'details',
      {},
      element('summary', {}, `${run.states.length} states were integrated`),
      table(
        [{ text: 'state' }, { text: 'absolute tolerance', number: true }],
        run.states.map((state) =>
          element(
            'tr',
            {},
            rowHead(named(state.state_name)),
            cell(figures(state.absolute_tolerance, 3) + '\u00a0' + prettyUnit(state.state_unit), 'number'),
          ),
        ),
      ),
    ),
  ];
}

function curveWords(run) {
  const cut = run.curves.filter((curve) => curve.pieces > 0).length;
  const kept = run.curves.reduce((sum, curve) => sum + curve.points, 0);
  const all = run.curves.reduce((sum, curve) => sum + curve.samples, 0);
  const share = Math.max(
    0,
    ...run.curves.map((curve, at) => curve.tolerance / (run.signals[at].high - run.signals[at].low || 1)),
  );
  return (
    `${figures(kept, 6)} of ${figures(all, 7)} samples are on this page; what was left out lies within ${percent(share, 2)} of its curve’s range from the line drawn. Highest and lowest values are kept exactly.` +
    (cut > 0 ? ` ${cut} noisy curves show the lowest and highest value of short pieces instead.` : '')
  );
}

function originOf(run) {
  const rows = [
    ['run file', run.file],
    ['its SHA-256', element('code', {}, run.file_hash || 'not known')],
    ['case, SHA-256 of its whole text', element('code', {}, run.case_hash)],
    ['written by', run.source],
    ['command', run.history],
    ['circuit', `${run.plant}${run.plant_text ? ': ' + run.plant_text : ''}`],
    ['status', run.status + (run.status_message ? ': ' + run.status_message : '')],
    ['curves', curveWords(run)],
  ];
  return table(
    null,
    rows.map(([head, words]) => element('tr', {}, rowHead(head), cell(words, 'long'))),
  );
}

function showOrigin() {
  perRun('origin-body', originOf);
  byId('origin-body').append(
    element(
      'p',
      {},
      `This page: swashloop ${facts.version}, ${facts.made}. Charts are drawn with uPlot, under the MIT licence.`,
    ),
    element('details', {}, element('summary', {}, 'Licence of uPlot'), element('pre', {}, byId('licence').textContent)),
  );
}

function showTables() {
  showVerdict();
  showComparison();
  showEvents();
  showMeasures();
  perRun('case-body', caseOf);
  perRun('laws-body', lawsOf);
  perRun('solver-body', solverOf);
  showOrigin();
}
