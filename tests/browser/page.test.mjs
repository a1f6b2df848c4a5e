// What people do with the page, typed in a real browser: all of it works, and nothing is lost.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { after, afterEach, before, test } from 'node:test';
import { display as large, folder, launch, root, tinsel } from './browser.mjs';
import { FIRST, codes, download, drop, fresh, kept, opened, paste, settled, write } from './page.mjs';

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const work = folder();
let browser;
let contexts = [];
before(async () => { browser = await launch(); });
after(() => browser.close());
afterEach(async () => {
  await Promise.all(contexts.map((context) => context.close()));
  contexts = [];
});

async function start(options) {
  const all = await fresh(browser, options);
  contexts.push(all.context);
  return all;
}

const state = (page) => page.locator('#state').textContent();
const cells = async (page) => (await page.locator('#table tbody tr').allTextContents());

test('a first display, typed from nothing', async () => {
  const { page, faults } = await start();
  await page.click('#new');
  await write(page, FIRST, true);
  assert.match(await state(page), /^no errors; 4 strings have addresses/);
  assert.equal(await kept(page, 'display.tinsel'), FIRST);
  await page.click('#v-tables');
  await page.waitForSelector('#table tbody tr');
  assert.equal((await cells(page)).length, 4);
  assert.deepEqual(faults, []);
});

test('a mistake is marked, listed and put right by its fix', async () => {
  const { page, faults } = await start();
  await page.click('#new');
  await write(page, FIRST.replace('-> arch[1..2]', '-> arhc[1..2]'));
  assert.ok((await codes(page)).includes('name/unknown'));
  assert.ok(await page.locator('.mark.error').count());
  await page.locator('#findings .error').first().getByRole('link').first().click();
  assert.match(await page.evaluate(() => getSelection().toString()), /arhc/);
  await page.locator('#findings .error').first().getByRole('button', { name: /^Fix: / }).first().click();
  await settled(page);
  assert.match(await state(page), /^no errors/);
  assert.equal(await kept(page, 'display.tinsel'), FIRST);
  await page.keyboard.press('Control+Z');
  await settled(page);
  assert.match(await kept(page, 'display.tinsel'), /arhc/);
  assert.deepEqual(faults, []);
});

/** Puts the cursor into the first place of a word, as a click would. */
async function into(page, word) {
  await page.locator('.cm-content').press('Control+F');
  await page.keyboard.type(word);
  await page.keyboard.press('Enter');
  await page.keyboard.press('Escape');
  await page.locator('.cm-content').press('ArrowLeft');
}

test('a rename reaches every place of a name, and one that is taken is refused', async () => {
  const { page, faults } = await start();
  await page.click('#new');
  await write(page, FIRST);
  await page.click('#keep');
  await settled(page);
  await into(page, 'arch');
  await page.keyboard.press('F2');
  await page.fill('#dialog-i', 'hoop');
  await page.keyboard.press('Enter');
  await page.waitForFunction(() => /hoop\[3\]/.test(document.querySelector('.cm-content').textContent));
  await settled(page);
  const text = await kept(page, 'display.tinsel');
  assert.equal(text.replace('renamed arch -> hoop\n', ''), FIRST.replaceAll('arch', 'hoop'));
  assert.match(text, /renamed arch -> hoop/);
  assert.match(await state(page), /4 kept, 0 new, 0 moved/);
  await into(page, 'hoop');
  await page.keyboard.press('F2');
  await page.fill('#dialog-i', 'rail');
  await page.keyboard.press('Enter');
  await page.waitForSelector('.alert.asked');
  assert.equal(await kept(page, 'display.tinsel'), text);
  assert.deepEqual(faults, []);
});

test('what the compiler decided stands in the text, and is marked as old while there are errors', async () => {
  const { page, faults } = await start();
  await page.click('#new');
  await write(page, FIRST);
  await page.waitForSelector('.hint');
  const hints = await page.locator('.hint').allTextContents();
  // rail has 180 slots from 1/1; arch[1] comes next.
  for (const wanted of ['1/1', '1/181']) assert.ok(hints.some((hint) => hint.includes(wanted)), hints.join(' '));
  await page.locator('.cm-content').press('Control+End');
  await page.keyboard.type('wire shed.9: rail');
  await settled(page);
  await page.waitForSelector('.hint.old');
  assert.match((await page.locator('.hint.old').first().textContent()), /old/);
  assert.deepEqual(faults, []);
});

test('suggestions are taken with the keyboard, and Enter alone is a new line', async () => {
  const { page, faults } = await start();
  await page.click('#new');
  await write(page, FIRST.replace('wire shed.2: arch[3]\n', ''));
  await page.locator('.cm-content').press('Control+End');
  await page.keyboard.type('wire shed.2: ar');
  await page.keyboard.press('Control+Space');
  await page.waitForSelector('.cm-tooltip-autocomplete li');
  assert.ok((await page.locator('.cm-tooltip-autocomplete li').allTextContents()).some((text) => text.startsWith('arch')));
  // A list that has just come is not chosen from, lest a key press meant for the text is taken.
  await page.waitForTimeout(500);
  await page.keyboard.press('ArrowDown');
  await page.waitForSelector('.cm-tooltip-autocomplete li[aria-selected]');
  await page.waitForTimeout(150);
  await page.keyboard.press('Enter');
  await settled(page);
  assert.match(await kept(page, 'display.tinsel'), /wire shed\.2: arch/);
  const lines = (await kept(page, 'display.tinsel')).split('\n').length;
  await page.keyboard.press('Enter');
  await page.keyboard.type('# no');
  await page.waitForTimeout(300);
  await page.keyboard.press('Enter');
  await settled(page);
  assert.equal((await kept(page, 'display.tinsel')).split('\n').length, lines + 2);
  assert.deepEqual(faults, []);
});

test('a word that is pointed at is explained, and leads to where it is declared', async () => {
  const { page, faults } = await start();
  await page.click('#new');
  await write(page, FIRST);
  await page.waitForSelector('.hint');
  await page.locator('.cm-line', { hasText: 'wire shed.1' }).getByText('rail', { exact: true }).hover();
  await page.waitForSelector('.hover');
  assert.match(await page.locator('.hover').textContent(), /60 nodes/);
  await into(page, 'arch[3]');
  await page.keyboard.press('F12');
  await page.waitForFunction(() => getSelection().toString() === 'arch');
  assert.deepEqual(faults, []);
});

test('a sheet is dropped in, and what is not understood is told', async () => {
  const { page, faults } = await start();
  await drop(page, [{ name: 'props 2025.csv', text: 'prop,nodes,strings,mood\nfence,120,1,glum\ngate,90,2,\n' }]);
  assert.match(await page.locator('.alert.import').textContent(), /2 rows became 2 props/);
  assert.match(await page.locator('.alert.import').textContent(), /mood/);
  assert.match(await kept(page, 'props 2025.tinsel'), /prop fence/);
  assert.deepEqual(faults, []);
});

test('three files are one display, a finding leads into the right one', async () => {
  const { page, faults } = await start();
  const [head, props, wires] = [FIRST.split('\n').slice(0, 3), FIRST.split('\n').slice(3, 5), FIRST.split('\n').slice(5)].map((lines) => lines.join('\n'));
  await drop(page, [
    { name: 'steps.tinsel', text: `${head}\ninclude "props.tinsel"\ninclude "wires.tinsel"\n` },
    { name: 'props.tinsel', text: `${props}\n` },
    { name: 'wires.tinsel', text: wires.replace('shed.2', 'shed.9') },
  ]);
  assert.deepEqual(await page.locator('#tabs [role=tab]').allTextContents(), ['steps.tinsel main', 'props.tinsel', 'wires.tinsel']);
  assert.deepEqual((await codes(page)).slice(0, 1), ['wire/no-port']);
  await page.locator('#findings').getByRole('link').first().click();
  assert.equal(await page.locator('#tabs [aria-selected=true]').textContent(), 'wires.tinsel');
  await write(page, wires);
  assert.match(await state(page), /^no errors; 4 strings/);
  const zip = await download(page, 'All files (zip)');
  writeFileSync(join(work, 'all.zip'), zip.bytes);
  const list = execFileSync('python3', ['-m', 'zipfile', '-l', join(work, 'all.zip')], { encoding: 'utf8' });
  for (const name of ['steps.tinsel', 'props.tinsel', 'wires.tinsel']) assert.ok(list.includes(name), list);
  assert.deepEqual(faults, []);
});

test('a lock is kept across a reload, and holds what it has', async () => {
  const { page, context, faults } = await start();
  await page.click('#new');
  await write(page, FIRST);
  await page.click('#keep');
  await settled(page);
  const lock = await kept(page, 'display.lock');
  assert.match(lock, /arch\[3\]: \{port: /);
  await page.reload();
  await settled(page);
  assert.equal(await kept(page, 'display.lock'), lock);
  assert.match(await state(page), /4 kept, 0 new, 0 moved/);
  // A prop in front would have moved the others.
  await write(page, FIRST.replace('wire shed.1: rail', 'prop eave { node bud; string 20 nodes }\nwire shed.1: eave -> rail'));
  assert.match(await state(page), /4 kept, 1 new, 0 moved|[0-9] kept, 1 new/);
  await page.click('#v-changes');
  await page.waitForFunction(() => /eave/.test(document.getElementById('changetext').textContent));
  await context.close();
  assert.deepEqual(faults, []);
});

test('every download is what the program writes', async () => {
  const { page, faults } = await start();
  const text = readFileSync(join(root, 'examples/walk/brook.tinsel'), 'utf8');
  const file = join(work, 'brook.tinsel');
  writeFileSync(file, text);
  await drop(page, [{ name: 'brook.tinsel', text }]);
  assert.equal((await download(page, 'This file')).bytes.toString(), text);
  for (const by of ['string', 'port', 'universe', 'controller', 'prop']) {
    const plural = `${by[0].toUpperCase()}${by.slice(1)}s`;
    const { name, bytes } = await download(page, `${plural} (csv)`);
    assert.equal(name, `brook-${by}s.csv`);
    assert.equal(bytes.toString(), tinsel('table', '--format', 'csv', '--by', by, file), by);
  }
  for (const form of ['json', 'yaml']) {
    const { bytes } = await download(page, `All tables (${form})`);
    assert.equal(bytes.toString(), tinsel('table', '--format', form, file), form);
  }
  for (const [label, form] of [['All tables (xlsx)', 'xlsx'], ['MVR', 'mvr'], ['Picture of the graph (svg)', 'svg']]) {
    const out = join(work, `brook.${form}`);
    tinsel(form === 'svg' ? 'graph' : 'table', file, '-o', out);
    const { name, bytes } = await download(page, label);
    assert.equal(name, `brook.${form}`);
    assert.ok(bytes.equals(readFileSync(out)), form);
  }
  tinsel('report', '--single', '-o', join(work, 'brook.html'), file);
  assert.ok((await download(page, 'Report (html)')).bytes.equals(readFileSync(join(work, 'brook.html'))));
  const lock = await download(page, 'Lock');
  tinsel('build', file);
  assert.equal(lock.name, 'brook.lock');
  assert.ok(lock.bytes.equals(readFileSync(join(work, 'brook.lock'))));
  assert.deepEqual(faults, []);
});

test('undo goes back a step at a time, in each file by itself', async () => {
  const { page } = await start();
  await page.click('#new');
  await write(page, FIRST);
  await page.locator('.cm-content').press('Control+End');
  await page.keyboard.type('# one');
  await page.waitForTimeout(600);
  await page.keyboard.type(' # two');
  await page.keyboard.press('Control+Z');
  await settled(page);
  assert.equal(await kept(page, 'display.tinsel'), `${FIRST}# one`);
  await page.keyboard.press('Control+Shift+Z');
  await settled(page);
  assert.equal(await kept(page, 'display.tinsel'), `${FIRST}# one # two`);
});

test('a display that is replaced can be brought back', async () => {
  const { page } = await start();
  await page.click('#new');
  await write(page, FIRST);
  await page.selectOption('#example', { label: 'a yard' });
  await settled(page);
  assert.equal(await kept(page, 'display.tinsel'), undefined);
  await page.getByRole('button', { name: 'Bring it back' }).click();
  await settled(page);
  assert.equal(await kept(page, 'display.tinsel'), FIRST);
});

/** Nothing is wider than the window, and the main things can be reached. */
async function fits(page) {
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
  assert.ok(wide <= 0, `${wide} pixels wider than the window`);
  for (const id of ['#open', '#keep', '.cm-content', '#v-findings', '#v-tables']) {
    await page.locator(id).scrollIntoViewIfNeeded();
    assert.ok(await page.locator(id).isVisible(), id);
  }
  await page.click('#v-tables');
  await page.waitForSelector('#table tbody tr');
  const wider = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
  assert.ok(wider <= 0, `${wider} pixels wider than the window with a table`);
}

// WCAG 2.2, 1.4.4 and 1.4.10: 200 % of a window of 1280 pixels is one of 640; 360 is a common phone.
for (const [what, width, height, scale] of [['200 % zoom', 640, 450, 2], ['360 px', 360, 740, 3]]) {
  test(`at ${what} everything can be reached and nothing is cut off`, async () => {
    const { page, faults } = await start({ viewport: { width, height }, deviceScaleFactor: scale });
    await page.click('#new');
    await write(page, FIRST, true);
    assert.match(await state(page), /^no errors/);
    await fits(page);
    assert.deepEqual(faults, []);
  });
}

test('with the keyboard alone: from the top to the text, out of it, to a finding, its fix and the table', async () => {
  const { page, faults } = await start();
  const focus = () => page.evaluate(() => {
    const one = document.activeElement;
    return one.id || one.className || one.textContent;
  });
  const until = async (wanted, key = 'Tab') => {
    for (let at = 0; at < 60; at += 1) {
      await page.keyboard.press(key);
      if (wanted.test(await focus())) return;
    }
    assert.fail(`${wanted} is not reached, but ${await focus()}`);
  };
  await until(/^new$/);
  await page.keyboard.press('Enter');
  await until(/cm-content/);
  await page.keyboard.type(FIRST.replace('-> arch[1..2]', '-> arhc[1..2]'));
  await settled(page);
  await page.keyboard.press('F8');
  assert.match(await state(page), /error: .*arhc/);
  await until(/^v-findings$/);
  await until(/^Fix: /);
  await page.keyboard.press('Enter');
  await settled(page);
  assert.equal(await kept(page, 'display.tinsel'), FIRST);
  await until(/^v-findings$/);
  await page.keyboard.press('ArrowRight');
  await page.waitForSelector('#table tbody tr');
  await until(/^v-tables$/, 'Shift+Tab').catch(() => {});
  assert.equal(await page.locator('#v-tables').getAttribute('aria-selected'), 'true');
  assert.deepEqual(faults, []);
});

test('offline it starts, compiles and gives its downloads', async () => {
  const context = await browser.newContext({ offline: true });
  contexts.push(context);
  const { page, faults } = await opened(context);
  await page.click('#new');
  await write(page, FIRST);
  assert.match(await state(page), /^no errors/);
  assert.match((await download(page, 'Strings (csv)')).bytes.toString(), /^prop,instance/);
  assert.deepEqual(faults, []);
});

test('where the browser has no room, that is said, and the display still compiles', async () => {
  const { page } = await start();
  await page.evaluate(() => {
    const half = 'x'.repeat(1 << 20);
    for (let at = 0; at < 100; at += 1) {
      try { localStorage.setItem(`filler ${at}`, half); } catch { break; }
    }
    for (let at = 0; at < 5000; at += 1) {
      try { localStorage.setItem(`small ${at}`, 'y'.repeat(1000)); } catch { break; }
    }
  });
  await page.click('#new');
  await write(page, `${FIRST}# ${'long note '.repeat(1000)}\n`);
  assert.match(await page.locator('.alert.store').textContent(), /no room.*download/);
  assert.match(await state(page), /^no errors; 4 strings/);
  assert.match((await download(page, 'This file')).bytes.toString(), /long note/);
  await page.evaluate(() => localStorage.removeItem('filler 0'));
  await page.locator('.cm-content').press('Control+End');
  await page.keyboard.type('# room again');
  await settled(page);
  assert.equal(await page.locator('.alert.store').count(), 0);
  assert.match(await kept(page, 'display.tinsel'), /room again/);
});

test('a display of 10,000 props', async () => {
  const { page, faults } = await start();
  await drop(page, [{ name: 'large.tinsel', text: large(10000) }]);
  assert.match(await state(page), /strings have addresses/);
  await page.click('#v-tables');
  await page.waitForSelector('#table tbody tr');
  assert.equal((await cells(page)).length, 100);
  await page.fill('#like', 'p9999');
  await page.waitForFunction(() => document.querySelectorAll('#table tbody tr').length === 1);
  assert.equal((await kept(page, 'large.tinsel')).length, large(10000).length);
  assert.deepEqual(faults, []);
});

/** The best times of some key presses, in milliseconds: in the compiler, and until all is shown. */
async function pressed(page, presses) {
  const best = { took: Infinity, whole: Infinity };
  await page.locator('.cm-content').press('Control+End');
  for (let at = 0; at < presses; at += 1) {
    await page.keyboard.type('#');
    await settled(page);
    const last = await page.evaluate(() => performance.getEntriesByName('compiled').at(-1).detail);
    best.took = Math.min(best.took, last.took);
    best.whole = Math.min(best.whole, last.whole);
  }
  return best;
}

// The aims are 1 s, 50 ms and 1 s on a machine that does nothing else; what is held is several times that.
test('it is ready soon, and a key press is answered soon', async (t) => {
  let ready = Infinity;
  for (let round = 0; round < 3; round += 1) {
    const { page, context } = await start();
    ready = Math.min(ready, await page.evaluate(() => performance.getEntriesByName('ready')[0].startTime));
    await context.close();
  }
  contexts = [];
  t.diagnostic(`ready after ${Math.round(ready)} ms (aim 1000)`);
  assert.ok(ready < 5000, `${ready} ms`);
  for (const [props, aim] of [[300, 50], [10000, 1000]]) {
    const { page } = await start();
    await drop(page, [{ name: 'large.tinsel', text: large(props) }]);
    const { took, whole } = await pressed(page, 5);
    t.diagnostic(`${props} props: ${took.toFixed(1)} ms in the compiler, ${whole.toFixed(1)} ms until shown (aim ${aim})`);
    assert.ok(whole < aim * 5, `${props} props: ${whole} ms`);
  }
});

/** Makes the compiler of a page fail at the next question, as a fault in it would. */
async function trap(page) {
  const [worker] = page.workers();
  await worker.evaluate(() => {
    // (module (func (export "answer") (result i32) unreachable))
    const bytes = [0, 97, 115, 109, 1, 0, 0, 0, 1, 5, 1, 96, 0, 1, 127, 3, 2, 1, 0, 7, 10, 1, 6, 97, 110, 115, 119, 101, 114, 0, 0, 10, 5, 1, 3, 0, 0, 11];
    const { answer } = new WebAssembly.Instance(new WebAssembly.Module(new Uint8Array(bytes)), {}).exports;
    self.compiler = { exports: { ...self.compiler.exports, answer } };
  });
}

test('a trap loses nothing: the text is kept, and the next key press compiles in a fresh instance', async () => {
  const { page } = await start();
  await page.click('#new');
  await write(page, FIRST);
  await trap(page);
  await page.locator('.cm-content').press('Control+End');
  await page.keyboard.type('#');
  await page.waitForSelector('.alert.trap');
  assert.equal(await kept(page, 'display.tinsel'), `${FIRST}#`);
  assert.equal(await state(page), 'Not compiled.');
  // It is not tried again by itself.
  await page.waitForTimeout(500);
  assert.equal(await state(page), 'Not compiled.');
  await page.keyboard.type(' well');
  await page.waitForFunction(() => /^no errors; 4 strings/.test(document.getElementById('state').textContent));
  assert.equal(await page.locator('.alert.trap').count(), 0);
  assert.equal(await kept(page, 'display.tinsel'), `${FIRST}# well`);
});

test('the deepest nesting, and far too much of it, is no trap', async () => {
  const { page, faults } = await start();
  await page.click('#new');
  for (const depth of [64, 20_000]) {
    await write(page, `let n = ${'('.repeat(depth)}1${')'.repeat(depth)}\n`);
    assert.equal(await page.locator('.alert.trap').count(), 0, `${depth}`);
    assert.notEqual(await state(page), 'Not compiled.');
  }
  assert.deepEqual(faults, []);
});

test('two tabs of the page show one display, and neither loses what the other wrote', async () => {
  const { page, context } = await start();
  await page.click('#new');
  await write(page, FIRST);
  const { page: other } = await opened(context);
  assert.equal(await kept(other, 'display.tinsel'), FIRST);
  await other.locator('.cm-content').press('Control+End');
  await other.keyboard.type('# from the other');
  await settled(other);
  await page.waitForFunction(() => /from the other/.test(document.querySelector('.cm-content').textContent));
  await page.locator('.cm-content').press('Control+End');
  await page.keyboard.type(' and from here');
  await settled(page);
  await other.waitForFunction(() => /and from here/.test(document.querySelector('.cm-content').textContent));
  assert.equal(await kept(other, 'display.tinsel'), `${FIRST}# from the other and from here`);
});

test('what another tab wrote at the same moment is kept as a file of its own', async () => {
  const { page } = await start();
  await page.click('#new');
  await write(page, FIRST);
  // As another tab writes whose news has not arrived yet: a page hears nothing of what it writes itself.
  await page.evaluate(() => {
    const lies = JSON.parse(localStorage.getItem('tinsel.display'));
    lies.files[0][1] += '# theirs\n';
    localStorage.setItem('tinsel.display', JSON.stringify(lies));
  });
  await page.locator('.cm-content').press('Control+End');
  await paste(page, '# ours\n');
  await settled(page);
  assert.equal(await kept(page, 'display.tinsel'), `${FIRST}# ours\n`);
  assert.equal(await kept(page, 'display-other-tab.tinsel'), `${FIRST}# theirs\n`);
  assert.match(await state(page), /^no errors; 4 strings/);
});

test('a lock of an older version is read, and what it holds stays', async () => {
  const { page, faults } = await start();
  const lock = `format: "1.0"
display: "Otter Steps"
universe_slots: 512
strings:
  arch[1]: {port: shed.1, start: 5/1, slots: 150}
  rail: {port: shed.1, start: 4/333, slots: 180}
...
`;
  await drop(page, [{ name: 'old.tinsel', text: FIRST }, { name: 'old.lock', text: lock }]);
  assert.match(await state(page), /2 kept, 2 new, 0 moved/);
  const path = join(work, 'older');
  mkdirSync(path);
  writeFileSync(join(path, 'old.tinsel'), FIRST);
  writeFileSync(join(path, 'old.lock'), lock);
  const { bytes } = await download(page, 'All tables (json)');
  assert.equal(bytes.toString(), tinsel('table', '--format', 'json', join(path, 'old.tinsel')));
  assert.deepEqual(faults, []);
});

test('what a newer page has kept is left alone', async () => {
  const { page, context } = await start();
  const newer = '{"version":99,"what":"nobody knows yet"}';
  await page.evaluate((text) => localStorage.setItem('tinsel.display', text), newer);
  await page.close();
  const { page: again } = await opened(context);
  await again.locator('.cm-content').press('Control+End');
  await again.keyboard.type('# more');
  await settled(again);
  assert.match(await again.locator('.alert.store').textContent(), /newer page/);
  assert.equal(await again.evaluate(() => localStorage.getItem('tinsel.display')), newer);
});

test('a print has the whole text and the findings', async () => {
  const { page } = await start();
  await page.click('#new');
  const lines = Array.from({ length: 300 }, (_, at) => `# line ${at}`).join('\n');
  await write(page, `${FIRST}${lines}\nprop lonely { node bud; string 5 nodes }\n`);
  await page.emulateMedia({ media: 'print' });
  await page.evaluate(() => window.dispatchEvent(new Event('beforeprint')));
  const text = await page.evaluate(() => document.body.innerText);
  for (const wanted of ['# line 0', '# line 299', 'prop lonely', 'lonely']) assert.ok(text.includes(wanted), wanted);
  assert.ok(!(await page.locator('#editor').isVisible()));
  const pdf = await page.pdf({ format: 'A4' });
  assert.ok(pdf.length > 10000);
  await page.evaluate(() => window.dispatchEvent(new Event('afterprint')));
  assert.equal(await page.locator('#paper').count(), 0);
});

test('an address that is searched leads to its string', async () => {
  const { page } = await start();
  await page.click('#new');
  await write(page, FIRST);
  await page.click('#v-tables');
  await page.waitForSelector('#table tbody tr');
  // rail has 180 slots, so 1/200 lies in arch[1] (181 to 330), and channel 520 is 2/8, in arch[3] (481 to 630).
  for (const [asked, found] of [['1/200', 'arch[1]'], ['520', 'arch[3]'], ['1/180', 'rail'], ['rail', 'rail']]) {
    await page.fill('#like', asked);
    await page.waitForFunction((name) => {
      const rows = [...document.querySelectorAll('#table tbody tr')];
      return rows.length === 1 && rows[0].querySelector('th').textContent === name;
    }, found);
  }
  await page.fill('#like', '9/9');
  await page.waitForFunction(() => /No row/.test(document.getElementById('rowcount').textContent));
});

test('the report is shown within the page, with its pictures and its search', async () => {
  const { page, faults } = await start();
  await page.selectOption('#example', { label: 'a yard' });
  await settled(page);
  await page.click('#v-report');
  const frame = page.frameLocator('iframe.report');
  await frame.locator('.strip').first().waitFor();
  await frame.locator('#question').fill('1/1');
  await frame.locator('#question').press('Enter');
  await frame.getByText('window[1]').first().waitFor();
  assert.deepEqual(faults, []);
});

for (const [width, colorScheme] of [[1280, 'light'], [1280, 'dark'], [360, 'light'], [360, 'dark']]) {
  test(`axe finds nothing at ${width}, ${colorScheme}`, async () => {
    const { page } = await start({ bypassCSP: true, colorScheme, viewport: { width, height: 900 } });
    await page.click('#new');
    await write(page, `${FIRST.replace('shed.2', 'shed.9')}prop lonely { node bud; string 5 nodes }\n`);
    await page.evaluate(axe);
    const look = async (what) => {
      const { violations } = await page.evaluate(() => window.axe.run());
      const told = violations.map((v) => `${what}: ${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((n) => n.html).join(' ')}`);
      assert.deepEqual(told, []);
    };
    await look('findings');
    await write(page, FIRST);
    for (const view of ['tables', 'report', 'changes']) {
      await page.click(`#v-${view}`);
      await page.waitForTimeout(300);
      await look(view);
    }
    const background = await page.evaluate(() => getComputedStyle(document.body).backgroundColor);
    assert.equal(background === 'rgb(22, 25, 29)', colorScheme === 'dark', background);
    await page.click('#add');
    await look('dialog');
  });
}
