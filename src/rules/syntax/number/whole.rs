//! `whole nodes`, where one node takes more slots than are used of a universe.

use super::RULE;
use crate::diagnostic::words::shown;
use crate::diagnostic::{Diagnostic, Sink};
use crate::model::{Model, NodeKind, PieceKind};
use crate::plan::Plan;
use crate::source::Span;
use crate::unit::counted;
use std::collections::BTreeSet;

/// Reports each make of node that `whole nodes` can't keep whole, once for each such setting.
pub(super) fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let mut told = BTreeSet::new();
    let all = model.display.universe_slots;
    for port in &plan.ports {
        let Some(controller) = model.controller(port.controller) else {
            continue;
        };
        let asked = (controller.whole_nodes_at).or(model.display.whole_nodes_at);
        let Some(at) = asked else { continue };
        let room = controller.slots_used(all);
        let (room_at, place) = match controller.universe_slots {
            Some(own) => (Some(own.at), format!("on `{}`", controller.name)),
            None => (model.display.universe_slots_at, "in `display`".to_owned()),
        };
        for piece in &port.pieces {
            let PieceKind::String(id, _) = piece.piece.kind else {
                continue;
            };
            if let Some(node) = model.node_of(id)
                && node.slots > room
                && told.insert((at.start, node.at.start))
            {
                sink.push(too_wide(node, at, (room, room_at, &place)));
            }
        }
    }
}

/// A node larger than a universe. `room` is how many slots of a universe are used, `room_at` where
/// that is set, `place` the block for it in words.
fn too_wide(
    node: &NodeKind,
    at: Span,
    (room, room_at, place): (u32, Option<Span>, &str),
) -> Diagnostic {
    let name = shown(&node.name);
    let needs = counted(node.slots, "slot");
    let has = counted(room, "slot");
    let finding = RULE
        .report(
            at,
            format!(
                "`whole nodes` is set, but a node of `{name}` takes {needs} and a universe has \
                 {has}"
            ),
        )
        .label("no universe has room for a whole node")
        .why(
            "every node would be split over universes, so a controller that keeps nodes whole shows wrong colours",
        )
        .help(format!("write `universe {needs}` or more {place}, or take `whole nodes` out"));
    let finding = finding.and(node.at, format!("a node of `{name}` takes {needs}"));
    finding.and_if(room_at, format!("{has} a universe"))
}
