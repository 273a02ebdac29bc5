'use strict';
// From curves to what a chart draws of them in one window of time: every point, or every peak.

// The same as indexAt, from a place shortly before.
function indexFrom(curve, index, time) {
  while (index + 1 < curve.time.length && curve.time[index + 1] <= time) index++;
  return index;
}

// --- Points for one window: every one of them if there is room, else lowest and highest of every pixel column ------------------

function inView(curve, [from, to]) {
  const first = Math.max(0, indexAt(curve.time, from));
  const last = Math.min(curve.time.length - 1, indexAt(curve.time, to) + 1);
  return [first, last];
}

function everyPoint(curves, window) {
  let count = 2;
  const views = curves.map((curve) => inView(curve, window));
  for (const [first, last] of views) count += last - first + 1;
  const times = new Float64Array(count);
  let at = 0;
  times[at++] = window[0];
  times[at++] = window[1];
  curves.forEach((curve, index) => {
    for (let i = views[index][0]; i <= views[index][1]; i++) {
      if (curve.time[i] > window[0] && curve.time[i] < window[1]) times[at++] = curve.time[i];
    }
  });
  const sorted = times.subarray(0, at).sort();
  const unique = [];
  for (let i = 0; i < sorted.length; i++) if (i === 0 || sorted[i] > sorted[i - 1]) unique.push(sorted[i]);
  const values = curves.map((curve) => {
    let index = indexAt(curve.time, window[0]);
    return unique.map((time) => {
      index = indexFrom(curve, index, time);
      return between(curve, index, time);
    });
  });
  return [unique, ...values];
}

// A column in which a curve only rises or only falls has its peaks at its edges: there the curve itself is drawn.
function everyPeak(curves, [from, to], columns) {
  const step = (to - from) / columns;
  const times = new Array(2 * columns);
  for (let c = 0; c < columns; c++) {
    times[2 * c] = from + c * step;
    times[2 * c + 1] = from + (c + 0.5) * step;
  }
  const values = curves.map((curve) => {
    const result = new Array(2 * columns);
    let index = indexAt(curve.time, from);
    let edge = between(curve, index, from);
    for (let c = 0; c < columns; c++) {
      const end = from + (c + 1) * step;
      const entry = edge;
      const middle = between(curve, indexFrom(curve, index, times[2 * c + 1]), times[2 * c + 1]);
      let low = edge;
      let high = edge;
      let lowFirst = true;
      while (index + 1 < curve.time.length && curve.time[index + 1] <= end) {
        const value = curve.value[++index];
        if (value < low || Number.isNaN(low)) [low, lowFirst] = [value, false];
        if (value > high || Number.isNaN(high)) [high, lowFirst] = [value, true];
      }
      edge = between(curve, index, end);
      if (edge < low || Number.isNaN(low)) [low, lowFirst] = [edge, false];
      if (edge > high || Number.isNaN(high)) [high, lowFirst] = [edge, true];
      const plain = low === Math.min(entry, edge) && high === Math.max(entry, edge);
      result[2 * c] = plain ? entry : lowFirst ? low : high;
      result[2 * c + 1] = plain ? middle : lowFirst ? high : low;
    }
    return result;
  });
  return [times, ...values];
}

function pointsFor(curves, window, columns) {
  if (curves.length === 0) return [[window[0], window[1]]];
  const count = curves.reduce((sum, curve) => {
    const [first, last] = inView(curve, window);
    return sum + last - first + 1;
  }, 0);
  return count <= 4 * columns ? everyPoint(curves, window) : everyPeak(curves, window, columns);
}
