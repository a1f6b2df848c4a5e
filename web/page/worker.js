// Runs the compiler. A trap ends the instance, never the page: the next question starts a fresh one from the module that
// was kept, and hands it the files again.
'use strict';
const encoder = new TextEncoder();
const decoder = new TextDecoder();
let module = null;
/** The instance that answers; null after a trap. */
self.compiler = null;
const texts = new Map();

function put(head, body = new Uint8Array(0)) {
  const { room, answer, said, memory } = self.compiler.exports;
  const bytes = encoder.encode(JSON.stringify(head));
  const at = room(4 + bytes.length + body.length);
  new DataView(memory.buffer).setUint32(at, bytes.length, true);
  const question = new Uint8Array(memory.buffer, at, 4 + bytes.length + body.length);
  question.set(bytes, 4);
  question.set(body, 4 + bytes.length);
  const length = answer();
  const whole = new Uint8Array(memory.buffer, said(), length);
  const split = 4 + new DataView(memory.buffer, said()).getUint32(0, true);
  return { head: JSON.parse(decoder.decode(whole.subarray(4, split))), body: whole.slice(split) };
}

function start() {
  self.compiler = new WebAssembly.Instance(module, {});
  for (const [name, text] of texts) put({ ask: 'put', name }, encoder.encode(text));
}

/** Gives the compiler the files that changed since the last time. */
function take(files, gone) {
  // All of it is kept first: a fresh instance gets it from here.
  gone.forEach((name) => texts.delete(name));
  files.forEach(([name, text]) => texts.set(name, text));
  if (!self.compiler) return;
  gone.forEach((name) => put({ ask: 'drop', name }));
  files.forEach(([name, text]) => put({ ask: 'put', name }, encoder.encode(text)));
}

function answer({ files = [], gone = [], ask, body }) {
  take(files, gone);
  if (!self.compiler) start();
  return put(ask, body);
}

self.onmessage = async ({ data }) => {
  const { id } = data;
  try {
    if (data.module) {
      module = await WebAssembly.compile(data.module);
      start();
      self.postMessage({ id, head: {} });
      return;
    }
    const began = performance.now();
    const { head, body } = answer(data);
    self.postMessage({ id, head, body, took: performance.now() - began }, [body.buffer]);
  } catch (error) {
    self.compiler = null;
    self.postMessage({ id, trap: String(error && error.message || error) });
  }
};
