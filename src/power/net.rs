//! From model and plan to ladders: which plus joins what, and with how much copper between.
//!
//! On a data line plus and minus run along with the data, from the port through leads and strings to the end of the
//! chain, or to where an injection is `apart`. A receiver's port is a beginning of its own. Every node stands behind
//! one pitch of its string's conductor; an injection at the end of a string reaches its last node through one pitch
//! more, and one at every so many nodes is at the last of these. What is stored is not there.

use super::make::{Make, celsius, make};
use super::solve::{Draw, Ladder, Point, Source, Tap};
use crate::cable::loop_ohms;
use crate::loads::From;
use crate::model::{
    FeedLead, InjectAt, Model, NodeId, Output, PieceKind, ReceiverId, ShapeRun, StringId, Told,
};
use crate::plan::{ChainPiece, Plan, PortPlan};
use crate::source::Span;
use crate::unit::Gauge;

/// The most points of one group and taps of one section: longer than any line that works, and it bounds the memory.
const MOST_POINTS: u64 = 400_000;
const MOST_TAPS: usize = 10_000;

/// All level: 100 %, in thousandths of a percent.
pub const FULL: u32 = 100_000;

/// A stretch of equal points.
#[derive(Clone, Copy, Debug)]
pub struct Run {
    /// How many.
    pub count: u32,
    /// The segment before each, in ohm.
    pub ohms: f64,
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
    /// The port's fuse.
    pub fuse: Option<Told<i64>>,
    /// Whether everything along it is known.
    pub whole: bool,
    /// Whether it is too long to be reckoned, or joined wrongly: it is then left out.
    pub left_out: bool,
    points: u32,
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
#[derive(Debug, Default)]
pub struct Nets {
    /// By make of node.
    pub makes: Vec<Make>,
    /// By output, then in chain order.
    pub stretches: Vec<Stretch>,
    /// What is solved together.
    pub groups: Vec<Group>,
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
            groups,
            group_of,
        }
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
    let makes = model.nodes.iter().map(|node| make(model, node)).collect();
    let mut builder = Builder {
        model,
        makes,
        sites: sites(model),
        stretches: Vec::new(),
    };
    for (index, port) in plan.ports.iter().enumerate() {
        if let Output::Pixel(number) = port.output {
            let parts = port.pieces.chunk_by(|a, b| a.receiver == b.receiver);
            for part in parts {
                builder.part(index as u32, port, number, part);
            }
        }
    }
    let Builder {
        makes,
        mut stretches,
        ..
    } = builder;
    let groups = groups(model, &mut stretches);
    Nets::new(makes, stretches, groups)
}

/// Each string's injections, by string.
fn sites(model: &Model) -> Vec<(StringId, u32)> {
    let mut sites: Vec<(StringId, u32)> = Vec::new();
    for (index, injection) in model.injections.iter().enumerate() {
        sites.extend(injection.strings.iter().map(|id| (*id, index as u32)));
    }
    sites.sort_unstable();
    sites
}

/// One injection on one string, in the order along it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Event {
    /// Nodes before it.
    after: u32,
    /// Whether the plus is cut before it.
    apart: bool,
    /// Whether it is at the node behind the cut itself.
    on_node: bool,
    /// Whether it is behind the last node, one pitch on.
    behind: bool,
    injection: u32,
}

struct Builder<'a> {
    model: &'a Model,
    makes: Vec<Make>,
    sites: Vec<(StringId, u32)>,
    stretches: Vec<Stretch>,
}

impl Builder<'_> {
    fn make(&self, id: Option<NodeId>) -> Option<&Make> {
        self.makes.get(id?.index())
    }

    /// Everything of a port that hangs on one receiver, or on the controller itself.
    fn part(&mut self, index: u32, port: &PortPlan, number: u32, pieces: &[ChainPiece]) {
        let model = self.model;
        let Some(receiver) = pieces.first().map(|piece| piece.receiver) else {
            return;
        };
        let settings = model.port_settings(port.controller, number, receiver);
        let told = settings.as_ref().and_then(|settings| settings.dim);
        let level = told
            .or(model.controller(port.controller).and_then(|c| c.dim))
            .or(model.display.dim);
        let volts = settings.as_ref().and_then(|settings| settings.volts);
        let mut on = Stretch {
            port: index,
            receiver,
            from: self.fed_from(port, number, receiver),
            level: level.map_or(FULL, |level| level.value),
            runs: Vec::new(),
            sites: Vec::new(),
            at: None,
            volts: volts.map(|volts| volts.value),
            volts_of_port: volts.map(|volts| volts.value),
            fuse: settings.as_ref().and_then(|settings| settings.fuse),
            whole: true,
            left_out: false,
            points: 0,
        };
        for (at, piece) in pieces.iter().enumerate() {
            match piece.piece.kind {
                PieceKind::Lead(length, gauge) => {
                    let gauge = gauge.or(self.lead(near(model, pieces, at)));
                    self.cable(&mut on, length, gauge, piece.piece.at);
                }
                PieceKind::Skip(count) => {
                    let node = near(model, pieces, at);
                    self.nodes(&mut on, node, None, (count, 0), piece.piece.at);
                }
                PieceKind::String(id, _) => {
                    if model.string(id).is_some_and(|string| !string.stored) {
                        self.string(&mut on, id, piece.piece.at);
                    }
                }
            }
        }
        self.close(on);
    }

    fn fed_from(&self, port: &PortPlan, number: u32, receiver: Option<ReceiverId>) -> From {
        let model = self.model;
        if model.supplies.is_empty() {
            return From::Port;
        }
        let power = model.powers.iter().position(|power| {
            power.controller == port.controller
                && power.receiver == receiver
                && (power.first..=power.last).contains(&number)
        });
        power.map_or(From::Nothing, |power| From::Power(power as u32))
    }

    /// What a lead is made of where nothing is said.
    fn lead(&self, node: Option<NodeId>) -> Option<Gauge> {
        let strings = || self.model.nodes.get(node?.index())?.gauge;
        let told = self.model.display.lead.or_else(strings);
        told.map(|gauge| gauge.value)
    }

    fn cable(&mut self, on: &mut Stretch, length: i64, gauge: Option<Gauge>, at: Span) {
        on.whole &= gauge.is_some();
        let ohms = gauge.map_or(0.0, |gauge| loop_ohms(length, gauge, celsius(self.model)));
        on.points += 1;
        on.runs.push(Run {
            count: 1,
            ohms,
            make: None,
            lit: false,
            string: None,
            first: 0,
            at,
            gauge,
            lead: gauge.map(|gauge| (gauge, length)),
        });
    }

    /// `what`: how many nodes, and the number of the first; 0 for nodes that show nothing.
    fn nodes(
        &mut self,
        on: &mut Stretch,
        node: Option<NodeId>,
        string: Option<StringId>,
        what: (u32, u32),
        at: Span,
    ) {
        let (count, first) = what;
        let Some(make) = self.make(node).copied().filter(|_| count > 0) else {
            return;
        };
        on.whole &= make.whole;
        on.points = on.points.saturating_add(count);
        on.runs.push(Run {
            count,
            ohms: make.ohms,
            make: node,
            lit: first > 0,
            string,
            first,
            at,
            gauge: make.gauge,
            lead: None,
        });
        if first > 0 && make.draws {
            on.at = on.at.or(Some(at));
            on.volts = on.volts.or(make.volts.map(|volts| volts.value));
        }
    }

    fn string(&mut self, on: &mut Stretch, id: StringId, at: Span) {
        let model = self.model;
        let Some(shape) = model.shape_of(id) else {
            return;
        };
        let Some(node) = shape.node else { return };
        let events = self.events(id, shape.nodes, shape.strand);
        let mut events = events.iter().peekable();
        let mut done = 0;
        let plain = [ShapeRun::Nodes(None, shape.nodes)];
        let runs = if shape.runs.is_empty() {
            &plain
        } else {
            shape.runs.as_slice()
        };
        while let Some(event) = events.next_if(|event| event.after == 0 && !event.on_node) {
            self.inject(on, id, *event, node, at);
        }
        for run in runs {
            match run {
                ShapeRun::Nodes(_, count) => {
                    let end = done + count;
                    while let Some(event) =
                        events.next_if(|event| event.after + u32::from(event.on_node) <= end)
                    {
                        let mut event = *event;
                        // Two that are apart at one node are two feeds of what begins there.
                        if event.on_node && event.after < done {
                            (event.apart, event.on_node) = (false, false);
                        }
                        let count = event.after.saturating_sub(done);
                        self.nodes(on, Some(node), Some(id), (count, done + 1), at);
                        done = done.max(event.after);
                        self.inject(on, id, event, node, at);
                        done += u32::from(event.on_node);
                    }
                    self.nodes(on, Some(node), Some(id), (end - done, done + 1), at);
                    done = end;
                }
                ShapeRun::Skip(count) => self.nodes(on, Some(node), Some(id), (*count, 0), at),
                ShapeRun::Lead(length, gauge) => {
                    let gauge = gauge.or(self.lead(Some(node)));
                    self.cable(on, *length, gauge, shape.at);
                }
            }
        }
    }

    /// The injections of a string in the order along it.
    fn events(&self, id: StringId, nodes: u32, strand: Option<u32>) -> Vec<Event> {
        let from = self.sites.partition_point(|site| site.0 < id);
        let mut events = Vec::new();
        let mine = self.sites.get(from..).unwrap_or(&[]);
        for (_, index) in mine.iter().take_while(|site| site.0 == id) {
            let Some(injection) = self.model.injections.get(*index as usize) else {
                continue;
            };
            let apart = injection.apart;
            let event = |after, on_node| Event {
                after,
                apart,
                on_node,
                behind: after == nodes && !on_node,
                injection: *index,
            };
            let every = |step: u32| {
                let times = nodes
                    .checked_div(step)
                    .unwrap_or(0)
                    .min(MOST_TAPS as u32 + 1);
                (1..=times).map(move |time| event(time * step, false))
            };
            match injection.place {
                InjectAt::Start => events.push(event(0, false)),
                InjectAt::End => events.push(event(nodes, false)),
                InjectAt::Node(node) if apart => events.push(event(node.saturating_sub(1), true)),
                InjectAt::Node(node) => events.push(Event {
                    behind: false,
                    ..event(node, false)
                }),
                InjectAt::EveryNodes(step) => events.extend(every(step)),
                InjectAt::EveryStrands(step) => {
                    let step = u64::from(step) * u64::from(strand.unwrap_or(1));
                    events.extend(u32::try_from(step).into_iter().flat_map(every));
                }
            }
        }
        events.sort_unstable();
        events
    }

    fn inject(&mut self, on: &mut Stretch, id: StringId, event: Event, node: NodeId, at: Span) {
        let make = self.make(Some(node)).copied();
        // Where the plus was cut just here it need not be cut again.
        let begins = on.from == From::Taps && on.points == 0 && !on.sites.is_empty();
        if event.apart && !begins {
            let fresh = Stretch {
                from: From::Taps,
                runs: Vec::new(),
                sites: Vec::new(),
                at: None,
                volts: None,
                volts_of_port: None,
                fuse: None,
                whole: true,
                left_out: on.left_out,
                points: 0,
                ..*on
            };
            let before = std::mem::replace(on, fresh);
            self.close(before);
        }
        if on.sites.len() >= MOST_TAPS {
            on.left_out = true;
            return;
        }
        let pigtail = make.filter(|_| event.behind && !event.apart);
        let Some(injection) = self.model.injections.get(event.injection as usize) else {
            return;
        };
        on.sites.push(Site {
            injection: event.injection,
            lead: injection.lead,
            string: id,
            after: event.after + u32::from(event.on_node),
            point: on.points,
            ohms: pigtail.map_or(0.0, |make| make.ohms),
        });
        if event.on_node {
            self.nodes(on, Some(node), Some(id), (1, event.after + 1), at);
            if let Some(run) = on.runs.last_mut() {
                run.ohms = 0.0;
            }
        }
    }

    /// Keeps a stretch that draws something.
    fn close(&mut self, mut on: Stretch) {
        if on.at.is_none() && on.sites.is_empty() {
            return;
        }
        if !on.sites.is_empty() && on.from == From::Nothing {
            on.from = From::Taps;
        }
        on.left_out |= u64::from(on.points) > MOST_POINTS / 4;
        self.stretches.push(on);
    }
}

/// The make of the string before a piece, or of the one behind it.
fn near(model: &Model, pieces: &[ChainPiece], at: usize) -> Option<NodeId> {
    let node = |piece: &ChainPiece| match piece.piece.kind {
        PieceKind::String(id, _) => model.shape_of(id)?.node,
        _ => None,
    };
    let (before, after) = pieces.split_at_checked(at)?;
    let before = before.iter().rev().find_map(node);
    before.or_else(|| after.iter().find_map(node))
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

impl Stretch {
    /// The level that its nodes have, where a level for all may stand in for its own.
    #[must_use]
    pub fn level(&self, all: Option<u32>) -> u32 {
        all.unwrap_or(self.level)
    }

    /// How many points it has.
    #[must_use]
    pub fn points(&self) -> u32 {
        self.points
    }

    /// It as a ladder, its nodes at a level.
    #[must_use]
    pub fn ladder(&self, model: &Model, makes: &[Make], level: u32) -> Ladder {
        let share = f64::from(level) / f64::from(FULL);
        let mut points = Vec::with_capacity(self.points as usize);
        for run in &self.runs {
            let make = run.make.and_then(|id| makes.get(id.index()));
            let draw = make.map_or(Draw::default(), |make| {
                let share = if run.lit { share } else { 0.0 };
                Draw {
                    amps: make.amps * share + make.idle,
                    watts: make.watts * share,
                    floor: make.floor,
                }
            });
            let point = Point {
                ohms: run.ohms,
                draw,
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

/// A lead from a supply. A supply that does not say its voltage has the one that its load is made for.
fn source(model: &Model, lead: &FeedLead, usual: Option<i64>, more: f64) -> Option<Source> {
    let supply = model.supplies.get(lead.supply.index())?;
    let volts = supply.volts.map(|volts| volts.value).or(usual)?;
    Some(Source {
        volts: volts as f64 * 1e-3,
        ohms: loop_ohms(lead.length_um, lead.gauge, celsius(model)) + more,
    })
}

/// What reaches a group through its trunk: the lead of its `power` statement, or the port itself where the display
/// names no supply.
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
