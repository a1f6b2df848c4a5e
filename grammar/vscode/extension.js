// Starts `tinsel lsp` for the displays of a workspace. The path of the program is the setting `tinsel.path`.
const { workspace } = require("vscode");
const { LanguageClient } = require("vscode-languageclient/node");

let client;

exports.activate = async () => {
  const command = workspace.getConfiguration("tinsel").get("path", "tinsel");
  client = new LanguageClient(
    "tinsel",
    "tinsel",
    { command, args: ["lsp"] },
    { documentSelector: [{ language: "tinsel" }] },
  );
  await client.start();
};

exports.deactivate = () => client?.stop();
