// The report's page in a real browser: sorting, finding and filtering by mouse and keyboard, the page without
// its script, nothing hostile alive, nothing asked of the network, axe and html-validate.
//
//   cd tests/reports/browser && npm install
//   node page.test.cjs ../../../reports/2026-W26/report.html [more pages]
//
// CHROMIUM names the browser where it is not /usr/bin/chromium. Pictures go to PICTURES, if that is set.
'use strict';
const assert = require('node:assert');
const fs = require('node:fs');
const path = require('node:path');
const { chromium } = require('playwright-core');
const { HtmlValidate } = require('html-validate');

const pages = process.argv.slice(2).map((page) => path.resolve(page));
assert.ok(pages.length, 'name a page');
const ALONE = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
  '--disable-component-update', '--disable-sync'];
const axe = fs.readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');

// A page opened with what went wrong on it.
async function open(browser, file, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  const page = await context.newPage();
  const wrong = [];
  page.on('console', (message) => { if (['error', 'warning'].includes(message.type())) wrong.push(message.text()); });
  page.on('pageerror', (error) => wrong.push(error.message));
  page.on('request', (request) => { if (!request.url().startsWith('file:')) wrong.push(request.url()); });
  page.on('dialog', (dialog) => { wrong.push(`dialog: ${dialog.message()}`); dialog.dismiss(); });
  await page.goto(`file://${file}`);
  return { context, page, wrong };
}

const tests = {
  // A number column sorts by numbers, says which way it lies, and turns when it is pressed again.
  async 'a table is sorted from the keyboard'(page) {
    const head = page.locator('table:has(tbody tr:nth-child(3)) th.number').first();
    // A page to print has no script, so its tables have nothing to press.
    if (await head.locator('button').count() === 0) return 'no such table';
    const table = head.locator('xpath=ancestor::table');
    const at = await head.evaluate((cell) => cell.cellIndex);
    const cells = () => table.evaluate((each, column) => [...each.tBodies[0].rows].map((row) => row.cells[column].textContent.trim()), at);
    const before = await cells();
    await head.locator('button').focus();
    await page.keyboard.press('Enter');
    assert.strictEqual(await head.getAttribute('aria-sort'), 'ascending');
    const numbers = (await cells()).map((words) => Number(words.replace(/[^\d.-]/g, ''))).filter((number) => !Number.isNaN(number));
    if ((await cells()).every((words) => /^[^\p{L}]*[\d,.]+[^\p{L}]*$/u.test(words))) {
      assert.deepStrictEqual(numbers, [...numbers].sort((a, b) => a - b));
    }
    await page.keyboard.press('Space');
    assert.strictEqual(await head.getAttribute('aria-sort'), 'descending');
    assert.strictEqual(await table.locator('th[aria-sort]').count(), 1);
    assert.deepStrictEqual((await cells()).sort(), before.sort(), 'rows were lost');
  },

  async 'a unit is found'(page) {
    const find = page.locator('#bar-find');
    if (await find.count() === 0) return 'no units on it';
    const unit = await page.evaluate(() => {
      for (const table of document.querySelectorAll('table')) {
        const at = [...table.querySelectorAll('thead th')].findIndex((head) => ['unit', 'vehicle'].includes(head.textContent.trim()));
        if (at >= 0 && table.tBodies[0] && table.tBodies[0].rows.length > 1) return table.tBodies[0].rows[0].cells[at].textContent.trim();
      }
      return null;
    });
    if (unit === null) return 'no table of units';
    await find.fill(unit.toLowerCase());
    const shown = await page.evaluate(() => [...document.querySelectorAll('table')].flatMap((table) => {
      const at = [...table.querySelectorAll('thead th')].flatMap((head, place) => ['unit', 'vehicle', 'vin'].includes(head.textContent.trim().toLowerCase()) ? [place] : []);
      return at.length ? [...table.tBodies[0].rows].filter((row) => !row.hidden).map((row) => at.map((place) => row.cells[place].textContent).join(' ')) : [];
    }));
    assert.ok(shown.length > 0 && shown.every((words) => words.toLowerCase().includes(unit.toLowerCase())), shown.join(' | '));
    assert.match(await page.locator('.bar [role=status]').textContent(), /^\d+ of \d+ rows shown$/);
    await page.locator('.bar button[type=reset]').click();
    await page.waitForFunction(() => document.querySelectorAll('tr[hidden]').length === 0);
  },

  async 'rows are filtered by depot'(page) {
    const select = page.locator('#bar-depot');
    if (await select.count() === 0) return 'no depots on it';
    const depot = await select.locator('option').nth(1).textContent();
    await select.selectOption(depot);
    const shown = await page.evaluate(() => [...document.querySelectorAll('table')].flatMap((table) => {
      const at = [...table.querySelectorAll('thead th')].findIndex((head) => head.textContent.trim() === 'depot');
      return at < 0 ? [] : [...table.tBodies[0].rows].filter((row) => !row.hidden).map((row) => row.cells[at].textContent.trim());
    }));
    assert.ok(shown.length > 0 && shown.every((words) => words === depot), shown.join(' | '));
    await page.locator('.bar button[type=reset]').click();
  },

  async 'axe finds nothing'(page) {
    await page.evaluate(axe);
    const found = await page.evaluate(() => globalThis.axe.run());
    assert.deepStrictEqual(found.violations.map((each) => `${each.id}: ${each.nodes[0].html}`), []);
  },
};

(async () => {
  const browser = await chromium.launch({ executablePath: process.env.CHROMIUM || '/usr/bin/chromium', args: ALONE });
  let failed = 0;
  const tell = (name, outcome) => console.log(`${outcome}  ${name}`);
  const check = async (name, run) => {
    try {
      const left = await run();
      tell(name, left ? `left out (${left})` : 'ok');
    } catch (error) {
      failed += 1;
      tell(`${name}\n${error.message}`, 'FAILED');
    }
  };
  for (const file of pages) {
    const base = path.basename(file);
    for (const [name, run] of Object.entries(tests)) {
      const { context, page, wrong } = await open(browser, file);
      await check(`${base}: ${name}`, async () => {
        const left = await run(page);
        assert.deepStrictEqual(wrong, []);
        return left;
      });
      await context.close();
    }
    await check(`${base}: without the script it is whole`, async () => {
      const still = await open(browser, file, { javaScriptEnabled: false });
      assert.strictEqual(await still.page.locator('.bar:not(svg .bar)').count(), 0);
      assert.strictEqual(await still.page.locator('button').count(), 0);
      assert.ok(await still.page.locator('h1').count() === 1);
      await still.context.close();
    });
    for (const [width, colorScheme] of [[390, 'light'], [390, 'dark'], [1280, 'dark']]) {
      await check(`${base}: ${width} px, ${colorScheme}: no sideways scroll, axe finds nothing`, async () => {
        const { context, page, wrong } = await open(browser, file, { viewport: { width, height: 844 }, colorScheme });
        const wide = await page.evaluate(() => document.documentElement.scrollWidth);
        assert.ok(wide <= width, `${wide} px wide`);
        await page.evaluate(axe);
        const found = await page.evaluate(() => globalThis.axe.run());
        assert.deepStrictEqual(found.violations.map((each) => `${each.id}: ${each.nodes[0].html}`), []);
        assert.deepStrictEqual(wrong, []);
        if (process.env.PICTURES) {
          await page.screenshot({ path: path.join(process.env.PICTURES, `${base}-${width}-${colorScheme}.png`), fullPage: true });
        }
        await context.close();
      });
    }
    await check(`${base}: html-validate finds nothing`, async () => {
      const validator = new HtmlValidate({ extends: ['html-validate:standard'], rules: { 'no-inline-style': 'off', 'long-title': 'off' } });
      const report = await validator.validateFile(file);
      const found = report.results.flatMap((result) => result.messages.map((message) => `${message.line}:${message.column} ${message.ruleId} ${message.message}`));
      assert.deepStrictEqual(found.slice(0, 10), []);
    });
  }
  await browser.close();
  if (failed) process.exit(1);
})();
