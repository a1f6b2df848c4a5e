//! The fuse of a port, where it and the draw of the nodes are known: how many nodes it feeds.
//!
//! On the safe side and simple: all nodes at full white, at the level that `dim` allows, and 80 % of the fuse, past which
//! `power/fuse` warns. A string with power of its own
//! (`inject`) is left out. Losses in cable and what a supply can give are another matter: rules of the group `power`.

use crate::cable::lasting;
use crate::model::{ControllerId, Draw, Model, NodeKind, PortSettings, StringId};

/// Full level, in thousandths of a percent.
const FULL: u32 = 100_000;

/// What one node draws at full, in microamperes, rounded up; 0 where it is not known.
fn draw_of(node: &NodeKind) -> u64 {
    let Some(draw) = node.draw else {
        return 0;
    };
    match (draw.value, node.volts) {
        (Draw::Current(microamperes), _) => microamperes.unsigned_abs(),
        (Draw::Power(milliwatts), Some(volts)) => milliwatts
            .unsigned_abs()
            .saturating_mul(1_000_000)
            .div_ceil(volts.value.unsigned_abs().max(1)),
        (Draw::Power(_), None) => 0,
    }
}

/// What one node of a string asks of its port, in microamperes; 0 where that is not known, or it has power of its own.
pub(super) fn draw(model: &Model, injected: &[bool], id: StringId) -> u64 {
    let own = injected.get(id.index()).copied().unwrap_or(false);
    let up = model.string(id).is_some_and(|string| !string.stored);
    model.node_of(id).filter(|_| up && !own).map_or(0, draw_of)
}

/// Which strings have power of their own; empty where there are none.
pub(super) fn injected(model: &Model) -> Vec<bool> {
    let mut own = Vec::new();
    for id in model.injections.iter().flat_map(|one| &one.strings) {
        own.resize(model.strings.len(), false);
        if let Some(entry) = own.get_mut(id.index()) {
            *entry = true;
        }
    }
    own
}

/// How much all nodes of a port may draw at full, in microamperes; `None` where no fuse is known.
pub(super) fn most(
    model: &Model,
    controller: ControllerId,
    settings: &PortSettings,
) -> Option<u64> {
    let fuse = settings.fuse?.value;
    let level = settings
        .dim
        .or(model.controller(controller).and_then(|c| c.dim))
        .or(model.display.dim)
        .map_or(FULL, |told| told.value);
    // What lasts for hours may be so much of it. At no level at all nothing is drawn.
    lasting(fuse).unsigned_abs().saturating_mul(u64::from(FULL)).checked_div(u64::from(level))
}
