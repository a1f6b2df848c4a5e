//! How many nodes the fuse of a port feeds, where the fuse and the draw of the nodes are known.
//!
//! A simple count on the safe side: all nodes at full white, at the level that `dim` allows,
//! against 80 % of the fuse, above which `power/fuse` warns. Strings with power of their own
//! (`inject`) are left out. Losses in cable and what supplies can give are left to the group
//! `power`.

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

/// What one node of a string draws from its port, in microamperes; 0 where that is not known, where
/// the string is stored or has power of its own.
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

/// What all nodes of a port may draw at full white, in microamperes; `None` where no fuse is known.
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
    // `lasting` is the part that may flow for hours. At level 0 nothing is drawn.
    lasting(fuse).unsigned_abs().saturating_mul(u64::from(FULL)).checked_div(u64::from(level))
}
