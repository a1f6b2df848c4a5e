//! A display that is being edited: its texts, and what was last compiled from them.
//!
//! Each text keeps its own range of offsets while it grows ([`SourceMap::after`]). So the next
//! compile uses the statements of unchanged texts again, and with them what `resolve` made of their
//! controllers, props and wires. Everything else after the syntax stage is done anew.

use crate::ast::{Ast, BlockKind, Ident, Statement};
use crate::diagnostic::{Diagnostic, Edit, Severity, Sink};
use crate::lock::Relay;
use crate::lockfile::{self, LockText};
use crate::model::Model;
use crate::plan::Plan;
use crate::resolve::uses::{self, Uses};
use crate::source::{Files, Loaded, SourceFile, SourceMap, Span};
use crate::{Compiled, Reading, compile_read, syntax};
use std::cell::{OnceCell, RefCell};
use std::collections::BTreeMap;
use std::sync::Arc;

use super::hints::{self, Hint};
use super::trial::{Edited, Given, Noting, bare};

/// What the syntax stage made of one text.
struct Parsed {
    text: Arc<str>,
    broken: bool,
    mentioned: Vec<Ident>,
    unnamed: Vec<BlockKind>,
    findings: Vec<Diagnostic>,
    /// Whether this compile has read it.
    read: bool,
    /// Its statements, while no compile holds them.
    statements: Vec<Statement>,
}

/// A text and its hints.
type Hinted = (Arc<str>, Vec<Hint>);

/// A display that is being edited.
#[derive(Default)]
pub struct Desk {
    compiled: Option<Compiled>,
    pub(super) given: Given,
    /// The copy in which changes are tried.
    trials: RefCell<Option<Box<Desk>>>,
    /// What is known of each text, by its first offset.
    parsed: RefCell<BTreeMap<u32, Parsed>>,
    /// The lock as it was last read, and the first offset of its text.
    lock: RefCell<Option<(u32, LockText)>>,
    uses: OnceCell<Uses>,
    /// By the name of a text: its hints in the last compile that had addresses, with its text then.
    hints: RefCell<BTreeMap<String, Hinted>>,
}

impl Desk {
    /// Compiles the display as its texts are now.
    pub fn compile(&mut self, files: &dyn Files, main: Loaded, lock: Option<Loaded>) -> &Compiled {
        // What the last compile made is freed after this one. If it were freed before, its memory
        // would go back to the system, and this compile would have to ask for it again.
        let (sources, last) = self.take_back();
        self.given = Given { main: Some(bare(&main)), lock: lock.clone(), loads: BTreeMap::new() };
        let files = Noting { files, loads: RefCell::default() };
        let reading = Reading {
            parse: &|file, sink| self.parse(file, sink),
            lock: &|lock, sources, sink| self.read_lock(lock, sources, sink),
            last: last.as_ref().map(|(model, _)| model),
            ..Reading::of(&files)
        };
        let sources = SourceMap::after(sources);
        let compiled = compile_read(sources, &reading, main, lock, (&Relay::Nothing, None));
        self.given.loads = files.loads.into_inner();
        // Forget texts that were not read: a lock or a text that is not UTF-8 may now begin there.
        self.parsed.get_mut().retain(|_, one| std::mem::take(&mut one.read));
        self.uses = OnceCell::new();
        self.compiled.insert(compiled)
    }

    /// Moves the statements of the last compile back to `parsed`; returns what else it made.
    fn take_back(&mut self) -> (SourceMap, Option<(Model, Plan)>) {
        let Some(compiled) = self.compiled.take() else {
            return (SourceMap::default(), None);
        };
        let base = compiled.sources.files().last().map_or(0, |file| file.base);
        *self.lock.get_mut() = compiled.lock.map(|lock| (base, lock));
        let parsed = self.parsed.get_mut();
        for one in parsed.values_mut() {
            one.statements.clear();
        }
        for mut part in compiled.ast.statements.parts {
            let file = part.first().and_then(|one| compiled.sources.file_at(one.span.start));
            let Some(kept) = file.and_then(|file| parsed.get_mut(&file.base)) else {
                continue;
            };
            part.iter_mut().for_each(|one| one.stock = false);
            match kept.statements.is_empty() {
                true => kept.statements = part,
                false => kept.statements.append(&mut part),
            }
        }
        (compiled.sources, Some((compiled.model, compiled.plan)))
    }

    /// Reads the lock, unless it is the one of the last compile.
    fn read_lock(
        &self,
        lock: Loaded,
        sources: &mut SourceMap,
        sink: &mut Sink,
    ) -> Option<LockText> {
        match self.lock.borrow_mut().take() {
            Some((base, kept))
                if base == sources.next_base()
                    && *kept.name == *lock.name
                    && kept.text.as_bytes() == lock.bytes =>
            {
                sources.add_lock(&kept.name, &kept.text)?;
                Some(kept)
            }
            _ => lockfile::read(lock, sources, sink),
        }
    }

    /// The syntax stage, for texts that changed.
    fn parse(&self, file: &SourceFile, sink: &mut Sink) -> Ast {
        let mut parsed = self.parsed.borrow_mut();
        if let Some(kept) = parsed.get_mut(&file.base)
            && (Arc::ptr_eq(&kept.text, &file.text) || kept.text == file.text)
        {
            kept.read = true;
            for finding in &kept.findings {
                sink.push(finding.clone());
            }
            return Ast {
                statements: std::mem::take(&mut kept.statements),
                broken: kept.broken,
                mentioned: kept.mentioned.clone(),
                unnamed: kept.unnamed.clone(),
            };
        }
        let mut own = Sink::default();
        let ast = syntax::parse(file, &mut own);
        let findings = own.finish();
        for finding in &findings {
            sink.push(finding.clone());
        }
        parsed.insert(
            file.base,
            Parsed {
                text: Arc::clone(&file.text),
                broken: ast.broken,
                mentioned: ast.mentioned.clone(),
                unnamed: ast.unnamed.clone(),
                findings,
                read: true,
                statements: Vec::new(),
            },
        );
        ast
    }

    /// The last compile.
    #[must_use]
    pub fn compiled(&self) -> Option<&Compiled> {
        self.compiled.as_ref()
    }

    /// The text with a name.
    #[must_use]
    pub fn file(&self, name: &str) -> Option<&SourceFile> {
        let files = self.compiled.as_ref()?.sources.files();
        files.iter().find(|file| file.name == name)
    }

    /// The file that holds a place.
    #[must_use]
    pub fn file_at(&self, at: u32) -> Option<&SourceFile> {
        self.compiled.as_ref()?.sources.file_at(at)
    }

    /// The text of a stretch.
    #[must_use]
    pub fn text(&self, span: Span) -> &str {
        self.compiled.as_ref().map_or("", |one| one.sources.text(span))
    }

    /// Where each name of the display stands.
    pub fn uses(&self) -> &Uses {
        self.uses.get_or_init(|| match &self.compiled {
            Some(one) => {
                let all = Span::new(0, u32::MAX);
                uses::uses(&one.ast, &one.sources, &one.model, all)
            }
            None => Uses::default(),
        })
    }

    /// The hints of a text: new ones if the display has addresses, else the last ones, marked
    /// `old`.
    pub fn hints(&self, name: &str) -> Vec<Hint> {
        let (Some(compiled), Some(file)) = (&self.compiled, self.file(name)) else {
            return Vec::new();
        };
        let mut kept = self.hints.borrow_mut();
        if !compiled.blocks() {
            let now = hints::of_file(compiled, file);
            kept.insert(name.to_owned(), (Arc::clone(&file.text), now.clone()));
            return now;
        }
        let Some((text, old)) = kept.get(name) else {
            return Vec::new();
        };
        hints::carried(old, text, &file.text)
    }

    /// The findings of each text, by their first label; every text has an entry.
    pub fn findings(&self) -> Vec<(&SourceFile, Vec<&Diagnostic>)> {
        let Some(compiled) = &self.compiled else {
            return Vec::new();
        };
        let mut all: Vec<(&SourceFile, Vec<&Diagnostic>)> =
            (compiled.sources.files().iter()).map(|file| (file, Vec::new())).collect();
        for finding in &compiled.findings {
            let at = finding.span().start;
            let after = all.partition_point(|(file, _)| file.base <= at);
            if let Some((_, own)) = after.checked_sub(1).and_then(|at| all.get_mut(at)) {
                own.push(finding);
            }
        }
        all
    }

    /// Compiles a copy of the display with some edits and reads the result.
    pub fn tried<T>(&self, edits: &[Edit], read: impl FnOnce(&Compiled) -> T) -> Option<T> {
        let files = Edited { desk: self, edits };
        let main = files.filled(self.given.main.as_ref()?);
        let mut trials = self.trials.borrow_mut();
        let trial = trials.get_or_insert_default();
        Some(read(trial.compile(&files, main, self.given.lock.clone())))
    }

    /// How many errors the display has.
    #[must_use]
    pub fn errors(&self) -> usize {
        let count = |one: &Compiled| one.count(Severity::Error);
        self.compiled.as_ref().map_or(0, count)
    }
}
