// The report in a real browser: what a reader sees, does and prints.
import assert from 'node:assert/strict';
import { readFileSync, statSync } from 'node:fs';
import { after, test } from 'node:test';
import { closeBrowser, folder, open, python, report, run, settle, show, swashloop } from './_page.mjs';

const one = report('one', run('one'));
const two = report(
  'two',
  'one.h5',
  run('other', {}, '--set', 'relief.setting=420 bar', '--set', 'operator.pump_share=50 %'),
);

after(closeBrowser);

// Words of the first that fits, with plain blanks.
const text = async (page, selector) => (await page.locator(selector).first().textContent()).replace(/\u00a0/g, ' ');

test('loads alone, without a complaint', async () => {
  for (const file of [one, two]) {
    const page = await open(file);
    await settle(page);
    assert.deepEqual(page.complaints, []);
    assert.deepEqual(page.requests, [`file://${file}`]);
    assert.equal(await page.locator('.notice[role=alert]').count(), 0);
    await page.close();
  }
});

test('tells the verdict first, worst margin first, and the caution', async () => {
  const page = await open(one);
  assert.match(
    await text(page, '#verdict .headline'),
    /2 of 4 limits broken\. Worst: line_b_pressure <= 500 bar, over by .* bar/,
  );
  const limits = await page.locator('#verdict tbody th').allInnerTexts();
  assert.deepEqual(limits, [
    'line_b_pressure <= 500 bar',
    'engine_speed <= 3000 rpm',
    'line_a_pressure <= 420 bar',
    'lowest_low_side_pressure >= 10 bar',
  ]);
  assert.deepEqual(await page.locator('#verdict tbody .result').allInnerTexts(), [
    '✕ broken',
    '✕ broken',
    '✓ kept',
    '✓ kept',
  ]);
  assert.match(await text(page, '#caution'), /^A simulation proves no brake\./);
  assert.equal(await page.title(), 'Downhill');
  const sections = await page.locator('main section:visible').evaluateAll((all) => all.map((section) => section.id));
  assert.equal(sections[0], 'verdict');
  await page.close();
});

test('tells what a hunting machine repeats once, and what was not kept', async () => {
  // with two nodes the oil stays cooler, and smoothed friction lets it end on a closed limiter: nothing else happens
  // between the limiter's hundreds of strokes
  const hunts = [
    'limiter.band=10 bar',
    'lines.volume_a=0.8 L',
    'lines.volume_b=0.8 L',
    'relief.lag=20 ms',
    'heat.nodes=two',
    'motor.friction=smoothed',
    'driveline.friction=smoothed',
    'tyre.rolling_width=0.108 km/h',
  ];
  const sets = hunts.flatMap((words) => ['--set', words]);
  swashloop('run', `${process.env.SWASHLOOP_SOURCE}/cases/lugging.yaml`, '-o', 'hunts.h5', '--quiet', ...sets);
  const page = await open(report('hunts', 'hunts.h5'));
  const sentences = (await page.locator('#events li').allInnerTexts()).map((item) => item.replace(/\u00a0/g, ' '));
  const limiter = sentences.filter((item) => item.includes('pressure limiter acts'));
  // where it acts at the very end, that stroke stands by itself
  assert.ok(limiter.length <= 2 && limiter.filter((item) => item.includes('times within')).length === 1);
  assert.match(limiter[0], /acts on line A 100 times within 7\.\d+ s \(13(\.\d)? Hz\), together for \d\.\d+ s\./);
  assert.ok(
    sentences.some((item) => /\d+ more of these until 2\d\.\d+ s, not kept one by one: pressure limiter/.test(item)),
  );
  assert.ok(sentences.some((item) => /Hunts, 1\d\.\d Hz, \+-\d+(\.\d)? bar; extremes are not vouched for\./.test(item)));
  assert.ok(sentences.length < 30);
  await page.close();
});

test('tells the events in order, in sentences with times and values', async () => {
  const page = await open(one);
  const sentences = await page.locator('#events li').allInnerTexts();
  const log = sentences.join('\n').replace(/\u00a0/g, ' ');
  assert.match(log, /The pedal is released from 90\.5 % to 0 % within 0\.5 s, at 18\.\d+ km\/h/);
  assert.match(
    log,
    /Relief valve B opens for 1\.\d+ s\. Flow up to 2\d\d\.?\d* L\/min at 17\.\d+ s, line B up to 52\d\.?\d* bar at 17\.\d+ s\./,
  );
  assert.match(log, /The machine stops, .* after braking began\./);
  const times = sentences.map((sentence) => parseFloat(sentence));
  assert.deepEqual(
    times,
    times.slice().sort((a, b) => a - b),
  );
  await page.close();
});

test('draws every chart: pixels of every curve that is on', async () => {
  const page = await open(one);
  const bare = await page.evaluate(async () => {
    const found = [];
    for (const chart of charts) {
      chart.figure.scrollIntoView();
      await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
      const canvas = chart.plot.ctx.canvas;
      const { left, top, width, height } = chart.plot.bbox;
      const pixels = chart.plot.ctx.getImageData(left, top, width, height).data;
      for (const series of chart.active) {
        const probe = document.createElement('canvas').getContext('2d');
        probe.fillStyle = colourAt(series.colour);
        probe.fillRect(0, 0, 1, 1);
        const [red, green, blue] = probe.getImageData(0, 0, 1, 1).data;
        let count = 0;
        for (let i = 0; i < pixels.length; i += 4) {
          if (Math.abs(pixels[i] - red) + Math.abs(pixels[i + 1] - green) + Math.abs(pixels[i + 2] - blue) < 60)
            count++;
        }
        // A later curve may lie on an earlier one.
        if (count < 40) found.push(`${series.name}: ${count} of ${canvas.width} columns`);
      }
    }
    return { found, charts: charts.length };
  });
  assert.ok(bare.charts >= 12, `${bare.charts} charts`);
  assert.deepEqual(bare.found, []);
  await page.close();
});

test('hides no peak: what is drawn is as high as the measure', async () => {
  const page = await open(one);
  await show(page, 'replay');
  const peaks = await page.evaluate(async () => {
    const rows = [];
    for (const [measure, signal] of [
      ['peak_line_a_pressure', 'line_a_pressure'],
      ['peak_line_b_pressure', 'line_b_pressure'],
      ['engine_speed_max', 'engine_speed'],
      ['lowest_charge_pressure', 'charge_pressure'],
    ]) {
      const chart = charts.find((row) => row.series.some((series) => series.name === signal));
      const at = runs[0].measureByName.get(measure + '_time').value;
      chart.figure.scrollIntoView();
      for (const window of [wholeSpan, [at - 1, at + 0.7], [at - 0.01, at + 0.02]]) {
        setWindow(...window);
        await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
        const column = chart.data[1 + chart.active.findIndex((series) => series.name === signal)].filter(
          (value) => value !== null,
        );
        const extreme = measure.startsWith('lowest') ? Math.min(...column) : Math.max(...column);
        rows.push({
          measure,
          window: window[1] - window[0],
          drawn: extreme,
          wanted: toShown(chart.described, runs[0].measureByName.get(measure).value),
        });
      }
    }
    return rows;
  });
  for (const { measure, window, drawn, wanted } of peaks) {
    assert.ok(
      Math.abs(drawn - wanted) <= 1e-6 * Math.abs(wanted),
      `${measure} in ${window} s: drawn ${drawn}, measured ${wanted}`,
    );
  }
  await page.close();
});

test('zooms, pans and reads out all charts together', async () => {
  const page = await open(one);
  await show(page, 'replay');
  const plots = page.locator('.u-over');
  const box = await plots.first().boundingBox();
  await page.mouse.move(box.x + 0.6 * box.width, box.y + 40);
  await page.mouse.down();
  await page.mouse.move(box.x + 0.8 * box.width, box.y + 60, { steps: 5 });
  await page.mouse.up();
  await settle(page);
  const seen = () =>
    page.evaluate(() => ({
      window: state.window,
      scales: charts
        .filter((chart) => isInSight(chart))
        .map((chart) => [chart.plot.scales.x.min, chart.plot.scales.x.max]),
    }));
  const zoomed = await seen();
  assert.ok(
    Math.abs(zoomed.window[0] - 0.6 * 24) < 0.2 && Math.abs(zoomed.window[1] - 0.8 * 24) < 0.2,
    String(zoomed.window),
  );
  assert.ok(zoomed.scales.length >= 3);
  for (const scale of zoomed.scales) assert.deepEqual(scale, zoomed.window);
  // A chart out of sight has the same window once it is scrolled to.
  await page.evaluate(() => charts[charts.length - 1].figure.scrollIntoView());
  await settle(page);
  assert.deepEqual(
    await page.evaluate(() => {
      const { min, max } = charts[charts.length - 1].plot.scales.x;
      return [min, max];
    }),
    zoomed.window,
  );
  await show(page, 'replay');
  // Pan.
  await page.keyboard.down('Shift');
  await page.mouse.move(box.x + 200, box.y + 40);
  await page.mouse.down();
  await page.mouse.move(box.x + 260, box.y + 40, { steps: 3 });
  await page.mouse.up();
  await page.keyboard.up('Shift');
  await settle(page);
  const panned = (await seen()).window;
  assert.ok(
    panned[0] < zoomed.window[0] - 0.1 &&
      Math.abs(panned[1] - panned[0] - (zoomed.window[1] - zoomed.window[0])) < 1e-9,
    String(panned),
  );
  // One cursor for all, read out to the value of the curve.
  await page.mouse.move(box.x + 0.5 * box.width, box.y + 50);
  await settle(page);
  const cursor = await page.evaluate(() => ({
    time: state.cursor,
    lines: charts.filter(isInSight).map((chart) => chart.line.getBoundingClientRect().left),
    readout: charts[0].series[0].readout.textContent,
    value: toShown(charts[0].described, signalAt(runs[0], charts[0].series[0].name, state.cursor)),
  }));
  assert.ok(
    Math.abs(cursor.time - (panned[0] + panned[1]) / 2) < 0.01 * (panned[1] - panned[0]),
    `cursor at ${cursor.time}`,
  );
  for (const left of cursor.lines) assert.ok(Math.abs(left - (box.x + 0.5 * box.width)) < 1.5, `line at ${left}`);
  assert.ok(Math.abs(parseFloat(cursor.readout) - cursor.value) < 0.1, `${cursor.readout} for ${cursor.value}`);
  // Back to all by a double click, curves off and on by their keys.
  await page.mouse.dblclick(box.x + 100, box.y + 50);
  await settle(page);
  assert.deepEqual((await seen()).window, [0, 24]);
  const key = page.locator('.key').first();
  await key.click();
  assert.equal(await key.getAttribute('aria-pressed'), 'false');
  assert.equal(await page.evaluate(() => charts[0].active.length), 1);
  await key.click();
  assert.equal(await page.evaluate(() => charts[0].active.length), 2);
  await page.close();
});

test('the circuit follows the cursor and plays', async () => {
  const page = await open(one);
  await show(page, 'replay');
  const circuit = async (time) => {
    await page.evaluate((to) => setCursor(to), time);
    return page.evaluate(() => ({
      open: [...document.querySelectorAll('.circuit .valve.open')].map((valve) => valve.dataset.valve),
      words: [...document.querySelectorAll('.circuit text')].map((node) => node.textContent).join('|'),
      directions: [...document.querySelectorAll('.circuit .flow-mark')].map((mark) => Number(mark.dataset.direction)),
      shuttle: document.querySelector('.circuit .shuttle').dataset.side,
      lineB: shownSignal('line_b_pressure')(instant(runs[0], state.cursor)),
    }));
  };
  const driving = await circuit(5.6);
  const braking = await circuit(17.28);
  assert.ok(
    !driving.open.includes('relief B') && braking.open.includes('relief B'),
    `${driving.open} / ${braking.open}`,
  );
  assert.ok(driving.open.includes('check B') && braking.open.includes('check A'));
  assert.equal(driving.shuttle, '1');
  assert.equal(braking.shuttle, '-1');
  assert.deepEqual(driving.directions, [1, 1, 1, 1]);
  assert.ok(braking.words.includes(braking.lineB) && /526/.test(braking.lineB), braking.lineB);
  assert.ok(!driving.words.includes(braking.lineB));
  // Playing at ten times the speed moves the cursor by real time.
  await page.evaluate(() => setCursor(2));
  await page.selectOption('.rail select', '5');
  await page.locator('.rail button').first().click();
  await page.waitForFunction(() => state.cursor > 3);
  await page.locator('.rail button').first().click();
  const stopped = await page.evaluate(() => state.cursor);
  await settle(page);
  assert.equal(await page.evaluate(() => state.cursor), stopped);
  await page.close();
});

test('works by keys', async () => {
  const page = await open(one);
  await show(page, 'replay');
  await page.locator('.rail-track').focus();
  await page.keyboard.press('Home');
  assert.equal(await page.evaluate(() => state.cursor), 0);
  await page.keyboard.press(']');
  const first = await page.evaluate(() => runs[0].events[0].time);
  assert.equal(await page.evaluate(() => state.cursor), first);
  assert.match(await page.locator('#announce').textContent(), /machine moves off/);
  await page.keyboard.press('ArrowRight');
  assert.ok((await page.evaluate(() => state.cursor)) > first);
  await page.keyboard.press('+');
  assert.ok((await page.evaluate(() => state.window[1] - state.window[0])) < 12.001);
  await page.keyboard.press('0');
  assert.deepEqual(await page.evaluate(() => state.window), [0, 24]);
  assert.equal(await page.locator('.rail-track').getAttribute('role'), 'slider');
  await page.close();
});

test('shows trade units and SI', async () => {
  const page = await open(one);
  const row = page.locator('#measures tr', { hasText: 'highest pressure in line B' });
  assert.match((await row.innerText()).replace(/\u00a0/g, ' '), /52\d\.?\d* bar/);
  await page.locator('#switch-units').click();
  assert.match((await row.innerText()).replace(/\u00a0/g, ' '), /52\.\d+ MPa/);
  assert.match(await page.evaluate(() => charts[0].unitLabel.textContent), /MPa/);
  await page.locator('#switch-units').click();
  assert.match((await row.innerText()).replace(/\u00a0/g, ' '), /bar/);
  await page.close();
});

test('the energy picture is the ledger', async () => {
  const page = await open(one);
  for (const braking of [false, true]) {
    await page.evaluate((part) => {
      energyState.braking = part;
      showEnergy();
    }, braking);
    const sums = await page.evaluate((part) => {
      const bands = [...document.querySelectorAll('.band[data-energy]')];
      const term = (name) => runs[0].ledger.find((row) => row.name === name)[part ? 'braking' : 'value'];
      return {
        into: bands
          .filter((band) => band.classList.contains('source'))
          .reduce((sum, band) => sum + Number(band.dataset.energy), 0),
        out: bands
          .filter((band) => band.classList.contains('sink'))
          .reduce((sum, band) => sum + Number(band.dataset.energy), 0),
        wrong: bands.filter((band) => {
          const wanted = band.dataset.terms.split(' ').reduce((sum, name) => sum + Math.abs(term(name)), 0);
          return Math.abs(wanted - Number(band.dataset.energy)) > 1e-9 * wanted;
        }).length,
        count: bands.length,
      };
    }, braking);
    assert.ok(sums.count > 8);
    assert.equal(sums.wrong, 0);
    assert.ok(Math.abs(sums.into - sums.out) < 1e-5 * sums.into, `${sums.into} in, ${sums.out} out`);
  }
  await page.close();
});

test('compares runs, differences first', async () => {
  const page = await open(two);
  const sections = await page.locator('main section:visible').evaluateAll((all) => all.map((section) => section.id));
  assert.equal(sections[0], 'comparison');
  const settings = await page.locator('#comparison table').first().innerText();
  assert.match(settings.replace(/\u00a0/g, ' '), /relief: setting\s+450 bar\s+420 bar/);
  assert.match(settings, /operator: pump share/);
  assert.equal(await page.locator('#comparison table').first().locator('tbody tr').count(), 2);
  assert.match(
    (await page.locator('#comparison table').nth(1).innerText()).replace(/\u00a0/g, ' '),
    /heat made in both main relief valves/,
  );
  assert.deepEqual(await page.evaluate(() => charts[0].active.map((series) => [series.name, series.run.index])), [
    ['line_a_pressure', 0],
    ['line_a_pressure', 1],
    ['line_b_pressure', 0],
    ['line_b_pressure', 1],
  ]);
  await show(page, 'replay');
  await page.evaluate(() => setCursor(17));
  const before = await text(page, '.circuit .big');
  await page.locator('.rail select').nth(1).selectOption('1');
  assert.notEqual(await text(page, '.circuit .big'), before);
  assert.match(await text(page, '.circuit-figure figcaption'), /run 2/);
  await page.close();
});

test('lays runs over each other from the start of braking', async () => {
  const earlier = run('earlier', { '[16 s, 90.5 %], [16.5 s, 0 %]': '[14 s, 90.5 %], [14.5 s, 0 %]' });
  const page = await open(report('aligned', 'one.h5', earlier));
  await show(page, 'replay');
  await page.getByRole('button', { name: 'Count time from the start of braking in every run' }).click();
  await page.evaluate(() => setCursor(0));
  await settle(page);
  const seen = await page.evaluate(() => {
    const chart = charts.find((row) => row.series.some((series) => series.name === 'vehicle_speed'));
    return {
      window: state.window,
      readouts: chart.series.map((series) => parseFloat(series.readout.textContent)),
      wanted: runs.map((row) => toShown(chart.described, row.measureByName.get('stop_from_speed').value)),
    };
  });
  assert.deepEqual(seen.window, [-16, 10]);
  for (const at of [0, 1]) assert.ok(Math.abs(seen.readouts[at] - seen.wanted[at]) < 0.02, JSON.stringify(seen));
  // The log keeps each run's own clock; a click on a time finds it on the page's.
  const second = page.locator('#events .event-lists > div').nth(1);
  await second
    .getByRole('button', { name: /^14\.000/ })
    .first()
    .click();
  assert.ok(Math.abs(await page.evaluate(() => state.cursor)) < 1e-9);
  await page.getByRole('button', { name: 'Count time from the start of braking in every run' }).click();
  assert.deepEqual(await page.evaluate(() => state.window), [0, 24]);
  assert.deepEqual(page.complaints, []);
  await page.close();
});

test('markup in titles is text, and no script but its own runs', async () => {
  const title = '</script><img src=x onerror="window.broken=1"><script>window.broken=1</script>&amp;\u2028<b>bold</b>';
  python(new URL('_markup.py', import.meta.url).pathname, 'one.h5', 'markup.h5', title);
  const page = await open(report('markup', 'markup.h5'));
  assert.equal(await page.locator('h1').textContent(), title);
  assert.ok((await page.locator('#events').textContent()).includes(title));
  assert.ok((await page.locator('#verdict').textContent()).includes(title));
  assert.ok((await page.locator('.chart-title').allTextContents()).some((words) => words.includes(title)));
  assert.equal(await page.locator('img, h1 b').count(), 0);
  assert.equal(await page.evaluate(() => window.broken), undefined);
  assert.deepEqual(page.complaints, []);
  const ran = await page.evaluate(async () => {
    const script = document.createElement('script');
    script.textContent = 'window.broken = 2';
    document.body.append(script);
    const picture = new Image();
    const loaded = await new Promise((done) => {
      picture.onload = () => done('loaded');
      picture.onerror = () => done('refused');
      picture.src = 'data:image/gif;base64,R0lGODlhAQABAAAAACwAAAAAAQABAAA=';
    });
    return [window.broken, loaded];
  });
  assert.deepEqual(ran, [undefined, 'refused']);
  await page.close();
});

test('a minute at 1 kHz: small, ready soon, quick to zoom; noise hides no spike', async () => {
  const minute = run('minute', { 'end_time: 24 s': 'end_time: 60 s' });
  python(new URL('_noise.py', import.meta.url).pathname, `${folder}/${minute}`, `${folder}/noise.h5`);
  for (const [name, file] of [
    ['minute', minute],
    ['noise', 'noise.h5'],
  ]) {
    const html = report(name, file);
    const megabytes = statSync(html).size / 1e6;
    assert.ok(megabytes <= 3, `${name}: ${megabytes} MB`);
    let page = await open(html);
    // Other programs share the machine: the best of a few tries is what the page itself takes.
    for (let tries = 1; tries < 4 && page.readyAfter >= 2000; tries++) {
      await page.close();
      page = await open(html);
    }
    assert.ok(page.readyAfter < 2000, `${name}: ready after ${page.readyAfter} ms`);
    assert.deepEqual(page.complaints, []);
    await show(page, 'replay');
    // Other programs share the machine: what counts is the time that the page's own thread worked, not that it waited.
    const thread = await page.context().newCDPSession(page);
    await thread.send('Performance.enable', { timeDomain: 'threadTicks' });
    const worked = async () =>
      1000 * (await thread.send('Performance.getMetrics')).metrics.find((row) => row.name === 'TaskDuration').value;
    const zooms = [];
    for (const window of [
      [10, 50],
      [12, 20],
      [12.2, 12.6],
      [0, 60],
    ]) {
      const before = await worked();
      const waited = await page.evaluate(
        (to) =>
          new Promise((done) => {
            const started = performance.now();
            setWindow(...to);
            requestAnimationFrame(() => queueMicrotask(() => setTimeout(() => done(performance.now() - started))));
          }),
        window,
      );
      zooms.push({ work: (await worked()) - before, wait: waited });
    }
    const { signals, samples } = await page.evaluate(() => ({
      signals: runs[0].signals.length,
      samples: runs[0].samples,
    }));
    assert.ok(signals >= 30 && samples > 60000);
    const list = (key) => zooms.map((row) => row[key].toFixed(0)).join(', ');
    console.log(
      `# ${name}: ${megabytes.toFixed(2)} MB, ready after ${page.readyAfter} ms, zooms ${list('work')} ms of work, ${list('wait')} ms by the clock`,
    );
    assert.ok(
      zooms.every((row) => row.work > 0.5 && row.work < 100),
      `${name}: zooms took ${list('work')} ms`,
    );
    if (name === 'noise') {
      await page.evaluate(() => setWindow(...wholeSpan));
      const low = await page.evaluate(() => {
        // _noise.py numbers the spikes by name.
        const order = runs[0].signals.map((signal) => signal.name).sort();
        return runs[0].signals
          .filter((signal) => {
            const chart = charts.find((row) => row.series.some((series) => series.name === signal.name));
            redrawChart(chart);
            const column = chart.data[1 + chart.active.findIndex((series) => series.name === signal.name)];
            const highest = Math.max(...column.filter((value) => value !== null));
            const number = order.indexOf(signal.name);
            return !(Math.abs(highest - toShown(chart.described, 40 + number)) <= 1e-5 * Math.abs(highest));
          })
          .map((signal) => signal.name);
      });
      assert.deepEqual(low, []);
    }
    await page.close();
  }
});

test('a time base to the millisecond, late in a long run too', async () => {
  const page = await open(one);
  const worst = await page.evaluate(() =>
    Math.max(
      ...['pedal', 'vehicle_speed', 'line_b_pressure'].map((name) => {
        const { time } = curveOf(runs[0], name);
        const exact = new Set(
          runs[0].events
            .map((event) => Math.round(event.time * 1e7))
            .concat(
              runs[0].measures.map((measure) => Math.round((measure.value || 0) * 1e7)),
              runs[0].limits.map((limit) => Math.round((limit.worst_time || 0) * 1e7)),
            ),
        );
        return Math.max(
          ...[...time]
            .filter((at) => !exact.has(Math.round(at * 1e7)))
            .map((at) => Math.abs(at * 1000 - Math.round(at * 1000))),
        );
      }),
    ),
  );
  assert.ok(worst < 1e-3, `${worst} ms off the output step`);
  await page.close();
});

test('fits 400 pixels, light and dark', async () => {
  for (const width of [400, 1280]) {
    const page = await open(one, { width, height: 800, colorScheme: 'dark' });
    assert.ok(
      await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth),
      `${width} pixels: wider than the window`,
    );
    const paper = () => page.evaluate(() => getComputedStyle(document.body).backgroundColor);
    const dark = await paper();
    await page.locator('#switch-theme').click();
    assert.notEqual(await paper(), dark);
    assert.ok(
      await page.evaluate(() => charts.every((chart) => chart.plot === null || chart.plot.width <= innerWidth)),
    );
    assert.deepEqual(page.complaints, []);
    await page.close();
  }
});

test('prints on A4 and Letter, light, with every chart', async () => {
  const page = await open(one, { colorScheme: 'dark' });
  for (const format of ['A4', 'Letter']) {
    const pdf = await page.pdf({ format, path: `${folder}/${format}.pdf` });
    const pages = (readFileSync(`${folder}/${format}.pdf`, 'latin1').match(/\/Type\s*\/Page\b/g) || []).length;
    assert.ok(pdf.length > 50000 && pages >= 4 && pages <= 12, `${format}: ${pages} pages`);
  }
  await page.evaluate(() => dispatchEvent(new Event('beforeprint')));
  await page.emulateMedia({ media: 'print' });
  const printed = await page.evaluate(() => ({
    rail: getComputedStyle(document.querySelector('.rail')).display,
    switches: getComputedStyle(document.querySelector('.switches')).display,
    ink: getComputedStyle(document.body).color,
    widths: charts.filter((chart) => chart.plot).map((chart) => chart.plot.width),
  }));
  assert.equal(printed.rail, 'none');
  assert.equal(printed.switches, 'none');
  assert.equal(printed.ink, 'rgb(29, 38, 48)');
  assert.ok(printed.widths.length >= 12 && Math.max(...printed.widths) <= 690);
  await page.close();
});

test('is told to a screen reader', async () => {
  const page = await open(one);
  const unnamed = await page.evaluate(
    () =>
      [...document.querySelectorAll('button, select')].filter(
        (node) => !(node.getAttribute('aria-label') || node.textContent.trim()),
      ).length,
  );
  assert.equal(unnamed, 0);
  assert.equal(await page.locator('section:not([aria-labelledby])').count(), 0);
  assert.equal(await page.getByRole('table', { name: 'Limits, worst margin first' }).count(), 1);
  assert.equal(await page.getByRole('img', { name: /^Circuit at the time of the cursor/ }).count(), 1);
  assert.equal(await page.getByRole('heading', { level: 1 }).count(), 1);
  await page.close();
});
