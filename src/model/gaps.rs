//! What a model lacks because it did not parse or resolve. Findings that would only follow from a
//! gap are not reported; all others are.

use super::{ControllerId, Output, StringId, Target};
use std::collections::BTreeSet;

/// Gaps of a model.
#[derive(Debug, Clone, Default)]
pub struct Gaps {
    /// Anything may be missing, because a whole text could not be read.
    pub all: bool,
    /// Strings that may hang on any output are missing.
    pub anywhere: bool,
    /// Outputs whose line lacks something; `None` where only the controller is known.
    pub lines: BTreeSet<(ControllerId, Option<Output>)>,
    /// Controllers of which not all outputs are known.
    pub outputs: BTreeSet<ControllerId>,
    /// Whole controllers or receivers may be missing.
    pub boxes: bool,
    /// Ports that may be fed by a statement that is missing: the first and the last.
    pub feeds: BTreeSet<(ControllerId, u32, u32)>,
    /// Any port may be fed by a statement that is missing.
    pub any_feed: bool,
    /// Strings into which an injection is missing.
    pub injected: BTreeSet<StringId>,
    /// Words of the text that did not parse; each may be a name.
    pub words: BTreeSet<Box<str>>,
}

impl Gaps {
    /// Notes that something is missing from what hangs on a target.
    pub fn line(&mut self, target: Target, carrier: impl Fn() -> Option<ControllerId>) {
        match target {
            Target::Any => self.anywhere = true,
            Target::Controller(id) => {
                self.lines.insert((id, None));
            }
            Target::Port(id, port, _) => {
                self.lines.insert((id, Some(Output::Pixel(port))));
            }
            Target::Dmx(id, number) => {
                self.lines.insert((id, Some(Output::Dmx(number))));
            }
            Target::Receiver(_) => match carrier() {
                Some(id) => {
                    self.lines.insert((id, None));
                }
                None => self.anywhere = true,
            },
        }
    }

    /// Whether something that hangs on a controller may be missing.
    #[must_use]
    pub fn on(&self, id: ControllerId) -> bool {
        let mut lines = self.lines.iter();
        self.all || self.anywhere || lines.any(|(controller, _)| *controller == id)
    }

    /// Whether something of an output's own line may be missing. [`Gaps::anywhere`] does not count.
    #[must_use]
    pub fn of_line(&self, id: ControllerId, output: Output) -> bool {
        let named = |output| self.lines.contains(&(id, output));
        self.all || named(None) || named(Some(output))
    }

    /// Whether a target may have outputs that are not known; `carrier`: a receiver's controller.
    #[must_use]
    pub fn of_outputs(&self, target: Target, carrier: Option<ControllerId>) -> bool {
        let id = match target {
            Target::Any => return self.all || self.boxes || !self.outputs.is_empty(),
            Target::Controller(id) | Target::Port(id, ..) | Target::Dmx(id, _) => Some(id),
            Target::Receiver(_) => carrier,
        };
        self.all || id.is_some_and(|id| self.outputs.contains(&id))
    }

    /// Whether a port may be fed by a statement that is missing.
    #[must_use]
    pub fn feeds(&self, id: ControllerId, port: u32) -> bool {
        let fed = |(controller, first, last): &(ControllerId, u32, u32)| {
            *controller == id && (*first..=*last).contains(&port)
        };
        self.all || self.any_feed || self.feeds.iter().any(fed)
    }
}
