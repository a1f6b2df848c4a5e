//! Words that may be written at a place, the likeliest first.

use super::desk::Desk;
use super::place::{Place, Within};
use crate::Compiled;
use crate::ast::{BlockKind, StatementKind};
use crate::chip;
use crate::model::{Output, StringId};
use crate::resolve::next::{self, Next};
use crate::resolve::settings::{Scope, rows};
use crate::resolve::uses::{Kind, Role};
use crate::rules;
use crate::source::SourceFile;
use crate::unit::{self, Dimension};
use std::collections::{BTreeMap, BTreeSet};

/// A word that may be written.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Offer {
    /// The word.
    pub word: String,
    /// What it is, in short.
    pub about: String,
    /// The kind of name that it is; `None` for a word of the language.
    pub kind: Option<Kind>,
}

/// Where the word before a byte of a text begins, and the words that may be written there.
#[must_use]
pub fn offers(desk: &Desk, file: &SourceFile, at: usize) -> (usize, Vec<Offer>) {
    let before = file.text.get(..at).unwrap_or("");
    let place = Place::of(before);
    let start = at - place.typed.len();
    let mut all = Offers {
        desk,
        found: Vec::new(),
        words: BTreeSet::new(),
        file,
        at: file.base + u32::try_from(start).unwrap_or(0),
    };
    match &place.within {
        Within::Comment => all.codes(),
        Within::Text => {}
        Within::Code => all.code(&place),
    }
    let lower = place.typed.to_lowercase();
    all.found.retain(|offer| offer.word.to_lowercase().starts_with(&lower));
    (start, all.found)
}

/// Statements, those that displays have most often first.
const STATEMENTS: [&str; 17] = [
    "prop",
    "wire",
    "controller",
    "node",
    "display",
    "receiver",
    "let",
    "power",
    "inject",
    "supply",
    "reserve",
    "stored",
    "include",
    "stock",
    "renamed",
    "chip",
    "circuit",
];

struct Offers<'d> {
    desk: &'d Desk,
    found: Vec<Offer>,
    /// The words of `found`.
    words: BTreeSet<String>,
    file: &'d SourceFile,
    /// Where the word begins.
    at: u32,
}

impl Offers<'_> {
    fn add(&mut self, word: &str, about: impl Into<String>, kind: Option<Kind>) {
        if self.words.insert(word.to_owned()) {
            self.found.push(Offer { word: word.to_owned(), about: about.into(), kind });
        }
    }

    fn codes(&mut self) {
        for rule in rules::ALL {
            self.add(rule.code, rule.title, None);
        }
    }

    fn code(&mut self, place: &Place<'_>) {
        if let Some(owner) = place.part_of {
            return self.parts(owner);
        }
        let is_let = |word: &str| {
            let names = &self.desk.uses().names;
            names.iter().any(|one| one.kind == Kind::Let && *one.key == *word)
        };
        let nexts = match (place.scope(), place.words.as_slice()) {
            (None, []) => {
                STATEMENTS.iter().for_each(|word| self.add(word, "statement", None));
                return;
            }
            (Some(scope), []) => return self.settings(scope, &place.given),
            (None, words) => next::in_statement(words, &is_let),
            (Some(scope), words) => next::in_setting(scope, words, &is_let),
        };
        for next in &nexts {
            self.next(*next, place);
        }
    }

    fn settings(&mut self, scope: Scope, given: &[&str]) {
        let fresh = rows(scope).iter().filter(|row| {
            row.first != "color" && (row.key.once().is_none() || !given.contains(&row.first))
        });
        let mut fresh: Vec<_> = fresh.collect();
        // Settings that few blocks have come last.
        fresh.sort_by_key(|row| {
            usize::from(matches!(
                row.first,
                "label" | "floor" | "idle" | "prefer" | "split" | "same" | "loads"
            ))
        });
        for row in fresh {
            self.add(row.first, row.example, None);
        }
    }

    fn next(&mut self, next: Next, place: &Place<'_>) {
        match next {
            Next::Word(word) => self.add(word, "", None),
            Next::Name(kind) => self.names(kind, place),
            Next::Ports => {
                let first = place.words.first().copied();
                self.outlets(first);
            }
            Next::Strings => match place.words.first().copied() {
                Some("renamed") | Some("prop") => self.names(BlockKind::Prop, place),
                first => self.props(first == Some("wire")),
            },
            Next::Number => self.lets(),
            Next::Unit(dimension) => self.units(dimension),
            Next::GaugeUnit => {
                self.units(Dimension::WireNumber);
                self.units(Dimension::WireArea);
            }
        }
    }

    fn units(&mut self, dimension: Dimension) {
        for unit in unit::UNITS.iter().filter(|unit| unit.dimension == dimension) {
            self.add(unit.name, "unit", None);
        }
    }

    fn lets(&mut self) {
        let desk = self.desk;
        for one in &desk.uses().names {
            if one.kind == Kind::Let && one.role == Role::Declares {
                self.add(&one.key, "named number", Some(Kind::Let));
            }
        }
    }

    /// The names of a kind, those used most first.
    fn names(&mut self, kind: BlockKind, place: &Place<'_>) {
        let desk = self.desk;
        let mut counts: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
        let own = |one: &&crate::resolve::uses::Use| one.kind == Kind::Of(kind);
        for (order, one) in desk.uses().names.iter().filter(own).enumerate() {
            if one.at.start == self.at {
                continue;
            }
            counts.entry(&one.key).or_insert((0, order)).0 += 1;
        }
        let mut sorted: Vec<(&str, (usize, usize))> = counts.into_iter().collect();
        sorted.sort_by_key(|(_, (count, order))| (std::cmp::Reverse(*count), *order));
        for (name, (count, _)) in sorted {
            if place.words.get(1).is_none_or(|own| *own != name) {
                self.add(
                    name,
                    format!("{}, named {}", kind.word(), unit::counted(count, "time")),
                    Some(Kind::Of(kind)),
                );
            }
        }
        if kind == BlockKind::Chip {
            for chip in chip::KNOWN {
                self.add(chip.name, "known chip", Some(Kind::Of(BlockKind::Chip)));
            }
        }
    }

    /// Controllers and receivers, with how many ports are free or how many there are.
    fn outlets(&mut self, first: Option<&str>) {
        let Some(compiled) = self.desk.compiled() else {
            return;
        };
        let kind = Some(Kind::Of(BlockKind::Controller));
        let model = &compiled.model;
        let mut boxes: Vec<(usize, &str, String)> = Vec::new();
        for (at, one) in model.controllers.iter().enumerate() {
            let used = compiled.plan.controllers.as_slice().get(at);
            let used = used.map_or(0, |plan| plan.ports.len());
            let all = one.ports.len() + one.dmx.len();
            let full = usize::from(all <= used);
            boxes.push((
                full,
                &one.name,
                format!("{} of {} free", all.saturating_sub(used), unit::counted(all, "port")),
            ));
        }
        boxes.sort_by_key(|(full, ..)| *full);
        // The controller of the `wire` before is the likeliest.
        if let Some(last) = self.last_target(compiled)
            && let Some(at) = boxes.iter().position(|(_, name, _)| *name == last)
        {
            let own = boxes.remove(at);
            boxes.insert(0, own);
        }
        for (_, name, about) in &boxes {
            self.add(name, about.clone(), kind);
        }
        for receiver in &model.receivers {
            let count = receiver.last + 1 - receiver.first;
            let kind = Some(Kind::Of(BlockKind::Receiver));
            let about = format!("receiver, {}", unit::counted(count, "port"));
            self.add(&receiver.name, about, kind);
        }
        if first == Some("wire") {
            self.add("any", "the compiler picks the controller too", None);
        }
    }

    /// The target of the last `wire` before the place.
    fn last_target<'c>(&self, compiled: &'c Compiled) -> Option<&'c str> {
        let mut before = compiled
            .ast
            .statements
            .iter()
            .rev()
            .filter(|one| one.span.end <= self.at && self.file.base <= one.span.start);
        before.find_map(|one| match &one.kind {
            StatementKind::Wire(wire) => Some(compiled.sources.text(wire.target.name.span)),
            _ => None,
        })
    }

    /// Props, those of this text first; in a `wire`, those first that no statement names yet.
    fn props(&mut self, wire: bool) {
        let desk = self.desk;
        let Some(compiled) = desk.compiled() else {
            return;
        };
        let model = &compiled.model;
        let named = desk.uses().names.iter().filter(|one| {
            one.kind == Kind::Of(BlockKind::Prop)
                && one.role == Role::Names
                && one.at.start != self.at
        });
        let named: BTreeSet<&str> = named.map(|one| &*one.key).collect();
        let wired = |prop: &crate::model::Prop| named.contains(&*prop.name);
        let mut props: Vec<(bool, bool, &crate::model::Prop)> = (model.props.iter())
            .map(|prop| (wire && wired(prop), !self.file_has(prop.at.start), prop))
            .collect();
        props.sort_by_key(|(wired, elsewhere, _)| (*wired, *elsewhere));
        for (wired, _, prop) in props {
            let mut about = unit::counted(prop.strings().len(), "string");
            if wired {
                about.push_str(", named in a statement");
            }
            self.add(&prop.name, about, Some(Kind::Of(BlockKind::Prop)));
        }
    }

    fn file_has(&self, at: u32) -> bool {
        (self.file.base..=self.file.span().end).contains(&at)
    }

    /// What may follow the `.` after a name: the strings of a prop, or ports, the emptiest first.
    fn parts(&mut self, owner: &str) {
        let Some(compiled) = self.desk.compiled() else {
            return;
        };
        let (model, plan) = (&compiled.model, &compiled.plan);
        if let Some(prop) = model.props.iter().find(|prop| *prop.name == *owner) {
            for id in prop.strings().map(StringId) {
                let Some((shape, string)) = model.shape_of(id).zip(model.string(id)) else {
                    continue;
                };
                let nodes = unit::counted(shape.nodes, "node");
                match &shape.name {
                    Some(name) => self.add(name, nodes, Some(Kind::String(0))),
                    None => self.add(&string.number.to_string(), nodes, Some(Kind::String(0))),
                }
            }
        }
        let mut ports: Vec<(u32, String, String)> = Vec::new();
        let fill = |name: &str| {
            let (controller, output, _) = model.output_named(name)?;
            let used = plan
                .ports
                .iter()
                .find(|port| port.controller == controller && port.output == output);
            Some(match used {
                Some(port) => (port.nodes.max(1), super::hints::fill_of(port)),
                None => (0, "free".to_owned()),
            })
        };
        let own = model.controllers.iter().find(|one| *one.name == *owner);
        let carried = model.receivers.iter().find(|one| *one.name == *owner);
        let pixel = own.into_iter().flat_map(|one| &one.ports);
        let mut names: Vec<String> = pixel.map(|port| Output::Pixel(port.number).name()).collect();
        let dmx = own.into_iter().flat_map(|one| &one.dmx);
        names.extend(dmx.map(|out| Output::Dmx(out.value).name()));
        let carried = carried.into_iter().flat_map(|one| 1..=one.last + 1 - one.first);
        names.extend(carried.map(|port| port.to_string()));
        for name in names {
            if let Some((used, about)) = fill(&format!("{owner}.{name}")) {
                ports.push((used, name, about));
            }
        }
        ports.sort_by_key(|(used, ..)| *used);
        for (_, name, about) in ports {
            self.add(&name, about, Some(Kind::Of(BlockKind::Controller)));
        }
    }
}
