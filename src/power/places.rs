//! Where a line could be fed in addition: the ends of its strings and strands, or any of its nodes.

use super::make::Make;
use super::net::{Run, Stretch};
use crate::model::{InjectAt, Model, StringId};

/// The most places that are weighed for a line.
const MOST: usize = 24;

/// A place where a line could be fed.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    /// The string.
    pub string: StringId,
    /// Where on it, as `inject` has it.
    pub at: InjectAt,
    /// The point of the stretch.
    pub point: u32,
    /// What is between a lead to there and the point, in ohm.
    pub ohms: f64,
    /// How far along the line from its start, in micrometres.
    pub along_um: i64,
}

/// The starts and ends of the strings of a line and the last nodes of their strands.
#[must_use]
pub fn natural(model: &Model, makes: &[Make], stretch: &Stretch) -> Vec<Place> {
    let mut places = Vec::new();
    let mut behind_lead = false;
    walk(makes, stretch, |run, make, point, along| {
        let (Some(string), true) = (run.string, run.lit) else {
            behind_lead |= run.lead.is_some();
            return;
        };
        let (last, strand) = model
            .shape_of(string)
            .map_or((0, None), |shape| (shape.nodes, shape.strand));
        if run.first == 1 && behind_lead {
            places.push(Place {
                string,
                at: InjectAt::Start,
                point,
                ohms: 0.0,
                along_um: along,
            });
        }
        behind_lead = false;
        if let Some(strand) = strand.filter(|strand| *strand > 0) {
            let first = run.first.div_ceil(strand) * strand;
            let ends = (first..run.first + run.count).step_by(strand as usize);
            places.extend(
                ends.filter(|node| *node < last)
                    .map(|node| node_place(run, make, point, along, node)),
            );
        }
        if run.first + run.count - 1 == last {
            places.push(Place {
                at: InjectAt::End,
                ohms: make.ohms,
                ..node_place(run, make, point, along, last)
            });
        }
    });
    thinned(places)
}

/// Nodes all along a line, evenly.
#[must_use]
pub fn close(makes: &[Make], stretch: &Stretch) -> Vec<Place> {
    let step = (stretch.points() / MOST as u32).max(1);
    let mut places = Vec::new();
    walk(makes, stretch, |run, make, point, along| {
        if run.string.is_none() || !run.lit {
            return;
        }
        let nodes = run.first..run.first + run.count;
        let chosen = nodes.filter(|node| (point + node - run.first + 1).is_multiple_of(step));
        places.extend(chosen.map(|node| node_place(run, make, point, along, node)));
    });
    thinned(places)
}

fn node_place(run: &Run, make: &Make, point: u32, along: i64, node: u32) -> Place {
    let step = node - run.first + 1;
    Place {
        string: run.string.unwrap_or(StringId(u32::MAX)),
        at: InjectAt::Node(node),
        point: point + step,
        ohms: 0.0,
        along_um: along.saturating_add(make.pitch_um.saturating_mul(i64::from(step))),
    }
}

/// Each run with its make, the point before it, and how far along that is.
fn walk(makes: &[Make], stretch: &Stretch, mut see: impl FnMut(&Run, &Make, u32, i64)) {
    let none = Make::default();
    let (mut point, mut along) = (0_u32, 0_i64);
    for run in &stretch.runs {
        let make = run
            .make
            .and_then(|id| makes.get(id.index()))
            .unwrap_or(&none);
        see(run, make, point, along);
        point += run.count;
        let length = run
            .lead
            .map_or(make.pitch_um.saturating_mul(i64::from(run.count)), |lead| {
                lead.1
            });
        along = along.saturating_add(length);
    }
}

/// No more than [`MOST`] of them, evenly, the last one among them.
fn thinned(places: Vec<Place>) -> Vec<Place> {
    let step = places.len().div_ceil(MOST).max(1);
    let last = places.len().saturating_sub(1);
    let kept = places.into_iter().enumerate();
    kept.filter(|(at, _)| (last - at).is_multiple_of(step))
        .map(|(_, place)| place)
        .collect()
}
