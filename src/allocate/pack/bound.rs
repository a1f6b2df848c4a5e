//! Proves how many ports are opened at least, and which classes cannot fit at all.
//!
//! Method: the one-site rule is dropped and the lines of a class are packed alone, by a linear programme over patterns
//! (`column`). Its prices say what a line is worth; the most that one port can hold by these prices is a knapsack, exact in
//! integers. The fewest ports that together can hold the worth of all lines is the bound: open ports count first, as they
//! cost nothing. A port carries one class, so the bounds of the classes add up. Lines tied to one site are also bounded by
//! that site's ports alone. Where a port's room is a large number, rooms and sizes are scaled, sizes rounded down: what fits
//! still fits after that, so the bound holds.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

use super::column::{Demand, Knapsack, Master};
use super::norm::{Norm, PortKind};

/// Rooms above this are scaled down to it.
const WIDEST: u64 = 4096;

/// What was proven about a set of lines on a set of sites.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Least {
    /// Closed ports that are opened at least.
    pub ports: u64,
    /// Where it cannot fit: the classes, the ports they need at least, and the ports that accept one of them.
    pub short: Option<Short>,
    /// Where one class alone cannot fit: units that are too much for all its ports, as few as its prices can tell.
    pub core: Vec<usize>,
    /// Closed ports that each class opens at least.
    pub by_class: Vec<u64>,
    /// Steps used.
    pub steps: u64,
}

/// Ports that lines tied to a site open there at least: the site, and the number for each class.
type Tied = (usize, Vec<u64>);

/// Too few ports.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Short {
    /// Classes that clash, ascending.
    pub classes: Vec<usize>,
    /// Ports they need at least, open ones included.
    pub needed: u64,
    /// Ports that accept one of them.
    pub free: u64,
}

/// The bound for the whole instance: over all sites together, or site by site for what is tied to one.
#[must_use]
pub fn least(norm: &Norm, steps: u64) -> Least {
    let everything: Vec<usize> = (0..norm.units.len()).collect();
    let everywhere: Vec<usize> = (0..norm.shape_of.len()).collect();
    let mut ties: Vec<Tied> = Vec::new();
    let (mut used, mut short, mut core) = (0, None, Vec::new());
    for &site in &everywhere {
        let tied: Vec<usize> = everything
            .iter()
            .copied()
            .filter(|&unit| norm.units[unit].sites == [site])
            .collect();
        if tied.is_empty() || everywhere.len() == 1 {
            continue;
        }
        let left = (steps / 2_u64).saturating_sub(used);
        let one = least_of(norm, &tied, &[site], &[], left);
        used += one.steps;
        ties.push((site, one.by_class));
        if short.is_none() {
            (short, core) = (one.short, one.core);
        }
    }
    let mut whole = least_of(norm, &everything, &everywhere, &ties, steps / 2);
    whole.steps += used;
    if whole.short.is_none() {
        (whole.short, whole.core) = (short, core);
    }
    whole
}

/// Need of one class over given ports.
struct Need {
    class: usize,
    /// All ports, open ones first.
    all: u64,
    /// Closed ports among them.
    closed: u64,
    /// Ports that accept the class hold less than is asked for.
    impossible: bool,
    /// Price of each size of the class, largest size first.
    prices: Vec<(u64, i128)>,
    /// What all ports together hold at most by these prices.
    capacity: i128,
}

/// The bound for some units on some sites.
#[must_use]
pub fn least_of(norm: &Norm, units: &[usize], sites: &[usize], ties: &[Tied], steps: u64) -> Least {
    let kinds = merge_kinds(norm, sites);
    let mut counts = vec![0_usize; norm.lines.len()];
    for &unit in units {
        for &(kind, count) in &norm.units[unit].kinds {
            counts[kind] += count;
        }
    }
    let mut result = Least {
        by_class: vec![0; norm.classes],
        ..Least::default()
    };
    let mut needs: Vec<Need> = Vec::new();
    for class in 0..norm.classes {
        let sizes: Vec<u64> = (0..norm.lines.len())
            .filter(|&kind| norm.lines[kind].class == class)
            .flat_map(|kind| std::iter::repeat_n(norm.lines[kind].size, counts[kind]))
            .collect();
        if sizes.is_empty() {
            continue;
        }
        let left = steps.saturating_sub(result.steps);
        let forced = forced_picks(norm, &kinds, ties, class);
        let (need, used) = class_need(class, &sizes, &kinds, &forced, left);
        result.by_class[class] = need.closed;
        result.steps += used;
        result.ports += need.closed;
        needs.push(need);
    }
    result.short = shortage(&needs, &kinds);
    if let Some(short) = &result.short
        && let Some(need) = needs.iter().find(|need| short.classes == [need.class])
    {
        result.core = core_of(norm, units, need);
    }
    result
}

/// The fewest units whose worth is more than all ports hold: the most valuable first.
fn core_of(norm: &Norm, units: &[usize], need: &Need) -> Vec<usize> {
    let price = |size: u64| {
        let found = need.prices.iter().find(|(known, _)| *known == size);
        found.map_or(0, |(_, price)| *price)
    };
    let mut valued: Vec<(i128, usize)> = units
        .iter()
        .map(|&unit| {
            let lines = norm.units[unit].kinds.iter();
            let worth = lines
                .filter(|(kind, _)| norm.lines[*kind].class == need.class)
                .map(|&(kind, count)| price(norm.lines[kind].size) * count as i128)
                .sum();
            (worth, unit)
        })
        .collect();
    valued.sort_by_key(|&(worth, unit)| (std::cmp::Reverse(worth), unit));
    let mut sum = 0;
    let mut core = Vec::new();
    for (worth, unit) in valued {
        if sum > need.capacity {
            return core;
        }
        sum += worth;
        core.push(unit);
    }
    if sum > need.capacity {
        core
    } else {
        Vec::new()
    }
}

/// Ports that must be opened among those of one site: how many, and which kinds there are with their counts.
struct Forced {
    count: u64,
    kinds: Vec<(usize, usize)>,
}

fn forced_picks(norm: &Norm, merged: &[PortKind], ties: &[Tied], class: usize) -> Vec<Forced> {
    ties.iter()
        .filter(|(_, by_class)| by_class[class] > 0)
        .map(|(site, by_class)| Forced {
            count: by_class[class],
            kinds: norm
                .shape(*site)
                .kinds
                .iter()
                .filter(|kind| !kind.open && kind.room[class] > 0)
                .filter_map(|kind| {
                    let place = merged
                        .iter()
                        .position(|known| !known.open && known.room == kind.room)?;
                    Some((place, kind.count))
                })
                .collect(),
        })
        .collect()
}

/// The ports of several sites, equal ones together.
fn merge_kinds(norm: &Norm, sites: &[usize]) -> Vec<PortKind> {
    let mut times = vec![0_usize; norm.shapes.len()];
    for &site in sites {
        times[norm.shape_of[site]] += 1;
    }
    let mut merged: Vec<PortKind> = Vec::new();
    for (shape, &times) in norm.shapes.iter().zip(&times) {
        for kind in &shape.kinds {
            let found = merged
                .iter_mut()
                .find(|known| known.open == kind.open && known.room == kind.room);
            match found {
                Some(known) => known.count += kind.count * times,
                None => merged.push(PortKind {
                    count: kind.count * times,
                    ..kind.clone()
                }),
            }
        }
    }
    merged.retain(|kind| kind.count > 0);
    merged
}

fn class_need(
    class: usize,
    sizes: &[u64],
    kinds: &[PortKind],
    forced: &[Forced],
    steps: u64,
) -> (Need, u64) {
    let room_of = |kind: &PortKind| kind.room[class];
    let widest = kinds.iter().map(room_of).max().unwrap_or(0);
    let closed_widest = kinds
        .iter()
        .filter(|kind| !kind.open)
        .map(room_of)
        .max()
        .unwrap_or(0);
    if widest == 0 || sizes.iter().any(|&size| size > widest) {
        let need = Need {
            class,
            all: 0,
            closed: 0,
            impossible: true,
            prices: Vec::new(),
            capacity: 0,
        };
        return (need, 0);
    }
    // the programme is made for the ports that cost something, if all lines fit these
    let room = if sizes.iter().all(|&size| size <= closed_widest) {
        closed_widest
    } else {
        widest
    };
    let scaled = |value: u64| {
        if widest > WIDEST {
            (u128::from(value) * u128::from(WIDEST) / u128::from(widest)) as u64
        } else {
            value
        }
    };
    let small: Vec<u64> = sizes.iter().map(|&size| scaled(size)).collect();
    let demand = Demand::new(&small, scaled(room).max(1));
    let exact: Vec<i128> = kinds.iter().map(|kind| i128::from(room_of(kind))).collect();
    let sum: i128 = sizes.iter().map(|&size| i128::from(size)).sum();
    let mut need = ports_for(class, sum, &exact, kinds, forced);
    let mut different = sizes.to_vec();
    different.dedup();
    need.prices = different
        .iter()
        .map(|&size| (size, i128::from(size)))
        .collect();
    if demand.sizes.is_empty() || need.impossible {
        need.all = need.all.max(1);
        return (need, 1);
    }
    let mut master = Master::new(demand.clone());
    master.solve(&[], u64::MAX, steps);
    let prices: Vec<f64> = master.prices.iter().map(|&price| price as f64).collect();
    let total: i128 = master
        .prices
        .iter()
        .zip(&demand.counts)
        .map(|(&price, &count)| i128::from(price) * i128::from(count))
        .sum();
    let wide = Demand {
        room: scaled(widest).max(1),
        ..demand
    };
    let sack = Knapsack::new(&wide, &prices);
    let worth: Vec<i128> = kinds
        .iter()
        .map(|kind| sack.by_room[scaled(room_of(kind)) as usize] as i128)
        .collect();
    let better = ports_for(class, total, &worth, kinds, forced);
    need.all = need.all.max(better.all);
    need.closed = need.closed.max(better.closed);
    if better.impossible {
        need.impossible = true;
        need.capacity = better.capacity;
        need.prices = different
            .iter()
            .map(|&size| {
                let place = wide.sizes.iter().position(|&known| known == scaled(size));
                let price = place.map_or(0, |place| i128::from(master.prices[place]));
                (size, price)
            })
            .collect();
    }
    (need, master.steps)
}

/// The fewest ports, open ones first and then the best, that hold `total` where each holds at most its `worth`.
fn ports_for(
    class: usize,
    total: i128,
    worth: &[i128],
    kinds: &[PortKind],
    forced: &[Forced],
) -> Need {
    let mut order: Vec<usize> = (0..kinds.len()).collect();
    order.sort_by_key(|&kind| (!kinds[kind].open, std::cmp::Reverse(worth[kind])));
    let mut need = Need {
        class,
        all: 0,
        closed: 0,
        impossible: false,
        prices: Vec::new(),
        capacity: kinds
            .iter()
            .zip(worth)
            .map(|(kind, worth)| worth * kind.count as i128)
            .sum(),
    };
    let mut rest = total;
    let mut counts: Vec<usize> = kinds.iter().map(|kind| kind.count).collect();
    for site in forced {
        // what is tied to a site opens ports there; at best these are the site's best ones
        let mut best = site.kinds.clone();
        best.sort_by_key(|&(kind, _)| std::cmp::Reverse(worth[kind]));
        let mut left = usize::try_from(site.count).unwrap_or(usize::MAX);
        need.closed += site.count;
        for (kind, count) in best {
            let taken = left.min(count).min(counts[kind]);
            left -= taken;
            counts[kind] -= taken;
            rest -= taken as i128 * worth[kind];
        }
    }
    for kind in order {
        if rest <= 0 {
            break;
        }
        if worth[kind] <= 0 {
            continue;
        }
        let wanted = (rest + worth[kind] - 1) / worth[kind];
        let taken = wanted.min(counts[kind] as i128);
        rest -= taken * worth[kind];
        if !kinds[kind].open {
            need.closed += taken as u64;
        }
    }
    need.impossible = rest > 0;
    // the number of ports of whatever kind: the best first
    let mut order: Vec<usize> = (0..kinds.len()).collect();
    order.sort_by_key(|&kind| std::cmp::Reverse(worth[kind]));
    let mut rest = total;
    for kind in order {
        if rest <= 0 || worth[kind] <= 0 {
            break;
        }
        let wanted = (rest + worth[kind] - 1) / worth[kind];
        let taken = wanted.min(kinds[kind].count as i128);
        rest -= taken * worth[kind];
        need.all += taken as u64;
    }
    if rest > 0 {
        // as many more as a port of the best kind would make
        let best = worth.iter().copied().max().unwrap_or(1).max(1);
        need.all += u64::try_from((rest + best - 1) / best).unwrap_or(u64::MAX);
    }
    need
}

/// Looks for classes that together need more ports than accept one of them.
fn shortage(needs: &[Need], kinds: &[PortKind]) -> Option<Short> {
    let mut sets: Vec<Vec<usize>> = (0..needs.len()).map(|one| vec![one]).collect();
    for one in 0..needs.len() {
        for other in one + 1..needs.len() {
            sets.push(vec![one, other]);
        }
    }
    sets.push((0..needs.len()).collect());
    for set in sets {
        let accepts = |kind: &&PortKind| set.iter().any(|&need| kind.room[needs[need].class] > 0);
        let free: u64 = kinds
            .iter()
            .filter(accepts)
            .map(|kind| kind.count as u64)
            .sum();
        let needed: u64 = set.iter().map(|&need| needs[need].all).sum();
        let impossible = set.iter().any(|&need| needs[need].impossible);
        if needed > free || impossible && set.len() == 1 {
            let classes = set.iter().map(|&need| needs[need].class).collect();
            return Some(Short {
                classes,
                needed: needed.max(free + 1),
                free,
            });
        }
    }
    None
}
