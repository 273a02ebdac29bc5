'use strict';
// The circuit at the cursor's instant. Symbols follow ISO 1219-1: pump and motor as circles with flow triangles (outward
// pump, inward motor) and the arrow of adjustment, the combustion engine as a square with M, valves as squares with an
// arrow, spring and dashed pilot line, check valves as ball and seat, open tanks. All lines are drawn in one colour: what
// is in them stands beside them as number and bar.

const circuit = { parts: [] };
const FLOW_SEEN = 0.3 / 60000; // m3/s: below this no direction is shown

function path(d, kind) {
  return drawn('path', { d, class: kind || 'pipe' });
}

function words(x, y, text, anchor, kind) {
  return drawn('text', { x, y, 'text-anchor': anchor || 'start', class: kind || 'say' }, text || '');
}

function node(x, y) {
  return drawn('circle', { cx: x, cy: y, r: 2.6, class: 'node' });
}

function tank(x, y) {
  return path(`M${x - 11} ${y - 7}V${y}H${x + 11}V${y - 7}`, 'symbol');
}

// Zigzag of a spring from (x, y) to the right (or left with a negative length).
function spring(x, y, length) {
  const step = length / 6;
  return path(
    `M${x} ${y}` +
      [4, -4, 4, -4, 4].map((height, at) => `L${x + step * (at + 1)} ${y + height}`).join('') +
      `L${x + length} ${y}`,
    'fine',
  );
}

function triangle(x, y, way, filled) {
  // way: 'up', 'down', 'left', 'right': where its tip points; the tip is at (x, y)
  const size = 9;
  const ends = {
    up: [
      [-size, size * 1.3],
      [size, size * 1.3],
    ],
    down: [
      [-size, -size * 1.3],
      [size, -size * 1.3],
    ],
    left: [
      [size * 1.3, -size],
      [size * 1.3, size],
    ],
    right: [
      [-size * 1.3, -size],
      [-size * 1.3, size],
    ],
  }[way];
  return path(
    `M${x} ${y}L${x + ends[0][0]} ${y + ends[0][1]}L${x + ends[1][0]} ${y + ends[1][1]}Z`,
    filled ? 'solid' : 'symbol',
  );
}

function arrowAcross(x, y, reach) {
  const [ax, ay, bx, by] = [x - reach, y + reach, x + reach, y - reach];
  return [path(`M${ax} ${ay}L${bx} ${by}`, 'symbol'), path(`M${bx} ${by}l-9 2.5l6.5 6.5Z`, 'solid')];
}

function shaft(x0, x1, y) {
  return path(`M${x0} ${y - 2.5}H${x1}M${x0} ${y + 2.5}H${x1}`, 'symbol');
}

// A chevron that shows the direction of flow at (x, y); positive flow points along `way`.
function flowMark(x, y, way, value) {
  const turns = { right: 0, down: 90, left: 180, up: 270 };
  const mark = path('M-5 -6L6 0L-5 6Z', 'flow');
  const dot = drawn('circle', { r: 2, class: 'still' });
  const group = drawn('g', { class: 'flow-mark' }, mark, dot);
  circuit.parts.push((at) => {
    const flow = value(at);
    const moves = Math.abs(flow) > FLOW_SEEN;
    mark.style.display = moves ? '' : 'none';
    dot.style.display = moves ? 'none' : '';
    group.dataset.direction = moves ? Math.sign(flow) : 0;
    group.setAttribute('transform', `translate(${x} ${y}) rotate(${turns[way] + (flow < 0 ? 180 : 0)})`);
  });
  return group;
}

function say(x, y, anchor, text, kind) {
  const node_ = words(x, y, '', anchor, kind || 'number');
  circuit.parts.push((at) => {
    node_.textContent = text(at);
  });
  return node_;
}

// A bar from (x, y) to the right; `scale` gives where zero lies and what full is; ticks are limits.
function bar(x, y, width, value, low, high, ticks) {
  const place = (one) => x + (width * (Math.min(Math.max(one, low), high) - low)) / (high - low || 1);
  const body = drawn('rect', { y: y + 1.5, height: 5, class: 'bar' });
  const zero = place(0);
  circuit.parts.push((at) => {
    const now = value(at);
    const end = Number.isFinite(now) ? place(now) : zero;
    body.setAttribute('x', Math.min(zero, end));
    body.setAttribute('width', Math.abs(end - zero));
  });
  return [
    drawn('rect', { x, y, width, height: 8, class: 'bar-frame' }),
    body,
    path(`M${zero} ${y - 2}v12`, 'fine'),
    ...(ticks || []).map((tick) => path(`M${place(tick)} ${y - 3}v14`, 'tick')),
  ];
}

function openable(group, isOpen, name) {
  group.classList.add('valve');
  if (name) group.dataset.valve = name;
  circuit.parts.push((at) => group.classList.toggle('open', isOpen(at)));
  return group;
}

// A relief valve: square at (x, y), flow downwards or upwards; spring on the right, pilot from the inlet on the left.
function reliefValve(x, yInlet, yOutlet, y, isOpen, name) {
  const down = yOutlet > yInlet;
  const size = 13;
  const near = down ? y - size : y + size;
  const far = down ? y + size : y - size;
  const tip = down ? far - 2 : far + 2;
  const back = down ? -7 : 7;
  const arrow = drawn(
    'g',
    { class: 'valve-arrow' },
    path(`M${x} ${near}V${tip}`, 'symbol'),
    path(`M${x} ${tip}l-3.5 ${back}h7Z`, 'solid'),
  );
  const group = drawn(
    'g',
    {},
    path(`M${x} ${yInlet}V${near}M${x} ${far}V${yOutlet}`),
    drawn('rect', { x: x - size, y: y - size, width: 2 * size, height: 2 * size, class: 'box' }),
    arrow,
    spring(x + size, y, 15),
    path(`M${x + size + 15} ${y - 5}v10`, 'fine'),
    path(`M${x} ${down ? near - 7 : near + 7}H${x - size - 7}V${y}H${x - size}`, 'pilot'),
  );
  return openable(group, isOpen, name);
}

// A check valve with a spring, flow upwards from `yFrom` to `yTo`.
function checkValve(x, yFrom, yTo, y, isOpen, name) {
  const ball = drawn('circle', { cx: x, cy: y, r: 6, class: 'box ball' });
  const group = drawn(
    'g',
    {},
    path(`M${x} ${yFrom}V${y + 8}M${x} ${y - 17}V${yTo}`),
    path(`M${x - 9} ${y - 1}L${x} ${y + 8}L${x + 9} ${y - 1}`, 'symbol'),
    ball,
    path(`M${x} ${y - 6}l4 -2l-8 -3l8 -3l-4 -3`, 'fine'),
  );
  return openable(group, isOpen, name);
}

function hasCircuit(run) {
  return [
    'line_a_pressure',
    'line_b_pressure',
    'charge_pressure',
    'pump_stroke',
    'motor_displacement',
    'pump_flow',
  ].every((name) => run.signalByName.has(name));
}

// Readers of the run that is chosen.
function reader(name) {
  return (at) => at.value(name);
}

function shownSignal(name, largest) {
  return (at) => {
    const signal = at.signal(name);
    if (signal === null) return '';
    const unit = unitOf(signal);
    const value = (at.value(name) - unit.offset) / unit.scale;
    return (
      steady(
        value,
        largest === undefined
          ? Math.max(Math.abs(toShown(signal, signal.low)), Math.abs(toShown(signal, signal.high)))
          : largest,
      ) + (unit.unit ? '\u00a0' + unit.unit : '')
    );
  };
}

function limitTicks(run, names) {
  return run.limits
    .filter((limit) => limit.level !== null && names.includes(signalBehind(run, limit.name)))
    .map((limit) => limit.level);
}

// A pressure bar holds the highest value of the run and every limit on it.
function barEnd(run, name) {
  return 1.03 * Math.max(run.signals[run.signalByName.get(name)].high, ...limitTicks(run, [name]));
}

// Line A on top from pump to motor, line B below; charge gallery at the bottom; engine left, machine right.
function drawCircuit() {
  circuit.parts = [];
  const run = chosenRun();
  const [pump, motor, top, bottom, gallery] = [160, 440, 92, 330, 440];
  const middle = 205;
  const highest = Math.max(...['line_a_pressure', 'line_b_pressure'].map((name) => barEnd(run, name)));
  const varies = (name) => run.signalByName.has(name) && !isConstant(run.signals[run.signalByName.get(name)]);
  const second =
    parameterOf(run, 'vehicle.second_motor') === 'yes' && run.signalByName.has('second_motor_displacement');
  const far = second ? 170 : 0; // how much farther to the right wheel and flushing stand
  const toGallery = parameterOf(run, 'relief.return_to') === 'gallery';
  const shift = parameterOf(run, 'flushing.shift_pressure') || 8e5;
  const flow = reader('pump_flow');
  const motorFlow = reader('motor_flow');
  const open = (name) => (at) => at.value(name) > FLOW_SEEN;

  const lines = drawn(
    'g',
    {},
    path(
      `M${pump} ${middle - 34}V${top}H${motor}V${middle - 34}M${pump} ${middle + 34}V${bottom}H${motor}V${middle + 34}`,
      'pipe main',
    ),
    flowMark(pump, 130, 'up', flow),
    flowMark(pump, 288, 'up', flow),
    flowMark(motor, 130, 'down', motorFlow),
    flowMark(motor, 288, 'down', motorFlow),
    words(pump - 12, 126, 'pump', 'end', 'name'),
    say(pump - 12, 141, 'end', shownSignal('pump_flow')),
    words(motor - 12, 126, 'motor', 'end', 'name'),
    say(motor - 12, 141, 'end', shownSignal('motor_flow')),
  );

  const pressures = drawn(
    'g',
    {},
    words(322, 62, 'line A', 'end', 'strong'),
    say(330, 62, 'start', shownSignal('line_a_pressure'), 'big'),
    bar(240, 70, 190, reader('line_a_pressure'), 0, highest, limitTicks(run, ['line_a_pressure'])),
    words(406, 360, 'line B', 'end', 'strong'),
    say(414, 360, 'start', shownSignal('line_b_pressure'), 'big'),
    bar(342, 368, 150, reader('line_b_pressure'), 0, highest, limitTicks(run, ['line_b_pressure'])),
  );

  const pumpSymbol = drawn(
    'g',
    {},
    shaft(74, pump - 34, middle),
    drawn('circle', { cx: pump, cy: middle, r: 34, class: 'box' }),
    triangle(pump, middle - 34, 'up', true),
    triangle(pump, middle + 34, 'down', true),
    arrowAcross(pump, middle, 38),
    path(`M${pump - 50} ${middle + 9}q5 -9 0 -18`, 'fine'),
    path(`M${pump - 50} ${middle - 9}l-1 7l6 -3Z`, 'solid'),
    words(64, 262, 'swash', 'start', 'name'),
    say(148, 262, 'end', shownSignal('pump_stroke')),
    bar(64, 268, 84, reader('pump_stroke'), -1, 1),
  );

  const engine = drawn(
    'g',
    {},
    drawn('rect', { x: 26, y: middle - 24, width: 48, height: 48, class: 'box' }),
    words(50, middle + 6, 'M', 'middle', 'letter'),
    words(12, 124, 'engine', 'start', 'name'),
    say(12, 139, 'start', shownSignal('engine_speed')),
    say(12, 154, 'start', shownSignal('engine_torque')),
    words(12, 171, 'fuel', 'start', 'name'),
    bar(42, 163, 46, reader('fuel_fraction'), 0, 1),
  );

  const motors = drawn(
    'g',
    {},
    motorSymbol(run, motor, middle, 'motor', second ? motor + 66 : 524),
    second
      ? [
          path(
            `M${motor} ${top}H${motor + far}V${middle - 34}M${motor} ${bottom}H${motor + far}V${middle + 34}`,
            'pipe main',
          ),
          node(motor + far, top),
          node(motor + far, bottom),
          flowMark(motor + far, 130, 'down', reader('second_motor_flow')),
          flowMark(motor + far, 288, 'down', reader('second_motor_flow')),
          words(motor + far - 12, 126, 'motor 2', 'end', 'name'),
          say(motor + far - 12, 141, 'end', shownSignal('second_motor_flow')),
          words(motor + 72, middle + 4, 'rear axle', 'start', 'name'),
          motorSymbol(run, motor + far, middle, 'second_motor', 524 + far),
        ]
      : null,
  );
  const losses = drawn(
    'g',
    {},
    varies('hose_flow')
      ? [words(342, 400, 'lost through hoses', 'start', 'name'), say(342, 415, 'start', shownSignal('hose_flow'))]
      : null,
    varies('filter_drop')
      ? [
          drawn('path', { d: 'M80 402l11 -11l11 11l-11 11Z', class: 'box' }),
          path('M91 391v22', 'pilot'),
          words(118, 414, 'filter', 'start', 'name'),
          say(118, 429, 'start', shownSignal('filter_drop')),
        ]
      : null,
  );

  const reliefs = drawn(
    'g',
    {},
    reliefValve(262, top, toGallery ? gallery : bottom, middle, open('relief_a_flow'), 'relief A'),
    toGallery
      ? reliefValve(350, bottom, gallery, 395, open('relief_b_flow'), 'relief B')
      : reliefValve(344, bottom, top, middle, open('relief_b_flow'), 'relief B'),
    node(262, top),
    node(262, toGallery ? gallery : bottom),
    node(toGallery ? 350 : 344, bottom),
    node(toGallery ? 350 : 344, toGallery ? gallery : top),
    words(272, 180, 'relief A', 'start', 'name'),
    reliefWords(272, 238, 'relief_a_flow'),
    words(toGallery ? 382 : 354, toGallery ? 400 : 180, 'relief B', 'start', 'name'),
    reliefWords(toGallery ? 382 : 354, toGallery ? 415 : 238, 'relief_b_flow'),
  );

  const charge = drawn(
    'g',
    {},
    path(`M47.5 ${middle + 24}V384M52.5 ${middle + 24}V384`, 'symbol'),
    drawn('circle', { cx: 50, cy: 402, r: 18, class: 'box' }),
    triangle(68, 402, 'right', true),
    path(`M68 402H110V${gallery}H${toGallery ? 350 : 310}M50 420V462`),
    tank(50, 468),
    path(`M50 455V466`),
    path(`M${140} ${gallery}V464`),
    reliefValve(140, gallery, 500, 476, open('charge_relief_flow'), 'charge relief'),
    tank(140, 506),
    node(140, gallery),
    checkValve(212, gallery, top, 392, open('check_a_flow'), 'check A'),
    node(212, gallery),
    node(212, top),
    toGallery
      ? checkValve(310, gallery, bottom, 392, open('check_b_flow'), 'check B')
      : checkValve(310, gallery, bottom, 392, open('check_b_flow'), 'check B'),
    node(310, bottom),
    node(310, gallery),
    words(62, 362, 'charge', 'start', 'name'),
    say(62, 377, 'start', shownSignal('charge_flow')),
    words(226, 362, 'make-up A', 'start', 'name'),
    say(226, 377, 'start', shownSignal('check_a_flow')),
    words(300, 408, 'make-up B', 'end', 'name'),
    say(300, 423, 'end', shownSignal('check_b_flow')),
    words(176, 462, 'charge', 'start', 'strong'),
    say(228, 462, 'start', shownSignal('charge_pressure'), 'big'),
    bar(
      176,
      470,
      130,
      reader('charge_pressure'),
      0,
      barEnd(run, 'charge_pressure'),
      limitTicks(run, ['charge_pressure']),
    ),
    reliefWords(176, 496, 'charge_relief_flow'),
  );

  const body = drawn(
    'svg',
    {
      viewBox: `0 0 ${620 + far} 540`,
      class: 'circuit',
      role: 'img',
      'aria-label': 'Circuit at the time of the cursor; the same values stand in the table below it',
    },
    lines,
    reliefs,
    charge,
    losses,
    flushing(motor + far, top, bottom, shift, far),
    pumpSymbol,
    engine,
    motors,
    machine(far),
    pedals(run),
    pressures,
  );
  circuit.root = body;
  return body;
}

// A motor of both directions, its shaft to `end`, displacement, speed and torque below it.
function motorSymbol(run, x, y, name, end) {
  const width = 124;
  return [
    drawn('circle', { cx: x, cy: y, r: 34, class: 'box' }),
    triangle(x, y - 34 + 11.7, 'down', true),
    triangle(x, y + 34 - 11.7, 'up', true),
    arrowAcross(x, y, 38),
    shaft(x + 34, end, y),
    words(x + 16, y + 57, 'displacement', 'start', 'name'),
    say(x + 16 + width, y + 57, 'end', shownSignal(name + '_displacement')),
    bar(
      x + 16,
      y + 63,
      width,
      reader(name + '_displacement'),
      0,
      1,
      run.parameterByName.has(name + '.smallest') ? [parameterOf(run, name + '.smallest')] : [],
    ),
    say(x + 16, y + 87, 'start', shownSignal(name + '_speed')),
    say(x + 16 + width, y + 87, 'end', shownSignal(name + '_torque')),
  ];
}

function reliefWords(x, y, name) {
  const value = shownSignal(name);
  const open = (at) => at.value(name) > FLOW_SEEN;
  return [
    say(x, y, 'start', (at) => (open(at) ? 'open' : 'shut')),
    say(x, y + 15, 'start', (at) => (open(at) ? value(at) : '')),
  ];
}

// The shuttle takes oil from the lower line: its three boxes slide so that the one in action stands before the ports.
function flushing(motor, top, bottom, shift, far) {
  const [x, y, size] = [540 + far, 392, 26];
  const boxes = drawn(
    'g',
    { class: 'shuttle' },
    ...[-1, 0, 1].map((at) =>
      drawn('rect', { x: x - size / 2 + at * size, y, width: size, height: size, class: 'box' }),
    ),
    path(
      `M${x - 7} ${y}v5M${x - 10} ${y + 5}h6M${x + 7} ${y}v5M${x + 4} ${y + 5}h6M${x} ${y + size}v-5M${x - 3} ${y + size - 5}h6`,
      'symbol',
    ),
    path(`M${x - size - 7} ${y}L${x - size} ${y + size}M${x + size + 7} ${y}L${x + size} ${y + size}`, 'symbol'),
    path(`M${x - size} ${y + size}l-4.5 -5.5l4.8 -1.5ZM${x + size} ${y + size}l4.5 -5.5l-4.8 -1.5Z`, 'solid'),
    spring(x - 1.5 * size - 14, y + size / 2, 14),
    spring(x + 1.5 * size, y + size / 2, 14),
  );
  circuit.parts.push((at) => {
    const drop = at.value('line_a_pressure') - at.value('line_b_pressure');
    const side = Math.abs(drop) < shift ? 0 : Math.sign(drop);
    // Over B (the left port) when A is the high line: the left box moves to the middle.
    boxes.setAttribute('transform', `translate(${side * size} 0)`);
    boxes.dataset.side = side;
  });
  const reliefOpen = (at) => at.value('flush_flow') > FLOW_SEEN;
  return drawn(
    'g',
    {},
    path(`M${motor} ${bottom}H${x - 7}V${y}M${motor} ${top}H${600 + far}V376H${x + 7}V${y}`),
    node(motor, bottom),
    node(motor, top),
    boxes,
    reliefValve(x, y + size, 500, 460, reliefOpen, 'flushing'),
    tank(x, 506),
    words(x - 35, 452, 'flushing', 'end', 'name'),
    say(x - 35, 467, 'end', (at) => (reliefOpen(at) ? shownSignal('flush_flow')(at) : 'none')),
    words(x - 35, 490, 'case', 'end', 'name'),
    say(x - 35, 505, 'end', shownSignal('case_flow')),
  );
}

// Wheel and ground, as they stand and move.
function machine(far) {
  const [x, y, r] = [548 + far, 205, 24];
  const ground = path(`M${x - 46} ${y + r}H${x + 46}`, 'ground');
  const spoke = drawn('g', {}, path(`M0 ${-r}V${r}M${-r} 0H${r}`, 'fine'));
  const arrow = path('M-16 0H12M12 0l-7 -4.5v9Z', 'speed');
  circuit.parts.push((at) => {
    const grade = at.value('grade');
    const angle = Number.isFinite(grade) ? (-Math.atan(grade) * 180) / Math.PI : 0;
    ground.setAttribute('transform', `rotate(${angle.toFixed(2)} ${x} ${y})`);
    const distance = at.value('vehicle_distance');
    spoke.setAttribute(
      'transform',
      `translate(${x} ${y}) rotate(${Number.isFinite(distance) ? ((distance * 60) % 360).toFixed(1) : 0})`,
    );
    const speed = at.value('vehicle_speed');
    arrow.style.display = Math.abs(speed) > 0.02 ? '' : 'none';
    arrow.setAttribute(
      'transform',
      `translate(${x} ${y - r - 8}) rotate(${(angle + (speed < 0 ? 180 : 0)).toFixed(2)})`,
    );
  });
  return drawn(
    'g',
    {},
    drawn('circle', { cx: x, cy: y, r, class: 'box' }),
    spoke,
    ground,
    arrow,
    say(x, y - r - 34, 'middle', shownSignal('vehicle_speed'), 'big'),
    say(x, y - r - 20, 'middle', (at) => (at.signal('grade') === null ? '' : 'grade ' + shownSignal('grade')(at))),
  );
}

function pedals(run) {
  const rows = [
    ['pedal', 'pedal', -1],
    ['brake', 'brake', 0],
    ['park_brake', 'park brake', 0],
    ['exhaust_brake', 'exhaust brake', 0],
  ]
    .filter(
      ([name]) =>
        run.signalByName.has(name) && (name === 'pedal' || !isConstant(run.signals[run.signalByName.get(name)])),
    )
    .slice(0, 3);
  return drawn(
    'g',
    {},
    rows.map(([name, label, low], at) => {
      const y = 26 + 26 * at;
      return [
        words(12, y, label, 'start', 'name'),
        say(128, y, 'end', shownSignal(name)),
        bar(12, y + 5, 116, reader(name), low, 1),
      ];
    }),
  );
}

// --- Side panel -----------------------------------------------------------------------------------------------------------------

const readoutNames = [
  'line_a_pressure',
  'line_b_pressure',
  'charge_pressure',
  'pump_stroke',
  'motor_displacement',
  'second_motor_displacement',
  'pump_flow',
  'relief_a_flow',
  'relief_b_flow',
  'engine_speed',
  'vehicle_speed',
  'grade',
  'loop_oil_temperature',
];

function instant(run, time) {
  return {
    value: (name) => signalAt(run, name, time),
    signal: (name) => (run.signalByName.has(name) ? run.signals[run.signalByName.get(name)] : null),
  };
}

function updateCircuit() {
  const at = instant(chosenRun(), state.cursor - chosenRun().shift);
  for (const part of circuit.parts) part(at);
  circuit.when.textContent = `at ${seconds(state.cursor)}${runs.length > 1 ? ', ' + chosenRun().label : ''}`;
  for (const { name, cell: target } of circuit.cells) target.textContent = shownSignal(name)(at);
}

function buildSide() {
  const run = chosenRun();
  circuit.when = element('span', { class: 'unit' });
  circuit.cells = [];
  circuit.parts = [];
  const names = hasCircuit(run)
    ? readoutNames.filter((name) => run.signalByName.has(name))
    : run.signals.slice(0, 12).map((signal) => signal.name);
  const rows = names.map((name) => {
    const target = cell('', 'number');
    circuit.cells.push({ name, cell: target });
    return element('tr', {}, rowHead(run.signals[run.signalByName.get(name)].text || named(name)), target);
  });
  replaceAll(
    byId('side'),
    element(
      'figure',
      { class: 'circuit-figure' },
      element(
        'figcaption',
        {},
        element('span', { class: 'chart-title' }, hasCircuit(run) ? 'The circuit' : 'Values'),
        ' ',
        circuit.when,
      ),
      hasCircuit(run)
        ? element('div', { class: 'scroll' }, drawCircuit())
        : element('p', { class: 'hint' }, 'There is no picture of this circuit.'),
    ),
    element(
      'details',
      { class: 'instant', open: !hasCircuit(run) },
      element('summary', {}, 'Values at the cursor as a table'),
      table(null, rows, { 'aria-label': 'Values at the cursor' }),
    ),
  );
  updateCircuit();
}

function showCircuit() {
  buildSide();
  onChange('cursor', updateCircuit);
  onChange('units', buildSide);
  onChange('run', buildSide);
}
