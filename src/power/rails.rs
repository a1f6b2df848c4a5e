//! Solves plus and minus as two conductors: data lines that hang on boxes and supplies.
//!
//! A line runs from its box: rows of equal nodes, points where a lead of a supply joins, and cuts
//! of the plus. Its minus is whole and joined to the ground of its box. A supply is an ideal source
//! between one plus and one minus terminal, where all of its leads meet. The lead of a `power`
//! statement ends at a bus, which feeds the lines of its ports; its minus ends at the ground of the
//! box.
//!
//! Each line is eliminated from its far end to its start, both conductors at a time, down to the
//! points that it shares with other lines ([`Mesh`]). Once these are solved, the line is walked
//! from its start. A row of equal nodes with constant current is one step of that. Nodes count one
//! by one only where one is under its floor or draws constant power; Newton's method then repeats
//! until nothing changes.
//!
//! Voltages are in volts, currents in amperes, resistances in ohm.

use super::front::{Front, Kept, floating};
use super::mesh::Mesh;
use super::network::{
    Bus, LEAST_OHMS, LineState, Network, Pair, Row, RowState, SolvedLead, SolvedLine, State, Step,
};
use super::rows::Even;

/// Rounds of Newton's method after which a node that was once under its floor stays a resistor.
const FREE: usize = 60;

/// Rounds after which each node that counts by itself and draws is a resistor.
const MOST: usize = 400;

/// A voltage that changes by no more than this (in volts) has settled.
const SETTLED: f64 = 1e-10;

/// The most steps on the points that lines share: above what any display is expected to take.
/// Bounds the time.
const STEPS: usize = 2_000_000;

/// Solves a network; `None` where so many supplies depend on each other that `STEPS` run out.
#[must_use]
pub fn solve(network: &Network) -> Option<State> {
    let mut works: Vec<Work> = network.lines.iter().map(|line| Work::new(network, line)).collect();
    let mut kept = Vec::new();
    let mut steps = STEPS;
    for round in 0.. {
        let volts = terminals(network, &works, &mut steps)?;
        let mut moved = false;
        for work in &mut works {
            moved |= work.walk(&volts, round, &mut kept);
        }
        if !moved || round > MOST {
            return Some(State {
                buses: network.buses.iter().enumerate().map(|bus| volts.bus(bus)).collect(),
                lines: works.into_iter().map(|work| work.state).collect(),
            });
        }
    }
    None
}

/// The voltages of the points that lines share. The minus of supply 0 is at 0 V.
struct Volts {
    all: Vec<f64>,
    supplies: usize,
    grounds: usize,
}

impl Volts {
    fn at(&self, point: usize) -> f64 {
        self.all.get(point).copied().unwrap_or(0.0)
    }

    fn ground(&self, ground: usize) -> f64 {
        self.at(self.supplies + ground)
    }

    fn bus_volts(&self, bus: usize) -> f64 {
        self.at(self.supplies + self.grounds + bus)
    }

    fn bus(&self, (at, bus): (usize, &Bus)) -> Pair {
        self.lead(&bus.lead, self.bus_volts(at), self.ground(bus.ground))
    }

    /// The currents in a lead whose plus and minus end at these voltages.
    fn lead(&self, lead: &SolvedLead, plus: f64, minus: f64) -> Pair {
        let (ohms, zero) = (lead.ohms.max(LEAST_OHMS), self.at(lead.supply));
        Pair { plus: (zero + lead.volts - plus) / ohms, minus: (minus - zero) / ohms }
    }
}

fn terminals(network: &Network, works: &[Work<'_>], steps: &mut usize) -> Option<Volts> {
    let (supplies, grounds) = (network.supplies, network.grounds);
    let mut mesh = Mesh::new(supplies + grounds + network.buses.len());
    for (at, bus) in network.buses.iter().enumerate() {
        let (bus_at, ground) = (supplies + grounds + at, supplies + bus.ground);
        let siemens = 1.0 / bus.lead.ohms.max(LEAST_OHMS);
        for end in [bus_at, ground] {
            mesh.add(end, end, siemens);
            mesh.add(end, bus.lead.supply, -siemens);
            mesh.add(bus.lead.supply, bus.lead.supply, siemens);
        }
        mesh.flow(bus_at, -siemens * bus.lead.volts);
        mesh.flow(bus.lead.supply, siemens * bus.lead.volts);
    }
    for work in works {
        let front = work.front();
        let ground = supplies + work.line.ground;
        mesh.add(ground, ground, front.mm);
        mesh.flow(ground, front.jm);
        let bus = work.line.bus.map(|bus| supplies + grounds + bus);
        if let Some(bus) = bus {
            mesh.add(bus, bus, front.pp);
            mesh.add(bus, ground, front.pm);
            mesh.flow(bus, front.jp);
        }
        for at in 0..work.supplies.len() {
            front.join(at, (bus, ground), &work.supplies, &mut mesh);
        }
    }
    Some(Volts { all: mesh.solve(steps)?, supplies, grounds })
}

/// The points of a row one by one: the voltage of the round before, and whether each counts as a
/// resistor.
type Singly = Vec<(f64, bool)>;

/// A line that is being solved.
struct Work<'a> {
    line: &'a SolvedLine,
    /// Its supplies whose minus is at an unknown voltage until the shared points are solved.
    supplies: Vec<usize>,
    /// By row: its points where they count one by one, else nothing.
    singly: Vec<Singly>,
    state: LineState,
}

impl<'a> Work<'a> {
    fn new(network: &Network, line: &'a SolvedLine) -> Self {
        let mut supplies = Vec::new();
        let mut singly = Vec::new();
        let bus = line.bus.and_then(|bus| network.buses.get(bus));
        let mut volts = bus.map_or(0.0, |bus| bus.lead.volts);
        let (mut rows, mut taps) = (0, 0);
        for step in &line.steps {
            match step {
                Step::Row(_) => rows += 1,
                Step::Tap(lead) => {
                    taps += 1;
                    volts = volts.max(lead.volts);
                    if lead.supply > 0 && !supplies.contains(&lead.supply) {
                        supplies.push(lead.supply);
                    }
                }
                Step::Cut => {}
            }
        }
        for step in &line.steps {
            if let Step::Row(row) = step {
                let points = if row.draw.watts > 0.0 { row.count } else { 0 };
                singly.push(vec![(volts, false); points as usize]);
            }
        }
        Self {
            line,
            supplies,
            singly,
            state: LineState {
                rows: vec![RowState::default(); rows],
                taps: vec![Pair::default(); taps],
                ..LineState::default()
            },
        }
    }

    /// The whole line as seen from its start.
    fn front(&self) -> Front {
        self.back(Front::new(self.supplies.len()), None, |_| {})
    }

    /// Eliminates the line from its far end. `volts` has the voltages of the supplies, once known.
    fn back(&self, mut front: Front, volts: Option<&Volts>, mut keep: impl FnMut(&Front)) -> Front {
        let mut singly = self.singly.iter().rev();
        for step in self.line.steps.iter().rev() {
            match step {
                Step::Row(row) => {
                    let singly = singly.next().map_or(&[][..], |points| points);
                    back_row(row, singly, &mut front, &mut keep);
                }
                Step::Cut => {
                    keep(&front);
                    front.cut();
                }
                Step::Tap(lead) => {
                    let further = self.supplies.iter().position(|one| *one == lead.supply);
                    match (volts, further) {
                        (Some(volts), _) => front.fed(lead, volts.at(lead.supply)),
                        (None, Some(further)) => front.fed_by(lead, further),
                        (None, None) => front.fed(lead, 0.0),
                    }
                }
            }
        }
        if self.line.bus.is_none() {
            keep(&front);
            front.cut();
        }
        front
    }

    /// Walks the line with the shared voltages known. Returns whether anything still changes.
    fn walk(&mut self, volts: &Volts, round: usize, kept: &mut Vec<Kept>) -> bool {
        kept.clear();
        let start = self.back(Front::default(), Some(volts), |front| kept.push(Kept::of(front)));
        let mut minus = volts.ground(self.line.ground);
        let mut plus = match self.line.bus {
            Some(bus) => volts.bus_volts(bus),
            None => floating(kept.pop(), minus),
        };
        self.state.fed = self.line.bus.map(|_| {
            let flow = Kept::of(&start).flow(plus, minus);
            (flow.plus, plus - minus)
        });
        let mut rows = self.state.rows.iter_mut().zip(&mut self.singly);
        let mut taps = self.state.taps.iter_mut();
        let mut moved = false;
        for step in &self.line.steps {
            match step {
                Step::Row(row) => {
                    let Some((state, singly)) = rows.next() else {
                        break;
                    };
                    let mut walk = Walk { plus, minus, round };
                    moved |= walk.row(row, singly, kept, state);
                    (plus, minus) = (walk.plus, walk.minus);
                }
                Step::Cut => plus = floating(kept.pop(), minus),
                Step::Tap(lead) => {
                    if let Some(tap) = taps.next() {
                        *tap = volts.lead(lead, plus, minus);
                    }
                }
            }
        }
        moved
    }
}

fn back_row(row: &Row, singly: &[(f64, bool)], front: &mut Front, keep: &mut impl FnMut(&Front)) {
    if !singly.is_empty() {
        for (volts, dark) in singly.iter().rev() {
            let (amps, siemens) = row.draw.tangent(*volts, *dark);
            front.draws(amps, siemens);
            front.series(row.plus, row.minus);
            keep(front);
        }
        return;
    }
    // Beyond the ends of a row, a current at one of its points acts like two currents at the ends
    // that add up to it: the nearer the end, the larger its share.
    let (count, amps) = (f64::from(row.count), row.draw.amps);
    front.draws(amps * (count + 1.0) / 2.0, 0.0);
    front.series(row.plus * count, row.minus * count);
    keep(front);
    front.draws(amps * (count - 1.0) / 2.0, 0.0);
}

/// A place on a walk along a line: the voltages there, and the round.
struct Walk {
    plus: f64,
    minus: f64,
    round: usize,
}

impl Walk {
    fn row(
        &mut self,
        row: &Row,
        singly: &mut Singly,
        kept: &mut Vec<Kept>,
        state: &mut RowState,
    ) -> bool {
        if !singly.is_empty() {
            return self.points(row, singly, kept, state);
        }
        let Some(beyond) = kept.pop() else {
            return false;
        };
        let line = Even::new(row, &beyond, self.plus - self.minus, (self.plus, self.minus));
        *state = line.state();
        let through = beyond.flow(self.plus, self.minus);
        let count = f64::from(row.count);
        self.plus -= row.plus * count * through.plus;
        self.minus += row.minus * count * through.minus;
        let lowest = state.lowest.0;
        if row.draw.amps <= 0.0 || lowest.is_finite() && lowest >= row.draw.floor {
            return false;
        }
        let under = |volts: f64| volts < row.draw.floor || !volts.is_finite();
        let points = (1..=row.count).map(|at| line.volts(f64::from(at)));
        *singly = points.map(|volts| (volts, under(volts))).collect();
        true
    }

    fn points(
        &mut self,
        row: &Row,
        singly: &mut Singly,
        kept: &mut Vec<Kept>,
        state: &mut RowState,
    ) -> bool {
        *state = RowState { lowest: (f64::INFINITY, 0), ..RowState::default() };
        let (draw, round) = (row.draw, self.round);
        let drawn = draw.any();
        let mut moved = false;
        for (at, (before, dark)) in (0..).zip(singly.iter_mut()) {
            let Some(beyond) = kept.pop() else {
                return false;
            };
            let flow = beyond.flow(self.plus, self.minus);
            self.plus -= row.plus * flow.plus;
            self.minus += row.minus * flow.minus;
            let volts = self.plus - self.minus;
            let under = drawn && (volts < draw.floor || !volts.is_finite());
            let now = under || drawn && (round > MOST - 1 || round > FREE && *dark);
            moved |= now != *dark;
            moved |= draw.watts > 0.0 && (volts - *before).abs() > SETTLED;
            (*before, *dark) = (volts, now);
            state.take(draw, volts, flow, at);
        }
        moved
    }
}
