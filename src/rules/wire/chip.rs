//! `wire/chip`: a chip that the port does not drive.

use crate::diagnostic::words::ticked_or;
use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::model::{ChipId, Model, NodeId, Output, PieceKind, PortSettings, ReceiverId, StringId};
use crate::plan::{Plan, PortPlan};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;
use crate::usage::plug_name;

/// The rule.
pub const RULE: Rule = Rule {
    code: "wire/chip",
    severity: Severity::Error,
    title: "a chip that the port does not drive",
    page: Page {
        means: "The port says which chips it drives, and the nodes of this string have another.",
        why: "Chips differ in how long a bit takes and in what a frame looks like. Nodes of the wrong kind flicker, show the \
              wrong colours or stay dark.",
        source: "data sheets of the chips",
        wrong: "node dot { chip ws2815; colour RGB }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch\n",
        change: &[("ws2811", "ws2811, ws2815")],
    },
    check: Some(check),
};

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    for port in &plan.ports {
        each_make(model, port, &[], |settings, id, at, more| {
            if let Some(finding) = refused(model, port, settings, (id, at), more) {
                sink.push(finding);
            }
        });
    }
}

/// Calls back once for each make of node on a pixel port and each receiver where it comes out, with
/// the port's settings there, the first string of that make, its place, and how many more strings
/// there are. Stored strings are left out, and those for which `without` (by string) is true.
pub(super) fn each_make(
    model: &Model,
    port: &PortPlan,
    without: &[bool],
    mut call: impl FnMut(&PortSettings, StringId, Span, usize),
) {
    let Output::Pixel(number) = port.output else {
        return;
    };
    type Row = (Option<ReceiverId>, NodeId, StringId, Span, usize);
    // Most ports have one make, which needs no list.
    let mut first: Option<Row> = None;
    let mut seen: Vec<Row> = Vec::new();
    let mut last: Option<usize> = None;
    for piece in &port.pieces {
        let PieceKind::String(id, _) = piece.piece.kind else {
            continue;
        };
        let left_out = without.get(id.index()).copied().unwrap_or(false);
        let up = !left_out && model.is_up(id);
        let Some(node) = model.shape(id).node.filter(|_| up) else {
            continue;
        };
        let is = |row: &Row| (row.0, row.1) == (piece.receiver, node);
        let row = (piece.receiver, node, id, piece.piece.at, 0);
        let first = first.get_or_insert(row);
        if is(first) {
            first.4 += usize::from(first.2 != id);
            continue;
        }
        // Most strings of one make stand together, so the row of the last string is tried first.
        last = last.filter(|at| seen.get(*at).is_some_and(is)).or_else(|| seen.iter().position(is));
        match last.and_then(|at| seen.get_mut(at)) {
            Some(row) => row.4 += 1,
            None => {
                last = Some(seen.len());
                seen.push(row);
            }
        }
    }
    for (receiver, _, id, at, more) in first.into_iter().chain(seen) {
        if let Some(settings) = model.port_settings(port.controller, number, receiver) {
            call(&settings, id, at, more);
        }
    }
}

/// How many more strings on a port have the same fault: ` (and 2 more strings on it)`.
pub(super) fn others(more: usize) -> String {
    match more {
        0 => String::new(),
        more => format!(" (and {} on it)", counted(more, "more string")),
    }
}

/// At most this many chips of a port are named.
const MOST_NAMED: usize = 8;

fn refused(
    model: &Model,
    port: &PortPlan,
    settings: &PortSettings,
    (id, at): (StringId, Span),
    more: usize,
) -> Option<Diagnostic> {
    let node = model.node_of(id)?;
    let chip = node.chip?;
    let first = settings.chips.first()?;
    if settings.chips.iter().any(|driven| driven.value == chip.value) {
        return None;
    }
    let word = |id: ChipId| &*model.chips[id].name;
    let all = settings.chips.iter().map(|chip| word(chip.value));
    let driven: Vec<&str> = all.take(MOST_NAMED).collect();
    let unnamed = settings.chips.len() - driven.len();
    let chip_name = word(chip.value);
    let add = match unnamed {
        0 => format!("`chip {}, {chip_name}`", driven.join(", ")),
        _ => format!("`{chip_name}` after the others"),
    };
    let driven = match unnamed {
        0 => ticked_or(&driven),
        more => format!("{} and {more} more", ticked_or(&driven)),
    };
    let output = plug_name(model, port, Some(id));
    let name = model.name_of(id);
    let others = others(more);
    let finding = RULE
        .report(
            at,
            format!(
                "`{name}`{others} is made of `{chip_name}` nodes, port `{output}` drives {driven}"
            ),
        )
        .label(format!("`{chip_name}` nodes"))
        .why("the port sends bits of another length, so the nodes flicker or stay dark")
        .help(format!(
            "wire `{name}` to a port that drives `{chip_name}`; if `{output}` can, add it there: \
             {add}"
        ));
    Some(
        finding
            .and(first.at, format!("`{output}` drives {driven}"))
            .and(chip.at, format!("`{}` has `{chip_name}`", node.name)),
    )
}
