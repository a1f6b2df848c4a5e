//! Which lines cannot fit together, and why. Only what is proven counts.
//!
//! Method: a set is proven by a bound or by a search of every way. It is made smaller by leaving
//! out parts, halves first and single groups last, as long as the rest is still proven.
#![allow(clippy::indexing_slicing)] // every index is made in this module from the lengths beside it

use super::Instance;
use super::bound::{Goal, least_of};
use super::exact::{self, Found, Most};
use super::seek::SMALL;
use super::state::{Field, State};

/// What is lacking.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cause {
    /// No port takes a line of the group, even alone.
    Alone,
    /// The ports needed at least, and the ports that these lines may use.
    Ports {
        /// Needed.
        needed: u64,
        /// There are.
        free: u64,
    },
    /// The slots that are needed, and those that are left on the sites that they may go to.
    Slots {
        /// Needed.
        needed: u64,
        /// Left.
        left: u64,
    },
    /// Every way was searched.
    Searched,
}

/// Groups that cannot all be placed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Clash {
    /// Groups, ascending.
    pub groups: Vec<usize>,
    /// What they lack.
    pub cause: Cause,
}

/// Steps for one proof by the linear programme, and for one search of every way.
const PROOF: u64 = 400_000;
const SEARCH: u64 = 6_000_000;

/// Sets of more groups than this are not reduced group by group.
const FEW: usize = 256;

/// Sets sought besides lines that no port takes; more while at most `HANDFUL` groups are left.
const MOST: usize = 3;
const HANDFUL: usize = 8;

/// Sets of groups that provably find no room; no group is in two sets. Empty where nothing could be
/// proven. Where the steps suffice, each of the first sets fits without any one of its groups.
#[must_use]
pub fn clashes(instance: &Instance, steps: u64) -> Vec<Clash> {
    let field = Field::new(instance);
    let mut prover =
        Prover { field: &field, empty: State::new(&field), room: rooms(instance), left: steps };
    let (mut groups, hopeless): (Vec<usize>, Vec<usize>) =
        (0..field.span.len()).partition(|group| prover.fits_alone(*group));
    let alone = |group| Clash { groups: vec![group], cause: Cause::Alone };
    let mut clashes: Vec<Clash> = hopeless.into_iter().map(alone).collect();
    let most = clashes.len() + MOST;
    while clashes.len() < most || groups.len() <= HANDFUL {
        let Some(cause) = prover.proof(&groups, true) else {
            break;
        };
        let clash = prover.smaller(groups.clone(), cause);
        groups.retain(|group| clash.groups.binary_search(group).is_err());
        clashes.push(clash);
    }
    // What else clashes is one set, not reduced.
    if clashes.len() >= most
        && let Some(cause) = prover.proof(&groups, false)
    {
        clashes.push(Clash { groups, cause });
    }
    clashes
}

struct Prover<'a> {
    field: &'a Field<'a>,
    empty: State<'a>,
    /// An upper bound on the slots that each site has left.
    room: Vec<u64>,
    left: u64,
}

/// An upper bound on the slots that each site has left: what is rounded up may still be filled.
fn rooms(instance: &Instance) -> Vec<u64> {
    let limits = instance.sites.iter();
    let mut rooms: Vec<u64> = limits.map(|site| site.limit.saturating_sub(site.taken)).collect();
    for port in &instance.ports {
        rooms[port.site] = rooms[port.site].saturating_sub(port.slots);
    }
    rooms
}

impl Prover<'_> {
    fn fits_alone(&self, group: usize) -> bool {
        self.field.span[group].clone().all(|line| {
            let ports = &self.field.accepting[self.field.lines[line].class];
            ports.iter().any(|port| self.empty.has_room(line, *port, (0, 0, 0)))
        })
    }

    /// Why some groups find no room, where that can be proven.
    fn proof(&mut self, groups: &[usize], search: bool) -> Option<Cause> {
        let field = self.field;
        let lines: Vec<usize> =
            groups.iter().flat_map(|group| field.span[*group].clone()).collect();
        let mut tied = vec![Vec::new(); field.instance.sites.len()];
        for &line in &lines {
            if let [(site, _)] = field.by_site[field.lines[line].class][..] {
                tied[site].push(line);
            }
        }
        for (site, lines) in tied.iter().enumerate() {
            let room = self.room[site];
            let needed = self.slots(lines);
            if !lines.is_empty() && needed > room {
                return Some(Cause::Slots { needed, left: room });
            }
        }
        let room = self.room.iter().fold(0, |sum: u64, room| sum.saturating_add(*room));
        let needed = self.slots(&lines);
        if needed > room {
            return Some(Cause::Slots { needed, left: room });
        }
        for lines in std::iter::once(&lines).chain(&tied).filter(|lines| !lines.is_empty()) {
            let least = least_of(field, lines, Goal::Short, PROOF.min(self.left));
            self.left = self.left.saturating_sub(least.steps + lines.len() as u64);
            if let Some((needed, free)) = least.short {
                return Some(Cause::Ports { needed, free });
            }
        }
        if !search || lines.len() > SMALL {
            return None;
        }
        let mut steps = SEARCH.min(self.left);
        let before = steps;
        let found = exact::search(field, groups, &|_| false, Most::ANY, &mut steps);
        self.left = self.left.saturating_sub(before - steps);
        (found == Found::Nothing).then_some(Cause::Searched)
    }

    fn slots(&self, lines: &[usize]) -> u64 {
        let slots = lines.iter().map(|line| self.field.lines[*line].slots);
        slots.fold(0, u64::saturating_add)
    }

    /// Leaves out what is not needed for the proof.
    fn smaller(&mut self, mut groups: Vec<usize>, mut cause: Cause) -> Clash {
        if groups.len() > FEW {
            // How many of the first groups are already too many.
            let (mut low, mut high) = (0, groups.len());
            while high - low > 1 {
                let middle = low + (high - low) / 2;
                match self.proof(&groups[..middle], true) {
                    Some(why) => (high, cause) = (middle, why),
                    None => low = middle,
                }
            }
            groups.truncate(high);
        }
        let mut part = groups.len().div_ceil(2);
        while part > groups.len() / FEW {
            let mut at = 0;
            while at < groups.len() && groups.len() > 1 && self.left > 0 {
                let mut rest = groups.clone();
                rest.drain(at..(at + part).min(groups.len()));
                match self.proof(&rest, true) {
                    Some(why) if !rest.is_empty() => (groups, cause) = (rest, why),
                    _ => at += part,
                }
            }
            part /= 2;
        }
        Clash { groups, cause }
    }
}
