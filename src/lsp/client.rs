//! The answer to `initialize`: what client and server can do.

use super::{MAIN, Server, text, uri};
use crate::editor::outline::TOKEN_TYPES;
use serde_json::{Value, json};

/// What the client can do.
#[derive(Default)]
pub struct Client {
    /// It takes edits with the versions of the texts.
    pub versions: bool,
    /// It can report changed files on disk.
    pub watches: bool,
    /// It fetches hints again when it is asked to.
    pub refreshes: bool,
}

impl Server<'_> {
    /// Notes what the client can do; returns what the server can do.
    pub(super) fn initialize(&mut self, params: &Value) -> Value {
        let can = |pointer: &str| {
            let pointer = format!("/capabilities/{pointer}");
            params.pointer(&pointer).and_then(Value::as_bool) == Some(true)
        };
        self.client = Client {
            versions: can("workspace/workspaceEdit/documentChanges"),
            watches: can("workspace/didChangeWatchedFiles/dynamicRegistration"),
            refreshes: can("workspace/inlayHint/refreshSupport"),
        };
        let folders = params.get("workspaceFolders").and_then(Value::as_array);
        let folders = folders.into_iter().flatten();
        let mut uris: Vec<&str> = folders.filter_map(|one| text(one, "/uri")).collect();
        uris.extend(text(params, "/rootUri").filter(|_| uris.is_empty()));
        self.roots = uris.into_iter().filter_map(uri::path).collect();
        self.ready = true;
        json!({
            "serverInfo": {"name": "tinsel", "version": env!("CARGO_PKG_VERSION")},
            "capabilities": {
                "positionEncoding": "utf-16",
                "textDocumentSync": {"openClose": true, "change": 1, "save": true},
                "hoverProvider": true,
                "definitionProvider": true,
                "referencesProvider": true,
                "completionProvider": {"triggerCharacters": [".", " ", ":"]},
                "renameProvider": {"prepareProvider": true},
                "codeActionProvider": {"codeActionKinds": ["quickfix", "refactor.rewrite", "source"]},
                "documentFormattingProvider": true,
                "documentRangeFormattingProvider": true,
                "documentSymbolProvider": true,
                "workspaceSymbolProvider": true,
                "foldingRangeProvider": true,
                "inlayHintProvider": true,
                "executeCommandProvider": {"commands": [MAIN]},
                "semanticTokensProvider": {
                    "legend": {"tokenTypes": TOKEN_TYPES, "tokenModifiers": ["declaration"]},
                    "full": true,
                },
            },
        })
    }
}
