//! Data lines with their conductors, and which of them share a lead.
//!
//! `build.rs` makes them from model and plan. A stretch is the part of a line on one piece of plus.
//! A line is all its stretches from the box on; its minus is whole.

use super::make::Make;
use super::network::Draw;
use crate::keyed::{Keyed, id};
use crate::loads::{From, SectionId};
use crate::model::{
    ControllerId, FeedLead, InjectionId, Model, NodeId, PowerId, ReceiverId, Stated, StringId,
};
use crate::plan::PortId;
use crate::source::Span;
use crate::unit::Gauge;

/// The most points of stretches that share a lead; one stretch may have a quarter of it. No line
/// that works is longer. The limit bounds memory.
pub const MOST_POINTS: u64 = 400_000;

/// The most points of injection in a display; stretches with further ones are left out.
pub const MOST_TAPS_IN_ALL: usize = 200_000;

/// The most points of injection on one stretch; one with more is left out.
pub const MOST_TAPS: usize = 10_000;

/// Full level: 100 %, in thousandths of a percent.
pub const FULL: u32 = 100_000;

id!(
    /// A data line from its box on.
    LineId
);
id!(
    /// Stretches that share a lead.
    GroupId
);

/// A row of equal points.
#[derive(Clone, Copy, Debug)]
pub struct Run {
    /// How many points.
    pub count: u32,
    /// The plus of the segment before each point, in ohm; 0 where `apart` cuts it.
    pub plus: f64,
    /// The minus of that segment, in ohm.
    pub minus: f64,
    /// The lowest voltage that the nodes work at, in volts.
    pub floor: f64,
    /// The make of the nodes; `None` for a lead.
    pub make: Option<NodeId>,
    /// Whether the nodes show something.
    pub lit: bool,
    /// Their string; `None` for leads and for skips between strings.
    pub string: Option<StringId>,
    /// The number of the first node in its string, from 1; 0 where none shows anything.
    pub first: u32,
    /// Where it is written: the reference, or the lead.
    pub at: Span,
    /// Its conductor, where that is known.
    pub gauge: Option<Gauge>,
    /// Conductor and length (micrometres) of a lead, where the conductor is known.
    pub lead: Option<(Gauge, i64)>,
}

/// A point of injection on a stretch.
#[derive(Clone, Copy, Debug)]
pub struct Spot {
    /// The `inject` statement.
    pub injection: InjectionId,
    /// The string.
    pub string: StringId,
    /// How many nodes of the string come before it.
    pub after: u32,
    /// The lead that feeds it.
    pub lead: FeedLead,
    /// The point of the stretch that it feeds: 0 for its start.
    pub point: u32,
    /// The resistance between its lead and the point, in ohm.
    pub ohms: f64,
}

/// The part of a data line on one piece of plus.
#[derive(Clone, Debug)]
pub struct NetSection {
    /// Its output.
    pub port: PortId,
    /// The receiver it hangs on.
    pub receiver: Option<ReceiverId>,
    /// What its plus comes from.
    pub from: From,
    /// The level that the display allows it, in thousandths of a percent.
    pub level: u32,
    /// What is on it, from its start.
    pub runs: Vec<Run>,
    /// Its injections, by point.
    pub sites: Vec<Spot>,
    /// Where the first nodes that draw are written.
    pub at: Option<Span>,
    /// The voltage of the port, else of the first nodes that draw and state one; in millivolts.
    pub volts: Option<i64>,
    /// The voltage that the port states, in millivolts.
    pub volts_of_port: Option<i64>,
    /// The voltage that nodes get that do not state one: the port's, else that of the first supply
    /// that feeds the stretch; in millivolts.
    pub usual: Option<i64>,
    /// The port's fuse.
    pub fuse: Option<Stated<i64>>,
    /// Whether every pitch and conductor along it is known.
    pub whole: bool,
    /// How many nodes on it do not state what they draw.
    pub silent: u32,
    /// Whether it is not solved: too long, joined wrongly, or in part not understood.
    pub left_out: bool,
    /// How many points it has.
    pub points: u32,
}

/// A data line from its box on.
#[derive(Clone, Debug)]
pub struct DataLine {
    /// The controller.
    pub controller: ControllerId,
    /// The receiver whose port it comes out of, if any.
    pub receiver: Option<ReceiverId>,
    /// What feeds the port.
    pub from: From,
    /// Its pieces from its start; the plus is cut between neighbours.
    pub pieces: Vec<Passage>,
}

/// A piece of a data line.
#[derive(Clone, Debug)]
pub enum Passage {
    /// A stretch.
    NetSection(SectionId),
    /// Conductors on which nothing draws or feeds.
    Bare(Vec<Run>),
}

/// Stretches whose ports share the lead of a `power` statement, or one stretch without it.
#[derive(Clone, Debug)]
pub struct Group {
    /// The `power` statement; `None` for a stretch that is not fed through one.
    pub power: Option<PowerId>,
    /// Its stretches; never empty.
    pub members: Vec<SectionId>,
}

/// Everything that carries current.
#[derive(Clone, Debug, Default)]
pub struct Nets {
    /// The electrical side of each make of node.
    pub makes: Keyed<NodeId, Make>,
    /// The stretches that are solved, by output, then in chain order.
    pub stretches: Keyed<SectionId, NetSection>,
    /// The lines that they are on.
    pub lines: Keyed<LineId, DataLine>,
    /// Which of them share a lead.
    pub groups: Keyed<GroupId, Group>,
    /// Stretches on which nothing is known to draw. They are not solved, but fuses protect their
    /// conductors too.
    pub undrawn: Vec<NetSection>,
    /// The group of each stretch.
    pub group_of: Keyed<SectionId, GroupId>,
}

impl Nets {
    /// Every stretch: those that are solved, then those on which nothing is known to draw.
    pub fn all(&self) -> impl Iterator<Item = &NetSection> {
        self.stretches.iter().chain(&self.undrawn)
    }

    /// The group of a stretch.
    #[must_use]
    pub fn group(&self, stretch: SectionId) -> &Group {
        &self.groups[self.group_of[stretch]]
    }

    /// The stretches of a line.
    pub fn on<'a>(&'a self, line: &'a DataLine) -> impl Iterator<Item = &'a NetSection> {
        line.stretches().map(|id| &self.stretches[id])
    }

    /// The stretches of a group.
    pub fn of<'a>(&'a self, group: &'a Group) -> impl Iterator<Item = &'a NetSection> {
        group.members.iter().map(|id| &self.stretches[*id])
    }

    /// Puts stretches of one `power` statement into one group, and each other stretch into its own.
    pub(super) fn share_leads(&mut self, model: &Model) {
        let mut shared: Keyed<PowerId, Vec<SectionId>> = model.powers.map(|_| Vec::new());
        for (id, stretch) in self.stretches.pairs() {
            match stretch.from {
                From::Power(power) => shared[power].push(id),
                _ => {
                    self.groups.push(Group { power: None, members: vec![id] });
                }
            }
        }
        for (power, members) in model.powers.ids().zip(shared) {
            let points = |id: &SectionId| u64::from(self.stretches[*id].points);
            if members.iter().map(points).sum::<u64>() > MOST_POINTS {
                for id in &members {
                    self.stretches[*id].left_out = true;
                }
            }
            if !members.is_empty() {
                self.groups.push(Group { power: Some(power), members });
            }
        }
        self.group_of = self.stretches.map(|_| GroupId(0));
        for (id, group) in self.groups.pairs() {
            for member in &group.members {
                self.group_of[*member] = id;
            }
        }
    }
}

impl Group {
    /// The lead that its stretches share.
    #[must_use]
    pub fn lead(&self, model: &Model) -> Option<FeedLead> {
        self.power.map(|power| model.powers[power].lead)
    }
}

impl DataLine {
    /// Its stretches.
    pub fn stretches(&self) -> impl Iterator<Item = SectionId> {
        self.pieces.iter().filter_map(|piece| match piece {
            Passage::NetSection(id) => Some(*id),
            Passage::Bare(_) => None,
        })
    }
}

impl Run {
    /// What each of its nodes draws at a level (thousandths of a percent).
    #[must_use]
    pub fn draw(&self, makes: &Keyed<NodeId, Make>, level: u32) -> Draw {
        let Some(make) = self.make.map(|id| makes[id]) else {
            return Draw::default();
        };
        let level = if self.lit { level } else { 0 };
        let share = f64::from(level) / f64::from(FULL);
        Draw { amps: make.amps * share + make.idle, watts: make.watts * share, floor: self.floor }
    }
}

impl NetSection {
    /// The level of its nodes: `all` where that is given, else its own.
    #[must_use]
    pub fn level(&self, all: Option<u32>) -> u32 {
        all.unwrap_or(self.level)
    }

    /// An empty stretch that begins where the plus of this one is cut.
    #[must_use]
    pub fn after_a_cut(&self) -> Self {
        Self {
            from: From::Taps,
            runs: Vec::new(),
            sites: Vec::new(),
            at: None,
            volts: None,
            volts_of_port: None,
            usual: None,
            fuse: None,
            whole: true,
            silent: 0,
            points: 0,
            ..*self
        }
    }
}

/// The voltage of a lead's supply, in volts. A supply that states none is taken to have `usual`
/// (millivolts), the voltage that its load is made for.
#[must_use]
pub fn volts(model: &Model, lead: &FeedLead, usual: Option<i64>) -> Option<f64> {
    let stated = model.supplies[lead.supply].volts;
    let volts = stated.map(|volts| volts.value).or(usual)?;
    Some(volts as f64 * 1e-3)
}
