// @ts-check
// The pages of the demonstration in a real browser: every route in light, in the dark, on a phone and on paper.
//
// `cargo xtask ci` runs it: BROWSER is the browser, PROGRAM the program.

import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { after, before, test } from 'node:test';
import { setTimeout as wait } from 'node:timers/promises';
import { chromium } from 'playwright-core';

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const ROUTES = [
  '/', '/node/mast-slope', '/node/mast-slope/first-days', '/alarms', '/next-trip', '/gateways', '/design',
  '/design/frost-mast.toml', '/heard', '/intake', '/about',
];
/** @type {Record<string, import('playwright-core').BrowserContextOptions>} */
const SCREENS = {
  light: { viewport: { width: 1100, height: 800 }, colorScheme: 'light' },
  dark: { viewport: { width: 1100, height: 800 }, colorScheme: 'dark' },
  phone: { viewport: { width: 390, height: 800 }, colorScheme: 'light', hasTouch: true, isMobile: true },
};

/** @type {import('node:child_process').ChildProcess} */
let demo;
/** @type {import('playwright-core').Browser} */
let browser;
let base = '';

before(async () => {
  const program = process.env.PROGRAM ?? '../target/debug/overwinter';
  demo = spawn(program, ['demo', '--pace', '10', '--json'], { stdio: ['pipe', 'ignore', 'pipe'] });
  base = await new Promise((found, failed) => {
    let said = '';
    demo.stderr?.on('data', (piece) => {
      said += piece;
      const address = /Open (http:\S+)\/ in a browser/.exec(said)?.[1];
      if (address) found(address);
    });
    demo.on('exit', () => failed(new Error(`it ended: ${said}`)));
  });
  browser = await chromium.launch({ executablePath: process.env.BROWSER ?? '/usr/bin/chromium', args: ['--no-sandbox'] });
  // All four nodes are heard before anything is looked at.
  for (let tries = 0; tries < 200; tries += 1) {
    const { page } = await (await fetch(`${base}/gateways?format=json`)).json();
    if (page.nodes_heard === 4) return;
    await wait(100);
  }
  throw new Error('nobody is heard');
});

after(async () => {
  await browser?.close();
  demo?.kill('SIGINT');
});

/**
 * A page that fails the test if the browser complains, or asks anybody else for anything.
 * @param {import('playwright-core').BrowserContextOptions} screen
 */
async function opened(screen) {
  const context = await browser.newContext(screen);
  const page = await context.newPage();
  /** @type {string[]} */
  const complaints = [];
  page.on('console', (message) => complaints.push(message.text()));
  page.on('pageerror', (error) => complaints.push(error.message));
  page.on('request', (request) => {
    if (!request.url().startsWith(base) && !request.url().startsWith('data:')) complaints.push(`asks ${request.url()}`);
  });
  return { context, page, complaints };
}

// A weaker grey, a removed label or one inline style turns this red.
for (const [name, screen] of Object.entries(SCREENS)) {
  test(`every page is sound: ${name}`, async () => {
    const { context, page, complaints } = await opened(screen);
    for (const route of ROUTES) {
      const answer = await page.goto(base + route);
      assert.equal(answer?.status(), 200, route);
      assert.ok(((await page.textContent('h1')) ?? '').trim().length > 3, `${route} has a title`);
      const beyond = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
      assert.equal(beyond, 0, `${route} is wider than the screen`);
      await page.evaluate(axe);
      // @ts-ignore: the tool brings its own name.
      const { violations } = await page.evaluate(() => window.axe.run({ resultTypes: ['violations'] }));
      complaints.push(...violations.map((/** @type {any} */ one) => `${route} ${one.id}: ${one.nodes[0].html}`));
    }
    assert.deepEqual(complaints, []);
    await context.close();
  });
}

test('on paper there is black on white and nothing to press', async () => {
  const { context, page, complaints } = await opened({ ...SCREENS.dark });
  await page.emulateMedia({ media: 'print', colorScheme: 'dark' });
  for (const route of ROUTES) {
    await page.goto(base + route);
    const colours = await page.evaluate(() => [getComputedStyle(document.documentElement).backgroundColor, getComputedStyle(document.body).color]);
    assert.deepEqual(colours, ['rgb(255, 255, 255)', 'rgb(0, 0, 0)'], route);
    assert.equal(await page.locator('button:visible, header nav:visible').count(), 0, route);
  }
  assert.deepEqual(complaints, []);
  await context.close();
});

test('without script every figure is there, and a link leads closer', async () => {
  const { context, page } = await opened({ ...SCREENS.light, javaScriptEnabled: false });
  await page.goto(`${base}/node/mast-slope`);
  assert.match((await page.textContent('main')) ?? '', /Battery\s*\d\.\d\d V/);
  await page.click('text=closer');
  assert.match(page.url(), /hours=24/);
  assert.ok((await page.locator('svg.chart').count()) > 2);
  await context.close();
});

test('a reading appears by itself, and a cut is said and mended', async () => {
  const { context, page } = await opened(SCREENS.light);
  await page.goto(`${base}/heard`);
  const first = await page.locator('table.heard a').first().getAttribute('href');
  await page.waitForFunction((before) => document.querySelector('table.heard a')?.getAttribute('href') !== before, first, { timeout: 10_000 });
  await context.setOffline(true);
  await page.waitForFunction(() => document.getElementById('link')?.textContent?.includes('No connection'), null, { timeout: 80_000 });
  await context.setOffline(false);
  await page.waitForFunction(() => document.getElementById('link')?.textContent === '', null, { timeout: 80_000 });
  await context.close();
});

// Six connections a host: if each of these pages, all of them seen, kept a stream of its own, the seventh would hang.
test('nine pages at once all answer', async () => {
  const { context } = await opened(SCREENS.light);
  for (let count = 0; count < 9; count += 1) {
    const page = await context.newPage();
    await page.goto(`${base}/heard`, { timeout: 5_000 });
    await page.waitForSelector('h1');
  }
  await context.close();
});

test('the worst node is opened by keyboard alone', async () => {
  const { context, page } = await opened(SCREENS.light);
  await page.goto(base);
  for (let tabs = 0; tabs < 30; tabs += 1) {
    await page.keyboard.press('Tab');
    const path = await page.evaluate(() => document.activeElement?.getAttribute('href') ?? '');
    if (path.startsWith('/node/')) {
      await page.keyboard.press('Enter');
      await page.waitForURL(`**${path}`);
      await context.close();
      return;
    }
  }
  assert.fail('no node can be reached');
});

test('typing shows what is wrong, and the problem selects its place', async () => {
  const { context, page, complaints } = await opened(SCREENS.light);
  await page.goto(`${base}/design/tank-level.toml`);
  const text = page.locator('#text');
  await text.fill(`${await text.inputValue()}\nnonsense = 1\n`);
  const problem = page.locator('button[data-from]', { hasText: 'nonsense' }).first();
  await problem.click({ timeout: 5_000 });
  const chosen = await page.evaluate(() => {
    const area = /** @type {HTMLTextAreaElement} */ (document.getElementById('text'));
    return area.value.slice(area.selectionStart, area.selectionEnd);
  });
  assert.match(chosen, /nonsense/);
  assert.deepEqual(complaints, []);
  await context.close();
});

// What a page weighs until it stands still, as it travels: limits of the plan of the page.
test('pages are light', async () => {
  const limits = { '/': 250_000, '/node/mast-slope': 150_000, '/node/mast-slope/first-days': 60_000 };
  for (const [route, limit] of Object.entries(limits)) {
    const { context, page } = await opened(SCREENS.phone);
    const session = await context.newCDPSession(page);
    await session.send('Network.enable');
    let bytes = 0;
    session.on('Network.loadingFinished', (event) => { bytes += event.encodedDataLength; });
    await page.goto(base + route);
    await wait(500);
    assert.ok(bytes > 0 && bytes < limit, `${route} weighs ${bytes} bytes`);
    console.log(`${route} weighs ${bytes} bytes`);
    await context.close();
  }
});

test('the program stops within two seconds while somebody listens', async () => {
  const { context, page } = await opened(SCREENS.light);
  await page.goto(`${base}/heard`);
  await wait(300);
  const asked = Date.now();
  const ended = new Promise((done) => demo.once('exit', done));
  demo.kill('SIGINT');
  await Promise.race([ended, wait(10_000)]);
  assert.ok(Date.now() - asked < 2_000, `${Date.now() - asked} ms`);
  await context.close();
});
