//! What must be solved together: lines that hang on one box, and boxes that two supplies or more
//! have in common.
//!
//! Between its terminals a supply keeps its voltage whatever it gives. So boxes that have but one
//! supply in common do not feel each other.

use super::net::{DataLine, Nets, Piece, Stretch};
use super::network::{Bus, Lead, Line, Network, Row, Step};
use super::study::Levels;
use super::{make::celsius, net::Run};
use crate::cable::loop_ohms;
use crate::loads::From;
use crate::model::{FeedLead, Model, SupplyId};
use std::collections::BTreeMap;

/// The most points that are solved together, and the most supplies on one line: both bound memory
/// and time.
const MOST_POINTS: u64 = 1_000_000;
const MOST_SUPPLIES: usize = 48;

/// Lines that are solved together.
#[derive(Debug, Default)]
pub struct Unit {
    /// Lines, as indices of [`Nets::lines`], with their box.
    pub lines: Vec<(usize, usize)>,
    /// `power` statements of its boxes, with the box.
    pub powers: Vec<(u32, usize)>,
    /// Supplies, in order.
    supplies: Vec<SupplyId>,
    boxes: usize,
    /// Whether it is too large to be solved.
    pub too_large: bool,
}

/// The units of a display.
#[must_use]
pub fn units(model: &Model, nets: &Nets) -> Vec<Unit> {
    let mut boxes: BTreeMap<_, Unit> = BTreeMap::new();
    for (at, line) in nets.lines.iter().enumerate() {
        // Without supplies each port is a source of its own.
        let port = if line.from == From::Port { at + 1 } else { 0 };
        let unit = boxes
            .entry((line.controller, line.receiver, port))
            .or_default();
        unit.lines.push((at, 0));
        unit.boxes = 1;
        let sites = stretches(nets, line).flat_map(|stretch| &stretch.sites);
        unit.supplies.extend(sites.map(|site| site.lead.supply));
    }
    for (at, power) in model.powers.iter().enumerate() {
        if let Some(unit) = boxes.get_mut(&(power.controller, power.receiver, 0)) {
            unit.powers.push((at as u32, 0));
            unit.supplies.push(power.lead.supply);
        }
    }
    let mut units = joined(boxes.into_values().map(Unit::sorted).collect());
    for unit in &mut units {
        let lines = unit.lines.iter().filter_map(|(at, _)| nets.lines.get(*at));
        let points = lines.flat_map(|line| stretches(nets, line));
        let points: u64 = points.map(|stretch| u64::from(stretch.points)).sum();
        unit.too_large = points > MOST_POINTS;
    }
    units
}

/// The stretches of a line.
fn stretches<'a>(nets: &'a Nets, line: &'a DataLine) -> impl Iterator<Item = &'a Stretch> {
    line.pieces.iter().filter_map(|piece| match piece {
        Piece::Stretch(at) => nets.stretches.get(*at),
        Piece::Bare(_) => None,
    })
}

/// Boxes with two supplies or more are joined with all others of these supplies that have so, too.
fn joined(boxes: Vec<Unit>) -> Vec<Unit> {
    let mut root: Vec<usize> = (0..boxes.len()).collect();
    let mut of_supply: BTreeMap<SupplyId, usize> = BTreeMap::new();
    for (at, unit) in boxes.iter().enumerate() {
        for supply in unit.supplies.iter().filter(|_| unit.supplies.len() > 1) {
            let other = *of_supply.entry(*supply).or_insert(at);
            let (a, b) = (find(&mut root, at), find(&mut root, other));
            if let Some(entry) = root.get_mut(a.max(b)) {
                *entry = a.min(b);
            }
        }
    }
    let mut units: BTreeMap<usize, Unit> = BTreeMap::new();
    for (at, unit) in boxes.into_iter().enumerate() {
        units.entry(find(&mut root, at)).or_default().add(unit);
    }
    units.into_values().map(Unit::sorted).collect()
}

/// The least box that a box is joined with so far.
fn find(root: &mut [usize], mut at: usize) -> usize {
    while let Some(next) = root.get(at).copied().filter(|next| *next != at) {
        let over = root.get(next).copied().unwrap_or(next);
        if let Some(entry) = root.get_mut(at) {
            *entry = over;
        }
        at = next;
    }
    at
}

impl Unit {
    fn sorted(mut self) -> Self {
        self.supplies.sort_unstable();
        self.supplies.dedup();
        self
    }

    fn add(&mut self, other: Self) {
        let more = self.boxes;
        let lines = other.lines.into_iter();
        self.lines
            .extend(lines.map(|(at, ground)| (at, ground + more)));
        let powers = other.powers.into_iter();
        self.powers
            .extend(powers.map(|(at, ground)| (at, ground + more)));
        self.supplies.extend(other.supplies);
        self.boxes += other.boxes;
    }

    /// It as the solver has it. A stretch that is not `held` draws nothing and is not fed.
    #[must_use]
    pub fn network(&self, model: &Model, nets: &Nets, levels: &Levels<'_>) -> Network {
        let buses = self.powers.iter().map(|(at, ground)| Bus {
            ground: *ground,
            lead: self.bus(model, levels, *at),
        });
        let lines = self.lines.iter().filter_map(|(at, ground)| {
            let line = nets.lines.get(*at)?;
            let bus = match line.from {
                From::Power(power) => self.powers.iter().position(|(at, _)| *at == power),
                From::Port => Some(0),
                From::Taps | From::Nothing => None,
            };
            Some(Line {
                ground: *ground,
                bus,
                steps: self.steps(model, nets, line, levels),
            })
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

    fn bus(&self, model: &Model, levels: &Levels<'_>, power: u32) -> Lead {
        let volts = levels.feeds.get(power as usize).copied().flatten();
        let lead = model.powers.get(power as usize).map(|power| power.lead);
        lead.map_or(Lead::default(), |lead| {
            self.lead(model, &lead, volts.unwrap_or(0.0), 0.0)
        })
    }

    /// A port whose voltage is what the display says of it.
    fn port(&self, nets: &Nets) -> Option<Bus> {
        let line = nets.lines.get(self.lines.first()?.0)?;
        let volts = stretches(nets, line).next()?.volts?;
        Some(Bus {
            ground: 0,
            lead: Lead {
                volts: volts as f64 * 1e-3,
                ..Lead::default()
            },
        })
    }

    fn lead(&self, model: &Model, lead: &FeedLead, volts: f64, more: f64) -> Lead {
        let ohms = loop_ohms(lead.length_um, lead.gauge, celsius(model)) + more;
        Lead {
            supply: self.supplies.binary_search(&lead.supply).unwrap_or(0),
            volts,
            ohms: ohms / 2.0,
        }
    }

    fn steps(&self, model: &Model, nets: &Nets, line: &DataLine, levels: &Levels<'_>) -> Vec<Step> {
        let mut steps = Vec::new();
        for (at, piece) in line.pieces.iter().enumerate() {
            if at > 0 {
                steps.push(Step::Cut);
            }
            match piece {
                Piece::Bare(runs) => steps.extend(runs.iter().map(|run| row(run, None))),
                Piece::Stretch(index) => {
                    let Some(stretch) = nets.stretches.get(*index) else {
                        continue;
                    };
                    let held = levels.holds(*index);
                    self.stretch(model, nets, stretch, held.then_some(levels), &mut steps);
                }
            }
        }
        steps
    }

    fn stretch(
        &self,
        model: &Model,
        nets: &Nets,
        stretch: &Stretch,
        levels: Option<&Levels<'_>>,
        steps: &mut Vec<Step>,
    ) {
        let sites = levels.map_or(&[][..], |_| &stretch.sites);
        let mut sites = sites.iter().peekable();
        let tap = |site: &super::net::Site| {
            let volts = super::net::volts(model, &site.lead, stretch.volts).unwrap_or(0.0);
            Step::Tap(self.lead(model, &site.lead, volts, site.ohms))
        };
        let mut point = 0;
        for run in &stretch.runs {
            while let Some(site) = sites.next_if(|site| site.point <= point) {
                steps.push(tap(site));
            }
            let draw = levels.map(|levels| run.draw(&nets.makes, stretch.level(levels.all)));
            steps.push(row(run, draw));
            point += run.count;
        }
        steps.extend(sites.map(tap));
    }
}

fn row(run: &Run, draw: Option<super::solve::Draw>) -> Step {
    Step::Row(Row {
        count: run.count,
        plus: run.plus,
        minus: run.minus,
        draw: draw.unwrap_or_default(),
    })
}

/// Whether a line has more supplies than are solved.
#[must_use]
pub fn too_many_supplies(nets: &Nets, line: &DataLine) -> bool {
    let sites = stretches(nets, line).flat_map(|stretch| &stretch.sites);
    let mut supplies: Vec<SupplyId> = Vec::new();
    for site in sites {
        if !supplies.contains(&site.lead.supply) {
            supplies.push(site.lead.supply);
        }
        if supplies.len() > MOST_SUPPLIES {
            return true;
        }
    }
    false
}
