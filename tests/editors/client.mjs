// The program as a language server, asked by the client of `vscode-languageserver-protocol`.
import { spawn } from "node:child_process";
import { dirname, join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import protocol from "vscode-languageserver-protocol/node.js";

export const ROOT = join(dirname(fileURLToPath(import.meta.url)), "../..");

/** The program: `TINSEL` names it, else the one that `cargo build` makes. */
export const TINSEL = process.env.TINSEL ?? join(process.env.CARGO_TARGET_DIR ?? join(ROOT, "target"), "debug/tinsel");

/** A server that was started and initialized. */
export async function start(folder) {
  const child = spawn(TINSEL, ["lsp", "--stdio"], { stdio: ["pipe", "pipe", "inherit"] });
  const reader = new protocol.StreamMessageReader(child.stdout);
  const writer = new protocol.StreamMessageWriter(child.stdin);
  const connection = protocol.createProtocolConnection(reader, writer);
  const findings = new Map();
  const waiting = [];
  connection.onNotification("textDocument/publishDiagnostics", (params) => {
    findings.set(params.uri, params);
    for (const one of waiting.splice(0)) one();
  });
  connection.onRequest("client/registerCapability", () => null);
  connection.onRequest("workspace/inlayHint/refresh", () => null);
  connection.listen();
  const answer = await connection.sendRequest("initialize", {
    processId: process.pid,
    rootUri: pathToFileURL(folder).href,
    capabilities: { workspace: { didChangeWatchedFiles: { dynamicRegistration: true } } },
  });
  await connection.sendNotification("initialized", {});
  return {
    capabilities: answer.capabilities,
    request: (method, params) => connection.sendRequest(method, params),
    open: (uri, text) =>
      connection.sendNotification("textDocument/didOpen", {
        textDocument: { uri, languageId: "tinsel", version: 1, text },
      }),
    change: (uri, version, text) =>
      connection.sendNotification("textDocument/didChange", {
        textDocument: { uri, version }, contentChanges: [{ text }],
      }),
    /** The findings of a text once they are as `wanted`. */
    async findings(uri, wanted) {
      for (;;) {
        const own = findings.get(uri);
        if (own && wanted(own)) return own;
        await new Promise((done) => waiting.push(done));
      }
    },
    async stop() {
      await connection.sendRequest("shutdown");
      const ended = new Promise((done) => child.once("exit", done));
      await connection.sendNotification("exit");
      const status = await ended;
      connection.dispose();
      return status;
    },
  };
}
