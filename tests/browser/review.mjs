// The report of a review in a real browser: the matrix, and a click on a cell that tells its run.
import assert from 'node:assert/strict';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { after, test } from 'node:test';
import { closeBrowser, folder, open, report, run, settle, swashloop } from './_page.mjs';

run('down', { 'end_time: 24 s': 'end_time: 3 s' });
writeFileSync(
  join(folder, 'review.yaml'),
  `title: Down and light
cases:
  - {case: down.yaml, name: down}
  - {case: down.yaml, name: at rest, set: {operator.pedal: none}}
conditions:
  - {name: laden}
  - {name: light, set: {vehicle.mass: 8 t}, limits: [vehicle_speed <= 1 km/h within 1 s]}
`,
);
try {
  swashloop('review', 'review.yaml', '-o', 'review.h5', '--quiet');
} catch (error) {
  if (![4, 6].includes(error.status)) throw new Error(String(error.stderr));
}
const one = report('review', 'review.h5');

after(closeBrowser);

test('the matrix tells every cell, and a click tells its run', async () => {
  const page = await open(one);
  await settle(page);
  assert.deepEqual(page.complaints, []);
  assert.deepEqual(page.requests, [`file://${one}`]);
  assert.equal(await page.title(), 'Down and light');
  const cells = page.locator('.review-matrix button');
  assert.equal(await cells.count(), 4);
  assert.match(await page.locator('#review-body').innerText(), /of 4 cells keep every limit/);
  for (const [at, name] of [
    [0, 'down, laden'],
    [3, 'at rest, light'],
  ]) {
    await Promise.all([page.waitForEvent('load'), cells.nth(at).click()]);
    await page.waitForSelector('html[data-ready]');
    assert.equal(await page.locator('#chosen-cell').innerText(), `Below: ${name}`);
    assert.equal(await cells.nth(at).getAttribute('aria-pressed'), 'true');
    const told = await page.evaluate(() => [runs.length, runs[0].title, runs[0].file]);
    assert.equal(told[0], 1);
    assert.match(told[1], new RegExp(`${name.split(', ')[1]}$`));
    assert.equal(told[2], `case_${String(at).padStart(6, '0')}.h5`);
    assert.ok((await page.locator('#charts canvas').count()) > 0, 'curves are drawn');
    assert.ok((await page.locator('#events-body').innerText()).length > 0, 'the story is told');
  }
  assert.deepEqual(page.complaints, []);
});
