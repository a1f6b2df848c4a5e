//! Reads the state of rows during a walk along a line.

use super::front::Kept;
use super::network::{Draw, Pair, Peak, Row, RowState};

/// A voltage that is under its floor by less than this (in volts) counts as at the floor. It covers
/// the error of the solver and is far less than can be measured.
pub const TRIFLE: f64 = 1e-7;

impl RowState {
    pub(super) fn take(&mut self, draw: Draw, volts: f64, flow: Pair, at: u32) {
        self.plus.take(flow.plus, at);
        self.minus.take(flow.minus, at);
        self.drawn += draw.at(volts);
        if volts < self.lowest.0 {
            self.lowest = (volts, at);
        }
        if volts < draw.floor - TRIFLE {
            self.dark = self.dark.or(Some((volts, at)));
            self.dark_points += 1;
        }
    }
}

impl Peak {
    pub(super) fn take(&mut self, amps: f64, at: u32) {
        if amps.abs() > self.amps.abs() {
            *self = Self { amps, at };
        }
    }
}

/// A row of equal points with constant current. Its currents fall evenly; its voltage is a
/// parabola.
pub struct Even {
    row: Row,
    /// The voltage before the row.
    start: f64,
    /// What flows into its first segment.
    first: Pair,
}

impl Even {
    pub fn new(row: &Row, beyond: &Kept, start: f64, (plus, minus): (f64, f64)) -> Self {
        let through = beyond.flow(plus, minus);
        let more = row.draw.amps * f64::from(row.count.saturating_sub(1)) / 2.0;
        Self {
            row: *row,
            start,
            first: Pair { plus: through.plus + more, minus: through.minus + more },
        }
    }

    /// The voltage at a point, from 1.
    pub fn volts(&self, at: f64) -> f64 {
        let (row, each) = (&self.row, self.row.draw.amps);
        let fall = at * (row.plus * self.first.plus + row.minus * self.first.minus);
        self.start - fall + (row.plus + row.minus) * each * at * (at - 1.0) / 2.0
    }

    pub fn state(&self) -> RowState {
        let (row, each) = (&self.row, self.row.draw.amps);
        let last = row.count.saturating_sub(1);
        let (mut plus, mut minus) = (Peak::default(), Peak::default());
        for at in [0, last] {
            plus.take(self.first.plus - each * f64::from(at), at);
            minus.take(self.first.minus - each * f64::from(at), at);
        }
        // The voltage is lowest where the falling current changes direction.
        let bend = (row.plus + row.minus) * each;
        let fall = row.plus * self.first.plus + row.minus * self.first.minus;
        let turn = if bend > 0.0 { fall / bend + 0.5 } else { 0.0 };
        let near = turn.clamp(1.0, f64::from(row.count)).floor();
        let mut lowest = (f64::INFINITY, 0);
        for at in [1.0, near, near + 1.0, f64::from(row.count)] {
            let volts = self.volts(at);
            if at <= f64::from(row.count) && volts < lowest.0 {
                lowest = (volts, at as u32 - 1);
            }
        }
        RowState { plus, minus, drawn: each * f64::from(row.count), lowest, ..RowState::default() }
    }
}
