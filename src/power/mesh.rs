//! Solves the few points that lines have in common: terminals of supplies, grounds of boxes, leads
//! of `power`.
//!
//! The system is symmetric, with few entries in a row. It is solved by elimination; the point with
//! the fewest neighbours goes first.

use std::collections::{BTreeMap, BTreeSet};

/// Conductances between points, and the current that flows from each into the network at 0 V.
#[derive(Debug, Default)]
pub struct Mesh {
    rows: Vec<BTreeMap<usize, f64>>,
    amps: Vec<f64>,
}

/// An eliminated point: its number, its own conductance, its current and its neighbours.
type Gone = (usize, f64, f64, Vec<(usize, f64)>);

/// A point with less conductance than this (in siemens) is connected to nothing.
const LEAST: f64 = 1e-12;

impl Mesh {
    /// A mesh of a number of points, without conductances.
    #[must_use]
    pub fn new(points: usize) -> Self {
        Self { rows: vec![BTreeMap::new(); points], amps: vec![0.0; points] }
    }

    /// Adds a conductance to the entry of two points, and to its mirror image.
    pub fn add(&mut self, a: usize, b: usize, siemens: f64) {
        if siemens == 0.0 {
            return;
        }
        self.enter(a, b, siemens);
        if a != b {
            self.enter(b, a, siemens);
        }
    }

    fn enter(&mut self, row: usize, column: usize, siemens: f64) {
        if let Some(row) = self.rows.get_mut(row) {
            *row.entry(column).or_insert(0.0) += siemens;
        }
    }

    /// Adds to the current that flows from a point into the network at 0 V.
    pub fn flow(&mut self, point: usize, amps: f64) {
        if let Some(sum) = self.amps.get_mut(point) {
            *sum += amps;
        }
    }

    /// The voltage of each point, with point 0 at 0 V; a point that is connected to nothing is at
    /// 0 V too. Each elimination takes the square of a row's length from `steps`; `None` if they
    /// run out.
    #[must_use]
    pub fn solve(mut self, steps: &mut usize) -> Option<Vec<f64>> {
        let mut queue: BTreeSet<(usize, usize)> =
            (1..self.rows.len()).map(|point| (self.degree(point), point)).collect();
        let mut gone: Vec<Gone> = Vec::with_capacity(queue.len());
        while let Some((degree, point)) = queue.pop_first() {
            *steps = steps.checked_sub(degree * degree)?;
            gone.extend(self.eliminate(point, &mut queue));
        }
        let mut volts = vec![0.0; self.rows.len()];
        for (point, own, amps, others) in gone.into_iter().rev() {
            let pull = |(other, siemens): &(usize, f64)| {
                siemens * volts.get(*other).copied().unwrap_or(0.0)
            };
            let value = -(amps + others.iter().map(pull).sum::<f64>()) / own;
            if let Some(entry) = volts.get_mut(point) {
                *entry = value;
            }
        }
        Some(volts)
    }

    fn degree(&self, point: usize) -> usize {
        self.rows.get(point).map_or(0, BTreeMap::len)
    }

    fn eliminate(&mut self, point: usize, queue: &mut BTreeSet<(usize, usize)>) -> Option<Gone> {
        let mut row = std::mem::take(self.rows.get_mut(point)?);
        let own = row.remove(&point).unwrap_or(0.0);
        // Point 0 is at 0 V, so its entry adds nothing.
        row.remove(&0);
        let amps = self.amps.get(point).copied().unwrap_or(0.0);
        let others: Vec<(usize, f64)> = row.into_iter().collect();
        let hangs = own.abs() >= LEAST;
        for (a, to_a) in &others {
            queue.remove(&(self.degree(*a), *a));
            if let Some(row) = self.rows.get_mut(*a) {
                row.remove(&point);
            }
            if hangs {
                let share = to_a / own;
                self.flow(*a, -share * amps);
                for (b, to_b) in &others {
                    self.enter(*a, *b, -share * to_b);
                }
            }
            queue.insert((self.degree(*a), *a));
        }
        hangs.then_some((point, own, amps, others))
    }
}
