// Nobody is kept out: axe finds nothing in light and dark, at phone and desk width; nothing is wider than a phone; the
// page is whole without its script; and every text is kept on paper.
import assert from 'node:assert/strict';
import { readFileSync, readdirSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { pathToFileURL } from 'node:url';
import { EXAMPLES, folder, launch, open, tinsel } from './browser.mjs';

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const papers = folder();
let browser;
before(async () => { browser = await launch(); });
after(() => browser.close());

/** Opened with all of it drawn, as somebody who scrolls through would have it. */
async function whole(file, options) {
  // The page's own policy would keep the checker out.
  const opened = await open(browser, file, { bypassCSP: true, ...options });
  await opened.page.addStyleTag({ content: '.lazy { content-visibility: visible !important; }' });
  return opened;
}

const LOOKS = [[1280, 'light'], [1280, 'dark'], [390, 'light']];

function check(title, file, [width, colorScheme]) {
  test(`${title}: axe at ${width}, ${colorScheme}`, async () => {
    const { page, context } = await whole(file, { colorScheme, viewport: { width, height: 900 } });
    if (await page.locator('#question').count()) {
      await page.fill('#question', '12/30');
      await page.press('#question', 'Enter');
    }
    await page.evaluate(axe);
    const { violations } = await page.evaluate(() => window.axe.run());
    const told = violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((n) => n.html).join(' ')}`);
    assert.deepEqual(told, []);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
    assert.ok(wide <= 0, `${wide} pixels wider than the window`);
    await context.close();
  });
}

for (const { name, file } of EXAMPLES.filter((example) => example.name !== 'first')) {
  const out = join(papers, name);
  tinsel('report', file, '-o', out);
  const single = join(papers, `${name}.html`);
  tinsel('report', file, '--single', '-o', single);
  if (name === 'veteran') {
    check(name, join(out, 'index.html'), LOOKS[0]);
  } else {
    readdirSync(out).forEach((paper) => check(`${name}/${paper}`, join(out, paper), LOOKS[0]));
    LOOKS.forEach((look) => check(`${name} in one file`, single, look));
  }
}

test('without its script nothing is missing but the search', async () => {
  const context = await browser.newContext({ javaScriptEnabled: false });
  const page = await context.newPage();
  await page.goto(pathToFileURL(join(papers, 'middle/index.html')).href);
  assert.ok(await page.locator('noscript').count());
  assert.ok(await page.getByText('lamp-post[8]').count());
  await context.close();
});
