// The sheets say what the table says, row by row.
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { EXAMPLES, folder, launch, open, tinsel } from './browser.mjs';

const papers = folder();
let browser;
before(async () => { browser = await launch(); });
after(() => browser.close());

/** A sheet as the printer gets it: all of it is laid out. */
async function printed(file) {
  const opened = await open(browser, file);
  await opened.page.emulateMedia({ media: 'print' });
  return opened;
}

/** The text of every cell of a page's tables of one kind, row by row; what spans rows is left out. */
function cells(page, table) {
  return page.evaluate((kind) => [...document.querySelectorAll(`table.${kind} tbody tr`)]
    .map((row) => [...row.querySelectorAll('td')].map((cell) => cell.innerText.trim())), table);
}

for (const { name, file } of EXAMPLES) {
  test(`${name}: set-up and test sheets hold every string of the table`, async () => {
    const table = JSON.parse(tinsel('table', file, '--format', 'json'));
    const out = join(papers, name);
    tinsel('report', file, '-o', out);
    const size = table.display.universe_slots;
    const point = ({ universe, slot }) => `${universe}/${slot}`;
    const setup = await printed(join(out, 'set-up.html'));
    const rows = (await cells(setup.page, 'ports'))
      .map(([string, start, channel, end, nodes, , colour]) => [string, start, channel, end, nodes, colour]);
    assert.deepEqual(rows, table.strings.map((row) => [row.name, point(row.start), `${row.start.channel}`, point(row.end),
      row.nodes === null ? `${row.slots} slots` : `${row.nodes}`, row.colour ?? '']));
    const ticks = await printed(join(out, 'test-sheet.html'));
    const lights = (await cells(ticks.page, 'test')).map(([port, string, first, , last]) => [port, string, first, last]);
    assert.deepEqual(lights, table.strings.filter((row) => !row.stored).map((row) => {
      const channel = row.end.channel - row.slots / (row.nodes ?? row.slots);
      const last = row.nodes === null ? `slot ${point(row.end)}`
        : `${row.nodes}: ${Math.floor(channel / size) + 1}/${channel % size + 1}`;
      const port = `${row.controller}.${row.port}`;
      const socket = row.receiver ? `${row.receiver}.${row.receiver_port} (${port})` : port;
      return [socket, row.name, point(row.start), last];
    }));
    assert.deepEqual([...setup.faults, ...ticks.faults], []);
    await setup.context.close();
    await ticks.context.close();
  });
}

test('a line on a port sheet counts what the table counts', async () => {
  const { file } = EXAMPLES.find((example) => example.name === 'middle');
  const table = JSON.parse(tinsel('table', file, '--format', 'json'));
  const { page, context } = await printed(join(papers, 'middle', 'port-sheets.html'));
  for (const port of table.ports) {
    const last = await page.evaluate((name) => {
      const heading = [...document.querySelectorAll('h4')].find((h) => h.textContent === name);
      const lines = [...heading.parentElement.querySelectorAll('tbody tr')].map((row) => row.cells[2].textContent).filter(Boolean);
      return lines.at(-1);
    }, `${port.controller}.${port.port}`);
    assert.equal(Number(last.split(' ').at(-1)), port.nodes + port.skipped, `${port.controller}.${port.port}`);
  }
  await context.close();
});
