//! Places lines on the ports of controllers: the engine alone, without names, files or messages.
//!
//! A *site* is a controller, a *place* is where ports come out (the controller or a receiver), a
//! *group* is a prop, a *line* is a string or a chain of strings that hangs on one port. What
//! must hold: a port accepts the line's class; all lines of a port have one kind of node; nodes
//! and current of a port stay within its room; the slots of a site stay within its limit.
//!
//! What is wanted, each only where all before it are equal: every line has a port; the fewest
//! strings leave the port that they hang on ([`Load::home`]); the fewest lines hang on a port where
//! they would move others ([`Socket::kept`]); then the order of [`Order`].
//!
//! Method: starts (`start`) by first fit and best fit decreasing with whole groups, and by patterns
//! of a linear programme (`bins`, `column`) where ports are alike. Groups then move between sites
//! (`bays`), come side by side (`arrange`), and are taken away and put back (`improve`). `bound`
//! proves how few ports are possible, `exact` searches small instances, `clash` finds out which
//! lines cannot fit together. `tidy` shortens leads once more and numbers the ports. Everything
//! counts steps, never time: the same instance gives the same answer on every machine.

mod arrange;
mod bays;
mod bins;
mod bound;
mod clash;
mod column;
mod exact;
mod fill;
mod improve;
mod insert;
mod random;
mod seek;
mod start;
mod state;
mod tidy;

pub use clash::{Cause, Clash, clashes};
pub use seek::{any, fits, seek};

/// What is to be placed, and where it may go.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Instance {
    /// Controllers.
    pub sites: Vec<Site>,
    /// Their ports, site by site, side by side.
    pub ports: Vec<Socket>,
    /// What ports take: by look ([`Socket::look`]), then by class; `None` where it is not accepted.
    pub looks: Vec<Vec<Option<Room>>>,
    /// The kind of each class: lines of unlike kinds never share a port.
    pub kinds: Vec<usize>,
    /// Props.
    pub groups: Vec<Group>,
    /// What is wanted first.
    pub order: Order,
}

/// What is wanted, in which order. One site for all lines of a group always comes first.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Order {
    /// Lines of a group side by side, then ports, leads, evenness.
    #[default]
    Neighbours,
    /// Ports, then side by side, leads, evenness.
    Ports,
    /// Leads, then side by side, ports, evenness.
    Leads,
    /// Evenness, then side by side, ports, leads.
    Even,
}

/// A controller.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Site {
    /// Limit on the slots of all its ports; `u64::MAX` where there is none.
    pub limit: u64,
    /// Slots of it that are taken by what has no port here.
    pub taken: u64,
    /// The slots of a port are rounded up to a multiple of this; at least 1.
    pub unit: u64,
    /// Slots left free after each port in use.
    pub spare: u64,
    /// Nodes it carries already; only counts for evenness.
    pub carried: u64,
}

/// One port.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Socket {
    /// Its site.
    pub site: usize,
    /// Its number there. Ports whose numbers follow one another are neighbours.
    pub number: u32,
    /// Where it comes out.
    pub place: usize,
    /// What it takes.
    pub look: usize,
    /// The kind of what hangs on it already.
    pub kind: Option<usize>,
    /// In use already: placing something here opens no new port.
    pub used: bool,
    /// What is placed here would move other strings.
    pub kept: bool,
    /// Slots on it already.
    pub slots: u64,
}

/// What a port has left for a class.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Room {
    /// Nodes.
    pub nodes: u64,
    /// Current in microamperes; `u64::MAX` where nothing limits it.
    pub current: u64,
}

/// A prop: lines that belong together.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Group {
    /// Its lines in order.
    pub lines: Vec<Load>,
    /// Lead of one line to each place, in tenths of a metre; empty where unknown.
    pub lead: Vec<u64>,
}

/// A string, or a chain of strings, that hangs on one port.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Load {
    /// Nodes it takes.
    pub size: u64,
    /// Current it takes, in microamperes.
    pub draw: u64,
    /// Slots it takes of its site.
    pub slots: u64,
    /// What its port must accept.
    pub class: usize,
    /// Whether it must have a port of its own.
    pub alone: bool,
    /// The port it hangs on now.
    pub home: Option<usize>,
    /// What it costs to leave that port: strings, then slots.
    pub plugs: (u64, u64),
}

/// Everything has its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// For each group, the port of each line.
    pub ports: Vec<Vec<usize>>,
    /// Ports in use now that were not before.
    pub opened: u64,
    /// Proven: no answer with as few groups on several sites opens fewer ports.
    pub bound: u64,
    /// The fewest opened ports that were found when ports came before side by side.
    pub fewest: u64,
    /// Lead of all lines, in tenths of a metre.
    pub lead: u64,
    /// Proven: no less lead is possible.
    pub least_lead: bool,
    /// Groups on more than one site.
    pub split: u64,
    /// Groups on one site whose lines are not side by side in order.
    pub apart: u64,
    /// Strings that leave their port.
    pub plugs: u64,
    /// The search ended by itself; otherwise its steps ran out.
    pub finished: bool,
    /// Steps used.
    pub steps: u64,
}

/// Not everything found a place.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct NoRoom {
    /// The best try: for each group, the port of each line.
    pub ports: Vec<Vec<Option<usize>>>,
    /// Proven: there is no room.
    pub proven: bool,
    /// Steps used.
    pub steps: u64,
}

/// The most steps that are taken in all. A step is about one look at a line or a port.
pub const MOST_STEPS: u64 = 48_000_000;

/// The budget for `lines` lines: for few lines it grows with the square of their number. Above 150
/// lines it falls to half of the most: a step takes longer there, and more steps gain little.
#[must_use]
pub fn budget(lines: usize) -> u64 {
    let lines = lines as u64;
    let most = (MOST_STEPS * 150 / lines.max(150)).max(MOST_STEPS / 2);
    most.min(100_000 + lines.saturating_mul(lines.min(50)).saturating_mul(6_400))
}
