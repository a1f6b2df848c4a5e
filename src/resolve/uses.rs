//! For editors: where each name is declared and used, and the values of arithmetic.

use super::arithmetic::Lets;
use super::matching::{Reader, Value};
use super::names::Names;
use super::settings::{Key, Scope, Slot, rows};
use crate::ast::{
    Arg, Block, BlockKind, Body, Chain, Expr, Feed, Ident, Item, Let, Part, PinKind, Quantity,
    Reference, ReserveKind, Run, RunKind, SelRange, Selector, Setting, Statement, StatementKind,
    Where, Written,
};
use crate::diagnostic::Sink;
use crate::model::{Model, StringId};
use crate::source::{SourceMap, Span};
use crate::unit::Decimal;

/// The kind of thing that a name stands for.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Kind {
    /// Something that a block declares.
    Of(BlockKind),
    /// A named number.
    Let,
    /// A string of a prop, with the offset of the first setting that declares it.
    String(u32),
    /// A run of a string, with its offset.
    Run(u32),
}

impl Kind {
    /// What it is called.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Of(kind) => kind.word(),
            Self::Let => "let",
            Self::String(_) => "string",
            Self::Run(_) => "run",
        }
    }
}

/// What a name does where it stands.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Role {
    /// It declares the thing.
    Declares,
    /// It overrides members of a family that is declared elsewhere.
    Overrides,
    /// It refers to the thing.
    Names,
}

/// A place where a name stands.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Use {
    /// The name alone.
    pub at: Span,
    /// What it stands for.
    pub kind: Kind,
    /// The name as it is compared (NFC).
    pub key: Box<str>,
    /// What it does there.
    pub role: Role,
}

impl Use {
    /// Whether both stand for the same thing.
    #[must_use]
    pub fn is_same(&self, other: &Self) -> bool {
        self.kind == other.kind && self.key == other.key
    }
}

/// The names of a display and its arithmetic, both in file order.
#[derive(Debug, Default)]
pub struct Uses {
    /// Every place of a name whose meaning is known.
    pub names: Vec<Use>,
    /// The places of arithmetic, with its values.
    pub values: Vec<(Span, Decimal)>,
    /// Whole numbers as written, where the name of a `let` may stand as well.
    pub numbers: Vec<Span>,
}

impl Uses {
    /// The name that an offset touches.
    #[must_use]
    pub fn at(&self, offset: u32) -> Option<&Use> {
        let after = self.names.partition_point(|one| one.at.start <= offset);
        let before = self.names.get(..after)?.iter().rev().take(2);
        before.into_iter().find(|one| offset <= one.at.end)
    }
}

/// Finds the names in those statements of a display that begin within a stretch.
#[must_use]
pub fn uses(ast: &Written, sources: &SourceMap, model: &Model, within: Span) -> Uses {
    let mut scratch = Sink::default();
    let names = Names::read(ast, sources, &mut scratch);
    let all = ast.statements.iter().filter_map(|one| match &one.kind {
        StatementKind::Let(one) => Some(one),
        _ => None,
    });
    let lets = Lets::read(&names, all, &mut scratch);
    let mut walk = Walk {
        reader: Reader { names: &names, lets: &lets },
        model,
        scratch,
        found: Uses::default(),
        strings: Vec::new(),
    };
    let inside = |one: &&Statement| (within.start..within.end).contains(&one.span.start);
    for statement in ast.statements.iter().filter(inside) {
        walk.statement(statement);
    }
    walk.join_strings();
    let mut found = walk.found;
    found.names.sort_by_key(|one| (one.at.start, one.kind));
    found.values.sort_by_key(|(at, _)| at.start);
    found
}

struct Walk<'w, 'a> {
    reader: Reader<'w, 'a>,
    model: &'w Model,
    scratch: Sink,
    found: Uses,
    /// Names of strings, each with the offsets of the settings that declare it.
    strings: Vec<(Ident, Role, Vec<u32>)>,
}

impl<'a> Walk<'_, 'a> {
    fn add(&mut self, word: Ident, kind: Kind, role: Role) {
        if word.span.is_empty() {
            return;
        }
        let key = self.reader.names.key(word).into();
        let at = word.span;
        self.found.names.push(Use { at, kind, key, role });
    }

    fn names(&mut self, word: Ident, kind: BlockKind) {
        self.add(word, Kind::Of(kind), Role::Names);
    }

    fn statement(&mut self, statement: &'a Statement) {
        match &statement.kind {
            StatementKind::Block(block) => self.block(block),
            StatementKind::Wire(wire) => {
                self.ports(&wire.target);
                wire.chains.iter().for_each(|chain| self.chain(chain));
            }
            StatementKind::Reserve(one) => match &one.what {
                ReserveKind::Universes(range) => self.range(range),
                ReserveKind::Port(port) => self.ports(port),
                ReserveKind::Slots(port, range) => {
                    self.ports(port);
                    self.range(range);
                }
            },
            StatementKind::Stored(all) => all.iter().for_each(|one| self.strings(one)),
            StatementKind::Renamed(one) => {
                let key = self.reader.names.key(one.new.name);
                match self.reader.names.props.get(&key) {
                    Some(_) => self.strings(&one.new),
                    None => self.ports(&one.new),
                }
            }
            StatementKind::Power(one) => {
                self.ports(&one.target);
                self.feed(&one.feed);
            }
            StatementKind::Inject(one) => {
                self.strings(&one.target);
                match &one.place.1 {
                    Where::Start | Where::End => {}
                    Where::Node(n) | Where::EveryNodes(n) | Where::EveryStrands(n) => self.sum(n),
                }
                self.feed(&one.feed);
            }
            StatementKind::Include(_) => {}
            StatementKind::Let(Let { name, value }) => {
                self.add(*name, Kind::Let, Role::Declares);
                self.quantity(value);
            }
        }
    }

    fn block(&mut self, block: &'a Block) {
        let kind = Kind::Of(block.kind);
        if block.kind != BlockKind::Display {
            let role = match block.members {
                Some(_) => Role::Overrides,
                None => Role::Declares,
            };
            self.add(block.name, kind, role);
        }
        if let Some(count) = &block.count {
            self.sum(count);
        }
        if let Some(members) = &block.members {
            self.selector(members);
        }
        if let Some(like) = block.like {
            self.add(like, kind, Role::Names);
        }
        for setting in &block.settings {
            self.setting(Scope::Of(block.kind), setting);
        }
    }

    fn setting(&mut self, scope: Scope, setting: &'a Setting) {
        if let Some(matched) = self.reader.read(scope, setting, &mut self.scratch) {
            match (matched.key, matched.value(0)) {
                (Key::Chip, Some(Value::Word(word))) => self.names(word, BlockKind::Chip),
                (Key::Node, Some(Value::Word(word))) => self.names(word, BlockKind::Node),
                (Key::On, Some(Value::Word(word))) => self.names(word, BlockKind::Circuit),
                (Key::UniversesAfter, Some(Value::Word(word))) => {
                    self.names(word, BlockKind::Controller);
                }
                (Key::SameAs, Some(Value::Word(word))) => self.names(word, BlockKind::Prop),
                (Key::Carries, Some(Value::Word(word))) => self.names(word, BlockKind::Controller),
                (Key::SameAs, Some(Value::Reference(one))) => self.strings(one),
                (Key::Carries, Some(Value::Reference(one))) => self.ports(one),
                (Key::Chips, Some(Value::Args(all))) => {
                    for arg in all {
                        if let Arg::Word(word) = arg {
                            self.names(*word, BlockKind::Chip);
                        }
                    }
                }
                (Key::StringRuns, Some(Value::Word(word))) => {
                    let own = vec![setting.span.start];
                    self.strings.push((word, Role::Declares, own));
                }
                _ => self.lone_lets(scope, setting),
            }
        }
        for arg in &setting.args {
            match arg {
                Arg::Number(quantity) => self.quantity(quantity),
                Arg::Range(range) => self.range(range),
                Arg::Word(_) | Arg::Text(_) | Arg::Address(_) | Arg::Comma(_) => {}
                Arg::Reference(_) => {}
            }
        }
        match &setting.body {
            Body::None => {}
            Body::Runs(runs) => runs.iter().for_each(|run| self.run(run)),
            Body::Block(settings, _) => {
                for setting in settings {
                    self.setting(Scope::Ports, setting);
                }
            }
        }
    }

    /// The names of `let` that are words in the place of a number.
    fn lone_lets(&mut self, scope: Scope, setting: &Setting) {
        let first = self.reader.names.text(setting.key);
        let is_word = |text: &str| {
            let mut slots =
                rows(scope).iter().filter(|row| row.first == first).flat_map(|row| row.slots);
            slots.any(|slot| match slot {
                Slot::Word(word) => *word == text,
                Slot::Name | Slot::Host | Slot::Choice(_) | Slot::Words => true,
                _ => false,
            })
        };
        for arg in &setting.args {
            if let Arg::Word(word) = arg
                && !is_word(self.reader.names.text(*word))
            {
                self.sum(&Expr::Name(*word));
            }
        }
    }

    fn run(&mut self, run: &Run) {
        match &run.kind {
            RunKind::Nodes(name, nodes) => {
                if let Some(name) = name {
                    self.add(*name, Kind::Run(name.span.start), Role::Declares);
                }
                self.quantity(nodes);
            }
            RunKind::Skip(quantity) => self.quantity(quantity),
            RunKind::Lead(length, gauge) => {
                self.quantity(length);
                gauge.iter().for_each(|gauge| self.quantity(gauge));
            }
        }
    }

    fn chain(&mut self, chain: &Chain) {
        for item in &chain.items {
            match item {
                Item::Reference(reference, by, pin) => {
                    self.strings(reference);
                    by.iter().for_each(|by| self.sum(by));
                    match pin.as_ref().map(|pin| &pin.kind) {
                        None => {}
                        Some(PinKind::UniverseSlot(universe, slot)) => {
                            self.sum(universe);
                            self.sum(slot);
                        }
                        Some(PinKind::Channel(one) | PinKind::Slot(one)) => self.sum(one),
                    }
                }
                Item::Skip(_, quantity) => self.quantity(quantity),
                Item::Lead(_, length, gauge) => {
                    self.quantity(length);
                    gauge.iter().for_each(|gauge| self.quantity(gauge));
                }
            }
        }
    }

    fn feed(&mut self, feed: &Feed) {
        self.names(feed.supply, BlockKind::Supply);
        self.quantity(&feed.length);
        self.quantity(&feed.gauge);
        feed.fuse.iter().for_each(|fuse| self.quantity(fuse));
    }

    /// A reference to a controller's or receiver's ports.
    fn ports(&mut self, reference: &Reference) {
        let names = self.reader.names;
        let key = names.key(reference.name);
        let kind = match (names.controllers.get(&key), names.receivers.get(&key)) {
            (Some(_), _) => BlockKind::Controller,
            (None, Some(_)) => BlockKind::Receiver,
            (None, None) => return,
        };
        self.names(reference.name, kind);
        self.part(reference);
    }

    /// A reference to strings.
    fn strings(&mut self, reference: &Reference) {
        self.names(reference.name, BlockKind::Prop);
        if let Some(members) = &reference.members {
            self.selector(members);
        }
        match &reference.part {
            None | Some(Part::Number(_)) => self.part(reference),
            Some(Part::Name(word)) => {
                let declared = self.declared(reference, *word);
                if !declared.is_empty() {
                    self.strings.push((*word, Role::Names, declared));
                }
            }
        }
    }

    /// What stands after the `.` of a reference; the name of a `let` cannot replace a number there.
    fn part(&mut self, reference: &Reference) {
        if let Some(Part::Number(range)) = &reference.part {
            let numbers = self.found.numbers.len();
            self.range(range);
            self.found.numbers.truncate(numbers);
        }
    }

    /// The offsets of the settings that declare the string `roof.eaves`.
    fn declared(&self, reference: &Reference, word: Ident) -> Vec<u32> {
        let names = self.reader.names;
        let index = names.props.get(&names.key(reference.name));
        let Some(prop) = index.and_then(|index| self.model.props.as_slice().get(index as usize))
        else {
            return Vec::new();
        };
        let key = names.key(word);
        let shapes = prop.strings().filter_map(|id| self.model.shape_of(StringId(id)));
        let named = shapes.filter(|shape| shape.name.as_deref() == Some(&*key));
        let mut places: Vec<u32> = named.map(|shape| shape.at.start).collect();
        places.sort_unstable();
        places.dedup();
        places
    }

    /// Adds the names of strings. All settings that some name has in common are one thing, known by
    /// the first of them.
    fn join_strings(&mut self) {
        let strings = std::mem::take(&mut self.strings);
        let mut first_of: std::collections::BTreeMap<u32, u32> = std::collections::BTreeMap::new();
        let root = |firsts: &std::collections::BTreeMap<u32, u32>, mut at: u32| {
            while let Some(up) = firsts.get(&at).filter(|up| **up != at) {
                at = *up;
            }
            at
        };
        for (_, _, places) in &strings {
            let roots: Vec<u32> = places.iter().map(|at| root(&first_of, *at)).collect();
            let least = roots.iter().min().copied().unwrap_or(0);
            for at in roots {
                first_of.insert(at, least);
            }
        }
        for (word, role, places) in strings {
            if let Some(at) = places.first() {
                self.add(word, Kind::String(root(&first_of, *at)), role);
            }
        }
    }

    fn quantity(&mut self, quantity: &Quantity) {
        self.sum(&quantity.value);
    }

    fn selector(&mut self, selector: &Selector) {
        selector.parts.iter().for_each(|range| self.range(range));
    }

    fn range(&mut self, range: &SelRange) {
        self.sum(&range.from);
        range.to.iter().for_each(|to| self.sum(to));
    }

    /// Notes the numbers and names in an expression, and its value unless it is a plain number.
    fn sum(&mut self, expr: &Expr) {
        if !matches!(expr, Expr::Number(..) | Expr::Broken(_)) {
            let names = self.reader.names;
            let mut scratch = Sink::default();
            if let Some(value) = self.reader.lets.eval(names, expr, &mut scratch) {
                self.found.values.push((expr.span(), value));
            }
        }
        let mut left = vec![expr];
        while let Some(expr) = left.pop() {
            match expr {
                Expr::Number(at, _, 0) => self.found.numbers.push(*at),
                Expr::Number(..) | Expr::Broken(_) => {}
                Expr::Name(name) => {
                    if self.reader.lets.has(&self.reader.names.key(*name)) {
                        self.add(*name, Kind::Let, Role::Names);
                    }
                }
                Expr::Negate(_, inner) => left.push(inner),
                Expr::Binary(binary) => left.extend([&binary.right, &binary.left]),
            }
        }
    }
}
