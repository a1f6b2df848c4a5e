//! Changes that are offered at a place: the fixes of findings, and a few without a finding. Each is
//! tried in a copy of the display, and offered only if it adds no error.

use super::desk::Desk;
use super::rename::line_end;
use crate::Compiled;
use crate::ast::{Chain, Item, StatementKind, Wire};
use crate::diagnostic::{Diagnostic, Edit, Fix, Severity};
use crate::model::{PieceKind, StringId};
use crate::source::Span;
use crate::usage;

/// The title of the change that writes down ports that are picked already; it moves nothing.
const WRITE_PORTS: &str = "write the ports that the compiler picked";

/// A change that is offered.
#[derive(Debug, Clone)]
pub struct Action<'d> {
    /// Its title and edits.
    pub fix: Fix,
    /// The finding that it cures, if any.
    pub of: Option<&'d Diagnostic>,
}

/// The changes that are offered within a stretch of the display's texts.
#[must_use]
pub fn actions(desk: &Desk, within: Span) -> Vec<Action<'_>> {
    let Some(compiled) = desk.compiled() else {
        return Vec::new();
    };
    let mut found: Vec<Action<'_>> = Vec::new();
    let touches = |span: Span| span.start <= within.end && within.start <= span.end;
    for finding in compiled.findings.iter().filter(|one| touches(one.span())) {
        let fixes = finding.fix.iter().chain(&finding.choices);
        found.extend(fixes.map(|fix| Action { fix: fix.clone(), of: Some(finding) }));
    }
    let own = compiled.ast.statements.iter().filter(|one| touches(one.span));
    let mut fixes = Vec::new();
    for statement in own {
        match &statement.kind {
            StatementKind::Wire(wire) => {
                fixes.extend(picked_ports(compiled, statement.span, wire));
                for chain in wire.chains.iter().filter(|chain| touches(chain.span)) {
                    fixes.extend(split_here(compiled, statement.span, wire, chain, within));
                    fixes.extend(move_after(compiled, chain, within));
                }
            }
            StatementKind::Block(_) => {
                fixes.extend(strands(compiled, statement.span, within));
                fixes.extend(placed_unasked(desk, statement.span, within));
            }
            _ => {}
        }
    }
    fixes.extend(name_number(desk, compiled, within));
    found.extend(fixes.into_iter().map(|fix| Action { fix, of: None }));
    found.retain(|action| adds_no_error(desk, compiled, action));
    found
}

/// Whether a change adds no error and does what it is for.
fn adds_no_error(desk: &Desk, compiled: &Compiled, action: &Action<'_>) -> bool {
    let errors = |one: &Compiled| one.count(Severity::Error);
    let of = |one: &Compiled, finding: &Diagnostic| {
        let same =
            |other: &&Diagnostic| other.code == finding.code && other.message == finding.message;
        one.findings.iter().filter(same).count()
    };
    let holds = |trial: &Compiled| {
        let cures = action.of.is_none_or(|finding| of(trial, finding) < of(compiled, finding));
        let places = |one: &Compiled| -> Vec<Option<(u64, u64)>> {
            let placed = one.plan.placed.iter();
            placed.map(|own| own.map(|own| (own.start, own.end))).collect()
        };
        let stays = action.fix.title != WRITE_PORTS || places(trial) == places(compiled);
        let errors_of = |one: &Compiled, code: &str| {
            let errors = one.findings.iter().filter(|one| one.severity == Severity::Error);
            errors.filter(|one| one.code == code).count()
        };
        // A cure may uncover an error that the finding hid; any other change may not add one.
        let fresh = |one: &Diagnostic| errors_of(trial, one.code) > errors_of(compiled, one.code);
        let quiet = action.of.is_some() || !trial.findings.iter().any(fresh);
        cures && stays && quiet && errors(trial) <= errors(compiled)
    };
    desk.tried(&action.fix.edits, holds).unwrap_or(false)
}

fn fix(title: String, edits: Vec<Edit>) -> Fix {
    Fix { title, edits, safe: false }
}

fn edit(span: Span, text: impl Into<String>) -> Edit {
    Edit { span, text: text.into() }
}

/// The strings that the items of a chain became.
fn strings_of(compiled: &Compiled, chain: &Chain) -> Vec<StringId> {
    let starts: Vec<u32> = (chain.items.iter())
        .filter_map(|item| match item {
            Item::Reference(reference, ..) => Some(reference.span.start),
            Item::Skip(..) | Item::Lead(..) => None,
        })
        .collect();
    let pieces = compiled.model.pieces.iter();
    pieces
        .filter(|piece| starts.contains(&piece.at.start))
        .filter_map(|piece| match piece.kind {
            PieceKind::String(id, _) => Some(id),
            PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        })
        .collect()
}

/// The plugs of some strings, each with its strings, in the order of their first strings.
fn by_plug(compiled: &Compiled, ids: &[StringId]) -> Option<Vec<(String, Vec<StringId>)>> {
    let mut plugs: Vec<(String, Vec<StringId>)> = Vec::new();
    for id in ids {
        compiled.plan.of(*id)?;
        let plug = usage::plug_of(&compiled.model, &compiled.plan, *id);
        match plugs.iter_mut().find(|(name, _)| *name == plug) {
            Some((_, own)) => own.push(*id),
            None => plugs.push((plug, vec![*id])),
        }
    }
    (!plugs.is_empty()).then_some(plugs)
}

/// Writes the ports that the compiler picked into a `wire` that leaves them open.
fn picked_ports(compiled: &Compiled, statement: Span, wire: &Wire) -> Option<Fix> {
    if wire.target.part.is_some() || compiled.blocks() {
        return None;
    }
    let mut lines: Vec<String> = Vec::new();
    for chain in &wire.chains {
        let plugs = by_plug(compiled, &strings_of(compiled, chain))?;
        match (plugs.as_slice(), chain.items.as_slice()) {
            ([(plug, _)], items) if !matches!(items, [Item::Reference(_, Some(_), _)]) => {
                lines.push(format!("wire {plug}: {}", compiled.sources.text(chain.span)));
            }
            (_, [Item::Reference(_, _, None)]) => {
                for (plug, own) in &plugs {
                    let references = usage::references(&compiled.model, own);
                    lines.push(format!("wire {plug}: {references}"));
                }
            }
            _ => return None,
        }
    }
    Some(fix(WRITE_PORTS.to_owned(), vec![edit(statement, lines.join("\n"))]))
}

/// Writes a `wire` for a prop that none names, with the ports that the compiler picked.
fn placed_unasked(desk: &Desk, statement: Span, within: Span) -> Option<Fix> {
    let compiled = desk.compiled()?;
    let own = |span: Span| statement.start <= span.start && span.end <= statement.end;
    let mut unasked = compiled.model.lines.iter().filter(|line| line.unasked && own(line.at));
    let at = unasked.next()?.at;
    let here = at.start <= within.end && within.start <= at.end;
    if !here || compiled.blocks() {
        return None;
    }
    let lines = compiled.model.lines.iter().filter(|line| line.unasked && line.at == at);
    let pieces = lines.flat_map(|line| compiled.model.pieces_of(line));
    let ids: Vec<StringId> = pieces
        .filter_map(|piece| match piece.kind {
            PieceKind::String(id, _) => Some(id),
            PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        })
        .collect();
    let mut text = String::new();
    for (plug, own) in by_plug(compiled, &ids)? {
        let references = usage::references(&compiled.model, &own);
        text.push_str(&format!("\nwire {plug}: {references}"));
    }
    // After the last wire of this text: on a port that it shares with a wire, the new one comes
    // later in the chain.
    let base = |at: u32| desk.file_at(at).map(|file| file.base);
    let wired = compiled.model.lines.iter().filter(|line| !line.unasked);
    let last = wired.map(|line| line.at.end).filter(|end| base(*end) == base(statement.end));
    let end = line_end(desk, last.fold(statement.end, u32::max));
    Some(fix(WRITE_PORTS.to_owned(), vec![edit(Span::new(end, end), text)]))
}

/// Ends a chain before the item at the cursor; the compiler picks a port for the rest.
fn split_here(
    compiled: &Compiled,
    statement: Span,
    wire: &Wire,
    chain: &Chain,
    within: Span,
) -> Option<Fix> {
    let text = |span: Span| compiled.sources.text(span);
    let at = item_at(chain, within)?;
    let (before, from) = (chain.items.get(at.checked_sub(1)?)?, chain.items.get(at)?);
    let gap = Span::new(end_of(before), from.span().start);
    let title = format!("split this chain before `{}`", text(from.span()));
    if wire.target.part.is_none() {
        return Some(fix(title, vec![edit(gap, ", ")]));
    }
    let [only] = wire.chains.as_slice() else {
        return None;
    };
    let rest = text(Span::new(from.span().start, only.span.end));
    let target = text(wire.target.name.span);
    let edits =
        vec![edit(Span::new(end_of(before), statement.end), format!("\nwire {target}: {rest}"))];
    Some(fix(title, edits))
}

/// The index in a chain of the item at the cursor.
fn item_at(chain: &Chain, within: Span) -> Option<usize> {
    let at = |span: Span| span.start <= within.start && within.start <= span.end;
    chain.items.iter().position(|item| at(item.span()))
}

/// The end of an item with its pin and its `by`.
fn end_of(item: &Item) -> u32 {
    match item {
        Item::Reference(reference, by, pin) => {
            let by = by.as_ref().map_or(0, |by| by.span().end);
            let pin = pin.as_ref().map_or(0, |pin| pin.span.end);
            reference.span.end.max(by).max(pin)
        }
        Item::Skip(span, _) | Item::Lead(span, ..) => span.end,
    }
}

/// Exchanges the item at the cursor with the one after it.
fn move_after(compiled: &Compiled, chain: &Chain, within: Span) -> Option<Fix> {
    let whole = |item: &Item| Span::new(item.span().start, end_of(item));
    let at = item_at(chain, within)?;
    let (one, next) = (whole(chain.items.get(at)?), whole(chain.items.get(at + 1)?));
    let text = |span: Span| compiled.sources.text(span);
    let title = format!("move `{}` after `{}`", text(one), text(next));
    Some(fix(title, vec![edit(one, text(next)), edit(next, text(one))]))
}

/// Writes a string as strands of equal length. Ways in which the number of strands is closest to
/// the nodes of each come first.
fn strands(compiled: &Compiled, statement: Span, within: Span) -> Vec<Fix> {
    const MOST: usize = 3;
    let inside = |span: Span| statement.start <= span.start && span.end <= statement.end;
    let here = |span: Span| span.start <= within.start && within.end <= span.end;
    let shapes = compiled.model.shapes.iter();
    let mut own = shapes.filter(|shape| inside(shape.at) && here(shape.at));
    let plain = |shape: &&crate::model::Shape| {
        shape.strand.is_none() && shape.runs.is_empty() && shape.nodes > 3 && shape.name.is_none()
    };
    let Some(shape) = own.next().filter(plain) else {
        return Vec::new();
    };
    let written = compiled.sources.text(shape.at);
    let words: Vec<&str> = written.split_whitespace().collect();
    let count = match words.as_slice() {
        ["string", ..] => "1",
        ["strings", count, "of", ..] => count,
        _ => return Vec::new(),
    };
    let mut ways: Vec<(u32, u32)> = (2..=shape.nodes / 2)
        .filter(|strands| shape.nodes.is_multiple_of(*strands))
        .map(|strands| (strands, shape.nodes / strands))
        .collect();
    ways.sort_by_key(|(strands, nodes)| (strands.abs_diff(*nodes), *strands));
    let as_fix = |(strands, nodes): &(u32, u32)| {
        let text = format!("strings {count} of {strands} strands of {nodes} nodes");
        fix(format!("write it as {strands} strands of {nodes} nodes"), vec![edit(shape.at, text)])
    };
    ways.iter().take(MOST).map(as_fix).collect()
}

/// Gives the number at the cursor a name with `let`.
fn name_number(desk: &Desk, compiled: &Compiled, within: Span) -> Option<Fix> {
    let uses = desk.uses();
    let at =
        *(uses.numbers.iter()).find(|span| span.start <= within.start && within.end <= span.end)?;
    let statement = compiled
        .ast
        .statements
        .iter()
        .find(|one| one.span.start <= at.start && at.end <= one.span.end)?;
    if matches!(statement.kind, StatementKind::Let(_)) {
        return None;
    }
    let taken = |name: &str| uses.names.iter().any(|one| *one.key == *name);
    let mut names = (1_u32..).map(|n| match n {
        1 => "number".to_owned(),
        n => format!("number-{n}"),
    });
    let name = names.find(|name| !taken(name))?;
    let number = compiled.sources.text(at);
    let after =
        desk.file_at(at.end).and_then(|file| file.text.get((at.end - file.base) as usize..));
    // A unit may be glued to a number, but not to a name.
    let glued = after.is_some_and(|rest| rest.starts_with(|c: char| c.is_alphabetic() || c == '-'));
    let before = Span::new(statement.span.start, statement.span.start);
    let edits = vec![
        edit(before, format!("let {name} = {number}\n")),
        edit(at, if glued { format!("{name} ") } else { name }),
    ];
    Some(fix(format!("name {number} with `let`"), edits))
}
