//! Says why there is no room: the smallest set of groups that clash, and what they lack.
//!
//! Method: groups are left out as long as the rest still does not fit, in large parts first, the lightest groups first; what
//! remains fits as soon as any one of them is left out. With few groups every subset is tried by number instead, so that
//! none is smaller.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

use super::bound::{Short, least, least_of};
use super::norm::Norm;
use super::place::fits;
use super::solve::{Effort, Outcome, solve};
use super::{Cause, Instance, NoRoom};

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
    NoRoom {
        clash,
        cause,
        proven: proven || certain,
        minimal,
        steps: oracle.used,
    }
}

/// So many clashes are looked for.
const MOST_CLASHES: usize = 20;

/// Sets of groups that clash, with what each lacks: what is left without them finds room, unless there are very many.
/// Groups within a cause are counted within what was left when it was found.
#[must_use]
pub fn clashes(instance: &Instance, steps: u64) -> Vec<(Vec<usize>, Cause)> {
    let mut left: Vec<usize> = (0..instance.groups.len()).collect();
    let mut clashes = Vec::new();
    while clashes.len() < MOST_CLASHES {
        let part = Instance {
            sites: instance.sites.clone(),
            groups: left
                .iter()
                .map(|&group| instance.groups[group].clone())
                .collect(),
        };
        let Err(failed) = fits(&part, steps) else {
            break;
        };
        let none = explain(&part, steps, failed.proven, failed.steps);
        let clash: Vec<usize> = none.clash.iter().map(|&at| left[at]).collect();
        if clash.is_empty() {
            break;
        }
        left.retain(|group| !clash.contains(group));
        clashes.push((clash, none.cause));
    }
    clashes
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
        // Universes of a site without a port for any of them are no help.
        let allowed = |site: &usize| {
            clash.iter().any(|&group| {
                let mut lines = instance.groups[group].lines.iter();
                goes_to(instance, group, *site)
                    && lines.any(|line| {
                        let mut ports = instance.sites[*site].ports.iter();
                        ports.any(|port| port.room.get(line.class) >= Some(&line.size.max(1)))
                    })
            })
        };
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
