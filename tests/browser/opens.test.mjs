// Every page opens from a file: nothing in the console, nothing asked of a network, and soon.
import assert from 'node:assert/strict';
import { readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { EXAMPLES, display, folder, launch, open, tinsel } from './browser.mjs';

const papers = folder();
let browser;
before(async () => { browser = await launch(); });
after(() => browser.close());

/** The best of three openings: what else this machine does at the time is not the page's. */
async function best(file) {
  let milliseconds = Infinity;
  for (let round = 0; round < 3; round += 1) {
    const opened = await open(browser, file);
    assert.deepEqual(opened.faults, []);
    milliseconds = Math.min(milliseconds, opened.milliseconds);
    await opened.context.close();
  }
  return milliseconds;
}

for (const { name, file } of EXAMPLES) {
  test(`${name}: every page, and all of them as one`, async () => {
    const out = join(papers, name);
    tinsel('report', file, '-o', out);
    tinsel('report', file, '--single', '-o', join(out, 'single.html'));
    for (const paper of readdirSync(out)) {
      const { page, context, faults } = await open(browser, join(out, paper));
      assert.deepEqual(faults, [], paper);
      assert.equal(await page.locator('h1').count(), 1, paper);
      // Links within the page lead somewhere, and so do those to the other pages.
      const links = await page.evaluate(() => [...document.querySelectorAll('a[href]')].map((a) => a.getAttribute('href')));
      const targets = new Set(await page.evaluate(() => [...document.querySelectorAll('[id]')].map((e) => `#${e.id}`)));
      const lost = links.filter((href) => !targets.has(href) && !readdirSync(out).includes(href));
      assert.deepEqual(lost, [], paper);
      const ids = await page.evaluate(() => [...document.querySelectorAll('[id]')].map((e) => e.id));
      assert.equal(new Set(ids).size, ids.length, `${paper}: an id stands twice`);
      await context.close();
    }
  });
}

// The figure is printed with its aim; five times the aim is a fault on any machine.
for (const [props, aim] of [[250, 1000], [10000, 5000]]) {
  test(`${props} props open`, async (t) => {
    const text = join(papers, `${props}.tinsel`);
    writeFileSync(text, display(props));
    const out = join(papers, `${props}`);
    tinsel('report', text, '-o', out);
    const milliseconds = await best(join(out, 'index.html'));
    t.diagnostic(`${props} props: ${Math.round(milliseconds)} ms (aim ${aim})`);
    assert.ok(milliseconds < aim * 5, `${milliseconds} ms`);
    tinsel('report', text, '--single', '-o', join(out, 'single.html'));
    // One file of everything has all sheets in it too; past some thousand props a folder is what to ask for.
    const single = await open(browser, join(out, 'single.html'));
    assert.deepEqual(single.faults, []);
    t.diagnostic(`${props} props in one file: ${Math.round(single.milliseconds)} ms`);
    await single.context.close();
  });
}

test('nothing that a display says becomes markup', async () => {
  const text = join(papers, 'hostile.tinsel');
  const bad = '</script><img src=x onerror=alert(1)>&amp;';
  writeFileSync(text, `display "${bad}" { frame rate 40 Hz }\nnode n { chip ws2811; colour RGB }\n`
    + `controller c { label "${bad}"; universes from 1; ports 1..2 { } }\nreserve universes 9 "${bad}"\n`
    + `prop p { label "${bad}"; node n; string 9 nodes }\nwire c.1: p\n`);
  const file = join(papers, 'hostile.html');
  tinsel('report', text, '--single', '-o', file);
  const { page, context, faults } = await open(browser, file);
  await page.fill('#question', '1/1');
  await page.press('#question', 'Enter');
  assert.deepEqual(faults, []);
  assert.equal(await page.locator('img').count(), 0);
  assert.match(await page.locator('h1').textContent(), /<\/script><img.*>&amp;/);
  assert.match(await page.locator('#found').textContent(), /<\/script><img/);
  await context.close();
});
