//! Ladders of one conductor for the solver of plus and minus: each gets half of a segment's
//! resistance. Plus and minus then mirror each other, so the voltage between them is the ladder's.

use tinsel::power::network::{Bus, Draw, Network, Row, SolvedLead, SolvedLine, Step};
use tinsel::power::rails;

/// A point with the segment before it, in ohm.
#[derive(Clone, Copy)]
pub struct Point {
    pub ohms: f64,
    pub draw: Draw,
}

/// A source with its lead.
#[derive(Clone, Copy)]
pub struct Source {
    pub volts: f64,
    pub ohms: f64,
}

/// A source that reaches a point: 0 for the start, 1 for the first of the points.
#[derive(Clone, Copy)]
pub struct Tap {
    pub at: usize,
    pub source: Source,
}

/// A ladder: its points from the start on, and its taps by point.
#[derive(Clone)]
pub struct Ladder {
    pub points: Vec<Point>,
    pub taps: Vec<Tap>,
}

/// What became of a ladder.
pub struct Solved {
    /// The voltage at its start and at each point.
    pub volts: Vec<f64>,
    /// What flows into its start from the trunk.
    pub amps: f64,
    /// What flows in through each tap.
    pub taps: Vec<f64>,
    /// What flows through the segment before each point.
    pub segments: Vec<f64>,
}

fn lead(source: Source) -> SolvedLead {
    SolvedLead { supply: 0, volts: source.volts, ohms: source.ohms / 2.0 }
}

fn steps(ladder: &Ladder) -> Vec<Step> {
    let start = Point { ohms: 0.0, draw: Draw::default() };
    let mut steps = Vec::new();
    let mut taps = ladder.taps.iter().peekable();
    for (at, point) in std::iter::once(&start).chain(&ladder.points).enumerate() {
        steps.push(Step::Row(Row {
            count: 1,
            plus: point.ohms / 2.0,
            minus: point.ohms / 2.0,
            draw: point.draw,
        }));
        while let Some(tap) = taps.next_if(|tap| tap.at == at) {
            steps.push(Step::Tap(lead(tap.source)));
        }
    }
    steps
}

/// Solves ladders that share a trunk; without one their starts are fed by taps only. Says what each
/// ladder became and what flows through the trunk.
pub fn solve(trunk: Option<Source>, ladders: &[Ladder]) -> (Vec<Solved>, f64) {
    let lines = ladders.iter().map(|ladder| SolvedLine {
        ground: 0,
        bus: trunk.map(|_| 0),
        steps: steps(ladder),
    });
    let buses = trunk.map(|trunk| Bus { ground: 0, lead: lead(trunk) });
    let state = rails::solve(&Network {
        supplies: 1,
        grounds: 1,
        buses: buses.into_iter().collect(),
        lines: lines.collect(),
    });
    let state = state.unwrap();
    let amps = state.lines.iter().filter_map(|line| Some(line.fed?.0));
    let amps = amps.sum();
    let solved = state.lines.iter().map(|line| Solved {
        volts: line.rows.iter().map(|row| row.lowest.0).collect(),
        amps: line.fed.map_or(0.0, |(amps, _)| amps),
        taps: line.taps.iter().map(|tap| tap.plus).collect(),
        segments: line.rows.iter().skip(1).map(|row| row.plus.amps).collect(),
    });
    (solved.collect(), amps)
}
