//! Strings that the lock has on the same slots, as a clean merge of two branches may leave them:
//! the later in file order has no claim to them. The same holds for a universe of two controllers.

use crate::model::{ControllerId, Model, StringId};
use crate::plan::Past;
use std::collections::BTreeMap;

/// By string: the one that has the better claim to its old place.
pub(super) fn lost(model: &Model, past: &Past) -> Vec<Option<StringId>> {
    let slots = past.universe_slots.each();
    let mut lost = vec![None; model.strings.len()];
    // What has a claim, by start: none overlaps another or shares another controller's universe.
    let mut held: BTreeMap<u64, (u64, Option<ControllerId>, StringId)> = BTreeMap::new();
    for (index, (string, was)) in model.strings.iter().zip(&past.was).enumerate() {
        let Some(was) = was.filter(|_| string.same_as.is_none()) else {
            continue;
        };
        let (start, end) = (was.start, was.end());
        let reach = end.div_ceil(slots) * slots;
        let floor = start / slots * slots;
        let near = held.range(..reach).rev();
        let winner = near
            .take_while(|(_, (to, ..))| *to > floor)
            .find(|(from, (to, controller, _))| {
                *controller != was.controller || (**from < end && *to > start)
            })
            .map(|(_, (.., id))| *id);
        match winner {
            Some(id) => {
                if let Some(entry) = lost.get_mut(index) {
                    *entry = Some(id);
                }
            }
            None => {
                held.insert(start, (end, was.controller, StringId::from(index)));
            }
        }
    }
    lost
}
