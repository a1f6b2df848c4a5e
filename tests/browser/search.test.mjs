// The page answers "what is on 12/307?" as the table does. What is expected is worked out here, slot by slot, from the
// table alone.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { EXAMPLES, folder, launch, open, tinsel } from './browser.mjs';

const papers = folder();
let browser;
before(async () => { browser = await launch(); });
after(() => browser.close());

/** Numbers that are the same in every run. */
function dice(seed) {
  let state = seed;
  return (below) => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return Math.floor(state / 2 ** 32 * below);
  };
}

/** Every used slot with what is on it: string, node from 1, letter, port. */
function slots(table, whole) {
  const size = table.display.universe_slots;
  const found = new Map();
  for (const string of table.strings) {
    const each = string.nodes ? string.slots / string.nodes : 1;
    let channel = string.start.channel - 1;
    for (let node = 1; node <= (string.nodes ?? string.slots); node += 1) {
      if (whole.has(string.controller) && string.nodes && channel % size + each > size) channel += size - channel % size;
      for (let slot = 0; slot < each; slot += 1, channel += 1) {
        const letter = string.nodes ? string.colour[Math.floor(slot * string.colour.length / each)] : null;
        const here = found.get(channel) ?? [];
        here.push({ name: string.name, node, letter, port: `${string.controller}.${string.port}` });
        found.set(channel, here);
      }
    }
    assert.equal(channel, string.end.channel, `${string.name} ends elsewhere`);
  }
  return found;
}

async function ask(page, question) {
  await page.fill('#question', question);
  await page.press('#question', 'Enter');
  return { answer: await page.locator('#answer').textContent(), found: await page.locator('#found').textContent() };
}

for (const { name, file } of EXAMPLES) {
  test(`${name}: 50 slots drawn at random, and 10 channels`, async () => {
    const table = JSON.parse(tinsel('table', file, '--format', 'json'));
    // `whole nodes` for the whole display stands in the text of the example.
    const all = /^\s*whole nodes/m.test(readFileSync(file, 'utf8').split('controller')[0]);
    const whole = new Set(all ? table.controllers.map((row) => row.name) : []);
    const used = slots(table, whole);
    const size = table.display.universe_slots;
    const paper = join(papers, `${name}.html`);
    tinsel('report', file, '--single', '-o', paper);
    const { page, context, faults } = await open(browser, paper);
    const roll = dice(table.strings.length);
    const universes = table.universes.map((row) => row.universe);
    for (let draw = 0; draw < 60; draw += 1) {
      const universe = universes[roll(universes.length)];
      const slot = roll(size) + 1;
      const channel = (universe - 1) * size + slot - 1;
      const question = draw < 50 ? `${universe}/${slot}` : `channel ${channel + 1}`;
      const { answer, found } = await ask(page, question);
      assert.ok(answer.startsWith(`${universe}/${slot} is channel ${channel + 1}: `), answer);
      const here = used.get(channel) ?? [];
      if (!here.length) assert.match(answer, /: free\. /, question);
      for (const { name: string, node, letter, port } of here) {
        const line = found.split(' on ').length && found;
        assert.ok(line.includes(string), `${question}: ${found}`);
        assert.ok(line.includes(port), `${question}: ${found}`);
        const words = letter ? `node ${node} of ` : `slot ${node} of `;
        assert.ok(answer.includes(words) || found.includes(words), `${question}: ${answer} ${found}`);
        if (letter) assert.ok(answer.includes(`colour ${letter}`), `${question}: ${answer}`);
      }
    }
    assert.deepEqual(faults, []);
    await context.close();
  });
}

test('props, ports, universes, labels and nonsense', async () => {
  const paper = join(papers, 'ask.html');
  const { file } = EXAMPLES.find((example) => example.name === 'middle');
  tinsel('report', file, '--single', '-o', paper);
  const { page, context, faults } = await open(browser, paper);
  assert.match((await ask(page, 'owl')).answer, /^3 strings or fixtures for "owl"/);
  assert.match((await ask(page, 'owl[2]')).found, /^owl\[2\] on barn\.4, 24\/460 to 25\/46/);
  assert.match((await ask(page, 'BARN.4')).answer, /^3 strings/);
  assert.match((await ask(page, 'jetty.1')).answer, /^2 strings/);
  assert.match((await ask(page, 'universe 28')).answer, /used by barn/);
  assert.match((await ask(page, '12/1')).answer, /free\. Universe 12 is not in use/);
  assert.match((await ask(page, 'what')).answer, /Nothing here is called "what"/);
  assert.match((await ask(page, '1/513')).answer, /slots 1 to 512/);
  assert.match((await ask(page, '0/1')).answer, /slots 1 to 512/);
  assert.match((await ask(page, '<b>')).answer, /Nothing here is called "<b>"/);
  assert.equal((await ask(page, ' ')).answer, '');
  // The keyboard gets there and a hit leads to its place in the drawing.
  await page.locator('h1').click();
  await page.keyboard.press('/');
  assert.equal(await page.evaluate(() => document.activeElement.id), 'question');
  await page.keyboard.type('star');
  await page.keyboard.press('Enter');
  await page.locator('#found a').first().click();
  const target = page.locator(':target');
  assert.match(await target.textContent(), /star/);
  assert.ok(await target.isVisible());
  assert.deepEqual(faults, []);
  await context.close();
});
