import { chromium } from 'playwright-core';
const [base, out, ...routes] = process.argv.slice(2);
const b = await chromium.launch({ executablePath: '/usr/bin/chromium', args: ['--no-sandbox'] });
const kinds = { light: { w: 1100 }, dark: { w: 1100, colorScheme: 'dark' }, phone: { w: 390 } };
const want = (process.env.KINDS ?? 'light,phone').split(',');
for (const k of want) {
  const ctx = await b.newContext({ viewport: { width: kinds[k].w, height: 800 }, colorScheme: kinds[k].colorScheme ?? 'light' });
  const p = await ctx.newPage();
  p.on('console', (m) => console.log(k, 'console', m.type(), m.text()));
  p.on('pageerror', (e) => console.log(k, 'error', e.message));
  for (const r of routes) {
    const a = await p.goto(base + r, { waitUntil: 'load', timeout: 20000 });
    const over = await p.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    const name = r.replace(/[^a-z0-9-]+/gi, '_');
    await p.screenshot({ path: `${out}/${name}-${k}.png`, fullPage: true, timeout: 20000 });
    console.log(k, r, a.status(), 'over', over, (await p.title()));
  }
  await ctx.close();
}
await b.close();
