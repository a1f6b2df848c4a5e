// What all tests here share: the browser, the program, displays, and pages with an ear on them.
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { chromium } from 'playwright-core';

export const root = resolve(dirname(fileURLToPath(import.meta.url)), '../..');
const target = process.env.CARGO_TARGET_DIR ?? join(root, 'target');
export const program = process.env.TINSEL ?? join(target, 'debug/tinsel');

export const EXAMPLES = ['first/porch', 'middle/yard', 'walk/brook', 'veteran/yard'].map((name) => ({
  name: name.split('/')[0],
  file: join(root, 'examples', `${name}.tinsel`),
}));

/** Runs tinsel and gives back what it printed. */
export function tinsel(...args) {
  return execFileSync(program, args, { encoding: 'utf8', maxBuffer: 1 << 30 });
}

/** A folder for the length of a test file. */
export function folder() {
  const path = mkdtempSync(join(tmpdir(), 'tinsel-pages-'));
  process.on('exit', () => rmSync(path, { recursive: true, force: true }));
  return path;
}

/** The browser; everything that would look for a network by itself is off. */
export function launch() {
  return chromium.launch({
    executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
    args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
      '--disable-component-update', '--disable-sync'],
  });
}

/** Opens a file and notes what went wrong: console errors, failures, and every request but the file itself. */
export async function open(browser, file, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  const page = await context.newPage();
  const url = pathToFileURL(file).href;
  const faults = [];
  page.on('console', (message) => {
    if (['error', 'warning'].includes(message.type())) faults.push(`console: ${message.text()}`);
  });
  page.on('pageerror', (error) => faults.push(`error: ${error.message}`));
  page.on('request', (request) => {
    if (request.url() !== url) faults.push(`request: ${request.url()}`);
  });
  const began = performance.now();
  await page.goto(url, { waitUntil: 'load' });
  await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
  const milliseconds = performance.now() - began;
  return { page, context, faults, milliseconds };
}

/** A display of so many props, 32 a controller, as text. */
export function display(props) {
  const text = ['display "Fern Hollow" { frame rate 2 Hz }',
    'node bud { chip ws2811; colour RGB; volts 12 V }', 'node bloom { chip ws2811; colour GRB; volts 12 V }'];
  for (let at = 0; at < props; at += 1) {
    const box = Math.floor(at / 32);
    if (at % 32 === 0) text.push(`controller c${box} { input e131 unicast; ports 1..16 { nodes at most 800 } }`);
    const nodes = [50, 100, 150, 64, 136, 110, 90, 150][at % 8];
    text.push(`prop p${at} { node ${at % 3 ? 'bud' : 'bloom'}; ${at % 8 === 3 ? `strings 2 of ${nodes / 2}` : `string ${nodes}`} nodes }`);
    if (at % 2) text.push(`wire c${box}.${(at % 32 - 1) / 2 + 1}: p${at - 1} -> lead 2 m of 18 AWG -> p${at}`);
  }
  return `${text.join('\n')}\n`;
}
