//! Places groups of lines on the ports of sites: the engine alone, without names, files or messages.
//!
//! A *site* is a controller or a receiver, a *group* is a prop, a *line* is a string or a chain of strings that hangs on
//! one port. What must hold: a line stands on a port that has room for it and accepts its class; all lines that a call
//! places on one port have the same class; all lines of a group stand on one site, unless that is impossible.
//!
//! What is wanted, each only where all before it are equal:
//!
//! 1. the fewest groups split over sites;
//! 2. the fewest ports that were not in use before;
//! 3. the least lead, summed over lines;
//! 4. even load: the least sum of the squares of the sites' loads;
//! 5. within a site, each group's lines on neighbouring ports in order, then ports evenly filled, then low numbers.
//!
//! Points 1 to 4 decide which site; point 5 is a matter of numbering and never costs a port.
//!
//! Method: small instances are searched exhaustively with bounds (`exact`); others start from a constructive answer and
//! are annealed (`anneal`) over sites, where a site's ports are counted by packing its lines (`fill`) and remembered; one
//! large site is packed by rounding a linear programme (`bins`). `bound` proves how few ports are possible at least.
//! Everything counts steps, never time: the same instance gives the same answer on every machine.

mod anneal;
mod bins;
mod bound;
mod clash;
mod column;
mod exact;
mod fill;
mod mixed;
mod norm;
mod number;
mod place;
mod random;
mod solve;

/// What is to be placed, and where it may go.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Instance {
    /// Controllers and receivers.
    pub sites: Vec<Site>,
    /// Props.
    pub groups: Vec<Group>,
}

/// A controller or a receiver.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Site {
    /// Its ports in the order in which they stand side by side; leave out none, give one that is kept off no room.
    pub ports: Vec<Port>,
    /// Load units it carries already; only counts for the evenness of loads.
    pub carried: u64,
    /// Limit on the sum of the weights of all lines placed here; `u64::MAX` where there is none.
    pub limit: u64,
}

/// One port of a site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Port {
    /// Load units left for each class, indexed by class; 0 or absent where the class is not accepted.
    pub room: Vec<u64>,
    /// In use already: placing something here opens no new port.
    pub open: bool,
}

/// A prop: lines that belong together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// Its lines in order.
    pub lines: Vec<Line>,
    /// Sites it may go to; all where absent.
    pub sites: Option<Vec<usize>>,
    /// Lead of one line to each site, in tenths of a metre; empty or short where unknown, which counts as 0.
    pub lead: Vec<u64>,
    /// Whether its lines may go to several sites when one site cannot take them.
    pub may_split: bool,
}

/// A string, or a chain of strings, that hangs on one port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Load units it takes on its port.
    pub size: u64,
    /// What the port must accept: chip and voltage. Small numbers, as they index `Port::room`.
    pub class: usize,
    /// What it takes of its site's limit.
    pub weight: u64,
}

/// Where a line stands.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Spot {
    /// Index into `Instance::sites`.
    pub site: usize,
    /// Index into `Site::ports`.
    pub port: usize,
}

/// Everything has its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// For each group, for each of its lines, where it stands.
    pub spots: Vec<Vec<Spot>>,
    /// Ports in use now that were not before.
    pub opened: u64,
    /// Lead of all lines, in tenths of a metre.
    pub lead: u64,
    /// Proven: with the same groups split, no answer opens fewer ports.
    pub bound: u64,
    /// Proven: no fewer ports are possible.
    pub fewest_ports: bool,
    /// Proven: with so many ports, no less lead is possible.
    pub least_lead: bool,
    /// Groups that stand on more than one site, because one could not take them.
    pub split: Vec<usize>,
    /// Steps used.
    pub steps: u64,
}

/// There is no room.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoRoom {
    /// Groups that clash, ascending: together they do not fit, and without any one of them the others do.
    pub clash: Vec<usize>,
    /// What they lack.
    pub cause: Cause,
    /// Certain; otherwise the steps ran out before an answer was found.
    pub proven: bool,
    /// The steps sufficed to make the clash minimal.
    pub minimal: bool,
    /// Steps used.
    pub steps: u64,
}

/// What is lacking.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cause {
    /// No port of the group's sites accepts the class of this line.
    Class {
        /// Index of the group.
        group: usize,
        /// Index of the line within the group.
        line: usize,
        /// Class that is not accepted.
        class: usize,
    },
    /// The line is larger than any port of the group's sites has room for.
    Size {
        /// Index of the group.
        group: usize,
        /// Index of the line within the group.
        line: usize,
        /// Load units of the line.
        size: u64,
        /// Load units of the widest port.
        room: u64,
    },
    /// The lines of these classes need more ports than accept them.
    Ports {
        /// Classes, ascending.
        classes: Vec<usize>,
        /// Ports needed at least.
        needed: u64,
        /// Ports that accept one of the classes on the sites allowed.
        free: u64,
    },
    /// The sum of weights does not fit the limits of the sites.
    Limit {
        /// Weight of all lines of the clash.
        weight: u64,
        /// Limits of the sites that they may go to, summed.
        limit: u64,
    },
    /// The lines fit, but not with each group on one site.
    Together,
    /// There are ports and units enough, but the sizes do not fit together.
    Packing,
}

/// The budget when nothing else is said: an answer takes below a second on one core.
///
/// A step is about one look at a line or a port, or sixteen numbers of the linear programme: 5 to 8 nanoseconds where it was
/// measured. Small instances stop long before; explaining a refusal may take as much again.
pub const DEFAULT_STEPS: u64 = 120_000_000;

pub use clash::{clashes, explain};
pub use place::{Failed, fits, place, seek};
