// A session of the client that is kept with the protocol itself: a prop is renamed, a finding fixed, everything asked once.
import assert from "node:assert/strict";
import { cpSync, mkdtempSync, readFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import test from "node:test";
import { pathToFileURL } from "node:url";
import { ROOT, start } from "./client.mjs";

test("a session on the first example", async () => {
  const folder = mkdtempSync(join(tmpdir(), "yard-"));
  cpSync(join(ROOT, "examples/first"), folder, { recursive: true });
  const file = join(folder, "porch.tinsel");
  const [uri, text] = [pathToFileURL(file).href, readFileSync(file, "utf8")];
  const client = await start(folder);
  client.open(uri, text);
  await client.findings(uri, (one) => one.version === 1 && one.diagnostics.length === 0);
  const line = text.split("\n").findIndex((one) => one.startsWith("wire porch.1"));
  const position = { line, character: 14 };
  const textDocument = { uri };
  const range = { start: { line: 0, character: 0 }, end: { line: line + 9, character: 0 } };
  const hints = await client.request("textDocument/inlayHint", { textDocument, range });
  assert.equal(hints[0].label, "1/1");
  const hover = await client.request("textDocument/hover", { textDocument, position });
  assert.match(hover.contents.value, /window-left/);
  const edit = await client.request("textDocument/rename", { textDocument, position, newName: "pane" });
  assert.equal(edit.changes[uri].length, 2);
  const wrong = text.replace("-> wreath", "-> wreth");
  client.change(uri, 2, wrong);
  const { diagnostics } = await client.findings(uri, (one) => one.version === 2);
  const finding = diagnostics.find((one) => one.code === "name/unknown");
  const context = { diagnostics: [finding] };
  const actions = await client.request("textDocument/codeAction", { textDocument, range: finding.range, context });
  const fix = actions.find((one) => one.isPreferred);
  assert.deepEqual(fix.edit.changes[uri].map((one) => one.newText), ["wreath"]);
  for (const [method, more] of [
    ["definition", { position }], ["references", { position, context: { includeDeclaration: true } }],
    ["completion", { position }], ["prepareRename", { position }], ["documentSymbol", {}], ["foldingRange", {}],
    ["formatting", { options: { tabSize: 4, insertSpaces: true } }],
    ["rangeFormatting", { range, options: { tabSize: 4, insertSpaces: true } }],
  ]) {
    assert.ok(await client.request(`textDocument/${method}`, { textDocument, ...more }), method);
  }
  await assert.rejects(client.request("textDocument/rename", { textDocument, position, newName: "9" }), /is no name/);
  assert.equal(await client.stop(), 0);
});
