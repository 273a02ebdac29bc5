// What the browser tests share: run files and pages in a folder of their own, and a browser that tells on a page.
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

const require = createRequire(import.meta.url);
const browserPath = ['/usr/bin/chromium', '/usr/bin/chromium-browser'].find(existsSync);

function skip(reason) {
  console.log(`skipped: ${reason}; tools/install-needs test installs it`);
  process.exit(77);
}

let driver = null;
try {
  driver = require('playwright-core');
} catch {
  skip('playwright-core is not there');
}
if (!browserPath) skip('chromium is not there');
if (!process.env.SWASHLOOP) skip('no program: SWASHLOOP is not set');

export const folder = mkdtempSync(join(tmpdir(), 'swashloop-browser-'));
process.on('exit', () => rmSync(folder, { recursive: true, force: true }));
const source = process.env.SWASHLOOP_SOURCE;

export function swashloop(...words) {
  return execFileSync(process.env.SWASHLOOP, words, { cwd: folder, stdio: ['ignore', 'pipe', 'pipe'] }).toString();
}

export function python(...words) {
  const options = { cwd: folder, stdio: ['ignore', 'pipe', 'inherit'], maxBuffer: 1 << 26 };
  return execFileSync(process.env.SWASHLOOP_PYTHON || 'python3', words, options).toString();
}

// Braking on a downgrade, with limits of which two are broken.
const downhill = `
title: 'Downhill'
machine: ${source}/cases/baseline/machine.yaml
simulation: {end_time: 24 s}
operator:
  pedal: [[0 s, 0 %], [1 s, 0 %], [3 s, 90.5 %], [16 s, 90.5 %], [16.5 s, 0 %]]
ground:
  grade: [[0 m, 0 %], [62 m, 0 %], [66 m, -25 %]]
limits:
  - line_b_pressure <= 500 bar
  - line_a_pressure <= 420 bar
  - engine_speed <= 3000 rpm
  - lowest_low_side_pressure >= 10 bar
`;

// Runs the case (a broken limit, exit code 4, is no failure here) with what is changed in its text.
export function run(name, changes = {}, ...options) {
  let text = downhill;
  for (const [from, to] of Object.entries(changes)) text = text.replace(from, () => to);
  writeFileSync(join(folder, `${name}.yaml`), text);
  try {
    swashloop('run', `${name}.yaml`, '-o', `${name}.h5`, '--quiet', ...options);
  } catch (error) {
    if (error.status !== 4) throw new Error(`run ${name}: ${error.stderr}`);
  }
  return `${name}.h5`;
}

export function report(name, ...runs) {
  swashloop('report', ...runs, '-o', `${name}.html`);
  return join(folder, `${name}.html`);
}

let browser = null;

export async function closeBrowser() {
  if (browser !== null) await browser.close();
}

// A page that is open and ready, with all it complained of and asked for.
export async function open(file, { width = 1280, height = 900, colorScheme = 'light' } = {}) {
  browser ??= await driver.chromium.launch({
    executablePath: browserPath,
    args: [
      '--headless',
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
    ],
  });
  const page = await browser.newPage({ viewport: { width, height }, colorScheme });
  page.complaints = [];
  page.requests = [];
  page.on(
    'console',
    (message) => ['error', 'warning'].includes(message.type()) && page.complaints.push(message.text()),
  );
  page.on('pageerror', (error) => page.complaints.push(error.message));
  page.on('request', (request) => page.requests.push(request.url()));
  const started = Date.now();
  await page.goto(`file://${file}`);
  await page.waitForSelector('html[data-ready]', { timeout: 20000 });
  page.readyAfter = Date.now() - started;
  return page;
}

// In sight, and everything drawn.
export async function show(page, id) {
  await page.evaluate((name) => document.getElementById(name).scrollIntoView(), id);
  await settle(page);
}

export function settle(page) {
  return page.evaluate(
    () => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done)))),
  );
}
