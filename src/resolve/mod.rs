//! From the tree to the model: names are bound, settings read, strings laid out, wires followed.
//!
//! A statement that does not make sense is reported and left out. What depends on it is noted in
//! [`crate::model::Gaps`], so that one fault gives one finding.

mod arithmetic;
mod controllers;
mod gaps;
pub mod include;
mod kept;
mod kinds;
mod like;
mod lost;
mod makes;
mod matching;
mod misfits;
mod names;
pub mod next;
mod overrides;
mod props;
mod refs;
mod rest;
mod rewire;
mod runs;
mod same;
pub mod settings;
mod sketch;
mod split;
mod table;
mod targets;
pub mod uses;
mod wires;

use crate::ast::{Item, Setting, StatementKind, Written};
use crate::diagnostic::Sink;
use crate::model::{Model, Stated, most_strings};
use crate::rules;
use crate::source::SourceMap;
use arithmetic::Lets;
use kept::Again;
use like::Lineage;
use matching::{Matched, Reader};
use names::{Decl, Names};
use props::Splits;
use rewire::Rewire;
use settings::{Key, Scope};
pub use split::fewest;
use std::cell::LazyCell;
use targets::Ports;

/// Reads the settings of one block; repeats and misfits are reported and left out.
fn settings_of<'a>(
    reader: &Reader<'_, 'a>,
    scope: Scope,
    settings: &'a [Setting],
    sink: &mut Sink,
) -> Vec<Matched<'a>> {
    let mut found: Vec<Matched<'a>> = Vec::with_capacity(settings.len());
    for setting in settings {
        let Some(matched) = reader.read(scope, setting, sink) else {
            continue;
        };
        let once = matched.key.once();
        let first = once.and_then(|once| found.iter().find(|one| one.key.once() == Some(once)));
        match first {
            Some(first) => {
                let words = reader.names.text(setting.key);
                let other = reader.names.text(first.setting.key);
                let (at, first) = (setting.span, first.at());
                sink.push(if words == other || matched.key == Key::Colour {
                    rules::syntax::repeated_setting::again(at, first, words, scope.word())
                } else {
                    let why = "a port counts either nodes or slots";
                    rules::syntax::repeated_setting::either(at, first, (other, words), why)
                });
            }
            None => found.push(matched),
        }
    }
    found
}

/// A value with the place of its setting.
fn stated<T>(set: &Matched<'_>, value: T) -> Stated<T> {
    Stated { value, at: set.at() }
}

/// The model of a display's statements. `more` says how many strings above the fewest each `split`
/// makes, in the order of [`Model::splits`]; a missing entry counts as 0.
///
/// While a display is edited, `last` is its model before the edit: props and wires whose text is
/// unchanged are copied from it.
pub fn resolve(
    (ast, last): (&Written, Option<&Model>),
    sources: &SourceMap,
    more: &[u32],
    sink: &mut Sink,
) -> Model {
    let names = Names::read(ast, sources, sink);
    let lets = Lets::read(
        &names,
        ast.statements.iter().filter_map(|s| match &s.kind {
            StatementKind::Let(one) => Some(one),
            _ => None,
        }),
        sink,
    );
    let reader = Reader { names: &names, lets: &lets };
    let mut model = Model {
        incomplete: ast.broken,
        most_strings: most_strings(sources.bytes()),
        end: sources.files().first().map_or(0, |file| file.span().end),
        includes: ast.includes.clone(),
        ..Model::default()
    };
    let (receivers, again) = things(&reader, &mut model, (ast, last), more, sink);
    let before = last.and_then(|last| Rewire::new(last, &again, &model));
    wiring(&reader, (&receivers, before), &mut model, ast, sink);
    controllers::reserve_sync(&mut model);
    if !ast.lost {
        tell_unused(&reader, sink);
        lets.tell_unused(&names, sink);
    }
    model
}

/// Resolves all declarations. Returns the index in the model of each receiver declared, and what is
/// unchanged since the last model.
fn things(
    reader: &Reader<'_, '_>,
    model: &mut Model,
    (ast, last): (&Written, Option<&Model>),
    more: &[u32],
    sink: &mut Sink,
) -> (Vec<Option<u32>>, Again) {
    let names = reader.names;
    let mut likes = Vec::new();
    let mut lineage = |table, sink: &mut Sink| {
        let lineage = Lineage::read(table, names, sink);
        likes.extend(lineage.likes());
        lineage
    };
    model.display = makes::display(reader, sink);
    // Without its level, a display is checked at full level, where currents look too high.
    model.gaps.any_feed |= model.display.dim.is_none() && makes::says(reader, "dim");
    let chips = lineage(&names.chips, sink);
    let mut chips = makes::chips(reader, &chips, model, sink);
    let nodes = lineage(&names.nodes, sink);
    makes::nodes(reader, &nodes, &mut chips, model, sink);
    let circuits = lineage(&names.circuits, sink);
    rest::circuits(reader, &circuits, model, sink);
    let supplies = lineage(&names.supplies, sink);
    rest::supplies(reader, &supplies, model, sink);
    let controllers = lineage(&names.controllers, sink);
    let kept = controllers::controllers(reader, &controllers, &mut chips, model, sink);
    let lines = lineage(&names.receivers, sink);
    let receivers = controllers::receivers(reader, &lines, &mut chips, model, sink);
    let props = lineage(&names.props, sink);
    model.likes = likes;
    // Needed only if a prop is split.
    let targets = LazyCell::new(|| split::Targets::read(ast, names, &receivers));
    let most = |model: &Model, prop: &str, node| targets.most(reader, model, prop, node);
    let splits = Splits { most: &most, more };
    let mut again = Again { controllers: kept, ..Again::default() };
    let taken = (last, &mut again, splits);
    let mut drafts = props::props(reader, &props, model, taken, sink);
    same::cut_rings(reader, &mut drafts, model, sink);
    same::borrow_shapes(reader, &mut drafts, model, sink);
    table::lay_out(&drafts.stretches, model, sink);
    same::bind(reader, &drafts, model, sink);
    (receivers, again)
}

/// Resolves the statements that refer to declarations: wires, reservations, feeds and the like.
fn wiring(
    reader: &Reader<'_, '_>,
    (receivers, before): (&[Option<u32>], Option<Rewire<'_>>),
    model: &mut Model,
    ast: &Written,
    sink: &mut Sink,
) {
    let ports = Ports { reader, receivers };
    lost::of_text(ast, &ports, model);
    let mut wires = wires::Wiring::new(&ports, before, model);
    make_room(ast, model);
    let renames = ast.statements.iter().filter_map(|s| match &s.kind {
        StatementKind::Renamed(one) => Some(&**one),
        _ => None,
    });
    let renames = rest::Renames::read(reader.names, renames);
    for statement in &ast.statements {
        match &statement.kind {
            StatementKind::Wire(wire) => wires.wire(wire, model, sink),
            StatementKind::Reserve(one) => rest::reserve(&ports, one, model, sink),
            StatementKind::Stored(refs) => rest::stored(reader, refs, model, sink),
            StatementKind::Renamed(one) => rest::renamed(reader, &renames, one, model, sink),
            StatementKind::Power(one) => rest::power(&ports, one, statement.span, model, sink),
            StatementKind::Inject(one) => rest::inject(reader, one, statement.span, model, sink),
            StatementKind::Block(_) | StatementKind::Include(_) | StatementKind::Let(_) => {}
        }
    }
    wires.unasked(model);
}

/// Reserves room for the lines of all wires, so that a large table is not moved as it grows.
fn make_room(ast: &Written, model: &mut Model) {
    let wires = ast.statements.iter().filter_map(|s| match &s.kind {
        StatementKind::Wire(wire) => Some(wire),
        _ => None,
    });
    let (mut lines, mut cable) = (0, 0);
    for wire in wires {
        lines += wire.chains.len();
        let items = wire.chains.iter().flat_map(|chain| &chain.items);
        cable += items.filter(|item| !matches!(item, Item::Reference(..))).count();
    }
    model.lines.reserve(lines);
    model.pieces.reserve(model.strings.len() + cable);
}

/// Reports declarations that nothing names. Props are never unused: those that no wire names are
/// placed. Controllers and receivers are checked later, on the finished plan.
fn tell_unused(reader: &Reader<'_, '_>, sink: &mut Sink) {
    let names = reader.names;
    for table in [&names.chips, &names.nodes, &names.supplies, &names.circuits] {
        let idle =
            |row: &&Decl<'_>| !row.stock && !row.used.get() && !names.is_mentioned(&row.name);
        for row in table.rows.iter().filter(idle) {
            sink.push(rules::name::unused::declared(
                table.kind.word(),
                &row.name,
                row.block.name.span,
            ));
        }
    }
}
