//! Pixel ports that stand side by side and come out at one place: the sites of the placement engine.

use super::outlets::Outlets;
use crate::model::{ControllerId, Model, Output, ReceiverId, Target};
use std::collections::BTreeSet;

/// Ports of a controller that stand side by side and come out at one place.
#[derive(Clone, Debug)]
pub(super) struct Stretch {
    /// The controller.
    pub controller: ControllerId,
    /// The first receiver they come out of.
    pub receiver: Option<ReceiverId>,
    first: u32,
    last: u32,
    /// Each port as an output; `None` for a gap in the numbers.
    pub rows: Vec<Option<usize>>,
    /// Whether the controller has no other pixel ports.
    pub whole: bool,
}

impl Stretch {
    /// Whether a target allows these ports.
    pub fn within(&self, model: &Model, target: Target) -> bool {
        match target {
            Target::Any => true,
            Target::Controller(id) | Target::Port(id, ..) | Target::Dmx(id, _) => {
                self.controller == id
            }
            Target::Receiver(id) => model.receivers.get(id.index()).is_some_and(|receiver| {
                receiver.controller == self.controller
                    && receiver.first <= self.first
                    && self.last <= receiver.last
            }),
        }
    }
}

impl Outlets<'_> {
    /// The pixel ports, cut where they come out somewhere else.
    pub fn stretches(&self) -> Vec<Stretch> {
        let mut cuts: BTreeSet<(ControllerId, u32)> = BTreeSet::new();
        for receiver in &self.model.receivers {
            cuts.insert((receiver.controller, receiver.first));
            cuts.insert((receiver.controller, receiver.last.saturating_add(1)));
        }
        let mut stretches: Vec<Stretch> = Vec::new();
        for (at, row) in self.rows.iter().enumerate() {
            let Output::Pixel(port) = row.output else {
                continue;
            };
            let cut = cuts.contains(&(row.controller, port));
            match stretches.last_mut() {
                Some(last) if last.controller == row.controller && !cut => {
                    if last.last.checked_add(1) != Some(port) {
                        last.rows.push(None);
                    }
                    last.rows.push(Some(at));
                    last.last = port;
                }
                before => {
                    let whole = before
                        .as_ref()
                        .is_none_or(|before| before.controller != row.controller);
                    if let Some(before) = before.filter(|_| !whole) {
                        before.whole = false;
                    }
                    stretches.push(Stretch {
                        controller: row.controller,
                        receiver: row.receiver,
                        first: port,
                        last: port,
                        rows: vec![Some(at)],
                        whole,
                    });
                }
            }
        }
        stretches
    }
}
