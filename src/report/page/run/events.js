'use strict';
// The event log of a run: its events, and what pedal, brake and grade do, as plain sentences in order of time.

// From - to of every interval in which an event holds. `begins` is the direction that starts it.
function intervalsOf(run, name, begins) {
  const intervals = [];
  let open = null;
  for (const event of run.events) {
    if (event.name !== name) continue;
    if (event.direction === 0) {
      // What follows was not kept one by one: nobody knows how long each lasted.
      if (open !== null) intervals.push({ from: open, to: event.time, ended: true });
      open = null;
    } else if (event.direction === begins) {
      if (open === null) open = event.time;
    } else if (open !== null) {
      intervals.push({ from: open, to: event.time, ended: true });
      open = null;
    }
  }
  if (open !== null) intervals.push({ from: open, to: run.end, ended: false });
  return intervals;
}

// Chatter is one thing to tell: intervals that follow each other closely become one, with a count.
function gathered(intervals, run) {
  const gap = intervals.length > 3 ? 0.03 * (run.end - run.start) : 0;
  const groups = [];
  for (const interval of intervals) {
    const last = groups[groups.length - 1];
    if (last !== undefined && interval.from - last.to < gap) {
      last.to = interval.to;
      last.begin = interval.from;
      last.ended = interval.ended;
      last.total += interval.to - interval.from;
      last.times++;
    } else {
      groups.push({ ...interval, total: interval.to - interval.from, times: 1 });
    }
  }
  return groups;
}

function duration(time) {
  return time < 0.0995 ? figures(1000 * time, 2) + '\u00a0ms' : figures(time, 3) + '\u00a0s';
}

function howLong(group) {
  const rate = group.times > 3 ? ` (${figures((group.times - 1) / (group.begin - group.from), 3)}\u00a0Hz)` : '';
  const often =
    group.times > 1 ? `${group.times} times within ${duration(group.to - group.from)}${rate}, together ` : '';
  return often + 'for ' + duration(group.total) + (group.ended ? '' : ', to the end of the run');
}

function extremeOf(run, name, group) {
  const curve = curveOf(run, name);
  return curve === null ? null : { signal: curve.signal, ...extremesIn(curve, group.from, group.to) };
}

// A value for a sentence: what is far below the signal's own size, or too small for any gauge, is nothing.
function roundly(signal, value, digits) {
  const size = Math.max(Math.abs(signal.low), Math.abs(signal.high));
  const nothing = Math.abs(value) < 1e-4 * size || (shownUnits === 'trade' && Math.abs(toShown(signal, value)) < 5e-4);
  return shown(signal, nothing ? 0 : value, digits);
}

function upTo(run, name, group) {
  const found = extremeOf(run, name, group);
  return found === null ? 'a value not recorded' : roundly(found.signal, found.high) + ' at ' + seconds(found.highTime);
}

function downTo(run, name, group) {
  const found = extremeOf(run, name, group);
  return found === null ? 'a value not recorded' : roundly(found.signal, found.low) + ' at ' + seconds(found.lowTime);
}

function valueOf(run, name, time) {
  const curve = curveOf(run, name);
  return curve === null ? '–' : roundly(curve.signal, valueAt(curve, time));
}

function setting(run, name) {
  const parameter = run.parameterByName.get(name);
  return parameter === undefined || parameter.value === undefined ? '' : ' of ' + shown(parameter, parameter.value);
}

function change(run, name, group) {
  const [before, after] = [valueOf(run, name, group.from), valueOf(run, name, group.to)];
  return before === after ? 'stays at ' + after : `goes from ${before} to ${after}`;
}

const eventWords = {
  relief_a: [
    1,
    (run, g) =>
      `Relief valve A opens ${howLong(g)}. Flow up to ${upTo(run, 'relief_a_flow', g)}, line A up to ${upTo(run, 'line_a_pressure', g)}.`,
  ],
  relief_b: [
    1,
    (run, g) =>
      `Relief valve B opens ${howLong(g)}. Flow up to ${upTo(run, 'relief_b_flow', g)}, line B up to ${upTo(run, 'line_b_pressure', g)}.`,
  ],
  limiter_a: [
    1,
    (run, g) =>
      `The pressure limiter acts on line A ${howLong(g)}. Pump stroke ${change(run, 'pump_stroke', g)}; line A up to ${upTo(run, 'line_a_pressure', g)}.`,
  ],
  limiter_b: [
    1,
    (run, g) =>
      `The pressure limiter acts on line B ${howLong(g)}. Pump stroke ${change(run, 'pump_stroke', g)}; line B up to ${upTo(run, 'line_b_pressure', g)}.`,
  ],
  motor_override: [
    1,
    (run, g) =>
      `The motor override asks for displacement ${howLong(g)}. Motor displacement ${change(run, 'motor_displacement', g)}.`,
  ],
  engine_overspeed: [
    1,
    (run, g) =>
      `The engine turns above the overspeed alarm${setting(run, 'engine.overspeed_alarm')} ${howLong(g)}: up to ${upTo(run, 'engine_speed', g)}.`,
  ],
  engine_underspeed: [
    -1,
    (run, g) =>
      `The engine lugs below the underspeed alarm${setting(run, 'engine.underspeed_alarm')} ${howLong(g)}: down to ${downTo(run, 'engine_speed', g)}.`,
  ],
  low_side: [-1, (run, g) => `The low side is starved ${howLong(g)}: down to ${downTo(run, 'low_side_pressure', g)}.`],
  charge_pressure: [
    -1,
    (run, g) => `The charge pressure is low ${howLong(g)}: down to ${downTo(run, 'charge_pressure', g)}.`,
  ],
  case_pressure: [
    1,
    (run, g) =>
      `The case pressure is above its alarm${setting(run, 'lines.case_alarm')} ${howLong(g)}: up to ${upTo(run, 'case_pressure', g)}.`,
  ],
  tank_oil: [
    -1,
    (run, g) => `The charge pump draws air from an emptying tank ${howLong(g)}: down to ${downTo(run, 'tank_oil', g)}.`,
  ],
  front_wheel_slip: [
    1,
    (run, g) => `The front wheels slip more than the alarm${setting(run, 'tyre.slip_alarm')} ${howLong(g)}.`,
  ],
  wheel_lock: [-1, (run, g) => `The wheels lock ${howLong(g)}, from ${valueOf(run, 'vehicle_speed', g.from)}.`],
  rear_axle: [-1, (run, g) => `The rear axle is off the ground ${howLong(g)}.`],
  front_axle: [-1, (run, g) => `The front axle is off the ground ${howLong(g)}.`],
  filter_bypass: [
    1,
    (run, g) => `Oil goes by the charge filter ${howLong(g)}: drop up to ${upTo(run, 'filter_drop', g)}.`,
  ],
  charge_filling: [
    -1,
    (run, g) => `The charge pump does not fill ${howLong(g)}: delivery down to ${downTo(run, 'charge_flow', g)}.`,
  ],
  underspeed_control: [
    -1,
    (run, g) =>
      `Underspeed control reduces the stroke ${howLong(g)}. Pump stroke ${change(run, 'pump_stroke', g)}; engine down to ${downTo(run, 'engine_speed', g)}.`,
  ],
  wheel_slip: [1, (run, g) => `The wheels slip more than the alarm${setting(run, 'tyre.slip_alarm')} ${howLong(g)}.`],
};

function sentenceOf(run, event) {
  if (event.name === 'standstill' && event.direction > 0) {
    const gone = signalAt(run, 'vehicle_distance', event.time);
    return Math.abs(gone) > 0.1
      ? `The machine moves off, ${valueOf(run, 'vehicle_distance', event.time)} from its start.`
      : 'The machine moves off.';
  }
  if (event.name === 'standstill' && event.direction < 0) {
    return `The machine stands still, ${valueOf(run, 'vehicle_distance', event.time)} from its start.`;
  }
  if (event.name === 'creep') {
    const curve = curveOf(run, 'vehicle_speed');
    const speed = curve === null ? '' : ` at ${roundly(curve.signal, event.value)}`;
    return `The machine does not come to rest: it creeps on${speed}.`;
  }
  if (event.name === 'stop') {
    const since = measureOf(run, 'stop_from');
    const distance = run.measureByName.get('stop_distance');
    if (Math.abs(event.time - since - measureOf(run, 'stop_time')) < 1e-6 && distance !== undefined) {
      return `The machine stops, ${valueOf(run, 'vehicle_distance', event.time)} from its start: ${duration(event.time - since)} and ${shown(distance, distance.value)} after braking began.`;
    }
  }
  const words = event.message || named(event.name);
  return words.charAt(0).toUpperCase() + words.slice(1) + (/[.!?]$/.test(words) ? '' : '.');
}

// Intervals in which a slow input changes by a good part of its range.
function rampsOf(run, name) {
  const curve = curveOf(run, name);
  if (curve === null) return [];
  const range = curve.signal.high - curve.signal.low;
  const ramps = [];
  let ramp = null;
  const close = () => {
    if (ramp !== null && Math.abs(ramp.after - ramp.before) > Math.max(0.05 * range, 0.005)) ramps.push(ramp);
    ramp = null;
  };
  for (let i = 1; i < curve.time.length && range > 0; i++) {
    const rise = curve.value[i] - curve.value[i - 1];
    const span = curve.time[i] - curve.time[i - 1];
    const steep = Math.abs(rise) > 0.01 * range * Math.max(span, 1e-9) && Math.abs(rise) > 1e-9;
    const way = steep ? Math.sign(rise) : 0;
    if (ramp !== null && way !== ramp.way) close();
    if (way === 0) continue;
    if (ramp === null) ramp = { way, from: curve.time[i - 1], before: curve.value[i - 1], signal: curve.signal };
    ramp.to = curve.time[i];
    ramp.after = curve.value[i];
  }
  close();
  return ramps.length > 12 ? [] : ramps;
}

function withinWords(ramp) {
  const span = ramp.to - ramp.from;
  return span < 0.0015 ? 'at once' : 'within ' + duration(span);
}

// The ends of a ramp: what is a trifle beside the ramp is nothing.
function settled(ramp, value) {
  return shown(ramp.signal, Math.abs(value) < 0.003 * Math.abs(ramp.after - ramp.before) ? 0 : value, 3);
}

function fromTo(ramp) {
  return `from ${settled(ramp, ramp.before)} to ${settled(ramp, ramp.after)} ${withinWords(ramp)}`;
}

function inputsOf(run) {
  const items = [];
  for (const ramp of rampsOf(run, 'pedal')) {
    const released = Math.abs(ramp.after) < 1e-4;
    const where =
      released && run.signalByName.has('vehicle_speed')
        ? `, at ${valueOf(run, 'vehicle_speed', ramp.from)} on a grade of ${valueOf(run, 'grade', ramp.from)}`
        : '';
    items.push({ time: ramp.from, words: `The pedal ${released ? 'is released' : 'moves'} ${fromTo(ramp)}${where}.` });
  }
  for (const ramp of rampsOf(run, 'brake')) {
    items.push({ time: ramp.from, words: `The friction brake moves ${fromTo(ramp)}.` });
  }
  for (const ramp of rampsOf(run, 'grade')) {
    items.push({ time: ramp.from, words: `The ground turns: grade ${fromTo(ramp)}.` });
  }
  return items;
}

const statusWords = {
  complete: 'The run ends as planned',
  stopped: 'The run ends here: an event stopped it',
  failed: 'The run failed here',
  interrupted: 'The run was interrupted here',
};

function beginAndEnd(run) {
  const facing = (time) =>
    [
      ['vehicle_speed', 'machine'],
      ['engine_speed', 'engine'],
      ['line_a_pressure', 'line A'],
      ['line_b_pressure', 'line B'],
    ]
      .filter(([name]) => run.signalByName.has(name))
      .map(([name, words]) => `${words} ${valueOf(run, name, time)}`)
      .join(', ');
  const distance = run.signalByName.has('vehicle_distance')
    ? `, ${valueOf(run, 'vehicle_distance', run.end)} gone`
    : '';
  const reason = run.status !== 'complete' && run.status_message ? ` (${run.status_message})` : '';
  return [
    { time: run.start, first: true, words: `At the start: ${facing(run.start)}.` },
    {
      time: run.end,
      last: true,
      words: `${statusWords[run.status] || 'The run is not whole; the record ends here'}${reason}: ${facing(run.end)}${distance}.`,
    },
  ];
}

// Other events: those of one kind and way that come four times or more, closely after each other, are one thing to tell.
function repeated(events, run) {
  const gap = 0.03 * (run.end - run.start);
  const groups = [];
  const latest = new Map();
  for (const event of events) {
    const key = event.name + event.direction;
    const group = latest.get(key);
    if (event.direction !== 0 && group !== undefined && event.time - group.last < gap) {
      group.all.push(event);
      group.last = event.time;
    } else {
      latest.set(key, { event, all: [event], last: event.time });
      groups.push(latest.get(key));
    }
  }
  return groups.flatMap((group) =>
    group.all.length > 3
      ? [{ event: group.event, times: group.all.length, last: group.last }]
      : group.all.map((event) => ({ event, times: 1, last: event.time })),
  );
}

function eventLogOf(run) {
  const items = beginAndEnd(run).concat(inputsOf(run));
  for (const [name, [begins, words]] of Object.entries(eventWords)) {
    for (const group of gathered(intervalsOf(run, name, begins), run)) {
      items.push({ time: group.from, words: words(run, group) });
    }
  }
  const others = run.events.filter((event) => eventWords[event.name] === undefined || event.direction === 0);
  for (const { event, times, last } of repeated(others, run)) {
    const again = times > 1 ? ` ${times} times, until ${seconds(last)}.` : '';
    items.push({ time: event.time, words: sentenceOf(run, event) + again });
  }
  const rank = (item) => (item.first ? -1 : item.last ? 1 : 0);
  return items.sort((a, b) => rank(a) - rank(b) || a.time - b.time);
}

function eventList(run) {
  const items = eventLogOf(run);
  const row = (item) => element('li', {}, timeButton(run, item.time), element('span', {}, item.words));
  const few = items.length <= 30;
  const list = element('ol', { class: 'event-list' }, (few ? items : items.slice(0, 24)).map(row));
  const rest = few
    ? null
    : element(
        'details',
        {},
        element('summary', {}, `${items.length - 24} more`),
        element('ol', { class: 'event-list' }, items.slice(24).map(row)),
      );
  const cut =
    run.events_left_out > 0
      ? element('p', { class: 'hint' }, `${run.events_left_out} more events were not recorded.`)
      : null;
  return [list, rest, cut];
}

function showEvents() {
  const body = byId('events-body');
  const parts = runs.map((run) => [runs.length > 1 ? element('h3', {}, runName(run)) : null, ...eventList(run)]);
  replaceAll(
    body,
    runs.length > 2
      ? parts.map((part, at) =>
          element(
            'details',
            { class: 'per-run', open: at === 0 },
            element('summary', {}, runName(runs[at])),
            part.slice(1),
          ),
        )
      : element(
          'div',
          { class: 'event-lists' },
          parts.map((part) => element('div', {}, part)),
        ),
  );
}
