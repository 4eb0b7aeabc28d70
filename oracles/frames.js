'use strict';
// Frames per second of a JavaScript library and of ours: the same frames, the same keys, one run.
//
// npm install --no-save lora-packet@0.9.3 && node frames.js

const { spawnSync } = require('child_process');
const path = require('path');
const library = require('lora-packet');

const NWK_S_KEY = Buffer.alloc(16, 0x2b);
const APP_S_KEY = Buffer.alloc(16, 0x0f);
const ROUNDS = 11;

// The bench prints its frames, or what it measured.
function bench(...more) {
  const run = spawnSync('cargo', ['bench', '-q', '-p', 'overwinter-wire', '--bench', 'frames', '--', ...more], {
    cwd: path.join(__dirname, '..'),
    encoding: 'utf8',
    maxBuffer: 1 << 26,
  });
  if (run.status !== 0) { throw new Error(run.stderr); }
  return run.stdout;
}

// Parse, verify and decrypt; the payload repeats its counter, least significant byte first.
function receive(frames) {
  const start = process.hrtime.bigint();
  frames.forEach((bytes, index) => {
    const packet = library.fromWire(bytes);
    if (!library.verifyMIC(packet, NWK_S_KEY)) { throw new Error(`frame ${index} is not genuine`); }
    const payload = library.decrypt(packet, APP_S_KEY, NWK_S_KEY);
    if (payload.length !== 12 || payload.readUInt32LE(8) !== index + 1) { throw new Error(`frame ${index} is read wrongly`); }
  });
  return Number(process.hrtime.bigint() - start) / 1e9;
}

const frames = bench('--frames').trim().split('\n').map((hex) => Buffer.from(hex, 'hex'));
receive(frames); // So that the engine has compiled it.
// On a busy machine the fastest round of each is the least disturbed one.
const theirs = frames.length / Math.min(...Array.from({ length: ROUNDS }, () => receive(frames)));
const said = bench();
const ours = 1e6 * Number(/12 bytes: .*best ([\d.]+)/.exec(said)[1]);
const { version } = require('lora-packet/package.json');
console.log(`lora-packet ${version} on node ${process.version}: ${Math.round(theirs)} frames of 12 bytes per second, best of ${ROUNDS} rounds of ${frames.length}`);
console.log(said.trim());
console.log(`ratio ${Math.round(ours / theirs)}`);
