// The compiler as the page sees it: questions go to a worker, answers come back as promises.

/** The bytes of a base64 text. */
function decoded(text) {
  const binary = atob(text.trim());
  const bytes = new Uint8Array(binary.length);
  for (let at = 0; at < binary.length; at += 1) bytes[at] = binary.charCodeAt(at);
  return bytes;
}

/** The compiler's module: it lies in this file, compressed. */
async function unpacked() {
  const packed = new Blob([decoded(document.getElementById('compiler').textContent)]);
  return new Response(packed.stream().pipeThrough(new DecompressionStream('gzip'))).arrayBuffer();
}

export class Trap extends Error {}

export class Refused extends Error {}

export class Compiler {
  #worker = null;
  #waiting = new Map();
  #next = 1;
  #ready = null;
  #module = null;
  /** What the worker has: a text a name. */
  #sent = new Map();

  constructor() {
    this.#module = unpacked();
    this.#ready = this.#start();
  }

  async #start() {
    const source = new Blob([document.getElementById('worker').textContent], { type: 'text/javascript' });
    const url = URL.createObjectURL(source);
    const worker = new Worker(url);
    this.#worker = worker;
    this.#sent.clear();
    worker.onmessage = ({ data }) => {
      URL.revokeObjectURL(url);
      const waiting = this.#waiting.get(data.id);
      this.#waiting.delete(data.id);
      if (!waiting) return;
      if (data.trap) waiting.refuse(new Trap(data.trap));
      else if (data.head?.refused) waiting.refuse(new Refused(data.head.refused));
      else waiting.give(data);
    };
    const module = await this.#module;
    return this.#post({ module });
  }

  #post(message, transfer = []) {
    const id = this.#next;
    this.#next += 1;
    return new Promise((give, refuse) => {
      this.#waiting.set(id, { give, refuse });
      this.#worker.postMessage({ id, ...message }, transfer);
    });
  }

  /** Whether it has started. */
  get ready() { return this.#ready; }

  /** Asks something about the files as they are now: only those that changed are sent. */
  async ask(ask, files = null, body = undefined) {
    await this.#ready;
    const message = { ask, body };
    if (files) {
      message.files = [...files].filter(([name, text]) => this.#sent.get(name) !== text);
      message.gone = [...this.#sent.keys()].filter((name) => !files.has(name));
      this.#sent = new Map(files);
    }
    return this.#post(message);
  }

  /** Ends whatever it is doing, and starts anew. */
  async restart() {
    this.#worker.terminate();
    for (const { refuse } of this.#waiting.values()) refuse(new Trap('it was stopped'));
    this.#waiting.clear();
    this.#ready = this.#start();
    return this.#ready;
  }
}
