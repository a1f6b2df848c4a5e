// The compiler that lies in the page, without a browser, and the page itself.
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { gunzipSync } from 'node:zlib';
import { root } from './browser.mjs';

const target = process.env.CARGO_TARGET_DIR ?? join(root, 'target');
export const PAGE = process.env.TINSEL_PAGE ?? join(target, 'page/tinsel.html');
if (!existsSync(PAGE)) throw new Error(`${PAGE} does not exist: make it with \`cargo page\``);

/** The compiler as it lies in the page. */
export function wasm() {
  const [, packed] = /<script type="application\/octet-stream" id="compiler">([^<]+)</.exec(readFileSync(PAGE, 'utf8'));
  return gunzipSync(Buffer.from(packed, 'base64'));
}

const module = new WebAssembly.Module(wasm());
const [encoder, decoder] = [new TextEncoder(), new TextDecoder()];

/** A fresh compiler: `ask(head, body)` gives the head of its answer and its body. */
export function compiler() {
  const { room, answer, said, memory } = new WebAssembly.Instance(module, {}).exports;
  return (head, body = new Uint8Array(0)) => {
    const bytes = encoder.encode(JSON.stringify(head));
    const at = room(4 + bytes.length + body.length);
    new DataView(memory.buffer).setUint32(at, bytes.length, true);
    new Uint8Array(memory.buffer).set(bytes, at + 4);
    new Uint8Array(memory.buffer).set(body, at + 4 + bytes.length);
    const length = answer();
    const from = said();
    const split = 4 + new DataView(memory.buffer).getUint32(from, true);
    return {
      head: JSON.parse(decoder.decode(new Uint8Array(memory.buffer, from + 4, split - 4))),
      body: Buffer.from(new Uint8Array(memory.buffer, from + split, length - split)),
    };
  };
}
