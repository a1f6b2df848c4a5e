//! Lines that are fed at their start only and draw constant current, which most are: what they draw is known before
//! anything is solved, and their voltages follow from it stretch by stretch, without an equation for each node.
//!
//! Along `n` equal segments of resistance `R`, with `A` into the first and each node drawing `I`, the loss is
//! `R (n A - I n (n - 1) / 2)`. The voltage only falls on the way, so the last node of a stretch is its lowest. Where one
//! comes under its floor it no longer draws in full, and the line is left to the solver.

use super::make::Make;
use super::net::{Nets, Run, Stretch};
use super::study::{TRIFLE, conductor, left_out, low, micro};
use crate::loads::{ConductorLoad, Section};

/// What each node of a stretch of equal ones draws, in amperes; `None` where it is no constant current.
fn draw(makes: &[Make], run: &Run, share: f64) -> Option<f64> {
    let Some(make) = run.make.and_then(|id| makes.get(id.index())) else {
        return Some(0.0);
    };
    let share = if run.lit { share } else { 0.0 };
    (make.watts <= 0.0).then_some(make.amps * share + make.idle)
}

fn share(stretch: &Stretch, all: Option<u32>) -> f64 {
    f64::from(stretch.level(all)) / f64::from(super::net::FULL)
}

/// What a plain line draws, in amperes; `None` for one that is not plain.
#[must_use]
pub fn amps(nets: &Nets, stretch: &Stretch, all: Option<u32>) -> Option<f64> {
    if !stretch.sites.is_empty() {
        return None;
    }
    let share = share(stretch, all);
    let mut runs = stretch.runs.iter();
    runs.try_fold(0.0, |sum, run| {
        Some(sum + draw(&nets.makes, run, share)? * f64::from(run.count))
    })
}

/// A plain line whose start is at a voltage; `None` where a node of it is under its floor.
#[must_use]
pub fn walk(
    nets: &Nets,
    index: usize,
    all: Option<u32>,
    start: f64,
) -> Option<(Section, Vec<ConductorLoad>)> {
    let stretch = nets.stretches.get(index)?;
    let drawn = amps(nets, stretch, all)?;
    let share = share(stretch, all);
    let mut conductors = Vec::with_capacity(stretch.runs.len());
    let mut lowest: Option<(f64, &Run, u32)> = None;
    let (mut volts, mut flow) = (start, drawn);
    for run in &stretch.runs {
        let each = draw(&nets.makes, run, share)?;
        let count = f64::from(run.count);
        volts -= run.ohms * (count * flow - each * count * (count - 1.0) / 2.0);
        if let Some(mut load) = conductor(index, run) {
            load.plus.take(micro(flow), run.first);
            load.minus = load.plus;
            conductors.push(load);
        }
        flow -= each * count;
        if each <= 0.0 {
            continue;
        }
        let make = run.make.and_then(|id| nets.makes.get(id.index()))?;
        if volts < make.floor - TRIFLE {
            return None;
        }
        if run.lit && lowest.is_none_or(|(least, ..)| volts < least) {
            let step = if run.ohms > 0.0 {
                run.count.saturating_sub(1)
            } else {
                0
            };
            lowest = Some((volts, run, step));
        }
    }
    let section = Section {
        left_out: false,
        port_ua: micro(drawn),
        drawn_ua: micro(drawn),
        lowest: lowest.map(|(volts, run, step)| low(nets, volts, run, step)),
        ..left_out(stretch, all)
    };
    Some((section, conductors))
}
