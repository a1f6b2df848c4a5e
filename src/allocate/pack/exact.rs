//! Searches every way to hang lines on ports, with limits on opened ports and strings that leave.
//!
//! Method: depth first, the lines of one group after another, the largest first. Of empty ports
//! that are alike one is tried, and lines that are alike keep the order of their ports. A branch
//! ends where what is left of a kind does not go into the rooms that are left, or where the same
//! rooms were seen to fail before.
#![allow(clippy::indexing_slicing)] // every index is made in this module from the lengths beside it

use super::Room;
use super::random::mix;
use super::state::{Field, Measure, NONE, State};
use std::cmp::Reverse;
use std::collections::BTreeSet;

/// What the search found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Found {
    /// A port for each line that was asked for; [`NONE`] for the others.
    Way(Vec<u32>),
    /// There is no way.
    Nothing,
    /// The steps ran out.
    GaveUp,
}

/// At most this many states are remembered.
const MOST_SEEN: usize = 400_000;

/// What a way may cost at most.
#[derive(Debug, Clone, Copy)]
pub struct Most {
    /// Ports that are opened.
    pub opened: u64,
    /// Strings that leave their port.
    pub plugs: u64,
}

impl Most {
    /// Nothing is too much.
    pub const ANY: Self = Self { opened: u64::MAX, plugs: u64::MAX };
}

/// Seeks a port for each line of `groups`; groups that are `whole` stay on one site each.
pub fn search(
    field: &Field<'_>,
    groups: &[usize],
    whole: &dyn Fn(usize) -> bool,
    most: Most,
    steps: &mut u64,
) -> Found {
    let mut order: Vec<usize> = Vec::new();
    let mut tied: Vec<bool> = Vec::new();
    let mut sorted = groups.to_vec();
    let largest = |group: &usize| {
        let span = field.span[*group].clone();
        let fewest = field.lines[span.clone()].iter().map(|line| field.accepting[line.class].len());
        let size = field.lines[span].iter().map(|line| (line.size, line.draw)).max();
        (fewest.min(), Reverse(size), *group)
    };
    sorted.sort_by_key(largest);
    let ties = sorted.iter().any(|group| whole(*group) && field.span[*group].len() > 1);
    for group in sorted {
        let mut lines: Vec<usize> = field.span[group].clone().collect();
        lines.sort_by_key(|line| (Reverse(field.lines[*line].size), *line));
        tied.resize(tied.len() + lines.len(), whole(group));
        order.extend(lines);
    }
    if !ties {
        order.sort_by_key(|line| {
            let what = field.lines[*line];
            (field.accepting[what.class].len(), what.class, Reverse((what.size, what.draw)), *line)
        });
    }
    let limits = field.instance.sites.iter().any(|site| site.limit < u64::MAX);
    let mut search = Search {
        state: State::new(field),
        by_site: ties || limits,
        homes: field.lines.iter().any(|line| line.home.is_some()),
        order,
        tied,
        left: vec![(0, 0, u64::MAX); field.instance.kinds.len()],
        most,
        plugs: 0,
        ties,
        widest: widest(field),
        hash: 0,
        seen: BTreeSet::new(),
        steps: *steps,
    };
    for line in search.order.clone() {
        search.count(line, true);
    }
    let found = search.descend(0);
    *steps = search.steps;
    match found {
        Some(true) => Found::Way(search.state.port_of),
        Some(false) => Found::Nothing,
        None => Found::GaveUp,
    }
}

/// The best state of all, by a search of every way that may be better than `known`. `None` where
/// none is found; `steps` is then 0 if they ran out.
pub fn best<'a>(known: &State<'a>, steps: &mut u64) -> Option<State<'a>> {
    let field = known.field;
    let mut search = Best {
        state: State::new(field),
        best: (known.measure.key(field.instance.order), None),
        left: vec![(0, (0, 0)); field.lines.len() + 1],
        steps: *steps,
    };
    for (line, what) in field.lines.iter().enumerate().rev() {
        let (lead, plugs) = search.left[line + 1];
        let ports = field.accepting[what.class].iter();
        let nearest = ports.map(|port| field.lead(line, *port)).min();
        let own = what.home.map_or((0, 0), |_| what.plugs);
        let plugs = (plugs.0 + own.0, plugs.1 + own.1);
        search.left[line] = (lead + nearest.unwrap_or(0), plugs);
    }
    search.descend(0);
    *steps = search.steps;
    let mut state = known.clone();
    search.best.1.map(|ports| {
        state.put(&ports);
        state
    })
}

/// A search for the best state, line by line in the order of the display.
struct Best<'a> {
    state: State<'a>,
    best: ([u128; 9], Option<Vec<u32>>),
    /// The least lead, and the plugs that may yet stay, of the lines from each one on.
    left: Vec<(u64, (u64, u64))>,
    steps: u64,
}

impl Best<'_> {
    /// The best key that a state can reach with the lines from `line` on; `None` if not better.
    fn better(&self, mut measure: Measure, line: usize) -> Option<[u128; 9]> {
        let (lead, plugs) = self.left[line];
        measure.missing = 0;
        measure.lead += lead;
        measure.plugs = (measure.plugs.0 - plugs.0, measure.plugs.1 - plugs.1);
        let key = measure.key(self.state.field.instance.order);
        (key < self.best.0).then_some(key)
    }

    fn descend(&mut self, line: usize) {
        let field = self.state.field;
        let Some(key) = self.better(self.state.measure, line) else {
            return;
        };
        let Some(what) = field.lines.get(line) else {
            self.best = (key, Some(self.state.port_of.clone()));
            return;
        };
        for (site, ports) in &field.by_site[what.class] {
            if self.better(self.state.least_on(line, *site), line).is_none() {
                // A step for each port, as if it had been looked at.
                self.steps = self.steps.saturating_sub(ports.len() as u64);
                continue;
            }
            for &port in &field.accepting[what.class][ports.clone()] {
                if self.steps == 0 {
                    return;
                }
                self.steps -= 1;
                if self.state.fits(line, port) {
                    self.state.place(line, port);
                    self.descend(line + 1);
                    self.state.take(line);
                }
            }
        }
    }
}

/// The most that a port takes of each kind, by look.
fn widest(field: &Field<'_>) -> Vec<Vec<Option<Room>>> {
    let kinds = field.instance.kinds.iter().max().map_or(0, |kind| kind + 1);
    let of = |rooms: &Vec<Option<Room>>| {
        let mut widest: Vec<Option<Room>> = vec![None; kinds];
        for (room, kind) in rooms.iter().zip(&field.instance.kinds) {
            let (Some(room), wide) = (room, &mut widest[*kind]) else {
                continue;
            };
            let known = wide.unwrap_or(*room);
            *wide = Some(Room {
                nodes: known.nodes.max(room.nodes),
                current: known.current.max(room.current),
            });
        }
        widest
    };
    field.instance.looks.iter().map(of).collect()
}

struct Search<'a> {
    state: State<'a>,
    order: Vec<usize>,
    tied: Vec<bool>,
    /// Whether it matters on which site a port is.
    by_site: bool,
    /// Whether some lines hang on a port now, so that no two ports are alike.
    homes: bool,
    /// Nodes and current that are left to place of each kind.
    left: Vec<(u64, u64, u64)>,
    most: Most,
    /// Strings that left their port so far.
    plugs: u64,
    /// Whether lines of a group are tied to one site.
    ties: bool,
    /// The most that a port takes of each kind, by look.
    widest: Vec<Vec<Option<Room>>>,
    /// The sum of the hashes of the ports in use.
    hash: u128,
    seen: BTreeSet<u128>,
    steps: u64,
}

impl Search<'_> {
    fn count(&mut self, line: usize, more: bool) {
        let field = self.state.field;
        let what = field.lines[line];
        let left = &mut self.left[field.kind(line)];
        if more {
            left.0 += what.size;
            left.1 = left.1.saturating_add(what.draw);
            left.2 = left.2.min(what.size);
        } else {
            left.0 -= what.size;
            left.1 = left.1.saturating_sub(what.draw);
        }
    }

    /// Whether the rest fits; `None` where the steps ran out.
    fn descend(&mut self, depth: usize) -> Option<bool> {
        let field = self.state.field;
        let Some(&line) = self.order.get(depth) else {
            return Some(true);
        };
        if self.steps == 0 {
            return None;
        }
        self.steps = self.steps.saturating_sub(1 + field.instance.ports.len() as u64 / 4);
        if !self.may_fit() {
            return Some(false);
        }
        let key = self.key(depth);
        if self.seen.contains(&key) {
            return Some(false);
        }
        self.count(line, false);
        let mut result = Some(false);
        let before = depth.checked_sub(1).map(|depth| self.order[depth]);
        let alike = before.filter(|before| self.alike(*before, line));
        let from = alike.map_or(0, |before| self.state.port_of[before]);
        let site = self.site(depth);
        let mut empty: Vec<(usize, usize)> = Vec::new();
        for &port in &field.accepting[field.lines[line].class] {
            let at = field.port(port);
            if port < from || site.is_some_and(|site| site != at.site) {
                continue;
            }
            let closed = !at.used && self.state.hung[port as usize].lines.is_empty();
            if closed {
                let look = (at.look, if self.by_site { at.site } else { 0 });
                let home = field.lines[line].home == Some(port as usize);
                let known = empty.contains(&look) && !self.homes;
                if self.state.measure.ports >= self.most.opened || known && !home {
                    continue;
                }
                empty.push(look);
            }
            let what = field.lines[line];
            let leaves = what.home.is_some_and(|home| home != port as usize);
            let plugs = if leaves { what.plugs.0 } else { 0 };
            if self.plugs + plugs > self.most.plugs || !self.state.fits(line, port) {
                continue;
            }
            match self.with(line, port, plugs, depth) {
                Some(true) => return Some(true),
                Some(false) => {}
                None => {
                    result = None;
                    break;
                }
            }
        }
        self.count(line, true);
        if result == Some(false) && self.seen.len() < MOST_SEEN {
            self.seen.insert(key);
        }
        result
    }

    /// Whether the rest fits with a line on a port; if not, the line is taken off again.
    fn with(&mut self, line: usize, port: u32, plugs: u64, depth: usize) -> Option<bool> {
        let before = self.hash_of(port);
        self.state.place(line, port);
        let hung = self.hash_of(port).wrapping_sub(before);
        self.hash = self.hash.wrapping_add(hung);
        self.plugs += plugs;
        let found = self.descend(depth + 1);
        self.plugs -= plugs;
        if found != Some(true) {
            self.state.take(line);
            self.hash = self.hash.wrapping_sub(hung);
        }
        found
    }

    /// The site that a line is tied to by those of its group before it.
    fn site(&self, depth: usize) -> Option<usize> {
        let field = self.state.field;
        let before = self.order[depth.checked_sub(1)?];
        let same = field.group[before] == field.group[self.order[depth]];
        (self.tied[depth] && same).then(|| field.port(self.state.port_of[before]).site)
    }

    /// Whether two lines are alike, so that their order does not matter.
    fn alike(&self, one: usize, other: usize) -> bool {
        let field = self.state.field;
        let (a, b) = (field.lines[one], field.lines[other]);
        let single = |line: usize| field.span[field.group[line] as usize].len() == 1;
        let group = field.group[one] == field.group[other];
        a.home.is_none()
            && b.home.is_none()
            && (a.size, a.draw, a.slots, a.class, a.alone)
                == (b.size, b.draw, b.slots, b.class, b.alone)
            && (!self.ties || group || single(one) && single(other))
            && self.state.port_of[one] != NONE
    }

    /// Whether what is left of each kind goes into the rooms that are left, counted by their sums.
    fn may_fit(&self) -> bool {
        let field = self.state.field;
        let mut open = vec![(0_u64, 0_u64); self.left.len()];
        let mut widest = vec![(0_u64, 0_u64); self.left.len()];
        let mut closed = 0;
        let more = |sum: &mut (u64, u64), nodes: u64, current: u64| {
            *sum = (sum.0.saturating_add(nodes), sum.1.saturating_add(current));
        };
        for (port, hung) in field.instance.ports.iter().zip(&self.state.hung) {
            let rooms = &self.widest[port.look];
            if hung.lines.is_empty() && !port.used {
                closed += 1;
                for (room, wide) in rooms.iter().zip(&mut widest) {
                    let room = room.map_or((0, 0), |room| (room.nodes, room.current));
                    *wide = (wide.0.max(room.0), wide.1.max(room.1));
                }
                continue;
            }
            for (kind, room) in rooms.iter().enumerate() {
                if let Some(room) = room
                    && (hung.kind == NONE || hung.kind as usize == kind)
                {
                    let nodes = room.nodes.saturating_sub(hung.nodes);
                    if nodes >= self.left[kind].2 {
                        let current = room.current.saturating_sub(hung.current);
                        more(&mut open[kind], nodes, current);
                    }
                }
            }
        }
        let mut needed = 0_u64;
        for (kind, left) in self.left.iter().enumerate() {
            let more = |left: u64, open: u64, wide: u64| match left.saturating_sub(open) {
                0 => 0,
                rest => rest.checked_div(wide).map_or(u64::MAX / 2, |_| rest.div_ceil(wide)),
            };
            let nodes = more(left.0, open[kind].0, widest[kind].0);
            let current = more(left.1, open[kind].1, widest[kind].1);
            needed = needed.saturating_add(nodes.max(current));
        }
        needed <= closed.min(self.most.opened.saturating_sub(self.state.measure.ports))
    }

    /// The state as a number: the depth, and each port in use with what is on it.
    fn key(&self, depth: usize) -> u128 {
        let key = u128::from(mix(depth as u64 + 1) ^ mix(self.plugs ^ 0x77));
        let tied = self.site(depth).map_or(0, |site| mix(site as u64 + 77));
        let like = depth.checked_sub(1).map(|depth| self.order[depth]);
        let like = like.filter(|before| self.alike(*before, self.order[depth]));
        let from = like.map_or(0, |before| mix(u64::from(self.state.port_of[before]) + 99));
        key.wrapping_add(self.hash)
            .wrapping_add(u128::from(tied))
            .wrapping_add(u128::from(from) << 32)
    }

    /// A port in use as a number; 0 where nothing was hung on it.
    fn hash_of(&self, index: u32) -> u128 {
        let port = self.state.field.port(index);
        let hung = &self.state.hung[index as usize];
        if hung.lines.is_empty() {
            return 0;
        }
        let site = if self.by_site || port.used { port.site as u64 + 1 } else { 0 };
        let own = if port.used || self.homes { u64::from(index) + 1 } else { 0 };
        let mut low = mix(hung.nodes ^ mix(port.look as u64) ^ mix(site << 32 | own));
        low = mix(low ^ mix(hung.current) ^ mix(u64::from(hung.kind)));
        let field = self.state.field;
        let alone = hung.lines.iter().any(|line| field.lines[*line as usize].alone);
        low = mix(low ^ hung.slots ^ u64::from(alone) << 63);
        u128::from(low) << 64 | u128::from(mix(low ^ 0x5bd1))
    }
}
