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
  '/design/frost-mast.toml', '/design/frost-mast.toml?beside=tank-level.toml', '/heard', '/intake', '/about',
  '/node/mast-slope/visit', '/node/mast-slope/settings', '/node/mast-slope/place',
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
  // A design is worked out when it is opened, and this machine may be at work with other things.
  context.setDefaultNavigationTimeout(120_000);
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
    assert.equal(await page.locator('button:visible, header nav:visible, .view:visible').count(), 0, route);
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

test('two designs stand side by side, each followed while somebody types', async () => {
  const { context, page, complaints } = await opened(SCREENS.light);
  await page.goto(`${base}/design/tank-level.toml?beside=tank-level.toml`, { timeout: 120_000 });
  assert.equal(await page.locator('[aria-current]', { hasText: 'this file as it is' }).count(), 1);
  const left = page.locator('#text');
  await left.fill((await left.inputValue()).replace(/name = ".*"/, 'name = "Another tank"'));
  await page.waitForFunction(() => /^Another tank .*; beside it: Tank level /.test(document.querySelector('h1')?.textContent ?? ''), null, { timeout: 60_000 });
  assert.equal(await page.locator('.answer .verdict').count(), 8);
  assert.deepEqual(complaints, []);
  await context.close();
});

// A board that is no link, a key that moves nothing or a place that is not written turns this red.
test('on the map boards are links, and one is put elsewhere by keyboard alone', async () => {
  const { context, page, complaints } = await opened(SCREENS.light);
  await page.goto(base);
  const board = page.locator('a.board', { hasText: 'mast-slope' });
  await board.waitFor();
  assert.equal(await page.locator('a.board').count(), 4);
  assert.equal(await board.getAttribute('href'), '/node/mast-slope');
  assert.ok(!(await page.locator('.ground svg').isVisible()), 'the picture makes room');
  const before = (await (await fetch(`${base}/map.json`)).json()).nodes.find((/** @type {any} */ node) => node.name === 'mast-slope');
  await page.click('text=move a node');
  await board.focus();
  for (let count = 0; count < 3; count += 1) await page.keyboard.press('Shift+ArrowUp');
  assert.match((await page.textContent('.figure [role=status]')) ?? '', /mast-slope: \d+\.\d{5}° north, .*m from where it stands/);
  await page.click('text=put it here');
  await page.locator('text=it is written in the registry').waitFor();
  const { page: told } = await (await fetch(`${base}/node/mast-slope/place?format=json`)).json();
  assert.ok(told.is_registered && told.place[0] > before.latitude_deg + 0.0005, JSON.stringify(told));
  assert.ok(Math.abs(told.place[1] - before.longitude_deg) < 1e-5, JSON.stringify(told));
  assert.deepEqual(complaints, []);
  await context.close();
});

test('a board is dragged, and goes back', async () => {
  const { context, page } = await opened(SCREENS.light);
  await page.goto(base);
  const board = page.locator('a.board', { hasText: 'mast-hollow' });
  await board.waitFor();
  await page.click('text=move a node');
  await board.scrollIntoViewIfNeeded();
  const from = await board.locator('.face').boundingBox();
  if (!from) throw new Error('it is not seen');
  const [x, y] = [from.x + from.width / 2, from.y + from.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x - 60, y + 40, { steps: 5 });
  await page.mouse.up();
  assert.equal(page.url(), `${base}/`, 'a drag opens no page');
  assert.match((await page.textContent('.figure [role=status]')) ?? '', /mast-hollow: /);
  await page.locator('button', { hasText: /^back$/ }).click();
  const { page: told } = await (await fetch(`${base}/node/mast-hollow/place?format=json`)).json();
  assert.equal(told.is_registered, false, 'nothing was written');
  await context.close();
});

test('a visit that is noted without a link is kept, and sent once', async () => {
  const { context, page } = await opened(SCREENS.phone);
  const visits = async () => (await (await fetch(`${base}/api/v1/visits`)).json()).visits.filter((/** @type {any} */ one) => one.what === 'cleaned the panel');
  await page.goto(`${base}/node/spring-tank/visit`);
  await context.setOffline(true);
  await page.fill('#what', 'cleaned the panel');
  // A pixel of a picture, as a phone's camera gives many.
  const pixel = 'iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg==';
  await page.setInputFiles('#photo', { name: 'a.png', mimeType: 'image/png', buffer: Buffer.from(pixel, 'base64') });
  await page.click('text=Note it');
  await page.locator('text=1 noted here and not sent yet').waitFor();
  assert.equal((await visits()).length, 0);
  await context.setOffline(false);
  await page.locator('#unsent', { hasText: /^noted$/ }).waitFor({ timeout: 30_000 });
  await page.reload();
  await wait(500);
  const noted = await visits();
  assert.equal(noted.length, 1, 'once');
  const photo = await fetch(`${base}/visit/${noted[0].id}/photo`);
  assert.equal(photo.headers.get('content-type'), 'image/jpeg');
  await context.close();
});

test('a visit is noted without script, and a picture that is too large is refused with a word', async () => {
  const { context, page } = await opened({ ...SCREENS.phone, javaScriptEnabled: false });
  await page.goto(`${base}/node/hail-net/visit`);
  await page.fill('#what', 'swapped the cell');
  const jpeg = (/** @type {number} */ bytes) => Buffer.concat([Buffer.from([0xff, 0xd8, 0xff]), Buffer.alloc(bytes - 3)]);
  await page.setInputFiles('#photo', { name: 'a.jpg', mimeType: 'image/jpeg', buffer: jpeg(2_000_001) });
  await page.click('text=Note it');
  assert.match((await page.textContent('[role=alert]')) ?? '', /2000001 bytes; at most 2000000 are taken: scale it down/);
  await page.fill('#what', 'swapped the cell');
  await page.setInputFiles('#photo', { name: 'a.jpg', mimeType: 'image/jpeg', buffer: jpeg(2_000_000) });
  await page.click('text=Note it');
  assert.match((await page.textContent('main')) ?? '', /swapped the cell/);
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
