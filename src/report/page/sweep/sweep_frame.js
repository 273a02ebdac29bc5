'use strict';
// A frame with two axes: a canvas for what is many (cells, points) and on it a drawing for lines, ticks and words.

const frameMargin = { left: 62, right: 14, top: 8, bottom: 42 };

// From SI values to places 0 ... 1 along an axis, with its ticks, in the units that are shown.
function scaleFor(column, low, high, steps) {
  if (column.kind === 'text') {
    const span = Math.max(1, steps.count);
    return {
      place: (value) => (value + 0.5) / span,
      ticks: steps.names.map((name, at) => ({ place: (at + 0.5) / span, words: name })),
    };
  }
  const unit = unitOf(column);
  const toUnit = (value) => (value - unit.offset) / unit.scale;
  const logarithmic = steps !== null && steps.logarithmic && unit.offset === 0;
  const bend = logarithmic ? Math.log : (value) => value;
  const [from, to] = [bend(toUnit(low)), bend(toUnit(high))];
  const place = (value) => (bend(toUnit(value)) - from) / (to - from || 1);
  const few = steps !== null && !steps.binned && steps.count <= 9;
  const values = few
    ? steps.centres.map((value) => toUnit(value))
    : logarithmic
      ? decadeTicks(toUnit(low), toUnit(high))
      : evenTicks(toUnit(low), toUnit(high));
  return {
    place,
    ticks: values.map((value) => ({ place: (bend(value) - from) / (to - from || 1), words: figures(value, few ? 3 : 5) })),
  };
}

function evenTicks(low, high, wanted = 6) {
  const span = high - low;
  if (!(span > 0) || !Number.isFinite(span)) return [low];
  const rough = span / wanted;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * [1, 2, 5, 10].find((factor) => factor * power >= rough * 0.999);
  const ticks = [];
  for (let at = Math.ceil(low / step - 1e-9); at * step <= high + 1e-9 * span; at++) {
    ticks.push(Number((at * step).toPrecision(12)));
  }
  return ticks;
}

function decadeTicks(low, high) {
  const ticks = [];
  for (let power = Math.floor(Math.log10(low)); power <= Math.log10(high); power++) {
    for (const factor of [1, 2, 5]) {
      const value = factor * 10 ** power;
      if (value >= low * 0.999 && value <= high * 1.001) ticks.push(Number(value.toPrecision(6)));
    }
  }
  return ticks;
}

// A frame in `host`. `x` and `y`: { column, scale }. Small frames have fewer words.
function makeFrame(host, { width, height, x, y, label, small = false }) {
  const margin = { ...frameMargin, left: small ? 52 : 62 };
  const inner = { left: margin.left, top: margin.top };
  inner.width = Math.max(40, width - margin.left - margin.right);
  inner.height = Math.max(40, height - margin.top - margin.bottom);
  const ratio = Math.max(2, devicePixelRatio || 1);
  const canvas = element('canvas', { width: width * ratio, height: height * ratio, 'aria-hidden': 'true' });
  canvas.style.width = width + 'px';
  canvas.style.height = height + 'px';
  const pen = canvas.getContext('2d');
  pen.scale(ratio, ratio);
  const xAt = (value) => inner.left + inner.width * x.scale.place(value);
  const yAt = (value) => inner.top + inner.height * (1 - y.scale.place(value));
  const over = drawn('g', {});
  const picture = drawn(
    'svg',
    { viewBox: `0 0 ${width} ${height}`, width, height, class: 'frame', role: 'img', 'aria-label': label },
    xTicks(x, inner),
    yTicks(y, inner),
    drawn('rect', { x: inner.left, y: inner.top, width: inner.width, height: inner.height, class: 'frame-edge' }),
    over,
  );
  const plot = element('div', { class: 'frame-box' }, canvas, picture);
  plot.style.height = height + 'px';
  plot.style.width = width + 'px';
  host.append(plot);
  return { plot, picture, over, pen, inner, xAt, yAt, width, height };
}

// Words side by side that would touch are left out, every second or third.
function thinned(ticks, room) {
  let keep = 1;
  while (keep < ticks.length) {
    const left = ticks.filter((_, at) => at % keep === 0);
    const widest = Math.max(...left.map((tick) => tick.words.length));
    if (widest * 7 + 8 <= room / Math.max(1, left.length - 1 || 1)) break;
    keep++;
  }
  return ticks.map((tick, at) => ({ ...tick, words: at % keep === 0 ? tick.words : '' }));
}

function xTicks(axis, inner) {
  const bottom = inner.top + inner.height;
  return [
    thinned(axis.scale.ticks, inner.width).map(({ place, words }) => {
      const at = inner.left + inner.width * place;
      return [
        drawn('path', { d: `M${at.toFixed(1)} ${bottom}v4`, class: 'frame-tick' }),
        drawn('text', { x: at.toFixed(1), y: bottom + 16, 'text-anchor': 'middle' }, words),
      ];
    }),
    drawn(
      'text',
      { x: inner.left + inner.width / 2, y: bottom + 34, 'text-anchor': 'middle', class: 'frame-name' },
      clipped(titleWithUnit(axis.column), inner.width / 6),
    ),
  ];
}

function yTicks(axis, inner) {
  return [
    axis.scale.ticks.map(({ place, words }) => {
      const at = inner.top + inner.height * (1 - place);
      return [
        drawn('path', { d: `M${inner.left} ${at.toFixed(1)}h-4`, class: 'frame-tick' }),
        drawn('text', { x: inner.left - 7, y: (at + 4).toFixed(1), 'text-anchor': 'end' }, clipped(words, 7)),
      ];
    }),
    drawn(
      'text',
      {
        transform: `translate(11 ${inner.top + inner.height / 2}) rotate(-90)`,
        'text-anchor': 'middle',
        class: 'frame-name',
      },
      clipped(titleWithUnit(axis.column), inner.height / 6),
    ),
  ];
}

function clipped(words, most) {
  return words.length > most ? words.slice(0, Math.max(3, Math.floor(most) - 1)) + '…' : words;
}

// --- Colours: one hue from light to deep, so that more is always farther from the paper ---------------------------------------

const rampStops = {
  light: ['#eff3f2', '#c3d9e1', '#8fbad0', '#5592b5', '#2b6690', '#173f61'],
  dark: ['#1d272e', '#234053', '#2c5f7d', '#4384a6', '#74aecb', '#bfe1f1'],
};

function rampColour(share) {
  const stops = rampStops[isDark() ? 'dark' : 'light'];
  const place = Math.min(Math.max(share, 0), 1) * (stops.length - 1);
  const at = Math.min(Math.floor(place), stops.length - 2);
  const channel = (text, from) => parseInt(text.slice(from, from + 2), 16);
  const parts = [1, 3, 5].map((from) =>
    Math.round(channel(stops[at], from) + (place - at) * (channel(stops[at + 1], from) - channel(stops[at], from))),
  );
  return `rgb(${parts.join(' ')})`;
}

// --- Choosing -----------------------------------------------------------------------------------------------------------------

function selectField(label, entries, chosen, onChoice) {
  const list = element(
    'select',
    { 'aria-label': label, onchange: () => onChoice(entries[list.selectedIndex].value) },
    entries.map((entry) => element('option', { selected: entry.value === chosen }, entry.words)),
  );
  return element('label', { class: 'select-field' }, element('span', {}, label), list);
}

function widthOf(id) {
  return document.body.classList.contains('printing') ? 640 : Math.max(280, byId(id).clientWidth);
}
