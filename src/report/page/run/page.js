'use strict';
// The page put together: masthead, rail with transport, keys, print.

function showMasthead() {
  const first = runs[0];
  const title = runs.length === 1 ? first.title || first.file : `${runs.length} runs compared`;
  document.title = title;
  byId('title').textContent = title;
  byId('kind').textContent = runs.length === 1 ? 'Report of a run' : 'Comparison of runs';
  byId('subtitle').textContent =
    runs.length === 1
      ? `${first.plant_text || first.plant}. Simulated ${seconds(first.end - first.start, 3)}; file ${first.file}.`
      : runs.map(runName).join('; ');
  byId('caution').textContent = facts.caution;
  byId('caution-end').textContent = facts.caution;
}

// --- Rail: the whole run, its events, the window on show, the cursor ----------------------------------------------------------

const rail = {};

function railShape() {
  const run = chosenRun();
  const curve = shownCurve(run, 'vehicle_speed') || shownCurve(run, run.signals.length > 0 ? run.signals[0].name : '');
  if (curve === null || !(curve.signal.high > curve.signal.low)) return '';
  const columns = 240;
  const [times, values] = everyPeak([curve], wholeSpan, columns);
  const low = Math.min(0, curve.signal.low);
  const high = Math.max(0, curve.signal.high);
  const y = (value) => (Number.isFinite(value) ? 100 - (92 * (value - low)) / (high - low) : y(0));
  const x = (time) => (1000 * (time - wholeSpan[0])) / (wholeSpan[1] - wholeSpan[0]);
  return (
    `M0 ${y(0).toFixed(1)}` +
    times.map((time, at) => `L${x(time).toFixed(1)} ${y(values[at]).toFixed(1)}`).join('') +
    `L1000 ${y(0).toFixed(1)}Z`
  );
}

function railPlace(time) {
  return (100 * (time - wholeSpan[0])) / (wholeSpan[1] - wholeSpan[0]) + '%';
}

function showRailMarks() {
  rail.shape.setAttribute('d', railShape());
  replaceAll(
    rail.marks,
    chosenRun()
      .events.slice(0, 400)
      .map((event) => {
        const mark = element('span', { class: 'rail-mark', title: `${seconds(event.time)} ${event.message}` });
        mark.style.left = railPlace(event.time + chosenRun().shift);
        return mark;
      }),
  );
}

function updateRail() {
  const [from, to] = state.window;
  rail.window.style.left = railPlace(from);
  rail.window.style.width = (100 * (to - from)) / (wholeSpan[1] - wholeSpan[0]) + '%';
  rail.cursor.style.left = railPlace(state.cursor);
  rail.time.textContent = seconds(state.cursor, timeDecimals(to - from));
  rail.track.setAttribute('aria-valuemin', wholeSpan[0]);
  rail.track.setAttribute('aria-valuemax', wholeSpan[1]);
  rail.track.setAttribute('aria-valuenow', state.cursor.toFixed(6));
  rail.track.setAttribute('aria-valuetext', seconds(state.cursor));
  rail.span.textContent =
    to - from < wholeSpan[1] - wholeSpan[0]
      ? `${seconds(from, timeDecimals(to - from))} to ${seconds(to, timeDecimals(to - from))}`
      : 'whole run';
}

function bindRail() {
  let drag = null;
  const timeAt = (event) => {
    const box = rail.track.getBoundingClientRect();
    return wholeSpan[0] + ((wholeSpan[1] - wholeSpan[0]) * (event.clientX - box.left)) / box.width;
  };
  rail.track.addEventListener('pointerdown', (event) => {
    rail.track.setPointerCapture(event.pointerId);
    const zoomed = state.window[1] - state.window[0] < 0.999 * (wholeSpan[1] - wholeSpan[0]);
    const time = timeAt(event);
    const inside = time > state.window[0] && time < state.window[1];
    drag = { time, window: state.window.slice(), pans: event.shiftKey && zoomed && inside };
    if (!drag.pans) goTo(time);
  });
  rail.track.addEventListener('pointermove', (event) => {
    if (drag === null) return;
    if (drag.pans) setWindow(drag.window[0] + timeAt(event) - drag.time, drag.window[1] + timeAt(event) - drag.time);
    else goTo(timeAt(event));
  });
  for (const kind of ['pointerup', 'pointercancel'])
    rail.track.addEventListener(kind, () => {
      drag = null;
    });
}

function button(words, label, action) {
  return element(
    'button',
    { type: 'button', class: 'tool', title: label, 'aria-label': label, onclick: action },
    words,
  );
}

// Runs that brake at different times are compared from the start of braking, which becomes time zero.
function alignButton() {
  const starts = runs.map((run) => measureOf(run, 'stop_from'));
  if (!starts.every(Number.isFinite) || Math.max(...starts) - Math.min(...starts) < 1e-6) return null;
  const toggle = button('from braking', 'Count time from the start of braking in every run', () => {
    const align = toggle.getAttribute('aria-pressed') !== 'true';
    const before = chosenRun().shift;
    shiftRuns((run) => (align ? -starts[run.index] : 0));
    toggle.setAttribute('aria-pressed', String(align));
    const cursor = state.cursor - before + chosenRun().shift;
    setWindow(...wholeSpan);
    setCursor(cursor);
    showRailMarks();
    updateRail();
  });
  toggle.setAttribute('aria-pressed', 'false');
  return toggle;
}

function showRail() {
  rail.shape = drawn('path', { class: 'rail-shape' });
  rail.window = element('div', { class: 'rail-window' });
  rail.marks = element('div', { class: 'rail-marks' });
  rail.cursor = element('div', { class: 'rail-cursor' });
  rail.track = element(
    'div',
    {
      class: 'rail-track',
      role: 'slider',
      tabindex: '0',
      'aria-label': 'Time of the cursor',
    },
    drawn('svg', { viewBox: '0 0 1000 100', preserveAspectRatio: 'none', 'aria-hidden': 'true' }, rail.shape),
    rail.window,
    rail.marks,
    rail.cursor,
  );
  rail.time = element('output', { class: 'rail-time' });
  rail.span = element('span', { class: 'rail-span' });
  rail.play = button('▶', 'Play (space)', togglePlay);
  rail.speed = element(
    'select',
    {
      'aria-label': 'Speed of playing',
      onchange: () => {
        state.speed = Number(rail.speed.value);
      },
    },
    [0.01, 0.05, 0.1, 0.25, 0.5, 1, 2, 5, 10].map((speed) =>
      element('option', { value: speed, selected: speed === 1 }, `${speed} ×`),
    ),
  );
  const choose =
    runs.length < 2
      ? null
      : element(
          'select',
          {
            'aria-label': 'Run shown in the circuit and by the marks',
            onchange: (event) => selectRun(Number(event.target.value)),
          },
          runs.map((run) => element('option', { value: run.index }, run.label)),
        );
  replaceAll(
    byId('rail'),
    element(
      'div',
      { class: 'rail-tools', role: 'toolbar', 'aria-label': 'Time' },
      rail.play,
      rail.speed,
      rail.time,
      button('⇤', 'Event before ([)', () => stepEvent(-1)),
      button('⇥', 'Event after (])', () => stepEvent(1)),
      choose,
      alignButton(),
      element('span', { class: 'space' }),
      rail.span,
      button('−', 'Show more time (-)', () => zoomBy(2)),
      button('+', 'Show less time (+)', () => zoomBy(0.5)),
      button('◂', 'Earlier', () => panBy(-0.25)),
      button('▸', 'Later', () => panBy(0.25)),
      button('whole', 'Show the whole run (0)', () => setWindow(...wholeSpan)),
    ),
    rail.track,
    element(
      'p',
      { class: 'hint keys-hint' },
      'Drag in a chart to zoom, shift-drag or swipe sideways to pan, double click for all. Keys: ← → cursor, + − zoom, [ ] events, space plays, 0 all.',
    ),
  );
  bindRail();
  showRailMarks();
  updateRail();
  onChange('cursor', updateRail);
  onChange('window', updateRail);
  onChange('run', () => {
    showRailMarks();
    updateRail();
  });
}

function stepEvent(way) {
  const shift = chosenRun().shift;
  const times = [...new Set(chosenRun().events.map((event) => event.time + shift))].sort((a, b) => a - b);
  const next =
    way > 0
      ? times.find((time) => time > state.cursor + 1e-6)
      : times.reverse().find((time) => time < state.cursor - 1e-6);
  if (next === undefined) return;
  goTo(next);
  announce(
    chosenRun()
      .events.filter((event) => event.time + shift === next)
      .map((event) => `${seconds(next)}: ${event.message}`)
      .join('; '),
  );
}

// --- Playing ------------------------------------------------------------------------------------------------------------------

function togglePlay() {
  state.playing = !state.playing;
  rail.play.textContent = state.playing ? '❚❚' : '▶';
  rail.play.setAttribute('aria-label', state.playing ? 'Stop (space)' : 'Play (space)');
  if (!state.playing) return;
  const run = chosenRun();
  if (state.cursor >= run.end + run.shift - 1e-9) setCursor(run.start + run.shift);
  let before = performance.now();
  const step = (now) => {
    if (!state.playing) return;
    goTo(state.cursor + (state.speed * (now - before)) / 1000);
    before = now;
    if (state.cursor >= run.end + run.shift - 1e-9) togglePlay();
    else requestAnimationFrame(step);
  };
  requestAnimationFrame(step);
}

// --- Keys, print ----------------------------------------------------------------------------------------------------------------

function bindKeys() {
  const actions = {
    ArrowLeft: (event) => goTo(state.cursor - ((event.shiftKey ? 20 : 1) * (state.window[1] - state.window[0])) / 500),
    ArrowRight: (event) => goTo(state.cursor + ((event.shiftKey ? 20 : 1) * (state.window[1] - state.window[0])) / 500),
    Home: () => goTo(wholeSpan[0]),
    End: () => goTo(wholeSpan[1]),
    '+': () => zoomBy(0.5),
    '=': () => zoomBy(0.5),
    '-': () => zoomBy(2),
    0: () => setWindow(...wholeSpan),
    Escape: () => setWindow(...wholeSpan),
    '[': () => stepEvent(-1),
    ']': () => stepEvent(1),
    ' ': togglePlay,
  };
  document.addEventListener('keydown', (event) => {
    const target = event.target;
    const typing = /^(INPUT|SELECT|TEXTAREA|PRE)$/.test(target.tagName);
    const pressing = /^(BUTTON|SUMMARY|A)$/.test(target.tagName) && event.key === ' ';
    // Arrows, Home and End also scroll the page: they belong to the cursor only while the curves are in sight.
    const near = byId('replay').getBoundingClientRect();
    const inSight = near.top < innerHeight && near.bottom > 0;
    if (typing || pressing || event.ctrlKey || event.metaKey || event.altKey || actions[event.key] === undefined)
      return;
    if (!inSight && target !== rail.track) return;
    if (/^(Home|End)$/.test(event.key) && target !== rail.track) return;
    event.preventDefault();
    actions[event.key](event);
  });
}

// On paper: light, every chart drawn at the width of the page, nothing hidden.
function bindPrint() {
  let kept = null;
  addEventListener('beforeprint', () => {
    kept = {
      theme: document.documentElement.dataset.theme,
      shut: [...document.querySelectorAll('details.per-run:not([open])')],
    };
    for (const details of kept.shut) details.open = true;
    document.documentElement.dataset.theme = 'light';
    document.body.classList.add('printing');
    for (const chart of charts) chart.fixedWidth = chart.group.tall ? 690 : 338;
    energyState.fixedWidth = 640;
    showEnergy();
    rebuildCharts();
  });
  addEventListener('afterprint', () => {
    if (kept === null) return;
    if (kept.theme === undefined) delete document.documentElement.dataset.theme;
    else document.documentElement.dataset.theme = kept.theme;
    document.body.classList.remove('printing');
    for (const chart of charts) chart.fixedWidth = null;
    for (const details of kept.shut) details.open = false;
    energyState.fixedWidth = null;
    kept = null;
    showEnergy();
    rebuildCharts();
  });
}

function bindWidth() {
  let width = byId('energy-body').clientWidth;
  new ResizeObserver(() => {
    const now = byId('energy-body').clientWidth;
    if (Math.abs(now - width) < 8 || document.body.classList.contains('printing')) return;
    width = now;
    showEnergy();
  }).observe(byId('energy-body'));
}

function start() {
  onChange('units', () => {
    showTables();
    showEnergy();
  });
  // One part that cannot be shown must not take the others along.
  for (const part of [
    showMasthead,
    showTables,
    showRail,
    showCircuit,
    showCharts,
    showEnergy,
    bindKeys,
    bindSwitches,
    bindPrint,
    bindWidth,
  ]) {
    try {
      part();
    } catch (error) {
      console.error(error);
      announceError(error);
    }
  }
  const from = measureOf(runs[0], 'stop_from');
  setCursor(Number.isFinite(from) ? from : (wholeSpan[0] + wholeSpan[1]) / 2);
  document.documentElement.dataset.ready = 'yes';
}

start();
