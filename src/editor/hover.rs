//! What is known of the word at a place: a name, a setting, the code of a rule, an address.

use super::desk::Desk;
use super::hints::fill_of;
use super::place::{Place, Within};
use crate::Compiled;
use crate::ast::{BlockKind, Body, Setting, StatementKind};
use crate::explain;
use crate::model::{Draw, PieceKind, PropId, StringId};
use crate::resolve::uses::{Kind, Use};
use crate::rules;
use crate::source::{SourceFile, Span};
use crate::unit::{Dimension, counted, quantity};
use crate::usage;
use std::fmt::Write as _;

/// A text about a stretch of the display's texts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hover {
    /// The stretch.
    pub at: Span,
    /// The text.
    pub markdown: String,
}

/// The most strings that are listed.
const MOST_STRINGS: usize = 16;

/// What is known of the word at an offset.
#[must_use]
pub fn hover(desk: &Desk, at: u32) -> Option<Hover> {
    let compiled = desk.compiled()?;
    if let Some(one) = desk.uses().at(at) {
        let markdown = of_name(compiled, desk, one, at);
        return Some(Hover { at: one.at, markdown });
    }
    let file = desk.file_at(at)?;
    of_word(compiled, file, at).or_else(|| of_setting(compiled, at))
}

/// The page of a rule's code, or what lies at an address such as `12/307`.
fn of_word(compiled: &Compiled, file: &SourceFile, at: u32) -> Option<Hover> {
    let part = |c: char| c.is_ascii_alphanumeric() || matches!(c, '/' | '-');
    let local = (at - file.base) as usize;
    let (before, after) = file.text.split_at_checked(local)?;
    let start = before.len() - before.chars().rev().take_while(|c| part(*c)).count();
    let end = local + after.chars().take_while(|c| part(*c)).count();
    let word = file.text.get(start..end)?;
    let at = Span::new(file.base + start as u32, file.base + end as u32);
    if let Some(rule) = rules::find(word) {
        let mut page = Vec::new();
        explain::page(rule, 100, &mut page).ok()?;
        let page = String::from_utf8(page).ok()?;
        let markdown = format!("```text\n{}\n```", page.trim_end());
        return Some(Hover { at, markdown });
    }
    let within = Place::of(file.text.get(..start)?).within;
    if matches!(within, Within::Code) && !is_pin(compiled, at) {
        return None;
    }
    let (universe, slot) = word.split_once('/')?;
    let (universe, slot): (u64, u64) = (universe.parse().ok()?, slot.parse().ok()?);
    let slots = compiled.plan.universe_slots.each();
    if universe == 0 || slot == 0 || slot > slots {
        return None;
    }
    let channel = (universe - 1).checked_mul(slots)? + slot - 1;
    let mut markdown = format!("**{word}**, channel {}\n", channel + 1);
    let mut lies = 0;
    for (index, placed) in compiled.plan.placed.iter().enumerate() {
        let on = |one: &&crate::plan::Placed| (one.start..=one.end).contains(&channel);
        if let Some(placed) = placed.as_ref().filter(on) {
            let id = StringId::from(index);
            let name = compiled.model.name_of(id);
            let nth = channel - placed.start + 1;
            let plug = usage::plug_of(&compiled.model, &compiled.plan, id);
            let _ = write!(markdown, "\n- slot {nth} of `{name}`, {plug}");
            lies += 1;
        }
    }
    if lies == 0 {
        markdown.push_str("\nnothing lies here");
    }
    Some(Hover { at, markdown })
}

/// Whether a stretch is what stands after the `at` of a pin; else `100/2` is a division.
fn is_pin(compiled: &Compiled, at: Span) -> bool {
    let is = |pin: Span| {
        let before = Span::new(pin.start, at.start.max(pin.start));
        pin.end == at.end && compiled.sources.text(before).trim_end() == "at"
    };
    compiled.model.pieces.iter().any(|piece| match piece.kind {
        PieceKind::String(_, Some(pin)) => is(pin.at),
        _ => false,
    })
}

/// The line of the language guide for a setting.
fn of_setting(compiled: &Compiled, at: u32) -> Option<Hover> {
    let holds = |span: Span| (span.start..=span.end).contains(&at);
    let statement = (compiled.ast.statements.iter()).find(|one| holds(one.span))?;
    let StatementKind::Block(block) = &statement.kind else {
        return None;
    };
    let text = |span: Span| compiled.sources.text(span);
    let about = |scope: &str, setting: &Setting| {
        Some(Hover { at: setting.key.span, markdown: guide_line(scope, text(setting.span))? })
    };
    for setting in &block.settings {
        if holds(setting.key.span) {
            return about(block.kind.word(), setting);
        }
        if let Body::Block(inner, _) = &setting.body
            && let Some(setting) = inner.iter().find(|one| holds(one.key.span))
        {
            return about("Ports", setting);
        }
    }
    None
}

/// The line of the guide for a setting as written, in the section of its block; of several lines
/// the one with most of its words.
#[must_use]
pub fn guide_line(section: &str, written: &str) -> Option<String> {
    let head = format!("\n## {section}\n");
    let (_, rest) = explain::LANGUAGE.split_once(&head)?;
    let own = rest.split("\n## ").next()?;
    let words: Vec<&str> = written.split_whitespace().collect();
    let words: Vec<&str> = words.iter().map(|word| spelling(word)).collect();
    let fits = |row: &&str| {
        let forms = row.split('|').nth(1).unwrap_or("").split('`').skip(1).step_by(2);
        forms
            .filter(|form| form.split_whitespace().next() == words.first().copied())
            .map(|form| 1 + form.split_whitespace().filter(|word| words.contains(word)).count())
            .max()
            .unwrap_or(0)
    };
    let rows = own.lines().filter(|line| line.starts_with("| `"));
    // `max_by_key` takes the last of equals, so the rows go in reverse.
    let row = rows.rev().max_by_key(fits).filter(|row| fits(row) > 0)?;
    let mut cells =
        row.trim_matches('|').split(" | ").map(|cell| cell.trim().trim_end_matches('|'));
    let (form, means) = (cells.next()?, cells.next()?);
    let default = cells.next().map(str::trim).filter(|cell| !cell.is_empty());
    let default = default.map(|one| format!("\n\nif it is not said: {one}"));
    Some(format!("{form}\n\n{means}{}", default.unwrap_or_default()))
}

/// A word as the guide spells it.
fn spelling(word: &str) -> &str {
    if word == "color" { "colour" } else { word }
}

fn of_name(compiled: &Compiled, desk: &Desk, one: &Use, at: u32) -> String {
    let mut out = String::new();
    if let Some(declared) = super::names::declarations(desk, one).first() {
        let file = desk.file_at(declared.start);
        let line = file.and_then(|file| {
            let local = declared.start - file.base;
            let line = file.lines.line(local);
            let start = file.lines.start(line)? as usize;
            file.text.get(start..)?.lines().next()
        });
        let _ = writeln!(out, "```tinsel\n{}\n```", line.unwrap_or("").trim());
    }
    match one.kind {
        Kind::Of(BlockKind::Prop) => of_strings(compiled, one, at, &mut out),
        Kind::Of(BlockKind::Controller) => of_controller(compiled, &one.key, &mut out),
        Kind::Of(BlockKind::Receiver) => {
            let receiver = compiled.model.receivers.iter().find(|r| *r.name == *one.key);
            if let Some(receiver) = receiver {
                let carrier = compiled.model.controller(receiver.controller);
                let name = carrier.map_or("", |one| &*one.name);
                let (first, last) = (receiver.first, receiver.last);
                if let Some(label) = &receiver.label {
                    let _ = write!(out, "“{label}”, ");
                }
                let _ = write!(out, "ports {first} to {last} of `{name}` come out here");
            }
        }
        Kind::Of(BlockKind::Node) => of_node(compiled, &one.key, &mut out),
        Kind::Of(BlockKind::Chip) => {
            if let Some(chip) = compiled.model.chips.iter().find(|c| *c.name == *one.key) {
                let latch = quantity(chip.latch_ns as i64, Dimension::Time);
                let _ = write!(out, "chip, {} bits a colour, latch {latch}", chip.depth);
            }
            if let Some(known) = crate::chip::known(&one.key) {
                let _ = write!(out, "\n\n{}", known.source);
            }
        }
        Kind::Let => {
            let uses = desk.uses();
            let value = uses.values.iter().find(|(span, _)| {
                uses.at(span.start).is_some_and(|other| other.is_same(one) && other.at == *span)
            });
            if let Some((_, value)) = value {
                let _ = write!(out, "= {}", value.words());
            }
        }
        Kind::Of(_) | Kind::String(_) | Kind::Run(_) => {
            let _ = write!(out, "{}", one.kind.word());
        }
    }
    out
}

/// The strings that the reference at an offset picks; without one all strings of the prop.
fn of_strings(compiled: &Compiled, one: &Use, at: u32, out: &mut String) {
    let (model, plan) = (&compiled.model, &compiled.plan);
    let here = |piece: &&crate::model::Piece| (piece.at.start..=piece.at.end).contains(&at);
    let picked = model.pieces.iter().filter(here).filter_map(|piece| match piece.kind {
        PieceKind::String(id, _) => Some(id),
        PieceKind::Skip(_) | PieceKind::Lead(..) => None,
    });
    let mut ids: Vec<StringId> = picked.collect();
    let index = model.props.iter().position(|prop| *prop.name == *one.key);
    if ids.is_empty()
        && let Some(prop) = index.and_then(|at| model.props.as_slice().get(at))
    {
        ids = prop.strings().map(StringId).collect();
    }
    if let Some(index) = index {
        of_prop(compiled, PropId::from(index), out);
    }
    if ids.is_empty() {
        return;
    }
    out.push_str("\n\n| string | nodes | slots | from | to | port |\n|---|---|---|---|---|---|\n");
    for id in ids.iter().take(MOST_STRINGS) {
        let Some(shape) = model.shape_of(*id) else {
            continue;
        };
        let spot = |channel: u64| plan.universe_slots.place(channel);
        let placed = plan.of(*id);
        let (from, to) = placed.map_or_else(Default::default, |p| (spot(p.start), spot(p.end)));
        let _ = writeln!(
            out,
            "| `{}` | {} | {} | {from} | {to} | {} |",
            model.name_of(*id),
            shape.nodes,
            shape.slots,
            usage::plug_of(model, plan, *id),
        );
    }
    if ids.len() > MOST_STRINGS {
        let _ = write!(out, "\nand {} more", ids.len() - MOST_STRINGS);
    }
}

fn of_prop(compiled: &Compiled, id: PropId, out: &mut String) {
    let model = &compiled.model;
    let Some(prop) = model.props.as_slice().get(id.index()) else {
        return;
    };
    let mut parts: Vec<String> = Vec::new();
    if let Some(label) = prop.details.as_ref().and_then(|details| details.label.as_deref()) {
        parts.push(format!("“{label}”"));
    }
    if let Some(count) = prop.count {
        parts.push(counted(count, "member"));
    }
    let strings = prop.strings();
    let shapes = strings.clone().filter_map(|id| model.shape_of(StringId(id)));
    let nodes: u64 = shapes.map(|shape| u64::from(shape.nodes)).sum();
    if nodes > 0 {
        parts.push(counted(strings.len(), "string"));
        parts.push(counted(nodes, "node"));
    }
    let node = model.node_of(StringId(prop.first));
    let own = |node: &&crate::model::NodeKind| !strings.is_empty() && !node.name.is_empty();
    if let Some(node) = node.filter(own) {
        parts.push(format!("of `{}`", node.name));
        match node.draw.map(|draw| draw.value) {
            Some(Draw::Current(ua)) => {
                let all = ua.saturating_mul(nodes as i64);
                parts.push(format!("{} at full", quantity(all, Dimension::Current)));
            }
            Some(Draw::Power(mw)) => {
                let all = mw.saturating_mul(nodes as i64);
                parts.push(format!("{} at full", quantity(all, Dimension::Power)));
            }
            None => {}
        }
    }
    out.push_str(&parts.join(", "));
}

fn of_controller(compiled: &Compiled, name: &str, out: &mut String) {
    let model = &compiled.model;
    let Some(index) = model.controllers.iter().position(|one| *one.name == *name) else {
        return;
    };
    let (Some(controller), Some(plan)) =
        (model.controllers.as_slice().get(index), compiled.plan.controllers.as_slice().get(index))
    else {
        return;
    };
    if let Some(label) = &controller.label {
        let _ = write!(out, "“{label}”, ");
    }
    if let Some(host) = &controller.host {
        let _ = write!(out, "{}, ", host.value);
    }
    match plan.universes {
        Some((first, last)) => {
            let _ = write!(out, "universes {first} to {last}");
        }
        None => out.push_str("uses no universe"),
    }
    let used = plan.ports.start as usize..plan.ports.end as usize;
    let ports = compiled.plan.ports.as_slice().get(used).unwrap_or(&[]);
    if ports.is_empty() {
        return;
    }
    out.push_str("\n\n| port | in use |\n|---|---|\n");
    for port in ports {
        let name = usage::output_name(model, port.controller, port.output);
        let _ = writeln!(out, "| `{name}` | {} |", fill_of(port));
    }
}

fn of_node(compiled: &Compiled, name: &str, out: &mut String) {
    let model = &compiled.model;
    let Some(node) = model.nodes.iter().find(|node| *node.name == *name) else {
        return;
    };
    let chip = node.chip.and_then(|chip| model.chips.as_slice().get(chip.value.index()));
    let _ = write!(out, "{}, {}", node.colour, counted(node.slots, "slot"));
    if let Some(chip) = chip {
        let _ = write!(out, ", chip `{}`", chip.name);
    }
    if let Some(volts) = node.volts {
        let _ = write!(out, ", {}", quantity(volts.value, Dimension::Voltage));
    }
}
