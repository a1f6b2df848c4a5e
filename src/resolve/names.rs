//! The names of a display: a table for each kind of declaration, the names that text which did not
//! parse may declare, and the counters of some limits.

use crate::ast::{Block, BlockKind, Ident, StatementKind, Written};
use crate::diagnostic::Sink;
use crate::model::most_ports;
use crate::rules;
use crate::source::{SourceMap, Span, quoted};
use foldhash::fast::RandomState;
use std::borrow::Cow;
use std::cell::Cell;
use std::collections::hash_map::Entry;
use std::collections::{HashMap, HashSet};
use unicode_normalization::{UnicodeNormalization, is_nfc};

/// A declaration.
#[derive(Debug)]
pub struct Decl<'a> {
    /// The name as compared (NFC).
    pub name: Cow<'a, str>,
    /// Its statement.
    pub block: &'a Block,
    /// Whether it is from a `stock` file.
    pub stock: bool,
    /// Whether anything names it.
    pub used: Cell<bool>,
}

/// All declarations of one kind.
#[derive(Debug)]
pub struct NameTable<'a> {
    /// Which kind.
    pub kind: BlockKind,
    by_name: HashMap<Cow<'a, str>, u32, RandomState>,
    /// In file order.
    pub rows: Vec<Decl<'a>>,
}

impl<'a> NameTable<'a> {
    /// An empty table with room for a number of rows.
    fn with_room(kind: BlockKind, rows: usize) -> Self {
        Self {
            kind,
            by_name: HashMap::with_capacity_and_hasher(rows, RandomState::default()),
            rows: Vec::with_capacity(rows),
        }
    }

    /// The index of a name.
    #[must_use]
    #[inline]
    pub fn get(&self, name: &str) -> Option<u32> {
        self.by_name.get(name).copied()
    }

    /// All names, in file order.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.rows.iter().map(|row| row.name.as_ref())
    }

    /// The index of a name, which it marks as used.
    #[must_use]
    #[inline]
    pub fn use_name(&self, name: &str) -> Option<u32> {
        let index = self.get(name)?;
        self.use_row(index);
        Some(index)
    }

    /// Marks the declaration at an index as used.
    pub fn use_row(&self, index: u32) {
        if let Some(row) = self.row(index) {
            row.used.set(true);
        }
    }

    /// The declaration at an index.
    #[must_use]
    pub fn row(&self, index: u32) -> Option<&Decl<'a>> {
        self.rows.get(index as usize)
    }
}

/// The names of a display.
#[derive(Debug)]
pub struct Names<'a> {
    sources: &'a SourceMap,
    mentioned: HashSet<Cow<'a, str>, RandomState>,
    unnamed: Vec<BlockKind>,
    /// Whether an included text could not be read, so that any name may be declared in it.
    lost: bool,
    /// Chips declared here.
    pub chips: NameTable<'a>,
    /// Makes of node.
    pub nodes: NameTable<'a>,
    /// Controllers.
    pub controllers: NameTable<'a>,
    /// Receivers.
    pub receivers: NameTable<'a>,
    /// Props and families.
    pub props: NameTable<'a>,
    /// Supplies.
    pub supplies: NameTable<'a>,
    /// Mains circuits.
    pub circuits: NameTable<'a>,
    /// `display` statements.
    pub displays: Vec<&'a Block>,
    /// `prop NAME[N] { }` statements.
    pub overrides: Vec<&'a Block>,
    /// How many strings references have picked so far.
    picked: Cell<u64>,
    /// How many points of injection were read so far.
    points: Cell<u32>,
    /// How many ports were declared so far.
    ports: Cell<usize>,
    ports_refused: Cell<bool>,
    most_ports: usize,
    /// How many names were compared with unknown ones so far.
    compared: Cell<usize>,
}

/// The most strings that all references of a display may pick together: five times the most strings
/// of a display.
const MOST_PICKED: u64 = 2_000_000;

/// The most points at which power may be injected.
const MOST_POINTS: u32 = 200_000;

/// The most names that are compared with unknown ones. After that, an unknown name is reported
/// without similar names.
const MOST_COMPARED: usize = 1_000_000;

impl<'a> Names<'a> {
    /// Reads every declaration of a display; reports names that are declared twice.
    pub fn read(ast: &'a Written, sources: &'a SourceMap, sink: &mut Sink) -> Self {
        let props = ast.statements.iter().filter(|statement| {
            matches!(&statement.kind, StatementKind::Block(block) if block.kind == BlockKind::Prop)
        });
        let mut names = Self {
            sources,
            mentioned: HashSet::default(),
            unnamed: Vec::new(),
            lost: ast.lost,
            chips: NameTable::with_room(BlockKind::Chip, 0),
            nodes: NameTable::with_room(BlockKind::Node, 0),
            controllers: NameTable::with_room(BlockKind::Controller, 0),
            receivers: NameTable::with_room(BlockKind::Receiver, 0),
            props: NameTable::with_room(BlockKind::Prop, props.count()),
            supplies: NameTable::with_room(BlockKind::Supply, 0),
            circuits: NameTable::with_room(BlockKind::Circuit, 0),
            displays: Vec::new(),
            overrides: Vec::new(),
            picked: Cell::new(0),
            points: Cell::new(0),
            ports: Cell::new(0),
            ports_refused: Cell::new(false),
            most_ports: most_ports(sources.bytes()),
            compared: Cell::new(0),
        };
        for kind in &ast.unnamed {
            if !names.unnamed.contains(kind) {
                names.unnamed.push(*kind);
            }
        }
        names.mentioned = ast.mentioned.iter().map(|word| names.key(*word)).collect();
        for statement in &ast.statements {
            if let StatementKind::Block(block) = &statement.kind {
                names.declare(block, statement.stock, sink);
            }
        }
        names.tell_alike(sink);
        // A family that only overrides name is reported at the first of them, unless text that did
        // not parse may declare it.
        for block in std::mem::take(&mut names.overrides) {
            let key = names.key(block.name);
            let lost = names.is_mentioned(&key) || names.has_unnamed(BlockKind::Prop.word());
            if names.props.get(&key).is_none() {
                names.mentioned.insert(key);
                if lost {
                    continue;
                }
            }
            names.overrides.push(block);
        }
        names
    }

    fn declare(&mut self, block: &'a Block, stock: bool, sink: &mut Sink) {
        let name = self.key(block.name);
        let table = match block.kind {
            BlockKind::Display => {
                if let Some(first) = self.displays.first() {
                    sink.push(rules::name::taken::second_display(block.name.span, first.name.span));
                }
                self.displays.push(block);
                return;
            }
            BlockKind::Prop if block.members.is_some() => {
                self.overrides.push(block);
                return;
            }
            BlockKind::Chip => &mut self.chips,
            BlockKind::Node => &mut self.nodes,
            BlockKind::Controller => &mut self.controllers,
            BlockKind::Receiver => &mut self.receivers,
            BlockKind::Prop => &mut self.props,
            BlockKind::Supply => &mut self.supplies,
            BlockKind::Circuit => &mut self.circuits,
        };
        match table.by_name.entry(name.clone()) {
            Entry::Vacant(place) => {
                place.insert(u32::try_from(table.rows.len()).unwrap_or(u32::MAX));
            }
            Entry::Occupied(place) => {
                if let Some(first) = table.rows.get(*place.get() as usize) {
                    let word = block.kind.word();
                    let (at, first) = (block.name.span, first.block.name.span);
                    sink.push(rules::name::taken::again(word, &name, at, first));
                }
                return;
            }
        }
        table.rows.push(Decl { name, block, stock, used: Cell::new(false) });
    }

    /// Reports names that look alike. At least one of two such names differs from its plain form
    /// (see `looks`), so names that do not are skipped.
    fn tell_alike(&self, sink: &mut Sink) {
        for table in [
            &self.props,
            &self.controllers,
            &self.receivers,
            &self.nodes,
            &self.supplies,
            &self.circuits,
        ] {
            let mut seen: HashMap<String, u32> = HashMap::new();
            for (index, row) in (0_u32..).zip(&table.rows) {
                let Some(looks) = rules::name::alike::looks(&row.name) else {
                    continue;
                };
                let other = table.get(&looks).or_else(|| seen.get(&looks).copied());
                let Some(other) = other else {
                    seen.insert(looks, index);
                    continue;
                };
                let (first, second) = (index.min(other), index.max(other));
                if let (Some(one), Some(two)) = (table.row(first), table.row(second)) {
                    let at = |row: &Decl<'a>| row.block.name.span;
                    sink.push(rules::name::alike::second(
                        table.kind.word(),
                        &two.name,
                        at(two),
                        &one.name,
                        at(one),
                    ));
                }
            }
        }
    }

    /// Whether the display is being edited.
    #[must_use]
    pub fn is_edited(&self) -> bool {
        self.sources.is_edited()
    }

    /// The text of a word as written.
    #[must_use]
    #[inline]
    pub fn text(&self, word: Ident) -> &'a str {
        self.sources.text(word.span)
    }

    /// A text in quotes, with its escapes undone.
    #[must_use]
    pub fn said(&self, text: Ident) -> Cow<'a, str> {
        quoted::said(self.text(text))
    }

    /// The text of a place.
    #[must_use]
    #[inline]
    pub fn text_at(&self, span: Span) -> &'a str {
        self.sources.text(span)
    }

    /// A word as it is compared: in Unicode's NFC.
    #[must_use]
    #[inline]
    pub fn key(&self, word: Ident) -> Cow<'a, str> {
        let text = self.text(word);
        if text.is_ascii() || is_nfc(text) {
            Cow::Borrowed(text)
        } else {
            Cow::Owned(text.nfc().collect())
        }
    }

    /// Whether a word stands where a statement or setting may begin.
    #[must_use]
    pub fn begins(&self, word: Ident) -> bool {
        let file = self.sources.file_at(word.span.start);
        let before = file.and_then(|file| file.text.get(..(word.span.start - file.base) as usize));
        let before = before.unwrap_or("").trim_end_matches([' ', '\t']);
        before.is_empty() || before.ends_with(['\n', '\r', ';', '{', '}'])
    }

    /// Whether a word occurs in text that did not parse, or may occur in text that could not be
    /// read, so that its meaning is not known.
    #[must_use]
    pub fn is_mentioned(&self, key: &str) -> bool {
        self.lost || self.mentioned.contains(key)
    }

    /// Whether the name of a declaration of a kind can't be read, so that any name may be its.
    #[must_use]
    pub fn has_unnamed(&self, kind: &str) -> bool {
        self.unnamed.iter().any(|unnamed| unnamed.word() == kind)
    }

    /// Whether the name of any declaration can't be read.
    pub fn has_nameless(&self) -> bool {
        !self.unnamed.is_empty()
    }

    /// Marks each chip, make of node, supply and circuit with this name as used.
    pub fn use_anywhere(&self, word: Ident) {
        let key = self.key(word);
        for table in [&self.chips, &self.nodes, &self.supplies, &self.circuits] {
            let _ = table.use_name(&key);
        }
    }

    /// The index of a name in a table; an unknown one is reported, unless text that did not parse
    /// may declare it.
    pub fn find(&self, table: &NameTable<'a>, word: Ident, sink: &mut Sink) -> Option<u32> {
        self.find_other(table, word, None, sink)
    }

    /// As [`Self::find`], for a declaration `own` that names another, so that `own` is not offered.
    pub fn find_other(
        &self,
        table: &NameTable<'a>,
        word: Ident,
        own: Option<&str>,
        sink: &mut Sink,
    ) -> Option<u32> {
        let (key, kind) = (self.key(word), table.kind.word());
        let found = table.use_name(&key);
        if found.is_none() && !self.is_mentioned(&key) && !self.has_unnamed(kind) {
            let known = self.held(table).filter(|name| Some(*name) != own);
            let other = self.kind_of(&key);
            sink.push(rules::name::unknown::name(word.span, kind, &key, known, other));
        }
        found
    }

    /// The names of a table to compare with an unknown one: all, or none after [`MOST_COMPARED`].
    pub fn held<'t>(&self, table: &'t NameTable<'a>) -> impl Iterator<Item = &'t str> {
        let most = if self.may_compare(table.rows.len()) { usize::MAX } else { 0 };
        table.names().take(most)
    }

    /// Counts names compared with an unknown one. False beyond the limit, so that a text with many
    /// unknown names does not take minutes.
    pub fn may_compare(&self, names: usize) -> bool {
        let compared = self.compared.get().saturating_add(names);
        self.compared.set(compared);
        compared <= MOST_COMPARED
    }

    /// Counts strings that a reference picks. False beyond the limit; the first time is reported.
    pub fn may_pick(&self, strings: u64, at: Span, sink: &mut Sink) -> bool {
        let before = self.picked.get();
        let picked = before.saturating_add(strings);
        self.picked.set(picked);
        if before <= MOST_PICKED && picked > MOST_PICKED {
            sink.push(rules::size::too_much::picked(at, MOST_PICKED));
        }
        picked <= MOST_PICKED
    }

    /// Counts strings that references pick. False beyond the limit; they are then not counted.
    pub fn add_picked(&self, strings: usize) -> bool {
        let all = self.picked.get().saturating_add(strings as u64);
        let fits = all <= MOST_PICKED;
        if fits {
            self.picked.set(all);
        }
        fits
    }

    /// Whether references picked too many strings, so that it is not known what no wire names.
    pub fn picked_too_many(&self) -> bool {
        self.picked.get() > MOST_PICKED
    }

    /// Counts points of injection. False beyond the limit; the first time is reported.
    pub fn may_inject(&self, points: u32, at: Span, sink: &mut Sink) -> bool {
        let before = self.points.get();
        let all = before.saturating_add(points);
        self.points.set(all);
        if before <= MOST_POINTS && all > MOST_POINTS {
            sink.push(rules::size::too_much::points(at, MOST_POINTS));
        }
        all <= MOST_POINTS
    }

    /// How many ports were declared so far.
    pub fn ports(&self) -> usize {
        self.ports.get()
    }

    /// Counts declared ports. False beyond the limit; they are then not counted.
    pub fn add_ports(&self, ports: usize) -> bool {
        let all = self.ports.get().saturating_add(ports);
        let fits = all <= self.most_ports;
        if fits {
            self.ports.set(all);
        }
        fits
    }

    /// Counts ports that are declared or taken over. False beyond the limit; they are then not
    /// counted, and the first time is reported.
    pub fn may_have_ports(&self, ports: usize, at: Span, sink: &mut Sink) -> bool {
        let fits = self.add_ports(ports);
        if !fits && !self.ports_refused.replace(true) {
            sink.push(rules::size::too_much::ports(at, self.most_ports));
        }
        ports == 0 || fits
    }

    /// The kind of a declaration with this name.
    #[must_use]
    pub fn kind_of(&self, key: &str) -> Option<&'static str> {
        [
            &self.props,
            &self.controllers,
            &self.receivers,
            &self.nodes,
            &self.chips,
            &self.supplies,
            &self.circuits,
        ]
        .into_iter()
        .find_map(|table| table.get(key).map(|_| table.kind.word()))
    }
}
