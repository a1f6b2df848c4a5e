//! Says why there is no room: the smallest set of groups that clash, what they lack, and what would help.
//!
//! Method: groups are left out as long as the rest still does not fit, in large parts first, the lightest groups first; what
//! remains fits as soon as any one of them is left out. With few groups every subset is tried by number instead, so that
//! none is smaller. Each relaxation is solved before it is told.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

use super::bound::{Short, least, least_of};
use super::norm::Norm;
use super::solve::{Effort, Outcome, solve};
use super::{Cause, Instance, NoRoom, Relaxation};

/// Subsets are tried by number up to so many groups.
const FEW_GROUPS: usize = 9;

/// Above this number of groups, a set that the bound shows to be too much is not made smaller by leaving out one by one.
const MANY_GROUPS: usize = 60;

/// Asks whether something fits, and keeps count.
struct Oracle {
    share: u64,
    left: u64,
    used: u64,
    /// Only proofs count as failures.
    strict: bool,
    proven: bool,
}

impl Oracle {
    /// Whether the wanted groups fit when every group that may be split is.
    fn fits(&mut self, instance: &Instance, wanted: &[bool]) -> bool {
        self.ask(instance, wanted, Effort::Any).0
    }

    /// Whether the wanted groups do not fit; with a proof, if proofs are asked for.
    fn fails(&mut self, instance: &Instance, wanted: &[bool]) -> bool {
        let effort = if self.strict {
            Effort::Proof
        } else {
            Effort::Any
        };
        let (fits, proven) = self.ask(instance, wanted, effort);
        !fits && (proven || !self.strict)
    }

    fn ask(&mut self, instance: &Instance, wanted: &[bool], effort: Effort) -> (bool, bool) {
        let split: Vec<bool> = instance
            .groups
            .iter()
            .map(|group| group.may_split)
            .collect();
        let outcome = solve(instance, wanted, &split, self.share.min(self.left), effort);
        let (fits, proven, steps) = match outcome {
            Outcome::Fits(fit) => (true, true, fit.steps),
            Outcome::Fails { proven, steps } => (false, proven, steps),
        };
        self.proven &= proven;
        self.used += steps;
        self.left = self.left.saturating_sub(steps + 1);
        (fits, proven)
    }
}

/// Explains why the instance has no room.
#[must_use]
pub fn explain(instance: &Instance, steps: u64, proven: bool, used: u64) -> NoRoom {
    let mut oracle = Oracle {
        share: (steps / 60).max(20_000),
        left: steps / 2,
        used,
        strict: proven,
        proven: true,
    };
    let (clash, tried) = smallest(instance, &mut oracle);
    let (cause, certain) = cause_of(instance, &clash, &mut oracle);
    let minimal = tried && oracle.left > 0;
    // a refusal that was proven at once leaves more for finding out what helps
    oracle.left = (steps / 3).max(steps.saturating_sub(oracle.used));
    let relaxations = relaxations(instance, &clash, &mut oracle);
    NoRoom {
        clash,
        cause,
        proven: proven || certain,
        minimal,
        relaxations,
        steps: oracle.used,
    }
}

fn chosen(instance: &Instance, groups: &[usize]) -> Vec<bool> {
    let mut wanted = vec![false; instance.groups.len()];
    for &group in groups {
        wanted[group] = true;
    }
    wanted
}

/// The smallest clash that was found, and whether each of its groups was tried.
fn smallest(instance: &Instance, oracle: &mut Oracle) -> (Vec<usize>, bool) {
    let mut groups: Vec<usize> = (0..instance.groups.len()).collect();
    let lines = Norm::new(
        instance,
        &chosen(instance, &groups),
        &vec![true; groups.len()],
    );
    // one line that fits nowhere is the smallest clash there can be
    if let Some(line) = lines.units.iter().find(|unit| unit.sites.is_empty()) {
        return (vec![line.group], true);
    }
    if groups.len() <= FEW_GROUPS {
        for size in 1..=groups.len() as u32 {
            for bits in 0_u32..1 << groups.len() {
                let set: Vec<usize> = (0..groups.len())
                    .filter(|&group| bits >> group & 1 == 1)
                    .collect();
                if bits.count_ones() == size && oracle.fails(instance, &chosen(instance, &set)) {
                    return (set, true);
                }
            }
        }
        return (groups, false);
    }
    let whole = Norm::new(
        instance,
        &chosen(instance, &groups),
        &vec![false; groups.len()],
    );
    let bound = least(&whole, oracle.left / 8);
    let core: Vec<usize> = bound
        .core
        .iter()
        .map(|&unit| whole.units[unit].group)
        .collect();
    if !core.is_empty() {
        groups = core;
        groups.sort_unstable();
    }
    if let (Some(short), true) = (&bound.short, bound.core.is_empty()) {
        let concerned = |group: &usize| {
            let mut lines = instance.groups[*group].lines.iter();
            lines.any(|line| short.classes.contains(&line.class))
        };
        let classes: Vec<usize> = groups.iter().copied().filter(concerned).collect();
        if oracle.fails(instance, &chosen(instance, &classes)) {
            groups = classes;
        }
    }
    if groups.len() > MANY_GROUPS && bound.short.is_some() {
        return (groups, false);
    }
    groups.sort_by_key(|&group| (load_of(instance, group), group));
    let mut part = groups.len().div_ceil(2);
    loop {
        let mut start = 0;
        while start < groups.len() && groups.len() > 1 && oracle.left > 0 {
            let end = (start + part).min(groups.len());
            let mut fewer = groups.clone();
            fewer.drain(start..end);
            if !fewer.is_empty() && oracle.fails(instance, &chosen(instance, &fewer)) {
                groups = fewer;
            } else {
                start = end;
            }
        }
        if part == 1 {
            break;
        }
        part = part.div_ceil(2);
    }
    groups.sort_unstable();
    (groups, true)
}

/// Where the bound alone shows that some groups have too few ports.
fn short_of(instance: &Instance, groups: &[usize]) -> Option<Short> {
    let split = vec![true; instance.groups.len()];
    let norm = Norm::new(instance, &chosen(instance, groups), &split);
    let units: Vec<usize> = (0..norm.units.len()).collect();
    let mut sites: Vec<usize> = norm
        .units
        .iter()
        .flat_map(|unit| unit.sites.iter().copied())
        .collect();
    sites.sort_unstable();
    sites.dedup();
    least_of(&norm, &units, &sites, &[], 2_000_000).short
}

fn cause_of(instance: &Instance, clash: &[usize], oracle: &mut Oracle) -> (Cause, bool) {
    if let [group] = *clash
        && let Some(cause) = misfit(instance, group)
    {
        return (cause, true);
    }
    if let Some(short) = short_of(instance, clash) {
        let cause = Cause::Ports {
            classes: short.classes,
            needed: short.needed,
            free: short.free,
        };
        return (cause, true);
    }
    let mut unlimited = instance.clone();
    for site in &mut unlimited.sites {
        site.limit = u64::MAX;
    }
    if unlimited != *instance && oracle.fits(&unlimited, &chosen(instance, clash)) {
        let lines = clash
            .iter()
            .flat_map(|&group| &instance.groups[group].lines);
        let allowed = |site: &usize| clash.iter().any(|&group| goes_to(instance, group, *site));
        let cause = Cause::Limit {
            weight: lines.map(|line| line.weight).fold(0, u64::saturating_add),
            limit: (0..instance.sites.len())
                .filter(allowed)
                .map(|site| instance.sites[site].limit)
                .fold(0, u64::saturating_add),
        };
        return (cause, false);
    }
    let mut loose = instance.clone();
    for group in &mut loose.groups {
        group.may_split = true;
    }
    if loose != *instance && oracle.fits(&loose, &chosen(instance, clash)) {
        return (Cause::Together, false);
    }
    (Cause::Packing, false)
}

fn goes_to(instance: &Instance, group: usize, site: usize) -> bool {
    instance.groups[group]
        .sites
        .as_ref()
        .is_none_or(|some| some.contains(&site))
}

fn load_of(instance: &Instance, group: usize) -> u64 {
    let lines = &instance.groups[group].lines;
    lines
        .iter()
        .map(|line| line.size)
        .fold(0, u64::saturating_add)
}

/// A line of the group that no port of the group's sites takes.
fn misfit(instance: &Instance, group: usize) -> Option<Cause> {
    for (index, line) in instance.groups[group].lines.iter().enumerate() {
        let room = (0..instance.sites.len())
            .filter(|&site| goes_to(instance, group, site))
            .flat_map(|site| &instance.sites[site].ports)
            .map(|port| port.room.get(line.class).copied().unwrap_or(0))
            .max()
            .unwrap_or(0);
        if room == 0 {
            return Some(Cause::Class {
                group,
                line: index,
                class: line.class,
            });
        }
        if room < line.size {
            return Some(Cause::Size {
                group,
                line: index,
                size: line.size,
                room,
            });
        }
    }
    None
}

/// Lines that are tried shorter.
const MANY_LINES: usize = 12;

/// Ports that may be added at most.
const MOST_PORTS: u64 = 64;

fn relaxations(instance: &Instance, clash: &[usize], oracle: &mut Oracle) -> Vec<Relaxation> {
    let everything = vec![true; instance.groups.len()];
    let mut found = Vec::new();
    found.extend(more_ports(instance, clash, &everything, oracle));
    found.extend(smaller(instance, clash, &everything, oracle));
    found.extend(more_room(instance, clash, &everything, oracle));
    for &group in clash {
        let mut changed = instance.clone();
        changed.groups[group].may_split = true;
        if !instance.groups[group].may_split
            && instance.groups[group].lines.len() > 1
            && oracle.fits(&changed, &everything)
        {
            found.push(Relaxation::Split { group });
            break;
        }
    }
    for &group in clash {
        let mut changed = instance.clone();
        changed.groups[group].sites = None;
        if instance.groups[group].sites.is_some() && oracle.fits(&changed, &everything) {
            found.push(Relaxation::Elsewhere { group });
            break;
        }
    }
    found.extend(without(instance, clash, oracle));
    found
}

/// The lightest group of the clash that helps when it is left out; otherwise all that find no room after the others.
fn without(instance: &Instance, clash: &[usize], oracle: &mut Oracle) -> Option<Relaxation> {
    let count = instance.groups.len();
    let mut lightest = clash.to_vec();
    lightest.sort_by_key(|&group| (load_of(instance, group), group));
    // each alone, while there are few
    for group in lightest.into_iter().take(MANY_LINES) {
        let mut wanted = vec![true; count];
        wanted[group] = false;
        if oracle.fits(instance, &wanted) {
            return Some(Relaxation::Without {
                groups: vec![group],
            });
        }
    }
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_by_key(|&group| (load_of(instance, group), group));
    if count > FEW_GROUPS {
        // the fewest of the heaviest groups of the clash
        let mut heaviest = clash.to_vec();
        heaviest.sort_by_key(|&group| (std::cmp::Reverse(load_of(instance, group)), group));
        let least = least_that(heaviest.len() as u64, |count| {
            let mut wanted = vec![true; instance.groups.len()];
            for &group in &heaviest[..count as usize] {
                wanted[group] = false;
            }
            oracle.left > 0 && oracle.fits(instance, &wanted)
        });
        let mut groups = heaviest;
        groups.truncate(least.unwrap_or(0) as usize);
        groups.sort_unstable();
        return (!groups.is_empty()).then_some(Relaxation::Without { groups });
    }
    let mut wanted = vec![false; count];
    for group in order {
        wanted[group] = true;
        wanted[group] = oracle.left > 0 && oracle.fits(instance, &wanted);
    }
    let groups: Vec<usize> = (0..count).filter(|&group| !wanted[group]).collect();
    (groups.len() < count).then_some(Relaxation::Without { groups })
}

fn more_ports(
    instance: &Instance,
    clash: &[usize],
    everything: &[bool],
    oracle: &mut Oracle,
) -> Option<Relaxation> {
    let classes: Vec<usize> = clash
        .iter()
        .flat_map(|&group| instance.groups[group].lines.iter().map(|line| line.class))
        .collect();
    let room_for = |site: usize, port: usize| -> u64 {
        let port = &instance.sites[site].ports[port];
        classes
            .iter()
            .map(|&class| port.room.get(class).copied().unwrap_or(0))
            .max()
            .unwrap_or(0)
    };
    let mut best: Option<(usize, usize, usize)> = None;
    for site in 0..instance.sites.len() {
        let ports = instance.sites[site].ports.len();
        let widest = (0..ports)
            .filter(|&port| room_for(site, port) > 0)
            .max_by_key(|&port| {
                (
                    !instance.sites[site].ports[port].open,
                    room_for(site, port),
                    std::cmp::Reverse(port),
                )
            });
        let Some(like) = widest else {
            continue;
        };
        let most = best.map_or(MOST_PORTS, |(count, _, _)| count as u64 - 1);
        let count = least_that(most, |count| {
            let mut changed = instance.clone();
            let mut port = instance.sites[site].ports[like].clone();
            port.open = false;
            let more = std::iter::repeat_n(port, count as usize);
            changed.sites[site].ports.extend(more);
            oracle.left > 0 && oracle.fits(&changed, everything)
        });
        if let Some(count) = count {
            best = Some((count as usize, site, like));
        }
    }
    best.map(|(count, site, like)| Relaxation::Ports { site, like, count })
}

/// The least number between 1 and `most` for which `fits` holds, if it holds for `most`.
fn least_that(most: u64, mut fits: impl FnMut(u64) -> bool) -> Option<u64> {
    if most == 0 || !fits(most) {
        return None;
    }
    let (mut low, mut high) = (0, most);
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if fits(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(high)
}

fn smaller(
    instance: &Instance,
    clash: &[usize],
    everything: &[bool],
    oracle: &mut Oracle,
) -> Option<Relaxation> {
    let mut best: Option<(u64, usize, usize)> = None;
    let mut lines: Vec<(usize, usize)> = clash
        .iter()
        .flat_map(|&group| (0..instance.groups[group].lines.len()).map(move |line| (group, line)))
        .collect();
    // with many lines only the largest: shortening one of these helps most
    lines.sort_by_key(|&(group, line)| {
        (
            std::cmp::Reverse(instance.groups[group].lines[line].size),
            group,
            line,
        )
    });
    lines.truncate(MANY_LINES);
    {
        for (group, line) in lines {
            let size = instance.groups[group].lines[line].size;
            let most = best.map_or(size.saturating_sub(1), |(less, _, _)| {
                (less - 1).min(size.saturating_sub(1))
            });
            let mut changed = instance.clone();
            let less = least_that(most, |less| {
                changed.groups[group].lines[line].size = size - less;
                oracle.left > 0 && oracle.fits(&changed, everything)
            });
            if let Some(less) = less {
                best = Some((less, group, line));
            }
        }
    }
    best.map(|(less, group, line)| Relaxation::Smaller { group, line, less })
}

fn more_room(
    instance: &Instance,
    clash: &[usize],
    everything: &[bool],
    oracle: &mut Oracle,
) -> Option<Relaxation> {
    let mut classes: Vec<usize> = clash
        .iter()
        .flat_map(|&group| instance.groups[group].lines.iter().map(|line| line.class))
        .collect();
    classes.sort_unstable();
    classes.dedup();
    let widest = instance
        .sites
        .iter()
        .flat_map(|site| &site.ports)
        .flat_map(|port| {
            classes
                .iter()
                .map(|&class| port.room.get(class).copied().unwrap_or(0))
        })
        .max()
        .unwrap_or(0);
    let more = least_that(widest, |more| {
        let mut changed = instance.clone();
        for port in changed.sites.iter_mut().flat_map(|site| &mut site.ports) {
            for &class in &classes {
                if let Some(room) = port.room.get_mut(class)
                    && *room > 0
                {
                    *room = room.saturating_add(more);
                }
            }
        }
        oracle.left > 0 && oracle.fits(&changed, everything)
    });
    more.map(|more| Relaxation::Room { classes, more })
}
