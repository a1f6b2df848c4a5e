//! What the solver is given: data lines with their conductors, and which of them hang together.
//!
//! `build.rs` makes the lines out of model and plan. A stretch is what lies on one piece of plus; a
//! line is its stretches from the box on, whose minus is whole.

use super::build::{Built, build};
use super::make::{Make, celsius};
use super::solve::{Draw, Ladder, Point, Source, Tap};
use crate::cable::loop_ohms;
use crate::loads::From;
use crate::model::{ControllerId, FeedLead, Model, NodeId, ReceiverId, StringId, Told};
use crate::plan::Plan;
use crate::source::Span;
use crate::unit::Gauge;

/// The most points of one group: longer than any line that works, and it bounds the memory.
pub const MOST_POINTS: u64 = 400_000;

/// The most taps of a display: what comes after them is left out.
pub const MOST_TAPS_IN_ALL: usize = 200_000;

/// The most taps of one section.
pub const MOST_TAPS: usize = 10_000;

/// All level: 100 %, in thousandths of a percent.
pub const FULL: u32 = 100_000;

/// A stretch of equal points.
#[derive(Clone, Copy, Debug)]
pub struct Run {
    /// How many.
    pub count: u32,
    /// The plus of the segment before each, in ohm; 0 where `apart` cuts it.
    pub plus: f64,
    /// Its minus.
    pub minus: f64,
    /// The lowest voltage that they work at.
    pub floor: f64,
    /// The nodes there; `None` for a lead.
    pub make: Option<NodeId>,
    /// Whether they show something.
    pub lit: bool,
    /// Their string.
    pub string: Option<StringId>,
    /// The number in its string of the first one, from 1.
    pub first: u32,
    /// Where it is written: the reference, or the lead.
    pub at: Span,
    /// Its conductor, where that is known.
    pub gauge: Option<Gauge>,
    /// The conductor and length of a lead.
    pub lead: Option<(Gauge, i64)>,
}

/// A point of injection of a section.
#[derive(Clone, Copy, Debug)]
pub struct Site {
    /// The `inject` statement.
    pub injection: u32,
    /// The string.
    pub string: StringId,
    /// How many nodes of the string come before it.
    pub after: u32,
    /// What it comes through.
    pub lead: FeedLead,
    /// The point of the section: 0 for its start.
    pub point: u32,
    /// What is between its lead and the point, in ohm.
    pub ohms: f64,
}

/// A stretch of a data line on one piece of plus.
#[derive(Clone, Debug)]
pub struct Stretch {
    /// Its output, as an index of the plan's.
    pub port: u32,
    /// The receiver it hangs on.
    pub receiver: Option<ReceiverId>,
    /// What its plus comes from.
    pub from: From,
    /// Its allowed level, in thousandths of a percent.
    pub level: u32,
    /// What is on it, from its start.
    pub runs: Vec<Run>,
    /// Its injections, by point.
    pub sites: Vec<Site>,
    /// The first string that draws: its reference.
    pub at: Option<Span>,
    /// The voltage of the port, or of the first nodes where the port has none.
    pub volts: Option<i64>,
    /// What the port itself says of it.
    pub volts_of_port: Option<i64>,
    /// The voltage that nodes get which do not say their own: the port's, or that of the first
    /// supply that feeds it.
    pub usual: Option<i64>,
    /// The port's fuse.
    pub fuse: Option<Told<i64>>,
    /// Whether everything along it is known.
    pub whole: bool,
    /// Nodes on it that do not say what they draw.
    pub silent: u32,
    /// Whether it is too long to be reckoned, or joined wrongly: it is then left out.
    pub left_out: bool,
    /// How many points it has.
    pub points: u32,
}

/// A data line from its box on, its plus in pieces.
#[derive(Clone, Debug)]
pub struct DataLine {
    /// The controller.
    pub controller: ControllerId,
    /// The receiver where it is that one's port.
    pub receiver: Option<ReceiverId>,
    /// What feeds the port.
    pub from: From,
    /// Its pieces; the plus is cut between each two.
    pub pieces: Vec<Piece>,
}

/// A piece of a data line.
#[derive(Clone, Debug)]
pub enum Piece {
    /// A stretch, by its index.
    Stretch(usize),
    /// Conductors with nothing on them that draws or feeds.
    Bare(Vec<Run>),
}

/// Stretches that are solved together: those whose ports share a lead.
#[derive(Clone, Debug)]
pub struct Group {
    /// The `power` statement.
    pub power: Option<u32>,
    /// Its lead.
    pub lead: Option<FeedLead>,
    /// Its stretches, as indices.
    pub members: Vec<usize>,
}

/// Everything that carries current.
#[derive(Clone, Debug, Default)]
pub struct Nets {
    /// By make of node.
    pub makes: Vec<Make>,
    /// By output, then in chain order.
    pub stretches: Vec<Stretch>,
    /// The lines that they are on.
    pub lines: Vec<DataLine>,
    /// What is solved together.
    pub groups: Vec<Group>,
    /// Stretches on which nothing is known to draw. They are not solved, but a fuse protects their conductors too.
    pub undrawn: Vec<Stretch>,
    /// The group of each stretch.
    group_of: Vec<usize>,
}

impl Nets {
    /// Stretches with their groups.
    #[must_use]
    pub fn new(makes: Vec<Make>, stretches: Vec<Stretch>, groups: Vec<Group>) -> Self {
        let mut group_of = vec![usize::MAX; stretches.len()];
        for (at, group) in groups.iter().enumerate() {
            for index in &group.members {
                if let Some(entry) = group_of.get_mut(*index) {
                    *entry = at;
                }
            }
        }
        Self {
            makes,
            stretches,
            lines: Vec::new(),
            groups,
            undrawn: Vec::new(),
            group_of,
        }
    }

    /// Every stretch: what is solved by its index, then what nothing draws from.
    pub fn all(&self) -> impl Iterator<Item = &Stretch> {
        self.stretches.iter().chain(&self.undrawn)
    }

    /// The group of a stretch.
    #[must_use]
    pub fn group_of(&self, stretch: usize) -> Option<&Group> {
        self.groups.get(*self.group_of.get(stretch)?)
    }
}

/// The nets of a display.
#[must_use]
pub fn nets(model: &Model, plan: &Plan) -> Nets {
    let Built {
        makes,
        mut stretches,
        undrawn,
        lines,
    } = build(model, plan);
    let groups = groups(model, &mut stretches);
    Nets {
        lines,
        undrawn,
        ..Nets::new(makes, stretches, groups)
    }
}

/// Stretches of one `power` statement together, all others alone.
fn groups(model: &Model, stretches: &mut [Stretch]) -> Vec<Group> {
    let mut shared: Vec<Vec<usize>> = vec![Vec::new(); model.powers.len()];
    let mut groups = Vec::new();
    for (index, stretch) in stretches.iter().enumerate() {
        match stretch.from {
            From::Power(power) => {
                if let Some(members) = shared.get_mut(power as usize) {
                    members.push(index);
                }
            }
            _ => groups.push(Group {
                power: None,
                lead: None,
                members: vec![index],
            }),
        }
    }
    for (power, members) in shared.into_iter().enumerate() {
        let points = |index: &usize| stretches.get(*index).map_or(0, |s| u64::from(s.points));
        if members.iter().map(points).sum::<u64>() > MOST_POINTS {
            for index in &members {
                if let Some(stretch) = stretches.get_mut(*index) {
                    stretch.left_out = true;
                }
            }
        }
        if !members.is_empty() {
            groups.push(Group {
                power: Some(power as u32),
                lead: model.powers.get(power).map(|power| power.lead),
                members,
            });
        }
    }
    groups
}

impl Run {
    /// What each of its nodes draws at a level, in thousandths of a percent.
    #[must_use]
    pub fn draw(&self, makes: &[Make], level: u32) -> Draw {
        let make = self.make.and_then(|id| makes.get(id.index()));
        let share = if self.lit {
            f64::from(level) / f64::from(FULL)
        } else {
            0.0
        };
        make.map_or(Draw::default(), |make| Draw {
            amps: make.amps * share + make.idle,
            watts: make.watts * share,
            floor: self.floor,
        })
    }
}

impl Stretch {
    /// The level that its nodes have, where a level for all may stand in for its own.
    #[must_use]
    pub fn level(&self, all: Option<u32>) -> u32 {
        all.unwrap_or(self.level)
    }

    /// An empty one that begins where the plus of this one is cut.
    #[must_use]
    pub fn behind_a_cut(&self) -> Self {
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

    /// How many points it has.
    #[must_use]
    pub fn points(&self) -> u32 {
        self.points
    }

    /// It as a ladder of one conductor there and back, its nodes at a level.
    #[must_use]
    pub fn ladder(&self, model: &Model, makes: &[Make], level: u32) -> Ladder {
        let mut points = Vec::with_capacity(self.points as usize);
        for run in &self.runs {
            let cut = run.plus < run.minus;
            let point = Point {
                ohms: if cut { 0.0 } else { run.plus + run.minus },
                draw: run.draw(makes, level),
            };
            points.resize(points.len() + run.count as usize, point);
        }
        let taps = self
            .sites
            .iter()
            .filter_map(|site| self.tap(model, site))
            .collect();
        Ladder { points, taps }
    }

    /// What a site is to the solver; `None` where its voltage is not known.
    #[must_use]
    pub fn tap(&self, model: &Model, site: &Site) -> Option<Tap> {
        Some(Tap {
            at: site.point as usize,
            source: source(model, &site.lead, self.volts, site.ohms)?,
        })
    }
}

/// The voltage of a lead's supply. One that does not say it has the one that its load is made for.
#[must_use]
pub fn volts(model: &Model, lead: &FeedLead, usual: Option<i64>) -> Option<f64> {
    let supply = model.supplies.get(lead.supply.index())?;
    let volts = supply.volts.map(|volts| volts.value).or(usual)?;
    Some(volts as f64 * 1e-3)
}

fn source(model: &Model, lead: &FeedLead, usual: Option<i64>, more: f64) -> Option<Source> {
    Some(Source {
        volts: volts(model, lead, usual)?,
        ohms: loop_ohms(lead.length_um, lead.gauge, celsius(model)) + more,
    })
}

/// What reaches a group through its trunk: the lead of its `power` statement, or the port itself
/// where the display names no supply.
#[must_use]
pub fn trunk(model: &Model, nets: &Nets, group: &Group) -> Option<Source> {
    let stretch = nets.stretches.get(*group.members.first()?)?;
    match &group.lead {
        Some(lead) => source(model, lead, stretch.volts, 0.0),
        None => {
            let volts = stretch.volts.filter(|_| stretch.from == From::Port)?;
            Some(Source {
                volts: volts as f64 * 1e-3,
                ohms: 0.0,
            })
        }
    }
}
