// A picture of a page of the report for docs: node _picture.mjs run|sweep PAGE.html PICTURE.png
// tools/make-docs --pictures calls it.
import { resolve } from 'node:path';
import { closeBrowser, open, settle } from './_page.mjs';

const [kind, file, picture] = process.argv.slice(2);

// An instant of the braking, as the page shows it.
async function showRun(page) {
  await page.evaluate(() => {
    setWindow(11.0, 14.5);
    setCursor(12.7);
    document.getElementById('replay').scrollIntoView();
  });
}

// The map at one mass and one relief setting, and a case on the edge of what is within all limits.
async function showSweep(page) {
  await page.getByLabel('up', { exact: true }).first().selectOption({ label: 'forward pedal ramp' });
  await page.getByLabel('vehicle mass', { exact: true }).selectOption({ label: '14000 kg' });
  await page.getByLabel('relief setting', { exact: true }).selectOption({ label: '420 bar' });
  await page.evaluate(() => {
    const last = Math.max(...mapState.cells.map((cell) => cell.row));
    const kept = mapState.cells.filter((cell) => cell.row === last && cell.hold === 'all');
    goToCell(kept.reduce((best, cell) => (cell.column < best.column ? cell : best)).at);
    window.scrollTo(0, 0);
  });
}

const page = await open(resolve(file), { width: 1280, height: kind === 'run' ? 960 : 1120 });
await (kind === 'run' ? showRun : showSweep)(page);
await settle(page);
await page.screenshot({ path: picture });
const { complaints } = page;
await closeBrowser();
for (const complaint of complaints) console.error(complaint);
process.exitCode = complaints.length > 0 ? 1 : 0;
