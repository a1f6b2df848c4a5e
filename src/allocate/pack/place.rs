//! The whole way from an instance to port numbers, with splitting where nothing else helps.
//!
//! Method: first every group whole. Where that fails, groups that may be split are: every set of them in order of size
//! while the sets are few, otherwise the largest first until it fits, then each is made whole again if it still fits. Then
//! the lines get their ports, site by site, and the ports their numbers.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

use super::clash;
use super::norm::room_by_class;
use super::number::{Place, Standing, number};
use super::solve::{Effort, Fit, Outcome, solve};
use super::{Answer, Instance, NoRoom, Spot};

/// Nothing was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Failed {
    /// It is certain that there is nothing.
    pub proven: bool,
    /// Steps used.
    pub steps: u64,
}

/// Places everything, or says what clashes. See the module `pack` for what is wanted.
///
/// `steps` is a budget in counted steps: see [`super::DEFAULT_STEPS`].
///
/// # Errors
///
/// `NoRoom` where no answer was found; it says whether that is proven.
pub fn place(instance: &Instance, steps: u64) -> Result<Answer, NoRoom> {
    seek(instance, steps)
        .map_err(|failed| clash::explain(instance, steps, failed.proven, failed.steps))
}

/// Places everything, and leaves it at that where there is no room.
///
/// # Errors
///
/// Whether it is proven that there is none.
pub fn seek(instance: &Instance, steps: u64) -> Result<Answer, Failed> {
    let groups = instance.groups.len();
    let wanted = vec![true; groups];
    let whole = vec![false; groups];
    let mut used = 0;
    let mut proven = true;
    match solve(instance, &wanted, &whole, steps / 20 * 19, Effort::Best) {
        Outcome::Fits(fit) => return Ok(answer(instance, &fit, steps, &[], 0)),
        Outcome::Fails {
            proven: sure,
            steps,
        } => {
            used += steps;
            proven &= sure;
        }
    }
    let candidates: Vec<usize> = (0..groups)
        .filter(|&group| instance.groups[group].may_split && instance.groups[group].lines.len() > 1)
        .collect();
    if !candidates.is_empty() {
        let (fit, spent) = split(instance, &candidates, steps);
        used += spent;
        if let Some((fit, split)) = fit {
            return Ok(answer(instance, &fit, steps, &split, used));
        }
    }
    Err(Failed {
        proven,
        steps: used,
    })
}

/// The steps it takes to find everything a place when groups that may be split are.
///
/// # Errors
///
/// Whether it is proven that there is none.
pub fn fits(instance: &Instance, steps: u64) -> Result<u64, Failed> {
    let wanted = vec![true; instance.groups.len()];
    let split: Vec<bool> = instance
        .groups
        .iter()
        .map(|group| group.may_split)
        .collect();
    match solve(instance, &wanted, &split, steps, Effort::Any) {
        Outcome::Fits(fit) => Ok(fit.steps),
        Outcome::Fails { proven, steps } => Err(Failed { proven, steps }),
    }
}

/// Sets of split groups are all tried up to this number of candidates.
const FEW_CANDIDATES: usize = 8;

type Split = (Box<Fit>, Vec<usize>);

fn split(instance: &Instance, candidates: &[usize], steps: u64) -> (Option<Split>, u64) {
    let wanted = vec![true; instance.groups.len()];
    let mut used = 0;
    let mut attempt = |set: &[usize], effort: Effort, steps: u64| {
        let mut split = vec![false; instance.groups.len()];
        for &group in set {
            split[group] = true;
        }
        match solve(instance, &wanted, &split, steps, effort) {
            Outcome::Fits(fit) => {
                used += fit.steps;
                Some(fit)
            }
            Outcome::Fails { steps, .. } => {
                used += steps;
                None
            }
        }
    };
    if attempt(candidates, Effort::Any, steps / 10).is_none() {
        return (None, used);
    }
    if candidates.len() <= FEW_CANDIDATES {
        let share = steps / (1 << candidates.len());
        for size in 1..=candidates.len() as u32 {
            let mut best: Option<Split> = None;
            for bits in 0_u32..1 << candidates.len() {
                if bits.count_ones() != size {
                    continue;
                }
                let set: Vec<usize> = (0..candidates.len())
                    .filter(|&place| bits >> place & 1 == 1)
                    .map(|place| candidates[place])
                    .collect();
                let Some(fit) = attempt(&set, Effort::Best, share) else {
                    continue;
                };
                let key = |fit: &Fit| (fit.opened, fit.lead);
                if best
                    .as_ref()
                    .is_none_or(|(known, _)| key(&fit) < key(known))
                {
                    best = Some((fit, set));
                }
            }
            if best.is_some() {
                return (best, used);
            }
        }
    }
    let mut set = candidates.to_vec();
    set.sort_by_key(|&group| {
        let load: u64 = instance.groups[group]
            .lines
            .iter()
            .map(|line| line.size)
            .fold(0, u64::saturating_add);
        (std::cmp::Reverse(load), group)
    });
    let share = steps / 40;
    let mut count = 1;
    while count < set.len() && attempt(&set[..count], Effort::Any, share).is_none() {
        count *= 2;
    }
    set.truncate(count);
    let mut place = set.len();
    while place > 0 && set.len() > 1 {
        place -= 1;
        let mut fewer = set.clone();
        fewer.remove(place);
        if attempt(&fewer, Effort::Any, share).is_some() {
            set = fewer;
        }
        place = place.min(set.len());
    }
    let fit =
        attempt(&set, Effort::Best, steps / 2).or_else(|| attempt(&set, Effort::Any, steps / 10));
    (fit.map(|fit| (fit, set)), used)
}

/// Turns sites and packings into ports with numbers.
fn answer(instance: &Instance, fit: &Fit, steps: u64, split: &[usize], before: u64) -> Answer {
    let mut used = before + fit.steps;
    let mut spots: Vec<Vec<Spot>> = instance
        .groups
        .iter()
        .map(|group| vec![Spot::default(); group.lines.len()])
        .collect();
    let sites = instance.sites.len();
    let share = (steps / 5 / sites.max(1) as u64).max(20_000);
    for site in 0..sites {
        let lines = standing(instance, fit, site);
        if lines.is_empty() {
            continue;
        }
        let places: Vec<Place> = instance.sites[site]
            .ports
            .iter()
            .map(|port| Place {
                room: room_by_class(port, fit.norm.classes),
                open: port.open,
            })
            .collect();
        for line in number(&places, lines, share, &mut used) {
            spots[line.group][line.order] = Spot {
                site,
                port: line.port,
            };
        }
    }
    let split = split
        .iter()
        .copied()
        .filter(|&group| {
            spots[group]
                .windows(2)
                .any(|pair| pair[0].site != pair[1].site)
        })
        .collect::<Vec<usize>>();
    Answer {
        opened: opened(instance, &spots),
        spots,
        lead: fit.lead,
        bound: fit.bound,
        fewest_ports: fit.opened <= fit.bound,
        least_lead: fit.whole,
        split,
        steps: used,
    }
}

/// The lines of one site on first ports: equal ports in the order of the site, equal lines in the order of their groups.
fn standing(instance: &Instance, fit: &Fit, site: usize) -> Vec<Standing> {
    let norm = &fit.norm;
    let mut waiting: Vec<Vec<(usize, usize)>> = vec![Vec::new(); norm.lines.len()];
    for (unit, &its) in norm.units.iter().zip(&fit.site_of) {
        if its != site {
            continue;
        }
        for &order in &unit.lines {
            let line = &instance.groups[unit.group].lines[order];
            let size = line.size / norm.units_of[line.class];
            waiting[norm.kind_of(line.class, size)].push((unit.group, order));
        }
    }
    for queue in &mut waiting {
        queue.sort_unstable();
        queue.reverse();
    }
    let ports = &instance.sites[site].ports;
    let mut free: Vec<bool> = vec![true; ports.len()];
    let mut standing = Vec::new();
    for (kind, lines) in &fit.fillings[site].ports {
        let kind = &norm.shape(site).kinds[*kind];
        let matching = (0..ports.len()).find(|&port| {
            free[port] && ports[port].open == kind.open && norm.room(&ports[port]) == kind.room
        });
        let Some(port) = matching else {
            continue;
        };
        free[port] = false;
        for &line in lines {
            if let Some((group, order)) = waiting[line].pop() {
                standing.push(Standing {
                    group,
                    order,
                    class: norm.lines[line].class,
                    size: instance.groups[group].lines[order].size,
                    port,
                });
            }
        }
    }
    standing
}

fn opened(instance: &Instance, spots: &[Vec<Spot>]) -> u64 {
    let mut used: Vec<Spot> = spots
        .iter()
        .flatten()
        .copied()
        .filter(|spot| !instance.sites[spot.site].ports[spot.port].open)
        .collect();
    used.sort_unstable();
    used.dedup();
    used.len() as u64
}
