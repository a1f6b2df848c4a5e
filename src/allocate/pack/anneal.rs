//! Searches which site each unit goes to, by annealing.
//!
//! Method: moves of one unit and swaps of two, near sites preferred. A step is judged by opened ports times a weight plus
//! lead. The allowance for worsening is drawn before anything is packed, so that most steps are turned down by lead and the sum
//! bound alone; the rest ask `fill`, which remembers. Units that are alike change places without any packing. Afterwards
//! the loads of the sites are evened by steps that cost nothing.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

use super::fill::{MISSING, Packer};
use super::norm::{Norm, Unit};
use super::random::{Random, Thresholds};

/// Which unit stands where, with what follows from it kept up to date.
#[derive(Debug, Clone)]
pub struct State {
    /// Site of each unit.
    pub site_of: Vec<usize>,
    members: Vec<Vec<u32>>,
    place_of: Vec<u32>,
    counts: Vec<u16>,
    hash: Vec<u64>,
    loads: Vec<u64>,
    weight: Vec<u64>,
    cost: Vec<u32>,
    /// Opened ports of all sites, plus `MISSING` for each that is lacking.
    pub ports: u64,
    /// Lead of all units.
    pub lead: u64,
}

/// One site after a step: what it gains and what it loses.
struct Change<'a> {
    site: usize,
    gains: Option<&'a Unit>,
    loses: Option<&'a Unit>,
}

impl State {
    /// The state in which each unit stands where `site_of` says.
    #[must_use]
    pub fn new(norm: &Norm, packer: &mut Packer, site_of: Vec<usize>) -> Self {
        let sites = norm.shape_of.len();
        let kinds = norm.lines.len();
        let mut state = Self {
            members: vec![Vec::new(); sites],
            place_of: vec![0; site_of.len()],
            counts: vec![0; sites * kinds],
            hash: vec![0; sites],
            loads: vec![0; sites * norm.classes],
            weight: vec![0; sites],
            cost: vec![0; sites],
            ports: 0,
            lead: 0,
            site_of,
        };
        for (index, unit) in norm.units.iter().enumerate() {
            let site = state.site_of[index];
            state.place_of[index] = state.members[site].len() as u32;
            state.members[site].push(index as u32);
            state.lead += unit.lead[site];
            state.shift(norm, site, unit, true);
        }
        for site in 0..sites {
            let change = Change {
                site,
                gains: None,
                loses: None,
            };
            state.cost[site] = state.cost_after(norm, packer, &change);
            state.ports += u64::from(state.cost[site]);
        }
        state
    }

    fn shift(&mut self, norm: &Norm, site: usize, unit: &Unit, arrives: bool) {
        let row = site * norm.lines.len();
        for &(kind, count) in &unit.kinds {
            let cell = &mut self.counts[row + kind];
            *cell = if arrives {
                *cell + count as u16
            } else {
                *cell - count as u16
            };
        }
        let row = site * norm.classes;
        for &(class, load) in &unit.loads {
            let cell = &mut self.loads[row + class];
            *cell = if arrives { *cell + load } else { *cell - load };
        }
        if arrives {
            self.hash[site] = self.hash[site].wrapping_add(unit.hash);
            self.weight[site] = self.weight[site].saturating_add(unit.weight);
        } else {
            self.hash[site] = self.hash[site].wrapping_sub(unit.hash);
            self.weight[site] = self.weight[site].saturating_sub(unit.weight);
        }
    }

    /// What the cost of a site is at least after a change, without packing.
    fn least_after(&self, norm: &Norm, change: &Change) -> u32 {
        let shape = norm.shape(change.site);
        if !shape.uniform {
            return 0;
        }
        let Some(ports) = shape.kinds.first() else {
            return 0;
        };
        let row = change.site * norm.classes;
        let mut opened = 0;
        for class in 0..norm.classes {
            let mut load = self.loads[row + class];
            if let Some(unit) = change.gains {
                load += class_load(unit, class);
            }
            if let Some(unit) = change.loses {
                load -= class_load(unit, class);
            }
            if load > 0 {
                opened += load.div_ceil(ports.room[class].max(1)) as usize;
            }
        }
        opened as u32 + MISSING * opened.saturating_sub(ports.count) as u32
    }

    fn cost_after(&self, norm: &Norm, packer: &mut Packer, change: &Change) -> u32 {
        let site = change.site;
        let (mut hash, mut weight) = (self.hash[site], self.weight[site]);
        if let Some(unit) = change.gains {
            hash = hash.wrapping_add(unit.hash);
            weight = weight.saturating_add(unit.weight);
        }
        if let Some(unit) = change.loses {
            hash = hash.wrapping_sub(unit.hash);
            weight = weight.saturating_sub(unit.weight);
        }
        let row = site * norm.lines.len();
        let over = if weight > norm.limit[site] {
            MISSING
        } else {
            0
        };
        over + packer.cost(norm, norm.shape(site), hash, |kind| {
            let mut count = usize::from(self.counts[row + kind]);
            if let Some(unit) = change.gains {
                count += kind_count(unit, kind);
            }
            if let Some(unit) = change.loses {
                count -= kind_count(unit, kind);
            }
            count
        })
    }

    fn relocate(&mut self, norm: &Norm, index: usize, to: usize) {
        let unit = &norm.units[index];
        let from = self.site_of[index];
        let place = self.place_of[index] as usize;
        self.members[from].swap_remove(place);
        if let Some(&moved) = self.members[from].get(place) {
            self.place_of[moved as usize] = place as u32;
        }
        self.place_of[index] = self.members[to].len() as u32;
        self.members[to].push(index as u32);
        self.site_of[index] = to;
        self.lead = self.lead - unit.lead[from] + unit.lead[to];
        self.shift(norm, from, unit, false);
        self.shift(norm, to, unit, true);
    }
}

/// A first assignment by sums alone: the largest units first, each to the nearest site that still has room for it, or to the
/// site with the most room left where none has.
#[must_use]
pub fn first(norm: &Norm) -> Vec<usize> {
    let mut order: Vec<usize> = (0..norm.units.len()).collect();
    order.sort_by_key(|&unit| {
        let unit = &norm.units[unit];
        (unit.sites.len() > 1, std::cmp::Reverse(unit.load))
    });
    let mut room: Vec<u64> = (0..norm.shape_of.len())
        .map(|site| whole_room(norm, site))
        .collect();
    let mut weight = norm.limit.clone();
    let mut site_of = vec![0; norm.units.len()];
    for index in order {
        let unit = &norm.units[index];
        let fits = |&&site: &&usize| room[site] >= unit.load && weight[site] >= unit.weight;
        let found = unit.sites.iter().find(fits);
        let most = || {
            unit.sites
                .iter()
                .max_by_key(|&&site| (room[site], std::cmp::Reverse(site)))
        };
        let site = found.or_else(most).copied().unwrap_or(0);
        room[site] = room[site].saturating_sub(unit.load);
        weight[site] = weight[site].saturating_sub(unit.weight);
        site_of[index] = site;
    }
    site_of
}

fn whole_room(norm: &Norm, site: usize) -> u64 {
    let kinds = &norm.shape(site).kinds;
    kinds
        .iter()
        .map(|kind| {
            let rooms = kind.room.iter().zip(&norm.units_of);
            let widest = rooms.map(|(room, unit)| room * unit).max().unwrap_or(0);
            widest.saturating_mul(kind.count as u64)
        })
        .fold(0, u64::saturating_add)
}

fn class_load(unit: &Unit, class: usize) -> u64 {
    unit.loads
        .iter()
        .find(|(known, _)| *known == class)
        .map_or(0, |(_, load)| *load)
}

fn kind_count(unit: &Unit, kind: usize) -> usize {
    unit.kinds
        .iter()
        .find(|(known, _)| *known == kind)
        .map_or(0, |(_, count)| *count)
}

/// How an annealing runs.
#[derive(Debug, Clone, Copy)]
pub struct Course {
    /// Lead, in tenths of a metre, that a port is worth.
    pub port: f64,
    /// First temperature, in the same unit as lead.
    pub hot: f64,
    /// Last temperature.
    pub cold: f64,
    /// Packer steps to use.
    pub steps: u64,
    /// Good enough to stop: ports and lead.
    pub enough: (u64, u64),
    /// Seed.
    pub seed: u64,
}

/// Anneals from `state`; returns the best assignment seen (fewest ports, then least lead).
pub fn anneal(norm: &Norm, packer: &mut Packer, mut state: State, course: &Course) -> State {
    let thresholds = Thresholds::new();
    let mut random = Random::new(course.seed);
    let mut best = state.clone();
    if state.ports <= course.enough.0 && state.lead <= course.enough.1 {
        return best;
    }
    let movable: Vec<usize> = (0..norm.units.len())
        .filter(|&unit| norm.units[unit].sites.len() > 1)
        .collect();
    if movable.is_empty() {
        return best;
    }
    let stages = 400;
    let ratio = nth_root(course.cold / course.hot, stages);
    let mut heat = course.hot;
    let start = packer.steps;
    for stage in 0..stages {
        let end = start + (course.steps / u64::from(stages)) * u64::from(stage + 1);
        while packer.steps < end {
            packer.steps += STEP;
            let index = movable[random.below(movable.len())];
            let allowance = heat * thresholds.draw(&mut random);
            if try_step(
                norm,
                packer,
                &mut state,
                course,
                index,
                allowance,
                &mut random,
            ) && (state.ports, state.lead) < (best.ports, best.lead)
            {
                best.clone_from(&state);
                if state.ports <= course.enough.0 && state.lead <= course.enough.1 {
                    return best;
                }
            }
        }
        heat *= ratio;
    }
    best
}

/// Steps that a proposal counts besides what its packing counts.
const STEP: u64 = 10;

fn nth_root(number: f64, root: u32) -> f64 {
    // halving the interval: only basic operations, so that every machine gets the same root
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        let mut power = 1.0;
        for _ in 0..root {
            power *= middle;
        }
        if power < number {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

fn try_step(
    norm: &Norm,
    packer: &mut Packer,
    state: &mut State,
    course: &Course,
    index: usize,
    allowance: f64,
    random: &mut Random,
) -> bool {
    let unit = &norm.units[index];
    let from = state.site_of[index];
    let choices = unit.sites.len();
    let reach = 1 + random.below(choices);
    let reach = 1 + random.below(reach);
    let to = unit.sites[random.below(reach)];
    if to == from {
        return false;
    }
    let mut lead = unit.lead[to] as f64 - unit.lead[from] as f64;
    let mut other = None;
    if random.below(4) > 0 && !state.members[to].is_empty() {
        let pick = state.members[to][random.below(state.members[to].len())] as usize;
        let partner = &norm.units[pick];
        if !partner.anywhere && !partner.sites.contains(&from) {
            return false;
        }
        lead += partner.lead[from] as f64 - partner.lead[to] as f64;
        other = Some(pick);
    }
    let partner = other.map(|pick| &norm.units[pick]);
    if lead - 2.0 * course.port > allowance {
        return false;
    }
    let (leaves, comes) = exchange(unit, partner, from, to);
    let before = i64::from(state.cost[from]) + i64::from(state.cost[to]);
    let least_from = state.least_after(norm, &leaves);
    let least_to = state.least_after(norm, &comes);
    let least = i64::from(least_from) + i64::from(least_to) - before;
    if lead + least as f64 * course.port > allowance {
        return false;
    }
    let same =
        partner.is_some_and(|partner| partner.hash == unit.hash && partner.weight == unit.weight);
    let (mut cost_from, mut cost_to) = (state.cost[from], state.cost[to]);
    if !same {
        cost_from = state.cost_after(norm, packer, &leaves);
        let least = i64::from(cost_from) + i64::from(least_to) - before;
        if lead + least as f64 * course.port > allowance {
            return false;
        }
        cost_to = state.cost_after(norm, packer, &comes);
        let after = i64::from(cost_from) + i64::from(cost_to) - before;
        if lead + after as f64 * course.port > allowance {
            return false;
        }
    }
    state.ports = state.ports + u64::from(cost_from) + u64::from(cost_to)
        - u64::from(state.cost[from])
        - u64::from(state.cost[to]);
    state.cost[from] = cost_from;
    state.cost[to] = cost_to;
    state.relocate(norm, index, to);
    if let Some(pick) = other {
        state.relocate(norm, pick, from);
    }
    true
}

/// A unit goes from one site to another, and its partner, if it has one, comes back in its place.
fn exchange<'a>(
    unit: &'a Unit,
    partner: Option<&'a Unit>,
    from: usize,
    to: usize,
) -> (Change<'a>, Change<'a>) {
    let leaves = Change {
        site: from,
        gains: partner,
        loses: Some(unit),
    };
    let comes = Change {
        site: to,
        gains: Some(unit),
        loses: partner,
    };
    (leaves, comes)
}

/// Evens the loads of the sites by moves and swaps that cost neither a port nor lead.
pub fn even_out(norm: &Norm, packer: &mut Packer, state: &mut State, steps: u64) {
    let end = packer.steps.saturating_add(steps);
    let mut load = norm.carried.clone();
    for (unit, &site) in norm.units.iter().zip(&state.site_of) {
        load[site] = load[site].saturating_add(unit.load);
    }
    let mut improved = true;
    while improved && packer.steps < end {
        improved = false;
        for index in 0..norm.units.len() {
            let sites = &norm.units[index].sites;
            for &to in sites {
                let partners: Vec<usize> = state.members[to]
                    .iter()
                    .map(|&unit| unit as usize)
                    .collect();
                let from = state.site_of[index];
                if to == from || packer.steps >= end {
                    continue;
                }
                let swaps = partners.into_iter().map(Some);
                for partner in std::iter::once(None).chain(swaps) {
                    packer.steps += 4;
                    if even_step(norm, packer, state, &mut load, index, to, partner) {
                        improved = true;
                        break;
                    }
                }
            }
        }
    }
}

fn even_step(
    norm: &Norm,
    packer: &mut Packer,
    state: &mut State,
    load: &mut [u64],
    index: usize,
    to: usize,
    other: Option<usize>,
) -> bool {
    let unit = &norm.units[index];
    let from = state.site_of[index];
    let partner = other.map(|pick| &norm.units[pick]);
    let (mut out, mut back) = (unit.lead[from], unit.lead[to]);
    if let Some(partner) = partner {
        if !partner.anywhere && !partner.sites.contains(&from) {
            return false;
        }
        out += partner.lead[to];
        back += partner.lead[from];
    }
    let less = partner.map_or(0, |partner| partner.load);
    let (from_after, to_after) = (
        (load[from] + less).saturating_sub(unit.load),
        (load[to] + unit.load).saturating_sub(less),
    );
    let square = |load: u64| u128::from(load) * u128::from(load);
    let before = square(load[from]) + square(load[to]);
    let better = back < out || back == out && square(from_after) + square(to_after) < before;
    if back > out || !better {
        return false;
    }
    let (leaves, comes) = exchange(unit, partner, from, to);
    let now = u64::from(state.cost[from]) + u64::from(state.cost[to]);
    if u64::from(state.least_after(norm, &leaves)) + u64::from(state.least_after(norm, &comes))
        > now
    {
        return false;
    }
    let cost_from = state.cost_after(norm, packer, &leaves);
    let cost_to = state.cost_after(norm, packer, &comes);
    let after = u64::from(cost_from) + u64::from(cost_to);
    if after > now {
        return false;
    }
    state.ports = state.ports + after - now;
    state.cost[from] = cost_from;
    state.cost[to] = cost_to;
    load[from] = from_after;
    load[to] = to_after;
    state.relocate(norm, index, to);
    if let Some(pick) = other {
        state.relocate(norm, pick, from);
    }
    true
}
