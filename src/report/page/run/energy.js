'use strict';
// Where the energy went: bands as wide as the terms of the ledger, sources on the left, what took it on the right.

const energyParts = [
  ['Engine', /^(engine_|combustion|exhaust_brake|auxiliaries)/],
  ['Pump and motor', /^(pump_|motor_|swash_|charge_pump|case_return)/],
  ['Valves', /^(relief_|charge_relief|check_|flushing)/],
  ['Driveline and ground', /^(gear|brake|tyre_|rolling|wheel_|vehicle_|slope)/],
];
const energyState = { braking: false, fixedWidth: null };

function termsOf(run, braking) {
  return run.ledger
    .filter((row) => row.kind)
    .map((row) => ({ ...row, energy: braking ? row.braking : row.value }))
    .filter((row) => Number.isFinite(row.energy));
}

// What a term gives: sources, emptying stores. Negative: what it takes.
function gives(term) {
  return term.kind === 'source' ? term.energy : -term.energy;
}

function energyIn(run, braking = false) {
  return termsOf(run, braking).reduce((sum, term) => sum + Math.max(0, gives(term)), 0);
}

function partOf(term) {
  const row = energyParts.find(([, pattern]) => pattern.test(term.name));
  return row ? row[0] : 'Stored and other';
}

function termWords(term) {
  const words = term.text || named(term.name);
  if (term.kind === 'stored') return (gives(term) > 0 ? 'given back by ' : 'stored as ') + words;
  if (term.kind === 'source' && gives(term) < 0) return 'taken by ' + words;
  return words;
}

// Terms that are too thin to see become one.
function withoutThin(terms, smallest) {
  const sorted = terms.slice().sort((a, b) => b.size - a.size);
  const thin = sorted.filter((term) => term.size < smallest);
  if (thin.length < 2) return sorted;
  const sum = thin.reduce((size, term) => size + term.size, 0);
  return sorted
    .filter((term) => !thin.includes(term))
    .concat({ words: `${thin.length} smaller`, size: sum, names: thin.flatMap((term) => term.names) });
}

function sized(terms) {
  return terms.map((term) => ({
    words: termWords(term),
    size: Math.abs(gives(term)),
    names: [term.name],
    part: partOf(term),
  }));
}

// By part, largest first.
function inParts(terms, smallest) {
  const groups = new Map();
  for (const term of terms) {
    if (!groups.has(term.part)) groups.set(term.part, { part: term.part, sum: 0, terms: [] });
    groups.get(term.part).sum += term.size;
    groups.get(term.part).terms.push(term);
  }
  for (const group of groups.values()) group.terms = withoutThin(group.terms, smallest);
  return [...groups.values()].sort((a, b) => b.sum - a.sum);
}

function band(x0, y0, x1, y1, thick) {
  const middle = (x0 + x1) / 2;
  return `M${x0} ${y0}C${middle} ${y0} ${middle} ${y1} ${x1} ${y1}v${thick}C${middle} ${y1 + thick} ${middle} ${y0 + thick} ${x0} ${y0 + thick}Z`;
}

const energyUnit = { si: 'J', trade: 'kJ' };
const LINE = 17; // height of a line of words

function amountWords(size, total, short) {
  return [
    drawn('tspan', { class: 'band-number' }, '  ' + shown(energyUnit, size)),
    short ? null : drawn('tspan', { class: 'band-share' }, '  ' + percent(size / total, 3)),
  ];
}

function bandLabel(x, y, said, size, total, kind, short) {
  return drawn('text', { x, y, class: kind || 'band-label' }, said, amountWords(size, total, short));
}

// The trunk splits into parts, a part into its terms; every row is as high as its band or its words need.
function drawSinks(picture, groups, total, scale, x, top) {
  let out = top;
  let row = 4;
  for (const group of groups) {
    const heights = group.terms.map((term) => Math.max(LINE, term.size * scale + 3));
    const block = heights.reduce((sum, height) => sum + height, LINE);
    const thick = group.sum * scale;
    const from = row + LINE + (block - LINE - thick) / 2;
    picture.append(
      drawn('path', { d: band(x.trunk + 4, out, x.part, from, thick), class: 'band part' }),
      bandLabel(x.text, row + 12, group.part, group.sum, total, 'band-part'),
    );
    out += thick;
    let inner = from;
    let y = row + LINE;
    group.terms.forEach((term, at) => {
      const thin = term.size * scale;
      const centre = y + heights[at] / 2;
      picture.append(
        drawn('path', {
          d: band(x.part, inner, x.term, centre - thin / 2, thin),
          class: 'band sink',
          'data-energy': term.size,
          'data-terms': term.names.join(' '),
        }),
        bandLabel(x.text, centre + 4, term.words, term.size, total, null, x.text < 100),
      );
      inner += thin;
      y += heights[at];
    });
    row += block + 12;
  }
  return row;
}

function drawSources(picture, sources, total, scale, x, top, narrow) {
  let into = top;
  const heights = sources.map((source) => Math.max(narrow ? 0 : 2 * LINE + 4, source.size * scale));
  let y = top + (total * scale - heights.reduce((sum, height) => sum + height, 0)) / 2;
  sources.forEach((source, at) => {
    const thick = source.size * scale;
    const centre = y + heights[at] / 2;
    picture.append(
      drawn('path', {
        d: band(x.source, centre - thick / 2, x.trunk, into, thick),
        class: 'band source',
        'data-energy': source.size,
        'data-terms': source.names.join(' '),
      }),
    );
    if (!narrow) {
      picture.append(
        drawn('text', { x: x.source - 8, y: centre - 3, 'text-anchor': 'end', class: 'band-label' }, source.words),
        drawn(
          'text',
          { x: x.source - 8, y: centre + 12, 'text-anchor': 'end', class: 'band-label' },
          amountWords(source.size, total),
        ),
      );
    }
    into += thick;
    y += heights[at];
  });
  return y;
}

function energyPicture(run, width) {
  const terms = termsOf(run, energyState.braking);
  const total = energyIn(run, energyState.braking);
  if (!(total > 0)) return element('p', {}, 'No energy was put in.');
  const narrow = width < 760;
  const sources = withoutThin(sized(terms.filter((term) => gives(term) > 0)), 0.004 * total);
  const groups = inParts(sized(terms.filter((term) => gives(term) < 0)), 0.004 * total);
  const x =
    width > 500 && narrow
      ? { source: 2, trunk: 70, part: 170, term: 250, text: 260 }
      : narrow
        ? { source: 2, trunk: 20, part: 48, term: 76, text: 82 }
        : { source: 230, trunk: 300, part: 420, term: 510, text: 520 };
  const picture = drawn('svg', {
    class: 'energy',
    role: 'img',
    'aria-label': 'Energy flow; the same numbers stand in the table below',
  });
  const scale = 210 / total;
  const words_ = narrow ? 8 + (sources.length + 1) * LINE : 0;
  const rows = groups.reduce(
    (sum, group) =>
      sum + LINE + 12 + group.terms.reduce((height, term) => height + Math.max(LINE, term.size * scale + 3), 0),
    0,
  );
  const top = Math.max(24, (rows - 210) / 2);
  const end = Math.max(
    drawSinks(picture, groups, total, scale, x, top),
    drawSources(picture, sources, total, scale, x, top, narrow),
  );
  picture.append(drawn('rect', { x: x.trunk, y: top, width: 4, height: 210, class: 'trunk' }));
  if (narrow)
    sources.forEach((source, at) =>
      picture.append(bandLabel(2, end + 14 + at * LINE, 'in: ' + source.words, source.size, total)),
    );
  picture.setAttribute('viewBox', `0 0 ${width} ${Math.ceil(end + words_)}`);
  return picture;
}

function energyTable(run) {
  const hasBraking = termsOf(run, true).length > 0;
  const totals = [energyIn(run, false), energyIn(run, true)];
  const kinds = [
    ['source', 'put in by'],
    ['loss', 'turned into heat in'],
    ['stored', 'stored in (negative: given back)'],
  ];
  const amount = (value, total) => [
    cell(shown(energyUnit, value), 'number'),
    cell(total > 0 && Number.isFinite(value) ? percent(Math.abs(value) / total, 3) : '', 'number hint'),
  ];
  const rows = kinds.flatMap(([kind, words]) => {
    const terms = run.ledger
      .filter((row) => row.kind === kind && (row.value !== 0 || row.braking))
      .sort((a, b) => Math.abs(b.value) - Math.abs(a.value));
    return [
      element('tr', { class: 'group' }, element('th', { scope: 'colgroup', colspan: hasBraking ? 5 : 3 }, words)),
    ].concat(
      terms.map((row) =>
        element(
          'tr',
          { 'data-term': row.name },
          rowHead(row.text || named(row.name)),
          amount(row.value, totals[0]),
          hasBraking ? amount(row.braking, totals[1]) : null,
        ),
      ),
    );
  });
  const heads = [{ text: '' }, { text: 'whole run', number: true }, { text: 'share', number: true }].concat(
    hasBraking
      ? [
          { text: 'braking', number: true },
          { text: 'share', number: true },
        ]
      : [],
  );
  return element(
    'details',
    {},
    element('summary', {}, 'The ledger in numbers'),
    table(heads, rows, { 'aria-label': 'Energy ledger' }),
  );
}

function energyOf(run) {
  const hasBraking = termsOf(run, true).length > 0;
  if (termsOf(run, false).length === 0) return element('p', { class: 'hint' }, 'This circuit keeps no ledger.');
  const choose = (braking) => () => {
    energyState.braking = braking;
    showEnergy();
  };
  const toggle = hasBraking
    ? element(
        'div',
        { class: 'choice', role: 'group', 'aria-label': 'Which part of the run' },
        [
          [false, 'whole run'],
          [true, 'braking, to the stop or the end of the run'],
        ].map(([braking, words]) =>
          element(
            'button',
            { type: 'button', 'aria-pressed': String(energyState.braking === braking), onclick: choose(braking) },
            words,
          ),
        ),
      )
    : null;
  const width = energyState.fixedWidth || Math.max(330, Math.min(960, byId('energy-body').clientWidth || 800));
  return [toggle, energyPicture(run, width), energyTable(run)];
}

function showEnergy() {
  perRun('energy-body', energyOf);
}
