//! Answers to requests, each from the display of the text that it is about.

use super::texts::{self, OpenTexts};
use super::{Display, MAIN, Server, code, json as shape, text};
use crate::diagnostic::Edit;
use crate::editor::desk::Desk;
use crate::editor::position::{Lines, Position, Sheets};
use crate::editor::{actions, completion, format, hover, names, outline, rename};
use crate::resolve::uses::Kind;
use crate::source::{SourceFile, Span};
use serde_json::{Value, json};

/// An error code of the protocol, and the reason.
pub(super) type Refusal = (i32, String);

/// A request about a text, with the text, its display and what the client knows.
struct About<'a> {
    display: &'a Display,
    file: &'a SourceFile,
    /// The URI of the request.
    uri: &'a str,
    lines: Lines<'a>,
    sheets: Sheets<'a>,
    open: &'a OpenTexts,
    versions: bool,
    params: &'a Value,
}

impl<'a> About<'a> {
    fn uri(&self, name: &str) -> String {
        // The file may be open under other URIs as well.
        match name == self.file.name {
            true => self.uri.to_owned(),
            false => texts::uri_of(self.open, &self.display.names, name),
        }
    }

    /// The byte in the text of the place at a pointer of the request.
    fn local(&self, pointer: &str) -> Result<usize, Refusal> {
        let number = |key: &str| {
            let pointer = format!("{pointer}/{key}");
            let number = self.params.pointer(&pointer).and_then(Value::as_u64);
            number.map(|number| u32::try_from(number).unwrap_or(u32::MAX))
        };
        let (Some(line), Some(character)) = (number("line"), number("character")) else {
            return Err((code::PARAMETERS, format!("`{pointer}` is no place")));
        };
        Ok(self.lines.offset(Position { line, character }))
    }

    /// The offset in the display of that place.
    fn at(&self, pointer: &str) -> Result<u32, Refusal> {
        let local = u32::try_from(self.local(pointer)?).unwrap_or(u32::MAX);
        Ok(self.file.base.saturating_add(local))
    }

    fn within(&self) -> Result<Span, Refusal> {
        Ok(Span::new(self.at("/range/start")?, self.at("/range/end")?))
    }

    fn texts(&self) -> (&'a Desk, &Sheets<'a>) {
        (&self.display.desk, &self.sheets)
    }

    fn range(&self, span: Span) -> Value {
        shape::range(self.file, &self.sheets, span)
    }

    fn places(&self, spans: &[Span]) -> Value {
        let uri = |name: &str| self.uri(name);
        let place = |span: &Span| shape::location(self.texts(), *span, &uri);
        spans.iter().filter_map(place).collect()
    }

    fn edits(&self, edits: &[Edit]) -> Value {
        let version = |uri: &str| self.open.get(uri).map(|open| open.version);
        let known: Option<shape::VersionOf> = self.versions.then_some(&version);
        shape::edits(self.texts(), edits, &|name| self.uri(name), known)
    }

    /// Edits of this text alone.
    fn own_edits(&self, edits: &[Edit]) -> Value {
        let as_json = |edit: &Edit| json!({"range": self.range(edit.span), "newText": edit.text});
        edits.iter().map(as_json).collect()
    }

    /// The answer to a request; `mains` are the main files that the text may have.
    fn answer(&self, method: &str, mains: &[String]) -> Result<Value, Refusal> {
        let desk = &self.display.desk;
        match method {
            "textDocument/hover" => self.hover(),
            "textDocument/definition" => {
                let at = self.at("/position")?;
                Ok(self.places(&names::definition(desk, at)))
            }
            "textDocument/references" => {
                let at = self.at("/position")?;
                let own = self.params.pointer("/context/includeDeclaration");
                let own = own.and_then(Value::as_bool).unwrap_or(true);
                Ok(self.places(&names::references(desk, at, own)))
            }
            "textDocument/completion" => self.completion(),
            "textDocument/prepareRename" => {
                let at = self.at("/position")?;
                let one = rename::target(desk, at).map_err(|why| (code::FAILED, why))?;
                Ok(json!({"range": self.range(one.at), "placeholder": one.key}))
            }
            "textDocument/rename" => {
                let at = self.at("/position")?;
                let new = text(self.params, "/newName").unwrap_or("");
                let edits = rename::rename(desk, at, new);
                Ok(self.edits(&edits.map_err(|why| (code::FAILED, why))?))
            }
            "textDocument/codeAction" => self.actions(mains),
            "textDocument/formatting" => {
                let edits = format::whole(self.file).unwrap_or_default();
                Ok(self.own_edits(&edits))
            }
            "textDocument/rangeFormatting" => {
                let edits = format::range(desk, self.file, self.within()?);
                Ok(self.own_edits(&edits.unwrap_or_default()))
            }
            "textDocument/documentSymbol" => Ok(self.outline()),
            "textDocument/foldingRange" => {
                let folds = outline::folds(desk, self.file).into_iter();
                Ok(folds.map(|(a, b)| json!({"startLine": a, "endLine": b})).collect())
            }
            "textDocument/semanticTokens/full" => Ok(self.tokens()),
            "textDocument/inlayHint" => self.hints(),
            _ => Err((code::NO_METHOD, format!("`{method}` is not known"))),
        }
    }
}

impl Server<'_> {
    /// The answer to a request.
    pub(super) fn answer(&mut self, method: &str, params: &Value) -> Result<Value, Refusal> {
        match method {
            "workspace/symbol" => return Ok(self.symbols(params)),
            "workspace/executeCommand" => return self.command(params),
            _ => {}
        }
        let versions = self.client.versions;
        let others = match text(params, "/textDocument/uri") {
            Some(uri) => self.mains.get(uri).cloned().unwrap_or_default(),
            None => return Err((code::NO_METHOD, format!("`{method}` is not known"))),
        };
        let uri = text(params, "/textDocument/uri").unwrap_or("").to_owned();
        if !self.open.contains_key(&uri) {
            return Err((code::PARAMETERS, format!("{uri} is not open")));
        }
        self.display(&uri);
        let main = others.first();
        let Some(display) = main.and_then(|main| self.displays.get(main)) else {
            return Err((code::FAILED, format!("{uri} is part of no display")));
        };
        let Some(file) = own_file(display, &self.open, &uri) else {
            // It is open, but its display does not include it any more.
            return Ok(Value::Null);
        };
        let about = About {
            display,
            file,
            uri: &uri,
            lines: Lines::of(&file.text),
            sheets: Sheets::default(),
            open: &self.open,
            versions,
            params,
        };
        about.answer(method, &others)
    }

    fn symbols(&mut self, params: &Value) -> Value {
        let query = text(params, "/query").unwrap_or("").to_lowercase();
        let mains: Vec<String> = self.displays.keys().cloned().collect();
        let mut found = Vec::new();
        for main in mains {
            self.compile(&main);
            let Some(display) = self.displays.get(&main) else {
                continue;
            };
            let uri = |name: &str| texts::uri_of(&self.open, &display.names, name);
            let texts = (&display.desk, &Sheets::default());
            for one in outline::symbols(&display.desk, None) {
                if one.name.to_lowercase().contains(&query)
                    && let Some(place) = shape::location(texts, one.at, &uri)
                {
                    let kind = symbol_kind(one.kind);
                    found.push(json!({"name": one.name, "kind": kind, "location": place}));
                }
            }
        }
        Value::Array(found)
    }

    /// Takes another main file for a text.
    fn command(&mut self, params: &Value) -> Result<Value, Refusal> {
        let arguments = params.get("arguments");
        let argument = |at: usize| arguments.and_then(|all| all.get(at)).and_then(Value::as_str);
        let (Some(MAIN), Some(uri), Some(main)) =
            (text(params, "/command"), argument(0), argument(1))
        else {
            return Err((code::PARAMETERS, "this is no command of the server".to_owned()));
        };
        let identity = self.open.get(uri).map_or("", |open| &open.identity).to_owned();
        let twins = texts::twins(&self.open, &identity).filter(|twin| *twin != uri);
        let all: Vec<String> = twins.chain([uri]).map(str::to_owned).collect();
        for uri in all.iter().map(String::as_str) {
            let known = self.mains.get_mut(uri);
            let at = known.as_ref().and_then(|all| all.iter().position(|one| one == main));
            let (Some(known), Some(at)) = (known, at) else {
                return Err((code::PARAMETERS, format!("{uri} is no part of {main}")));
            };
            let one = known.remove(at);
            known.insert(0, one);
            self.find_mains(uri).map_err(|error| (code::FAILED, error.to_string()))?;
        }
        for display in self.displays.values_mut() {
            display.stale = true;
        }
        Ok(Value::Null)
    }
}

/// The text of a URI in a display.
fn own_file<'d>(display: &'d Display, open: &OpenTexts, uri: &str) -> Option<&'d SourceFile> {
    let identity = &open.get(uri)?.identity;
    let own = |(name, id): (&String, &String)| (id == identity).then(|| display.desk.file(name));
    display.names.iter().find_map(own)?
}

impl About<'_> {
    fn hover(&self) -> Result<Value, Refusal> {
        let found = hover::hover(&self.display.desk, self.at("/position")?);
        Ok(found.map_or(Value::Null, |found| {
            let contents = json!({"kind": "markdown", "value": found.markdown});
            json!({"contents": contents, "range": self.range(found.at)})
        }))
    }

    fn completion(&self) -> Result<Value, Refusal> {
        let at = self.local("/position")?;
        let (start, offers) = completion::offers(&self.display.desk, self.file, at);
        let range = json!({
            "start": shape::position(self.lines.position(start)),
            "end": shape::position(self.lines.position(at)),
        });
        let items = offers.into_iter().enumerate().map(|(order, offer)| {
            json!({
                "label": offer.word,
                "kind": item_kind(offer.kind),
                "detail": offer.about,
                "sortText": format!("{order:05}"),
                "textEdit": {"range": range, "newText": offer.word},
            })
        });
        Ok(json!({"isIncomplete": true, "items": items.collect::<Vec<Value>>()}))
    }

    fn actions(&self, mains: &[String]) -> Result<Value, Refusal> {
        let within = self.within()?;
        let mut found = Vec::new();
        for action in actions::actions(&self.display.desk, within) {
            let mut one = json!({
                "title": action.fix.title,
                "kind": if action.of.is_some() { "quickfix" } else { "refactor.rewrite" },
                "edit": self.edits(&action.fix.edits),
            });
            if let (Some(finding), Some(one)) = (action.of, one.as_object_mut()) {
                let uri = |name: &str| self.uri(name);
                let own = shape::finding(self.texts(), self.file, finding, &uri);
                one.insert("diagnostics".to_owned(), json!([own]));
                // Only a fix that may be applied unasked is preferred.
                if action.fix.safe {
                    one.insert("isPreferred".to_owned(), json!(true));
                }
            }
            found.push(one);
        }
        for main in mains.iter().skip(1) {
            let title = format!("check this file as part of {main}");
            let command = json!({"title": title, "command": MAIN, "arguments": [self.uri, main]});
            found.push(json!({"title": title, "kind": "source", "command": command}));
        }
        Ok(Value::Array(found))
    }

    fn outline(&self) -> Value {
        let all = outline::symbols(&self.display.desk, Some(self.file)).into_iter();
        all.map(|one| {
            json!({
                "name": one.name,
                "detail": one.kind,
                "kind": symbol_kind(one.kind),
                "range": self.range(one.whole),
                "selectionRange": self.range(one.at),
            })
        })
        .collect()
    }

    fn tokens(&self) -> Value {
        let mut data: Vec<u32> = Vec::new();
        let mut before = Position::default();
        for (span, kind, declares) in outline::tokens(&self.display.desk, self.file) {
            let local = |at: u32| self.lines.position((at - self.file.base) as usize);
            let (start, end) = (local(span.start), local(span.end));
            if start.line != end.line || start < before {
                continue;
            }
            let line = start.line - before.line;
            let from = if line == 0 { before.character } else { 0 };
            data.extend([
                line,
                start.character - from,
                end.character - start.character,
                kind as u32,
                u32::from(declares),
            ]);
            before = start;
        }
        json!({"data": data})
    }

    fn hints(&self) -> Result<Value, Refusal> {
        let (from, to) = (self.local("/range/start")?, self.local("/range/end")?);
        let own = self.display.desk.hints(&self.file.name).into_iter();
        let own = own.filter(|hint| (from..=to).contains(&(hint.at as usize)));
        Ok(own
            .map(|hint| {
                let (label, tip) = match hint.old {
                    false => (hint.text, hint.tip.to_owned()),
                    true => (
                        format!("{} (before)", hint.text),
                        format!("{}, when the display last had addresses", hint.tip),
                    ),
                };
                let place = shape::position(self.lines.position(hint.at as usize));
                json!({"position": place, "label": label, "tooltip": tip, "paddingLeft": true})
            })
            .collect())
    }
}

/// `SymbolKind` of a statement.
fn symbol_kind(kind: &str) -> u8 {
    match kind {
        "prop" => 5,
        "node" => 23,
        "controller" | "receiver" => 11,
        "chip" => 10,
        "display" | "include" | "stock" => 1,
        "let" => 14,
        "supply" | "circuit" => 20,
        "wire" => 24,
        _ => 6,
    }
}

/// `CompletionItemKind` of an offer.
fn item_kind(kind: Option<Kind>) -> u8 {
    match kind {
        None => 14,
        Some(Kind::Let) => 21,
        Some(Kind::String(_) | Kind::Run(_)) => 5,
        Some(Kind::Of(_)) => 7,
    }
}
