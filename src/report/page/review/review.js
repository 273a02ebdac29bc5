'use strict';
// A review: the matrix of cases and conditions. The page tells one run, that of the chosen cell; a click on another loads
// the page for that one.

function cellPlace(at) {
  const conditions = review.conditions.length;
  return `${review.cases[Math.floor(at / conditions)]}, ${review.conditions[at % conditions]}`;
}

function marginWords(holder) {
  if (holder.endless) return 'broken';
  if (holder.margin === null) return '';
  const share = 100 * holder.margin;
  return `${share < 0 ? '\u2212' : '+'}${Math.abs(share).toFixed(Math.abs(share) < 9.95 ? 1 : 0)} %`;
}

function limitNumber(sentence) {
  return review.limits.findIndex((limit) => limit.sentence === sentence) + 1;
}

function chooseCell(at) {
  location.hash = 'cell-' + at;
  location.reload();
}

function cellButton(cell, at) {
  const judged = cell.verdict === 'kept' || cell.verdict === 'broken';
  const number = limitNumber(cell.limit);
  const words = judged ? marginWords(cell) || cell.verdict : cell.verdict;
  const label =
    `${cellPlace(at)}: ${cell.verdict}${judged ? ' ' + marginWords(cell) : ''}` +
    `${cell.limit ? ', ' + cell.limit : ''}${cell.message ? '; ' + cell.message : ''}` +
    `${cell.run ? '' : '; no history was kept'}`;
  return element(
    'button',
    {
      type: 'button',
      class: judged ? cell.verdict : 'none',
      title: label,
      'aria-label': label,
      'aria-pressed': String(at === reviewCell),
      disabled: !cell.run,
      onclick: () => chooseCell(at),
    },
    `${words}${judged && !cell.vouched ? '*' : ''}${judged && number > 0 ? ` (${number})` : ''}`,
  );
}

function matrix() {
  const conditions = review.conditions.length;
  return element(
    'div',
    { class: 'scroll' },
    element(
      'table',
      { class: 'review-matrix' },
      element('thead', {}, element('tr', {}, element('td'), review.conditions.map((name) => element('th', { scope: 'col' }, name)))),
      element(
        'tbody',
        {},
        review.cases.map((name, row) =>
          element(
            'tr',
            {},
            element('th', { scope: 'row' }, name),
            review.conditions.map((_, column) => {
              const at = row * conditions + column;
              return element('td', {}, cellButton(review.cells[at], at));
            }),
          ),
        ),
      ),
    ),
  );
}

function worstValue(limit) {
  const unit = facts.units.find((row) => row.si === limit.unit && row.trade === limit.trade);
  if (limit.worst === null || unit === undefined) return '';
  const value = (limit.worst - unit.offset) / unit.scale;
  return ` ${Number(value.toPrecision(4))} ${unit.trade === '1' ? '' : unit.trade}`;
}

function limitRows() {
  return element(
    'div',
    { class: 'scroll' },
    element(
      'table',
      {},
      element('thead', {}, element('tr', {}, ['', 'limit', 'worst margin', 'worst value', 'where', 'broken in'].map((head) => element('th', { scope: 'col' }, head)))),
      element(
        'tbody',
        {},
        review.limits.map((limit, at) =>
          element(
            'tr',
            { class: limit.broken > 0 ? 'broken' : 'kept' },
            element('td', {}, `(${at + 1})`),
            element('th', { scope: 'row' }, limit.sentence),
            element('td', { class: 'number result' }, limit.cell < 0 ? 'judged nowhere' : marginWords(limit)),
            element('td', { class: 'number' }, worstValue(limit)),
            element(
              'td',
              {},
              limit.cell < 0
                ? ''
                : element('button', { type: 'button', class: 'time', disabled: !review.cells[limit.cell].run, onclick: () => chooseCell(limit.cell) }, cellPlace(limit.cell)),
            ),
            element('td', { class: 'number' }, limit.broken > 0 ? String(limit.broken) : ''),
          ),
        ),
      ),
    ),
  );
}

function reviewHeadline() {
  const count = (verdict) => review.cells.filter((cell) => cell.verdict === verdict).length;
  const kept = count('kept');
  const others = ['broken', 'not judged', 'no limits', 'failed']
    .filter((verdict) => count(verdict) > 0)
    .map((verdict) => `${count(verdict)} ${verdict}`);
  const doubtful = review.cells.filter((cell) => cell.verdict === 'kept' && !cell.vouched).length;
  return element(
    'p',
    { class: 'headline ' + (kept === review.cells.length ? 'kept' : 'broken') },
    `${kept} of ${review.cells.length} cells keep every limit` +
      (others.length > 0 ? '; ' + others.join(', ') : '') +
      (doubtful > 0 ? `; ${doubtful} of those kept not vouched for (*)` : ''),
  );
}

function showReview() {
  const unsure = review.cells
    .map((cell, at) => [cell, at])
    .filter(([cell]) => cell.message || (cell.verdict !== 'kept' && cell.verdict !== 'broken'));
  document.title = review.title;
  byId('title').textContent = review.title;
  byId('kind').textContent = 'Report of a review';
  byId('subtitle').textContent =
    `${review.cases.length} cases under ${review.conditions.length} conditions; file ${review.file}. ` +
    'A pass in simulation proves nothing on a machine.';
  byId('review').hidden = false;
  replaceAll(
    byId('review-body'),
    reviewHeadline(),
    matrix(),
    unsure.length > 0
      ? element(
          'details',
          {},
          element('summary', {}, `Said of ${unsure.length} cells`),
          element('ul', {}, unsure.map(([cell, at]) => element('li', {}, `${cellPlace(at)}: ${cell.verdict}${cell.message ? ': ' + cell.message : ''}`))),
        )
      : null,
    element('h3', {}, 'Limits, and where each is worst'),
    limitRows(),
    element('p', { class: 'headline review-chosen', id: 'chosen-cell' }, 'Below: ', cellPlace(reviewCell)),
  );
}

showReview();
