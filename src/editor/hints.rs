//! Hints within the text: where each string starts, how full its port is, results of arithmetic.

use crate::Compiled;
use crate::ast::{Arg, Block, BlockKind, Chain, Item, StatementKind, Wire};
use crate::model::{PieceKind, StringId};
use crate::plan::PortPlan;
use crate::resolve::uses;
use crate::source::{SourceFile, Span};
use crate::usage;
use std::collections::BTreeMap;

/// A hint at a place of one text.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Hint {
    /// The byte of the text before which it is shown.
    pub at: u32,
    /// Its text.
    pub text: String,
    /// The meaning of its text.
    pub tip: &'static str,
    /// Whether it is from an earlier text, since the present one has no addresses.
    pub old: bool,
}

/// The hints of one text; the display must have addresses.
#[must_use]
pub fn of_file(compiled: &Compiled, file: &SourceFile) -> Vec<Hint> {
    let mut all = Hints {
        compiled,
        base: file.base,
        strings: strings(compiled, file.span()),
        found: Vec::new(),
    };
    let own = |span: Span| (file.base..=file.span().end).contains(&span.start);
    for statement in compiled.ast.statements.iter().filter(|one| own(one.span)) {
        match &statement.kind {
            StatementKind::Wire(wire) => all.wire(wire),
            StatementKind::Block(block) if block.kind == BlockKind::Controller => {
                all.controller(block);
            }
            _ => {}
        }
    }
    let within = Span::new(file.base, file.span().end + 1);
    let values = uses::uses(&compiled.ast, &compiled.sources, &compiled.model, within).values;
    for (at, value) in values {
        all.add(at.end, format!("= {}", value.words()), "what it comes to");
    }
    all.found.sort_by_key(|hint| hint.at);
    all.found
}

/// The strings that each reference within a stretch became, by where it begins.
fn strings(compiled: &Compiled, within: Span) -> BTreeMap<u32, Vec<StringId>> {
    let mut found: BTreeMap<u32, Vec<StringId>> = BTreeMap::new();
    for piece in &compiled.model.pieces {
        if let PieceKind::String(id, _) = piece.kind
            && (within.start..=within.end).contains(&piece.at.start)
        {
            found.entry(piece.at.start).or_default().push(id);
        }
    }
    found
}

struct Hints<'c> {
    compiled: &'c Compiled,
    base: u32,
    strings: BTreeMap<u32, Vec<StringId>>,
    found: Vec<Hint>,
}

impl Hints<'_> {
    fn add(&mut self, end: u32, text: String, tip: &'static str) {
        self.found.push(Hint { at: end.saturating_sub(self.base), text, tip, old: false });
    }

    fn wire(&mut self, wire: &Wire) {
        let one_port = wire.target.part.is_some();
        for chain in &wire.chains {
            let mut ids: Vec<StringId> = Vec::new();
            for item in &chain.items {
                let Item::Reference(reference, ..) = item else {
                    continue;
                };
                let Some(strings) = self.strings.get(&reference.span.start) else {
                    continue;
                };
                ids.extend(strings);
                let first = strings.iter().find_map(|id| self.compiled.plan.of(*id));
                if let Some(placed) = first {
                    let text = self.compiled.plan.universe_slots.place(placed.start);
                    self.add(reference.span.end, text, "universe and slot of its first slot");
                }
            }
            self.fill(chain, &ids, one_port);
        }
    }

    /// A hint with how full the ports of a chain are.
    fn fill(&mut self, chain: &Chain, ids: &[StringId], one_port: bool) {
        const MOST: usize = 3;
        let plan = &self.compiled.plan;
        let mut ports: Vec<u32> = Vec::new();
        for placed in ids.iter().filter_map(|id| plan.of(*id)) {
            if !ports.contains(&placed.port) && ports.len() <= MOST {
                ports.push(placed.port);
            }
        }
        let named = !one_port || ports.len() > 1;
        let mut texts: Vec<String> = Vec::new();
        for port in ports.iter().filter_map(|at| plan.ports.as_slice().get(*at as usize)) {
            let fill = fill_of(port);
            texts.push(match named {
                true => format!("{}: {fill}", usage::plug_name(&self.compiled.model, port, None)),
                false => fill,
            });
        }
        if texts.len() > MOST {
            texts.truncate(MOST);
            texts.push("more".to_owned());
        }
        if !texts.is_empty() {
            let tip = "nodes on the port, skipped ones included, and how many it may drive";
            self.add(chain.span.end, texts.join(", "), tip);
        }
    }

    /// A hint with the first universe after `universes after X`.
    fn controller(&mut self, block: &Block) {
        let text = |span| self.compiled.sources.text(span);
        let name = text(block.name.span);
        let model = &self.compiled.model;
        let index = model.controllers.iter().position(|one| *one.name == *name);
        let begins = index.and_then(|at| self.compiled.plan.controllers.as_slice().get(at));
        let after = block.settings.iter().find(|setting| {
            let first = setting.args.first();
            text(setting.key.span) == "universes"
                && matches!(first, Some(Arg::Word(word)) if text(word.span) == "after")
        });
        if let (Some(plan), Some(setting)) = (begins, after) {
            let tip = "the first universe of the controller";
            self.add(setting.span.end, plan.begins.to_string(), tip);
        }
    }
}

/// `620 of 800`, in nodes; slots on a DMX output.
pub(super) fn fill_of(port: &PortPlan) -> String {
    let used = match port.output {
        crate::model::Output::Pixel(_) => port.nodes + port.skipped,
        crate::model::Output::Dmx(_) => port.slots,
    };
    match port.limit {
        Some(limit) => format!("{used} of {limit}"),
        None => used.to_string(),
    }
}

/// Hints of an earlier text moved into the present one; those within the change are dropped.
#[must_use]
pub fn carried(old: &[Hint], before: &str, now: &str) -> Vec<Hint> {
    let same = |(a, b): &(u8, u8)| a == b;
    let head = before.bytes().zip(now.bytes()).take_while(same).count();
    let most = before.len().min(now.len()) - head;
    let tail = before.bytes().rev().zip(now.bytes().rev());
    let tail = tail.take_while(same).count().min(most);
    let moved = |at: usize| {
        if at <= head {
            Some(at)
        } else if at >= before.len() - tail {
            Some(at + now.len() - before.len())
        } else {
            None
        }
    };
    old.iter()
        .filter_map(|hint| {
            let at = moved(hint.at as usize).filter(|at| now.is_char_boundary(*at))?;
            Some(Hint { at: u32::try_from(at).ok()?, old: true, ..hint.clone() })
        })
        .collect()
}
