//! Builds data lines from model and plan: what lies on one plus, and the conductors in between.
//!
//! On a data line plus and minus run along with the data, from the port through leads and strings
//! to the end of the chain. An injection that is `apart` cuts the plus before its point; the minus
//! is never cut. Each receiver's port begins a line of its own. Every node comes after one pitch of
//! its string's conductor. An injection at the end of a string reaches the last node through one
//! pitch more; one at every N nodes is at the last of each N. Stored strings are left out.

use super::make::{celsius, floor, make};
use super::net::{DataLine, FULL, MOST_POINTS, MOST_TAPS, MOST_TAPS_IN_ALL, Nets, Passage};
use super::net::{NetSection, Run, Spot};
use crate::cable::loop_ohms;
use crate::loads::From;
use crate::model::{
    InjectAt, InjectionId, Model, NodeId, Output, PieceKind, ReceiverId, ShapeRun, StringId,
};
use crate::plan::{ChainPiece, Plan, PortId, PortPlan};
use crate::source::Span;
use crate::unit::Gauge;

/// Builds everything of a display that carries current.
#[must_use]
pub fn nets(model: &Model, plan: &Plan) -> Nets {
    let mut builder = Builder {
        model,
        sites: sites(model),
        nets: Nets { makes: model.nodes.map(|node| make(model, node)), ..Nets::default() },
        pieces: Vec::new(),
        taps: 0,
    };
    for (id, port) in plan.ports.pairs() {
        if let Output::Pixel(number) = port.output {
            for part in port.pieces.chunk_by(|a, b| a.receiver == b.receiver) {
                builder.part(id, port, number, part);
            }
        }
    }
    builder.nets.share_leads(model);
    builder.nets
}

/// The injections into strings, sorted by string.
fn sites(model: &Model) -> Vec<(StringId, InjectionId)> {
    let mut sites = Vec::new();
    for (id, injection) in model.injections.pairs() {
        sites.extend(injection.strings.iter().map(|string| (*string, id)));
    }
    sites.sort_unstable();
    sites
}

/// Which nodes: their make, their string, and where the display names them.
#[derive(Clone, Copy)]
struct Whose {
    node: NodeId,
    string: Option<StringId>,
    at: Span,
}

/// One injection on one string. The order of the fields sorts events along the string.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Event {
    /// Nodes before it.
    after: u32,
    /// Whether the plus is cut before it.
    apart: bool,
    /// Whether it feeds the node after the cut itself.
    on_node: bool,
    /// Whether it is one pitch after the last node.
    behind: bool,
    injection: InjectionId,
}

struct Builder<'a> {
    model: &'a Model,
    sites: Vec<(StringId, InjectionId)>,
    nets: Nets,
    /// Pieces of the line that is being built.
    pieces: Vec<Passage>,
    taps: usize,
}

impl Builder<'_> {
    /// Builds what hangs on one receiver of a port, or on the controller itself.
    fn part(&mut self, id: PortId, port: &PortPlan, number: u32, pieces: &[ChainPiece]) {
        let model = self.model;
        let Some(receiver) = pieces.first().map(|piece| piece.receiver) else {
            return;
        };
        let settings = model.port_settings(port.controller, number, receiver);
        let told = settings.as_ref().and_then(|settings| settings.dim);
        let level = told.or(model.controllers[port.controller].dim).or(model.display.dim);
        let volts = settings.as_ref().and_then(|settings| settings.volts);
        let volts = volts.map(|volts| volts.value);
        let from = self.fed_from(port, number, receiver);
        let mut on = NetSection {
            port: id,
            receiver,
            from,
            level: level.map_or(FULL, |level| level.value),
            runs: Vec::new(),
            sites: Vec::new(),
            at: None,
            volts,
            volts_of_port: volts,
            usual: volts.or(self.fed_at(from)),
            fuse: settings.as_ref().and_then(|settings| settings.fuse),
            whole: true,
            silent: 0,
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
                    if let Some(node) = near(model, pieces, at) {
                        let whose = Whose { node, string: None, at: piece.piece.at };
                        self.nodes(&mut on, whose, count, 0);
                    }
                }
                PieceKind::String(id, _) => {
                    if model.is_up(id) {
                        self.string(&mut on, id, piece.piece.at);
                    }
                }
            }
        }
        self.close(on);
        let pieces = std::mem::take(&mut self.pieces);
        if pieces.iter().any(|piece| matches!(piece, Passage::NetSection(_))) {
            self.nets.lines.push(DataLine { controller: port.controller, receiver, from, pieces });
        }
    }

    /// The voltage of the supply that feeds a port.
    fn fed_at(&self, from: From) -> Option<i64> {
        let From::Power(power) = from else {
            return None;
        };
        let supply = self.model.powers[power].lead.supply;
        self.model.supplies[supply].volts.map(|volts| volts.value)
    }

    fn fed_from(&self, port: &PortPlan, number: u32, receiver: Option<ReceiverId>) -> From {
        let model = self.model;
        if model.supplies.is_empty() {
            return From::Port;
        }
        let power = model.powers.find(|power| {
            power.controller == port.controller
                && power.receiver == receiver
                && (power.first..=power.last).contains(&number)
        });
        power.map_or(From::Nothing, From::Power)
    }

    /// The conductor of a lead that states none: the display's, else that of a node beside it.
    fn lead(&self, node: Option<NodeId>) -> Option<Gauge> {
        let strings = || self.model.nodes[node?].gauge;
        let told = self.model.display.lead.or_else(strings);
        told.map(|gauge| gauge.value)
    }

    fn cable(&mut self, on: &mut NetSection, length: i64, gauge: Option<Gauge>, at: Span) {
        on.whole &= gauge.is_some();
        let ohms = gauge.map_or(0.0, |gauge| loop_ohms(length, gauge, celsius(self.model)));
        on.points += 1;
        on.runs.push(Run {
            count: 1,
            plus: ohms / 2.0,
            minus: ohms / 2.0,
            floor: 0.0,
            make: None,
            lit: false,
            string: None,
            first: 0,
            at,
            gauge,
            lead: gauge.map(|gauge| (gauge, length)),
        });
    }

    /// Adds nodes. `first` is the number of the first one, 0 for nodes that show nothing.
    fn nodes(&mut self, on: &mut NetSection, whose: Whose, count: u32, first: u32) {
        if count == 0 {
            return;
        }
        let make = self.nets.makes[whose.node];
        on.whole &= make.whole;
        if first > 0 && !make.draws {
            on.silent = on.silent.saturating_add(count);
        }
        on.points = on.points.saturating_add(count);
        on.runs.push(Run {
            count,
            plus: make.ohms / 2.0,
            minus: make.ohms / 2.0,
            floor: 0.0,
            make: Some(whose.node),
            lit: first > 0,
            string: whose.string,
            first,
            at: whose.at,
            gauge: make.gauge,
            lead: None,
        });
        let idle = make.idle > 0.0 && on.from != From::Nothing;
        if make.draws && first > 0 || idle {
            on.at = on.at.or(Some(whose.at));
        }
        if first > 0 && make.draws {
            on.volts = on.volts.or(make.volts.map(|volts| volts.value));
        }
    }

    fn string(&mut self, on: &mut NetSection, id: StringId, at: Span) {
        let model = self.model;
        let shape = model.shape(id);
        let Some(node) = shape.node else { return };
        let whose = Whose { node, string: Some(id), at };
        let events = self.events(id, shape.nodes, shape.strand);
        let mut events = events.iter().peekable();
        let mut done = 0;
        let plain = [ShapeRun::Nodes(None, shape.nodes)];
        let runs = if shape.runs.is_empty() { &plain } else { shape.runs.as_slice() };
        while let Some(event) = events.next_if(|event| event.after == 0 && !event.on_node) {
            self.inject(on, id, *event, whose);
        }
        for run in runs {
            match run {
                ShapeRun::Nodes(_, count) => {
                    let end = done + count;
                    while let Some(event) =
                        events.next_if(|event| event.after + u32::from(event.on_node) <= end)
                    {
                        let mut event = *event;
                        // A second `apart` at one node cuts nothing; it feeds what begins there.
                        if event.on_node && event.after < done {
                            event = Event { after: done, apart: false, on_node: false, ..event };
                        }
                        let count = event.after.saturating_sub(done);
                        self.nodes(on, whose, count, done + 1);
                        done = done.max(event.after);
                        self.inject(on, id, event, whose);
                        done += u32::from(event.on_node);
                    }
                    self.nodes(on, whose, end - done, done + 1);
                    done = end;
                }
                ShapeRun::Skip(count) => self.nodes(on, whose, *count, 0),
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
        let mine = self.sites.iter().skip(from);
        for (_, index) in mine.take_while(|site| site.0 == id) {
            let injection = &self.model.injections[*index];
            let apart = injection.apart;
            let event = |after, on_node| Event {
                after,
                apart,
                on_node,
                behind: after == nodes && !on_node,
                injection: *index,
            };
            let every = |step: u32| {
                let times = nodes.checked_div(step).unwrap_or(0).min(MOST_TAPS as u32 + 1);
                (1..=times).map(move |time| event(time * step, false))
            };
            match injection.place {
                InjectAt::Start => events.push(event(0, false)),
                InjectAt::End => events.push(event(nodes, false)),
                InjectAt::Node(node) if apart => events.push(event(node.saturating_sub(1), true)),
                InjectAt::Node(node) => events.push(Event { behind: false, ..event(node, false) }),
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

    fn inject(&mut self, on: &mut NetSection, id: StringId, event: Event, whose: Whose) {
        // A plus that is cut at this point is not cut again.
        let begins = on.from == From::Taps && on.points == 0 && !on.sites.is_empty();
        if begins && event.apart && on.sites.iter().all(|site| site.string != id) {
            self.ends_before(on);
        } else if event.apart && !begins {
            let fresh = on.after_a_cut();
            let before = std::mem::replace(on, fresh);
            self.close(before);
        }
        self.taps += 1;
        if on.sites.len() >= MOST_TAPS || self.taps > MOST_TAPS_IN_ALL {
            on.left_out = true;
            return;
        }
        let lead = self.model.injections[event.injection].lead;
        let supplied = self.model.supplies[lead.supply].volts;
        on.usual = on.usual.or(supplied.map(|volts| volts.value));
        let pigtail = event.behind && !event.apart;
        on.sites.push(Spot {
            injection: event.injection,
            lead,
            string: id,
            after: event.after + u32::from(event.on_node),
            point: on.points + u32::from(event.on_node),
            ohms: if pigtail { self.nets.makes[whose.node].ohms } else { 0.0 },
        });
        if event.on_node {
            self.nodes(on, whose, 1, event.after + 1);
            if let Some(run) = on.runs.last_mut() {
                run.plus = 0.0;
            }
        }
    }

    /// Where two `apart` feeds meet between two strings, the plus is cut once, between them. The
    /// feed at the end of the first string ends the stretch before the cut; the feed at the start
    /// of the second string begins the stretch after it.
    fn ends_before(&mut self, on: &mut NetSection) {
        let sites = std::mem::take(&mut on.sites);
        let Some(piece) = self.pieces.pop() else {
            return;
        };
        let before = match piece {
            Passage::NetSection(_) => self.nets.stretches.rows_mut().pop(),
            Passage::Bare(_) => self.nets.undrawn.pop(),
        };
        let mut before = before.unwrap_or(on.after_a_cut());
        let point = before.points;
        let moved = sites.into_iter().map(|site| Spot { point, ..site });
        before.sites.extend(moved);
        self.close(before);
    }

    /// Ends a stretch. One on which nothing draws or feeds is kept as bare conductors.
    fn close(&mut self, mut on: NetSection) {
        if on.at.is_none() && on.sites.is_empty() {
            self.pieces.push(Passage::Bare(on.runs.clone()));
            self.nets.undrawn.push(on);
            return;
        }
        if !on.sites.is_empty() && on.from == From::Nothing {
            on.from = From::Taps;
        }
        for run in &mut on.runs {
            let make = run.make.map(|id| &self.model.nodes[id]);
            run.floor = make.map_or(0.0, |make| floor(self.model, make, on.usual));
        }
        on.left_out |= u64::from(on.points) > MOST_POINTS / 4;
        let id = self.nets.stretches.push(on);
        self.pieces.push(Passage::NetSection(id));
    }
}

/// The make of the string before a piece, or of the one after it.
fn near(model: &Model, pieces: &[ChainPiece], at: usize) -> Option<NodeId> {
    let node = |piece: &ChainPiece| match piece.piece.kind {
        PieceKind::String(id, _) => model.shape(id).node,
        _ => None,
    };
    let (before, after) = pieces.split_at_checked(at)?;
    let before = before.iter().rev().find_map(node);
    before.or_else(|| after.iter().find_map(node))
}
