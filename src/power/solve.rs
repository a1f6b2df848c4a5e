//! Solves ladders exactly: elimination from the far end to the start and back, which is the tridiagonal system of a
//! ladder without its matrix; Newton's method for what draws constant power or is under its floor.
//!
//! A ladder is a row of points, each behind a segment (both conductors counted), with what is drawn there. Supplies
//! are ideal sources; they reach the start through a shared trunk and any point through a tap. Voltages are in volts,
//! currents in amperes, resistances in ohm. A segment or trunk may have none; a tap counts as [`LEAST_OHMS`] at least.
//!
//! A node under its floor draws less and less, down to nothing at 0 V, as a resistor that meets its draw at the floor:
//! so no voltage is ever negative, whatever is asked of a line.

/// A lead of no length counts as this much, so that no conductance is infinite: 50 nV at 5 A.
pub const LEAST_OHMS: f64 = 1e-8;

/// What is drawn at a point.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Draw {
    /// As constant current.
    pub amps: f64,
    /// As constant power.
    pub watts: f64,
    /// The voltage below which it no longer draws in full; above 0 where anything is drawn.
    pub floor: f64,
}

/// A point of a ladder with the segment before it.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Point {
    /// The segment from the point before (the start, for the first one), there and back.
    pub ohms: f64,
    /// What is drawn here.
    pub draw: Draw,
}

/// A source.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Source {
    /// Its voltage.
    pub volts: f64,
    /// Its lead, there and back.
    pub ohms: f64,
}

/// A source that reaches a point.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Tap {
    /// The point: 0 for the start, 1 for the first of [`Ladder::points`].
    pub at: usize,
    /// What reaches it.
    pub source: Source,
}

/// A ladder.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Ladder {
    /// Its points from the start on.
    pub points: Vec<Point>,
    /// Its taps, by point.
    pub taps: Vec<Tap>,
}

/// What became of a ladder.
#[derive(Clone, Debug, Default)]
pub struct Solved {
    /// The voltage at its start and at each point.
    pub volts: Vec<f64>,
    /// What flows into its start from the trunk.
    pub amps: f64,
    /// What flows in through each tap.
    pub taps: Vec<f64>,
}

impl Solved {
    /// What flows through the segment before each point, the first one first.
    pub fn segments<'a>(&'a self, ladder: &'a Ladder) -> impl Iterator<Item = f64> + 'a {
        let mut taps = ladder.taps.iter().zip(&self.taps).peekable();
        let mut flow = self.amps;
        (0..ladder.points.len()).map(move |at| {
            while let Some((_, amps)) = taps.next_if(|(tap, _)| tap.at <= at) {
                flow += amps;
            }
            if at > 0
                && let (Some(point), Some(volts)) = (ladder.points.get(at - 1), self.volts.get(at))
            {
                flow -= point.draw.at(*volts);
            }
            flow
        })
    }
}

impl Draw {
    /// The current at a voltage.
    #[must_use]
    pub fn at(self, volts: f64) -> f64 {
        if volts >= self.floor {
            self.amps + self.power(volts)
        } else {
            (self.amps + self.power(self.floor)) * volts.max(0.0) / self.floor
        }
    }

    fn power(self, volts: f64) -> f64 {
        if self.watts > 0.0 && volts > 0.0 {
            self.watts / volts
        } else {
            0.0
        }
    }

    /// The tangent at a voltage: current at 0 V, and conductance.
    pub(super) fn tangent(self, volts: f64, dark: bool) -> (f64, f64) {
        if dark {
            (0.0, (self.amps + self.power(self.floor)) / self.floor)
        } else if self.watts > 0.0 {
            let volts = volts.max(self.floor);
            (
                self.amps + 2.0 * self.watts / volts,
                -self.watts / (volts * volts),
            )
        } else {
            (self.amps, 0.0)
        }
    }
}

/// Rounds of Newton's method before a node that once was dark stays so.
pub(super) const FREE: usize = 60;

/// Rounds after which everything that draws counts as a resistor.
pub(super) const MOST: usize = 400;

/// Voltages that move less are settled.
pub(super) const SETTLED: f64 = 1e-10;

/// Solves ladders that share a trunk; without one their starts are fed by taps only. Says what each ladder became and
/// what flows through the trunk. A ladder that nothing feeds is at 0 V.
#[must_use]
pub fn solve(trunk: Option<Source>, ladders: &[Ladder]) -> (Vec<Solved>, f64) {
    let mut works: Vec<Work> = ladders
        .iter()
        .map(|ladder| Work::new(trunk, ladder))
        .collect();
    for round in 0.. {
        for work in &mut works {
            work.backward();
        }
        let bus = trunk.map(|trunk| bus(trunk, &works));
        let mut moved = false;
        for work in &mut works {
            moved |= work.forward(bus, round);
        }
        if !moved || round > MOST {
            break;
        }
    }
    let solved: Vec<Solved> = works.into_iter().map(Work::done).collect();
    let amps = solved.iter().map(|ladder| ladder.amps).sum();
    (solved, amps)
}

/// The voltage where the trunk ends.
fn bus(trunk: Source, works: &[Work<'_>]) -> f64 {
    let ohms = trunk.ohms;
    let (amps, siemens) = works.iter().fold((0.0, 0.0), |sum, work| {
        (sum.0 + work.start.0, sum.1 + work.start.1)
    });
    (trunk.volts - ohms * amps) / nonzero(1.0 + ohms * siemens)
}

/// A ladder while it is solved.
struct Work<'a> {
    ladder: &'a Ladder,
    /// Voltages of the round before: start, then points.
    volts: Vec<f64>,
    /// Whether each point counts as a resistor.
    dark: Vec<bool>,
    /// What flows into each segment for the voltage before it: current at 0 V, and conductance.
    into: Vec<(f64, f64)>,
    /// The same for the start.
    start: (f64, f64),
    amps: f64,
    powered: bool,
}

impl<'a> Work<'a> {
    fn new(trunk: Option<Source>, ladder: &'a Ladder) -> Self {
        let sources = ladder.taps.iter().map(|tap| tap.source).chain(trunk);
        let most = sources.map(|source| source.volts).fold(0.0, f64::max);
        let points = ladder.points.len();
        Self {
            ladder,
            volts: vec![most; points + 1],
            dark: vec![false; points],
            into: vec![(0.0, 0.0); points],
            start: (0.0, 0.0),
            amps: 0.0,
            powered: ladder.points.iter().any(|point| point.draw.watts > 0.0),
        }
    }

    /// From the far end to the start: all that hangs behind a point as one current and one conductance.
    fn backward(&mut self) {
        let ladder = self.ladder;
        let mut taps = ladder.taps.iter().rev().peekable();
        let (mut amps, mut siemens) = (0.0, 0.0);
        let rows = ladder.points.iter().enumerate().rev();
        let state = self.volts.iter().rev().zip(self.dark.iter().rev());
        let into = self.into.iter_mut().rev();
        for (((at, point), (volts, dark)), into) in rows.zip(state).zip(into) {
            let (current, conductance) = point.draw.tangent(*volts, *dark);
            amps += current;
            siemens += conductance;
            while let Some(tap) = taps.next_if(|tap| tap.at > at) {
                tapped(tap, &mut amps, &mut siemens);
            }
            let shrink = nonzero(1.0 + siemens * point.ohms);
            amps /= shrink;
            siemens /= shrink;
            *into = (amps, siemens);
        }
        for tap in taps {
            tapped(tap, &mut amps, &mut siemens);
        }
        self.start = (amps, siemens);
    }

    /// From the start to the far end; whether anything still moves.
    fn forward(&mut self, bus: Option<f64>, round: usize) -> bool {
        let (amps, siemens) = self.start;
        let mut volts = match bus {
            Some(volts) => volts,
            None if siemens.abs() > 0.0 => -amps / siemens,
            None => 0.0,
        };
        self.amps = if bus.is_some() {
            amps + siemens * volts
        } else {
            0.0
        };
        let mut moved = false;
        let (start, rest) = match self.volts.split_first_mut() {
            Some(split) => split,
            None => return false,
        };
        *start = volts;
        let rows = self.ladder.points.iter().zip(&self.into);
        for ((point, into), (before, dark)) in rows.zip(rest.iter_mut().zip(&mut self.dark)) {
            volts -= point.ohms * (into.0 + into.1 * volts);
            let draw = point.draw;
            let drawn = draw.amps > 0.0 || draw.watts > 0.0;
            let under = drawn && (volts < draw.floor || !volts.is_finite());
            let now = under || drawn && (round > MOST - 1 || round > FREE && *dark);
            moved |= now != *dark;
            moved |= self.powered && (volts - *before).abs() > SETTLED;
            *dark = now;
            *before = volts;
        }
        moved
    }

    fn done(self) -> Solved {
        let taps = self
            .ladder
            .taps
            .iter()
            .map(|tap| {
                let volts = self.volts.get(tap.at).copied().unwrap_or(0.0);
                (tap.source.volts - volts) / tap.source.ohms.max(LEAST_OHMS)
            })
            .collect();
        Solved {
            volts: self.volts,
            amps: self.amps,
            taps,
        }
    }
}

fn tapped(tap: &Tap, amps: &mut f64, siemens: &mut f64) {
    let conductance = 1.0 / tap.source.ohms.max(LEAST_OHMS);
    *amps -= conductance * tap.source.volts;
    *siemens += conductance;
}

/// A divisor that is not 0.
pub(super) fn nonzero(value: f64) -> f64 {
    if value.abs() < 1e-12 { 1e-12 } else { value }
}
