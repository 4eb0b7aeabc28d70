// @ts-check
// A site of its own in a temporary folder, served, and a browser to look at it.

import { spawn } from 'node:child_process';
import { cpSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium } from 'playwright-core';

export const PROGRAM = process.env.PROGRAM ?? '../target/debug/overwinter';

/** A port that was free a moment ago. @returns {Promise<number>} */
const port = () => new Promise((found) => {
  const server = createServer().listen(0, '127.0.0.1', () => {
    const at = server.address();
    server.close(() => found(typeof at === 'object' && at ? at.port : 0));
  });
});

/** The address that a program says on its standard error. @param {import('node:child_process').ChildProcess} program @returns {Promise<string>} */
export const address = (program) => new Promise((found, failed) => {
  let said = '';
  program.stderr?.on('data', (piece) => {
    said += piece;
    const told = /Open (http:\S+)\/ in a browser/.exec(said)?.[1];
    if (told) found(told);
  });
  program.on('exit', () => failed(new Error(`it ended: ${said}`)));
});

export const launched = () => chromium.launch({
  executablePath: process.env.BROWSER ?? '/usr/bin/chromium', args: ['--no-sandbox', '--disable-gpu'],
});

/**
 * The example's files with other files among them, served.
 * @param {(port: number) => Record<string, string>} files by name; `site.toml` is the site's
 */
export async function served(files) {
  const folder = mkdtempSync(join(tmpdir(), 'overwinter-'));
  cpSync('../examples/larkmoor', folder, { recursive: true });
  for (const [name, text] of Object.entries(files(await port()))) writeFileSync(join(folder, name), text);
  const program = spawn(PROGRAM, ['serve', join(folder, 'site.toml')], { stdio: ['pipe', 'ignore', 'pipe'] });
  const [base, browser] = [await address(program), await launched()];
  const end = async () => {
    await browser.close();
    program.kill('SIGINT');
    rmSync(folder, { recursive: true, force: true });
  };
  return { base, browser, end };
}
