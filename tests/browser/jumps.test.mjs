// A link within the page ends where it says: its target is in the window, near the top, and stays there.
import assert from 'node:assert/strict';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { after, before, test } from 'node:test';
import { EXAMPLES, display, folder, launch, open, tinsel } from './browser.mjs';

const papers = folder();
const large = join(papers, 'large.tinsel');
writeFileSync(large, display(1500));
const displays = [...EXAMPLES.filter(({ name }) => name !== 'first'), { name: 'large', file: large }];
let browser;
before(async () => { browser = await launch(); });
after(() => browser.close());

/** Waits until nothing has moved for some frames, and tells where the target is. */
function settled(page) {
  return page.evaluate(() => new Promise((done) => {
    let still = 0;
    let last = NaN;
    const look = () => {
      const target = document.querySelector(':target');
      const top = target ? target.getBoundingClientRect().top : NaN;
      still = top === last ? still + 1 : 0;
      last = top;
      if (still < 12) requestAnimationFrame(look);
      else done({ top, id: target?.id, height: innerHeight, end: scrollY + innerHeight >= document.documentElement.scrollHeight - 2 });
    };
    requestAnimationFrame(look);
  }));
}

function landed({ top, id, height, end }, wanted, what) {
  assert.equal(id, wanted, what);
  // What stands at the end of the page can't come to the top.
  assert.ok(top > -2 && (top < 40 || (end && top < height - 20)), `${what}: ${Math.round(top)} of ${height} px`);
}

/** Some of a list, spread over all of it. */
const spread = (all, count) => [...new Set(Array.from({ length: count }, (_, at) => all[Math.floor(at * (all.length - 1) / (count - 1))]))];

for (const reducedMotion of ['no-preference', 'reduce']) {
  for (const { name, file } of displays) {
    test(`${name}, motion ${reducedMotion}: searches, links and addresses land`, async () => {
      const paper = join(papers, `${name}.html`);
      tinsel('report', file, '--single', '-o', paper);
      const table = JSON.parse(tinsel('table', file, '--format', 'json'));
      const viewports = [{ width: 1280, height: 900 }, { width: 390, height: 844 }];
      for (const viewport of reducedMotion === 'reduce' ? viewports.slice(1) : viewports) {
        const { page, context, faults } = await open(browser, paper, { reducedMotion, viewport });
        for (const { name: string } of spread(table.strings, 4)) {
          await page.fill('#question', string);
          await page.press('#question', 'Enter');
          for (const kind of ['#s', '#p']) {
            const link = page.locator(`#found a[href^="${kind}"]`).first();
            const href = await link.getAttribute('href');
            await link.click();
            landed(await settled(page), href.slice(1), `${string} by search`);
          }
        }
        for (const { universe } of spread(table.universes, 2)) {
          await page.fill('#question', `universe ${universe}`);
          await page.press('#question', 'Enter');
          await page.locator(`#answer a[href="#u${universe}"]`).click();
          landed(await settled(page), `u${universe}`, `universe ${universe}`);
        }
        const parts = await page.evaluate(() => [...document.querySelectorAll('nav a')].map((a) => a.getAttribute('href')));
        for (const href of spread(parts, 5)) {
          await page.locator(`nav a[href="${href}"]`).click();
          landed(await settled(page), href.slice(1), href);
        }
        assert.deepEqual(faults, []);
        await context.close();
      }
      // An address with its place, as somebody sends it to another.
      const ids = await browser.newPage().then(async (page) => {
        await page.goto(pathToFileURL(paper).href);
        const all = await page.evaluate(() => [...document.querySelectorAll('li.string')].map((item) => item.id));
        await page.close();
        return all;
      });
      for (const id of spread(ids, 2)) {
        const context = await browser.newContext({ reducedMotion });
        const page = await context.newPage();
        await page.goto(`${pathToFileURL(paper).href}#${id}`);
        landed(await settled(page), id, `#${id} by address`);
        await context.close();
      }
    });
  }
}
