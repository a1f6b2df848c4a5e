//! Which lines must be solved together: those of one box, and those of boxes that share a supply
//! where each has several.
//!
//! A supply keeps its voltage between its terminals, whatever current it gives. So a box with only
//! one supply has no effect on other boxes.

use super::make::celsius;
use super::net::{DataLine, LineId, NetSection, Nets, Passage, Run, Spot, volts};
use super::network::{Bus, Draw, Network, Row, SolvedLead, SolvedLine, Step};
use super::study::Levels;
use crate::cable::loop_ohms;
use crate::keyed::{Keyed, id};
use crate::loads::From;
use crate::model::{FeedLead, Model, PowerId, SupplyId};
use std::collections::{BTreeMap, BTreeSet};

/// The most points that are solved together, and the most supplies on one line. Both bound memory
/// and time.
const MOST_POINTS: u64 = 1_000_000;
const MOST_SUPPLIES: usize = 48;

id!(
    /// A box: a controller or a receiver.
    BoxId
);

/// Lines that are solved together.
#[derive(Debug, Default)]
pub struct Unit {
    /// Its lines, each with the number of its box.
    pub lines: Vec<(LineId, usize)>,
    /// The `power` statements of its boxes, each with the number of its box.
    pub powers: Vec<(PowerId, usize)>,
    /// Its supplies. The solver numbers them in this order.
    supplies: BTreeSet<SupplyId>,
    boxes: usize,
    /// Whether it is too large to be solved.
    pub too_large: bool,
}

/// The units of a display.
#[must_use]
pub fn units(model: &Model, nets: &Nets) -> Vec<Unit> {
    let mut boxes: BTreeMap<_, Unit> = BTreeMap::new();
    for (id, line) in nets.lines.pairs() {
        // Without supplies each port is a source of its own.
        let port = (line.from == From::Port).then_some(id);
        let unit = boxes.entry((line.controller, line.receiver, port));
        let unit = unit.or_default();
        unit.lines.push((id, 0));
        unit.boxes = 1;
        let sites = nets.on(line).flat_map(|stretch| &stretch.sites);
        unit.supplies.extend(sites.map(|site| site.lead.supply));
    }
    for (id, power) in model.powers.pairs() {
        if let Some(unit) = boxes.get_mut(&(power.controller, power.receiver, None)) {
            unit.powers.push((id, 0));
            unit.supplies.insert(power.lead.supply);
        }
    }
    let mut units = joined(boxes.into_values().collect());
    for unit in &mut units {
        let lines = unit.lines.iter().map(|(id, _)| &nets.lines[*id]);
        let points = lines.flat_map(|line| nets.on(line));
        let points: u64 = points.map(|stretch| u64::from(stretch.points)).sum();
        unit.too_large = points > MOST_POINTS;
    }
    units
}

/// Joins boxes that share a supply and have two supplies or more each.
fn joined(boxes: Keyed<BoxId, Unit>) -> Vec<Unit> {
    let mut root: Keyed<BoxId, BoxId> = boxes.ids().collect();
    let mut of_supply: BTreeMap<SupplyId, BoxId> = BTreeMap::new();
    for (id, unit) in boxes.pairs() {
        for supply in unit.supplies.iter().filter(|_| unit.supplies.len() > 1) {
            let other = *of_supply.entry(*supply).or_insert(id);
            let (a, b) = (find(&mut root, id), find(&mut root, other));
            root[a.max(b)] = a.min(b);
        }
    }
    let mut units: BTreeMap<BoxId, Unit> = BTreeMap::new();
    for (id, unit) in boxes.ids().zip(boxes) {
        units.entry(find(&mut root, id)).or_default().add(unit);
    }
    units.into_values().collect()
}

/// The first box that a box is joined with so far.
fn find(root: &mut Keyed<BoxId, BoxId>, mut id: BoxId) -> BoxId {
    while root[id] != id {
        root[id] = root[root[id]];
        id = root[id];
    }
    id
}

impl Unit {
    fn add(&mut self, other: Self) {
        let more = self.boxes;
        let lines = other.lines.into_iter();
        self.lines.extend(lines.map(|(id, at)| (id, at + more)));
        let powers = other.powers.into_iter();
        self.powers.extend(powers.map(|(id, at)| (id, at + more)));
        self.supplies.extend(other.supplies);
        self.boxes += other.boxes;
    }

    /// The unit as the solver takes it. A stretch that is not held neither draws nor is fed.
    #[must_use]
    pub fn network(&self, model: &Model, nets: &Nets, levels: &Levels) -> Network {
        let build = Build { unit: self, model, nets, levels };
        let buses = self.powers.iter().map(|(power, ground)| Bus {
            ground: *ground,
            lead: build.lead(&model.powers[*power].lead, levels.feeds[*power].unwrap_or(0.0), 0.0),
        });
        let lines = self.lines.iter().map(|(id, ground)| {
            let line = &nets.lines[*id];
            SolvedLine {
                ground: *ground,
                bus: match line.from {
                    From::Power(power) => self.powers.iter().position(|(id, _)| *id == power),
                    From::Port => Some(0),
                    From::Taps | From::Nothing => None,
                },
                steps: build.line(line),
            }
        });
        let mut network = Network {
            supplies: self.supplies.len().max(1),
            grounds: self.boxes,
            buses: buses.collect(),
            lines: lines.collect(),
        };
        if self.supplies.is_empty() {
            network.buses.extend(self.port(nets));
        }
        network
    }

    /// A port as a source, at the voltage of its stretch.
    fn port(&self, nets: &Nets) -> Option<Bus> {
        let (line, _) = self.lines.first()?;
        let volts = nets.on(&nets.lines[*line]).next()?.volts?;
        Some(Bus {
            ground: 0,
            lead: SolvedLead { volts: volts as f64 * 1e-3, ..SolvedLead::default() },
        })
    }
}

/// Translates the lines of a unit for the solver.
struct Build<'a> {
    unit: &'a Unit,
    model: &'a Model,
    nets: &'a Nets,
    levels: &'a Levels,
}

impl Build<'_> {
    fn lead(&self, lead: &FeedLead, volts: f64, more: f64) -> SolvedLead {
        let ohms = loop_ohms(lead.length_um, lead.gauge, celsius(self.model)) + more;
        let mut supplies = self.unit.supplies.iter();
        SolvedLead {
            supply: supplies.position(|id| *id == lead.supply).unwrap_or(0),
            volts,
            ohms: ohms / 2.0,
        }
    }

    fn line(&self, line: &DataLine) -> Vec<Step> {
        let mut steps = Vec::new();
        for (at, piece) in line.pieces.iter().enumerate() {
            if at > 0 {
                steps.push(Step::Cut);
            }
            match piece {
                Passage::Bare(runs) => {
                    steps.extend(runs.iter().map(|run| row(run, Draw::default())));
                }
                Passage::NetSection(id) => {
                    self.stretch(&self.nets.stretches[*id], self.levels.held[*id], &mut steps);
                }
            }
        }
        steps
    }

    fn stretch(&self, stretch: &NetSection, held: bool, steps: &mut Vec<Step>) {
        let mut sites = stretch.sites.iter().filter(|_| held).peekable();
        let tap = |site: &Spot| {
            let volts = volts(self.model, &site.lead, stretch.volts).unwrap_or(0.0);
            Step::Tap(self.lead(&site.lead, volts, site.ohms))
        };
        let mut point = 0;
        for run in &stretch.runs {
            while let Some(site) = sites.next_if(|site| site.point <= point) {
                steps.push(tap(site));
            }
            let level = stretch.level(self.levels.all);
            let draw = held.then(|| run.draw(&self.nets.makes, level));
            steps.push(row(run, draw.unwrap_or_default()));
            point += run.count;
        }
        steps.extend(sites.map(tap));
    }
}

fn row(run: &Run, draw: Draw) -> Step {
    Step::Row(Row { count: run.count, plus: run.plus, minus: run.minus, draw })
}

/// Whether a line has more supplies than are solved.
#[must_use]
pub fn too_many_supplies(nets: &Nets, line: &DataLine) -> bool {
    let sites = nets.on(line).flat_map(|stretch| &stretch.sites);
    let supplies: BTreeSet<SupplyId> = sites.map(|site| site.lead.supply).collect();
    supplies.len() > MOST_SUPPLIES
}
