import { createRequire } from 'node:module';
const require = createRequire(import.meta.url);
const { chromium } = require('playwright-core');
const browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: ['--no-sandbox'] });
const page = await browser.newPage({ viewport: { width: 1250, height: 900 } });
page.on('console', (m) => console.log(m.text())); page.on('pageerror', (e) => console.log('ERR', e.message));
await page.goto('file://' + process.argv[2]);
await page.waitForTimeout(500);
if (process.argv[4]) { await page.evaluate((wanted) => { const at = plottedEntries().findIndex((entry) => entry.value.name === wanted); const list = document.querySelector('#plotted select'); list.selectedIndex = at; list.dispatchEvent(new Event('change')); }, process.argv[4]); await page.waitForTimeout(400); }
await page.screenshot({ path: process.argv[3], fullPage: true });
await browser.close();
