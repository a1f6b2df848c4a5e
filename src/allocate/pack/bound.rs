//! Proves a lower bound on the ports that are opened, and that some lines cannot fit.
//!
//! Method: lines of unlike kinds never share a port, so the bounds of the kinds add up. For one
//! kind three bounds are taken: the nodes, and the current, against the widest rooms, and the
//! linear programme over patterns (`column`) for ports that all have the widest room.
#![allow(clippy::indexing_slicing)] // every index is made in this module from the lengths beside it

use super::Room;
use super::column::{Demand, Master};
use super::state::Field;

/// Rooms wider than this are bounded by their sums only.
const WIDEST: u64 = 8_192;

/// What was proven about some lines.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Least {
    /// Closed ports that they open at least.
    pub opened: u64,
    /// Where they cannot fit: the ports that they need at least, and the ports that they may use.
    pub short: Option<(u64, u64)>,
    /// Steps used.
    pub steps: u64,
}

/// What is to be known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Goal {
    /// The best bound.
    Best,
    /// Whether lines provably find no room: a bound that can't prove it is not finished.
    Short,
}

/// A lower bound on the ports that all lines open, lines that only one site takes by themselves.
pub fn least(field: &Field<'_>, goal: Goal, steps: u64) -> Least {
    let all: Vec<usize> = (0..field.lines.len()).collect();
    let mut whole = least_of(field, &all, goal, steps);
    let mut tied = vec![Vec::new(); field.instance.sites.len()];
    for line in all {
        if let [(site, _)] = field.by_site[field.lines[line].class][..] {
            tied[site].push(line);
        }
    }
    if field.instance.sites.len() > 1 {
        let mut sum = 0;
        for lines in tied.iter().filter(|lines| !lines.is_empty()) {
            let left = steps.saturating_sub(whole.steps);
            let one = least_of(field, lines, goal, left);
            sum += one.opened;
            whole.steps += one.steps;
            whole.short = whole.short.or(one.short);
        }
        whole.opened = whole.opened.max(sum);
    }
    whole
}

/// A lower bound on the ports that some lines open.
pub fn least_of(field: &Field<'_>, lines: &[usize], goal: Goal, steps: u64) -> Least {
    let kinds = field.instance.kinds.iter().max().map_or(0, |kind| kind + 1);
    let mut by_kind: Vec<Vec<usize>> = vec![Vec::new(); kinds];
    for &line in lines {
        by_kind[field.kind(line)].push(line);
    }
    by_kind.retain(|lines| !lines.is_empty());
    let rooms: Vec<Rooms> = by_kind.iter().map(|lines| Rooms::new(field, lines)).collect();
    let mut result = Least::default();
    let mut all_free = vec![false; field.instance.ports.len()];
    for port in rooms.iter().flat_map(|rooms| &rooms.closed) {
        all_free[port.1] = true;
    }
    let free = all_free.iter().filter(|free| **free).count();
    // Where kinds have ports in common, each one's bound adds to the proof.
    let apart = free == rooms.iter().map(|rooms| rooms.closed.len()).sum::<usize>();
    let goal = if apart { goal } else { Goal::Best };
    let mut needed = 0;
    let mut hung = 0;
    for (lines, rooms) in by_kind.iter().zip(&rooms) {
        hung += rooms.used.len() as u64;
        let left = steps.saturating_sub(result.steps);
        let (opened, total) = rooms.least(field, lines, (goal, left), &mut result.steps);
        let free = (rooms.closed.len() + rooms.used.len()) as u64;
        if opened > rooms.closed.len() as u64 {
            result.short = Some((total.max(opened + rooms.used.len() as u64), free));
        }
        result.opened += opened;
        needed += total;
    }
    let free = free as u64;
    if result.opened > free && result.short.is_none() {
        result.short = Some((needed.max(result.opened + hung), free + hung));
    }
    result
}

/// The ports for lines of one kind, the widest first.
struct Rooms {
    closed: Vec<(Room, usize)>,
    used: Vec<Room>,
}

impl Rooms {
    fn new(field: &Field<'_>, lines: &[usize]) -> Self {
        let mut classes: Vec<usize> = lines.iter().map(|line| field.lines[*line].class).collect();
        classes.sort_unstable();
        classes.dedup();
        let kind = field.instance.kinds[classes[0]];
        let mut rooms = Self { closed: Vec::new(), used: Vec::new() };
        for (index, port) in field.instance.ports.iter().enumerate() {
            let takes = classes.iter().filter_map(|class| field.instance.looks[port.look][*class]);
            let widest = takes.reduce(|one, other| Room {
                nodes: one.nodes.max(other.nodes),
                current: one.current.max(other.current),
            });
            let Some(room) = widest else {
                continue;
            };
            match (port.used, port.kind) {
                (true, Some(other)) if other != kind => {}
                (true, _) => rooms.used.push(room),
                (false, _) => rooms.closed.push((room, index)),
            }
        }
        rooms
    }

    /// Closed ports that are opened at least, and ports that are needed in all.
    fn least(
        &self,
        field: &Field<'_>,
        lines: &[usize],
        (goal, steps): (Goal, u64),
        used: &mut u64,
    ) -> (u64, u64) {
        let alone = lines.iter().filter(|line| field.lines[**line].alone).count() as u64;
        let shared: Vec<usize> =
            lines.iter().copied().filter(|line| !field.lines[*line].alone).collect();
        let sum = |part: fn(&super::Load) -> u64| {
            shared.iter().map(|line| u128::from(part(field.lines[*line]))).sum::<u128>()
        };
        let nodes = self.by_sum(sum(|line| line.size), |room| room.nodes);
        let current = self.by_sum(sum(|line| line.draw), |room| room.current);
        let mut opened = nodes.max(current);
        let mut total = opened;
        let widest = self.closed.iter().map(|(room, _)| room.nodes);
        let widest = widest.chain(self.used.iter().map(|room| room.nodes)).max().unwrap_or(0);
        let enough = opened > self.closed.len() as u64;
        if (1..=WIDEST).contains(&widest) && shared.len() > 1 {
            let sizes: Vec<u64> =
                shared.iter().map(|line| field.lines[*line].size.min(widest)).collect();
            let demand = Demand::new(&sizes, widest);
            if let ([size], [count]) = (&demand.sizes[..], &demand.counts[..]) {
                // Lines of one size: no programme is needed.
                let ports = u64::from(*count).div_ceil(widest / size);
                total = total.max(ports);
                opened = opened.max(ports.saturating_sub(self.used.len() as u64));
                return (opened + alone, total + alone);
            }
            if enough {
                return (opened + alone, total + alone);
            }
            let mut master = Master::new(demand);
            if goal == Goal::Short {
                let ports = (self.closed.len() + self.used.len()) as u64;
                master.idle = ports.saturating_sub(alone);
            }
            master.solve(&[], u64::MAX, steps);
            *used += master.steps;
            total = total.max(master.bound);
            opened = opened.max(master.bound.saturating_sub(self.used.len() as u64));
        }
        (opened + alone, total + alone)
    }

    /// How many closed ports hold a sum with the used ones; if too few, plus more of the widest
    /// room.
    fn by_sum(&self, sum: u128, part: fn(&Room) -> u64) -> u64 {
        let mut left = sum;
        for room in &self.used {
            left = left.saturating_sub(u128::from(part(room)));
        }
        let mut rooms: Vec<u64> = self.closed.iter().map(|(room, _)| part(room)).collect();
        rooms.sort_unstable_by(|one, other| other.cmp(one));
        for (count, room) in rooms.iter().enumerate() {
            if left == 0 {
                return count as u64;
            }
            left = left.saturating_sub(u128::from(*room));
        }
        let used = self.used.iter().map(part);
        let widest = rooms.iter().copied().chain(used).max().unwrap_or(0);
        let more = left.div_ceil(u128::from(widest).max(1));
        rooms.len() as u64 + u64::try_from(more).unwrap_or(u64::MAX / 4)
    }
}
