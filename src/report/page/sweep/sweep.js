'use strict';
// The page of a sweep put together: verdict, settings, what is plotted, study, origin, print.

function showMasthead() {
  const title = whole.title || whole.file;
  document.title = title;
  byId('title').textContent = title;
  const shard = whole.shards > 1 ? ` This is shard ${whole.shard} of ${whole.shards}.` : '';
  byId('subtitle').textContent =
    `${whole.rows} cases over ${varied.length} ${varied.length === 1 ? 'parameter' : 'parameters'}: ` +
    `${varied.map((column) => column.label).join(', ')}; file ${whole.file}.${shard}`;
  byId('caution').textContent = facts.caution;
  byId('caution-end').textContent = facts.caution;
}

// --- Verdict --------------------------------------------------------------------------------------------------------------

function countOf(status) {
  const found = statusColumn === null ? undefined : statusColumn.choices.find((choice) => choice.text === status);
  return found === undefined ? 0 : found.count;
}

// Of all cases, how each limit fared: most broken first, then the least margin.
function limitsOfAll() {
  return limitColumns
    .map(({ flags, worst, sentence }, at) => {
      const least = worst !== null && worst.side === 'at least';
      const extreme = worst === null ? null : least ? worst.low : worst.high;
      const limit = {
        sentence,
        number: at + 1,
        result: flags.broken > 0 ? 'broken' : flags.kept > 0 ? 'kept' : 'unjudged',
        worst: extreme,
        level: worst === null ? null : worst.level,
        unit: worst === null ? '1' : worst.si,
        described: worst,
      };
      return { ...limit, flags, worstCase: worst === null ? null : least ? worst.low_case : worst.high_case };
    })
    .sort((a, b) => b.flags.broken - a.flags.broken || (marginOf(a) || 0) - (marginOf(b) || 0));
}

function headlineWords(limits) {
  const failed = countOf('failed');
  const unfinished = countOf('unfinished');
  const failedWords =
    (failed > 0 ? ` ${failed} failed: they have no numbers.` : '') +
    (unfinished > 0 ? ` ${unfinished} ${unfinished === 1 ? 'is' : 'are'} unfinished: their budget was spent.` : '');
  const unjudged = allLimits === null ? 0 : allLimits.unjudged;
  const aside =
    (unjudged > 0 ? ` ${unjudged} ${unjudged === 1 ? 'is' : 'are'} not judged: failed, unfinished, or no evidence for some limit.` : '') +
    failedWords;
  if (allLimits === null) {
    return { kind: 'none', mark: '○', words: `${whole.rows} cases; no limits were set, so nothing was judged.${aside}` };
  }
  const share = percent(allLimits.kept / whole.rows, 3);
  const first = limits[0];
  if (allLimits.broken + failed + unfinished === 0 && allLimits.unjudged === 0) {
    return {
      kind: 'kept',
      mark: '✓',
      words: `All ${whole.rows} cases keep every limit. Closest: ${closest(limits)}.`,
    };
  }
  const most =
    first.flags.broken > 0
      ? ` ${first.sentence} breaks most often, in ${first.flags.broken} cases, at worst ${marginText(first)}.`
      : '';
  return {
    kind: allLimits.broken + failed > 0 ? 'mixed' : 'none',
    mark: allLimits.broken + failed > 0 ? '✕' : '○',
    words:
      `${allLimits.kept} of ${whole.rows} cases (${share}) keep every limit. A limit breaks with a probability of ` +
      `${oddsWords(regionOf(0))}.${most}${aside}`,
  };
}

function closest(limits) {
  const judged = limits.filter((limit) => Number.isFinite(marginOf(limit)));
  const near = judged.sort((a, b) => marginOf(a) - marginOf(b))[0];
  return near === undefined ? 'no margin is known' : `${near.sentence}, with ${marginText(near)} to spare`;
}

function shareBar(broken) {
  const bar = element(
    'span',
    { class: 'margin-bar' + (broken > 0 ? ' broken' : ''), 'aria-hidden': 'true' },
    element('span', {}),
  );
  bar.firstChild.style.width = (100 * broken) / whole.rows + '%';
  return bar;
}

function limitOfAllRow(limit) {
  const words = { broken: ['✕ ', 'broken'], kept: ['✓ ', 'kept'], unjudged: ['○ ', 'not judged'] }[limit.result];
  return element(
    'tr',
    { class: limit.result },
    cell([element('span', { class: 'mark', 'aria-hidden': 'true' }, words[0]), words[1]], 'result'),
    rowHead(limit.sentence),
    labelled('broken in', cell(limit.flags.broken > 0 ? String(limit.flags.broken) : 'none', 'number')),
    labelled('probability', cell(oddsWords(regionOf(limit.number)), 'number')),
    cell(shareBar(limit.flags.broken)),
    labelled('worst value', cell(limit.described === null ? '–' : shown(limit.described, limit.worst), 'number')),
    labelled('margin', cell(marginText(limit), 'number')),
    labelled('case', cell(limit.worstCase === null ? '' : caseButton(limit.worstCase), 'number')),
    cell(limit.flags.unjudged > 0 ? `not judged in ${limit.flags.unjudged}` : '', 'hint'),
  );
}

function showSweepVerdict() {
  const limits = limitsOfAll();
  const headline = headlineWords(limits);
  const statuses = statusColumn === null ? [] : statusColumn.choices.map((one) => `${one.count} ${one.text}`);
  const sampled =
    whole.shown_rows < whole.rows
      ? ` Counts and extremes are of all cases; maps, curves and the table show ${whole.shown_rows} of them, drawn by lot.`
      : '';
  replaceAll(
    byId('verdict-body'),
    element(
      'div',
      { class: 'verdict' },
      element(
        'p',
        { class: 'headline ' + headline.kind },
        element('span', { class: 'mark', 'aria-hidden': 'true' }, headline.mark + ' '),
        headline.words,
      ),
      statuses.length === 0 ? null : element('p', { class: 'hint' }, `Runs: ${statuses.join(', ')}.${sampled}`),
      limits.length === 0
        ? null
        : table(
            ['', 'limit', 'broken in', 'probability (95 %)', '', 'worst value', 'margin', 'case', ''].map((text, at) => ({
              text,
              number: [2, 3, 5, 6, 7].includes(at),
            })),
            limits.map(limitOfAllRow),
            { class: 'limits', 'aria-label': 'Limits over all cases, most often broken first' },
          ),
    ),
  );
}

// --- Settings over the same cases -----------------------------------------------------------------------------------------

// Rows of one sample, in the order of the settings: case k is sample k / settings with setting k % settings.
function pairedRows(count) {
  const samples = new Map();
  for (const row of everyRow) {
    const sample = Math.floor(numberOf(row) / count);
    const rows = samples.get(sample) || new Array(count).fill(-1);
    rows[numberOf(row) % count] = row;
    samples.set(sample, rows);
  }
  return [...samples.values()].filter((rows) => rows.every((row) => row >= 0));
}

function showSettings() {
  const column = columnByName.get('setting');
  if (column === undefined || column.choices.length < 2) return;
  byId('settings').hidden = false;
  const count = column.choices.length;
  const pairs = pairedRows(count);
  const values = cellsOf(show.plotted);
  const rows = column.choices.map((choice, at) => {
    const own = pairs.map((pair) => pair[at]);
    const differences = sortedNumbers(pairs.map((pair) => values[pair[at]] - values[pair[0]]));
    const middle = summaryOf(
      own.map((row) => values[row]),
      show.plotted,
      'median',
    );
    const unit = unitOf(show.plotted);
    const delta = (share) => figures(quantile(differences, share) / unit.scale, 3);
    return element(
      'tr',
      {},
      rowHead(named(choice.text)),
      allLimits === null ? null : cell(percent(own.filter((row) => outcomeOf(row) === 'kept').length / (own.length || 1), 3), 'number'),
      cell(shown(show.plotted, middle), 'number'),
      at === 0
        ? cell('held against', 'hint')
        : cell(`${delta(0.5)} (${delta(0.05)} to ${delta(0.95)})${unit.unit ? '\u00a0' + unit.unit : ''}`, 'number'),
    );
  });
  replaceAll(
    byId('settings-body'),
    table(
      [
        { text: 'setting' },
        ...(allLimits === null ? [] : [{ text: 'within all limits', number: true }]),
        { text: show.plotted.role === 'share' ? plottedName(show.plotted) : `median, ${plottedName(show.plotted)}`, number: true },
        { text: 'difference case by case: median (5 to 95 %)', number: true },
      ],
      rows,
      { 'aria-label': 'Settings compared over the same cases' },
    ),
    element('p', { class: 'hint' }, `${pairs.length} cases, each with every setting.`),
  );
}

// --- What is plotted ----------------------------------------------------------------------------------------------------

function plottedEntries() {
  const all = breaksAny === null ? plottable : [breaksAny, ...plottable];
  return all.map((column) => ({ value: column, words: longPlottedName(column) }));
}

function showPlottedChoice() {
  replaceAll(
    byId('plotted'),
    element(
      'div',
      { class: 'select-row' },
      selectField('Look at', plottedEntries(), show.plotted, setPlotted),
      element('span', { class: 'hint plotted-hint' }, 'in map, ranking, curves and points'),
    ),
  );
}

// What was asked: the first limit of the study as it stands there, else its first measure.
function firstPlotted() {
  const limit = limitColumns.find(({ worst }) => worst !== null && worst.low !== null);
  if (limit !== undefined) return limit.worst;
  return plottable.find((column) => column.role === 'measure') || plottable[0] || breaksAny;
}

function showViews() {
  mapState.over = overFor(show.plotted);
  for (const view of [showMap, showRanking, showCurves, showScatter, showSettings]) guarded(view);
}

// --- Study and origin -----------------------------------------------------------------------------------------------------

function rangeWords(column) {
  if (column.kind === 'text') return column.choices.map((choice) => named(choice.text)).join(', ');
  const steps = levelsOf(column);
  if (!steps.binned && steps.count <= 8) return steps.centres.map((value) => shown(column, value)).join(', ');
  const how = steps.binned ? 'all over' : `${steps.count} values`;
  return `${shown(column, column.low)} to ${shown(column, column.high)}, ${how}`;
}

function showStudy() {
  replaceAll(
    byId('study-body'),
    table(
      [{ text: 'varied' }, { text: 'what' }, { text: 'values' }],
      varied.map((column) =>
        element(
          'tr',
          {},
          rowHead(column.label),
          cell([column.text || '', (column.also_sets || []).length > 0 ? `; also sets ${column.also_sets.join(', ')}` : '']),
          cell(rangeWords(column)),
        ),
      ),
      { class: 'inputs varied', 'aria-label': 'What was varied' },
    ),
    element('details', {}, element('summary', {}, 'The study file'), element('pre', { tabindex: '0' }, whole.study || '')),
    element(
      'details',
      {},
      element('summary', {}, 'The case it starts from, with every default'),
      element('pre', { tabindex: '0' }, whole.case || ''),
    ),
  );
}

function showSweepOrigin() {
  const code = (words) => element('code', {}, words || 'not known');
  const rows = [
    ['table', whole.file],
    ['its SHA-256', code(whole.file_hash)],
    ['study, SHA-256 of its text', code(whole.study_hash)],
    ['case, SHA-256 of its whole text', code(whole.case_hash)],
    ['fingerprint of the study', code(whole.study_fingerprint)],
    ['fingerprint of the arithmetic', code(whole.arithmetic_fingerprint)],
    ['written by', whole.source],
    ['command', whole.history],
    ['circuit', whole.plant],
    ['status', whole.status],
    ['numbers', 'On this page as 32-bit numbers (7 figures); the table has them in full.'],
  ];
  replaceAll(
    byId('origin-body'),
    table(
      null,
      rows.map(([head, words]) => element('tr', {}, rowHead(head), cell(words, 'long'))),
    ),
    element('p', {}, `This page: swashloop ${facts.version}, ${facts.made}.`),
  );
}

// --- Together -------------------------------------------------------------------------------------------------------------

// One part that cannot be shown must not take the others along.
function guarded(part) {
  try {
    part();
  } catch (error) {
    console.error(error);
    announceError(error);
  }
}

function bindSweepPrint() {
  let theme = null;
  addEventListener('beforeprint', () => {
    theme = document.documentElement.dataset.theme || '';
    document.documentElement.dataset.theme = 'light';
    document.body.classList.add('printing');
    showViews();
  });
  addEventListener('afterprint', () => {
    if (theme === null) return;
    if (theme === '') delete document.documentElement.dataset.theme;
    else document.documentElement.dataset.theme = theme;
    theme = null;
    document.body.classList.remove('printing');
    showViews();
  });
}

function bindSweepWidth() {
  let width = byId('map-view').clientWidth;
  new ResizeObserver(() => {
    const now = byId('map-view').clientWidth;
    if (Math.abs(now - width) < 8 || document.body.classList.contains('printing')) return;
    width = now;
    showViews();
  }).observe(byId('map-view'));
}

function startSweep() {
  show.measuresOpen = false;
  show.plotted = firstPlotted();
  if (show.plotted === undefined || show.plotted === null) {
    // Every case failed, or none has a number: verdict, table and study are still told.
    for (const id of ['plotted', 'plots']) byId(id).hidden = true;
    for (const part of [showMasthead, showSweepVerdict, showStudy, showSweepOrigin, bindSwitches]) guarded(part);
  } else {
    show.chosen = rowCount > 0 ? [0] : [];
    show.origin = 'the first case of the study';
    const parts = [showMasthead, showSweepVerdict, startMap, showPlottedChoice, showViews, showChosen, showCases, showStudy, showSweepOrigin];
    for (const part of [...parts, bindSwitches, bindSweepPrint, bindSweepWidth]) guarded(part);
    onChange('plotted', () => [showViews, showRows].forEach(guarded));
    onChange('chosen', () => [showChosen, showRows, markPoint].forEach(guarded));
    onChange('theme', showViews);
    onChange('units', () => [showSweepVerdict, showPlottedChoice, showViews, showChosen, showCases, showStudy].forEach(guarded));
  }
  document.documentElement.dataset.ready = 'yes';
}

startSweep();
