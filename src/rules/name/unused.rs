//! `name/unused`: something declared that nothing uses.

use crate::diagnostic::words::shown;
use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::model::{ControllerId, Model, Output, PieceKind, ReceiverId, Target};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::source::Span;
use std::collections::BTreeSet;

/// The rule.
pub const RULE: Rule = Rule {
    code: "name/unused",
    severity: Severity::Advice,
    title: "something declared that nothing uses",
    page: Page {
        means: "A chip, a make of node, a `let`, a supply, a circuit, a receiver or a controller is declared, but \
                nothing names it and no string is on it.",
        why: "It is either left over from last year or a sign that a wire to it is missing.",
        source: "grammar/LANGUAGE.md, \"Names\"",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                node icicle { chip ws2811; colour RGB }\n\
                controller shed { ports 1..4 { } }\n\
                prop wreath { node bullet; string 50 nodes }\n\
                wire shed.1: wreath\n",
        change: &[("node icicle { chip ws2811; colour RGB }\n", "")],
    },
    check: Some(check),
};

/// A declaration that nothing names.
pub fn declared(kind: &str, name: &str, span: Span) -> Diagnostic {
    let name = shown(name);
    let what = if kind == "let" { "number" } else { kind };
    let help = match kind {
        "controller" | "receiver" => {
            format!("wire something to it (`wire {name}.1: …`) or remove it")
        }
        "node" => format!("use it in a prop (`node {name}` in a `prop`) or remove it"),
        "chip" => format!("use it in a node (`chip {name}` in a `node`) or remove it"),
        "circuit" => format!("put something on it (`on {name}`) or remove it"),
        "let" => format!("write `{name}` where the number stands, or remove it"),
        "supply" => format!("feed ports from it (`power … from {name} through …`) or remove it"),
        _ => "use it or remove it".to_owned(),
    };
    RULE.report(span, format!("{what} `{name}` is declared but never used"))
        .label("nothing uses it")
        .why("it changes nothing at the display")
        .help(help)
}

/// A receiver with the name of a controller; a wire with this name means the controller.
fn hidden(name: &str, at: Span, controller: Span) -> Diagnostic {
    let name = shown(name);
    RULE.report(at, format!("receiver `{name}` has the name of a controller, so it is never used"))
        .label("no wire can name it")
        .why(format!("a wire to `{name}` means the controller"))
        .help("give the receiver another name")
        .and(controller, "the controller of this name")
}

/// A chain of skips or leads without a string.
pub fn empty_chain(span: Span) -> Diagnostic {
    RULE.report(span, "a chain has no string")
        .label("nothing here can be lit")
        .why("it changes nothing at the display")
        .help("name what hangs on this line, as in `star -> skip 3`, or remove the chain")
}

/// Reports controllers and receivers without strings. One that a string without a port may still
/// need is left out.
fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let homeless = homeless(model, plan);
    for (id, controller) in model.controllers.pairs() {
        let empty = plan.controllers[id].ports.is_empty();
        let mut reserved = model.reserved_outputs.iter();
        let reserved = reserved.any(|reserved| reserved.controller == id);
        let unsure = model.gaps.on(id) || homeless.contains(&None) || homeless.contains(&Some(id));
        if empty && !reserved && !controller.stock && !unsure {
            sink.push(declared("controller", &controller.name, controller.at));
        }
    }
    let pieces = plan.ports.iter().flat_map(|port| &port.pieces);
    let used: BTreeSet<ReceiverId> = pieces.filter_map(|piece| piece.receiver).collect();
    for (id, receiver) in model.receivers.pairs() {
        let on = Some(receiver.controller);
        let unsure = model.gaps.on(receiver.controller)
            || homeless.contains(&None)
            || homeless.contains(&on);
        // As with a controller, one that is set aside is meant to be empty.
        let mut reserved = model.reserved_outputs.iter();
        let reserved = reserved.any(|row| {
            let carried = |port: &u32| (receiver.first..=receiver.last).contains(port);
            row.controller == receiver.controller
                && matches!(row.output, Output::Pixel(port) if carried(&port))
        });
        if !unsure && !reserved && !used.contains(&id) && !receiver.stock {
            let same = (model.controllers.iter()).find(|one| one.name == receiver.name);
            sink.push(match same {
                Some(same) => hidden(&receiver.name, receiver.at, same.at),
                None => declared("receiver", &receiver.name, receiver.at),
            });
        }
    }
}

/// The controllers that strings without a port may need, by their wires; `None` stands for any.
fn homeless(model: &Model, plan: &Plan) -> BTreeSet<Option<ControllerId>> {
    let lines = model.lines.iter().filter(|line| {
        model.pieces_of(line).iter().any(|piece| match piece.kind {
            PieceKind::String(id, _) => plan.of(id).is_none(),
            PieceKind::Skip(_) | PieceKind::Lead(..) => false,
        })
    });
    lines
        .map(|line| match line.target {
            Target::Any => None,
            Target::Controller(id) | Target::Port(id, ..) | Target::Dmx(id, _) => Some(id),
            Target::Receiver(id) => Some(model.receivers[id].controller),
        })
        .collect()
}
