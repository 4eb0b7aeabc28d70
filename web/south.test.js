// @ts-check
// A site south of the equator, by the plan of Australia: winter is in July, and the year of a chart begins in January, so that the
// dark months lie unbroken in its middle.

import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { after, before, test } from 'node:test';
import { setTimeout as wait } from 'node:timers/promises';
import { served } from './served.js';

/** @type {Awaited<ReturnType<typeof served>>} */
let site;

/** The frost mast as it would stand there: its panel faces north. */
function mast() {
  const text = readFileSync('../examples/larkmoor/frost-mast.toml', 'utf8');
  return text.replace('"EU868"', '"AU915"').replaceAll('46.99 deg', '-36.72 deg').replaceAll('13.00 deg', '147.05 deg')
    .replace('azimuth = "180 deg"', 'azimuth = "0 deg"').replace('"47.005 deg"', '"-36.705 deg"').replace('"13.035 deg"', '"147.085 deg"')
    .replace(/^horizon = .*$/m, '').replace(/^snow_days = .*$/m, '').replace('"5 years"', '"1 year"')
    // Carried out full in late summer, so that the lowest day is one of winter, and not the first.
    .replace('installed = "10-15"', 'installed = "02-01"').replace('charge_at_installation = "60 %"', 'charge_at_installation = "100 %"');
}

before(async () => {
  site = await served((port) => ({
    'mast.toml': mast(),
    'site.toml': `schema = 1
name = "South moor"
time_zone = "Australia/Melbourne"
[serve]
log = "log.sqlite"
page = "127.0.0.1:${port}"
[gateway.hut]
latitude = "-36.705 deg"
longitude = "147.085 deg"
antenna_height = "11 m"
place = "outside"
surroundings = "village"
[ground]
around_nodes = "open"
[node.mast]
kind = "mast.toml"
latitude = "-36.72 deg"
longitude = "147.05 deg"
`,
  }));
});

after(() => site?.end());

test('the dark months of the south lie in the middle, and no page complains', async () => {
  const page = await site.browser.newPage({ viewport: { width: 390, height: 800 } });
  /** @type {string[]} */
  const complaints = [];
  page.on('console', (message) => complaints.push(message.text()));
  page.on('pageerror', (error) => complaints.push(error.message));
  for (let tries = 0; tries < 600; tries += 1) {
    const { page: node } = await (await fetch(`${site.base}/node/mast?format=json`)).json();
    if (node.promised) break;
    await wait(200);
  }
  for (const route of ['/', '/node/mast', '/node/mast/first-days', '/next-trip', '/gateways', '/design/mast.toml', '/about']) {
    const answer = await page.goto(site.base + route);
    assert.equal(answer?.status(), 200, route);
    const beyond = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    assert.equal(beyond, 0, `${route} is wider than the screen`);
  }
  await page.goto(`${site.base}/node/mast`);
  const months = await page.locator('#kept-title ~ *, [data-part=kept] svg text').allTextContents();
  const names = months.filter((text) => /^(Jan|Feb|Mar|Apr|May|June?|July?|Aug|Sept?|Oct|Nov|Dec)$/.test(text));
  assert.match(names.join(' '), /^Jan Feb Mar .* Dec$/, 'the year begins at midsummer, which is January');
  const told = (await page.textContent('[data-part=kept]')) ?? '';
  assert.match(told, /on \d+ (May|June|July|August|September)/, `the lowest day is not that of the north: ${told}`);
  assert.match((await page.textContent('[data-part=promised]')) ?? '', /AU915/);
  assert.match((await page.textContent('main')) ?? '', /36\.7200° S, 147\.0500° E/);
  assert.deepEqual(complaints, []);
  await page.close();
});
