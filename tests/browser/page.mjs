// The page in a real browser, and what people do with it.
import { readFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';
import { PAGE } from './compiler.mjs';

export const url = pathToFileURL(PAGE).href;

/** Notes what goes wrong in a page: console errors and warnings, failures, and whatever is asked of a network. */
function heard(page, faults) {
  page.on('console', (message) => {
    if (['error', 'warning'].includes(message.type())) faults.push(`console: ${message.text()}`);
  });
  page.on('pageerror', (error) => faults.push(`error: ${error.message}`));
  page.on('request', (request) => {
    if (request.url() !== url && !request.url().startsWith('blob:')) faults.push(`request: ${request.url()}`);
  });
}

/** Opens the page in a context, as from the disk, and waits until it has compiled. */
export async function opened(context) {
  const page = await context.newPage();
  const faults = [];
  heard(page, faults);
  await page.goto(url);
  await settled(page);
  return { page, faults };
}

/** A context of its own, with the page in it. */
export async function fresh(browser, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  return { context, ...await opened(context) };
}

/** Waits until what is written now is compiled. */
export async function settled(page, timeout = 30000) {
  // What was typed last may not have reached the editor yet.
  await page.evaluate(() => new Promise((done) => { requestAnimationFrame(() => requestAnimationFrame(done)); }));
  await page.waitForFunction(() => document.documentElement.dataset.ready === 'yes'
    && !/^(Starting|Compiling)/.test(document.getElementById('state').textContent), undefined, { timeout });
}

/** The text of the shown file, as the browser has kept it. */
export function kept(page, name) {
  return page.evaluate((wanted) => {
    const { files } = JSON.parse(localStorage.getItem('tinsel.display'));
    return new Map(files).get(wanted);
  }, name);
}

/** Pastes a text where the cursor is. */
export function paste(page, text) {
  return page.locator('.cm-content').evaluate((content, pasted) => {
    const data = new DataTransfer();
    data.setData('text/plain', pasted);
    content.dispatchEvent(new ClipboardEvent('paste', { clipboardData: data, bubbles: true, cancelable: true }));
  }, text);
}

/** Replaces the text of the shown file by typing, the clipboard's way for long texts. */
export async function write(page, text, typed = false) {
  await page.locator('.cm-content').focus();
  await page.keyboard.press('Control+A');
  if (typed) {
    await page.keyboard.press('Delete');
    await page.keyboard.type(text);
  } else {
    await paste(page, text);
  }
  await settled(page);
}

/** Drops files onto the page. */
export async function drop(page, files) {
  const list = files.map(({ name, text }) => ({ name, bytes: [...Buffer.from(text)] }));
  const transfer = await page.evaluateHandle((all) => {
    const data = new DataTransfer();
    for (const { name, bytes } of all) data.items.add(new File([new Uint8Array(bytes)], name));
    return data;
  }, list);
  await page.dispatchEvent('body', 'drop', { dataTransfer: transfer });
  await page.waitForTimeout(50);
  await settled(page);
}

/** What choosing an entry of the list of downloads gives. */
export async function download(page, label) {
  // Chromium drops what a page downloads faster than ten times a second.
  await page.waitForTimeout(150);
  const [file] = await Promise.all([page.waitForEvent('download'), page.selectOption('#download', { label })]);
  return { name: file.suggestedFilename(), bytes: readFileSync(await file.path()) };
}

/** The findings that are listed, each as its code's button says it. */
export function codes(page) {
  return page.locator('#findings button.quiet').allTextContents().then((all) => all.map((text) => text.replace('About ', '')));
}

export const FIRST = `display "Otter Steps" { frame rate 40 Hz }
node bud { chip ws2811; colour RGB; volts 12 V }
controller shed { host 10.0.0.9; ports 1..4 { nodes at most 400 } }
prop rail { node bud; string 60 nodes }
prop arch * 3 { node bud; string 50 nodes }
wire shed.1: rail -> arch[1..2]
wire shed.2: arch[3]
`;
