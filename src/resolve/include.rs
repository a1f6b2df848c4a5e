//! `include` and `stock`: other files, read in place, each once.

use crate::ast::{Ast, Statement, StatementKind, Written};
use crate::diagnostic::Sink;
use crate::rules;
use crate::source::{FileError, Files, Loaded, SourceFile, SourceMap, Span, quoted};

/// The most files deep that an include may be.
const DEEPEST: usize = 16;
/// The most files of a display.
const MOST_FILES: usize = 1_000;

/// The syntax stage.
pub type Parse<'p> = dyn Fn(&SourceFile, &mut Sink) -> Ast + 'p;

struct Gather<'g> {
    files: &'g dyn Files,
    parse: &'g Parse<'g>,
    sources: &'g mut SourceMap,
    sink: &'g mut Sink,
    /// Every file that is read, by identity.
    seen: Vec<String>,
    /// The files that are being read (identity, name), each with the place of its current include.
    open: Vec<(String, String, Span)>,
    /// Whether the last stretch of statements is of the current text, so that it may grow.
    grows: bool,
    all: Written,
}

/// Reads a display's main file and all that it includes. The statements are in the order in which
/// they apply.
///
/// `parse` is the syntax stage, which is a parameter since stages do not call each other.
pub fn gather(
    files: &dyn Files,
    main: Loaded,
    parse: &Parse<'_>,
    sources: &mut SourceMap,
    sink: &mut Sink,
) -> Written {
    let mut gather = Gather {
        files,
        parse,
        sources,
        sink,
        seen: vec![main.identity.clone()],
        open: Vec::new(),
        grows: false,
        all: Written::default(),
    };
    gather.read(main, false, None);
    gather.all
}

impl Gather<'_> {
    /// Notes that a text is missing, and with it what it declares.
    fn lose(&mut self) {
        self.all.broken = true;
        self.all.lost = true;
    }

    fn read(&mut self, mut file: Loaded, stock: bool, asked: Option<Span>) {
        let bytes = std::mem::take(&mut file.bytes);
        let added = match std::str::from_utf8(&bytes) {
            Ok(text) => self.sources.add(&file.name, text).cloned(),
            Err(error) => {
                self.lose();
                let shown = String::from_utf8_lossy(&bytes);
                if let Some(added) = self.sources.add(&file.name, &shown) {
                    let at = error.valid_up_to();
                    let finding = rules::syntax::unexpected::not_utf8(added, &bytes, at);
                    self.sink.push(finding);
                }
                return;
            }
        };
        // The map has the text now, so this copy need not take memory while it is parsed.
        drop(bytes);
        let Some(added) = added else {
            self.lose();
            if let Some(span) = asked {
                self.sink.push(rules::syntax::unexpected::include_too_large(span));
            }
            return;
        };
        let ast = (self.parse)(&added, self.sink);
        self.all.broken |= ast.broken;
        self.all.mentioned.extend(ast.mentioned);
        self.all.unnamed.extend(ast.unnamed);
        let includes = |one: &Statement| matches!(one.kind, StatementKind::Include(_));
        if !stock && !ast.statements.iter().any(includes) {
            self.all.statements.parts.push(ast.statements);
            return;
        }
        for statement in ast.statements {
            match statement.kind {
                StatementKind::Include(include) => {
                    self.push(Statement {
                        stock: statement.stock || stock,
                        kind: StatementKind::Include(include),
                        ..statement
                    });
                    let path = quoted::said(self.sources.text(include.path.span)).into_owned();
                    let place = include.path.span;
                    self.open.push((file.identity.clone(), file.name.clone(), place));
                    self.grows = false;
                    self.include(&file, &path, stock || include.stock, place);
                    self.grows = false;
                    self.open.pop();
                }
                kind => self.push(Statement { stock: statement.stock || stock, kind, ..statement }),
            }
        }
    }

    fn push(&mut self, statement: Statement) {
        let parts = &mut self.all.statements.parts;
        if !std::mem::replace(&mut self.grows, true) {
            parts.push(Vec::new());
        }
        if let Some(part) = parts.last_mut() {
            part.push(statement);
        }
    }

    fn include(&mut self, from: &Loaded, path: &str, stock: bool, place: Span) {
        let loaded = match self.files.load(&from.identity, path) {
            Ok(loaded) => loaded,
            Err(error) => {
                self.lose();
                let finding = match error {
                    FileError::Missing => rules::name::unknown::file(place, path),
                    FileError::Outside => rules::syntax::unexpected::include_outside(place, path),
                    FileError::TooLarge => rules::syntax::unexpected::include_too_large(place),
                    FileError::Other(why) => {
                        rules::syntax::unexpected::include_unreadable(place, path, &why)
                    }
                };
                self.sink.push(finding);
                return;
            }
        };
        self.all.includes.push((from.name.as_str().into(), loaded.name.as_str().into()));
        if let Some(from) = self.open.iter().position(|(id, ..)| *id == loaded.identity) {
            let members: Vec<(String, Span)> =
                self.open.iter().skip(from).map(|(_, name, span)| (name.clone(), *span)).collect();
            self.all.broken = true;
            self.sink.push(rules::name::cycle::ring("include", &members));
            return;
        }
        if self.seen.contains(&loaded.identity) {
            return;
        }
        if self.open.len() > DEEPEST || self.seen.len() >= MOST_FILES {
            self.lose();
            self.sink.push(rules::syntax::unexpected::include_too_deep(place, DEEPEST, MOST_FILES));
            return;
        }
        self.seen.push(loaded.identity.clone());
        self.read(loaded, stock, Some(place));
    }
}
