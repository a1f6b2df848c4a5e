// The colours of every word of every example: names as the language server has them, all other words as words of the
// language.
import assert from "node:assert/strict";
import { readFileSync, readdirSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import test from "node:test";
import { pathToFileURL } from "node:url";
import oniguruma from "vscode-oniguruma";
import textmate from "vscode-textmate";
import { ROOT, start } from "./client.mjs";

const require = createRequire(import.meta.url);
const wasm = readFileSync(require.resolve("vscode-oniguruma/release/onig.wasm"));
await oniguruma.loadWASM(wasm.buffer.slice(wasm.byteOffset, wasm.byteOffset + wasm.byteLength));

const path = join(ROOT, "grammar/tinsel.tmLanguage.json");
const registry = new textmate.Registry({
  onigLib: Promise.resolve({
    createOnigScanner: (patterns) => new oniguruma.OnigScanner(patterns),
    createOnigString: (text) => new oniguruma.OnigString(text),
  }),
  loadGrammar: async () => textmate.parseRawGrammar(readFileSync(path, "utf8"), path),
});
const grammar = await registry.loadGrammar("source.tinsel");

/** The innermost scope of each token of a text: line, start, text, scope. */
function scopes(text) {
  const found = [];
  let stack = textmate.INITIAL;
  text.split("\n").forEach((line, row) => {
    const { tokens, ruleStack } = grammar.tokenizeLine(line, stack);
    stack = ruleStack;
    for (const token of tokens) {
      const scope = token.scopes.at(-1);
      found.push({ row, start: token.startIndex, text: line.slice(token.startIndex, token.endIndex), scope });
    }
  });
  return found;
}

/** Which display is which example's main file, and the files that it reads. */
const EXAMPLES = ["first", "middle", "walk", "veteran"];

function files(folder) {
  return readdirSync(folder, { withFileTypes: true }).flatMap((entry) => {
    const own = join(folder, entry.name);
    if (entry.isDirectory()) return files(own);
    return own.endsWith(".tinsel") ? [own] : [];
  });
}

for (const example of EXAMPLES) {
  test(`every token of examples/${example}`, async () => {
    const client = await start(join(ROOT, "examples", example));
    let names = 0;
    for (const file of files(join(ROOT, "examples", example))) {
      const text = readFileSync(file, "utf8");
      const uri = pathToFileURL(file).href;
      client.open(uri, text);
      const { data } = await client.request("textDocument/semanticTokens/full", { textDocument: { uri } });
      const named = new Map();
      let [row, column] = [0, 0];
      for (let at = 0; at < data.length; at += 5) {
        if (data[at]) [row, column] = [row + data[at], 0];
        column += data[at + 1];
        named.set(`${row}:${column}`, { length: data[at + 2], declares: data[at + 4] === 1 });
      }
      const seen = new Set();
      for (const token of scopes(text)) {
        const word = token.text.trim();
        const where = `${file}:${token.row + 1}: \`${word}\` is ${token.scope}`;
        if (/^(comment|string|constant\.character)/.test(token.scope) || !/[\p{L}\d]/u.test(word)) continue;
        const start = token.start + token.text.indexOf(word);
        const name = named.get(`${token.row}:${start}`);
        if (name) {
          assert.equal(word.length, name.length, where);
          // `prop window[3] { }` overrides members: its name stands where one is declared.
          const heads = name.declares || /^\s*prop\s*$/.test(text.split("\n")[token.row].slice(0, start));
          assert.match(token.scope, heads ? /^(entity\.name|variable\.other)/ : /^variable\.other/, where);
          seen.add(`${token.row}:${start}`);
          names += 1;
        } else if (/^\p{L}/u.test(word)) {
          const host = /^\s*host\b|[;{]\s*host\b/.test(text.split("\n")[token.row].slice(0, token.start));
          // A display's own words that are no names: hosts, parts of a reference such as `dmx1`.
          const part = text.split("\n")[token.row][token.start - 1] === ".";
          if (!host && !part) assert.match(token.scope, /^(keyword|support|constant\.other\.colour)/, where);
        } else {
          assert.match(token.scope, /^constant\.numeric/, where);
        }
      }
      assert.deepEqual([...named.keys()].filter((one) => !seen.has(one)), [], file);
    }
    assert.ok(names > 10);
    await client.stop();
  });
}

test("scopes of a display by hand", () => {
  const text = 'node bud { chip ws2811; colour RGB } # x\nwire yard.3: roof.eaves at 12/1 -> lead 2.5m -> port[2]\n';
  const words = scopes(text).filter((one) => one.text.trim()).map((one) => `${one.text.trim()} ${one.scope.replace(".tinsel", "")}`);
  assert.deepEqual(words, [
    "node keyword.declaration", "bud entity.name.type", "{ punctuation.section.block.begin",
    "chip support.type.property-name", "ws2811 variable.other", "; punctuation",
    "colour support.type.property-name", "RGB constant.other.colour", "} punctuation.section.block.end",
    "# x comment.line.number-sign",
    "wire keyword.control", "yard variable.other", ". punctuation", "3 constant.numeric", ": punctuation",
    "roof variable.other", ". punctuation", "eaves variable.other", "at keyword.other",
    "12/1 constant.numeric.address", "-> keyword.operator", "lead keyword.other", "2.5 constant.numeric",
    "m keyword.other.unit", "-> keyword.operator", "port variable.other", "[ punctuation", "2 constant.numeric",
    "] punctuation",
  ]);
});
