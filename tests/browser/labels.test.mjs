// A label's code, read off the picture of the page, says what stands beside it; and no label is too full.
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import jsqr from 'jsqr';
import { PNG } from 'pngjs';
import { EXAMPLES, folder, launch, open, tinsel } from './browser.mjs';

const papers = folder();
const decode = jsqr.default ?? jsqr;
let browser;
before(async () => { browser = await launch(); });
after(() => browser.close());

/** Part of a picture, as the reader wants it. */
function cut({ data, width }, box) {
  const [left, top, wide, high] = box.map(Math.round);
  const out = new Uint8ClampedArray(wide * high * 4);
  for (let y = 0; y < high; y += 1) {
    const from = ((top + y) * width + left) * 4;
    out.set(data.subarray(from, from + wide * 4), y * wide * 4);
  }
  return decode(out, wide, high);
}

for (const { name, file } of EXAMPLES.filter((example) => example.name !== 'veteran')) {
  test(`${name}: every code`, async () => {
    const out = join(papers, name);
    tinsel('report', file, '-o', out);
    const { page, context, faults } = await open(browser, join(out, 'labels.html'), { deviceScaleFactor: 2 });
    const labels = await page.locator('.label').count();
    let read = 0;
    for (const sheet of await page.locator('.labels').all()) {
      await sheet.scrollIntoViewIfNeeded();
      const picture = PNG.sync.read(await sheet.screenshot());
      const found = await sheet.evaluate((element) => {
        const origin = element.getBoundingClientRect();
        return [...element.querySelectorAll('.label')].map((label) => {
          const box = label.querySelector('.code').getBoundingClientRect();
          return {
            says: [...label.querySelector('.says').children].map((line) => line.textContent).join('\n'),
            full: label.scrollHeight > label.clientHeight || label.scrollWidth > label.clientWidth,
            box: [box.x - origin.x, box.y - origin.y, box.width, box.height].map((length) => length * 2),
          };
        });
      });
      for (const { says, full, box } of found) {
        assert.equal(cut(picture, box)?.data, says);
        assert.ok(!full, `too full: ${says}`);
        read += 1;
      }
    }
    assert.equal(read, labels);
    assert.ok(read > 8);
    assert.deepEqual(faults, []);
    await context.close();
  });
}
