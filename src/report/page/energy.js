'use strict';
// Where the energy went: bands as wide as the terms of the ledger, sources on the left, what took it on the right.

const energyParts = [
  ['Engine', /^(engine_|combustion|exhaust_brake|auxiliaries)/],
  ['Pump and motor', /^(pump_|motor_|swash_|charge_pump|case_return)/],
  ['Valves', /^(relief_|charge_relief|check_|flushing)/],
  ['Driveline and ground', /^(gear|brake|tyre_|rolling|wheel_|vehicle_|slope)/],
];
const energyState = { braking: false };

function termsOf(run, braking) {
  return run.ledger.filter((row) => row.kind).map((row) => ({ ...row, energy: braking ? row.braking : row.value }))
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

// Terms of one side, largest first within their part; what is too thin to see becomes one term of the part.
function sideOf(terms, total, smallest) {
  const groups = new Map();
  for (const term of terms) {
    const part = partOf(term);
    if (!groups.has(part)) groups.set(part, { part, sum: 0, terms: [] });
    const group = groups.get(part);
    const size = Math.abs(gives(term));
    group.sum += size;
    group.terms.push({ words: termWords(term), size, names: [term.name] });
  }
  for (const group of groups.values()) {
    group.terms.sort((a, b) => b.size - a.size);
    const thin = group.terms.filter((term) => term.size < smallest * total);
    if (thin.length > 1) {
      const sum = thin.reduce((size, term) => size + term.size, 0);
      group.terms = group.terms.filter((term) => !thin.includes(term)).concat({ words: `${thin.length} smaller`, size: sum, names: thin.flatMap((term) => term.names) });
    }
  }
  return [...groups.values()].sort((a, b) => b.sum - a.sum);
}

function band(x0, y0, x1, y1, thick) {
  const middle = (x0 + x1) / 2;
  return `M${x0} ${y0}C${middle} ${y0} ${middle} ${y1} ${x1} ${y1}v${thick}C${middle} ${y1 + thick} ${middle} ${y0 + thick} ${x0} ${y0 + thick}Z`;
}

const energyUnit = { si: 'J', trade: 'kJ' };

function bandLabel(x, y, words, size, total, anchor) {
  return drawn('text', { x, y, 'text-anchor': anchor, class: 'band-label' }, words + '  ',
    drawn('tspan', { class: 'band-number' }, shown(energyUnit, size)), drawn('tspan', { class: 'band-share' }, '  ' + percent(size / total, 3)));
}

function energyPicture(run, width) {
  const terms = termsOf(run, energyState.braking);
  const total = energyIn(run, energyState.braking);
  if (!(total > 0)) return element('p', {}, 'No energy was put in.');
  const sources = sideOf(terms.filter((term) => gives(term) > 0), total, 0.004).flatMap((group) => group.terms).sort((a, b) => b.size - a.size);
  const sinks = sideOf(terms.filter((term) => gives(term) < 0), total, 0.004);
  const line = 17;
  const gap = 12;
  const rows = sinks.reduce((sum, group) => sum + group.terms.length, 0);
  const height = Math.max(220, rows * line + sinks.length * (gap + line) + 10);
  const scale = Math.min(200, height * 0.62) / total;
  const narrow = width < 620;
  const x = narrow ? { source: 4, trunk: 40, part: 90, term: 130, text: 138 } : { source: 214, trunk: 290, part: 410, term: 500, text: 510 };
  const picture = drawn('svg', { viewBox: `0 0 ${width} ${height + (narrow ? 20 + sources.length * line : 0)}`, class: 'energy', role: 'img', 'aria-label': 'Energy flow; the same numbers stand in the table below' });
  const top = (height - scale * total) / 2;
  let y = top;
  sources.forEach((source, at) => {
    const thick = source.size * scale;
    const from = narrow ? y : y + (at - (sources.length - 1) / 2) * 14;
    picture.append(drawn('path', { d: band(x.source, from, x.trunk, y, thick), class: 'band source', 'data-energy': source.size }));
    if (!narrow) {
      const middle = from + thick / 2;
      picture.append(drawn('text', { x: x.source - 8, y: middle - 2, 'text-anchor': 'end', class: 'band-label' }, source.words),
        drawn('text', { x: x.source - 8, y: middle + 12, 'text-anchor': 'end', class: 'band-label' }, drawn('tspan', { class: 'band-number' }, shown(energyUnit, source.size)), drawn('tspan', { class: 'band-share' }, '  ' + percent(source.size / total, 3))));
    }
    y += thick;
  });
  picture.append(drawn('rect', { x: x.trunk, y: top, width: 4, height: scale * total, class: 'trunk' }));
  let out = top;
  let slot = 4;
  for (const group of sinks) {
    const block = line + group.terms.length * line;
    const thick = group.sum * scale;
    const middle = slot + block / 2;
    const at = Math.max(slot, middle - thick / 2);
    picture.append(drawn('path', { d: band(x.trunk + 4, out, x.part, at, thick), class: 'band part' }),
      drawn('text', { x: x.text, y: slot + 12, class: 'band-part' }, group.part, drawn('tspan', { class: 'band-number' }, '  ' + shown(energyUnit, group.sum)), drawn('tspan', { class: 'band-share' }, '  ' + percent(group.sum / total, 3))));
    out += thick;
    let inner = at;
    group.terms.forEach((term, number) => {
      const thin = term.size * scale;
      const centre = slot + line + number * line + line / 2;
      picture.append(drawn('path', { d: band(x.part, inner, x.term, centre - thin / 2, thin), class: 'band sink', 'data-energy': term.size, 'data-terms': term.names.join(' ') }),
        bandLabel(x.text, centre + 4, term.words, term.size, total, 'start'));
      inner += thin;
    });
    slot = Math.max(slot + block, at + thick) + gap;
  }
  if (narrow) {
    sources.forEach((source, at) => picture.append(bandLabel(4, height + 14 + at * line, 'in: ' + source.words, source.size, total, 'start')));
  }
  const used = Math.max(height, slot) + (narrow ? 20 + sources.length * line : 0);
  picture.setAttribute('viewBox', `0 0 ${width} ${used}`);
  return picture;
}

function energyTable(run) {
  const hasBraking = termsOf(run, true).length > 0;
  const totals = [energyIn(run, false), energyIn(run, true)];
  const kinds = [['source', 'put in by'], ['loss', 'turned into heat in'], ['stored', 'stored in (negative: given back)']];
  const amount = (value, total) => [cell(shown(energyUnit, value), 'number'), cell(total > 0 && Number.isFinite(value) ? percent(Math.abs(value) / total, 3) : '', 'number hint')];
  const rows = kinds.flatMap(([kind, words]) => {
    const terms = run.ledger.filter((row) => row.kind === kind && (row.value !== 0 || row.braking)).sort((a, b) => Math.abs(b.value) - Math.abs(a.value));
    return [element('tr', { class: 'group' }, element('th', { scope: 'colgroup', colspan: hasBraking ? 5 : 3 }, words))].concat(terms.map((row) =>
      element('tr', { 'data-term': row.name }, rowHead(row.text || named(row.name)), amount(row.value, totals[0]), hasBraking ? amount(row.braking, totals[1]) : null)));
  });
  const heads = [{ text: '' }, { text: 'whole run', number: true }, { text: 'share', number: true }].concat(hasBraking ? [{ text: 'braking', number: true }, { text: 'share', number: true }] : []);
  return element('details', {}, element('summary', {}, 'The ledger in numbers'), table(heads, rows, { 'aria-label': 'Energy ledger' }));
}

function energyOf(run) {
  const hasBraking = termsOf(run, true).length > 0;
  if (termsOf(run, false).length === 0) return element('p', { class: 'hint' }, 'This circuit keeps no ledger.');
  const choose = (braking) => () => {
    energyState.braking = braking;
    showEnergy();
  };
  const toggle = hasBraking ? element('div', { class: 'choice', role: 'group', 'aria-label': 'Which part of the run' },
    [[false, 'whole run'], [true, 'braking: release of the pedal to standstill']].map(([braking, words]) =>
      element('button', { type: 'button', 'aria-pressed': String(energyState.braking === braking), onclick: choose(braking) }, words))) : null;
  const width = Math.max(330, Math.min(960, byId('energy-body').clientWidth || 800));
  return [toggle, energyPicture(run, width), energyTable(run)];
}

function showEnergy() {
  perRun('energy-body', energyOf);
}
