//! The statements of a text, for outlines and searches; the kind of each name, for colour.

use super::desk::Desk;
use crate::ast::{BlockKind, StatementKind};
use crate::resolve::uses::{Kind, Role, Use};
use crate::source::{SourceFile, Span};

/// A statement with the name that it declares.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Symbol {
    /// Its name, or the first line of the statement.
    pub name: String,
    /// What kind of statement it is.
    pub kind: &'static str,
    /// The whole statement.
    pub whole: Span,
    /// The name alone, or the first word.
    pub at: Span,
}

/// The statements of a text, in order; without a text those of the whole display.
#[must_use]
pub fn symbols(desk: &Desk, file: Option<&SourceFile>) -> Vec<Symbol> {
    let Some(compiled) = desk.compiled() else {
        return Vec::new();
    };
    let within = file.map_or(Span::new(0, u32::MAX), SourceFile::span);
    let own = |span: Span| (within.start..=within.end).contains(&span.start);
    let statements = compiled.ast.statements.iter().filter(|one| own(one.span));
    statements
        .map(|statement| {
            let text = compiled.sources.text(statement.span);
            let first = text.split(|c: char| !c.is_alphanumeric()).next().unwrap_or("");
            let start = statement.span.start;
            let word = Span::new(start, start + first.len() as u32);
            let (kind, at, name) = match &statement.kind {
                StatementKind::Block(block) => {
                    let members = block.members.as_ref().map(|one| one.span);
                    let at = block.name.span;
                    let whole = members.map_or(at, |members| at.to(members));
                    (block.kind.word(), at, compiled.sources.text(whole))
                }
                StatementKind::Let(one) => {
                    ("let", one.name.span, compiled.sources.text(one.name.span))
                }
                StatementKind::Wire(wire) => {
                    let target = wire.target.span;
                    ("wire", target, compiled.sources.text(target))
                }
                StatementKind::Include(include) => {
                    let path = include.path.span;
                    let kind = if include.stock { "stock" } else { "include" };
                    (kind, path, compiled.sources.text(path))
                }
                StatementKind::Reserve(_) => ("reserve", word, text),
                StatementKind::Stored(_) => ("stored", word, text),
                StatementKind::Renamed(_) => ("renamed", word, text),
                StatementKind::Power(_) => ("power", word, text),
                StatementKind::Inject(_) => ("inject", word, text),
            };
            let mut name = name.lines().next().unwrap_or("").to_owned();
            if name.is_empty() {
                name = kind.to_owned();
            }
            Symbol { name, kind, whole: statement.span, at: if at.is_empty() { word } else { at } }
        })
        .collect()
}

/// First and last line, from 0, of each statement of a text that spans several lines.
#[must_use]
pub fn folds(desk: &Desk, file: &SourceFile) -> Vec<(u32, u32)> {
    let line = |at: u32| file.lines.line(at.saturating_sub(file.base)) as u32;
    let all = symbols(desk, Some(file)).into_iter();
    all.map(|one| (line(one.whole.start), line(one.whole.end)))
        .filter(|(first, last)| first < last)
        .collect()
}

/// The types of the editor protocol that stand for kinds of names.
pub const TOKEN_TYPES: [&str; 10] = [
    "class",
    "struct",
    "interface",
    "enum",
    "type",
    "event",
    "namespace",
    "variable",
    "property",
    "enumMember",
];

/// Which of [`TOKEN_TYPES`] a kind of name is.
#[must_use]
pub fn token_type(kind: Kind) -> usize {
    match kind {
        Kind::Of(BlockKind::Prop) => 0,
        Kind::Of(BlockKind::Node) => 1,
        Kind::Of(BlockKind::Controller) => 2,
        Kind::Of(BlockKind::Receiver) => 3,
        Kind::Of(BlockKind::Chip) => 4,
        Kind::Of(BlockKind::Supply) => 5,
        Kind::Of(BlockKind::Circuit | BlockKind::Display) => 6,
        Kind::Let => 7,
        Kind::String(_) => 8,
        Kind::Run(_) => 9,
    }
}

/// The names of a text in order, each with its index in [`TOKEN_TYPES`] and whether it declares.
#[must_use]
pub fn tokens(desk: &Desk, file: &SourceFile) -> Vec<(Span, usize, bool)> {
    let within = file.span();
    let own = |one: &&Use| (within.start..=within.end).contains(&one.at.start);
    let mut all: Vec<(Span, usize, bool)> = (desk.uses().names.iter().filter(own))
        .map(|one| (one.at, token_type(one.kind), one.role == Role::Declares))
        .collect();
    all.dedup_by_key(|(at, ..)| *at);
    all
}
