//! The language server: it knows the editor protocol (LSP 3.17); `editor` has the answers.
//!
//! A thread of its own reads messages; they are answered one after another. Before each answer the
//! waiting messages are searched: a request that was cancelled, or whose text has changed since, is
//! refused. Findings are pushed when no message waits. [`frame`] reads and writes the stream,
//! [`uri`] converts file names, [`texts`] knows which texts there are, [`mod@json`] makes answers.

mod client;
mod frame;
mod json;
mod requests;
mod texts;
mod uri;

pub use texts::{Opened, Shelf};

use crate::editor::desk::Desk;
use crate::editor::position::Sheets;
use client::Client;
use frame::Frame;
use serde_json::{Value, json};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::io::{self, BufRead, Write};
use std::sync::mpsc::{self, Receiver};
use texts::{Open, OpenTexts, Over};

/// Error codes (JSON-RPC 2.0, section 5.1; LSP 3.17, "Base Protocol").
mod code {
    pub const PARSE: i32 = -32700;
    pub const INVALID: i32 = -32600;
    pub const NO_METHOD: i32 = -32601;
    pub const PARAMETERS: i32 = -32602;
    pub const NOT_READY: i32 = -32002;
    pub const MODIFIED: i32 = -32801;
    pub const CANCELLED: i32 = -32800;
    pub const FAILED: i32 = -32803;
}

/// The command that takes another main file for a text.
const MAIN: &str = "tinsel.main";

/// A display with open texts.
struct Display {
    desk: Desk,
    /// Identities of its texts, by the names they are shown by.
    names: BTreeMap<String, String>,
    /// The URIs that findings were pushed for.
    pushed: BTreeSet<String>,
    /// Whether a text has changed since it was compiled.
    stale: bool,
    /// Whether its findings have yet to be pushed.
    unpushed: bool,
}

struct Server<'s> {
    shelf: &'s dyn Shelf,
    out: &'s mut dyn Write,
    open: OpenTexts,
    /// By the path of the main file, or its URI if it is no file.
    displays: BTreeMap<String, Display>,
    /// By URI of an open text: its main file, then others that it might have.
    mains: BTreeMap<String, Vec<String>>,
    roots: Vec<String>,
    waiting: VecDeque<Frame>,
    client: Client,
    requests: u64,
    ready: bool,
    ended: bool,
}

/// Answers until the stream ends or the client exits; whether the client sent `shutdown` before.
///
/// # Errors
/// If the output can't be written.
pub fn serve(
    mut input: impl BufRead + Send + 'static,
    out: &mut dyn Write,
    shelf: &dyn Shelf,
) -> io::Result<bool> {
    let (send, frames) = mpsc::channel();
    std::thread::spawn(move || {
        loop {
            let frame = frame::read(&mut input);
            let ends = matches!(frame, Frame::End);
            if send.send(frame).is_err() || ends {
                return;
            }
        }
    });
    let mut server = Server {
        shelf,
        out,
        open: OpenTexts::new(),
        displays: BTreeMap::new(),
        mains: BTreeMap::new(),
        roots: Vec::new(),
        waiting: VecDeque::new(),
        client: Client::default(),
        requests: 0,
        ready: false,
        ended: false,
    };
    server.run(&frames)?;
    Ok(server.ended)
}

/// The string at a JSON pointer in a message.
fn text<'v>(value: &'v Value, pointer: &str) -> Option<&'v str> {
    value.pointer(pointer)?.as_str()
}

impl Server<'_> {
    fn run(&mut self, frames: &Receiver<Frame>) -> io::Result<()> {
        loop {
            self.waiting.extend(frames.try_iter());
            if self.waiting.is_empty() {
                self.push_all()?;
                self.waiting.extend(frames.recv());
            }
            match self.waiting.pop_front() {
                None | Some(Frame::End) => return Ok(()),
                Some(Frame::Malformed) => {
                    self.refuse(&Value::Null, code::PARSE, "the message is not JSON")?;
                }
                Some(Frame::Message(message)) => {
                    if text(&message, "/method") == Some("exit") {
                        return Ok(());
                    }
                    self.take(&message)?;
                }
            }
        }
    }

    fn send(&mut self, message: &Value) -> io::Result<()> {
        frame::write(self.out, message)
    }

    fn refuse(&mut self, id: &Value, code: i32, why: &str) -> io::Result<()> {
        self.send(&json!({"jsonrpc": "2.0", "id": id, "error": {"code": code, "message": why}}))
    }

    fn notify(&mut self, method: &str, params: &Value) -> io::Result<()> {
        self.send(&json!({"jsonrpc": "2.0", "method": method, "params": params}))
    }

    fn ask(&mut self, method: &str, params: &Value) -> io::Result<()> {
        self.requests += 1;
        let id = self.requests;
        self.send(&json!({"jsonrpc": "2.0", "id": id, "method": method, "params": params}))
    }

    fn take(&mut self, message: &Value) -> io::Result<()> {
        let empty = Value::Null;
        let params = message.get("params").unwrap_or(&empty);
        match (message.get("id"), text(message, "/method")) {
            (Some(id), Some(method)) => self.request(id, method, params),
            (None, Some(method)) => self.notified(method, params),
            // Answers of the client to requests of the server.
            (Some(_), None) if message.get("result").is_some() => Ok(()),
            (Some(_), None) if message.get("error").is_some() => Ok(()),
            (id, None) => {
                let id = id.unwrap_or(&Value::Null).clone();
                self.refuse(&id, code::INVALID, "this is neither request nor notification")
            }
        }
    }

    fn request(&mut self, id: &Value, method: &str, params: &Value) -> io::Result<()> {
        if self.ended {
            return self.refuse(id, code::INVALID, "the server was shut down");
        }
        match method {
            "initialize" if self.ready => {
                return self.refuse(id, code::INVALID, "`initialize` was sent before");
            }
            "initialize" => {
                let result = self.initialize(params);
                return self.send(&json!({"jsonrpc": "2.0", "id": id, "result": result}));
            }
            _ if !self.ready => {
                return self.refuse(id, code::NOT_READY, "`initialize` comes first");
            }
            "shutdown" => {
                self.ended = true;
                return self.send(&json!({"jsonrpc": "2.0", "id": id, "result": null}));
            }
            _ => {}
        }
        if self.is_cancelled(id) {
            return self.refuse(id, code::CANCELLED, "cancelled");
        }
        if text(params, "/textDocument/uri").is_some_and(|uri| self.changes_later(uri)) {
            return self.refuse(id, code::MODIFIED, "the text has changed since");
        }
        match self.answer(method, params) {
            Ok(result) => self.send(&json!({"jsonrpc": "2.0", "id": id, "result": result})),
            Err((code, why)) => self.refuse(id, code, &why),
        }
    }

    /// Whether a waiting message cancels a request.
    fn is_cancelled(&self, id: &Value) -> bool {
        self.waiting.iter().any(|frame| match frame {
            Frame::Message(message) => {
                text(message, "/method") == Some("$/cancelRequest")
                    && message.pointer("/params/id") == Some(id)
            }
            _ => false,
        })
    }

    /// Whether a waiting message changes a text.
    fn changes_later(&self, uri: &str) -> bool {
        self.waiting.iter().any(|frame| match frame {
            Frame::Message(message) => {
                text(message, "/method") == Some("textDocument/didChange")
                    && text(message, "/params/textDocument/uri") == Some(uri)
            }
            _ => false,
        })
    }

    fn notified(&mut self, method: &str, params: &Value) -> io::Result<()> {
        if !self.ready || self.ended {
            return Ok(());
        }
        let uri = text(params, "/textDocument/uri").map(str::to_owned);
        let version = params.pointer("/textDocument/version").and_then(Value::as_i64);
        match (method, uri) {
            ("initialized", _) if self.client.watches => {
                let watchers =
                    json!([{"globPattern": "**/*.tinsel"}, {"globPattern": "**/*.lock"}]);
                let registration = json!({
                    "id": "texts",
                    "method": "workspace/didChangeWatchedFiles",
                    "registerOptions": {"watchers": watchers},
                });
                self.ask("client/registerCapability", &json!({"registrations": [registration]}))
            }
            ("textDocument/didOpen", Some(uri)) => {
                let own = text(params, "/textDocument/text").unwrap_or("").to_owned();
                self.set(&uri, version.unwrap_or(0), own);
                self.disk_changed()
            }
            ("textDocument/didChange", Some(uri)) => {
                let changes = params.pointer("/contentChanges").and_then(Value::as_array);
                let last = changes.and_then(|all| all.last()).and_then(|one| text(one, "/text"));
                let Some(before) = self.open.get(&uri) else {
                    return Ok(());
                };
                let own = last.unwrap_or(&before.text).to_owned();
                let alike = texts::read_alike(&before.text, &own);
                self.set(&uri, version.unwrap_or(before.version), own);
                if alike { Ok(()) } else { self.disk_changed() }
            }
            ("textDocument/didClose", Some(uri)) => {
                self.open.remove(&uri);
                self.mains.remove(&uri);
                self.disk_changed()
            }
            ("textDocument/didSave" | "workspace/didChangeWatchedFiles", _) => self.disk_changed(),
            ("workspace/didChangeWorkspaceFolders", _) => {
                for one in ["/event/added", "/event/removed"] {
                    let folders = params.pointer(one).and_then(Value::as_array);
                    let folders = folders.into_iter().flatten();
                    let paths: Vec<String> =
                        folders.filter_map(|f| text(f, "/uri")).filter_map(uri::path).collect();
                    self.roots.retain(|root| !paths.contains(root));
                    if one.ends_with("added") {
                        self.roots.extend(paths);
                    }
                }
                self.disk_changed()
            }
            _ => Ok(()),
        }
    }

    /// A file that is open under several URIs has one path, and the text that was sent last.
    fn set(&mut self, uri: &str, version: i64, text: String) {
        let mut path = uri::path(uri);
        let identity =
            path.as_ref().map_or_else(|| uri.to_owned(), |path| self.shelf.identity(path));
        for twin in self.open.values_mut().filter(|one| one.identity == identity) {
            twin.text.clone_from(&text);
            path.clone_from(&twin.path);
        }
        let open = Open { path, identity, version, text };
        self.open.insert(uri.to_owned(), open);
        for display in self.displays.values_mut() {
            display.stale = true;
        }
    }

    /// Finds the display of an open text. Where it could be part of several, a message says which
    /// is taken.
    fn find_mains(&mut self, uri: &str) -> io::Result<()> {
        let Some(open) = self.open.get(uri) else {
            return Ok(());
        };
        let mut mains = match &open.path {
            Some(path) => texts::mains(self.shelf, &self.open, path, &self.roots),
            None => vec![uri.to_owned()],
        };
        // A main file that was taken before stays the main file while it is possible.
        let before = self.mains.get(uri).and_then(|all| all.first().cloned());
        if let Some(at) = before.and_then(|one| mains.iter().position(|other| *other == one)) {
            let one = mains.remove(at);
            mains.insert(0, one);
        }
        let known = self.mains.insert(uri.to_owned(), mains.clone());
        let [first, others @ ..] = mains.as_slice() else {
            return Ok(());
        };
        self.displays.entry(first.clone()).or_insert_with(|| Display {
            desk: Desk::default(),
            names: BTreeMap::new(),
            pushed: BTreeSet::new(),
            stale: true,
            unpushed: true,
        });
        if others.is_empty() || known.is_some_and(|known| known.contains(first)) {
            return Ok(());
        }
        let others = others.join(", ");
        let message = format!("checked as part of {first}; a code action takes another: {others}");
        self.notify("window/showMessage", &json!({"type": 3, "message": message}))
    }

    /// Files changed: texts may be part of other displays now, and all displays are stale.
    fn disk_changed(&mut self) -> io::Result<()> {
        let uris: Vec<String> = self.open.keys().cloned().collect();
        for uri in uris {
            self.find_mains(&uri)?;
        }
        for display in self.displays.values_mut() {
            display.stale = true;
        }
        Ok(())
    }

    /// The display of an open text, compiled with all texts as they are now.
    fn display(&mut self, uri: &str) -> Option<&Display> {
        let main = self.mains.get(uri)?.first()?.clone();
        self.compile(&main);
        self.displays.get(&main)
    }

    fn compile(&mut self, main: &str) {
        let own = self.open.values().find(|one| one.path.as_deref() == Some(main));
        let own = own.or_else(|| self.open.get(main));
        let Some(display) = self.displays.get_mut(main).filter(|one| one.stale) else {
            return;
        };
        display.stale = false;
        display.unpushed = true;
        let text = own.map(|own| &*own.text);
        let Some(opened) = self.shelf.open(main, text) else {
            display.desk = Desk::default();
            return;
        };
        let over = Over { disk: &*opened.files, open: &self.open, names: RefCell::default() };
        let mut file = over.now(opened.main);
        if let Some(text) = text {
            file.bytes = text.as_bytes().to_owned();
        }
        let name = file.name.clone();
        display.desk.compile(&over, file, opened.lock);
        display.names = over.names.into_inner();
        // A text that is no file has its URI as identity.
        display.names.extend(own.map(|own| (name, own.identity.clone())));
    }

    /// Pushes the findings of every display that changed: a list for each of its texts, and an
    /// empty one for texts that left it.
    fn push_all(&mut self) -> io::Result<()> {
        let mains: Vec<String> = self.displays.keys().cloned().collect();
        for main in mains {
            let used = self.mains.values().any(|all| all.first() == Some(&main));
            let waits = |one: &Display| one.stale || one.unpushed;
            let waits = self.displays.get(&main).is_some_and(waits);
            if !used {
                let gone = self.displays.remove(&main);
                let pushed = gone.map(|gone| gone.pushed).unwrap_or_default();
                self.clear(&pushed)?;
            } else if waits {
                self.compile(&main);
                self.push(&main)?;
            }
        }
        Ok(())
    }

    fn push(&mut self, main: &str) -> io::Result<()> {
        let Some(display) = self.displays.get(main) else {
            return Ok(());
        };
        let mut pushed = BTreeSet::new();
        let mut messages = Vec::new();
        let texts = (&display.desk, &Sheets::default());
        for (file, findings) in display.desk.findings() {
            let first = texts::uri_of(&self.open, &display.names, &file.name);
            let elsewhere = self.mains.get(&first).and_then(|all| all.first());
            let mine = elsewhere.is_none_or(|one| one == main) && !file.name.ends_with(".lock");
            if !mine && findings.is_empty() || elsewhere.is_some_and(|one| one != main) {
                continue;
            }
            let name = |name: &str| texts::uri_of(&self.open, &display.names, name);
            let own: Vec<Value> = (findings.iter())
                .map(|finding| json::finding(texts, file, finding, &name))
                .collect();
            let identity = self.open.get(&first).map_or("", |open| &open.identity);
            let twins = texts::twins(&self.open, identity).map(str::to_owned);
            for uri in twins.chain([first.clone()]) {
                let version = self.open.get(&uri).map(|open| open.version);
                let mut params = json!({"uri": uri, "diagnostics": own});
                if let (Some(version), Some(all)) = (version, params.as_object_mut()) {
                    all.insert("version".to_owned(), json!(version));
                }
                if pushed.insert(uri) {
                    messages.push(params);
                }
            }
        }
        let gone: BTreeSet<String> = display.pushed.difference(&pushed).cloned().collect();
        if let Some(display) = self.displays.get_mut(main) {
            display.pushed = pushed;
            display.unpushed = false;
        }
        for params in messages {
            self.notify("textDocument/publishDiagnostics", &params)?;
        }
        self.clear(&gone)?;
        if self.client.refreshes {
            self.ask("workspace/inlayHint/refresh", &Value::Null)?;
        }
        Ok(())
    }

    /// Clears the findings of texts, unless another display has pushed findings for them.
    fn clear(&mut self, gone: &BTreeSet<String>) -> io::Result<()> {
        for uri in gone {
            let mut others = self.displays.values();
            if !others.any(|other| other.pushed.contains(uri)) {
                let params = json!({"uri": uri, "diagnostics": []});
                self.notify("textDocument/publishDiagnostics", &params)?;
            }
        }
        Ok(())
    }
}
