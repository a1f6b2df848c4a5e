// Makes the picture of the page that README shows: node picture.mjs, after `cargo page`.
import { join } from 'node:path';
import { launch, root } from './browser.mjs';
import { fresh, settled } from './page.mjs';

const browser = await launch();
const { page } = await fresh(browser, { viewport: { width: 1280, height: 860 }, colorScheme: 'light' });
await page.selectOption('#example', { label: 'a yard' });
await settled(page);
const wire = 'wire mill.1:';
await page.locator('.cm-content').press('Control+F');
await page.keyboard.type(wire);
await page.keyboard.press('Enter');
await page.keyboard.press('Escape');
await page.click('#v-tables');
await page.waitForSelector('#table tbody tr');
await page.waitForTimeout(500);
await page.screenshot({ path: join(root, 'web/page.png') });
await browser.close();
