//! Brings the lines of groups side by side on their site; ports in use and leads stay as they are.
//!
//! Method: annealing on the gaps between neighbours. A step exchanges what hangs on two ports,
//! exchanges two lines, or moves one onto another port in use, all among ports that come out at
//! one place. No step opens a port.
#![allow(clippy::indexing_slicing)] // every index is made in this module from the lengths beside it

use super::random::{Random, Thresholds};
use super::state::{Field, NONE, State};
use std::collections::BTreeMap;

/// Gaps that a step may add at first.
const HOT: f64 = 2.0;

/// What stands where on all sites.
struct Search<'a> {
    field: &'a Field<'a>,
    port_of: Vec<u32>,
    on: Vec<Vec<u32>>,
    /// Nodes and current of each port.
    load: Vec<(u64, u64)>,
    /// Ports that keep what they have.
    fixed: Vec<bool>,
    steps: u64,
}

/// Improves a state so that fewer groups are apart, if it can.
pub fn arrange(state: &mut State<'_>, steps: u64, used: &mut u64) {
    let field = state.field;
    let mut sites: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    let mut lines = 0;
    for (group, span) in field.span.iter().enumerate() {
        if span.len() > 1 && !state.is_split(group) && state.port_of[span.start] != NONE {
            let site = field.port(state.port_of[span.start]).site;
            sites.entry(site).or_default().push(group);
            lines += span.len() as u64;
        }
    }
    let ports = &field.instance.ports;
    let fixed = |(at, port): (usize, &super::Socket)| {
        let mut lines = state.hung[at].lines.iter();
        let moves = !port.used && !port.kept && port.slots == 0;
        !moves || lines.any(|line| field.lines[*line as usize].home.is_some())
    };
    let mut search = Search {
        field,
        port_of: state.port_of.clone(),
        on: state.hung.iter().map(|hung| hung.lines.clone()).collect(),
        load: state.hung.iter().map(|hung| (hung.nodes, hung.current)).collect(),
        fixed: ports.iter().enumerate().map(fixed).collect(),
        steps: 0,
    };
    for (site, groups) in sites {
        let own: u64 = groups.iter().map(|group| field.span[*group].len() as u64).sum();
        let first = ports.partition_point(|port| port.site < site);
        let last = ports.partition_point(|port| port.site <= site);
        search.run(&groups, first..last, steps * own / lines.max(1));
    }
    *used += search.steps;
    let before = (state.measure, state.port_of.clone());
    state.put(&search.port_of);
    let over = |(site, slots): (&super::Site, &u64)| *slots > site.limit;
    let mut sites = field.instance.sites.iter().zip(&state.slots);
    let order = field.instance.order;
    if state.measure.key(order) >= before.0.key(order) || sites.any(over) {
        state.put(&before.1);
    }
}

impl Search<'_> {
    /// How far the lines of a group are from side by side.
    fn gap(&self, group: usize) -> u64 {
        let pairs = self.port_of[self.field.span[group].clone()].windows(2);
        let gap = pairs.map(|pair| match pair[1].checked_sub(pair[0]) {
            Some(0) => 0,
            Some(1) => u64::from(!self.field.neighbours(pair[0], pair[1])),
            Some(apart) => u64::from(apart),
            None => u64::from(pair[0] - pair[1]) + 1,
        });
        gap.sum()
    }

    fn run(&mut self, groups: &[usize], ports: std::ops::Range<usize>, steps: u64) {
        let mut gap: u64 = groups.iter().map(|group| self.gap(*group)).sum();
        let apart = |search: &Self| groups.iter().filter(|group| search.gap(**group) > 0).count();
        let (thresholds, mut random) = (Thresholds::new(), Random::new(11));
        let mut best = (apart(self), gap, self.port_of[..].to_vec());
        let (begin, end) = (self.steps, self.steps + steps);
        while self.steps < end && best.1 > 0 {
            let left = (end - self.steps) as f64 / (end - begin) as f64;
            let allowed = (HOT * left * left * left * thresholds.draw(&mut random)) as u64;
            self.steps += 4;
            let group = groups[random.below(groups.len())];
            let Some(moves) = self.closer(group, &ports, &mut random) else {
                continue;
            };
            let mut touched: Vec<u32> =
                moves.iter().map(|(line, _)| self.field.group[*line as usize]).collect();
            touched.sort_unstable();
            touched.dedup();
            let sum = |search: &Self| {
                touched.iter().map(|group| search.gap(*group as usize)).sum::<u64>()
            };
            let before = sum(self);
            let back: Vec<(u32, u32)> =
                moves.iter().map(|(line, _)| (*line, self.port_of[*line as usize])).collect();
            self.steps += 4 * moves.len() as u64;
            if !self.shift(&moves) {
                continue;
            }
            let after = sum(self);
            if after > before + allowed {
                self.hang(&back);
                continue;
            }
            gap = gap + after - before;
            if gap < best.1 {
                let apart = apart(self);
                self.steps += groups.len() as u64;
                if apart <= best.0 {
                    best = (apart, gap, self.port_of.clone());
                }
            }
        }
        let back: Vec<(u32, u32)> = (0..)
            .zip(best.2)
            .filter(|(line, port): &(u32, u32)| self.port_of[*line as usize] != *port)
            .collect();
        self.hang(&back);
    }

    /// Moves that may bring lines of a group together, or any others now and then.
    fn closer(
        &self,
        group: usize,
        ports: &std::ops::Range<usize>,
        random: &mut Random,
    ) -> Option<Vec<(u32, u32)>> {
        let span = self.field.span[group].clone();
        let at = span.start + random.below(span.len() - 1);
        let (port, far) = (self.port_of[at], self.port_of[at + 1]);
        let side = port == far || self.field.neighbours(port, far);
        let some = |random: &mut Random| (ports.start + random.below(ports.len())) as u32;
        let (mover, goal) = match random.below(8) {
            0 if !side => (at + 1, port),
            1 | 2 if !side => (at + 1, port + 1),
            3 if !side => (at, far),
            4 | 5 if !side => (at, far.checked_sub(1)?),
            _ => (at + random.below(2), some(random)),
        };
        let (mover, from) = (mover as u32, self.port_of[mover]);
        let alike = |goal: u32| {
            let (a, b) = (self.field.port(from), self.field.port(goal));
            a.place == b.place && !self.fixed[from as usize] && !self.fixed[goal as usize]
        };
        if goal == from || !ports.contains(&(goal as usize)) || !alike(goal) {
            return None;
        }
        let there = &self.on[goal as usize];
        let all = |from: u32, to: u32| self.on[from as usize].iter().map(move |line| (*line, to));
        Some(match random.below(4) {
            _ if there.is_empty() => all(from, goal).collect(),
            0 => vec![(mover, goal)],
            1 => all(from, goal).chain(all(goal, from)).collect(),
            _ => vec![(mover, goal), (there[random.below(there.len())], from)],
        })
    }

    /// Moves lines all at once, if they fit.
    fn shift(&mut self, moves: &[(u32, u32)]) -> bool {
        let back: Vec<(u32, u32)> =
            moves.iter().map(|(line, _)| (*line, self.port_of[*line as usize])).collect();
        self.hang(moves);
        let fits = moves.iter().all(|(line, port)| self.fits(*line as usize, *port));
        if !fits {
            self.hang(&back);
        }
        fits
    }

    fn hang(&mut self, moves: &[(u32, u32)]) {
        for (line, to) in moves {
            let what = self.field.lines[*line as usize];
            let from = std::mem::replace(&mut self.port_of[*line as usize], *to) as usize;
            self.on[from].retain(|one| one != line);
            self.load[from].0 -= what.size;
            self.load[from].1 -= what.draw;
            let to = *to as usize;
            self.on[to].push(*line);
            self.load[to].0 += what.size;
            self.load[to].1 += what.draw;
        }
    }

    /// Whether what hangs on the port of a line is lawful there.
    fn fits(&self, line: usize, port: u32) -> bool {
        let Some(room) = self.field.room(line, port) else {
            return false;
        };
        let (load, on) = (self.load[port as usize], &self.on[port as usize]);
        let kind = self.field.kind(line);
        let alone = on.len() > 1 && on.iter().any(|one| self.field.lines[*one as usize].alone);
        let alike = on.iter().all(|one| self.field.kind(*one as usize) == kind);
        load.0 <= room.nodes && load.1 <= room.current && alike && !alone
    }
}
