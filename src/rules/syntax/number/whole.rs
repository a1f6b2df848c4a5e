//! `whole nodes` where a universe has fewer slots than one node.

use super::RULE;
use crate::diagnostic::words::shown;
use crate::diagnostic::{Sink, Words};
use crate::model::{Model, NodeKind, PieceKind};
use crate::plan::Plan;
use crate::source::Span;
use crate::unit::counted;
use std::collections::BTreeSet;

/// Tells each make of node that `whole nodes` can't keep whole, once for each setting that asks for it.
pub(super) fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let mut told = BTreeSet::new();
    for port in &plan.ports {
        let asked = model
            .controller(port.controller)
            .and_then(|controller| (controller.whole_nodes_at).or(model.display.whole_nodes_at));
        let Some(at) = asked else { continue };
        for piece in &port.pieces {
            let PieceKind::String(id, _) = piece.piece.kind else {
                continue;
            };
            if let Some(node) = model.node_of(id)
                && node.slots > model.display.universe_slots
                && told.insert((at.start, node.at.start))
            {
                tell(model, node, at, sink);
            }
        }
    }
}

fn tell(model: &Model, node: &NodeKind, at: Span, sink: &mut Sink) {
    let name = shown(&node.name);
    let needs = counted(i64::from(node.slots), "slot");
    let has = counted(i64::from(model.display.universe_slots), "slot");
    let finding = RULE.at(
        at,
        Words {
            message: format!(
                "`whole nodes` is set, but a node of `{name}` takes {needs} and a universe has {has}"
            ),
            label: "no universe has room for a whole node".to_owned(),
            why: "every node would be split over universes, and a controller that keeps nodes whole lights none of them right"
                .to_owned(),
            help: format!(
                "write `universe {}` or more in `display`, or take `whole nodes` out",
                needs
            ),
        },
    );
    let finding = finding.and(node.at, format!("a node of `{name}` takes {needs}"));
    sink.push(finding.and_if(model.display.universe_slots_at, format!("{has} a universe")));
}
