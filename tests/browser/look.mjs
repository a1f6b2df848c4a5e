// Takes pictures of every page to look at: phone and desk, light and dark, and what a printer would get.
// node look.mjs FOLDER [EXAMPLE…]
import { mkdirSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { EXAMPLES, folder, launch, open, tinsel } from './browser.mjs';

const [out = 'pictures', ...names] = process.argv.slice(2);
mkdirSync(out, { recursive: true });
const browser = await launch();
for (const { name, file } of EXAMPLES.filter((example) => !names.length || names.includes(example.name))) {
  const papers = join(folder(), name);
  tinsel('report', file, '-o', papers);
  for (const paper of readdirSync(papers)) {
    const stem = join(out, `${name}-${paper.replace('.html', '')}`);
    for (const [width, colorScheme] of [[390, 'light'], [1280, 'light'], [1280, 'dark']]) {
      const { page, context } = await open(browser, join(papers, paper), { viewport: { width, height: 900 }, colorScheme });
      // What is far below the window is not drawn, so the window is made as tall as the page.
      for (let round = 0; round < 3; round += 1) {
        const height = await page.evaluate(() => document.documentElement.scrollHeight);
        await page.setViewportSize({ width, height: Math.min(height, 16000) });
      }
      await page.screenshot({ path: `${stem}-${width}-${colorScheme}.png`, fullPage: true });
      if (width === 1280 && colorScheme === 'light') {
        await page.pdf({ path: `${stem}.pdf`, format: 'A4', preferCSSPageSize: true });
      }
      await context.close();
    }
  }
}
await browser.close();
