//! Packs many lines into like bins, as few as can be found.
//!
//! Method: a quick packing first. While that misses the bound, the linear programme is solved, its
//! most used patterns become bins, and what is left is packed again, by the programme and quickly.
//! The dives differ in how boldly they round.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

use super::column::{Demand, Master, Pattern};
use super::random::Random;

/// Bins found and the fewest that are possible.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packed {
    /// Sizes in each bin.
    pub bins: Vec<Vec<u64>>,
    /// Proven: no packing has fewer.
    pub bound: u64,
    /// Steps used.
    pub steps: u64,
}

/// A quick way to pack sizes into bins, which counts its steps.
type Simple<'s> = dyn FnMut(&[u64], &mut u64) -> Vec<Vec<u64>> + 's;

/// The use from which the dives, in turn, round a pattern up to one more bin.
const BOLD: [f64; 6] = [0.7, 0.9, 0.55, 0.8, 0.6, 0.99];

/// At most this many dives; later ones blur the use of each pattern, so that they take other ways.
const DIVES: usize = 24;

/// Packs `sizes`, none larger than `room`. `simple` packs what it is given into bins quickly.
pub fn pack(sizes: &[u64], room: u64, steps: u64, simple: &mut Simple<'_>) -> Packed {
    let demand = Demand::new(sizes, room);
    let mut used = 0;
    let mut packed = Packed {
        bins: simple(sizes, &mut used),
        bound: demand.sum().div_ceil(room.max(1)),
        steps: used,
    };
    if packed.bins.len() as u64 <= packed.bound {
        return packed;
    }
    let mut root = Master::new(demand);
    root.solve(&[], packed.bins.len() as u64, steps / 8 * 7);
    packed.bound = packed.bound.max(root.bound);
    packed.steps += root.steps;
    let mut random = Random::new(5);
    for turn in 0..DIVES {
        let course = Course {
            bold: BOLD[turn % BOLD.len()],
            blur: if turn < BOLD.len() { 0.0 } else { 0.3 },
            steps,
        };
        if packed.bins.len() as u64 <= packed.bound || packed.steps >= steps {
            break;
        }
        dive(&root, &course, &mut random, &mut packed, simple);
    }
    packed
}

/// How one dive goes.
struct Course {
    bold: f64,
    blur: f64,
    /// It ends where `Packed::steps` reaches this.
    steps: u64,
}

fn dive(
    root: &Master,
    course: &Course,
    random: &mut Random,
    packed: &mut Packed,
    simple: &mut Simple<'_>,
) {
    let demand = &root.demand;
    let mut left = demand.counts.clone();
    let mut bins: Vec<Vec<u64>> = Vec::new();
    let mut chosen: Vec<(f64, Pattern)> = owned(root);
    while left.iter().any(|&count| count > 0) && packed.steps < course.steps {
        let pool: Vec<Pattern> = chosen.iter().map(|(_, pattern)| pattern.clone()).collect();
        if course.blur > 0.0 {
            for (level, _) in &mut chosen {
                *level =
                    (*level + course.blur * (random.below(2001) as f64 / 1000.0 - 1.0)).max(0.0);
            }
            chosen
                .sort_by(|one, other| other.0.total_cmp(&one.0).then_with(|| one.1.cmp(&other.1)));
        }
        round(&chosen, course.bold, demand, &mut left, &mut bins);
        let mut rest = Vec::new();
        for (&size, &count) in demand.sizes.iter().zip(&left) {
            rest.extend(std::iter::repeat_n(size, count as usize));
        }
        let filled = if rest.is_empty() { Vec::new() } else { simple(&rest, &mut packed.steps) };
        if bins.len() + filled.len() < packed.bins.len() {
            packed.bins = bins.iter().cloned().chain(filled).collect();
        }
        if rest.is_empty() || packed.bins.len() as u64 <= packed.bound {
            return;
        }
        let rows: Vec<usize> = (0..left.len()).filter(|&row| left[row] > 0).collect();
        let mut master = Master::new(Demand {
            sizes: rows.iter().map(|&row| demand.sizes[row]).collect(),
            counts: rows.iter().map(|&row| left[row]).collect(),
            room: demand.room,
        });
        let known: Vec<Pattern> =
            pool.iter().filter_map(|pattern| within(pattern, &rows, &left)).collect();
        let wanted = (packed.bins.len() - bins.len()) as u64;
        master.solve(&known, wanted, course.steps.saturating_sub(packed.steps));
        packed.steps += master.steps;
        if master.bound >= wanted {
            return;
        }
        chosen = owned(&master)
            .into_iter()
            .map(|(level, pattern)| {
                let wide = pattern.iter().map(|&(row, count)| (rows[row], count)).collect();
                (level, wide)
            })
            .collect();
    }
}

fn owned(master: &Master) -> Vec<(f64, Pattern)> {
    master.used().into_iter().map(|(level, pattern)| (level, pattern.clone())).collect()
}

/// Makes bins of the patterns that are used once, or nearly; at least one bin.
fn round(
    chosen: &[(f64, Pattern)],
    bold: f64,
    demand: &Demand,
    left: &mut [u32],
    bins: &mut Vec<Vec<u64>>,
) {
    let before = bins.len();
    for (level, pattern) in chosen {
        let mut times = (level + 1.0 - bold) as u32;
        if bins.len() == before {
            times = times.max(1);
        }
        for _ in 0..times {
            if pattern.iter().any(|&(row, count)| left[row] < count) {
                break;
            }
            let mut bin = Vec::new();
            for &(row, count) in pattern {
                left[row] -= count;
                bin.extend(std::iter::repeat_n(demand.sizes[row], count as usize));
            }
            bins.push(bin);
        }
    }
}

/// The pattern in the numbering of the rows that are left, cut to what is left of each.
fn within(pattern: &Pattern, rows: &[usize], left: &[u32]) -> Option<Pattern> {
    let cut: Pattern = pattern
        .iter()
        .filter_map(|&(row, count)| {
            let place = rows.binary_search(&row).ok()?;
            Some((place, count.min(left[row])))
        })
        .collect();
    (!cut.is_empty()).then_some(cut)
}
