// Makes the page: one file with the compiler, the editor and the examples in it.
// node build.mjs COMPILER.wasm PAGE.html
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { dirname, join, posix } from 'node:path';
import { fileURLToPath } from 'node:url';
import { gzipSync } from 'node:zlib';
import { build } from 'esbuild';

const here = dirname(fileURLToPath(import.meta.url));
const [wasm, out] = process.argv.slice(2);
const read = (...path) => readFileSync(join(here, ...path), 'utf8');
const sha256 = (text) => `'sha256-${createHash('sha256').update(text).digest('base64')}'`;

async function bundled(entry) {
  const made = await build({
    entryPoints: [join(here, 'page', entry)], bundle: true, minify: true, write: false, format: 'iife', target: 'es2022',
    charset: 'utf8', legalComments: 'none',
  });
  // Within an inline script nothing may look like its end.
  return made.outputFiles[0].text.trim().replaceAll('</script', '<\\/script').replaceAll('<!--', '<\\!--');
}

const EXAMPLES = [['first display', 'first', 'porch.tinsel'], ['a yard', 'middle', 'yard.tinsel'],
  ['a walk', 'walk', 'brook.tinsel'], ['many years', 'veteran', 'yard.tinsel']];

function example([name, folder, main]) {
  const root = join(here, '../examples', folder);
  const files = {};
  const gather = (within) => {
    for (const entry of readdirSync(join(root, within), { withFileTypes: true })) {
      const path = posix.join(within, entry.name);
      if (entry.isDirectory()) gather(path);
      else if (path.endsWith('.tinsel')) files[path] = read('../examples', folder, path);
    }
  };
  files[main] = read('../examples', folder, main);
  gather('');
  return { name, main, files };
}

// The report is shown within the page, whose policy must therefore allow the report's own style and script.
const [reportStyle, reportScript] = [read('../src/page/style.css'), read('../src/page/page.js')];
const style = (await build({ entryPoints: [join(here, 'page/style.css')], minify: true, write: false })).outputFiles[0].text.trim();
const script = await bundled('page.js');
// zopfli writes the same format in less; it is used where it is installed.
const zopfli = spawnSync('zopfli', ['-c', wasm], { maxBuffer: 1 << 26 });
const compiler = zopfli.status === 0 ? zopfli.stdout : gzipSync(readFileSync(wasm), { level: 9 });
// Styles that the editor makes while it runs carry this; it changes with the page.
const nonce = createHash('sha256').update(script).update(compiler).digest('base64url').slice(0, 22);
const policy = [
  "default-src 'none'", `script-src ${sha256(script)} ${sha256(reportScript)} 'wasm-unsafe-eval'`,
  `style-src ${sha256(style)} ${sha256(reportStyle)} 'nonce-${nonce}'`, 'worker-src blob:', "base-uri 'none'", "form-action 'none'",
].join('; ');
const parts = {
  POLICY: policy,
  STYLE: style,
  NONCE: nonce,
  COMPILER: compiler.toString('base64'),
  WORKER: await bundled('worker.js'),
  EXAMPLES: JSON.stringify(EXAMPLES.map(example)).replaceAll('<', '\\u003c'),
  SCRIPT: script,
};
const page = read('page/index.html').replaceAll(/%([A-Z]+)%/g, (_, name) => parts[name]);
writeFileSync(out, page);
const kilobytes = (bytes) => `${Math.round(bytes / 1000)} kB`;
console.log(`${out}: ${kilobytes(page.length)}, ${kilobytes(gzipSync(page, { level: 9 }).length)} as gzip; `
  + `the compiler ${kilobytes(readFileSync(wasm).length)}`);
