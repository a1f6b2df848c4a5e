//! The language server as an editor sees it: the program itself over its standard input and output.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

struct Client {
    child: Child,
    input: ChildStdin,
    output: BufReader<ChildStdout>,
    next: i64,
    /// Notifications and requests of the server that were not looked at yet.
    pushed: Vec<Value>,
}

impl Client {
    fn start() -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_tinsel"))
            .args(["lsp", "--stdio"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let input = child.stdin.take().unwrap();
        let output = BufReader::new(child.stdout.take().unwrap());
        Self { child, input, output, next: 0, pushed: Vec::new() }
    }

    /// Started and initialized, with a folder as its workspace.
    fn ready(folder: &Path) -> Self {
        let mut client = Self::start();
        let answer = client.ask(
            "initialize",
            json!({"processId": null, "rootUri": uri(folder), "capabilities": {
                "workspace": {"didChangeWatchedFiles": {"dynamicRegistration": true}},
            }}),
        );
        assert_eq!(answer["result"]["capabilities"]["positionEncoding"], "utf-16");
        client.tell("initialized", json!({}));
        client
    }

    fn raw(&mut self, body: &str) {
        write!(self.input, "Content-Length: {}\r\n\r\n{body}", body.len()).unwrap();
        self.input.flush().unwrap();
    }

    fn tell(&mut self, method: &str, params: Value) {
        self.raw(&json!({"jsonrpc": "2.0", "method": method, "params": params}).to_string());
    }

    fn send(&mut self, method: &str, params: Value) -> i64 {
        self.next += 1;
        let id = self.next;
        self.raw(
            &json!({"jsonrpc": "2.0", "id": id, "method": method, "params": params}).to_string(),
        );
        id
    }

    fn read(&mut self) -> Value {
        let mut length = 0;
        loop {
            let mut line = String::new();
            assert!(self.output.read_line(&mut line).unwrap() > 0, "the server is gone");
            if let Some(value) = line.trim_end().strip_prefix("Content-Length: ") {
                length = value.parse().unwrap();
            }
            if line.trim_end().is_empty() {
                break;
            }
        }
        let mut body = vec![0; length];
        self.output.read_exact(&mut body).unwrap();
        serde_json::from_slice(&body).unwrap()
    }

    fn answer(&mut self, id: &Value) -> Value {
        loop {
            let message = self.read();
            if message.get("method").is_none() && message["id"] == *id {
                return message;
            }
            self.pushed.push(message);
        }
    }

    fn ask(&mut self, method: &str, params: Value) -> Value {
        let id = self.send(method, params);
        self.answer(&json!(id))
    }

    /// The result of a request about a place in a text.
    fn at(&mut self, method: &str, uri: &str, line: u32, character: u32) -> Value {
        let place = json!({"line": line, "character": character});
        let answer = self.ask(method, json!({"textDocument": {"uri": uri}, "position": place}));
        assert!(answer.get("error").is_none(), "{answer}");
        answer["result"].clone()
    }

    fn open(&mut self, uri: &str, text: &str) {
        self.tell(
            "textDocument/didOpen",
            json!({"textDocument": {"uri": uri, "languageId": "tinsel", "version": 1, "text": text}}),
        );
    }

    fn change(&mut self, uri: &str, version: i64, text: &str) {
        self.tell(
            "textDocument/didChange",
            json!({"textDocument": {"uri": uri, "version": version}, "contentChanges": [{"text": text}]}),
        );
    }

    /// The next findings that are pushed for a text: their codes, and the version.
    fn findings(&mut self, uri: &str) -> (Vec<String>, Value) {
        loop {
            let found = self.pushed.iter().position(|one| {
                one["method"] == "textDocument/publishDiagnostics" && one["params"]["uri"] == uri
            });
            match found {
                Some(at) => {
                    let one = self.pushed.remove(at);
                    let all = one["params"]["diagnostics"].as_array().unwrap();
                    let codes = all.iter().map(|one| one["code"].as_str().unwrap().to_owned());
                    return (codes.collect(), one["params"]["version"].clone());
                }
                None => {
                    let message = self.read();
                    self.pushed.push(message);
                }
            }
        }
    }

    fn end(mut self) {
        assert_eq!(self.ask("shutdown", Value::Null)["result"], Value::Null);
        self.tell("exit", Value::Null);
        assert_eq!(self.child.wait().unwrap().code(), Some(0));
    }
}

fn uri(path: &Path) -> String {
    let path = path.to_str().unwrap();
    let mut out = String::from("file://");
    for byte in path.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                out.push(byte as char)
            }
            other => out.push_str(&format!("%{other:02X}")),
        }
    }
    out
}

/// An empty folder of a name.
fn folder(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join("lsp").join(name);
    let _ = std::fs::remove_dir_all(&path);
    std::fs::create_dir_all(&path).unwrap();
    path
}

const GOOD: &str = "node n { chip ws2811; colour RGB }\ncontroller c { ports 1..2 { nodes at most 50 } }\n\
                    prop a { node n; string 30 nodes }\nwire c.1: a\n";

#[test]
fn a_session() {
    let folder = folder("session");
    let file = folder.join("yard.tinsel");
    std::fs::write(&file, GOOD).unwrap();
    let uri = uri(&file);
    let mut client = Client::ready(&folder);
    client.open(&uri, GOOD);
    assert_eq!(client.findings(&uri), (vec![], json!(1)));
    let range = json!({"start": {"line": 0, "character": 0}, "end": {"line": 9, "character": 0}});
    let about = json!({"textDocument": {"uri": uri}, "range": range});
    let hints = client.ask("textDocument/inlayHint", about.clone())["result"].clone();
    assert_eq!(hints[0]["label"], "1/1");
    assert_eq!(hints[1]["label"], "30 of 50");
    let wrong = GOOD.replace("30 nodes", "60 nodes").replace("wire c.1: a", "wire c.1: aa");
    client.change(&uri, 2, &wrong);
    let (codes, version) = client.findings(&uri);
    assert!(codes.contains(&"name/unknown".to_owned()), "{codes:?}");
    assert_eq!(version, 2);
    let old = client.ask("textDocument/inlayHint", about.clone())["result"].clone();
    assert!(old[0]["label"].as_str().unwrap().ends_with("(before)"), "{old}");
    let mut place = about.clone();
    place["range"] =
        json!({"start": {"line": 3, "character": 11}, "end": {"line": 3, "character": 11}});
    place["context"] = json!({"diagnostics": []});
    let actions = client.ask("textDocument/codeAction", place)["result"].clone();
    let fix = actions.as_array().unwrap().iter().find(|one| one["kind"] == "quickfix").unwrap();
    assert_eq!(fix["edit"]["changes"][&uri][0]["newText"], "a", "{actions}");
    let hover = client.at("textDocument/hover", &uri, 2, 6);
    assert!(hover["contents"]["value"].as_str().unwrap().contains("60 nodes"), "{hover}");
    client.change(&uri, 3, GOOD);
    let renamed = client.ask(
        "textDocument/rename",
        json!({"textDocument": {"uri": uri}, "position": {"line": 2, "character": 5}, "newName": "b"}),
    );
    assert_eq!(renamed["result"]["changes"][&uri].as_array().unwrap().len(), 2);
    let refused = client.ask(
        "textDocument/rename",
        json!({"textDocument": {"uri": uri}, "position": {"line": 2, "character": 5}, "newName": "9"}),
    );
    assert_eq!(refused["error"]["code"], -32803);
    for method in ["documentSymbol", "foldingRange", "semanticTokens/full", "formatting"] {
        let answer = client.ask(&format!("textDocument/{method}"), about.clone());
        assert!(
            answer["result"].is_array() || answer["result"]["data"].is_array(),
            "{method}: {answer}"
        );
    }
    let symbols = client.ask("workspace/symbol", json!({"query": "a"}))["result"].clone();
    assert!(symbols.as_array().unwrap().iter().any(|one| one["name"] == "a"), "{symbols}");
    client.end();
}

#[test]
fn what_is_wrong_with_a_message_is_said_and_the_server_goes_on() {
    let folder = folder("wrong");
    let mut client = Client::start();
    assert_eq!(client.ask("textDocument/hover", json!({}))["error"]["code"], -32002);
    client.ask("initialize", json!({"capabilities": {}}));
    client.raw("{no json");
    assert_eq!(client.answer(&Value::Null)["error"]["code"], -32700);
    client.raw("{\"jsonrpc\": \"2.0\", \"id\": \"seven\"}");
    assert_eq!(client.answer(&json!("seven"))["error"]["code"], -32600);
    assert_eq!(client.ask("textDocument/nothing", json!({}))["error"]["code"], -32601);
    let uri = uri(&folder.join("yard.tinsel"));
    client.open(&uri, "prop");
    for place in [json!({}), json!({"line": -1, "character": 0}), json!({"line": "x"})] {
        let asked = client
            .ask("textDocument/hover", json!({"textDocument": {"uri": uri}, "position": place}));
        assert_eq!(asked["error"]["code"], -32602, "{asked}");
    }
    let far = client.at("textDocument/hover", &uri, u32::MAX, u32::MAX);
    assert_eq!(far, Value::Null);
    assert_eq!(client.findings(&uri).0, ["syntax/unexpected"]);
    client.end();
}

/// Columns are UTF-16 units; the byte-order mark is one, a character beyond the BMP two.
#[test]
fn places_are_utf_16() {
    let folder = folder("places");
    let file = folder.join("yard.tinsel");
    let uri = uri(&file);
    let mut client = Client::ready(&folder);
    let text = "\u{feff}prop 雪 { node n; label \"🎄🎄\"; string 5 nodes }\r\nnode n { chip ws2811; colour RGB }\r\nwire any: 雪\r\n";
    client.open(&uri, text);
    let found = client.at("textDocument/definition", &uri, 2, 10);
    let range = json!({"start": {"line": 0, "character": 6}, "end": {"line": 0, "character": 7}});
    assert_eq!(found[0]["range"], range);
    let column = "\u{feff}prop 雪 { node n; label \"🎄🎄\"; ".encode_utf16().count();
    let hover = client.at("textDocument/hover", &uri, 0, column as u32);
    assert_eq!(hover["range"]["start"]["character"], column, "{hover}");
    client.end();
}

/// Names of files with blanks, escapes, other scripts.
#[test]
fn any_name_of_a_file_works() {
    for (name, sent) in [
        ("my yard.tinsel", "my%20yard.tinsel"),
        ("a^b.tinsel", "a^b.tinsel"),
        ("c:d.tinsel", "c%3Ad.tinsel"),
        ("雪🎄.tinsel", "%E9%9B%AA%F0%9F%8E%84.tinsel"),
        ("100%.tinsel", "100%25.tinsel"),
    ] {
        let folder = folder("names");
        std::fs::write(folder.join("part.tinsel"), "node n { chip ws2811; colour RGB }\n").unwrap();
        std::fs::write(folder.join(name), "").unwrap();
        let uri = format!("{}/{sent}", uri(&folder));
        let mut client = Client::ready(&folder);
        let text = GOOD.split_once('\n').unwrap().1;
        client.open(&uri, &format!("include \"part.tinsel\"\n{text}"));
        assert_eq!(client.findings(&uri), (vec![], json!(1)), "{name}");
        let found = client.at("textDocument/references", &uri, 2, 5);
        let uris: Vec<&str> =
            found.as_array().unwrap().iter().map(|one| one["uri"].as_str().unwrap()).collect();
        assert_eq!(uris, [&uri, &uri], "{name}");
        client.end();
    }
}

/// A file that is open under several URIs is one text: the one that was sent last. Each URI gets
/// the same findings, and answers with that URI (RFC 3986, 6.2.2: `%3a` is `%3A`, `..` goes up a
/// folder).
#[test]
#[cfg(unix)]
fn a_file_under_several_uris_is_one_text() {
    let folder = folder("twins");
    std::fs::create_dir(folder.join("shed")).unwrap();
    std::fs::write(folder.join("a:b.tinsel"), GOOD).unwrap();
    std::os::unix::fs::symlink(folder.join("a:b.tinsel"), folder.join("link.tinsel")).unwrap();
    let base = uri(&folder);
    let names = ["a%3Ab.tinsel", "a%3ab.tinsel", "shed/../a%3Ab.tinsel", "link.tinsel"];
    let uris = names.map(|name| format!("{base}/{name}"));
    for (first, other) in uris.iter().zip(uris.iter().cycle().skip(1)) {
        let mut client = Client::ready(&folder);
        client.open(first, GOOD);
        assert_eq!(client.findings(first), (vec![], json!(1)), "{first}");
        let broken = GOOD.replace("c.1: a", "c.1: aa");
        client.open(other, &broken);
        for uri in [other, first] {
            assert_eq!(client.findings(uri), (vec!["name/unknown".to_owned()], json!(1)), "{uri}");
        }
        client.change(first, 2, &GOOD.replace("prop a", "prop b").replace("1: a", "1: b"));
        assert_eq!(client.findings(other), (vec![], json!(1)), "{other}");
        assert_eq!(client.findings(first), (vec![], json!(2)), "{first}");
        for uri in [first, other] {
            let found = client.at("textDocument/definition", uri, 3, 10);
            assert_eq!(found[0]["uri"], **uri);
            assert_eq!(found[0]["range"]["start"], json!({"line": 2, "character": 5}));
            let range =
                json!({"start": {"line": 0, "character": 0}, "end": {"line": 0, "character": 0}});
            let asked = json!({"textDocument": {"uri": uri}, "range": range});
            let actions = client.ask("textDocument/codeAction", asked);
            // There is no other display that it could be part of.
            let kinds = actions["result"].as_array().unwrap().iter();
            assert!(kinds.into_iter().all(|one| one["kind"] != "source"), "{actions}");
        }
        client.tell("textDocument/didClose", json!({"textDocument": {"uri": first}}));
        let found = client.at("textDocument/definition", other, 3, 10);
        assert_eq!(found[0]["range"]["start"], json!({"line": 2, "character": 5}));
        client.end();
    }
}

/// A part of a display is checked as part of it: with what is open, what is on disk, and what went.
#[test]
fn texts_open_on_disk_and_gone() {
    let folder = folder("parts");
    let (main, part) = (folder.join("yard.tinsel"), folder.join("props.tinsel"));
    let head = "include \"props.tinsel\"\nnode n { chip ws2811; colour RGB }\ncontroller c { ports 1..2 { } }\nwire c.1: a\n";
    std::fs::write(&main, head).unwrap();
    std::fs::write(&part, "prop a { node n; string 30 nodes }\n").unwrap();
    let (main_uri, part_uri) = (uri(&main), uri(&part));
    let mut client = Client::ready(&folder);
    client.open(&part_uri, "prop a { node n; string 30 nodes }\n");
    assert_eq!(client.findings(&main_uri), (vec![], Value::Null));
    assert_eq!(client.findings(&part_uri), (vec![], json!(1)));
    // The part changes in the editor only: the main file's finding is reported.
    client.change(&part_uri, 2, "prop b { node n; string 30 nodes }\n");
    assert!(client.findings(&main_uri).0.contains(&"name/unknown".to_owned()));
    // Closed without saving: what is on disk counts again.
    client.open(&main_uri, head);
    client.tell("textDocument/didClose", json!({"textDocument": {"uri": part_uri}}));
    loop {
        if client.findings(&main_uri) == (vec![], json!(1)) {
            break;
        }
    }
    std::fs::remove_file(&part).unwrap();
    let changed = json!({"changes": [{"uri": part_uri, "type": 3}]});
    client.tell("workspace/didChangeWatchedFiles", changed);
    loop {
        if client.findings(&main_uri).0 == ["name/unknown"] {
            break;
        }
    }
    // A text that is open and not saved yet can be included.
    client.open(&part_uri, "prop a { node n; string 9 nodes }\n");
    loop {
        if client.findings(&main_uri).0.is_empty() {
            break;
        }
    }
    client.end();
}

/// Of two displays that include a text, the one with a lock is taken; a message says so, and an
/// action changes it.
#[test]
fn the_main_file_can_be_chosen() {
    let folder = folder("mains");
    let part = folder.join("props.tinsel");
    std::fs::write(&part, "prop a { node n; string 30 nodes }\n").unwrap();
    for (name, chip) in [("east", "ws2811"), ("west", "ws2815")] {
        let head = format!(
            "include \"props.tinsel\"\nnode n {{ chip {chip}; colour RGB }}\ncontroller c {{ ports 1..2 {{ }} }}\nwire c.1: a\n"
        );
        std::fs::write(folder.join(format!("{name}.tinsel")), head).unwrap();
    }
    let built = Command::new(env!("CARGO_BIN_EXE_tinsel"))
        .args(["build", "--quiet"])
        .arg(folder.join("west.tinsel"))
        .status()
        .unwrap();
    assert!(built.success());
    let (uri, east) = (uri(&part), folder.join("east.tinsel"));
    let mut client = Client::ready(&folder);
    client.open(&uri, "prop a { node n; string 30 nodes }\n");
    let found = client.at("textDocument/definition", &uri, 0, 14);
    assert!(found[0]["uri"].as_str().unwrap().ends_with("west.tinsel"), "{found}");
    let shown = client.pushed.iter().find(|one| one["method"] == "window/showMessage").unwrap();
    assert!(shown["params"]["message"].as_str().unwrap().contains("west.tinsel"));
    let range = json!({"start": {"line": 0, "character": 0}, "end": {"line": 0, "character": 0}});
    let actions = client
        .ask("textDocument/codeAction", json!({"textDocument": {"uri": uri}, "range": range}));
    let all = actions["result"].as_array().unwrap();
    let other = all.iter().find(|one| one["kind"] == "source").unwrap()["command"].clone();
    assert_eq!(other["arguments"][1], east.to_str().unwrap());
    let run = json!({"command": other["command"], "arguments": other["arguments"]});
    assert!(client.ask("workspace/executeCommand", run).get("error").is_none());
    let found = client.at("textDocument/definition", &uri, 0, 14);
    assert!(found[0]["uri"].as_str().unwrap().ends_with("east.tinsel"), "{found}");
    client.end();
}

/// A request that was cancelled, and one whose text has changed since, are not computed.
#[test]
fn no_answer_is_older_than_its_text() {
    let folder = folder("stale");
    let uri = uri(&folder.join("yard.tinsel"));
    let mut client = Client::ready(&folder);
    let mut large = GOOD.to_owned();
    for at in 0..4_000 {
        large.push_str(&format!("prop p{at} {{ node n; string 5 nodes }}\n"));
    }
    client.open(&uri, &large);
    let about = json!({"textDocument": {"uri": uri}, "position": {"line": 2, "character": 5}});
    let first = client.send("textDocument/hover", about.clone());
    let stale = client.send("textDocument/hover", about.clone());
    let dropped = client.send("textDocument/definition", about.clone());
    client.tell("$/cancelRequest", json!({"id": dropped}));
    client.change(&uri, 2, GOOD);
    let last = client.send("textDocument/hover", about);
    client.answer(&json!(first));
    // Whether they were still waiting depends on the machine, so there are two possible answers.
    let answer = client.answer(&json!(stale));
    assert!(answer.get("result").is_some() || answer["error"]["code"] == -32801, "{answer}");
    let answer = client.answer(&json!(dropped));
    let code = answer["error"]["code"].as_i64();
    assert!(answer.get("result").is_some() || matches!(code, Some(-32800 | -32801)), "{answer}");
    let answer = client.answer(&json!(last));
    assert!(answer["result"]["contents"]["value"].as_str().unwrap().contains("30 nodes"));
    client.end();
}

/// A text that is new in the editor, without a file: it has findings and answers all the same.
#[test]
fn a_text_without_a_file_has_answers() {
    let mut client = Client::ready(&folder("new"));
    let uri = "untitled:Untitled-1";
    client.open(uri, &GOOD.replace("30 nodes", "60 nodes"));
    assert_eq!(client.findings(uri), (vec!["port/nodes".to_owned()], json!(1)));
    let hover = client.at("textDocument/hover", uri, 2, 6);
    assert!(hover["contents"]["value"].as_str().unwrap().contains("60 nodes"), "{hover}");
    client.end();
}

/// Which display a text is part of follows what is typed, saved or not.
#[test]
fn a_part_follows_an_include_that_is_not_saved() {
    let folder = folder("unsaved");
    let part = folder.join("props.tinsel");
    let prop = "prop a { node n; string 30 nodes }\n";
    std::fs::write(&part, prop).unwrap();
    let (part_uri, main_uri) = (uri(&part), uri(&folder.join("yard.tinsel")));
    let rest = GOOD.replace(prop, "");
    let mut client = Client::ready(&folder);
    client.open(&part_uri, prop);
    while client.findings(&part_uri).0 != ["name/unknown"] {}
    client.open(&main_uri, &format!("include \"props.tinsel\"\n{rest}"));
    while !client.findings(&part_uri).0.is_empty() {}
    client.change(&main_uri, 2, &rest);
    while client.findings(&part_uri).0 != ["name/unknown"] {}
    client.change(&main_uri, 3, &format!("{rest}stock \"props.tinsel\"\n"));
    while !client.findings(&part_uri).0.is_empty() {}
    client.end();
}

/// A request that a client may not send is refused; such a notification is ignored.
#[test]
fn messages_out_of_order_change_nothing() {
    let folder = folder("order");
    let (one, other) = (uri(&folder.join("one.tinsel")), uri(&folder.join("other.tinsel")));
    let mut client = Client::start();
    // Before `initialize` every notification is dropped (LSP 3.17, "Initialize Request").
    client.open(&one, "prop");
    client.ask("initialize", json!({"capabilities": {}}));
    assert_eq!(client.ask("initialize", json!({"capabilities": {}}))["error"]["code"], -32600);
    client.change(&one, 2, "prop");
    client.open(&other, GOOD);
    assert_eq!(client.findings(&other), (vec![], json!(1)));
    let named = |one: &Value| one["params"]["uri"].as_str().map(str::to_owned);
    let pushed: Vec<String> = client.pushed.iter().filter_map(named).collect();
    assert_eq!(pushed, [""; 0], "a text that was never opened has findings");
    let empty = json!({"textDocument": {"uri": other, "version": 7}, "contentChanges": []});
    client.tell("textDocument/didChange", empty);
    assert_eq!(client.findings(&other), (vec![], json!(7)));
    let run = json!({"command": "tinsel.main", "arguments": [other, "/nowhere.tinsel"]});
    assert_eq!(client.ask("workspace/executeCommand", run)["error"]["code"], -32602);
    client.ask("shutdown", Value::Null);
    client.change(&other, 8, "prop");
    client.tell("exit", Value::Null);
    assert_eq!(client.child.wait().unwrap().code(), Some(0));
}
